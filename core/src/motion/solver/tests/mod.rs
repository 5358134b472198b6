//! The solver against an independent one, against closed forms, and on input made to hurt.

use super::*;
use reference::general;

mod dense;
mod operator;
mod optimal;
mod problem;

// Shared with the benchmark, which times it.
#[path = "../../../../benches/motion/reference.rs"]
mod reference;

/// Deterministic numbers in -1..1.
pub(super) struct Dice(pub(super) u64);

impl Dice {
    pub(super) fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
    }
    pub(super) fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * 0.5 * (self.next() + 1.0)
    }
    pub(super) fn count(&mut self, a: usize, b: usize) -> usize {
        (self.between(a as f64, b as f64 + 1.0) as usize).min(b)
    }
    pub(super) fn chance(&mut self, p: f64) -> bool {
        self.between(0.0, 1.0) < p
    }
}

/// A feasible problem of every flavour: coupled or not, rows hard and priced, jerk, cross weights.
pub(super) fn random_problem(dice: &mut Dice) -> Problem {
    let m = dice.count(1, 4);
    let n = dice.count(1, 60);
    let mut limits = vec![];
    let mut surroundings = vec![];
    for _ in 0..m {
        let lower = dice.between(-60.0, -1.0);
        let upper = dice.between(1.0, 60.0);
        let up = dice.between(0.5, 12.0);
        let down = up * dice.between(0.6, 1.4);
        limits.push(FrameLimits { lower, upper, up, down, acceleration: dice.between(0.2, 6.0) });
        surroundings.push(Surroundings::resting(if dice.chance(0.2) {
            lower
        } else {
            dice.between(lower, upper)
        }));
    }
    let style = dice.count(0, 3);
    let mut wanted = vec![0.0; n * m];
    let mut weight = vec![0.0; n * m];
    for c in 0..m {
        let mut v = dice.between(-70.0, 70.0);
        for t in 0..n {
            match style {
                0 => v = if t % dice.count(1, 9) == 0 { dice.between(-70.0, 70.0) } else { v },
                1 => v = 30.0 * (t as f64 * 0.3 + c as f64).sin(),
                2 => v = if t % 2 == 0 { 60.0 } else { -60.0 },
                _ => v += dice.between(-3.0, 3.0),
            }
            wanted[t * m + c] = v;
            weight[t * m + c] = if dice.chance(0.2) { 0.0 } else { dice.between(0.01, 2.0) };
        }
    }
    let small = |dice: &mut Dice| if dice.chance(0.5) { 0.0 } else { dice.between(0.0, 0.5) };
    let smooth = (0..m).map(|_| small(dice)).collect();
    let jerk = if dice.chance(0.3) { (0..m).map(|_| small(dice)).collect() } else { vec![0.0; m] };
    let mut cross = vec![];
    if m >= 2 && dice.chance(0.5) {
        // The last two: with three servos, neither of them is the first.
        let (a, b) = (m - 1, m - 2);
        let x = (0..n).map(|t| 0.9 * dice.next() * (weight[t * m + a] * weight[t * m + b]).sqrt()).collect();
        cross.push(CrossWeight { servos: (a, b), weight: x });
    }
    let mut rows = vec![];
    if m >= 2 && dice.chance(0.7) {
        let k: Vec<f64> = (0..m).map(|_| dice.next()).collect();
        let rest: f64 = (0..m).map(|c| k[c] * surroundings[c].before[0]).sum();
        let spare = dice.between(0.5, 20.0);
        for t in 0..n {
            let terms = (0..m).map(|c| (t, c, k[c])).collect();
            let (lower, upper) = if dice.chance(0.5) {
                (f64::NEG_INFINITY, rest + spare)
            } else {
                (rest - spare, rest + 3.0 * spare)
            };
            rows.push(Row { terms, lower, upper, price: None });
        }
    }
    for _ in 0..dice.count(0, 3) {
        let (t, c) = (dice.count(0, n - 1), dice.count(0, m - 1));
        let mut terms = vec![(t, c, dice.between(0.3, 2.0))];
        if t + 1 < n && dice.chance(0.3) {
            terms.push((t + 1, c, -1.0));
        }
        let upper = dice.between(-40.0, 40.0);
        let lower = if dice.chance(0.5) { f64::NEG_INFINITY } else { upper - dice.between(0.0, 5.0) };
        rows.push(Row { terms, lower, upper, price: Some(dice.between(1.0, 2000.0)) });
    }
    Problem { frames: n, width: m, wanted, weight, cross, smooth, jerk, limits, surroundings, rows }
}

#[test]
fn agrees_with_an_independent_solver_on_500_random_problems() {
    let mut dice = Dice(7);
    let mut compared = 0;
    let mut worst: f64 = 0.0;
    while compared < 500 {
        let problem = random_problem(&mut dice);
        let ours = solve(&problem, &Settings::default()).expect("valid problem");
        assert_eq!(
            ours.status,
            Status::Solved,
            "problem {compared}: {} steps, gap {}",
            ours.iterations,
            ours.gap()
        );
        assert!(ours.breach <= 0.0, "problem {compared} breaches by {}", ours.breach);
        let Some(reference) = general(&problem).solve() else { continue };
        let floor = 1e-6 * (problem.frames * problem.width) as f64;
        let difference = (ours.objective - reference).abs() / (reference.abs() + floor);
        worst = worst.max(difference);
        assert!(difference < 1e-3, "problem {compared}: {} against {reference}", ours.objective);
        // The bound is a bound: below what the other solver reached, too.
        assert!(ours.bound <= reference + 1e-5 * (reference.abs() + floor), "problem {compared}");
        assert!(ours.gap() <= 1e-4 * (ours.objective + floor), "problem {compared}: gap {}", ours.gap());
        compared += 1;
    }
    assert!(worst < 1e-4, "worst relative difference {worst}");
}

/// A solve that is broken off owns up to what it has not proved.
#[test]
fn the_gap_is_what_is_left_to_prove() {
    let mut wanted = vec![0.0; 60];
    wanted[30..].fill(25.0);
    let limits = FrameLimits { lower: -30.0, upper: 30.0, up: 2.0, down: 2.0, acceleration: 0.5 };
    let problem = Problem::single(wanted, limits, 0.1);
    let broken_off = solve(&problem, &Settings { max_iterations: 3, ..Settings::default() }).expect("sound");
    let done = solve(&problem, &Settings::default()).expect("sound");
    assert!(broken_off.gap() > 0.01 * broken_off.objective, "{}", broken_off.gap());
    assert!((broken_off.gap() - (broken_off.objective - broken_off.bound)).abs() < 1e-12);
    assert!(done.gap() < 1e-5 * done.objective && done.objective >= broken_off.bound - 1e-9);
}

/// A servo without limits of speed still needs no longer step than from where it was, outside its travel,
/// to the far end.
#[test]
fn limits_that_are_infinite_become_what_the_travel_implies() {
    let endless = f64::INFINITY;
    let limits = FrameLimits { lower: -10.0, upper: 10.0, up: endless, down: endless, acceleration: endless };
    for (before, after, step) in [(0.0, 0.0, 21.0), (25.0, 0.0, 36.0), (0.0, -40.0, 51.0)] {
        let mut problem = Problem::single(vec![0.0; 5], limits, 0.0);
        problem.surroundings[0] = Surroundings { before: [before; 2], after: [after; 2] };
        let bounded = problem.bounded_limits(0);
        assert_eq!((bounded.up, bounded.down, bounded.acceleration), (step, step, 2.0 * step));
        assert_eq!((bounded.lower, bounded.upper), (-10.0, 10.0));
    }
}

#[test]
fn a_reachable_target_is_met() {
    let wanted: Vec<f64> =
        (0..50).map(|t| 5.0 * (1.0 - (std::f64::consts::TAU * f64::from(t + 1) / 51.0).cos())).collect();
    let limits = FrameLimits { lower: -30.0, upper: 30.0, up: 3.0, down: 3.0, acceleration: 1.0 };
    let s = solve(&Problem::single(wanted.clone(), limits, 0.0), &Settings::default()).expect("valid");
    assert_eq!(s.status, Status::Solved);
    for (a, b) in s.angles.iter().zip(&wanted) {
        assert!((a - b).abs() < 1e-4, "{a} {b}");
    }
}

/// Least frames in which a rest-to-rest move of `distance` can be made, by bisection on whether the
/// solver arrives.
fn frames_to_arrive(distance: f64, limits: FrameLimits) -> usize {
    let mut frames = 1;
    loop {
        let problem = Problem {
            surroundings: vec![Surroundings { before: [0.0; 2], after: [distance; 2] }],
            weight: vec![0.0; frames],
            ..Problem::single(vec![0.0; frames], limits, 0.0)
        };
        let s = solve(&problem, &Settings::default()).expect("valid");
        if s.status == Status::Solved {
            // From frame -1 (at rest) to frame `frames` (arrived): frames + 1 intervals.
            return frames + 1;
        }
        frames += 1;
    }
}

#[test]
fn no_move_is_quicker_than_the_minimum_time_profile() {
    // Rest to rest under |v| <= V, |a| <= A: D/V + V/A, or 2 sqrt(D/A) when the peak stays below V
    // (standard motion-control result). At 1 ms frames the discrete optimum is within two frames.
    let frame = 0.001;
    for (d, v, a, expected) in [
        (60.0, 500.0, 5000.0, 0.22),
        (50.0, 500.0, 5000.0, 0.2),
        (40.0, 500.0, 5000.0, 0.178_885),
        (10.0, 500.0, 5000.0, 0.089_443),
        (60.0, 600.0, 6000.0, 0.2),
    ] {
        let limits = FrameLimits {
            lower: -90.0,
            upper: 90.0,
            up: v * frame,
            down: v * frame,
            acceleration: a * frame * frame,
        };
        // Start close below the answer: each failed try costs a full infeasible solve.
        let problem = |frames: usize| Problem {
            surroundings: vec![Surroundings { before: [0.0; 2], after: [d; 2] }],
            weight: vec![0.0; frames],
            ..Problem::single(vec![0.0; frames], limits, 0.0)
        };
        let solved = |frames: usize| {
            solve(&problem(frames), &Settings::default()).expect("valid").status == Status::Solved
        };
        let ideal = (expected / frame) as usize;
        assert!(!solved(ideal - 4), "{d} deg in less than {expected} s");
        assert!(solved(ideal + 2), "{d} deg not in {expected} s and two frames");
    }
    // Speed alone: 60 deg at 600 deg/s take 0.1 s.
    let limits = FrameLimits { lower: -90.0, upper: 90.0, up: 12.0, down: 12.0, acceleration: f64::INFINITY };
    assert_eq!(frames_to_arrive(60.0, limits), 6); // 5 intervals exactly would leave no interior.
}

#[test]
fn jerk_weight_alone_gives_the_minimum_jerk_profile() {
    // x(s) = 10 s^3 - 15 s^4 + 6 s^5 (T. Flash and N. Hogan, J. Neurosci. 5, 1985).
    let n = 60;
    let limits = FrameLimits { lower: -5.0, upper: 65.0, up: 100.0, down: 100.0, acceleration: 100.0 };
    let problem = Problem {
        surroundings: vec![Surroundings { before: [0.0; 2], after: [60.0; 2] }],
        weight: vec![0.0; n],
        jerk: vec![1.0],
        ..Problem::single(vec![0.0; n], limits, 0.0)
    };
    let s = solve(&problem, &Settings::default()).expect("valid");
    assert_eq!(
        s.status,
        Status::Solved,
        "{} steps, objective {}, bound {}",
        s.iterations,
        s.objective,
        s.bound
    );
    for (t, &x) in s.angles.iter().enumerate() {
        // Three equal known values (frames -3 to -1) stand for position, speed and acceleration 0
        // at their middle, frame -2; likewise at the other end.
        let u = (t as f64 + 2.0) / (n as f64 + 3.0);
        let ideal = 60.0 * (10.0 * u.powi(3) - 15.0 * u.powi(4) + 6.0 * u.powi(5));
        assert!((x - ideal).abs() < 0.02, "frame {t}: {x} against {ideal}");
    }
}

#[test]
fn hostile_input_is_refused_or_met() {
    let limits = FrameLimits { lower: -30.0, upper: 30.0, up: 3.0, down: 3.0, acceleration: 1.0 };
    let good = Problem::single(vec![1.0; 5], limits, 0.0);
    let refuse = |change: &dyn Fn(&mut Problem)| {
        let mut p = good.clone();
        change(&mut p);
        assert!(solve(&p, &Settings::default()).is_err(), "accepted {p:?}");
    };
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        refuse(&|p| p.wanted[2] = bad);
        refuse(&|p| p.weight[2] = bad);
        refuse(&|p| p.smooth[0] = bad);
        refuse(&|p| p.surroundings[0].after[1] = bad);
        refuse(&|p| p.limits[0].lower = bad);
    }
    refuse(&|p| p.weight[0] = -1.0);
    refuse(&|p| p.limits[0].up = 0.0);
    refuse(&|p| p.limits[0].down = -1.0);
    refuse(&|p| p.limits[0].acceleration = f64::NAN);
    refuse(&|p| p.limits[0].upper = -31.0);
    refuse(&|p| p.wanted.push(0.0));
    refuse(&|p| {
        p.frames = 0;
        p.wanted.clear();
        p.weight.clear();
    });
    let row = |terms, lower, upper, price| Row { terms, lower, upper, price };
    refuse(&|p| p.rows.push(row(vec![], 0.0, 1.0, None)));
    refuse(&|p| p.rows.push(row(vec![(5, 0, 1.0)], 0.0, 1.0, None)));
    refuse(&|p| p.rows.push(row(vec![(0, 0, 1.0), (3, 0, 1.0)], 0.0, 1.0, None)));
    refuse(&|p| p.rows.push(row(vec![(0, 0, 1.0)], 1.0, 0.0, None)));
    refuse(&|p| p.rows.push(row(vec![(0, 0, 1.0)], 0.0, 1.0, Some(f64::NAN))));

    // No travel at all: the servo stays where it is.
    let frozen = FrameLimits { lower: 4.0, upper: 4.0, ..limits };
    let s = solve(&Problem::single(vec![9.0; 20], frozen, 4.0), &Settings::default()).expect("valid");
    assert!(s.angles.iter().all(|&a| a == 4.0) && s.status == Status::Solved, "{s:?}");

    // Rest outside the travel cannot be met, and says so.
    let s = solve(&Problem::single(vec![9.0; 20], limits, 50.0), &Settings::default()).expect("valid");
    assert_eq!(s.status, Status::Infeasible);

    // Unlimited speed and acceleration are allowed.
    let free = FrameLimits { up: f64::INFINITY, down: f64::INFINITY, acceleration: f64::INFINITY, ..limits };
    let s = solve(&Problem::single(vec![9.0; 20], free, 0.0), &Settings::default()).expect("valid");
    assert!(s.status == Status::Solved && s.angles.iter().all(|&a| (a - 9.0).abs() < 1e-3));

    // Targets a million degrees away do not upset it.
    let far = (0..200).map(|t| if t % 2 == 0 { 1e6 } else { -1e6 }).collect();
    let s = solve(&Problem::single(far, limits, 0.0), &Settings::default()).expect("valid");
    assert!(s.status == Status::Solved && s.breach <= 0.0, "{:?} {}", s.status, s.breach);
}

/// Every breach by more than a millionth of its range, from the definitions alone.
fn breaches(p: &Problem, angles: &[f64]) -> Vec<String> {
    let mut out = vec![];
    for c in 0..p.width {
        let l = p.limits[c];
        let mut track: Vec<f64> = p.surroundings[c].before.to_vec();
        track.extend((0..p.frames).map(|t| angles[t * p.width + c]));
        track.extend(p.surroundings[c].after);
        for t in 2..track.len() {
            let (v, d) = (track[t], track[t] - track[t - 1]);
            let a = track[t] - 2.0 * track[t - 1] + track[t - 2];
            let free = t < p.frames + 2;
            let range = l.upper - l.lower;
            if free && !(v <= l.upper + 1e-6 * range && v >= l.lower - 1e-6 * range) {
                out.push(format!("servo {c} frame {t}: angle {v}"));
            }
            if t <= p.frames + 2 && !(d <= l.up * (1.0 + 1e-6) && d >= -l.down * (1.0 + 1e-6)) {
                out.push(format!("servo {c} frame {t}: step {d}"));
            }
            if !(a.abs() <= l.acceleration * (1.0 + 1e-6)) {
                out.push(format!("servo {c} frame {t}: bend {a}"));
            }
        }
    }
    for row in p.rows.iter().filter(|r| r.price.is_none()) {
        let v: f64 = row.terms.iter().map(|&(t, c, k)| k * angles[t * p.width + c]).sum();
        if !(v <= row.upper + 1e-6 && v >= row.lower - 1e-6) {
            out.push(format!("row {v} outside {} to {}", row.lower, row.upper));
        }
    }
    out
}

#[test]
fn ten_thousand_random_problems_stay_within_every_limit() {
    let mut dice = Dice(99);
    let (mut worst, mut unproven) = (0.0_f64, 0);
    for case in 0..10_000 {
        let mut p = random_problem(&mut dice);
        if case % 10 == 0 {
            // A servo that cannot move at all, among others that can.
            let angle = p.surroundings[0].before[0];
            (p.limits[0].lower, p.limits[0].upper) = (angle, angle);
        }
        if case % 7 == 0 {
            // Hardly able to move.
            p.limits[0].acceleration = dice.between(1e-4, 1e-2);
            p.limits[0].up = dice.between(1e-3, 0.1);
        }
        if case % 11 == 0 {
            p.wanted.iter_mut().for_each(|w| *w *= 1e4);
        }
        let s = solve(&p, &Settings::default()).expect("valid problem");
        let found = breaches(&p, &s.angles);
        assert!(found.is_empty(), "case {case}, {:?}: {:?}", s.status, &found[..found.len().min(3)]);
        assert!(matches!(s.status, Status::Solved | Status::NumericalTrouble), "case {case}: {:?}", s.status);
        let over = s.bound - s.objective;
        assert!(over <= 1e-9 * s.objective + 1e-9, "case {case}: bound over the objective by {over}");
        let floor = 1e-5 * (p.frames * p.width) as f64;
        let gap = s.gap() / (s.objective + floor);
        if s.status != Status::Solved {
            // Inside every limit, but unproven, and it says so.
            unproven += 1;
            continue;
        }
        worst = worst.max(gap);
    }
    assert!(worst < 1e-3, "worst gap {worst}");
    assert!(unproven <= 5, "{unproven} of 10000 without proof");
}
