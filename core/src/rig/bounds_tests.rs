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
