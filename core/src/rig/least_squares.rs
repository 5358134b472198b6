//! Least squares: unknowns for which a sum of squared misses is least.

/// How far the search is taken: enough for the last digits of anything that comes near its optimum at all.
pub(super) const ROUNDS: usize = 200;

/// Unknowns at which the squares of the misses sum to the least near `start`: Gauss-Newton steps, damped where they
/// overshoot (K. Levenberg 1944, D. Marquardt 1963). `steps` are what the differences that stand for derivatives are
/// taken over. Where the misses do not tell one unknown from another the search ends where it is.
pub(super) fn least_squares<const N: usize>(
    start: [f64; N],
    steps: [f64; N],
    rounds: usize,
    misses: impl Fn([f64; N]) -> Vec<f64>,
) -> [f64; N] {
    let mut at = start;
    let mut now = misses(at);
    let mut damping = 1e-3;
    for _ in 0..rounds {
        let columns: [Vec<f64>; N] = std::array::from_fn(|k| {
            let (mut up, mut down) = (at, at);
            up[k] += steps[k];
            down[k] -= steps[k];
            misses(up).iter().zip(misses(down)).map(|(a, b)| (a - b) / (2.0 * steps[k])).collect()
        });
        let mut normal = vec![vec![0.0; N + 1]; N];
        for (r, row) in normal.iter_mut().enumerate() {
            for (c, column) in columns.iter().enumerate() {
                row[c] = dot(&columns[r], column);
            }
            row[r] *= 1.0 + damping;
            row[N] = -dot(&columns[r], &now);
        }
        let Some(step) = solve(normal) else { break };
        let next = std::array::from_fn(|k| at[k] + step[k]);
        let then = misses(next);
        // What is no number counts as more than any.
        if dot(&then, &then).total_cmp(&dot(&now, &now)).is_lt() {
            (at, now, damping) = (next, then, damping * 0.3);
        } else {
            damping *= 4.0;
        }
    }
    at
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Elimination (Gauss and Jordan) with row exchange; each row holds its right side last. None where an unknown is not
/// told apart.
pub(super) fn solve(mut m: Vec<Vec<f64>>) -> Option<Vec<f64>> {
    let n = m.len();
    for k in 0..n {
        let pivot = (k..n).max_by(|a, b| m[*a][k].abs().total_cmp(&m[*b][k].abs()))?;
        m.swap(k, pivot);
        let own = m[k].clone();
        for (_, row) in m.iter_mut().enumerate().filter(|(r, _)| *r != k) {
            let factor = row[k] / own[k];
            row.iter_mut().zip(&own).for_each(|(to, from)| *to -= factor * from);
        }
    }
    let x: Vec<f64> = m.iter().enumerate().map(|(k, row)| row[n] / row[k]).collect();
    // A pivot of 0 leaves what is no number.
    x.iter().all(|v| v.is_finite()).then_some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near<const N: usize>(found: [f64; N], expected: [f64; N], within: f64) {
        for (a, b) in found.iter().zip(expected) {
            assert!((a - b).abs() < within, "{found:?}, not {expected:?}");
        }
    }

    #[test]
    fn equations_are_solved_by_hand() {
        // The first pivot is 0, so rows change places: y + 2z = 8, 2x + y = 4, x + z = 4 has (1, 2, 3).
        let rows = vec![vec![0.0, 1.0, 2.0, 8.0], vec![2.0, 1.0, 0.0, 4.0], vec![1.0, 0.0, 1.0, 4.0]];
        let found = solve(rows).expect("told apart");
        near([found[0], found[1], found[2]], [1.0, 2.0, 3.0], 1e-14);
        // A small pivot is not divided by where a larger one stands below it.
        let tiny = solve(vec![vec![1e-20, 1.0, 1.0], vec![1.0, 1.0, 2.0]]).expect("told apart");
        near([tiny[0], tiny[1]], [1.0, 1.0], 1e-14);
        let negative = solve(vec![vec![1e-20, 1.0, 1.0], vec![-1.0, 1.0, 0.0]]).expect("told apart");
        near([negative[0], negative[1]], [1.0, 1.0], 1e-14);
        assert_eq!(solve(vec![vec![1.0, 2.0, 3.0], vec![2.0, 4.0, 6.0]]), None);
        assert_eq!(solve(vec![vec![0.0, 1.0]]), None);
    }

    /// A line through (0, 1), (1, 3), (2, 5), (3, 9): by the normal equations 2.6 u + 0.6. One undamped step would do.
    #[test]
    fn a_line_of_best_fit() {
        let points = [(0.0, 1.0), (1.0, 3.0), (2.0, 5.0), (3.0, 9.0)];
        let misses = |p: [f64; 2]| points.iter().map(|(u, v)| p[0] * u + p[1] - v).collect();
        near(least_squares([0.0; 2], [1e-4; 2], 5, misses), [2.6, 0.6], 1e-9);
        near(least_squares([500.0, -90.0], [1e-4; 2], 9, misses), [2.6, 0.6], 1e-9);
    }

    /// J. Moré, B. Garbow and K. Hillstrom, "Testing unconstrained optimization software", ACM TOMS 7 (1981), problems
    /// 1 and 8 (from memory): Rosenbrock's valley, and Bard's fit with its least sum of squares.
    #[test]
    fn published_problems_come_to_their_published_optima() {
        let valley = |p: [f64; 2]| vec![10.0 * (p[1] - p[0] * p[0]), 1.0 - p[0]];
        near(least_squares([-1.2, 1.0], [1e-5; 2], 30, valley), [1.0, 1.0], 1e-9);
        let bard = |p: [f64; 3]| {
            let y =
                [0.14, 0.18, 0.22, 0.25, 0.29, 0.32, 0.35, 0.39, 0.37, 0.58, 0.73, 0.96, 1.34, 2.10, 4.39];
            (y.iter().enumerate())
                .map(|(i, y)| {
                    let (u, v) = (1.0 + i as f64, 15.0 - i as f64);
                    y - (p[0] + u / (v * p[1] + u.min(v) * p[2]))
                })
                .collect::<Vec<f64>>()
        };
        let found = bard(least_squares([1.0; 3], [1e-5; 3], 8, bard));
        assert!((dot(&found, &found) - 8.214_87e-3).abs() < 1e-8, "{}", dot(&found, &found));
    }

    #[test]
    fn what_no_miss_depends_on_stays() {
        let misses = |p: [f64; 2]| vec![p[0] - 1.0, 2.0 * p[0] - 2.0];
        assert_eq!(least_squares([5.0, 7.0], [1e-4; 2], 9, misses), [5.0, 7.0]);
    }
}
