//! Bytes on the wire: framing, armour and check. The format stands in the room's documentation.

use crc::{CRC_16_IBM_3740, Crc};

/// Longest payload of a frame, in bytes: what a small controller's buffer holds.
pub const MAX_PAYLOAD: usize = 96;

const START: u8 = 0x96;
const END: u8 = 0xA9;
/// The two bits that mark a sextet.
const SEXTET: u8 = 0x40;
/// Length, kind, sequence before the payload; CRC after it.
const AROUND: usize = 5;
const MAX_CONTENT: usize = MAX_PAYLOAD + AROUND;
const MAX_SEXTETS: usize = (MAX_CONTENT * 8).div_ceil(6);

static CRC: Crc<u16> = Crc::<u16>::new(&CRC_16_IBM_3740);

/// One frame: what kind, its number, what it carries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Kind of message.
    pub kind: u8,
    /// Running number of the sender; an answer carries the number it answers.
    pub sequence: u8,
    /// At most [`MAX_PAYLOAD`] bytes.
    pub payload: Vec<u8>,
}

/// Writes a frame.
///
/// ```
/// use lipwright_core::bench::{Decoder, Frame, Heard, encode};
/// let frame = Frame { kind: 2, sequence: 7, payload: vec![] };
/// let mut ear = Decoder::default();
/// let heard: Vec<Heard> = encode(&frame).iter().filter_map(|b| ear.push(*b)).collect();
/// assert_eq!(heard, [Heard::Frame(frame)]);
/// ```
///
/// # Panics
/// Where the payload is longer than [`MAX_PAYLOAD`]; messages of this room never are.
#[must_use]
pub fn encode(frame: &Frame) -> Vec<u8> {
    assert!(frame.payload.len() <= MAX_PAYLOAD, "a payload of {} bytes", frame.payload.len());
    let mut content = vec![frame.payload.len() as u8, frame.kind, frame.sequence];
    content.extend_from_slice(&frame.payload);
    content.extend_from_slice(&CRC.checksum(&content).to_be_bytes());
    let mut out = Vec::with_capacity(content.len() * 4 / 3 + 4);
    out.push(START);
    for group in content.chunks(3) {
        let mut bits = 0u32;
        for k in 0..3 {
            bits = bits << 8 | u32::from(group.get(k).copied().unwrap_or(0));
        }
        // One byte needs two sextets, two need three, three need four.
        for k in 0..=group.len() {
            out.push(SEXTET | (bits >> (18 - 6 * k) & 0x3F) as u8);
        }
    }
    out.push(END);
    out
}

/// Why bytes that looked like a frame were dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameFault {
    /// A byte that cannot stand inside a frame.
    Alphabet,
    /// Another start before the end.
    Unfinished,
    /// Longer than any frame.
    TooLong,
    /// The length does not fit what came, or an unused bit is set.
    Length,
    /// The check value does not fit.
    Check,
}

/// What a byte completed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// A frame that fits.
    Frame(Frame),
    /// A frame that does not; it was dropped whole.
    Dropped(FrameFault),
    /// A byte between frames: the console's text.
    Text(u8),
}

/// Finds frames in a stream of bytes.
#[derive(Clone, Debug, Default)]
pub struct Decoder {
    /// Sextets of the frame under way.
    sextets: Option<Vec<u8>>,
}

impl Decoder {
    /// Takes one byte.
    pub fn push(&mut self, byte: u8) -> Option<Heard> {
        match (byte, self.sextets.as_mut()) {
            (START, before) => {
                let unfinished = before.is_some();
                self.sextets = Some(Vec::new());
                unfinished.then_some(Heard::Dropped(FrameFault::Unfinished))
            }
            (_, None) => Some(Heard::Text(byte)),
            (END, Some(sextets)) => {
                let heard = read(sextets);
                self.sextets = None;
                Some(heard.map_or_else(Heard::Dropped, Heard::Frame))
            }
            (_, Some(sextets)) => {
                let fault = if byte & 0xC0 != SEXTET {
                    FrameFault::Alphabet
                } else if sextets.len() == MAX_SEXTETS {
                    FrameFault::TooLong
                } else {
                    sextets.push(byte & 0x3F);
                    return None;
                };
                self.sextets = None;
                Some(Heard::Dropped(fault))
            }
        }
    }
}

fn read(sextets: &[u8]) -> Result<Frame, FrameFault> {
    let mut content = Vec::with_capacity(sextets.len());
    for group in sextets.chunks(4) {
        let mut bits = 0u32;
        for k in 0..4 {
            bits = bits << 6 | u32::from(group.get(k).copied().unwrap_or(0));
        }
        // Two sextets hold one byte, three two, four three; one alone holds none.
        let bytes = group.len() - 1;
        if bytes == 0 || bits & (0x00FF_FFFF >> (8 * bytes)) != 0 {
            return Err(FrameFault::Length);
        }
        content.extend((0..bytes).map(|k| (bits >> (16 - 8 * k) & 0xFF) as u8));
    }
    let [length, kind, sequence, rest @ ..] = content.as_slice() else { return Err(FrameFault::Length) };
    if content.len() != usize::from(*length) + AROUND {
        return Err(FrameFault::Length);
    }
    let (payload, check) = rest.split_at(usize::from(*length));
    if CRC.checksum(&content[..content.len() - 2]).to_be_bytes() != check {
        return Err(FrameFault::Check);
    }
    Ok(Frame { kind: *kind, sequence: *sequence, payload: payload.to_vec() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn hear(bytes: &[u8]) -> Vec<Heard> {
        let mut decoder = Decoder::default();
        bytes.iter().filter_map(|b| decoder.push(*b)).collect()
    }

    fn frames(bytes: &[u8]) -> Vec<Frame> {
        hear(bytes)
            .into_iter()
            .filter_map(|h| match h {
                Heard::Frame(frame) => Some(frame),
                _ => None,
            })
            .collect()
    }

    fn any_frame() -> impl Strategy<Value = Frame> {
        (any::<u8>(), any::<u8>(), prop::collection::vec(any::<u8>(), 0..=MAX_PAYLOAD))
            .prop_map(|(kind, sequence, payload)| Frame { kind, sequence, payload })
    }

    /// Check value of CRC-16/IBM-3740 in the RevEng catalogue.
    #[test]
    fn the_check_is_the_catalogue_s() {
        assert_eq!(CRC.checksum(b"123456789"), 0x29B1);
    }

    #[test]
    fn a_frame_looks_as_documented() {
        let bytes = encode(&Frame { kind: 0x02, sequence: 0x07, payload: vec![] });
        // Content 00 02 07, then its CRC, worked out bit by bit.
        let mut crc = 0xFFFFu16;
        for byte in [0x00u8, 0x02, 0x07] {
            crc ^= u16::from(byte) << 8;
            for _ in 0..8 {
                crc = if crc & 0x8000 == 0 { crc << 1 } else { crc << 1 ^ 0x1021 };
            }
        }
        let [high, low] = crc.to_be_bytes();
        let (a, b) = (u32::from(high) << 16 | u32::from(low) << 8, [0x40u8, 0x40, 0x48, 0x47]);
        let tail = [0x40 | (a >> 18) as u8, 0x40 | (a >> 12 & 0x3F) as u8, 0x40 | (a >> 6 & 0x3F) as u8];
        assert_eq!(bytes, [&[0x96][..], &b, &tail, &[0xA9]].concat());
    }

    proptest! {
        #[test]
        fn frames_come_back_after_any_garbage(
            garbage in prop::collection::vec(any::<u8>(), 0..300), frame in any_frame(),
        ) {
            let bytes = [garbage, encode(&frame)].concat();
            let found = frames(&bytes);
            prop_assert_eq!(found.last(), Some(&frame));
        }

        /// Also for payloads that are frames themselves.
        #[test]
        fn every_single_flipped_bit_is_detected_and_the_next_frame_heard(
            inner in any_frame(), next in any_frame(), nested in any::<bool>(), cut in 0..90usize,
        ) {
            let mut frame = inner;
            if nested {
                let bytes = encode(&Frame { kind: 3, sequence: 1, payload: frame.payload[..frame.payload.len().min(cut) / 2].to_vec() });
                frame.payload = bytes;
                frame.payload.truncate(MAX_PAYLOAD);
            }
            let good = encode(&frame);
            for bit in 0..good.len() * 8 {
                let mut bad = good.clone();
                bad[bit / 8] ^= 1 << (bit % 8);
                prop_assert!(frames(&bad).is_empty(), "bit {} let through", bit);
                bad.extend(encode(&next));
                let found = frames(&bad);
                prop_assert_eq!(found, vec![next.clone()]);
            }
        }

        /// Two flips in what the check covers are found too: the polynomial's period is 32767 bits. (Two
        /// in the mark of one sextet can make a start; what follows then has 1 chance in 65536.)
        #[test]
        fn two_flipped_bits_inside_the_sextets_are_detected(frame in any_frame(), a in any::<u32>(), b in any::<u32>()) {
            let good = encode(&frame);
            let inside = (good.len() - 2) * 8;
            let (a, b) = (a as usize % inside + 8, b as usize % inside + 8);
            prop_assume!(a != b);
            let mut bad = good.clone();
            bad[a / 8] ^= 1 << (a % 8);
            bad[b / 8] ^= 1 << (b % 8);
            prop_assert!(frames(&bad).is_empty());
        }

        #[test]
        fn text_passes_between_frames(text in "[ -~\n]{0,40}", frame in any_frame()) {
            let bytes = [text.as_bytes(), &encode(&frame), text.as_bytes()].concat();
            let said: Vec<u8> = hear(&bytes).iter().filter_map(|h| match h { Heard::Text(b) => Some(*b), _ => None }).collect();
            prop_assert_eq!(said, [text.as_bytes(), text.as_bytes()].concat());
            prop_assert_eq!(frames(&bytes), vec![frame]);
        }
    }

    #[test]
    fn an_endless_frame_is_dropped_in_bounded_memory() {
        let mut decoder = Decoder::default();
        decoder.push(START);
        let dropped = (0..10_000).filter_map(|_| decoder.push(SEXTET)).next();
        assert_eq!(dropped, Some(Heard::Dropped(FrameFault::TooLong)));
    }
}
