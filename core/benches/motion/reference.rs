//! Tracking problems put to Clarabel, an independent interior-point solver.

use super::Problem;
use clarabel::algebra::CscMatrix;
use clarabel::solver::{
    DefaultSettingsBuilder, DefaultSolver, IPSolver, NonnegativeConeT, SolverStatus, SupportedConeT,
};

/// Minimise ½xᵀPx + qᵀx + constant subject to Ax ≤ b.
pub struct General {
    p: CscMatrix<f64>,
    q: Vec<f64>,
    a: CscMatrix<f64>,
    b: Vec<f64>,
    constant: f64,
}

/// Any problem as a general sparse QP, written from the definition in [`Problem`]: a list of
/// squared affine expressions and a list of affine inequalities, over the free angles and one
/// breach variable a priced side. Returns the optimal objective by Clarabel.
pub fn general(problem: &Problem) -> General {
    let (n, m) = (problem.frames, problem.width);
    let priced: Vec<usize> = (0..problem.rows.len()).filter(|&r| problem.rows[r].price.is_some()).collect();
    let size = n * m + 2 * priced.len();
    // An affine expression: (terms, constant).
    type Affine = (Vec<(usize, f64)>, f64);
    let at = |t: isize, c: usize| -> Affine {
        let around = &problem.surroundings[c];
        if t < 0 {
            (vec![], around.before[(t + 2) as usize])
        } else if (t as usize) < n {
            (vec![(t as usize * m + c, 1.0)], 0.0)
        } else {
            (vec![], around.after[t as usize - n])
        }
    };
    let sum = |parts: Vec<(f64, Affine)>| -> Affine {
        let mut out: Affine = (vec![], 0.0);
        for (k, (terms, constant)) in parts {
            out.0.extend(terms.into_iter().map(|(i, v)| (i, k * v)));
            out.1 += k * constant;
        }
        out
    };
    let mut quadratic = vec![std::collections::BTreeMap::<usize, f64>::new(); size];
    let mut q = vec![0.0; size];
    let mut constant = 0.0;
    let mut square = |w: f64, e: &Affine, f: &Affine| {
        for &(i, a) in &e.0 {
            for &(j, b) in &f.0 {
                let (lo, hi) = (i.min(j), i.max(j));
                // The matrix of ½xᵀPx: 2w off its diagonal for each ordered pair, stored once.
                *quadratic[hi].entry(lo).or_default() += if lo == hi { 2.0 * w * a * b } else { w * a * b };
            }
            q[i] += w * a * f.1;
        }
        for &(j, b) in &f.0 {
            q[j] += w * b * e.1;
        }
        constant += w * e.1 * f.1;
    };
    let error =
        |t: usize, c: usize| sum(vec![(1.0, at(t as isize, c)), (-1.0, (vec![], problem.wanted[t * m + c]))]);
    for t in 0..n {
        for c in 0..m {
            square(problem.weight[t * m + c], &error(t, c), &error(t, c));
        }
        for x in &problem.cross {
            square(2.0 * x.weight[t], &error(t, x.servos.0), &error(t, x.servos.1));
        }
    }
    let mut inequalities: Vec<Affine> = vec![]; // each ≤ 0
    for c in 0..m {
        let l = &problem.limits[c];
        for t in 0..n as isize + 2 {
            let d = sum(vec![(1.0, at(t, c)), (-1.0, at(t - 1, c))]);
            let dd = sum(vec![(1.0, at(t, c)), (-2.0, at(t - 1, c)), (1.0, at(t - 2, c))]);
            if problem.smooth[c] > 0.0 {
                square(problem.smooth[c], &dd, &dd);
            }
            if problem.jerk[c] > 0.0 && (t == 0 || t == n as isize + 1) {
                square(problem.jerk[c], &dd, &dd);
            }
            if problem.jerk[c] > 0.0 && t >= 1 {
                let j = sum(vec![
                    (1.0, at(t, c)),
                    (-3.0, at(t - 1, c)),
                    (3.0, at(t - 2, c)),
                    (-1.0, at(t - 3, c)),
                ]);
                square(problem.jerk[c], &j, &j);
            }
            inequalities.push((dd.0.clone(), dd.1 - l.acceleration));
            inequalities.push((dd.0.iter().map(|&(i, v)| (i, -v)).collect(), -dd.1 - l.acceleration));
            if t <= n as isize {
                inequalities.push((d.0.clone(), d.1 - l.up));
                inequalities.push((d.0.iter().map(|&(i, v)| (i, -v)).collect(), -d.1 - l.down));
            }
            if t < n as isize {
                let i = t as usize * m + c;
                inequalities.push((vec![(i, 1.0)], -l.upper));
                inequalities.push((vec![(i, -1.0)], l.lower));
            }
        }
    }
    for (r, row) in problem.rows.iter().enumerate() {
        let slack = priced.iter().position(|&p| p == r).map(|k| n * m + 2 * k);
        for (side, sign, bound) in [(0, 1.0, row.upper), (1, -1.0, row.lower)] {
            if !bound.is_finite() {
                continue;
            }
            let mut terms: Vec<(usize, f64)> =
                row.terms.iter().map(|&(t, c, k)| (t * m + c, sign * k)).collect();
            if let Some(s) = slack {
                terms.push((s + side, -1.0));
            }
            inequalities.push((terms, -sign * bound));
        }
        if let (Some(s), Some(price)) = (slack, row.price) {
            for side in 0..2 {
                inequalities.push((vec![(s + side, -1.0)], 0.0));
                q[s + side] += price;
            }
        }
    }
    let inequalities: Vec<Affine> =
        inequalities.into_iter().filter(|i| !i.0.is_empty() && i.1.is_finite()).collect();
    let csc = |rows: usize, columns: Vec<std::collections::BTreeMap<usize, f64>>| {
        let mut pointers = vec![0];
        let (mut index, mut values) = (vec![], vec![]);
        for column in &columns {
            index.extend(column.keys());
            values.extend(column.values());
            pointers.push(index.len());
        }
        CscMatrix::new(rows, columns.len(), pointers, index, values)
    };
    let mut a = vec![std::collections::BTreeMap::<usize, f64>::new(); size];
    let mut b = vec![];
    for (r, (terms, c)) in inequalities.iter().enumerate() {
        for &(i, v) in terms {
            *a[i].entry(r).or_default() += v;
        }
        b.push(-c);
    }
    let rows = b.len();
    General { p: csc(size, quadratic), q, a: csc(rows, a), b, constant }
}

impl General {
    /// Optimal objective by Clarabel, set up and solved; `None` where it does not claim success.
    pub fn solve(&self) -> Option<f64> {
        let settings = DefaultSettingsBuilder::default().verbose(false).build().ok()?;
        let cones: [SupportedConeT<f64>; 1] = [NonnegativeConeT(self.b.len())];
        let mut solver = DefaultSolver::new(&self.p, &self.q, &self.a, &self.b, &cones, settings).ok()?;
        solver.solve();
        (solver.solution.status == SolverStatus::Solved).then_some(solver.solution.obj_val + self.constant)
    }
}
