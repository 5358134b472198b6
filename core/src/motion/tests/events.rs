//! Blinks, turns of the head, and held segments.

use super::looks::document;
use super::*;
use crate::line::{Document, Event, ExpressionKey, Line, Turn};
use crate::rig::{BlinkCourse, DofValues, Expression, FacePart, RigDescription};
use crate::units::Degrees;

const S: fn(f64) -> Seconds = Seconds::new;

fn planned_line(line: &Line, rig: &Rig) -> Plan {
    plan_line(line, rig, &PlanSettings::default(), &mut Quiet).expect("plans")
}

/// Every frame with the line time at which it shows.
fn faces(plan: &Plan, rig: &Rig) -> Vec<(f64, DofValues)> {
    let at = |t: usize| {
        let angles: Vec<Degrees> = plan.servos.iter().map(|s| s.planned[t]).collect();
        (plan.shows_at(t).value(), rig.forward(&angles))
    };
    (0..plan.frames()).map(at).collect()
}

fn face_at(plan: &Plan, rig: &Rig, shown: f64) -> DofValues {
    rig.forward(&plan.angles_at(S(shown) - plan.settings.servo_lag))
}

/// The lookout with its lid servo so slow.
fn with_lids_of(seconds_per_60: f64) -> Rig {
    let mut d: RigDescription = Preset::Lookout.describe();
    let lids = d.servos.iter_mut().find(|s| s.name == "lids").expect("has lids");
    lids.speed_s_per_60deg = seconds_per_60;
    Rig::new(d).expect("still a head")
}

fn turn(to: f64, over: f64, hold: f64) -> Turn {
    Turn { to: Degrees::new(to), over: S(over), hold: S(hold) }
}

#[test]
fn a_blink_shuts_both_eyes_and_opens_them_again() {
    let rig = Preset::Lookout.rig();
    let mut doc = document();
    let plain = planned_line(doc.line(), &rig);
    doc.add_event(Event::blink(S(1.0))).expect("inside");
    doc.add_event(Event::blink(S(3.0))).expect("inside");
    let plan = planned_line(doc.line(), &rig);
    assert_within(&plan, &rig);
    assert_judged(&plan, &rig);
    assert_eq!(plan.event_shortfalls, []);
    let course = rig.blink().expect("has lids");
    // A person's: shut within about a tenth of a second, open again more slowly, half a second at most.
    assert!(course.closing >= S(0.1) && course.closing < S(0.2), "{course:?}");
    assert!(course.opening > course.closing && course.length() < BlinkCourse::LONGEST, "{course:?}");
    let shut = rig.dof(Dof::LidLeft).expect("has lids").skin_max;
    for lid in [Dof::LidLeft, Dof::LidRight] {
        for begins in [1.0, 3.0] {
            let during: Vec<f64> = faces(&plan, &rig)
                .iter()
                .filter(|(t, _)| (begins..begins + course.length().value()).contains(t))
                .map(|(_, face)| face[lid])
                .collect();
            let most = during.iter().copied().fold(f64::MIN, f64::max);
            assert!(most > 0.95 * shut, "{lid} comes to {most} of {shut}");
            let before = face_at(&plan, &rig, begins - 0.05)[lid];
            let after = face_at(&plan, &rig, begins + course.length().value() + 0.05)[lid];
            assert!(before.abs() < 0.5 && after.abs() < 0.5, "{before} before, {after} after");
        }
        // In between, the eyes are open.
        assert!(face_at(&plan, &rig, 2.2)[lid].abs() < 0.05);
    }
    // Speech does not know of it.
    for (servo, (a, b)) in rig.servos().iter().zip(plan.servos.iter().zip(&plain.servos)) {
        if servo.name != "lids" {
            assert_eq!(a.planned, b.planned, "{}", servo.name);
        }
    }
}

#[test]
fn a_slow_lid_takes_its_time_still_shuts_and_is_reported() {
    let mut doc = Document::new(Line::silent(S(4.0)).expect("valid"));
    doc.add_event(Event::blink(S(1.5))).expect("inside");
    let mut last = S(0.0);
    for (speed, slow) in [(0.1, false), (0.25, true), (0.6, true)] {
        let rig = with_lids_of(speed);
        let course = rig.blink().expect("has lids");
        assert!(course.length() > last, "the slower the servo, the longer the blink");
        last = course.length();
        let plan = planned_line(doc.line(), &rig);
        assert_within(&plan, &rig);
        let shut = rig.dof(Dof::LidLeft).expect("has lids").skin_max;
        let most = faces(&plan, &rig).iter().map(|(_, f)| f[Dof::LidLeft]).fold(f64::MIN, f64::max);
        assert!(most > 0.95 * shut, "at {speed} s/60°: {most} of {shut}");
        let said: Vec<String> = plan.event_shortfalls.iter().map(EventShortfall::sentence).collect();
        let faults: Vec<bool> =
            plan.event_shortfalls.iter().map(|e| matches!(e.fault, EventFault::Slow { .. })).collect();
        assert_eq!(faults, if slow { vec![true] } else { vec![] }, "at {speed}: {said:?}");
        if slow {
            let takes = format!("takes {:.2} s on this head", course.length().value());
            assert!(said[0].starts_with("blink at 1.50 s") && said[0].contains(&takes), "{said:?}");
        }
    }
}

#[test]
fn a_lid_that_cannot_come_down_is_reported_with_what_holds_it() {
    let mut d = Preset::Lookout.describe();
    let lids = d.servos.iter_mut().find(|s| s.name == "lids").expect("has lids");
    // The pulses end half way.
    lids.pulse_max_us = 1500.0;
    lids.pulse_min_us = 1000.0;
    let rig = Rig::new(d).expect("still a head");
    let reach = rig.reach(&rig.eyes_shut()).dofs[Dof::LidLeft];
    assert!(reach < 8.0, "the test wants a short lid: {reach}");
    let mut doc = Document::new(Line::silent(S(3.0)).expect("valid"));
    doc.add_event(Event::blink(S(1.0))).expect("inside");
    let plan = planned_line(doc.line(), &rig);
    let [short] = plan.event_shortfalls.as_slice() else { panic!("{:?}", plan.event_shortfalls) };
    let EventFault::Short { dof, wanted, reached, by, .. } = short.fault else { panic!("{short:?}") };
    assert_eq!((dof, by, wanted), (Dof::LidLeft, LimitedBy::Travel, 11.0));
    assert!((reached - reach).abs() < 0.3, "{reached} of {reach}");
    assert!(short.sentence().starts_with("blink: lid left: "), "{}", short.sentence());
}

#[test]
fn a_head_turns_stays_and_comes_back() {
    let rig = Rig::harbourmaster();
    let mut doc = document();
    let plain = planned_line(doc.line(), &rig);
    doc.add_event(Event::turn(S(1.0), turn(20.0, 0.8, 1.0))).expect("inside");
    let plan = planned_line(doc.line(), &rig);
    assert_within(&plan, &rig);
    assert_judged(&plan, &rig);
    assert_eq!(plan.event_shortfalls, []);
    let neck = |t: f64| face_at(&plan, &rig, t)[Dof::NeckTurn];
    assert!(neck(0.5).abs() < 1.0, "before: {}", neck(0.5));
    assert!((neck(1.4) - 10.0).abs() < 1.5, "half way: {}", neck(1.4));
    for t in [1.85, 2.3, 2.75] {
        assert!((neck(t) - 20.0).abs() < 1.0, "at {t}: {}", neck(t));
    }
    assert!(neck(4.2).abs() < 1.0, "back: {}", neck(4.2));
    let made = |p: &Plan| (p.summary.closures_reached, p.summary.tongue_contacts_reached);
    assert_eq!(made(&plan), made(&plain));
}

#[test]
fn a_turn_sets_out_from_the_look_and_from_an_earlier_turn() {
    let rig = Rig::harbourmaster();
    let mut doc = Document::new(Line::silent(S(8.0)).expect("valid"));
    let mut aside = ExpressionKey::new(S(0.5), Expression::Neutral);
    aside.values.insert(Dof::NeckTurn, -12.0);
    doc.set_expression(aside).expect("inside");
    doc.add_event(Event::turn(S(2.0), turn(20.0, 0.8, 2.0))).expect("inside");
    doc.add_event(Event::turn(S(3.0), turn(-30.0, 0.8, 0.5))).expect("inside");
    let plan = planned_line(doc.line(), &rig);
    assert_within(&plan, &rig);
    let neck = |t: f64| face_at(&plan, &rig, t)[Dof::NeckTurn];
    for (t, angle) in [(1.5, -12.0), (2.95, 20.0), (4.0, -30.0), (7.0, -12.0)] {
        assert!((neck(t) - angle).abs() < 1.5, "at {t}: {} of {angle}", neck(t));
    }
}

#[test]
fn a_neck_asked_for_too_much_says_so() {
    let rig = Rig::harbourmaster();
    let mut doc = Document::new(Line::silent(S(6.0)).expect("valid"));
    doc.add_event(Event::turn(S(1.0), turn(60.0, 1.0, 1.0))).expect("inside");
    let plan = planned_line(doc.line(), &rig);
    let [short] = plan.event_shortfalls.as_slice() else { panic!("{:?}", plan.event_shortfalls) };
    let EventFault::Short { dof, by, reached, wanted, .. } = short.fault else { panic!("{short:?}") };
    assert_eq!((dof, by, wanted), (Dof::NeckTurn, LimitedBy::Travel, 60.0));
    assert!((reached - 35.0).abs() < 0.5, "{reached}");
    // How fast it can turn is known beforehand, and believed.
    let least = rig.least_turn_time(Degrees::ZERO, Degrees::new(30.0)).expect("has a neck");
    for (over, fits) in [(least.value() + 0.05, true), (0.1, false)] {
        let mut doc = Document::new(Line::silent(S(6.0)).expect("valid"));
        doc.add_event(Event::turn(S(2.0), turn(30.0, over, 0.0))).expect("inside");
        let plan = planned_line(doc.line(), &rig);
        assert_within(&plan, &rig);
        assert_eq!(plan.event_shortfalls.is_empty(), fits, "{over}: {:?}", plan.event_shortfalls);
    }
}

#[test]
fn a_head_without_lids_or_neck_does_nothing_and_says_so() {
    let rig = Rig::jaw_only();
    let mut doc = document();
    let plain = planned_line(doc.line(), &rig);
    doc.add_event(Event::blink(S(1.0))).expect("inside");
    doc.add_event(Event::turn(S(2.0), Turn::default())).expect("inside");
    let plan = planned_line(doc.line(), &rig);
    assert_eq!(plan.servos, plain.servos);
    let faults: Vec<EventFault> = plan.event_shortfalls.iter().map(|e| e.fault).collect();
    assert_eq!(faults, [EventFault::Missing(FacePart::Lids), EventFault::Missing(FacePart::Neck)]);
    assert_eq!(plan.event_shortfalls[0].sentence(), "blink at 1.00 s: this head has no eyelids");
    assert_eq!((rig.blink(), rig.least_turn_time(Degrees::ZERO, Degrees::new(5.0))), (None, None));
}

#[test]
fn planning_again_after_a_change_of_events_gives_what_planning_anew_gives() {
    let rig = Preset::Lookout.rig();
    let mut doc = document();
    doc.add_event(Event::blink(S(0.6))).expect("inside");
    doc.add_event(Event::turn(S(2.0), turn(20.0, 0.7, 0.5))).expect("inside");
    let mut plan = planned_line(doc.line(), &rig);
    let step = |doc: &mut Document, n: usize| match n {
        0 => doc.add_event(Event::blink(S(3.1))),
        1 => doc.change_event(1, Event::turn(S(1.2), turn(-25.0, 0.9, 0.2))),
        2 => doc.delete_event(0),
        _ => doc.set_expression(ExpressionKey::new(S(2.5), Expression::Angry)),
    };
    for n in 0..4 {
        step(&mut doc, n).expect("valid");
        replan_line(&mut plan, doc.line(), &rig, &mut Quiet).expect("plans again");
        assert_within(&plan, &rig);
        let anew = planned_line(doc.line(), &rig);
        for (servo, (a, b)) in rig.servos().iter().zip(plan.servos.iter().zip(&anew.servos)) {
            assert!(a.wanted.iter().zip(&b.wanted).all(|(x, y)| (*x - *y).abs().value() < 1e-9));
            for (x, y) in a.planned.iter().zip(&b.planned) {
                assert!((*x - *y).abs().value() < 0.5, "{} after change {n}: {x} and {y}", servo.name);
            }
        }
        assert_eq!(plan.event_shortfalls, anew.event_shortfalls);
    }
}

#[test]
fn where_the_rail_is_weak_speech_keeps_its_contacts() {
    let mut d = Preset::Lookout.describe();
    d.supply.budget_a = 0.55;
    let rig = Rig::new(d).expect("still a head");
    let mut doc = document();
    let plain = planned_line(doc.line(), &rig);
    assert!(plain.servos.iter().any(|s| s.limited.contains(&Some(LimitedBy::Current))), "the budget binds");
    for t in [0.6, 1.4, 2.2, 3.0] {
        doc.add_event(Event::blink(S(t))).expect("inside");
        doc.add_event(Event::turn(S(t), turn(15.0, 0.3, 0.1))).expect("inside");
    }
    let plan = planned_line(doc.line(), &rig);
    assert_within(&plan, &rig);
    assert!(plan.summary.closures_reached >= plain.summary.closures_reached, "{:?}", plan.summary);
}

/// How far a value is from where it should be, summed over the frames that show between two times.
fn off(plan: &Plan, rig: &Rig, (from, to): (f64, f64), miss: impl Fn(&DofValues) -> f64) -> f64 {
    faces(plan, rig).iter().filter(|(t, _)| (from..to).contains(t)).map(|(_, f)| miss(f)).sum()
}

/// The same line with one segment held.
fn with_held(line: &[Segment], index: usize) -> Vec<Segment> {
    let mut held = line.to_vec();
    held[index].held = true;
    held
}

#[test]
fn a_held_vowel_is_whole_to_its_ends() {
    let rig = Rig::harbourmaster();
    let line = [
        segment(0.0, 0.4, MouthShape::Rest),
        segment(0.4, 0.6, MouthShape::Pursed),
        segment(0.6, 0.8, MouthShape::Spread),
        segment(0.8, 1.0, MouthShape::Pursed),
        segment(1.0, 1.5, MouthShape::Rest),
    ];
    let corner = rig.pose(MouthShape::Spread).target[Dof::CornerLeftX];
    let missed = |line: &[Segment]| {
        let plan = planned(line, S(1.5), &rig);
        assert_within(&plan, &rig);
        // Corners lead the sound by 60 ms.
        let inside = off(&plan, &rig, (0.54, 0.74), |f| (f[Dof::CornerLeftX] - corner).abs());
        (inside, face_at(&plan, &rig, 1.3)[Dof::CornerLeftX])
    };
    let ((plain, later), (kept, later_too)) = (missed(&line), missed(&with_held(&line, 2)));
    assert!(kept < 0.7 * plain, "{plain} mm over the frames, held {kept}");
    assert!((later - later_too).abs() < 0.1, "far from it nothing changes: {later} and {later_too}");
}

#[test]
fn a_held_closure_stays_shut() {
    let rig = Rig::harbourmaster();
    let line = [
        segment(0.0, 0.4, MouthShape::Rest),
        segment(0.4, 0.6, MouthShape::Open),
        segment(0.6, 0.8, MouthShape::Bilabial),
        segment(0.8, 1.0, MouthShape::Open),
        segment(1.0, 1.5, MouthShape::Rest),
    ];
    let missed = |line: &[Segment]| {
        let plan = planned(line, S(1.5), &rig);
        assert_within(&plan, &rig);
        let gap = |f: &DofValues| rig.lip_gap(f, crate::rig::Side::Left).expect("has lips").value();
        off(&plan, &rig, (0.6, 0.8), |f| (gap(f) - CLOSED_GAP).max(0.0))
    };
    assert_eq!(missed(&with_held(&line, 2)), 0.0, "mm over the frames");
}

/// A held silence keeps its ends too, and is not merged with those beside it.
#[test]
fn a_held_rest_is_a_rest_of_its_own() {
    let rig = Rig::harbourmaster();
    let line = [
        segment(0.0, 0.5, MouthShape::Open),
        segment(0.5, 0.8, MouthShape::Rest),
        segment(0.8, 1.2, MouthShape::Open),
    ];
    let missed = |line: &[Segment]| {
        let plan = planned(line, S(1.2), &rig);
        assert_within(&plan, &rig);
        off(&plan, &rig, (0.5, 0.8), |f| f[Dof::JawOpen])
    };
    let (plain, kept) = (missed(&line), missed(&with_held(&line, 1)));
    assert!(kept < 0.7 * plain, "{plain} mm over the frames, held {kept}");
    // Silences around it change nothing of that.
    let parted = [
        line[0].clone(),
        segment(0.5, 0.6, MouthShape::Rest),
        segment(0.6, 0.8, MouthShape::Rest),
        line[2].clone(),
    ];
    let plan = planned(&with_held(&parted, 2), S(1.2), &rig);
    assert_within(&plan, &rig);
}
