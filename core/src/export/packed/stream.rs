//! The coded part of a packed track: the table of channels, then corrections frame by frame.
//!
//! One description serves writing, reading and costing; see [`Decisions`].

use super::coder::Decisions;
use super::model::{LARGEST, Model, Past};

/// Most channels of a packed track.
pub(super) const MOST_CHANNELS: usize = 32;
/// A mirrored start is so much less the other's: twice 1500 µs.
const MIRROR: i32 = 30_000;

/// One channel: where it starts, how fine it is written, whose motion it repeats.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Channel {
    /// First pulse, tenths of a microsecond.
    pub(super) start: u16,
    /// Tenths of a microsecond per step; 0 where it stands still throughout.
    pub(super) step: u8,
    /// An earlier channel that moves alike, and whether the other way round.
    pub(super) twin: Option<(u8, bool)>,
}

/// Passes the table of `count` channels. A writer gives them; a reader gives none, and gets none where
/// the table makes no sense.
pub(super) fn table(io: &mut impl Decisions, count: usize, channels: &[Channel]) -> Option<Vec<Channel>> {
    let mut out: Vec<Channel> = Vec::with_capacity(count);
    for i in 0..count {
        let own = channels.get(i).copied().unwrap_or_default();
        let start = start(io, &out, own.start)?;
        let moves = io.plain((own.step > 0).into(), 1) == 1;
        let mut channel = Channel { start, step: 0, twin: None };
        if moves {
            let before = out.iter().rev().map(|c| c.step).find(|s| *s > 0).unwrap_or(0);
            let same = io.plain((before > 0 && own.step == before).into(), 1) == 1;
            channel.step = if same { before } else { io.plain(own.step.into(), 8) as u8 };
            if io.plain(own.twin.is_some().into(), 1) == 1 {
                let (of, mirrored) = own.twin.unwrap_or_default();
                let of = io.plain(of.into(), 5) as u8;
                let mirrored = io.plain(mirrored.into(), 1) == 1;
                if out.get(usize::from(of)).is_none_or(|c| c.step == 0) {
                    return None;
                }
                channel.twin = Some((of, mirrored));
            }
            if channel.step == 0 {
                return None;
            }
        }
        out.push(channel);
    }
    Some(out)
}

/// Passes a start pulse: spelled out, or the same or the mirror image of an earlier one.
fn start(io: &mut impl Decisions, before: &[Channel], own: u16) -> Option<u16> {
    let mirror = |c: &Channel| MIRROR - i32::from(c.start);
    let equal = before.iter().position(|c| c.start == own);
    let mirrored = before.iter().position(|c| mirror(c) == i32::from(own));
    let (kind, at) = match (equal, mirrored) {
        (Some(at), _) => (1, at),
        (None, Some(at)) => (2, at),
        (None, None) => (0, 0),
    };
    match io.plain(kind, 2) {
        0 => Some(io.plain(own.into(), 16) as u16),
        1 => before.get(io.plain(at as u32, 5) as usize).map(|c| c.start),
        2 => before.get(io.plain(at as u32, 5) as usize).and_then(|c| u16::try_from(mirror(c)).ok()),
        _ => None,
    }
}

/// Where the channels are, and what the coder has learned; moves on frame by frame.
pub(super) struct Player {
    channels: Vec<Channel>,
    pub(super) model: Model,
    pasts: Vec<Past>,
    /// Steps from the start, and the correction of this frame.
    at: Vec<i32>,
    corrections: Vec<i32>,
    /// Whether a channel did as its twin in the frame before.
    alike: Vec<bool>,
}

impl Player {
    pub(super) fn new(channels: Vec<Channel>) -> Self {
        let n = channels.len();
        Self {
            channels,
            model: Model::trained(),
            pasts: vec![Past::default(); n],
            at: vec![0; n],
            corrections: vec![0; n],
            alike: vec![true; n],
        }
    }

    /// Passes one frame. A writer gives the corrections wanted; a reader, anything. None where a
    /// pulse would leave what 16 bits hold.
    pub(super) fn frame(&mut self, io: &mut impl Decisions, wanted: &[i32]) -> Option<()> {
        let mut busy = 0;
        for i in 0..self.channels.len() {
            let channel = self.channels[i];
            if channel.step == 0 {
                continue;
            }
            let k = self.correction(io, i, busy, wanted.get(i).copied().unwrap_or(0));
            if channel.twin.is_none() {
                busy = busyness(k);
            }
            self.corrections[i] = k;
            self.pasts[i] = self.pasts[i].after(k);
            self.at[i] += self.pasts[i].speed;
            u16::try_from(self.pulse(i)).ok()?;
        }
        Some(())
    }

    fn correction(&mut self, io: &mut impl Decisions, i: usize, busy: u8, k: i32) -> i32 {
        if let Some((of, mirrored)) = self.channels[i].twin {
            let other = self.corrections[usize::from(of)];
            let twin = if mirrored { -other } else { other };
            self.alike[i] = self.model.as_twin(io, twin, self.alike[i], k == twin);
            if self.alike[i] {
                return twin;
            }
        }
        self.model.correction(io, &self.pasts[i], busy.into(), k.clamp(-LARGEST, LARGEST))
    }

    fn pulse(&self, i: usize) -> i32 {
        i32::from(self.channels[i].start) + i32::from(self.channels[i].step) * self.at[i]
    }

    /// Pulses of all channels in this frame, tenths of a microsecond.
    pub(super) fn pulses(&self) -> impl Iterator<Item = i32> + '_ {
        (0..self.channels.len()).map(|i| self.pulse(i))
    }
}

/// How busy a servo is in a frame: not at all, a little, much.
pub(super) fn busyness(k: i32) -> u8 {
    match k.abs() {
        0 => 0,
        1..=3 => 1,
        _ => 2,
    }
}
