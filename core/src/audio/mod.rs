//! Recorded sound in: WAV bytes, or samples that a browser decoded, become mono audio at 16 kHz.
//!
//! Also the [`WaveformPyramid`] that lets a screen draw any stretch of a recording at the cost of
//! its pixels rather than its samples.

mod error;
mod fit;
mod pyramid;
mod recording;
mod resample;
mod riff;
mod wav;
mod write;

pub use error::AudioError;
pub use fit::fit_wav;
pub use pyramid::{Column, WaveformPyramid};
pub use recording::{ChannelChoice, Recording, SampleKind, SourceFormat};
pub use wav::{read_wav, skim_wav};
pub use write::write_wav;
