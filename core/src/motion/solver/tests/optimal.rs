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
    let largest = problem.weight.iter().chain(&problem.smooth).chain(&problem.jerk).fold(0.0_f64, |a, &w| a.max(w));
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
            None => assert!(over <= 1e-9 * travel(0).max(1.0) && under <= 1e-9 * travel(0).max(1.0), "{what}: row {k}"),
            Some(price) => {
                assert!(z.abs() <= price * (1.0 + 1e-9), "{what}: row {k} costs {z} of {price}");
                idle += over.max(0.0) * (price - z) + under.max(0.0) * (price + z);
            }
        }
        idle += if z > 0.0 { z * (-over).max(0.0).min(1e6) } else { -z * (-under).max(0.0).min(1e6) };
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
        assert!((problem.objective(&solution.angles) - solution.objective).abs() <= 1e-12 * solution.objective);
        assert!(solution.iterations <= 40, "problem {case} took {} steps", solution.iterations);
        steps += solution.iterations;
    }
    // "10 to 20 are usual", says the documentation.
    assert!((10 * 40..=20 * 40).contains(&steps), "{steps} steps for 40 problems");
}
