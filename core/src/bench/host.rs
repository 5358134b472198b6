//! The page's side of the link.

use super::config::BenchConfig;
use super::frame::{Decoder, Frame, Heard, encode};
use super::message::{Order, Refusal, Report, Status};
use super::{
    BEAT_EVERY, BENCH_FRAME, BenchError, CEILING_PAUSE, CEILING_STEP, FIRST_CEILING, HOST_TIMEOUT, Mover,
    PROTOCOL_VERSION, TICKS_PER_US,
};
use crate::rig::Rig;
use crate::units::{Degrees, Microseconds, Seconds};
use std::collections::VecDeque;

/// How far the talk with a controller has come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HostState {
    /// Nothing is connected.
    Closed,
    /// Waiting for the controller's answer.
    Greeting,
    /// Connected: poses go out.
    Ready,
    /// It ended, with the reason.
    Failed(BenchError),
}

/// What was sent and what came back.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counters {
    /// Frames sent since the greeting began.
    pub sent: u32,
    /// Frames answered.
    pub answered: u32,
    /// Frames that no answer came for.
    pub lost: u32,
    /// Frames that came damaged.
    pub damaged: u32,
    /// Orders refused.
    pub refused: u32,
}

/// What the head is to do.
#[derive(Clone, Debug, PartialEq)]
enum Aim {
    /// Nothing is sent; the controller stands, or is on its way to neutral.
    None,
    /// Go there and stand.
    Pose(Vec<Degrees>),
    /// Be there now; the next place comes with the next frame.
    Stream(Vec<Degrees>),
    /// One channel towards one end.
    Hold { channel: usize, target: u16 },
}

/// Talks to one board. Bytes in by [`Host::receive`], time by [`Host::tick`], bytes out by
/// [`Host::take_output`]; times are of any clock that only runs forward.
#[derive(Clone, Debug)]
pub struct Host {
    config: BenchConfig,
    mover: Mover,
    state: HostState,
    decoder: Decoder,
    output: Vec<u8>,
    sequence: u8,
    /// Numbers that wait for an answer, with the time they were sent.
    waiting: VecDeque<(u8, f64)>,
    counters: Counters,
    aim: Aim,
    status: Option<Status>,
    refusal: Option<Refusal>,
    ceiling: u16,
    raised_at: f64,
    greeted_at: f64,
    heard_at: f64,
    next_beat: f64,
    next_pose: f64,
}

/// An answer later than this counts as none.
const ANSWER_WITHIN: f64 = 0.3;
/// Opening a serial port restarts many boards; their start takes a second or two.
const GREETING_WITHIN: f64 = 6.0;
const GREET_EVERY: f64 = 0.25;
/// A page that was busy or hidden for longer goes on from now instead of catching up.
const CATCH_UP: f64 = 0.1;

impl Host {
    /// For one board of a rig.
    ///
    /// # Errors
    /// As [`BenchConfig::new`].
    pub fn new(rig: &Rig, board: &str) -> Result<Self, BenchError> {
        Ok(Self {
            config: BenchConfig::new(rig, board)?,
            mover: Mover::new(rig),
            state: HostState::Closed,
            decoder: Decoder::default(),
            output: Vec::new(),
            sequence: 0,
            waiting: VecDeque::new(),
            counters: Counters::default(),
            aim: Aim::None,
            status: None,
            refusal: None,
            ceiling: FIRST_CEILING,
            raised_at: f64::NEG_INFINITY,
            greeted_at: 0.0,
            heard_at: 0.0,
            next_beat: 0.0,
            next_pose: 0.0,
        })
    }

    /// The board it talks to.
    #[must_use]
    pub fn config(&self) -> &BenchConfig {
        &self.config
    }

    /// How far it has come.
    #[must_use]
    pub fn state(&self) -> &HostState {
        &self.state
    }

    /// What was sent and what came back.
    #[must_use]
    pub fn counters(&self) -> Counters {
        self.counters
    }

    /// What the controller said last about itself.
    #[must_use]
    pub fn status(&self) -> Option<&Status> {
        self.status.as_ref()
    }

    /// The last order that was refused, and why.
    #[must_use]
    pub fn refusal(&self) -> Option<Refusal> {
        self.refusal
    }

    /// The speed ceiling, in thousandths of each servo's own speed.
    #[must_use]
    pub fn ceiling(&self) -> u16 {
        self.ceiling
    }

    /// What stands between sliders and servos.
    #[must_use]
    pub fn mover(&self) -> &Mover {
        &self.mover
    }

    /// Starts the greeting anew.
    pub fn connect(&mut self, now: Seconds) {
        self.state = HostState::Greeting;
        (self.decoder, self.status, self.refusal) = (Decoder::default(), None, None);
        (self.counters, self.aim) = (Counters::default(), Aim::None);
        self.waiting.clear();
        self.output.clear();
        self.ceiling = FIRST_CEILING;
        self.raised_at = f64::NEG_INFINITY;
        self.greeted_at = now.value();
        self.next_beat = now.value();
        self.tick(now);
    }

    /// Ends the talk. The controller, hearing nothing, takes the head to neutral; it is told to, as
    /// well.
    pub fn close(&mut self) {
        if self.state == HostState::Ready {
            self.send(&Order::Stop, self.heard_at);
        }
        self.state = HostState::Closed;
        self.aim = Aim::None;
    }

    /// Bytes to send, since the last call.
    pub fn take_output(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.output)
    }

    /// Goes to a pose and stands there: one angle per servo of the rig. Other boards' servos are not
    /// sent, but count for what the face allows.
    ///
    /// # Errors
    /// [`BenchError::NotReady`].
    pub fn pose(&mut self, angles: Vec<Degrees>) -> Result<(), BenchError> {
        self.aim(Aim::Pose(angles))
    }

    /// Is at a place of a running plan; to be called anew for every frame.
    ///
    /// # Errors
    /// [`BenchError::NotReady`].
    pub fn stream(&mut self, angles: Vec<Degrees>) -> Result<(), BenchError> {
        self.aim(Aim::Stream(angles))
    }

    /// Moves one channel towards its longest (`up`) or shortest pulse until [`Host::release`], or
    /// until this host falls silent. Goes to the end of the servo's pulses, past what the skin may
    /// allow: this is how ends are found.
    ///
    /// # Errors
    /// [`BenchError::NotReady`], [`BenchError::NoSuchServo`].
    pub fn hold(&mut self, channel: usize, up: bool) -> Result<(), BenchError> {
        let count = self.config.channels.len();
        let c = self.config.channels.get(channel).ok_or(BenchError::NoSuchServo { index: channel, count })?;
        let target = if up { c.high } else { c.low };
        self.aim(Aim::Hold { channel, target })
    }

    /// Sends nothing more but the beat: the controller stands where it is.
    pub fn release(&mut self) {
        self.aim = Aim::None;
    }

    /// Stops whatever moves; the controller takes the head to neutral slowly.
    pub fn stop(&mut self, now: Seconds) {
        self.aim = Aim::None;
        if self.state == HostState::Ready {
            self.send(&Order::Stop, now.value());
        }
    }

    /// Plays a line that the controller holds, by its trigger number.
    ///
    /// # Errors
    /// [`BenchError::NotReady`].
    pub fn play(&mut self, line: u16, now: Seconds) -> Result<(), BenchError> {
        self.aim(Aim::None)?;
        self.send(&Order::Play { line }, now.value());
        Ok(())
    }

    /// Asks for another speed ceiling and gives back the one that is now in force: lower at once;
    /// higher by at most [`CEILING_STEP`], half a second after the last raise.
    ///
    /// # Errors
    /// [`BenchError::NotReady`].
    pub fn set_ceiling(&mut self, permille: u16, now: Seconds) -> Result<u16, BenchError> {
        if self.state != HostState::Ready {
            return Err(BenchError::NotReady);
        }
        let mut wanted = permille.min(1000);
        if wanted > self.ceiling {
            if now.value() - self.raised_at < CEILING_PAUSE.value() {
                return Ok(self.ceiling);
            }
            wanted = wanted.min(self.ceiling + CEILING_STEP);
            self.raised_at = now.value();
        }
        if wanted != self.ceiling {
            self.ceiling = wanted;
            self.send(&Order::Ceiling { permille: wanted }, now.value());
        }
        Ok(self.ceiling)
    }

    fn aim(&mut self, aim: Aim) -> Result<(), BenchError> {
        if self.state != HostState::Ready {
            return Err(BenchError::NotReady);
        }
        self.aim = aim;
        Ok(())
    }

    /// Bytes that came.
    pub fn receive(&mut self, bytes: &[u8], now: Seconds) {
        for byte in bytes {
            match self.decoder.push(*byte) {
                Some(Heard::Frame(frame)) => self.frame(&frame, now.value()),
                Some(Heard::Dropped(_)) => self.counters.damaged += 1,
                Some(Heard::Text(_)) | None => {}
            }
        }
    }

    fn frame(&mut self, frame: &Frame, now: f64) {
        let Some(report) = Report::from_frame(frame) else {
            self.counters.damaged += 1;
            return;
        };
        self.heard_at = now;
        if let Some(place) = self.waiting.iter().position(|w| w.0 == frame.sequence) {
            self.waiting.remove(place);
            self.counters.answered += 1;
        }
        match report {
            Report::Welcome { version, channels, fingerprint } => {
                self.welcome(version, usize::from(channels), fingerprint, now);
            }
            Report::Status(status) => self.take_status(status),
            Report::Ack => {}
            Report::Refused(reason) => {
                self.counters.refused += 1;
                self.refusal = Some(reason);
                if reason == Refusal::NotGreeted && self.state == HostState::Ready {
                    // It lost us for a while, or restarted: a person connects again.
                    self.fail(BenchError::Silent);
                }
            }
        }
    }

    fn welcome(&mut self, version: u8, channels: usize, fingerprint: u32, now: f64) {
        if self.state != HostState::Greeting {
            return;
        }
        let ours = self.config.channels.len();
        if version != PROTOCOL_VERSION {
            self.fail(BenchError::Version { theirs: version, ours: PROTOCOL_VERSION });
        } else if fingerprint != self.config.fingerprint {
            self.fail(BenchError::OtherRig { theirs: fingerprint, ours: self.config.fingerprint });
        } else if channels != ours {
            self.fail(BenchError::OtherChannels { theirs: channels, ours });
        } else {
            // Ready once it has said where the servos are.
            self.send(&Order::Beat, now);
            self.next_beat = now + BEAT_EVERY.value();
        }
    }

    fn take_status(&mut self, status: Status) {
        let ours = self.config.channels.len();
        if status.positions.len() != ours {
            return self.fail(BenchError::OtherChannels { theirs: status.positions.len(), ours });
        }
        if self.state == HostState::Greeting {
            self.state = HostState::Ready;
            self.next_pose = self.heard_at;
        }
        if matches!(self.aim, Aim::None | Aim::Hold { .. }) {
            // Motion starts from where the servos are.
            let mut angles = self.mover.angles();
            for (channel, at) in self.config.channels.iter().zip(&status.positions) {
                let pulse = Microseconds::new(f64::from(*at) / TICKS_PER_US);
                angles[channel.servo.0] = self.mover.rig().servos()[channel.servo.0].angle(pulse);
            }
            self.mover.place(&angles);
        }
        // Where the two differ, an order was lost: the controller's word counts.
        if !self.waiting.iter().any(|w| w.1 >= self.raised_at) {
            self.ceiling = status.ceiling;
        }
        self.status = Some(status);
    }

    fn fail(&mut self, reason: BenchError) {
        self.state = HostState::Failed(reason);
        self.aim = Aim::None;
    }

    /// Sends what is due. To be called about every [`BENCH_FRAME`].
    pub fn tick(&mut self, now: Seconds) {
        let now = now.value();
        while self.waiting.front().is_some_and(|w| now - w.1 > ANSWER_WITHIN) {
            self.waiting.pop_front();
            self.counters.lost += 1;
        }
        match self.state {
            HostState::Closed | HostState::Failed(_) => return,
            HostState::Greeting => {
                if now - self.greeted_at > GREETING_WITHIN {
                    self.fail(BenchError::Silent);
                } else if now >= self.next_beat {
                    self.next_beat = now + GREET_EVERY;
                    self.send(&Order::Hello { version: PROTOCOL_VERSION }, now);
                }
                return;
            }
            HostState::Ready => {}
        }
        if now - self.heard_at > HOST_TIMEOUT.value() {
            return self.fail(BenchError::Silent);
        }
        self.motion(now);
        if now >= self.next_beat {
            self.next_beat = now + BEAT_EVERY.value();
            self.send(&Order::Beat, now);
        }
    }

    fn motion(&mut self, now: f64) {
        if now - self.next_pose > CATCH_UP {
            self.next_pose = now;
        }
        let share = f64::from(self.ceiling) / 1000.0;
        let mut due = false;
        while self.next_pose <= now + 1e-9 {
            self.next_pose += BENCH_FRAME.value();
            due = true;
            match &self.aim {
                Aim::None | Aim::Hold { .. } => {}
                Aim::Pose(target) => {
                    let target = target.clone();
                    self.mover.approach(&target, share, BENCH_FRAME);
                }
                Aim::Stream(target) => {
                    let target = target.clone();
                    self.mover.follow(&target, share, BENCH_FRAME);
                }
            }
        }
        if !due {
            return;
        }
        let order = match &self.aim {
            Aim::None => return,
            Aim::Hold { channel, target } => Order::Hold { channel: *channel as u8, target: *target },
            Aim::Pose(_) | Aim::Stream(_) => Order::Pose { targets: self.targets() },
        };
        self.send(&order, now);
    }

    fn targets(&self) -> Vec<u16> {
        let angles = self.mover.angles();
        let servos = self.mover.rig().servos();
        let pulse = |id: usize| servos[id].pulse(angles[id]);
        self.config.channels.iter().map(|c| c.ticks(pulse(c.servo.0))).collect()
    }

    fn send(&mut self, order: &Order, now: f64) {
        let frame = order.to_frame(self.sequence);
        self.waiting.push_back((self.sequence, now));
        self.sequence = self.sequence.wrapping_add(1);
        self.counters.sent += 1;
        self.output.extend(encode(&frame));
    }
}
