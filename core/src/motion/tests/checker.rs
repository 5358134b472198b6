//! An independent judge: reads pulses and the rig, and knows nothing of how they were made.
//!
//! Written from the definitions of the limits; shares no code with the planner.

use crate::motion::Plan;
use crate::rig::Rig;
use crate::units::{Degrees, Microseconds};

/// Pulses of a plan as they are written: rounded to 0.1 µs. `[servo][frame]`.
pub fn written(plan: &Plan, rig: &Rig) -> Vec<Vec<f64>> {
    rig.servos()
        .iter()
        .zip(&plan.servos)
        .map(|(servo, curve)| {
            curve.planned.iter().map(|a| (servo.pulse(*a).value() * 10.0).round() / 10.0).collect()
        })
        .collect()
}

/// Every breach of a limit by the pulses, played with straight lines between frames.
pub fn breaches(pulses: &[Vec<f64>], frame: f64, rig: &Rig) -> Vec<String> {
    let mut out = vec![];
    // A millionth of the range is the resolution of the judge itself.
    let above = |value: f64, limit: f64, range: f64| value > limit + 1e-6 * range;
    let rest = rig.rest_angles();
    let frames = pulses[0].len();
    for (servo, track) in rig.servos().iter().zip(pulses) {
        let mut say = |t: usize, what: &str, value: f64, limit: f64| {
            out.push(format!("{} frame {t}: {what} {value} against {limit}", servo.name));
        };
        assert_eq!(track.len(), frames);
        let angle: Vec<f64> = track.iter().map(|p| servo.angle(Microseconds::new(*p)).value()).collect();
        let (low, high) = rig.travel(servo.id);
        let rest = (servo.pulse(rest[servo.id.0]).value() * 10.0).round() / 10.0;
        for (t, &pulse) in track.iter().enumerate() {
            if !(pulse >= servo.pulse_min.value() && pulse <= servo.pulse_max.value()) {
                say(t, "pulse", pulse, servo.pulse_max.value());
            }
        }
        // A rest pose that stands on a skin limit may be rounded over it, by half a step of 0.1 us.
        let spare = 0.0501 / servo.us_per_degree.abs();
        for (t, &a) in angle.iter().enumerate() {
            if !a.is_finite() || a > high.value() + spare {
                say(t, "travel", a, high.value());
            }
            if a < low.value() - spare {
                say(t, "travel", a, low.value());
            }
        }
        for t in 0..frames - 1 {
            let v = (angle[t + 1] - angle[t]) / frame;
            let (up, down) = (servo.speed_up.value(), servo.speed_down.value());
            if above(v, up, up) || above(-v, down, down) {
                say(t, "speed", v, up.min(down));
            }
        }
        for t in 0..=frames {
            // At rest before the first and after the last frame.
            let at = |k: usize| angle[k.clamp(1, frames) - 1];
            let a = (at(t + 1) - 2.0 * at(t) + at(t.max(1) - 1)) / (frame * frame);
            if above(a.abs(), servo.acceleration.value(), servo.acceleration.value()) {
                say(t, "acceleration", a, servo.acceleration.value());
            }
        }
        for t in [0, 1, frames - 2, frames - 1] {
            if track[t] != rest {
                say(t, "not at rest", track[t], rest);
            }
        }
    }
    for t in 0..frames - 1 {
        let mut current = 0.0;
        for (servo, p) in rig.servos().iter().zip(pulses) {
            let v = (p[t + 1] - p[t]) / servo.us_per_degree / frame;
            let full = if v > 0.0 { servo.speed_up } else { servo.speed_down };
            current += servo.idle_current.value() + servo.moving_current.value() * v.abs() / full.value();
        }
        let budget = rig.supply().budget.value();
        if above(current, budget, budget) {
            out.push(format!("frame {t}: current {current} against {budget}"));
        }
        for k in 0..8 {
            let u = f64::from(k) / 8.0;
            let angles: Vec<Degrees> = rig
                .servos()
                .iter()
                .zip(pulses)
                .map(|(s, p)| s.angle(Microseconds::new(p[t] + u * (p[t + 1] - p[t]))))
                .collect();
            let face = rig.forward(&angles);
            for spec in rig.dofs() {
                let (value, range) = (face[spec.dof], spec.skin_max - spec.skin_min);
                // At rest the rounding of the pulse may show: 0.01 mm stands for it.
                let spare = if (value - spec.rest).abs() < 0.02 { 0.02 } else { 0.0 };
                if above(value, spec.skin_max + spare, range) || above(spec.skin_min, value + spare, range) {
                    out.push(format!("{} frame {t}+{u}: skin {value}", spec.dof));
                }
            }
            for coupling in rig.couplings() {
                let value = coupling.sum(&face);
                let (min, max) = (coupling.min.unwrap_or(-1e9), coupling.max.unwrap_or(1e9));
                if above(value, max, 1.0) || above(min, value, 1.0) {
                    out.push(format!("{} frame {t}+{u}: {value} against {min} to {max}", coupling.name));
                }
            }
            if let Some((m, error)) = rig.check_linkages(&angles).first() {
                out.push(format!("mechanism {m} frame {t}+{u}: {error}"));
            }
        }
    }
    out
}
