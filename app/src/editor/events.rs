//! Blinks, turns of the head, held segments, looks copied: their verbs on a line.

use super::Take;
use lipwright_core::line::{CopiedLooks, Event, Line, LineError};
use lipwright_core::units::Seconds;

impl Take {
    /// The events of the line, by rising time.
    #[must_use]
    pub fn events(&self) -> &[Event] {
        self.line().map_or(&[][..], Line::events)
    }

    /// Adds a blink or a turn of the head.
    ///
    /// # Errors
    /// As [`lipwright_core::line::Document::add_event`].
    pub fn add_event(&mut self, event: Event) -> Result<(), LineError> {
        self.with(|d| d.add_event(event)).map(|_| ())
    }

    /// Puts an event in the place of another.
    ///
    /// # Errors
    /// As [`lipwright_core::line::Document::change_event`].
    pub fn change_event(&mut self, index: usize, event: Event) -> Result<(), LineError> {
        self.with(|d| d.change_event(index, event)).map(|_| ())
    }

    /// Takes an event away.
    ///
    /// # Errors
    /// There is no such event.
    pub fn delete_event(&mut self, index: usize) -> Result<(), LineError> {
        self.with(|d| d.delete_event(index)).map(|_| ())
    }

    /// Where the selected segments are all held: true.
    #[must_use]
    pub fn is_held(&self) -> bool {
        let segments = self.line().zip(self.run()).and_then(|(l, run)| l.segments().get(run));
        segments.is_some_and(|s| s.iter().all(|s| s.held))
    }

    /// Holds the selected segments, or lets go where all are held; true where they are held now.
    ///
    /// # Errors
    /// Nothing is selected.
    pub fn toggle_hold(&mut self) -> Result<bool, LineError> {
        let run = self.run().ok_or(LineError::NoSuchSegment { index: 0, count: 0 })?;
        let held = !self.is_held();
        self.with(|d| d.set_held(run, held))?;
        Ok(held)
    }

    /// The looks and events over the selected segments.
    ///
    /// # Errors
    /// Nothing is selected, or nothing is there.
    pub fn copied_looks(&self) -> Result<CopiedLooks, LineError> {
        let (start, end) = self.run_span().ok_or(LineError::NoSuchSegment { index: 0, count: 0 })?;
        self.line().ok_or(LineError::NoSegments)?.copy_looks(start, end)
    }

    /// Puts copied looks and events over the line from a time on.
    ///
    /// # Errors
    /// As [`lipwright_core::line::Document::paste_looks`].
    pub fn paste_looks(&mut self, time: Seconds, copied: &CopiedLooks) -> Result<(), LineError> {
        self.with(|d| d.paste_looks(time, copied)).map(|_| ())
    }
}

#[cfg(test)]
mod tests {
    use super::super::Origin;
    use super::*;
    use lipwright_core::line::ExpressionKey;
    use lipwright_core::rig::Expression;

    const S: fn(f64) -> Seconds = Seconds::new;

    fn take() -> Take {
        let mut take = Take::new("Test", "test.wav", Origin::Beside("test.wav".into()), "");
        take.edit(Line::silent(S(4.0)).expect("valid"));
        take.split(S(1.0)).expect("room");
        take.split(S(2.0)).expect("room");
        take
    }

    #[test]
    fn holding_toggles_for_all_that_is_chosen() {
        let mut take = take();
        take.selected = None;
        assert!(take.toggle_hold().is_err(), "nothing is chosen");
        take.select_at(S(1.5));
        assert_eq!(take.toggle_hold(), Ok(true));
        take.select_all();
        assert!(!take.is_held());
        assert_eq!(take.toggle_hold(), Ok(true), "one of them was not held yet");
        assert_eq!(take.toggle_hold(), Ok(false));
        take.undo();
        assert!(take.line().expect("a line").segments().iter().all(|s| s.held), "each was one step");
    }

    #[test]
    fn looks_are_copied_from_what_is_chosen_to_another_line() {
        let mut take = take();
        take.select_at(S(1.5));
        assert_eq!(take.copied_looks(), Err(LineError::NoLooks));
        take.set_look(ExpressionKey::new(S(1.2), Expression::Smile)).expect("inside");
        take.add_event(Event::blink(S(1.4))).expect("inside");
        let copied = take.copied_looks().expect("looks");
        let mut other = Take::new("Other", "other.wav", Origin::Beside("other.wav".into()), "");
        other.edit(Line::silent(S(9.0)).expect("valid"));
        other.paste_looks(S(5.0), &copied).expect("room");
        assert!((other.events()[0].time - S(5.4)).abs() < S(1e-9));
        other.undo();
        assert!(other.events().is_empty() && other.line().expect("a line").expressions().is_empty());
    }

    #[test]
    fn events_come_move_and_go() {
        let mut take = take();
        take.add_event(Event::blink(S(1.0))).expect("inside");
        take.change_event(0, Event::blink(S(3.0))).expect("inside");
        assert_eq!(take.events(), [Event::blink(S(3.0))]);
        assert!(take.delete_event(4).is_err());
        take.delete_event(0).expect("there");
        take.undo();
        take.undo();
        assert_eq!(take.events(), [Event::blink(S(1.0))]);
    }
}
