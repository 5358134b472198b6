//! Symmetric positive definite banded matrices: storage, product, Cholesky factor, solves.
//!
//! Row `i` keeps the columns `i - half ..= i` of the lower triangle side by side, so that every
//! inner product of the factorisation runs over contiguous memory. Work is `O(n · half²)` for the
//! factor and `O(n · half)` for a solve (G. Golub and C. Van Loan, *Matrix Computations*, banded
//! Cholesky).

/// A symmetric banded matrix, or its Cholesky factor, by its lower triangle.
#[derive(Clone, Debug, Default)]
pub(super) struct Band {
    size: usize,
    half: usize,
    /// `size × (half + 1)`; the last entry of a row is the diagonal. Entries left of column 0 stay 0.
    data: Vec<f64>,
}

impl Band {
    pub(super) fn zeros(size: usize, half: usize) -> Self {
        Self { size, half, data: vec![0.0; size * (half + 1)] }
    }

    pub(super) fn copy_from(&mut self, other: &Self) {
        debug_assert_eq!(self.data.len(), other.data.len());
        self.data.copy_from_slice(&other.data);
    }

    /// Adds to entry (`i`, `j`) and, by symmetry, (`j`, `i`); `i ≥ j`, within the band.
    #[inline]
    pub(super) fn add(&mut self, i: usize, j: usize, value: f64) {
        debug_assert!(j <= i && i - j <= self.half && i < self.size);
        self.data[i * (self.half + 1) + self.half - (i - j)] += value;
    }

    #[inline]
    pub(super) fn row_mut(&mut self, i: usize) -> &mut [f64] {
        let w = self.half + 1;
        &mut self.data[i * w..(i + 1) * w]
    }

    pub(super) fn diagonal(&self, i: usize) -> f64 {
        self.data[i * (self.half + 1) + self.half]
    }

    /// The rows of a matrix of half bandwidth 2.
    pub(super) fn rows_of_three(&mut self) -> impl Iterator<Item = &mut [f64]> {
        debug_assert_eq!(self.half, 2);
        self.data.chunks_exact_mut(3)
    }

    /// `out = self · x`, with `self` symmetric.
    pub(super) fn multiply(&self, x: &[f64], out: &mut [f64]) {
        let w = self.half + 1;
        out.fill(0.0);
        for i in 0..self.size {
            let first = self.half.saturating_sub(i);
            let row = &self.data[i * w..(i + 1) * w];
            let base = i + first - self.half;
            let mut sum = row[self.half] * x[i];
            for (k, &a) in row[first..self.half].iter().enumerate() {
                sum += a * x[base + k];
                out[base + k] += a * x[i];
            }
            out[i] += sum;
        }
    }

    /// Replaces the matrix by its Cholesky factor. A pivot that rounding has driven to zero or
    /// below is lifted to a tiny positive number (the direction is then damped, not wrong in
    /// sign). Returns false when a pivot is not a number.
    pub(super) fn factor(&mut self) -> bool {
        if self.half == 2 { self.factor_pentadiagonal() } else { self.factor_any() }
    }

    fn factor_pentadiagonal(&mut self) -> bool {
        // Values of the two rows above, carried in registers: [l(i-1,i-2), l(i-1,i-1)], l(i-2,i-2).
        let (mut sub_above, mut inv_above, mut inv_above2) = (0.0, 0.0, 0.0);
        for row in self.data.chunks_exact_mut(3) {
            let l2 = row[0] * inv_above2;
            let l1 = (row[1] - l2 * sub_above) * inv_above;
            let pivot = lifted(row[2] - l2 * l2 - l1 * l1, row[2]);
            if pivot.is_nan() {
                return false;
            }
            let l0 = pivot.sqrt();
            row[0] = l2;
            row[1] = l1;
            row[2] = l0;
            inv_above2 = inv_above;
            inv_above = 1.0 / l0;
            sub_above = l1;
        }
        true
    }

    fn factor_any(&mut self) -> bool {
        let half = self.half;
        let w = half + 1;
        for i in 0..self.size {
            let (above, rest) = self.data.split_at_mut(i * w);
            let row = &mut rest[..w];
            let first = half.saturating_sub(i);
            for k in first..half {
                let j = i + k - half;
                let row_j = &above[j * w..(j + 1) * w];
                // Columns common to both rows: those from i - half, which row j holds from half - k on.
                let sum = dot(&row[first..k], &row_j[half - k + first..half]);
                row[k] = (row[k] - sum) / row_j[half];
            }
            let squares = dot(&row[first..half], &row[first..half]);
            let pivot = lifted(row[half] - squares, row[half]);
            if pivot.is_nan() {
                return false;
            }
            row[half] = pivot.sqrt();
        }
        true
    }

    /// Solves `L Lᵀ x = b` in place; `self` holds the factor.
    pub(super) fn solve(&self, b: &mut [f64]) {
        if self.half == 2 {
            return self.solve_pentadiagonal(b);
        }
        let half = self.half;
        let w = half + 1;
        for i in 0..self.size {
            let first = half.saturating_sub(i);
            let row = &self.data[i * w..(i + 1) * w];
            let base = i + first - half;
            let sum = dot(&row[first..half], &b[base..i]);
            b[i] = (b[i] - sum) / row[half];
        }
        for i in (0..self.size).rev() {
            let first = half.saturating_sub(i);
            let row = &self.data[i * w..(i + 1) * w];
            let base = i + first - half;
            let x = b[i] / row[half];
            b[i] = x;
            for (target, &l) in b[base..i].iter_mut().zip(&row[first..half]) {
                *target -= l * x;
            }
        }
    }
}

impl Band {
    fn solve_pentadiagonal(&self, b: &mut [f64]) {
        let (mut above, mut above2) = (0.0, 0.0);
        for (row, x) in self.data.chunks_exact(3).zip(b.iter_mut()) {
            *x = (*x - row[0] * above2 - row[1] * above) / row[2];
            above2 = above;
            above = *x;
        }
        // Carried upwards: what the rows below take from the next two entries.
        let (mut next, mut next2) = (0.0, 0.0);
        for (row, x) in self.data.chunks_exact(3).zip(b.iter_mut()).rev() {
            *x = (*x - next) / row[2];
            next = next2 + row[1] * *x;
            next2 = row[0] * *x;
        }
    }
}

/// A usable pivot: at least a rounding-sized share of the diagonal entry it came from.
#[inline]
fn lifted(pivot: f64, diagonal: f64) -> f64 {
    let floor = 1e-14 * diagonal.abs() + f64::MIN_POSITIVE;
    if pivot < floor { floor } else { pivot }
}

/// Inner product with four running sums, which lets the compiler use vector registers.
#[inline]
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let (a4, b4) = (a.chunks_exact(4), b.chunks_exact(4));
    let tail: f64 = a4.remainder().iter().zip(b4.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in a4.zip(b4) {
        for k in 0..4 {
            sums[k] += x[k] * y[k];
        }
    }
    (sums[0] + sums[1]) + (sums[2] + sums[3]) + tail
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A plain dense elimination as judge.
    fn dense_solve(mut a: Vec<Vec<f64>>, mut b: Vec<f64>) -> Vec<f64> {
        let n = b.len();
        for k in 0..n {
            for i in k + 1..n {
                let f = a[i][k] / a[k][k];
                for j in k..n {
                    let pivot = a[k][j];
                    a[i][j] -= f * pivot;
                }
                b[i] -= f * b[k];
            }
        }
        for i in (0..n).rev() {
            for j in i + 1..n {
                b[i] -= a[i][j] * b[j];
            }
            b[i] /= a[i][i];
        }
        b
    }

    #[test]
    fn solves_what_a_dense_elimination_solves() {
        for half in [0, 1, 2, 3, 6, 10] {
            for size in [1, 2, 3, 7, 30] {
                let mut band = Band::zeros(size, half);
                let mut dense = vec![vec![0.0; size]; size];
                let mut state = 12345_u64 + (half * 100 + size) as u64;
                let mut next = || {
                    state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                    (state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5
                };
                for i in 0..size {
                    for j in i.saturating_sub(half)..=i {
                        let v = if i == j { 2.0 * half as f64 + 2.0 } else { next() };
                        band.add(i, j, v);
                        dense[i][j] = v;
                        dense[j][i] = v;
                    }
                }
                let b: Vec<f64> = (0..size).map(|_| next()).collect();
                let expected = dense_solve(dense.clone(), b.clone());
                let mut product = vec![0.0; size];
                band.multiply(&expected, &mut product);
                for (p, q) in product.iter().zip(&b) {
                    assert!((p - q).abs() < 1e-12, "product, half {half}, size {size}");
                }
                assert!(band.factor());
                let mut x = b;
                band.solve(&mut x);
                for (p, q) in x.iter().zip(&expected) {
                    assert!((p - q).abs() < 1e-12, "solve, half {half}, size {size}");
                }
            }
        }
    }
}
