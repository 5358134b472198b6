//! The whole room at once: presets, poses, reach.

use super::presets::all_apart;
use super::*;
use crate::phonetics::MouthShape;
use crate::units::Degrees;
use proptest::prelude::*;

#[test]
fn presets_build_and_reach_their_whole_skin() {
    for preset in Preset::ALL {
        let rig = match Rig::new(preset.describe()) {
            Ok(rig) => rig,
            Err(e) => panic!("{}: {e}", preset.name()),
        };
        for x in 0..=8 {
            for y in 0..=8 {
                let mut wanted = rig.rest();
                for d in rig.dofs() {
                    let share = if d.dof.name().ends_with('y') { y } else { x };
                    wanted[d.dof] = d.skin_min + (d.skin_max - d.skin_min) * f64::from(share) / 8.0;
                }
                let reach = rig.reach(&wanted);
                assert!(reach.clamped.is_empty(), "{}: {:?} of {wanted:?}", preset.name(), reach.clamped);
                assert!(rig.check_linkages(&reach.angles).is_empty());
                for (servo, angle) in rig.servos().iter().zip(&reach.angles) {
                    let (low, high) = rig.travel(servo.id);
                    assert!(low <= *angle && *angle <= high, "{} at {angle}", servo.name);
                    let pulse = servo.pulse(*angle);
                    assert!(servo.pulse_min <= pulse && pulse <= servo.pulse_max);
                    assert!((servo.angle(pulse) - *angle).abs().value() < 1e-9);
                }
            }
        }
    }
}

#[test]
fn the_harbourmaster_moves_everything_with_sixteen_servos() {
    let rig = Rig::harbourmaster();
    assert_eq!(rig.servos().len(), 16);
    assert_eq!(rig.dofs().len(), Dof::COUNT);
    assert_eq!(rig.mechanisms().len(), 14);
}

#[test]
fn poses_are_reachable_and_within_couplings_on_every_preset() {
    for preset in Preset::ALL {
        let rig = preset.rig();
        let poses = MouthShape::ALL.iter().map(|s| *rig.pose(*s));
        for pose in poses.chain(Expression::ALL.iter().map(|e| *rig.expression(*e))) {
            let reach = rig.reach(&pose.target);
            assert!(reach.clamped.is_empty(), "{}: {:?}", preset.name(), reach.clamped);
            for c in rig.couplings() {
                let sum = c.sum(&reach.dofs);
                assert!(
                    c.min.is_none_or(|m| sum >= m) && c.max.is_none_or(|m| sum <= m),
                    "{}: {sum}",
                    c.name
                );
            }
            assert!(pose.importance.iter().all(|(_, w)| w >= 0.0));
        }
    }
}

#[test]
fn closures_close_wherever_there_are_lips() {
    for (preset, press) in [(Preset::Harbourmaster, -1.0), (Preset::JawAndLips, -1.0), (Preset::JawOnly, 0.0)]
    {
        let rig = preset.rig();
        let gap = |shape, side| rig.lip_gap(&rig.pose(shape).target, side).expect("has a jaw").value();
        for side in Side::BOTH {
            assert!((gap(MouthShape::Bilabial, side) - press).abs() < 1e-6, "{}", preset.name());
            for shape in MouthShape::ALL {
                if !matches!(shape, MouthShape::Rest | MouthShape::Bilabial) {
                    assert!(gap(shape, side) > 0.5, "{} {shape}: {}", preset.name(), gap(shape, side));
                }
            }
            let teeth = rig.teeth_gap(&rig.pose(MouthShape::Labiodental).target, side).expect("has a jaw");
            assert!(teeth.abs().value() < 1e-6, "{}: {teeth}", preset.name());
        }
    }
}

#[test]
fn a_t_and_an_r_differ_by_a_quarter_of_the_tongue_servos_travel() {
    let rig = Rig::harbourmaster();
    let t = rig.reach(&rig.pose(MouthShape::Alveolar).target).angles;
    let r = rig.reach(&rig.pose(MouthShape::Rhotic).target).angles;
    for servo in rig.servos().iter().filter(|s| s.name.starts_with("tongue")) {
        let (low, high) = rig.travel(servo.id);
        let share = (t[servo.id.0] - r[servo.id.0]).abs() / (high - low);
        assert!(share >= 0.25, "{}: {share:.2}", servo.name);
    }
}

#[test]
fn files_come_back_equal() {
    for preset in Preset::ALL {
        let rig = preset.rig();
        let text = rig.to_json();
        let back = match Rig::from_json(&text) {
            Ok(rig) => rig,
            Err(e) => panic!("{}: {e}\n{text}", preset.name()),
        };
        assert_eq!(back, rig);
        assert_eq!(back.to_json(), text);
    }
}

fn pose_in_skin(rig: &Rig, shares: &[f64]) -> DofValues {
    let mut wanted = DofValues::default();
    for (d, share) in rig.dofs().iter().zip(shares) {
        wanted[d.dof] = d.skin_min + share * (d.skin_max - d.skin_min);
    }
    wanted
}

proptest! {
    #[test]
    fn reach_and_forward_agree(shares in prop::collection::vec(0.0..=1.0f64, 16)) {
        let rig = Rig::new(all_apart()).expect("valid");
        let wanted = pose_in_skin(&rig, &shares);
        let reach = rig.reach(&wanted);
        prop_assert!(reach.clamped.is_empty());
        for (dof, value) in rig.forward(&reach.angles).iter() {
            prop_assert!((value - wanted[dof]).abs() < 1e-9, "{} {} {}", dof, value, wanted[dof]);
        }
    }

    #[test]
    fn reach_never_leaves_the_limits(values in prop::collection::vec(prop_oneof![-1e3..1e3f64, Just(f64::NAN), Just(f64::INFINITY)], 16)) {
        for preset in Preset::ALL {
            let rig = preset.rig();
            let wanted = DofValues::from_pairs(&Dof::ALL.into_iter().zip(values.iter().copied()).collect::<Vec<_>>());
            let reach = rig.reach(&wanted);
            prop_assert!(rig.check_linkages(&reach.angles).is_empty());
            for d in rig.dofs() {
                prop_assert!(reach.dofs[d.dof] >= d.skin_min - 1e-9 && reach.dofs[d.dof] <= d.skin_max + 1e-9);
            }
        }
    }

    #[test]
    fn partials_match_differences(shares in prop::collection::vec(0.02..=0.98f64, Dof::COUNT)) {
        let rig = Rig::harbourmaster();
        let angles = rig.reach(&pose_in_skin(&rig, &shares)).angles;
        let h = 1e-5;
        let mut table = vec![[0.0; Dof::COUNT]; rig.servos().len()];
        for (servo, dof, slope) in rig.partials(&angles) {
            table[servo.0][dof.index()] += slope;
        }
        for servo in rig.servos() {
            let (mut up, mut down) = (angles.clone(), angles.clone());
            up[servo.id.0] += Degrees::new(h);
            down[servo.id.0] += Degrees::new(-h);
            let (up, down) = (rig.forward(&up), rig.forward(&down));
            for dof in Dof::ALL {
                let difference = (up[dof] - down[dof]) / (2.0 * h);
                prop_assert!((table[servo.id.0][dof.index()] - difference).abs() < 1e-5);
            }
        }
    }
}
