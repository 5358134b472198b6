//! What a person does to several segments at once.

use super::Take;
use lipwright_core::line::{Document, Line, LineError, Marker, Segment, Step};
use lipwright_core::phonetics::MouthShape;
use lipwright_core::recognise::Hearing;
use lipwright_core::units::Seconds;
use std::ops::Range;

/// The last segment of the word that segment `index` belongs to; without words, of the phrase, which a
/// rest ends.
pub(super) fn phrase_end(line: &Line, index: usize) -> usize {
    let segments = line.segments();
    let Some(segment) = segments.get(index) else { return index };
    let middle = |s: &Segment| (s.start + s.end) / 2.0;
    let word = line.words().iter().find(|w| w.start <= middle(segment) && middle(segment) < w.end);
    let along = |s: &&Segment| match word {
        Some(word) => middle(s) < word.end,
        None => s.shape != MouthShape::Rest,
    };
    index + segments[index + 1..].iter().take_while(along).count()
}

impl Take {
    /// The selected segments.
    #[must_use]
    pub fn run(&self) -> Option<Range<usize>> {
        let selected = self.selected?;
        match self.extent {
            Some((from, to)) if to == selected => Some(from.min(to)..from.max(to) + 1),
            _ => Some(selected..selected + 1),
        }
    }

    /// Time that the selected segments cover.
    #[must_use]
    pub fn run_span(&self) -> Option<(Seconds, Seconds)> {
        let chosen = self.line()?.segments().get(self.run()?)?;
        Some((chosen.first()?.start, chosen.last()?.end))
    }

    /// Extends the selection to a segment, from where it began.
    pub fn extend_to(&mut self, index: usize) {
        let Some(count) = self.line().map(|l| l.segments().len()) else { return };
        let index = index.min(count - 1);
        let from = match (self.extent, self.selected) {
            (Some((from, to)), Some(selected)) if to == selected => from,
            (_, Some(selected)) => selected,
            (_, None) => index,
        };
        self.extent = Some((from, index));
        self.selected = Some(index);
    }

    /// Extends the selection by so many segments (negative: back).
    pub fn extend_by(&mut self, by: isize) {
        self.extend_to(self.selected.map_or(0, |i| i.saturating_add_signed(by)));
    }

    /// Selects every segment.
    pub fn select_all(&mut self) {
        self.selected = Some(0);
        self.extent = None;
        self.extend_to(usize::MAX);
    }

    fn run_checked(&self) -> Result<Range<usize>, LineError> {
        self.run().ok_or(LineError::NoSuchSegment { index: 0, count: 0 })
    }

    fn with_run(
        &mut self,
        verb: impl FnOnce(&mut Document, Range<usize>) -> Result<(Seconds, Seconds), LineError>,
    ) -> Result<(), LineError> {
        let run = self.run_checked()?;
        self.with(|d| verb(d, run)).map(|_| ())
    }

    /// Gives the selected segments another shape.
    ///
    /// # Errors
    /// Nothing is selected.
    pub fn replace(&mut self, shape: MouthShape) -> Result<(), LineError> {
        self.with_run(|d, run| d.replace_shapes(run, shape))
    }

    /// Merges the selected segments, or the one with the next.
    ///
    /// # Errors
    /// Nothing is selected, or there is no next.
    pub fn merge(&mut self) -> Result<(), LineError> {
        let start = self.run_checked()?.start;
        self.with_run(|d, run| if run.len() > 1 { d.merge_run(run) } else { d.merge_with_next(run.start) })?;
        self.selected = Some(start);
        self.extent = None;
        Ok(())
    }

    /// Deletes the selected segments.
    ///
    /// # Errors
    /// Nothing is selected.
    pub fn delete(&mut self) -> Result<(), LineError> {
        let middle = self.run_span().map(|(start, end)| (start + end) / 2.0);
        self.with_run(Document::delete_run)?;
        self.extent = None;
        if let Some(middle) = middle {
            self.select_at(middle);
        }
        Ok(())
    }

    /// Changes how much of their shapes the selected segments make.
    ///
    /// # Errors
    /// Nothing is selected.
    pub fn change_strength(&mut self, change: impl Fn(f64) -> f64) -> Result<(), LineError> {
        // A tenth of a per cent is finer than anyone sees and keeps files tidy.
        self.with_run(|d, run| d.set_strengths(run, |s| (change(s) * 1000.0).round() / 1000.0))
    }

    /// Locks the selected segments, or unlocks them where all are locked; true where they are locked now.
    ///
    /// # Errors
    /// Nothing is selected.
    pub fn toggle_lock(&mut self) -> Result<bool, LineError> {
        let run = self.run_checked()?;
        let all = self.line().and_then(|l| l.segments().get(run)).is_some_and(|s| s.iter().all(|s| s.locked));
        self.with_run(|d, run| d.set_locked(run, !all))?;
        Ok(!all)
    }

    /// A copy of the selected segments.
    #[must_use]
    pub fn copied(&self) -> Vec<Segment> {
        let run = self.run();
        run.and_then(|run| self.line()?.segments().get(run)).map(<[Segment]>::to_vec).unwrap_or_default()
    }

    /// Writes copied segments over the line from a time on, and selects them.
    ///
    /// # Errors
    /// Nothing copied, or no room.
    pub fn paste(&mut self, time: Seconds, copied: &[Segment]) -> Result<(), LineError> {
        self.with(|d| d.paste(time, copied))?;
        let length = copied.last().map_or(Seconds::ZERO, |s| s.end)
            - copied.first().map_or(Seconds::ZERO, |s| s.start);
        if let Some(line) = self.line() {
            // Inside the first and the last, whatever became of slivers at the edges.
            let inside = Segment::MIN_LENGTH / 2.0;
            let last = line.segment_at((time + length).min(line.duration()) - inside);
            self.selected = Some(line.segment_at(time + inside));
            self.extent = None;
            self.extend_to(last);
        }
        Ok(())
    }

    /// Writes a shape from one time to another: one stroke with a key held.
    ///
    /// # Errors
    /// Outside the line, or shorter than a segment may be.
    pub fn paint(&mut self, start: Seconds, end: Seconds, shape: MouthShape) -> Result<(), LineError> {
        self.with(|d| d.paint(start, end, shape)).map(|_| ())
    }

    /// Takes what was heard in a part of the line.
    ///
    /// # Errors
    /// As [`Document::adopt_within`].
    pub fn adopt_within(
        &mut self,
        hearing: &Hearing,
        span: (Seconds, Seconds),
        step: Step,
    ) -> Result<(), LineError> {
        self.with(|d| d.adopt_within(hearing, span, step)).map(|_| ())
    }

    /// Sets a marker, or names the one that is there.
    ///
    /// # Errors
    /// As [`Document::set_marker`].
    pub fn set_marker(&mut self, time: Seconds, name: &str) -> Result<(), LineError> {
        self.with(|d| d.set_marker(Marker::new(time, name))).map(|_| ())
    }

    /// Sets a marker with the next free number for a name.
    ///
    /// # Errors
    /// The time is outside the line, or there is a marker already.
    pub fn add_marker(&mut self, time: Seconds) -> Result<(), LineError> {
        let markers = self.line().map(|l| l.markers().to_vec()).unwrap_or_default();
        if let Some(index) = markers.iter().position(|m| (m.time - time).abs() < Seconds::new(1e-3)) {
            return Err(LineError::Marker { index, at: time, problem: "there is one here already" });
        }
        let free = |n: &usize| markers.iter().all(|m| m.name != format!("Marker {n}"));
        let number = (1..).find(free).unwrap_or(1);
        self.set_marker(time, &format!("Marker {number}"))
    }

    /// Takes a marker away.
    ///
    /// # Errors
    /// There is no such marker.
    pub fn delete_marker(&mut self, index: usize) -> Result<(), LineError> {
        self.with(|d| d.delete_marker(index)).map(|_| ())
    }

    /// The next marker after a time, or the last one before it.
    #[must_use]
    pub fn marker_beside(&self, time: Seconds, on: bool) -> Option<Seconds> {
        let near = Seconds::new(1e-3);
        let mut markers = self.line()?.markers().iter().map(|m| m.time);
        if on { markers.find(|t| *t > time + near) } else { markers.filter(|t| *t < time - near).next_back() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::Origin;

    const S: fn(f64) -> Seconds = Seconds::new;

    fn take() -> Take {
        let mut take = Take::new("Test", "test.wav", Origin::Beside("test.wav".into()), "");
        take.edit(Line::silent(S(1.0)).expect("valid"));
        for t in [0.2, 0.4, 0.6, 0.8] {
            take.split(S(t)).expect("room");
        }
        take.selected = Some(1);
        take
    }

    fn shapes(take: &Take) -> Vec<&'static str> {
        take.line().expect("a line").segments().iter().map(|s| s.shape.name()).collect()
    }

    #[test]
    fn a_selection_extends_from_where_it_began_and_edits_are_one_step() {
        let mut take = take();
        take.extend_to(3);
        assert_eq!(take.run(), Some(1..4));
        take.extend_by(-3);
        assert_eq!(take.run(), Some(0..2), "round the place where it began");
        take.extend_to(2);
        take.replace(MouthShape::Open).expect("selected");
        assert_eq!(shapes(&take), ["rest", "open", "open", "rest", "rest"]);
        assert_eq!(take.run(), Some(1..3), "the selection stays");
        take.undo();
        assert_eq!(shapes(&take), ["rest"; 5]);
        take.selected = Some(4);
        assert_eq!(take.run(), Some(4..5), "a new selection is of one");
        take.select_all();
        take.change_strength(|s| s - 0.4).expect("selected");
        assert!(take.line().expect("a line").segments().iter().all(|s| (s.strength - 0.6).abs() < 1e-12));
        take.delete().expect("selected");
        assert_eq!((shapes(&take), take.run()), (vec!["rest"], Some(0..1)));
    }

    #[test]
    fn copies_are_pasted_at_a_time_and_selected() {
        let mut take = take();
        take.replace(MouthShape::Bilabial).expect("selected");
        take.extend_to(2);
        let copied = take.copied();
        take.paste(S(0.55), &copied).expect("room");
        assert_eq!(shapes(&take), ["rest", "bilabial", "rest", "bilabial", "rest", "rest"]);
        assert_eq!(take.run(), Some(3..5));
        assert!(take.paste(S(0.5), &[]).is_err());
    }

    #[test]
    fn locks_toggle_and_merging_joins_the_run() {
        let mut take = take();
        take.extend_to(2);
        assert_eq!(take.toggle_lock(), Ok(true));
        take.extend_to(3);
        assert_eq!(take.toggle_lock(), Ok(true), "one of them was not locked yet");
        assert_eq!(take.toggle_lock(), Ok(false));
        take.merge().expect("several");
        assert_eq!((shapes(&take).len(), take.run()), (3, Some(1..2)));
        take.selected = None;
        assert!(take.toggle_lock().is_err() && take.merge().is_err() && take.copied().is_empty());
    }

    #[test]
    fn markers_are_numbered_and_gone_to() {
        let mut take = take();
        for t in [0.5, 0.3] {
            take.add_marker(S(t)).expect("inside");
        }
        assert!(take.add_marker(S(0.3)).is_err(), "one is there");
        let names: Vec<_> = take.line().expect("a line").markers().iter().map(|m| m.name.clone()).collect();
        assert_eq!(names, ["Marker 2", "Marker 1"]);
        assert_eq!(take.marker_beside(S(0.3), true), Some(S(0.5)));
        assert_eq!(take.marker_beside(S(0.3), false), None);
        assert_eq!(take.marker_beside(S(0.9), false), Some(S(0.5)));
        take.delete_marker(0).expect("there");
        take.add_marker(S(0.7)).expect("inside");
        assert_eq!(take.line().expect("a line").markers()[1].name, "Marker 2", "the free number");
    }

    #[test]
    fn a_phrase_ends_at_a_rest() {
        let mut take = take();
        take.extend_to(3);
        take.replace(MouthShape::Open).expect("selected");
        let line = take.line().expect("a line");
        assert_eq!((phrase_end(line, 1), phrase_end(line, 3), phrase_end(line, 4)), (3, 3, 4));
        take.drag_boundary(1, S(0.25), true).expect("room");
        take.end_drag();
        let starts: Vec<f64> =
            take.line().expect("a line").segments().iter().map(|s| s.start.value()).collect();
        for (got, wanted) in starts.iter().zip([0.0, 0.25, 0.45, 0.65, 0.85]) {
            assert!((got - wanted).abs() < 1e-9, "{starts:?}");
        }
    }
}
