//! A small fuzzer on stable Rust: seeds from the repository, bytes damaged at random, every reader.
//!
//! What counts as a fault: a panic, more than a second a megabyte (and never less than a second in all,
//! so that a busy machine is not taken for a slow reader), or more memory at its peak than a stated
//! multiple of the input. The coverage-guided kind needs a nightly compiler; this one runs wherever the
//! tests do, and its runs repeat exactly from their seed.

use crate::workspace;
use lipwright_core::audio::{ChannelChoice, read_wav};
use lipwright_core::export::{ServoTrack, TrackMeta};
use lipwright_core::line::Line;
use lipwright_core::phonetics::script_words;
use lipwright_core::project::{AudioRef, Project, ProjectLine};
use lipwright_core::rig::Rig;
use lipwright_core::units::{Microseconds, Seconds};
use peak_alloc::PeakAlloc;
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// One reader under test.
pub struct Target {
    /// Its name on the command line.
    pub name: &'static str,
    /// Folders (with the ending of the files) whose files are damaged.
    seeds: &'static [(&'static str, &'static str)],
    /// Further seeds, which hold.
    good: fn() -> Vec<Vec<u8>>,
    /// Reads the bytes; true if they were taken as valid.
    read: fn(&[u8]) -> bool,
}

/// Bytes of memory allowed for each byte of input, at the peak.
///
/// An 8-bit WAV at 8 kHz becomes two 32-bit samples a byte, held twice while the resampler hands over;
/// JSON values cost a few dozen bytes for a two-byte number, a list of one-letter words about 200 each.
pub const MEMORY_MULTIPLE: usize = 400;
/// Memory allowed whatever the input.
pub const MEMORY_FLOOR: usize = 4 << 20;

fn text(bytes: &[u8]) -> std::borrow::Cow<'_, str> {
    String::from_utf8_lossy(bytes)
}

/// A track of ten frames that holds.
fn short_track() -> ServoTrack {
    let rig = Rig::jaw_only();
    let pulses: Vec<Microseconds> = (0..10).map(|t| Microseconds::new(1500.0 + 0.5 * f64::from(t))).collect();
    ServoTrack::dense(&rig, TrackMeta::default(), Seconds::new(0.02), Seconds::ZERO, &[pulses])
        .expect("ten sound frames")
}

/// Every reader of bytes that come from outside.
pub const TARGETS: &[Target] = &[
    Target {
        name: "wav",
        seeds: &[("tests/bad-input/wav", "wav")],
        good: Vec::new,
        read: |bytes| read_wav(bytes, ChannelChoice::Mix).is_ok(),
    },
    Target {
        name: "script",
        seeds: &[("sample-audio", "txt"), ("tests/bad-input/script", "txt")],
        good: Vec::new,
        read: |bytes| !script_words(&text(bytes)).is_empty(),
    },
    Target {
        name: "rig",
        seeds: &[("tests/bad-input/rig", "json")],
        good: || vec![Rig::jaw_only().to_json().into_bytes(), Rig::harbourmaster().to_json().into_bytes()],
        read: |bytes| Rig::from_json(&text(bytes)).is_ok(),
    },
    Target {
        name: "track",
        seeds: &[("tests/bad-input/track", "json"), ("tests/bad-input/track", "csv")],
        good: || {
            let track = short_track();
            vec![track.to_json().into_bytes(), track.to_csv().into_bytes()]
        },
        read: |bytes| ServoTrack::from_bytes(bytes).is_ok(),
    },
    Target {
        name: "project",
        seeds: &[("tests/bad-input/project", "json")],
        good: || {
            let mut project = Project::new("Harbour museum");
            let line = Line::silent(Seconds::new(2.0)).expect("two seconds");
            let audio = AudioRef::of("welcome.wav", b"sound", line.duration()).embed(b"sound");
            project.lines.push(ProjectLine::new("Welcome", audio, "Mind the step.", line));
            vec![project.to_json().into_bytes()]
        },
        read: |bytes| Project::from_json(&text(bytes)).is_ok(),
    },
];

/// What a run came to.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Inputs read.
    pub inputs: u64,
    /// Of those, taken as valid: a fuzzer whose inputs are all refused at the door tests the door.
    pub taken: u64,
    /// Largest peak of memory beyond [`MEMORY_FLOOR`], in multiples of the input.
    pub memory: usize,
    /// Faults, in words, with the file that shows each.
    pub faults: Vec<String>,
}

/// Random numbers that repeat (SplitMix64; Steele, Lea and Flood 2014).
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: usize) -> usize {
        if n == 0 { 0 } else { (self.roll() % n as u64) as usize }
    }
}

/// Pieces that break readers: numbers at the edges, brackets, quotes, line ends.
const PIECES: [&[u8]; 22] = [
    b"0",
    b"-1",
    b"1e308",
    b"-1e308",
    b"1e-320",
    b"NaN",
    b"null",
    b"9223372036854775808",
    b"0.1",
    b"[",
    b"]",
    b"{",
    b"}",
    b"\"",
    b",",
    b":",
    b"\r\n",
    b"\xff\xff\xff\xff",
    b"\0\0\0\0",
    b"\x7f\xff\xff\xff",
    b"\xe2\x80\xae",
    b"fmt ",
];

/// Files to damage: those that a reader takes, and the rest.
struct Seeds {
    good: Vec<Vec<u8>>,
    all: Vec<Vec<u8>>,
}

fn damage(dice: &mut Dice, seeds: &Seeds) -> Vec<u8> {
    // Mostly from files that hold, and often only their numbers: what is refused at the door shows
    // nothing of the house.
    let from = if dice.below(4) > 0 { &seeds.good } else { &seeds.all };
    let mut bytes = from[dice.below(from.len())].clone();
    if dice.below(3) == 0 {
        for _ in 0..=dice.below(3) {
            change_a_digit(dice, &mut bytes);
        }
        return bytes;
    }
    let seeds = &seeds.all;
    for _ in 0..=dice.below(4) {
        let at = dice.below(bytes.len() + 1);
        match dice.below(8) {
            0 if !bytes.is_empty() => {
                let at = dice.below(bytes.len());
                bytes[at] ^= 1 << dice.below(8);
            }
            1 if !bytes.is_empty() => {
                let at = dice.below(bytes.len());
                bytes[at] = dice.roll() as u8;
            }
            2 => bytes.truncate(at),
            3 => {
                let end = (at + dice.below(64)).min(bytes.len());
                bytes.drain(at..end);
            }
            4 => {
                let end = (at + dice.below(256)).min(bytes.len());
                let copy = bytes[at..end].to_vec();
                let to = dice.below(bytes.len() + 1);
                bytes.splice(to..to, copy);
            }
            5 => {
                let other = &seeds[dice.below(seeds.len())];
                let from = dice.below(other.len() + 1);
                bytes.truncate(at);
                bytes.extend_from_slice(&other[from..]);
            }
            6 => {
                let piece = PIECES[dice.below(PIECES.len())];
                bytes.splice(at..at, piece.iter().copied());
            }
            _ => change_a_digit(dice, &mut bytes),
        }
    }
    bytes
}

/// Keeps JSON and tables whole and changes what they say.
fn change_a_digit(dice: &mut Dice, bytes: &mut [u8]) {
    let digits: Vec<usize> = (0..bytes.len()).filter(|i| bytes[*i].is_ascii_digit()).collect();
    if !digits.is_empty() {
        bytes[digits[dice.below(digits.len())]] = b'0' + dice.below(10) as u8;
    }
}

impl Target {
    fn seeds(&self) -> Seeds {
        let mut files: Vec<PathBuf> = Vec::new();
        for (folder, ending) in self.seeds {
            let list = std::fs::read_dir(workspace().join(folder)).expect("seeds are part of the repository");
            files.extend(
                list.flatten().map(|e| e.path()).filter(|p| p.extension().is_some_and(|e| e == *ending)),
            );
        }
        files.sort();
        let mut all: Vec<Vec<u8>> = files.iter().map(|p| std::fs::read(p).expect("a seed")).collect();
        all.extend((self.good)());
        let good: Vec<Vec<u8>> = all.iter().filter(|b| (self.read)(b)).cloned().collect();
        assert!(!good.is_empty(), "no sound seed for {}", self.name);
        Seeds { good, all }
    }

    /// Damages and reads until `enough` says so, from this seed. `memory` is the process's allocator.
    pub fn run(&self, seed: u64, memory: &PeakAlloc, mut enough: impl FnMut(&Tally) -> bool) -> Tally {
        let seeds = self.seeds();
        let mut dice = Dice(seed);
        let mut tally = Tally::default();
        while !enough(&tally) {
            let bytes = damage(&mut dice, &seeds);
            let held = memory.current_usage();
            memory.reset_peak_usage();
            let start = Instant::now();
            let answer = std::panic::catch_unwind(|| (self.read)(&bytes));
            let took = start.elapsed();
            let peak = memory.peak_usage().saturating_sub(held);
            tally.inputs += 1;
            tally.taken += u64::from(matches!(answer, Ok(true)));
            let beyond = peak.saturating_sub(MEMORY_FLOOR) / bytes.len().max(1);
            tally.memory = tally.memory.max(beyond);
            let allowed = Duration::from_secs(1).mul_f64((bytes.len() as f64 / 1e6).max(1.0));
            let fault = match answer {
                Err(_) => Some("it panics".to_owned()),
                Ok(_) if took > allowed => Some(format!("it takes {took:.1?}")),
                Ok(_) if beyond > MEMORY_MULTIPLE => Some(format!("it takes {peak} bytes of memory")),
                Ok(_) => None,
            };
            if let Some(fault) = fault {
                let name = format!("lipwright-fuzz-{}-{seed}-{}", self.name, tally.inputs);
                let file = std::env::temp_dir().join(name);
                let kept = std::fs::write(&file, &bytes)
                    .map_or_else(|e| e.to_string(), |()| file.display().to_string());
                tally.faults.push(format!("{} ({} bytes): {fault}; see {kept}", self.name, bytes.len()));
            }
        }
        tally
    }
}
