//! What became of the wishes: contacts, shortfalls, totals.

use super::condition::conditions;
use super::plan::{LimitedBy, ServoCurve};
use super::planner::Planner;
use super::targets::ContactKind;
use super::track::Track;
use crate::line::Segment;
use crate::phonetics::MouthShape;
use crate::rig::{Dof, DofValues, Rig, ServoId};
use crate::units::{Amps, Degrees, Seconds};

/// How good the plan is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlanStatus {
    /// Every limit holds, and the plan is optimal within its stated gap.
    Optimal,
    /// Every limit holds; the gap says how far from optimal it may be at most.
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
    /// Weighted squared error, smoothness and prices paid, summed (mm² over frames).
    pub objective: f64,
    /// How far the objective may be above the optimum of the last linearisation, as a share of it.
    pub gap: f64,
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
    pub fn sentence(&self, _rig: &Rig) -> String {
        let unit = self.dof.unit();
        format!(
            "{}: {:.1} {unit} of {:.1} {unit} at {:.2} s, {}",
            self.dof.name().replace('-', " "),
            self.reached,
            self.wanted,
            self.time.value(),
            self.by.name()
        )
    }
}

pub(super) fn face(rig: &Rig, servos: &[ServoCurve], frame: usize) -> DofValues {
    let angles: Vec<Degrees> = servos.iter().map(|s| s.planned[frame]).collect();
    rig.forward(&angles)
}

pub(super) fn contacts(planner: &Planner<'_>, servos: &[ServoCurve]) -> Vec<ContactReport> {
    let mut out = vec![];
    for contact in &planner.targets.contacts {
        let conditions: Vec<_> = planner.head.groups.iter().flat_map(|g| conditions(contact, g)).collect();
        if conditions.is_empty() {
            continue;
        }
        let missing = |t: usize| {
            let face = face(planner.head.rig, servos, t);
            conditions.iter().map(|c| c.missing(c.form.value(&face))).fold(f64::NEG_INFINITY, f64::max)
        };
        let frames = contact.first..contact.end;
        let best = frames.min_by(|&a, &b| missing(a).total_cmp(&missing(b))).unwrap_or(contact.first);
        let missing = missing(best);
        out.push(ContactReport {
            segment: contact.segment,
            kind: contact.kind,
            time: shown(planner, best),
            missing,
            reached: missing <= 0.0,
        });
    }
    out
}

fn shown(planner: &Planner<'_>, frame: usize) -> Seconds {
    Seconds::new(planner.targets.timeline.time(frame) + planner.settings.advance())
}

pub(super) fn shortfalls(
    planner: &Planner<'_>,
    servos: &[ServoCurve],
    segments: &[Segment],
) -> Vec<Shortfall> {
    /// Importance below which a shape does not care.
    const CARES: f64 = 0.3;
    /// Shortfall (mm, or degrees) and share of the way from rest below which it does not show.
    const SHOWS: f64 = 0.5;
    const SHARE: f64 = 0.15;
    let rig = planner.head.rig;
    let timeline = planner.targets.timeline;
    let rest = rig.rest();
    let mut out = vec![];
    for (index, segment) in segments.iter().enumerate() {
        if segment.shape == MouthShape::Rest {
            continue;
        }
        // Nearest approach anywhere from the led start to the sounding end.
        let advance = planner.settings.advance();
        let lead = planner.settings.visual_lead.value().max(0.0);
        let first = timeline.ceil(segment.start.value() - advance - lead).min(timeline.frames - 1);
        let end = timeline.ceil(segment.end.value() - advance).clamp(first + 1, timeline.frames);
        let faces: Vec<DofValues> = (first..end).map(|t| face(rig, servos, t)).collect();
        let pose = rig.pose(segment.shape);
        for spec in rig.dofs() {
            let dof = spec.dof;
            let importance = pose.importance[dof];
            let wanted = rest[dof] + segment.strength * (pose.target[dof] - rest[dof]);
            if importance < CARES {
                continue;
            }
            let near = |k: &usize| (faces[*k][dof] - wanted).abs();
            let Some(best) = (0..faces.len()).min_by(|a, b| near(a).total_cmp(&near(b))) else { continue };
            let reached = faces[best][dof];
            let short = (reached - wanted).abs();
            if short < SHOWS || short < SHARE * (wanted - rest[dof]).abs() {
                continue;
            }
            let drivers = rig.mechanisms().iter().filter(|m| m.drives().iter().any(|d| d.dof == dof));
            let off = |s: &ServoId| {
                let curve = &servos[s.0];
                (curve.planned[first + best] - curve.wanted[first + best]).value().abs()
            };
            let Some(servo) =
                drivers.flat_map(|m| m.servos().iter().copied()).max_by(|a, b| off(a).total_cmp(&off(b)))
            else {
                continue;
            };
            // A pose beyond the skin never reaches the servo as a wish.
            let beyond = wanted < spec.skin_min - 1e-6 || wanted > spec.skin_max + 1e-6;
            let by = if beyond {
                LimitedBy::Travel
            } else {
                // The frame of nearest approach may be unlimited itself (smoothness, a neighbour's
                // pull): then what limits the servo most often in this segment is named.
                match servos[servo.0].limited[first + best]
                    .or_else(|| commonest(&servos[servo.0], first, end))
                {
                    Some(by) => by,
                    // No limit: neighbours that matter more have pulled it away. That is
                    // coarticulation as asked for, not a shortcoming of the head.
                    None => continue,
                }
            };
            out.push(Shortfall {
                segment: index,
                shape: segment.shape,
                time: shown(planner, first + best),
                dof,
                servo,
                wanted,
                reached,
                by,
                importance,
            });
        }
    }
    out
}

fn commonest(curve: &ServoCurve, first: usize, end: usize) -> Option<LimitedBy> {
    use LimitedBy::*;
    let count = |by: LimitedBy| curve.limited[first..end].iter().filter(|l| **l == Some(by)).count();
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

pub(super) fn summary(
    planner: &Planner<'_>,
    servos: &[ServoCurve],
    tracks: &[Track],
    contacts: &[ContactReport],
) -> PlanSummary {
    let rig = planner.head.rig;
    let timeline = planner.targets.timeline;
    let objective: f64 = tracks.iter().map(|t| t.objective).sum();
    let bound: f64 = tracks.iter().map(|t| t.bound).sum();
    let (mut peak, mut peak_frame, mut sum) = (0.0, 0, 0.0);
    for t in 0..timeline.frames - 1 {
        let now = current(rig, servos, t, timeline.frame);
        sum += now;
        if now > peak {
            (peak, peak_frame) = (now, t);
        }
    }
    let (mut error, mut weight) = (0.0, 0.0);
    for t in 0..timeline.frames {
        let face = face(rig, servos, t);
        for spec in rig.dofs() {
            let w = planner.targets.weight[t][spec.dof];
            let e = face[spec.dof] - planner.targets.wanted[t][spec.dof];
            error += w * e * e;
            weight += w;
        }
    }
    let closure = |c: &&ContactReport| matches!(c.kind, ContactKind::Lips | ContactKind::LipOnTeeth);
    let status = if tracks.iter().any(|t| t.infeasible) {
        PlanStatus::OutsideLimits
    } else if tracks.iter().all(|t| !t.cut) && objective - bound <= PROVEN * objective + 1e-6 {
        PlanStatus::Optimal
    } else {
        PlanStatus::WithinLimits
    };
    PlanSummary {
        status,
        objective,
        gap: (objective - bound).max(0.0) / objective.max(1e-9),
        closures: contacts.iter().filter(closure).count(),
        closures_reached: contacts.iter().filter(closure).filter(|c| c.reached).count(),
        tongue_contacts: contacts.iter().filter(|c| !closure(c)).count(),
        tongue_contacts_reached: contacts.iter().filter(|c| !closure(c) && c.reached).count(),
        weighted_error: (error / weight.max(1e-12)).sqrt(),
        peak_current: Amps::new(peak),
        peak_at: Seconds::new(timeline.time(peak_frame)),
        mean_current: Amps::new(sum / (timeline.frames - 1) as f64),
        current_budget: rig.supply().budget,
    }
}
