//! `make fuzz`: damages files at random and reads them, for as long as asked.
//!
//!     cargo run --release -p lipwright-tests --bin fuzz -- SECONDS [SEED] [TARGET …]

use lipwright_tests::fuzz::TARGETS;
use peak_alloc::PeakAlloc;
use std::process::ExitCode;
use std::time::{Duration, Instant};

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

fn main() -> ExitCode {
    let mut arguments = std::env::args().skip(1);
    let seconds = arguments.next().and_then(|s| s.parse().ok()).unwrap_or(60);
    let seed = arguments.next().and_then(|s| s.parse().ok()).unwrap_or_else(|| {
        std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).map_or(1, |d| d.as_secs())
    });
    let wanted: Vec<String> = arguments.collect();
    // Panics are counted and kept; their messages would drown the table.
    std::panic::set_hook(Box::new(|_| ()));
    println!("seed {seed}, {seconds} s a reader; allowed: 1 s a megabyte, and memory as it stands there");
    println!(
        "{:<8} {:>12} {:>8} {:>9} {:>32} {:>7}",
        "reader", "inputs", "taken", "peak MB", "allowed: MB, then bytes a byte", "faults"
    );
    let mut faults = Vec::new();
    for target in TARGETS.iter().filter(|t| wanted.is_empty() || wanted.iter().any(|w| w == t.name)) {
        let end = Instant::now() + Duration::from_secs(seconds);
        let tally = target.run(seed, &MEMORY, |t| t.faults.len() >= 20 || Instant::now() >= end);
        let taken = 100.0 * tally.taken as f64 / tally.inputs.max(1) as f64;
        let (inputs, wrong) = (tally.inputs, tally.faults.len());
        let (peak, floor) = (tally.peak as f64 / 1e6, target.limits.floor >> 20);
        let memory = format!("{floor}, then {} of {}", tally.memory, target.limits.multiple);
        println!("{:<8} {inputs:>12} {taken:>6.1} % {peak:>9.1} {memory:>32} {wrong:>7}", target.name);
        faults.extend(tally.faults);
    }
    for fault in &faults {
        eprintln!("{fault}");
    }
    if faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
