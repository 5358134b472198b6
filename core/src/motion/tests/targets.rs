//! Wanted values, weights and contacts, frame by frame, by hand.

use super::*;
use crate::rig::Preset;
use MouthShape::{Alveolar, Bilabial, Labiodental, Open, Rest, Spread, Velar};

#[path = "targets_edges.rs"]
mod edges;

fn s(value: f64) -> Seconds {
    Seconds::new(value)
}

fn segment(start: f64, end: f64, shape: MouthShape) -> Segment {
    Segment::new(s(start), s(end), shape)
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

/// Nothing leads, lags or waits.
fn plain() -> PlanSettings {
    PlanSettings {
        visual_lead: s(0.0),
        corner_lead: s(0.0),
        servo_lag: s(0.0),
        overlap: s(0.04),
        ..PlanSettings::default()
    }
}

#[test]
fn the_contact_that_a_shape_lives_by() {
    for shape in MouthShape::ALL {
        let expected = match shape {
            Bilabial => Some(ContactKind::Lips),
            Labiodental => Some(ContactKind::LipOnTeeth),
            MouthShape::Dental | Alveolar => Some(ContactKind::TongueTip),
            Velar => Some(ContactKind::TongueBody),
            _ => None,
        };
        assert_eq!(ContactKind::of(shape), expected, "{shape}");
    }
}

#[test]
fn smooth_steps_and_fades() {
    for (x, y) in
        [(-1.0, 0.0), (0.0, 0.0), (0.25, 0.156_25), (0.5, 0.5), (0.75, 0.843_75), (1.0, 1.0), (7.0, 1.0)]
    {
        assert!(close(smoothstep(x), y), "{x}: {}", smoothstep(x));
    }
    // Within 2 either side of a boundary.
    for (depth, y) in [(-2.0, 0.0), (-1.0, 0.156_25), (0.0, 0.5), (1.0, 0.843_75), (2.0, 1.0), (3.0, 1.0)] {
        assert!(close(fade(depth, 2.0), y), "{depth}: {}", fade(depth, 2.0));
    }
}

#[test]
fn frames_have_times_and_times_have_frames() {
    let timeline = Timeline { frame: 0.02, origin: 10, frames: 40 };
    assert!(close(timeline.time(0), -0.2) && close(timeline.time(10), 0.0) && close(timeline.time(39), 0.58));
    for (time, frame) in
        [(0.0, 10), (0.02, 11), (0.021, 12), (-0.2, 0), (-0.3, 0), (0.58, 39), (0.6, 40), (9.0, 40)]
    {
        assert_eq!(timeline.ceil(time), frame, "{time}");
    }
    let part = timeline.cropped(&(5..25));
    assert_eq!(part, Timeline { frame: 0.02, origin: 5, frames: 20 });
    assert!(close(part.time(0), timeline.time(5)));
}

/// A jaw at 100 degrees a second up and 50 down, 500 degrees/s².
fn jaw() -> Rig {
    let mut d = Preset::JawOnly.describe();
    let servo = &mut d.servos[0];
    servo.speed_s_per_60deg = 0.6;
    (servo.load_derating_up, servo.load_derating_down) = (1.0, 0.5);
    servo.acceleration_deg_per_s2 = 500.0;
    Rig::new(d).expect("still a head")
}

#[test]
fn there_is_time_to_come_from_rest_and_to_go_back() {
    let rig = jaw();
    let (low, high) = rig.travel(rig.servos()[0].id);
    let rest = rig.rest_angles()[0];
    // The longest way at the slower speed, and the time to come up to it.
    let way = ((high - rest).value().max((rest - low).value()) / 50.0 + 50.0 / 500.0).min(2.0);
    assert!(way > 0.3, "the test wants a slow jaw: {way} s");
    let settings = PlanSettings {
        visual_lead: s(0.1),
        jaw_lead: s(0.05),
        servo_lag: s(0.04),
        audio_delay: s(0.01),
        ..plain()
    };
    // Shapes show 0.1 to 0.15 s before their sound, and are sent 0.03 s earlier still.
    let before = ((0.18 + way) / 0.02).ceil() as i64 + 3;
    let after = ((3.0 - 0.13 + way) / 0.02).ceil() as usize;
    let timeline = Timeline::new(3.0, &rig, &settings);
    assert_eq!((timeline.origin, timeline.frames), (before, before as usize + after + 4));
    // A servo that would need more than two seconds gets two.
    let mut d = rig.description().clone();
    d.servos[0].speed_s_per_60deg = 60.0;
    let slow = Timeline::new(3.0, &Rig::new(d).expect("slow"), &plain());
    assert_eq!((slow.origin, slow.frames), (103, 103 + 250 + 4));
}

fn shown(spans: &[Span]) -> Vec<(f64, f64, MouthShape)> {
    let end = |t: f64| t.clamp(-99.0, 99.0);
    spans.iter().map(|s| (end(s.start), end(s.end), s.shape)).collect()
}

#[test]
fn gaps_are_silence_silences_are_one_and_diphthongs_two() {
    assert_eq!(shown(&spans(&[])), [(-99.0, 99.0, Rest)]);
    let mut glide = segment(2.0, 2.4, Open);
    glide.glide = Some(Spread);
    let line = [
        segment(0.5, 0.8, Rest),
        segment(0.8, 1.0, Open),
        segment(1.0, 1.0, Bilabial), // Of no length: not there.
        segment(1.3, 1.5, Velar),
        segment(1.5, 1.7, Rest),
        segment(1.8, 2.0, Rest),
        glide,
    ];
    assert_eq!(
        shown(&spans(&line)),
        [
            (-99.0, 0.8, Rest),
            (0.8, 1.0, Open),
            (1.0, 1.3, Rest),
            (1.3, 1.5, Velar),
            (1.5, 2.0, Rest),
            (2.0, 2.2, Open),
            (2.2, 2.4, Spread),
            (2.4, 99.0, Rest),
        ]
    );
    // A silence after a gap is one silence with it; a held one stands alone.
    assert_eq!(
        shown(&spans(&[segment(0.0, 0.4, Open), segment(0.6, 0.9, Rest)]))[1..],
        [(0.0, 0.4, Open), (0.4, 99.0, Rest)]
    );
    let mut held = segment(0.6, 0.9, Rest);
    held.held = true;
    let parted = spans(&[segment(0.0, 0.4, Open), held]);
    assert_eq!(
        shown(&parted)[1..],
        [(0.0, 0.4, Open), (0.4, 0.6, Rest), (0.6, 0.9, Rest), (0.9, 99.0, Rest)]
    );
    assert_eq!(parted.iter().map(|s| s.held).collect::<Vec<_>>(), [false, false, false, true, false]);
    // A millionth of a second is the least that is there, and no gap yet.
    assert_eq!(shown(&spans(&[segment(0.0, 1e-6, Open)]))[1..], [(0.0, 1e-6, Open), (1e-6, 99.0, Rest)]);
    let apart = [segment(0.0, 1.0, Open), segment(1.0 + 1e-6, 2.0, Velar)];
    assert_eq!(shown(&spans(&apart)).len(), 4);
    // Strength goes with the shape; silence is whole.
    let mut faint = segment(0.2, 0.4, Open);
    faint.strength = 0.5;
    assert_eq!(spans(&[faint]).iter().map(|s| s.strength).collect::<Vec<_>>(), [1.0, 0.5, 1.0]);
}

#[test]
fn parts_of_the_face_lead_and_contacts_by_a_share_of_themselves_at_most() {
    let settings = PlanSettings {
        visual_lead: s(0.1),
        jaw_lead: s(0.01),
        lip_lead: s(0.02),
        corner_lead: s(0.03),
        tongue_lead: s(0.04),
        ..plain()
    };
    let span = |shape| Span { start: 1.0, end: 1.2, shape, strength: 1.0, held: false };
    for (part, by) in [
        (FacePart::Jaw, 0.11),
        (FacePart::Lips, 0.12),
        (FacePart::Corners, 0.13),
        (FacePart::Tongue, 0.14),
        (FacePart::Brows, 0.1),
        (FacePart::Neck, 0.1),
        (FacePart::Lids, 0.1),
    ] {
        assert!(close(lead(&settings, part, &span(Open), false), by), "{part:?}");
        // 0.35 of a fifth of a second.
        assert!(close(lead(&settings, part, &span(Bilabial), false), 0.07), "{part:?}");
        assert!(close(lead(&settings, part, &span(Open), true), 0.07), "{part:?}");
    }
    let late = PlanSettings { visual_lead: s(-0.1), ..plain() };
    assert!(close(lead(&late, FacePart::Jaw, &span(Bilabial), false), -0.07));
    assert!(close(lead(&late, FacePart::Jaw, &span(Open), false), -0.1));
}

/// One open vowel from 1 to 1.4 s between silences, on a jaw: what its weights and wishes should be at frames whose
/// depth in it is known, by the formulas at the head of the module.
#[test]
fn a_vowel_between_silences_pulls_as_the_formulas_say() {
    let rig = jaw();
    let settings =
        PlanSettings { rest_near_speech: 0.2, rest_in_silence: 2.0, silence_depth: s(0.4), ..plain() };
    let line = [segment(1.0, 1.4, Open)];
    let wishes = Wishes { segments: &line, expressions: &[], events: &[], duration: s(3.0) };
    let targets = Targets::new(wishes, &rig, &settings).expect("valid");
    let (jaw, open, rest) = (Dof::JawOpen, rig.pose(Open), rig.dof(Dof::JawOpen).expect("a jaw").rest);
    let base = open.importance[jaw].powi(2);
    let rest_base = rig.pose(Rest).importance[jaw].powi(2);
    assert!(base > 0.0 && rest_base > 0.0 && open.target[jaw] > rest + 1.0);
    let rest_target = rig.pose(Rest).target[jaw];
    // (time, weight of the vowel, weight of the silence, each against its importance)
    for (time, vowel, silence) in [
        // In the middle, depth 0.2 of 0.2.
        (1.2, 1.0, 0.0),
        // A quarter in, depth 0.1: half way to the end, so the dip is a quarter of 0.4.
        (1.1, 0.9, 0.0),
        // On the boundary both fade to a half; the vowel has lost 0.4, the silence has its weight near speech.
        (1.0, 0.5 * 0.6, 0.5 * 0.2),
        (1.4, 0.5 * 0.6, 0.5 * 0.2),
        // 20 ms outside, half the overlap: 0.156 25 of the vowel and 0.843 75 of the silence, 0.02/0.4 deep:
        // 0.007 25 of the way from 0.2 to 2.
        (0.98, 0.156_25 * 0.6, 0.843_75 * (0.2 + 1.8 * 0.007_25)),
        (1.42, 0.156_25 * 0.6, 0.843_75 * (0.2 + 1.8 * 0.007_25)),
        // 0.2 outside, half of the depth at which silence has its whole weight.
        (0.8, 0.0, 1.1),
        (1.6, 0.0, 1.1),
        (0.5, 0.0, 2.0),
    ] {
        let t = targets.timeline.ceil(time);
        assert!(close(targets.timeline.time(t), time));
        let (v, r) = (base * vowel, rest_base * silence);
        let weight = v + r + IDLE_WEIGHT;
        let wanted = (v * open.target[jaw] + r * rest_target + IDLE_WEIGHT * rest) / weight;
        let (w, x) = (targets.weight[t][jaw], targets.wanted[t][jaw]);
        assert!(close(w, weight), "weight at {time}: {w}, by hand {weight}");
        assert!(close(x, wanted), "wanted at {time}: {x}, by hand {wanted}");
    }
    // What the head does not have is held to nothing but rest.
    assert_eq!(targets.weight[60][Dof::TongueTip], IDLE_WEIGHT);
    // Half as strong wants half the way; held is whole and four times as heavy to its ends, and keeps others out.
    let mut strong = line.clone();
    (strong[0].strength, strong[0].held) = (0.5, true);
    let wishes = Wishes { segments: &strong, ..wishes };
    let targets = Targets::new(wishes, &rig, &settings).expect("valid");
    for time in [1.02, 1.2, 1.38] {
        let t = targets.timeline.ceil(time);
        let half = rest + 0.5 * (open.target[jaw] - rest);
        let weight = 4.0 * base + IDLE_WEIGHT;
        assert!(close(targets.weight[t][jaw], weight), "{time}: {}", targets.weight[t][jaw]);
        assert!(close(targets.wanted[t][jaw], (4.0 * base * half + IDLE_WEIGHT * rest) / weight));
    }
}

#[test]
fn contacts_have_the_frames_in_which_their_segment_sounds() {
    let rig = Rig::harbourmaster();
    let timeline = Timeline { frame: 0.02, origin: 10, frames: 200 };
    let settings = PlanSettings { servo_lag: s(0.04), visual_lead: s(0.02), tongue_lead: s(0.02), ..plain() };
    let mut faint = segment(2.0, 2.2, Bilabial);
    faint.strength = 0.29;
    let line = [
        segment(1.0, 1.2, Bilabial),
        segment(1.2, 1.4, Open),
        segment(1.4, 1.6, Velar),
        segment(1.8, 1.8, Bilabial),
        faint,
        segment(2.405, 2.41, Labiodental),
        segment(40.0, 40.2, Bilabial),
    ];
    let found = contacts(&line, &rig, &settings, timeline);
    let places: Vec<_> = found.iter().map(|c| (c.segment, c.kind, c.first, c.end, c.centre)).collect();
    assert_eq!(
        places,
        [
            // Sent 0.04 s ahead: 0.96 to 1.16 s; the middle 1.1 s, 0.04 and 0.02 earlier.
            (0, ContactKind::Lips, 58, 68, 62),
            // The tongue leads by 0.04: 1.5 less 0.08.
            (2, ContactKind::TongueBody, 78, 88, 81),
            // Shorter than a frame: the frame nearest its middle, less a lead of 0.35 of its 5 ms at most.
            (5, ContactKind::LipOnTeeth, 128, 129, 128),
        ]
    );
    let (rest, pose) =
        (rig.dof(Dof::TongueBody).expect("a tongue").rest, rig.pose(Velar).target[Dof::TongueBody]);
    assert!(close(found[1].target[Dof::TongueBody], pose));
    let mut soft = segment(1.4, 1.6, Velar);
    soft.strength = 0.5;
    let soft = &contacts(&[soft], &rig, &settings, timeline)[0];
    assert!(close(soft.target[Dof::TongueBody], rest + 0.5 * (pose - rest)));
    // At the ends two frames are known beforehand.
    let ends = [segment(-0.5, -0.1, Bilabial), segment(3.7, 4.5, Bilabial)];
    let settings = PlanSettings { servo_lag: s(0.0), visual_lead: s(0.0), ..plain() };
    let places: Vec<_> =
        contacts(&ends, &rig, &settings, timeline).iter().map(|c| (c.first, c.end)).collect();
    assert_eq!(places, [(2, 5), (195, 198)]);
    // The last free frame is 197, at 3.74 s.
    let last: Vec<_> = contacts(&[segment(3.74, 4.5, Bilabial)], &rig, &settings, timeline)
        .iter()
        .map(|c| (c.first, c.end))
        .collect();
    assert_eq!(last, [(197, 198)]);
    let mut least = segment(1.0, 1.0 + 1e-6, Bilabial);
    (least.start, least.end, least.strength) = (s(0.0), s(1e-6), 0.3);
    assert_eq!(contacts(&[least], &rig, &settings, timeline).len(), 1);
    let outside = [segment(-2.0, -0.16, Bilabial), segment(3.76, 4.5, Bilabial)];
    assert_eq!(contacts(&outside, &rig, &settings, timeline).len(), 0);
}

#[test]
fn what_cannot_be_placed_in_time_is_refused_and_what_just_can_is_not() {
    let refused = |segments: &[Segment]| {
        let wishes = Wishes { segments, expressions: &[], events: &[], duration: s(5.0) };
        match check(wishes) {
            Ok(()) => None,
            Err(MotionError::BadSegment { index, what }) => Some((index, what)),
            Err(other) => panic!("{other}"),
        }
    };
    let with = |change: &dyn Fn(&mut Segment)| {
        let mut second = segment(1.0, 2.0, Open);
        change(&mut second);
        refused(&[segment(0.0, 1.0, Rest), second])
    };
    let number = Some((1, "a time or strength is not a number"));
    assert_eq!(with(&|_| ()), None);
    assert_eq!(with(&|x| x.start = s(f64::NAN)), number);
    assert_eq!(with(&|x| x.end = s(f64::INFINITY)), number);
    assert_eq!(with(&|x| x.strength = f64::NAN), number);
    let strength = Some((1, "its strength is outside 0 to 1.5"));
    for (value, expected) in [(0.0, None), (1.5, None), (-0.01, strength), (1.51, strength)] {
        assert_eq!(with(&|x| x.strength = value), expected, "{value}");
    }
    assert_eq!(with(&|x| x.end = s(1.0)), None);
    assert_eq!(with(&|x| x.end = s(0.999)), Some((1, "it ends before it starts")));
    let early = Some((1, "it starts before the one before it ends"));
    assert_eq!((with(&|x| x.start = s(0.999_999_5)), with(&|x| x.start = s(0.99))), (None, early));
    // A millionth of a second is rounding, to the last bit of it.
    assert_eq!((with(&|x| x.start = s(1.0 - 1e-6)), with(&|x| x.start = s(1.0 - 2e-6))), (None, early));
    assert_eq!(refused(&[segment(-1e-6, 1.0, Open)]), None);
    assert_eq!(with(&|x| x.end = s(10_800.0 + 1e-6)), None);
    let outside = Some((1, "it lies outside the line"));
    assert_eq!((with(&|x| x.end = s(10_800.0)), with(&|x| x.end = s(10_801.0))), (None, outside));
    assert_eq!(refused(&[segment(-0.000_000_5, 1.0, Open)]), None);
    assert_eq!(refused(&[segment(-0.01, 1.0, Open)]), Some((0, "it lies outside the line")));
    for (length, good) in [(0.0, true), (10_800.0, true), (-0.1, false), (10_800.1, false), (f64::NAN, false)]
    {
        let wishes = Wishes { segments: &[], expressions: &[], events: &[], duration: s(length) };
        // Three hours of targets are not made here: only the refusal is looked at.
        if !good {
            assert!(
                matches!(Targets::new(wishes, &jaw(), &plain()), Err(MotionError::BadDuration(_))),
                "{length}"
            );
        }
    }
}

#[test]
fn the_lane_is_in_order_and_its_numbers_within_their_bounds() {
    use crate::rig::Expression;
    let key = |time: f64| ExpressionKey::new(s(time), Expression::Smile);
    let refused = |keys: &[ExpressionKey]| {
        let wishes = Wishes { segments: &[], expressions: keys, events: &[], duration: s(5.0) };
        match check(wishes) {
            Ok(()) => None,
            Err(MotionError::BadExpression { index }) => Some(index),
            Err(other) => panic!("{other}"),
        }
    };
    assert_eq!(refused(&[key(0.0), key(1.0)]), None);
    assert_eq!(refused(&[key(1.0), key(1.0)]), Some(1));
    assert_eq!(refused(&[key(2.0), key(1.0)]), Some(1));
    assert_eq!(refused(&[key(f64::NAN)]), Some(0));
    assert_eq!(refused(&[key(0.0), key(f64::INFINITY)]), Some(1));
    let amount = |amount: f64| ExpressionKey { amount, ..key(1.0) };
    assert_eq!((refused(&[amount(1.5)]), refused(&[amount(1.51)])), (None, Some(0)));
    assert_eq!((refused(&[amount(0.0)]), refused(&[amount(-0.01)])), (None, Some(0)));
    let value = |value: f64| {
        let mut key = key(1.0);
        key.values.insert(Dof::NeckTurn, value);
        refused(&[key])
    };
    assert_eq!((value(360.0), value(-360.0), value(361.0), value(-361.0)), (None, None, Some(0), Some(0)));
}

#[test]
fn events_are_in_order_and_two_may_begin_together() {
    let refused = |events: &[Event]| {
        let wishes = Wishes { segments: &[], expressions: &[], events, duration: s(5.0) };
        match check(wishes) {
            Ok(()) => None,
            Err(MotionError::BadEvent { index }) => Some(index),
            Err(other) => panic!("{other}"),
        }
    };
    let blink = |time: f64| Event::blink(s(time));
    assert_eq!(refused(&[blink(0.0), blink(1.0), blink(1.0)]), None);
    assert_eq!(refused(&[blink(1.0), blink(0.9)]), Some(1));
    assert_eq!(refused(&[blink(-0.1)]), Some(0));
    assert_eq!(refused(&[blink(f64::NAN)]), Some(0));
    assert_eq!(refused(&[blink(0.0), blink(f64::INFINITY)]), Some(1));
}

/// In silence a look is what the face rests at; where a vowel sounds both pull, each by its weight.
#[test]
fn looks_pull_beside_vowels_and_stand_for_rest_in_silence() {
    use crate::line::ExpressionKey;
    use crate::rig::{Expression, Rig};
    let rig = Rig::harbourmaster();
    let settings = plain();
    let rest = rig.rest();
    let corner = Dof::CornerLeftX;
    for amount in [1.0, 0.5] {
        let mut key = ExpressionKey::new(s(0.0), Expression::Smile);
        key.amount = amount;
        let keys = [key];
        let wishes = Wishes {
            segments: &[segment(1.0, 1.4, Open)],
            expressions: &keys,
            events: &[],
            duration: s(3.0),
        };
        let targets = Targets::new(wishes, &rig, &settings).expect("valid");
        let smile = rig.expression(Expression::Smile);
        let wanted = rest[corner] + amount * (smile.target[corner] - rest[corner]);
        let at = |time: f64| targets.timeline.ceil(time);
        let silent = at(2.5);
        assert!((targets.wanted[silent][corner] - wanted).abs() < 1e-3, "{}", targets.wanted[silent][corner]);
        let vowel = rig.pose(Open);
        let middle = at(1.2);
        let (a, b) = (vowel.importance[corner].powi(2), smile.importance[corner].powi(2));
        let mixed = (a * vowel.target[corner] + b * wanted) / (a + b);
        assert!(a > 0.0 && b > 0.0 && (vowel.target[corner] - wanted).abs() > 1.0);
        assert!(
            (targets.wanted[middle][corner] - mixed).abs() < 1e-2,
            "{} and {mixed}",
            targets.wanted[middle][corner]
        );
        assert!((targets.weight[middle][corner] - (a + b + IDLE_WEIGHT)).abs() < 1e-2 * a);
    }
}
