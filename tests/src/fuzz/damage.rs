//! How inputs are made: files damaged at random, the same from the same seed.

/// Random numbers that repeat (SplitMix64; Steele, Lea and Flood 2014).
pub(super) struct Dice(pub(super) u64);

impl Dice {
    pub(super) fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number below `n`, or 0.
    pub(super) fn below(&mut self, n: usize) -> usize {
        if n == 0 { 0 } else { (self.roll() % n as u64) as usize }
    }
}

/// Pieces that break readers: numbers at the edges, brackets, quotes, line ends.
const PIECES: [&[u8]; 22] = [
    b"0",
    b"-1",
    b"1e308",
    b"-1e308",
    b"1e-320",
    b"NaN",
    b"null",
    b"9223372036854775808",
    b"0.1",
    b"[",
    b"]",
    b"{",
    b"}",
    b"\"",
    b",",
    b":",
    b"\r\n",
    b"\xff\xff\xff\xff",
    b"\0\0\0\0",
    b"\x7f\xff\xff\xff",
    b"\xe2\x80\xae",
    b"fmt ",
];

/// Files to damage: those that a reader takes, and the rest.
pub(super) struct Seeds {
    pub(super) good: Vec<Vec<u8>>,
    pub(super) all: Vec<Vec<u8>>,
}

/// A seed with up to five things done to it.
pub(super) fn damage(dice: &mut Dice, seeds: &Seeds) -> Vec<u8> {
    // Mostly from files that hold, and often only their numbers: what is refused at the door shows
    // nothing of the house.
    let from = if dice.below(4) > 0 { &seeds.good } else { &seeds.all };
    let mut bytes = from[dice.below(from.len())].clone();
    if dice.below(3) == 0 {
        for _ in 0..=dice.below(3) {
            change_a_digit(dice, &mut bytes);
        }
        return bytes;
    }
    let seeds = &seeds.all;
    for _ in 0..=dice.below(4) {
        let at = dice.below(bytes.len() + 1);
        match dice.below(8) {
            0 if !bytes.is_empty() => {
                let at = dice.below(bytes.len());
                bytes[at] ^= 1 << dice.below(8);
            }
            1 if !bytes.is_empty() => {
                let at = dice.below(bytes.len());
                bytes[at] = dice.roll() as u8;
            }
            2 => bytes.truncate(at),
            3 => {
                let end = (at + dice.below(64)).min(bytes.len());
                bytes.drain(at..end);
            }
            4 => {
                let end = (at + dice.below(256)).min(bytes.len());
                let copy = bytes[at..end].to_vec();
                let to = dice.below(bytes.len() + 1);
                bytes.splice(to..to, copy);
            }
            5 => {
                let other = &seeds[dice.below(seeds.len())];
                let from = dice.below(other.len() + 1);
                bytes.truncate(at);
                bytes.extend_from_slice(&other[from..]);
            }
            6 => {
                let piece = PIECES[dice.below(PIECES.len())];
                bytes.splice(at..at, piece.iter().copied());
            }
            _ => change_a_digit(dice, &mut bytes),
        }
    }
    bytes
}

/// Keeps JSON and tables whole and changes what they say.
fn change_a_digit(dice: &mut Dice, bytes: &mut [u8]) {
    let digits: Vec<usize> = (0..bytes.len()).filter(|i| bytes[*i].is_ascii_digit()).collect();
    if !digits.is_empty() {
        bytes[digits[dice.below(digits.len())]] = b'0' + dice.below(10) as u8;
    }
}
