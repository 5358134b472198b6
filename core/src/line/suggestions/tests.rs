use super::*;
use crate::audio::{ChannelChoice, Recording};
use crate::features::analyse;
use crate::line::{Document, Segment};
use crate::phonetics::{MouthShape, Phone};
use crate::progress::Quiet;
use crate::recognise::{HeardSegment, HeardWord, Hearing};
use proptest::prelude::*;

/// A syllable of 0.2 s: pitch at its start and end in hertz, and its level.
type Sung = (f64, f64, f64);

/// A line of syllables with short consonants between them, and a pause where a pitch is 0; each is one
/// word of the script.
fn sung(syllables: &[Sung], words: &[&str]) -> (Line, Features) {
    const RATE: f64 = 16_000.0;
    let mut samples = vec![0.0f32; 8_000];
    let mut segments = Vec::new();
    let mut spoken = Vec::new();
    let mut segment = |from: usize, to: usize, shape, phone| {
        let at = |n: usize| Seconds::new(n as f64 / RATE);
        let (start, end) = (at(from), at(to));
        segments.push(HeardSegment { start, end, shape, glide: None, confidence: 1.0, phone: Some(phone) });
    };
    segment(0, 8_000, MouthShape::Rest, Phone::Sil);
    let mut phase = 0.0f64;
    for (n, (from, to, level)) in syllables.iter().enumerate() {
        let start = samples.len();
        if *from == 0.0 {
            samples.resize(start + 8_000, 0.0);
            segment(start, start + 8_000, MouthShape::Rest, Phone::Sil);
            continue;
        }
        for i in 0..4_160 {
            // The consonant is a quieter 60 ms of the same voice.
            let consonant = i < 960;
            let share = i as f64 / 4_160.0;
            phase = (phase + (from + (to - from) * share) / RATE).fract();
            let x = (1.0 - phase).powi(6) - 1.0 / 7.0;
            samples.push((x * level * if consonant { 0.2 } else { 1.0 }) as f32);
        }
        segment(start, start + 960, MouthShape::Alveolar, Phone::L);
        segment(start + 960, start + 4_160, MouthShape::Open, Phone::Aa);
        if let Some(word) = words.get(n) {
            let at = |n: usize| Seconds::new(n as f64 / RATE);
            spoken.push(HeardWord {
                start: at(start),
                end: at(start + 4_160),
                text: (*word).to_owned(),
                confidence: 1.0,
            });
        }
    }
    let end = samples.len();
    samples.resize(end + 8_000, 0.0);
    segment(end, end + 8_000, MouthShape::Rest, Phone::Sil);
    let recording =
        Recording::from_interleaved(&samples, 1, Recording::RATE, ChannelChoice::Mix).expect("sound");
    let features = analyse(&recording, &mut Quiet).expect("not cancelled");
    let hearing = Hearing { duration: recording.duration(), segments, words: spoken, notes: Vec::new() };
    (Line::from_hearing(&hearing).expect("a line"), features)
}

fn found(syllables: &[Sung], words: &[&str]) -> Vec<Suggestion> {
    let (line, features) = sung(syllables, words);
    suggest(&line, &features)
}

const PLAIN: Sung = (120.0, 120.0, 0.2);
const WORDS: [&str; 7] = ["we", "saw", "the", "storm", "from", "the", "quay"];

#[test]
fn a_monotone_suggests_nothing() {
    assert_eq!(found(&[PLAIN; 7], &WORDS), []);
    // Neither does a voice that only sinks, as all do.
    let sinking: Vec<Sung> =
        (0..8).map(|i| 120.0 * (-0.02 * f64::from(i)).exp()).map(|f| (f, f, 0.2)).collect();
    assert_eq!(found(&sinking, &[]), []);
    let silent = Line::silent(Seconds::new(1.0)).expect("valid");
    assert_eq!(suggest(&silent, &Features::default()), []);
}

#[test]
fn a_high_syllable_raises_the_brows() {
    let mut syllables = [PLAIN; 7];
    // A fourth above: five semitones.
    syllables[3] = (160.0, 160.0, 0.2);
    let list = found(&syllables, &WORDS);
    assert_eq!(list.len(), 1, "{list:?}");
    let s = &list[0];
    assert_eq!(s.reason, "brows up at “storm”: 5 semitones above the phrase");
    assert_eq!((s.part, s.look.expression), (FacePart::Brows, Expression::Shocked));
    // The vowel sounds from 1.34 to 1.54 s.
    assert!((s.look.time.value() - 1.38).abs() < 0.01 && s.start.value() < 1.34, "{s:?}");
    assert!((s.until.value() - 1.54).abs() < 0.01 && (s.end.value() - 1.89).abs() < 0.01, "{s:?}");
    // Without words it says when.
    assert!(found(&syllables, &[])[0].reason.contains("at 1.34 s"));
    // The higher, the more, and the surer.
    syllables[3] = (190.0, 190.0, 0.2);
    let higher = &found(&syllables, &WORDS)[0];
    assert!(higher.look.amount > s.look.amount && higher.confidence > s.confidence);
}

#[test]
fn a_loud_syllable_turns_the_head_each_time_to_the_other_side() {
    let mut syllables = vec![PLAIN; 14];
    syllables[3].2 = 0.5;
    syllables[10].2 = 0.5;
    let list = found(&syllables, &WORDS);
    let parts: Vec<_> = list.iter().map(|s| s.part).collect();
    assert_eq!(parts, [FacePart::Neck; 2], "{list:?}");
    assert!(list[0].reason.starts_with("head turns at “storm”: 8 dB louder"), "{}", list[0].reason);
    let turn = |s: &Suggestion| s.look.values[&Dof::NeckTurn];
    assert_eq!((turn(&list[0]), turn(&list[1])), (TURN, -TURN));
}

#[test]
fn a_question_keeps_the_brows_up_to_its_end() {
    let mut syllables = [PLAIN; 7];
    syllables[6] = (120.0, 180.0, 0.2);
    let list = found(&syllables, &WORDS);
    assert_eq!(list.len(), 1, "{list:?}");
    assert!(list[0].reason.starts_with("brows up at “quay”: the voice rises"), "{}", list[0].reason);
    // The phrase ends at 0.5 + 7 · 0.26 s.
    assert!((list[0].until.value() - 2.32).abs() < 0.01, "{:?}", list[0]);
}

#[test]
fn a_higher_phrase_lifts_the_corners() {
    let mut syllables = vec![PLAIN; 6];
    syllables.push((0.0, 0.0, 0.0));
    syllables.extend([PLAIN; 6]);
    syllables.push((0.0, 0.0, 0.0));
    syllables.extend([(150.0, 150.0, 0.2); 6]);
    let list = found(&syllables, &[]);
    assert_eq!(list.len(), 1, "{list:?}");
    assert_eq!((list[0].part, list[0].look.expression), (FacePart::Corners, Expression::Smile));
    assert!(list[0].reason.contains("4 semitones above the others"), "{}", list[0].reason);
}

fn document(syllables: &[Sung]) -> Document {
    let (line, features) = sung(syllables, &WORDS);
    let list = suggest(&line, &features);
    let mut document = Document::new(line);
    document.suggest(list).expect("sound suggestions");
    document
}

#[test]
fn taking_one_is_one_step_and_comes_back_with_undo() {
    let mut syllables = [PLAIN; 7];
    syllables[3] = (160.0, 160.0, 0.2);
    let mut doc = document(&syllables);
    let before = doc.line().clone();
    doc.take_suggestion(0).expect("there");
    let looks: Vec<_> = doc.line().expressions().iter().map(|k| (k.expression, k.amount)).collect();
    let (neutral, up) =
        ((Expression::Neutral, 1.0), (Expression::Shocked, before.suggestions()[0].look.amount));
    assert_eq!(looks, [neutral, up, up, neutral]);
    assert!(doc.line().suggestions().is_empty());
    assert!(doc.take_suggestion(0).is_err() && doc.dismiss_suggestion(0).is_err());
    doc.undo();
    assert_eq!(doc.line(), &before);
    doc.dismiss_suggestion(0).expect("there");
    assert!(doc.line().suggestions().is_empty() && doc.line().expressions().is_empty());
    doc.undo();
    assert_eq!(doc.line(), &before);
    // What a file keeps comes back.
    let json = serde_json::to_string(doc.line()).expect("JSON");
    assert_eq!(&serde_json::from_str::<Line>(&json).expect("reads back"), doc.line());
    let broken = json.replace("\"until_s\":", "\"until_s\":9");
    assert!(serde_json::from_str::<Line>(&broken).is_err(), "{broken}");
}

#[test]
fn a_look_that_is_on_stays_on_under_it() {
    let mut syllables = [PLAIN; 7];
    syllables[3] = (160.0, 160.0, 0.2);
    let mut doc = document(&syllables);
    doc.set_expression(ExpressionKey::new(Seconds::ZERO, Expression::Angry)).expect("valid");
    doc.take_suggestion(0).expect("there");
    let keys = doc.line().expressions();
    assert!(keys.iter().all(|k| k.expression == Expression::Angry), "{keys:?}");
    assert!(keys[2].values[&Dof::BrowLeftInner] > 2.0 && !keys[2].values.contains_key(&Dof::CornerLeftY));
    assert!(keys[4].values.is_empty(), "back to plain angry");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    /// Whatever a voice does, what it suggests can be taken, in any order, over any lane.
    #[test]
    fn every_suggestion_can_be_taken(
        voice in proptest::collection::vec(prop_oneof![
            5 => (80.0f64..300.0, 80.0f64..300.0, 0.01f64..0.9),
            1 => Just((0.0, 0.0, 0.0)),
        ], 1..14),
        looks in proptest::collection::vec((0.0f64..1.0, 0usize..6, 0.0f64..1.5), 0..5),
        order in any::<u64>(),
    ) {
        let (line, features) = sung(&voice, &[]);
        let list = suggest(&line, &features);
        for pair in list.windows(2) {
            prop_assert!(pair[0].end < pair[1].start);
        }
        let mut doc = Document::new(line);
        for (share, look, amount) in looks {
            let time = doc.line().duration() * share;
            doc.set_expression(ExpressionKey { amount, ..ExpressionKey::new(time, Expression::ALL[look]) }).expect("inside");
        }
        doc.suggest(list).expect("sound suggestions");
        let before = doc.line().clone();
        let mut taken = 0;
        while !doc.line().suggestions().is_empty() {
            let own = doc.line().expressions().to_vec();
            doc.take_suggestion(order as usize % doc.line().suggestions().len()).expect("there");
            prop_assert!(own.iter().all(|k| doc.line().expressions().contains(k)), "a key went");
            // The lane holds its own promises.
            let json = serde_json::to_string(doc.line()).expect("JSON");
            prop_assert_eq!(&serde_json::from_str::<Line>(&json).expect("a sound line"), doc.line());
            taken += 1;
        }
        for _ in 0..taken {
            doc.undo();
        }
        prop_assert_eq!(doc.line(), &before);
    }
}

#[test]
fn a_segment_without_phone_counts_by_its_shape() {
    let line =
        Line::new(Seconds::new(1.0), vec![Segment::new(Seconds::ZERO, Seconds::new(1.0), MouthShape::Open)])
            .expect("valid");
    assert_eq!(suggest(&line, &Features::default()), []);
}
