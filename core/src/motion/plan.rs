//! The plan: one angle per servo and controller frame, and what became of the wishes.

use super::events::{EventShortfall, event_shortfalls};
use super::head::{Group, Head};
use super::planner::Planner;
use super::report::{self, ContactReport, LookShortfall, PlanSummary, Shortfall, View};
use super::settings::{MotionError, PlanSettings};
use super::targets::{Targets, Wishes};
use super::track::Track;
use crate::line::{Event, ExpressionKey, Line, Segment};
use crate::progress::Progress;
use crate::rig::{DofValues, Rig};
use crate::units::{Degrees, Seconds};

/// What kept a servo from its wanted angle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LimitedBy {
    /// The end of its travel, or of the skin's.
    Travel,
    /// Its speed.
    Speed,
    /// Its acceleration.
    Acceleration,
    /// Another part of the face: lips that would be driven into each other, a contact that comes
    /// first.
    Coupling,
    /// The current that the rail may carry.
    Current,
}

impl LimitedBy {
    /// Every limit, in a fixed order.
    pub const ALL: [Self; 5] = [Self::Travel, Self::Speed, Self::Acceleration, Self::Coupling, Self::Current];

    /// Name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Travel => "travel",
            Self::Speed => "speed",
            Self::Acceleration => "acceleration",
            Self::Coupling => "coupling",
            Self::Current => "current",
        }
    }
}

/// One servo over the whole plan; one entry per frame in each list.
#[derive(Clone, Debug, PartialEq)]
pub struct ServoCurve {
    /// Angles that would give the wanted face.
    pub wanted: Vec<Degrees>,
    /// Angles that it will be sent.
    pub planned: Vec<Degrees>,
    /// Why the two differ, where they do.
    pub limited: Vec<Option<LimitedBy>>,
}

/// Servo motion for one line on one rig.
///
/// Always: every list holds [`Plan::frames`] entries; the first two and the last two frames are at
/// rest; with `summary.status` other than [`PlanStatus::OutsideLimits`](super::PlanStatus), every limit of the rig
/// holds at and between the frames, also after pulses are rounded to 0.1 µs.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Controller frame.
    pub frame: Seconds,
    /// Line time of frame 0, at or before 0.
    pub start: Seconds,
    /// One curve per servo, in rig order.
    pub servos: Vec<ServoCurve>,
    /// What could not be reached, in order of time.
    pub shortfalls: Vec<Shortfall>,
    /// What could not be reached of the expression lane, in order of time.
    pub looks: Vec<LookShortfall>,
    /// Blinks and turns of the head that are not done as asked for, in order of time.
    pub event_shortfalls: Vec<EventShortfall>,
    /// Every closure and tongue contact, made or missed, in order of time.
    pub contacts: Vec<ContactReport>,
    /// The plan as a whole.
    pub summary: PlanSummary,
    /// Settings it was made with.
    pub settings: PlanSettings,
    pub(super) targets: Targets,
    pub(super) lag: f64,
    pub(super) segments: Vec<Segment>,
    pub(super) expressions: Vec<ExpressionKey>,
    pub(super) events: Vec<Event>,
    pub(super) duration: Seconds,
    pub(super) rig: Rig,
    /// Weighted squared error and weight behind `summary.weighted_error`.
    pub(super) squares: (f64, f64),
    /// Estimated current on the way from each frame to the next, A.
    pub(super) currents: Vec<f64>,
}

impl Plan {
    /// Number of controller frames.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.targets.timeline.frames
    }

    /// Line time at which a frame is sent.
    #[must_use]
    pub fn time_of(&self, frame: usize) -> Seconds {
        Seconds::new(self.targets.timeline.time(frame))
    }

    /// Line time at which a frame's position shows on the face: later than it is sent by the servo
    /// lag, earlier by the audio delay.
    #[must_use]
    pub fn shows_at(&self, frame: usize) -> Seconds {
        Seconds::new(self.targets.timeline.time(frame) + self.lag)
    }

    /// Angles sent at a line time, interpolated as the controller does; at rest outside the plan.
    #[must_use]
    pub fn angles_at(&self, time: Seconds) -> Vec<Degrees> {
        let (frame, share) = self.place(time);
        let next = (frame + 1).min(self.frames() - 1);
        let mix = |c: &ServoCurve| c.planned[frame] + (c.planned[next] - c.planned[frame]) * share;
        self.servos.iter().map(mix).collect()
    }

    /// Face wanted at a line time (as sent, not as shown: compare it with [`Plan::angles_at`]).
    #[must_use]
    pub fn wanted_at(&self, time: Seconds) -> DofValues {
        let (frame, share) = self.place(time);
        let next = (frame + 1).min(self.frames() - 1);
        let (a, b) = (&self.targets.wanted[frame], &self.targets.wanted[next]);
        let mut mixed = *a;
        for dof in crate::rig::Dof::ALL {
            mixed[dof] = a[dof] + (b[dof] - a[dof]) * share;
        }
        mixed
    }

    /// Frame at or before a time, and how far the time is on the way to the next.
    fn place(&self, time: Seconds) -> (usize, f64) {
        let at = (time - self.start) / self.frame;
        let at = if at.is_finite() { at.clamp(0.0, (self.frames() - 1) as f64) } else { 0.0 };
        (at.floor() as usize, at.fract())
    }
}

/// Plans the motion of one line on one rig.
///
/// `segments` in order and without overlap (gaps count as rest); `duration` is the recording's.
/// Progress is reported as "planning".
///
/// # Errors
/// Settings or segments out of range, a rig that cannot stand at rest, or cancellation. A wish that
/// the head cannot fulfil is no error: it is reported in the plan.
///
/// ```
/// use lipwright_core::line::Segment;
/// use lipwright_core::motion::{PlanSettings, plan};
/// use lipwright_core::phonetics::MouthShape;
/// use lipwright_core::progress::Quiet;
/// use lipwright_core::rig::Rig;
/// use lipwright_core::units::Seconds;
///
/// let segment = |start, end, shape| Segment::new(Seconds::new(start), Seconds::new(end), shape);
/// let line = [segment(0.1, 0.4, MouthShape::Open), segment(0.4, 0.5, MouthShape::Bilabial)];
/// let plan = plan(&line, Seconds::new(0.6), &Rig::jaw_only(), &PlanSettings::default(), &mut Quiet)?;
/// assert!(plan.start <= Seconds::ZERO);
/// assert_eq!(plan.servos.len(), 1);
/// assert_eq!(plan.summary.closures, 1);
/// assert_eq!(plan.summary.closures_reached, 1);
/// # Ok::<(), lipwright_core::motion::MotionError>(())
/// ```
pub fn plan(
    segments: &[Segment],
    duration: Seconds,
    rig: &Rig,
    settings: &PlanSettings,
    progress: &mut dyn Progress,
) -> Result<Plan, MotionError> {
    plan_wishes(Wishes { segments, expressions: &[], events: &[], duration }, rig, settings, progress)
}

/// Plans a line with its expression lane and its events.
///
/// # Errors
/// As [`plan`].
pub fn plan_line(
    line: &Line,
    rig: &Rig,
    settings: &PlanSettings,
    progress: &mut dyn Progress,
) -> Result<Plan, MotionError> {
    plan_wishes(Wishes::of(line), rig, settings, progress)
}

impl<'a> Wishes<'a> {
    pub(super) fn of(line: &'a Line) -> Self {
        Self {
            segments: line.segments(),
            expressions: line.expressions(),
            events: line.events(),
            duration: line.duration(),
        }
    }
}

pub(super) fn plan_wishes(
    wishes: Wishes<'_>,
    rig: &Rig,
    settings: &PlanSettings,
    progress: &mut dyn Progress,
) -> Result<Plan, MotionError> {
    let targets = Targets::new(wishes, rig, settings)?;
    let planner = Planner::new(Head::new(rig, settings.frame.value())?, targets, *settings);
    let mut tracks = vec![];
    // Groups cost about their width squared.
    let cost = |width: usize| (1 + width * width) as f64;
    let total: f64 = planner.head.groups.iter().map(|g| cost(g.servos.len())).sum();
    let mut done = 0.0;
    for group in &planner.head.groups {
        if !progress.report("planning", done / total) {
            return Err(MotionError::Cancelled);
        }
        tracks.push(planner.solve(group)?);
        done += cost(group.servos.len());
    }
    let joint = planner.within_budget(&tracks)?;
    if !progress.report("planning", 1.0) {
        return Err(MotionError::Cancelled);
    }
    Ok(match joint {
        Some((all, track)) => assemble(planner, &[all], &[track], wishes),
        None => {
            let groups = planner.head.groups.clone();
            assemble(planner, &groups, &tracks, wishes)
        }
    })
}

fn assemble(planner: Planner<'_>, groups: &[Group], tracks: &[Track], wishes: Wishes<'_>) -> Plan {
    let frames = planner.frames();
    let count = planner.head.rig.servos().len();
    let mut servos: Vec<ServoCurve> = (0..count)
        .map(|s| ServoCurve {
            wanted: (0..frames).map(|t| Degrees::new(planner.wanted[t * count + s])).collect(),
            planned: vec![planner.head.rest[s]; frames],
            limited: vec![None; frames],
        })
        .collect();
    for (group, track) in groups.iter().zip(tracks) {
        let m = group.servos.len();
        for (c, &s) in group.servos.iter().enumerate() {
            for t in 2..frames - 2 {
                servos[s].planned[t] = Degrees::new(track.angles[t * m + c]);
                servos[s].limited[t] = track.limited[t * m + c];
            }
        }
    }
    let timeline = planner.targets.timeline;
    let view =
        View { rig: planner.head.rig, groups: &planner.head.groups, timeline, settings: &planner.settings };
    let contacts: Vec<ContactReport> =
        planner.targets.contacts.iter().filter_map(|c| view.contact(c, &servos)).collect();
    let shortfalls =
        wishes.segments.iter().enumerate().flat_map(|(i, s)| report::shortfalls(&view, &servos, i, s));
    let shortfalls = shortfalls.collect();
    let looks = report::look_shortfalls(&view, &servos, wishes);
    let event_shortfalls = event_shortfalls(&view, &servos, wishes);
    let squares = report::squares(planner.head.rig, &servos, &planner.targets, 0, 0..frames);
    let currents: Vec<f64> =
        (0..frames - 1).map(|t| report::current(planner.head.rig, &servos, t, timeline.frame)).collect();
    let mut summary = PlanSummary::new(tracks, planner.objective_of(&servos, 0), planner.head.rig);
    summary.count(&view, &contacts, squares, &currents);
    Plan {
        frame: planner.settings.frame,
        start: Seconds::new(timeline.time(0)),
        servos,
        shortfalls,
        looks,
        event_shortfalls,
        contacts,
        summary,
        settings: planner.settings,
        lag: planner.settings.advance(),
        segments: wishes.segments.to_vec(),
        expressions: wishes.expressions.to_vec(),
        events: wishes.events.to_vec(),
        duration: wishes.duration,
        rig: planner.head.rig.clone(),
        squares,
        currents,
        targets: planner.targets,
    }
}

#[cfg(test)]
#[path = "tests/plan.rs"]
mod tests;
