//! The bench: a link to a controller or to a simulated one, and what is asked of it.

use super::*;
use crate::web::serial::SerialWire;
use leptos::leptos_dom::helpers::IntervalHandle;
use lipwright_core::bench::{
    BenchConfig, BenchError, Counters, Host, HostState, SimulatedController, Status,
};
use lipwright_core::rig::Dof;
use lipwright_core::units::{Degrees, Microseconds};
use std::cell::RefCell;
use std::time::Duration;

/// How often the link looks at the clock. Twice a controller frame, so that none is late by one.
const LOOK: Duration = Duration::from_millis(10);
/// Least time between two pictures of moving pulses, in seconds.
const DRAW: f64 = 0.05;

/// What the page shows of the link.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// How far it has come.
    pub state: HostState,
    /// What is at the other end.
    pub with: &'static str,
    /// Counts of frames.
    pub counters: Counters,
    /// What the controller says about itself.
    pub status: Option<Status>,
    /// Speed ceiling, thousandths.
    pub ceiling: u16,
    /// Why the last order was not taken.
    pub refusal: Option<&'static str>,
    /// What the motion stopped in front of.
    pub stopped_by: Option<String>,
    /// The face as the controller's pulses make it.
    pub face: Option<DofValues>,
    /// Whether a line is being played.
    pub playing: bool,
    /// Whether the simulated cable is out.
    pub unplugged: bool,
}

impl Shown {
    /// Whether nothing but pulses and counts differs.
    fn alike(&self, other: &Self) -> bool {
        let doing = |s: &Self| s.status.as_ref().map(|x| (x.state, x.faults));
        (&self.state, self.ceiling, self.refusal, &self.stopped_by, self.playing, self.unplugged, doing(self))
            == (
                &other.state,
                other.ceiling,
                other.refusal,
                &other.stopped_by,
                other.playing,
                other.unplugged,
                doing(other),
            )
    }
}

impl Default for Shown {
    fn default() -> Self {
        Self {
            state: HostState::Closed,
            with: "",
            counters: Counters::default(),
            status: None,
            ceiling: lipwright_core::bench::FIRST_CEILING,
            refusal: None,
            stopped_by: None,
            face: None,
            playing: false,
            unplugged: false,
        }
    }
}

enum Wire {
    Simulated { board: Box<SimulatedController>, at: f64, unplugged: bool },
    Serial(SerialWire),
}

/// A line being played on the bench: the motion starts before the sound and ends after it.
#[derive(Clone, Copy)]
struct Playing {
    /// Line time and clock when the present stretch without sound began.
    from: (f64, f64),
    sounding: bool,
}

struct Link {
    host: Host,
    wire: Wire,
    rig: Arc<Rig>,
    playing: Option<Playing>,
}

/// The bench's part of the store. A cheap handle.
#[derive(Clone, Copy)]
pub struct Bench {
    /// What the page shows.
    pub shown: RwSignal<Shown>,
    /// The face that the sliders ask for.
    pub wanted: RwSignal<DofValues>,
    /// Which of the rig's boards is driven.
    pub board: RwSignal<usize>,
    drawn: StoredValue<f64, LocalStorage>,
    link: StoredValue<Rc<RefCell<Option<Link>>>, LocalStorage>,
    timer: StoredValue<Option<IntervalHandle>, LocalStorage>,
}

impl Bench {
    pub(super) fn new() -> Self {
        Self {
            shown: RwSignal::default(),
            wanted: RwSignal::default(),
            board: RwSignal::new(0),
            drawn: StoredValue::new_local(0.0),
            link: StoredValue::new_local(Rc::default()),
            timer: StoredValue::new_local(None),
        }
    }

    /// True while a controller answers.
    pub fn connected(&self) -> bool {
        self.shown.with_untracked(|s| s.state == HostState::Ready)
    }

    /// The same, tracked.
    pub fn ready(&self) -> bool {
        self.shown.with(|s| s.state == HostState::Ready)
    }

    fn with<T>(&self, act: impl FnOnce(&mut Link) -> T) -> Option<T> {
        let link = self.link.get_value();
        let mut link = link.borrow_mut();
        link.as_mut().map(act)
    }
}

fn clock() -> f64 {
    window().performance().map_or(0.0, |p| p.now() / 1000.0)
}

fn now() -> Seconds {
    Seconds::new(clock())
}

impl Store {
    /// Connects the simulated controller.
    pub fn bench_simulate(self) {
        self.bench_connect(|config| Wire::Simulated {
            board: Box::new(SimulatedController::new(config)),
            at: clock(),
            unplugged: false,
        });
    }

    /// Lets the person choose a serial port and connects what is there.
    pub fn bench_serial(self) {
        leptos::task::spawn_local(async move {
            match SerialWire::choose().await {
                Ok(wire) => self.bench_connect(|_| Wire::Serial(wire)),
                Err(why) => self.say(&format!("No port was opened: {why}")),
            }
        });
    }

    fn bench_connect(self, wire: impl FnOnce(BenchConfig) -> Wire) {
        self.bench_close();
        let rig = self.head.with_untracked(|h| Arc::clone(&h.rig));
        let boards = BenchConfig::boards(&rig);
        let board = boards.get(self.bench.board.get_untracked()).or(boards.first()).cloned();
        match Host::new(&rig, &board.unwrap_or_default()) {
            Err(error) => self.fail(error.to_string()),
            Ok(mut host) => {
                host.connect(now());
                let wire = wire(host.config().clone());
                self.bench.wanted.set(rig.rest());
                let link = Link { host, wire, rig, playing: None };
                *self.bench.link.get_value().borrow_mut() = Some(link);
                let timer = set_interval_with_handle(move || self.bench_tick(), LOOK).ok();
                self.bench.timer.set_value(timer);
                self.bench_tick();
            }
        }
    }

    /// Ends the link; the head goes to neutral slowly.
    pub fn bench_close(self) {
        if let Some(timer) = self.bench.timer.try_update_value(Option::take).flatten() {
            timer.clear();
        }
        self.stop_sound();
        let link = self.bench.link.get_value().borrow_mut().take();
        if let Some(mut link) = link {
            link.host.close();
            if let Wire::Serial(wire) = link.wire {
                wire.send(&link.host.take_output());
                wire.close();
            }
        }
        self.bench.shown.set(Shown::default());
    }

    /// Stops whatever moves; the head goes to neutral slowly.
    pub fn bench_stop(self) {
        self.stop_sound();
        self.bench.with(|link| {
            link.playing = None;
            link.host.stop(now());
        });
        self.bench.wanted.set(self.head.with_untracked(|h| h.rig.rest()));
        self.bench_tick();
        if self.bench.connected() {
            self.say("Stopped: the head goes to neutral slowly");
        }
    }

    fn stop_sound(self) {
        if self.bench.with(|link| link.playing.is_some()).unwrap_or(false) {
            self.stop();
        }
    }

    /// Asks for another value of one DOF.
    pub fn bench_dof(self, dof: Dof, value: f64) {
        self.bench.wanted.update(|w| w[dof] = value);
        self.bench_pose();
    }

    /// Asks for a whole face.
    pub fn bench_face(self, wanted: DofValues) {
        self.bench.wanted.set(wanted);
        self.bench_pose();
    }

    fn bench_pose(self) {
        let wanted = self.bench.wanted.get_untracked();
        self.stop_sound();
        let asked = self.bench.with(|link| {
            link.playing = None;
            link.host.pose(link.rig.reach(&wanted).angles)
        });
        self.bench_asked(asked);
    }

    /// Moves one channel for as long as [`Store::bench_release`] does not come.
    pub fn bench_hold(self, channel: usize, up: bool) {
        self.stop_sound();
        let asked = self.bench.with(|link| {
            link.playing = None;
            link.host.hold(channel, up)
        });
        self.bench_asked(asked);
    }

    /// Ends hold-to-move.
    pub fn bench_release(self) {
        self.bench.with(|link| link.host.release());
    }

    /// Asks for a speed ceiling; the page then shows the one that was granted.
    pub fn bench_ceiling(self, permille: u16) {
        let asked = self.bench.with(|link| link.host.set_ceiling(permille, now()).map(|_| ()));
        self.bench_asked(asked);
        self.bench_tick();
    }

    /// Plays the open line on the head, in step with its sound.
    pub fn bench_play(self) {
        // Faster than it was planned is no speed for a head.
        if self.transport.with_untracked(|t| t.speed > 1.0) {
            self.set_speed(1.0);
        }
        let Some(start) = self.performance.with_untracked(|p| p.as_ref().map(|p| p.head().start.value()))
        else {
            return self.say("The line is still being planned");
        };
        if !self.bench.connected() {
            return self.bench_asked(Some(Err(BenchError::NotReady)));
        }
        self.stop();
        self.transport.update(|t| {
            t.looping = false;
            t.time = Seconds::ZERO;
        });
        let playing = Playing { from: (start, clock()), sounding: false };
        self.bench.with(|link| link.playing = Some(playing));
        self.bench_tick();
    }

    /// Pulls the simulated cable, or puts it back.
    pub fn bench_unplug(self, out: bool) {
        self.bench.with(|link| {
            if let Wire::Simulated { unplugged, .. } = &mut link.wire {
                *unplugged = out;
            }
        });
        self.bench_tick();
    }

    fn bench_asked(self, outcome: Option<Result<(), BenchError>>) {
        match outcome {
            None => self.say(&BenchError::NotReady.to_string()),
            Some(Err(error)) => self.say(&error.to_string()),
            Some(Ok(())) => {}
        }
    }

    /// Lets the link look at the clock.
    fn bench_tick(self) {
        let rig = self.head.with_untracked(|h| Arc::clone(&h.rig));
        let Some(same) = self.bench.with(|link| link.rig == rig) else { return };
        if !same {
            self.bench_close();
            return self.say("The rig has changed: connect the bench again");
        }
        self.bench_stream();
        let gone = self.bench.with(|link| link.exchange(clock())).flatten();
        let shown = self.bench.with(|link| link.show());
        if let Some(shown) = shown {
            if shown.playing && shown.state != HostState::Ready {
                self.stop_sound();
                self.bench.with(|link| link.playing = None);
            }
            // Drawing the face costs more than the link: at most twenty times a second, unless
            // something else than a pulse has changed.
            let clock = clock();
            let due = clock - self.bench.drawn.get_value() >= DRAW;
            let changed = self.bench.shown.with_untracked(|s| *s != shown && (due || !s.alike(&shown)));
            if changed {
                self.bench.drawn.set_value(clock);
                self.bench.shown.set(shown);
            }
        }
        if let Some(why) = gone {
            self.bench_close();
            self.fail(format!("The controller is gone: {why}. Its head goes to neutral by itself."));
        }
    }

    /// Where the line being played is now, and the head with it.
    fn bench_stream(self) {
        let Some(Some(playing)) = self.bench.with(|link| link.playing) else { return };
        let Some(performance) = self.performance.get_untracked() else { return };
        let transport = self.transport.get_untracked();
        let clock = clock();
        let silent = playing.from.0 + (clock - playing.from.1) * transport.speed;
        let head = performance.head();
        let end = head.start.value() + head.frame.value() * (head.frames.max(1) - 1) as f64;
        let (time, next) = if playing.sounding {
            match self.hands().player.heard() {
                Heard::At(heard) if transport.playing => (heard.value(), playing),
                // The sound is over, or lost: the motion runs on to rest.
                _ => (
                    transport.time.value(),
                    Playing { from: (transport.time.value(), clock), sounding: false },
                ),
            }
        } else if silent >= 0.0 && playing.from.0 < 0.0 {
            self.play();
            // Where the sound cannot be played, the motion goes on alone.
            let sounding = self.transport.with_untracked(|t| t.playing);
            (silent, Playing { from: (0.0, clock), sounding })
        } else {
            (silent, playing)
        };
        let done = !next.sounding && time > end;
        self.bench.with(|link| {
            link.playing = (!done).then_some(next);
            // At rest: nothing more to send than that.
            let angles = performance.angles_at(Seconds::new(time.min(end)));
            let _ = link.host.stream(angles); // Not connected any more: the state says so.
        });
    }
}

impl Link {
    /// Carries bytes both ways; why the wire is gone, if it is.
    fn exchange(&mut self, clock: f64) -> Option<String> {
        let time = Seconds::new(clock);
        self.host.tick(time);
        let out = self.host.take_output();
        match &mut self.wire {
            Wire::Simulated { board, at, unplugged } => {
                board.advance(Seconds::new(clock - *at));
                *at = clock;
                if !*unplugged {
                    board.receive(&out);
                }
                let back = board.take_output();
                if !*unplugged {
                    self.host.receive(&back, time);
                }
                None
            }
            Wire::Serial(wire) => {
                wire.send(&out);
                self.host.receive(&wire.take(), time);
                wire.ended()
            }
        }
    }

    fn show(&self) -> Shown {
        let (with, unplugged) = match &self.wire {
            Wire::Simulated { unplugged, .. } => ("simulated controller", *unplugged),
            Wire::Serial(_) => ("controller", false),
        };
        Shown {
            state: self.host.state().clone(),
            with,
            counters: self.host.counters(),
            status: self.status(),
            ceiling: self.host.ceiling(),
            refusal: self.host.refusal().map(|r| r.sentence()),
            stopped_by: self.host.mover().stopped_by().map(str::to_owned),
            face: self.face(),
            playing: self.playing.is_some(),
            unplugged,
        }
    }

    /// What the controller says; the simulated one goes on to be seen when its cable is out.
    fn status(&self) -> Option<Status> {
        let mut status = self.host.status()?.clone();
        if let Wire::Simulated { board, .. } = &self.wire {
            status.positions = board.positions().to_vec();
            status.state = board.state();
        }
        Some(status)
    }

    fn face(&self) -> Option<DofValues> {
        let status = self.status()?;
        let mut angles: Vec<Degrees> = self.rig.rest_angles();
        for (channel, ticks) in self.host.config().channels.iter().zip(&status.positions) {
            let pulse = Microseconds::new(f64::from(*ticks) / lipwright_core::bench::TICKS_PER_US);
            angles[channel.servo.0] = self.rig.servos()[channel.servo.0].angle(pulse);
        }
        Some(self.rig.forward(&angles))
    }
}
