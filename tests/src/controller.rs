//! Controller sketches, compiled with avr-gcc and run in simavr.

use crate::workspace;
use lipwright_core::export::sketch::Sketch;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

/// Clock of the board, Hz.
pub const CLOCK: f64 = 16e6;

const CORE: &str = "/usr/share/arduino/hardware/arduino/avr";
const TARGET: [&str; 9] = [
    "-mmcu=atmega2560",
    "-DF_CPU=16000000L",
    "-DARDUINO=10819",
    "-DARDUINO_AVR_MEGA2560",
    "-DARDUINO_ARCH_AVR",
    // The core asks for a C99 macro that this compiler's C++ does not define.
    "-DDECIMAL_DIG=__DECIMAL_DIG__",
    "-Os",
    "-ffunction-sections",
    "-fdata-sections",
];
const CPP: [&str; 3] = ["-std=gnu++11", "-fno-exceptions", "-fno-threadsafe-statics"];

/// A compiled sketch.
#[derive(Clone, Debug)]
pub struct Built {
    /// The program.
    pub elf: PathBuf,
    /// Flash it takes, bytes, by avr-size.
    pub flash: usize,
    /// RAM its variables take, bytes, by avr-size.
    pub ram: usize,
}

fn run(command: &mut Command) -> Output {
    let shown = format!("{command:?}");
    let output = command.output().unwrap_or_else(|e| panic!("{shown}: {e}; run `make test-tools`"));
    assert!(output.status.success(), "{shown}\n{}", String::from_utf8_lossy(&output.stderr));
    output
}

fn headers() -> [String; 2] {
    [format!("-I{CORE}/cores/arduino"), format!("-I{CORE}/variants/mega")]
}

/// The board's core library, compiled once for all tests of a program.
fn core_library() -> &'static Path {
    static BUILT: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    &BUILT
        .get_or_init(|| {
            let folder = tempfile::tempdir().expect("a temporary folder");
            let library = folder.path().join("core.a");
            let sources = std::fs::read_dir(format!("{CORE}/cores/arduino"))
                .expect("arduino-core-avr is installed; run `make test-tools`");
            let mut objects = Vec::new();
            for source in sources.map(|s| s.expect("readable").path()) {
                let kind = source.extension().and_then(|e| e.to_str()).unwrap_or_default();
                let object = folder
                    .path()
                    .join(source.file_name().expect("a file"))
                    .with_extension(format!("{kind}.o"));
                let mut compile = match kind {
                    "c" | "S" => Command::new("avr-gcc"),
                    "cpp" => Command::new("avr-g++"),
                    _ => continue,
                };
                // Not ours: its warnings are not shown.
                compile.args(TARGET).args(headers()).arg("-w");
                match kind {
                    "S" => compile.args(["-x", "assembler-with-cpp"]),
                    "c" => compile.arg("-std=gnu11"),
                    _ => compile.args(CPP),
                };
                run(compile.arg("-c").arg(&source).arg("-o").arg(&object));
                objects.push(object);
            }
            run(Command::new("avr-ar").arg("rcs").arg(&library).args(&objects));
            (folder, library)
        })
        .1
}

/// Writes a sketch folder and compiles it, warnings as errors.
///
/// # Panics
/// Where it does not compile.
pub fn build(sketch: &Sketch, into: &Path) -> Built {
    let folder = into.join(&sketch.folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    for file in &sketch.files {
        std::fs::write(folder.join(&file.name), &file.text).expect("written");
    }
    compile(&folder, into)
}

/// Compiles a sketch folder, warnings as errors; the program goes beside it.
///
/// # Panics
/// Where it does not compile.
pub fn compile(folder: &Path, into: &Path) -> Built {
    let name = folder.file_name().expect("a folder with a name").to_string_lossy().into_owned();
    let files = std::fs::read_dir(folder).expect("a sketch folder").map(|f| f.expect("readable").path());
    let mut sources: Vec<PathBuf> = files.collect();
    sources.sort();
    let mut objects = Vec::new();
    for source in sources {
        let object = source
            .with_extension(format!("{}.o", source.extension().and_then(|e| e.to_str()).unwrap_or_default()));
        let mut compile = Command::new("avr-g++");
        compile.args(TARGET).args(headers()).args(CPP).args(["-Wall", "-Wextra", "-Werror", "-c"]);
        // An .ino is C++ with the core's header put before it.
        match source.extension().and_then(|e| e.to_str()) {
            Some("cpp") => compile.arg(&source),
            Some("ino") => compile.args(["-x", "c++", "-include", "Arduino.h"]).arg(&source),
            _ => continue,
        };
        run(compile.arg("-o").arg(&object));
        objects.push(object);
    }
    let elf = into.join(format!("{name}.elf"));
    let mut link = Command::new("avr-gcc");
    link.args(["-mmcu=atmega2560", "-Os", "-Wl,--gc-sections", "-Wl,--relax", "-o"]).arg(&elf);
    run(link.args(&objects).arg(core_library()).arg("-lm"));
    let output = run(Command::new("avr-size").arg(&elf));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let row = text.lines().nth(1).unwrap_or_default();
    let numbers: Vec<usize> = row.split_whitespace().take(3).filter_map(|n| n.parse().ok()).collect();
    let [code, data, zeroed] = numbers[..] else { panic!("avr-size says {text}") };
    Built { elf, flash: code + data, ram: data + zeroed }
}

/// Address of a symbol of a program, bytes.
///
/// # Panics
/// Where it has no such symbol.
pub fn address(elf: &Path, symbol: &str) -> u32 {
    let output = run(Command::new("avr-nm").arg("-C").arg(elf));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let row = text.lines().find(|l| l.split_whitespace().nth(2) == Some(symbol));
    let row = row.unwrap_or_else(|| panic!("no {symbol} in {}", elf.display()));
    u32::from_str_radix(row.split_whitespace().next().unwrap_or_default(), 16).expect("an address")
}

/// The harness `tests/controller/simulate.c`, compiled once.
fn harness() -> &'static Path {
    static BUILT: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    &BUILT
        .get_or_init(|| {
            let folder = tempfile::tempdir().expect("a temporary folder");
            let program = folder.path().join("simulate");
            let source = workspace().join("tests/controller/simulate.c");
            let mut compile = Command::new("cc");
            compile.args(["-O2", "-Wall", "-Wextra", "-Werror", "-o"]).arg(&program).arg(source);
            run(compile.args(["-lsimavr", "-lelf", "-lm"]));
            (folder, program)
        })
        .1
}

/// Something the boards did; times in seconds of the board's own clock.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A pulse on a servo pin.
    Pulse {
        /// Which board.
        board: usize,
        /// Port and bit.
        pin: String,
        /// When it rose.
        at: f64,
        /// Its width, microseconds.
        width_us: f64,
    },
    /// An edge of a watched pin.
    Edge {
        /// Which board.
        board: usize,
        /// Port and bit.
        pin: String,
        /// When.
        at: f64,
        /// Level after it.
        high: bool,
    },
    /// A byte on the serial line.
    Said {
        /// Which board.
        board: usize,
        /// When it was complete.
        at: f64,
        /// The byte.
        byte: u8,
    },
    /// A channel of the PWM driver was written.
    Channel {
        /// Which board.
        board: usize,
        /// Which channel.
        channel: usize,
        /// When.
        at: f64,
        /// Step at which the pulse begins.
        on: u16,
        /// Step at which it ends.
        off: u16,
    },
    /// Another register of the PWM driver was written.
    Register {
        /// Which board.
        board: usize,
        /// Its number.
        register: u8,
        /// When.
        at: f64,
        /// What it holds after that.
        value: u8,
    },
}

/// What a simulation gave.
#[derive(Clone, Debug, Default)]
pub struct Run {
    /// Everything, in order.
    pub events: Vec<Event>,
}

/// Runs boards for some seconds. `boards` are programs with their clocks' errors in millionths;
/// `script` is for `simulate.c`, which describes it.
///
/// # Panics
/// Where the simulator fails or a processor crashes.
pub fn simulate(seconds: f64, script: &str, boards: &[(&Path, f64)]) -> Run {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("script");
    std::fs::write(&path, script).expect("written");
    let mut command = Command::new(harness());
    command.arg(seconds.to_string()).arg(&path);
    for (elf, ppm) in boards {
        command.arg(format!("{}:{ppm}", elf.display()));
    }
    let output = run(&mut command);
    let text = String::from_utf8(output.stdout).expect("text");
    Run { events: text.lines().map(|l| event(l).unwrap_or_else(|| panic!("simulate says {l}"))).collect() }
}

fn event(line: &str) -> Option<Event> {
    let f: Vec<&str> = line.split(',').collect();
    let board = f.get(1)?.parse().ok()?;
    let cycles = |s: &str| Some(s.parse::<f64>().ok()? / CLOCK);
    Some(match *f.first()? {
        "pulse" => Event::Pulse {
            board,
            pin: (*f.get(2)?).to_owned(),
            at: cycles(f.get(3)?)?,
            width_us: cycles(f.get(4)?)? * 1e6,
        },
        "edge" => Event::Edge {
            board,
            pin: (*f.get(2)?).to_owned(),
            at: cycles(f.get(3)?)?,
            high: *f.get(4)? == "1",
        },
        "said" => Event::Said { board, at: cycles(f.get(2)?)?, byte: f.get(3)?.parse().ok()? },
        "channel" => Event::Channel {
            board,
            channel: f.get(2)?.parse().ok()?,
            at: cycles(f.get(3)?)?,
            on: f.get(4)?.parse().ok()?,
            off: f.get(5)?.parse().ok()?,
        },
        "register" => Event::Register {
            board,
            register: f.get(2)?.parse().ok()?,
            at: cycles(f.get(3)?)?,
            value: f.get(4)?.parse().ok()?,
        },
        _ => return None,
    })
}

impl Run {
    /// Pulses of one pin: (rise in seconds, width in microseconds).
    #[must_use]
    pub fn pulses(&self, of: usize, on: &str) -> Vec<(f64, f64)> {
        let pick = |e: &Event| match e {
            Event::Pulse { board, pin, at, width_us } if *board == of && pin == on => Some((*at, *width_us)),
            _ => None,
        };
        self.events.iter().filter_map(pick).collect()
    }

    /// Edges of a watched pin: (seconds, level).
    #[must_use]
    pub fn edges(&self, of: usize, on: &str) -> Vec<(f64, bool)> {
        let pick = |e: &Event| match e {
            Event::Edge { board, pin, at, high } if *board == of && pin == on => Some((*at, *high)),
            _ => None,
        };
        self.events.iter().filter_map(pick).collect()
    }

    /// What a board said, as text.
    #[must_use]
    pub fn said(&self, of: usize) -> String {
        let pick = |e: &Event| match e {
            Event::Said { board, byte, .. } if *board == of => Some(*byte),
            _ => None,
        };
        let bytes: Vec<u8> = self.events.iter().filter_map(pick).collect();
        String::from_utf8_lossy(&bytes).into_owned()
    }
}

/// Port and bit of a servo pin of the ATmega2560 board: channel 0 is pin 22.
///
/// # Panics
/// Above channel 15.
#[must_use]
pub fn servo_pin(channel: u8) -> String {
    // Pins 22 to 29 are port A upwards, 30 to 37 port C downwards (variants/mega/pins_arduino.h).
    match channel {
        0..=7 => format!("A{channel}"),
        8..=15 => format!("C{}", 15 - channel),
        _ => panic!("channel {channel} is not recorded"),
    }
}

/// Inputs as they stand in a museum: stop contact closed, nothing pulled.
#[must_use]
pub fn quiet_inputs(board: usize) -> String {
    // After the sketch has switched its pull-ups on, which drive the pins in the simulator.
    let mut script = String::new();
    for (pin, level) in [("E5", 0), ("E4", 1), ("G5", 1), ("E3", 1), ("H3", 1), ("H4", 1)] {
        let _ = writeln!(script, "0.02 {board} pin {pin} {level}");
    }
    script
}
