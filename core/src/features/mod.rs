//! Measurements every 10 ms: spectrum as the ear hears it, loudness, voicing, pitch, formants.
//!
//! Frame i is centred on sample 160·i + 80 and stands for the 10 ms around it; samples outside
//! the recording count as 0; there are ⌈n/160⌉ frames for n samples.

mod formants;
mod frames;
mod lpc;
mod mel;
mod pitch;
mod pitch_track;
mod survey;

pub use frames::{FeatureError, Features, Periodicity, analyse, log_mel};
pub use mel::{MEL_BANDS, hz_to_mel, mel_to_hz};
pub use survey::{Survey, survey};
