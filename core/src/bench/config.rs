//! What both ends of the link know about one board.

use super::BenchError;
use super::message::MAX_CHANNELS;
use crate::export::rig_fingerprint;
use crate::rig::{Rig, Servo, ServoId};
use crate::units::{Microseconds, Seconds};

/// Timer ticks in a microsecond of pulse: the controller's timers run at 2 MHz.
pub const TICKS_PER_US: f64 = 2.0;

/// One channel of the board.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchChannel {
    /// The servo it drives.
    pub servo: ServoId,
    /// Its name.
    pub name: String,
    /// Shortest pulse, in ticks.
    pub low: u16,
    /// Longest pulse.
    pub high: u16,
    /// Pulse at the rest pose.
    pub neutral: u16,
    /// Ticks a [`BENCH_FRAME`](super::BENCH_FRAME) at the servo's own speed, the faster way.
    pub full_step: u16,
}

/// The board as the link sees it: its channels, in the rig's order of servos.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchConfig {
    /// Name of the board.
    pub board: String,
    /// First 32 bits of [`rig_fingerprint`]: which settings the controller was made with.
    pub fingerprint: u32,
    /// Channels.
    pub channels: Vec<BenchChannel>,
}

impl BenchConfig {
    /// The settings of one of the rig's boards.
    ///
    /// # Errors
    /// Where no servo hangs on it, or more than a frame carries.
    pub fn new(rig: &Rig, board: &str) -> Result<Self, BenchError> {
        let rest = rig.rest_angles();
        let on_board = rig.servos().iter().zip(&rest).filter(|(s, _)| s.controller == board);
        let channels: Vec<BenchChannel> =
            on_board.map(|(servo, angle)| channel(servo, servo.pulse(*angle))).collect();
        if channels.is_empty() {
            return Err(BenchError::NoSuchBoard(board.to_owned()));
        }
        if channels.len() > MAX_CHANNELS {
            let (board, channels) = (board.to_owned(), channels.len());
            return Err(BenchError::TooManyChannels { board, channels, most: MAX_CHANNELS });
        }
        // A fingerprint is 64 hex digits.
        let fingerprint = u32::from_str_radix(&rig_fingerprint(rig)[..8], 16).unwrap_or(0);
        Ok(Self { board: board.to_owned(), fingerprint, channels })
    }

    /// The boards of a rig, in the order of their first servos.
    #[must_use]
    pub fn boards(rig: &Rig) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for servo in rig.servos() {
            if !names.contains(&servo.controller) {
                names.push(servo.controller.clone());
            }
        }
        names
    }
}

fn channel(servo: &Servo, rest: Microseconds) -> BenchChannel {
    // Inside the range: a tick more would be outside the servo's pulses.
    let (low, high) = (ticks(servo.pulse_min.value(), f64::ceil), ticks(servo.pulse_max.value(), f64::floor));
    let speed = servo.speed_up.value().max(servo.speed_down.value()) * servo.us_per_degree.abs();
    let step = speed * super::BENCH_FRAME.value();
    BenchChannel {
        servo: servo.id,
        name: servo.name.clone(),
        low,
        high,
        neutral: ticks(rest.value(), f64::round).clamp(low, high.max(low)),
        full_step: ticks(step, f64::ceil).max(1),
    }
}

impl BenchChannel {
    /// A pulse in ticks, held to the channel's range.
    #[must_use]
    pub fn ticks(&self, pulse: Microseconds) -> u16 {
        ticks(pulse.value(), f64::round).clamp(self.low, self.high.max(self.low))
    }

    /// Most ticks a frame under a ceiling; at least one, so that a head always finds its way back.
    #[must_use]
    pub fn step(&self, permille: u16) -> u16 {
        let step = u32::from(self.full_step) * u32::from(permille.min(1000)) / 1000;
        // At most `full_step`.
        (step as u16).max(1)
    }

    /// How long the slow return takes from the farthest pulse, at most.
    #[must_use]
    pub fn return_time(&self) -> Seconds {
        let far = (self.high - self.neutral).max(self.neutral - self.low);
        super::BENCH_FRAME * (f64::from(far) / f64::from(self.step(super::RETURN_SPEED))).ceil()
    }
}

/// Ticks of a pulse; tracks hold at most 10 000 µs, which fits.
fn ticks(us: f64, round: fn(f64) -> f64) -> u16 {
    round(us * TICKS_PER_US).clamp(0.0, f64::from(u16::MAX)) as u16
}
