//! What undo keeps in memory, in bytes that are really taken. Alone in its file: every allocation of the
//! program counts.

use lipwright_core::line::{
    CopiedLooks, Document, Event, ExpressionKey, Line, LineError, Marker, Suggestion, Turn,
};
use lipwright_core::phonetics::MouthShape;
use lipwright_core::recognise::{HeardSegment, HeardWord, Hearing};
use lipwright_core::rig::{Expression, FacePart};
use lipwright_core::units::Seconds;
use peak_alloc::PeakAlloc;

#[global_allocator]
static TAKEN: PeakAlloc = PeakAlloc;

/// Bytes that a small edit may keep: what differs (a ripple: five segments of 40 bytes and three words of
/// 60, before and after), the step itself, and as much again for the room to spare of the list of steps.
const A_STEP: usize = 1200;
/// Steps of each kind.
const STEPS: usize = 400;

/// Ten minutes: 6000 segments, 1500 words, and a look, a marker, an event and a suggestion every second.
/// Undo that kept one of these lists whole, before and after, would take some 50 to 200 kB a step.
fn ten_minutes() -> Document {
    const S: fn(f64) -> Seconds = Seconds::new;
    let segment = |i: u32| HeardSegment {
        start: S(f64::from(i) / 10.0),
        end: S(f64::from(i + 1) / 10.0),
        shape: MouthShape::ALL[i as usize % MouthShape::COUNT],
        glide: None,
        confidence: 0.8,
        phone: None,
    };
    let word = |i: u32| HeardWord {
        start: S(f64::from(4 * i) / 10.0),
        end: S(f64::from(4 * i + 4) / 10.0),
        text: format!("word{i}"),
        confidence: 0.9,
    };
    let hearing = Hearing {
        duration: S(600.0),
        segments: (0..6000).map(segment).collect(),
        words: (0..1500).map(word).collect(),
        notes: Vec::new(),
    };
    let mut doc = Document::new(Line::from_hearing(&hearing).expect("a valid hearing"));
    for i in 0..590 {
        let at = S(f64::from(i) + 0.55);
        let look = if i % 2 == 0 { Expression::Smile } else { Expression::Neutral };
        doc.set_expression(ExpressionKey::new(at, look)).expect("inside");
        doc.set_marker(Marker::new(at, format!("marker {i}"))).expect("inside");
        doc.add_event(Event::turn(at, Turn::default())).expect("inside");
    }
    let suggestion = |i: u32| {
        let look = ExpressionKey::new(S(f64::from(i) + 0.2), Expression::Smile);
        let (start, end) = (look.time, S(f64::from(i) + 0.5));
        let reason = format!("brows up at second {i}");
        Suggestion {
            start,
            until: end,
            end,
            look,
            part: FacePart::Brows,
            confidence: 0.5,
            event: None,
            reason,
        }
    };
    doc.suggest((0..590).map(suggestion).collect()).expect("in order");
    Document::new(doc.line().clone())
}

/// One small edit of a kind, at a place that differs from step to step.
type Edit = fn(&mut Document, usize, &CopiedLooks) -> Result<(Seconds, Seconds), LineError>;

const EDITS: [(&str, Edit); 15] = [
    ("boundary", |d, i, _| {
        d.move_boundary(7 * i + 3, d.line().segments()[7 * i + 3].start + Seconds::new(0.02))
    }),
    ("ripple", |d, i, _| {
        let at = 7 * i + 3;
        d.ripple_boundary(at, d.line().segments()[at].start + Seconds::new(0.02), at + 3)
    }),
    ("shape", |d, i, _| d.replace_shape(7 * i + 3, MouthShape::ALL[(i + 1) % MouthShape::COUNT])),
    ("split", |d, i, _| d.split_at(Seconds::new(i as f64 + 0.46))),
    ("merge", |d, i, _| d.merge_with_next(5 * i)),
    ("delete", |d, i, _| d.delete(5 * i + 1)),
    ("strength", |d, i, _| d.set_strength(5 * i + 1, 0.4 + 0.001 * i as f64)),
    ("lock", |d, i, _| d.set_locked(5 * i..5 * i + 1, true)),
    ("marker", |d, i, _| d.set_marker(Marker::new(Seconds::new(i as f64 + 0.35), format!("here {i}")))),
    ("no marker", |d, i, _| d.delete_marker(i / 3)),
    ("look", |d, i, _| d.set_expression(ExpressionKey::new(Seconds::new(i as f64 + 0.8), Expression::Frown))),
    ("blink", |d, i, _| d.add_event(Event::blink(Seconds::new(i as f64 + 0.9)))),
    ("moved event", |d, i, _| {
        let event = d.line().events()[i];
        d.change_event(i, Event { time: event.time + Seconds::new(0.02), ..event })
    }),
    ("dismissed", |d, i, _| d.dismiss_suggestion(i / 3)),
    ("pasted looks", |d, i, copied| d.paste_looks(Seconds::new(i as f64 + 0.1), copied)),
];

#[test]
fn undo_keeps_what_differs_and_no_more() {
    let mut doc = ten_minutes();
    let start = doc.line().clone();
    let copied = start.copy_looks(Seconds::new(0.5), Seconds::new(1.2)).expect("looks");
    for (name, edit) in EDITS {
        doc = Document::new(start.clone());
        // Lists that grow take room to spare the first time. That is the line's, not undo's.
        for (_, first) in EDITS {
            first(&mut doc, STEPS + 50, &copied).expect("an edit");
            doc.undo();
        }
        let before = TAKEN.current_usage();
        for i in 0..STEPS {
            edit(&mut doc, i, &copied).unwrap_or_else(|e| panic!("{name} {i}: {e}"));
        }
        let step = TAKEN.current_usage().saturating_sub(before) / STEPS;
        println!("{name}: {step} bytes a step");
        assert_eq!(doc.depth(), STEPS, "{name}: a step each");
        assert!(step <= A_STEP, "{name}: {step} bytes a step");
        while doc.undo().is_some() {}
        assert_eq!(doc.line(), &start, "{name}: undo is exact");
    }
}
