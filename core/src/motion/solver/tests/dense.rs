//! The rows of a problem as a dense matrix, written down from the definitions of travel, first and second differences
//! and rows alone.

use super::super::{Duals, Problem};

/// One row: coefficients over the free angles, what the known frames add, its bounds and its price.
pub(super) struct DenseRow {
    pub(super) k: Vec<f64>,
    pub(super) known: f64,
    pub(super) lower: f64,
    pub(super) upper: f64,
    pub(super) price: Option<f64>,
}

impl DenseRow {
    pub(super) fn slope(&self, x: &[f64]) -> f64 {
        self.k.iter().zip(x).map(|(k, x)| k * x).sum()
    }

    pub(super) fn value(&self, x: &[f64]) -> f64 {
        self.slope(x) + self.known
    }
}

/// `pattern` (now, a frame ago, two frames ago …) laid on frame `t` of servo `c`: known frames are -2, -1, n, n + 1.
pub(super) fn difference(p: &Problem, pattern: &[f64], t: isize, c: usize) -> DenseRow {
    let mut row =
        DenseRow { k: vec![0.0; p.frames * p.width], known: 0.0, lower: 0.0, upper: 0.0, price: None };
    for (ago, w) in pattern.iter().enumerate() {
        let f = t - ago as isize;
        if f < 0 {
            row.known += w * p.surroundings[c].before[(f + 2) as usize];
        } else if f < p.frames as isize {
            row.k[f as usize * p.width + c] += w;
        } else {
            row.known += w * p.surroundings[c].after[f as usize - p.frames];
        }
    }
    row
}

/// Travel frame by frame, then the moves into the frames 0 to n, then the bends around the frames -1 to n, then the
/// further rows.
pub(super) fn rows(p: &Problem) -> Vec<DenseRow> {
    let n = p.frames as isize;
    let mut out = vec![];
    for (pattern, last) in [(&[1.0][..], n), (&[1.0, -1.0], n + 1), (&[1.0, -2.0, 1.0], n + 2)] {
        for t in 0..last {
            for c in 0..p.width {
                let l = p.bounded_limits(c);
                let (lower, upper) = match pattern.len() {
                    1 => (l.lower, l.upper),
                    2 => (-l.down, l.up),
                    _ => (-l.acceleration, l.acceleration),
                };
                out.push(DenseRow { lower, upper, ..difference(p, pattern, t, c) });
            }
        }
    }
    for row in &p.rows {
        let mut k = vec![0.0; p.frames * p.width];
        for &(t, c, v) in &row.terms {
            k[t * p.width + c] += v;
        }
        out.push(DenseRow { k, known: 0.0, lower: row.lower, upper: row.upper, price: row.price });
    }
    out
}

/// Gradient of the objective without the prices.
pub(super) fn gradient(p: &Problem, x: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; x.len()];
    for i in 0..x.len() {
        out[i] += 2.0 * p.weight[i] * (x[i] - p.wanted[i]);
    }
    for cross in &p.cross {
        for (t, w) in cross.weight.iter().enumerate() {
            let (a, b) = (t * p.width + cross.servos.0, t * p.width + cross.servos.1);
            out[a] += 2.0 * w * (x[b] - p.wanted[b]);
            out[b] += 2.0 * w * (x[a] - p.wanted[a]);
        }
    }
    for (weight, e) in squares(p) {
        let v = e.value(x);
        out.iter_mut().zip(&e.k).for_each(|(o, k)| *o += 2.0 * weight * v * k);
    }
    out
}

/// Weights and differences whose squares are smoothness and jerk. The second differences are 0 beyond the known frames.
pub(super) fn squares(p: &Problem) -> Vec<(f64, DenseRow)> {
    let last = p.frames as isize + 1;
    let mut out = vec![];
    for c in 0..p.width {
        for t in 0..=last {
            out.push((p.smooth[c], difference(p, &[1.0, -2.0, 1.0], t, c)));
            if t > 0 {
                out.push((p.jerk[c], difference(p, &[1.0, -3.0, 3.0, -1.0], t, c)));
            }
        }
        for t in [0, last] {
            out.push((p.jerk[c], difference(p, &[1.0, -2.0, 1.0], t, c)));
        }
    }
    out
}

/// All multipliers in the order of [`rows`].
pub(super) fn multipliers(duals: &Duals) -> Vec<f64> {
    [&duals.travel[..], &duals.speed, &duals.acceleration, &duals.rows].concat()
}
