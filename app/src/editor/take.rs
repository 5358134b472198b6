//! One line of the project as the editor holds it: recording, script, document, performance.

use super::runs::phrase_end;
use super::{Performance, Problem, ProblemKind, Shared, Spectrum, demo};
use lipwright_core::audio::WaveformPyramid;
use lipwright_core::line::{Document, Event, ExpressionKey, Line, LineError, Segment, Suggestion};
use lipwright_core::project::ContentHash;
use lipwright_core::units::Seconds;
use std::sync::Arc;

/// A recording that was brought in.
#[derive(Clone)]
pub struct Audio {
    /// File name.
    pub name: String,
    /// The file itself.
    pub bytes: Shared<Vec<u8>>,
    /// Its hash.
    pub hash: ContentHash,
    /// Format in a few words.
    pub source: String,
    /// Mono samples at 16 kHz.
    pub samples: Shared<Vec<f32>>,
    /// What the waveform lane draws from.
    pub pyramid: Shared<WaveformPyramid>,
}

/// What looking a recording over gave.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Surveyed {
    /// Moments at which the sound changes, rising.
    pub changes: Vec<Seconds>,
    /// Its spectrogram.
    pub spectrum: Shared<Spectrum>,
}

/// Where a line's recording comes from before it is read.
#[derive(Clone, Debug, PartialEq)]
pub enum Origin {
    /// A file beside the page.
    Beside(String),
    /// A file that was dropped, chosen or embedded.
    Bytes(Shared<Vec<u8>>),
}

/// One line of the project.
#[derive(Clone)]
pub struct Take {
    /// Name of the line.
    pub name: String,
    /// File name of the recording.
    pub file: String,
    /// Where the recording comes from.
    pub origin: Origin,
    /// Recordings of the same line that are not in use.
    pub others: Vec<super::dub::Other>,
    /// The recording, once read.
    pub audio: Option<Audio>,
    /// What is said in it, or empty.
    pub script: String,
    /// The editable document, once there is one.
    pub document: Option<Document>,
    /// What the ear wants the person to know.
    pub notes: Vec<String>,
    /// The planned motion of the document as it stood when the plan was asked for.
    pub performance: Option<Shared<Performance>>,
    /// The selected segment; of several, the one that was reached last.
    pub selected: Option<usize>,
    /// Where a selection of several began, and the `selected` that it goes with.
    pub extent: Option<(usize, usize)>,
    /// Where the sound changes, and its spectrogram, once the worker has looked it over.
    pub survey: Option<Shared<Surveyed>>,
    /// How well the head does the line: for the rig in the last place, when it was first planned, and now.
    scores: Option<(f64, f64, Arc<String>)>,
    /// Blinks and turns that it begins with when it is heard for the first time.
    pub begins_with: Vec<Event>,
    /// True while a boundary is being dragged and has moved.
    pub(super) dragging: bool,
}

impl Take {
    /// A line that has not been opened yet.
    #[must_use]
    pub fn new(
        name: impl Into<String>,
        file: impl Into<String>,
        origin: Origin,
        script: impl Into<String>,
    ) -> Self {
        let begins_with = match &origin {
            Origin::Beside(path) => demo::events(path),
            Origin::Bytes(_) => Vec::new(),
        };
        Self {
            name: name.into(),
            file: file.into(),
            origin,
            others: Vec::new(),
            audio: None,
            script: script.into(),
            document: None,
            notes: Vec::new(),
            performance: None,
            selected: None,
            extent: None,
            survey: None,
            scores: None,
            begins_with,
            dragging: false,
        }
    }

    /// The line as it stands.
    #[must_use]
    pub fn line(&self) -> Option<&Line> {
        self.document.as_ref().map(Document::line)
    }

    /// What the head cannot do, the weightiest first, and then what the ear doubted.
    #[must_use]
    pub fn problems(&self) -> Vec<Problem> {
        let planned = self.performance.as_ref().map(|p| p.head().problems.clone());
        let mut out = planned.unwrap_or_default();
        let segments = self.line().map_or(&[][..], Line::segments);
        let doubts = segments.iter().enumerate().filter(|(_, s)| crate::scene::lanes::in_doubt(s));
        let mut doubts: Vec<Problem> = doubts
            .map(|(segment, s)| Problem {
                kind: ProblemKind::Doubt,
                size: 1.0 - s.confidence,
                segment,
                time: s.start,
                sentence: format!("heard with {:.0} % confidence", s.confidence * 100.0),
            })
            .collect();
        doubts.sort_by(|a, b| b.size.total_cmp(&a.size));
        out.extend(doubts);
        out
    }

    /// Takes note of a new plan's score for a rig. As long as nothing can be undone, or where the rig is
    /// another, it is the score to compare with later.
    pub fn scored(&mut self, score: f64, rig: &Arc<String>) {
        let fresh = self.document.as_ref().is_none_or(|d| d.depth() == 0);
        let first = self.scores.as_ref().filter(|(_, _, r)| !fresh && r == rig).map(|s| s.0);
        self.scores = Some((first.unwrap_or(score), score, Arc::clone(rig)));
    }

    /// The score to compare with, and the score as it is.
    #[must_use]
    pub fn scores(&self) -> Option<(f64, f64)> {
        self.scores.as_ref().map(|(first, now, _)| (*first, *now))
    }

    /// Starts editing a line.
    pub fn edit(&mut self, line: Line) {
        self.document = Some(Document::new(line));
        self.selected = None;
        self.performance = None;
        self.changed();
    }

    pub(super) fn changed(&mut self) {
        let count = self.line().map_or(0, |l| l.segments().len());
        self.selected = self.selected.filter(|_| count > 0).map(|i| i.min(count.saturating_sub(1)));
        self.extent = self.extent.filter(|(a, b)| *a < count && *b < count);
    }

    /// The selected segment.
    #[must_use]
    pub fn selection(&self) -> Option<&Segment> {
        self.line()?.segments().get(self.selected?)
    }

    /// Selects the segment under a time.
    pub fn select_at(&mut self, time: Seconds) {
        self.selected = self.line().map(|l| l.segment_at(time));
    }

    /// Selects the segment `by` places on (negative: back); the first where none was selected.
    pub fn step_selection(&mut self, by: isize) {
        let Some(count) = self.line().map(|l| l.segments().len()) else { return };
        let next = match self.selected {
            Some(index) => index.saturating_add_signed(by).min(count - 1),
            None => 0,
        };
        self.selected = Some(next);
    }

    /// The next segment after the selection, round the end, that the ear doubted and nobody has
    /// decided yet.
    #[must_use]
    pub fn next_doubtful(&self) -> Option<usize> {
        let segments = self.line()?.segments();
        let start = self.selected.map_or(0, |i| i + 1);
        (0..segments.len())
            .map(|k| (start + k) % segments.len())
            .find(|i| crate::scene::lanes::in_doubt(&segments[*i]))
    }

    pub(super) fn with<T>(
        &mut self,
        verb: impl FnOnce(&mut Document) -> Result<T, LineError>,
    ) -> Result<T, LineError> {
        self.dragging = false;
        let Some(document) = self.document.as_mut() else { return Err(LineError::NoSegments) };
        let result = verb(document);
        if result.is_ok() {
            self.changed();
        }
        result
    }

    /// Splits the segment under a time and selects its second half.
    ///
    /// # Errors
    /// Too near an end of the segment.
    pub fn split(&mut self, time: Seconds) -> Result<(), LineError> {
        self.with(|d| d.split_at(time))?;
        self.select_at(time);
        Ok(())
    }

    /// Moves the start (or the end) of the selected segment by a span.
    ///
    /// # Errors
    /// Nothing is selected, or that end is an end of the line.
    pub fn nudge(&mut self, end: bool, by: Seconds) -> Result<(), LineError> {
        let index = self.selected_index()? + usize::from(end);
        let at = self
            .line()
            .and_then(|l| l.segments().get(index))
            .map(|s| s.start)
            .ok_or(LineError::NoSuchSegment { index, count: 0 })?;
        self.with(|d| d.move_boundary(index, at + by)).map(|_| ())
    }

    /// Sets a key of the expression lane; one at the same time gives way.
    ///
    /// # Errors
    /// As [`Document::set_expression`].
    pub fn set_look(&mut self, key: ExpressionKey) -> Result<(), LineError> {
        self.with(|d| d.set_expression(key)).map(|_| ())
    }

    /// Takes a key of the expression lane away.
    ///
    /// # Errors
    /// There is no such key.
    pub fn delete_look(&mut self, index: usize) -> Result<(), LineError> {
        self.with(|d| d.delete_expression(index)).map(|_| ())
    }

    /// Puts what the voice suggests beside the expression lane.
    ///
    /// # Errors
    /// As [`Document::suggest`].
    pub fn suggest(&mut self, list: Vec<Suggestion>) -> Result<(), LineError> {
        self.with(|d| d.suggest(list)).map(|_| ())
    }

    /// Takes a suggested look into the expression lane.
    ///
    /// # Errors
    /// There is no such suggestion.
    pub fn take_suggestion(&mut self, index: usize) -> Result<(), LineError> {
        self.with(|d| d.take_suggestion(index)).map(|_| ())
    }

    /// Forgets a suggested look.
    ///
    /// # Errors
    /// There is no such suggestion.
    pub fn dismiss_suggestion(&mut self, index: usize) -> Result<(), LineError> {
        self.with(|d| d.dismiss_suggestion(index)).map(|_| ())
    }

    /// Moves a key of the expression lane in time, past others where need be.
    ///
    /// # Errors
    /// There is no such key, the time lies outside the line, or another key is there already.
    pub fn move_look(&mut self, index: usize, time: Seconds) -> Result<(), LineError> {
        let mut keys = self.line().map(|l| l.expressions().to_vec()).unwrap_or_default();
        let count = keys.len();
        keys.get_mut(index).ok_or(LineError::NoSuchExpression { index, count })?.time = time;
        keys.sort_by(|a, b| a.time.value().total_cmp(&b.time.value()));
        self.with(|d| d.replace_expressions(keys)).map(|_| ())
    }

    pub(super) fn selected_index(&self) -> Result<usize, LineError> {
        self.selected.ok_or(LineError::NoSuchSegment { index: 0, count: 0 })
    }

    /// Drags a boundary: each call replaces the one before, so that a whole drag is one step. `ripple`
    /// takes the following segments of the word or phrase along.
    ///
    /// # Errors
    /// As [`Document::move_boundary`] and [`Document::ripple_boundary`].
    pub fn drag_boundary(&mut self, index: usize, time: Seconds, ripple: bool) -> Result<(), LineError> {
        let Some(document) = self.document.as_mut() else { return Err(LineError::NoSegments) };
        if self.dragging {
            document.undo();
        }
        let depth = document.depth();
        let result = if ripple {
            let last = phrase_end(document.line(), index);
            document.ripple_boundary(index, time, last)
        } else {
            document.move_boundary(index, time)
        };
        self.dragging = document.depth() > depth;
        self.changed();
        result.map(|_| ())
    }

    /// Ends a drag; the boundary stays.
    pub fn end_drag(&mut self) {
        self.dragging = false;
    }

    /// Gives a drag up; the boundary goes back.
    pub fn cancel_drag(&mut self) {
        if self.dragging {
            self.dragging = false;
            if let Some(document) = self.document.as_mut() {
                document.undo();
            }
            self.changed();
        }
    }

    /// Takes the last step back, and selects what it touched.
    pub fn undo(&mut self) {
        self.dragging = false;
        let span = self.document.as_mut().and_then(Document::undo);
        self.show(span.map(|(_, span)| span));
    }

    /// Does the last undone step again, and selects what it touched.
    pub fn redo(&mut self) {
        self.dragging = false;
        let span = self.document.as_mut().and_then(Document::redo);
        self.show(span.map(|(_, span)| span));
    }

    fn show(&mut self, span: Option<(Seconds, Seconds)>) {
        if let Some((start, end)) = span {
            self.changed();
            if end <= start {
                return;
            }
            // A step over the whole line selects nothing in particular.
            let whole = self.line().is_some_and(|l| end - start >= l.duration());
            if !whole && self.selected.is_some() {
                self.select_at((start + end) / 2.0);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::phonetics::MouthShape;

    fn take() -> Take {
        let mut take = Take::new("Test", "test.wav", Origin::Beside("test.wav".into()), "");
        take.edit(Line::silent(Seconds::new(1.0)).expect("valid"));
        take.split(Seconds::new(0.5)).expect("room");
        take.select_at(Seconds::new(0.7));
        take
    }

    #[test]
    fn a_drag_is_one_step_however_many_moves_it_has() {
        let mut take = take();
        let depth = take.document.as_ref().map(Document::depth);
        for t in [0.52, 0.6, 0.66] {
            take.drag_boundary(1, Seconds::new(t), false).expect("room");
        }
        take.end_drag();
        assert_eq!(take.line().expect("line").segments()[1].start, Seconds::new(0.66));
        assert_eq!(take.document.as_ref().map(Document::depth), depth.map(|d| d + 1));
        take.undo();
        assert_eq!(take.line().expect("line").segments()[1].start, Seconds::new(0.5));
    }

    #[test]
    fn a_drag_given_up_leaves_nothing() {
        let mut take = take();
        let before = take.line().cloned();
        take.drag_boundary(1, Seconds::new(0.9), false).expect("room");
        take.cancel_drag();
        assert_eq!(take.line().cloned(), before);
        // A drag back to where it began is no step at all.
        take.drag_boundary(1, Seconds::new(0.9), false).expect("room");
        take.drag_boundary(1, Seconds::new(0.5), false).expect("room");
        take.end_drag();
        assert_eq!(take.document.as_ref().map(Document::depth), Some(1));
    }

    #[test]
    fn the_score_before_is_that_of_the_first_plan_for_the_rig() {
        let (one, other) = (Arc::new("one".to_owned()), Arc::new("other".to_owned()));
        let mut take = Take::new("Test", "test.wav", Origin::Beside("test.wav".into()), "");
        take.edit(Line::silent(Seconds::new(1.0)).expect("valid"));
        take.scored(70.0, &one);
        take.scored(72.0, &one);
        assert_eq!(take.scores(), Some((72.0, 72.0)), "nothing edited yet");
        take.split(Seconds::new(0.5)).expect("room");
        take.scored(80.0, &one);
        assert_eq!(take.scores(), Some((72.0, 80.0)));
        take.scored(60.0, &other);
        take.scored(65.0, &other);
        assert_eq!(take.scores(), Some((60.0, 65.0)), "another head has another measure");
    }

    #[test]
    fn selection_follows_the_edits() {
        let mut take = take();
        take.split(Seconds::new(0.25)).expect("room");
        take.select_at(Seconds::new(0.7));
        assert_eq!(take.selected, Some(2));
        take.replace(MouthShape::Open).expect("selected");
        take.delete().expect("selected");
        assert_eq!(take.selected, Some(1));
        take.step_selection(5);
        assert_eq!(take.selected, Some(1));
        take.undo();
        assert_eq!(take.selection().map(|s| s.shape), Some(MouthShape::Open));
        take.selected = None;
        assert!(take.replace(MouthShape::Rest).is_err(), "nothing is selected");
    }

    #[test]
    fn looks_are_set_moved_past_each_other_and_undone() {
        use lipwright_core::rig::Expression;
        let mut take = take();
        let key = |t: f64, e| ExpressionKey::new(Seconds::new(t), e);
        take.set_look(key(0.2, Expression::Smile)).expect("inside");
        take.set_look(key(0.6, Expression::Neutral)).expect("inside");
        take.move_look(0, Seconds::new(0.8)).expect("inside");
        let looks = |t: &Take| {
            t.line().expect("a line").expressions().iter().map(|k| k.expression).collect::<Vec<_>>()
        };
        assert_eq!(looks(&take), [Expression::Neutral, Expression::Smile]);
        assert!(take.move_look(0, Seconds::new(0.8)).is_err(), "one at a time");
        assert!(
            take.move_look(5, Seconds::new(0.1)).is_err()
                && take.set_look(key(9.0, Expression::Frown)).is_err()
        );
        take.undo();
        assert_eq!(looks(&take), [Expression::Smile, Expression::Neutral]);
        take.delete_look(0).expect("there");
        assert_eq!(looks(&take), [Expression::Neutral]);
    }

    #[test]
    fn nudging_moves_either_end() {
        let mut take = take();
        take.nudge(false, Seconds::new(-0.02)).expect("room");
        assert!((take.selection().expect("selected").start.value() - 0.48).abs() < 1e-12);
        assert!(take.nudge(true, Seconds::new(0.02)).is_err(), "the end of the line is fixed");
    }
}
