//! Products with the constraint matrix, against the dense one.

use super::super::band::Band;
use super::super::operator::Operator;
use super::dense;
use super::*;

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * (1.0 + a.abs().max(b.abs()))
}

/// Three servos over four frames and one over five: known frames that all differ, rows over one frame and over two,
/// one of them with the same angle in it twice.
fn problems() -> Vec<Problem> {
    let mut dice = Dice(3);
    [(4, 3), (5, 1), (1, 1), (1, 2), (2, 2)]
        .into_iter()
        .map(|(n, m)| {
            let mut vector = |n: usize| -> Vec<f64> { (0..n).map(|_| dice.between(-9.0, 9.0)).collect() };
            let surroundings = (0..m)
                .map(|_| {
                    let v = vector(4);
                    Surroundings { before: [v[0], v[1]], after: [v[2], v[3]] }
                })
                .collect();
            let row = |terms| Row { terms, lower: -1.0, upper: 1.0, price: None };
            let mut rows = vec![row((0..m).map(|c| (n - 1, c, 1.5 + c as f64)).collect())];
            if n > 1 {
                rows.push(row(vec![(0, m - 1, 2.0), (1, 0, -3.0), (0, m - 1, 0.5), (1, m - 1, 4.0)]));
            }
            Problem {
                frames: n,
                width: m,
                wanted: vec![0.0; n * m],
                weight: vec![1.0; n * m],
                cross: vec![],
                smooth: vec![0.0; m],
                jerk: vec![0.0; m],
                limits: vec![
                    FrameLimits { lower: -9.0, upper: 9.0, up: 1.0, down: 1.0, acceleration: 1.0 };
                    m
                ],
                surroundings,
                rows,
            }
        })
        .collect()
}

#[test]
fn rows_have_the_values_and_slopes_of_the_dense_matrix() {
    let mut dice = Dice(4);
    for p in problems() {
        let rows = dense::rows(&p);
        let mut operator = Operator::new(&p);
        assert_eq!(operator.rows, rows.len());
        assert_eq!(operator.further, rows.len() - p.rows.len());
        assert_eq!(operator.second, operator.further - (p.frames + 2) * p.width);
        let x: Vec<f64> = (0..p.frames * p.width).map(|_| dice.between(-5.0, 5.0)).collect();
        let (mut values, mut slopes) = (vec![f64::NAN; rows.len()], vec![f64::NAN; rows.len()]);
        operator.values(&x, &mut values);
        operator.slopes(&x, &mut slopes);
        for (k, row) in rows.iter().enumerate() {
            assert!(near(values[k], row.value(&x)), "row {k}: {} and {}", values[k], row.value(&x));
            assert!(near(slopes[k], row.slope(&x)), "row {k}: {} and {}", slopes[k], row.slope(&x));
        }
        // A direction leaves no trace in what comes after it.
        let mut again = vec![0.0; rows.len()];
        operator.values(&x, &mut again);
        assert_eq!(again, values);
    }
}

/// ⟨Ax, y⟩ = ⟨x, Aᵀy⟩, and entry by entry; what stood there before is added to.
#[test]
fn the_transpose_is_the_transpose() {
    let mut dice = Dice(5);
    for p in problems() {
        let rows = dense::rows(&p);
        let mut operator = Operator::new(&p);
        let size = p.frames * p.width;
        let x: Vec<f64> = (0..size).map(|_| dice.between(-5.0, 5.0)).collect();
        let y: Vec<f64> = (0..rows.len()).map(|_| dice.between(-5.0, 5.0)).collect();
        let mut slopes = vec![0.0; rows.len()];
        operator.slopes(&x, &mut slopes);
        let mut back = vec![100.0; size];
        operator.add_transposed(&y, &mut back);
        for (i, b) in back.iter().enumerate() {
            let expected = 100.0 + rows.iter().zip(&y).map(|(r, y)| r.k[i] * y).sum::<f64>();
            assert!(near(*b, expected), "column {i}: {b} and {expected}");
        }
        let left: f64 = slopes.iter().zip(&y).map(|(a, b)| a * b).sum();
        let right: f64 = back.iter().zip(&x).map(|(a, b)| (a - 100.0) * b).sum();
        assert!((left - right).abs() < 1e-9, "{left} and {right}");
    }
}

#[test]
fn the_gram_matrix_is_the_sum_over_rows() {
    let mut dice = Dice(6);
    for p in problems() {
        let (rows, operator) = (dense::rows(&p), Operator::new(&p));
        let (size, m) = (p.frames * p.width, p.width);
        let d: Vec<f64> = (0..rows.len()).map(|_| dice.between(0.1, 5.0)).collect();
        for half in [2 * m, 3 * m] {
            let mut band = Band::zeros(size, half);
            (0..size).for_each(|i| band.add(i, i, 7.0));
            operator.add_gram(&d, &mut band, half);
            for j in 0..size {
                let (mut unit, mut column) = (vec![0.0; size], vec![0.0; size]);
                unit[j] = 1.0;
                band.multiply(&unit, &mut column);
                for (i, got) in column.iter().enumerate() {
                    let sum: f64 = rows.iter().zip(&d).map(|(r, d)| d * r.k[i] * r.k[j]).sum();
                    let expected = sum + if i == j { 7.0 } else { 0.0 };
                    assert!(near(*got, expected), "half {half}, ({i}, {j}): {got} and {expected}");
                }
            }
        }
    }
}
