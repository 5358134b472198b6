//! What an edit changed, kept for undo: only what differs, so that hours of editing a long line cost
//! kilobytes.

use super::{Event, ExpressionKey, Line, Marker, Segment, Suggestion, events_span};
use crate::recognise::HeardWord;
use crate::units::Seconds;

/// How many items two lists have in common at their beginning and, of the others, at their end.
pub(super) fn common<T: PartialEq>(before: &[T], after: &[T]) -> (usize, usize) {
    let same = before.iter().zip(after).take_while(|(a, b)| a == b).count();
    let most = before.len().min(after.len()) - same;
    let behind = before.iter().rev().zip(after.iter().rev()).take(most).take_while(|(a, b)| a == b).count();
    (same, behind)
}

/// A run of a list replaced by another.
#[derive(Clone, Debug, PartialEq)]
struct Change<T> {
    at: usize,
    // Boxed slices: a list that grew has room to spare, and a step is kept for good.
    removed: Box<[T]>,
    inserted: Box<[T]>,
}

impl<T> Default for Change<T> {
    fn default() -> Self {
        Self { at: 0, removed: Box::default(), inserted: Box::default() }
    }
}

impl<T: Clone + PartialEq> Change<T> {
    /// What leads from one list to another, without what both begin and end with.
    fn between(before: &[T], mut after: Vec<T>) -> Self {
        let (same, behind) = common(before, &after);
        after.truncate(after.len() - behind);
        Self { at: same, removed: before[same..before.len() - behind].into(), inserted: after[same..].into() }
    }

    fn apply(&self, list: &mut Vec<T>) {
        list.splice(self.at..self.at + self.removed.len(), self.inserted.iter().cloned());
    }

    fn revert(&self, list: &mut Vec<T>) {
        list.splice(self.at..self.at + self.inserted.len(), self.removed.iter().cloned());
    }

    fn is_nothing(&self) -> bool {
        self.removed.is_empty() && self.inserted.is_empty()
    }
}

/// What an edit changed beside the segments; most edits change none of it.
#[derive(Clone, Debug, Default, PartialEq)]
struct Beside {
    words: Change<HeardWord>,
    expressions: Change<ExpressionKey>,
    events: Change<Event>,
    markers: Change<Marker>,
    suggestions: Change<Suggestion>,
}

impl Beside {
    fn is_nothing(&self) -> bool {
        self.words.is_nothing()
            && self.expressions.is_nothing()
            && self.events.is_nothing()
            && self.markers.is_nothing()
            && self.suggestions.is_nothing()
    }
}

/// What an edit changes in a line. It applies to the line that it was made for, and reverts from the
/// line that it made.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Splice {
    /// Time that the edit touched.
    span: (Seconds, Seconds),
    segments: Change<Segment>,
    beside: Option<Box<Beside>>,
}

impl Splice {
    /// A run of segments replaced by another that covers the same time.
    pub(super) fn new(line: &Line, at: usize, count: usize, inserted: Vec<Segment>) -> Self {
        let removed = &line.segments[at..at + count];
        let span = match (removed.first(), removed.last()) {
            (Some(first), Some(last)) => (first.start, last.end),
            _ => (Seconds::ZERO, Seconds::ZERO),
        };
        let mut segments = Change::between(removed, inserted);
        segments.at += at;
        Self { span, segments, beside: None }
    }

    /// Nothing changes, yet.
    pub(super) fn nothing() -> Self {
        Self { span: (Seconds::ZERO, Seconds::ZERO), segments: Change::default(), beside: None }
    }

    fn change(mut self, make: impl FnOnce(&mut Beside)) -> Self {
        let mut beside = self.beside.take().unwrap_or_default();
        make(&mut beside);
        self.beside = Some(beside).filter(|b| !b.is_nothing());
        self
    }

    /// With other words.
    pub(super) fn with_words(self, line: &Line, words: Vec<HeardWord>) -> Self {
        self.change(|b| b.words = Change::between(&line.words, words))
    }

    /// With another expression lane. What it touches is then told by the looks, not by the segments.
    pub(super) fn with_expressions(mut self, line: &Line, keys: Vec<ExpressionKey>) -> Self {
        if line.expressions != keys {
            self.touches(lane_span(&line.expressions, &keys));
        }
        self.change(|b| b.expressions = Change::between(&line.expressions, keys))
    }

    /// With other events. What it touches is then told by them, not by the segments.
    pub(super) fn with_events(mut self, line: &Line, events: Vec<Event>) -> Self {
        if let Some(span) = events_span(&line.events, &events) {
            self.touches(span);
        }
        self.change(|b| b.events = Change::between(&line.events, events))
    }

    /// With other markers.
    pub(super) fn with_markers(self, line: &Line, markers: Vec<Marker>) -> Self {
        self.change(|b| b.markers = Change::between(&line.markers, markers))
    }

    /// With other suggested looks.
    pub(super) fn with_suggestions(self, line: &Line, list: Vec<Suggestion>) -> Self {
        self.change(|b| b.suggestions = Change::between(&line.suggestions, list))
    }

    /// Looks and events together touch what either does.
    fn touches(&mut self, span: (Seconds, Seconds)) {
        let has = |b: &Beside| !b.expressions.is_nothing() || !b.events.is_nothing();
        self.span = if self.beside.as_deref().is_some_and(has) {
            (self.span.0.min(span.0), self.span.1.max(span.1))
        } else {
            span
        };
    }

    pub(super) fn apply(&self, line: &mut Line) {
        self.segments.apply(&mut line.segments);
        if let Some(b) = &self.beside {
            b.words.apply(&mut line.words);
            b.expressions.apply(&mut line.expressions);
            b.events.apply(&mut line.events);
            b.markers.apply(&mut line.markers);
            b.suggestions.apply(&mut line.suggestions);
        }
    }

    pub(super) fn revert(&self, line: &mut Line) {
        self.segments.revert(&mut line.segments);
        if let Some(b) = &self.beside {
            b.words.revert(&mut line.words);
            b.expressions.revert(&mut line.expressions);
            b.events.revert(&mut line.events);
            b.markers.revert(&mut line.markers);
            b.suggestions.revert(&mut line.suggestions);
        }
    }

    /// Time that the edit touched.
    pub(super) fn span(&self) -> (Seconds, Seconds) {
        self.span
    }

    /// True where nothing would change.
    pub(super) fn is_nothing(&self) -> bool {
        self.segments.is_nothing() && self.beside.as_deref().is_none_or(Beside::is_nothing)
    }
}

/// Times between which two lanes can differ: from the key before the first difference to the key after
/// the last; without one there, to the end of the line.
pub(crate) fn lane_span(before: &[ExpressionKey], after: &[ExpressionKey]) -> (Seconds, Seconds) {
    let (same, behind) = common(before, after);
    let start = same.checked_sub(1).map_or(Seconds::ZERO, |i| before[i].time);
    let end = if behind == 0 { Seconds::new(f64::MAX) } else { before[before.len() - behind].time };
    (start, end)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Any two lists: the change leads there and back, and holds nothing that both begin or end with.
        #[test]
        fn a_change_leads_there_and_back(
            before in prop::collection::vec(0u8..3, 0..12),
            after in prop::collection::vec(0u8..3, 0..12),
        ) {
            let change = Change::between(&before, after.clone());
            prop_assert_eq!(change.is_nothing(), before == after);
            if let (Some(a), Some(b)) = (change.removed.first(), change.inserted.first()) {
                prop_assert_ne!(a, b);
            }
            if let (Some(a), Some(b)) = (change.removed.last(), change.inserted.last()) {
                prop_assert_ne!(a, b);
            }
            let mut list = before.clone();
            change.apply(&mut list);
            prop_assert_eq!(&list, &after);
            change.revert(&mut list);
            prop_assert_eq!(&list, &before);
        }
    }
}
