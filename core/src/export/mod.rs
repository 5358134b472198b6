//! Motion becomes files: servo tracks as JSON and CSV, interchange with show control and captions
//! (Standard MIDI File, WebVTT, a cue sheet), and the check that a track is safe on a rig.
//!
//! A [`ServoTrack`] holds pulse widths with a resolution of 0.1 µs ([`PULSE_RESOLUTION`]); rounding
//! happens once, when it is built. [`verify`] re-reads it against the [`Rig`](crate::rig::Rig) with
//! code of its own, and every export writes, reads back, compares and verifies before it gives out
//! anything.
//!
//! ```
//! use lipwright_core::export::{ServoTrack, TrackMeta, verify};
//! use lipwright_core::rig::Rig;
//! use lipwright_core::units::Seconds;
//!
//! let rig = Rig::jaw_only();
//! let rest: Vec<_> = rig.servos().iter().zip(rig.rest_angles()).map(|(s, a)| vec![s.pulse(a); 10]).collect();
//! let track = ServoTrack::dense(&rig, TrackMeta::default(), Seconds::new(0.02), Seconds::ZERO, &rest)?;
//! assert!(verify(&track, &rig).holds());
//! let text = track.export_json(&rig).expect("a head at rest breaks nothing");
//! assert_eq!(ServoTrack::from_json(&text)?, track);
//! # Ok::<(), lipwright_core::export::TrackError>(())
//! ```

mod between;
mod csv;
mod cue_sheet;
mod error;
mod fingerprint;
mod fixed;
mod json;
mod midi;
pub mod packed;
mod plan;
mod read;
pub mod sketch;
#[cfg(test)]
mod tests;
mod track;
mod verify;
mod webvtt;

pub use csv::csv_field;
pub use cue_sheet::{Cue, cue_sheet};
pub use error::{ExportError, TrackError};
pub use fingerprint::{rig_fingerprint, sha256_hex};
pub use fixed::PULSE_RESOLUTION;
pub use midi::{MidiLane, midi_lanes};
pub use track::{Knot, MAX_FRAMES, MAX_SERVOS, Output, ServoTrack, SmoothKnot, TrackMeta, TrackServo};
pub use verify::{Breach, BreachKind, Verdict, verify};
pub use webvtt::{shapes_webvtt, words_webvtt};

/// What every export does before it gives out a file: `back` is what was read from it.
fn recheck(track: &ServoTrack, back: &ServoTrack, rig: &crate::rig::Rig) -> Result<(), ExportError> {
    if back != track {
        return Err(ExportError::Differs);
    }
    let verdict = verify(back, rig);
    if verdict.holds() { Ok(()) } else { Err(ExportError::Breaches(verdict)) }
}
