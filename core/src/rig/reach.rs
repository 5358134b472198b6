//! From angles to the face and back: forward, derivatives, and what can be reached.

use super::mechanism::Single;
use super::{Dof, DofSpec, DofValues, Mechanism, Rig, ServoId};
use crate::units::Degrees;

/// What a wanted pose comes to on the head.
#[derive(Clone, Debug, PartialEq)]
pub struct Reach {
    /// One angle per servo.
    pub angles: Vec<Degrees>,
    /// What those angles give.
    pub dofs: DofValues,
    /// DOFs of the rig that could not have the wanted value.
    pub clamped: Vec<Dof>,
}

impl Rig {
    /// Angles a servo may have.
    ///
    /// One-servo mechanisms: exactly the angles allowed by pulse range, linkage and the skin of what
    /// it drives. Two-servo mechanisms: pulse range, narrowed to a box around the angles that the
    /// skin's rectangle needs; the box is a bound, not a promise that every pair in it is allowed.
    /// (0, 0) for a servo the rig does not have.
    #[must_use]
    pub fn travel(&self, servo: ServoId) -> (Degrees, Degrees) {
        let (low, high) = self.travel.get(servo.0).copied().unwrap_or_default();
        (Degrees::new(low), Degrees::new(high))
    }

    /// Angles of the servos of one mechanism, in its order; a missing angle counts as 0.
    fn angles_of(&self, mechanism: &Mechanism, angles: &[Degrees]) -> [f64; 2] {
        let mut theta = [0.0; 2];
        for (slot, id) in theta.iter_mut().zip(mechanism.servos()) {
            *slot = angles.get(id.0).map_or(0.0, |a| a.value());
        }
        theta
    }

    /// What the face does for one angle per servo. DOFs the head lacks are 0. Angles at which a
    /// linkage does not close give the nearest point at which it does; [`Rig::check_linkages`] tells.
    #[must_use]
    pub fn forward(&self, angles: &[Degrees]) -> DofValues {
        let mut values = DofValues::default();
        for m in &self.mechanisms {
            for (dof, value) in m.forward(&self.angles_of(m, angles)) {
                values[dof] = value;
            }
        }
        values
    }

    /// Mechanisms that do not close, or are too near a singular configuration, at these angles.
    #[must_use]
    pub fn check_linkages(&self, angles: &[Degrees]) -> Vec<(usize, super::KinematicError)> {
        let checked = self.mechanisms.iter().enumerate();
        checked.filter_map(|(i, m)| m.check(&self.angles_of(m, angles)).err().map(|e| (i, e))).collect()
    }

    /// ∂dof/∂angle at these angles, in DOF units per degree; entries not listed are 0.
    #[must_use]
    pub fn partials(&self, angles: &[Degrees]) -> Vec<(ServoId, Dof, f64)> {
        self.mechanisms.iter().flat_map(|m| m.partials(&self.angles_of(m, angles))).collect()
    }

    /// Servo angles for a wanted pose, held to skin, linkage and pulses. Never fails: what cannot be
    /// had is moved to what can, and named in `clamped`. Values that are not numbers count as rest.
    #[must_use]
    pub fn reach(&self, wanted: &DofValues) -> Reach {
        let mut target = *wanted;
        for d in &self.dofs {
            let value = if wanted[d.dof].is_finite() { wanted[d.dof] } else { d.rest };
            target[d.dof] = value.clamp(d.skin_min, d.skin_max);
        }
        let mut angles = vec![Degrees::ZERO; self.servos.len()];
        for m in &self.mechanisms {
            match m.single() {
                Some(single) => {
                    let id = m.servos()[0];
                    let (low, high) = self.travel[id.0];
                    let theta = self.single_inverse(m, single, &target).clamp(low, high);
                    angles[id.0] = Degrees::new(theta);
                }
                None => {
                    let theta = self.pair_reach(m, &target);
                    for (id, theta) in m.servos().iter().zip(theta) {
                        angles[id.0] = Degrees::new(theta);
                    }
                }
            }
        }
        let dofs = self.forward(&angles);
        let missed = |d: &&DofSpec| !((dofs[d.dof] - wanted[d.dof]).abs() <= 1e-6);
        let clamped = self.dofs.iter().filter(missed).map(|d| d.dof).collect();
        Reach { angles, dofs, clamped }
    }

    /// Servo angle whose output fits the driven DOFs best (least squares), held to the linkage.
    fn single_inverse(&self, m: &Mechanism, single: Single<'_>, target: &DofValues) -> f64 {
        let weight: f64 = m.drives().iter().map(|d| d.gain * d.gain).sum();
        let pull = |d: &super::Drive| d.gain * d.gain * d.output(target[d.dof]);
        let q = m.drives().iter().map(pull).sum::<f64>() / weight;
        single_angle(single, q)
    }

    /// Angles of a two-servo mechanism for a target within the skin; where that is out of reach,
    /// for a point in reach near it.
    fn pair_reach(&self, m: &Mechanism, target: &DofValues) -> [f64; 2] {
        let drives = m.drives();
        let specs = [0, 1].map(|i| self.dof(drives[i].dof));
        let inverse = |values: [f64; 2]| -> Option<[f64; 2]> {
            let q = [drives[0].output(values[0]), drives[1].output(values[1])];
            let theta = match m {
                Mechanism::FiveBar { linkage, .. } => linkage.inverse(q).ok()?,
                Mechanism::Differential { linkage, .. } => linkage.inverse(q),
                _ => return None,
            };
            let inside = m.servos().iter().zip(theta).all(|(id, t)| {
                let (low, high) = self.travel[id.0];
                low <= t && t <= high
            });
            inside.then_some(theta)
        };
        let wanted = [target[drives[0].dof], target[drives[1].dof]];
        if let Some(theta) = inverse(wanted) {
            return theta;
        }
        let rest = specs.map(|d| d.map_or(0.0, |d| d.rest));
        let Some(mut best) = inverse(rest) else {
            // Only before construction has checked the rest pose.
            return [0.0; 2];
        };
        // The last point in reach on the straight way there from rest …
        let (mut near, mut far) = (0.0, 1.0);
        let mut at = rest;
        for _ in 0..50 {
            let s = 0.5 * (near + far);
            let point = [rest[0] + s * (wanted[0] - rest[0]), rest[1] + s * (wanted[1] - rest[1])];
            match inverse(point) {
                Some(theta) => (best, at, near) = (theta, point, s),
                None => far = s,
            }
        }
        // … then along the edge of the workspace for as long as that comes nearer (pattern search).
        let miss = |p: [f64; 2]| (p[0] - wanted[0]).hypot(p[1] - wanted[1]);
        let mut step = miss(at);
        for _ in 0..PATTERN_TRIES {
            if step < PATTERN_FINEST {
                break;
            }
            let better = (0..DIRECTIONS).find_map(|k| {
                let (dy, dx) = (std::f64::consts::TAU * f64::from(k) / f64::from(DIRECTIONS)).sin_cos();
                let mut point = [at[0] + step * dx, at[1] + step * dy];
                for (value, spec) in point.iter_mut().zip(specs) {
                    *value = spec.map_or(*value, |d| value.clamp(d.skin_min, d.skin_max));
                }
                if miss(point) < miss(at) { Some((point, inverse(point)?)) } else { None }
            });
            match better {
                Some((point, theta)) => (at, best) = (point, theta),
                None => step *= 0.5,
            }
        }
        best
    }

    pub(super) fn find_travel(&self) -> Vec<(f64, f64)> {
        let mut travel: Vec<(f64, f64)> = self
            .servos
            .iter()
            .map(|s| {
                let (a, b) = s.pulse_travel();
                (a.value(), b.value())
            })
            .collect();
        for m in &self.mechanisms {
            match m.single() {
                Some(single) => {
                    let (mut low, mut high) = single.range();
                    for d in m.drives() {
                        let Some(spec) = self.dof(d.dof) else { continue };
                        let a = single_angle(single, d.output(spec.skin_min));
                        let b = single_angle(single, d.output(spec.skin_max));
                        low = low.max(a.min(b));
                        high = high.min(a.max(b));
                    }
                    let slot = &mut travel[m.servos()[0].0];
                    *slot = (slot.0.max(low), slot.1.min(high));
                }
                None => self.pair_travel(m, &mut travel),
            }
        }
        travel
    }

    /// Narrows two servos' travel to what the skin rectangle needs: the angles at a grid of its points,
    /// at the edge of the workspace between them and at rest, with a margin for what lies between.
    /// [`Rig::reach`] keeps inside the result, so the narrowing holds however steep the linkage is.
    fn pair_travel(&self, m: &Mechanism, travel: &mut [(f64, f64)]) {
        const STEPS: u32 = 40;
        const MARGIN: f64 = 1.0;
        const HALVINGS: u32 = 20;
        let drives = m.drives();
        let (Some(a), Some(b)) = (self.dof(drives[0].dof), self.dof(drives[1].dof)) else { return };
        let angles = |x: f64, y: f64| -> Option<[f64; 2]> {
            let q = [drives[0].output(x), drives[1].output(y)];
            match m {
                Mechanism::FiveBar { linkage, .. } => linkage.inverse(q).ok(),
                Mechanism::Differential { linkage, .. } => Some(linkage.inverse(q)),
                _ => None,
            }
        };
        let along = |d: &DofSpec, s: f64| d.skin_min + (d.skin_max - d.skin_min) * s / f64::from(STEPS);
        let at = |i: f64, j: f64| angles(along(a, i), along(b, j));
        let mut needed = [(f64::INFINITY, f64::NEG_INFINITY); 2];
        let mut widen = |theta: [f64; 2]| {
            for (slot, t) in needed.iter_mut().zip(theta) {
                *slot = (slot.0.min(t), slot.1.max(t));
            }
        };
        if let Some(theta) = angles(a.rest, b.rest) {
            widen(theta);
        }
        for i in (0..=STEPS).map(f64::from) {
            for j in (0..=STEPS).map(f64::from) {
                let here = at(i, j);
                here.into_iter().for_each(&mut widen);
                for (di, dj) in [(1.0, 0.0), (0.0, 1.0)] {
                    let there = at(i + di, j + dj);
                    if i + di > f64::from(STEPS)
                        || j + dj > f64::from(STEPS)
                        || here.is_some() == there.is_some()
                    {
                        continue;
                    }
                    // The workspace ends between these two points, and angles are steepest there.
                    let (mut inside, mut outside) = if here.is_some() { (0.0, 1.0) } else { (1.0, 0.0) };
                    for _ in 0..HALVINGS {
                        let s: f64 = 0.5 * (inside + outside);
                        match at(i + s * di, j + s * dj) {
                            Some(theta) => {
                                widen(theta);
                                inside = s;
                            }
                            None => outside = s,
                        }
                    }
                }
            }
        }
        for (id, (low, high)) in m.servos().iter().zip(needed) {
            if low <= high {
                let slot = &mut travel[id.0];
                *slot = (slot.0.max(low - MARGIN), slot.1.min(high + MARGIN));
            }
        }
    }
}

/// Directions of the pattern search, evenly round: enough that a slanting edge of the workspace
/// leaves one that comes nearer.
const DIRECTIONS: u32 = 24;
/// Most moves and halvings of the pattern search.
const PATTERN_TRIES: usize = 200;
/// Step below which the pattern search stops, mm.
const PATTERN_FINEST: f64 = 1e-3;

/// Angle for a linkage output, held to the linkage's range.
fn single_angle(single: Single<'_>, q: f64) -> f64 {
    let (low, high) = single.range();
    match single.inverse(q) {
        Ok(theta) => theta.clamp(low, high),
        // Out of reach: the end whose output is nearer (both ends are finite wherever q has bounds).
        Err(_) => {
            let (a, b) = (single.forward(low), single.forward(high));
            if (a - q).abs() <= (b - q).abs() { low } else { high }
        }
    }
}
