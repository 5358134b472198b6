//! What a person may set about motion, and what planning refuses.

use super::solver::ProblemError;
use crate::rig::RigError;
use crate::units::Seconds;
use serde::{Deserialize, Serialize};

/// Settings of the planner. [`PlanSettings::validate`] runs on entry to every planning function.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct PlanSettings {
    /// Controller frame: how often it sends pulses. 0.01–0.04 s; hobby servos expect 0.02 (50 Hz).
    #[serde(rename = "frame_s")]
    pub frame: Seconds,
    /// How long before its sound a shape shows. Usual −0.1–0.3 s, default 0.03: inside an utterance
    /// natural speech runs from 20 ms sound first to 70 ms face first (J.-L. Schwartz and
    /// C. Savariaux, PLoS Comput. Biol. 10(7), 2014).
    #[serde(rename = "visual_lead_s")]
    pub visual_lead: Seconds,
    /// Further lead of the jaw.
    #[serde(rename = "jaw_lead_s")]
    pub jaw_lead: Seconds,
    /// Further lead of the lips.
    #[serde(rename = "lip_lead_s")]
    pub lip_lead: Seconds,
    /// Further lead of the mouth corners, default 0.03 s: rounding and spreading start before the
    /// consonants ahead of their vowel (100–300 ms is plausible; the coarticulation weights do the
    /// rest).
    #[serde(rename = "corner_lead_s")]
    pub corner_lead: Seconds,
    /// Further lead of the tongue.
    #[serde(rename = "tongue_lead_s")]
    pub tongue_lead: Seconds,
    /// How long after its pulse a servo shows the position. Default 0.02 s: one controller frame.
    #[serde(rename = "servo_lag_s")]
    pub servo_lag: Seconds,
    /// How long after the controller's trigger the sound is heard. Default 0.
    #[serde(rename = "audio_delay_s")]
    pub audio_delay: Seconds,
    /// How far a shape reaches into its neighbours, default 0.035 s: half of the time over which one
    /// target fades into the next. Usual 0.02–0.08.
    #[serde(rename = "overlap_s")]
    pub overlap: Seconds,
    /// Weight of the squared second difference against the squared error of a fully important DOF
    /// (mm² per frame² against mm²), default 0.05. Larger is softer.
    pub smoothness: f64,
    /// Weight of the squared third difference, default 0. Costs half as much time again.
    pub jerk: f64,
    /// Weight of the rest pose close to speech, default 0.15: across a short pause the mouth goes
    /// straight to the next shape.
    pub rest_near_speech: f64,
    /// Weight of the rest pose deep inside a silence, default 2.
    pub rest_in_silence: f64,
    /// How deep inside a silence its weight is full, default 0.35 s.
    #[serde(rename = "silence_depth_s")]
    pub silence_depth: Seconds,
    /// Price of a lip closure missed, per mm of gap, default 2000 (mm² of squared error a mm). A
    /// price far above what any vowel can pay puts closures first wherever the servos allow it.
    pub closure_price: f64,
    /// Price of a tongue contact missed, per mm, default 300.
    pub tongue_price: f64,
    /// Share of the objective within which the plan is proven optimal, default 1e-4.
    pub tolerance: f64,
}

impl Default for PlanSettings {
    fn default() -> Self {
        Self {
            frame: Seconds::new(0.02),
            visual_lead: Seconds::new(0.03),
            jaw_lead: Seconds::ZERO,
            lip_lead: Seconds::ZERO,
            corner_lead: Seconds::new(0.03),
            tongue_lead: Seconds::ZERO,
            servo_lag: Seconds::new(0.02),
            audio_delay: Seconds::ZERO,
            overlap: Seconds::new(0.035),
            smoothness: 0.05,
            jerk: 0.0,
            rest_near_speech: 0.15,
            rest_in_silence: 2.0,
            silence_depth: Seconds::new(0.35),
            closure_price: 2000.0,
            tongue_price: 300.0,
            tolerance: 1e-4,
        }
    }
}

impl PlanSettings {
    /// Checks every field against the range its documentation gives.
    ///
    /// # Errors
    /// [`MotionError::BadSetting`] names the field, its value and what is allowed.
    pub fn validate(&self) -> Result<(), MotionError> {
        let second = |field, value: Seconds, low: f64, high: f64, must| {
            let v = value.value();
            if v >= low && v <= high {
                Ok(())
            } else {
                Err(MotionError::BadSetting { field, value: v, must })
            }
        };
        second("frame_s", self.frame, 0.01 - 1e-9, 0.04 + 1e-9, "between 0.01 and 0.04 s")?;
        const SHIFT: &str = "between -1 and 1 s";
        for (field, value) in [
            ("visual_lead_s", self.visual_lead),
            ("jaw_lead_s", self.jaw_lead),
            ("lip_lead_s", self.lip_lead),
            ("corner_lead_s", self.corner_lead),
            ("tongue_lead_s", self.tongue_lead),
        ] {
            second(field, value, -1.0, 1.0, SHIFT)?;
        }
        second("servo_lag_s", self.servo_lag, 0.0, 1.0, "between 0 and 1 s")?;
        second("audio_delay_s", self.audio_delay, -5.0, 5.0, "between -5 and 5 s")?;
        second("overlap_s", self.overlap, 0.0, 0.5, "between 0 and 0.5 s")?;
        second("silence_depth_s", self.silence_depth, 0.01, 10.0, "between 0.01 and 10 s")?;
        for (field, value, low, high) in [
            ("smoothness", self.smoothness, 0.0, 1e4),
            ("jerk", self.jerk, 0.0, 1e4),
            ("rest_near_speech", self.rest_near_speech, 0.0, 1e3),
            ("rest_in_silence", self.rest_in_silence, 0.0, 1e3),
            ("closure_price", self.closure_price, 1e-3, 1e7),
            ("tongue_price", self.tongue_price, 1e-3, 1e7),
            ("tolerance", self.tolerance, 1e-9, 0.1),
        ] {
            if !(value >= low && value <= high) {
                return Err(MotionError::BadSetting { field, value, must: "inside its documented range" });
            }
        }
        Ok(())
    }

    /// By how much the planned time runs ahead of the line's time for a shape without lead.
    pub(super) fn advance(&self) -> f64 {
        self.servo_lag.value() - self.audio_delay.value()
    }
}

/// What planning refuses.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MotionError {
    /// The caller asked to stop.
    #[error("planning was cancelled")]
    Cancelled,
    /// A setting outside its range.
    #[error("setting '{field}' is {value}; it must be {must}")]
    BadSetting {
        /// Field name as in files.
        field: &'static str,
        /// Its value.
        value: f64,
        /// What is allowed.
        must: &'static str,
    },
    /// The line's length is not a length.
    #[error("the line's duration is {0} s; it must be between 0 and {most} s", most = MotionError::LONGEST_LINE)]
    BadDuration(f64),
    /// A segment that cannot be placed in time.
    #[error("segment {index}: {what}; segments must be in order, without overlap, inside the line")]
    BadSegment {
        /// Position in the list.
        index: usize,
        /// What is wrong.
        what: &'static str,
    },
    /// A key of the expression lane that cannot be played.
    #[error(
        "expression {index}: its time must be a number and after the one before, its amount 0 to 1.5, its values at most 360; correct the lane"
    )]
    BadExpression {
        /// Position in the lane.
        index: usize,
    },
    /// A blink or a turn of the head that cannot be played.
    #[error(
        "event {index}: its time must be a number and not before the one before, its angle at most 90 deg, its times those of a turn; correct the events"
    )]
    BadEvent {
        /// Position in the line.
        index: usize,
    },
    /// A rig that cannot stand at rest within its own limits.
    #[error("servo '{servo}' cannot hold its rest angle: {what}; correct the rig")]
    RestOutOfReach {
        /// Servo name.
        servo: String,
        /// Which limit forbids it.
        what: String,
    },
    /// A plan can be changed only on the rig that it was made for.
    #[error("the plan was made for another rig; plan the whole line again")]
    OtherRig,
    /// A rig changed for a comparison is no rig.
    #[error(transparent)]
    Rig(#[from] RigError),
    /// The planner posed a problem that its solver refuses.
    #[error("the rig or the line leads to numbers that cannot be planned with: {0}")]
    Problem(#[from] ProblemError),
}

impl MotionError {
    /// Longest line that is planned, seconds: three hours.
    pub const LONGEST_LINE: f64 = 10_800.0;
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames from a hundredth to a twenty-fifth of a second, both ends included.
    #[test]
    fn the_shortest_and_the_longest_frame_are_allowed() {
        for (frame, good) in [(0.01, true), (0.04, true), (0.0099, false), (0.0401, false)] {
            let settings = PlanSettings { frame: Seconds::new(frame), ..PlanSettings::default() };
            assert_eq!(settings.validate().is_ok(), good, "{frame} s");
        }
    }
}
