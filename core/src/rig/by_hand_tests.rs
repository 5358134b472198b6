//! Small facts of the rig, number by number.

use super::*;
use crate::phonetics::MouthShape;
use crate::units::{Degrees, Microseconds, Seconds};

#[path = "edges_tests.rs"]
mod edges;

#[path = "bounds_tests.rs"]
mod bounds;

fn close(a: f64, b: f64) -> bool {
    a == b || (a - b).abs() < 1e-9
}

/// The lookout with a servo changed.
fn lookout(servo: &str, change: impl Fn(&mut ServoDescription)) -> Rig {
    let mut d = Preset::Lookout.describe();
    change(d.servos.iter_mut().find(|s| s.name == servo).expect("it is there"));
    Rig::new(d).expect("still a head")
}

/// 100 degrees a second towards larger angles and 50 back.
fn uneven(servo: &mut ServoDescription, acceleration: f64) {
    servo.speed_s_per_60deg = 0.6;
    (servo.load_derating_up, servo.load_derating_down) = (1.0, 0.5);
    servo.acceleration_deg_per_s2 = acceleration;
}

/// The smooth step 3u² − 2u³ is at its fastest 1.5 times its mean, and its second derivative 6 at its ends.
#[test]
fn a_turn_takes_what_speed_or_acceleration_ask_for() {
    let least = |rig: &Rig, from: f64, to: f64| {
        rig.least_turn_time(Degrees::new(from), Degrees::new(to)).expect("has a neck").value()
    };
    let quick = lookout("neck", |s| uneven(s, 1e5));
    let angle = |value: f64| quick.reach(&DofValues::from_pairs(&[(Dof::NeckTurn, value)])).angles[6].value();
    let (up, down) = if angle(30.0) > angle(0.0) { (0.45, 0.9) } else { (0.9, 0.45) };
    assert!(close(least(&quick, 0.0, 30.0), up) && close(least(&quick, 30.0, 0.0), down));
    // √(6 · 30 / 20)
    let slow = lookout("neck", |s| uneven(s, 20.0));
    assert!(close(least(&slow, 0.0, 30.0), 3.0) && close(least(&slow, 30.0, 0.0), 3.0));
    assert_eq!(least(&slow, 10.0, 10.0), 0.0);
}

#[test]
fn lids_take_a_persons_time_or_their_servos() {
    let quick = lookout("lids", |s| {
        s.speed_s_per_60deg = 0.05;
        (s.load_derating_up, s.load_derating_down, s.acceleration_deg_per_s2) = (1.0, 1.0, 1e5);
    });
    let usual = quick.blink().expect("has lids");
    assert_eq!(
        (usual.closing, usual.shut, usual.opening),
        (Seconds::new(0.1), Seconds::new(0.04), Seconds::new(0.18))
    );
    let rig = lookout("lids", |s| uneven(s, 1e5));
    let course = rig.blink().expect("has lids");
    let way =
        (rig.reach(&rig.eyes_shut()).angles[course.servo.0] - rig.rest_angles()[course.servo.0]).value();
    let (fast, slow) = (1.5 * way.abs() / 100.0, 1.5 * way.abs() / 50.0);
    assert!(fast > 0.18, "the test wants lids slower than a person's: {fast}");
    let (closing, opening) = if way > 0.0 { (fast, slow) } else { (slow, fast) };
    assert!(close(course.closing.value(), closing) && close(course.opening.value(), opening), "{course:?}");
    // None takes longer than 1.8 s each way.
    let rig = lookout("lids", |s| uneven(s, 1.0));
    let course = rig.blink().expect("has lids");
    assert!(close(course.closing.value(), 1.8) && close(course.opening.value(), 1.8), "{course:?}");
}

#[test]
fn of_two_lids_the_one_that_takes_longest_there_and_back_sets_the_blink() {
    let mut d = Preset::Lookout.describe();
    let lids = d.mechanisms.iter().position(|m| m.servos == ["lids"]).expect("there");
    d.remove_mechanism(lids);
    for (name, dof) in [("left", Dof::LidLeft), ("right", Dof::LidRight)] {
        d.add_mechanism(MechanismKind::PushRod, ServoClass::MicroDigital, name, &[dof]);
    }
    let (left, right) = (d.servos.len() - 2, d.servos.len() - 1);
    let slower = |times: [(f64, f64); 2]| {
        let mut d = d.clone();
        for (servo, (up, down)) in [left, right].into_iter().zip(times) {
            let s = &mut d.servos[servo];
            s.acceleration_deg_per_s2 = 1e5;
            s.speed_s_per_60deg = 0.1;
            (s.load_derating_up, s.load_derating_down) = (0.1 / up, 0.1 / down);
        }
        let rig = Rig::new(d).expect("two lids");
        rig.blink().expect("has lids").servo.0
    };
    // Seconds for the same way up and down: the sums are 1.2 and 1.8, then 2.1 and 1.8.
    assert_eq!(slower([(1.0, 0.2), (0.9, 0.9)]), right);
    assert_eq!(slower([(2.0, 0.1), (0.9, 0.9)]), left);
    assert_eq!(slower([(0.1, 2.0), (0.9, 0.9)]), left);
}

#[test]
fn halves_of_the_face_count_half() {
    let mut d = Preset::Harbourmaster.describe();
    for (shape, corner, tongue) in [(MouthShape::Open, 1.0, 5.0), (MouthShape::HalfOpen, 3.0, 2.0)] {
        let pose = d.poses.entry(shape).or_default();
        for dof in Dof::ALL {
            pose.target.insert(dof, 0.0);
        }
        pose.target.insert(Dof::CornerLeftX, corner);
        pose.target.insert(Dof::TongueTip, tongue);
    }
    d.poses.values_mut().for_each(|p| p.target.retain(|dof, _| !matches!(dof, Dof::LidLeft | Dof::LidRight)));
    let rig = Rig::new(d).expect("valid");
    // Corners 2 mm apart on one side, tongues 3 mm: √(½ · 4 + 9).
    let distance = rig.pose_distance(MouthShape::Open, MouthShape::HalfOpen).value();
    assert!((distance - 11.0_f64.sqrt()).abs() < 1e-6, "{distance}");
}

#[test]
fn a_tongues_difference_is_the_larger_share_of_its_servos_travels() {
    let rig = Rig::harbourmaster();
    let (a, b) = (MouthShape::Alveolar, MouthShape::Rhotic);
    let angles = |shape| rig.reach(&rig.pose(shape).target).angles;
    let shares = ["tongue tip", "tongue body"].map(|name| {
        let id = rig.servos().iter().find(|s| s.name == name).expect("there").id;
        let (low, high) = rig.travel(id);
        (angles(a)[id.0] - angles(b)[id.0]).value().abs() / (high.value() - low.value())
    });
    let difference = rig.tongue_difference(a, b).expect("has a tongue");
    assert!(close(difference, shares[0].max(shares[1])), "{difference} of {shares:?}");
    assert!(difference > 0.0 && difference < 1.0);
    assert_eq!(Rig::jaw_only().tongue_difference(a, b), None);
}

#[test]
fn the_reach_report_counts_from_rest_and_knows_couplings() {
    let mut d = Preset::Harbourmaster.describe();
    let corner = d.dofs.iter_mut().find(|x| x.dof == Dof::CornerLeftX).expect("has one");
    (corner.skin_max, corner.rest) = (4.0, 1.0);
    let rig = Rig::new(d).expect("valid");
    let notes = rig.reach_report();
    let is = |n: &&ReachNote| n.shape == MouthShape::Spread && n.dof == Dof::CornerLeftX;
    let note = notes.iter().find(is).expect("spread suffers");
    assert_eq!(note.by, ReachLimit::Skin);
    assert!(close(note.given, rig.pose(MouthShape::Spread).target[Dof::CornerLeftX] - 1.0), "{note:?}");
    for (factor, min_mm, max_mm) in [(1.0, None, Some(2.0)), (-1.0, Some(-2.0), None)] {
        let mut d = Preset::Harbourmaster.describe();
        d.couplings.push(CouplingDescription {
            name: "a stitch".into(),
            terms: vec![TermDescription { dof: Dof::CornerLeftX, factor, extra: Default::default() }],
            min_mm,
            max_mm,
            extra: Default::default(),
        });
        let rig = Rig::new(d).expect("valid");
        let notes = rig.reach_report();
        let note = notes.iter().find(is).expect("spread suffers");
        assert_eq!(note.by, ReachLimit::Coupling, "{factor}");
        assert!(note.given < 2.0 + 1e-6);
    }
}

#[test]
fn kinds_have_names_and_servos() {
    let all: Vec<(&str, usize)> = MechanismKind::ALL.iter().map(|k| (k.name(), k.servos())).collect();
    assert_eq!(all, [("push-rod", 1), ("rotary", 1), ("table", 1), ("five-bar", 2), ("differential", 2)]);
}

/// A jaw alone with a mechanism added.
fn with(kind: MechanismKind, dofs: &[Dof]) -> RigDescription {
    let mut d = Preset::JawOnly.describe();
    d.add_mechanism(kind, ServoClass::Standard, "new", dofs);
    d
}

#[test]
fn usual_sizes_are_those_of_the_travel() {
    let lip = Dof::UpperLipLeft;
    let (low, high) = lip.usual_travel();
    let half = 0.5 * (high - low);
    let of = |kind, dofs: &[Dof]| with(kind, dofs).mechanisms[1].linkage.clone();
    assert_eq!(
        of(MechanismKind::Rotary, &[Dof::NeckTurn]),
        LinkageDescription::Rotary { ratio: 1.0, lever_mm: None }
    );
    assert_eq!(
        of(MechanismKind::Rotary, &[lip]),
        LinkageDescription::Rotary { ratio: 1.0, lever_mm: Some((1.5 * half).round().max(4.0)) }
    );
    let mut d = Preset::JawOnly.describe();
    d.change_kind(0, MechanismKind::Table);
    d.change_kind(0, MechanismKind::Rotary);
    assert_eq!(d.mechanisms[0].linkage, LinkageDescription::Rotary { ratio: 0.35, lever_mm: Some(75.0) });
    // Twice the half travel, 10 mm at least; the rod 3.2 times as long.
    let horn = (2.0 * half).clamp(10.0, 60.0).round();
    assert_eq!(
        of(MechanismKind::PushRod, &[lip]),
        LinkageDescription::usual_push_rod(horn, (3.2 * horn).round())
    );
    let brows = [Dof::BrowLeftInner, Dof::BrowLeftOuter];
    let half_of = |dof: Dof| 0.5 * (dof.usual_travel().1 - dof.usual_travel().0);
    assert_eq!(
        of(MechanismKind::Differential, &brows),
        LinkageDescription::Differential {
            common_per_degree: half_of(brows[0]) / 30.0,
            difference_per_degree: half_of(brows[1]) / 30.0
        }
    );
    let LinkageDescription::Table { points } = of(MechanismKind::Table, &[lip]) else { panic!("a table") };
    let points: Vec<(f64, f64)> = points.iter().map(|p| (p.pulse_us, p.value)).collect();
    assert_eq!(points, [(1100.0, low), (1500.0, 0.5 * (low + high)), (1900.0, high)]);
    // Neutral in the middle of the skin's travel; a table's values are the face's own.
    assert!(close(
        with(MechanismKind::PushRod, &[lip]).mechanisms[1].drives[0].at_neutral,
        0.5 * (low + high)
    ));
    assert_eq!(with(MechanismKind::Table, &[lip]).mechanisms[1].drives[0].at_neutral, 0.0);
}

#[test]
fn names_that_are_taken_get_a_number_and_channels_are_the_lowest_free() {
    let mut d = Preset::JawOnly.describe();
    for dof in [Dof::TongueTip, Dof::TongueBody, Dof::BrowLeftInner] {
        d.add_mechanism(MechanismKind::Table, ServoClass::Standard, "new", &[dof]);
    }
    let servos: Vec<(&str, u64)> = d.servos[1..].iter().map(|s| (s.name.as_str(), s.channel)).collect();
    assert_eq!(servos, [("new", 1), ("new 2", 2), ("new 3", 3)]);
}

#[test]
fn a_class_changes_figures_and_leaves_wiring_pulses_and_notes() {
    let mut d = Preset::JawAndLips.describe();
    let s = &mut d.servos[0];
    (s.controller, s.channel) = ("second".into(), 7);
    (s.pulse_min_us, s.pulse_neutral_us, s.pulse_max_us, s.us_per_degree) = (1010.0, 1520.0, 1990.0, -9.5);
    s.extra.insert("note".into(), "left shelf".into());
    let before = d.servos[0].clone();
    d.set_class(0, ServoClass::MicroAnalogue);
    let usual = ServoClass::MicroAnalogue.describe(&before.name, 7);
    let expected = ServoDescription {
        speed_s_per_60deg: usual.speed_s_per_60deg,
        load_derating_up: usual.load_derating_up,
        load_derating_down: usual.load_derating_down,
        acceleration_deg_per_s2: usual.acceleration_deg_per_s2,
        dead_band_us: usual.dead_band_us,
        idle_current_a: usual.idle_current_a,
        moving_current_a: usual.moving_current_a,
        stall_current_a: usual.stall_current_a,
        ..before
    };
    assert_eq!(d.servos[0], expected);
}

#[test]
fn lips_and_tongue_get_their_limits_once_both_parts_are_there() {
    let mut d = Preset::JawOnly.describe();
    d.add_mechanism(MechanismKind::PushRod, ServoClass::Standard, "upper", &[Dof::UpperLipLeft]);
    assert_eq!(d.couplings.len(), 0, "an upper lip alone meets nothing");
    d.add_mechanism(MechanismKind::PushRod, ServoClass::Standard, "lower", &[Dof::LowerLipLeft]);
    d.add_mechanism(MechanismKind::PushRod, ServoClass::Standard, "brow", &[Dof::BrowLeftInner]);
    d.add_mechanism(MechanismKind::PushRod, ServoClass::Standard, "tip", &[Dof::TongueTip]);
    let shown: Vec<_> = d
        .couplings
        .iter()
        .map(|c| {
            (
                c.name.as_str(),
                c.terms.iter().map(|t| (t.dof, t.factor)).collect::<Vec<_>>(),
                c.min_mm,
                c.max_mm,
            )
        })
        .collect();
    let per_jaw = d.face.lower_lip_per_jaw;
    let lips = vec![(Dof::UpperLipLeft, 1.0), (Dof::LowerLipLeft, -1.0), (Dof::JawOpen, per_jaw)];
    let tongue = vec![(Dof::TongueTip, 1.0), (Dof::JawOpen, -1.0)];
    assert_eq!(
        shown,
        [
            ("lip gap left", lips, Some(-d.face.lip_compression_mm), None),
            ("tongue tip under palate", tongue, None, Some(9.0))
        ]
    );
    assert!(d.face.lip_compression_mm > 0.0);
}

#[test]
fn a_head_knows_its_name_and_who_moves_what() {
    let rig = Rig::harbourmaster();
    assert_eq!(rig.name(), "Harbourmaster");
    for servo in rig.servos() {
        let own: Vec<&str> =
            rig.mechanisms().iter().filter(|m| m.servos().contains(&servo.id)).map(Mechanism::name).collect();
        let [name] = own.as_slice() else { panic!("{}: {own:?}", servo.name) };
        assert_eq!(rig.mechanism_of(servo.id).map(Mechanism::name), Some(*name));
        assert!(
            rig.description().mechanisms.iter().any(|m| m.name == *name && m.servos.contains(&servo.name))
        );
    }
    assert!(rig.mechanism_of(ServoId(99)).is_none());
}

/// A head with every kind of mechanism.
fn every_kind() -> Rig {
    let mut d = presets::all_apart();
    let brow = |name: &str| d.mechanisms.iter().position(|m| m.servos == [name]).expect("there");
    let (inner, outer, right) = (brow("brow left inner"), brow("brow left outer"), brow("brow right inner"));
    d.change_kind(right, MechanismKind::Table);
    d.remove_mechanism(outer.max(inner));
    d.remove_mechanism(outer.min(inner));
    d.add_mechanism(
        MechanismKind::Differential,
        ServoClass::Standard,
        "brow",
        &[Dof::BrowLeftInner, Dof::BrowLeftOuter],
    );
    Rig::new(d).expect("valid")
}

#[test]
fn mechanisms_answer_for_their_linkages() {
    let rig = every_kind();
    let mut kinds = std::collections::BTreeSet::new();
    for m in rig.mechanisms() {
        let angles = [3.0, -2.0];
        let (clearance, range) = match m {
            Mechanism::Rotary { linkage, .. } => (linkage.clearance(3.0), Some(linkage.range())),
            Mechanism::PushRod { linkage, .. } => (linkage.clearance(3.0), Some(linkage.range())),
            Mechanism::FiveBar { linkage, .. } => (linkage.clearance(angles), None),
            Mechanism::Table { linkage, .. } => (90.0, Some(linkage.range())),
            Mechanism::Differential { .. } => (90.0, None),
        };
        kinds.insert(rig.description().mechanisms[0].linkage.kind().name());
        kinds.insert(match m.servos().len() {
            1 => "one",
            _ => "two",
        });
        assert_eq!((m.clearance(&angles), m.range()), (clearance, range), "{}", m.name());
        // Slopes against central differences of what it does, by every servo.
        let partials = m.partials(&angles);
        assert_eq!(partials.len(), m.servos().len() * m.drives().len(), "{}", m.name());
        for (servo, dof, slope) in partials {
            let which = m.servos().iter().position(|s| *s == servo).expect("its own");
            let at = |by: f64| {
                let mut moved = angles;
                moved[which] += by;
                m.forward(&moved).into_iter().find(|(d, _)| *d == dof).expect("driven").1
            };
            let difference = (at(1e-5) - at(-1e-5)) / 2e-5;
            assert!((slope - difference).abs() < 1e-6, "{} {dof}: {slope} and {difference}", m.name());
        }
    }
    assert!(kinds.contains("one") && kinds.contains("two"));
}

fn measured(values: &[(f64, f64)]) -> Vec<(Microseconds, f64)> {
    values.iter().map(|(p, v)| (Microseconds::new(*p), *v)).collect()
}

#[test]
fn of_two_runs_as_long_the_one_that_covers_more_counts_and_of_equals_the_first() {
    // Two steps up by 1, two down by 7, far from zero.
    let found = measure_linkage(&measured(&[
        (1000.0, 100.0),
        (1100.0, 101.0),
        (1200.0, 102.0),
        (1300.0, 95.0),
        (1400.0, 88.0),
    ]))
    .expect("it moves");
    assert_eq!((found.folds_below, found.folds_above), (Some(Microseconds::new(1200.0)), None));
    let found = measure_linkage(&measured(&[
        (1000.0, 0.0),
        (1100.0, 1.0),
        (1200.0, 2.0),
        (1300.0, 1.0),
        (1400.0, 0.0),
    ]))
    .expect("it moves");
    assert_eq!((found.folds_below, found.folds_above), (None, Some(Microseconds::new(1200.0))));
}

#[test]
fn what_a_smooth_curve_leaves_is_its_root_mean_square() {
    // A parabola takes 17/35 of a spike in the middle of five even points: what is left has the square
    // 0.8² · 18/35, over five points.
    let spike = measured(&[(1100.0, -4.0), (1300.0, -2.0), (1500.0, 0.8), (1700.0, 2.0), (1900.0, 4.0)]);
    let residual = measure_linkage(&spike).expect("rises").residual.expect("five points");
    assert!(close(residual, (0.64 * 18.0 / 35.0 / 5.0_f64).sqrt()), "{residual}");
    // A cubic is left by a parabola, and met from seven points on.
    let cubic = |count: i32| {
        let points: Vec<(f64, f64)> = (0..count)
            .map(|k| f64::from(k) / f64::from(count - 1))
            .map(|u| (1000.0 + 800.0 * u, 2.0 * u + 5.0 * u * u * u))
            .collect();
        measure_linkage(&measured(&points)).expect("rises").residual.expect("five at least")
    };
    assert!(cubic(6) > 0.05 && cubic(7) < 1e-9, "{} and {}", cubic(6), cubic(7));
}

#[test]
fn a_fit_is_judged_by_the_span_and_not_by_where_it_lies() {
    let servo = Rig::harbourmaster().servos()[1].clone();
    let guess = PushRod { horn_radius: 14.0, rod_length: 45.0, offset: 0.0, neutral_horn: 90.0, lever: 1.0 };
    let far =
        measured(&[(1100.0, 100.0), (1300.0, 105.0), (1500.0, 100.0), (1700.0, 105.0), (1900.0, 100.0)]);
    assert_eq!(fit_push_rod(&servo, &far, guess), Err(CalibrationError::NoFit));
}
