//! Plans become tracks.

use super::{Knot, ServoTrack, SmoothKnot, TrackError, TrackMeta};
use crate::motion::{Keyframe, Plan, SmoothKeyframe};
use crate::rig::Rig;

impl ServoTrack {
    /// The dense track of a plan: a pulse for every frame.
    ///
    /// # Errors
    /// Where the plan belongs to another rig, or its frame is no whole number of microseconds.
    pub fn from_plan(plan: &Plan, rig: &Rig, meta: TrackMeta) -> Result<Self, TrackError> {
        let curves = rig.servos().iter().zip(&plan.servos);
        let pulses: Vec<Vec<_>> = curves
            .map(|(servo, curve)| curve.planned.iter().map(|angle| servo.pulse(*angle)).collect())
            .collect();
        // A plan with more curves than the rig has servos is another rig's, too.
        let pulses = if plan.servos.len() == rig.servos().len() { pulses } else { Vec::new() };
        Self::dense(rig, meta, plan.frame, plan.start, &pulses)
    }

    /// The sparse track of a plan: `keyframes` as [`crate::motion::keyframes`] gives them.
    ///
    /// # Errors
    /// As [`ServoTrack::from_plan`], and where keyframes do not run from the first frame to the last.
    pub fn from_keyframes(
        plan: &Plan,
        keyframes: &[Vec<Keyframe>],
        rig: &Rig,
        meta: TrackMeta,
    ) -> Result<Self, TrackError> {
        let knot = |k: &Keyframe| Knot { frame: k.frame, pulse: k.pulse };
        let knots: Vec<Vec<Knot>> =
            keyframes.iter().map(|column| column.iter().map(knot).collect()).collect();
        Self::keyed(rig, meta, plan.frame, plan.start, plan.frames(), &knots)
    }

    /// The sparse track of a plan in its smooth form: `keyframes` as
    /// [`crate::motion::smooth_keyframes`] gives them.
    ///
    /// # Errors
    /// As [`ServoTrack::from_keyframes`].
    pub fn from_smooth_keyframes(
        plan: &Plan,
        keyframes: &[Vec<SmoothKeyframe>],
        rig: &Rig,
        meta: TrackMeta,
    ) -> Result<Self, TrackError> {
        let knot = |k: &SmoothKeyframe| SmoothKnot { frame: k.frame, pulse: k.pulse, slope: k.slope };
        let knots: Vec<Vec<SmoothKnot>> =
            keyframes.iter().map(|column| column.iter().map(knot).collect()).collect();
        Self::smooth(rig, meta, plan.frame, plan.start, plan.frames(), &knots)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::Segment;
    use crate::motion::{PlanSettings, keyframes, plan, smooth_keyframes};
    use crate::phonetics::MouthShape;
    use crate::progress::Quiet;
    use crate::rig::{Preset, ResponsePoint};
    use crate::units::{Microseconds, Seconds};

    /// Every shape once, 120 ms each, between rests.
    fn line() -> Vec<Segment> {
        let mut segments = Vec::new();
        let mut start = 0.0;
        let inner = MouthShape::ALL.into_iter().skip(1);
        for shape in std::iter::once(MouthShape::Rest).chain(inner).chain([MouthShape::Rest]) {
            let length = if shape == MouthShape::Rest { 0.3 } else { 0.12 };
            segments.push(Segment::new(Seconds::new(start), Seconds::new(start + length), shape));
            start += length;
        }
        segments
    }

    #[test]
    fn plans_for_every_preset_pass_the_judge_in_every_form() {
        let segments = line();
        let duration = segments[segments.len() - 1].end;
        for preset in Preset::ALL {
            let rig = preset.rig();
            let plan = plan(&segments, duration, &rig, &PlanSettings::default(), &mut Quiet).expect("plans");
            let meta = TrackMeta { line: "all shapes".into(), ..TrackMeta::default() };
            let dense = ServoTrack::from_plan(&plan, &rig, meta.clone()).expect("fits");
            assert_eq!(dense.frames(), plan.frames());
            dense.export_json(&rig).unwrap_or_else(|e| panic!("{}: {e}", preset.name()));
            dense.export_csv(&rig).unwrap_or_else(|e| panic!("{}: {e}", preset.name()));
            let knots = keyframes(&plan, &rig, Microseconds::new(4.0));
            let keyed = ServoTrack::from_keyframes(&plan, &knots, &rig, meta.clone()).expect("fits");
            keyed.export_json(&rig).unwrap_or_else(|e| panic!("{}: {e}", preset.name()));
            let curves = smooth_keyframes(&plan, &rig, Microseconds::new(4.0));
            let smooth = ServoTrack::from_smooth_keyframes(&plan, &curves, &rig, meta.clone()).expect("fits");
            assert!(smooth.is_smooth() && smooth.is_keyed());
            smooth.export_json(&rig).unwrap_or_else(|e| panic!("{}: {e}", preset.name()));
            smooth.export_csv(&rig).unwrap_or_else(|e| panic!("{}: {e}", preset.name()));
            let other = if preset == Preset::JawOnly { Preset::FoamPuppet } else { Preset::JawOnly };
            assert!(ServoTrack::from_plan(&plan, &other.rig(), meta).is_err(), "another rig's plan");
        }
    }

    /// Heads with any choice of the full head's parts: the planner's promise and the judge's opinion
    /// come from different code, and must agree.
    #[test]
    fn plans_for_any_part_of_the_full_head_pass_the_judge() {
        let segments = line();
        let duration = segments[segments.len() - 1].end;
        let whole = Preset::Harbourmaster.describe();
        for mask in [
            0b1u32,
            0b10,
            0b100_0000,
            0b1000_0000,
            0b10_0000_0001,
            0b1001_1011,
            0b11_1110_0000_0000,
            0b1111_1111,
        ] {
            let mut d = whole.clone();
            let keep = |i: usize| mask >> i & 1 == 1;
            let mut i = 0;
            d.mechanisms.retain(|_| (keep(i), i += 1).0);
            d.servos.retain(|s| d.mechanisms.iter().any(|m| m.servos.contains(&s.name)));
            d.dofs.retain(|x| d.mechanisms.iter().any(|m| m.drives.iter().any(|drive| drive.dof == x.dof)));
            d.couplings.retain(|c| c.terms.iter().all(|t| d.dofs.iter().any(|x| x.dof == t.dof)));
            let rig = crate::rig::Rig::new(d).unwrap_or_else(|e| panic!("{mask:b}: {e}"));
            let plan = plan(&segments, duration, &rig, &PlanSettings::default(), &mut Quiet).expect("plans");
            let track = ServoTrack::from_plan(&plan, &rig, TrackMeta::default()).expect("fits");
            track.export_json(&rig).unwrap_or_else(|e| panic!("{mask:b}: {e}"));
        }
    }

    /// A skin that gives less than it is asked, differently over its travel: what the planner
    /// promises about the seen face, the judge finds through the same measured response.
    #[test]
    fn plans_through_a_measured_skin_pass_the_judge() {
        let mut d = Preset::Harbourmaster.describe();
        for x in d.dofs.iter_mut().filter(|x| x.dof.part() == crate::rig::FacePart::Lips) {
            let point = |share: f64, give: f64| {
                let asked = share.abs() * if share < 0.0 { x.skin_min } else { x.skin_max };
                let extra = Default::default();
                ResponsePoint {
                    asked,
                    seen_rising: give * asked - 0.1,
                    seen_falling: give * asked + 0.1,
                    extra,
                }
            };
            let response =
                vec![point(-1.0, 0.8), point(-0.4, 0.95), point(0.0, 1.0), point(0.4, 0.95), point(1.0, 0.8)];
            (x.response, x.skin_min, x.skin_max) = (response, 0.8 * x.skin_min, 0.8 * x.skin_max);
        }
        let rig = crate::rig::Rig::new(d).unwrap_or_else(|e| panic!("{e}"));
        let segments = line();
        let duration = segments[segments.len() - 1].end;
        let plan = plan(&segments, duration, &rig, &PlanSettings::default(), &mut Quiet).expect("plans");
        let track = ServoTrack::from_plan(&plan, &rig, TrackMeta::default()).expect("fits");
        track.export_json(&rig).unwrap_or_else(|e| panic!("{e}"));
    }
}
