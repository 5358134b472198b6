//! The bench link: a browser drives the head over a serial line, slowly at first.
//!
//! No I/O and no clock of its own: bytes and times go in, bytes come out. [`Host`] is the page's side,
//! [`SimulatedController`] a head without hardware that answers like the real controller
//! (`static/controller/link.cpp`), [`Mover`] what stands between every slider and a servo.
//!
//! # Frames
//!
//! ```text
//! 0x96   sextets …   0xA9
//!        └─ content in 6-bit groups, each as 0b01xxxxxx, most significant first:
//!           length │ kind │ sequence │ payload (length bytes) │ CRC-16 high, low
//! ```
//!
//! Numbers are big endian. The CRC is CRC-16/IBM-3740 of the RevEng catalogue (polynomial 0x1021,
//! initial 0xFFFF, not reflected; check value 0x29B1) over length, kind, sequence and payload. Unused
//! low bits of the last sextet are 0.
//!
//! **Every single-bit corruption of a frame is detected.** Start and end begin with the bits `10`, every
//! sextet with `01`; the two differ in two bits, so one flipped bit never turns a sextet into a start or
//! an end, nor one of these into a sextet, and start and end differ from each other in six bits. So a
//! flip either makes a byte that cannot stand there, and the frame is dropped; or it changes one of
//! a sextet's six bits and leaves length and place of everything as they were. Then it is either an
//! unused bit, which must be 0, or one bit of what the CRC covers, or of the CRC itself; a CRC whose
//! polynomial has more than one term detects every single-bit error. A corrupted length no longer
//! fits the number of sextets. The next start byte is unmistakable, so the frame after a corrupted one
//! is heard.
//!
//! Text never holds a byte that begins with `10`: the controller's console can share the line with
//! frames.
//!
//! # Talk
//!
//! The host sends an [`Order`] with a running sequence number; the controller answers each with one
//! [`Report`] under the same number: `Welcome` to `Hello`, `Status` to `Beat`, `Ack` or `Refused` to
//! all others. The controller counts what it accepted, what it missed (gaps in the sequence) and what
//! it dropped (frames that did not fit).
//!
//! | rule | where |
//! |---|---|
//! | nothing moves before a `Hello` with this version and the controller's `Welcome` with this rig's fingerprint | both sides |
//! | the speed ceiling starts at 10 % of each servo's own speed, and a hand raises it by at most 10 points at a time | both sides |
//! | half a second passes between two raises | host |
//! | hold-to-move: the channel moves while `Hold` orders keep coming, and stops within 120 ms when they do not | controller |
//! | no valid frame for 400 ms: slow return to neutral, never faster than the ceiling, and a new greeting before anything moves again | controller |
//! | every slider goes through the rig: travel, skin, couplings, linkages, speed, acceleration | host |
//!
//! Nothing here is a safety controller: an emergency stop must cut servo power in hardware.

mod config;
mod error;
mod frame;
mod host;
mod message;
mod mover;
mod simulated;
#[cfg(test)]
mod tests;

pub use config::{BenchChannel, BenchConfig, TICKS_PER_US};
pub use error::BenchError;
pub use frame::{Decoder, Frame, FrameFault, Heard, MAX_PAYLOAD, encode};
pub use host::{Counters, Host, HostState};
pub use message::{ControllerState, Faults, Order, Refusal, Report, Status};
pub use mover::Mover;
pub use simulated::{SimulatedController, StoredLine};

use crate::units::Seconds;

/// Version of the protocol; both sides must have the same.
pub const PROTOCOL_VERSION: u8 = 1;

/// How often the host sends a pose, and the controller a pulse.
pub const BENCH_FRAME: Seconds = Seconds::new(0.02);

/// How often the host asks for the status.
pub const BEAT_EVERY: Seconds = Seconds::new(0.1);

/// Silence after which the controller takes the head to neutral slowly. With two controller frames
/// on top, the return begins within half a second.
pub const LINK_TIMEOUT: Seconds = Seconds::new(0.4);

/// Silence after which hold-to-move stops.
pub const HOLD_TIMEOUT: Seconds = Seconds::new(0.12);

/// Silence after which the host gives a controller up.
pub const HOST_TIMEOUT: Seconds = Seconds::new(0.6);

/// Speed ceiling after every greeting, in thousandths of each servo's own speed.
pub const FIRST_CEILING: u16 = 100;

/// Pause between two raises of the ceiling.
pub const CEILING_PAUSE: Seconds = Seconds::new(0.5);

/// Most that a ceiling is raised at once, in thousandths.
pub const CEILING_STEP: u16 = 100;

/// Speed of the slow return and of the approach to neutral, in thousandths; the ceiling holds, too.
pub const RETURN_SPEED: u16 = 100;
