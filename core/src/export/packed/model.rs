//! What the coder expects next: the contexts of corrections, and how a correction is spelled out.
//!
//! A correction is spelled as: none? · downwards? · larger than 1? · larger than 2? · … up to
//! [`UNARY`], then 13 plain bits. Each of these decisions has odds of its own for every context that
//! matters: the two corrections before, the speed, how long it has been quiet, how much the servo
//! before it in the frame was corrected.

use super::coder::{Decisions, Odds};
use super::odds::TRAINED;

/// Largest correction, in steps.
pub(super) const LARGEST: i32 = UNARY + 8192;
const UNARY: i32 = 12;

/// What is known about a servo before its next correction.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub(super) struct Past {
    /// Steps moved in the frame before.
    pub(super) speed: i32,
    /// The last correction and the one before.
    pub(super) last: i32,
    pub(super) before: i32,
    /// Frames since the last correction other than zero, at most [`LONG`].
    pub(super) quiet: u8,
}

const LONG: u8 = 12;

impl Past {
    /// After a correction.
    pub(super) fn after(self, correction: i32) -> Self {
        Self {
            speed: self.speed + correction,
            last: correction,
            before: self.last,
            quiet: if correction == 0 { (self.quiet + 1).min(LONG) } else { 0 },
        }
    }
}

/// Sign and rough size: 0 for zero, 1 to 4 below it, 5 to 8 above.
fn bucket(k: i32) -> usize {
    let size = match k.abs() {
        0 => return 0,
        1 => 0,
        2..=3 => 1,
        4..=7 => 2,
        _ => 3,
    };
    if k < 0 { 1 + size } else { 5 + size }
}

fn sign(k: i32) -> usize {
    (k.signum() + 1) as usize
}

// Where each kind of decision has its odds.
const NONE: usize = 0;
const DOWN: usize = NONE + 3 * 96;
const MORE: usize = DOWN + 9 * 9 * 3;
const TWIN: usize = MORE + 9 * 3 * 2 * UNARY as usize;
/// Number of odds.
pub(super) const SIZE: usize = TWIN + 4;

/// The odds of every context.
#[derive(Clone)]
pub(super) struct Model {
    pub(super) odds: Box<[Odds; SIZE]>,
}

impl Model {
    /// As it starts every track: odds learned from planned speech (see `odds.rs`).
    pub(super) fn trained() -> Self {
        Self { odds: Box::new(TRAINED.map(Odds)) }
    }

    /// Passes one correction; `other` tells how busy the servo before this one is: 0 not, 1 a
    /// little, 2 much.
    pub(super) fn correction(&mut self, io: &mut impl Decisions, past: &Past, other: usize, k: i32) -> i32 {
        if io.decide(&mut self.odds[none_at(past, other)], k == 0) {
            return 0;
        }
        let down_at = DOWN + 27 * bucket(past.last) + 3 * bucket(past.before) + sign(past.speed);
        let way = if io.decide(&mut self.odds[down_at], k < 0) { -1 } else { 1 };
        let rough = 6 * bucket(way * past.last) + 2 * sign(way * past.before) + usize::from(other == 2);
        let more_at = MORE + UNARY as usize * rough;
        for size in 1..=UNARY {
            if !io.decide(&mut self.odds[more_at + size as usize - 1], k.abs() > size) {
                return way * size;
            }
        }
        let rest = io.plain((k.abs() - UNARY - 1).max(0) as u32, 13) as i32;
        way * (UNARY + 1 + rest).min(LARGEST)
    }

    /// Passes whether a servo does as its twin, which was corrected by `twin`.
    pub(super) fn as_twin(&mut self, io: &mut impl Decisions, twin: i32, before: bool, same: bool) -> bool {
        io.decide(&mut self.odds[TWIN + 2 * usize::from(twin != 0) + usize::from(before)], same)
    }
}

/// Where "no correction" has its odds.
fn none_at(past: &Past, other: usize) -> usize {
    let own = if past.last == 0 && past.before == 0 {
        let run = match past.quiet {
            0..=2 => 0,
            3..=5 => 1,
            6..=11 => 2,
            _ => 3,
        };
        let pace = match past.speed.abs() {
            0 => 0,
            1..=5 => 1,
            _ => 2,
        };
        81 + 4 * pace + run
    } else {
        9 * bucket(past.last) + bucket(past.before)
    };
    NONE + other * 96 + own
}

/// Adds up what decisions would cost, in bits, and learns nothing.
pub(super) struct Cost(pub(super) f32);

impl Decisions for Cost {
    fn decide(&mut self, odds: &mut Odds, yes: bool) -> bool {
        self.0 += odds.cost(yes);
        yes
    }
}
