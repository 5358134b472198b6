//! Shares the time of an animation frame among pictures that can wait their turn.
//!
//! While a view is zoomed, every lane would have to be painted in every frame, which takes longer than a
//! frame lasts. So a frame gives a stated time to painting; who gets none waits in a queue and is shown
//! stretched meanwhile, as it was painted last. How much time is given follows from how long the last
//! frames took: what a canvas costs is mostly spent after the program has drawn on it.

use std::cell::{Cell, RefCell};
use std::collections::VecDeque;
use std::rc::Rc;

/// Least and most time that a frame gives to painting, ms.
const LEAST: f64 = 0.5;
const MOST: f64 = 6.0;
/// A frame that took longer than this was given too much, ms; a shorter one may be given more.
const LONG: f64 = 20.0;
/// What follows a frame that took long, and one that did not. So a raise goes too far in one of fifty
/// frames or fewer (ln 0.6 / ln 1.009): of twenty, the slowest is not one of those.
const CUT: f64 = 0.6;
const RAISE: f64 = 1.009;
/// Frames further apart than this do not follow each other, ms.
const APART: f64 = 100.0;
/// How much the last painting counts in what one is thought to take.
const WEIGHT: f64 = 0.2;
/// So many may paint in the first frame of all, when none was timed yet: time alone ends it.
const MANY: usize = 100;

thread_local! {
    static TURNS: Rc<Turns> = Rc::new(Turns::default());
}

/// The queue of one page, and the time left in its frame.
#[derive(Debug)]
pub struct Turns {
    queue: RefCell<VecDeque<u32>>,
    /// The head of the queue, whose turn it is in this frame, as far as it has not asked yet.
    called: RefCell<Vec<u32>>,
    /// How many may paint in this frame without having waited.
    spare: Cell<usize>,
    next: Cell<u32>,
    frame: Cell<Option<u32>>,
    began: Cell<f64>,
    given: Cell<f64>,
    left: Cell<f64>,
    /// What painting one takes, ms, as it was lately.
    cost: Cell<Option<f64>>,
}

impl Default for Turns {
    fn default() -> Self {
        Self {
            queue: RefCell::default(),
            called: RefCell::default(),
            spare: Cell::default(),
            next: Cell::default(),
            frame: Cell::default(),
            began: Cell::default(),
            given: Cell::new(MOST / 2.0),
            left: Cell::default(),
            cost: Cell::default(),
        }
    }
}

impl Turns {
    /// The page's own.
    #[must_use]
    pub fn shared() -> Rc<Self> {
        TURNS.with(Rc::clone)
    }

    /// A number for a picture.
    pub fn number(&self) -> u32 {
        self.next.replace(self.next.get() + 1)
    }

    /// Asks for a turn in a frame, at a time (ms). True if the picture may paint now; else it waits, and is
    /// to ask again in the next frame.
    ///
    /// Pictures ask in the same order in every frame. So those at the head of the queue are called when a
    /// frame begins, and nobody who asks before them takes their time.
    pub fn may_paint(&self, number: u32, frame: u32, now: f64) -> bool {
        if self.frame.replace(Some(frame)) != Some(frame) {
            self.begin(now);
        }
        let called = self.called.borrow().contains(&number);
        self.called.borrow_mut().retain(|n| *n != number);
        let waits = self.queue.borrow().contains(&number);
        let spare = self.spare.get();
        if self.left.get() > 0.0 && (called || !waits && spare > 0) {
            self.spare.set(if called { spare } else { spare - 1 });
            self.leave(number);
            return true;
        }
        if !waits {
            self.queue.borrow_mut().push_back(number);
        }
        false
    }

    /// A frame begins: how much time it gives, and whose turn it is.
    fn begin(&self, now: f64) {
        let took = now - self.began.replace(now);
        let given = match took {
            t if t > APART => MOST / 2.0,
            t if t > LONG => self.given.get() * CUT,
            _ => self.given.get() * RAISE,
        };
        self.given.set(given.clamp(LEAST, MOST));
        self.left.set(self.given.get());
        let mut queue = self.queue.borrow_mut();
        // Who was called and did not ask (it is hidden, perhaps) waits no longer.
        let absent = self.called.take();
        queue.retain(|n| !absent.contains(n));
        let turns = self.cost.get().map_or(MANY, |cost| (self.given.get() / cost) as usize).max(1);
        let called: Vec<u32> = queue.iter().take(turns).copied().collect();
        self.spare.set(turns - called.len());
        *self.called.borrow_mut() = called;
    }

    /// A picture has painted for so long, ms.
    pub fn painted(&self, took: f64) {
        self.left.set(self.left.get() - took);
        let cost = self.cost.get().map_or(took, |before| before * (1.0 - WEIGHT) + took * WEIGHT);
        self.cost.set(Some(cost.max(0.01)));
    }

    /// A picture that is gone, or out of sight, waits no longer.
    pub fn leave(&self, number: u32) {
        self.queue.borrow_mut().retain(|n| *n != number);
        self.called.borrow_mut().retain(|n| *n != number);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pictures that all want to paint in every frame, each taking `cost` ms; how often each painted, and
    /// the most frames from one painting of a picture to its next.
    fn waited(pictures: u32, cost: f64, frame_ms: f64, frames: u32) -> (Vec<u32>, u32) {
        let turns = Turns::default();
        let mut counts = vec![0; pictures as usize];
        let (mut last, mut longest) = (vec![0; pictures as usize], 0);
        for frame in 0..frames {
            for n in 0..pictures {
                if turns.may_paint(n, frame, f64::from(frame) * frame_ms) {
                    turns.painted(cost);
                    counts[n as usize] += 1;
                    longest = longest.max(frame - last[n as usize]);
                    last[n as usize] = frame;
                }
            }
        }
        let still = last.iter().map(|f| frames - f).max().unwrap_or(0);
        (counts, longest.max(still))
    }

    fn painted(pictures: u32, cost: f64, frame_ms: f64, frames: u32) -> Vec<u32> {
        waited(pictures, cost, frame_ms, frames).0
    }

    #[test]
    fn nobody_starves_and_nobody_comes_twice_as_often() {
        let (counts, longest) = waited(25, 1.0, 16.7, 100);
        let (least, most) = (counts.iter().min().expect("25"), counts.iter().max().expect("25"));
        assert!(*least >= 15 && *most < least * 2, "{counts:?}");
        // Three or more a frame: 25 have had their turn within nine frames.
        assert!(longest <= 9, "{longest} frames");
    }

    #[test]
    fn cheap_pictures_are_painted_in_every_frame() {
        assert_eq!(painted(10, 0.01, 16.7, 50), vec![50; 10]);
    }

    #[test]
    fn long_frames_give_less_but_never_nothing() {
        let slow: u32 = painted(25, 1.0, 60.0, 100).iter().sum();
        let quick: u32 = painted(25, 1.0, 16.7, 100).iter().sum();
        assert!(slow < quick / 3 && slow >= 100, "{slow} of {quick}");
    }

    /// Who is called but hidden, and so never asks, holds nobody up for longer than its frame.
    #[test]
    fn who_does_not_ask_loses_its_turn() {
        let turns = Turns::default();
        assert!(turns.may_paint(0, 0, 0.0));
        turns.painted(50.0);
        for n in 1..20 {
            assert!(!turns.may_paint(n, 0, 0.0));
        }
        let painted = (1..40).any(|frame| turns.may_paint(19, frame, f64::from(frame) * 17.0));
        assert!(painted, "{turns:?}");
    }

    #[test]
    fn who_leaves_holds_nobody_up() {
        let turns = Turns::default();
        assert!(turns.may_paint(0, 0, 0.0));
        turns.painted(50.0);
        for n in 1..20 {
            assert!(!turns.may_paint(n, 0, 0.0));
        }
        for n in 1..19 {
            turns.leave(n);
        }
        assert!(turns.may_paint(19, 1, 17.0));
    }
}
