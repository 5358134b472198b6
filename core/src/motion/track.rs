//! One group's motion over the whole line, and what its refinement has learned so far.

use super::head::Group;
use super::plan::{LimitedBy, ServoCurve};
use super::planner::Planner;
use super::solver::Solution;
use std::collections::HashMap;
use std::ops::Range;

/// What a row of a group's problem stands for.
#[derive(Clone, Copy)]
pub(super) enum Slot {
    /// Frame times number of limits, plus the limit.
    Limit(usize),
    /// Frame times number of contact forms, plus the form.
    Contact(usize),
    /// The current of one step.
    Current,
}

/// One group's motion over the whole line; lists hold `frames × servos` entries unless said.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Track {
    pub(super) angles: Vec<f64>,
    pub(super) limited: Vec<Option<LimitedBy>>,
    /// Proven lower bound on the objective of the whole line.
    pub(super) bound: f64,
    /// True where limits could not be kept.
    pub(super) infeasible: bool,
    /// True where the track was drawn back to keep them.
    pub(super) cut: bool,
    /// Where the forms were last linearised.
    pub(super) point: Vec<f64>,
    /// Multipliers of the rows: `frames × limits` and `frames × contact forms`.
    pub(super) limit_duals: Vec<f64>,
    pub(super) contact_duals: Vec<f64>,
    /// How far limits are drawn in, where they are: below, above; by frame times limits plus limit.
    pub(super) margins: HashMap<usize, [f64; 2]>,
    /// Frame at which a contact is to be made, where it is not its centre; by its first frame.
    pub(super) best: HashMap<usize, usize>,
    /// Which way each servo turns on steps whose current has been too high: each stands for one row.
    /// By the frame at which the step starts.
    pub(super) cuts: HashMap<usize, Vec<Vec<bool>>>,
    /// Frames at the ends of windows that the last solve moved: what lies beyond would move, too.
    pub(super) edges: Vec<usize>,
}

impl Track {
    /// At rest throughout.
    pub(super) fn resting(planner: &Planner<'_>, group: &Group) -> Self {
        let frames = planner.frames();
        let rest = group.rest(&planner.head.rest);
        let size = frames * rest.len();
        let angles: Vec<f64> = (0..size).map(|i| rest[i % rest.len()]).collect();
        Self {
            point: angles.clone(),
            angles,
            limited: vec![None; size],
            bound: 0.0,
            infeasible: false,
            cut: false,
            limit_duals: vec![0.0; frames * group.limits.len()],
            contact_duals: vec![0.0; frames * group.contacts.len()],
            margins: HashMap::new(),
            best: HashMap::new(),
            cuts: HashMap::new(),
            edges: vec![],
        }
    }

    /// As a plan has it from frame `offset` on.
    pub(super) fn of_plan(
        planner: &Planner<'_>,
        group: &Group,
        servos: &[ServoCurve],
        offset: usize,
    ) -> Self {
        let mut track = Self::resting(planner, group);
        let m = group.servos.len();
        for t in 0..planner.frames() {
            for (c, &s) in group.servos.iter().enumerate() {
                track.angles[t * m + c] = servos[s].planned[offset + t].value();
                track.limited[t * m + c] = servos[s].limited[offset + t];
            }
        }
        track.point.clone_from(&track.angles);
        track
    }

    /// The tracks of all groups as one of all servos, for [`Head::all`](super::head::Head::all).
    pub(super) fn join(planner: &Planner<'_>, all: &Group, tracks: &[Self]) -> Self {
        let mut joint = Self::resting(planner, all);
        let count = all.servos.len();
        let mut before = 0;
        for (group, track) in planner.head.groups.iter().zip(tracks) {
            let m = group.servos.len();
            for t in 0..planner.frames() {
                for (c, &s) in group.servos.iter().enumerate() {
                    joint.angles[t * count + s] = track.angles[t * m + c];
                    joint.limited[t * count + s] = track.limited[t * m + c];
                }
            }
            let limits = group.limits.len();
            for (place, margin) in &track.margins {
                let (t, l) = (place / limits, place % limits);
                joint.margins.insert(t * all.limits.len() + before + l, *margin);
            }
            joint.best.extend(track.best.iter().map(|(k, v)| (*k, *v)));
            joint.infeasible |= track.infeasible;
            joint.cut |= track.cut;
            before += limits;
        }
        joint.point.clone_from(&joint.angles);
        joint.bound = tracks.iter().map(|t| t.bound).sum();
        joint
    }

    /// Takes in the solution of one window, whose forms were linearised at `point`.
    pub(super) fn take(
        &mut self,
        group: &Group,
        window: &Range<usize>,
        solution: &Solution,
        slots: &[Slot],
        point: &[f64],
    ) {
        /// Degrees by which the end of a window may move without a look beyond.
        const STILL: f64 = 0.02;
        let m = group.servos.len();
        let (a, b) = (window.start, window.end);
        let frames = self.angles.len() / m;
        for (end, inside) in [(a, a > 2), (b - 1, b + 2 < frames)] {
            let moved = |c: usize| (solution.angles[(end - a) * m + c] - self.angles[end * m + c]).abs();
            if inside && (0..m).any(|c| moved(c) > STILL) {
                self.edges.push(end);
            }
        }
        self.angles[a * m..b * m].copy_from_slice(&solution.angles);
        self.point[a * m..b * m].copy_from_slice(point);
        let (l, k) = (group.limits.len(), group.contacts.len());
        self.limit_duals[a * l..b * l].fill(0.0);
        self.contact_duals[a * k..b * k].fill(0.0);
        for (slot, &dual) in slots.iter().zip(&solution.duals.rows) {
            match *slot {
                Slot::Limit(i) => self.limit_duals[i] = dual,
                Slot::Contact(i) => self.contact_duals[i] = dual,
                Slot::Current => {}
            }
        }
    }
}

/// Longest window of a group of so many servos, frames: what one solve works on stays in the processor's
/// caches, and its memory in bounds.
pub(super) fn longest(servos: usize) -> usize {
    /// Angles solved at once.
    const TOGETHER: usize = 8000;
    (TOGETHER / servos.max(1)).clamp(500, 4000)
}

/// Cuts windows that are too long; the seams count as ends that may have to move.
pub(super) fn split_long(windows: Vec<Range<usize>>, longest: usize) -> Vec<Range<usize>> {
    let mut out = vec![];
    for window in windows {
        let mut start = window.start;
        while window.end - start > longest {
            out.push(start..start + longest);
            start += longest;
        }
        out.push(start..window.end);
    }
    out
}

/// Windows of `pad` frames around every frame, within `all`, merged where they meet.
pub(super) fn windows_around(mut frames: Vec<usize>, pad: usize, all: &Range<usize>) -> Vec<Range<usize>> {
    frames.sort_unstable();
    let mut windows: Vec<Range<usize>> = vec![];
    for t in frames {
        let window = t.saturating_sub(pad).max(all.start)..(t + pad + 1).min(all.end);
        match windows.last_mut() {
            Some(last) if window.start <= last.end + 2 => last.end = last.end.max(window.end),
            _ if window.is_empty() => {}
            _ => windows.push(window),
        }
    }
    windows
}

#[cfg(test)]
#[path = "tests/track.rs"]
mod tests;
