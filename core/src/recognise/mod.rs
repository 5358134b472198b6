//! From features to segments: which mouth shape, when, and how sure.
//!
//! A [`Recogniser`] gives the probability of every phone in every 10 ms frame; [`listen`] decodes
//! them into [`HeardSegment`]s, along a script where there is one. [`score`] measures the result.

mod align;
mod changed;
mod decode;
mod graph;
mod hearing;
mod listen;
mod model;
mod posteriors;
pub mod score;
mod segments;
mod settings;
#[cfg(test)]
mod testing;
mod voice;

pub use changed::{ChangedPart, changed_part};
pub use hearing::{HeardSegment, HeardWord, Hearing};
pub use listen::{hear, listen};
pub use model::{AcousticModel, ModelError};
pub use posteriors::{Edge, HearingError, Posteriors, Recogniser};
pub use settings::ListenSettings;
