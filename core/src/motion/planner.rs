//! Planning one group of servos: weights and limits of the face carried over to servo angles.
//!
//! Linkages are not linear, so limits that tie several servos (lip couplings, skin around a mouth
//! corner) and contacts are linearised about the last solution and solved again (sequential
//! quadratic programming; J. Nocedal and S. Wright, *Numerical Optimization*, ch. 18). After each
//! pass the true forms are evaluated at the frames and where they may be worst between them; wherever
//! one is outside, its bound is drawn in by the overshoot. Only windows around frames that need it are
//! solved again: a change dies away within some frames, and where it has not, the window grows.

use super::between::moments;
use super::condition::conditions;
use super::head::{FaceLimit, Form, Group, Head, Slopes};
use super::plan::LimitedBy;
use super::settings::{MotionError, PlanSettings};
use super::solver::{CrossWeight, Duals, Problem, Row, Settings, Solution, Status, Surroundings, solve};
use super::targets::{Contact, Targets};
use super::track::{Slot, Track, longest, split_long, windows_around};
use crate::rig::DofValues;
use std::ops::Range;

/// Passes of linearise-and-solve at most.
const PASSES: usize = 14;

/// Passes after which a track inside all limits is taken as it is.
const ENOUGH: usize = 5;

/// Change of the angles (degrees) within which a linearisation is as good as new: the slope of a
/// linkage changes by some 0.003 mm per degree and degree, so forms are off by less than 0.001 mm.
const SETTLED: f64 = 0.1;

/// Frames solved on either side of one that needs it.
pub(super) const WINDOW: usize = 20;

/// Breach of a face limit (mm) that only rounding of the arithmetic can explain.
pub(super) const EXACT: f64 = 1e-7;

/// Everything that planning needs, for any range of frames.
pub(super) struct Planner<'a> {
    pub(super) head: Head<'a>,
    pub(super) targets: Targets,
    pub(super) settings: PlanSettings,
    /// Wanted angles, `frames × servos of the rig`.
    pub(super) wanted: Vec<f64>,
}

impl<'a> Planner<'a> {
    pub(super) fn new(head: Head<'a>, targets: Targets, settings: PlanSettings) -> Self {
        let count = head.rig.servos().len();
        let mut wanted = Vec::with_capacity(targets.wanted.len() * count);
        let mut last: Option<DofValues> = None;
        for values in &targets.wanted {
            if last.as_ref() == Some(values) {
                // Silence and held shapes repeat the frame before.
                wanted.extend_from_within(wanted.len() - count..);
            } else {
                wanted.extend(head.rig.reach(values).angles.iter().map(|a| a.value()));
                last = Some(*values);
            }
        }
        Self { head, targets, settings, wanted }
    }

    pub(super) fn frames(&self) -> usize {
        self.targets.timeline.frames
    }

    /// Frames that are free to move: all but the first and last two.
    pub(super) fn free(&self) -> Range<usize> {
        2..self.frames() - 2
    }

    /// Solves again around frames that need it until every face limit truly holds and every contact
    /// that can be made is. Looks at the frames in `windows` first.
    pub(super) fn refine(
        &self,
        group: &Group,
        track: &mut Track,
        mut windows: Vec<Range<usize>>,
    ) -> Result<(), MotionError> {
        let all = self.free();
        let mut pad = WINDOW;
        for pass in 0..PASSES {
            let mut stale = std::mem::take(&mut track.edges);
            for window in &windows {
                // The last step that a window moves begins at its last frame.
                let seen = window.start.saturating_sub(2)..window.end;
                self.draw_in(group, track, seen.clone(), &mut stale);
                self.over_budget(group, track, seen, &mut stale);
                self.contacts_to_move(group, track, window, &mut stale);
                if pass < ENOUGH {
                    self.moved_from(group, track, window, &mut stale);
                }
            }
            if stale.is_empty() {
                return Ok(());
            }
            windows = windows_around(stale, pad, &all);
            // Third differences reach beyond the known frames of a window.
            windows = if self.settings.jerk > 0.0 {
                vec![all.clone()]
            } else {
                split_long(windows, longest(group.servos.len()))
            };
            for window in windows.clone() {
                let mut problem = self.objective(group, window.clone(), track);
                let m = group.servos.len();
                let point = track.angles[window.start * m..window.end * m].to_vec();
                if self.pass(group, &mut problem, window.clone(), &point, track)?.is_none() {
                    // What is fixed around the window leaves too little room: next time a wider one.
                    pad = (2 * pad).min(self.frames());
                    track.edges.push(window.start);
                }
            }
        }
        let steps = 0..self.frames() - 1;
        let worst = self.draw_in(group, track, steps.clone(), &mut vec![]);
        track.infeasible |= worst > EXACT || self.over_budget(group, track, steps, &mut vec![]);
        Ok(())
    }

    /// Plans all servos together where the tracks of the groups draw more than the rail may carry.
    /// `None` where they do not.
    ///
    /// The current of a step is the greatest of 2^servos linear forms, one for every way in which the
    /// servos may turn. Rows for the ways that were found too high are added until none is: each is
    /// implied by the true limit, so the result is what all rows together would give.
    pub(super) fn within_budget(&self, tracks: &[Track]) -> Result<Option<(Group, Track)>, MotionError> {
        let all = self.head.all(self.settings.frame.value());
        let mut joint = Track::join(self, &all, tracks);
        let mut stale = vec![];
        if !self.over_budget(&all, &mut joint, 0..self.frames() - 1, &mut stale) {
            return Ok(None);
        }
        if all.budget.as_ref().is_some_and(|b| b.room <= 0.0) {
            // Not even standing still is within the budget: nothing to be planned.
            joint.infeasible = true;
            return Ok(Some((all, joint)));
        }
        let bound = joint.bound;
        let windows = windows_around(stale, 1, &self.free());
        self.refine(&all, &mut joint, windows)?;
        let free = self.free();
        let problem = self.objective(&all, free.clone(), &joint);
        let m = all.servos.len();
        let mut angles = joint.angles[free.start * m..free.end * m].to_vec();
        if joint.infeasible || problem.worst_breach_of_servos(&angles) > 1e-9 {
            joint.cut = true;
            joint.infeasible = !self.cut_back(&problem, &all, &mut joint, &mut angles);
        }
        // What the groups could do without the budget bounds what they can do with it.
        joint.bound = bound;
        Ok(Some((all, joint)))
    }

    /// Notes the way servos turn on steps whose current is too high, and marks their frames.
    fn over_budget(
        &self,
        group: &Group,
        track: &mut Track,
        steps: Range<usize>,
        stale: &mut Vec<usize>,
    ) -> bool {
        let Some(budget) = &group.budget else { return false };
        let m = group.servos.len();
        let free = self.free();
        let mut any = false;
        for t in steps {
            let step = |c: usize| track.angles[(t + 1) * m + c] - track.angles[t * m + c];
            let current: f64 = (0..m).map(|c| budget.load(c, step(c))).sum();
            if current > budget.room + 1e-6 {
                any = true;
                let ways: Vec<bool> = (0..m).map(|c| step(c) >= 0.0).collect();
                stale.extend([t, t + 1].into_iter().filter(|e| free.contains(e)));
                let known = track.cuts.entry(t).or_default();
                if !known.contains(&ways) {
                    known.push(ways);
                }
            }
        }
        any
    }

    /// Solves one window with the forms linearised at `point` and takes the result into the track.
    /// Gives the multipliers; none, and the track as it was, where the limits leave no room.
    pub(super) fn pass(
        &self,
        group: &Group,
        problem: &mut Problem,
        window: Range<usize>,
        point: &[f64],
        track: &mut Track,
    ) -> Result<Option<Duals>, MotionError> {
        let slots = self.add_rows(problem, group, &window, point, track);
        let settings = Settings { tolerance: self.settings.tolerance, ..Settings::default() };
        let solution = solve(problem, &settings)?;
        if solution.status == Status::Infeasible {
            return Ok(None);
        }
        let m = group.servos.len();
        let mut limited = limited(problem, &solution, &slots);
        for (i, by) in limited.iter_mut().enumerate() {
            if self.head.held[group.servos[i % m]] {
                *by = by.map(|_| LimitedBy::Acceleration);
            }
        }
        track.limited[window.start * m..window.end * m].copy_from_slice(&limited);
        track.take(group, &window, &solution, &slots, point);
        Ok(Some(solution.duals))
    }

    /// Weights in servo angles: `Jᵀ W J` at the wanted angles.
    pub(super) fn objective(&self, group: &Group, range: Range<usize>, track: &Track) -> Problem {
        let (n, m) = (range.len(), group.servos.len());
        let at = |t: usize, c: usize| track.angles[t * m + c];
        let (start, end) = (range.start, range.end);
        let around = |c: usize| Surroundings {
            before: [at(start - 2, c), at(start - 1, c)],
            after: [at(end, c), at(end + 1, c)],
        };
        let surroundings = (0..m).map(around).collect();
        let count = self.head.rig.servos().len();
        let mut wanted = Vec::with_capacity(n * m);
        let mut weight = vec![0.0; n * m];
        let mut cross = vec![];
        for a in 0..m {
            for b in a + 1..m {
                cross.push(CrossWeight { servos: (a, b), weight: vec![0.0; n] });
            }
        }
        let mut last: Vec<f64> = vec![];
        let mut slopes: Option<Slopes<'_>> = None;
        for (i, t) in range.enumerate() {
            let angles: Vec<f64> = group.servos.iter().map(|&s| self.wanted[t * count + s]).collect();
            if angles != last {
                slopes = Some(group.slopes(self.head.rig, &angles));
                last.clone_from(&angles);
            }
            wanted.extend_from_slice(&angles);
            let Some(slopes) = &slopes else { continue };
            for &dof in &group.dofs {
                let w = self.targets.weight[t][dof];
                for a in 0..m {
                    let sa = slopes.of(dof, a);
                    weight[i * m + a] += w * sa * sa;
                }
                for x in &mut cross {
                    x.weight[i] += w * slopes.of(dof, x.servos.0) * slopes.of(dof, x.servos.1);
                }
            }
        }
        cross.retain(|x| x.weight.iter().any(|&w| w != 0.0));
        let gain = |s: &usize| self.head.gain[*s].max(1e-6);
        Problem {
            frames: n,
            width: m,
            wanted,
            weight,
            cross,
            smooth: group.servos.iter().map(|s| self.settings.smoothness * gain(s)).collect(),
            jerk: group.servos.iter().map(|s| self.settings.jerk * gain(s)).collect(),
            limits: group.servos.iter().map(|&s| self.head.limits[s]).collect(),
            surroundings,
            rows: vec![],
        }
    }

    /// Replaces the rows by those of the forms linearised at `point`; tells which row is what.
    pub(super) fn add_rows(
        &self,
        problem: &mut Problem,
        group: &Group,
        window: &Range<usize>,
        point: &[f64],
        track: &Track,
    ) -> Vec<Slot> {
        let m = group.servos.len();
        let count = group.limits.len();
        let rig = self.head.rig;
        problem.rows.clear();
        let mut slots = vec![];
        self.add_current(problem, group, window, track, &mut slots);
        let rest = group.face(rig, &group.rest(&self.head.rest));
        // `lower ≤ form ≤ upper` about the point, as a row in the angles of that frame.
        let row = |i: usize, form: &Form, face: &DofValues, slopes: &Slopes<'_>, lower: f64, upper: f64| {
            let terms: Vec<(usize, usize, f64)> =
                (0..m).map(|c| (i, c, slopes.of_form(form, c))).filter(|t| t.2.abs() > 1e-9).collect();
            let offset = form.value(face) - terms.iter().map(|&(_, c, k)| k * point[i * m + c]).sum::<f64>();
            Row { terms, lower: lower - offset, upper: upper - offset, price: None }
        };
        let mut push = |row: Row, slot: Slot| {
            if !row.terms.is_empty() {
                problem.rows.push(row);
                slots.push(slot);
            }
        };
        for t in window.clone() {
            if count == 0 {
                break;
            }
            let i = t - window.start;
            let angles = &point[i * m..(i + 1) * m];
            let (face, slopes) = (group.face(rig, angles), group.slopes(rig, angles));
            for (l, limit) in group.limits.iter().enumerate() {
                let (lower, upper) = self.bounds(group, limit, &slopes, &rest);
                let [low, high] = track.margins.get(&(t * count + l)).copied().unwrap_or_default();
                // Margins may not squeeze out the rest value: the track starts and ends there.
                let at_rest = limit.form.value(&rest);
                let lower = (lower + low).min(at_rest.max(lower));
                let upper = (upper - high).max(at_rest.min(upper));
                push(row(i, &limit.form, &face, &slopes, lower, upper), Slot::Limit(t * count + l));
            }
        }
        for contact in self.contacts_in(window) {
            let conditions = conditions(contact, group);
            if conditions.is_empty() {
                continue;
            }
            let best = track.best.get(&contact.first).copied().unwrap_or(contact.centre);
            for t in contact.first.max(window.start)..contact.end.min(window.end) {
                let i = t - window.start;
                let angles = &point[i * m..(i + 1) * m];
                let (face, slopes) = (group.face(rig, angles), group.slopes(rig, angles));
                for condition in &conditions {
                    let price = condition.price(&self.settings, t == best);
                    let (lower, upper) = condition.free_of_charge(t == best);
                    let row = row(i, condition.form, &face, &slopes, lower, upper);
                    let slot = Slot::Contact(t * group.contacts.len() + condition.index);
                    push(Row { price: Some(price), ..row }, slot);
                }
            }
        }
        slots
    }

    /// Rows for the current of steps that touch the window.
    fn add_current(
        &self,
        problem: &mut Problem,
        group: &Group,
        window: &Range<usize>,
        track: &Track,
        slots: &mut Vec<Slot>,
    ) {
        let Some(budget) = &group.budget else { return };
        let m = group.servos.len();
        // In order, so that the same track always poses the same problem.
        for t in window.start - 1..window.end {
            for ways in track.cuts.get(&t).into_iter().flatten() {
                let mut row =
                    Row { terms: vec![], lower: f64::NEG_INFINITY, upper: budget.room, price: None };
                for (c, &up) in ways.iter().enumerate() {
                    let k = if up { budget.up[c] } else { -budget.down[c] };
                    for (frame, k) in [(t + 1, k), (t, -k)] {
                        if window.contains(&frame) {
                            row.terms.push((frame - window.start, c, k));
                        } else {
                            row.upper -= k * track.angles[frame * m + c];
                        }
                    }
                }
                problem.rows.push(row);
                slots.push(Slot::Current);
            }
        }
    }

    /// Contacts with a frame in the window.
    pub(super) fn contacts_in(&self, window: &Range<usize>) -> Vec<&Contact> {
        // Contacts stand in order of time; frames of neighbours overlap by rounding at most.
        let all = &self.targets.contacts;
        let first = all.partition_point(|c| c.end + 4 < window.start);
        let near = all[first..].iter().take_while(|c| c.first < window.end + 4);
        near.filter(|c| c.first < window.end && c.end > window.start).collect()
    }

    /// Bounds of a face limit, tightened by what rounding of the pulses can add; the rest value
    /// stays inside whatever the tightening.
    fn bounds(&self, group: &Group, limit: &FaceLimit, slopes: &Slopes<'_>, rest: &DofValues) -> (f64, f64) {
        let rounding: f64 = group
            .servos
            .iter()
            .enumerate()
            .map(|(c, &s)| slopes.of_form(&limit.form, c).abs() * self.head.rounding[s])
            .sum();
        let at_rest = limit.form.value(rest);
        ((limit.lower + rounding).min(at_rest), (limit.upper - rounding).max(at_rest))
    }

    /// Evaluates the true face limits from the first to the last of the frames `seen` and on the way
    /// to the frame after each. Adds every overshoot to the margins, and the frame to `stale`. Returns
    /// the greatest.
    pub(super) fn draw_in(
        &self,
        group: &Group,
        track: &mut Track,
        seen: Range<usize>,
        stale: &mut Vec<usize>,
    ) -> f64 {
        /// Within one frame no form strays from the straight line between its ends by more (mm).
        const STRAY: f64 = 1.0;
        if group.limits.is_empty() {
            return 0.0;
        }
        let m = group.servos.len();
        let free = self.free();
        let rig = self.head.rig;
        let rest = group.face(rig, &group.rest(&self.head.rest));
        let mut worst: f64 = 0.0;
        let mut face = group.face(rig, &track.angles[seen.start * m..(seen.start + 1) * m]);
        let near = |l: &FaceLimit, f: &DofValues| {
            let v = l.form.value(f);
            v < l.lower + STRAY || v > l.upper - STRAY
        };
        for t in seen {
            let here = &track.angles[t * m..(t + 1) * m];
            let next = &track.angles[(t + 1) * m..(t + 2) * m];
            let face_next = if here == next { face } else { group.face(rig, next) };
            if group.limits.iter().any(|l| near(l, &face) || near(l, &face_next)) {
                let slopes = group.slopes(rig, here);
                let face_at = |u: f64| {
                    let mixed: Vec<f64> = here.iter().zip(next).map(|(a, b)| a + u * (b - a)).collect();
                    group.face(rig, &mixed)
                };
                let moments = if here == next {
                    vec![0.0]
                } else {
                    let values = |face: DofValues| group.limits.iter().map(|l| l.form.value(&face)).collect();
                    moments(&group.limits, |u| values(face_at(u)))
                };
                for u in moments {
                    let between = face_at(u);
                    for (l, limit) in group.limits.iter().enumerate() {
                        let (lower, upper) = self.bounds(group, limit, &slopes, &rest);
                        let value = limit.form.value(&between);
                        for (side, over) in [(0, lower - value), (1, value - upper)] {
                            if over <= EXACT {
                                continue;
                            }
                            worst = worst.max(over);
                            // Between frames both neighbours give way.
                            for e in if u == 0.0 { t..t + 1 } else { t..t + 2 } {
                                if free.contains(&e) {
                                    let place = e * group.limits.len() + l;
                                    track.margins.entry(place).or_default()[side] += 1.2 * over + 1e-5;
                                    stale.push(e);
                                }
                            }
                        }
                    }
                }
            }
            face = face_next;
        }
        worst
    }

    /// Moves the frame at which a missed contact is to be made to where the track comes nearest to
    /// it, and marks it.
    fn contacts_to_move(
        &self,
        group: &Group,
        track: &mut Track,
        window: &Range<usize>,
        stale: &mut Vec<usize>,
    ) {
        let m = group.servos.len();
        for contact in self.contacts_in(window) {
            let values = conditions(contact, group);
            if values.is_empty() {
                continue;
            }
            let missing = |t: usize| {
                let face = group.face(self.head.rig, &track.angles[t * m..(t + 1) * m]);
                values.iter().map(|c| c.missing(c.form.value(&face))).fold(f64::NEG_INFINITY, f64::max)
            };
            let best = track.best.get(&contact.first).copied().unwrap_or(contact.centre);
            if missing(best) <= 0.0 {
                continue;
            }
            let frames = contact.first..contact.end;
            let nearest = frames.min_by(|&a, &b| missing(a).total_cmp(&missing(b))).unwrap_or(best);
            if missing(nearest) < missing(best) - 1e-3 {
                track.best.insert(contact.first, nearest);
                stale.extend([best, nearest]);
            }
        }
    }

    /// Marks frames where a limit or contact is at work and the track has moved away from where its
    /// forms were linearised.
    fn moved_from(&self, group: &Group, track: &Track, window: &Range<usize>, stale: &mut Vec<usize>) {
        let m = group.servos.len();
        let (l, k) = (group.limits.len(), group.contacts.len());
        for t in window.clone() {
            let at_work = track.limit_duals[t * l..(t + 1) * l].iter().any(|&d| d.abs() > 1e-6)
                || track.contact_duals[t * k..(t + 1) * k].iter().any(|&d| d.abs() > 1e-6);
            let far = (t * m..(t + 1) * m).any(|i| (track.angles[i] - track.point[i]).abs() > SETTLED);
            if at_work && far {
                stale.push(t);
            }
        }
    }

    /// Last resort: draws the whole track towards standing at rest until every limit holds. Limits
    /// on travel, speed and acceleration are convex and hold at rest, so they survive.
    pub(super) fn cut_back(
        &self,
        problem: &Problem,
        group: &Group,
        track: &mut Track,
        angles: &mut [f64],
    ) -> bool {
        let m = problem.width;
        let free = self.free();
        let original = angles.to_vec();
        for step in (0..=64).rev() {
            let share = f64::from(step) / 64.0;
            for (i, angle) in angles.iter_mut().enumerate() {
                let rest = self.head.rest[group.servos[i % m]].value();
                *angle = rest + share * (original[i] - rest);
            }
            track.angles[free.start * m..free.end * m].copy_from_slice(angles);
            if problem.worst_breach_of_servos(angles) <= 1e-9
                && self.draw_in(group, track, 0..self.frames() - 1, &mut vec![]) <= EXACT
                && !self.over_budget(group, track, 0..self.frames() - 1, &mut vec![])
            {
                return true;
            }
        }
        false
    }
}

/// Which limit holds each servo away from its wanted angle, by the largest multiplier that acts on
/// that angle; `None` where it is where it wants to be.
fn limited(problem: &Problem, solution: &Solution, slots: &[Slot]) -> Vec<Option<LimitedBy>> {
    /// Degrees off below which nothing is worth saying.
    const NEAR: f64 = 0.3;
    let (n, m) = (problem.frames, problem.width);
    let duals = &solution.duals;
    let mut by_row = vec![0.0; n * m];
    let mut by_current = vec![0.0; n * m];
    for ((row, dual), slot) in problem.rows.iter().zip(&duals.rows).zip(slots) {
        let forces = if matches!(slot, Slot::Current) { &mut by_current } else { &mut by_row };
        for &(t, c, k) in &row.terms {
            forces[t * m + c] += k * dual;
        }
    }
    (0..n * m)
        .map(|i| {
            if (solution.angles[i] - problem.wanted[i]).abs() < NEAR {
                return None;
            }
            let own = &problem.limits[i % m];
            if own.upper - own.lower < 1e-7 {
                return Some(LimitedBy::Travel);
            }
            let (v, a) = (&duals.speed, &duals.acceleration);
            let forces = [
                (LimitedBy::Travel, duals.travel[i]),
                (LimitedBy::Speed, v[i] - v[i + m]),
                (LimitedBy::Acceleration, a[i] - 2.0 * a[i + m] + a[i + 2 * m]),
                (LimitedBy::Coupling, by_row[i]),
                (LimitedBy::Current, by_current[i]),
            ];
            let total: f64 = forces.iter().map(|f| f.1.abs()).sum();
            let pull = 2.0 * problem.weight[i] * (solution.angles[i] - problem.wanted[i]).abs();
            // Where smoothness alone explains the distance, no limit is to blame.
            if total <= 0.1 * pull {
                return None;
            }
            forces.into_iter().max_by(|x, y| x.1.abs().total_cmp(&y.1.abs())).map(|f| f.0)
        })
        .collect()
}

#[cfg(test)]
#[path = "tests/planner.rs"]
mod tests;

#[cfg(test)]
#[path = "tests/refine.rs"]
mod refine_tests;
