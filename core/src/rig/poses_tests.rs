//! Poses of one head from the reference face's, by hand.

use super::*;
use crate::phonetics::MouthShape;

/// A head with one DOF's skin and rest changed.
fn with(preset: Preset, changes: &[(Dof, f64, f64, f64)]) -> RigDescription {
    let mut d = preset.describe();
    for &(dof, low, rest, high) in changes {
        let spec = d.dofs.iter_mut().find(|s| s.dof == dof).expect("has it");
        (spec.skin_min, spec.rest, spec.skin_max) = (low, rest, high);
    }
    d
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-4
}

#[test]
fn looks_are_stretched_to_the_skin_each_way_from_rest() {
    let brow = Dof::BrowLeftInner;
    let rig = Rig::new(with(Preset::Harbourmaster, &[(brow, -3.0, 1.0, 5.0)])).expect("valid");
    // The reference face goes from -6 to 8: shocked is 7.5 of 8, angry 5.5 of 6 down.
    let of = |expression| rig.expression(expression).target[brow];
    assert!(near(of(Expression::Shocked), 1.0 + 4.0 * 7.5 / 8.0), "{}", of(Expression::Shocked));
    assert!(near(of(Expression::Angry), 1.0 - 4.0 * 5.5 / 6.0), "{}", of(Expression::Angry));
    assert!(near(of(Expression::Neutral), 1.0));
}

#[test]
fn a_limit_draws_the_whole_pose_back_towards_rest() {
    let corner = (Dof::CornerLeftX, -8.0, 1.0, 8.0);
    let free = Rig::new(with(Preset::Harbourmaster, &[corner])).expect("valid");
    let wanted = free.pose(MouthShape::Spread).target;
    let rest = free.rest();
    assert!(wanted[corner.0] > 3.0, "{}", wanted[corner.0]);
    for (factor, min_mm, max_mm) in [(1.0, None, Some(2.0)), (-1.0, Some(-2.0), None)] {
        let mut d = with(Preset::Harbourmaster, &[corner]);
        d.couplings.push(CouplingDescription {
            name: "a stitch".into(),
            terms: vec![TermDescription { dof: corner.0, factor, extra: Default::default() }],
            min_mm,
            max_mm,
            extra: Default::default(),
        });
        let held = Rig::new(d).expect("valid");
        let share = (2.0 - 1.0) / (wanted[corner.0] - 1.0);
        for spec in held.dofs() {
            let (is, by_hand) = (
                held.pose(MouthShape::Spread).target[spec.dof],
                rest[spec.dof] + share * (wanted[spec.dof] - rest[spec.dof]),
            );
            assert!(near(is, by_hand), "{}: {is}, by hand {by_hand}", spec.dof);
        }
        // What does not come near the limit stays as it was.
        assert_eq!(held.pose(MouthShape::Pursed), free.pose(MouthShape::Pursed));
    }
}

#[test]
fn lips_that_travel_little_are_pressed_by_the_jaw() {
    let press = Rig::harbourmaster().face().lip_compression.value();
    let (low, high) = (-0.4 * press, 0.4 * press);
    let lips = [
        (Dof::UpperLipLeft, low, 0.0, 6.0),
        (Dof::UpperLipRight, low, 0.0, 6.0),
        (Dof::LowerLipLeft, -6.0, 0.0, high),
        (Dof::LowerLipRight, -6.0, 0.0, high),
    ];
    let rig = Rig::new(with(Preset::Harbourmaster, &lips)).expect("valid");
    let pose = rig.pose(MouthShape::Bilabial).target;
    for side in Side::BOTH {
        let gap = rig.lip_gap(&pose, side).expect("has lips").value();
        assert!(near(gap, -press * 2.0 / 3.0), "{gap} of {press}");
        // Lower lip first, then upper lip, then the jaw.
        assert!(near(pose[side.lower_lip()], high) && near(pose[side.upper_lip()], low));
    }
    let reference = reference_face::shape_pose(MouthShape::Bilabial).target[Dof::JawOpen];
    assert!(pose[Dof::JawOpen] < reference - 0.05, "{} of {reference}", pose[Dof::JawOpen]);
}

#[test]
fn a_lower_lip_that_travels_little_is_brought_to_the_teeth_by_the_jaw() {
    let lips = [(Dof::LowerLipLeft, -6.0, 0.0, 0.3), (Dof::LowerLipRight, -6.0, 0.0, 0.3)];
    for changes in [&lips[..], &[]] {
        let rig = Rig::new(with(Preset::Harbourmaster, changes)).expect("valid");
        let pose = rig.pose(MouthShape::Labiodental).target;
        for side in Side::BOTH {
            let gap = rig.teeth_gap(&pose, side).expect("has a lower lip").value();
            assert!(near(gap, 0.0), "{gap} mm off, jaw {}", pose[Dof::JawOpen]);
        }
    }
}

#[test]
fn every_shape_that_is_not_closed_is_open_by_its_least() {
    // Jaws of half, all and twice the reference face's travel: 0.75, 1.5 and 1.5 mm at least.
    for (travel, least) in [(9.0, 0.75), (18.0, 1.5)] {
        let rig = Rig::new(with(Preset::JawAndLips, &[(Dof::JawOpen, 0.0, 0.0, travel)])).expect("valid");
        let gaps: Vec<f64> = MouthShape::ALL
            .into_iter()
            .filter(|s| !matches!(s, MouthShape::Rest | MouthShape::Bilabial | MouthShape::Labiodental))
            .map(|s| rig.lip_gap(&rig.pose(s).target, Side::Left).expect("has lips").value())
            .collect();
        assert!(gaps.iter().all(|g| *g > least - 1e-4), "{travel}: {gaps:?}");
    }
}

#[test]
fn on_a_jaw_alone_the_jaw_stands_in_for_lips() {
    let jaw = Dof::JawOpen;
    for travel in [18.0, 9.0] {
        let rig = Rig::new(with(Preset::JawOnly, &[(jaw, 0.0, 0.0, travel)])).expect("valid");
        let share = travel / 18.0;
        for shape in [MouthShape::Pursed, MouthShape::Rounded, MouthShape::Spread, MouthShape::Open] {
            let reference = reference_face::shape_pose(shape).target;
            let narrower = (reference[Dof::LowerLipLeft] - reference[Dof::UpperLipLeft]).max(0.0);
            let opening = share * (reference[jaw] - narrower);
            // Where the lips' opening would be too small the jaw opens to the least.
            let least = 1.5 * share / rig.face().lower_lip_per_jaw;
            let is = rig.pose(shape).target[jaw];
            assert!(near(is, opening.max(least)), "{shape}: {is}, by hand {opening} or {least}");
        }
    }
}

/// Looks by the muscles that make them (P. Ekman and W. Friesen, Facial Action Coding System, 1978; from memory): which
/// way inner and outer brow, corners outward and upward and lids downward go. Surprise raises both brows and the lids
/// (1, 2, 5); anger lowers the inner brow and tightens lids and lips (4, 7, 23); sadness raises the inner brow alone and
/// draws the corners down (1, 15); a smile draws them up and out and lifts the cheeks under the lids (12, 6).
#[test]
fn looks_move_what_the_muscles_of_a_face_move() {
    let corner_weights = [0.0, 0.2, 0.4, 0.2, 1.0, 1.0];
    let ways = [
        [0, 0, 0, 0, 0],
        [1, 1, 0, -1, -1],
        [-1, 1, -1, -1, 1],
        [1, -1, 0, -1, 1],
        [1, 1, 1, 1, 1],
        [-1, -1, -1, -1, 1],
    ];
    for ((look, ways), corners) in Expression::ALL.into_iter().zip(ways).zip(corner_weights) {
        let pose = reference_face::expression_pose(look);
        let [inner, outer, out, up, lid] = ways;
        for (dofs, way) in [
            ([Dof::BrowLeftInner, Dof::BrowRightInner], inner),
            ([Dof::BrowLeftOuter, Dof::BrowRightOuter], outer),
            ([Dof::CornerLeftX, Dof::CornerRightX], out),
            ([Dof::CornerLeftY, Dof::CornerRightY], up),
            ([Dof::LidLeft, Dof::LidRight], lid),
        ] {
            for dof in dofs {
                let goes = pose.target[dof];
                assert_eq!(if goes == 0.0 { 0 } else { goes.signum() as i32 }, way, "{look} {dof}");
            }
        }
        // Speech needs the corners' width more than a look does.
        assert_eq!(
            (pose.importance[Dof::CornerLeftX], pose.importance[Dof::CornerLeftY]),
            (0.5 * corners, corners)
        );
        assert_eq!(pose.importance[Dof::BrowLeftInner], 1.0);
    }
}

/// Which way upper lip, lower lip and corners go for a sound: closures bring the lips together, a labiodental lifts
/// both, whatever is rounded or pushed forward draws the corners in, the rest spreads a little and parts the lips.
#[test]
fn shapes_move_lips_and_corners_the_way_phonetics_says() {
    use crate::phonetics::MouthShape::{
        Alveolar, Bilabial, Dental, HalfOpen, Labiodental, Open, Postalveolar, Pursed, Rhotic, Rounded,
        Sibilant, Spread, Velar,
    };
    for (shape, upper, lower, out) in [
        (Bilabial, -1, 1, 1),
        (Labiodental, 1, 1, 1),
        (Dental, 1, -1, 1),
        (Alveolar, 1, -1, 1),
        (Sibilant, 1, -1, 1),
        (Postalveolar, 1, -1, -1),
        (Rhotic, 1, -1, -1),
        (Velar, 1, -1, 1),
        (Open, 1, -1, 0),
        (HalfOpen, 1, -1, 1),
        (Spread, 1, -1, 1),
        (Rounded, 1, 1, -1),
        (Pursed, -1, 1, -1),
    ] {
        let target = reference_face::shape_pose(shape).target;
        for (dofs, way) in [
            ([Dof::UpperLipLeft, Dof::UpperLipRight], upper),
            ([Dof::LowerLipLeft, Dof::LowerLipRight], lower),
            ([Dof::CornerLeftX, Dof::CornerRightX], out),
        ] {
            for dof in dofs {
                let goes = target[dof];
                assert_eq!(if goes == 0.0 { 0 } else { goes.signum() as i32 }, way, "{shape} {dof}");
            }
        }
        for dof in [Dof::JawOpen, Dof::TongueTip, Dof::TongueBody] {
            assert!(target[dof] > 0.0, "{shape} {dof}");
        }
    }
    // The weight of the lips pulls corners down where they are pressed or hang open, and nowhere else.
    let down: Vec<_> = (crate::phonetics::MouthShape::ALL.into_iter())
        .filter(|s| reference_face::shape_pose(*s).target[Dof::CornerLeftY] < 0.0)
        .collect();
    assert_eq!(down, [Bilabial, Open]);
    for dof in Dof::ALL {
        let (least, most) = reference_face::travel(dof);
        assert!(least <= 0.0 && most > 0.0, "{dof}: rest is within the travel");
        let both_ways = ![Dof::JawOpen, Dof::TongueTip, Dof::TongueBody].contains(&dof);
        assert_eq!(least < 0.0, both_ways, "{dof}");
    }
}

/// The jaw alone, whose travel begins beyond shut, with a lower lip that follows it by half: the openings that it makes
/// are the lips', and those that must be are at least 1.5 mm, scaled by the jaw's travel.
#[test]
fn a_jaw_alone_opens_and_meets_the_teeth_by_half_of_its_way() {
    let mut d = with(Preset::JawOnly, &[(Dof::JawOpen, -2.0, 0.0, 7.0)]);
    (d.face.lower_lip_per_jaw, d.face.upper_teeth_edge_mm) = (0.5, -1.5);
    let rig = Rig::new(d).expect("valid");
    // 9 of 18 mm.
    let least = 1.5 * 0.5;
    let jaw = |shape| rig.pose(shape).target[Dof::JawOpen];
    // The reference face's sibilant has its jaw at 1.2 of 18 mm: too little. Its velar has 7.
    assert!(near(jaw(MouthShape::Sibilant), least / 0.5), "{}", jaw(MouthShape::Sibilant));
    assert!(near(jaw(MouthShape::Velar), 7.0 * 7.0 / 18.0), "{}", jaw(MouthShape::Velar));
    assert!(near(jaw(MouthShape::Labiodental), 1.5 / 0.5), "{}", jaw(MouthShape::Labiodental));
    // Pursed lips take 1.5 + 0.5 mm off an opening of 4; half of that is the jaw's, of half the travel.
    let pursed = (4.0 / 18.0 * 7.0 - 2.0 * 0.5_f64).max(least / 0.5);
    assert!(near(jaw(MouthShape::Pursed), pursed), "{} and {pursed}", jaw(MouthShape::Pursed));
}

/// Where the lower lip does not ride on the jaw, the jaw can do nothing for lips and teeth, and is left where it is.
#[test]
fn a_jaw_that_moves_no_lip_is_not_moved_for_one() {
    let mut d = Preset::JawAndLips.describe();
    d.face.lower_lip_per_jaw = 0.0;
    d.couplings.clear();
    let rig = Rig::new(d).expect("valid");
    let spec = rig.dof(Dof::JawOpen).expect("a jaw");
    for (shape, reference) in [(MouthShape::Bilabial, 1.5), (MouthShape::Labiodental, 2.5)] {
        let jaw = rig.pose(shape).target[Dof::JawOpen];
        assert!(near(jaw, spec.rest + reference / 18.0 * (spec.skin_max - spec.rest)), "{shape}: {jaw}");
    }
}
