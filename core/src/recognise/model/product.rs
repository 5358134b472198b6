//! Matrix products of the network.

use ndarray::Array2;
use rten_gemm::{GemmExecutor, GemmInputA, GemmInputB, GemmOptions};
use rten_tensor::NdTensorView;

/// Adds the matrix product of `x` and the weights to `out`.
pub(super) fn add_rows(x: &Array2<f32>, weights: &Array2<f32>, out: &mut Array2<f32>) {
    let values = x.as_slice().expect("rows one after another");
    add_product(values, x.ncols(), weights, out.as_slice_mut().expect("rows one after another"));
}

/// Adds to each row of `out` the product of a row of `x` and the weights (inputs × outputs).
///
/// Rows follow one another without gaps in `out`; in `x` each begins `step` values after the one before.
///
/// # Panics
/// If there are too few values for as many rows as `out` has.
pub(super) fn add_product(x: &[f32], step: usize, weights: &Array2<f32>, out: &mut [f32]) {
    let (inputs, outputs) = weights.dim();
    let rows = out.len() / outputs;
    if rows == 0 || inputs == 0 {
        return;
    }
    let x = NdTensorView::from_slice_with_strides([rows, inputs], x, [step, 1])
        .expect("a row for each row of out");
    let weights = weights.as_slice().expect("rows one after another");
    let weights = NdTensorView::from_data([inputs, outputs], weights);
    let options = GemmOptions { beta: 1.0, ..GemmOptions::default() };
    GemmExecutor::<f32>::new()
        .gemm(out, GemmInputA::Unpacked(x), GemmInputB::Unpacked(weights), options)
        .expect("sizes are taken from the matrices");
}
