//! Looks and events of a stretch, copied to another place or another line.

use super::suggestions::shown_at;
use super::{Document, Event, ExpressionKey, Line, LineError, Step};
use crate::units::Seconds;

/// How long the face takes, after copied looks, to come back to what it did there.
const BACK: Seconds = Seconds::new(0.35);
/// Keys nearer than this count as one.
const SAME: Seconds = Seconds::new(1e-3);

/// What the face does over a stretch, by times from its start.
#[derive(Clone, Debug, PartialEq)]
pub struct CopiedLooks {
    length: Seconds,
    /// The first stands at 0, the last at the end; none where the stretch had no lane.
    keys: Vec<ExpressionKey>,
    events: Vec<Event>,
}

impl CopiedLooks {
    /// How long the stretch is.
    #[must_use]
    pub fn length(&self) -> Seconds {
        self.length
    }

    /// How many keys a person set inside it, and how many events begin in it.
    #[must_use]
    pub fn counts(&self) -> (usize, usize) {
        (self.keys.len(), self.events.len())
    }
}

impl Line {
    /// The looks and events of `start..end`. Where a look began before, the stretch begins with it.
    ///
    /// # Errors
    /// A span outside the line or of no length, or one with neither looks nor events.
    pub fn copy_looks(&self, start: Seconds, end: Seconds) -> Result<CopiedLooks, LineError> {
        let (start, end) = (self.time_checked(start)?, self.time_checked(end)?);
        if end - start < SAME {
            return Err(LineError::NoRoom { what: "copy looks", at: start });
        }
        let mut keys = Vec::new();
        if !self.expressions().is_empty() {
            keys.push(shown_at(self.expressions(), start));
            let inside = |k: &&ExpressionKey| (start..end).contains(&k.time) && end - k.time >= SAME;
            for key in self.expressions().iter().filter(inside) {
                if key.time - start < SAME {
                    keys.clear();
                }
                keys.push(key.clone());
            }
            keys.push(shown_at(self.expressions(), end));
        }
        let events = self.events().iter().filter(|e| (start..end).contains(&e.time)).copied();
        let mut copied = CopiedLooks { length: end - start, keys, events: events.collect() };
        if copied.keys.is_empty() && copied.events.is_empty() {
            return Err(LineError::NoLooks);
        }
        let times = copied.keys.iter_mut().map(|k| &mut k.time);
        for time in times.chain(copied.events.iter_mut().map(|e| &mut e.time)) {
            *time = (*time - start).max(Seconds::ZERO);
        }
        Ok(copied)
    }

    /// The lane with copied looks from `time` on: what was there before the stretch and behind it stays.
    fn lane_with(&self, time: Seconds, copied: &CopiedLooks) -> Vec<ExpressionKey> {
        if copied.keys.is_empty() {
            return self.expressions().to_vec();
        }
        let old = self.expressions();
        let end = (time + copied.length).min(self.duration());
        let back = (end + BACK).min(self.duration());
        let mut keys: Vec<ExpressionKey> = old.iter().filter(|k| k.time < time).cloned().collect();
        let fresh = copied.keys.iter().map(|k| ExpressionKey { time: k.time + time, ..k.clone() });
        keys.extend(fresh.filter(|k| k.time <= end));
        // Behind, the lane is what it was, as soon as a face can be.
        let later = old.iter().filter(|k| k.time > end + SAME);
        let resumes = shown_at(old, back);
        let last = keys.last().cloned();
        let shows = |other: &ExpressionKey| {
            last.as_ref().is_some_and(|k| {
                (k.expression, k.amount, &k.values) == (other.expression, other.amount, &other.values)
            })
        };
        let same = shows(&resumes) || shows(&shown_at(old, end));
        let soon = old.iter().any(|k| k.time > end + SAME && k.time <= back + SAME);
        if back - end >= SAME && !soon && !same {
            keys.push(resumes);
        }
        keys.extend(later.cloned());
        keys.sort_by(|a, b| a.time.value().total_cmp(&b.time.value()));
        keys.dedup_by(|b, a| b.time - a.time < SAME);
        keys
    }

    /// The events with copied ones from `time` on, in the place of those in that stretch.
    fn events_with(&self, time: Seconds, copied: &CopiedLooks) -> Result<Vec<Event>, LineError> {
        let mut with = self.clone();
        let end = time + copied.length;
        with.events.retain(|e| !(time..end).contains(&e.time));
        for event in &copied.events {
            let event = Event { time: event.time + time, ..*event };
            if event.time <= self.duration() {
                with.events = with.with_event(event)?;
            }
        }
        Ok(with.events)
    }
}

impl Document {
    /// Puts copied looks and events in the place of those from `time` on, over as long a stretch as
    /// they were copied from; what would reach beyond the line is cut off. Behind them the face goes
    /// back to what it did there. One step.
    ///
    /// # Errors
    /// A time outside the line, or one at its very end.
    pub fn paste_looks(
        &mut self,
        time: Seconds,
        copied: &CopiedLooks,
    ) -> Result<(Seconds, Seconds), LineError> {
        let line = self.line();
        let time = line.time_checked(time)?;
        if line.duration() - time < SAME {
            return Err(LineError::NoRoom { what: "paste looks", at: time });
        }
        let keys = line.lane_with(time, copied);
        let mut checked = line.clone();
        checked.set_expressions(keys.clone())?;
        let events = line.events_with(time, copied)?;
        checked.set_events(events.clone())?;
        Ok(self.commit(Step::PasteLooks, self.line().replace_looks(keys, events)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::{Easing, Turn, lane_at};
    use crate::rig::Expression;
    use proptest::prelude::*;

    const S: fn(f64) -> Seconds = Seconds::new;

    fn key(time: f64, expression: Expression) -> ExpressionKey {
        ExpressionKey::new(S(time), expression)
    }

    /// A smile from 1 to 2 s with a blink and a turn in it, neutral around it.
    fn document() -> Document {
        let mut doc = Document::new(Line::silent(S(10.0)).expect("valid"));
        for k in [key(0.5, Expression::Neutral), key(1.0, Expression::Smile), key(2.0, Expression::Smile)] {
            doc.set_expression(k).expect("inside");
        }
        doc.set_expression(key(2.5, Expression::Neutral)).expect("inside");
        doc.add_event(Event::blink(S(1.4))).expect("inside");
        doc.add_event(Event::turn(S(1.6), Turn::default())).expect("inside");
        doc
    }

    fn shows(line: &Line, time: f64) -> (Expression, Expression) {
        let (a, b, _) = lane_at(line.expressions(), S(time)).expect("has keys");
        (a.expression, b.expression)
    }

    #[test]
    fn a_stretch_comes_again_elsewhere_with_its_events() {
        let mut doc = document();
        let copied = doc.line().copy_looks(S(1.2), S(1.8)).expect("looks");
        assert!((copied.length() - S(0.6)).abs() < S(1e-9));
        let before = doc.line().clone();
        let depth = doc.depth();
        doc.paste_looks(S(5.0), &copied).expect("room");
        assert_eq!(doc.depth(), depth + 1, "one step");
        let line = doc.line();
        assert_eq!(shows(line, 5.3), (Expression::Smile, Expression::Smile));
        assert_eq!(shows(line, 1.5), (Expression::Smile, Expression::Smile), "the old ones stay");
        assert_eq!(shows(line, 5.2 + 1.0), (Expression::Neutral, Expression::Neutral), "and it goes again");
        let times: Vec<f64> = line.events().iter().map(|e| (e.time.value() * 1e6).round() / 1e6).collect();
        assert_eq!(times, [1.4, 1.6, 5.2, 5.4]);
        assert_eq!(doc.can_undo(), Some(Step::PasteLooks));
        doc.undo();
        assert_eq!(doc.line(), &before);
    }

    #[test]
    fn pasted_looks_take_the_place_of_what_was_there() {
        let mut doc = document();
        let quiet = doc.line().copy_looks(S(4.0), S(5.0)).expect("neutral is a look");
        doc.paste_looks(S(1.0), &quiet).expect("room");
        assert_eq!(shows(doc.line(), 1.5), (Expression::Neutral, Expression::Neutral));
        assert!(doc.line().events().is_empty(), "its blink and its turn are gone: {:?}", doc.line().events());
        // Pasting a line's own stretch where it was changes nothing that can be seen.
        let mut doc = document();
        let own = doc.line().copy_looks(S(1.0), S(2.0)).expect("looks");
        let before = doc.line().clone();
        doc.paste_looks(S(1.0), &own).expect("room");
        assert_eq!(doc.line().expressions(), before.expressions());
        for (a, b) in doc.line().events().iter().zip(before.events()) {
            assert!(a.kind == b.kind && (a.time - b.time).abs() < S(1e-9));
        }
        assert_eq!(doc.line().events().len(), 2);
    }

    #[test]
    fn another_line_takes_what_fits() {
        let copied = document().line().copy_looks(S(1.0), S(2.0)).expect("looks");
        let mut other = Document::new(Line::silent(S(3.0)).expect("valid"));
        other.paste_looks(S(2.5), &copied).expect("room");
        assert_eq!(shows(other.line(), 2.8), (Expression::Smile, Expression::Smile));
        assert_eq!(other.line().events().len(), 1, "the turn would begin after the end");
        assert!(matches!(other.paste_looks(S(3.0), &copied), Err(LineError::NoRoom { .. })));
        assert!(other.paste_looks(S(f64::NAN), &copied).is_err());
    }

    #[test]
    fn there_must_be_something_to_copy() {
        let bare = Line::silent(S(3.0)).expect("valid");
        assert_eq!(bare.copy_looks(S(0.0), S(1.0)), Err(LineError::NoLooks));
        let doc = document();
        assert!(doc.line().copy_looks(S(1.0), S(1.0)).is_err());
        assert!(doc.line().copy_looks(S(-1.0), S(1.0)).is_err());
        assert!(doc.line().copy_looks(S(9.0), S(11.0)).is_err());
    }

    proptest! {
        /// Whatever is copied and pasted: the line keeps its invariants, what lies before stays, and
        /// undo is exact.
        #[test]
        fn any_paste_keeps_the_line_whole(
            keys in prop::collection::btree_map(0u32..1000, (0usize..Expression::COUNT, 0u8..3), 0..12),
            blinks in prop::collection::btree_set(0u32..1000, 0..6),
            (from, length, to) in (0.0..9.0f64, 0.002..6.0f64, 0.0..9.99f64),
        ) {
            let mut doc = Document::new(Line::silent(S(10.0)).expect("valid"));
            for (at, (e, easing)) in keys {
                let easing = [Easing::Hold, Easing::Linear, Easing::Smooth][usize::from(easing)];
                let key = ExpressionKey { easing, ..key(f64::from(at) * 0.01, Expression::ALL[e]) };
                doc.set_expression(key).expect("inside");
            }
            for at in blinks {
                doc.add_event(Event::blink(S(f64::from(at) * 0.01))).expect("inside");
            }
            let before = doc.line().clone();
            let Ok(copied) = doc.line().copy_looks(S(from), S((from + length).min(10.0))) else {
                return Ok(());
            };
            doc.paste_looks(S(to), &copied).expect("room");
            let text = serde_json::to_string(doc.line()).expect("serialises");
            prop_assert_eq!(&serde_json::from_str::<Line>(&text).expect("keeps its invariants"), doc.line());
            let early = |l: &Line| l.expressions().iter().filter(|k| k.time < S(to)).cloned().collect::<Vec<_>>();
            prop_assert!(early(doc.line()).len() + 1 >= early(&before).len());
            while doc.can_undo() == Some(Step::PasteLooks) {
                doc.undo();
            }
            prop_assert_eq!(doc.line(), &before);
        }
    }
}
