//! The controller's end of the bench link, in C++, against the simulated controller in core.

use lipwright_core::bench::{
    BENCH_FRAME, BenchConfig, ControllerState, Decoder, Faults, Frame, Heard, Mover, Order, Report,
    SimulatedController, Status, encode,
};
use lipwright_core::export::sketch::{SketchSettings, sketches};
use lipwright_core::export::{ServoTrack, TrackMeta};
use lipwright_core::rig::Rig;
use lipwright_core::units::{Microseconds, Seconds};
use lipwright_tests::controller::{Built, Event, Run, build, quiet_inputs, servo_pin, simulate};
use lipwright_tests::workspace;
use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::OnceLock;

/// Every channel alike, so that the C++ side needs no table.
fn config(channels: usize) -> BenchConfig {
    let mut config = BenchConfig::new(&Rig::harbourmaster(), "main").expect("the preset has this board");
    let one = config.channels[0].clone();
    config.channels = vec![one; channels];
    config
}

fn compile(folder: &std::path::Path) -> PathBuf {
    let root = workspace();
    let out = folder.join("link_host");
    let status = Command::new("g++")
        .args(["-std=c++11", "-Wall", "-Wextra", "-Werror", "-O1", "-fsanitize=address,undefined", "-o"])
        .arg(&out)
        .arg("-I")
        .arg(root.join("static/controller"))
        .arg(root.join("static/controller/link.cpp"))
        .arg(root.join("tests/bench/link_host.cpp"))
        .status()
        .expect("g++ is installed; run `make test-tools`");
    assert!(status.success(), "link.cpp does not compile on this machine");
    out
}

/// The C++ controller in a process of its own.
struct Cpp {
    child: Child,
    input: ChildStdin,
    output: BufReader<ChildStdout>,
}

impl Cpp {
    fn start(program: &std::path::Path, config: &BenchConfig) -> Self {
        let c = &config.channels[0];
        let mut child = Command::new(program)
            .arg(config.channels.len().to_string())
            .arg(format!("{:08x}", config.fingerprint))
            .args([0, c.low, c.high, c.neutral, c.full_step].map(|n| n.to_string()))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("starts");
        let input = child.stdin.take().expect("piped");
        let output = BufReader::new(child.stdout.take().expect("piped"));
        Self { child, input, output }
    }

    fn receive(&mut self, bytes: &[u8]) {
        let hex: String = bytes.iter().map(|b| format!("{b:02x}")).collect();
        writeln!(self.input, "b {hex}").expect("it reads");
    }

    /// A servo period: what it wrote, and its pulses.
    fn frame(&mut self) -> (Vec<u8>, Vec<u16>) {
        writeln!(self.input, "f").expect("it reads");
        self.input.flush().expect("it reads");
        let mut line = |prefix: &str| {
            let mut text = String::new();
            self.output.read_line(&mut text).expect("it answers");
            text.strip_prefix(prefix).unwrap_or_else(|| panic!("{text:?}")).trim().to_owned()
        };
        let hex = line("w");
        let wrote = (0..hex.len() / 2)
            .map(|i| u8::from_str_radix(&hex[2 * i..2 * i + 2], 16).expect("hex"))
            .collect();
        let pulses = line("p").split_whitespace().map(|p| p.parse().expect("a pulse")).collect();
        (wrote, pulses)
    }
}

impl Drop for Cpp {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Small, repeatable randomness.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % below
    }
}

fn random_order(dice: &mut Dice, config: &BenchConfig) -> Order {
    let c = &config.channels[0];
    let pulse = |dice: &mut Dice| c.low - 50 + dice.roll(u64::from(c.high - c.low) + 100) as u16;
    match dice.roll(20) {
        0 => Order::Hello { version: 1 + (dice.roll(6) == 0) as u8 },
        1 => Order::Stop,
        2 | 3 => Order::Ceiling { permille: dice.roll(1100) as u16 },
        4 => Order::Play { line: dice.roll(3) as u16 },
        5..=8 => {
            Order::Hold { channel: dice.roll(config.channels.len() as u64 + 2) as u8, target: pulse(dice) }
        }
        9..=12 => Order::Beat,
        13 => Order::Pose { targets: vec![c.neutral; dice.roll(20) as usize] },
        _ => Order::Pose { targets: config.channels.iter().map(|_| pulse(dice)).collect() },
    }
}

/// Both controllers hear the same for half an hour: orders, damaged frames, garbage, silence. They
/// answer the same bytes and send the same pulses.
#[test]
fn the_sketch_s_link_and_the_simulated_one_answer_alike() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let program = compile(folder.path());
    let config = config(16);
    let mut cpp = Cpp::start(&program, &config);
    let mut rust = SimulatedController::new(config.clone());
    let mut dice = Dice(20);
    let (mut sequence, mut answers, mut quiet) = (0u8, 0, 0);
    for period in 0..90_000 {
        let mut bytes = Vec::new();
        if quiet > 0 {
            quiet -= 1;
        } else {
            if dice.roll(300) == 0 {
                quiet = dice.roll(40);
            }
            let order =
                if period == 0 { Order::Hello { version: 1 } } else { random_order(&mut dice, &config) };
            sequence = sequence.wrapping_add(1 + (dice.roll(50) == 0) as u8);
            let mut frame = encode(&order.to_frame(sequence));
            match dice.roll(30) {
                0 => {
                    let at = dice.roll(frame.len() as u64) as usize;
                    frame[at] ^= 1 << dice.roll(8);
                }
                1 => frame.truncate(dice.roll(frame.len() as u64) as usize),
                2 => bytes.extend((0..dice.roll(200)).map(|_| dice.roll(256) as u8)),
                3 => {
                    let payload = (0..dice.roll(97)).map(|_| dice.roll(256) as u8).collect();
                    let odd = Frame { kind: dice.roll(256) as u8, sequence, payload };
                    frame = encode(&odd);
                }
                _ => {}
            }
            bytes.extend(frame);
        }
        cpp.receive(&bytes);
        rust.receive(&bytes);
        rust.advance(Seconds::new(0.02));
        let (wrote, pulses) = cpp.frame();
        assert_eq!(wrote, rust.take_output(), "answers in period {period} to {bytes:02x?}");
        assert_eq!(pulses, rust.positions(), "pulses in period {period}");
        answers += usize::from(!wrote.is_empty());
    }
    assert!(answers > 50_000, "they did talk: {answers}");
}

#[test]
fn the_sketch_s_link_detects_every_flipped_bit() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let program = compile(folder.path());
    let config = config(16);
    let mut cpp = Cpp::start(&program, &config);
    let orders = [
        Order::Hello { version: 1 },
        Order::Beat,
        Order::Pose { targets: config.channels.iter().map(|c| c.high).collect() },
        Order::Play { line: 1 },
        Order::Stop,
        Order::Ceiling { permille: 150 },
        Order::Hold { channel: 3, target: config.channels[0].high },
    ];
    let mut flips = 0;
    for order in orders {
        let good = encode(&order.to_frame(7));
        for bit in 0..good.len() * 8 {
            let mut bytes = good.clone();
            bytes[bit / 8] ^= 1 << (bit % 8);
            // The frame after it must be heard, and be the only one that is answered.
            bytes.extend(encode(&Order::Beat.to_frame(8)));
            cpp.receive(&bytes);
            let (wrote, _) = cpp.frame();
            let mut decoder = Decoder::default();
            let heard: Vec<Heard> = wrote.iter().filter_map(|b| decoder.push(*b)).collect();
            let alone = matches!(heard.as_slice(), [Heard::Frame(f)] if f.sequence == 8);
            assert!(alone, "bit {bit} of {order:?}: {heard:?}");
            flips += 1;
        }
    }
    assert!(flips > 900, "{flips}");
}

/// The sketch for the demonstration head with one line at rest, compiled once.
fn sketch() -> &'static Built {
    static BUILT: OnceLock<(tempfile::TempDir, Built)> = OnceLock::new();
    &BUILT
        .get_or_init(|| {
            let rig = Rig::harbourmaster();
            let rest: Vec<Vec<Microseconds>> =
                rig.servos().iter().zip(rig.rest_angles()).map(|(s, a)| vec![s.pulse(a); 50]).collect();
            let meta = TrackMeta { line: "still".into(), ..TrackMeta::default() };
            let line =
                ServoTrack::dense(&rig, meta, BENCH_FRAME, Seconds::ZERO, &rest).expect("a head at rest");
            // No idle movement: whatever moves was asked for.
            let settings = SketchSettings { idle: false, ..SketchSettings::default() };
            let made = sketches(&[line], &rig, &settings).expect("fits");
            let folder = tempfile::tempdir().expect("a temporary folder");
            let built = build(&made[0], folder.path());
            (folder, built)
        })
        .1
}

/// When the approach after power-up is over, with something to spare.
const READY: f64 = 5.0;

fn demo() -> BenchConfig {
    BenchConfig::new(&Rig::harbourmaster(), "main").expect("the preset has this board")
}

/// What a host sends over the simulated board's serial line.
struct Script {
    text: String,
    sequence: u8,
    sent: usize,
}

impl Script {
    fn new() -> Self {
        Self { text: quiet_inputs(0), sequence: 0, sent: 0 }
    }

    fn bytes(&mut self, at: f64, bytes: &[u8]) {
        let hex: String = bytes.iter().map(|b| format!("{b:02x}")).collect();
        writeln!(self.text, "{at:.4} 0 send {hex}").expect("a String takes everything");
    }

    fn order(&mut self, at: f64, order: &Order) {
        let bytes = encode(&order.to_frame(self.sequence));
        self.sequence = self.sequence.wrapping_add(1);
        self.sent += 1;
        self.bytes(at, &bytes);
    }

    /// Greets and raises the ceiling to 30 %; takes 0.2 s.
    fn greet(&mut self, at: f64) {
        self.order(at, &Order::Hello { version: 1 });
        self.order(at + 0.05, &Order::Ceiling { permille: 200 });
        self.order(at + 0.1, &Order::Ceiling { permille: 300 });
    }
}

/// Frames that the board sent, with the time of their last byte.
fn reports(run: &Run) -> Vec<(f64, Frame)> {
    let mut decoder = Decoder::default();
    let mut out = Vec::new();
    for event in &run.events {
        if let Event::Said { at, byte, .. } = event
            && let Some(Heard::Frame(frame)) = decoder.push(*byte)
        {
            out.push((*at, frame));
        }
    }
    out
}

fn status(frame: &Frame) -> Option<Status> {
    match Report::from_frame(frame) {
        Some(Report::Status(status)) => Some(status),
        _ => None,
    }
}

/// No pulse differs from the one before it by more than the ceiling's share of the servo's speed, a
/// timer tick (0.5 us) of rounding and another for the moments at which the pin is switched.
fn below_ceiling(run: &Run, permille: u16, from: f64, to: f64) {
    let rig = Rig::harbourmaster();
    for (i, channel) in demo().channels.iter().enumerate() {
        let servo = &rig.servos()[channel.servo.0];
        let speed = servo.speed_up.value().max(servo.speed_down.value()) * servo.us_per_degree.abs();
        let most = speed * BENCH_FRAME.value() * f64::from(permille) / 1000.0 + 0.5 + 0.5;
        let pulses = run.pulses(0, &servo_pin(i as u8));
        for pair in pulses.windows(2).filter(|p| p[0].0 >= from && p[1].0 <= to) {
            let moved = (pair[1].1 - pair[0].1).abs();
            assert!(moved <= most, "{} at {}: {moved} us, {most} allowed", channel.name, pair[1].0);
        }
    }
}

/// The sketch in simavr, over its serial line: poses at 50 Hz for a minute.
#[test]
fn a_minute_at_fifty_a_second_loses_no_frame_on_the_board() {
    let (config, rig) = (demo(), Rig::harbourmaster());
    let mut script = Script::new();
    script.greet(READY);
    let (mut mover, mut dice, mut target) = (Mover::new(&rig), Dice(4), rig.rest_angles());
    let start = READY + 0.3;
    let mut last = Vec::new();
    const POSES: usize = 3000;
    for k in 0..POSES {
        if k % 50 == 0 && k + 150 < POSES {
            let mut wanted = rig.rest();
            for d in rig.dofs() {
                wanted[d.dof] = d.skin_min + (d.skin_max - d.skin_min) * dice.roll(1000) as f64 / 1000.0;
            }
            target = rig.reach(&wanted).angles;
        }
        mover.approach(&target, 0.3, BENCH_FRAME);
        let angles = mover.angles();
        last = config
            .channels
            .iter()
            .map(|c| c.ticks(rig.servos()[c.servo.0].pulse(angles[c.servo.0])))
            .collect();
        let at = start + 0.02 * k as f64;
        script.order(at, &Order::Pose { targets: last.clone() });
        if k % 5 == 0 {
            script.order(at + 0.008, &Order::Beat);
        }
    }
    let end = start + 0.02 * POSES as f64;
    script.order(end + 0.1, &Order::Beat);
    let run = simulate(end + 0.2, &script.text, &[(&sketch().elf, 0.0)]);
    let heard = reports(&run);
    assert_eq!(heard.len(), script.sent, "one answer to every frame");
    for (k, (_, frame)) in heard.iter().enumerate() {
        assert_eq!(frame.sequence, k as u8, "in order");
        assert!(!matches!(Report::from_frame(frame), Some(Report::Refused(_)) | None), "{frame:?}");
    }
    let found = status(&heard[heard.len() - 1].1).expect("the last answer is a status");
    assert_eq!((found.missed, found.dropped), (0, 0));
    assert_eq!(usize::from(found.accepted), script.sent);
    assert_eq!(found.state, ControllerState::Following);
    assert_eq!(found.ceiling, 300);
    for (a, b) in found.positions.iter().zip(&last) {
        assert!(a.abs_diff(*b) <= 1, "{:?} where {last:?} was asked", found.positions);
    }
    below_ceiling(&run, 300, READY, end);
}

/// The sketch in simavr: each bit of each kind of order flipped, one after the other.
#[test]
fn the_board_detects_every_flipped_bit() {
    let config = demo();
    let mut script = Script::new();
    script.bytes(READY, &encode(&Order::Hello { version: 1 }.to_frame(0)));
    let orders = [
        Order::Hello { version: 1 },
        Order::Beat,
        Order::Pose { targets: config.channels.iter().map(|c| c.high).collect() },
        Order::Play { line: 1 },
        Order::Stop,
        Order::Ceiling { permille: 150 },
        Order::Hold { channel: 3, target: config.channels[3].high },
    ];
    let mut at = READY + 0.1;
    let mut flips = 0;
    for order in &orders {
        let good = encode(&order.to_frame(7));
        for bit in 0..good.len() * 8 {
            let mut bytes = good.clone();
            bytes[bit / 8] ^= 1 << (bit % 8);
            bytes.extend(encode(&Order::Beat.to_frame(8)));
            script.bytes(at, &bytes);
            at += 0.02;
            flips += 1;
        }
    }
    let run = simulate(at + 0.1, &script.text, &[(&sketch().elf, 0.0)]);
    let heard = reports(&run);
    assert_eq!(heard.len(), 1 + flips, "the greeting and every beat are answered, nothing else");
    for (_, frame) in &heard[1..] {
        assert_eq!(frame.sequence, 8);
        let found = status(frame).expect("a status");
        assert_eq!(found.state, ControllerState::Idle);
        assert!(found.positions.iter().zip(&config.channels).all(|(p, c)| p.abs_diff(c.neutral) <= 1));
    }
    let found = status(&heard[flips].1).expect("a status");
    // A flipped start byte is no start, and what follows it is text.
    let dropped = usize::from(found.dropped);
    assert!(dropped + 8 * orders.len() >= flips && dropped <= flips, "{dropped} of {flips} counted");
}

/// The sketch in simavr: the cable pulled at random moments, also in the middle of a frame.
#[test]
fn a_link_cut_at_random_moments_brings_the_board_back_slowly() {
    let (config, rig) = (demo(), Rig::harbourmaster());
    let mut script = Script::new();
    let mut dice = Dice(11);
    let mut cuts = Vec::new();
    let mut at = READY;
    for _ in 0..10 {
        script.greet(at);
        at += 0.3;
        let mut wanted = rig.rest();
        for d in rig.dofs() {
            wanted[d.dof] = if dice.roll(2) == 0 { d.skin_min } else { d.skin_max };
        }
        let angles = rig.reach(&wanted).angles;
        let targets: Vec<u16> = config
            .channels
            .iter()
            .map(|c| c.ticks(rig.servos()[c.servo.0].pulse(angles[c.servo.0])))
            .collect();
        let frame = encode(&Order::Pose { targets: targets.clone() }.to_frame(0));
        let poses = 3 + dice.roll(60) as usize;
        for _ in 0..poses {
            script.order(at, &Order::Pose { targets: targets.clone() });
            at += 0.02;
        }
        // The last frame that came whole began 20 ms ago and took 5; then a piece of another.
        cuts.push(at - 0.015);
        script.bytes(at, &frame[..dice.roll(frame.len() as u64) as usize]);
        at += 2.5;
        // A beat without a greeting only asks.
        script.order(at, &Order::Beat);
        at += 0.05;
    }
    let run = simulate(at, &script.text, &[(&sketch().elf, 0.0)]);
    below_ceiling(&run, 300, READY, at);
    for cut in &cuts {
        let mut away = 0;
        for (i, channel) in config.channels.iter().enumerate() {
            let pulses = run.pulses(0, &servo_pin(i as u8));
            let neutral = f64::from(channel.neutral) * 0.5;
            let far = |p: &(f64, f64)| (p.1 - neutral).abs();
            // In the period that goes out half a second after the cut, the way back has begun; before
            // it the servo may have been on its way out, and has braked.
            let back: Vec<&(f64, f64)> =
                pulses.iter().filter(|p| p.0 > cut + 0.5 && p.0 < cut + 2.4).collect();
            for pair in back.windows(2) {
                assert!(far(pair[1]) <= far(pair[0]) + 0.5, "{} at {}", channel.name, pair[1].0);
            }
            let (first, later) = (far(back[0]), far(back[10]));
            if first > 20.0 {
                away += 1;
                assert!(later < first - 1.0, "{} stands {first} us away at {}", channel.name, back[0].0);
            }
            let before = pulses.iter().filter(|p| p.0 > cut + 0.1 && p.0 <= cut + 0.5);
            let farthest = before.map(far).fold(0.0, f64::max);
            if farthest > 20.0 {
                assert!(first < farthest + 0.5, "{}: the return begins within half a second", channel.name);
            }
        }
        assert!(away > 3, "the head was away from neutral: {away}");
        // Slowly: a tenth of each servo's speed, once what was left of the speed is braked.
        below_ceiling(&run, 100, cut + 0.55, cut + 2.4);
    }
    let lost = reports(&run)
        .iter()
        .filter_map(|(_, f)| status(f))
        .filter(|s| s.faults.0 & Faults::LINK_LOST != 0)
        .count();
    assert_eq!(lost, cuts.len(), "each time the board says that the link was lost");
}
