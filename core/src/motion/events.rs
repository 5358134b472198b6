//! Blinks and turns of the head as wishes, and what became of them.
//!
//! A blink's course ([`crate::rig::BlinkCourse`]) is stretched until the lids' servos can follow it, so
//! that the eye shuts all the same; past half a second the plan says that it is slow.
//!
//! Both are pulls on degrees of freedom that speech leaves alone; where the rail's current binds, they
//! are solved together with speech, whose contacts come first.

use super::plan::{LimitedBy, ServoCurve};
use super::report::{Chance, Miss, SHARE, SHOWS, View, sentence};
use super::targets::{Targets, Wishes, smoothstep, unit};
use crate::line::{Event, EventKind, Turn};
use crate::rig::{BlinkCourse, Dof, FacePart, Rig, ServoId};
use crate::units::Seconds;

/// Weight of a lid's error while the eye is open, and through a blink: what is not quite shut is seen.
const OPEN_WEIGHT: f64 = 1.0;
const BLINK_WEIGHT: f64 = 10.0;
/// Share of the way to shut up to which a lid counts as shut.
const NOT_SHUT: f64 = 0.1;
/// A head that comes to its angle so much later than asked has come.
const LATE: f64 = 0.25;

/// Share of a turn so long after its beginning, 0..=1; none before and after it.
fn turned(turn: &Turn, since: f64) -> Option<f64> {
    let (over, hold) = (turn.over.value(), turn.hold.value());
    let inside = since >= 0.0 && since <= 2.0 * over + hold;
    inside.then(|| smoothstep(since / over).min(1.0 - smoothstep((since - over - hold) / over)))
}

/// What pulls lids and neck at a moment.
pub(super) struct Pulls<'a> {
    wishes: Wishes<'a>,
    course: Option<BlinkCourse>,
    /// The longest any event lasts: how far back to look.
    longest: f64,
}

impl<'a> Pulls<'a> {
    pub(super) fn new(wishes: Wishes<'a>, rig: &Rig) -> Self {
        let course = rig.blink();
        let length = |e: &Event| match e.kind {
            EventKind::Blink => course.map_or(0.0, |c| c.length().value()),
            EventKind::HeadTurn(turn) => turn.length().value(),
        };
        let longest = wishes.events.iter().map(length).fold(0.0, f64::max);
        Self { wishes, course, longest }
    }

    /// Events that have begun at a line time and may still be going on.
    fn begun(&self, time: f64) -> &'a [Event] {
        let events = self.wishes.events;
        let first = events.partition_point(|e| e.time.value() < time - self.longest - 1e-9);
        let end = events.partition_point(|e| e.time.value() <= time);
        &events[first..end]
    }

    /// How far the eyes are shut at a line time.
    fn closed(&self, time: f64) -> f64 {
        let Some(course) = self.course.filter(|_| self.inside(time)) else { return 0.0 };
        let blinks = self.begun(time).iter().filter(|e| e.kind == EventKind::Blink);
        blinks.map(|e| course.closed(Seconds::new(time) - e.time)).fold(0.0, f64::max)
    }

    /// Where the neck should be that would otherwise be at `base`; none where no turn says.
    fn neck(&self, time: f64, base: f64) -> Option<f64> {
        let mut at = None;
        if !self.inside(time) {
            return None;
        }
        for event in self.begun(time) {
            let EventKind::HeadTurn(turn) = event.kind else { continue };
            if let Some(share) = turned(&turn, time - event.time.value()) {
                let from: f64 = at.unwrap_or(base);
                at = Some(from + share * (turn.to.value() - from));
            }
        }
        at
    }

    fn inside(&self, time: f64) -> bool {
        (0.0..=self.wishes.duration.value()).contains(&time)
    }
}

impl Targets {
    /// Adds the pull of events at frame `t`, which shows at line time `time`, to what looks and speech
    /// have added; weights and weight × target, as they do.
    pub(super) fn add_events(&mut self, t: usize, time: f64, pulls: &Pulls<'_>, rig: &Rig) {
        for spec in rig.dofs() {
            let dof = spec.dof;
            let (weight, wanted) = (&mut self.weight[t][dof], &mut self.wanted[t][dof]);
            // What the look of the moment asks for, else rest.
            let base = if *weight > 0.0 { *wanted / *weight } else { spec.rest };
            let (own, target) = if dof.part() == FacePart::Lids {
                let closed = pulls.closed(time);
                let own = OPEN_WEIGHT + closed.sqrt() * (BLINK_WEIGHT - OPEN_WEIGHT);
                (own, base + closed * (spec.skin_max - base))
            } else if dof == Dof::NeckTurn {
                match pulls.neck(time, base) {
                    Some(at) => (unit(dof).powi(2), at.clamp(spec.skin_min, spec.skin_max)),
                    None => continue,
                }
            } else {
                continue;
            };
            (*weight, *wanted) = (own, own * target);
        }
    }
}

/// What keeps a head from an event as it was asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum EventFault {
    /// It has nothing to do it with.
    Missing(FacePart),
    /// A lid does not come down, or the neck does not come round, as far as wanted.
    Short {
        /// What falls short.
        dof: Dof,
        /// The servo that falls furthest short of its angle.
        servo: ServoId,
        /// Wanted value, in the DOF's unit.
        wanted: f64,
        /// Value that comes nearest.
        reached: f64,
        /// What limits it.
        by: LimitedBy,
    },
    /// The blink is so slow that it looks like something else.
    Slow {
        /// What it takes on this head.
        takes: Seconds,
        /// The servo that takes so long.
        servo: ServoId,
    },
}

/// An event that the head does not do as it was asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EventShortfall {
    /// Position of the event in the line.
    pub event: usize,
    /// What it is.
    pub kind: EventKind,
    /// Line time: when the face comes nearest, or when the event begins.
    pub time: Seconds,
    /// What is wrong.
    pub fault: EventFault,
}

impl EventShortfall {
    /// One plain sentence: `blink at 1.84 s takes 0.72 s on this head, a person's at most 0.50 s`.
    #[must_use]
    pub fn sentence(&self) -> String {
        let (name, at) = (self.kind.name(), self.time.value());
        match self.fault {
            EventFault::Missing(FacePart::Lids) => format!("{name} at {at:.2} s: this head has no eyelids"),
            EventFault::Missing(_) => format!("{name} at {at:.2} s: this head's neck does not turn"),
            EventFault::Short { dof, wanted, reached, by, .. } => {
                format!("{name}: {}", sentence(dof, reached, wanted, self.time, by))
            }
            EventFault::Slow { takes, .. } => format!(
                "{name} at {at:.2} s takes {:.2} s on this head, a person's at most {:.2} s",
                takes.value(),
                BlinkCourse::LONGEST.value()
            ),
        }
    }
}

/// Events that the head does not do as asked for, in order of time; one entry for each.
pub(super) fn event_shortfalls(
    view: &View<'_>,
    servos: &[ServoCurve],
    wishes: Wishes<'_>,
) -> Vec<EventShortfall> {
    let course = view.rig.blink();
    let of = |(index, event): (usize, &Event)| {
        let fault = |fault, time| Some(EventShortfall { event: index, kind: event.kind, time, fault });
        let start = event.time.value();
        match event.kind {
            EventKind::Blink => {
                let Some(course) = course else {
                    return fault(EventFault::Missing(FacePart::Lids), event.time);
                };
                let (closed, end) = (start + course.closing.value(), start + course.length().value());
                if closed > wishes.duration.value() {
                    return None;
                }
                let short = |dof| {
                    let spec = view.rig.dof(dof)?;
                    let wanted = spec.skin_max;
                    let least = NOT_SHUT * (wanted - spec.rest);
                    Some((dof, wanted, view.nearest(servos, start..end, dof, wanted, least)?))
                };
                match view.rig.lids().find_map(short) {
                    Some((dof, wanted, miss)) => fault(miss.fault(dof, wanted), miss.time),
                    None if course.length() > BlinkCourse::LONGEST => {
                        let slow = EventFault::Slow { takes: course.length(), servo: course.servo };
                        fault(slow, event.time)
                    }
                    None => None,
                }
            }
            EventKind::HeadTurn(turn) => {
                let dof = Dof::NeckTurn;
                let Some(spec) = view.rig.dof(dof) else {
                    return fault(EventFault::Missing(FacePart::Neck), event.time);
                };
                let there = start + turn.over.value();
                if there > wishes.duration.value() {
                    return None;
                }
                let wanted = turn.to.value();
                let least = SHOWS.max(SHARE * (wanted - spec.rest).abs());
                let until = there + turn.hold.value().min(LATE);
                let miss = view.nearest(servos, there..until, dof, wanted, least)?;
                fault(miss.fault(dof, wanted), miss.time)
            }
        }
    };
    wishes.events.iter().enumerate().filter_map(of).collect()
}

impl View<'_> {
    /// How a value is missed by more than `least` in all frames that show within line times.
    fn nearest(
        &self,
        servos: &[ServoCurve],
        times: std::ops::Range<f64>,
        dof: Dof,
        wanted: f64,
        least: f64,
    ) -> Option<Miss> {
        let (timeline, advance) = (self.timeline, self.settings.advance());
        let first = timeline.ceil(times.start - advance - 0.5 * timeline.frame).min(timeline.frames - 1);
        let end = timeline.ceil(times.end - advance + 0.5 * timeline.frame).clamp(first + 1, timeline.frames);
        let chance = Chance::new(self, servos, first..end);
        // Whether it could ever come there, given all the time in the world.
        let mut face = self.rig.eyes_shut();
        face[dof] = wanted;
        let beyond = (self.rig.reach(&face).dofs[dof] - wanted).abs() > least;
        chance.miss_by(self.rig.dof(dof)?, wanted, least, beyond)
    }
}

impl Miss {
    fn fault(&self, dof: Dof, wanted: f64) -> EventFault {
        EventFault::Short { dof, servo: self.servo, wanted, reached: self.reached, by: self.by }
    }
}

#[cfg(test)]
#[path = "tests/events_by_hand.rs"]
mod tests;
