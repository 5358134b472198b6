//! Pulls of blinks and turns at single moments, and sentences, by hand.

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
