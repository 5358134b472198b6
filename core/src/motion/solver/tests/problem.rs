//! What a problem says of itself, by numbers worked by hand, and what is refused.

use super::super::interior::bounds;
use super::super::operator::Operator;
use super::dense;
use super::*;

/// Two servos over two frames, nothing weighing anything yet.
fn pair() -> Problem {
    let limits = FrameLimits { lower: -10.0, upper: 30.0, up: 4.0, down: 5.0, acceleration: 8.0 };
    Problem {
        frames: 2,
        width: 2,
        wanted: vec![1.0, 2.0, 3.0, 4.0],
        weight: vec![0.0; 4],
        cross: vec![],
        smooth: vec![0.0; 2],
        jerk: vec![0.0; 2],
        limits: vec![limits; 2],
        surroundings: vec![
            Surroundings { before: [1.0, 2.0], after: [4.0, 7.0] },
            Surroundings { before: [-1.0, 0.0], after: [0.0, 0.0] },
        ],
        rows: vec![],
    }
}

fn row(lower: f64, upper: f64, price: Option<f64>) -> Row {
    Row { terms: vec![(0, 0, 2.0), (1, 1, -1.0)], lower, upper, price }
}

const AT: [f64; 4] = [2.0, 5.0, 6.0, 3.0];

#[test]
fn tracking_is_the_weighted_square_of_what_is_missed() {
    // Missed by 1, 3, 3 and -1.
    let weighted = Problem { weight: vec![1.0, 10.0, 100.0, 1000.0], ..pair() };
    assert_eq!(weighted.objective(&AT), 1.0 + 90.0 + 900.0 + 1000.0);
    // Twice the weight times 1·3 in the first frame, 3·(-1) in the second.
    let cross = vec![CrossWeight { servos: (1, 0), weight: vec![2.0, 0.5] }];
    assert_eq!(Problem { cross, ..weighted }.objective(&AT), 1991.0 + 12.0 - 3.0);
}

#[test]
fn smoothness_and_jerk_run_over_the_known_frames() {
    // Servo 0 stands at 1, 2 | 2, 6 | 4, 7: bends -1, 4, -6, 5, of which the differences are 5, -10, 11.
    let smooth = Problem { smooth: vec![2.0, 0.0], ..pair() };
    assert_eq!(smooth.objective(&AT), 2.0 * (1.0 + 16.0 + 36.0 + 25.0));
    // Beyond the known frames nothing bends, so the first and the last bend are differences, too.
    let jerk = Problem { jerk: vec![3.0, 0.0], ..pair() };
    assert_eq!(jerk.objective(&AT), 3.0 * (1.0 + 25.0 + 100.0 + 121.0 + 25.0));
    // Servo 1 stands at -1, 0 | 5, 3 | 0, 0: bends 4, -7, -1, 3, differences -11, 6, 4.
    let other = Problem { smooth: vec![0.0, 1.0], jerk: vec![0.0, 1.0], ..pair() };
    assert_eq!(other.objective(&AT), (16.0 + 49.0 + 1.0 + 9.0) + (16.0 + 121.0 + 36.0 + 16.0 + 9.0));
}

#[test]
fn a_breach_costs_its_price_on_either_side() {
    // The row is at 2·2 − 3 = 1.
    for (lower, upper, cost) in [(0.0, 2.0, 0.0), (1.0, 1.0, 0.0), (-3.0, 0.25, 7.5), (1.5, 9.0, 5.0)] {
        let problem = Problem { rows: vec![row(lower, upper, Some(10.0))], ..pair() };
        assert_eq!(problem.objective(&AT), cost, "{lower} to {upper}");
        assert_eq!(problem.worst_breach(&AT), 0.0_f64.max(problem.worst_breach_of_servos(&AT)));
        let hard = Problem { rows: vec![row(lower, upper, None)], ..pair() };
        assert_eq!(hard.objective(&AT), 0.0);
    }
}

/// One servo between known frames at 0, all limits of its own: which one is breached, and by what share of its range.
#[test]
fn the_worst_breach_is_told_as_a_share_of_its_range() {
    let far = 1000.0;
    let wide = FrameLimits { lower: -10.0, upper: 30.0, up: far, down: far, acceleration: far };
    let breach = |angles: &[f64], after: [f64; 2], limits: FrameLimits| {
        let mut p = Problem::single(vec![0.0; angles.len()], limits, 0.0);
        p.surroundings[0].after = after;
        p.worst_breach(angles)
    };
    let rest = [0.0; 2];
    assert_eq!(breach(&[30.0, -10.0], rest, wide), 0.0);
    assert_eq!(breach(&[40.0, 0.0], rest, wide), 10.0 / 40.0);
    assert_eq!(breach(&[0.0, -30.0], rest, wide), 20.0 / 40.0);
    // Known frames may be outside the travel: nothing can be done about it.
    assert_eq!(breach(&[30.0], [50.0; 2], wide), 0.0);
    assert_eq!(breach(&[0.0, 6.0], [6.0; 2], FrameLimits { up: 4.0, ..wide }), 0.5);
    assert_eq!(breach(&[0.0, 4.0], [4.0; 2], FrameLimits { up: 4.0, ..wide }), 0.0);
    assert_eq!(breach(&[0.0, -6.0], [-6.0; 2], FrameLimits { down: 5.0, ..wide }), 0.2);
    // The move out of the last free frame counts, that between the known ones does not.
    assert_eq!(breach(&[0.0, 0.0], [6.0; 2], FrameLimits { up: 4.0, ..wide }), 0.5);
    assert_eq!(breach(&[0.0, 0.0], [0.0, 6.0], FrameLimits { up: 4.0, ..wide }), 0.0);
    // 0, 0 | 3, 3 | 3, 3 bends by 3 and by -3; a bend at the very end counts.
    assert_eq!(breach(&[3.0, 3.0], [3.0; 2], FrameLimits { acceleration: 2.0, ..wide }), 0.5);
    assert_eq!(breach(&[-3.0, -3.0], [-3.0; 2], FrameLimits { acceleration: 2.0, ..wide }), 0.5);
    assert_eq!(breach(&[0.0, 0.0], [0.0, 5.0], FrameLimits { acceleration: 2.0, ..wide }), 1.5);
}

#[test]
fn a_hard_row_is_breached_by_a_share_of_its_range_or_by_itself() {
    let wide = FrameLimits { lower: -90.0, upper: 90.0, up: 90.0, down: 90.0, acceleration: 90.0 };
    let breach = |lower, upper| {
        let p = Problem { limits: vec![wide; 2], rows: vec![row(lower, upper, None)], ..pair() };
        assert_eq!(p.worst_breach_of_servos(&AT), 0.0);
        p.worst_breach(&AT)
    };
    let none = f64::INFINITY;
    assert_eq!(breach(0.0, 2.0), 0.0);
    assert_eq!(breach(-4.0, 0.0), 0.25);
    assert_eq!(breach(1.5, 3.5), 0.25);
    assert_eq!(breach(-none, -2.0), 3.0);
    assert_eq!(breach(5.0, none), 4.0);
    // Bounds that are one: a billionth stands for their range.
    assert!((breach(0.0, 0.0) - 1e9).abs() < 1.0);
}

fn refused(change: impl Fn(&mut Problem)) -> String {
    let mut p = Problem { weight: vec![1.0; 4], ..pair() };
    p.cross = vec![CrossWeight { servos: (0, 1), weight: vec![0.5; 2] }];
    p.rows = vec![row(0.0, 1.0, None)];
    assert_eq!(p.validate(), Ok(()));
    change(&mut p);
    p.validate().map_or_else(|e| e.to_string(), |()| "taken".into())
}

#[test]
fn what_is_no_problem_is_refused_by_name() {
    assert_eq!(refused(|p| p.frames = 0), "a tracking problem needs at least one frame and one servo");
    assert_eq!(refused(|p| p.width = 0), "a tracking problem needs at least one frame and one servo");
    assert_eq!(refused(|p| p.frames = 3), "wanted holds 4 values where 6 are needed");
    assert_eq!(refused(|p| p.weight.truncate(1)), "weight holds 1 values where 4 are needed");
    assert_eq!(refused(|p| p.smooth.push(0.0)), "smooth holds 3 values where 2 are needed");
    assert_eq!(refused(|p| p.jerk.clear()), "jerk holds 0 values where 2 are needed");
    assert_eq!(refused(|p| p.limits.truncate(1)), "limits holds 1 values where 2 are needed");
    assert_eq!(refused(|p| p.surroundings.truncate(1)), "surroundings holds 1 values where 2 are needed");
    let weight = "it must be finite and not negative";
    assert_eq!(refused(|p| p.wanted[3] = f64::NAN), "wanted angle of servo 1 is NaN; it must be finite");
    assert_eq!(refused(|p| p.weight[2] = -1.0), format!("weight of servo 0 is -1; {weight}"));
    assert_eq!(refused(|p| p.weight[1] = f64::INFINITY), format!("weight of servo 1 is inf; {weight}"));
    assert_eq!(refused(|p| p.smooth[1] = -1.0), format!("smoothness weight of servo 1 is -1; {weight}"));
    assert_eq!(refused(|p| p.smooth[0] = f64::NAN), format!("smoothness weight of servo 0 is NaN; {weight}"));
    assert_eq!(refused(|p| p.jerk[0] = -0.5), format!("jerk weight of servo 0 is -0.5; {weight}"));
    assert_eq!(refused(|p| p.jerk[1] = f64::INFINITY), format!("jerk weight of servo 1 is inf; {weight}"));
    assert_eq!(
        refused(|p| p.limits[1].lower = -f64::INFINITY),
        "lower limit of servo 1 is -inf; it must be finite"
    );
    assert_eq!(
        refused(|p| p.limits[0].upper = f64::INFINITY),
        "upper limit of servo 0 is inf; it must be finite"
    );
    assert_eq!(refused(|p| p.limits[0].upper = -12.0), "travel of servo 0 is -2; it must be not negative");
    assert_eq!(refused(|p| p.limits[0].upper = -10.0), "taken");
    for zero in [0.0, -1.0, f64::NAN] {
        let said = |what| format!("{what} limit of servo 1 is {zero}; it must be positive");
        assert_eq!(refused(|p| p.limits[1].up = zero), said("speed"));
        assert_eq!(refused(|p| p.limits[1].down = zero), said("speed"));
        assert_eq!(refused(|p| p.limits[1].acceleration = zero), said("acceleration"));
    }
    for k in 0..2 {
        let said = "known angle of servo 1 is NaN; it must be finite";
        assert_eq!(refused(|p| p.surroundings[1].before[k] = f64::NAN), said);
        assert_eq!(refused(|p| p.surroundings[1].after[k] = f64::NAN), said);
    }
}

#[test]
fn cross_weights_are_refused_where_they_bend_the_wrong_way() {
    let cross = |servos, weight: [f64; 2]| {
        refused(move |p| {
            p.weight = vec![4.0, 9.0, 1.0, 0.0];
            p.cross[0] = CrossWeight { servos, weight: weight.to_vec() };
        })
    };
    // The root of 4·9 is 6; where one of the two weighs nothing they have nothing to share.
    assert_eq!(cross((0, 1), [6.0, 0.0]), "taken");
    assert_eq!(cross((1, 0), [-6.0, 0.0]), "taken");
    let most = "it must be finite and at most the root of the two weights' product";
    assert_eq!(cross((0, 1), [6.001, 0.0]), format!("cross weight of servo 0 is 6.001; {most}"));
    assert_eq!(cross((1, 0), [0.0, 0.1]), format!("cross weight of servo 1 is 0.1; {most}"));
    assert_eq!(cross((0, 1), [f64::NAN, 0.0]), format!("cross weight of servo 0 is NaN; {most}"));
    for (servos, most) in [((0, 2), 2), ((2, 1), 2), ((1, 1), 1)] {
        assert_eq!(
            cross(servos, [0.0; 2]),
            format!("cross weight servos holds {most} values where 2 are needed"),
        );
    }
    assert_eq!(refused(|p| p.cross[0].weight.push(0.0)), "cross weight holds 3 values where 2 are needed");
}

#[test]
fn rows_are_refused_by_their_place() {
    let bad = |change: &dyn Fn(&mut Row)| {
        refused(|p| {
            p.frames = 4;
            p.wanted = vec![0.0; 8];
            p.weight = vec![1.0; 8];
            p.cross.clear();
            p.rows.push(row(0.0, 1.0, Some(5.0)));
            change(&mut p.rows[1]);
        })
    };
    let terms = |list: &[(usize, usize, f64)]| {
        let list = list.to_vec();
        bad(&move |r| r.terms = list.clone())
    };
    assert_eq!(terms(&[]), "row 1: has no terms");
    assert_eq!(terms(&[(3, 1, 1.0)]), "taken");
    assert_eq!(terms(&[(4, 0, 1.0)]), "row 1: names a frame or servo outside the problem");
    assert_eq!(terms(&[(0, 2, 1.0)]), "row 1: names a frame or servo outside the problem");
    assert_eq!(terms(&[(3, 0, 1.0), (2, 0, 1.0)]), "taken");
    assert_eq!(terms(&[(3, 0, 1.0), (1, 0, 1.0)]), "row 1: spans more than two frames");
    assert_eq!(terms(&[(0, 0, f64::NAN)]), "row 1: has a coefficient that is not finite");
    let (none, exclude) = (f64::INFINITY, "row 1: has bounds that exclude each other");
    for (lower, upper, said) in [
        (1.0, 1.0, "taken"),
        (-none, none, "taken"),
        (1.0, 0.5, exclude),
        (f64::NAN, 1.0, exclude),
        (0.0, f64::NAN, exclude),
        (none, none, exclude),
        (-none, -none, exclude),
    ] {
        assert_eq!(bad(&|r| (r.lower, r.upper) = (lower, upper)), said, "{lower} to {upper}");
    }
    for price in [0.0, -1.0, none, f64::NAN] {
        assert_eq!(bad(&|r| r.price = Some(price)), "row 1: has a price that is not positive and finite");
    }
}

/// Weak duality, whatever the multipliers are: the bound is the tangent of the Lagrangian at x, least over the travel,
/// put together here from the dense matrix.
#[test]
fn the_lower_bound_is_the_least_of_the_lagrangians_tangent() {
    let mut dice = Dice(23);
    for case in 0..60 {
        let mut p = random_problem(&mut dice);
        if case % 4 == 0 {
            p.rows.iter_mut().for_each(|r| r.price = Some(3.0));
        }
        let solution = solve(&p, &Settings::default()).expect("sound");
        let rows = dense::rows(&p);
        let mut duals = solution.duals.clone();
        for z in [&mut duals.travel, &mut duals.speed, &mut duals.acceleration, &mut duals.rows] {
            z.iter_mut().for_each(|z| *z = if dice.chance(0.3) { dice.between(-5.0, 5.0) } else { *z });
        }
        // Around the optimum, where a tangent in the wrong place would show.
        let x: Vec<f64> = solution.angles.iter().map(|x| x + dice.between(-0.5, 0.5)).collect();
        let mut gradient = dense::gradient(&p, &x);
        let mut expected = Problem { rows: vec![], ..p.clone() }.objective(&x);
        for (row, z) in rows.iter().zip(dense::multipliers(&duals)) {
            let z = row.price.map_or(z, |price| z.clamp(-price, price));
            let bound = if z > 0.0 { row.upper } else { row.lower };
            // No limit, nothing to hold on to.
            if bound.is_finite() {
                expected += z * (row.value(&x) - bound);
                gradient.iter_mut().zip(&row.k).for_each(|(g, k)| *g += k * z);
            }
        }
        for (i, g) in gradient.iter().enumerate() {
            let l = &p.limits[i % p.width];
            expected += (g * (l.lower - x[i])).min(g * (l.upper - x[i])).min(0.0);
        }
        let bound = lower_bound(&p, &x, &duals);
        assert!((bound - expected).abs() <= 1e-9 * (1.0 + expected.abs()), "{case}: {bound} and {expected}");
        assert!(
            bound <= solution.objective * (1.0 + 1e-9) + 1e-9,
            "{case}: {bound} above {}",
            solution.objective
        );
    }
}

#[test]
fn a_multiplier_that_is_no_number_proves_nothing_and_spoils_nothing() {
    let limits = FrameLimits { lower: -10.0, upper: 10.0, up: 2.0, down: 2.0, acceleration: 1.0 };
    let p = Problem::single(vec![9.0; 4], limits, 0.0);
    let s = solve(&p, &Settings::default()).expect("sound");
    let nothing =
        Duals { travel: vec![0.0; 4], speed: vec![0.0; 5], acceleration: vec![0.0; 6], rows: vec![] };
    let mut spoilt = nothing.clone();
    (spoilt.travel[1], spoilt.speed[2], spoilt.acceleration[3]) = (f64::NAN, f64::INFINITY, -f64::INFINITY);
    assert_eq!(lower_bound(&p, &s.angles, &spoilt), lower_bound(&p, &s.angles, &nothing));
    assert!(s.bound > 0.0);
}

/// A servo without travel takes no part: its own limits are wide ones, whatever pulls at it.
#[test]
fn bounds_and_ranges_by_hand() {
    let mut p = Problem { rows: vec![row(0.0, 1.0, None), row(-f64::INFINITY, 5.0, Some(1.0))], ..pair() };
    p.limits[1] = FrameLimits { lower: 3.0, upper: 3.0, ..p.limits[1] };
    p.surroundings[1] = Surroundings { before: [0.0, 3.0], after: [-4.0, 3.0] };
    let operator = Operator::new(&p);
    let (lo, hi, range) = bounds(&p, &operator);
    // Servo 1 may go as far as 10 and its known angles beyond where it stands.
    let (travel, speed, bend) = ((-14.0, 20.0), (-170.0, 170.0), (-340.0, 340.0));
    let expected: Vec<(f64, f64)> = [[(-10.0, 30.0), travel]; 2]
        .into_iter()
        .chain([[(-5.0, 4.0), speed]; 3])
        .chain([[(-8.0, 8.0), bend]; 4])
        .flatten()
        .chain([(0.0, 1.0), (-f64::INFINITY, 5.0)])
        .collect();
    assert_eq!(lo.iter().copied().zip(hi.iter().copied()).collect::<Vec<_>>(), expected);
    for (k, (low, high)) in expected.iter().enumerate().take(operator.further) {
        assert_eq!(range[k], high - low);
    }
    // A row reaches 2 times 40 degrees, and 1 of a servo that counts as 1 degree.
    assert_eq!(range[operator.further..], [1.0, 81.0]);
    p.rows[0] = row(0.5, 0.5, None);
    assert_eq!(bounds(&p, &Operator::new(&p)).2[operator.further], 0.081);
}

/// The servo that is named is the one whose number is wrong, in whichever frame.
#[test]
fn a_number_that_is_none_is_told_by_its_servo() {
    for i in 0..4 {
        let mut wrong = pair();
        wrong.wanted[i] = f64::NAN;
        match wrong.validate() {
            Err(ProblemError::Value { what, servo, .. }) => {
                assert_eq!((what, servo), ("wanted angle", i % 2))
            }
            other => panic!("{other:?}"),
        }
    }
}

/// Travel is asked of the free frames, however few: what is known before and after is as it is.
#[test]
fn travel_is_asked_of_the_free_frames_alone() {
    let limits = FrameLimits { lower: -10.0, upper: 30.0, up: 99.0, down: 99.0, acceleration: 999.0 };
    let one = |n: usize, after: f64| Problem {
        frames: n,
        width: 1,
        wanted: vec![0.0; n],
        weight: vec![1.0; n],
        cross: vec![],
        smooth: vec![0.0],
        jerk: vec![0.0],
        limits: vec![limits],
        surroundings: vec![Surroundings { before: [0.0; 2], after: [after; 2] }],
        rows: vec![],
    };
    for n in 1..6 {
        let breach = |last: f64, after: f64| {
            let mut angles = vec![0.0; n];
            angles[n - 1] = last;
            one(n, after).worst_breach_of_servos(&angles)
        };
        // Beyond by 10 of 40.
        assert_eq!(breach(40.0, 30.0), 0.25, "{n}");
        assert_eq!(breach(30.0, 40.0), 0.0, "{n}");
    }
}
