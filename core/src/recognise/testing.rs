//! Made-up posteriors for tests.

use super::Posteriors;
use crate::phonetics::Phone;

/// A small random number generator (xorshift64*), so that tests need no dependency.
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub(crate) fn unit(&mut self) -> f32 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 40) as f32 / (1u64 << 24) as f32
    }
}

/// Posteriors of known phones and their lengths in frames: about `clarity` for the right one, the
/// rest scattered.
pub(crate) fn posteriors_of(spoken: &[(Phone, usize)], clarity: f32, seed: u64) -> Posteriors {
    let mut random = Random::new(seed);
    let mut rows = Vec::new();
    for (phone, frames) in spoken {
        for _ in 0..*frames {
            let mut row = [0.0f32; Phone::COUNT];
            for x in &mut row {
                *x = random.unit().powi(4);
            }
            let sum: f32 = row.iter().sum();
            let clear = (clarity + 0.3 * (random.unit() - 0.5)).clamp(0.02, 0.98);
            for x in &mut row {
                *x *= (1.0 - clear) / sum;
            }
            row[phone.index()] += clear;
            rows.push(row);
        }
    }
    Posteriors::new(rows).expect("rows sum to 1")
}

/// Random rows over some of the phones.
pub(crate) fn random_posteriors(frames: usize, seed: u64, among: &[Phone]) -> Posteriors {
    let mut random = Random::new(seed);
    let rows = (0..frames)
        .map(|_| {
            let mut row = [0.0f32; Phone::COUNT];
            for p in among {
                row[p.index()] = random.unit().powi(3) + 1e-6;
            }
            let sum: f32 = row.iter().sum();
            row.map(|x| x / sum)
        })
        .collect();
    Posteriors::new(rows).expect("rows sum to 1")
}
