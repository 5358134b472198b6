//! The verbs: what a person can do to a line.
//!
//! Every verb is one [`Splice`]: a run of segments replaced by another run that covers the same
//! time. That is what makes undo small and exact.

use super::{Event, ExpressionKey, Line, LineError, Marker, Segment, Suggestion};
use crate::phonetics::MouthShape;
use crate::recognise::{HeardWord, Hearing};
use crate::units::Seconds;

/// A run of segments replaced by another that covers the same time.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Splice {
    at: usize,
    removed: Vec<Segment>,
    inserted: Vec<Segment>,
    /// The word list before and after, where the edit changed it.
    pub(super) words: Option<(Vec<HeardWord>, Vec<HeardWord>)>,
    /// The expression lane before and after, where the edit changed it.
    pub(super) expressions: Option<(Vec<ExpressionKey>, Vec<ExpressionKey>)>,
    /// The events before and after, where the edit changed them.
    events: Option<(Vec<Event>, Vec<Event>)>,
    /// The markers before and after, where the edit changed them.
    markers: Option<(Vec<Marker>, Vec<Marker>)>,
    /// The suggested looks before and after, where the edit changed them.
    suggestions: Option<(Vec<Suggestion>, Vec<Suggestion>)>,
}

impl Splice {
    pub(super) fn apply(&self, line: &mut Line) {
        line.segments.splice(self.at..self.at + self.removed.len(), self.inserted.iter().cloned());
        if let Some((_, after)) = &self.words {
            line.words.clone_from(after);
        }
        if let Some((_, after)) = &self.expressions {
            line.expressions.clone_from(after);
        }
        if let Some((_, after)) = &self.events {
            line.events.clone_from(after);
        }
        if let Some((_, after)) = &self.markers {
            line.markers.clone_from(after);
        }
        if let Some((_, after)) = &self.suggestions {
            line.suggestions.clone_from(after);
        }
    }

    pub(super) fn revert(&self, line: &mut Line) {
        line.segments.splice(self.at..self.at + self.inserted.len(), self.removed.iter().cloned());
        if let Some((before, _)) = &self.words {
            line.words.clone_from(before);
        }
        if let Some((before, _)) = &self.expressions {
            line.expressions.clone_from(before);
        }
        if let Some((before, _)) = &self.events {
            line.events.clone_from(before);
        }
        if let Some((before, _)) = &self.markers {
            line.markers.clone_from(before);
        }
        if let Some((before, _)) = &self.suggestions {
            line.suggestions.clone_from(before);
        }
    }

    /// Time that the edit touched.
    pub(super) fn span(&self) -> (Seconds, Seconds) {
        let lane = self.expressions.as_ref().filter(|(a, b)| a != b).map(|(a, b)| lane_span(a, b));
        let events = self.events.as_ref().and_then(|(a, b)| super::events_span(a, b));
        match (lane, events) {
            (Some(a), Some(b)) => return (a.0.min(b.0), a.1.max(b.1)),
            (Some(span), None) | (None, Some(span)) => return span,
            (None, None) => {}
        }
        match (self.removed.first(), self.removed.last()) {
            (Some(first), Some(last)) => (first.start, last.end),
            _ => (Seconds::ZERO, Seconds::ZERO),
        }
    }

    /// True where nothing would change.
    pub(super) fn is_nothing(&self) -> bool {
        self.removed == self.inserted
            && self.words.as_ref().is_none_or(|(a, b)| a == b)
            && self.expressions.as_ref().is_none_or(|(a, b)| a == b)
            && self.events.as_ref().is_none_or(|(a, b)| a == b)
            && self.markers.as_ref().is_none_or(|(a, b)| a == b)
            && self.suggestions.as_ref().is_none_or(|(a, b)| a == b)
    }
}

pub(super) fn decided(segment: &Segment) -> Segment {
    Segment { by_hand: true, ..segment.clone() }
}

impl Line {
    fn index_checked(&self, index: usize) -> Result<&Segment, LineError> {
        self.segments.get(index).ok_or(LineError::NoSuchSegment { index, count: self.segments.len() })
    }

    pub(super) fn time_checked(&self, time: Seconds) -> Result<Seconds, LineError> {
        // Written so that NaN fails too.
        if time >= Seconds::ZERO && time <= self.duration {
            Ok(time)
        } else {
            Err(LineError::NoSuchTime { time, duration: self.duration })
        }
    }

    pub(super) fn splice(&self, at: usize, count: usize, inserted: Vec<Segment>) -> Splice {
        Splice {
            at,
            removed: self.segments[at..at + count].to_vec(),
            inserted,
            words: None,
            expressions: None,
            events: None,
            markers: None,
            suggestions: None,
        }
    }

    /// Moves the boundary at the start of segment `index` to `time`, clamped so that both
    /// neighbours keep the minimum length.
    pub(super) fn move_boundary(&self, index: usize, time: Seconds) -> Result<Splice, LineError> {
        let after = self.index_checked(index)?;
        if index == 0 {
            return Err(LineError::NoSuchSegment { index: 0, count: self.segments.len() });
        }
        if time.value().is_nan() {
            return Err(LineError::NoSuchTime { time, duration: self.duration });
        }
        let before = &self.segments[index - 1];
        let low = before.start + Segment::MIN_LENGTH;
        let high = after.end - Segment::MIN_LENGTH;
        if high < low {
            return Err(LineError::NoRoom { what: "move the boundary", at: after.start });
        }
        let time = time.max(low).min(high);
        if time == after.start {
            return Ok(self.splice(index - 1, 2, vec![before.clone(), after.clone()]));
        }
        let moved = vec![Segment { end: time, ..decided(before) }, Segment { start: time, ..decided(after) }];
        Ok(self.splice(index - 1, 2, moved))
    }

    /// Gives segment `index` another shape.
    pub(super) fn replace_shape(&self, index: usize, shape: MouthShape) -> Result<Splice, LineError> {
        let old = self.index_checked(index)?;
        let new = Segment { shape, glide: None, phone: None, confidence: 1.0, ..decided(old) };
        Ok(self.splice(index, 1, vec![new]))
    }

    /// Splits the segment that holds `time` into two of the same shape.
    pub(super) fn split_at(&self, time: Seconds) -> Result<Splice, LineError> {
        let time = self.time_checked(time)?;
        let index = self.segment_at(time);
        let old = &self.segments[index];
        if time - old.start < Segment::MIN_LENGTH || old.end - time < Segment::MIN_LENGTH {
            return Err(LineError::NoRoom { what: "split", at: time });
        }
        // A diphthong's glide belongs to its end.
        let first = Segment { end: time, glide: None, ..decided(old) };
        let second = Segment { start: time, shape: old.shape, ..decided(old) };
        Ok(self.splice(index, 1, vec![first, second]))
    }

    /// Merges segment `index` with the one after it; the first one's shape stays.
    pub(super) fn merge_with_next(&self, index: usize) -> Result<Splice, LineError> {
        let first = self.index_checked(index)?;
        let second = self.index_checked(index + 1)?;
        let merged = Segment { end: second.end, ..decided(first) };
        Ok(self.splice(index, 2, vec![merged]))
    }

    /// Deletes segment `index`: its neighbours share its time, half each; neighbours of one shape
    /// become one segment. The only segment of a line becomes rest instead.
    pub(super) fn delete(&self, index: usize) -> Result<Splice, LineError> {
        let gone = self.index_checked(index)?;
        let before = index.checked_sub(1).map(|i| &self.segments[i]);
        let after = self.segments.get(index + 1);
        Ok(match (before, after) {
            (None, None) => return self.replace_shape(index, MouthShape::Rest),
            (Some(b), None) => self.splice(index - 1, 2, vec![Segment { end: gone.end, ..decided(b) }]),
            (None, Some(a)) => self.splice(index, 2, vec![Segment { start: gone.start, ..decided(a) }]),
            (Some(b), Some(a)) if b.shape == a.shape && b.glide.is_none() => {
                self.splice(index - 1, 3, vec![Segment { end: a.end, glide: a.glide, ..decided(b) }])
            }
            (Some(b), Some(a)) => {
                let middle = (gone.start + gone.end) / 2.0;
                let pair =
                    vec![Segment { end: middle, ..decided(b) }, Segment { start: middle, ..decided(a) }];
                self.splice(index - 1, 3, pair)
            }
        })
    }

    /// Sets how much of its shape segment `index` makes.
    pub(super) fn set_strength(&self, index: usize, strength: f64) -> Result<Splice, LineError> {
        let old = self.index_checked(index)?;
        if !(0.0..=Segment::MAX_STRENGTH).contains(&strength) {
            return Err(LineError::Strength(strength));
        }
        Ok(self.splice(index, 1, vec![Segment { strength, ..decided(old) }]))
    }

    /// Writes one shape over `start..end`, trimming and replacing whatever was there. Slivers that
    /// would be shorter than the minimum are swallowed.
    pub(super) fn paint(&self, start: Seconds, end: Seconds, shape: MouthShape) -> Result<Splice, LineError> {
        let painted = decided(&Segment::new(self.time_checked(start)?, self.time_checked(end)?, shape));
        let (at, count, inserted) = overlay(&self.segments, painted, self.duration)?;
        Ok(self.splice(at, count, inserted))
    }

    /// Another expression lane.
    pub(super) fn replace_expressions(&self, keys: Vec<ExpressionKey>) -> Splice {
        let mut splice = self.splice(0, 0, vec![]);
        splice.expressions = Some((self.expressions.clone(), keys));
        splice
    }

    /// Other events.
    pub(super) fn replace_events(&self, events: Vec<Event>) -> Splice {
        let mut splice = self.splice(0, 0, vec![]);
        splice.events = Some((self.events.clone(), events));
        splice
    }

    /// Another expression lane and other events.
    pub(super) fn replace_looks(&self, keys: Vec<ExpressionKey>, events: Vec<Event>) -> Splice {
        let mut splice = self.replace_expressions(keys);
        splice.events = Some((self.events.clone(), events));
        splice
    }

    /// Other markers.
    pub(super) fn replace_markers(&self, markers: Vec<Marker>) -> Splice {
        let mut splice = self.splice(0, 0, vec![]);
        splice.markers = Some((self.markers.clone(), markers));
        splice
    }

    /// Other suggested looks.
    pub(super) fn replace_suggestions(&self, list: Vec<Suggestion>) -> Splice {
        let mut splice = self.splice(0, 0, vec![]);
        splice.suggestions = Some((self.suggestions.clone(), list));
        splice
    }

    /// Suggestion `index` goes; with `take`, into the expression lane or among the events.
    pub(super) fn settle_suggestion(&self, index: usize, take: bool) -> Result<Splice, LineError> {
        let (rest, settled) = self.without_suggestion(index)?;
        let mut splice = self.replace_suggestions(rest);
        if let Some(kind) = settled.event.filter(|_| take) {
            splice.events =
                Some((self.events.clone(), self.with_event(Event { time: settled.look.time, kind })?));
        } else if take {
            splice.expressions = Some((self.expressions.clone(), self.with_suggestion(&settled)));
        }
        Ok(splice)
    }

    /// Takes a new hearing of the same recording, keeping what a person decided.
    pub(super) fn adopt(&self, hearing: &Hearing) -> Result<Splice, LineError> {
        let mut fresh = Line::from_hearing(hearing)?;
        if (fresh.duration - self.duration).abs() > Segment::MIN_LENGTH {
            return Err(LineError::Duration(fresh.duration));
        }
        fresh.duration = self.duration;
        if let Some(last) = fresh.segments.last_mut() {
            last.end = self.duration;
        }
        for kept in self.segments.iter().filter(|s| s.by_hand || s.locked) {
            let (at, count, inserted) = overlay(&fresh.segments, kept.clone(), self.duration)?;
            fresh.segments.splice(at..at + count, inserted);
        }
        fresh.check()?;
        let mut splice = self.splice(0, self.segments.len(), fresh.segments);
        splice.words = Some((self.words.clone(), fresh.words));
        Ok(splice)
    }
}

/// Times between which two lanes can differ: from the key before the first difference to the key after
/// the last; without one there, to the end of the line.
pub(crate) fn lane_span(before: &[ExpressionKey], after: &[ExpressionKey]) -> (Seconds, Seconds) {
    let same = before.iter().zip(after).take_while(|(a, b)| a == b).count();
    let most = before.len().min(after.len()) - same;
    let behind = before.iter().rev().zip(after.iter().rev()).take(most).take_while(|(a, b)| a == b).count();
    let start = same.checked_sub(1).map_or(Seconds::ZERO, |i| before[i].time);
    let end = if behind == 0 { Seconds::new(f64::MAX) } else { before[before.len() - behind].time };
    (start, end)
}

/// Where `over` lands in `segments`: the first index replaced, how many, and by what.
pub(super) fn overlay(
    segments: &[Segment],
    mut over: Segment,
    duration: Seconds,
) -> Result<(usize, usize, Vec<Segment>), LineError> {
    let min = Segment::MIN_LENGTH;
    if over.end - over.start < min - Seconds::new(super::LENGTH_SLACK) {
        return Err(LineError::NoRoom { what: "paint a shape", at: over.start });
    }
    let first = segments.partition_point(|s| s.end <= over.start).min(segments.len() - 1);
    let last = segments.partition_point(|s| s.end < over.end).min(segments.len() - 1);
    let head = &segments[first];
    let tail = &segments[last];
    let mut inserted = Vec::with_capacity(3);
    if over.start - head.start >= min {
        inserted.push(Segment { end: over.start, glide: None, ..head.clone() });
    } else {
        over.start = head.start;
    }
    let rest = if tail.end - over.end >= min {
        Some(Segment { start: over.end, ..tail.clone() })
    } else {
        over.end = if last + 1 == segments.len() { duration } else { tail.end };
        None
    };
    inserted.push(over);
    inserted.extend(rest);
    Ok((first, last + 1 - first, inserted))
}
