//! What was heard: segments, words, and notes for the person.

use crate::phonetics::{MouthShape, Phone};
use crate::units::Seconds;
use serde::{Deserialize, Serialize};

/// A stretch of a recording heard as one mouth shape.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeardSegment {
    /// Start on the line's time axis.
    #[serde(rename = "start_s")]
    pub start: Seconds,
    /// End; the next segment starts exactly here.
    #[serde(rename = "end_s")]
    pub end: Seconds,
    /// The shape (for a diphthong, the first of its two targets).
    pub shape: MouthShape,
    /// Second target of a diphthong, reached at the end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub glide: Option<MouthShape>,
    /// Probability in 0..=1 that the shape is right, as the recogniser sees it.
    pub confidence: f64,
    /// The phone behind the shape, where one was decided.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phone: Option<Phone>,
}

/// A word of the script, placed in time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeardWord {
    /// Start on the line's time axis.
    #[serde(rename = "start_s")]
    pub start: Seconds,
    /// End.
    #[serde(rename = "end_s")]
    pub end: Seconds,
    /// The word as the script writes it.
    pub text: String,
    /// How well the audio fits the word, 0..=1.
    pub confidence: f64,
}

/// What was heard in one line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hearing {
    /// Length of the recording.
    #[serde(rename = "duration_s")]
    pub duration: Seconds,
    /// Segments covering 0..duration without gap or overlap, in order; never empty.
    pub segments: Vec<HeardSegment>,
    /// Words in order (empty without a script).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub words: Vec<HeardWord>,
    /// Plain sentences about what did not fit, for the person (words missing from the audio …).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
}

impl Hearing {
    /// The same, later by a span: a part of a recording heard on its own, in the time of the whole.
    #[must_use]
    pub fn later(mut self, by: Seconds) -> Self {
        for segment in &mut self.segments {
            (segment.start, segment.end) = (segment.start + by, segment.end + by);
        }
        for word in &mut self.words {
            (word.start, word.end) = (word.start + by, word.end + by);
        }
        self.duration += by;
        self
    }
}
