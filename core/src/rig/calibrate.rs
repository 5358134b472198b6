//! Measured on the bench: pulses sent, millimetres seen.

use super::least_squares::{ROUNDS, least_squares, solve};
use super::{PushRod, Servo, TablePoint};
use crate::units::Microseconds;
use serde_json::Map;

/// Why measurements do not make a calibration.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CalibrationError {
    /// Fewer points than needed.
    #[error("{have} points are measured, {needed} are needed; measure more, evenly over the travel")]
    TooFew {
        /// Points given.
        have: usize,
        /// Points needed.
        needed: usize,
    },
    /// A point is no number.
    #[error("point {index} is not a pair of numbers; measure it again")]
    NotFinite {
        /// Which, from 0.
        index: usize,
    },
    /// A pulse stands there twice with different values.
    #[error("pulse {pulse} was measured twice, as {first} and {second}; keep the better one")]
    Contradiction {
        /// The pulse.
        pulse: Microseconds,
        /// One value.
        first: f64,
        /// The other.
        second: f64,
    },
    /// The value hardly changes.
    #[error("the value hardly changes over the measured pulses; check that the servo moves the part")]
    Flat,
    /// No sizes fit the points.
    #[error("no push-rod of these lengths fits the points; use a measured table instead")]
    NoFit,
}

/// What measured points say about a linkage.
#[derive(Clone, Debug, PartialEq)]
pub struct LinkageMeasurement {
    /// Longest stretch over which the value keeps going one way, by rising pulse: ready for a table.
    pub points: Vec<TablePoint>,
    /// Pulse beyond which the linkage folds back, below the stretch.
    pub folds_below: Option<Microseconds>,
    /// Pulse beyond which the linkage folds back, above the stretch.
    pub folds_above: Option<Microseconds>,
    /// How well the points agree: what a smooth curve through them leaves (least-squares polynomial
    /// of degree 2, from seven points on 3), root mean square, in the value's unit. None with fewer
    /// than five points in the stretch.
    pub residual: Option<f64>,
    /// The point that agrees least: its pulse, and by how much it lies above the curve.
    pub worst: Option<(Microseconds, f64)>,
}

/// Judges five to nine points (pulse, value seen), in any order.
///
/// # Errors
/// Fewer than three points, points that are no numbers or contradict each other, a value that does
/// not change.
pub fn measure_linkage(measured: &[(Microseconds, f64)]) -> Result<LinkageMeasurement, CalibrationError> {
    let points = sorted(measured, 3)?;
    let values = points.iter().map(|p| p.1);
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    if high - low < 1e-6 {
        return Err(CalibrationError::Flat);
    }
    // Longest run of steps of one sign; ties go to the one that covers more.
    let step = |i: usize| points[i + 1].1 - points[i].1;
    let mut best = (0, 0);
    let mut start = 0;
    for end in 1..points.len() {
        if step(end - 1) == 0.0 {
            start = end;
        } else if end - 1 > start && step(end - 1).signum() != step(end - 2).signum() {
            start = end - 1;
        }
        let span = |(a, b): (usize, usize)| (b - a, (points[b].1 - points[a].1).abs());
        if span((start, end)) > span(best) {
            best = (start, end);
        }
    }
    let (start, end) = best;
    let run = &points[start..=end];
    let left = smooth_misses(run);
    let residual = left.as_ref().map(|l| (l.iter().map(|m| m * m).sum::<f64>() / l.len() as f64).sqrt());
    let worst = left.and_then(|l| {
        let (k, by) = l.into_iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
        Some((Microseconds::new(run[k].0), by))
    });
    Ok(LinkageMeasurement {
        points: run
            .iter()
            .map(|(pulse_us, value)| TablePoint { pulse_us: *pulse_us, value: *value, extra: Map::new() })
            .collect(),
        folds_below: (start > 0).then(|| Microseconds::new(run[0].0)),
        folds_above: (end + 1 < points.len()).then(|| Microseconds::new(run[run.len() - 1].0)),
        residual,
        worst,
    })
}

/// By rising pulse; equal points once.
fn sorted(measured: &[(Microseconds, f64)], needed: usize) -> Result<Vec<(f64, f64)>, CalibrationError> {
    if let Some(index) = measured.iter().position(|m| !m.0.is_finite() || !m.1.is_finite()) {
        return Err(CalibrationError::NotFinite { index });
    }
    let mut points: Vec<(f64, f64)> = measured.iter().map(|m| (m.0.value(), m.1)).collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    for pair in points.windows(2) {
        if pair[0].0 == pair[1].0 && pair[0].1 != pair[1].1 {
            let pulse = Microseconds::new(pair[0].0);
            return Err(CalibrationError::Contradiction { pulse, first: pair[0].1, second: pair[1].1 });
        }
    }
    points.dedup();
    if points.len() < needed {
        return Err(CalibrationError::TooFew { have: points.len(), needed });
    }
    Ok(points)
}

/// A push-rod fitted to measured points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PushRodFit {
    /// The linkage: lengths as given, neutral horn angle and lever ratio fitted.
    pub linkage: PushRod,
    /// Value at the neutral pulse.
    pub at_neutral: f64,
    /// Root mean square of what is left.
    pub residual: f64,
    /// Largest difference.
    pub worst: f64,
}

/// Fits horn angle, lever ratio and value at neutral to measured points, starting from `guess`
/// (whose lengths are kept): damped Gauss-Newton (Levenberg 1944, Marquardt 1963) on
/// value = lever · (x(φ + θ) − x(φ)) + at neutral.
///
/// # Errors
/// Fewer than four points, points that are no numbers, or a fit that leaves more than a tenth of the
/// measured span.
pub fn fit_push_rod(
    servo: &Servo,
    measured: &[(Microseconds, f64)],
    guess: PushRod,
) -> Result<PushRodFit, CalibrationError> {
    let points: Vec<(f64, f64)> = sorted(measured, 4)?
        .into_iter()
        .map(|(pulse, value)| (servo.angle(Microseconds::new(pulse)).value(), value))
        .collect();
    let rod = |p: [f64; 3]| PushRod { neutral_horn: p[0], lever: p[1], ..guess };
    let misses = |p: [f64; 3]| -> Vec<f64> {
        let rod = rod(p);
        points.iter().map(|(theta, value)| rod.forward(*theta) + p[2] - value).collect()
    };
    // Steps for the differences: degrees, ratio, millimetres.
    let p = least_squares([guess.neutral_horn, guess.lever, 0.0], [1e-4, 1e-6, 1e-6], ROUNDS, misses);
    let now = misses(p);
    let residual = (now.iter().map(|m| m * m).sum::<f64>() / now.len() as f64).sqrt();
    let worst = now.iter().fold(0.0f64, |m, x| m.max(x.abs()));
    let span = points.iter().map(|x| x.1).fold(f64::NEG_INFINITY, f64::max)
        - points.iter().map(|x| x.1).fold(f64::INFINITY, f64::min);
    let linkage = rod(p);
    let (low, high) = linkage.range();
    let inside = points.iter().all(|(theta, _)| low <= *theta && *theta <= high);
    if !(residual <= MOST_LEFT * span) || !inside || linkage.lever == 0.0 {
        return Err(CalibrationError::NoFit);
    }
    Ok(PushRodFit { linkage, at_neutral: p[2], residual, worst })
}

/// A fit that leaves more than this share of the measured span is none.
const MOST_LEFT: f64 = 0.1;

/// What the least-squares polynomial leaves at each point; none with fewer than five.
fn smooth_misses(points: &[(f64, f64)]) -> Option<Vec<f64>> {
    if points.len() < 5 {
        return None;
    }
    let terms = if points.len() < 7 { 3 } else { 4 };
    // Pulses are scaled to -1..1: powers of microseconds would leave no digits.
    let (first, last) = (points[0].0, points[points.len() - 1].0);
    let powers = |pulse: f64| -> Vec<f64> {
        let x = (2.0 * pulse - first - last) / (last - first);
        (0..terms).map(|k| x.powi(k)).collect()
    };
    let n = terms as usize;
    let mut normal = vec![vec![0.0; n + 1]; n];
    for (pulse, value) in points {
        let row = powers(*pulse);
        for r in 0..n {
            for c in 0..n {
                normal[r][c] += row[r] * row[c];
            }
            normal[r][n] += row[r] * value;
        }
    }
    let factors = solve(normal)?;
    let curve = |pulse: f64| powers(pulse).iter().zip(&factors).map(|(p, f)| p * f).sum::<f64>();
    Some(points.iter().map(|(pulse, value)| value - curve(*pulse)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::{LinkageDescription, Preset, Rig};

    fn servo() -> Servo {
        Rig::harbourmaster().servos()[1].clone()
    }

    fn measured(values: &[(f64, f64)]) -> Vec<(Microseconds, f64)> {
        values.iter().map(|(p, v)| (Microseconds::new(*p), *v)).collect()
    }

    #[test]
    fn a_clean_linkage_becomes_a_table_that_a_rig_accepts() {
        let points = measured(&[
            (1500.0, 0.4),
            (1300.0, -1.6),
            (1100.0, -3.4),
            (1700.0, 2.6),
            (1900.0, 4.9),
            (2000.0, 6.1),
        ]);
        let found = measure_linkage(&points).expect("rises");
        assert_eq!(found.points.len(), 6);
        assert_eq!((found.folds_below, found.folds_above), (None, None));
        assert!(found.residual.expect("six points") < 0.15, "{found:?}");
        let mut d = Preset::Harbourmaster.describe();
        d.mechanisms[1].linkage = LinkageDescription::Table { points: found.points };
        d.mechanisms[1].drives[0].at_neutral = 0.0;
        let rig = Rig::new(d).expect("a measured lip");
        let up = rig.reach(&crate::rig::DofValues::from_pairs(&[(crate::rig::Dof::UpperLipLeft, 2.6)]));
        assert!((rig.servos()[1].pulse(up.angles[1]).value() - 1700.0).abs() < 1e-6);
    }

    #[test]
    fn folding_back_is_found_and_cut_off() {
        let points = measured(&[
            (900.0, -2.0),
            (1100.0, -3.0),
            (1300.0, -1.0),
            (1500.0, 1.0),
            (1700.0, 3.0),
            (1900.0, 4.0),
            (2100.0, 3.5),
        ]);
        let found = measure_linkage(&points).expect("mostly rises");
        assert_eq!(found.folds_below, Some(Microseconds::new(1100.0)));
        assert_eq!(found.folds_above, Some(Microseconds::new(1900.0)));
        assert_eq!(found.points.len(), 5);
    }

    #[test]
    fn a_slipped_reading_stands_out() {
        let mut points =
            measured(&[(1100.0, -4.0), (1300.0, -2.0), (1500.0, 0.0), (1700.0, 2.0), (1900.0, 4.0)]);
        points[2].1 += 0.8;
        let found = measure_linkage(&points).expect("still rises");
        let (pulse, by) = found.worst.expect("five points");
        assert_eq!(pulse, Microseconds::new(1500.0));
        // A parabola through five points takes 17/35 of a spike in the middle.
        assert!(
            (by - 0.8 * 18.0 / 35.0).abs() < 1e-9 && found.residual.expect("five points") > 0.2,
            "{found:?}"
        );
    }

    #[test]
    fn measurements_that_say_nothing_are_refused() {
        assert_eq!(
            measure_linkage(&measured(&[(1.0, 2.0)])),
            Err(CalibrationError::TooFew { have: 1, needed: 3 })
        );
        assert_eq!(
            measure_linkage(&measured(&[(1.0, 2.0), (2.0, 2.0), (3.0, 2.0)])),
            Err(CalibrationError::Flat)
        );
        assert_eq!(
            measure_linkage(&measured(&[(1.0, f64::NAN)])),
            Err(CalibrationError::NotFinite { index: 0 })
        );
        let twice = measured(&[(1.0, 2.0), (1.0, 3.0), (2.0, 4.0)]);
        assert!(matches!(measure_linkage(&twice), Err(CalibrationError::Contradiction { .. })));
    }

    #[test]
    fn a_push_rod_is_found_from_its_own_motion() {
        let servo = servo();
        let truth =
            PushRod { horn_radius: 14.0, rod_length: 45.0, offset: 3.0, neutral_horn: 103.0, lever: -0.8 };
        let points: Vec<(Microseconds, f64)> = (0..7)
            .map(|i| {
                let theta = crate::units::Degrees::new(-36.0 + 12.0 * f64::from(i));
                (servo.pulse(theta), truth.forward(theta.value()) + 1.25)
            })
            .collect();
        let guess = PushRod { neutral_horn: 90.0, lever: -1.0, ..truth };
        let fit = fit_push_rod(&servo, &points, guess).expect("fits");
        assert!((fit.linkage.neutral_horn - 103.0).abs() < 1e-5, "{fit:?}");
        assert!((fit.linkage.lever + 0.8).abs() < 1e-7 && (fit.at_neutral - 1.25).abs() < 1e-7);
        assert!(fit.residual < 1e-8);
        // Readings to a tenth of a millimetre leave about that much.
        let rough: Vec<_> = points.iter().map(|(p, v)| (*p, (v * 10.0).round() / 10.0)).collect();
        let fit = fit_push_rod(&servo, &rough, guess).expect("fits");
        assert!(fit.residual < 0.05 && fit.worst < 0.1, "{fit:?}");
    }

    #[test]
    fn what_is_no_push_rod_does_not_fit() {
        let zigzag = measured(&[(1100.0, 0.0), (1300.0, 5.0), (1500.0, 0.0), (1700.0, 5.0), (1900.0, 0.0)]);
        let guess =
            PushRod { horn_radius: 14.0, rod_length: 45.0, offset: 0.0, neutral_horn: 90.0, lever: 1.0 };
        assert_eq!(fit_push_rod(&servo(), &zigzag, guess), Err(CalibrationError::NoFit));
    }
}
