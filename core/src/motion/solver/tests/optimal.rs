//! Optima told by the conditions of Karush, Kuhn and Tucker, worked out by plain code from the definitions
//! (J. Nocedal and S. Wright, *Numerical Optimization*, ch. 12), and by symmetries of the problem.

use super::dense;
use super::*;

fn solved(problem: &Problem) -> Solution {
    let solution = solve(problem, &Settings::default()).expect("a sound problem");
    assert_eq!(solution.status, Status::Solved, "{} steps", solution.iterations);
    solution
}

/// What may be left of a condition: the tolerance asked for, and a factor for having measured it otherwise.
fn allowed(problem: &Problem, solution: &Solution) -> f64 {
    let largest =
        problem.weight.iter().chain(&problem.smooth).chain(&problem.jerk).fold(0.0_f64, |a, &w| a.max(w));
    2e-6 * (solution.objective + 1e-6 * largest * solution.angles.len() as f64) + 1e-9
}

fn holds_the_conditions(problem: &Problem, solution: &Solution, what: &str) {
    let (x, rows) = (&solution.angles, dense::rows(problem));
    let net = dense::multipliers(&solution.duals);
    assert_eq!(net.len(), rows.len(), "{what}");
    let allowed = allowed(problem, solution);
    // Stationarity: gradient and multipliers are in balance, measured by what a servo's travel would be worth.
    let mut left = dense::gradient(problem, x);
    for (row, z) in rows.iter().zip(&net) {
        left.iter_mut().zip(&row.k).for_each(|(l, k)| *l += k * z);
    }
    let travel = |i: usize| problem.limits[i % problem.width].upper - problem.limits[i % problem.width].lower;
    let sum: f64 = left.iter().enumerate().map(|(i, l)| l.abs() * travel(i)).sum();
    assert!(sum <= allowed, "{what}: {sum} is left of the gradient, {allowed} allowed");
    // Multipliers pull inwards, and only at a bound; a priced row costs its price at most, and just that once breached.
    let mut idle = 0.0;
    for (k, (row, &z)) in rows.iter().zip(&net).enumerate() {
        let v = row.value(x);
        let (over, under) = (v - row.upper, row.lower - v);
        match row.price {
            None => assert!(
                over <= 1e-9 * travel(0).max(1.0) && under <= 1e-9 * travel(0).max(1.0),
                "{what}: row {k}"
            ),
            Some(price) => {
                assert!(z.abs() <= price * (1.0 + 1e-9), "{what}: row {k} costs {z} of {price}");
                idle += over.max(0.0) * (price - z) + under.max(0.0) * (price + z);
            }
        }
        idle += if z > 0.0 { z * (-over).clamp(0.0, 1e6) } else { -z * (-under).clamp(0.0, 1e6) };
    }
    assert!(idle <= allowed, "{what}: {idle} by multipliers away from their bounds, {allowed} allowed");
}

#[test]
fn random_problems_come_out_optimal_by_the_conditions_themselves() {
    let mut dice = Dice(17);
    let mut steps = 0;
    for case in 0..40 {
        let mut problem = random_problem(&mut dice);
        if case % 3 == 0 {
            for around in &mut problem.surroundings {
                // Moving when it begins, and still moving when it ends.
                around.before[0] = 0.999 * around.before[1];
                around.after[1] = 0.999 * around.after[0];
            }
        }
        let solution = solved(&problem);
        holds_the_conditions(&problem, &solution, &format!("problem {case}"));
        assert!(
            (problem.objective(&solution.angles) - solution.objective).abs() <= 1e-12 * solution.objective
        );
        assert!(solution.iterations <= 40, "problem {case} took {} steps", solution.iterations);
        steps += solution.iterations;
    }
    // "10 to 20 are usual", says the documentation.
    assert!((10 * 40..=20 * 40).contains(&steps), "{steps} steps for 40 problems");
}

/// Weights and prices a power of two as great: not a bit of the motion changes, and all that is paid goes along.
#[test]
fn the_unit_of_the_objective_does_not_matter() {
    let mut dice = Dice(29);
    for case in 0..12 {
        let problem = random_problem(&mut dice);
        let mut other = problem.clone();
        let times = if case % 2 == 0 { 1024.0 } else { 1.0 / 64.0 };
        let all = [&mut other.weight, &mut other.smooth, &mut other.jerk];
        all.into_iter().flatten().for_each(|w| *w *= times);
        other.cross.iter_mut().flat_map(|x| &mut x.weight).for_each(|w| *w *= times);
        other.rows.iter_mut().filter_map(|r| r.price.as_mut()).for_each(|w| *w *= times);
        let (one, two) = (solved(&problem), solved(&other));
        assert_eq!(one.angles, two.angles, "{case}");
        assert_eq!(one.iterations, two.iterations, "{case}");
        assert_eq!(times * one.objective, two.objective, "{case}");
        let (a, b) = (dense::multipliers(&one.duals), dense::multipliers(&two.duals));
        assert!(a.iter().zip(&b).all(|(a, b)| times * a == *b), "{case}");
    }
}

/// Turned round, with up for down, a problem has its optimum turned round.
#[test]
fn up_and_down_are_treated_alike() {
    let mut dice = Dice(31);
    for case in 0..12 {
        let problem = random_problem(&mut dice);
        let mut other = problem.clone();
        other.wanted.iter_mut().for_each(|w| *w = -*w);
        for l in &mut other.limits {
            *l = FrameLimits { lower: -l.upper, upper: -l.lower, up: l.down, down: l.up, ..*l };
        }
        for s in &mut other.surroundings {
            s.before.iter_mut().chain(&mut s.after).for_each(|v| *v = -*v);
        }
        other.rows.iter_mut().for_each(|r| (r.lower, r.upper) = (-r.upper, -r.lower));
        let (one, two) = (solved(&problem), solved(&other));
        assert!((one.objective - two.objective).abs() <= allowed(&problem, &one), "{case}");
        assert!(
            one.iterations.abs_diff(two.iterations) <= 1,
            "{case}: {} {}",
            one.iterations,
            two.iterations
        );
    }
}

/// Two steps of the same move: one frame free, wanted beyond its limit. Its optimum and its price are known exactly.
#[test]
fn a_limit_that_holds_back_costs_what_the_next_degree_would_gain() {
    let limits = FrameLimits { lower: -50.0, upper: 50.0, up: 4.0, down: 40.0, acceleration: 90.0 };
    let s = solved(&Problem::single(vec![10.0], limits, 0.0));
    // d/dx (x − 10)² at 4 is −12.
    assert!((s.angles[0] - 4.0).abs() < 1e-5 && (s.objective - 36.0).abs() < 1e-4, "{s:?}");
    assert!((s.duals.speed[0] - 12.0).abs() < 1e-4 && s.duals.speed[1].abs() < 1e-4, "{s:?}");
    assert!(s.duals.travel[0].abs() < 1e-4 && s.duals.acceleration.iter().all(|z| z.abs() < 1e-4), "{s:?}");
    let down = solved(&Problem::single(vec![-10.0], FrameLimits { up: 40.0, down: 4.0, ..limits }, 0.0));
    assert!((down.duals.speed[0] + 12.0).abs() < 1e-4 && (down.angles[0] + 4.0).abs() < 1e-5, "{down:?}");
}

/// A price below what a limit costs is paid; one above it is not (Fletcher's exact penalty).
#[test]
fn a_price_is_paid_only_where_it_is_lower_than_the_way_there() {
    let limits = FrameLimits { lower: -50.0, upper: 50.0, up: 90.0, down: 90.0, acceleration: 200.0 };
    for (price, angle) in [(4.0, 8.0), (11.0, 4.5), (12.5, 4.0), (1000.0, 4.0)] {
        let row = Row { terms: vec![(0, 0, 2.0)], lower: -8.0, upper: 8.0, price: Some(price / 2.0) };
        for sign in [1.0, -1.0] {
            let problem =
                Problem { rows: vec![row.clone()], ..Problem::single(vec![sign * 10.0], limits, 0.0) };
            let s = solved(&problem);
            assert!((s.angles[0] - sign * angle).abs() < 1e-4, "price {price}: {s:?}");
            let due = sign * (price / 2.0).min(6.0);
            assert!((s.duals.rows[0] - due).abs() < 1e-3, "price {price}: {s:?}");
        }
    }
}

/// A solve that is told to stop stops, and counts its steps; what cannot be met is said to be so.
#[test]
fn steps_are_counted_and_the_end_is_told() {
    let mut dice = Dice(37);
    for _ in 0..10 {
        let problem = random_problem(&mut dice);
        let whole = solved(&problem).iterations;
        for most in 0..whole {
            let s =
                solve(&problem, &Settings { max_iterations: most, ..Settings::default() }).expect("sound");
            assert_eq!(s.iterations, most);
            assert!(matches!(s.status, Status::IterationLimit | Status::Infeasible), "{:?}", s.status);
            assert_eq!(s.status == Status::Infeasible, s.breach > 1e-9);
            assert_eq!(s.breach, problem.worst_breach(&s.angles));
        }
        let s = solve(&problem, &Settings { max_iterations: whole, ..Settings::default() }).expect("sound");
        assert_eq!(s.status, Status::Solved);
    }
}

/// A tighter tolerance costs more steps and comes as close as it promises.
#[test]
fn the_tolerance_is_kept() {
    let mut wanted = vec![0.0; 20];
    wanted[8..].fill(10.0);
    let limits = FrameLimits { lower: -30.0, upper: 30.0, up: 2.0, down: 2.0, acceleration: 1.0 };
    let problem = Problem::single(wanted, limits, 0.0);
    let at = |tolerance| solve(&problem, &Settings { tolerance, ..Settings::default() }).expect("sound");
    let (best, mut before) = (at(1e-12), 0);
    for tolerance in [1.0, 1e-2, 1e-4, 1e-6, 1e-8] {
        let s = at(tolerance);
        assert_eq!(s.status, Status::Solved);
        assert!(s.objective - best.objective <= tolerance * s.objective, "{tolerance}: {s:?}");
        assert!(s.iterations > before, "{tolerance}: {} steps", s.iterations);
        before = s.iterations;
    }
}
