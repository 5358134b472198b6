//! From features to segments: which mouth shape, when, and how sure.
//!
//! A [`Recogniser`] gives the probability of every phone in every 10 ms frame; [`listen`] decodes
//! them into [`HeardSegment`]s.

mod decode;
mod hearing;
mod listen;
mod posteriors;
mod segments;
mod settings;
#[cfg(test)]
mod testing;

pub use hearing::{HeardSegment, HeardWord, Hearing};
pub use listen::{hear, listen};
pub use posteriors::{HearingError, Posteriors, Recogniser};
pub use settings::ListenSettings;
