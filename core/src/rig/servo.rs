//! One servo: pulses to angles, and what it can do.

use super::ServoDescription;
use crate::units::{Amps, Degrees, DegreesPerSecond, DegreesPerSecondSquared, Microseconds};
use serde_json::Map;

/// Position of a servo in [`Rig::servos`](super::Rig::servos).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ServoId(pub usize);

/// A servo as the planner and the exporters see it. Angle 0 is the neutral pulse.
///
/// Inside a [`Rig`](super::Rig): every number finite, `pulse_min < pulse_max` with neutral between
/// them, `us_per_degree` not zero, speeds and acceleration above zero, currents not negative.
#[derive(Clone, Debug, PartialEq)]
pub struct Servo {
    /// Position in the rig.
    pub id: ServoId,
    /// Unique name.
    pub name: String,
    /// Board it hangs on.
    pub controller: String,
    /// Output channel of that board.
    pub channel: u8,
    /// Shortest pulse.
    pub pulse_min: Microseconds,
    /// Longest pulse.
    pub pulse_max: Microseconds,
    /// Pulse at angle 0.
    pub pulse_neutral: Microseconds,
    /// Signed µs per degree.
    pub us_per_degree: f64,
    /// Fastest turn towards larger angles, loaded.
    pub speed_up: DegreesPerSecond,
    /// Fastest turn towards smaller angles, loaded (a magnitude).
    pub speed_down: DegreesPerSecond,
    /// Greatest angular acceleration and deceleration, loaded.
    pub acceleration: DegreesPerSecondSquared,
    /// Smallest pulse change it answers to.
    pub dead_band: Microseconds,
    /// Current at rest.
    pub idle_current: Amps,
    /// Current at full loaded speed.
    pub moving_current: Amps,
    /// Current when blocked: what wiring, fuse and supply are sized for.
    pub stall_current: Amps,
}

impl Servo {
    /// Pulse for an angle. Not clamped.
    #[must_use]
    pub fn pulse(&self, angle: Degrees) -> Microseconds {
        self.pulse_neutral + Microseconds::new(self.us_per_degree * angle.value())
    }

    /// Angle for a pulse. Not clamped.
    #[must_use]
    pub fn angle(&self, pulse: Microseconds) -> Degrees {
        Degrees::new((pulse - self.pulse_neutral).value() / self.us_per_degree)
    }

    /// Angles at the ends of the pulse range, smaller first.
    #[must_use]
    pub fn pulse_travel(&self) -> (Degrees, Degrees) {
        let (a, b) = (self.angle(self.pulse_min), self.angle(self.pulse_max));
        (a.min(b), a.max(b))
    }

    pub(crate) fn build(id: ServoId, d: &ServoDescription) -> Self {
        let no_load = 60.0 / d.speed_s_per_60deg;
        Self {
            id,
            name: d.name.clone(),
            controller: d.controller.clone(),
            // Validation has held it to 0..=255.
            channel: u8::try_from(d.channel).unwrap_or(u8::MAX),
            pulse_min: Microseconds::new(d.pulse_min_us),
            pulse_max: Microseconds::new(d.pulse_max_us),
            pulse_neutral: Microseconds::new(d.pulse_neutral_us),
            us_per_degree: d.us_per_degree,
            speed_up: DegreesPerSecond::new(no_load * d.load_derating_up),
            speed_down: DegreesPerSecond::new(no_load * d.load_derating_down),
            acceleration: DegreesPerSecondSquared::new(d.acceleration_deg_per_s2),
            dead_band: Microseconds::new(d.dead_band_us),
            idle_current: Amps::new(d.idle_current_a),
            moving_current: Amps::new(d.moving_current_a),
            stall_current: Amps::new(d.stall_current_a),
        }
    }
}

/// Generic servo classes to start a description from.
///
/// Figures are ranges of common practice at a 6 V rail (11.11 µs per degree is 1000 µs per 90°; speed
/// 0.10 s/60° and stall 0.8 A for the 9 g class; 0.7–1.5 A stall for standard size, 2–3 A for metal
/// gears; dead band 4–10 µs; a loaded servo keeps 50–70 % of its no-load speed). Accelerations are
/// common practice too: a small servo reaches full speed in about 40–70 ms. Measure the real part
/// before setting limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ServoClass {
    /// 9 g, plastic gears, analogue.
    MicroAnalogue,
    /// 9 g, metal gears, digital.
    MicroDigital,
    /// Standard size, digital, metal gears.
    Standard,
    /// Standard size, high speed and torque.
    FastDigital,
}

impl ServoClass {
    /// Every class.
    pub const ALL: [Self; 4] = [Self::MicroAnalogue, Self::MicroDigital, Self::Standard, Self::FastDigital];

    /// Name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::MicroAnalogue => "micro analogue",
            Self::MicroDigital => "micro digital",
            Self::Standard => "standard",
            Self::FastDigital => "fast digital",
        }
    }

    /// A servo of this class, to be given its name, channel and direction.
    #[must_use]
    pub fn describe(self, name: &str, channel: u64) -> ServoDescription {
        // s/60°, derating, deg/s², dead band, idle, moving, stall
        let (speed, derating, acceleration, dead_band, idle, moving, stall) = match self {
            Self::MicroAnalogue => (0.12, 0.6, 6_000.0, 8.0, 0.008, 0.22, 0.8),
            Self::MicroDigital => (0.10, 0.65, 8_000.0, 4.0, 0.010, 0.22, 0.9),
            Self::Standard => (0.10, 0.65, 8_000.0, 5.0, 0.010, 0.25, 1.4),
            Self::FastDigital => (0.08, 0.65, 10_000.0, 4.0, 0.015, 0.50, 2.8),
        };
        ServoDescription {
            name: name.to_owned(),
            controller: DEFAULT_CONTROLLER.to_owned(),
            channel,
            pulse_min_us: 800.0,
            pulse_max_us: 2200.0,
            pulse_neutral_us: 1500.0,
            us_per_degree: 11.11,
            speed_s_per_60deg: speed,
            load_derating_up: derating,
            load_derating_down: derating,
            acceleration_deg_per_s2: acceleration,
            dead_band_us: dead_band,
            idle_current_a: idle,
            moving_current_a: moving,
            stall_current_a: stall,
            extra: Map::new(),
        }
    }
}

/// Controller name where a rig has only one.
pub(crate) const DEFAULT_CONTROLLER: &str = "main";
