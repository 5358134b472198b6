//! A controller without hardware: answers the link as the real one does, and moves as it would.

use super::config::BenchConfig;
use super::frame::{Decoder, Frame, Heard, encode};
use super::message::{ControllerState, Faults, Order, Refusal, Report, Status};
use super::{
    BENCH_FRAME, CEILING_STEP, FIRST_CEILING, HOLD_TIMEOUT, LINK_TIMEOUT, PROTOCOL_VERSION, RETURN_SPEED,
};
use crate::units::Seconds;

/// A line that the controller holds: for every frame, a pulse in ticks for every channel.
pub type StoredLine = Vec<Vec<u16>>;

/// The controller's side of the link, clocked by the caller.
///
/// ```
/// use lipwright_core::bench::{BenchConfig, Order, SimulatedController, encode};
/// use lipwright_core::rig::Rig;
/// use lipwright_core::units::Seconds;
///
/// let config = BenchConfig::new(&Rig::jaw_only(), "main")?;
/// let mut board = SimulatedController::new(config);
/// board.receive(&encode(&Order::Hello { version: 1 }.to_frame(0)));
/// board.advance(Seconds::new(0.02));
/// assert!(!board.take_output().is_empty());
/// # Ok::<(), lipwright_core::bench::BenchError>(())
/// ```
#[derive(Clone, Debug)]
pub struct SimulatedController {
    config: BenchConfig,
    lines: Vec<StoredLine>,
    decoder: Decoder,
    output: Vec<u8>,
    /// Times in whole microseconds: they add up without rounding.
    now: u64,
    next_frame: u64,
    heard_at: u64,
    held_at: u64,
    greeted: bool,
    expected: u8,
    accepted: u16,
    missed: u16,
    dropped: u16,
    ceiling: u16,
    state: ControllerState,
    /// Whether the host has the head, also while it stands where the host left it.
    live: bool,
    faults: Faults,
    positions: Vec<u16>,
    targets: Vec<u16>,
    /// Line and frame being played.
    playing: (usize, usize),
}

impl SimulatedController {
    /// A board that has just started, at neutral.
    #[must_use]
    pub fn new(config: BenchConfig) -> Self {
        let neutral: Vec<u16> = config.channels.iter().map(|c| c.neutral).collect();
        Self {
            lines: Vec::new(),
            decoder: Decoder::default(),
            output: Vec::new(),
            now: 0,
            next_frame: micros(BENCH_FRAME),
            heard_at: 0,
            held_at: 0,
            greeted: false,
            expected: 0,
            accepted: 0,
            missed: 0,
            dropped: 0,
            ceiling: FIRST_CEILING,
            state: ControllerState::Idle,
            live: false,
            faults: Faults::default(),
            targets: neutral.clone(),
            positions: neutral,
            playing: (0, 0),
            config,
        }
    }

    /// The same with lines in its memory; line 1 is the first.
    #[must_use]
    pub fn with_lines(mut self, lines: Vec<StoredLine>) -> Self {
        self.lines = lines;
        self
    }

    /// Pulses being sent, in ticks.
    #[must_use]
    pub fn positions(&self) -> &[u16] {
        &self.positions
    }

    /// What it is doing.
    #[must_use]
    pub fn state(&self) -> ControllerState {
        self.state
    }

    /// Frames dropped because they did not fit, since the greeting.
    #[must_use]
    pub fn dropped(&self) -> u16 {
        self.dropped
    }

    /// Sets or clears the stop input: while it is active nothing moves but the way to neutral.
    pub fn stop_input(&mut self, active: bool) {
        if active {
            self.faults.0 |= Faults::STOP_INPUT;
            self.go_back();
        } else {
            self.faults.0 &= !Faults::STOP_INPUT;
        }
    }

    /// What it has sent since the last call.
    pub fn take_output(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.output)
    }

    /// Bytes that reach it now.
    pub fn receive(&mut self, bytes: &[u8]) {
        for byte in bytes {
            match self.decoder.push(*byte) {
                Some(Heard::Frame(frame)) => self.frame(&frame),
                Some(Heard::Dropped(_)) => self.dropped = self.dropped.wrapping_add(1),
                // The real one has a console there.
                Some(Heard::Text(_)) | None => {}
            }
        }
    }

    /// Lets time pass.
    pub fn advance(&mut self, by: Seconds) {
        let end = self.now + micros(by);
        while self.next_frame <= end {
            self.now = self.next_frame;
            self.next_frame += micros(BENCH_FRAME);
            self.watch();
            self.step();
        }
        self.now = end;
    }

    fn frame(&mut self, frame: &Frame) {
        // Another board's report, or this one's own in a looped cable: answering it would never end.
        if frame.kind & 0x80 != 0 {
            return;
        }
        self.heard_at = self.now;
        let order = Order::from_frame(frame);
        if matches!(order, Some(Order::Hello { .. })) {
            (self.accepted, self.missed, self.dropped) = (0, 0, 0);
            self.expected = frame.sequence;
        }
        let gap = frame.sequence.wrapping_sub(self.expected);
        // A number from before is an echo, not a gap of 200.
        if gap < 128 {
            self.missed = self.missed.wrapping_add(u16::from(gap));
            self.expected = frame.sequence.wrapping_add(1);
        }
        self.accepted = self.accepted.wrapping_add(1);
        let report = match order {
            None => Report::Refused(Refusal::Malformed),
            Some(order) => self.obey(&order).unwrap_or_else(Report::Refused),
        };
        self.output.extend(encode(&report.to_frame(frame.sequence)));
    }

    fn obey(&mut self, order: &Order) -> Result<Report, Refusal> {
        match order {
            Order::Hello { version } => return self.greet(*version),
            Order::Beat => return Ok(Report::Status(self.status())),
            _ if !self.greeted => return Err(Refusal::NotGreeted),
            // Slower, and to neutral, is always allowed.
            Order::Stop => {
                self.go_back();
                return Ok(Report::Ack);
            }
            Order::Ceiling { permille } => {
                if *permille > 1000 || *permille > self.ceiling + CEILING_STEP {
                    return Err(Refusal::Ceiling);
                }
                self.ceiling = *permille;
                return Ok(Report::Ack);
            }
            _ if self.faults.0 & Faults::STOP_INPUT != 0 => return Err(Refusal::Halted),
            Order::Pose { targets } => {
                if targets.len() != self.config.channels.len() {
                    return Err(Refusal::Channels);
                }
                let held = self.config.channels.iter().zip(targets).map(|(c, t)| (*t).clamp(c.low, c.high));
                self.targets = held.collect();
                (self.state, self.live) = (ControllerState::Following, true);
            }
            Order::Hold { channel, target } => {
                let c = self.config.channels.get(usize::from(*channel)).ok_or(Refusal::Channels)?;
                self.targets.clone_from(&self.positions);
                self.targets[usize::from(*channel)] = (*target).clamp(c.low, c.high);
                self.held_at = self.now;
                (self.state, self.live) = (ControllerState::Holding, true);
            }
            Order::Play { line } => {
                let line = usize::from(*line).checked_sub(1).filter(|l| *l < self.lines.len());
                self.playing = (line.ok_or(Refusal::Line)?, 0);
                (self.state, self.live) = (ControllerState::Playing, false);
            }
        }
        Ok(Report::Ack)
    }

    fn greet(&mut self, version: u8) -> Result<Report, Refusal> {
        // A page that was loaded anew knows nothing of what moves.
        if self.live {
            self.go_back();
        }
        self.faults.0 &= !Faults::LINK_LOST;
        self.ceiling = FIRST_CEILING;
        self.greeted = version == PROTOCOL_VERSION;
        // Also where versions differ: the host learns which sketch it talks to.
        Ok(Report::Welcome {
            version: PROTOCOL_VERSION,
            channels: self.config.channels.len() as u8,
            fingerprint: self.config.fingerprint,
        })
    }

    fn status(&self) -> Status {
        Status {
            state: self.state,
            faults: self.faults,
            accepted: self.accepted,
            missed: self.missed,
            dropped: self.dropped,
            ceiling: self.ceiling,
            positions: self.positions.clone(),
        }
    }

    /// The dead man's rules.
    fn watch(&mut self) {
        if self.state == ControllerState::Holding && self.now - self.held_at >= micros(HOLD_TIMEOUT) {
            self.state = ControllerState::Idle;
        }
        if self.greeted && self.now - self.heard_at >= micros(LINK_TIMEOUT) {
            self.greeted = false;
            self.faults.0 |= Faults::LINK_LOST;
            if self.live || self.state == ControllerState::Playing {
                self.go_back();
            }
        }
    }

    fn go_back(&mut self) {
        (self.state, self.live) = (ControllerState::Returning, false);
    }

    /// One frame of motion.
    fn step(&mut self) {
        let mut ceiling = self.ceiling;
        match self.state {
            ControllerState::Following | ControllerState::Holding => {}
            ControllerState::Returning => {
                ceiling = ceiling.min(RETURN_SPEED);
                for (target, channel) in self.targets.iter_mut().zip(&self.config.channels) {
                    *target = channel.neutral;
                }
            }
            // The simulated board is neither faulty nor started from an unknown pose.
            _ if self.state != ControllerState::Playing => return,
            _ => match self.lines[self.playing.0].get(self.playing.1) {
                Some(targets) => {
                    self.targets.clone_from(targets);
                    self.playing.1 += 1;
                }
                None => self.go_back(),
            },
        }
        for ((at, target), channel) in self.positions.iter_mut().zip(&self.targets).zip(&self.config.channels)
        {
            let step = channel.step(ceiling);
            *at = (*target).clamp(at.saturating_sub(step), at.saturating_add(step));
        }
        if self.state == ControllerState::Returning && self.positions == self.targets {
            self.state = ControllerState::Idle;
        }
    }
}

fn micros(time: Seconds) -> u64 {
    (time.value().max(0.0) * 1e6).round() as u64
}
