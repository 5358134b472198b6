//! Planning one group over the whole line, a stretch of frames at a time.
//!
//! What happens at one moment hardly matters two seconds away: smoothness and limits carry an influence
//! over some frames, and it dies out. So a line is solved in stretches, each with the frames before it
//! known and [`AHEAD`] frames beyond it solved along and thrown away; time grows with the length, and the
//! memory that is worked on does not. Seams that would still move are solved again like any other frame
//! that needs it, and how far the whole is from its optimum is proven at the end: multipliers put together
//! from the stretches are multipliers of the whole line.

use super::head::Group;
use super::planner::{EXACT, Planner};
use super::settings::MotionError;
use super::solver::{Duals, Problem, lower_bound};
use super::track::{Slot, Track, longest, split_long};
use std::ops::Range;

/// Frames beyond a stretch that are solved along with it.
const AHEAD: usize = 100;

impl Planner<'_> {
    /// Plans one group over the whole line.
    pub(super) fn solve(&self, group: &Group) -> Result<Track, MotionError> {
        let mut track = self.first_pass(group)?;
        self.refine(group, &mut track, self.stretches(group))?;
        self.certify(group, &mut track)?;
        Ok(track)
    }

    /// All free frames, in stretches.
    fn stretches(&self, group: &Group) -> Vec<Range<usize>> {
        // Third differences reach beyond the known frames of a stretch.
        let most = if self.settings.jerk > 0.0 { self.frames() } else { longest(group.servos.len()) };
        split_long(vec![self.free()], most)
    }

    /// A track with the forms linearised where every servo would like to be.
    fn first_pass(&self, group: &Group) -> Result<Track, MotionError> {
        let mut track = Track::resting(self, group);
        let first = |window: Range<usize>, track: &mut Track| {
            let mut problem = self.objective(group, window.clone(), track);
            let wanted = problem.wanted.clone();
            self.pass(group, &mut problem, window, &wanted, track).map(|duals| duals.is_some())
        };
        for stretch in self.stretches(group) {
            let window = stretch.start..(stretch.end + AHEAD).min(self.free().end);
            if !first(window, &mut track)? {
                // A servo too slow to come home beyond the stretch: all at once.
                track = Track::resting(self, group);
                track.infeasible = !first(self.free(), &mut track)?;
                break;
            }
            // Its end will be solved again; its start moves where the stretch before was too sure of it.
            track.edges.retain(|&e| e == stretch.start);
        }
        Ok(track)
    }

    /// Proven bound of the whole track, from one more solve of every stretch with the forms linearised
    /// at the track. Cuts the track back where limits could not be kept.
    fn certify(&self, group: &Group, track: &mut Track) -> Result<(), MotionError> {
        let (all, m) = (self.free(), group.servos.len());
        let mut whole = self.objective(group, all.clone(), track);
        let mut angles = track.angles[all.start * m..all.end * m].to_vec();
        if track.infeasible || whole.worst_breach_of_servos(&angles) > 1e-9 {
            track.cut = true;
            track.infeasible = !self.cut_back(&whole, group, track, &mut angles);
        }
        let before = track.clone();
        let mut duals = no_duals(&whole);
        let mut solved = true;
        for stretch in self.stretches(group) {
            let mut problem = self.objective(group, stretch.clone(), track);
            let from = (stretch.start - all.start) * m;
            let point = &angles[from..from + stretch.len() * m];
            match self.pass(group, &mut problem, stretch, point, track)? {
                Some(own) => {
                    // Rows across a seam stand in both stretches; the later one knows more.
                    duals.travel[from..][..own.travel.len()].copy_from_slice(&own.travel);
                    duals.speed[from..][..own.speed.len()].copy_from_slice(&own.speed);
                    duals.acceleration[from..][..own.acceleration.len()].copy_from_slice(&own.acceleration);
                }
                None => solved = false,
            }
        }
        let slots = self.add_rows(&mut whole, group, &all, &angles, &before);
        let of_row = |slot: &Slot| match *slot {
            Slot::Limit(i) => track.limit_duals[i],
            Slot::Contact(i) => track.contact_duals[i],
            Slot::Current => 0.0,
        };
        duals.rows = slots.iter().map(of_row).collect();
        let bound = lower_bound(&whole, &track.angles[all.start * m..all.end * m], &duals);
        let keeps = solved && !before.cut && {
            self.draw_in(group, track, 0..self.frames() - 1, &mut vec![]) <= EXACT
        };
        if !keeps {
            *track = before;
        }
        track.bound = bound;
        Ok(())
    }
}

/// Multipliers of nothing, one for every row.
fn no_duals(problem: &Problem) -> Duals {
    let (n, m) = (problem.frames, problem.width);
    Duals {
        travel: vec![0.0; n * m],
        speed: vec![0.0; (n + 1) * m],
        acceleration: vec![0.0; (n + 2) * m],
        rows: vec![],
    }
}

#[cfg(test)]
#[path = "tests/whole.rs"]
mod tests;
