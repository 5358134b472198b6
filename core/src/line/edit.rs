//! The verbs: what a person can do to a line.
//!
//! Every verb is one [`Splice`]: runs replaced by others, the segments' by one that covers the same
//! time. That is what makes undo small and exact.

use super::splice::Splice;
use super::{Event, ExpressionKey, Line, LineError, Marker, Segment, Suggestion};
use crate::phonetics::MouthShape;
use crate::recognise::Hearing;
use crate::units::Seconds;

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
        Splice::new(self, at, count, inserted)
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
        Splice::nothing().with_expressions(self, keys)
    }

    /// Other events.
    pub(super) fn replace_events(&self, events: Vec<Event>) -> Splice {
        Splice::nothing().with_events(self, events)
    }

    /// Another expression lane and other events.
    pub(super) fn replace_looks(&self, keys: Vec<ExpressionKey>, events: Vec<Event>) -> Splice {
        self.replace_expressions(keys).with_events(self, events)
    }

    /// Other markers.
    pub(super) fn replace_markers(&self, markers: Vec<Marker>) -> Splice {
        Splice::nothing().with_markers(self, markers)
    }

    /// Other suggested looks.
    pub(super) fn replace_suggestions(&self, list: Vec<Suggestion>) -> Splice {
        Splice::nothing().with_suggestions(self, list)
    }

    /// Suggestion `index` goes; with `take`, into the expression lane or among the events.
    pub(super) fn settle_suggestion(&self, index: usize, take: bool) -> Result<Splice, LineError> {
        let (rest, settled) = self.without_suggestion(index)?;
        let splice = self.replace_suggestions(rest);
        Ok(match settled.event {
            _ if !take => splice,
            Some(kind) => splice.with_events(self, self.with_event(Event { time: settled.look.time, kind })?),
            None => splice.with_expressions(self, self.with_suggestion(&settled)),
        })
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
        Ok(self.splice(0, self.segments.len(), fresh.segments).with_words(self, fresh.words))
    }
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
