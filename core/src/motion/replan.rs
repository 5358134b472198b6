//! Planning again only where an edit can change something.
//!
//! A boundary moved by a person changes targets over a second or so; the optimum changes there and
//! for some frames around, because smoothness and limits carry a change only so far. The frames
//! around the edit are cut out of the plan, solved with everything outside fixed, and put back; where
//! the solution still differs from the plan at the ends of the cut, a longer stretch is cut out. So
//! the work depends on the edit and not on the length of the line.

use super::events::event_shortfalls;
use super::head::{Group, Head};
use super::plan::{Plan, plan_wishes};
use super::planner::{Planner, WINDOW};
use super::report::{self, ContactReport, PlanStatus, Shortfall, View};
use super::settings::MotionError;
use super::targets::{Targets, Wishes, check, contacts};
use super::track::Track;
use crate::line::{Line, Segment, events_span, lane_span};
use crate::progress::Progress;
use crate::rig::Rig;
use crate::units::Degrees;
use std::ops::Range;

/// Frames kept around the changed targets at first.
const MARGIN: usize = 60;

/// Difference (degrees) at the ends of the cut below which what lies beyond stays as it is.
const STILL: f64 = 0.02;

/// Changes a plan to new segments of the same line on the same rig, solving only what can change.
///
/// The result is that of [`plan`](super::plan()) within small tolerances (a few hundredths of a degree;
/// a test compares them). The summary is that of the new motion, but for its proof: `summary.gap` is
/// `None`, and `summary.status` says [`PlanStatus::WithinLimits`] where it said optimal. On an error the
/// plan is as it was.
///
/// # Errors
/// Segments out of order or outside the line, a rig other than the plan's, or cancellation.
pub fn replan(
    plan: &mut Plan,
    segments: &[Segment],
    rig: &Rig,
    progress: &mut dyn Progress,
) -> Result<(), MotionError> {
    let (expressions, events) = (plan.expressions.clone(), plan.events.clone());
    let wishes = Wishes { segments, expressions: &expressions, events: &events, duration: plan.duration };
    replan_wishes(plan, wishes, rig, progress)
}

/// As [`replan`], with the line's expression lane and its events.
///
/// # Errors
/// As [`replan`]; a line of another length is planned anew.
pub fn replan_line(
    plan: &mut Plan,
    line: &Line,
    rig: &Rig,
    progress: &mut dyn Progress,
) -> Result<(), MotionError> {
    replan_wishes(plan, Wishes::of(line), rig, progress)
}

fn replan_wishes(
    plan: &mut Plan,
    wishes: Wishes<'_>,
    rig: &Rig,
    progress: &mut dyn Progress,
) -> Result<(), MotionError> {
    check(wishes)?;
    if plan.rig != *rig {
        return Err(MotionError::OtherRig);
    }
    let settings = plan.settings;
    if plan.summary.status == PlanStatus::OutsideLimits || wishes.duration != plan.duration {
        // What breaks a limit may lie far from the edit.
        *plan = plan_wishes(wishes, rig, &settings, progress)?;
        return Ok(());
    }
    let Some(edit) = Edit::between(plan, wishes) else { return Ok(()) };
    let timeline = plan.targets.timeline;
    let lead = [settings.jaw_lead, settings.lip_lead, settings.corner_lead, settings.tongue_lead];
    let lead = lead.iter().fold(0.0_f64, |a, b| a.max(b.value().abs())) + settings.visual_lead.value().abs();
    let reach = settings.overlap.value() + settings.silence_depth.value() + lead + 2.0 * timeline.frame;
    let changed = timeline.ceil(edit.start - settings.advance() - reach)
        ..timeline.ceil(edit.end - settings.advance() + reach);
    let mut margin = MARGIN;
    loop {
        if !progress.report("planning", 0.5) {
            return Err(MotionError::Cancelled);
        }
        let cut = changed.start.saturating_sub(margin)..(changed.end + margin).min(timeline.frames);
        let targets = Targets::over(timeline.cropped(&cut), wishes, rig, &settings);
        let planner = Planner::new(Head::new(rig, timeline.frame)?, targets, settings);
        let inner = changed.start - cut.start..changed.end - cut.start;
        let (groups, tracks) = solve(&planner, plan, &cut, &inner)?;
        let whole = cut.len() == timeline.frames;
        if whole && tracks.iter().any(|t| t.infeasible || t.cut) {
            *plan = plan_wishes(wishes, rig, &settings, progress)?;
            return Ok(());
        }
        if !whole
            && (tracks.iter().any(|t| t.infeasible || t.cut) || moved(&planner, plan, &cut, &groups, &tracks))
        {
            margin *= 3;
            continue;
        }
        put_back(plan, planner, &groups, &tracks, &cut, wishes, &edit);
        return Ok(());
    }
}

/// Solves every group over the cut. Groups with no changed target come back as they are.
fn solve(
    planner: &Planner<'_>,
    plan: &Plan,
    cut: &Range<usize>,
    inner: &Range<usize>,
) -> Result<(Vec<Group>, Vec<Track>), MotionError> {
    let free = planner.free();
    let mut tracks = vec![];
    for group in &planner.head.groups {
        let mut track = Track::of_plan(planner, group, &plan.servos, cut.start);
        let same = |t: usize| {
            group.dofs.iter().all(|&d| {
                planner.targets.wanted[t][d] == plan.targets.wanted[cut.start + t][d]
                    && planner.targets.weight[t][d] == plan.targets.weight[cut.start + t][d]
            })
        };
        if !group.contacts.is_empty() || !inner.clone().all(same) {
            let window =
                inner.start.saturating_sub(WINDOW).max(free.start)..(inner.end + WINDOW).min(free.end);
            let mut problem = planner.objective(group, window.clone(), &track);
            let m = group.servos.len();
            let point = track.angles[window.start * m..window.end * m].to_vec();
            let solved = planner.pass(group, &mut problem, window.clone(), &point, &mut track)?;
            track.infeasible = solved.is_none();
            planner.refine(group, &mut track, vec![window])?;
        }
        tracks.push(track);
    }
    Ok(match planner.within_budget(&tracks)? {
        Some((all, track)) => (vec![all], vec![track]),
        None => (planner.head.groups.clone(), tracks),
    })
}

/// Whether the solution differs from the plan at an end of the cut that is not an end of the plan.
fn moved(planner: &Planner<'_>, plan: &Plan, cut: &Range<usize>, groups: &[Group], tracks: &[Track]) -> bool {
    let free = planner.free();
    let mut ends = vec![];
    if cut.start > 0 {
        ends.extend(free.start..free.start + 4);
    }
    if cut.end < plan.frames() {
        ends.extend(free.end - 4..free.end);
    }
    ends.into_iter().any(|t| {
        groups.iter().zip(tracks).any(|(group, track)| {
            let m = group.servos.len();
            group.servos.iter().enumerate().any(|(c, &s)| {
                let was = plan.servos[s].planned[cut.start + t].value();
                (track.angles[t * m + c] - was).abs() > STILL
            })
        })
    })
}

fn put_back(
    plan: &mut Plan,
    planner: Planner<'_>,
    groups: &[Group],
    tracks: &[Track],
    cut: &Range<usize>,
    wishes: Wishes<'_>,
    edit: &Edit,
) {
    let segments = wishes.segments;
    let rig = planner.head.rig;
    let count = rig.servos().len();
    let settings = planner.settings;
    let before = report::squares(rig, &plan.servos, &plan.targets, 0, cut.clone());
    let cost_before = objective_before(plan, &planner, cut);
    for (group, track) in groups.iter().zip(tracks) {
        let m = group.servos.len();
        for (c, &s) in group.servos.iter().enumerate() {
            let curve = &mut plan.servos[s];
            for t in 0..cut.len() {
                curve.wanted[cut.start + t] = Degrees::new(planner.wanted[t * count + s]);
                curve.planned[cut.start + t] = Degrees::new(track.angles[t * m + c]);
                curve.limited[cut.start + t] = track.limited[t * m + c];
            }
        }
    }
    plan.targets.wanted[cut.clone()].copy_from_slice(&planner.targets.wanted);
    plan.targets.weight[cut.clone()].copy_from_slice(&planner.targets.weight);
    let timeline = plan.targets.timeline;
    plan.targets.contacts = contacts(segments, rig, &settings, timeline);
    let after = report::squares(rig, &plan.servos, &plan.targets, 0, cut.clone());
    plan.squares = (plan.squares.0 + after.0 - before.0, plan.squares.1 + after.1 - before.1);
    plan.summary.objective += planner.objective_of(&plan.servos, cut.start) - cost_before;
    for t in cut.start..cut.end.min(timeline.frames - 1) {
        plan.currents[t] = report::current(rig, &plan.servos, t, timeline.frame);
    }

    // Reports of what the cut does not touch are kept, under their new numbers.
    let view = View { rig, groups: &planner.head.groups, timeline, settings: &settings };
    let touched = |i: usize| {
        let s = &segments[i];
        let near = settings.advance().abs() + settings.visual_lead.value().abs() + 1.0;
        s.end.value() + near > timeline.time(cut.start) && s.start.value() - near < timeline.time(cut.end)
    };
    let kept = |old: usize| edit.moved_to(old).filter(|&i| !touched(i));
    let mut shortfalls: Vec<Shortfall> = plan
        .shortfalls
        .drain(..)
        .filter_map(|s| Some(Shortfall { segment: kept(s.segment)?, ..s }))
        .collect();
    let mut reports: Vec<ContactReport> = plan
        .contacts
        .drain(..)
        .filter_map(|c| Some(ContactReport { segment: kept(c.segment)?, ..c }))
        .collect();
    for (i, segment) in segments.iter().enumerate().filter(|(i, _)| touched(*i)) {
        shortfalls.extend(report::shortfalls(&view, &plan.servos, i, segment));
    }
    let again = plan.targets.contacts.iter().filter(|c| touched(c.segment));
    reports.extend(again.filter_map(|c| view.contact(c, &plan.servos)));
    shortfalls.sort_by_key(|s| s.segment);
    reports.sort_by_key(|c| c.segment);
    (plan.shortfalls, plan.contacts) = (shortfalls, reports);
    plan.looks = report::look_shortfalls(&view, &plan.servos, wishes);
    plan.event_shortfalls = event_shortfalls(&view, &plan.servos, wishes);
    plan.summary.count(&view, &plan.contacts, plan.squares, &plan.currents);
    // The multipliers that proved the plan belong to the line before the edit.
    plan.summary.gap = None;
    if plan.summary.status == PlanStatus::Optimal {
        plan.summary.status = PlanStatus::WithinLimits;
    }
    plan.segments = segments.to_vec();
    plan.expressions = wishes.expressions.to_vec();
    plan.events = wishes.events.to_vec();
}

/// Objective of the plan as it stands over the frames that the planner, made for the cut, moves.
fn objective_before(plan: &Plan, planner: &Planner<'_>, cut: &Range<usize>) -> f64 {
    let rig = planner.head.rig;
    let timeline = plan.targets.timeline.cropped(cut);
    let targets = Targets {
        timeline,
        wanted: plan.targets.wanted[cut.clone()].to_vec(),
        weight: plan.targets.weight[cut.clone()].to_vec(),
        contacts: contacts(&plan.segments, rig, &plan.settings, timeline),
    };
    let wanted = cut.clone().flat_map(|t| plan.servos.iter().map(move |s| s.wanted[t].value())).collect();
    let old = Planner { head: planner.head.clone(), targets, settings: plan.settings, wanted };
    old.objective_of(&plan.servos, cut.start)
}

/// What differs between two versions of a line.
struct Edit {
    /// Line times between which they differ.
    start: f64,
    end: f64,
    /// Equal segments before, in both lists; first equal segment after, in the old list.
    before: usize,
    after: usize,
    /// By how much the numbers of the later segments grow.
    shift: i64,
}

impl Edit {
    /// `None` where nothing differs.
    fn between(plan: &Plan, wishes: Wishes<'_>) -> Option<Self> {
        let (old, new) = (&plan.segments, wishes.segments);
        let before = old.iter().zip(new).take_while(|(a, b)| a == b).count();
        let same = before == old.len() && before == new.len();
        if same && plan.expressions == wishes.expressions && plan.events == wishes.events {
            return None;
        }
        let most = old.len().min(new.len()) - before;
        let behind = old.iter().rev().zip(new.iter().rev()).take(most).take_while(|(a, b)| a == b).count();
        let (differ_old, differ_new) = (&old[before..old.len() - behind], &new[before..new.len() - behind]);
        let (mut start, mut end) = (f64::INFINITY, f64::NEG_INFINITY);
        for s in differ_old.iter().chain(differ_new) {
            start = start.min(s.start.value());
            end = end.max(s.end.value());
        }
        if plan.expressions != wishes.expressions {
            let (from, to) = lane_span(&plan.expressions, wishes.expressions);
            start = start.min(from.value());
            end = end.max(to.min(wishes.duration).value());
        }
        if let Some((from, to)) = events_span(&plan.events, wishes.events) {
            start = start.min(from.value());
            end = end.max(to.min(wishes.duration).value());
        }
        let shift = new.len() as i64 - old.len() as i64;
        Some(Self { start, end, before, after: old.len() - behind, shift })
    }

    /// New number of an old segment that is in both lists.
    fn moved_to(&self, old: usize) -> Option<usize> {
        if old < self.before {
            Some(old)
        } else if old >= self.after {
            usize::try_from(old as i64 + self.shift).ok()
        } else {
            None
        }
    }
}

#[cfg(test)]
#[path = "tests/replan.rs"]
mod tests;
