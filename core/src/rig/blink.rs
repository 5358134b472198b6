//! How fast this head blinks and turns.
//!
//! A person shuts the eyes in about 100 ms, and no blink takes longer than half a second (J. A. Stern,
//! L. C. Walrath and R. Goldstein, "The endogenous eyeblink", Psychophysiology 21, 1984); closing is 40
//! to 47 % faster than opening (C. Sforza and others, "Spontaneous blinking in healthy persons",
//! Ophthalmic Physiol. Opt. 28(4), 2008). How long the eye stays shut is our choice. A servo that cannot
//! do that gets the time it needs, so that the eye shuts all the same.

use super::{Dof, DofValues, FacePart, Rig, ServoId};
use crate::units::{Degrees, Seconds};

/// Time in which the lids shut, where they can.
const CLOSING: f64 = 0.1;
/// How long they stay shut.
const SHUT: f64 = 0.04;
/// Time in which they open again, where they can.
const OPENING: f64 = 0.18;

/// How one head blinks: as a person does, or as fast as its lids can.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlinkCourse {
    /// From open to shut.
    pub closing: Seconds,
    /// Shut.
    pub shut: Seconds,
    /// From shut to open.
    pub opening: Seconds,
    /// The servo that takes longest.
    pub servo: ServoId,
}

impl BlinkCourse {
    /// A blink that takes longer than this looks like falling asleep.
    pub const LONGEST: Seconds = Seconds::new(0.5);

    /// No head's blink is planned to take longer.
    pub const MOST: Seconds = Seconds::new(4.0);

    /// From the beginning to the end.
    #[must_use]
    pub fn length(&self) -> Seconds {
        self.closing + self.shut + self.opening
    }

    /// How far the eye is shut so many seconds after the beginning, 0..=1: slowly off and slowly in,
    /// both ways.
    #[must_use]
    pub fn closed(&self, since: Seconds) -> f64 {
        let going = smoothstep(since / self.closing);
        let coming = smoothstep((since - self.closing - self.shut) / self.opening);
        going.min(1.0 - coming)
    }
}

fn smoothstep(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

impl Rig {
    /// The eyelids that this head has.
    pub fn lids(&self) -> impl Iterator<Item = Dof> {
        self.dofs().iter().map(|d| d.dof).filter(|d| d.part() == FacePart::Lids)
    }

    /// The face at rest with both eyes shut, as far as the skin goes; one servo may drive both lids.
    #[must_use]
    pub fn eyes_shut(&self) -> DofValues {
        let mut face = self.rest();
        for lid in self.dofs().iter().filter(|d| d.dof.part() == FacePart::Lids) {
            face[lid.dof] = lid.skin_max;
        }
        face
    }

    /// How this head blinks; none without eyelids.
    #[must_use]
    pub fn blink(&self) -> Option<BlinkCourse> {
        let (from, to) = (self.rest_angles(), self.reach(&self.eyes_shut()).angles);
        let times = self.servos_of(FacePart::Lids).map(|id| {
            let (a, b) = (from[id.0], to[id.0]);
            (self.least_time(id, a, b), self.least_time(id, b, a), id)
        });
        let (closing, opening, servo) = times.max_by(|a, b| (a.0 + a.1).total_cmp(&(b.0 + b.1)))?;
        // A servo that hardly moves must not keep the head busy for minutes.
        let within = |t: f64, least: f64| Seconds::new(t.max(least).min(0.45 * BlinkCourse::MOST.value()));
        Some(BlinkCourse {
            closing: within(closing, CLOSING),
            shut: Seconds::new(SHUT),
            opening: within(opening, OPENING),
            servo,
        })
    }

    /// Least time in which the neck turns from one angle to another; none without a neck.
    #[must_use]
    pub fn least_turn_time(&self, from: Degrees, to: Degrees) -> Option<Seconds> {
        let spec = self.dof(Dof::NeckTurn)?;
        let angles = |value: Degrees| {
            let mut face = self.rest();
            face[Dof::NeckTurn] = value.value().clamp(spec.skin_min, spec.skin_max);
            self.reach(&face).angles
        };
        let (a, b) = (angles(from), angles(to));
        let times = self.servos_of(FacePart::Neck).map(|id| self.least_time(id, a[id.0], b[id.0]));
        times.reduce(f64::max).map(Seconds::new)
    }

    fn servos_of(&self, part: FacePart) -> impl Iterator<Item = ServoId> {
        let own = self.mechanisms().iter().filter(move |m| m.drives().iter().any(|d| d.dof.part() == part));
        own.flat_map(|m| m.servos().iter().copied())
    }

    /// Least time in which a servo goes from one angle to another and stops, slowly off and slowly in
    /// (the smooth step 3u² − 2u³, at its fastest half as fast again as its mean and hardest on the
    /// acceleration at its ends), in seconds.
    fn least_time(&self, id: ServoId, from: Degrees, to: Degrees) -> f64 {
        let servo = &self.servos()[id.0];
        let way = (to - from).value();
        let speed = if way > 0.0 { servo.speed_up } else { servo.speed_down }.value();
        let way = way.abs();
        (1.5 * way / speed).max((6.0 * way / servo.acceleration.value()).sqrt())
    }
}
