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
use super::bound::lower_bound;
use super::operator::Operator;
use super::problem::Problem;
use super::{Duals, Settings, Solution, Status};

/// Share of a row's range by which its bounds are drawn in, so that the point returned is inside
/// the true bounds in spite of rounding.
const INSET: f64 = 1e-9;

/// Travel below this (degrees) has no interior: the servo is pinned to its one angle.
const LEAST_TRAVEL: f64 = 1e-7;

/// Variables of servos without travel. They take no part in a step, and their own limits, which
/// cannot bind, are replaced by wide ones.
pub(super) fn pinned(problem: &Problem) -> Vec<usize> {
    let fixed = |c: &usize| problem.limits[*c].upper - problem.limits[*c].lower < LEAST_TRAVEL;
    let servos: Vec<usize> = (0..problem.width).filter(fixed).collect();
    (0..problem.frames).flat_map(|t| servos.iter().map(move |c| t * problem.width + c)).collect()
}

/// Width of the hand-unrolled loops below: enough for the compiler to use vector registers.
const LANES: usize = 4;

/// Calls `one(index, lane)` for every index below `n`, lanes in turn, so that each lane's sum or
/// maximum waits for no other.
#[inline(always)]
fn in_lanes(n: usize, mut one: impl FnMut(usize, usize)) {
    let whole = n - n % LANES;
    for i in (0..whole).step_by(LANES) {
        for k in 0..LANES {
            one(i + k, k);
        }
    }
    for i in whole..n {
        one(i, 0);
    }
}

/// One side of the hard rows that every problem has (travel, speed, acceleration): plain arrays, one
/// entry a row, worked through a few times per step.
struct Side {
    /// +1 for `v ≤ bound`, −1 for `v ≥ bound`.
    sign: f64,
    bound: Vec<f64>,
    s: Vec<f64>,
    z: Vec<f64>,
    /// Primal residual `sign (bound − v) − s`.
    rp: Vec<f64>,
    /// 1 / s: one division serves the whole step.
    inv: Vec<f64>,
    /// Second-order term Δs Δz of the predictor.
    cross: Vec<f64>,
    ds: Vec<f64>,
    dz: Vec<f64>,
}

/// What one look at a direction tells.
#[derive(Clone, Copy, Default)]
struct Look {
    /// Greatest of −Δ/value: the longest step is its inverse, at most 1.
    worst: f64,
    /// Σ Δs Δz.
    product: f64,
}

impl Look {
    fn with(self, other: Self) -> Self {
        Self { worst: self.worst.max(other.worst), product: self.product + other.product }
    }
}

impl Side {
    fn new(sign: f64, bound: Vec<f64>) -> Self {
        let zeros = || vec![0.0; bound.len()];
        let (s, z, rp, inv, cross, ds, dz) = (zeros(), zeros(), zeros(), zeros(), zeros(), zeros(), zeros());
        Self { sign, bound, s, z, rp, inv, cross, ds, dz }
    }

    fn start(&mut self, v: &[f64], range: &[f64], pull: f64) {
        for i in 0..self.bound.len() {
            self.s[i] = (self.sign * (self.bound[i] - v[i])).max(0.05 * range[i]);
            self.z[i] = pull * (0.5 * range[i] / self.s[i]).min(10.0);
        }
    }

    /// Residuals and inverses at the new point: (Σ s z, greatest residual over range).
    fn refresh(&mut self, v: &[f64], range: &[f64]) -> (f64, f64) {
        let sign = self.sign;
        let n = self.bound.len();
        let (bound, s, z, rp, inv) =
            (&self.bound[..n], &self.s[..n], &self.z[..n], &mut self.rp[..n], &mut self.inv[..n]);
        let (v, range) = (&v[..n], &range[..n]);
        let mut sums = [0.0; LANES];
        let mut worst = [0.0_f64; LANES];
        for i in 0..n {
            rp[i] = sign * (bound[i] - v[i]) - s[i];
            inv[i] = 1.0 / s[i];
        }
        let whole = n - n % LANES;
        for i in (0..whole).step_by(LANES) {
            for k in 0..LANES {
                sums[k] += s[i + k] * z[i + k];
                let r = rp[i + k].abs() - 1e-10 * range[i + k];
                worst[k] = if r > worst[k] { r } else { worst[k] };
            }
        }
        for i in whole..n {
            sums[0] += s[i] * z[i];
            worst[0] = worst[0].max(rp[i].abs() - 1e-10 * range[i]);
        }
        (sums.iter().sum(), worst.iter().fold(0.0, |a, &b| a.max(b)))
    }

    /// Adds z/s to the weights and the predictor's `sign (−s z − z rp)/s` to the shifts.
    fn predict(&self, weight: &mut [f64], shift: &mut [f64]) {
        let n = self.bound.len();
        let (z, rp, inv) = (&self.z[..n], &self.rp[..n], &self.inv[..n]);
        let (weight, shift) = (&mut weight[..n], &mut shift[..n]);
        for i in 0..n {
            let d = z[i] * inv[i];
            weight[i] += d;
            shift[i] -= self.sign * (z[i] + d * rp[i]);
        }
    }

    /// The predictor's direction for row changes `dv`: keeps Δs Δz.
    fn look(&mut self, dv: &[f64]) -> Look {
        let n = self.bound.len();
        let (z, rp, inv, cross, dv) =
            (&self.z[..n], &self.rp[..n], &self.inv[..n], &mut self.cross[..n], &dv[..n]);
        let mut sums = [0.0; LANES];
        let mut worst = [0.0_f64; LANES];
        let one = |i: usize, k: usize| {
            let ds = rp[i] - self.sign * dv[i];
            let r = ds * inv[i];
            // Δz = −z (1 + Δs/s), so −Δz/z needs no division.
            let c = -ds * z[i] * (1.0 + r);
            cross[i] = c;
            sums[k] += c;
            let w = if -r > 1.0 + r { -r } else { 1.0 + r };
            worst[k] = if w > worst[k] { w } else { worst[k] };
        };
        in_lanes(n, one);
        Look { worst: worst.iter().fold(0.0, |a, &b| a.max(b)), product: sums.iter().sum() }
    }

    /// Adds the corrector's `sign (target − s z − ΔsΔz − z rp)/s` to the shifts.
    fn correct(&self, target: f64, shift: &mut [f64]) {
        let n = self.bound.len();
        let (z, rp, inv, cross) = (&self.z[..n], &self.rp[..n], &self.inv[..n], &self.cross[..n]);
        let shift = &mut shift[..n];
        for i in 0..n {
            shift[i] += self.sign * ((target - cross[i] - z[i] * rp[i]) * inv[i] - z[i]);
        }
    }

    /// The corrector's direction for row changes `dv`: keeps Δs and Δz.
    fn direct(&mut self, dv: &[f64], target: f64) -> Look {
        let n = self.bound.len();
        let (z, rp, inv, cross, dv) =
            (&self.z[..n], &self.rp[..n], &self.inv[..n], &self.cross[..n], &dv[..n]);
        let (ds, dz) = (&mut self.ds[..n], &mut self.dz[..n]);
        let mut worst = [0.0_f64; LANES];
        let one = |i: usize, k: usize| {
            let d = rp[i] - self.sign * dv[i];
            let e = (target - cross[i] - z[i] * d) * inv[i] - z[i];
            ds[i] = d;
            dz[i] = e;
            let (r, q) = (-d * inv[i], -e / z[i]);
            let w = if r > q { r } else { q };
            worst[k] = if w > worst[k] { w } else { worst[k] };
        };
        in_lanes(n, one);
        Look { worst: worst.iter().fold(0.0, |a, &b| a.max(b)), product: 0.0 }
    }

    fn advance(&mut self, step: f64) {
        for i in 0..self.s.len() {
            self.s[i] += step * self.ds[i];
            self.z[i] += step * self.dz[i];
        }
    }
}

/// One side of one further row, priced or not.
#[derive(Clone, Copy)]
struct Extra {
    /// Row among the further rows.
    row: usize,
    sign: f64,
    bound: f64,
    range: f64,
    /// 0 = hard.
    price: f64,
    s: f64,
    z: f64,
    xi: f64,
    ds: f64,
    dz: f64,
    dxi: f64,
    cross: f64,
    cross_xi: f64,
}

impl Extra {
    fn new(row: usize, sign: f64, bound: f64, range: f64, price: f64, v: f64, pull: f64) -> Self {
        let slack = sign * (bound - v);
        let least = 0.05 * range;
        let mut s = slack.max(least);
        let mut z = pull * (0.5 * range / s).min(10.0);
        let mut xi = 0.0;
        if price > 0.0 {
            z = z.min(0.5 * price);
            xi = (-slack).max(0.0) + least;
            s = (slack + xi).max(least);
        }
        let rest = Self {
            row,
            sign,
            bound,
            range,
            price,
            s,
            z,
            xi,
            ds: 0.0,
            dz: 0.0,
            dxi: 0.0,
            cross: 0.0,
            cross_xi: 0.0,
        };
        Self { ..rest }
    }

    fn priced(&self) -> bool {
        self.price > 0.0
    }

    /// Primal residual.
    fn residual(&self, v: f64) -> f64 {
        self.sign * (self.bound - v) + self.xi - self.s
    }

    /// Breach complementarity over its multiplier, and the eliminated denominator s + z ξ / y.
    fn breach(&self, target: f64) -> (f64, f64) {
        if self.priced() {
            let y = self.price - self.z;
            ((target - self.xi * y - self.cross_xi) / y, self.s + self.z * self.xi / y)
        } else {
            (0.0, self.s)
        }
    }

    /// (weight, shift) of the reduced system.
    fn reduce(&self, v: f64, target: f64) -> (f64, f64) {
        let (rx, denominator) = self.breach(target);
        let rc = target - self.s * self.z - self.cross;
        (self.z / denominator, self.sign * (rc - self.z * (self.residual(v) + rx)) / denominator)
    }

    fn direct(&mut self, v: f64, dv: f64, target: f64) -> f64 {
        let (rx, denominator) = self.breach(target);
        let (rp, rc) = (self.residual(v), target - self.s * self.z - self.cross);
        let sign = self.sign;
        self.dz = (rc - self.z * (rp + rx) + self.z * sign * dv) / denominator;
        self.dxi = if self.priced() { rx + self.xi * self.dz / (self.price - self.z) } else { 0.0 };
        self.ds = rp - sign * dv + self.dxi;
        let mut worst = (-self.ds / self.s).max(-self.dz / self.z);
        if self.priced() {
            worst = worst.max(-self.dxi / self.xi).max(self.dz / (self.price - self.z));
        }
        worst
    }

    /// Sum of complementarity products after a step.
    fn complementarity(&self, step: f64) -> f64 {
        let mut sum = (self.s + step * self.ds) * (self.z + step * self.dz);
        if self.priced() {
            sum += (self.xi + step * self.dxi) * (self.price - self.z - step * self.dz);
        }
        sum
    }

    fn keep_second_order(&mut self) {
        self.cross = self.ds * self.dz;
        self.cross_xi = -self.dxi * self.dz;
    }

    fn advance(&mut self, step: f64) {
        self.s += step * self.ds;
        self.z += step * self.dz;
        self.xi += step * self.dxi;
        self.cross = 0.0;
        self.cross_xi = 0.0;
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
    let inset =
        |i: usize, sign: f64, bound: f64| bound - sign * (INSET * range[i]).min(0.25 * (hi[i] - lo[i]));
    let mut sides = [
        Side::new(1.0, (0..further).map(|i| inset(i, 1.0, hi[i])).collect()),
        Side::new(-1.0, (0..further).map(|i| inset(i, -1.0, lo[i])).collect()),
    ];

    let mut x = starting_point(problem);
    let pinned = pinned(problem);
    let mut v = vec![0.0; rows];
    operator.values(&x, &mut v);
    let mut base = vec![0.0; size];
    hessian.multiply(&x, &mut base);
    let mean_pull = base.iter().zip(&linear).map(|(a, b)| (a + b).abs()).sum::<f64>() / size as f64 + 1e-6;
    let pull = 0.3 * mean_pull;
    for side in &mut sides {
        side.start(&v, &range, pull);
    }
    let mut extras: Vec<Extra> = vec![];
    for (row, r) in problem.rows.iter().enumerate() {
        let i = further + row;
        for (sign, bound) in [(1.0, hi[i]), (-1.0, lo[i])] {
            if bound.is_finite() {
                let price = r.price.unwrap_or(0.0) * scale;
                extras.push(Extra::new(row, sign, inset(i, sign, bound), range[i], price, v[i], pull));
            }
        }
    }
    let count = 2 * further + extras.iter().map(|e| if e.priced() { 2 } else { 1 }).sum::<usize>();

    let mut factor = Band::zeros(size, half);
    let (mut weight, mut shift, mut dv) = (vec![0.0; rows], vec![0.0; rows], vec![0.0; rows]);
    let mut dx = vec![0.0; size];
    let mut status = Status::IterationLimit;
    let mut iterations = 0;
    // An objective below this (0.001 degrees at every frame, at the largest weight) is zero for the purpose.
    let floor = 1e-6 * size as f64;
    // The objective at x is ½ xᵀPx + qᵀx + this.
    let constant = {
        let quadratic: f64 = (0..size).map(|i| x[i] * (0.5 * base[i] + linear[i])).sum();
        scale * problem.tracking(&x) - quadratic
    };

    loop {
        // Dual residual Px + q + Aᵀ(zu − zl), and the state of convergence.
        hessian.multiply(&x, &mut base);
        let mut value = constant;
        for i in 0..size {
            value += x[i] * (0.5 * base[i] + linear[i]);
            base[i] += linear[i];
        }
        for i in 0..further {
            shift[i] = sides[0].z[i] - sides[1].z[i];
        }
        shift[further..].fill(0.0);
        for e in &extras {
            shift[further + e.row] += e.sign * e.z;
        }
        operator.add_transposed(&shift, &mut base);
        for &i in &pinned {
            base[i] = 0.0;
        }
        let (mut gap, mut primal) = (0.0, 0.0_f64);
        for side in &mut sides {
            let (sum, worst) = side.refresh(&v, &range);
            gap += sum;
            primal = primal.max(worst);
        }
        for e in &extras {
            gap += e.complementarity(0.0);
            primal = primal.max(e.residual(v[further + e.row]).abs() - 1e-10 * e.range);
            if e.priced() {
                value += e.price * (e.sign * (v[further + e.row] - e.bound)).max(0.0);
            }
        }
        let mu = gap / count as f64;
        // Below `noise` the dual residual is rounding of its own terms.
        let (mut dual, mut noise) = (0.0, 0.0);
        for i in 0..size {
            dual += base[i].abs() * range[i];
            noise += range[i] * (hessian.diagonal(i) * x[i].abs() + linear[i].abs());
        }
        if primal <= 0.0 && gap + dual < settings.tolerance * (value + floor) + 1e-15 * noise {
            status = Status::Solved;
            break;
        }
        if !gap.is_finite() || !value.is_finite() {
            status = Status::NumericalTrouble;
            break;
        }
        if iterations == settings.max_iterations {
            break;
        }
        iterations += 1;

        // Predictor.
        weight.fill(0.0);
        shift.fill(0.0);
        for side in &sides {
            side.predict(&mut weight, &mut shift);
        }
        for e in &extras {
            let (w, g) = e.reduce(v[further + e.row], 0.0);
            weight[further + e.row] += w;
            shift[further + e.row] += g;
        }
        factor.copy_from(&hessian);
        operator.add_gram(&weight, &mut factor, half);
        for &i in &pinned {
            factor.isolate(i);
        }
        if !factor.factor() {
            status = Status::NumericalTrouble;
            break;
        }
        newton(&mut operator, &factor, &base, &shift, &pinned, &mut dx, &mut dv);
        let mut look = Look { worst: 1.0, product: 0.0 };
        for side in &mut sides {
            look = look.with(side.look(&dv));
        }
        for e in &mut extras {
            let i = further + e.row;
            look.worst = look.worst.max(e.direct(v[i], dv[i], 0.0));
        }
        let affine = 1.0 / look.worst;
        // On the hard sides s Δz + z Δs = −s z, so their products after the step need no second look.
        let extra_now: f64 = extras.iter().map(|e| e.complementarity(0.0)).sum();
        let extra_then: f64 = extras.iter().map(|e| e.complementarity(affine)).sum();
        let after = (1.0 - affine) * (gap - extra_now) + affine * affine * look.product + extra_then;
        let target = (after / gap).clamp(0.0, 1.0).powi(3) * mu;

        // Corrector.
        shift.fill(0.0);
        for side in &sides {
            side.correct(target, &mut shift);
        }
        for e in &mut extras {
            e.keep_second_order();
            shift[further + e.row] += e.reduce(v[further + e.row], target).1;
        }
        newton(&mut operator, &factor, &base, &shift, &pinned, &mut dx, &mut dv);
        let mut worst = 1.0_f64;
        for side in &mut sides {
            worst = worst.max(side.direct(&dv, target).worst);
        }
        for e in &mut extras {
            let i = further + e.row;
            worst = worst.max(e.direct(v[i], dv[i], target));
        }
        let step = if worst <= 1.0 { 1.0 } else { (1.0 - (10.0 * mu).clamp(0.001, 0.05)) / worst };
        if !(step > 1e-9) {
            status = Status::NumericalTrouble;
            break;
        }
        for (a, d) in x.iter_mut().zip(&dx) {
            *a += step * d;
        }
        for side in &mut sides {
            side.advance(step);
        }
        for e in &mut extras {
            e.advance(step);
        }
        operator.values(&x, &mut v);
    }

    let mut net: Vec<f64> = (0..further).map(|i| (sides[0].z[i] - sides[1].z[i]) / scale).collect();
    net.resize(rows, 0.0);
    for e in &extras {
        net[further + e.row] += e.sign * e.z / scale;
    }
    let duals = Duals {
        travel: net[..operator.first].to_vec(),
        speed: net[operator.first..operator.second].to_vec(),
        acceleration: net[operator.second..further].to_vec(),
        rows: net[further..].to_vec(),
    };
    finish(problem, x, duals, status, iterations)
}

/// `dx` from the factor, and the row changes `dv` that go with it.
fn newton(
    operator: &mut Operator,
    factor: &Band,
    base: &[f64],
    shift: &[f64],
    pinned: &[usize],
    dx: &mut [f64],
    dv: &mut [f64],
) {
    dx.fill(0.0);
    operator.add_transposed(shift, dx);
    for (d, b) in dx.iter_mut().zip(base) {
        *d = -*d - b;
    }
    for &i in pinned {
        dx[i] = 0.0;
    }
    factor.solve(dx);
    operator.slopes(dx, dv);
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
pub(super) fn bounds(problem: &Problem, operator: &Operator) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
    let m = problem.width;
    let (mut lo, mut hi) = (vec![0.0; operator.rows], vec![0.0; operator.rows]);
    for c in 0..m {
        let l = problem.bounded_limits(c);
        let (mut box_, mut first, mut second) =
            ((l.lower, l.upper), (-l.down, l.up), (-l.acceleration, l.acceleration));
        if l.upper - l.lower < LEAST_TRAVEL {
            let far = 10.0 + problem.surroundings[c].before[1].abs() + problem.surroundings[c].after[0].abs();
            box_ = (l.lower - far, l.upper + far);
            first = (-10.0 * far, 10.0 * far);
            second = (-20.0 * far, 20.0 * far);
        }
        for i in (c..operator.first).step_by(m) {
            (lo[i], hi[i]) = box_;
        }
        for i in (operator.first + c..operator.second).step_by(m) {
            (lo[i], hi[i]) = first;
        }
        for i in (operator.second + c..operator.further).step_by(m) {
            (lo[i], hi[i]) = second;
        }
    }
    for (r, row) in problem.rows.iter().enumerate() {
        lo[operator.further + r] = row.lower;
        hi[operator.further + r] = row.upper;
    }
    let mut range: Vec<f64> = lo.iter().zip(&hi).map(|(a, b)| b - a).collect();
    for (r, row) in problem.rows.iter().enumerate() {
        let i = operator.further + r;
        let travel = |c: usize| (problem.limits[c].upper - problem.limits[c].lower).max(1.0);
        let reach: f64 = row.terms.iter().map(|&(_, c, k)| k.abs() * travel(c)).sum::<f64>().max(1e-6);
        // A row between two bounds close together is not measured by their distance alone: slacks
        // would start too small to move.
        range[i] = if range[i].is_finite() { range[i].max(1e-3 * reach) } else { reach };
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

fn finish(
    problem: &Problem,
    mut x: Vec<f64>,
    duals: Duals,
    mut status: Status,
    iterations: usize,
) -> Solution {
    if !x.iter().all(|a| a.is_finite()) {
        x = starting_point(problem);
        status = Status::NumericalTrouble;
    }
    let breach = problem.worst_breach(&x);
    if breach > 1e-9 {
        status = if status == Status::Solved { Status::NumericalTrouble } else { Status::Infeasible };
    }
    let bound = lower_bound(problem, &x, &duals);
    Solution { objective: problem.objective(&x), angles: x, bound, breach, status, iterations, duals }
}

#[cfg(test)]
#[path = "tests/interior.rs"]
mod tests;
