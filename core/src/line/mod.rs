//! The editable document of one line: its segments, its script, and every edit that made them.
//!
//! A [`Line`] is plain state with verbs. Each verb either keeps all invariants or changes nothing
//! and says why. [`Document`] wraps a line with undo and redo without end; a step keeps what it changed
//! in each list, before and after, and nothing of what it left alone.

mod breaths;
mod document;
mod edit;
mod events;
mod expressions;
mod looks_copied;
mod many;
mod marker;
mod segment;
mod splice;
mod step;
mod suggestions;
mod syllables;
#[cfg(test)]
mod tests;

pub use document::Document;
pub(crate) use events::events_span;
pub use events::{Event, EventKind, Turn};
pub use expressions::{Easing, ExpressionKey, lane_at};
pub use looks_copied::CopiedLooks;
pub use marker::Marker;
pub use segment::Segment;
pub(crate) use splice::lane_span;
pub use step::Step;
pub use suggestions::{Suggestion, suggest, suggest_all, suggest_blinks};

use crate::phonetics::MouthShape;
use crate::recognise::{HeardWord, Hearing};
use crate::units::Seconds;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// One recording with its script and its mouth shapes.
///
/// What always holds: there is at least one segment; the first starts at 0 and the last ends at
/// [`Line::duration`]; each starts exactly where the one before it ends; none is shorter than
/// [`Segment::MIN_LENGTH`] (but for a whole line that is itself shorter); confidences lie in
/// 0..=1 and strengths in 0..=[`Segment::MAX_STRENGTH`]; keys of the expression lane lie inside the line
/// at rising times, and so do markers, events and suggested looks; every time is finite.
///
/// ```
/// use lipwright_core::line::Line;
/// use lipwright_core::phonetics::MouthShape;
/// use lipwright_core::units::Seconds;
///
/// let line = Line::silent(Seconds::new(2.0)).expect("two seconds is a valid length");
/// assert_eq!(line.segments().len(), 1);
/// assert_eq!(line.segments()[0].shape, MouthShape::Rest);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "RawLine")]
pub struct Line {
    #[serde(rename = "duration_s")]
    duration: Seconds,
    segments: Vec<Segment>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    words: Vec<HeardWord>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    expressions: Vec<ExpressionKey>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    events: Vec<Event>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    suggestions: Vec<Suggestion>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    markers: Vec<Marker>,
    /// Fields of other versions, kept as they are.
    #[serde(flatten)]
    other: Map<String, Value>,
}

/// A line as a file states it, before its invariants are checked.
#[derive(Deserialize)]
struct RawLine {
    #[serde(rename = "duration_s")]
    duration: Seconds,
    segments: Vec<Segment>,
    #[serde(default)]
    words: Vec<HeardWord>,
    #[serde(default)]
    expressions: Vec<ExpressionKey>,
    #[serde(default)]
    events: Vec<Event>,
    #[serde(default)]
    suggestions: Vec<Suggestion>,
    #[serde(default)]
    markers: Vec<Marker>,
    #[serde(flatten)]
    other: Map<String, Value>,
}

impl TryFrom<RawLine> for Line {
    type Error = LineError;
    fn try_from(raw: RawLine) -> Result<Self, LineError> {
        let mut line = Line::new(raw.duration, raw.segments)?;
        line.set_words(raw.words)?;
        line.set_expressions(raw.expressions)?;
        line.set_markers(raw.markers)?;
        line.set_events(raw.events)?;
        line.other = raw.other;
        line.check_suggestions(&raw.suggestions)?;
        line.suggestions = raw.suggestions;
        Ok(line)
    }
}

/// Why a line or an edit was refused. Nothing changes when one is returned.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LineError {
    /// The length of the line is not a positive finite time.
    #[error("line length {0}: must be a positive number of seconds; check the recording")]
    Duration(Seconds),
    /// There are no segments.
    #[error("a line needs at least one segment; listen to the recording again")]
    NoSegments,
    /// A segment breaks an invariant.
    #[error("segment {index} at {at:.3}: {problem}")]
    Segment {
        /// Position in the line, from 0.
        index: usize,
        /// Where the segment starts.
        at: Seconds,
        /// What is wrong and what would be right.
        problem: &'static str,
    },
    /// A word has impossible times.
    #[error("word {index} ('{text}'): starts and ends must be finite, in order and inside the line")]
    Word {
        /// Position in the word list, from 0.
        index: usize,
        /// The word.
        text: String,
    },
    /// A key of the expression lane that cannot be.
    #[error("expression {index} at {at:.3}: {problem}")]
    Expression {
        /// Position in the lane, from 0.
        index: usize,
        /// Its time.
        at: Seconds,
        /// What is wrong and what would be right.
        problem: &'static str,
    },
    /// A marker that cannot be.
    #[error("marker {index} at {at:.3}: {problem}")]
    Marker {
        /// Position among the markers, from 0.
        index: usize,
        /// Its time.
        at: Seconds,
        /// What is wrong and what would be right.
        problem: &'static str,
    },
    /// An edit names a marker that is not there.
    #[error("there is no marker {index}; the line has {count}")]
    NoSuchMarker {
        /// The index asked for.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// An edit names a key of the expression lane that is not there.
    #[error("there is no expression {index}; the lane has {count}")]
    NoSuchExpression {
        /// The index asked for.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// An event that cannot be.
    #[error("event {index} at {at:.3}: {problem}")]
    Event {
        /// Position among the events, from 0.
        index: usize,
        /// Its time.
        at: Seconds,
        /// What is wrong and what would be right.
        problem: &'static str,
    },
    /// An edit names an event that is not there.
    #[error("there is no event {index}; the line has {count}")]
    NoSuchEvent {
        /// The index asked for.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// Looks were to be copied where there are none.
    #[error("no looks and no events stand in that stretch: nothing to copy")]
    NoLooks,
    /// A suggested look that cannot be.
    #[error("suggestion {index} at {at:.3}: {problem}")]
    Suggestion {
        /// Position in the list, from 0.
        index: usize,
        /// Where it begins.
        at: Seconds,
        /// What is wrong and what would be right.
        problem: &'static str,
    },
    /// An edit names a suggestion that is not there.
    #[error("there is no suggestion {index}; the line has {count}")]
    NoSuchSuggestion {
        /// The index asked for.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// An edit names a segment that is not there.
    #[error("there is no segment {index}; the line has {count}")]
    NoSuchSegment {
        /// The index asked for.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// An edit names a time outside the line, or not a number.
    #[error("{time:.3} is outside the line (0 to {duration:.3})")]
    NoSuchTime {
        /// The time asked for.
        time: Seconds,
        /// The line's length.
        duration: Seconds,
    },
    /// There is no room for the edit.
    #[error("no room to {what} at {at:.3}: a segment keeps at least {min:.2}", min = Segment::MIN_LENGTH)]
    NoRoom {
        /// The edit, as a verb.
        what: &'static str,
        /// Where.
        at: Seconds,
    },
    /// A strength outside its range.
    #[error("strength {0} is outside 0 to {max}", max = Segment::MAX_STRENGTH)]
    Strength(f64),
}

/// Tolerance in the minimum length: files store decimal times, and 0.31 − 0.30 is a hair short
/// of 0.01 in binary.
const LENGTH_SLACK: f64 = 1e-9;

/// The first of some times that lies before the one before it.
fn first_late(times: impl Iterator<Item = Seconds>) -> Option<usize> {
    let mut last = Seconds::ZERO;
    times.enumerate().find(|(_, time)| *time < std::mem::replace(&mut last, *time)).map(|(index, _)| index)
}

impl Line {
    /// A line from segments that cover it.
    ///
    /// # Errors
    /// The first broken invariant, naming the segment.
    pub fn new(duration: Seconds, segments: Vec<Segment>) -> Result<Self, LineError> {
        if !(duration.is_finite() && duration > Seconds::ZERO) {
            return Err(LineError::Duration(duration));
        }
        let line = Self {
            duration,
            segments,
            words: Vec::new(),
            expressions: Vec::new(),
            events: Vec::new(),
            suggestions: Vec::new(),
            markers: Vec::new(),
            other: Map::new(),
        };
        line.check()?;
        Ok(line)
    }

    /// A line of one rest segment, as before anything was heard.
    ///
    /// # Errors
    /// [`LineError::Duration`] unless the length is positive and finite.
    pub fn silent(duration: Seconds) -> Result<Self, LineError> {
        let rest = Segment { confidence: 0.0, ..Segment::new(Seconds::ZERO, duration, MouthShape::Rest) };
        Self::new(duration, vec![rest])
    }

    /// A line as it was heard, with a breath at the end of each long pause.
    ///
    /// # Errors
    /// The first broken invariant (a [`Hearing`] from `recognise::listen` has none).
    pub fn from_hearing(hearing: &Hearing) -> Result<Self, LineError> {
        let segments = breaths::with_breaths(hearing.segments.iter().cloned().map(Segment::from).collect());
        let mut line = Self::new(hearing.duration, segments)?;
        line.set_words(hearing.words.clone())?;
        Ok(line)
    }

    /// Length of the recording.
    #[must_use]
    pub fn duration(&self) -> Seconds {
        self.duration
    }

    /// The segments, in order, without gap or overlap.
    #[must_use]
    pub fn segments(&self) -> &[Segment] {
        &self.segments
    }

    /// The script's words with their times; empty without a script.
    #[must_use]
    pub fn words(&self) -> &[HeardWord] {
        &self.words
    }

    /// Index of the segment that sounds at `time`: starts count, ends belong to the next. Times
    /// before the line give the first segment, times after it the last.
    #[must_use]
    pub fn segment_at(&self, time: Seconds) -> usize {
        self.segments.partition_point(|s| s.end <= time).min(self.segments.len() - 1)
    }

    fn set_words(&mut self, words: Vec<HeardWord>) -> Result<(), LineError> {
        let mut last = Seconds::ZERO;
        for (index, word) in words.iter().enumerate() {
            let good = word.start.is_finite()
                && word.end.is_finite()
                && word.start >= last
                && word.end >= word.start
                && word.end <= self.duration + Seconds::new(LENGTH_SLACK);
            if !good {
                return Err(LineError::Word { index, text: word.text.clone() });
            }
            last = word.start;
        }
        self.words = words;
        Ok(())
    }

    /// Checks every invariant; the first breach is the error.
    ///
    /// # Errors
    /// [`LineError::NoSegments`] or [`LineError::Segment`].
    pub fn check(&self) -> Result<(), LineError> {
        let (Some(first), Some(last)) = (self.segments.first(), self.segments.last()) else {
            return Err(LineError::NoSegments);
        };
        let fail = |index: usize, problem| {
            Err(LineError::Segment { index, at: self.segments[index].start, problem })
        };
        if first.start != Seconds::ZERO {
            return fail(0, "the first segment must start at 0");
        }
        if last.end != self.duration {
            return fail(self.segments.len() - 1, "the last segment must end where the line ends");
        }
        let min = Segment::MIN_LENGTH.min(self.duration) - Seconds::new(LENGTH_SLACK);
        for (index, segment) in self.segments.iter().enumerate() {
            if !(segment.start.is_finite() && segment.end.is_finite()) {
                return fail(index, "times must be finite numbers");
            }
            if index > 0 && segment.start != self.segments[index - 1].end {
                return fail(index, "must start exactly where the one before it ends");
            }
            if segment.length() < min {
                return fail(index, "is shorter than 0.01 s; merge it with a neighbour");
            }
            if !(0.0..=1.0).contains(&segment.confidence) {
                return fail(index, "confidence must lie in 0 to 1");
            }
            if !(0.0..=Segment::MAX_STRENGTH).contains(&segment.strength) {
                return fail(index, "strength must lie in 0 to 1.5");
            }
        }
        Ok(())
    }
}
