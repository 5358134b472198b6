//! Packed tracks: a servo track in few bytes, for a controller's flash or an SD card.
//!
//! A servo's motion is a chain of straight lines between knots on the frame grid. At every frame the
//! pulse goes *straight on* by as much as in the frame before, *corrected* by a whole number of
//! steps; a correction other than zero is a knot. Corrections are few and small and depend on those
//! before, so an adaptive range coder writes them in little more than a bit each. Playing takes one
//! pass, additions, and one multiplication of integers per decision; bytes are read strictly one
//! after the other.
//!
//! | offset | bytes | what |
//! |---|---|---|
//! | 0 | 3 | `LWP` |
//! | 3 | 1 | version, 1 |
//! | 4 | 4 | first four bytes of the [rig's fingerprint](crate::export::rig_fingerprint) |
//! | 8 | 4 | frames |
//! | 12 | 4 | time of the first frame on the recording's axis, µs, signed |
//! | 16 | 2 | length of a frame, µs |
//! | 18 | 1 | channels, 1 to 32 |
//! | 19 | 1 | 0 |
//! | 20 | 4 | length n of the coded part |
//! | 24 | n | coded part: start pulse, step and twin of every channel, then frame by frame the correction of every channel |
//! | 24 + n | 4 | CRC-32 of everything before (CRC-32/ISO-HDLC in the CRC RevEng catalogue) |
//!
//! Numbers are little endian. Pulses are in tenths of a microsecond, steps too (1 to 255, one per
//! channel). A *twin* is an earlier channel whose corrections this one repeats, the same or the other
//! way round: the two halves of a face cost little more than one. The coded part is described by
//! `stream.rs`, `model.rs` and `coder.rs`, each for writing and reading at once; the controller's
//! reader is `static/controller/player.cpp`.
//!
//! ```
//! use lipwright_core::export::{ServoTrack, TrackMeta, packed};
//! use lipwright_core::rig::Rig;
//! use lipwright_core::units::{Microseconds, Seconds};
//!
//! let rig = Rig::jaw_only();
//! let rest: Vec<_> = rig.servos().iter().zip(rig.rest_angles()).map(|(s, a)| vec![s.pulse(a); 10]).collect();
//! let track = ServoTrack::dense(&rig, TrackMeta::default(), Seconds::new(0.02), Seconds::ZERO, &rest)?;
//! let packed = packed::pack(&track, &rig, Microseconds::new(4.0))?;
//! assert_eq!(packed.boards.len(), 1);
//! assert_eq!(packed::read(&packed.boards[0].bytes)?.frames, 10);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod coder;
mod error;
mod limits;
mod model;
mod odds;
mod pack;
mod search;
mod stream;
#[cfg(test)]
mod tests;

pub use error::PackError;

use crate::crc::crc32;
use crate::export::{MAX_FRAMES, ServoTrack, rig_fingerprint, verify};
use crate::rig::Rig;
use crate::units::Microseconds;
use coder::{Reader, Writer};
use pack::Path;
use stream::{MOST_CHANNELS, Player};

/// Newest version of the format.
pub const VERSION: u8 = 1;
/// Bytes before the coded part.
pub const HEADER: usize = 24;
const MAGIC: &[u8; 3] = b"LWP";

/// A track packed for every board of a rig.
#[derive(Clone, Debug)]
pub struct Packed {
    /// One packed track a board, in order of first appearance.
    pub boards: Vec<Board>,
    /// What the boards will play, all servos, frame by frame; it holds every limit of the rig.
    pub played: ServoTrack,
    /// Largest difference between what is played and the track that was packed.
    pub error: Microseconds,
}

/// One board's packed track.
#[derive(Clone, Debug, PartialEq)]
pub struct Board {
    /// Name of the board.
    pub controller: String,
    /// The packed track.
    pub bytes: Vec<u8>,
}

/// What packed bytes say.
#[derive(Clone, Debug, PartialEq)]
pub struct Unpacked {
    /// First four bytes of the rig's fingerprint, as a number.
    pub rig: u32,
    /// Length of a frame, µs.
    pub frame_us: u16,
    /// Time of the first frame on the recording's axis, µs.
    pub start_us: i32,
    /// Number of frames.
    pub frames: usize,
    /// Pulses by channel and frame, tenths of a microsecond.
    pub pulses: Vec<Vec<u16>>,
}

/// First four bytes of the rig's fingerprint: what a packed track and a sketch are marked with.
#[must_use]
pub fn rig_mark(rig: &Rig) -> u32 {
    // Eight hex digits are a number of 32 bits.
    u32::from_str_radix(&rig_fingerprint(rig)[..8], 16).unwrap_or(0)
}

/// Packs a track of this rig, every pulse within `tolerance` of it and every limit kept.
///
/// What was written is read back, compared and [verified](verify()) before it is given out.
///
/// # Errors
/// Where the track is not the rig's, breaks its limits, or is too large for the format.
pub fn pack(track: &ServoTrack, rig: &Rig, tolerance: Microseconds) -> Result<Packed, PackError> {
    let tenths = (tolerance.value() * 10.0).floor();
    if !(0.0..=1000.0).contains(&tenths) {
        return Err(PackError::unfit(format!("a tolerance of {tolerance}"), "give 0 to 100 us"));
    }
    let verdict = verify(track, rig);
    if !verdict.holds() {
        return Err(PackError::Breaches(verdict));
    }
    let frame_us = u16::try_from(track.frame_us)
        .map_err(|_| PackError::unfit("the frame is longer than 65 ms", "plan with a frame of 20 ms"))?;
    let start_us = i32::try_from(track.start_us)
        .map_err(|_| PackError::unfit("the start is too far off", "start within half an hour of 0"))?;
    let head = Head { rig: rig_mark(rig), frame_us, start_us, frames: track.frames() };
    let paths = pack::paths(track, rig, tenths as i32)?;
    let mut boards = Vec::new();
    for controller in controllers(rig) {
        let on_it = |(path, servo): (&Path, &crate::rig::Servo)| {
            (servo.controller == controller).then(|| path.clone())
        };
        let own: Vec<Path> = paths.iter().zip(rig.servos()).filter_map(on_it).collect();
        if own.len() > MOST_CHANNELS {
            return Err(PackError::unfit(
                format!("board \"{controller}\" has {} servos", own.len()),
                "a packed track holds 32: give the others another board",
            ));
        }
        let bytes = write(&head, &own);
        let back = read(&bytes)?;
        let same = back.pulses.iter().zip(&own).all(|(a, b)| a.iter().map(|p| i32::from(*p)).eq(b.pulses()));
        if !same || back.pulses.len() != own.len() || back.frames != track.frames() {
            return Err(PackError::Differs);
        }
        boards.push(Board { controller, bytes });
    }
    let played = played(track, rig, &paths)?;
    let verdict = verify(&played, rig);
    if !verdict.holds() {
        return Err(PackError::Breaches(verdict));
    }
    let apart = track.servos().iter().zip(played.servos()).flat_map(|(a, b)| {
        a.pulses().zip(b.pulses()).map(|(a, b)| (a - b).abs().value()).collect::<Vec<_>>()
    });
    let error = Microseconds::new(apart.fold(0.0, f64::max));
    Ok(Packed { boards, played, error })
}

/// The boards of a rig, in order of first appearance.
pub(crate) fn controllers(rig: &Rig) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for servo in rig.servos() {
        if !names.contains(&servo.controller) {
            names.push(servo.controller.clone());
        }
    }
    names
}

/// The odds with which every packed track starts: the controller's reader needs the same.
pub(crate) fn trained_odds() -> &'static [u16] {
    &odds::TRAINED
}

fn played(track: &ServoTrack, rig: &Rig, paths: &[Path]) -> Result<ServoTrack, PackError> {
    let pulse = |p: i32| Microseconds::new(f64::from(p) / 10.0);
    let columns: Vec<Vec<Microseconds>> =
        paths.iter().map(|p| p.pulses().into_iter().map(pulse).collect()).collect();
    ServoTrack::dense(rig, track.meta().clone(), track.frame(), track.start(), &columns)
        .map_err(|e| PackError::unfit(e.to_string(), "report this as a fault"))
}

struct Head {
    rig: u32,
    frame_us: u16,
    start_us: i32,
    frames: usize,
}

fn write(head: &Head, paths: &[Path]) -> Vec<u8> {
    let mut writer = Writer::new();
    let channels = pack::channels(paths);
    let corrections: Vec<Vec<i32>> = paths.iter().map(Path::corrections).collect();
    // A writer's table and frames always make sense: reading back judges them.
    let _ = stream::table(&mut writer, channels.len(), &channels);
    let mut player = Player::new(channels);
    for t in 0..head.frames {
        let wanted: Vec<i32> = corrections.iter().map(|c| c[t]).collect();
        let _ = player.frame(&mut writer, &wanted);
    }
    let coded = writer.finish();
    let mut out = Vec::with_capacity(HEADER + coded.len() + 4);
    out.extend_from_slice(MAGIC);
    out.push(VERSION);
    out.extend_from_slice(&head.rig.to_le_bytes());
    out.extend_from_slice(&(head.frames as u32).to_le_bytes());
    out.extend_from_slice(&head.start_us.to_le_bytes());
    out.extend_from_slice(&head.frame_us.to_le_bytes());
    out.extend_from_slice(&[paths.len() as u8, 0]);
    out.extend_from_slice(&(coded.len() as u32).to_le_bytes());
    out.extend_from_slice(&coded);
    out.extend_from_slice(&crc32(&out).to_le_bytes());
    out
}

/// Reads a packed track.
///
/// # Errors
/// Where the bytes are no packed track, from a later version, or damaged.
pub fn read(bytes: &[u8]) -> Result<Unpacked, PackError> {
    let damaged = PackError::damaged;
    if !bytes.starts_with(MAGIC) {
        return Err(damaged(0, "does not begin as a packed track"));
    }
    if let Some(version) = bytes.get(3)
        && *version > VERSION
    {
        return Err(PackError::Newer(*version));
    }
    let Some((rest, crc)) = bytes.split_last_chunk::<4>() else {
        return Err(damaged(bytes.len(), "ends within the header"));
    };
    if rest.len() < HEADER {
        return Err(damaged(bytes.len(), "ends within the header"));
    }
    if number(rest, 20) as usize != rest.len() - HEADER {
        return Err(damaged(20, "has another length than it says"));
    }
    if crc32(rest) != u32::from_le_bytes(*crc) {
        return Err(damaged(rest.len(), "has a wrong check sum"));
    }
    unpack(rest)
}

fn number(bytes: &[u8], at: usize) -> u32 {
    bytes.get(at..at + 4).and_then(|b| b.try_into().ok()).map_or(0, u32::from_le_bytes)
}

/// Reads header and coded part, the check sum aside: at least [`HEADER`] bytes.
fn unpack(bytes: &[u8]) -> Result<Unpacked, PackError> {
    let damaged = PackError::damaged;
    let frames = number(bytes, 8) as usize;
    let count = usize::from(bytes[18]);
    if !(2..=MAX_FRAMES).contains(&frames) {
        return Err(damaged(8, "has no possible number of frames"));
    }
    if bytes[3] != VERSION {
        return Err(damaged(3, "has no possible version"));
    }
    if bytes[19] != 0 {
        return Err(damaged(19, "has something where there is nothing to say"));
    }
    if !(1..=MOST_CHANNELS).contains(&count) {
        return Err(damaged(18, "has no possible number of channels"));
    }
    let mut reader = Reader::new(&bytes[HEADER..]);
    let channels =
        stream::table(&mut reader, count, &[]).ok_or(damaged(HEADER, "has no possible channel table"))?;
    let mut player = Player::new(channels);
    let mut pulses: Vec<Vec<u16>> = vec![Vec::new(); count];
    for _ in 0..frames {
        player.frame(&mut reader, &[]).ok_or(damaged(HEADER + reader.taken(), "leaves the pulse range"))?;
        if reader.starved() {
            return Err(damaged(bytes.len(), "ends too early"));
        }
        for (column, pulse) in pulses.iter_mut().zip(player.pulses()) {
            // `frame` has held every pulse to 16 bits.
            column.push(u16::try_from(pulse).unwrap_or(u16::MAX));
        }
    }
    if reader.has_left_over() {
        return Err(damaged(HEADER + reader.taken(), "goes on after its end"));
    }
    Ok(Unpacked {
        rig: number(bytes, 4),
        frame_us: u16::from_le_bytes([bytes[16], bytes[17]]),
        start_us: number(bytes, 12) as i32,
        frames,
        pulses,
    })
}
