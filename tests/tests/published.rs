//! Numbers that stand in published sources, beside what Lipwright makes of them: viseme numbers, servo and
//! supply arithmetic. `tests/EVIDENCE.md` lists where every other reference check is.

use lipwright_core::phonetics::{MouthShape, Phone};
use lipwright_core::rig::{Rig, Supply};
use lipwright_core::units::{Amps, Degrees, Volts};
use serde_json::{Value, json};

/// ISO/IEC 14496-2, face animation, table of visemes and related phonemes (from memory), in ARPABET. What the
/// table has no row for is left out.
const VISEMES: [(u8, &[Phone]); 15] = [
    (0, &[Phone::Sil]),
    (1, &[Phone::P, Phone::B, Phone::M]),
    (2, &[Phone::F, Phone::V]),
    (3, &[Phone::Th, Phone::Dh]),
    (4, &[Phone::T, Phone::D]),
    (5, &[Phone::K, Phone::G]),
    (6, &[Phone::Ch, Phone::Jh, Phone::Sh]),
    (7, &[Phone::S, Phone::Z]),
    (8, &[Phone::N, Phone::L]),
    (9, &[Phone::R]),
    (10, &[Phone::Aa]),
    (11, &[Phone::Eh]),
    (12, &[Phone::Ih]),
    (13, &[Phone::Ao]),
    (14, &[Phone::Uh]),
];

#[test]
fn visemes_have_the_standards_numbers() {
    for (number, phones) in VISEMES {
        for phone in phones {
            let ours = phone.shape(true).viseme_number();
            // The tongue tip is seen alike in t, d, n and l: one shape, which takes the number of the first.
            let expected = if number == 8 { 4 } else { number };
            assert_eq!(ours, expected, "{}", phone.arpabet());
        }
    }
}

/// The standard leaves these to whoever uses it; each goes with the row whose place of articulation, or vowel
/// height and rounding, is nearest (IPA chart).
#[test]
fn sounds_without_a_row_go_to_the_nearest() {
    for (phone, number) in [
        (Phone::Ng, 5),  // velar
        (Phone::Zh, 6),  // postalveolar
        (Phone::Er, 9),  // rhotic
        (Phone::Iy, 12), // close front
        (Phone::Y, 12),  // palatal: the same place
        (Phone::Uw, 14), // close back rounded
        (Phone::W, 14),  // labial-velar, rounded
        (Phone::Ow, 13), // mid back rounded
        (Phone::Oy, 13), // begins so
        (Phone::Ae, 11), // front, not rounded
        (Phone::Ey, 11), // begins mid front
        (Phone::Ay, 10), // begins open
        (Phone::Aw, 10), // begins open
        (Phone::Ah, 10), // stressed: open-mid
        (Phone::Hh, 11), // takes what follows; alone, a mouth half open
    ] {
        assert_eq!(phone.shape(true).viseme_number(), number, "{}", phone.arpabet());
    }
    assert_eq!(Phone::Ah.shape(false).viseme_number(), 11, "unstressed: mid");
    // Nothing is left over: every phone stands here or in the standard's table.
    let listed: usize = VISEMES.iter().map(|(_, p)| p.len()).sum();
    assert_eq!(listed + 15, Phone::ALL.len());
    // Every number but the one that went into another is some shape's.
    let mut used: Vec<u8> = MouthShape::ALL.iter().map(|s| s.viseme_number()).collect();
    used.sort_unstable();
    assert_eq!(used, (0..15).filter(|n| *n != 8).collect::<Vec<u8>>());
}

/// The jaw's only servo with other figures, unloaded.
fn servo(fields: &[(&str, f64)]) -> Rig {
    let mut rig: Value = serde_json::from_str(&Rig::jaw_only().to_json()).expect("JSON");
    let servo = &mut rig["servos"][0];
    (servo["load_derating_up"], servo["load_derating_down"]) = (json!(1.0), json!(1.0));
    for (name, value) in fields {
        servo[*name] = json!(value);
    }
    Rig::from_json(&rig.to_string()).expect("a rig")
}

/// Data sheets state speed in seconds for 60 degrees without load; what that is in degrees a second and in a
/// 20 ms frame is calculated (60/t, 1.2/t).
#[test]
fn servo_speeds_are_those_of_the_data_sheets() {
    for (sheet, per_second, per_frame) in [
        (0.10, 600.0, 12.0),
        (0.12, 500.0, 10.0),
        (0.14, 428.571_4, 8.571_4),
        (0.17, 352.941_2, 7.058_8),
        (0.19, 315.789_5, 6.315_8),
        (0.23, 260.869_6, 5.217_4),
    ] {
        let rig = servo(&[("speed_s_per_60deg", sheet)]);
        let speed = rig.servos()[0].speed_up.value();
        assert!((speed - per_second).abs() < 1e-3, "{sheet} s/60°: {speed} deg/s");
        assert!((speed * 0.02 - per_frame).abs() < 1e-3, "{sheet} s/60°");
    }
    // Under load, common practice plans with 50 to 70 % of that; each direction has its own share.
    let rig = servo(&[("speed_s_per_60deg", 0.1), ("load_derating_up", 0.5), ("load_derating_down", 0.7)]);
    let loaded = &rig.servos()[0];
    assert!(
        (loaded.speed_up.value() - 300.0).abs() < 1e-9 && (loaded.speed_down.value() - 420.0).abs() < 1e-9
    );
}

/// Hobby servos turn 90 degrees for 1000 µs, 180 for 2000 or, with the limits of a common library (544 to
/// 2400 µs), 180 for 1856; 5 and 8 µs of dead band are 0.45 and 0.72 degrees (calculated).
#[test]
fn pulses_and_angles_are_those_of_hobby_servos() {
    for (pulse, turn, per_degree) in
        [(1000.0, 90.0, 11.111), (2000.0, 180.0, 11.111), (1856.0, 180.0, 10.311)]
    {
        for sign in [1.0, -1.0] {
            let each: f64 = sign * pulse / turn;
            assert!((each.abs() - per_degree).abs() < 1e-3);
            let rig = servo(&[("us_per_degree", each)]);
            let servo = &rig.servos()[0];
            let sent = servo.pulse(Degrees::new(turn / 4.0)).value();
            assert!((sent - (1500.0 + sign * pulse / 4.0)).abs() < 1e-9, "{sent} us");
            assert!((servo.angle(servo.pulse(Degrees::new(-17.25))).value() + 17.25).abs() < 1e-9);
            // A servo the other way round has its shorter pulses at the larger angles.
            let (low, high) = servo.pulse_travel();
            let half = (servo.pulse_max - servo.pulse_min).value() / 2.0 / each.abs();
            assert!((low.value() + half).abs() < 1e-9 && (high.value() - half).abs() < 1e-9);
        }
    }
    let rig = servo(&[("us_per_degree", 1000.0 / 90.0)]);
    for (band, degrees) in [(5.0, 0.45), (8.0, 0.72)] {
        let (a, b) = (rig.servos()[0].pulse(Degrees::new(0.0)), rig.servos()[0].pulse(Degrees::new(degrees)));
        assert!(((b - a).value() - band).abs() < 1e-9);
    }
}

/// Heat of a linear regulator, P = (Vin − Vout) · I: worked examples of regulator application notes, and four
/// 9 g servos blocked at 0.65 A each behind two lithium cells (calculated).
#[test]
fn the_supplys_heat_is_that_of_the_worked_examples() {
    for (input, rail, current, watts) in [
        (12.0, 5.0, 0.1, 0.7),
        (15.0, 5.0, 0.2, 2.0),
        (12.0, 5.0, 1.0, 7.0),
        (7.4, 6.0, 2.6, 3.64),
        (8.4, 6.0, 2.6, 6.24),
    ] {
        let supply = Supply { input: Volts::new(input), rail: Volts::new(rail), budget: Amps::new(3.0) };
        assert!((supply.linear_heat(Amps::new(current)).value() - watts).abs() < 1e-9);
    }
    // A head's needs are the sums over its servos, and the heat is that of the sums.
    let rig = Rig::harbourmaster();
    let needs = rig.power_needs();
    let sum = |of: fn(&lipwright_core::rig::Servo) -> f64| rig.servos().iter().map(of).sum::<f64>();
    assert!((needs.idle.value() - sum(|s| s.idle_current.value())).abs() < 1e-9);
    let moving = sum(|s| s.idle_current.value() + s.moving_current.value());
    assert!((needs.moving.value() - moving).abs() < 1e-9 && needs.moving > needs.idle);
    assert!((needs.stall.value() - sum(|s| s.stall_current.value())).abs() < 1e-9);
    let drop = rig.supply().input.value() - rig.supply().rail.value();
    assert!((needs.heat_at_stall.value() - drop * needs.stall.value()).abs() < 1e-9);
    assert!((needs.heat_at_budget.value() - drop * rig.supply().budget.value()).abs() < 1e-9);
}
