//! A stretch of a line with one mouth shape.

use crate::phonetics::{MouthShape, Phone};
use crate::recognise::HeardSegment;
use crate::units::Seconds;
use serde::{Deserialize, Serialize};

/// A stretch of a line with one mouth shape, as heard or as a person corrected it.
///
/// Segments live inside a [`Line`](super::Line), which keeps them sorted, without gap or overlap,
/// and no shorter than [`Segment::MIN_LENGTH`]; a lone `Segment` promises nothing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Segment {
    /// Start on the line's time axis.
    #[serde(rename = "start_s")]
    pub start: Seconds,
    /// End; the next segment starts exactly here.
    #[serde(rename = "end_s")]
    pub end: Seconds,
    /// The shape (for a diphthong, the first of its two targets).
    pub shape: MouthShape,
    /// Second target of a diphthong, reached at the end of the segment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub glide: Option<MouthShape>,
    /// The phone behind the shape, where one was heard.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phone: Option<Phone>,
    /// How sure the ear was, 0..=1; 1 where a person decided.
    pub confidence: f64,
    /// How much of the shape: 1 is the rig's pose, 0 the rest pose, up to 1.5 exaggerated.
    pub strength: f64,
    /// True once a person has changed it: re-listening leaves it alone.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub by_hand: bool,
    /// True where a person said that no listening may change it, nor an alignment of new words.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub locked: bool,
    /// True where the shape is held: it is whole from the segment's start to its end, and what is
    /// before and after gives it the time to come and go.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub held: bool,
}

impl Segment {
    /// Shortest segment a line keeps: one analysis hop.
    pub const MIN_LENGTH: Seconds = Seconds::new(0.01);

    /// Largest strength: half as much again as the rig's own pose.
    pub const MAX_STRENGTH: f64 = 1.5;

    /// A whole, certain segment of one shape, as if just heard.
    #[must_use]
    pub fn new(start: Seconds, end: Seconds, shape: MouthShape) -> Self {
        Self {
            start,
            end,
            shape,
            glide: None,
            phone: None,
            confidence: 1.0,
            strength: 1.0,
            by_hand: false,
            locked: false,
            held: false,
        }
    }

    /// Length in time.
    #[must_use]
    pub fn length(&self) -> Seconds {
        self.end - self.start
    }
}

impl From<HeardSegment> for Segment {
    fn from(heard: HeardSegment) -> Self {
        Self {
            start: heard.start,
            end: heard.end,
            shape: heard.shape,
            glide: heard.glide,
            phone: heard.phone,
            confidence: heard.confidence,
            strength: 1.0,
            by_hand: false,
            locked: false,
            held: false,
        }
    }
}
