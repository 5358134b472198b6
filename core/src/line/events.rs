//! Events: what the head does once, at a moment, beside speech and looks: a blink, a turn of the head.
//!
//! An event says what is wanted and when. How long it takes on one particular head, and what comes of
//! it, is the planner's business ([`crate::motion`]).

use super::{Document, Line, LineError, Step, first_late};
use crate::rig::BlinkCourse;
use crate::units::{Degrees, Seconds};
use serde::{Deserialize, Serialize};

/// A turn of the head: to an angle, there for a while, and back to what the head did.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Turn {
    /// Where to: the neck's angle, positive towards the character's left.
    #[serde(rename = "to_deg")]
    pub to: Degrees,
    /// How long it takes to get there, and as long back; a slow neck starts earlier.
    #[serde(rename = "over_s")]
    pub over: Seconds,
    /// How long the head stays there.
    #[serde(rename = "hold_s")]
    pub hold: Seconds,
}

impl Turn {
    /// Furthest angle to either side; a neck's own travel is narrower.
    pub const FURTHEST: Degrees = Degrees::new(90.0);
    /// Least and greatest time to get there.
    pub const OVER: (Seconds, Seconds) = (Seconds::new(0.1), Seconds::new(10.0));
    /// Longest stay.
    pub const LONGEST_HOLD: Seconds = Seconds::new(60.0);

    /// From the beginning of the turn until the head is back.
    #[must_use]
    pub fn length(&self) -> Seconds {
        self.over * 2.0 + self.hold
    }
}

impl Default for Turn {
    /// A glance: 15 degrees to the left in 0.6 s, for 0.8 s. Our choice.
    fn default() -> Self {
        Self { to: Degrees::new(15.0), over: Seconds::new(0.6), hold: Seconds::new(0.8) }
    }
}

/// What happens.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum EventKind {
    /// Both eyes shut and open again.
    Blink,
    /// The head turns, stays, and turns back.
    HeadTurn(Turn),
}

impl EventKind {
    /// In words: "blink", "head turn".
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Blink => "blink",
            Self::HeadTurn(_) => "head turn",
        }
    }

    /// True for two blinks, and for two turns.
    fn is_like(&self, other: &Self) -> bool {
        std::mem::discriminant(self) == std::mem::discriminant(other)
    }
}

/// Something that the head does once.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// When it begins, on the line's time axis.
    #[serde(rename = "time_s")]
    pub time: Seconds,
    /// What it is.
    #[serde(flatten)]
    pub kind: EventKind,
}

/// Events of one kind nearer than this are one.
const SAME: Seconds = Seconds::new(1e-3);

impl Event {
    /// A blink.
    #[must_use]
    pub const fn blink(time: Seconds) -> Self {
        Self { time, kind: EventKind::Blink }
    }

    /// A turn of the head.
    #[must_use]
    pub const fn turn(time: Seconds, turn: Turn) -> Self {
        Self { time, kind: EventKind::HeadTurn(turn) }
    }

    /// When it is over at the latest, on any head.
    pub(crate) fn over_by(&self) -> Seconds {
        self.time
            + match self.kind {
                EventKind::Blink => BlinkCourse::MOST,
                EventKind::HeadTurn(turn) => turn.length(),
            }
    }

    /// What is wrong with its numbers, wherever it stands.
    pub(crate) fn fault(&self) -> Option<&'static str> {
        let EventKind::HeadTurn(turn) = self.kind else { return None };
        // Written so that what is not a number fails, too.
        if !(turn.to.abs() <= Turn::FURTHEST) {
            return Some("a head turns by at most 90 degrees to either side");
        }
        if !(turn.over >= Turn::OVER.0 && turn.over <= Turn::OVER.1) {
            return Some("a turn takes 0.1 to 10 s");
        }
        if !(turn.hold >= Seconds::ZERO && turn.hold <= Turn::LONGEST_HOLD) {
            return Some("a turn is held for 0 to 60 s");
        }
        None
    }

    fn problem(&self, duration: Seconds) -> Option<&'static str> {
        if !(self.time >= Seconds::ZERO && self.time <= duration) {
            return Some("its time must lie inside the line");
        }
        self.fault()
    }

    fn collides(&self, other: &Self) -> bool {
        self.kind.is_like(&other.kind) && (self.time - other.time).abs() < SAME
    }
}

/// Times between which two lists of events can differ; nothing where they do not.
pub(crate) fn events_span(before: &[Event], after: &[Event]) -> Option<(Seconds, Seconds)> {
    let only = |a: &'_ [Event], b: &'_ [Event]| -> Vec<Event> {
        a.iter().filter(|e| !b.contains(e)).copied().collect()
    };
    let changed = [only(before, after), only(after, before)].concat();
    let start = changed.iter().map(|e| e.time).reduce(Seconds::min)?;
    let end = changed.iter().map(Event::over_by).reduce(Seconds::max)?;
    Some((start, end))
}

impl Line {
    /// The events, by rising time.
    #[must_use]
    pub fn events(&self) -> &[Event] {
        &self.events
    }

    pub(super) fn check_events(&self, events: &[Event]) -> Result<(), LineError> {
        let first_late = first_late(events.iter().map(|e| e.time));
        for (index, event) in events.iter().enumerate() {
            let late = (first_late == Some(index)).then_some("must not come before the event before it");
            let twice = events[..index].iter().rev().take_while(|e| event.time - e.time < SAME);
            let twice = twice.filter(|e| e.collides(event)).count() > 0;
            let twice = twice.then_some("must not stand where one of its kind stands");
            if let Some(problem) = event.problem(self.duration).or(late).or(twice) {
                return Err(LineError::Event { index, at: event.time, problem });
            }
        }
        Ok(())
    }

    pub(super) fn set_events(&mut self, events: Vec<Event>) -> Result<(), LineError> {
        self.check_events(&events)?;
        self.events = events;
        Ok(())
    }

    /// The events with one more; one of its kind at the same time (to a millisecond) gives way.
    pub(super) fn with_event(&self, event: Event) -> Result<Vec<Event>, LineError> {
        if let Some(problem) = event.problem(self.duration) {
            return Err(LineError::Event { index: self.events.len(), at: event.time, problem });
        }
        let mut events = self.events.clone();
        events.retain(|e| !e.collides(&event));
        events.insert(events.partition_point(|e| e.time <= event.time), event);
        Ok(events)
    }

    /// The events without number `index`, and it.
    pub(super) fn without_event(&self, index: usize) -> Result<(Vec<Event>, Event), LineError> {
        let count = self.events.len();
        if index >= count {
            return Err(LineError::NoSuchEvent { index, count });
        }
        let mut events = self.events.clone();
        let gone = events.remove(index);
        Ok((events, gone))
    }
}

impl Document {
    /// Adds an event; one of its kind at the same time (to a millisecond) gives way.
    ///
    /// # Errors
    /// A time outside the line, or numbers out of range.
    pub fn add_event(&mut self, event: Event) -> Result<(Seconds, Seconds), LineError> {
        let events = self.line().with_event(event)?;
        Ok(self.commit(Step::AddEvent(event.kind.name()), self.line().replace_events(events)))
    }

    /// Puts another event in the place of number `index`: at another time, or with other numbers.
    ///
    /// # Errors
    /// No such event, a time outside the line, or numbers out of range.
    pub fn change_event(&mut self, index: usize, event: Event) -> Result<(Seconds, Seconds), LineError> {
        let (rest, old) = self.line().without_event(index)?;
        let mut without = self.line().clone();
        without.events = rest;
        let events = without.with_event(event)?;
        let name = event.kind.name();
        let step = if old.time == event.time { Step::ChangeEvent(name) } else { Step::MoveEvent(name) };
        Ok(self.commit(step, self.line().replace_events(events)))
    }

    /// Takes event `index` away.
    ///
    /// # Errors
    /// No such event.
    pub fn delete_event(&mut self, index: usize) -> Result<(Seconds, Seconds), LineError> {
        let (events, gone) = self.line().without_event(index)?;
        Ok(self.commit(Step::DeleteEvent(gone.kind.name()), self.line().replace_events(events)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: fn(f64) -> Seconds = Seconds::new;

    fn document() -> Document {
        Document::new(Line::silent(S(4.0)).expect("valid"))
    }

    fn turn(to: f64) -> Turn {
        Turn { to: Degrees::new(to), ..Turn::default() }
    }

    #[test]
    fn events_come_go_and_move_one_named_step_each() {
        let mut doc = document();
        let start = doc.line().clone();
        doc.add_event(Event::blink(S(2.0))).expect("inside");
        assert_eq!(doc.can_undo().map(|s| s.to_string()).as_deref(), Some("add blink"));
        doc.add_event(Event::turn(S(1.0), turn(-20.0))).expect("inside");
        doc.add_event(Event::turn(S(2.0), turn(10.0))).expect("two kinds may share a moment");
        assert_eq!(doc.line().events().iter().map(|e| e.time).collect::<Vec<_>>(), [S(1.0), S(2.0), S(2.0)]);
        let span = doc.change_event(0, Event::turn(S(3.0), turn(-20.0))).expect("inside");
        assert_eq!(doc.can_undo().map(|s| s.to_string()).as_deref(), Some("move head turn"));
        assert_eq!(span, (S(1.0), S(4.0)), "from the earlier place to the end of the later");
        assert_eq!(doc.line().events()[2].time, S(3.0), "it has gone past the others");
        doc.change_event(2, Event::turn(S(3.0), turn(30.0))).expect("inside");
        assert_eq!(doc.can_undo().map(|s| s.to_string()).as_deref(), Some("change head turn"));
        doc.delete_event(0).expect("there");
        assert_eq!(doc.can_undo().map(|s| s.to_string()).as_deref(), Some("delete blink"));
        let kept = serde_json::to_string(doc.line()).expect("serialises");
        assert_eq!(&serde_json::from_str::<Line>(&kept).expect("reads back"), doc.line());
        while doc.undo().is_some() {}
        assert_eq!(doc.line(), &start);
        while doc.redo().is_some() {}
        assert_eq!(doc.line().events().len(), 2);
    }

    #[test]
    fn a_second_blink_at_the_same_moment_is_the_first() {
        let mut doc = document();
        doc.add_event(Event::blink(S(1.0))).expect("inside");
        doc.add_event(Event::blink(S(1.0004))).expect("inside");
        assert_eq!(doc.line().events(), [Event::blink(S(1.0004))]);
        let depth = doc.depth();
        doc.add_event(Event::blink(S(1.0004))).expect("inside");
        assert_eq!(doc.depth(), depth, "nothing changed: no step");
    }

    #[test]
    fn what_cannot_be_is_refused_and_changes_nothing() {
        let mut doc = document();
        doc.add_event(Event::blink(S(1.0))).expect("inside");
        let before = doc.line().clone();
        let long = |over: f64, hold: f64| Turn { over: S(over), hold: S(hold), ..Turn::default() };
        for bad in [
            Event::blink(S(4.5)),
            Event::blink(S(f64::NAN)),
            Event::turn(S(1.0), turn(91.0)),
            Event::turn(S(1.0), turn(f64::NAN)),
            Event::turn(S(1.0), long(0.05, 1.0)),
            Event::turn(S(1.0), long(f64::INFINITY, 1.0)),
            Event::turn(S(1.0), long(1.0, -1.0)),
            Event::turn(S(1.0), long(1.0, 61.0)),
        ] {
            assert!(matches!(doc.add_event(bad), Err(LineError::Event { .. })), "{bad:?}");
            assert!(doc.change_event(0, bad).is_err());
        }
        assert!(matches!(doc.delete_event(1), Err(LineError::NoSuchEvent { index: 1, count: 1 })));
        assert!(doc.change_event(7, Event::blink(S(1.0))).is_err());
        assert_eq!(doc.line(), &before);
    }

    #[test]
    fn a_file_with_events_out_of_order_or_twice_is_refused() {
        let good = document().line().clone();
        let mut value = serde_json::to_value(&good).expect("serialises");
        let read = |value: &serde_json::Value| serde_json::from_value::<Line>(value.clone());
        value["events"] = serde_json::json!([
            {"time_s": 1.0, "event": "blink"},
            {"time_s": 1.0, "event": "head-turn", "to_deg": -12.5, "over_s": 0.5, "hold_s": 0.0},
            {"time_s": 2.0, "event": "blink"}
        ]);
        let line = read(&value).expect("good");
        let turn = Turn { to: Degrees::new(-12.5), over: S(0.5), hold: S(0.0) };
        assert_eq!(line.events()[1], Event::turn(S(1.0), turn));
        value["events"][2]["time_s"] = 0.5.into();
        assert!(read(&value).expect_err("late").to_string().contains("must not come before"));
        value["events"][2]["time_s"] = 1.0005.into();
        assert!(read(&value).expect_err("twice").to_string().contains("one of its kind"));
        value["events"][2] = serde_json::json!({"time_s": 2.0, "event": "sneeze"});
        assert!(read(&value).is_err());
    }
}
