//! The proof of how good a motion is.

use super::Duals;
use super::interior::{bounds, pinned};
use super::operator::Operator;
use super::problem::Problem;

/// A proven lower bound on the objective over all points inside the limits, from multipliers and any
/// point `x` (frame-major, as the angles of a [`Solution`](super::Solution)).
///
/// For multipliers z ≥ 0 (and z ≤ price on priced rows) the Lagrangian L(·, z) is convex and at most
/// the objective wherever the limits hold, so its tangent plane at x, minimised over the travel box,
/// is a lower bound, whatever x and the multipliers are. It is tight where both are optimal. Multipliers
/// may so be put together from solves of parts of the frames.
///
/// `duals` must have the lengths that its documentation gives for the problem.
#[must_use]
pub fn lower_bound(problem: &Problem, x: &[f64], duals: &Duals) -> f64 {
    let m = problem.width;
    let mut operator = Operator::new(problem);
    let (lo, hi, _) = bounds(problem, &operator);
    let mut v = vec![0.0; operator.rows];
    operator.values(x, &mut v);
    let mut net: Vec<f64> = [&duals.travel[..], &duals.speed, &duals.acceleration, &duals.rows].concat();
    let mut value = problem.tracking(x);
    for i in 0..net.len() {
        let row = i.checked_sub(operator.further).map(|r| &problem.rows[r]);
        if let Some(price) = row.and_then(|r| r.price) {
            net[i] = net[i].clamp(-price, price);
        }
        // A multiplier that is no number, or on a side that has no limit, proves nothing.
        let bound = if net[i] > 0.0 { hi[i] } else { lo[i] };
        if bound.is_finite() && net[i].is_finite() {
            value += net[i] * (v[i] - bound);
        } else {
            net[i] = 0.0;
        }
    }
    // Smoothness and jerk are squares of second differences and of their differences: their gradient
    // goes through the same rows as the limits on acceleration.
    let second = &v[operator.second..operator.further];
    let at = |k: Option<usize>| k.and_then(|k| second.get(k)).copied().unwrap_or(0.0);
    for k in 0..second.len() {
        let (smooth, jerk) = (problem.smooth[k % m], problem.jerk[k % m]);
        let bend = 2.0 * second[k] - at(k.checked_sub(m)) - at(Some(k + m));
        net[operator.second + k] += 2.0 * (smooth * second[k] + jerk * bend);
    }
    let error = |i: usize| x[i] - problem.wanted[i];
    let mut gradient: Vec<f64> = (0..x.len()).map(|i| 2.0 * problem.weight[i] * error(i)).collect();
    for cross in &problem.cross {
        for (t, w) in cross.weight.iter().enumerate() {
            let (a, b) = (t * m + cross.servos.0, t * m + cross.servos.1);
            gradient[a] += 2.0 * w * error(b);
            gradient[b] += 2.0 * w * error(a);
        }
    }
    operator.add_transposed(&net, &mut gradient);
    for i in pinned(problem) {
        gradient[i] = 0.0;
    }
    for (i, g) in gradient.iter().enumerate() {
        // Farthest the box lets x go against the gradient; x may be outside by a rounding.
        value -= (g * (x[i] - lo[i])).max(g * (x[i] - hi[i])).max(0.0);
    }
    value
}
