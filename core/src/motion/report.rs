//! What became of the wishes: contacts, shortfalls, totals.

use super::condition::conditions;
use super::head::{Group, stops_short};
use super::plan::{LimitedBy, ServoCurve};
use super::settings::PlanSettings;
use super::targets::{Contact, ContactKind, Targets, Timeline, Wishes};
use super::track::Track;
use crate::line::Segment;
use crate::phonetics::MouthShape;
use crate::rig::{Dof, DofSpec, DofValues, Expression, FacePart, Rig, ServoId};
use crate::units::{Amps, Degrees, Seconds};
use std::ops::Range;

/// How good the plan is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlanStatus {
    /// Every limit holds, and the plan is optimal within its stated gap.
    Optimal,
    /// Every limit holds; the gap says how far from optimal it may be at most, where it is known.
    WithinLimits,
    /// Some limit could not be kept: not to be played. Happens where a rig's limits contradict each
    /// other.
    OutsideLimits,
}

/// Gap, as a share of the objective, up to which a plan is called optimal.
const PROVEN: f64 = 2e-3;

/// The plan as a whole.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanSummary {
    /// How good.
    pub status: PlanStatus,
    /// Weighted squared error, smoothness and prices paid, summed (mm² over frames), of the motion as
    /// it is: after a local re-plan, too.
    pub objective: f64,
    /// How far the objective may be above the optimum of the last linearisation at most, as a share of
    /// it. `None` after a local re-plan: the proof needs the multipliers of the whole line, and these
    /// belong to the line before the edit. Planning the whole line gives a new one.
    pub gap: Option<f64>,
    /// Closures (bilabial, labiodental) asked for.
    pub closures: usize,
    /// Closures made.
    pub closures_reached: usize,
    /// Tongue contacts asked for.
    pub tongue_contacts: usize,
    /// Tongue contacts made.
    pub tongue_contacts_reached: usize,
    /// Root of the weighted mean squared error of the face, mm.
    pub weighted_error: f64,
    /// Greatest estimated current of all servos together.
    pub peak_current: Amps,
    /// When.
    pub peak_at: Seconds,
    /// Mean estimated current.
    pub mean_current: Amps,
    /// What the rig's supply allows.
    pub current_budget: Amps,
}

impl PlanSummary {
    /// Share of closures made, 0..=1 (1 without any).
    #[must_use]
    pub fn closure_share(&self) -> f64 {
        if self.closures == 0 { 1.0 } else { self.closures_reached as f64 / self.closures as f64 }
    }
}

/// One contact that a segment asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct ContactReport {
    /// Position of the segment.
    pub segment: usize,
    /// What should touch what.
    pub kind: ContactKind,
    /// Line time (as shown on the face) at which it comes nearest.
    pub time: Seconds,
    /// Distance beyond what counts as touching, mm: 0 or less when made.
    pub missing: f64,
    /// Whether it was made on at least one frame that shows while its segment sounds.
    pub reached: bool,
}

impl ContactReport {
    /// One plain sentence: `lips not closed at 1.84 s: 0.4 mm too far apart`.
    #[must_use]
    pub fn sentence(&self) -> String {
        let (time, missing) = (self.time.value(), self.missing);
        let (what, how) = match self.kind {
            ContactKind::Lips => ("lips", ["closed", "too far apart"]),
            ContactKind::LipOnTeeth => ("lower lip", ["at the teeth", "off"]),
            ContactKind::TongueTip => ("tongue tip", ["at the teeth", "short"]),
            ContactKind::TongueBody => ("tongue body", ["at the palate", "short"]),
        };
        if self.reached {
            format!("{what} {} at {time:.2} s", how[0])
        } else {
            format!("{what} not {} at {time:.2} s: {missing:.1} mm {}", how[0], how[1])
        }
    }
}

/// A target of one segment that was not reached.
#[derive(Clone, Debug, PartialEq)]
pub struct Shortfall {
    /// Position of the segment.
    pub segment: usize,
    /// Its shape.
    pub shape: MouthShape,
    /// Line time at which the face comes nearest.
    pub time: Seconds,
    /// What falls short.
    pub dof: Dof,
    /// The servo that falls furthest short of its angle (the only one, where one drives the DOF).
    pub servo: ServoId,
    /// Wanted value, in the DOF's unit.
    pub wanted: f64,
    /// Value that comes nearest.
    pub reached: f64,
    /// What limits it.
    pub by: LimitedBy,
    /// Weight of this DOF in the shape, 0..=1: the audible order of importance.
    pub importance: f64,
}

impl Shortfall {
    /// One plain sentence: `lower lip left: 4.2 mm of 6.0 mm at 1.84 s, speed`.
    #[must_use]
    pub fn sentence(&self) -> String {
        sentence(self.dof, self.reached, self.wanted, self.time, self.by)
    }
}

/// A key of the expression lane whose look was not reached.
#[derive(Clone, Debug, PartialEq)]
pub struct LookShortfall {
    /// Position of the key in the lane.
    pub key: usize,
    /// Its look.
    pub expression: Expression,
    /// Line time at which the face comes nearest.
    pub time: Seconds,
    /// What falls short.
    pub dof: Dof,
    /// The servo that falls furthest short of its angle.
    pub servo: ServoId,
    /// Wanted value, in the DOF's unit.
    pub wanted: f64,
    /// Value that comes nearest.
    pub reached: f64,
    /// What limits it.
    pub by: LimitedBy,
}

impl LookShortfall {
    /// One plain sentence: `brow left inner: 4.2 mm of 6.0 mm at 1.84 s, speed`.
    #[must_use]
    pub fn sentence(&self) -> String {
        sentence(self.dof, self.reached, self.wanted, self.time, self.by)
    }
}

pub(super) fn sentence(dof: Dof, reached: f64, wanted: f64, time: Seconds, by: LimitedBy) -> String {
    let (name, unit) = (dof.name().replace('-', " "), dof.unit());
    // Adding zero turns a rounded -0.0 into 0.0.
    let tenth = |v: f64| (v * 10.0).round() / 10.0 + 0.0;
    let (reached, wanted) = (tenth(reached), tenth(wanted));
    format!("{name}: {reached:.1} {unit} of {wanted:.1} {unit} at {:.2} s, {}", time.value(), by.name())
}

/// What reports are made from, besides the curves.
pub(super) struct View<'a> {
    pub(super) rig: &'a Rig,
    pub(super) groups: &'a [Group],
    pub(super) timeline: Timeline,
    pub(super) settings: &'a PlanSettings,
}

impl View<'_> {
    /// Line time at which a frame shows on the face.
    fn shown(&self, frame: usize) -> Seconds {
        Seconds::new(self.timeline.time(frame) + self.settings.advance())
    }

    pub(super) fn contact(&self, contact: &Contact, servos: &[ServoCurve]) -> Option<ContactReport> {
        let conditions: Vec<_> = self.groups.iter().flat_map(|g| conditions(contact, g)).collect();
        if conditions.is_empty() {
            return None;
        }
        let missing = |t: usize| {
            let face = face(self.rig, servos, t);
            conditions.iter().map(|c| c.missing(c.form.value(&face))).fold(f64::NEG_INFINITY, f64::max)
        };
        let frames = contact.first..contact.end;
        let best = frames.min_by(|&a, &b| missing(a).total_cmp(&missing(b))).unwrap_or(contact.first);
        let missing = missing(best);
        Some(ContactReport {
            segment: contact.segment,
            kind: contact.kind,
            time: self.shown(best),
            missing,
            reached: missing <= 0.0,
        })
    }
}

fn face(rig: &Rig, servos: &[ServoCurve], frame: usize) -> DofValues {
    let angles: Vec<Degrees> = servos.iter().map(|s| s.planned[frame]).collect();
    rig.forward(&angles)
}

/// Shortfall (mm, or degrees) and share of the way from rest below which it does not show.
pub(super) const SHOWS: f64 = 0.5;
pub(super) const SHARE: f64 = 0.15;

/// The frames in which one wish may be fulfilled, with what the face does in them.
pub(super) struct Chance<'a> {
    view: &'a View<'a>,
    servos: &'a [ServoCurve],
    frames: Range<usize>,
    faces: Vec<DofValues>,
    at_rest: Vec<(ServoId, Dof, f64)>,
}

/// A wish that fell short: when the face came nearest, to what, and why no nearer.
pub(super) struct Miss {
    pub(super) time: Seconds,
    pub(super) servo: ServoId,
    pub(super) reached: f64,
    pub(super) by: LimitedBy,
}

impl<'a> Chance<'a> {
    pub(super) fn new(view: &'a View<'a>, servos: &'a [ServoCurve], frames: Range<usize>) -> Self {
        let faces = frames.clone().map(|t| face(view.rig, servos, t)).collect();
        Self { view, servos, frames, faces, at_rest: view.rig.partials(&view.rig.rest_angles()) }
    }

    /// `None` where the wish was fulfilled, or gave way to neighbours that matter more: that is
    /// coarticulation as asked for, not a shortcoming of the head.
    fn miss(&self, spec: &DofSpec, wanted: f64) -> Option<Miss> {
        self.miss_by(spec, wanted, SHOWS.max(SHARE * (wanted - spec.rest).abs()), false)
    }

    /// The same, for a wish that counts as fulfilled nearer than `least`; `beyond`: the linkage or the
    /// pulses end before it.
    pub(super) fn miss_by(&self, spec: &DofSpec, wanted: f64, least: f64, beyond: bool) -> Option<Miss> {
        let (rig, dof) = (self.view.rig, spec.dof);
        let near = |k: &usize| (self.faces[*k][dof] - wanted).abs();
        let best = (0..self.faces.len()).min_by(|a, b| near(a).total_cmp(&near(b)))?;
        let reached = self.faces[best][dof];
        let short = (reached - wanted).abs();
        // What the dead bands may leave undone anyway is no shortfall of the plan.
        if short < least.max(stops_short(rig, &self.at_rest, &[(dof, 1.0)])) {
            return None;
        }
        let frame = self.frames.start + best;
        let drivers = rig.mechanisms().iter().filter(|m| m.drives().iter().any(|d| d.dof == dof));
        let off = |s: &ServoId| {
            let curve = &self.servos[s.0];
            (curve.planned[frame] - curve.wanted[frame]).value().abs()
        };
        let servo =
            drivers.flat_map(|m| m.servos().iter().copied()).max_by(|a, b| off(a).total_cmp(&off(b)))?;
        // What lies beyond the skin, the linkage or the pulses never reaches the servo as a wish.
        let by = if beyond || wanted < spec.skin_min - 1e-6 || wanted > spec.skin_max + 1e-6 {
            LimitedBy::Travel
        } else {
            // The frame of nearest approach may be unlimited itself (smoothness, a neighbour's pull):
            // then what limits the servo most often on the way is named.
            let curve = &self.servos[servo.0];
            curve.limited[frame].or_else(|| commonest(curve, self.frames.clone()))?
        };
        Some(Miss { time: self.view.shown(frame), servo, reached, by })
    }
}

/// Shortfalls of one segment, which is number `index`.
pub(super) fn shortfalls(
    view: &View<'_>,
    servos: &[ServoCurve],
    index: usize,
    segment: &Segment,
) -> Vec<Shortfall> {
    /// Importance below which a shape does not care.
    const CARES: f64 = 0.3;
    let rig = view.rig;
    let timeline = view.timeline;
    if segment.shape == MouthShape::Rest {
        return vec![];
    }
    // Nearest approach anywhere from the led start to the sounding end.
    let advance = view.settings.advance();
    let lead = view.settings.visual_lead.value().max(0.0);
    let first = timeline.ceil(segment.start.value() - advance - lead).min(timeline.frames - 1);
    let end = timeline.ceil(segment.end.value() - advance).clamp(first + 1, timeline.frames);
    let chance = Chance::new(view, servos, first..end);
    let pose = rig.pose(segment.shape);
    let of = |spec: &DofSpec| {
        let dof = spec.dof;
        let importance = pose.importance[dof];
        let wanted = spec.rest + segment.strength * (pose.target[dof] - spec.rest);
        let miss = chance.miss(spec, wanted).filter(|_| importance >= CARES)?;
        let Miss { time, servo, reached, by } = miss;
        Some(Shortfall {
            segment: index,
            shape: segment.shape,
            time,
            dof,
            servo,
            wanted,
            reached,
            by,
            importance,
        })
    };
    rig.dofs().iter().filter_map(of).collect()
}

/// Looks of the lane that the head falls short of.
///
/// A key is reached when the face comes to its look once while the key holds: from it to the next, or
/// to the end of the line, but for no longer than it takes to be seen.
pub(super) fn look_shortfalls(
    view: &View<'_>,
    servos: &[ServoCurve],
    wishes: Wishes<'_>,
) -> Vec<LookShortfall> {
    /// Seconds after a key within which its look is to be there.
    const SEEN: f64 = 0.25;
    let (rig, timeline, keys) = (view.rig, view.timeline, wishes.expressions);
    let advance = view.settings.advance();
    let mut out = vec![];
    for (index, key) in keys.iter().enumerate() {
        let time = key.time.value();
        let next = keys.get(index + 1).map_or(wishes.duration.value(), |k| k.time.value());
        let first = timeline.ceil(time - advance - 0.5 * timeline.frame).min(timeline.frames - 1);
        let end = timeline.ceil(next.min(time + SEEN) - advance).clamp(first + 1, timeline.frames);
        let chance = Chance::new(view, servos, first..end);
        let pose = rig.expression(key.expression);
        for spec in rig.dofs() {
            let dof = spec.dof;
            let own = key.values.get(&dof).copied();
            // A lid that is down for a blink has not failed its look.
            if own.is_none() && (!(pose.importance[dof] > 0.0) || dof.part() == FacePart::Lids) {
                continue;
            }
            let wanted = own.unwrap_or(spec.rest + key.amount * (pose.target[dof] - spec.rest));
            if let Some(Miss { time, servo, reached, by }) = chance.miss(spec, wanted) {
                let expression = key.expression;
                out.push(LookShortfall { key: index, expression, time, dof, servo, wanted, reached, by });
            }
        }
    }
    out
}

fn commonest(curve: &ServoCurve, frames: Range<usize>) -> Option<LimitedBy> {
    use LimitedBy::*;
    let count = |by: LimitedBy| curve.limited[frames.clone()].iter().filter(|l| **l == Some(by)).count();
    [Travel, Speed, Acceleration, Coupling, Current]
        .into_iter()
        .map(|by| (count(by), by))
        .filter(|c| c.0 > 0)
        .max_by_key(|c| c.0)
        .map(|c| c.1)
}

/// Estimated current of all servos together on the way from frame `t` to the next, A.
pub(super) fn current(rig: &Rig, servos: &[ServoCurve], t: usize, frame: f64) -> f64 {
    rig.servos()
        .iter()
        .zip(servos)
        .map(|(servo, curve)| {
            let speed = (curve.planned[t + 1] - curve.planned[t]).value() / frame;
            let share = (speed / servo.speed_up.value()).max(-speed / servo.speed_down.value());
            servo.idle_current.value() + servo.moving_current.value() * share
        })
        .sum()
}

/// (Σ weight · error², Σ weight) of the face over frames; `targets` start at frame `offset`.
pub(super) fn squares(
    rig: &Rig,
    servos: &[ServoCurve],
    targets: &Targets,
    offset: usize,
    frames: Range<usize>,
) -> (f64, f64) {
    let (mut error, mut weight) = (0.0, 0.0);
    for t in frames {
        let face = face(rig, servos, t);
        for spec in rig.dofs() {
            let w = targets.weight[t - offset][spec.dof];
            let e = face[spec.dof] - targets.wanted[t - offset][spec.dof];
            error += w * e * e;
            weight += w;
        }
    }
    (error, weight)
}

impl PlanSummary {
    pub(super) fn new(tracks: &[Track], objective: f64, rig: &Rig) -> Self {
        let bound: f64 = tracks.iter().map(|t| t.bound).sum();
        let status = if tracks.iter().any(|t| t.infeasible) {
            PlanStatus::OutsideLimits
        } else if tracks.iter().all(|t| !t.cut) && objective - bound <= PROVEN * objective + 1e-6 {
            PlanStatus::Optimal
        } else {
            PlanStatus::WithinLimits
        };
        Self {
            status,
            objective,
            gap: Some((objective - bound).max(0.0) / objective.max(1e-9)),
            closures: 0,
            closures_reached: 0,
            tongue_contacts: 0,
            tongue_contacts_reached: 0,
            weighted_error: 0.0,
            peak_current: Amps::ZERO,
            peak_at: Seconds::ZERO,
            mean_current: Amps::ZERO,
            current_budget: rig.supply().budget,
        }
    }

    /// Fills in the totals that follow from curves and contacts.
    pub(super) fn count(
        &mut self,
        view: &View<'_>,
        contacts: &[ContactReport],
        (error, weight): (f64, f64),
        currents: &[f64],
    ) {
        let timeline = view.timeline;
        let (mut peak, mut peak_frame) = (0.0, 0);
        for (t, &now) in currents.iter().enumerate() {
            if now > peak {
                (peak, peak_frame) = (now, t);
            }
        }
        let closure = |c: &&ContactReport| matches!(c.kind, ContactKind::Lips | ContactKind::LipOnTeeth);
        self.closures = contacts.iter().filter(closure).count();
        self.closures_reached = contacts.iter().filter(closure).filter(|c| c.reached).count();
        self.tongue_contacts = contacts.len() - self.closures;
        self.tongue_contacts_reached = contacts.iter().filter(|c| !closure(c) && c.reached).count();
        self.weighted_error = (error.max(0.0) / weight.max(1e-12)).sqrt();
        self.peak_current = Amps::new(peak);
        self.peak_at = Seconds::new(timeline.time(peak_frame));
        self.mean_current = Amps::new(currents.iter().sum::<f64>() / currents.len().max(1) as f64);
    }
}

#[cfg(test)]
#[path = "tests/report.rs"]
mod tests;
