//! From features to segments: which mouth shape, when, and how sure.
//!
//! A [`Recogniser`] gives the probability of every phone in every 10 ms frame; decoding turns
//! them into [`HeardSegment`]s.

mod hearing;
mod listen;
mod posteriors;

pub use hearing::{HeardSegment, HeardWord, Hearing};
pub use listen::ListenSettings;
pub use posteriors::{HearingError, Posteriors, Recogniser};
