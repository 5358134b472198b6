//! A line with undo and redo without end.

use super::edit::Splice;
use super::{ExpressionKey, Line, LineError, Suggestion};
use crate::phonetics::MouthShape;
use crate::recognise::Hearing;
use crate::units::Seconds;
use std::fmt;

/// What an edit was, for the undo menu and for screen readers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// A boundary between two segments moved.
    MoveBoundary,
    /// A segment got another shape.
    ReplaceShape(MouthShape),
    /// A segment became two.
    Split,
    /// Two segments became one.
    Merge,
    /// A segment went.
    Delete,
    /// A segment does more or less of its shape.
    Strength,
    /// A shape was written over a stretch of time.
    Paint(MouthShape),
    /// The recording was listened to again.
    Listen,
    /// A key of the expression lane was set.
    SetExpression,
    /// A key of the expression lane went.
    DeleteExpression,
    /// The whole expression lane was replaced.
    ReplaceExpressions,
    /// Looks were suggested.
    Suggest,
    /// A suggested look was taken into the expression lane.
    TakeSuggestion,
    /// A suggested look was dismissed.
    DismissSuggestion,
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Step::MoveBoundary => f.write_str("move boundary"),
            Step::ReplaceShape(shape) => write!(f, "replace with {shape}"),
            Step::Split => f.write_str("split"),
            Step::Merge => f.write_str("merge"),
            Step::Delete => f.write_str("delete"),
            Step::Strength => f.write_str("change strength"),
            Step::Paint(shape) => write!(f, "paint {shape}"),
            Step::Listen => f.write_str("listen again"),
            Step::SetExpression => f.write_str("set expression"),
            Step::DeleteExpression => f.write_str("delete expression"),
            Step::ReplaceExpressions => f.write_str("replace expressions"),
            Step::Suggest => f.write_str("suggest looks"),
            Step::TakeSuggestion => f.write_str("take suggested look"),
            Step::DismissSuggestion => f.write_str("dismiss suggested look"),
        }
    }
}

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

    fn commit(&mut self, step: Step, splice: Splice) -> Span {
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
}

#[cfg(test)]
mod tests {
    use super::super::{Easing, Segment, lane_at};
    use super::*;
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
}
