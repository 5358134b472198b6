//! `cargo bench -p lipwright-core --bench motion`: times the solver against Clarabel on the same
//! problems, and the growth of planning with the length of the line.
//!
//! Prints the fastest of a few runs and the ratios, all from one run on one machine.

#[path = "reference.rs"]
mod reference;

use lipwright_core::line::Segment;
use lipwright_core::motion::solver::{FrameLimits, Problem, Row, Settings, Status, Surroundings, solve};
use lipwright_core::motion::{PlanSettings, keyframes, plan, replan, smooth_keyframes};
use lipwright_core::phonetics::MouthShape;
use lipwright_core::progress::Quiet;
use lipwright_core::rig::Rig;
use lipwright_core::units::{Microseconds, Seconds};
use reference::general;

/// Time that this thread has spent on a processor, s, where the system tells (Linux); else the clock.
/// Other work on the machine then does not count.
fn spent() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|t| t.split(' ').next()?.parse::<f64>().ok());
    nanoseconds.map_or_else(
        || std::time::SystemTime::UNIX_EPOCH.elapsed().map_or(0.0, |d| d.as_secs_f64()),
        |ns| ns * 1e-9,
    )
}

/// Fastest of `runs` runs, ms.
fn time<T>(runs: usize, mut work: impl FnMut() -> T) -> f64 {
    let once = |_| {
        let start = spent();
        std::hint::black_box(work());
        (spent() - start) * 1e3
    };
    (0..runs).map(once).fold(f64::INFINITY, f64::min)
}

/// `width` servos over `frames` frames of speech-like targets: steps at 4 to 12 a second, faster than
/// the servos can follow everywhere. With `coupled`, one row a frame ties all servos.
fn problem(frames: usize, width: usize, coupled: bool) -> Problem {
    let mut state = 5_u64;
    let mut next = || {
        state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (state >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
    };
    let mut wanted = vec![0.0; frames * width];
    let mut weight = vec![0.0; frames * width];
    for c in 0..width {
        let (mut target, mut left, mut length) = (0.0, 0_usize, 1_usize);
        for t in 0..frames {
            if left == 0 {
                target = 30.0 * next();
                length = 4 + (4.0 * (next() + 1.0)) as usize;
                left = length;
            }
            let u = 2.0 * left as f64 / length as f64 - 1.0;
            wanted[t * width + c] = target;
            weight[t * width + c] = 1.0 - 0.7 * u * u;
            left -= 1;
        }
    }
    let limits = FrameLimits { lower: -35.0, upper: 35.0, up: 7.0, down: 6.0, acceleration: 3.0 };
    let row = |t| Row {
        terms: (0..width).map(|c| (t, c, if c % 2 == 0 { 1.0 } else { -1.0 })).collect(),
        lower: -5.0 * (width as f64).sqrt(),
        upper: f64::INFINITY,
        price: None,
    };
    Problem {
        frames,
        width,
        wanted,
        weight,
        cross: vec![],
        smooth: vec![0.05; width],
        jerk: vec![0.0; width],
        limits: vec![limits; width],
        surroundings: vec![Surroundings::resting(0.0); width],
        rows: if coupled { (0..frames).map(row).collect() } else { vec![] },
    }
}

/// One servo of an uncoupled problem.
fn single(of: &Problem, c: usize) -> Problem {
    let pick = |v: &[f64]| v.iter().skip(c).step_by(of.width).copied().collect();
    Problem {
        width: 1,
        wanted: pick(&of.wanted),
        weight: pick(&of.weight),
        smooth: vec![of.smooth[c]],
        jerk: vec![of.jerk[c]],
        limits: vec![of.limits[c]],
        surroundings: vec![of.surroundings[c]],
        ..of.clone()
    }
}

fn line(seconds: f64) -> Vec<Segment> {
    let (mut t, mut k) = (0.3, 0_usize);
    let mut out = vec![];
    while t < seconds - 0.5 {
        let shape = MouthShape::ALL[(k * 5 + k / 14) % 14];
        let length = 0.06 + 0.01 * ((k * 7) % 11) as f64;
        out.push(Segment::new(Seconds::new(t), Seconds::new(t + length), shape));
        t += length;
        k += 1;
    }
    out
}

fn main() {
    // `cargo test --benches` runs this too: then it only has to start.
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    // `-- solver`, `-- plan` or `-- long` runs one part alone.
    let part = |name: &str| {
        let mut asked = std::env::args().skip(1).filter(|a| !a.starts_with('-')).peekable();
        asked.peek().is_none() || asked.any(|a| a == name)
    };
    if part("solver") {
        against_clarabel();
    }
    for (name, minutes) in [("plan", &[1.0, 10.0][..]), ("long", &[1.0, 60.0])] {
        if part(name) {
            growth(minutes);
        }
    }
}

fn against_clarabel() {
    let settings = Settings::default();
    let own = |p: &Problem| {
        let s = solve(p, &settings).expect("valid problem");
        assert_eq!(s.status, Status::Solved);
        s.objective
    };
    println!("60 s at 20 ms: 3000 frames, 16 servos, fastest of a few runs");
    let apart = problem(3000, 16, false);
    let singles: Vec<Problem> = (0..16).map(|c| single(&apart, c)).collect();
    let sum = singles.iter().map(own).sum::<f64>();
    let ours = time(25, || singles.iter().map(own).sum::<f64>());
    let joint = general(&apart);
    let split: Vec<_> = singles.iter().map(general).collect();
    let value = joint.solve().expect("solves");
    let theirs = time(5, || joint.solve());
    let theirs_split = time(3, || split.iter().filter_map(reference::General::solve).sum::<f64>());
    println!(
        "  uncoupled: own {ours:.1} ms, Clarabel {theirs:.0} ms as one problem ({:.0}x), {theirs_split:.0} ms split by servo ({:.0}x); objectives differ by {:.1e}",
        theirs / ours,
        theirs_split / ours,
        (sum - value).abs() / value
    );

    for width in [5, 16] {
        let tied = problem(3000, width, true);
        let ours = time(5, || own(&tied));
        let joint = general(&tied);
        let value = joint.solve().expect("solves");
        let theirs = time(5, || joint.solve());
        println!(
            "  {width} servos tied: own {ours:.0} ms, Clarabel {theirs:.0} ms ({:.1}x); objectives differ by {:.1e}",
            theirs / ours,
            (own(&tied) - value).abs() / value
        );
    }
}

fn growth(lengths: &[f64]) {
    let rig = Rig::harbourmaster();
    println!("planning on the head of 16 servos, and keyframes within 4 us");
    let mut minute = 0.0;
    for &minutes in lengths {
        let (segments, length) = (line(60.0 * minutes), Seconds::new(60.0 * minutes));
        let make = || plan(&segments, length, &rig, &PlanSettings::default(), &mut Quiet).expect("plans");
        let mut last = None;
        let took = time(if minutes > 1.0 { 1 } else { 3 }, || last = Some(make()));
        let Some(made) = last else { continue };
        let tolerance = Microseconds::new(4.0);
        let (mut straight, mut curved) = (0, 0);
        let keys =
            time(1, || straight = keyframes(&made, &rig, tolerance).iter().map(Vec::len).sum::<usize>());
        let curves =
            time(1, || curved = smooth_keyframes(&made, &rig, tolerance).iter().map(Vec::len).sum::<usize>());
        if minutes == 1.0 {
            minute = took;
        }
        let s = &made.summary;
        // A boundary dragged back and forth by 10 ms in the middle of the line.
        let mut dragged = made.clone();
        let mut edited = segments.clone();
        let middle = edited.len() / 2;
        let mut step = 0.01;
        let drag = time(20, || {
            let boundary = edited[middle].start + Seconds::new(step);
            (edited[middle - 1].end, edited[middle].start) = (boundary, boundary);
            step = -step;
            replan(&mut dragged, &edited, &rig, &mut Quiet).expect("plans again");
        });
        println!(
            "  {minutes:.0} min: {took:.0} ms ({:.1}x the minute), keyframes {keys:.0} ms ({straight}), smooth {curves:.0} ms ({curved}), gap {:.1e}, closures {}/{}, {:?}",
            took / minute,
            s.gap.unwrap_or(f64::NAN),
            s.closures_reached,
            s.closures,
            s.status
        );
        println!("    a boundary dragged: {drag:.1} ms");
    }
}
