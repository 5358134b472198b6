//! Planning one group of servos: weights and limits of the face carried over to servo angles.
//!
//! Linkages are not linear, so limits that tie several servos (lip couplings, skin around a mouth
//! corner) and contacts are linearised about the last solution and solved again, a few times
//! (sequential quadratic programming; J. Nocedal and S. Wright, *Numerical Optimization*, ch. 18).
//! After each pass the true forms are evaluated at the frames and at three moments between them;
//! wherever one is outside, its bound is drawn in by the overshoot and the problem is solved again.

use super::head::{Form, Group, Head, Slopes};
use super::plan::LimitedBy;
use super::settings::{MotionError, PlanSettings};
use super::solver::{CrossWeight, Problem, Row, Settings, Solution, Status, Surroundings, solve};
use super::targets::{Contact, ContactKind, Targets};
use crate::rig::DofValues;
use std::ops::Range;

/// Passes of linearise-and-solve at most.
const PASSES: usize = 12;

/// Passes after which a track inside all limits is taken as it is.
const ENOUGH: usize = 5;

/// Change of the angles (degrees) below which a further pass is not worth its time.
const SETTLED: f64 = 0.05;

/// Gap (mm) up to which lips count as closed.
pub const CLOSED_GAP: f64 = 0.3;

/// Distance (mm) from its place at the teeth up to which the lower lip counts as there.
pub const LIP_ON_TEETH: f64 = 0.5;

/// Distance (mm) from its target up to which the tongue counts as there.
pub const TONGUE_REACHED: f64 = 0.8;

/// Share of its tolerance that a contact aims to keep in hand.
const IN_HAND: f64 = 0.5;

/// Price of holding a contact through the whole of its segment, as a share of making it once.
const HOLD: f64 = 0.02;

/// Breach of a face limit (mm) that only rounding of the arithmetic can explain.
const EXACT: f64 = 1e-7;

/// Result for one group over its free frames.
pub(super) struct GroupSolution {
    /// `frames × servos`.
    pub(super) angles: Vec<f64>,
    pub(super) limited: Vec<Option<LimitedBy>>,
    pub(super) objective: f64,
    pub(super) bound: f64,
    /// True when every hard limit holds.
    pub(super) within: bool,
    /// True when the solver proved its tolerance in the last pass and the track was not cut back.
    pub(super) optimal: bool,
}

/// Everything that planning needs, for any range of frames.
pub(super) struct Planner<'a> {
    pub(super) head: Head<'a>,
    pub(super) targets: Targets,
    pub(super) settings: PlanSettings,
    /// Wanted angles, `frames × servos of the rig`.
    pub(super) wanted: Vec<f64>,
}

/// A contact's condition on one form: the value wanted, and how far off still counts.
pub(super) struct Condition<'f> {
    pub(super) form: &'f Form,
    /// Value that the form should have or be below.
    pub(super) target: f64,
    /// The form must not be below `target − tolerance` either.
    pub(super) both_sides: bool,
    pub(super) tolerance: f64,
}

impl Condition<'_> {
    /// How far the form is from counting as reached (0 or less: reached).
    pub(super) fn missing(&self, value: f64) -> f64 {
        let off = value - self.target;
        (if self.both_sides { off.abs() } else { off }) - self.tolerance
    }
}

/// The conditions of one contact on the forms of one group.
pub(super) fn conditions<'f>(contact: &Contact, group: &'f Group) -> Vec<Condition<'f>> {
    let matching = group.contacts.iter().filter(|(kind, _)| *kind == contact.kind);
    matching
        .map(|(kind, form)| match kind {
            ContactKind::Lips => Condition { form, target: 0.0, both_sides: false, tolerance: CLOSED_GAP },
            ContactKind::LipOnTeeth => Condition {
                form,
                target: form.value(&contact.target),
                both_sides: true,
                tolerance: LIP_ON_TEETH,
            },
            ContactKind::TongueTip | ContactKind::TongueBody => Condition {
                form,
                target: form.value(&contact.target),
                both_sides: false,
                tolerance: TONGUE_REACHED,
            },
        })
        .collect()
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

    /// Solves one group over the free frames `range`, with everything outside known.
    pub(super) fn solve(
        &self,
        group: &Group,
        range: Range<usize>,
        surroundings: Vec<Surroundings>,
    ) -> Result<GroupSolution, MotionError> {
        let n = range.len();
        let count = self.head.rig.servos().len();
        let mut problem = self.objective(group, range.clone(), surroundings);
        let contacts: Vec<&Contact> = self
            .targets
            .contacts
            .iter()
            .filter(|c| range.contains(&c.centre) && group.contacts.iter().any(|(k, _)| *k == c.kind))
            .collect();
        let settings = Settings { tolerance: self.settings.tolerance, ..Settings::default() };

        // First linearisation: where every servo would like to be.
        let mut point: Vec<f64> = range
            .clone()
            .flat_map(|t| group.servos.iter().map(move |&s| self.wanted[t * count + s]))
            .collect();
        let mut best_frame: Vec<usize> = contacts.iter().map(|c| c.centre).collect();
        let mut margins = vec![[0.0_f64; 2]; n * group.limits.len()];
        let mut pass = 0;
        loop {
            pass += 1;
            self.add_rows(&mut problem, group, &range, &point, &contacts, &best_frame, &margins);
            let solution = solve(&problem, &settings)?;
            let change = point.iter().zip(&solution.angles).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            let solved = solution.status != Status::Infeasible;
            let simple = group.limits.is_empty() && contacts.is_empty();
            let worst = self.draw_in(&problem, group, &solution.angles, &mut margins);
            let moved = self.choose_frames(group, &range, &contacts, &solution.angles, &mut best_frame);
            let settled = change < SETTLED && !moved;
            if simple || (worst <= EXACT && (settled || pass >= ENOUGH)) || pass >= PASSES {
                return Ok(self.finish(problem, group, solution, solved && worst <= EXACT));
            }
            point = solution.angles;
        }
    }

    /// Weights in servo angles: `Jᵀ W J` at the wanted angles.
    fn objective(&self, group: &Group, range: Range<usize>, surroundings: Vec<Surroundings>) -> Problem {
        let (n, m) = (range.len(), group.servos.len());
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

    /// Replaces the rows by those of the forms linearised at `point`.
    #[allow(clippy::too_many_arguments)]
    fn add_rows(
        &self,
        problem: &mut Problem,
        group: &Group,
        range: &Range<usize>,
        point: &[f64],
        contacts: &[&Contact],
        best_frame: &[usize],
        margins: &[[f64; 2]],
    ) {
        let m = group.servos.len();
        problem.rows.clear();
        if group.limits.is_empty() && contacts.is_empty() {
            return;
        }
        let rest = group.face(self.head.rig, &group.rest(&self.head.rest));
        // `form ≤ upper` about the point, as a row in the angles of that frame.
        let row =
            |i: usize, form: &Form, face: &DofValues, slopes: &Slopes<'_>, lower: f64, upper: f64, price| {
                let terms: Vec<(usize, usize, f64)> =
                    (0..m).map(|c| (i, c, slopes.of_form(form, c))).filter(|t| t.2.abs() > 1e-9).collect();
                if terms.is_empty() {
                    return None;
                }
                let offset =
                    form.value(face) - terms.iter().map(|&(_, c, k)| k * point[i * m + c]).sum::<f64>();
                Some(Row { terms, lower: lower - offset, upper: upper - offset, price })
            };
        if !group.limits.is_empty() {
            for i in 0..range.len() {
                let angles = &point[i * m..(i + 1) * m];
                let face = group.face(self.head.rig, angles);
                let slopes = group.slopes(self.head.rig, angles);
                for (l, limit) in group.limits.iter().enumerate() {
                    let (lower, upper) = self.bounds(group, limit, &slopes, &rest);
                    let [low, high] = margins[i * group.limits.len() + l];
                    // Margins may not squeeze out the rest value: the track starts and ends there.
                    let at_rest = limit.form.value(&rest);
                    let lower = (lower + low).min(at_rest.max(lower));
                    let upper = (upper - high).max(at_rest.min(upper));
                    problem.rows.extend(row(i, &limit.form, &face, &slopes, lower, upper, None));
                }
            }
        }
        for (contact, &best) in contacts.iter().zip(best_frame) {
            let price = match contact.kind {
                ContactKind::Lips | ContactKind::LipOnTeeth => self.settings.closure_price,
                ContactKind::TongueTip | ContactKind::TongueBody => self.settings.tongue_price,
            };
            for t in contact.first.max(range.start)..contact.end.min(range.end) {
                let i = t - range.start;
                let angles = &point[i * m..(i + 1) * m];
                let face = group.face(self.head.rig, angles);
                let slopes = group.slopes(self.head.rig, angles);
                for condition in conditions(contact, group) {
                    let (price, kept) = if t == best { (price, IN_HAND) } else { (price * HOLD, 0.8) };
                    let upper = condition.target + kept * condition.tolerance;
                    let lower = if condition.both_sides {
                        condition.target - kept * condition.tolerance
                    } else {
                        f64::NEG_INFINITY
                    };
                    problem.rows.extend(row(i, condition.form, &face, &slopes, lower, upper, Some(price)));
                }
            }
        }
    }

    /// Bounds of a face limit, tightened by what rounding of the pulses can add; the rest value
    /// stays inside whatever the tightening.
    fn bounds(
        &self,
        group: &Group,
        limit: &super::head::FaceLimit,
        slopes: &Slopes<'_>,
        rest: &DofValues,
    ) -> (f64, f64) {
        let rounding: f64 = group
            .servos
            .iter()
            .enumerate()
            .map(|(c, &s)| slopes.of_form(&limit.form, c).abs() * self.head.rounding[s])
            .sum();
        let at_rest = limit.form.value(rest);
        ((limit.lower + rounding).min(at_rest), (limit.upper - rounding).max(at_rest))
    }

    /// Evaluates the true face limits at frames and between them. Adds every overshoot to the
    /// margins and returns the greatest.
    fn draw_in(&self, problem: &Problem, group: &Group, angles: &[f64], margins: &mut [[f64; 2]]) -> f64 {
        const BETWEEN: usize = 4;
        if group.limits.is_empty() {
            return 0.0;
        }
        let (n, m) = (problem.frames, problem.width);
        let rest = group.face(self.head.rig, &group.rest(&self.head.rest));
        let mut worst: f64 = 0.0;
        let at = |t: usize| -> Vec<f64> { (0..m).map(|c| problem.extended(angles, t, c)).collect() };
        let mut here = at(1);
        for t in 1..n + 2 {
            let next = at(t + 1);
            let still = here == next;
            for k in 0..BETWEEN {
                if still && k > 0 {
                    break;
                }
                let u = k as f64 / BETWEEN as f64;
                let mixed: Vec<f64> = here.iter().zip(&next).map(|(a, b)| a + u * (b - a)).collect();
                let face = group.face(self.head.rig, &mixed);
                let slopes = group.slopes(self.head.rig, &mixed);
                for (l, limit) in group.limits.iter().enumerate() {
                    let (lower, upper) = self.bounds(group, limit, &slopes, &rest);
                    let value = limit.form.value(&face);
                    for (side, over) in [(0, lower - value), (1, value - upper)] {
                        if over > EXACT {
                            worst = worst.max(over);
                            // Extended frame t is free frame t − 2; between frames both neighbours give way.
                            for e in if k == 0 { t..t + 1 } else { t..t + 2 } {
                                if (2..n + 2).contains(&e) {
                                    let margin = &mut margins[(e - 2) * group.limits.len() + l][side];
                                    *margin += 1.2 * over + 1e-5;
                                }
                            }
                        }
                    }
                }
            }
            here = next;
        }
        worst
    }

    /// Moves the frame at which each contact is made to where the solution comes nearest to it.
    /// True when a contact that is not made yet has moved.
    fn choose_frames(
        &self,
        group: &Group,
        range: &Range<usize>,
        contacts: &[&Contact],
        angles: &[f64],
        best_frame: &mut [usize],
    ) -> bool {
        let m = group.servos.len();
        let mut moved = false;
        for (contact, best) in contacts.iter().zip(best_frame) {
            let missing = |t: usize| {
                let i = t - range.start;
                let face = group.face(self.head.rig, &angles[i * m..(i + 1) * m]);
                let values = conditions(contact, group);
                values.iter().map(|c| c.missing(c.form.value(&face))).fold(f64::NEG_INFINITY, f64::max)
            };
            if missing(*best) <= 0.0 {
                continue;
            }
            let frames = contact.first.max(range.start)..contact.end.min(range.end);
            let nearest = frames.min_by(|&a, &b| missing(a).total_cmp(&missing(b))).unwrap_or(*best);
            if missing(nearest) < missing(*best) - 1e-3 {
                *best = nearest;
                moved = true;
            }
        }
        moved
    }

    fn finish(&self, problem: Problem, group: &Group, solution: Solution, within: bool) -> GroupSolution {
        let limited = limited(&problem, &solution);
        let optimal = within && solution.status == Status::Solved;
        let mut angles = solution.angles;
        let mut within = within;
        if !within {
            within = self.cut_back(&problem, group, &mut angles);
        }
        GroupSolution {
            objective: problem.objective(&angles),
            bound: solution.bound,
            angles,
            limited,
            within,
            optimal,
        }
    }

    /// Last resort: draws the whole track towards a standing start until every limit holds. Limits
    /// on travel, speed and acceleration are convex and hold at rest, so they survive.
    fn cut_back(&self, problem: &Problem, group: &Group, angles: &mut [f64]) -> bool {
        let m = problem.width;
        let at_rest = |c: usize| self.head.rest[group.servos[c]].value();
        let resting = |s: &Surroundings, rest: f64| s.before.iter().chain(&s.after).all(|&v| v == rest);
        if !(0..m).all(|c| resting(&problem.surroundings[c], at_rest(c))) {
            return false;
        }
        let original = angles.to_vec();
        for step in (0..=64).rev() {
            let share = f64::from(step) / 64.0;
            for (i, angle) in angles.iter_mut().enumerate() {
                let rest = at_rest(i % m);
                *angle = rest + share * (original[i] - rest);
            }
            let hard = Problem { rows: vec![], ..problem.clone() };
            let mut ignored = vec![[0.0; 2]; problem.frames * group.limits.len()];
            if hard.worst_breach(angles) <= 1e-9
                && self.draw_in(problem, group, angles, &mut ignored) <= EXACT
            {
                return true;
            }
        }
        false
    }
}

/// Which limit holds each servo away from its wanted angle, by the largest multiplier that acts on
/// that angle; `None` where it is where it wants to be.
fn limited(problem: &Problem, solution: &Solution) -> Vec<Option<LimitedBy>> {
    /// Degrees off below which nothing is worth saying.
    const NEAR: f64 = 0.3;
    let (n, m) = (problem.frames, problem.width);
    let duals = &solution.duals;
    let mut by_row = vec![0.0; n * m];
    for (row, dual) in problem.rows.iter().zip(&duals.rows) {
        for &(t, c, k) in &row.terms {
            by_row[t * m + c] += k * dual;
        }
    }
    (0..n * m)
        .map(|i| {
            if (solution.angles[i] - problem.wanted[i]).abs() < NEAR {
                return None;
            }
            let (v, a) = (&duals.speed, &duals.acceleration);
            let forces = [
                (LimitedBy::Travel, duals.travel[i]),
                (LimitedBy::Speed, v[i] - v[i + m]),
                (LimitedBy::Acceleration, a[i] - 2.0 * a[i + m] + a[i + 2 * m]),
                (LimitedBy::Coupling, by_row[i]),
            ];
            let total: f64 = forces.iter().map(|f| f.1.abs()).sum();
            let pull = 2.0 * problem.weight[i] * (solution.angles[i] - problem.wanted[i]).abs();
            // Where smoothness alone explains the distance, no limit is to blame.
            if total < 0.1 * pull || total <= 0.0 {
                return None;
            }
            forces.into_iter().max_by(|x, y| x.1.abs().total_cmp(&y.1.abs())).map(|f| f.0)
        })
        .collect()
}
