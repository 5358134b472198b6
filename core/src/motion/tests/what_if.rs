//! What other servos would buy, against heads described with such servos.

use super::*;
use crate::motion::tests::segment;
use crate::phonetics::MouthShape::{Bilabial, Open, Spread};
use crate::rig::Preset;

fn line() -> [Segment; 3] {
    [segment(0.1, 0.25, Open), segment(0.25, 0.3, Bilabial), segment(0.3, 0.45, Spread)]
}

fn compared(rig: &Rig, factors: &[f64]) -> Result<Vec<WhatIf>, MotionError> {
    what_if(&line(), Seconds::new(0.6), rig, &PlanSettings::default(), factors, &mut Quiet)
}

/// Each row is what planning on such a head gives, and rows come in the order that is promised.
#[test]
fn rows_are_plans_on_heads_with_those_servos() {
    let (all, jaw, lips) =
        (vec![ServoId(0), ServoId(1), ServoId(2)], vec![ServoId(0)], vec![ServoId(1), ServoId(2)]);
    let rows = compared(&Preset::JawAndLips.rig(), &[0.5, 1.0, 2.0]).expect("it plans");
    let expected: Vec<(Option<FacePart>, f64, &[ServoId])> = vec![
        (None, 1.0, &[]),
        (None, 0.5, &all),
        (Some(FacePart::Jaw), 0.5, &jaw),
        (Some(FacePart::Lips), 0.5, &lips),
        (None, 1.0, &[]),
        (Some(FacePart::Jaw), 1.0, &[]),
        (Some(FacePart::Lips), 1.0, &[]),
        (None, 2.0, &all),
        (Some(FacePart::Jaw), 2.0, &jaw),
        (Some(FacePart::Lips), 2.0, &lips),
    ];
    let got: Vec<_> = rows.iter().map(|r| (r.part, r.factor, r.servos.as_slice())).collect();
    assert_eq!(got, expected);
    for row in &rows {
        let mut d = Preset::JawAndLips.describe();
        for id in &row.servos {
            // Twice as fast takes half the time, and gets to its speed in the same time.
            d.servos[id.0].speed_s_per_60deg /= row.factor;
            d.servos[id.0].acceleration_deg_per_s2 *= row.factor;
        }
        let rig = Rig::new(d).expect("still a head");
        let plan =
            plan(&line(), Seconds::new(0.6), &rig, &PlanSettings::default(), &mut Quiet).expect("it plans");
        let s = &plan.summary;
        assert_eq!(
            (
                row.closures,
                row.closures_reached,
                row.tongue_contacts_reached,
                row.shortfalls,
                row.weighted_error
            ),
            (1, s.closures_reached, s.tongue_contacts_reached, plan.shortfalls.len(), s.weighted_error),
        );
    }
    assert!(
        rows[1].weighted_error > rows[0].weighted_error && rows[0].weighted_error > rows[7].weighted_error
    );
}

#[test]
fn factors_have_bounds_and_comparing_can_be_called_off() {
    let rig = Rig::jaw_only();
    for value in [0.049, 20.1, -1.0, f64::NAN] {
        let told = compared(&rig, &[1.0, value]);
        let Err(MotionError::BadSetting { field: "speed factor", value: found, .. }) = told else {
            panic!("{value}: {told:?}")
        };
        assert_eq!(found.to_bits(), value.to_bits());
    }
    assert_eq!(compared(&rig, &[0.05, 20.0]).expect("just within").len(), 5);
    let mut heard = vec![];
    let mut listen = |stage: &'static str, share: f64| {
        assert_eq!(stage, "comparing servos");
        heard.push(share);
        heard.len() < 3
    };
    let settings = PlanSettings::default();
    let told = what_if(&line(), Seconds::new(0.6), &rig, &settings, &[2.0, 3.0], &mut listen);
    assert_eq!((told, heard), (Err(MotionError::Cancelled), vec![0.0, 0.2, 0.4]));
}

#[test]
fn a_data_sheets_speed_goes_to_the_servos_of_the_part() {
    let rig = Preset::JawAndLips.rig();
    for (part, changed) in [
        (None, [true; 3]),
        (Some(FacePart::Jaw), [true, false, false]),
        (Some(FacePart::Lips), [false, true, true]),
        (Some(FacePart::Neck), [false; 3]),
    ] {
        let other = with_servo_speed(&rig, part, Seconds::new(0.21)).expect("still a head");
        for ((new, old), changed) in
            other.description().servos.iter().zip(&rig.description().servos).zip(changed)
        {
            assert_eq!(new.speed_s_per_60deg, if changed { 0.21 } else { old.speed_s_per_60deg });
            assert_eq!(new.acceleration_deg_per_s2, old.acceleration_deg_per_s2);
        }
    }
    assert!(with_servo_speed(&rig, None, Seconds::new(-1.0)).is_err());
}
