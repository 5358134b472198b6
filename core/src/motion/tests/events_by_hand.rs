//! Pulls of blinks and turns at single moments, and sentences, by hand.

use super::super::targets::Timeline;
use super::*;
use crate::rig::{DofValues, Preset};
use crate::units::Degrees;

fn s(value: f64) -> Seconds {
    Seconds::new(value)
}

fn turn(to: f64, over: f64, hold: f64) -> Turn {
    Turn { to: Degrees::new(to), over: s(over), hold: s(hold) }
}

fn wishes(events: &[Event], duration: f64) -> Wishes<'_> {
    Wishes { segments: &[], expressions: &[], events, duration: s(duration) }
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

/// The smooth step 3u² − 2u³ has 0.156 25 at a quarter.
#[test]
fn a_turn_goes_stays_and_comes_back_by_the_smooth_step() {
    let there = turn(20.0, 1.0, 2.0);
    for (since, share) in [
        (0.0, 0.0),
        (0.25, 0.156_25),
        (0.5, 0.5),
        (1.0, 1.0),
        (2.0, 1.0),
        (3.0, 1.0),
        (3.5, 0.5),
        (3.75, 0.156_25),
        (4.0, 0.0),
    ] {
        let is = turned(&there, since).expect("it is on");
        assert!(close(is, share), "{since}: {is}");
    }
    assert_eq!((turned(&there, -0.01), turned(&there, 4.01)), (None, None));
    // Half a second there, one held, half a second back.
    let quick = turn(20.0, 0.5, 1.0);
    for (since, share) in [(0.125, 0.156_25), (0.25, 0.5), (1.5, 1.0), (1.75, 0.5), (2.0, 0.0)] {
        let is = turned(&quick, since).expect("it is on");
        assert!(close(is, share), "{since}: {is}");
    }
    assert_eq!(turned(&quick, 2.01), None);
}

#[test]
fn turns_pull_from_where_the_neck_would_be_and_only_while_they_and_the_line_last() {
    let rig = Preset::Lookout.rig();
    let events = [Event::turn(s(1.0), turn(20.0, 1.0, 2.0)), Event::turn(s(3.0), turn(-30.0, 1.0, 0.0))];
    let pulls = Pulls::new(wishes(&events, 10.0), &rig);
    for (time, base, at) in [
        (0.99, 5.0, None),
        (1.5, 0.0, Some(10.0)),
        // From 4 a quarter of the time towards 20.
        (1.25, 4.0, Some(6.5)),
        (2.5, 4.0, Some(20.0)),
        // The second sets out from where the first has the head.
        (3.5, 4.0, Some(-5.0)),
        (4.0, 4.0, Some(-30.0)),
        // The first is half way back from 20 to 4, the second half way back to that.
        (4.5, 4.0, Some(-9.0)),
        (5.01, 4.0, None),
    ] {
        match (pulls.neck(time, base), at) {
            (Some(is), Some(at)) => assert!(close(is, at), "{time}: {is}"),
            (is, at) => assert_eq!(is, at, "at {time}"),
        }
    }
    let short = Pulls::new(wishes(&events, 2.0), &rig);
    assert_eq!((short.neck(2.0, 0.0), short.neck(2.01, 0.0)), (Some(20.0), None));
    let early = [Event::turn(s(0.0), turn(20.0, 1.0, 2.0))];
    let early = Pulls::new(wishes(&early, 2.0), &rig);
    assert_eq!((early.neck(0.0, 3.0), early.neck(-0.01, 3.0)), (Some(3.0), None));
}

/// At the very end of a turn the neck is where it would be, and still the turn's; a moment later it is nobody's.
#[test]
fn a_turn_pulls_to_its_very_end() {
    let rig = Preset::Lookout.rig();
    let events = [Event::turn(s(1.0), turn(20.0, 1.0, 2.0))];
    let pulls = Pulls::new(wishes(&events, 10.0), &rig);
    assert_eq!((pulls.neck(5.0, 3.0), pulls.neck(5.001, 3.0)), (Some(3.0), None));
}

#[test]
fn of_several_blinks_the_one_that_shuts_furthest_counts() {
    let rig = Preset::Lookout.rig();
    let course = rig.blink().expect("has lids");
    let (closing, length) = (course.closing.value(), course.length().value());
    let events =
        [Event::blink(s(1.0)), Event::blink(s(1.0 + 0.5 * length)), Event::turn(s(1.0), Turn::default())];
    let mut sorted = events;
    sorted.sort_by(|a, b| a.time.value().total_cmp(&b.time.value()));
    let pulls = Pulls::new(wishes(&sorted, 5.0), &rig);
    assert!(close(pulls.closed(1.0 + 0.5 * closing), 0.5), "half way down");
    assert!(close(pulls.closed(1.0 + closing), 1.0));
    assert!(close(pulls.closed(1.0 + 0.5 * length + closing), 1.0), "the second");
    for time in [0.9, 1.0, 1.0 + 1.5 * length, 4.0] {
        assert!(pulls.closed(time).abs() < 1e-9, "open at {time}");
    }
    let ended = Pulls::new(wishes(&sorted, 1.0 + 0.5 * closing), &rig);
    assert_eq!(ended.closed(1.0 + closing), 0.0, "after the line nothing shuts");
}

#[test]
fn lids_weigh_more_the_further_they_are_shut_and_the_neck_is_held_to_its_skin() {
    let rig = Preset::Lookout.rig();
    let course = rig.blink().expect("has lids");
    let events = [Event::blink(s(1.0)), Event::turn(s(1.0), turn(80.0, 0.5, 1.0))];
    let wishes = wishes(&events, 4.0);
    let settings = crate::motion::PlanSettings::default();
    let pulls = Pulls::new(wishes, &rig);
    let mut targets = Targets::new(wishes, &rig, &settings).expect("valid");
    let lid = rig.dof(Dof::LidLeft).expect("has lids");
    let at = |targets: &mut Targets, time: f64, weight: f64, wanted: f64| {
        (targets.weight[0], targets.wanted[0]) = (DofValues::default(), DofValues::default());
        for dof in [Dof::LidLeft, Dof::NeckTurn, Dof::JawOpen] {
            (targets.weight[0][dof], targets.wanted[0][dof]) = (weight, weight * wanted);
        }
        targets.add_events(0, time, &pulls, &rig);
        let of = |dof| (targets.weight[0][dof], targets.wanted[0][dof]);
        (of(Dof::LidLeft), of(Dof::NeckTurn), of(Dof::JawOpen))
    };
    // Open: weight 1, and where the look has it; speech is left alone.
    let ((w, x), neck, jaw) = at(&mut targets, 0.5, 2.0, 3.0);
    assert!(close(w, 1.0) && close(x, 3.0), "{w} {x}");
    assert_eq!((neck, jaw), ((2.0, 6.0), (2.0, 6.0)));
    // Half shut: 1 + √½ · 9, and half way from the look's 3 mm to the skin's end.
    let ((w, x), _, jaw) = at(&mut targets, 1.0 + 0.5 * course.closing.value(), 2.0, 3.0);
    let weight = 1.0 + 9.0 * 0.5_f64.sqrt();
    assert!(close(w, weight) && close(x, weight * (3.0 + 0.5 * (lid.skin_max - 3.0))), "{w} {x}");
    assert_eq!(jaw, (2.0, 6.0));
    // Shut, from rest where nothing asks for anything; the neck at its end, with a turn's weight.
    let ((w, x), (v, y), _) = at(&mut targets, 1.0 + course.closing.value(), 0.0, 0.0);
    assert!(close(w, 10.0) && close(x, 10.0 * lid.skin_max), "{w} {x}");
    let _ = (v, y);
    let (_, (v, y), _) = at(&mut targets, 1.7, 0.0, 0.0);
    assert!(close(v, 0.09) && close(y, 0.09 * 40.0), "{v} {y}");
}

#[test]
fn what_a_head_does_not_do_is_said_in_a_sentence() {
    let at = |kind, fault| EventShortfall { event: 0, kind, time: s(1.837), fault }.sentence();
    let there = EventKind::HeadTurn(Turn::default());
    assert_eq!(
        at(EventKind::Blink, EventFault::Missing(FacePart::Lids)),
        "blink at 1.84 s: this head has no eyelids"
    );
    assert_eq!(
        at(there, EventFault::Missing(FacePart::Neck)),
        "head turn at 1.84 s: this head's neck does not turn"
    );
    let short = EventFault::Short {
        dof: Dof::LidLeft,
        servo: ServoId(2),
        wanted: 11.0,
        reached: 6.04,
        by: LimitedBy::Travel,
    };
    assert_eq!(at(EventKind::Blink, short), "blink: lid left: 6.0 mm of 11.0 mm at 1.84 s, travel");
    let slow = EventFault::Slow { takes: s(0.718), servo: ServoId(2) };
    assert_eq!(
        at(EventKind::Blink, slow),
        "blink at 1.84 s takes 0.72 s on this head, a person's at most 0.50 s"
    );
}

/// Frame 10 is line time 0, and each shows a frame after it is sent: frame `f` shows at `(f − 9) · 0.02` s.
const TIMELINE: Timeline = Timeline { frame: 0.02, origin: 10, frames: 200 };

/// What is said of `event` on a line of `duration`, where the face is at rest but for `dof`, which has `value` in the
/// frames `there`.
fn said(
    rig: &Rig,
    event: Event,
    duration: f64,
    (dof, value): (Dof, f64),
    there: std::ops::Range<usize>,
) -> Vec<EventShortfall> {
    let settings = crate::motion::PlanSettings { servo_lag: s(0.02), ..Default::default() };
    let head = super::super::head::Head::new(rig, 0.02).expect("it stands");
    let view = View { rig, groups: &head.groups, timeline: TIMELINE, settings: &settings };
    let mut face = rig.rest();
    face[dof] = value;
    if dof == Dof::LidLeft {
        face[Dof::LidRight] = value;
    }
    let (rest, reached) = (rig.rest_angles(), rig.reach(&face).angles);
    let servos: Vec<ServoCurve> = (0..rest.len())
        .map(|k| {
            let at = |t: usize| if there.contains(&t) { reached[k] } else { rest[k] };
            let planned: Vec<Degrees> = (0..TIMELINE.frames).map(at).collect();
            ServoCurve {
                wanted: planned.clone(),
                limited: vec![Some(LimitedBy::Speed); planned.len()],
                planned,
            }
        })
        .collect();
    event_shortfalls(&view, &servos, wishes(&[event], duration))
}

/// A head whose lids rest at 1 mm of 11 and whose neck rests at 5 degrees.
fn lookout() -> Rig {
    let mut d = Preset::Lookout.describe();
    for spec in &mut d.dofs {
        match spec.dof {
            Dof::LidLeft | Dof::LidRight => spec.rest = 1.0,
            Dof::NeckTurn => spec.rest = 5.0,
            _ => {}
        }
    }
    Rig::new(d).expect("still a head")
}

#[test]
fn a_turn_has_come_where_the_head_is_there_once_in_its_time() {
    let rig = lookout();
    let there = |hold: f64| Event::turn(s(1.0), turn(20.0, 0.5, hold));
    // There from 1.5 s, frame 84, and a quarter of a second longer, frame 96 (97 shows at 1.76 s).
    for (frame, come) in [(83, false), (84, true), (96, true), (97, false)] {
        let said = said(&rig, there(1.0), 4.0, (Dof::NeckTurn, 20.0), frame..frame + 1);
        assert_eq!(said.is_empty(), come, "at frame {frame} alone: {said:?}");
    }
    // Held for a tenth: until 1.6 s, frame 89.
    for (frame, come) in [(89, true), (90, false)] {
        let said = said(&rig, there(0.1), 4.0, (Dof::NeckTurn, 20.0), frame..frame + 1);
        assert_eq!(said.is_empty(), come, "at frame {frame} alone: {said:?}");
    }
    // 15 % of the 15 degrees from rest may be missing: 2.25.
    for (angle, come) in [(17.8, true), (17.7, false)] {
        let said = said(&rig, there(1.0), 4.0, (Dof::NeckTurn, angle), 0..200);
        assert_eq!(said.is_empty(), come, "{angle} degrees: {said:?}");
    }
    // A line that ends before the head should be there asks for nothing.
    for (duration, asked) in [(1.499, false), (1.5, true)] {
        let said = said(&rig, there(1.0), duration, (Dof::NeckTurn, 5.0), 0..200);
        assert_eq!(!said.is_empty(), asked, "{duration} s");
    }
    // Where no frame shows it, the nearest stands for it: the first (−0.18 s) and the last (3.8 s).
    for (start, nearest, shows) in [(-9.0, 0, -0.18), (7.0, 199, 3.8)] {
        let event = Event::turn(s(start), turn(20.0, 0.5, 1.0));
        let told = said(&rig, event, 9.0, (Dof::NeckTurn, 5.0), 0..200);
        assert!(told.len() == 1 && close(told[0].time.value(), shows), "{start} s: {told:?}");
        let come = said(&rig, event, 9.0, (Dof::NeckTurn, 20.0), nearest..nearest + 1);
        assert!(come.is_empty(), "{start} s: {come:?}");
    }
    let short = said(&rig, there(1.0), 4.0, (Dof::NeckTurn, 12.0), 90..91);
    let [EventShortfall { event: 0, time, fault: EventFault::Short { wanted, reached, by, .. }, .. }] =
        short[..]
    else {
        panic!("{short:?}")
    };
    assert!(close(time.value(), 1.62) && close(wanted, 20.0) && (reached - 12.0).abs() < 1e-3, "{short:?}");
    assert_eq!(by, LimitedBy::Speed);
}

#[test]
fn a_blink_has_come_where_the_lids_are_down_once_in_its_time() {
    let rig = lookout();
    let course = rig.blink().expect("has lids");
    assert!(course.length() < BlinkCourse::LONGEST, "the test wants quick lids");
    let blink = Event::blink(s(1.0));
    // From 1 s, frame 59, to its end.
    let last = 9 + ((1.0 + course.length().value() + 0.01) / 0.02 - 1e-6).floor() as usize;
    for (frame, come) in [(58, false), (59, true), (last, true), (last + 1, false)] {
        let said = said(&rig, blink, 4.0, (Dof::LidLeft, 11.0), frame..frame + 1);
        assert_eq!(said.is_empty(), come, "at frame {frame} alone, {last} is the last: {said:?}");
    }
    // A tenth of the 10 mm from rest may be missing.
    for (value, come) in [(10.05, true), (9.95, false)] {
        let said = said(&rig, blink, 4.0, (Dof::LidLeft, value), 0..200);
        assert_eq!(said.is_empty(), come, "{value} mm: {said:?}");
    }
    let shut = 1.0 + course.closing.value();
    for (duration, asked) in [(shut - 1e-3, false), (shut, true)] {
        let said = said(&rig, blink, duration, (Dof::LidLeft, 1.0), 0..200);
        assert_eq!(!said.is_empty(), asked, "{duration} s");
    }
}
