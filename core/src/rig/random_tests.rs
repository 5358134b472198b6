//! Promises of the room over heads that nobody thought of.

use super::presets::all_apart;
use super::*;
use crate::phonetics::MouthShape;
use proptest::prelude::*;
use serde_json::Value;

/// Every number of the file stretched by a factor of its own, where `draw` says so.
fn stretch(value: &mut Value, key: &str, draw: &mut impl FnMut() -> f64) {
    match value {
        Value::Object(map) => map.iter_mut().for_each(|(key, inner)| stretch(inner, key, draw)),
        Value::Array(items) => items.iter_mut().for_each(|inner| stretch(inner, key, draw)),
        Value::Number(n) if !matches!(key, "version" | "channel") => {
            let factor = if draw() < 0.3 { 0.8 + 0.4 * draw() } else { 1.0 };
            *value = Value::from(n.as_f64().unwrap_or(0.0) * factor);
        }
        _ => {}
    }
}

fn random_rig(seed: u64) -> Option<Rig> {
    let mut state = seed | 1;
    let mut draw = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / f64::from(1u32 << 31)
    };
    let description = match (draw() * 5.0) as usize % 5 {
        0 => all_apart(),
        1 => Preset::JawAndLips.describe(),
        2 => Preset::FoamPuppet.describe(),
        3 => Preset::JawOnly.describe(),
        _ => Preset::Lookout.describe(),
    };
    let mut value: Value = serde_json::from_str(&description.to_json()).expect("it wrote JSON");
    stretch(&mut value, "", &mut draw);
    Rig::from_json(&value.to_string()).ok()
}

#[test]
fn enough_random_rigs_are_buildable_for_the_tests_to_mean_something() {
    let built = (0..400).filter(|seed| random_rig(*seed * 7919 + 13).is_some()).count();
    assert!(built > 100, "{built} of 400");
}

/// What every rig promises for a wanted pose at these shares of each DOF's skin travel.
fn keeps_its_promises(rig: &Rig, shares: &[f64]) -> Result<(), TestCaseError> {
    prop_assert_eq!(&Rig::from_json(&rig.to_json()).expect("its own file"), rig);
    let rest = rig.reach(&rig.rest());
    prop_assert!(rest.clamped.is_empty());
    prop_assert_eq!(&rest.angles, &rig.rest_angles());

    let mut wanted = DofValues::default();
    for (d, share) in rig.dofs().iter().zip(shares) {
        wanted[d.dof] = d.skin_min + share * (d.skin_max - d.skin_min);
    }
    let reach = rig.reach(&wanted);
    prop_assert!(rig.check_linkages(&reach.angles).is_empty());
    for (servo, angle) in rig.servos().iter().zip(&reach.angles) {
        let pulse = servo.pulse(*angle).value();
        prop_assert!(pulse >= servo.pulse_min.value() - 1e-9 && pulse <= servo.pulse_max.value() + 1e-9);
        let (low, high) = rig.travel(servo.id);
        prop_assert!(low <= *angle && *angle <= high, "{} {} {} {}", servo.name, low, angle, high);
    }
    for d in rig.dofs() {
        let value = reach.dofs[d.dof];
        prop_assert!(value >= d.skin_min - 1e-9 && value <= d.skin_max + 1e-9, "{} {}", d.dof, value);
        if !reach.clamped.contains(&d.dof) {
            prop_assert!((value - wanted[d.dof]).abs() <= 1e-6);
        }
    }
    // What was reached can be reached again.
    let again = rig.reach(&reach.dofs);
    for d in rig.dofs() {
        prop_assert!((again.dofs[d.dof] - reach.dofs[d.dof]).abs() < 1e-6, "{}", d.dof);
    }
    for shape in MouthShape::ALL {
        let pose = rig.pose(shape);
        let made = rig.reach(&pose.target);
        prop_assert!(made.clamped.is_empty(), "{}: {:?}", shape, made.clamped);
        for c in rig.couplings() {
            let sum = c.sum(&pose.target);
            prop_assert!(c.min.is_none_or(|m| sum >= m - 1e-6) && c.max.is_none_or(|m| sum <= m + 1e-6));
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { max_global_rejects: 20_000, ..ProptestConfig::default() })]
    #[test]
    fn any_rig_keeps_its_promises(seed in any::<u64>(), shares in prop::collection::vec(-0.3..1.3f64, 16)) {
        let rig = random_rig(seed);
        prop_assume!(rig.is_some());
        keeps_its_promises(&rig.expect("just checked"), &shares)?;
    }
}

/// Near the edge of its workspace this corner needs an angle that no grid of the skin's rectangle shows.
#[test]
fn a_corner_steep_at_its_edge_keeps_its_promises() {
    let rig = random_rig(15_653_051_314_841_253_914).expect("builds");
    let mut shares = [0.0; 16];
    shares[6] = 1.212_972_287_747_700_3;
    keeps_its_promises(&rig, &shares).expect("every promise");
}

/// A corner whose pulses end early: the point reached is as near as a dense search of the workspace
/// finds (the slow judge), within its grid.
#[test]
fn a_corner_out_of_reach_goes_as_near_as_it_can() {
    let mut d = Preset::Harbourmaster.describe();
    for s in d.servos.iter_mut().filter(|s| s.name.starts_with("corner left")) {
        (s.pulse_min_us, s.pulse_max_us) = (1330.0, 1650.0);
    }
    let rig = Rig::new(d).expect("valid");
    let steps = 400;
    let (a, b) = (rig.servos()[5].pulse_travel(), rig.servos()[6].pulse_travel());
    let mut reachable = Vec::new();
    for i in 0..=steps {
        for j in 0..=steps {
            let at = |(low, high): (crate::units::Degrees, crate::units::Degrees), k: i32| {
                low + (high - low) * (f64::from(k) / f64::from(steps))
            };
            let mut angles = rig.rest_angles();
            (angles[5], angles[6]) = (at(a, i), at(b, j));
            let values = rig.forward(&angles);
            let (x, y) = (values[Dof::CornerLeftX], values[Dof::CornerLeftY]);
            if x.abs() <= 8.0 && (-5.0..=6.0).contains(&y) {
                reachable.push((x, y));
            }
        }
    }
    for (x, y) in [(8.0, 6.0), (8.0, -5.0), (-8.0, 6.0), (-8.0, -5.0), (8.0, 0.0), (-8.0, 1.0), (0.0, 6.0)] {
        let reach = rig.reach(&DofValues::from_pairs(&[(Dof::CornerLeftX, x), (Dof::CornerLeftY, y)]));
        let miss = |p: (f64, f64)| (p.0 - x).hypot(p.1 - y);
        let got = miss((reach.dofs[Dof::CornerLeftX], reach.dofs[Dof::CornerLeftY]));
        let best = reachable.iter().map(|p| miss(*p)).fold(f64::INFINITY, f64::min);
        assert!(got <= best + 0.05, "({x}, {y}): {got:.3} against {best:.3}");
    }
}
