//! The controller's end of the bench link, in C++, against the simulated controller in core.

use lipwright_core::bench::{BenchConfig, Decoder, Frame, Heard, Order, SimulatedController, encode};
use lipwright_core::rig::Rig;
use lipwright_core::units::Seconds;
use lipwright_tests::workspace;
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

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
