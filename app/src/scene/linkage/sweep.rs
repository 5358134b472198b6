//! How a mechanism is moved through its range.

use super::Zones;
use lipwright_core::rig::{DofValues, Mechanism, Rig};
use lipwright_core::units::Degrees;

/// The ranges of a one-servo mechanism; `None` for two servos, whose ranges depend on each other.
#[must_use]
pub fn zones(rig: &Rig, mechanism: usize) -> Option<Zones> {
    let m = rig.mechanisms().get(mechanism)?;
    let (low, high) = m.range()?;
    let id = *m.servos().first()?;
    let (a, b) = rig.servos().get(id.0)?.pulse_travel();
    let pulse = (a.value(), b.value());
    let within = |(low, high): (f64, f64), outer: (f64, f64)| {
        let low = low.clamp(outer.0, outer.1);
        (low, high.clamp(low, outer.1))
    };
    let linkage = within((low, high), pulse);
    let (low, high) = rig.travel(id);
    Some(Zones { pulse, linkage, free: within((low.value(), high.value()), linkage) })
}

/// One angle per servo of the rig, with one mechanism `turn` (0 to 1 and round again) of the way
/// through its range and the rest of the face at rest. Two servos go round an ellipse of what the
/// skin allows, as far as the linkage follows.
#[must_use]
pub fn sweep(rig: &Rig, mechanism: usize, turn: f64) -> Vec<Degrees> {
    let mut angles = rig.rest_angles();
    let Some(m) = rig.mechanisms().get(mechanism) else { return angles };
    let (sin, cos) = (std::f64::consts::TAU * turn).sin_cos();
    match m {
        Mechanism::FiveBar { drives, servos, .. } | Mechanism::Differential { drives, servos, .. } => {
            let mut wanted: DofValues = rig.rest();
            for (drive, share) in drives.iter().zip([cos, sin]) {
                if let Some(d) = rig.dof(drive.dof) {
                    wanted[d.dof] = 0.5 * (d.skin_min + d.skin_max) + 0.5 * share * (d.skin_max - d.skin_min);
                }
            }
            let reach = rig.reach(&wanted);
            for id in servos {
                if let (Some(to), Some(from)) = (angles.get_mut(id.0), reach.angles.get(id.0)) {
                    *to = *from;
                }
            }
        }
        Mechanism::Rotary { servo, .. }
        | Mechanism::PushRod { servo, .. }
        | Mechanism::Table { servo, .. } => {
            let (low, high) = rig.travel(*servo);
            if let Some(to) = angles.get_mut(servo.0) {
                *to = (low + high) / 2.0 - (high - low) * (0.5 * cos);
            }
        }
    }
    angles
}
