//! A line with undo and redo without end.

use super::splice::Splice;
use super::{ExpressionKey, Line, LineError, Marker, Segment, Step, Suggestion};
use crate::phonetics::MouthShape;
use crate::recognise::Hearing;
use crate::units::Seconds;
use std::ops::Range;

/// A line under edit.
///
/// Every verb either changes the line, drops what could be redone and returns the time span it
/// touched, or returns an error and changes nothing. An edit that would change nothing leaves no
/// step behind.
#[derive(Clone, Debug)]
pub struct Document {
    line: Line,
    done: Vec<(Step, Splice)>,
    undone: Vec<(Step, Splice)>,
}

/// The stretch of line time that an edit touched.
pub type Span = (Seconds, Seconds);

impl Document {
    /// Starts editing a line; nothing can be undone yet.
    #[must_use]
    pub fn new(line: Line) -> Self {
        Self { line, done: Vec::new(), undone: Vec::new() }
    }

    /// The line as it stands.
    #[must_use]
    pub fn line(&self) -> &Line {
        &self.line
    }

    /// The step that [`Document::undo`] would take back.
    #[must_use]
    pub fn can_undo(&self) -> Option<Step> {
        self.done.last().map(|(step, _)| *step)
    }

    /// The step that [`Document::redo`] would do again.
    #[must_use]
    pub fn can_redo(&self) -> Option<Step> {
        self.undone.last().map(|(step, _)| *step)
    }

    /// Number of steps that can be undone.
    #[must_use]
    pub fn depth(&self) -> usize {
        self.done.len()
    }

    pub(super) fn commit(&mut self, step: Step, splice: Splice) -> Span {
        let span = self.inside(splice.span());
        if !splice.is_nothing() {
            splice.apply(&mut self.line);
            debug_assert_eq!(self.line.check(), Ok(()), "after {step}");
            self.done.push((step, splice));
            self.undone.clear();
        }
        span
    }

    /// A span that reaches to the end of the line says so with its length.
    fn inside(&self, (start, end): Span) -> Span {
        (start, end.min(self.line.duration()))
    }

    /// Takes the last step back; the step and the time it touched, or `None` at the start.
    pub fn undo(&mut self) -> Option<(Step, Span)> {
        let (step, splice) = self.done.pop()?;
        splice.revert(&mut self.line);
        let span = self.inside(splice.span());
        self.undone.push((step, splice));
        Some((step, span))
    }

    /// Does the last undone step again, or `None` where there is none.
    pub fn redo(&mut self) -> Option<(Step, Span)> {
        let (step, splice) = self.undone.pop()?;
        splice.apply(&mut self.line);
        let span = self.inside(splice.span());
        self.done.push((step, splice));
        Some((step, span))
    }

    /// Moves the boundary at the start of segment `index` (1 or more) to `time`, as far as both
    /// neighbours keep the minimum length.
    ///
    /// # Errors
    /// No such boundary, not a time, or no room at all.
    pub fn move_boundary(&mut self, index: usize, time: Seconds) -> Result<Span, LineError> {
        let splice = self.line.move_boundary(index, time)?;
        Ok(self.commit(Step::MoveBoundary, splice))
    }

    /// Gives segment `index` another shape.
    ///
    /// # Errors
    /// No such segment.
    pub fn replace_shape(&mut self, index: usize, shape: MouthShape) -> Result<Span, LineError> {
        let splice = self.line.replace_shape(index, shape)?;
        Ok(self.commit(Step::ReplaceShape(shape), splice))
    }

    /// Splits the segment that holds `time`.
    ///
    /// # Errors
    /// Outside the line, or too near an end of the segment.
    pub fn split_at(&mut self, time: Seconds) -> Result<Span, LineError> {
        let splice = self.line.split_at(time)?;
        Ok(self.commit(Step::Split, splice))
    }

    /// Merges segment `index` with the one after it; the first one's shape stays.
    ///
    /// # Errors
    /// No such pair.
    pub fn merge_with_next(&mut self, index: usize) -> Result<Span, LineError> {
        let splice = self.line.merge_with_next(index)?;
        Ok(self.commit(Step::Merge, splice))
    }

    /// Deletes segment `index`; its neighbours share its time.
    ///
    /// # Errors
    /// No such segment.
    pub fn delete(&mut self, index: usize) -> Result<Span, LineError> {
        let splice = self.line.delete(index)?;
        Ok(self.commit(Step::Delete, splice))
    }

    /// Sets how much of its shape segment `index` makes: 0 nothing, 1 the rig's pose.
    ///
    /// # Errors
    /// No such segment, or a strength outside its range.
    pub fn set_strength(&mut self, index: usize, strength: f64) -> Result<Span, LineError> {
        let splice = self.line.set_strength(index, strength)?;
        Ok(self.commit(Step::Strength, splice))
    }

    /// Writes a shape over a stretch of time.
    ///
    /// # Errors
    /// Outside the line, or shorter than the minimum.
    pub fn paint(&mut self, start: Seconds, end: Seconds, shape: MouthShape) -> Result<Span, LineError> {
        let splice = self.line.paint(start, end, shape)?;
        Ok(self.commit(Step::Paint(shape), splice))
    }

    /// Takes a new hearing of the same recording; segments that a person decided stay.
    ///
    /// # Errors
    /// The hearing is of another length, or breaks an invariant.
    pub fn adopt(&mut self, hearing: &Hearing) -> Result<Span, LineError> {
        let splice = self.line.adopt(hearing)?;
        Ok(self.commit(Step::Listen, splice))
    }

    /// Sets a key of the expression lane; one at the same time (to a millisecond) gives way.
    ///
    /// # Errors
    /// A time outside the line, an amount or a value outside its range.
    pub fn set_expression(&mut self, key: ExpressionKey) -> Result<Span, LineError> {
        let keys = self.line.with_expression(key)?;
        Ok(self.commit(Step::SetExpression, self.line.replace_expressions(keys)))
    }

    /// Deletes key `index` of the expression lane.
    ///
    /// # Errors
    /// No such key.
    pub fn delete_expression(&mut self, index: usize) -> Result<Span, LineError> {
        let keys = self.line.without_expression(index)?;
        Ok(self.commit(Step::DeleteExpression, self.line.replace_expressions(keys)))
    }

    /// Replaces the whole expression lane in one step: a suggestion taken, a key dragged.
    ///
    /// # Errors
    /// Keys out of order, outside the line or out of range.
    pub fn replace_expressions(&mut self, keys: Vec<ExpressionKey>) -> Result<Span, LineError> {
        let mut checked = self.line.clone();
        checked.set_expressions(keys)?;
        let splice = self.line.replace_expressions(checked.expressions().to_vec());
        Ok(self.commit(Step::ReplaceExpressions, splice))
    }

    /// Puts suggested looks beside the lane, in place of those that are there.
    ///
    /// # Errors
    /// Suggestions out of order, outside the line or out of range.
    pub fn suggest(&mut self, list: Vec<Suggestion>) -> Result<Span, LineError> {
        self.line.check_suggestions(&list)?;
        Ok(self.commit(Step::Suggest, self.line.replace_suggestions(list)))
    }

    /// Takes suggested look `index` into the expression lane.
    ///
    /// # Errors
    /// No such suggestion.
    pub fn take_suggestion(&mut self, index: usize) -> Result<Span, LineError> {
        let splice = self.line.settle_suggestion(index, true)?;
        Ok(self.commit(Step::TakeSuggestion, splice))
    }

    /// Forgets suggested look `index`.
    ///
    /// # Errors
    /// No such suggestion.
    pub fn dismiss_suggestion(&mut self, index: usize) -> Result<Span, LineError> {
        let splice = self.line.settle_suggestion(index, false)?;
        Ok(self.commit(Step::DismissSuggestion, splice))
    }

    /// Moves the boundary at the start of segment `index` (1 or more) to `time` and the segments after
    /// it, up to and with `last`, along with it: they keep their lengths, and the segment after them
    /// gives or takes the time. The last segment of a line stays where it ends and gives of its own.
    ///
    /// # Errors
    /// No such boundary, `last` before it, not a time, or no room at all.
    pub fn ripple_boundary(&mut self, index: usize, time: Seconds, last: usize) -> Result<Span, LineError> {
        let splice = self.line.ripple_boundary(index, time, last)?;
        Ok(self.commit(Step::Ripple, splice))
    }

    /// Gives a run of segments one shape.
    ///
    /// # Errors
    /// No such run.
    pub fn replace_shapes(&mut self, run: Range<usize>, shape: MouthShape) -> Result<Span, LineError> {
        let count = run.len();
        let splice = self.line.replace_shapes(run, shape)?;
        let step = if count == 1 { Step::ReplaceShape(shape) } else { Step::ReplaceShapes(count) };
        Ok(self.commit(step, splice))
    }

    /// Deletes a run of segments; the neighbours share its time.
    ///
    /// # Errors
    /// No such run.
    pub fn delete_run(&mut self, run: Range<usize>) -> Result<Span, LineError> {
        let count = run.len();
        let splice = self.line.delete_run(run)?;
        Ok(self.commit(if count == 1 { Step::Delete } else { Step::DeleteRun(count) }, splice))
    }

    /// Makes one segment of a run; the first one's shape stays.
    ///
    /// # Errors
    /// No such run, or a run of one.
    pub fn merge_run(&mut self, run: Range<usize>) -> Result<Span, LineError> {
        let splice = self.line.merge_run(run)?;
        Ok(self.commit(Step::Merge, splice))
    }

    /// Changes the strength of every segment of a run; results are kept in 0..=[`Segment::MAX_STRENGTH`].
    ///
    /// # Errors
    /// No such run, or a change that gives no number.
    pub fn set_strengths(
        &mut self,
        run: Range<usize>,
        change: impl Fn(f64) -> f64,
    ) -> Result<Span, LineError> {
        let count = run.len();
        let splice = self.line.set_strengths(run, change)?;
        Ok(self.commit(if count == 1 { Step::Strength } else { Step::Strengths(count) }, splice))
    }

    /// Locks or unlocks a run of segments: what is locked, no listening changes.
    ///
    /// # Errors
    /// No such run.
    pub fn set_locked(&mut self, run: Range<usize>, locked: bool) -> Result<Span, LineError> {
        let count = run.len();
        let splice = self.line.set_locked(run, locked)?;
        Ok(self.commit(if locked { Step::Lock(count) } else { Step::Unlock(count) }, splice))
    }

    /// Holds a run of segments, or lets go: what is held keeps its shape from its start to its end.
    ///
    /// # Errors
    /// No such run.
    pub fn set_held(&mut self, run: Range<usize>, held: bool) -> Result<Span, LineError> {
        let count = run.len();
        let splice = self.line.set_held(run, held)?;
        Ok(self.commit(if held { Step::Hold(count) } else { Step::LetGo(count) }, splice))
    }

    /// Writes copied segments over the line, the first one's start at `time`; what would reach beyond
    /// the end of the line is cut off.
    ///
    /// # Errors
    /// Nothing copied, outside the line, or no room for any of it.
    pub fn paste(&mut self, time: Seconds, copied: &[Segment]) -> Result<Span, LineError> {
        let splice = self.line.paste(time, copied)?;
        Ok(self.commit(Step::Paste(copied.len()), splice))
    }

    /// Takes a new hearing of `start..end` alone, in the time of the line; hand edits inside are
    /// replaced, locked segments stay, and so does everything outside. `step` says why it was heard.
    ///
    /// # Errors
    /// A span outside the line, or a hearing that breaks an invariant.
    pub fn adopt_within(
        &mut self,
        hearing: &Hearing,
        (start, end): Span,
        step: Step,
    ) -> Result<Span, LineError> {
        let splice = self.line.adopt_within(hearing, start, end)?;
        Ok(self.commit(step, splice))
    }

    /// Sets a marker; one at the same time (to a millisecond) gets the new name.
    ///
    /// # Errors
    /// A time outside the line, or a name that is empty or too long.
    pub fn set_marker(&mut self, marker: Marker) -> Result<Span, LineError> {
        let markers = self.line.with_marker(marker)?;
        Ok(self.commit(Step::SetMarker, self.line.replace_markers(markers)))
    }

    /// Takes marker `index` away.
    ///
    /// # Errors
    /// No such marker.
    pub fn delete_marker(&mut self, index: usize) -> Result<Span, LineError> {
        let markers = self.line.without_marker(index)?;
        Ok(self.commit(Step::DeleteMarker, self.line.replace_markers(markers)))
    }
}
