//! Host and simulated controller together, over a line that can be cut, delayed and damaged.

use super::*;
use crate::rig::{Dof, Preset, Rig};
use crate::units::{Degrees, Seconds};
use proptest::prelude::*;

/// Both ends and the wire between them; time in steps of 5 ms.
struct Bench {
    host: Host,
    board: SimulatedController,
    now: f64,
    cut: bool,
    /// Largest move of a channel in one frame against what the ceiling allows, and the worst of it.
    worst: f64,
}

const TICK: f64 = 0.005;

impl Bench {
    fn new(rig: &Rig) -> Self {
        let host = Host::new(rig, "main").expect("the preset has this board");
        let board = SimulatedController::new(host.config().clone());
        Self { host, board, now: 0.0, cut: false, worst: 0.0 }
    }

    fn connected(rig: &Rig) -> Self {
        let mut bench = Self::new(rig);
        bench.host.connect(Seconds::new(0.0));
        bench.run(0.1);
        assert_eq!(*bench.host.state(), HostState::Ready);
        bench
    }

    fn run(&mut self, seconds: f64) {
        for _ in 0..(seconds / TICK).round() as usize {
            self.now += TICK;
            let time = Seconds::new(self.now);
            self.host.tick(time);
            let there = self.host.take_output();
            if !self.cut {
                self.board.receive(&there);
            }
            let before = self.board.positions().to_vec();
            self.board.advance(Seconds::new(TICK));
            let channels = &self.host.config().channels;
            for ((a, b), c) in before.iter().zip(self.board.positions()).zip(channels) {
                let most = c.step(self.host.ceiling().max(1));
                self.worst = self.worst.max(f64::from(a.abs_diff(*b)) / f64::from(most));
            }
            let back = self.board.take_output();
            if !self.cut {
                self.host.receive(&back, time);
            }
        }
    }

    fn pose(&mut self, dof: Dof, value: f64) -> Vec<Degrees> {
        let rig = self.host.mover().rig();
        let mut wanted = rig.rest();
        wanted[dof] = value;
        let angles = rig.reach(&wanted).angles;
        self.host.pose(angles.clone()).expect("connected");
        angles
    }
}

#[test]
fn every_flipped_bit_of_every_kind_of_message_is_detected() {
    let many: Vec<u16> = (0..16).map(|i| 1000 + 250 * i).collect();
    let status = Status {
        state: ControllerState::Following,
        faults: Faults::default(),
        accepted: 700,
        missed: 1,
        dropped: 2,
        ceiling: 300,
        positions: many.clone(),
    };
    let frames: Vec<Frame> = [
        Order::Hello { version: 1 },
        Order::Beat,
        Order::Pose { targets: many },
        Order::Play { line: 3 },
        Order::Stop,
        Order::Ceiling { permille: 200 },
        Order::Hold { channel: 2, target: 2600 },
    ]
    .iter()
    .map(|o| o.to_frame(200))
    .chain(
        [
            Report::Welcome { version: 1, channels: 16, fingerprint: 0xDEAD_BEEF },
            Report::Status(status),
            Report::Ack,
            Report::Refused(Refusal::Halted),
        ]
        .iter()
        .map(|r| r.to_frame(200)),
    )
    .collect();
    let next = Order::Beat.to_frame(201);
    let mut flips = 0;
    for frame in frames {
        let good = encode(&frame);
        for bit in 0..good.len() * 8 {
            let mut bytes = good.clone();
            bytes[bit / 8] ^= 1 << (bit % 8);
            bytes.extend(encode(&next));
            let mut decoder = Decoder::default();
            let heard: Vec<Heard> = bytes.iter().filter_map(|b| decoder.push(*b)).collect();
            let got: Vec<&Heard> = heard.iter().filter(|h| matches!(h, Heard::Frame(_))).collect();
            assert_eq!(got, [&Heard::Frame(next.clone())], "bit {bit} of {frame:?}");
            flips += 1;
        }
    }
    assert!(flips > 1000);
}

#[test]
fn a_minute_at_fifty_a_second_loses_nothing() {
    let mut bench = Bench::connected(&Rig::harbourmaster());
    for k in 0..60 {
        bench.pose(Dof::JawOpen, if k % 2 == 0 { 12.0 } else { 0.0 });
        bench.run(1.0);
    }
    let counters = bench.host.counters();
    assert!(counters.sent > 60 * 50, "{counters:?}");
    assert!(counters.sent - counters.answered <= 2, "only the last may be on its way: {counters:?}");
    assert_eq!((counters.lost, counters.damaged, counters.refused), (0, 0, 0));
    let status = bench.host.status().expect("connected");
    assert_eq!((status.missed, status.dropped), (0, 0));
    assert!(bench.worst <= 1.0, "{}", bench.worst);
}

#[test]
fn a_lost_link_starts_the_return_within_half_a_second_and_stays_below_the_ceiling() {
    let rig = Rig::harbourmaster();
    let mut bench = Bench::connected(&rig);
    bench.pose(Dof::JawOpen, 12.0);
    bench.run(3.0);
    let open = bench.board.positions().to_vec();
    bench.cut = true;
    let mut began = None;
    for k in 1..=200 {
        bench.run(TICK);
        if bench.board.positions() != open {
            began = Some(f64::from(k) * TICK);
            break;
        }
    }
    assert!(began.is_some_and(|t| t <= 0.5), "{began:?}");
    bench.run(12.0);
    let neutral: Vec<u16> = bench.host.config().channels.iter().map(|c| c.neutral).collect();
    assert_eq!(bench.board.positions(), neutral);
    assert_eq!(*bench.host.state(), HostState::Failed(BenchError::Silent));
    // The cable is back: nothing moves until a person connects anew.
    bench.cut = false;
    assert_eq!(bench.host.pose(rig.rest_angles()), Err(BenchError::NotReady));
    bench.host.connect(Seconds::new(bench.now));
    bench.run(0.2);
    assert_eq!(*bench.host.state(), HostState::Ready);
    assert_eq!(bench.host.ceiling(), FIRST_CEILING);
    assert!(bench.worst <= 1.0, "{}", bench.worst);
}

#[test]
fn hold_moves_only_while_it_is_held() {
    let mut bench = Bench::connected(&Rig::harbourmaster());
    bench.host.hold(0, true).expect("connected");
    bench.run(0.5);
    let moving = bench.board.positions()[0];
    assert!(moving > bench.host.config().channels[0].neutral);
    bench.host.release();
    bench.run(HOLD_TIMEOUT.value() + 0.03);
    let stopped = bench.board.positions().to_vec();
    assert!(stopped[0] > moving, "it moved until the timeout");
    bench.run(2.0);
    assert_eq!(bench.board.positions(), stopped, "and stands then, with the link still up");
    assert_eq!(bench.board.state(), ControllerState::Idle);
    for i in 1..stopped.len() {
        assert_eq!(stopped[i], bench.host.config().channels[i].neutral, "the others stood");
    }
    assert_eq!(bench.host.hold(99, true), Err(BenchError::NoSuchServo { index: 99, count: stopped.len() }));
}

#[test]
fn the_ceiling_rises_in_steps_and_falls_at_once() {
    let mut bench = Bench::connected(&Rig::harbourmaster());
    let ask = |bench: &mut Bench, permille| {
        let now = Seconds::new(bench.now);
        let granted = bench.host.set_ceiling(permille, now).expect("connected");
        bench.run(0.25);
        assert_eq!(bench.host.status().expect("a status").ceiling, granted);
        granted
    };
    assert_eq!(ask(&mut bench, 1000), 200);
    assert_eq!(ask(&mut bench, 1000), 200, "half a second must pass");
    bench.run(0.5);
    assert_eq!(ask(&mut bench, 1000), 300);
    assert_eq!(ask(&mut bench, 0), 0);
    bench.pose(Dof::JawOpen, 12.0);
    let before = bench.board.positions().to_vec();
    bench.run(1.0);
    let moved = before.iter().zip(bench.board.positions()).map(|(a, b)| a.abs_diff(*b)).max();
    assert!(moved.is_some_and(|m| m <= 1), "nothing moves at a ceiling of zero: {moved:?}");
    // A board asked for too much refuses by itself.
    bench.board.receive(&encode(&Order::Ceiling { permille: 900 }.to_frame(0)));
    assert!(bench.board.take_output().len() > encode(&Report::Ack.to_frame(0)).len());
}

#[test]
fn the_greeting_refuses_what_does_not_fit() {
    let rig = Rig::harbourmaster();
    let fail = |change: fn(&mut BenchConfig)| {
        let mut bench = Bench::new(&rig);
        let mut config = bench.host.config().clone();
        change(&mut config);
        bench.board = SimulatedController::new(config);
        bench.host.connect(Seconds::ZERO);
        bench.run(0.2);
        match bench.host.state() {
            HostState::Failed(reason) => reason.clone(),
            other => panic!("{other:?}"),
        }
    };
    assert!(matches!(fail(|c| c.fingerprint ^= 1), BenchError::OtherRig { .. }));
    assert!(matches!(fail(|c| drop(c.channels.pop())), BenchError::OtherChannels { .. }));
    let mut bench = Bench::new(&rig);
    bench.cut = true;
    bench.host.connect(Seconds::ZERO);
    bench.run(7.0);
    assert_eq!(*bench.host.state(), HostState::Failed(BenchError::Silent));
    assert!(matches!(Host::new(&rig, "eyes"), Err(BenchError::NoSuchBoard(_))));
    // Before the greeting, nothing moves.
    let mut bench = Bench::new(&rig);
    let targets = bench.host.config().channels.iter().map(|c| c.high).collect();
    bench.board.receive(&encode(&Order::Pose { targets }.to_frame(0)));
    let before = bench.board.positions().to_vec();
    bench.board.advance(Seconds::new(1.0));
    assert_eq!(bench.board.positions(), before);
}

#[test]
fn a_stored_line_plays_and_stop_ends_it() {
    let rig = Rig::harbourmaster();
    let mut bench = Bench::new(&rig);
    let neutral: Vec<u16> = bench.host.config().channels.iter().map(|c| c.neutral).collect();
    let line: StoredLine = (0..200).map(|k| neutral.iter().map(|n| n + k.min(40)).collect()).collect();
    bench.board = SimulatedController::new(bench.host.config().clone()).with_lines(vec![line]);
    bench.host.connect(Seconds::ZERO);
    bench.run(0.1);
    let now = Seconds::new(bench.now);
    bench.host.play(2, now).expect("connected");
    bench.run(0.05);
    assert_eq!(bench.host.refusal(), Some(Refusal::Line));
    bench.host.play(1, now).expect("connected");
    bench.run(1.5);
    assert_eq!(bench.board.state(), ControllerState::Playing);
    assert_ne!(bench.board.positions(), neutral);
    bench.host.stop(Seconds::new(bench.now));
    bench.run(8.0);
    assert_eq!(bench.board.positions(), neutral);
    bench.board.stop_input(true);
    bench.pose(Dof::JawOpen, 12.0);
    bench.run(1.0);
    assert_eq!(bench.host.refusal(), Some(Refusal::Halted));
    assert_eq!(bench.board.positions(), neutral);
}

/// Every limit of the rig that the mover promises, at every step.
fn holds(
    mover: &Mover,
    before: &[Degrees],
    last: &mut Vec<f64>,
    share: f64,
    steady: bool,
) -> Result<(), String> {
    let (rig, dt) = (mover.rig(), BENCH_FRAME.value());
    let now = mover.angles();
    let mut speeds = Vec::new();
    for (i, s) in rig.servos().iter().enumerate() {
        let v = (now[i] - before[i]).value() / dt;
        let most = if v >= 0.0 { s.speed_up.value() } else { s.speed_down.value() };
        if v.abs() > share * most + 1e-6 {
            return Err(format!("{}: {v} deg/s above {}", s.name, share * most));
        }
        let (low, high) = rig.travel(s.id);
        if now[i].value() < low.value() - 1e-9 || now[i].value() > high.value() + 1e-9 {
            return Err(format!("{}: {} outside travel", s.name, now[i]));
        }
        // A ceiling that falls, or a limit that the head stops in front of, stops harder than this.
        let change = (v - last[i]).abs();
        if steady && mover.stopped_by().is_none() && change > s.acceleration.value() * dt + 1e-6 {
            return Err(format!("{}: {change} deg/s faster in one frame", s.name));
        }
        speeds.push(v);
    }
    let faces = rig.forward(&now);
    for c in rig.couplings() {
        let sum = c.sum(&faces);
        if c.min.is_some_and(|m| sum < m - 0.06) || c.max.is_some_and(|m| sum > m + 0.06) {
            return Err(format!("{}: {sum}", c.name));
        }
    }
    *last = speeds;
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// Any sliders, any ceiling: speed, acceleration, travel and couplings hold at every step of every preset.
    #[test]
    fn the_mover_keeps_every_limit(
        preset in prop::sample::select(Preset::ALL.to_vec()),
        moves in prop::collection::vec((0..32usize, -0.2..1.2f64, 0.0..1.0f64, 1..40usize), 1..12),
    ) {
        let rig = preset.rig();
        let mut mover = Mover::new(&rig);
        let mut wanted = rig.rest();
        let mut last = vec![0.0; rig.servos().len()];
        for (which, where_, share, steps) in moves {
            let d = &rig.dofs()[which % rig.dofs().len()];
            wanted[d.dof] = d.skin_min + where_ * (d.skin_max - d.skin_min);
            let target = rig.reach(&wanted).angles;
            for step in 0..steps {
                let before = mover.angles();
                mover.approach(&target, share, BENCH_FRAME);
                if let Err(what) = holds(&mover, &before, &mut last, share, step > 0) {
                    prop_assert!(false, "{}: {}", preset.name(), what);
                }
            }
        }
    }

    /// The link cut at any moment, for any time, at any ceiling: no jump above the ceiling, and the
    /// return begins in time.
    #[test]
    fn a_link_cut_at_any_moment_never_makes_a_jump(
        cuts in prop::collection::vec((0.0..0.8f64, 0.0..1.2f64, -2.0..14.0f64), 1..5), raises in 0..6usize,
    ) {
        let mut bench = Bench::connected(&Rig::harbourmaster());
        for (up, down, jaw) in cuts {
            for _ in 0..raises {
                let now = Seconds::new(bench.now);
                bench.host.set_ceiling(1000, now).expect("connected");
                bench.run(0.55);
            }
            bench.pose(Dof::JawOpen, jaw);
            bench.run(up);
            bench.cut = true;
            bench.run(down);
            if down > 0.43 {
                let done = matches!(bench.board.state(), ControllerState::Returning | ControllerState::Idle);
                prop_assert!(done, "{:?}", bench.board.state());
            }
            bench.cut = false;
            bench.host.connect(Seconds::new(bench.now));
            bench.run(0.3);
            prop_assert_eq!(bench.host.state(), &HostState::Ready);
        }
        prop_assert!(bench.worst <= 1.0, "{}", bench.worst);
    }

    /// Any bytes at all: no panic, and nothing moves.
    #[test]
    fn garbage_moves_nothing(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
        let rig = Rig::harbourmaster();
        let mut bench = Bench::new(&rig);
        bench.board.receive(&bytes);
        bench.host.receive(&bytes, Seconds::ZERO);
        let before = bench.board.positions().to_vec();
        bench.board.advance(Seconds::new(1.0));
        prop_assert_eq!(bench.board.positions(), before);
    }
}

#[test]
fn the_mover_arrives_and_follows_a_plan_exactly() {
    use crate::line::Segment;
    use crate::motion::{PlanSettings, plan};
    use crate::phonetics::MouthShape;
    use crate::progress::Quiet;
    let rig = Rig::harbourmaster();
    let mut mover = Mover::new(&rig);
    let target = rig.reach(&rig.pose(MouthShape::Open).target).angles;
    for _ in 0..300 {
        mover.approach(&target, 0.5, BENCH_FRAME);
    }
    for (a, b) in mover.angles().iter().zip(&target) {
        assert!((*a - *b).abs().value() < 0.05, "{a} {b}");
    }
    let segments: Vec<Segment> = MouthShape::ALL
        .into_iter()
        .enumerate()
        .map(|(i, s)| Segment::new(Seconds::new(0.2 * i as f64), Seconds::new(0.2 * (i + 1) as f64), s))
        .collect();
    let plan = plan(&segments, Seconds::new(2.8), &rig, &PlanSettings::default(), &mut Quiet).expect("plans");
    let mut mover = Mover::new(&rig);
    let mut worst = 0.0f64;
    for t in 0..plan.frames() {
        let wanted = plan.angles_at(plan.time_of(t));
        mover.follow(&wanted, 1.0, BENCH_FRAME);
        for (a, b) in mover.angles().iter().zip(&wanted) {
            worst = worst.max((*a - *b).abs().value());
        }
    }
    assert!(worst < 1e-6, "a plan is followed as it is: {worst}");
}
