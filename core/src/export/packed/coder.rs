//! A binary range coder: turns yes/no decisions with known odds into few bytes.
//!
//! The form is the carry-less decoder with a carrying encoder described by G. N. N. Martin ("Range
//! encoding: an algorithm for removing redundancy from a digitised message", 1979), cut down to
//! binary decisions with adaptive odds, as is common practice. All arithmetic is in integers of 32
//! bits; the decoder multiplies one 17-bit by one 15-bit number per decision.

/// Odds that a decision is "no", in 1/32768, learning from what it sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Odds(pub(super) u16);

impl Odds {
    pub(super) const EVEN: Self = Self(1 << 14);
    const ONE: u16 = 1 << 15;
    /// Moves by 1/32 of the way towards what was seen: never quite to certainty.
    const RATE: u32 = 5;

    fn learn(&mut self, yes: bool) {
        if yes {
            self.0 -= self.0 >> Self::RATE;
        } else {
            self.0 += (Self::ONE - self.0) >> Self::RATE;
        }
    }

    /// What a decision costs, in bits.
    pub(super) fn cost(self, yes: bool) -> f32 {
        let no = f32::from(self.0) / f32::from(Self::ONE);
        -(if yes { 1.0 - no } else { no }).log2()
    }
}

/// Writes or reads decisions: one description of the format serves both ways.
pub(super) trait Decisions {
    /// Passes one decision: a writer writes `yes` and gives it back, a reader gives what was written.
    fn decide(&mut self, odds: &mut Odds, yes: bool) -> bool;

    /// Passes `count` bits of even odds, the highest first.
    fn plain(&mut self, value: u32, count: u32) -> u32 {
        (0..count).rev().fold(0, |sum, i| {
            let bit = self.decide(&mut Odds::EVEN.clone(), value >> i & 1 == 1);
            sum << 1 | u32::from(bit)
        })
    }
}

const TOP: u32 = 1 << 24;
/// Bytes that a reader looks ahead; so many zeros may be left out at the end.
const SPARED: usize = 4;

fn split(range: u32, odds: Odds) -> u32 {
    (range >> 15) * u32::from(odds.0)
}

/// Writes decisions.
pub(super) struct Writer {
    low: u64,
    range: u32,
    /// A byte that a carry may still change, and how many 0xFF follow it.
    held: Option<u8>,
    held_ff: usize,
    bytes: Vec<u8>,
}

impl Writer {
    pub(super) fn new() -> Self {
        Self { low: 0, range: u32::MAX, held: None, held_ff: 0, bytes: Vec::new() }
    }

    fn shift(&mut self) {
        let carry = self.low >> 32 != 0;
        if carry || (self.low as u32) < 0xFF00_0000 {
            self.bytes.extend(self.held.map(|b| b.wrapping_add(u8::from(carry))));
            let run = if carry { 0x00 } else { 0xFF };
            self.bytes.extend(std::iter::repeat_n(run, self.held_ff));
            self.held_ff = 0;
            self.held = Some((self.low >> 24) as u8);
        } else {
            self.held_ff += 1;
        }
        self.low = (self.low & 0x00FF_FFFF) << 8;
    }

    /// The bytes. Up to [`SPARED`] zeros at the end are left out: a reader supplies them.
    pub(super) fn finish(mut self) -> Vec<u8> {
        // Of all numbers that the reader would understand, the one with the most zeros at its end.
        let high = self.low + u64::from(self.range) - 1;
        let mut keep = 0u64;
        for bits in (0..=32).rev() {
            keep = high >> bits << bits;
            if keep >= self.low {
                break;
            }
        }
        self.low = keep;
        for _ in 0..5 {
            self.shift();
        }
        for _ in 0..SPARED {
            if self.bytes.last() == Some(&0) {
                self.bytes.pop();
            }
        }
        self.bytes
    }
}

impl Decisions for Writer {
    fn decide(&mut self, odds: &mut Odds, yes: bool) -> bool {
        let bound = split(self.range, *odds);
        if yes {
            self.low += u64::from(bound);
            self.range -= bound;
        } else {
            self.range = bound;
        }
        odds.learn(yes);
        while self.range < TOP {
            self.range <<= 8;
            self.shift();
        }
        yes
    }
}

/// Reads decisions.
pub(super) struct Reader<'a> {
    bytes: &'a [u8],
    /// Bytes asked for so far, those beyond the end included.
    taken: usize,
    range: u32,
    code: u32,
}

impl<'a> Reader<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        let mut reader = Self { bytes, taken: 0, range: u32::MAX, code: 0 };
        for _ in 0..4 {
            reader.code = reader.code << 8 | reader.next_byte();
        }
        reader
    }

    fn next_byte(&mut self) -> u32 {
        let byte = self.bytes.get(self.taken).copied().unwrap_or(0);
        self.taken += 1;
        byte.into()
    }

    /// True where it has been asked for more than a writer would have written.
    pub(super) fn starved(&self) -> bool {
        self.taken > self.bytes.len() + SPARED
    }

    /// Bytes asked for so far.
    pub(super) fn taken(&self) -> usize {
        self.taken
    }

    /// True where bytes are left over.
    pub(super) fn has_left_over(&self) -> bool {
        self.taken < self.bytes.len()
    }
}

impl Decisions for Reader<'_> {
    fn decide(&mut self, odds: &mut Odds, _: bool) -> bool {
        let bound = split(self.range, *odds);
        let yes = self.code >= bound;
        if yes {
            self.code -= bound;
            self.range -= bound;
        } else {
            self.range = bound;
        }
        odds.learn(yes);
        while self.range < TOP {
            self.code = self.code << 8 | self.next_byte();
            self.range <<= 8;
        }
        yes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decisions_come_back_whatever_the_odds() {
        let mut state = 1u64;
        let mut draw = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as u32
        };
        for share in [0, 1, 10, 500, 990, 999, 1000] {
            let length = 1 + draw() % 3000;
            let decisions: Vec<bool> = (0..length).map(|_| draw() % 1000 < share).collect();
            let mut writer = Writer::new();
            let mut odds = [Odds::EVEN; 3];
            for (i, yes) in decisions.iter().enumerate() {
                writer.decide(&mut odds[i % 3], *yes);
            }
            writer.plain(0x1234_5678, 32);
            let bytes = writer.finish();
            let mut reader = Reader::new(&bytes);
            let mut odds = [Odds::EVEN; 3];
            for (i, yes) in decisions.iter().enumerate() {
                assert_eq!(reader.decide(&mut odds[i % 3], false), *yes, "share {share}, decision {i}");
            }
            assert_eq!(reader.plain(0, 32), 0x1234_5678);
            assert!(!reader.starved() && !reader.has_left_over());
            // Sure things cost next to nothing: the cost function and the bytes agree.
            if share == 0 {
                assert!(bytes.len() < 20, "{} bytes for {length} sure decisions", bytes.len());
            }
        }
    }
}
