//! Numbers exactly at their bounds: a builder types round ones, and what is said to be allowed is allowed.

use super::super::*;
use crate::units::{Degrees, Microseconds};

/// What is wrong with a changed head: paths of the fields.
fn wrong(preset: Preset, change: impl FnOnce(&mut RigDescription)) -> Vec<String> {
    let mut d = preset.describe();
    change(&mut d);
    match Rig::new(d) {
        Ok(_) => vec![],
        Err(RigError::Invalid(problems)) => problems.into_iter().map(|p| p.path).collect(),
        Err(other) => panic!("{other}"),
    }
}

const NOTHING: [&str; 0] = [];

#[test]
fn supplies_up_to_their_bounds_are_good() {
    let supply = |input: f64, rail: f64| {
        wrong(Preset::JawOnly, |d| (d.supply.input_v, d.supply.rail_v) = (input, rail))
    };
    assert_eq!(supply(6.0, 6.0), NOTHING);
    assert_eq!(supply(60.0, 30.0), NOTHING);
    assert_eq!(supply(6.0, 6.01), ["supply.rail_v"]);
    let idle = Preset::JawOnly.describe().servos[0].idle_current_a;
    let budget = |budget: f64| wrong(Preset::JawOnly, |d| d.supply.budget_a = budget);
    assert_eq!(budget(idle), ["supply.budget_a"], "no current is left to move with");
    assert_eq!(budget(1000.0), NOTHING);
    assert_eq!(budget(1000.1), ["supply.budget_a"]);
}

#[test]
fn servos_up_to_their_bounds_are_good() {
    let servo = |change: &dyn Fn(&mut ServoDescription)| wrong(Preset::JawOnly, |d| change(&mut d.servos[0]));
    assert_eq!(servo(&|s| s.channel = 255), NOTHING);
    assert_eq!(servo(&|s| s.channel = 256), ["servos[0].channel"]);
    assert_eq!(servo(&|s| s.stall_current_a = s.moving_current_a), NOTHING);
    assert_eq!(servo(&|s| s.pulse_max_us = s.pulse_min_us)[0], "servos[0].pulse_min_us");
    assert_eq!(servo(&|s| s.dead_band_us = 200.0), NOTHING);
    assert_eq!(servo(&|s| s.dead_band_us = 0.0), NOTHING);
    assert_eq!(servo(&|s| s.us_per_degree = 0.499), ["servos[0].us_per_degree"]);
    assert!(!servo(&|s| s.us_per_degree = 0.5).contains(&"servos[0].us_per_degree".to_owned()));
}

/// A limit that leaves exactly the rest pose leaves a head, if a stiff one.
#[test]
fn limits_between_parts_may_meet_at_rest() {
    let limits = |min: Option<f64>, max: Option<f64>| {
        wrong(Preset::JawAndLips, |d| {
            let terms = vec![TermDescription { dof: Dof::JawOpen, factor: 1.0, extra: Default::default() }];
            d.couplings = vec![CouplingDescription {
                name: "jaw".into(),
                terms,
                min_mm: min,
                max_mm: max,
                extra: Default::default(),
            }];
        })
    };
    assert_eq!(Preset::JawAndLips.describe().dofs[0].rest, 0.0, "the jaw rests shut");
    for (min, max) in [(Some(0.0), None), (None, Some(0.0)), (Some(0.0), Some(0.0)), (Some(-1.0), Some(3.0))]
    {
        assert_eq!(limits(min, max), NOTHING, "{min:?} to {max:?}");
    }
    for (min, max) in [(Some(0.1), None), (None, Some(-0.1)), (Some(0.1), Some(0.1))] {
        assert_eq!(limits(min, max), ["couplings[0].terms"], "{min:?} to {max:?}");
    }
    assert_eq!(limits(Some(1.0), Some(-1.0)), ["couplings[0].min_mm"]);
    assert_eq!(limits(None, None), ["couplings[0].min_mm"]);
}

/// Horn and offset together, and a millionth of a millimetre, are not yet longer than they must be.
#[test]
fn a_rod_as_long_as_its_horn_is_too_short() {
    let rod = |rod_length_mm: f64| {
        wrong(Preset::Harbourmaster, |d| {
            let lip = d.mechanisms.iter().position(|m| m.name.starts_with("upper lip left")).expect("there");
            d.mechanisms[lip].linkage = LinkageDescription::usual_push_rod(14.0, rod_length_mm);
        })
    };
    let names_rod = |told: Vec<String>| told.iter().any(|path| path.ends_with(".rod_length_mm"));
    assert!(names_rod(rod(14.0 + 1e-6)));
    assert!(!names_rod(rod(14.0 + 1e-3)));
}

fn measured(values: &[(f64, f64)]) -> Vec<(Microseconds, f64)> {
    values.iter().map(|(p, v)| (Microseconds::new(*p), *v)).collect()
}

#[test]
fn a_thousandth_of_a_thousandth_is_the_least_that_counts_as_motion() {
    let rising = |span: f64| measure_linkage(&measured(&[(1.0, 0.0), (2.0, 0.5 * span), (3.0, span)]));
    assert!(rising(1e-6).is_ok());
    assert_eq!(rising(0.999e-6), Err(CalibrationError::Flat));
}

/// Readings that go on past the dead centre fit a rod there as anywhere, but no angle can be told from them; values that
/// never change are met by a lever of nothing, which moves nothing.
#[test]
fn rods_that_cannot_be_turned_back_into_angles_do_not_fit() {
    let servo = Rig::harbourmaster().servos()[1].clone();
    let truth = PushRod { horn_radius: 14.0, rod_length: 45.0, offset: 2.0, neutral_horn: 120.0, lever: 1.2 };
    let until = |last: f64| -> Vec<(Microseconds, f64)> {
        let angle = |k: u32| -30.0 + (last + 30.0) * f64::from(k) / 6.0;
        (0..7).map(|k| (servo.pulse(Degrees::new(angle(k))), truth.forward(angle(k)) + 1.0)).collect()
    };
    let (_, high) = truth.range();
    assert!(fit_push_rod(&servo, &until(high - 1.0), truth).is_ok());
    assert_eq!(fit_push_rod(&servo, &until(high + 1.0), truth), Err(CalibrationError::NoFit));
    assert_eq!(fit_push_rod(&servo, &until(high + 12.0), truth), Err(CalibrationError::NoFit));
    // The other end, too: the horn stands at 60 degrees and turns back past 0.
    let early = PushRod { neutral_horn: 60.0, ..truth };
    let from = |first: f64| -> Vec<(Microseconds, f64)> {
        let angle = |k: u32| first + (30.0 - first) * f64::from(k) / 6.0;
        (0..7).map(|k| (servo.pulse(Degrees::new(angle(k))), early.forward(angle(k)) + 1.0)).collect()
    };
    let (low, _) = early.range();
    assert!(fit_push_rod(&servo, &from(low + 1.0), early).is_ok());
    assert_eq!(fit_push_rod(&servo, &from(low - 12.0), early), Err(CalibrationError::NoFit));
    let flat = measured(&[(1100.0, 2.0), (1300.0, 2.0), (1500.0, 2.0), (1700.0, 2.0)]);
    for lever in [0.0, 1.0] {
        let guess = PushRod { lever, neutral_horn: 90.0, ..truth };
        assert_eq!(fit_push_rod(&servo, &flat, guess), Err(CalibrationError::NoFit), "{lever}");
    }
}

fn coupling(terms: &[(Dof, f64)], min_mm: Option<f64>, max_mm: Option<f64>) -> CouplingDescription {
    let term = |&(dof, factor): &(Dof, f64)| TermDescription { dof, factor, extra: Default::default() };
    let terms = terms.iter().map(term).collect();
    CouplingDescription { name: "strap".into(), terms, min_mm, max_mm, extra: Default::default() }
}

/// A limit is judged by what it comes to at rest, term by term, once all its numbers can be taken at their word; one fault
/// is told once.
#[test]
fn limits_are_judged_at_rest_and_one_fault_is_told_once() {
    let told = |c: CouplingDescription| {
        wrong(Preset::JawAndLips, |d| {
            d.dofs.iter_mut().filter(|x| x.dof == Dof::JawOpen).for_each(|x| x.rest = 2.0);
            d.dofs.iter_mut().filter(|x| x.dof == Dof::UpperLipLeft).for_each(|x| x.rest = 1.0);
            d.dofs.iter_mut().filter(|x| x.dof == Dof::UpperLipRight).for_each(|x| x.rest = 1.0);
            d.couplings = vec![c];
        })
    };
    // 1.5 · 2 − 0.5 · 1 = 2.5.
    let terms = [(Dof::JawOpen, 1.5), (Dof::UpperLipLeft, -0.5)];
    for (min, max, good) in [
        (Some(2.4), Some(2.6), true),
        (Some(2.6), None, false),
        (None, Some(2.4), false),
        (Some(2.5), Some(2.5), true),
    ] {
        let expected: &[&str] = if good { &[] } else { &["couplings[0].terms"] };
        assert_eq!(told(coupling(&terms, min, max)), expected, "{min:?} to {max:?}");
    }
    assert_eq!(told(coupling(&[(Dof::JawOpen, 101.0)], None, Some(1.0))), ["couplings[0].terms[0].factor"]);
    assert_eq!(
        told(coupling(&[(Dof::JawOpen, 101.0), (Dof::UpperLipLeft, 1.0)], None, Some(1.0))),
        ["couplings[0].terms[0].factor"]
    );
    assert_eq!(told(coupling(&terms, Some(1001.0), None)), ["couplings[0].min_mm"]);
    assert_eq!(told(coupling(&terms, None, Some(-1001.0))), ["couplings[0].max_mm"]);
    assert_eq!(
        told(coupling(&terms, Some(1001.0), Some(1002.0))),
        ["couplings[0].min_mm", "couplings[0].max_mm"]
    );
}

/// A mechanism whose servo is none says so and nothing else of itself.
#[test]
fn a_mechanism_that_names_no_servo_is_told_of_once() {
    let paths = wrong(Preset::JawOnly, |d| d.mechanisms[0].servos[0] = "nobody".into());
    assert_eq!(paths, ["mechanisms[0].servos[0]", "servos[0].name"]);
}

/// Skin that was seen from −3 to 6 mm is known between these, and neither below nor above.
#[test]
fn a_response_is_to_be_measured_over_the_whole_travel() {
    let point = |asked: f64| ResponsePoint {
        asked,
        seen_rising: asked,
        seen_falling: asked,
        extra: Default::default(),
    };
    let told = |low: f64, high: f64| {
        wrong(Preset::JawAndLips, |d| {
            let lip = d.dofs.iter_mut().find(|x| x.dof == Dof::UpperLipLeft).expect("it has one");
            lip.response = [-3.0, 0.0, 6.0].map(point).to_vec();
            (lip.skin_min, lip.skin_max) = (low, high);
        })
    };
    let response: Vec<String> = told(-2.0, 5.0);
    assert!(!response.iter().any(|p| p.ends_with(".response")), "{response:?}");
    for (low, high) in [(-3.5, 5.0), (-2.0, 6.5)] {
        let paths = told(low, high);
        assert!(paths.iter().any(|p| p.ends_with(".response")), "{low} to {high}: {paths:?}");
    }
}

/// Where the linkage cannot hold a part at rest the mechanism that drives it is named.
#[test]
fn what_cannot_be_held_at_rest_is_told_by_its_mechanism() {
    let base = Preset::JawAndLips.describe();
    for k in 0..base.mechanisms.len() {
        let paths = wrong(Preset::JawAndLips, |d| {
            // Five degrees each way about a value that is far from rest.
            let drive = &mut d.mechanisms[k].drives[0];
            drive.at_neutral = 3.5;
            let name = d.mechanisms[k].servos[0].clone();
            let servo = d.servos.iter_mut().find(|s| s.name == name).expect("there");
            let half = 5.0 * servo.us_per_degree.abs();
            (servo.pulse_min_us, servo.pulse_max_us) =
                (servo.pulse_neutral_us - half, servo.pulse_neutral_us + half);
        });
        assert!(!paths.is_empty(), "{k}");
        assert!(paths.iter().all(|p| p == &format!("mechanisms[{k}].drives")), "{k}: {paths:?}");
    }
}

/// A push-rod is good to the very ends of its range, and a degree beyond it is not.
#[test]
fn a_push_rod_may_go_to_the_ends_of_its_range() {
    let rig = Rig::harbourmaster();
    let mut asked = 0;
    for m in rig.mechanisms().iter().filter(|m| matches!(m, Mechanism::PushRod { .. })) {
        let (low, high) = m.range().expect("one servo");
        for (angle, good) in [(low, true), (high, true), (low - 1.0, false), (high + 1.0, false)] {
            asked += 1;
            assert_eq!(m.check(&[angle]).is_ok(), good, "{} at {angle}", m.name());
        }
    }
    assert!(asked > 8);
}

#[test]
fn a_file_of_version_0_is_refused_for_that() {
    let text = Preset::JawOnly.rig().to_json();
    let old = text.replacen("\"version\": 1", "\"version\": 0", 1);
    assert_ne!(old, text);
    let told = Rig::from_json(&old).expect_err("there never was one").to_string();
    assert!(told.contains("version"), "{told}");
}

/// On the right of the head servos are mounted the other way round: the same motion of the face is a turn the other way.
#[test]
fn right_hand_servos_are_mirrored() {
    let rig = Rig::harbourmaster();
    let sign =
        |name: &str| rig.servos().iter().find(|s| s.name == name).expect("there").us_per_degree.signum();
    for name in ["upper lip", "lower lip", "corner"] {
        for which in if name == "corner" { [" inner", " outer"].as_slice() } else { &[""] } {
            let of = |side: &str| sign(&format!("{name} {side}{which}"));
            assert_eq!(of("left"), -of("right"), "{name}{which}");
        }
    }
}

#[test]
fn parts_are_shown_by_their_names() {
    assert_eq!(format!("{}|{:>16}|", Dof::JawOpen, Dof::TongueTip), "jaw-open|      tongue-tip|");
}
