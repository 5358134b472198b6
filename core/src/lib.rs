//! Lipwright's core: a recorded line of dialogue becomes a servo performance that one particular
//! animatronic head can physically play.
//!
//! The rooms follow the recording's journey, and data flows one way:
//! `audio → features → recognise → line → motion → export`. [`phonetics`] and [`rig`] are looked
//! at by the later rooms and look at none of them. Nothing here touches files, clocks or the
//! browser: bytes in, values out, the same on a desktop and in WebAssembly.

pub mod audio;
pub mod bench;
mod crc;
pub mod export;
pub mod features;
mod fields;
pub mod line;
pub mod motion;
pub mod phonetics;
pub mod progress;
pub mod project;
pub mod recognise;
pub mod rig;
pub mod units;
