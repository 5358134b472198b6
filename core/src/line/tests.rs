//! The document as a whole.

use super::*;
use crate::phonetics::MouthShape;
use crate::recognise::{HeardSegment, HeardWord};
use crate::rig::{Dof, Expression};
use proptest::prelude::*;
use std::collections::BTreeMap;

fn heard(duration: f64, cuts: &[(f64, MouthShape)]) -> Hearing {
    let mut segments = Vec::new();
    for (i, (start, shape)) in cuts.iter().enumerate() {
        let end = cuts.get(i + 1).map_or(duration, |c| c.0);
        segments.push(HeardSegment {
            start: Seconds::new(*start),
            end: Seconds::new(end),
            shape: *shape,
            glide: None,
            confidence: 0.8,
            phone: None,
        });
    }
    Hearing { duration: Seconds::new(duration), segments, words: Vec::new(), notes: Vec::new() }
}

fn demo() -> Document {
    let hearing = heard(
        1.0,
        &[
            (0.0, MouthShape::Rest),
            (0.2, MouthShape::Bilabial),
            (0.3, MouthShape::Open),
            (0.5, MouthShape::Alveolar),
            (0.7, MouthShape::Rest),
        ],
    );
    Document::new(Line::from_hearing(&hearing).expect("a valid hearing"))
}

#[test]
fn a_boundary_moves_both_neighbours_and_marks_them() {
    let mut doc = demo();
    doc.move_boundary(2, Seconds::new(0.35)).expect("there is room");
    let s = doc.line().segments();
    assert_eq!((s[1].end, s[2].start), (Seconds::new(0.35), Seconds::new(0.35)));
    assert!(s[1].by_hand && s[2].by_hand && !s[3].by_hand);
}

#[test]
fn a_boundary_stops_at_the_minimum_length() {
    let mut doc = demo();
    doc.move_boundary(2, Seconds::new(9.0)).expect("clamped, not refused");
    let s = doc.line().segments();
    assert!((s[2].length().value() - 0.01).abs() < 1e-12);
    assert!(doc.move_boundary(0, Seconds::new(0.1)).is_err(), "the start of the line is no boundary");
    assert!(doc.move_boundary(2, Seconds::new(f64::NAN)).is_err());
}

#[test]
fn an_edit_that_changes_nothing_leaves_no_step() {
    let mut doc = demo();
    doc.move_boundary(2, Seconds::new(0.3)).expect("valid");
    assert_eq!(doc.can_undo(), None);
}

#[test]
fn deleting_between_equal_shapes_joins_them() {
    let mut doc = demo();
    doc.replace_shape(1, MouthShape::Alveolar).expect("valid");
    doc.delete(2).expect("valid");
    let s = doc.line().segments();
    assert_eq!(s.len(), 3);
    assert_eq!((s[1].start.value(), s[1].end.value()), (0.2, 0.7));
}

#[test]
fn deleting_everything_leaves_one_rest() {
    let mut doc = demo();
    for _ in 0..9 {
        doc.delete(0).expect("there is always a first segment");
    }
    assert_eq!(doc.line().segments().len(), 1);
    assert_eq!(doc.line().segments()[0].shape, MouthShape::Rest);
}

#[test]
fn painting_trims_and_swallows_slivers() {
    let mut doc = demo();
    doc.paint(Seconds::new(0.295), Seconds::new(0.6), MouthShape::Pursed).expect("valid");
    let s = doc.line().segments();
    let shapes: Vec<_> = s.iter().map(|s| s.shape).collect();
    use MouthShape::*;
    assert_eq!(shapes, [Rest, Bilabial, Pursed, Alveolar, Rest]);
    assert_eq!(s[2].start, Seconds::new(0.295));
    // 4 ms left of the alveolar is less than a segment: the paint takes it.
    doc.paint(Seconds::new(0.6), Seconds::new(0.696), MouthShape::Open).expect("valid");
    assert_eq!(doc.line().segments()[3].end, Seconds::new(0.7));
}

#[test]
fn listening_again_keeps_what_a_person_decided() {
    let mut doc = demo();
    doc.replace_shape(2, MouthShape::Pursed).expect("valid");
    let mut again = heard(1.0, &[(0.0, MouthShape::Rest), (0.25, MouthShape::Velar)]);
    again.words.push(HeardWord {
        start: Seconds::new(0.25),
        end: Seconds::new(0.9),
        text: "harbour".into(),
        confidence: 0.9,
    });
    doc.adopt(&again).expect("same recording");
    let s = doc.line().segments();
    assert_eq!(s[doc.line().segment_at(Seconds::new(0.4))].shape, MouthShape::Pursed);
    assert_eq!(s[doc.line().segment_at(Seconds::new(0.6))].shape, MouthShape::Velar);
    assert_eq!(doc.line().words().len(), 1);
    doc.undo();
    assert!(doc.line().words().is_empty());
    assert!(doc.adopt(&heard(2.0, &[(0.0, MouthShape::Rest)])).is_err(), "another recording");
}

#[test]
fn expressions_are_keys_in_order_and_can_be_undone() {
    let mut doc = demo();
    let key = |t: f64, e| ExpressionKey::new(Seconds::new(t), e);
    doc.set_expression(key(0.6, Expression::Smile)).expect("valid");
    let span = doc.set_expression(key(0.2, Expression::Angry)).expect("valid");
    assert_eq!(span, (Seconds::ZERO, Seconds::new(0.6)), "up to the next key");
    let mut again = key(0.6, Expression::Frown);
    again.values.insert(Dof::NeckTurn, 12.0);
    again.easing = Easing::Hold;
    let span = doc.set_expression(again.clone()).expect("valid");
    assert_eq!(span, (Seconds::new(0.2), Seconds::new(1.0)), "from the key before to the end");
    assert_eq!(doc.line().expressions(), [key(0.2, Expression::Angry), again]);
    let kept = serde_json::to_string(doc.line()).expect("serialises");
    assert_eq!(&serde_json::from_str::<Line>(&kept).expect("reads back"), doc.line());
    let before = doc.line().clone();
    for bad in [key(1.5, Expression::Smile), key(f64::NAN, Expression::Smile)] {
        assert!(matches!(doc.set_expression(bad), Err(LineError::Expression { .. })));
    }
    let far = BTreeMap::from([(Dof::NeckTurn, f64::INFINITY)]);
    assert!(doc.set_expression(ExpressionKey { values: far, ..key(0.1, Expression::Neutral) }).is_err());
    assert!(doc.delete_expression(2).is_err());
    let turned = vec![key(0.5, Expression::Smile), key(0.5, Expression::Frown)];
    assert!(doc.replace_expressions(turned).is_err(), "two at a time");
    assert_eq!(doc.line(), &before);
    doc.delete_expression(0).expect("valid");
    assert_eq!(doc.line().expressions().len(), 1);
    while doc.undo().is_some() {}
    assert_eq!(doc.line(), demo().line());
}

#[test]
fn the_lane_holds_outside_its_keys_and_eases_between() {
    let mut keys = vec![
        ExpressionKey::new(Seconds::new(1.0), Expression::Neutral),
        ExpressionKey::new(Seconds::new(2.0), Expression::Smile),
    ];
    let share = |keys: &[ExpressionKey], t: f64| {
        let (a, b, s) = lane_at(keys, Seconds::new(t)).expect("has keys");
        (a.expression, b.expression, s)
    };
    use Expression::{Neutral, Smile};
    assert_eq!(share(&keys, 0.0), (Neutral, Neutral, 0.0));
    assert_eq!(share(&keys, 9.0), (Smile, Smile, 0.0));
    assert_eq!(share(&keys, 1.5), (Neutral, Smile, 0.5));
    assert_eq!(share(&keys, 1.25), (Neutral, Smile, 0.15625));
    keys[0].easing = Easing::Linear;
    assert_eq!(share(&keys, 1.25), (Neutral, Smile, 0.25));
    keys[0].easing = Easing::Hold;
    assert_eq!(share(&keys, 1.99), (Neutral, Smile, 0.0));
    assert!(lane_at(&[], Seconds::ZERO).is_none());
}

#[test]
fn bad_lines_are_refused_by_name() {
    let rest = Line::silent(Seconds::new(1.0)).expect("valid").segments()[0].clone();
    assert!(matches!(Line::new(Seconds::new(f64::NAN), vec![rest.clone()]), Err(LineError::Duration(_))));
    assert_eq!(Line::new(Seconds::new(1.0), vec![]), Err(LineError::NoSegments));
    let gap = Segment { start: Seconds::new(0.5), ..rest.clone() };
    assert!(Line::new(Seconds::new(1.0), vec![gap]).is_err());
    let wild = Segment { confidence: f64::INFINITY, ..rest };
    assert!(Line::new(Seconds::new(1.0), vec![wild]).is_err());
}

#[derive(Clone, Debug)]
enum Edit {
    Move(usize, f64),
    Replace(usize, usize),
    Split(f64),
    Merge(usize),
    Delete(usize),
    Strength(usize, f64),
    Paint(f64, f64, usize),
    Look(f64, usize, f64),
    Forget(usize),
    Undo,
    Redo,
}

fn edits() -> impl Strategy<Value = Edit> {
    let time = prop_oneof![8 => -0.1..1.1f64, 1 => Just(f64::NAN), 1 => (0..100u32).prop_map(|t| f64::from(t) / 100.0)];
    prop_oneof![
        (0..40usize, time.clone()).prop_map(|(i, t)| Edit::Move(i, t)),
        (0..40usize, 0..14usize).prop_map(|(i, s)| Edit::Replace(i, s)),
        time.clone().prop_map(Edit::Split),
        time.clone().prop_map(Edit::Split),
        (0..40usize).prop_map(Edit::Merge),
        (0..40usize).prop_map(Edit::Delete),
        (0..40usize, -0.5..2.0f64).prop_map(|(i, s)| Edit::Strength(i, s)),
        (time.clone(), time.clone(), 0..14usize).prop_map(|(a, b, s)| Edit::Paint(a, b, s)),
        (time, 0..6usize, -0.2..2.0f64).prop_map(|(t, e, a)| Edit::Look(t, e, a)),
        (0..9usize).prop_map(Edit::Forget),
        Just(Edit::Undo),
        Just(Edit::Redo),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]
    /// Any edits in any order keep every invariant; undoing all returns the exact start, and
    /// redoing all returns the exact end; a save and load returns the exact same line.
    #[test]
    fn random_editing_keeps_every_promise(edits in prop::collection::vec(edits(), 1..160)) {
        let mut doc = demo();
        let start = doc.line().clone();
        for edit in edits {
            let before = doc.line().clone();
            let shape = |s: usize| MouthShape::ALL[s];
            let result = match edit {
                Edit::Move(i, t) => doc.move_boundary(i, Seconds::new(t)).map(|_| ()),
                Edit::Replace(i, s) => doc.replace_shape(i, shape(s)).map(|_| ()),
                Edit::Split(t) => doc.split_at(Seconds::new(t)).map(|_| ()),
                Edit::Merge(i) => doc.merge_with_next(i).map(|_| ()),
                Edit::Delete(i) => doc.delete(i).map(|_| ()),
                Edit::Strength(i, s) => doc.set_strength(i, s).map(|_| ()),
                Edit::Paint(a, b, s) => doc.paint(Seconds::new(a), Seconds::new(b), shape(s)).map(|_| ()),
                Edit::Look(t, e, amount) => {
                    let key = ExpressionKey::new(Seconds::new(t), Expression::ALL[e]);
                    doc.set_expression(ExpressionKey { amount, ..key }).map(|_| ())
                }
                Edit::Forget(i) => doc.delete_expression(i).map(|_| ()),
                Edit::Undo => { doc.undo(); Ok(()) }
                Edit::Redo => { doc.redo(); Ok(()) }
            };
            prop_assert_eq!(doc.line().check(), Ok(()));
            if result.is_err() {
                prop_assert_eq!(doc.line(), &before, "a refused edit changes nothing");
            }
        }
        let end = doc.line().clone();
        let json = serde_json::to_string(&end).expect("serialises");
        prop_assert_eq!(&serde_json::from_str::<Line>(&json).expect("reads back"), &end);
        let depth = doc.depth();
        while doc.undo().is_some() {}
        prop_assert_eq!(doc.line(), &start);
        for _ in 0..depth { doc.redo(); }
        prop_assert_eq!(doc.line(), &end);
    }
}

fn marker(time: f64, name: &str) -> Marker {
    Marker::new(Seconds::new(time), name)
}

fn shapes(doc: &Document) -> Vec<MouthShape> {
    doc.line().segments().iter().map(|s| s.shape).collect()
}

#[test]
fn a_ripple_moves_what_follows_and_stops_where_there_is_no_room() {
    let mut doc = demo();
    let lengths =
        |doc: &Document| doc.line().segments().iter().map(|s| s.length().value()).collect::<Vec<_>>();
    let before = lengths(&doc);
    // Bilabial and open move along; the alveolar after them gives the time.
    doc.ripple_boundary(1, Seconds::new(0.25), 2).expect("there is room");
    let after = lengths(&doc);
    for (got, wanted) in after.iter().zip([0.25, 0.1, 0.2, 0.15, before[4]]) {
        assert!((got - wanted).abs() < 1e-9, "{after:?}");
    }
    doc.ripple_boundary(1, Seconds::new(9.0), 2).expect("clamped");
    assert!((doc.line().segments()[3].length().value() - 0.01).abs() < 1e-9);
    // The last segment of the line gives of its own.
    doc.ripple_boundary(4, Seconds::new(0.8), 4).expect("there is room");
    assert_eq!(doc.line().segments()[4].end, Seconds::new(1.0));
    assert!(doc.ripple_boundary(0, Seconds::new(0.1), 2).is_err());
    assert!(doc.ripple_boundary(3, Seconds::new(0.1), 2).is_err());
    while doc.undo().is_some() {}
    assert_eq!(doc.line(), demo().line());
}

#[test]
fn a_run_is_edited_in_one_named_step() {
    use MouthShape::*;
    let mut doc = demo();
    doc.replace_shapes(1..4, Pursed).expect("valid");
    assert_eq!(shapes(&doc), [Rest, Pursed, Pursed, Pursed, Rest]);
    assert_eq!(doc.can_undo().map(|s| s.to_string()).as_deref(), Some("replace 3 shapes"));
    doc.undo();
    doc.set_strengths(1..3, |s| s + 0.9).expect("valid");
    assert_eq!(doc.line().segments()[2].strength, 1.5, "no stronger than a line allows");
    doc.undo();
    doc.delete_run(1..4).expect("valid");
    assert_eq!(shapes(&doc), [Rest], "rest closes over what went");
    assert_eq!(doc.can_undo().map(|s| s.to_string()).as_deref(), Some("delete 3 segments"));
    doc.undo();
    doc.merge_run(1..4).expect("valid");
    assert_eq!(shapes(&doc), [Rest, Bilabial, Rest]);
    doc.undo();
    let copied = doc.line().segments()[1..3].to_vec();
    doc.paste(Seconds::new(0.85), &copied).expect("cut at the end");
    assert_eq!(shapes(&doc), [Rest, Bilabial, Open, Alveolar, Rest, Bilabial, Open]);
    assert_eq!(doc.line().segments()[6].end, Seconds::new(1.0));
    doc.undo();
    for run in [3..3, 4..6, 9..12, usize::MAX..usize::MAX] {
        assert!(doc.replace_shapes(run.clone(), Open).is_err() && doc.delete_run(run.clone()).is_err());
        assert!(doc.set_locked(run.clone(), true).is_err() && doc.merge_run(run).is_err());
    }
    assert!(doc.merge_run(1..2).is_err() && doc.paste(Seconds::ZERO, &[]).is_err());
    assert!(doc.set_strengths(0..2, |_| f64::NAN).is_err());
    assert_eq!(doc.line(), demo().line());
}

#[test]
fn a_part_heard_again_leaves_the_rest_and_what_is_locked() {
    use MouthShape::*;
    let mut doc = demo();
    doc.replace_shape(1, Pursed).expect("valid");
    doc.replace_shape(2, Pursed).expect("valid");
    doc.set_locked(2..3, true).expect("valid");
    let mut again = heard(1.0, &[(0.0, Velar), (0.25, Spread), (0.6, Sibilant)]);
    let word = |start: f64, end: f64, text: &str| HeardWord {
        start: Seconds::new(start),
        end: Seconds::new(end),
        text: text.into(),
        confidence: 0.9,
    };
    again.words = vec![word(0.0, 0.2, "mind"), word(0.2, 0.5, "the"), word(0.5, 0.9, "mud")];
    doc.adopt_within(&again, (Seconds::new(0.2), Seconds::new(0.7)), Step::ListenPart).expect("valid");
    assert_eq!(shapes(&doc), [Rest, Velar, Spread, Pursed, Spread, Sibilant, Rest]);
    assert!(doc.line().segments()[3].locked && !doc.line().segments()[1].by_hand);
    assert_eq!(doc.line().words().len(), 1, "of the words, those inside");
    // A whole hearing leaves what is locked, too.
    doc.adopt(&heard(1.0, &[(0.0, Velar)])).expect("valid");
    assert_eq!(shapes(&doc), [Velar, Pursed, Velar]);
    assert!(doc.adopt_within(&again, (Seconds::new(0.4), Seconds::new(0.4)), Step::ListenPart).is_err());
    assert!(doc.adopt_within(&again, (Seconds::new(0.4), Seconds::new(7.0)), Step::ListenPart).is_err());
    while doc.undo().is_some() {}
    assert_eq!(doc.line(), demo().line());
}

#[test]
fn markers_are_kept_in_order_and_unknown_fields_survive() {
    let mut doc = demo();
    doc.set_marker(marker(0.6, "bell")).expect("valid");
    doc.set_marker(marker(0.2, "door")).expect("valid");
    doc.set_marker(marker(0.6, "ship's bell")).expect("valid");
    assert_eq!(doc.line().markers(), [marker(0.2, "door"), marker(0.6, "ship's bell")]);
    for bad in
        [marker(2.0, "late"), marker(f64::NAN, "never"), marker(0.1, "  "), marker(0.1, &"x".repeat(81))]
    {
        assert!(matches!(doc.set_marker(bad), Err(LineError::Marker { .. })));
    }
    assert!(doc.delete_marker(2).is_err());
    let mut value = serde_json::to_value(doc.line()).expect("serialises");
    value["mood"] = "gruff".into();
    let kept: Line = serde_json::from_value(value).expect("reads");
    assert_eq!(kept.markers(), doc.line().markers());
    assert!(serde_json::to_string(&kept).expect("serialises").contains("gruff"));
    let turned = serde_json::to_string(doc.line()).expect("serialises").replace("0.6", "0.1");
    assert!(serde_json::from_str::<Line>(&turned).is_err(), "out of order");
    doc.delete_marker(0).expect("there");
    while doc.undo().is_some() {}
    assert_eq!(doc.line(), demo().line());
}

/// Numbers that look random and are the same in every run: xorshift64* of S. Vigna (2016), from memory.
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        ((self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) % n as u64) as usize
    }

    fn time(&mut self) -> Seconds {
        // To a tenth of a millisecond, sometimes outside the line.
        Seconds::new(self.below(62_000) as f64 / 10_000.0 - 0.1)
    }
}

/// One random edit; refusals are as welcome as changes.
fn random_edit(doc: &mut Document, dice: &mut Dice, again: &Hearing) -> Result<(), LineError> {
    let count = doc.line().segments().len();
    let i = dice.below(count + 1);
    let run = i..i + dice.below(4);
    let shape = MouthShape::ALL[dice.below(MouthShape::COUNT)];
    let (a, b) = (dice.time(), dice.time());
    match dice.below(26) {
        0 => doc.move_boundary(i, a).map(drop),
        1 => doc.ripple_boundary(i, a, i + dice.below(5)).map(drop),
        2 => doc.replace_shapes(run, shape).map(drop),
        // Splits are as common as what joins, so that the line stays rich.
        3..=6 => doc.split_at(a).map(drop),
        7 => doc.merge_run(run).map(drop),
        8 => doc.delete_run(run).map(drop),
        9 => doc.set_strengths(run, |s| s * 1.3 - 0.1).map(drop),
        10 => doc.set_locked(run, a > b).map(drop),
        11 => doc.paint(a, Seconds::new(a.value() + dice.below(40) as f64 / 100.0), shape).map(drop),
        12 => {
            let copied = doc.line().segments().get(run).unwrap_or(&[]).to_vec();
            doc.paste(b, &copied).map(drop)
        }
        13 => doc.adopt_within(again, (a.min(b), a.min(b) + Seconds::new(0.3)), Step::ListenPart).map(drop),
        14 => doc.set_marker(Marker::new(a, "m")).map(drop),
        15 => doc.delete_marker(dice.below(9)).map(drop),
        16 => doc.set_expression(ExpressionKey::new(a, Expression::Smile)).map(drop),
        17 => doc.delete_expression(dice.below(9)).map(drop),
        18 => doc.add_event(Event::blink(a)).map(drop),
        19 => doc.change_event(dice.below(9), Event::turn(b, Turn::default())).map(drop),
        20 => doc.delete_event(dice.below(9)).map(drop),
        21 => doc.set_held(run, a > b).map(drop),
        22 => {
            let copied = doc.line().copy_looks(a.min(b), a.max(b))?;
            doc.paste_looks(dice.time(), &copied).map(drop)
        }
        23 => doc.suggest(suggest_blinks(doc.line())).map(drop),
        24 if a > b => doc.take_suggestion(dice.below(3)).map(drop),
        24 => doc.dismiss_suggestion(dice.below(3)).map(drop),
        _ => {
            doc.undo();
            if dice.below(2) == 0 {
                doc.redo();
            }
            Ok(())
        }
    }
}

/// Ten thousand edits in a row: invariants after each, a refused one changes nothing; a save and load
/// now and then returns the exact line; undoing all returns the exact start, redoing all the exact end.
#[test]
fn ten_thousand_random_edits_keep_every_promise() {
    let cuts: Vec<(f64, MouthShape)> =
        (0..60).map(|i| (f64::from(i) / 10.0, MouthShape::ALL[i as usize % MouthShape::COUNT])).collect();
    let mut hearing = heard(6.0, &cuts);
    hearing.words =
        (0..19).map(|i| word("mud", f64::from(3 * i) / 10.0, f64::from(3 * i + 3) / 10.0)).collect();
    let start = Line::from_hearing(&hearing).expect("valid");
    let mut again =
        heard(6.0, &[(0.0, MouthShape::Velar), (1.03, MouthShape::Open), (3.501, MouthShape::Rest)]);
    again.words = (0..12).map(|i| word("bell", f64::from(i) / 2.0, f64::from(i) / 2.0 + 0.4)).collect();
    let mut doc = Document::new(start.clone());
    let mut dice = Dice(0x1357_9bdf_2468_ace0);
    let mut refused = 0;
    for n in 0..10_000 {
        let before = doc.line().clone();
        let result = random_edit(&mut doc, &mut dice, &again);
        assert_eq!(doc.line().check(), Ok(()), "edit {n}");
        if result.is_err() {
            refused += 1;
            assert_eq!(doc.line(), &before, "edit {n} was refused and changed something");
        }
        if n % 500 == 0 {
            let json = serde_json::to_string(doc.line()).expect("serialises");
            assert_eq!(&serde_json::from_str::<Line>(&json).expect("reads back"), doc.line(), "edit {n}");
        }
    }
    let (line, first) = (doc.line(), &start);
    assert!(!line.events().is_empty() && !line.expressions().is_empty() && line.words() != first.words());
    assert!(refused < 6_000 && doc.depth() > 3_000, "{refused} refused, {} kept", doc.depth());
    let end = doc.line().clone();
    let depth = doc.depth();
    while doc.undo().is_some() {}
    assert_eq!(doc.line(), &start);
    for _ in 0..depth {
        doc.redo();
    }
    assert_eq!(doc.line(), &end);
}

fn word(text: &str, start: f64, end: f64) -> HeardWord {
    HeardWord { start: Seconds::new(start), end: Seconds::new(end), text: text.into(), confidence: 0.9 }
}

/// A hearing with words whose edges are edges of segments, as an aligned script gives them.
fn with_words() -> Document {
    let mut hearing = heard(
        1.0,
        &[
            (0.0, MouthShape::Rest),
            (0.2, MouthShape::Bilabial),
            (0.3, MouthShape::Open),
            (0.5, MouthShape::Alveolar),
            (0.6, MouthShape::Open),
            (0.8, MouthShape::Rest),
        ],
    );
    hearing.words = vec![word("bar", 0.2, 0.5), word("ta", 0.5, 0.8)];
    Document::new(Line::from_hearing(&hearing).expect("a valid hearing"))
}

fn spans(doc: &Document) -> Vec<(f64, f64)> {
    let round = |s: Seconds| (s.value() * 1e6).round() / 1e6;
    doc.line().words().iter().map(|w| (round(w.start), round(w.end))).collect()
}

#[test]
fn a_ripple_takes_the_words_along() {
    // The first word from its start on: all of it moves, and the next one's start with it.
    let mut doc = with_words();
    doc.ripple_boundary(1, Seconds::new(0.25), 2).expect("room");
    assert_eq!(spans(&doc), [(0.25, 0.55), (0.55, 0.8)]);
    let segments: Vec<f64> = doc.line().segments().iter().map(|s| s.start.value()).collect();
    assert!((segments[3] - 0.55).abs() < 1e-12, "{segments:?}");
    doc.undo();
    assert_eq!(doc.line(), with_words().line());
    doc.redo();
    assert_eq!(spans(&doc), [(0.25, 0.55), (0.55, 0.8)]);
    // From inside a word: its start stays.
    let mut doc = with_words();
    doc.ripple_boundary(2, Seconds::new(0.26), 2).expect("room");
    assert_eq!(spans(&doc), [(0.2, 0.46), (0.46, 0.8)]);
    // To the last segment of speech: what is silent gives.
    let mut doc = with_words();
    doc.ripple_boundary(3, Seconds::new(0.6), 4).expect("room");
    assert_eq!(spans(&doc), [(0.2, 0.6), (0.6, 0.9)]);
    let kept = serde_json::to_string(doc.line()).expect("serialises");
    assert_eq!(&serde_json::from_str::<Line>(&kept).expect("reads back"), doc.line());
}

#[test]
fn words_inside_what_gives_way_are_pushed_no_further_than_needed() {
    let mut hearing =
        heard(1.0, &[(0.0, MouthShape::Open), (0.4, MouthShape::Spread), (0.5, MouthShape::Open)]);
    hearing.words =
        vec![word("a", 0.1, 0.38), word("e", 0.4, 0.5), word("o", 0.52, 0.56), word("u", 0.7, 0.9)];
    let mut doc = Document::new(Line::from_hearing(&hearing).expect("valid"));
    doc.ripple_boundary(1, Seconds::new(0.55), 1).expect("room");
    assert_eq!(spans(&doc), [(0.1, 0.38), (0.55, 0.65), (0.65, 0.65), (0.7, 0.9)]);
    doc.undo();
    doc.ripple_boundary(1, Seconds::new(0.2), 1).expect("room");
    assert_eq!(spans(&doc), [(0.1, 0.2), (0.2, 0.3), (0.52, 0.56), (0.7, 0.9)]);
}

#[test]
fn held_segments_are_named_kept_and_let_go() {
    let mut doc = demo();
    doc.set_held(1..3, true).expect("there");
    assert_eq!(doc.can_undo().map(|s| s.to_string()).as_deref(), Some("hold 2 segments"));
    let held = |d: &Document| d.line().segments().iter().map(|s| s.held).collect::<Vec<_>>();
    assert_eq!(held(&doc), [false, true, true, false, false]);
    doc.split_at(Seconds::new(0.4)).expect("room");
    assert_eq!(held(&doc), [false, true, true, true, false, false]);
    doc.adopt(&heard(1.0, &[(0.0, MouthShape::Rest)])).expect("same recording");
    assert!(doc.line().segments().iter().any(|s| s.held), "decided by hand: listening leaves it");
    doc.undo();
    doc.set_held(1..4, false).expect("there");
    assert_eq!(doc.can_undo().map(|s| s.to_string()).as_deref(), Some("let go of 3 segments"));
    assert!(doc.set_held(3..99, true).is_err());
    while doc.undo().is_some() {}
    assert_eq!(doc.line(), demo().line());
}
