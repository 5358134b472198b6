//! A small fuzzer on stable Rust: seeds from the repository, bytes damaged at random, every reader.
//!
//! What counts as a fault: a panic, more than a second of processor time a megabyte (and never less than
//! a second in all), or more memory at its peak than a stated multiple of the input. The coverage-guided
//! kind needs a nightly compiler; this one runs wherever the tests do, and its runs repeat exactly from
//! their seed.

mod damage;
mod link;
mod targets;

pub use targets::TARGETS;

use crate::{processor_time, workspace};
use damage::{Dice, Seeds, damage};
use peak_alloc::PeakAlloc;
use std::path::PathBuf;
use std::time::{Duration, Instant};

type Mend = fn(&mut Dice, Vec<u8>) -> Vec<u8>;

/// One reader under test.
pub struct Target {
    /// Its name on the command line.
    pub name: &'static str,
    /// Folders (with the ending of the files) whose files are damaged.
    seeds: &'static [(&'static str, &'static str)],
    /// Further seeds, which hold.
    good: fn() -> Vec<Vec<u8>>,
    /// Makes damaged bytes plausible again where a check would keep them at the door.
    mend: Option<Mend>,
    /// What it may take.
    pub limits: Limits,
    /// Inputs of a short run: fewer where each takes long.
    pub short: u64,
    /// Reads the bytes; true if they were taken as valid.
    read: fn(&[u8]) -> bool,
}

/// Memory that a reader may take at its peak.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Whatever the input, bytes.
    pub floor: usize,
    /// Beyond that, bytes for each byte of input.
    pub multiple: usize,
}

impl Limits {
    /// JSON values cost a few dozen bytes for a two-byte number.
    const USUAL: Self = Self { floor: 4 << 20, multiple: 400 };
    /// An 8-bit WAV at 8 kHz becomes two 32-bit samples a byte, held twice while the resampler hands
    /// over. A rate that shares no divisor with 16 kHz is resampled by transforms of some hundred
    /// thousand points however short the sound: that is the floor.
    const SOUND: Self = Self { floor: 64 << 20, multiple: 400 };
    /// Three milliseconds of silence at 192 kHz in the widest frames a header can claim, 65 535 bytes.
    const CUT: Self = Self { floor: 64 << 20, multiple: 400 };
    /// A written number is a dozen words with several readings, each with the pronunciations of its
    /// words, each of these a few states of the search. The floor is the search along the recording.
    const SCRIPT: Self = Self { floor: 64 << 20, multiple: 4000 };
    /// Servos that stand still cost no bytes, so the floor is the largest track there can be: 32
    /// channels of two million frames, 16 bits each, in lists that double as they grow.
    const PACKED: Self = Self { floor: 400 << 20, multiple: 400 };
}

/// What a run came to.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Inputs read.
    pub inputs: u64,
    /// Of those, taken as valid: a fuzzer whose inputs are all refused at the door tests the door.
    pub taken: u64,
    /// Largest peak of memory beyond the floor, in multiples of the input.
    pub memory: usize,
    /// Largest peak of memory, bytes.
    pub peak: usize,
    /// Faults, in words, with the file that shows each.
    pub faults: Vec<String>,
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
        let mended = |bytes: &[u8]| self.mended(&mut Dice(0), bytes.to_vec());
        let good: Vec<Vec<u8>> = all.iter().filter(|b| (self.read)(&mended(b))).cloned().collect();
        assert!(!good.is_empty(), "no sound seed for {}", self.name);
        Seeds { good, all }
    }

    fn mended(&self, dice: &mut Dice, bytes: Vec<u8>) -> Vec<u8> {
        match self.mend {
            Some(mend) => mend(dice, bytes),
            None => bytes,
        }
    }

    /// Reads; the answer, the time it took, and the peak of memory.
    fn judge(&self, bytes: &[u8], memory: &PeakAlloc) -> (std::thread::Result<bool>, Duration, usize) {
        let held = memory.current_usage();
        memory.reset_peak_usage();
        let start = Instant::now();
        let answer = std::panic::catch_unwind(|| (self.read)(bytes));
        let took = start.elapsed();
        (answer, took, memory.peak_usage().saturating_sub(held))
    }

    /// Damages and reads until `enough` says so, from this seed. `memory` is the process's allocator.
    pub fn run(&self, seed: u64, memory: &PeakAlloc, mut enough: impl FnMut(&Tally) -> bool) -> Tally {
        let seeds = self.seeds();
        let mut dice = Dice(seed);
        let mut tally = Tally::default();
        while !enough(&tally) {
            let damaged = damage(&mut dice, &seeds);
            let bytes = self.mended(&mut dice, damaged);
            let (answer, mut took, peak) = self.judge(&bytes, memory);
            let allowed = Duration::from_secs(1).mul_f64((bytes.len() as f64 / 1e6).max(1.0));
            if took > allowed {
                // Perhaps it waited for a busy machine: then processor time counts.
                let start = processor_time();
                let _ = self.judge(&bytes, memory);
                took = processor_time().saturating_sub(start);
            }
            tally.inputs += 1;
            tally.taken += u64::from(matches!(answer, Ok(true)));
            let beyond = peak.saturating_sub(self.limits.floor) / bytes.len().max(1);
            tally.memory = tally.memory.max(beyond);
            tally.peak = tally.peak.max(peak);
            let fault = match answer {
                Err(_) => Some("it panics".to_owned()),
                Ok(_) if took > allowed => Some(format!("it takes {took:.1?}")),
                Ok(_) if beyond > self.limits.multiple => Some(format!("it takes {peak} bytes of memory")),
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
