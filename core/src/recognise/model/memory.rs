//! Layers that remember what they have heard, in both directions at once.
//!
//! What of the memory is kept, and what is new, is decided anew in every frame, but from that frame alone and not from
//! the memory itself (the f-pooling of quasi-recurrent networks, Bradbury and others, arXiv 1611.01576). So all
//! decisions are one matrix product, and the steps that must follow one another are a few sums.

use super::network::Conv;
use super::weights::{ModelError, Payload, expect};
use ndarray::{Array2, ArrayView2, ArrayViewMut2, Axis, Slice};

/// One layer: half of its states go forwards through the frames, half backwards.
#[derive(Clone, Debug)]
pub(super) struct Memory {
    /// From a frame's values to how much of each state is renewed (before a sigmoid), then to what with.
    decide: Conv,
}

impl Memory {
    /// Frames of 10 ms after which what was heard no longer matters: 10 s.
    pub(super) const REACH: usize = 1000;

    /// Reads a layer with as many states as inputs.
    pub(super) fn read(payload: &mut Payload<'_>, width: usize) -> Result<Self, ModelError> {
        let decide = payload.layer("memory", width, 1)?;
        expect("memory", "taps", decide.taps.len(), 1)?;
        expect("memory", "outputs", decide.outputs(), 2 * width)?;
        expect("memory", "inputs", width, width / 2 * 2)?;
        Ok(Self { decide })
    }

    /// What is remembered in each frame, as many values as the frame has.
    pub(super) fn apply(&self, x: ArrayView2<f32>) -> Array2<f32> {
        let (frames, width) = x.dim();
        let decided = self.decide.apply(x);
        let (renew, new) = decided.view().split_at(Axis(1), width);
        let mut out = Array2::zeros((frames, width));
        for (states, backwards) in [(0..width / 2, false), (width / 2..width, true)] {
            let these = Slice::from(states);
            remember(
                renew.slice_axis(Axis(1), these),
                new.slice_axis(Axis(1), these),
                out.slice_axis_mut(Axis(1), these),
                backwards,
            );
        }
        out
    }
}

/// Each state moves towards the frame's new value by the share that is renewed (here before its sigmoid), beginning at zero.
fn remember(renew: ArrayView2<f32>, new: ArrayView2<f32>, mut out: ArrayViewMut2<f32>, backwards: bool) {
    let mut states = vec![0.0; out.ncols()];
    let mut step = |t: usize| {
        let (renew, new) = (renew.row(t), new.row(t));
        let (renew, new) = (renew.to_slice().expect("a row"), new.to_slice().expect("a row"));
        for ((state, renew), new) in states.iter_mut().zip(renew).zip(new) {
            *state += sigmoid(*renew) * (new - *state);
        }
        out.row_mut(t).into_slice().expect("a row").copy_from_slice(&states);
    };
    let frames = renew.nrows();
    if backwards { (0..frames).rev().for_each(&mut step) } else { (0..frames).for_each(&mut step) }
}

fn sigmoid(x: f32) -> f32 {
    1.0 / (1.0 + exp(-x))
}

/// e to the power of x, several at a time where the processor can: 2 to the whole part of x / ln 2, times the
/// series of the rest up to the sixth power. Within 1e-6 of the value, ends included.
fn exp(x: f32) -> f32 {
    /// Added to a number of less than 2²², leaves its whole part in the lowest bits.
    const ROUNDS: f32 = 12_582_912.0;
    /// ln 2 in two parts, so that the product with a whole number is exact in the first.
    const LN_2: (f32, f32) = (0.693_359_4, -2.121_944_4e-4);
    let x = x.clamp(-87.0, 87.0);
    let shifted = x * std::f32::consts::LOG2_E + ROUNDS;
    let whole = shifted - ROUNDS;
    let rest = x - whole * LN_2.0 - whole * LN_2.1;
    let series = 1.0
        + rest
            * (1.0
                + rest
                    * (0.5
                        + rest
                            * (1.0 / 6.0
                                + rest * (1.0 / 24.0 + rest * (1.0 / 120.0 + rest * (1.0 / 720.0))))));
    series * f32::from_bits((shifted.to_bits() << 23).wrapping_add(1.0f32.to_bits()))
}

#[cfg(test)]
mod tests {
    use super::super::network::tests::number;
    use super::*;
    use proptest::prelude::*;

    const WIDTH: usize = 6;

    fn layer(seed: u32) -> Memory {
        let decide = Conv {
            taps: vec![Array2::from_shape_fn((WIDTH, 2 * WIDTH), |(i, o)| number(i * 2 * WIDTH + o, seed))],
            bias: (0..2 * WIDTH).map(|o| number(90_000 + o, seed)).collect(),
            stride: 1,
            dilation: 1,
        };
        Memory { decide }
    }

    /// The definition, one state at a time, in f64.
    fn obvious(layer: &Memory, x: &Array2<f32>) -> Vec<Vec<f64>> {
        let weighed = |t: usize, o: usize| {
            let inputs = x.row(t);
            f64::from(layer.decide.bias[o])
                + inputs
                    .iter()
                    .enumerate()
                    .map(|(i, x)| f64::from(*x) * f64::from(layer.decide.taps[0][[i, o]]))
                    .sum::<f64>()
        };
        let mut out = vec![vec![0.0; WIDTH]; x.nrows()];
        for state in 0..WIDTH {
            let backwards = state >= WIDTH / 2;
            let mut held = 0.0;
            for n in 0..x.nrows() {
                let t = if backwards { x.nrows() - 1 - n } else { n };
                let renew = 1.0 / (1.0 + (-weighed(t, state)).exp());
                held = (1.0 - renew) * held + renew * weighed(t, WIDTH + state);
                out[t][state] = held;
            }
        }
        out
    }

    proptest! {
        #[test]
        fn a_layer_is_what_it_says(frames in 0usize..12, seed in 0u32..1000) {
            let x = Array2::from_shape_fn((frames, WIDTH), |(t, i)| 2.0 * number(300 + t * WIDTH + i, seed));
            let (fast, slow) = (layer(seed).apply(x.view()), obvious(&layer(seed), &x));
            prop_assert_eq!(fast.nrows(), slow.len());
            for (a, b) in fast.iter().zip(slow.iter().flatten()) {
                prop_assert!((f64::from(*a) - b).abs() < 1e-4, "{} instead of {}", a, b);
            }
        }
    }

    #[test]
    fn powers_are_those_of_the_library() {
        for i in -8700..=8700 {
            let x = i as f32 / 100.0;
            let (ours, right) = (f64::from(exp(x)), f64::from(x).exp());
            assert!((ours / right - 1.0).abs() < 1e-6, "{x}: {ours} instead of {right}");
        }
        assert!(exp(f32::INFINITY).is_finite() && exp(f32::NEG_INFINITY) > 0.0);
    }

    /// A state never leaves the range of what it was told.
    #[test]
    fn states_stay_among_what_was_new() {
        let renew = Array2::from_shape_fn((50, 4), |(t, i)| 9.0 * number(t * 4 + i, 3));
        let new = Array2::from_shape_fn((50, 4), |(t, i)| 1e6 * number(900 + t * 4 + i, 3));
        let mut out = Array2::zeros((50, 4));
        remember(renew.view(), new.view(), out.view_mut(), false);
        let most = new.iter().fold(0.0f32, |most, x| most.max(x.abs()));
        assert!(out.iter().all(|x| x.abs() <= most));
    }
}
