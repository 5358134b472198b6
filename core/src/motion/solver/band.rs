//! Symmetric positive definite banded matrices: storage, product, Cholesky factor, solves.
//!
//! Row `i` keeps the columns `i ..= i + half` of the upper triangle side by side. The factor `UᵀU` is
//! made a few rows at a time: what these rows take from all rows below is subtracted in one go, so that
//! every entry is loaded and stored once for [`PANEL`] products, in loops over contiguous memory that the
//! compiler turns into vector instructions. Work is `O(n · half²)` for the factor and `O(n · half)` for
//! a solve (G. Golub and C. Van Loan, *Matrix Computations*, banded Cholesky, block algorithms).

/// Rows of the factor made together.
const PANEL: usize = 4;

/// A symmetric banded matrix, or its Cholesky factor, by its upper triangle.
#[derive(Clone, Debug, Default)]
pub(super) struct Band {
    size: usize,
    half: usize,
    /// Entries kept of each row: the diagonal first, `half` more, and for wide bands some zeros, so that
    /// the rows of a panel can be read to the same column.
    width: usize,
    /// `size × width`. Entries right of the last column stay 0, but for half bandwidth 2, where they
    /// are never read.
    data: Vec<f64>,
    /// Diagonal before the factor, by which pivots are judged.
    before: Vec<f64>,
}

impl Band {
    pub(super) fn zeros(size: usize, half: usize) -> Self {
        let width = if half == 2 { 3 } else { half + PANEL };
        Self { size, half, width, data: vec![0.0; size * width], before: vec![] }
    }

    pub(super) fn copy_from(&mut self, other: &Self) {
        debug_assert_eq!(self.data.len(), other.data.len());
        self.data.copy_from_slice(&other.data);
    }

    /// Adds to entry (`i`, `j`) and, by symmetry, (`j`, `i`); `i ≥ j`, within the band.
    #[inline]
    pub(super) fn add(&mut self, i: usize, j: usize, value: f64) {
        debug_assert!(j <= i && i - j <= self.half && i < self.size);
        self.data[j * self.width + (i - j)] += value;
    }

    /// Row `i` from its diagonal on.
    #[inline]
    pub(super) fn row_mut(&mut self, i: usize) -> &mut [f64] {
        &mut self.data[i * self.width..(i + 1) * self.width]
    }

    pub(super) fn diagonal(&self, i: usize) -> f64 {
        self.data[i * self.width]
    }

    /// Turns row and column `i` into those of the identity.
    pub(super) fn isolate(&mut self, i: usize) {
        let w = self.width;
        self.row_mut(i).fill(0.0);
        self.data[i * w] = 1.0;
        for j in i.saturating_sub(self.half)..i {
            self.data[j * w + (i - j)] = 0.0;
        }
    }

    /// The rows of a matrix of half bandwidth 2.
    pub(super) fn rows_of_three(&mut self) -> impl Iterator<Item = &mut [f64]> {
        debug_assert_eq!(self.half, 2);
        self.data.chunks_exact_mut(3)
    }

    /// Entries of row `i` right of the diagonal that have a column.
    fn right_of(&self, i: usize) -> &[f64] {
        let count = self.half.min(self.size - 1 - i);
        &self.data[i * self.width + 1..i * self.width + 1 + count]
    }

    /// `out = self · x`, with `self` symmetric.
    pub(super) fn multiply(&self, x: &[f64], out: &mut [f64]) {
        out.fill(0.0);
        for i in 0..self.size {
            let row = self.right_of(i);
            let ahead = i + 1..i + 1 + row.len();
            out[i] += self.diagonal(i) * x[i] + dot(row, &x[ahead.clone()]);
            for (o, &a) in out[ahead].iter_mut().zip(row) {
                *o += a * x[i];
            }
        }
    }

    /// Replaces the matrix by its Cholesky factor. A pivot that rounding has driven to zero or
    /// below is lifted to a tiny positive number (the direction is then damped, not wrong in
    /// sign). Returns false when a pivot is not a number.
    pub(super) fn factor(&mut self) -> bool {
        if self.half == 2 { self.factor_pentadiagonal() } else { self.factor_any() }
    }

    fn factor_pentadiagonal(&mut self) -> bool {
        // Of the rows above, carried in registers: what they have in this column and the next.
        let (mut above, mut above_next, mut above2) = (0.0, 0.0, 0.0);
        for row in self.data.chunks_exact_mut(3) {
            let pivot = lifted(row[0] - above2 * above2 - above * above, row[0]);
            if pivot.is_nan() {
                return false;
            }
            let root = pivot.sqrt();
            let inverse = 1.0 / root;
            let next = (row[1] - above * above_next) * inverse;
            let next2 = row[2] * inverse;
            (row[0], row[1], row[2]) = (root, next, next2);
            (above2, above, above_next) = (above_next, next, next2);
        }
        true
    }

    fn factor_any(&mut self) -> bool {
        let (w, half) = (self.width, self.half);
        self.before.clear();
        self.before.extend(self.data.iter().step_by(w));
        let mut top = 0;
        while top < self.size {
            let rows = PANEL.min(self.size - top);
            let (panel, below) = self.data[top * w..].split_at_mut(rows * w);
            if !factor_panel(panel, w, half, &self.before[top..top + rows]) {
                return false;
            }
            if rows == PANEL {
                // Row k below (the first is 0) starts at column PANEL + k of the panel.
                for (k, row) in below.chunks_exact_mut(w).take(half).enumerate() {
                    subtract(panel, w, k, &mut row[..half - k]);
                }
            }
            top += rows;
        }
        true
    }

    /// Solves `UᵀU x = b` in place; `self` holds the factor.
    pub(super) fn solve(&self, b: &mut [f64]) {
        if self.half == 2 {
            return self.solve_pentadiagonal(b);
        }
        for i in 0..self.size {
            let row = self.right_of(i);
            let x = b[i] / self.diagonal(i);
            b[i] = x;
            for (target, &u) in b[i + 1..i + 1 + row.len()].iter_mut().zip(row) {
                *target -= u * x;
            }
        }
        for i in (0..self.size).rev() {
            let row = self.right_of(i);
            b[i] = (b[i] - dot(row, &b[i + 1..i + 1 + row.len()])) / self.diagonal(i);
        }
    }

    fn solve_pentadiagonal(&self, b: &mut [f64]) {
        // Carried downwards: what the rows above take from this entry and the next.
        let (mut take, mut take_next) = (0.0, 0.0);
        for (row, x) in self.data.chunks_exact(3).zip(b.iter_mut()) {
            *x = (*x - take) / row[0];
            take = take_next + row[1] * *x;
            take_next = row[2] * *x;
        }
        let (mut below, mut below2) = (0.0, 0.0);
        for (row, x) in self.data.chunks_exact(3).zip(b.iter_mut()).rev() {
            *x = (*x - row[1] * below - row[2] * below2) / row[0];
            (below2, below) = (below, *x);
        }
    }
}

/// Factors the rows of one panel, from which all rows above have been subtracted.
fn factor_panel(panel: &mut [f64], w: usize, half: usize, before: &[f64]) -> bool {
    for r in 0..panel.len() / w {
        let (above, own) = panel.split_at_mut(r * w);
        let own = &mut own[..=half];
        for (s, row) in above.chunks_exact(w).enumerate() {
            // Row s reaches `half` columns beyond its own.
            let skip = r - s;
            if skip > half {
                continue;
            }
            let u = row[skip];
            for (a, &b) in own.iter_mut().zip(&row[skip..=half]) {
                *a -= u * b;
            }
        }
        let pivot = lifted(own[0], before[r]);
        if pivot.is_nan() {
            return false;
        }
        let root = pivot.sqrt();
        let inverse = 1.0 / root;
        own[0] = root;
        for a in &mut own[1..] {
            *a *= inverse;
        }
    }
    true
}

/// Subtracts from row `k` below a whole panel what the panel's rows take from it.
#[inline]
fn subtract(panel: &[f64], w: usize, k: usize, row: &mut [f64]) {
    let n = row.len();
    let from = |r: usize| &panel[r * w + PANEL - r + k..][..n];
    let (a, b, c, d) = (from(0), from(1), from(2), from(3));
    let (p, q, s, t) = (a[0], b[0], c[0], d[0]);
    for j in 0..n {
        row[j] -= (p * a[j] + q * b[j]) + (s * c[j] + t * d[j]);
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

    /// A random matrix with a diagonal that makes it positive definite, and the same one dense.
    fn random(size: usize, half: usize, seed: u64) -> (Band, Vec<Vec<f64>>) {
        let (mut band, mut dense) = (Band::zeros(size, half), vec![vec![0.0; size]; size]);
        let mut state = seed;
        for i in 0..size {
            for j in i.saturating_sub(half)..=i {
                state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                let v = if i == j {
                    2.0 * half as f64 + 1.0
                } else {
                    (state >> 40) as f64 / f64::from(1 << 23) - 1.0
                };
                band.add(i, j, v);
                (dense[i][j], dense[j][i]) = (v, v);
            }
        }
        (band, dense)
    }

    /// UᵀU is the matrix again, entry by entry; rows of every count behind the last whole panel.
    #[test]
    fn the_factor_multiplied_back_is_the_matrix() {
        for half in [0, 1, 2, 3, 4, 5, 8] {
            for size in 1..=14 {
                let (mut band, dense) = random(size, half, 5 + (half * 20 + size) as u64);
                assert!(band.factor());
                let u = |i: usize, j: usize| {
                    if j < i || j > i + half { 0.0 } else { band.data[i * band.width + j - i] }
                };
                for i in 0..size {
                    assert!(band.diagonal(i) > 0.0);
                    for j in 0..size {
                        let sum: f64 = (0..size).map(|k| u(k, i) * u(k, j)).sum();
                        assert!((sum - dense[i][j]).abs() < 1e-12, "half {half}, size {size}: ({i}, {j})");
                    }
                }
            }
        }
    }

    /// What is said to stay 0 stays so: a panel reads it.
    #[test]
    fn entries_right_of_the_last_column_stay_0() {
        for half in [1, 3, 6] {
            let (mut band, _) = random(10, half, 9);
            assert!(band.factor());
            for i in 0..10 {
                let kept = half.min(9 - i) + 1;
                assert!(band.row_mut(i)[kept..].iter().all(|&a| a == 0.0), "half {half}, row {i}");
            }
        }
    }

    #[test]
    fn an_isolated_row_is_that_of_the_identity_and_the_rest_stays() {
        for half in [1, 2, 3, 5] {
            for at in 0..8 {
                let (mut band, dense) = random(8, half, 77);
                let copied = {
                    let mut copy = Band::zeros(8, half);
                    copy.copy_from(&band);
                    copy
                };
                band.isolate(at);
                let (mut unit, mut column, mut whole) = (vec![0.0; 8], vec![0.0; 8], vec![0.0; 8]);
                for j in 0..8 {
                    unit.fill(0.0);
                    unit[j] = 1.0;
                    band.multiply(&unit, &mut column);
                    copied.multiply(&unit, &mut whole);
                    for i in 0..8 {
                        assert_eq!(whole[i], dense[i][j]);
                        let expected = match (i == at, j == at) {
                            (true, true) => 1.0,
                            (false, false) => dense[i][j],
                            _ => 0.0,
                        };
                        assert_eq!(column[i], expected, "half {half}, isolated {at}: ({i}, {j})");
                    }
                }
            }
        }
    }

    /// Rounding may leave a pivot at 0 or below: it becomes a hundred-billionth of a thousandth of its diagonal.
    #[test]
    fn a_pivot_that_is_lost_is_lifted_and_one_that_is_no_number_is_told() {
        for half in [1, 2] {
            let mut band = Band::zeros(2, half);
            for (i, j) in [(0, 0), (1, 0), (1, 1)] {
                band.add(i, j, 4.0);
            }
            assert!(band.factor());
            assert_eq!((band.diagonal(0), band.diagonal(1)), (2.0, 4e-14_f64.sqrt()), "half {half}");
            let mut nothing = Band::zeros(1, half);
            assert!(nothing.factor());
            assert_eq!(nothing.diagonal(0), f64::MIN_POSITIVE.sqrt());
            let mut negative = Band::zeros(1, half);
            negative.add(0, 0, -1.0);
            assert!(negative.factor() && negative.diagonal(0) == 1e-14_f64.sqrt());
            let mut lost = Band::zeros(3, half);
            (0..3).for_each(|i| lost.add(i, i, if i == 1 { f64::NAN } else { 1.0 }));
            assert!(!lost.factor());
        }
    }

    #[test]
    fn an_inner_product_leaves_nothing_out() {
        for n in 0..10 {
            let (a, b): (Vec<f64>, Vec<f64>) =
                (0..n).map(|k| (f64::from(k) + 1.0, f64::from(1 << k))).unzip();
            let expected: f64 = (0..n).map(|k| (f64::from(k) + 1.0) * f64::from(1 << k)).sum();
            assert_eq!(dot(&a, &b), expected);
        }
    }
}
