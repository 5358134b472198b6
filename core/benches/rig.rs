//! What asking the rig and judging a track cost: `cargo bench -p lipwright-core --bench rig`.
//!
//! Times are the best of several runs on whatever machine this is; they show growth and catch a slow
//! change, nothing more.

use lipwright_core::export::{ServoTrack, TrackMeta, verify};
use lipwright_core::phonetics::MouthShape;
use lipwright_core::rig::Rig;
use lipwright_core::units::{Degrees, Microseconds, Seconds};
use std::hint::black_box;
use std::time::{Duration, Instant};

fn best_of<T>(runs: u32, mut work: impl FnMut() -> T) -> Duration {
    let mut best = Duration::MAX;
    for _ in 0..runs {
        let start = Instant::now();
        black_box(work());
        best = best.min(start.elapsed());
    }
    best
}

/// Slow moves to one pose after another: two seconds each, within every limit.
fn track(rig: &Rig, frames: usize) -> ServoTrack {
    let rest = rig.rest_angles();
    let poses: Vec<Vec<Degrees>> =
        MouthShape::ALL.iter().map(|s| rig.reach(&rig.pose(*s).target).angles).collect();
    let pulses: Vec<Vec<Microseconds>> = rig
        .servos()
        .iter()
        .map(|servo| {
            let i = servo.id.0;
            (0..frames)
                .map(|f| {
                    let (cycle, phase) = (f / 100, f % 100);
                    let near_end = frames - f < 100;
                    let bump = if near_end {
                        0.0
                    } else {
                        0.5 - 0.5 * (std::f64::consts::TAU * phase as f64 / 100.0).cos()
                    };
                    servo.pulse(rest[i] + (poses[cycle % poses.len()][i] - rest[i]) * bump)
                })
                .collect()
        })
        .collect();
    ServoTrack::dense(rig, TrackMeta::default(), Seconds::new(0.02), Seconds::ZERO, &pulses).expect("fits")
}

fn main() {
    let rig = Rig::harbourmaster();
    let target = rig.pose(MouthShape::Spread).target;
    let angles = rig.reach(&target).angles;
    println!("reach, one pose        {:>10.2?}", best_of(200, || rig.reach(&target)));
    println!("forward, one pose      {:>10.2?}", best_of(200, || rig.forward(&angles)));
    println!("partials, one pose     {:>10.2?}", best_of(200, || rig.partials(&angles)));
    let text = rig.to_json();
    println!("read and build the rig {:>10.2?}", best_of(20, || Rig::from_json(&text)));
    for (name, frames, runs) in [("1 min", 3_000, 5), ("10 min", 30_000, 3), ("60 min", 180_000, 1)] {
        let track = track(&rig, frames);
        let verdict = verify(&track, &rig);
        assert!(verdict.holds(), "{verdict}");
        println!(
            "verify {name:<8}        {:>10.2?}  ({} comparisons)",
            best_of(runs, || verify(&track, &rig)),
            verdict.comparisons
        );
        let json = track.to_json();
        println!(
            "write JSON {name:<8}    {:>10.2?}  ({} bytes)",
            best_of(runs, || track.to_json()),
            json.len()
        );
        println!("read JSON {name:<8}     {:>10.2?}", best_of(runs, || ServoTrack::from_json(&json)));
        let csv = track.to_csv();
        println!(
            "write CSV {name:<8}     {:>10.2?}  ({} bytes)",
            best_of(runs, || track.to_csv()),
            csv.len()
        );
        println!("read CSV {name:<8}      {:>10.2?}", best_of(runs, || ServoTrack::from_csv(&csv)));
    }
}
