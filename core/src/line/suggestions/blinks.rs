//! Blinks that a voice leaves room for.
//!
//! People blink where they pause (F. Cummins, "Gaze and blinking in dyadic conversation", Language and
//! Cognitive Processes 27(10), 2012, from memory), 11 to 19 times a minute at rest, which is every 3 to
//! 6 s (C. Sforza and others, Ophthalmic Physiol. Opt. 28(4), 2008). Which pause is taken is our choice.

use super::Suggestion;
use crate::line::{EventKind, ExpressionKey, Line};
use crate::phonetics::MouthShape;
use crate::rig::{Expression, FacePart};
use crate::units::Seconds;

/// A rest at least this long is a pause: a little shorter than what ends a phrase elsewhere, since a blink
/// takes nothing from what is said next.
const PAUSE: Seconds = Seconds::new(0.12);
/// Blinks keep this distance: those suggested among themselves, and from those that are there.
const APART: Seconds = Seconds::new(3.0);
/// In a silence with no phrase to end, the next one comes after this.
const AT_REST: Seconds = Seconds::new(4.5);
/// How long after the last sound the lids begin to fall.
const AFTER: Seconds = Seconds::new(0.06);
/// What a blink takes on the lane, until a head says how long its own is.
const SHOWN: Seconds = Seconds::new(0.35);

/// Blinks for a line, in order of time: at the ends of phrases and in long pauses, every 3 to 6 s where
/// the voice pauses as often; none near a blink that is there already.
#[must_use]
pub fn suggest_blinks(line: &Line) -> Vec<Suggestion> {
    let blinks = line.events().iter().filter(|e| e.kind == EventKind::Blink);
    let there: Vec<Seconds> = blinks.map(|e| e.time).collect();
    let free = |t: Seconds| there.iter().all(|b| (*b - t).abs() >= APART);
    let mut out: Vec<Suggestion> = Vec::new();
    // The first may come a little sooner: nobody knows when the one before was.
    let mut last = Seconds::ZERO - APART * 0.5;
    for (index, rest) in line.segments().iter().enumerate() {
        if rest.shape != MouthShape::Rest || rest.length() < PAUSE {
            continue;
        }
        let ends = index > 0;
        let mut at = if ends { rest.start + AFTER } else { last + AT_REST };
        while at < rest.end {
            if at - last >= APART && free(at) {
                out.push(blink(line, at, rest.length(), ends && at == rest.start + AFTER));
                last = at;
            }
            at = (last + AT_REST).max(at + PAUSE);
        }
    }
    out
}

fn blink(line: &Line, at: Seconds, pause: Seconds, ends: bool) -> Suggestion {
    let end = (at + SHOWN).min(line.duration());
    let seconds = pause.value();
    let reason = if ends {
        format!("blink where a phrase ends, {seconds:.1} s before the next sound")
    } else {
        format!("blink in a silence of {seconds:.1} s")
    };
    Suggestion {
        start: at,
        look: ExpressionKey::new(at, Expression::Neutral),
        until: end,
        end,
        part: FacePart::Lids,
        // The longer the pause, the surer it is one.
        confidence: (0.4 + 0.5 * seconds).min(0.9),
        event: Some(EventKind::Blink),
        reason,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::{Document, Event, Segment};
    use proptest::prelude::*;

    /// Phrases of some seconds with a pause after each.
    fn spoken(lengths: &[(f64, f64)]) -> Line {
        let mut segments = vec![Segment::new(Seconds::ZERO, Seconds::new(0.3), MouthShape::Rest)];
        let mut at = Seconds::new(0.3);
        for (phrase, pause) in lengths {
            for (length, shape) in [(*phrase, MouthShape::Open), (*pause, MouthShape::Rest)] {
                let end = at + Seconds::new(length);
                segments.push(Segment::new(at, end, shape));
                at = end;
            }
        }
        Line::new(at, segments).expect("valid")
    }

    fn times(line: &Line) -> Vec<f64> {
        suggest_blinks(line).iter().map(|s| (s.look.time.value() * 100.0).round() / 100.0).collect()
    }

    #[test]
    fn phrases_end_with_a_blink_but_not_each() {
        // Pauses begin at 2.3, 3.7, 6.1 and 9.5.
        let line = spoken(&[(2.0, 0.4), (1.0, 0.4), (2.0, 0.4), (3.0, 0.8)]);
        assert_eq!(times(&line), [2.36, 6.16, 9.56]);
        let first = &suggest_blinks(&line)[0];
        assert_eq!((first.part, first.event), (FacePart::Lids, Some(EventKind::Blink)));
        assert!(first.reason.contains("phrase ends"), "{}", first.reason);
    }

    #[test]
    fn a_long_silence_is_not_stared_through() {
        let at = times(&Line::silent(Seconds::new(15.0)).expect("valid"));
        assert_eq!(at.len(), 3, "{at:?}");
        assert!(at.windows(2).all(|w| (3.0..=6.0).contains(&(w[1] - w[0]))), "{at:?}");
    }

    #[test]
    fn taking_one_makes_an_event_and_the_next_round_leaves_it_alone() {
        let mut doc = Document::new(spoken(&[(2.0, 0.4), (3.0, 0.4), (3.0, 0.8)]));
        doc.suggest(suggest_blinks(doc.line())).expect("in order");
        let count = doc.line().suggestions().len();
        let at = doc.line().suggestions()[1].look.time;
        doc.take_suggestion(1).expect("there");
        assert_eq!(doc.line().events(), [Event::blink(at)]);
        assert!(doc.line().expressions().is_empty() && doc.line().suggestions().len() == count - 1);
        assert!(suggest_blinks(doc.line()).iter().all(|s| (s.look.time - at).abs() >= APART));
        doc.undo();
        assert!(doc.line().events().is_empty() && doc.line().suggestions().len() == count);
    }

    proptest! {
        #[test]
        fn they_are_apart_in_order_and_inside_a_pause(
            lengths in prop::collection::vec((0.05..9.0f64, 0.02..12.0f64), 1..12)
        ) {
            let line = spoken(&lengths);
            let list = suggest_blinks(&line);
            prop_assert!(line.check_suggestions(&list).is_ok());
            for s in &list {
                let rest = &line.segments()[line.segment_at(s.look.time)];
                prop_assert_eq!(rest.shape, MouthShape::Rest);
            }
            for w in list.windows(2) {
                prop_assert!(w[1].look.time - w[0].look.time >= APART);
            }
        }
    }
}
