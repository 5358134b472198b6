//! Where a limited value may be at its worst between two frames.
//!
//! Servo angles run straight between frames; the face does not. Its limited values are looked at in
//! quarters of the way, and where a parabola through three of these turns close to a limit, the turning
//! point itself is looked for.

use super::head::FaceLimit;

/// Quarters of the way.
const PARTS: usize = 4;

/// A turning point further inside a limit than this (mm) needs no closer look.
const CLOSE: f64 = 0.02;

/// Narrowings of the search: to a ten-thousandth of the way, where a curve turns flat enough.
const NARROWINGS: usize = 18;

/// Moments (0 to 1, the start included, the end not) to look at. `values` gives the value of every limit
/// at a moment.
pub(super) fn moments(limits: &[FaceLimit], values: impl Fn(f64) -> Vec<f64>) -> Vec<f64> {
    let part = |k: usize| k as f64 / PARTS as f64;
    let mut out: Vec<f64> = (0..PARTS).map(part).collect();
    let seen: Vec<Vec<f64>> = (0..=PARTS).map(|k| values(part(k))).collect();
    for (l, limit) in limits.iter().enumerate() {
        for (sign, bound) in [(1.0, limit.upper), (-1.0, -limit.lower)] {
            for k in 1..PARTS {
                let [a, b, c] = [k - 1, k, k + 1].map(|k| sign * seen[k][l]);
                let bend = 2.0 * b - a - c;
                let at = 0.5 * (c - a) / bend.max(f64::MIN_POSITIVE);
                // Upwards it turns only where it bends down, and here within these three.
                if !(bend > 0.0 && at.abs() <= 1.0) || b + 0.25 * (c - a) * at < bound - CLOSE {
                    continue;
                }
                let middle = (k as f64 + at) / PARTS as f64;
                let (low, high) = ((middle - part(1)).max(0.0), (middle + part(1)).min(1.0));
                out.push(highest(low, high, |u| sign * values(u)[l]));
            }
        }
    }
    out
}

/// The place of the highest value between two places, for a curve that turns once (golden section).
fn highest(mut low: f64, mut high: f64, value: impl Fn(f64) -> f64) -> f64 {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let (mut a, mut b) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut at_a, mut at_b) = (value(a), value(b));
    for _ in 0..NARROWINGS {
        if at_a > at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - GOLDEN * (high - low);
            at_a = value(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + GOLDEN * (high - low);
            at_b = value(b);
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::super::head::Form;
    use super::*;

    #[test]
    fn turning_points_are_found_wherever_they_lie() {
        let limit = FaceLimit { form: Form { terms: vec![], constant: 0.0 }, lower: -1.0, upper: 1.0 };
        for turn in [0.03, 0.2, 0.4, 0.55, 0.875, 0.96] {
            for sign in [1.0, -1.0] {
                let curve = |u: f64| sign * (1.002 - 3.0 * (u - turn).powi(2) + (u - turn).powi(3));
                let at = moments(std::slice::from_ref(&limit), |u| vec![curve(u)]);
                let worst = at.iter().map(|&u| sign * curve(u)).fold(f64::NEG_INFINITY, f64::max);
                assert!(worst > 1.002 - 1e-7, "{turn}: {worst}");
            }
        }
        // Far inside the limits nobody looks closer.
        assert_eq!(moments(&[limit], |u| vec![0.5 - u * (u - 1.0)]).len(), PARTS);
    }

    /// Quarters always; where the curve turns only close to a limit, from inside or beyond. What bends away from the limit
    /// or lies flat along it turns nowhere.
    #[test]
    fn only_turning_points_close_to_a_limit_are_looked_at() {
        let limit = FaceLimit { form: Form { terms: vec![], constant: 0.0 }, lower: -1.0, upper: 1.0 };
        let looked = |curve: &dyn Fn(f64) -> f64| moments(std::slice::from_ref(&limit), |u| vec![curve(u)]);
        let quarters = [0.0, 0.25, 0.5, 0.75];
        for sign in [1.0, -1.0] {
            for (height, close) in [(0.985, true), (0.975, false), (1.5, true)] {
                let at = looked(&|u| sign * (height - 2.0 * (u - 0.4).powi(2)));
                assert_eq!((&at[..4], at.len() > 4), (&quarters[..], close), "{height}");
                assert!(at[4..].iter().all(|u| (u - 0.4).abs() < 1e-3), "{at:?}");
            }
            assert_eq!(looked(&|u| sign * (0.99 + (u - 0.5).powi(2))), quarters);
            assert_eq!(looked(&|_| sign), quarters);
        }
    }
}
