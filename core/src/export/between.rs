//! Where the face turns between two frames.
//!
//! Between frames pulses, and so servo angles, run straight; the face does not, because linkages and
//! skin are curved. A skin or coupling value `g(u)` that is inside its limits at both frames may be
//! outside on the way: where its derivative changes sign. Each quarter of the way is searched for such
//! a change; one is found by bisection where the tangents at the ends of the quarter cross outside the
//! limits (a curve that bends one way over a quarter of a frame stays on one side of its tangents).

use crate::rig::{Dof, Rig};
use crate::units::Degrees;

/// Quarters of the way.
const PARTS: usize = 4;

/// Halvings of a quarter: to a millionth of a frame.
const HALVINGS: usize = 18;

/// A sum of DOFs that must stay between two values.
pub(super) struct Watched {
    pub(super) terms: Vec<(Dof, f64)>,
    pub(super) min: f64,
    pub(super) max: f64,
}

/// Everything of a rig that is limited.
pub(super) fn watched(rig: &Rig) -> Vec<Watched> {
    let skin =
        rig.dofs().iter().map(|d| Watched { terms: vec![(d.dof, 1.0)], min: d.skin_min, max: d.skin_max });
    let couplings = rig.couplings().iter().map(|c| Watched {
        terms: c.terms.clone(),
        min: c.min.unwrap_or(f64::NEG_INFINITY),
        max: c.max.unwrap_or(f64::INFINITY),
    });
    skin.chain(couplings).collect()
}

/// Value and derivative by u of every watched sum at one moment.
fn look(rig: &Rig, forms: &[Watched], from: &[f64], to: &[f64], u: f64) -> Vec<(f64, f64)> {
    let angles: Vec<Degrees> = from.iter().zip(to).map(|(a, b)| Degrees::new(a + u * (b - a))).collect();
    let face = rig.forward(&angles);
    let mut slope = crate::rig::DofValues::default();
    for (servo, dof, by) in rig.partials(&angles) {
        slope[dof] += by * (to[servo.0] - from[servo.0]);
    }
    let sum = |of: &crate::rig::DofValues, w: &Watched| w.terms.iter().map(|&(d, k)| k * of[d]).sum::<f64>();
    forms.iter().map(|w| (sum(&face, w), sum(&slope, w))).collect()
}

/// Moments (0 to 1 on the way from one frame's angles to the next's) at which a watched sum turns and
/// may be outside its limits there; the quarters of the way always among them.
pub(super) fn moments(rig: &Rig, forms: &[Watched], from: &[f64], to: &[f64]) -> Vec<f64> {
    let part = |k: usize| k as f64 / PARTS as f64;
    let mut out: Vec<f64> = (1..PARTS).map(part).collect();
    let looks: Vec<_> = (0..=PARTS).map(|k| look(rig, forms, from, to, part(k))).collect();
    for k in 0..PARTS {
        for (w, form) in forms.iter().enumerate() {
            let ((a, da), (b, db)) = (looks[k][w], looks[k + 1][w]);
            if da * db >= 0.0 {
                continue;
            }
            // Where the tangents at both ends cross.
            let width = part(1);
            let crossing = a + da * ((b - a - db * width) / (da - db));
            if crossing <= form.max && crossing >= form.min {
                continue;
            }
            let (mut low, mut high) = (part(k), part(k + 1));
            for _ in 0..HALVINGS {
                let middle = 0.5 * (low + high);
                if look(rig, std::slice::from_ref(form), from, to, middle)[0].1 * da > 0.0 {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            out.push(0.5 * (low + high));
        }
    }
    out.sort_by(f64::total_cmp);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::Preset;

    /// A corner carried from one side of its travel to the other in one step rises and falls again: the
    /// highest point is found to the micrometre, wherever it lies.
    #[test]
    fn the_highest_point_on_the_way_is_found() {
        let rig = Preset::Harbourmaster.rig();
        let index = |name: &str| rig.servos().iter().position(|s| s.name == name).expect("has one");
        let (inner, outer) = (index("corner left inner"), index("corner left outer"));
        let mut found = 0;
        for tilt in [-0.6, -0.3, 0.0, 0.2, 0.5] {
            let mut from: Vec<f64> = rig.rest_angles().iter().map(|a| a.value()).collect();
            let mut to = from.clone();
            (from[inner], from[outer]) = (from[inner] - 14.0, from[outer] - 14.0);
            (to[inner], to[outer]) = (to[inner] + 14.0 + 4.0 * tilt, to[outer] + 14.0);
            let terms = vec![(Dof::CornerLeftY, 1.0)];
            let value = |u: f64| {
                look(&rig, &[Watched { terms: terms.clone(), min: 0.0, max: 0.0 }], &from, &to, u)[0].0
            };
            let (mut highest, mut lowest) = (f64::NEG_INFINITY, f64::INFINITY);
            for k in 0..=100_000 {
                let v = value(f64::from(k) / 1e5);
                (highest, lowest) = (highest.max(v), lowest.min(v));
            }
            // Limits just inside what happens, so that the search is on.
            let form = Watched { terms: terms.clone(), min: lowest + 1e-4, max: highest - 1e-4 };
            let at = moments(&rig, &[form], &from, &to);
            let ends = [value(0.0), value(1.0)];
            let seen = |pick: fn(f64, f64) -> f64| {
                at.iter().map(|&u| value(u)).chain(ends).reduce(pick).expect("some")
            };
            assert!(
                (seen(f64::max) - highest).abs() < 1e-6 && (seen(f64::min) - lowest).abs() < 1e-6,
                "{tilt}"
            );
            found += usize::from(at.len() > PARTS - 1);
        }
        assert!(found >= 3, "the way turns in {found} of 5 cases");
    }
}
