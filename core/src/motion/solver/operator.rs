//! The constraint matrix, never formed: travel, first and second differences, further rows.
//!
//! With `m` servos, free variable `i = t·m + c` sits at position `i + 2m` of the *extended* vector,
//! which starts and ends with two known frames. Then, flat over all servos at once,
//!
//! ```text
//! first difference   k = 0 .. (n+1)m :  e[k+2m] − e[k+m]
//! second difference  k = 0 .. (n+2)m :  e[k+2m] − 2 e[k+m] + e[k]
//! ```

use super::band::Band;
use super::problem::Problem;

/// Rows of the constraint matrix in one order: travel, first differences, second differences, rows.
#[derive(Debug)]
pub(super) struct Operator {
    pub(super) variables: usize,
    width: usize,
    /// First row of the first differences, of the second differences, of the further rows.
    pub(super) first: usize,
    pub(super) second: usize,
    pub(super) further: usize,
    pub(super) rows: usize,
    /// Compressed terms of the further rows: row `r` owns `starts[r] .. starts[r + 1]`.
    starts: Vec<usize>,
    columns: Vec<usize>,
    coefficients: Vec<f64>,
    /// Extended vector, reused.
    extended: Vec<f64>,
    known_before: Vec<f64>,
    known_after: Vec<f64>,
}

impl Operator {
    pub(super) fn new(problem: &Problem) -> Self {
        let (n, m) = (problem.frames, problem.width);
        let variables = n * m;
        let first = variables;
        let second = first + (n + 1) * m;
        let further = second + (n + 2) * m;
        let mut starts = vec![0];
        let (mut columns, mut coefficients) = (Vec::new(), Vec::new());
        for row in &problem.rows {
            for &(t, c, k) in &row.terms {
                columns.push(t * m + c);
                coefficients.push(k);
            }
            starts.push(columns.len());
        }
        let (mut known_before, mut known_after) = (vec![0.0; 2 * m], vec![0.0; 2 * m]);
        for (c, around) in problem.surroundings.iter().enumerate() {
            for k in 0..2 {
                known_before[k * m + c] = around.before[k];
                known_after[k * m + c] = around.after[k];
            }
        }
        Self {
            variables,
            width: m,
            first,
            second,
            further,
            rows: further + problem.rows.len(),
            starts,
            columns,
            coefficients,
            extended: vec![0.0; variables + 4 * m],
            known_before,
            known_after,
        }
    }

    /// Values of all rows at `x`, known frames included.
    pub(super) fn values(&mut self, x: &[f64], out: &mut [f64]) {
        let m = self.width;
        self.extended[..2 * m].copy_from_slice(&self.known_before);
        self.extended[self.variables + 2 * m..].copy_from_slice(&self.known_after);
        self.apply(x, out);
    }

    /// Change of all rows along the direction `x` (known frames do not move).
    pub(super) fn slopes(&mut self, x: &[f64], out: &mut [f64]) {
        let m = self.width;
        self.extended[..2 * m].fill(0.0);
        self.extended[self.variables + 2 * m..].fill(0.0);
        self.apply(x, out);
    }

    fn apply(&mut self, x: &[f64], out: &mut [f64]) {
        let m = self.width;
        self.extended[2 * m..2 * m + self.variables].copy_from_slice(x);
        let e = &self.extended;
        out[..self.first].copy_from_slice(x);
        for (k, o) in out[self.first..self.second].iter_mut().enumerate() {
            *o = e[k + 2 * m] - e[k + m];
        }
        for (k, o) in out[self.second..self.further].iter_mut().enumerate() {
            *o = (e[k + 2 * m] - e[k + m]) - (e[k + m] - e[k]);
        }
        for (r, o) in out[self.further..].iter_mut().enumerate() {
            let span = self.starts[r]..self.starts[r + 1];
            *o = self.columns[span.clone()]
                .iter()
                .zip(&self.coefficients[span])
                .map(|(&i, &k)| k * x[i])
                .sum();
        }
    }

    /// `out += Aᵀ y`.
    pub(super) fn add_transposed(&self, y: &[f64], out: &mut [f64]) {
        let m = self.width;
        let (d1, d2) = (&y[self.first..self.second], &y[self.second..self.further]);
        for (i, o) in out.iter_mut().enumerate() {
            *o += y[i] + (d1[i] - d1[i + m]) + (d2[i] - 2.0 * d2[i + m] + d2[i + 2 * m]);
        }
        for (r, &v) in y[self.further..].iter().enumerate() {
            for k in self.starts[r]..self.starts[r + 1] {
                out[self.columns[k]] += self.coefficients[k] * v;
            }
        }
    }

    /// `band += Aᵀ diag(d) A`. What lands right of the last column is never read.
    pub(super) fn add_gram(&self, d: &[f64], band: &mut Band, half: usize) {
        let m = self.width;
        let (d1, d2) = (&d[self.first..self.second], &d[self.second..self.further]);
        if m == 1 && half == 2 {
            // One servo: the same sums, laid out so that nothing is left to look up.
            let (d, e, f) = (&d[..self.variables], &d1[..self.variables + 1], &d2[..self.variables + 2]);
            for (i, row) in band.rows_of_three().enumerate() {
                row[0] += d[i] + e[i] + e[i + 1] + f[i] + 4.0 * f[i + 1] + f[i + 2];
                row[1] -= e[i + 1] + 2.0 * (f[i + 1] + f[i + 2]);
                row[2] += f[i + 2];
            }
        } else {
            for i in 0..self.variables {
                let row = band.row_mut(i);
                row[0] += d[i] + d1[i] + d1[i + m] + d2[i] + 4.0 * d2[i + m] + d2[i + 2 * m];
                row[m] -= d1[i + m] + 2.0 * (d2[i + m] + d2[i + 2 * m]);
                row[2 * m] += d2[i + 2 * m];
            }
        }
        for (r, &v) in d[self.further..].iter().enumerate() {
            let span = self.starts[r]..self.starts[r + 1];
            for a in span.clone() {
                let scaled = v * self.coefficients[a];
                for b in span.start..=a {
                    let (i, j) = (self.columns[a], self.columns[b]);
                    // The same variable twice in one row: both cross products land on its diagonal.
                    let twice = if i == j && a != b { 2.0 } else { 1.0 };
                    band.add(i.max(j), i.min(j), twice * scaled * self.coefficients[b]);
                }
            }
        }
    }
}
