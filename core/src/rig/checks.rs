//! At a glance: do this head's poses differ, do its closures close, what does it give less of?

use super::{BlinkCourse, Dof, FacePart, Rig, Side, reference_face};
use crate::phonetics::MouthShape;
use crate::units::{Degrees, Millimetres, Seconds};
use std::fmt;

/// Two poses nearer than this look alike. At two metres 1.5 mm is 2.6 minutes of arc, a few times
/// what a good eye resolves (calculated; the factor is our choice).
pub const LOOK_ALIKE: Millimetres = Millimetres::new(1.5);

/// Alveolar, dental and rhotic must differ in the tongue by this share of a tongue servo's travel:
/// the tongue is there to tell them apart (common practice).
pub const TONGUE_SHARE: f64 = 0.25;

/// Gap up to which lips, or lip and teeth, count as touching.
const TOUCH: Millimetres = Millimetres::new(0.3);

/// How far an eyelid may stay from shut, mm.
const EYE_SHUT: f64 = 1.0;

/// Something about this head's poses that a builder should know.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PoseFinding {
    /// Two shapes that a viewer cannot tell apart.
    LookAlike {
        /// One shape.
        a: MouthShape,
        /// The other.
        b: MouthShape,
        /// [`Rig::pose_distance`] between them.
        distance: Millimetres,
    },
    /// The lips do not meet in the bilabial pose.
    LipsOpen {
        /// Which half.
        side: Side,
        /// What is left open.
        gap: Millimetres,
    },
    /// The lower lip does not meet the upper teeth in the labiodental pose.
    LipOffTeeth {
        /// Which half.
        side: Side,
        /// Distance; positive where the lip is too low.
        gap: Millimetres,
    },
    /// No tongue servo tells these two shapes apart well enough.
    TongueAlike {
        /// One shape.
        a: MouthShape,
        /// The other.
        b: MouthShape,
        /// Largest difference of a tongue servo, as a share of its travel.
        share: f64,
    },
    /// An eyelid does not come down as far as its skin would let it.
    LidShort {
        /// Which.
        lid: Dof,
        /// How far it comes.
        reached: Millimetres,
        /// Where the eye is shut.
        shut: Millimetres,
    },
    /// The head blinks so slowly that it seems to fall asleep.
    SlowBlink {
        /// What a blink takes.
        takes: Seconds,
    },
}

impl fmt::Display for PoseFinding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let half = |side: &Side| match side {
            Side::Left => "left",
            Side::Right => "right",
        };
        match self {
            Self::LookAlike { a, b, distance } => {
                write!(f, "{a} and {b} look alike on this head: {distance:.1} apart")
            }
            Self::LipsOpen { side, gap } => write!(
                f,
                "bilabial does not close: {gap:.1} stay open on the {}; give the lips more travel towards each other",
                half(side)
            ),
            Self::LipOffTeeth { side, gap } => write!(
                f,
                "labiodental misses the teeth by {:.1} on the {}; give the lower lip more travel",
                gap.abs(),
                half(side)
            ),
            Self::TongueAlike { a, b, share } => write!(
                f,
                "{a} and {b} differ by {:.0} % of the tongue's travel, want {:.0} %; give the tongue more travel",
                100.0 * share,
                100.0 * TONGUE_SHARE
            ),
            Self::LidShort { lid, reached, shut } => write!(
                f,
                "{} does not shut: {reached:.1} of {shut:.1}; give its servo more travel, or its skin less",
                lid.place()
            ),
            Self::SlowBlink { takes } => write!(
                f,
                "a blink takes {takes:.2}, a person's at most {:.2}; a longer horn or a faster servo makes it quicker",
                BlinkCourse::LONGEST
            ),
        }
    }
}

/// What holds a DOF back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReachLimit {
    /// The skin's travel, as the rig states it.
    Skin,
    /// Linkage or pulse range.
    Mechanism,
    /// A coupling with other DOFs.
    Coupling,
    /// The head does not have this DOF.
    Missing,
}

/// A DOF of which a shape gets less on this head than on the reference face.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReachNote {
    /// Which shape.
    pub shape: MouthShape,
    /// Which DOF.
    pub dof: Dof,
    /// What the reference face does, in the DOF's unit.
    pub wanted: f64,
    /// What this head's pose does.
    pub given: f64,
    /// What holds it back.
    pub by: ReachLimit,
}

impl fmt::Display for ReachNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { shape, dof, wanted, given, by } = self;
        let (unit, dof) = (dof.unit(), dof.place());
        match by {
            ReachLimit::Missing => {
                write!(f, "{shape} wants {wanted:.1} {unit} at {dof}, this head has no servo for it")
            }
            ReachLimit::Skin => {
                write!(f, "{shape} wants {wanted:.1} {unit} at {dof}, this skin gives {given:.1} {unit}")
            }
            ReachLimit::Mechanism => {
                write!(f, "{shape} wants {wanted:.1} {unit} at {dof}, its linkage gives {given:.1} {unit}")
            }
            ReachLimit::Coupling => {
                write!(
                    f,
                    "{shape} wants {wanted:.1} {unit} at {dof}, its limits with other parts leave {given:.1} {unit}"
                )
            }
        }
    }
}

/// How much less than the reference face counts as less, mm or degrees.
const NOTICED: f64 = 0.5;

impl Rig {
    /// How far apart two poses are to the eye: the root of the summed squares of the differences of
    /// all mouth DOFs in mm, halves of the face counting half each.
    #[must_use]
    pub fn pose_distance(&self, a: MouthShape, b: MouthShape) -> Millimetres {
        let (a, b) = (self.pose(a).target, self.pose(b).target);
        let mouth = self.dofs().iter().filter(|d| d.dof.part().is_mouth());
        let sum: f64 = mouth
            .map(|d| (a[d.dof] - b[d.dof]).powi(2) * if d.dof.mirror() == d.dof { 1.0 } else { 0.5 })
            .sum();
        Millimetres::new(sum.sqrt())
    }

    /// Everything about the poses that deserves a look; empty for a head that can do it all.
    #[must_use]
    pub fn check_poses(&self) -> Vec<PoseFinding> {
        let mut found = Vec::new();
        for side in Side::BOTH {
            let closed = self.lip_gap(&self.pose(MouthShape::Bilabial).target, side);
            if let Some(gap) = closed.filter(|gap| *gap > TOUCH) {
                found.push(PoseFinding::LipsOpen { side, gap });
            }
            let on_teeth = self.teeth_gap(&self.pose(MouthShape::Labiodental).target, side);
            if let Some(gap) = on_teeth.filter(|gap| gap.abs() > TOUCH) {
                found.push(PoseFinding::LipOffTeeth { side, gap });
            }
        }
        found.extend(self.lids().filter_map(|lid| self.short_lid(lid)));
        let slow = self.blink().filter(|b| b.length() > BlinkCourse::LONGEST);
        found.extend(slow.map(|b| PoseFinding::SlowBlink { takes: b.length() }));
        let tongue = [MouthShape::Dental, MouthShape::Alveolar, MouthShape::Rhotic];
        for (i, a) in tongue.into_iter().enumerate() {
            for b in tongue.into_iter().skip(i + 1) {
                if let Some(share) = self.tongue_difference(a, b).filter(|share| *share < TONGUE_SHARE) {
                    found.push(PoseFinding::TongueAlike { a, b, share });
                }
            }
        }
        for (i, a) in MouthShape::ALL.into_iter().enumerate() {
            for b in MouthShape::ALL.into_iter().skip(i + 1) {
                let distance = self.pose_distance(a, b);
                if distance < LOOK_ALIKE {
                    found.push(PoseFinding::LookAlike { a, b, distance });
                }
            }
        }
        found
    }

    fn short_lid(&self, lid: Dof) -> Option<PoseFinding> {
        let shut = self.dof(lid)?.skin_max;
        let reached = self.reach(&self.eyes_shut()).dofs[lid];
        let (reached, shut) = (Millimetres::new(reached), Millimetres::new(shut));
        (shut - reached > Millimetres::new(EYE_SHUT)).then_some(PoseFinding::LidShort { lid, reached, shut })
    }

    /// Largest difference of a tongue servo between two poses, as a share of its travel; none
    /// without a tongue.
    #[must_use]
    pub fn tongue_difference(&self, a: MouthShape, b: MouthShape) -> Option<f64> {
        let angles = |shape| self.reach(&self.pose(shape).target).angles;
        let (a, b): (Vec<Degrees>, Vec<Degrees>) = (angles(a), angles(b));
        let tongue =
            self.mechanisms().iter().filter(|m| m.drives().iter().any(|d| d.dof.part() == FacePart::Tongue));
        let shares = tongue.flat_map(|m| m.servos()).map(|id| {
            let (low, high) = self.travel(*id);
            (a[id.0] - b[id.0]).abs() / (high - low)
        });
        shares.fold(None, |most: Option<f64>, share| Some(most.map_or(share, |m| m.max(share))))
    }

    /// Where this head gives noticeably less than the reference face, shape by shape: what a builder
    /// could change. A DOF that the head lacks is named once, with the shape that misses it most; DOFs
    /// that matter little to a shape are left out.
    #[must_use]
    pub fn reach_report(&self) -> Vec<ReachNote> {
        let mut notes: Vec<ReachNote> =
            Dof::ALL.into_iter().filter(|dof| self.dof(*dof).is_none()).filter_map(most_missed).collect();
        for shape in MouthShape::ALL {
            let reference = reference_face::shape_pose(shape);
            for (dof, wanted) in reference.target.iter() {
                if reference.importance[dof] < 0.3 {
                    continue;
                }
                let Some(spec) = self.dof(dof) else { continue };
                let given = self.pose(shape).target[dof] - spec.rest;
                if wanted.abs() < NOTICED || (wanted - given) * wanted.signum() < NOTICED {
                    continue;
                }
                let mut alone = self.rest();
                alone[dof] = spec.rest + wanted;
                let end = if wanted > 0.0 { spec.skin_max } else { spec.skin_min };
                let room = end - spec.rest;
                let by = if room.abs() + NOTICED <= wanted.abs() {
                    ReachLimit::Skin
                } else if self.reach(&alone).clamped.contains(&dof) {
                    ReachLimit::Mechanism
                } else if self.pinned_by_coupling(shape) {
                    ReachLimit::Coupling
                } else {
                    // The person's own pose asks for less, or a smaller travel elsewhere scaled it.
                    continue;
                };
                notes.push(ReachNote { shape, dof, wanted, given, by });
            }
        }
        notes
    }

    fn pinned_by_coupling(&self, shape: MouthShape) -> bool {
        let target = self.pose(shape).target;
        self.couplings().iter().any(|c| {
            let sum = c.sum(&target);
            c.min.is_some_and(|m| sum - m < 1e-6) || c.max.is_some_and(|m| m - sum < 1e-6)
        })
    }
}

/// The shape that would do most with a DOF the head does not have.
fn most_missed(dof: Dof) -> Option<ReachNote> {
    let use_of = |shape: MouthShape| {
        let reference = reference_face::shape_pose(shape);
        (reference.target[dof], reference.target[dof].abs() * reference.importance[dof])
    };
    let shape = MouthShape::ALL.into_iter().max_by(|a, b| use_of(*a).1.total_cmp(&use_of(*b).1))?;
    let (wanted, use_of_it) = use_of(shape);
    (use_of_it >= NOTICED).then_some(ReachNote { shape, dof, wanted, given: 0.0, by: ReachLimit::Missing })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::Preset;

    #[test]
    fn the_full_head_has_nothing_to_report() {
        let rig = Rig::harbourmaster();
        let found: Vec<String> = rig.check_poses().iter().map(ToString::to_string).collect();
        assert_eq!(found, Vec::<String>::new());
        assert_eq!(rig.reach_report(), Vec::new());
    }

    #[test]
    fn distance_is_a_metric_on_poses() {
        let rig = Rig::harbourmaster();
        for a in MouthShape::ALL {
            assert_eq!(rig.pose_distance(a, a), Millimetres::ZERO);
            for b in MouthShape::ALL {
                assert_eq!(rig.pose_distance(a, b), rig.pose_distance(b, a));
            }
        }
        // Jaw alone: distance is the difference of the jaws.
        let jaw = Rig::jaw_only();
        let open = jaw.pose(MouthShape::Open).target[Dof::JawOpen];
        assert!((jaw.pose_distance(MouthShape::Open, MouthShape::Rest).value() - open).abs() < 1e-12);
    }

    #[test]
    fn a_jaw_alone_cannot_tell_everything_apart_and_says_so() {
        let found = Rig::jaw_only().check_poses();
        let alike = |x, y| {
            found.iter().any(|f| matches!(f, PoseFinding::LookAlike { a, b, .. } if *a == x && *b == y))
        };
        assert!(alike(MouthShape::Rest, MouthShape::Bilabial));
        assert!(!alike(MouthShape::Bilabial, MouthShape::Open));
        assert!(!alike(MouthShape::Spread, MouthShape::Pursed), "the jaw stands in for pursed lips");
        assert!(
            !found
                .iter()
                .any(|f| matches!(f, PoseFinding::LipsOpen { .. } | PoseFinding::TongueAlike { .. }))
        );
    }

    #[test]
    fn lips_that_cannot_meet_are_found() {
        let mut d = Preset::JawAndLips.describe();
        // A jaw that rests open by 6 mm, and lips that travel 2 mm.
        d.couplings.clear();
        d.dofs[0].skin_min = 6.0;
        d.dofs[0].rest = 6.0;
        for dof in &mut d.dofs[1..] {
            (dof.skin_min, dof.skin_max) = (-1.0, 1.0);
        }
        let rig = Rig::new(d).expect("buildable, if poor");
        let found = rig.check_poses();
        assert!(
            found
                .iter()
                .any(|f| matches!(f, PoseFinding::LipsOpen { gap, .. } if (gap.value() - 4.0).abs() < 1e-6)),
            "{found:?}"
        );
        assert!(found.iter().any(|f| matches!(f, PoseFinding::LipOffTeeth { .. })));
    }

    #[test]
    fn a_lazy_tongue_is_found() {
        let mut d = Preset::Harbourmaster.describe();
        for shape in [MouthShape::Alveolar, MouthShape::Rhotic] {
            let pose = d.poses.entry(shape).or_default();
            pose.target.insert(Dof::TongueTip, 6.0);
            pose.target.insert(Dof::TongueBody, 4.0);
        }
        let rig = Rig::new(d).expect("valid");
        let found = rig.check_poses();
        let same = |f: &PoseFinding| matches!(f, PoseFinding::TongueAlike { a: MouthShape::Alveolar, b: MouthShape::Rhotic, share } if *share < 1e-9);
        assert!(found.iter().any(same), "{found:?}");
    }

    #[test]
    fn lids_that_do_not_shut_or_shut_slowly_are_found() {
        let of_lids = |change: &dyn Fn(&mut crate::rig::ServoDescription)| {
            let mut d = Preset::Lookout.describe();
            change(d.servos.iter_mut().find(|s| s.name == "lids").expect("has one"));
            let found = Rig::new(d).expect("valid").check_poses();
            found
                .into_iter()
                .filter(|f| matches!(f, PoseFinding::LidShort { .. } | PoseFinding::SlowBlink { .. }))
                .map(|f| f.to_string())
                .collect::<Vec<_>>()
        };
        assert_eq!(of_lids(&|_| {}), Vec::<String>::new());
        let slow = of_lids(&|s| s.speed_s_per_60deg = 0.4);
        assert!(
            slow.len() == 1 && slow[0].starts_with("a blink takes ") && slow[0].contains("at most 0.50 s"),
            "{slow:?}"
        );
        let short = of_lids(&|s| s.pulse_max_us = 1500.0);
        assert!(short.len() == 2 && short[0].starts_with("the left eyelid does not shut: "), "{short:?}");
    }

    #[test]
    fn the_reach_report_says_what_holds_a_corner_back() {
        let mut d = Preset::Harbourmaster.describe();
        let corner = d.dofs.iter_mut().find(|x| x.dof == Dof::CornerLeftX).expect("has one");
        corner.skin_max = 4.0;
        let notes = Rig::new(d).expect("valid").reach_report();
        let note = notes
            .iter()
            .find(|n| n.shape == MouthShape::Spread && n.dof == Dof::CornerLeftX)
            .expect("spread suffers");
        assert_eq!(note.by, ReachLimit::Skin);
        assert_eq!(note.to_string(), "spread wants 6.5 mm at the left corner, this skin gives 3.2 mm");
        let missing = Rig::jaw_only().reach_report();
        assert!(missing.iter().all(|n| n.by == ReachLimit::Missing));
        let tongue: Vec<String> =
            missing.iter().filter(|n| n.dof == Dof::TongueTip).map(ToString::to_string).collect();
        assert_eq!(tongue, ["alveolar wants 12.0 mm at the tongue tip, this head has no servo for it"]);
    }

    #[test]
    fn the_reach_report_knows_a_short_pulse_range() {
        let mut d = Preset::Harbourmaster.describe();
        let servo = d.servos.iter_mut().find(|s| s.name == "tongue tip").expect("has one");
        servo.pulse_max_us = 1500.0;
        let notes = Rig::new(d).expect("valid").reach_report();
        let by =
            notes.iter().find(|n| n.shape == MouthShape::Alveolar && n.dof == Dof::TongueTip).map(|n| n.by);
        assert_eq!(by, Some(ReachLimit::Mechanism), "{notes:?}");
    }

    /// The full head with one more limit, or poses of the person's own.
    fn changed(change: impl Fn(&mut crate::rig::RigDescription)) -> Rig {
        let mut d = Preset::Harbourmaster.describe();
        change(&mut d);
        match Rig::new(d) {
            Ok(rig) => rig,
            Err(e) => panic!("{e}"),
        }
    }

    /// A shape that does all it wants is not told of, though it just meets a limit.
    #[test]
    fn what_is_reached_is_no_shortfall_though_a_limit_is_met() {
        let open = Rig::harbourmaster().pose(MouthShape::Open).target[Dof::JawOpen];
        let rig = changed(|d| {
            d.couplings.push(crate::rig::CouplingDescription {
                name: "a strap".into(),
                terms: vec![crate::rig::TermDescription {
                    dof: Dof::JawOpen,
                    factor: 1.0,
                    extra: Default::default(),
                }],
                min_mm: None,
                max_mm: Some(open),
                extra: Default::default(),
            });
        });
        assert!((rig.pose(MouthShape::Open).target[Dof::JawOpen] - open).abs() < 1e-9);
        assert_eq!(rig.reach_report(), []);
    }

    /// Silence wants the lips nowhere: that a person presses them there, to the limit, is no shortfall.
    #[test]
    fn what_wants_nothing_lacks_nothing() {
        let rig = changed(|d| {
            let rest = d.poses.entry(MouthShape::Rest).or_default();
            rest.target.insert(Dof::UpperLipLeft, -3.0);
            rest.target.insert(Dof::UpperLipRight, -3.0);
        });
        assert!(rig.pinned_by_coupling(MouthShape::Rest));
        assert!(rig.pose(MouthShape::Rest).target[Dof::UpperLipLeft] < -NOTICED);
        assert_eq!(rig.reach_report(), []);
    }

    /// A pose of the person's own that asks for less, and keeps all limits, is as they want it.
    #[test]
    fn a_pose_that_asks_for_less_is_no_shortfall() {
        let rig = changed(|d| {
            let own = d.poses.entry(MouthShape::Bilabial).or_default();
            own.target.insert(Dof::JawOpen, 0.5);
            own.target.insert(Dof::UpperLipLeft, -0.2);
            own.target.insert(Dof::UpperLipRight, -0.2);
        });
        let gap = rig.lip_gap(&rig.pose(MouthShape::Bilabial).target, Side::Left).expect("lips").value();
        let least = -rig.face().lip_compression.value();
        assert!(gap > least + 0.1 && gap < 0.0, "{gap}");
        assert_eq!(rig.reach_report(), []);
    }

    /// From a rest at 1 mm to the end of the skin at 5.6 is 4.6 mm, of 6.5 that are wanted.
    #[test]
    fn the_skins_room_counts_from_rest() {
        let rig = changed(|d| {
            let corner = d.dofs.iter_mut().find(|x| x.dof == Dof::CornerLeftX).expect("has one");
            (corner.skin_max, corner.rest) = (5.6, 1.0);
        });
        let notes = rig.reach_report();
        let is = |n: &&ReachNote| n.shape == MouthShape::Spread && n.dof == Dof::CornerLeftX;
        assert_eq!(notes.iter().find(is).map(|n| n.by), Some(ReachLimit::Skin), "{notes:?}");
    }
}
