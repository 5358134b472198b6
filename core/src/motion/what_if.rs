//! Which faster servos would buy the most: the question before the purchase.

use super::plan::plan;
use super::settings::{MotionError, PlanSettings};
use crate::line::Segment;
use crate::progress::{Progress, Quiet};
use crate::rig::{FacePart, Rig, RigError, ServoId};
use crate::units::Seconds;

/// What a line would come to on a head with other servos.
#[derive(Clone, Debug, PartialEq)]
pub struct WhatIf {
    /// Part of the face whose servos are exchanged; `None` = all of them.
    pub part: Option<FacePart>,
    /// Speed (and acceleration) against what the rig has: 1 is the head as it is.
    pub factor: f64,
    /// Servos exchanged.
    pub servos: Vec<ServoId>,
    /// Closures made, of those asked for.
    pub closures_reached: usize,
    /// Closures asked for.
    pub closures: usize,
    /// Tongue contacts made.
    pub tongue_contacts_reached: usize,
    /// Targets that matter and were not reached.
    pub shortfalls: usize,
    /// Root of the weighted mean squared error of the face, mm.
    pub weighted_error: f64,
}

/// Plans a line on the head as it is, then with the servos of each part of the mouth, and all of
/// them, faster (or slower) by each factor. Rows come in that order: as it is; then per factor all
/// servos, jaw, lips, corners, tongue, as far as the head has them.
///
/// Speed and acceleration are multiplied together: a servo that is quicker at full speed is, as a
/// rule, quicker to get there. Progress is reported as "comparing servos".
///
/// # Errors
/// As [`plan`], and where a factor is not between 0.05 and 20.
pub fn what_if(
    segments: &[Segment],
    duration: Seconds,
    rig: &Rig,
    settings: &PlanSettings,
    factors: &[f64],
    progress: &mut dyn Progress,
) -> Result<Vec<WhatIf>, MotionError> {
    if let Some(&value) = factors.iter().find(|f| !(0.05..=20.0).contains(*f)) {
        return Err(MotionError::BadSetting { field: "speed factor", value, must: "between 0.05 and 20" });
    }
    let mut cases: Vec<(Option<FacePart>, f64)> = vec![(None, 1.0)];
    for &factor in factors {
        cases.push((None, factor));
        for part in [FacePart::Jaw, FacePart::Lips, FacePart::Corners, FacePart::Tongue] {
            if !servos_of(rig, Some(part)).is_empty() {
                cases.push((Some(part), factor));
            }
        }
    }
    let mut out = vec![];
    for (i, &(part, factor)) in cases.iter().enumerate() {
        if !progress.report("comparing servos", i as f64 / cases.len() as f64) {
            return Err(MotionError::Cancelled);
        }
        let servos = if factor == 1.0 { vec![] } else { servos_of(rig, part) };
        let other = with_speed(rig, &servos, |s| s / factor, factor)?;
        let plan = plan(segments, duration, &other, settings, &mut Quiet)?;
        let s = &plan.summary;
        out.push(WhatIf {
            part,
            factor,
            servos,
            closures_reached: s.closures_reached,
            closures: s.closures,
            tongue_contacts_reached: s.tongue_contacts_reached,
            shortfalls: plan.shortfalls.len(),
            weighted_error: s.weighted_error,
        });
    }
    Ok(out)
}

/// The rig with servos of another data-sheet speed (time for 60 degrees, no load): those that drive
/// `part`, or all. Accelerations stay as they are.
///
/// # Errors
/// Where the rig refuses the speed.
pub fn with_servo_speed(rig: &Rig, part: Option<FacePart>, per_60_degrees: Seconds) -> Result<Rig, RigError> {
    with_speed(rig, &servos_of(rig, part), |_| per_60_degrees.value(), 1.0)
}

fn with_speed(
    rig: &Rig,
    servos: &[ServoId],
    speed: impl Fn(f64) -> f64,
    acceleration: f64,
) -> Result<Rig, RigError> {
    let mut description = rig.description().clone();
    for id in servos {
        if let Some(servo) = description.servos.get_mut(id.0) {
            servo.speed_s_per_60deg = speed(servo.speed_s_per_60deg);
            servo.acceleration_deg_per_s2 *= acceleration;
        }
    }
    Rig::new(description)
}

fn servos_of(rig: &Rig, part: Option<FacePart>) -> Vec<ServoId> {
    let drives = |id: ServoId, part: FacePart| {
        rig.mechanism_of(id).is_some_and(|m| m.drives().iter().any(|d| d.dof.part() == part))
    };
    rig.servos().iter().map(|s| s.id).filter(|&id| part.is_none_or(|p| drives(id, p))).collect()
}

#[cfg(test)]
#[path = "tests/what_if.rs"]
mod tests;
