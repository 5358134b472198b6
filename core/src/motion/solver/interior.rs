//! Primal–dual interior-point iteration (Mehrotra's predictor–corrector).
//!
//! Every row `v = a·x` carries up to two sides, `v ≤ hi` and `v ≥ lo`, with slacks `s` and
//! multipliers `z`:
//!
//! ```text
//! hi − v + ξu = su,   v − lo + ξl = sl,   s, z, ξ ≥ 0,   s z = μ
//! ```
//!
//! ξ is the breach of a priced row and 0 elsewhere. Its own multiplier is `price − z`, so a priced
//! side obeys `z ≤ price` and `ξ (price − z) = μ`. Eliminating s, z and ξ leaves one positive
//! definite banded system per step,
//!
//! ```text
//! (P + Aᵀ D A) dx = −(P x + q + Aᵀ(zu − zl)) − Aᵀ(gu − gl),    D = Σ sides z / (s + z ξ / (price − z))
//! ```
//!
//! S. Mehrotra, "On the implementation of a primal-dual interior point method", SIAM J. Optim. 2
//! (1992); J. Nocedal and S. Wright, *Numerical Optimization*, ch. 16, for the quadratic case.

use super::band::Band;
use super::operator::Operator;
use super::problem::Problem;
use super::{Duals, Settings, Solution, Status};

/// Share of a row's range by which its bounds are drawn in, so that the point returned is inside
/// the true bounds in spite of rounding.
const INSET: f64 = 1e-9;

/// Travel below this (degrees) cannot hold an interior; the servo is solved with this much and set
/// to its one angle afterwards.
const LEAST_TRAVEL: f64 = 1e-7;

/// One side of all rows. Absent sides have `on == false`, s = 1 and z = 0.
struct Side {
    /// +1 for `v ≤ bound`, −1 for `v ≥ bound`.
    sign: f64,
    bound: Vec<f64>,
    s: Vec<f64>,
    z: Vec<f64>,
    ds: Vec<f64>,
    dz: Vec<f64>,
    /// Second-order term of the corrector.
    cross: Vec<f64>,
    /// Priced sides only, indexed from the first further row: price (0 = hard), breach, its step,
    /// its second-order term.
    price: Vec<f64>,
    xi: Vec<f64>,
    dxi: Vec<f64>,
    cross_xi: Vec<f64>,
}

impl Side {
    fn new(sign: f64, bound: Vec<f64>, price: Vec<f64>) -> Self {
        let (r, p) = (bound.len(), price.len());
        Self {
            sign,
            bound,
            s: vec![1.0; r],
            z: vec![0.0; r],
            ds: vec![0.0; r],
            dz: vec![0.0; r],
            cross: vec![0.0; r],
            price,
            xi: vec![0.0; p],
            dxi: vec![0.0; p],
            cross_xi: vec![0.0; p],
        }
    }

    fn start(&mut self, v: &[f64], range: &[f64], pull: f64, further: usize) {
        for i in 0..v.len() {
            if !self.bound[i].is_finite() {
                continue;
            }
            let slack = self.sign * (self.bound[i] - v[i]);
            let least = 0.05 * range[i];
            self.s[i] = slack.max(least);
            self.z[i] = pull * (0.5 * range[i] / self.s[i]).min(10.0);
            if i >= further {
                let k = i - further;
                if self.price[k] > 0.0 {
                    self.z[i] = self.z[i].min(0.5 * self.price[k]);
                    self.xi[k] = (-slack).max(0.0) + 0.05 * range[i];
                    self.s[i] = (slack + self.xi[k]).max(0.05 * range[i]);
                }
            }
        }
    }

    /// Effective weight and shift of each row for the reduced system: `weight += z/(s + zξ/y)` and
    /// `shift += sign · (rc − z (rp + rcξ/y)) / (s + zξ/y)`.
    fn reduce(&self, v: &[f64], target: f64, further: usize, weight: Option<&mut [f64]>, shift: &mut [f64]) {
        let sign = self.sign;
        for i in 0..further {
            let (s, z) = (self.s[i], self.z[i]);
            let rp = sign * (self.bound[i] - v[i]) - s;
            let rc = target - s * z - self.cross[i];
            shift[i] += sign * (rc - z * rp) / s;
        }
        for i in further..v.len() {
            if !self.bound[i].is_finite() {
                continue;
            }
            let (rp, rc, rx, denominator) = self.priced(v, target, i, further);
            shift[i] += sign * (rc - self.z[i] * (rp + rx)) / denominator;
        }
        if let Some(weight) = weight {
            for i in 0..further {
                weight[i] += self.z[i] / self.s[i];
            }
            for i in further..v.len() {
                if self.bound[i].is_finite() {
                    weight[i] += self.z[i] / self.priced(v, target, i, further).3;
                }
            }
        }
    }

    /// Residuals of a further row: (primal, complementarity, breach complementarity over y, s + zξ/y).
    fn priced(&self, v: &[f64], target: f64, i: usize, further: usize) -> (f64, f64, f64, f64) {
        let (s, z, k) = (self.s[i], self.z[i], i - further);
        let rc = target - s * z - self.cross[i];
        let xi = self.xi[k];
        let rp = self.sign * (self.bound[i] - v[i]) + xi - s;
        if self.price[k] > 0.0 {
            let y = self.price[k] - z;
            let rx = (target - xi * y - self.cross_xi[k]) / y;
            (rp, rc, rx, s + z * xi / y)
        } else {
            (rp, rc, 0.0, s)
        }
    }

    /// Steps of slack, multiplier and breach that go with the row changes `dv`.
    fn direction(&mut self, v: &[f64], dv: &[f64], target: f64, further: usize) {
        let sign = self.sign;
        for i in 0..further {
            let (s, z) = (self.s[i], self.z[i]);
            let rp = sign * (self.bound[i] - v[i]) - s;
            let ds = rp - sign * dv[i];
            self.ds[i] = ds;
            self.dz[i] = (target - s * z - self.cross[i] - z * ds) / s;
        }
        for i in further..v.len() {
            if !self.bound[i].is_finite() {
                continue;
            }
            let (rp, rc, rx, denominator) = self.priced(v, target, i, further);
            let (s, z, k) = (self.s[i], self.z[i], i - further);
            let dz = (rc - z * (rp + rx) + z * sign * dv[i]) / denominator;
            self.dz[i] = dz;
            if self.price[k] > 0.0 {
                self.dxi[k] = rx + self.xi[k] * dz / (self.price[k] - z);
                self.ds[i] = rp - sign * dv[i] + self.dxi[k];
            } else {
                self.ds[i] = (rc - s * dz) / z.max(f64::MIN_POSITIVE);
                self.ds[i] = rp - sign * dv[i];
            }
        }
    }

    /// Longest step in 0..=1 that keeps s, z, ξ and price − z at or above zero.
    fn longest(&self, further: usize) -> f64 {
        // max of −d/value; the step is its inverse.
        let mut worst = 1.0_f64;
        for (d, x) in self.ds.iter().zip(&self.s) {
            worst = worst.max(-d / x);
        }
        for i in 0..self.z.len() {
            if self.z[i] > 0.0 {
                worst = worst.max(-self.dz[i] / self.z[i]);
            }
        }
        for k in 0..self.price.len() {
            if self.price[k] > 0.0 && self.bound[further + k].is_finite() {
                worst = worst.max(-self.dxi[k] / self.xi[k]);
                worst = worst.max(self.dz[further + k] / (self.price[k] - self.z[further + k]));
            }
        }
        1.0 / worst
    }

    /// Sum of complementarity products after a step (0 = now), and how many there are.
    fn complementarity(&self, step: f64, further: usize) -> (f64, usize) {
        let mut sum = 0.0;
        for i in 0..self.s.len() {
            sum += (self.s[i] + step * self.ds[i]) * (self.z[i] + step * self.dz[i]);
        }
        let mut count = further;
        for k in 0..self.price.len() {
            if self.bound[further + k].is_finite() {
                count += 1;
                if self.price[k] > 0.0 {
                    count += 1;
                    let y = self.price[k] - self.z[further + k] - step * self.dz[further + k];
                    sum += (self.xi[k] + step * self.dxi[k]) * y;
                }
            }
        }
        (sum, count)
    }

    fn keep_second_order(&mut self) {
        for i in 0..self.s.len() {
            self.cross[i] = self.ds[i] * self.dz[i];
        }
        let further = self.s.len() - self.price.len();
        for k in 0..self.price.len() {
            self.cross_xi[k] = -self.dxi[k] * self.dz[further + k];
        }
    }

    fn advance(&mut self, step: f64) {
        for i in 0..self.s.len() {
            self.s[i] += step * self.ds[i];
            self.z[i] += step * self.dz[i];
        }
        for k in 0..self.price.len() {
            self.xi[k] += step * self.dxi[k];
        }
        self.cross.fill(0.0);
        self.cross_xi.fill(0.0);
    }

    /// Greatest primal residual relative to the row's range.
    fn residual(&self, v: &[f64], range: &[f64], further: usize) -> f64 {
        let mut worst: f64 = 0.0;
        for i in 0..v.len() {
            if self.bound[i].is_finite() {
                let xi = if i >= further { self.xi[i - further] } else { 0.0 };
                let r = self.sign * (self.bound[i] - v[i]) + xi - self.s[i];
                worst = worst.max(r.abs() / range[i]);
            }
        }
        worst
    }
}

/// Solves a validated problem.
pub(super) fn solve(problem: &Problem, settings: &Settings) -> Solution {
    let (n, m) = (problem.frames, problem.width);
    let size = n * m;
    let half = if problem.jerk.iter().any(|&j| j > 0.0) { 3 * m } else { 2 * m };
    let mut operator = Operator::new(problem);
    let rows = operator.rows;
    let further = operator.further;

    // Weights are brought to about 1, so that tolerances mean the same for every rig.
    let largest =
        problem.weight.iter().chain(&problem.smooth).chain(&problem.jerk).fold(0.0_f64, |a, &w| a.max(w));
    let scale = if largest > 0.0 { 1.0 / largest } else { 1.0 };
    let (hessian, linear) = objective(problem, half, scale);

    let (lo, hi, range) = bounds(problem, &operator);
    let inset_up: Vec<f64> = hi.iter().zip(&range).map(|(b, r)| b - INSET * r).collect();
    let inset_down: Vec<f64> = lo.iter().zip(&range).map(|(b, r)| b + INSET * r).collect();
    let price: Vec<f64> = problem.rows.iter().map(|r| r.price.unwrap_or(0.0) * scale).collect();
    let mut sides = [Side::new(1.0, inset_up, price.clone()), Side::new(-1.0, inset_down, price)];

    let mut x = starting_point(problem);
    let mut v = vec![0.0; rows];
    operator.values(&x, &mut v);
    let mut gradient = vec![0.0; size];
    hessian.multiply(&x, &mut gradient);
    let mean_pull =
        gradient.iter().zip(&linear).map(|(a, b)| (a + b).abs()).sum::<f64>() / size as f64 + 1e-6;
    for side in &mut sides {
        side.start(&v, &range, 0.3 * mean_pull, further);
    }

    let mut factor = Band::zeros(size, half);
    let (mut weight, mut shift) = (vec![0.0; rows], vec![0.0; rows]);
    let (mut rhs, mut base, mut dv, mut pull) =
        (vec![0.0; size], vec![0.0; size], vec![0.0; rows], vec![0.0; rows]);
    let mut status = Status::IterationLimit;
    let mut iterations = 0;
    // An objective below this (0.001 degrees at every frame, at the largest weight) is zero for the purpose.
    let floor = 1e-6 * size as f64;

    while iterations < settings.max_iterations {
        // Dual residual Px + q + Aᵀ(zu − zl), and the state of convergence.
        hessian.multiply(&x, &mut base);
        for (b, q) in base.iter_mut().zip(&linear) {
            *b += q;
        }
        for i in 0..rows {
            pull[i] = sides[0].z[i] - sides[1].z[i];
        }
        operator.add_transposed(&pull, &mut base);
        let (gap, count) = sides
            .iter()
            .map(|s| s.complementarity(0.0, further))
            .fold((0.0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
        let mu = gap / count as f64;
        let primal = sides.iter().map(|s| s.residual(&v, &range, further)).fold(0.0, f64::max);
        let dual: f64 = base.iter().zip(&range).map(|(r, w)| r.abs() * w).sum();
        let value = scale * problem.objective(&x);
        // Below this the dual residual is rounding of its own terms.
        let noise: f64 = 1e-15
            * (0..size).map(|i| range[i] * (hessian.diagonal(i) * x[i].abs() + linear[i].abs())).sum::<f64>();
        let allowed = settings.tolerance * (value + floor) + noise;
        if primal < 1e-10 && gap + dual < allowed {
            status = Status::Solved;
            break;
        }
        if !gap.is_finite() || !value.is_finite() {
            status = Status::NumericalTrouble;
            break;
        }
        iterations += 1;

        // Predictor.
        weight.fill(0.0);
        shift.fill(0.0);
        for side in &sides {
            side.reduce(&v, 0.0, further, Some(&mut weight), &mut shift);
        }
        factor.copy_from(&hessian);
        operator.add_gram(&weight, &mut factor, half);
        if !factor.factor() {
            status = Status::NumericalTrouble;
            break;
        }
        let mut step_towards = |target: f64, shift: &[f64], sides: &mut [Side; 2], rhs: &mut Vec<f64>| {
            rhs.fill(0.0);
            operator.add_transposed(shift, rhs);
            for (r, b) in rhs.iter_mut().zip(&base) {
                *r = -*r - b;
            }
            factor.solve(rhs);
            operator.slopes(rhs, &mut dv);
            for side in sides.iter_mut() {
                side.direction(&v, &dv, target, further);
            }
            sides.iter().map(|s| s.longest(further)).fold(1.0, f64::min)
        };
        let affine = step_towards(0.0, &shift, &mut sides, &mut rhs);
        let after: f64 = sides.iter().map(|s| s.complementarity(affine, further).0).sum();
        let centring = (after / gap).clamp(0.0, 1.0).powi(3);

        // Corrector.
        for side in &mut sides {
            side.keep_second_order();
        }
        shift.fill(0.0);
        for side in &sides {
            side.reduce(&v, centring * mu, further, None, &mut shift);
        }
        let longest = step_towards(centring * mu, &shift, &mut sides, &mut rhs);
        let step = if longest >= 1.0 { 1.0 } else { longest * (1.0 - 0.05_f64.min(10.0 * mu).max(0.001)) };
        for (a, d) in x.iter_mut().zip(&rhs) {
            *a += step * d;
        }
        for side in &mut sides {
            side.advance(step);
        }
        operator.values(&x, &mut v);
        if step < 1e-9 {
            status = Status::NumericalTrouble;
            break;
        }
    }

    finish(problem, &mut operator, x, &sides, (&lo, &hi), scale, &base, status, iterations)
}

/// Quadratic part `P` (the matrix of `½ xᵀPx`, so twice the weights) and linear part `q`.
fn objective(problem: &Problem, half: usize, scale: f64) -> (Band, Vec<f64>) {
    let (n, m) = (problem.frames, problem.width);
    let mut p = Band::zeros(n * m, half);
    let mut q = vec![0.0; n * m];
    for i in 0..n * m {
        let w = 2.0 * scale * problem.weight[i];
        p.add(i, i, w);
        q[i] -= w * problem.wanted[i];
    }
    for cross in &problem.cross {
        let (a, b) = (cross.servos.0.max(cross.servos.1), cross.servos.0.min(cross.servos.1));
        for t in 0..n {
            let w = 2.0 * scale * cross.weight[t];
            p.add(t * m + a, t * m + b, w);
            q[t * m + a] -= w * problem.wanted[t * m + b];
            q[t * m + b] -= w * problem.wanted[t * m + a];
        }
    }
    let mut differences = |weights: &[f64], pattern: &[f64], frames: &mut dyn Iterator<Item = usize>| {
        let order = pattern.len() - 1;
        let frames: Vec<usize> = frames.collect();
        for c in 0..m {
            let w = 2.0 * scale * weights[c];
            if !(w > 0.0) {
                continue;
            }
            for &t in &frames {
                // Pattern entry k belongs to extended frame t − k.
                let free = |k: usize| (t - k).checked_sub(2).filter(|&f| f < n);
                let known: f64 = (0..=order)
                    .filter(|&k| free(k).is_none())
                    .map(|k| {
                        let e = t - k;
                        let around = &problem.surroundings[c];
                        pattern[k] * if e < 2 { around.before[e] } else { around.after[e - n - 2] }
                    })
                    .sum();
                for k in 0..=order {
                    let Some(i) = free(k) else { continue };
                    q[i * m + c] += w * pattern[k] * known;
                    for l in k..=order {
                        if let Some(j) = free(l) {
                            p.add(i * m + c, j * m + c, w * pattern[k] * pattern[l]);
                        }
                    }
                }
            }
        }
    };
    differences(&problem.smooth, &[1.0, -2.0, 1.0], &mut (2..n + 4));
    differences(&problem.jerk, &[1.0, -3.0, 3.0, -1.0], &mut (3..n + 4));
    differences(&problem.jerk, &[1.0, -2.0, 1.0], &mut [2, n + 3].into_iter());
    (p, q)
}

/// Lower bounds, upper bounds and range (a length to measure residuals by) of all rows.
fn bounds(problem: &Problem, operator: &Operator) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
    let m = problem.width;
    let (mut lo, mut hi) = (vec![0.0; operator.rows], vec![0.0; operator.rows]);
    for c in 0..m {
        let l = problem.bounded_limits(c);
        let spare = (0.5 * (LEAST_TRAVEL - (l.upper - l.lower))).max(0.0);
        for i in (c..operator.first).step_by(m) {
            lo[i] = l.lower - spare;
            hi[i] = l.upper + spare;
        }
        for i in (operator.first + c..operator.second).step_by(m) {
            lo[i] = -l.down;
            hi[i] = l.up;
        }
        for i in (operator.second + c..operator.further).step_by(m) {
            lo[i] = -l.acceleration;
            hi[i] = l.acceleration;
        }
    }
    for (r, row) in problem.rows.iter().enumerate() {
        lo[operator.further + r] = row.lower;
        hi[operator.further + r] = row.upper;
    }
    let mut range: Vec<f64> = lo.iter().zip(&hi).map(|(a, b)| b - a).collect();
    for (r, row) in problem.rows.iter().enumerate() {
        let i = operator.further + r;
        if !range[i].is_finite() || range[i] < 1e-9 {
            let reach: f64 = row
                .terms
                .iter()
                .map(|&(_, c, k)| k.abs() * (problem.limits[c].upper - problem.limits[c].lower))
                .sum();
            range[i] = reach.max(1e-6);
        }
    }
    (lo, hi, range)
}

/// From the last known frame before to the first after in a straight line, inside the travel.
fn starting_point(problem: &Problem) -> Vec<f64> {
    let (n, m) = (problem.frames, problem.width);
    let mut x = vec![0.0; n * m];
    for c in 0..m {
        let (l, around) = (&problem.limits[c], &problem.surroundings[c]);
        let margin = 0.01 * (l.upper - l.lower);
        for t in 0..n {
            let u = (t + 1) as f64 / (n + 1) as f64;
            let v = around.before[1] * (1.0 - u) + around.after[0] * u;
            x[t * m + c] = v.clamp(l.lower + margin, l.upper - margin);
        }
    }
    x
}

#[allow(clippy::too_many_arguments)]
fn finish(
    problem: &Problem,
    operator: &mut Operator,
    mut x: Vec<f64>,
    sides: &[Side; 2],
    (lo, hi): (&[f64], &[f64]),
    scale: f64,
    residual: &[f64],
    mut status: Status,
    iterations: usize,
) -> Solution {
    let (n, m) = (problem.frames, problem.width);
    let rows = operator.rows;
    let mut v = vec![0.0; rows];
    operator.values(&x, &mut v);

    // Lagrangian bound: for z ≥ 0 (and z ≤ price on priced rows, which the iteration keeps),
    // L(·, z) is convex and below the optimum on the feasible set, so its tangent plane at x,
    // minimised over the travel box, is a lower bound whatever the residual is.
    let tracking = {
        let unpriced: f64 = problem
            .rows
            .iter()
            .filter_map(|row| {
                let p = row.price?;
                let v: f64 = row.terms.iter().map(|&(t, c, k)| k * x[t * m + c]).sum();
                Some(p * ((v - row.upper).max(0.0) + (row.lower - v).max(0.0)))
            })
            .sum();
        problem.objective(&x) - unpriced
    };
    let mut lagrangian = scale * tracking;
    for i in 0..rows {
        if hi[i].is_finite() {
            lagrangian += sides[0].z[i] * (v[i] - hi[i]);
        }
        if lo[i].is_finite() {
            lagrangian += sides[1].z[i] * (lo[i] - v[i]);
        }
    }
    for (i, r) in residual.iter().enumerate() {
        lagrangian -= r.abs() * (hi[i] - x[i]).abs().max((x[i] - lo[i]).abs());
    }
    let bound = lagrangian / scale;

    for c in 0..m {
        let l = &problem.limits[c];
        if l.upper - l.lower < LEAST_TRAVEL {
            for t in 0..n {
                x[t * m + c] = x[t * m + c].clamp(l.lower, l.upper);
            }
        }
    }
    if !x.iter().all(|a| a.is_finite()) {
        x = starting_point(problem);
        status = Status::NumericalTrouble;
    }
    let breach = problem.worst_breach(&x);
    if breach > 1e-9 {
        status = if status == Status::Solved { Status::NumericalTrouble } else { Status::Infeasible };
    }
    let objective = problem.objective(&x);
    let net = |range: std::ops::Range<usize>| -> Vec<f64> {
        range.map(|i| (sides[0].z[i] - sides[1].z[i]) / scale).collect()
    };
    let duals = Duals {
        travel: net(0..operator.first),
        speed: net(operator.first..operator.second),
        acceleration: net(operator.second..operator.further),
        rows: net(operator.further..rows),
    };
    Solution { angles: x, objective, bound, breach, status, iterations, duals }
}
