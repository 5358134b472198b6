//! Wishes at their edges: parts of a line, rests that are not 0, the shortest vowel, looks and events at their ends.

use super::*;

/// The full head with rest values that are not 0.
fn leaning() -> Rig {
    let mut d = Preset::Harbourmaster.describe();
    let at =
        [(Dof::JawOpen, 2.0), (Dof::CornerLeftX, 1.0), (Dof::TongueBody, 1.5), (Dof::BrowLeftInner, 0.75)];
    for (dof, rest) in at {
        d.dofs.iter_mut().find(|x| x.dof == dof).expect("it has one").rest = rest;
    }
    Rig::new(d).expect("still a head")
}

/// The whole of a line on a timeline of its own, and a part of it: wherever the part lies, however early or late its
/// frames are sent, it wants what the whole wants there.
#[test]
fn a_part_of_a_line_wants_what_the_whole_wants_there() {
    let rig = jaw();
    let line = [
        segment(0.1, 0.4, Open),
        segment(0.4, 0.6, Bilabial),
        segment(3.0, 3.3, Spread),
        segment(28.0, 28.5, Open),
    ];
    let wishes = Wishes { segments: &line, expressions: &[], events: &[], duration: s(30.0) };
    for (lag, delay) in [(0.0, 0.0), (0.0, 5.0), (1.0, -5.0)] {
        let settings = PlanSettings { servo_lag: s(lag), audio_delay: s(delay), ..plain() };
        let whole = Targets::new(wishes, &rig, &settings).expect("valid");
        let n = whole.timeline.frames;
        let first_at = |time: f64| whole.timeline.ceil(time).min(n - 60);
        for from in [0, 10, first_at(4.0), first_at(5.0), first_at(14.0), n - 60] {
            let part = from..from + 60;
            let own = Targets::over(whole.timeline.cropped(&part), wishes, &rig, &settings);
            assert_eq!(own.wanted, whole.wanted[part.clone()], "{lag} {delay} from {from}");
            assert_eq!(own.weight, whole.weight[part.clone()], "{lag} {delay} from {from}");
        }
    }
}

#[test]
fn strength_and_silence_count_from_rest() {
    let rig = leaning();
    let mut held = segment(1.0, 1.4, MouthShape::HalfOpen);
    (held.strength, held.held) = (0.5, true);
    let line = [held, segment(1.4, 1.6, Velar)];
    let wishes = Wishes { segments: &line, expressions: &[], events: &[], duration: s(3.0) };
    let targets = Targets::new(wishes, &rig, &plain()).expect("valid");
    let t = targets.timeline.ceil(1.2);
    let (dof, pose) = (Dof::JawOpen, rig.pose(MouthShape::HalfOpen));
    // Held weighs four times as much as the square of its importance.
    let own = 4.0 * pose.importance[dof].powi(2);
    assert!(pose.importance[dof] < 0.9 && pose.target[dof] > 3.0);
    let half = 2.0 + 0.5 * (pose.target[dof] - 2.0);
    assert!(close(targets.weight[t][dof], own + IDLE_WEIGHT));
    assert!(close(targets.wanted[t][dof], (own * half + 2.0 * IDLE_WEIGHT) / (own + IDLE_WEIGHT)));
    // What no shape and no look pulls is where it rests.
    let brow = Dof::BrowLeftInner;
    assert!(targets.weight.iter().all(|w| w[brow] == IDLE_WEIGHT));
    assert!(targets.wanted.iter().all(|x| close(x[brow], 0.75)));
    let mut soft = line[1].clone();
    soft.strength = 0.5;
    let contact = &contacts(&[soft], &rig, &plain(), targets.timeline)[0];
    let body = Dof::TongueBody;
    let at = 1.5 + 0.5 * (rig.pose(Velar).target[body] - 1.5);
    assert!(close(contact.target[body], at), "{} and {at}", contact.target[body]);
}

/// A vowel shorter than it takes to fade in has its whole weight in its middle all the same.
#[test]
fn the_shortest_vowel_has_its_whole_weight_in_its_middle() {
    let rig = jaw();
    let settings = PlanSettings { rest_near_speech: 0.2, ..plain() };
    let line = [segment(1.0, 1.04, Open)];
    let wishes = Wishes { segments: &line, expressions: &[], events: &[], duration: s(3.0) };
    let targets = Targets::new(wishes, &rig, &settings).expect("valid");
    let weight = targets.weight[targets.timeline.ceil(1.02)][Dof::JawOpen];
    let of = |shape| rig.pose(shape).importance[Dof::JawOpen].powi(2);
    // Silence before and after is 20 ms away, half of what it fades over: 0.156 25 each.
    let by_hand = of(Open) + 2.0 * 0.156_25 * 0.2 * of(Rest) + IDLE_WEIGHT;
    assert!(close(weight, by_hand), "{weight}, by hand {by_hand}");
}

/// Turns weigh 0.3² of what millimetres weigh, whoever asks for them.
#[test]
fn a_turn_of_the_head_weighs_less_than_a_millimetre() {
    use crate::rig::Expression;
    let mut d = Preset::Lookout.describe();
    let own = d.poses.entry(Open).or_default();
    own.target.insert(Dof::NeckTurn, 10.0);
    own.importance.insert(Dof::NeckTurn, 1.0);
    let rig = Rig::new(d).expect("still a head");
    let mut key = ExpressionKey::new(s(0.0), Expression::Neutral);
    key.values.insert(Dof::NeckTurn, 10.0);
    for (keys, weight) in [(vec![], 0.09), (vec![key], 0.18)] {
        let line = [segment(1.0, 1.4, Open)];
        let wishes = Wishes { segments: &line, expressions: &keys, events: &[], duration: s(3.0) };
        let targets = Targets::new(wishes, &rig, &plain()).expect("valid");
        let t = targets.timeline.ceil(1.2);
        assert!(close(targets.weight[t][Dof::NeckTurn], weight + IDLE_WEIGHT), "{weight}");
        let wanted = 10.0 * weight / (weight + IDLE_WEIGHT);
        assert!(close(targets.wanted[t][Dof::NeckTurn], wanted), "{weight}");
    }
}

/// A look pulls where it cares: a value that a person set without weight is not what the face rests at.
#[test]
fn a_look_that_does_not_care_leaves_rest_alone() {
    use crate::rig::Expression;
    let mut d = Preset::Lookout.describe();
    let own = d.expressions.entry(Expression::Smile).or_default();
    own.target.insert(Dof::JawOpen, 5.0);
    own.importance.insert(Dof::JawOpen, 0.0);
    let rig = Rig::new(d).expect("still a head");
    assert!(rig.expression(Expression::Smile).target[Dof::JawOpen] > 4.0);
    let keys = [ExpressionKey::new(s(0.0), Expression::Smile)];
    let wishes = Wishes { segments: &[], expressions: &keys, events: &[], duration: s(3.0) };
    let targets = Targets::new(wishes, &rig, &plain()).expect("valid");
    let wanted = targets.wanted[targets.timeline.ceil(1.5)][Dof::JawOpen];
    assert!(close(wanted, rig.rest()[Dof::JawOpen]), "{wanted}");
}

/// At a key its own look, between two a share of the way, and none before the line begins or after it has ended.
#[test]
fn looks_go_from_key_to_key_while_the_line_lasts() {
    use crate::rig::Expression;
    let rig = leaning();
    let key = |time: f64, amount: f64| {
        let mut key = ExpressionKey::new(s(time), Expression::Smile);
        key.amount = amount;
        key
    };
    let keys = [key(0.5, 0.25), key(1.0, 1.0), key(2.0, 0.5)];
    let wishes = Wishes { segments: &[], expressions: &keys, events: &[], duration: s(2.5) };
    let settings = PlanSettings { servo_lag: s(0.1), ..plain() };
    let timeline = Timeline { frame: 0.02, origin: 20, frames: 160 };
    let looks = looks(timeline, wishes, &rig, &settings);
    let corner = Dof::CornerLeftX;
    let smile = rig.expression(Expression::Smile).target[corner];
    assert!(smile > 2.0);
    let of = |amount: f64| 1.0 + amount * (smile - 1.0);
    for (t, look) in looks.iter().enumerate() {
        let time = timeline.time(t) + 0.1;
        let Some((before, next, share)) =
            lane_at(&keys, s(time)).filter(|_| (-1e-9..2.5 + 1e-9).contains(&time))
        else {
            assert_eq!(look, &None, "{time}");
            continue;
        };
        let wanted = of(before.amount) + share * (of(next.amount) - of(before.amount));
        let is = look.as_ref().expect("a look").target[corner];
        assert!(close(is, wanted), "{time}: {is}, by hand {wanted}");
    }
    // −0.4 s is the first frame; 0.1 s later it shows.
    assert!(looks[14].is_none() && looks[15].is_some() && looks[140].is_some() && looks[141].is_none());
}

/// A blink or turn shows when it is to show: its frames are sent as much earlier as servos lag.
#[test]
fn events_are_sent_ahead_by_the_lag() {
    use crate::line::Turn;
    use crate::units::Degrees;
    let rig = Preset::Lookout.rig();
    let turn = Turn { to: Degrees::new(20.0), over: s(0.5), hold: s(1.0) };
    let events = [Event::turn(s(1.01), turn)];
    let wishes = Wishes { segments: &[], expressions: &[], events: &events, duration: s(5.0) };
    let settings = PlanSettings { servo_lag: s(0.1), ..plain() };
    let targets = Targets::new(wishes, &rig, &settings).expect("valid");
    let frames: Vec<usize> = (0..targets.timeline.frames)
        .filter(|&t| targets.weight[t][Dof::NeckTurn] > 2.0 * IDLE_WEIGHT)
        .collect();
    // From 1.01 to 3.01 s on the face, so from 0.92 to 2.90 s on the wire.
    let (first, last) = (targets.timeline.ceil(0.92), targets.timeline.ceil(2.9));
    assert_eq!((frames[0], frames[frames.len() - 1]), (first, last));
}

#[test]
fn silence_does_not_glide() {
    let mut glide = segment(0.5, 0.9, Rest);
    glide.glide = Some(Open);
    assert_eq!(shown(&spans(&[glide])), [(-99.0, 99.0, Rest)]);
}

/// Where the frames end within a contact it is to be made in the last of them.
#[test]
fn the_middle_of_a_contact_lies_within_its_frames() {
    let rig = Rig::harbourmaster();
    let line = [segment(1.0, 1.2, Bilabial)];
    let places = |origin: i64, frames: usize| -> Vec<_> {
        let timeline = Timeline { frame: 0.02, origin, frames };
        contacts(&line, &rig, &plain(), timeline).iter().map(|c| (c.first, c.end, c.centre)).collect()
    };
    assert_eq!(places(10, 200), [(60, 70, 65)]);
    // Frames 63 and 64 are known.
    assert_eq!(places(10, 65), [(60, 63, 62)]);
    // So are the first two.
    assert_eq!(places(-46, 200), [(4, 14, 9)]);
    assert_eq!(places(-57, 200), [(2, 3, 2)]);
    assert_eq!(places(-58, 200), []);
    assert_eq!(places(10, 63), [(60, 61, 60)]);
    assert_eq!(places(10, 62), []);
}
