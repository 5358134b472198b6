//! The parts of a step, each against the equations that it solves: Newton's method on `s z = target`, on
//! `ξ (price − z) = target` and on the primal residuals (J. Nocedal and S. Wright, *Numerical Optimization*, ch. 16).

use super::super::problem::{FrameLimits, Surroundings};
use super::super::tests::{Dice, random_problem};
use super::*;

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-11 * (1.0 + a.abs().max(b.abs()))
}

/// A side in the middle of a solve, the values of its rows and a direction of them.
fn side(n: usize, sign: f64, dice: &mut Dice) -> (Side, Vec<f64>, Vec<f64>, Vec<f64>) {
    let mut vector = |low, high| -> Vec<f64> { (0..n).map(|_| dice.between(low, high)).collect() };
    let mut side = Side::new(sign, vector(-5.0, 5.0));
    (side.s, side.z) = (vector(0.1, 3.0), vector(0.1, 3.0));
    let (v, range, dv) = (vector(-5.0, 5.0), vector(0.5, 2.0), vector(-4.0, 4.0));
    (side, v, range, dv)
}

fn every_side(mut check: impl FnMut(Side, Vec<f64>, Vec<f64>, Vec<f64>, f64)) {
    let mut dice = Dice(41);
    for n in 1..=9 {
        for sign in [1.0, -1.0] {
            for _ in 0..6 {
                let (side, v, range, dv) = side(n, sign, &mut dice);
                check(side, v, range, dv, sign);
            }
        }
    }
}

#[test]
fn lanes_visit_every_index_once() {
    for n in 0..14 {
        let mut seen = vec![];
        in_lanes(n, |i, lane| {
            assert!(lane < LANES && (lane == i % LANES || lane == 0));
            seen.push(i);
        });
        assert_eq!(seen, (0..n).collect::<Vec<_>>());
    }
}

/// Two rows within their bounds, one at its bound, one beyond; ranges 40.
#[test]
fn a_side_starts_a_twentieth_of_its_range_inside_at_least() {
    let v = [10.0, 15.0, 20.0, 25.0];
    let mut upper = Side::new(1.0, vec![20.0; 4]);
    upper.start(&v, &[40.0; 4], 3.0);
    assert_eq!(upper.s, [10.0, 5.0, 2.0, 2.0]);
    // Half a range over the slack, no more than ten times the pull.
    assert_eq!(upper.z, [6.0, 12.0, 30.0, 30.0]);
    let mut lower = Side::new(-1.0, vec![12.0; 4]);
    lower.start(&v, &[40.0; 4], 3.0);
    assert_eq!(lower.s, [2.0, 3.0, 8.0, 13.0]);
    assert!(lower.z.iter().zip([30.0, 20.0, 7.5, 60.0 / 13.0]).all(|(a, b)| near(*a, b)), "{:?}", lower.z);
}

#[test]
fn residuals_are_what_the_slack_does_not_explain() {
    every_side(|mut side, v, range, _, sign| {
        let (gap, worst) = side.refresh(&v, &range);
        let mut most: f64 = 0.0;
        for i in 0..v.len() {
            assert!(near(side.rp[i], sign * (side.bound[i] - v[i]) - side.s[i]));
            assert!(near(side.inv[i] * side.s[i], 1.0));
            most = most.max(side.rp[i].abs() - 1e-10 * range[i]);
        }
        assert!(near(gap, side.s.iter().zip(&side.z).map(|(s, z)| s * z).sum()));
        assert_eq!(worst, most);
    });
}

/// The share of a way at which the first of some values comes to 0.
fn longest(pairs: impl Iterator<Item = (f64, f64)>) -> f64 {
    pairs.map(|(value, change)| -change / value).fold(0.0, f64::max)
}

#[test]
fn the_predictor_solves_newtons_equations_with_target_0() {
    every_side(|mut side, v, range, dv, sign| {
        side.refresh(&v, &range);
        let n = v.len();
        let (mut weight, mut shift) = (vec![2.0; n], vec![3.0; n]);
        side.predict(&mut weight, &mut shift);
        let look = side.look(&dv);
        let (mut product, mut pairs) = (0.0, vec![]);
        for i in 0..n {
            // sign (bound − v − dv) − s − ds = 0 and s dz + z ds = −s z, solved one after the other.
            let ds = sign * (side.bound[i] - v[i] - dv[i]) - side.s[i];
            let dz = (-side.s[i] * side.z[i] - side.z[i] * ds) / side.s[i];
            assert!(near(weight[i] - 2.0, side.z[i] / side.s[i]));
            assert!(near(sign * dz, (shift[i] - 3.0) + (weight[i] - 2.0) * dv[i]));
            assert!(near(side.cross[i], ds * dz));
            product += ds * dz;
            pairs.extend([(side.s[i], ds), (side.z[i], dz)]);
        }
        assert!(near(look.product, product), "{} and {product}", look.product);
        assert!(near(look.worst, longest(pairs.into_iter())));
    });
}

#[test]
fn the_corrector_solves_them_with_its_target_and_the_second_order() {
    every_side(|mut side, v, range, dv, sign| {
        side.refresh(&v, &range);
        let n = v.len();
        let target = 0.4;
        side.look(&dv);
        let dv: Vec<f64> = dv.iter().map(|d| 0.3 * d - 0.5).collect();
        let mut shift = vec![3.0; n];
        side.correct(target, &mut shift);
        let look = side.direct(&dv, target);
        let mut pairs = vec![];
        for i in 0..n {
            let (s, z, ds, dz) = (side.s[i], side.z[i], side.ds[i], side.dz[i]);
            assert!(near(sign * (side.bound[i] - v[i] - dv[i]), s + ds));
            assert!(near(s * dz + z * ds, target - s * z - side.cross[i]));
            assert!(near(sign * dz, (shift[i] - 3.0) + z / s * dv[i]));
            pairs.extend([(s, ds), (z, dz)]);
        }
        assert!(near(look.worst, longest(pairs.into_iter())));
        let (s, z) = (side.s.clone(), side.z.clone());
        side.advance(0.25);
        for i in 0..n {
            assert_eq!((side.s[i], side.z[i]), (s[i] + 0.25 * side.ds[i], z[i] + 0.25 * side.dz[i]));
        }
    });
}

#[test]
fn what_two_sides_tell_is_the_worse_and_the_sum() {
    let (one, two) = (Look { worst: 2.0, product: 3.0 }, Look { worst: 1.5, product: -4.0 });
    for look in [one.with(two), two.with(one)] {
        assert_eq!((look.worst, look.product), (2.0, -1.0));
    }
}

/// One side of a further row in the middle of a solve.
fn extras(mut check: impl FnMut(Extra, f64, f64)) {
    let mut dice = Dice(43);
    for case in 0..60 {
        let (sign, price) = (if case % 2 == 0 { 1.0 } else { -1.0 }, if case % 3 == 0 { 0.0 } else { 5.0 });
        let mut e = Extra::new(0, sign, dice.between(-3.0, 3.0), 2.0, price, dice.between(-3.0, 3.0), 1.0);
        (e.s, e.z) = (dice.between(0.1, 3.0), dice.between(0.1, 4.5));
        e.xi = if price > 0.0 { dice.between(0.1, 3.0) } else { 0.0 };
        check(e, dice.between(-4.0, 4.0), dice.between(-4.0, 4.0));
    }
}

/// A slack of 6 within a range of 8, one that is less than a twentieth, and a breach; each hard, cheap and dear.
#[test]
fn a_row_starts_inside_or_breached_so_that_its_equation_holds() {
    let start = |bound, price| Extra::new(3, 1.0, bound, 8.0, price, 10.0, 2.0);
    let got = |e: Extra| (e.s, e.z, e.xi);
    assert_eq!(got(start(16.0, 0.0)), (6.0, 2.0 * 4.0 / 6.0, 0.0));
    assert_eq!(got(start(10.25, 0.0)), (0.4, 20.0, 0.0));
    assert_eq!(got(start(5.0, 0.0)), (0.4, 20.0, 0.0));
    assert_eq!(got(start(16.0, 100.0)), (6.4, 2.0 * 4.0 / 6.0, 0.4));
    assert_eq!(got(start(16.0, 1.0)), (6.4, 0.5, 0.4));
    let breached = start(5.0, 100.0);
    assert!(near(breached.xi, 5.4) && near(breached.s, 0.4) && breached.z == 20.0);
    assert!(near(breached.residual(10.0), 0.0));
    let below = Extra::new(3, -1.0, 4.0, 8.0, 0.0, 10.0, 2.0);
    assert_eq!((below.row, below.s, below.z), (3, 6.0, 2.0 * 4.0 / 6.0));
    for e in [start(16.0, 1.0), below] {
        assert_eq!((e.ds, e.dz, e.dxi, e.cross, e.cross_xi), (0.0, 0.0, 0.0, 0.0, 0.0));
    }
    assert!(start(16.0, 1.0).priced() && !start(16.0, 0.0).priced());
}

#[test]
fn a_rows_step_solves_newtons_equations_and_its_reduced_one() {
    extras(|mut e, v, dv| {
        let old = e;
        for target in [0.0, 0.3] {
            let (weight, shift) = e.reduce(v, target);
            let (cross, cross_xi) = (e.cross, e.cross_xi);
            let worst = e.direct(v, dv, target);
            // The way to the bound, with the breach, is the slack after the step.
            assert!(near(e.sign * (e.bound - v - dv) + e.xi + e.dxi, e.s + e.ds));
            assert!(near(e.s * e.dz + e.z * e.ds, target - e.s * e.z - cross));
            assert!(near(e.sign * e.dz, shift + weight * dv));
            let y = e.price - e.z;
            let mut pairs = vec![(e.s, e.ds), (e.z, e.dz)];
            if e.priced() {
                assert!(near(y * e.dxi - e.xi * e.dz, target - e.xi * y - cross_xi));
                pairs.extend([(e.xi, e.dxi), (y, -e.dz)]);
            } else {
                assert_eq!(e.dxi, 0.0);
            }
            assert!(near(worst.max(0.0), longest(pairs.into_iter())));
            assert!(near(e.residual(v), e.sign * (e.bound - v) + e.xi - e.s));
            let after = |a: f64| {
                (e.s + a * e.ds) * (e.z + a * e.dz)
                    + if e.priced() { (e.xi + a * e.dxi) * (e.price - (e.z + a * e.dz)) } else { 0.0 }
            };
            assert!(near(e.complementarity(0.0), after(0.0)) && near(e.complementarity(0.7), after(0.7)));
            // The corrector comes with what the predictor left.
            e.keep_second_order();
            assert_eq!((e.cross, e.cross_xi), (e.ds * e.dz, -e.dxi * e.dz));
        }
        e.advance(0.5);
        assert_eq!((e.s, e.z, e.xi), (old.s + 0.5 * e.ds, old.z + 0.5 * e.dz, old.xi + 0.5 * e.dxi));
        assert_eq!((e.cross, e.cross_xi), (0.0, 0.0));
    });
}

/// ½ xᵀPx + qᵀx is the objective but for a constant, so that its differences are those of the objective.
#[test]
fn the_quadratic_form_is_the_objective() {
    let mut dice = Dice(47);
    for case in 0..30 {
        let mut p = random_problem(&mut dice);
        p.rows.clear();
        for (c, around) in p.surroundings.iter_mut().enumerate() {
            around.before[0] += 1.0 + c as f64;
            around.after = [around.after[0] - 2.0, around.after[1] + 3.0];
        }
        let half = if case % 2 == 0 || p.jerk.iter().any(|&j| j > 0.0) { 3 } else { 2 } * p.width;
        let scale = 0.25;
        let (matrix, linear) = objective(&p, half, scale);
        let size = p.frames * p.width;
        let value = |x: &[f64]| {
            let mut product = vec![0.0; size];
            matrix.multiply(x, &mut product);
            x.iter().zip(&product).zip(&linear).map(|((x, p), q)| x * (0.5 * p + q)).sum::<f64>()
        };
        let origin = p.objective(&vec![0.0; size]);
        for _ in 0..3 {
            let x: Vec<f64> = (0..size).map(|_| dice.between(-3.0, 3.0)).collect();
            let expected = scale * (p.objective(&x) - origin);
            assert!((value(&x) - expected).abs() < 1e-11 * (1.0 + origin), "{} and {expected}", value(&x));
        }
    }
}

fn held() -> Problem {
    let limits = FrameLimits { lower: -10.0, upper: 30.0, up: 50.0, down: 50.0, acceleration: 99.0 };
    Problem {
        surroundings: vec![Surroundings { before: [7.0, 2.0], after: [14.0, 9.0] }],
        ..Problem::single(vec![0.0; 3], limits, 0.0)
    }
}

/// From 2 to 14 in four steps of 3; a hundredth of the travel inside it.
#[test]
fn a_solve_starts_on_the_straight_line_inside_the_travel() {
    assert_eq!(starting_point(&held()), [5.0, 8.0, 11.0]);
    let mut p = held();
    p.limits[0].upper = 10.0;
    p.limits[0].lower = 6.0;
    assert_eq!(starting_point(&p), [6.04, 8.0, 9.96]);
    // The second of two servos has its own.
    let two = Problem {
        frames: 1,
        width: 2,
        wanted: vec![0.0; 2],
        weight: vec![1.0; 2],
        smooth: vec![0.0; 2],
        jerk: vec![0.0; 2],
        limits: vec![held().limits[0]; 2],
        surroundings: vec![held().surroundings[0], Surroundings::resting(-4.0)],
        ..held()
    };
    assert_eq!(starting_point(&two), [8.0, -4.0]);
}

#[test]
fn servos_without_travel_are_pinned_frame_by_frame() {
    let mut p = Problem { frames: 2, width: 3, limits: vec![held().limits[0]; 3], ..held() };
    assert_eq!(pinned(&p), [0; 0]);
    (p.limits[1].lower, p.limits[1].upper) = (4.0, 4.0);
    (p.limits[2].lower, p.limits[2].upper) = (4.0, 4.0 + 2e-7);
    assert_eq!(pinned(&p), [1, 4]);
    (p.limits[2].lower, p.limits[2].upper) = (4.0, 4.0 + 0.5e-7);
    assert_eq!(pinned(&p), [1, 2, 4, 5]);
}

/// What a solve ends with is judged by the motion itself.
#[test]
fn an_end_outside_the_limits_is_never_called_solved() {
    let duals =
        || Duals { travel: vec![0.0; 3], speed: vec![0.0; 4], acceleration: vec![0.0; 5], rows: vec![] };
    let end = |x: &[f64], status| finish(&held(), x.to_vec(), duals(), status, 7);
    let inside = [5.0, 8.0, 11.0];
    for status in [Status::Solved, Status::IterationLimit, Status::NumericalTrouble] {
        let s = end(&inside, status);
        assert_eq!((s.status, s.iterations, s.breach), (status, 7, 0.0));
        assert_eq!(s.objective, 25.0 + 64.0 + 121.0);
        assert_eq!(s.angles, inside);
    }
    assert_eq!(end(&[5.0, 8.0, 34.0], Status::Solved).status, Status::NumericalTrouble);
    assert_eq!(end(&[5.0, 8.0, 34.0], Status::Solved).breach, 0.1);
    assert_eq!(end(&[5.0, 8.0, 34.0], Status::IterationLimit).status, Status::Infeasible);
    assert_eq!(end(&[5.0, 8.0, 34.0], Status::NumericalTrouble).status, Status::Infeasible);
    let lost = end(&[5.0, f64::NAN, 11.0], Status::Solved);
    assert_eq!((lost.status, lost.angles), (Status::NumericalTrouble, inside.to_vec()));
}

/// A step is Newton's: P + AᵀDA times it is minus the gradient, minus Aᵀ times the shifts.
#[test]
fn a_step_solves_the_reduced_system() {
    let mut dice = Dice(53);
    for _ in 0..8 {
        let mut p = random_problem(&mut dice);
        if p.width > 1 {
            (p.limits[1].lower, p.limits[1].upper) = (0.0, 0.0);
        }
        let half = 3 * p.width;
        let mut operator = Operator::new(&p);
        let (size, rows, fixed) = (p.frames * p.width, operator.rows, pinned(&p));
        let (hessian, _) = objective(&p, half, 1.0);
        let mut vector = |n: usize| -> Vec<f64> { (0..n).map(|_| dice.between(0.1, 2.0)).collect() };
        let (weight, shift, base) = (vector(rows), vector(rows), vector(size));
        let mut matrix = hessian.clone();
        operator.add_gram(&weight, &mut matrix, half);
        fixed.iter().for_each(|&i| matrix.isolate(i));
        let mut factor = matrix.clone();
        assert!(factor.factor());
        let (mut dx, mut dv) = (vec![f64::NAN; size], vec![0.0; rows]);
        newton(&mut operator, &factor, &base, &shift, &fixed, &mut dx, &mut dv);
        let (mut left, mut right) = (vec![0.0; size], base.clone());
        matrix.multiply(&dx, &mut left);
        operator.add_transposed(&shift, &mut right);
        for i in 0..size {
            if fixed.contains(&i) {
                assert_eq!(dx[i], 0.0);
            } else {
                assert!((left[i] + right[i]).abs() < 1e-9, "{i}: {} and {}", left[i], right[i]);
            }
        }
        let mut slopes = vec![0.0; rows];
        operator.slopes(&dx, &mut slopes);
        assert_eq!(slopes, dv);
    }
}
