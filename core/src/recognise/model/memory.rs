//! Layers that remember what they have heard: gated recurrent units (Cho et al. 2014, in the form of
//! `torch.nn.GRU`), in each layer one that goes forwards beside one that goes backwards.

use super::network::Conv;
use super::weights::{ModelError, Payload, expect};
use ndarray::{Array2, ArrayView2};
use pulp::Arch;

/// Outputs that are worked out side by side.
const LANES: usize = 16;

/// One unit: what of its state is kept, and what is new, is decided anew in every frame.
#[derive(Clone, Debug)]
struct Unit {
    /// From a frame's values to what they say of reset, update and new state, one after the other.
    input: Conv,
    /// The same from the state before.
    state: Lanes,
    states: usize,
}

/// A matrix product whose columns lie in bundles of [`LANES`], with a bias: quick for a single row.
#[derive(Clone, Debug)]
struct Lanes {
    /// For each bundle of outputs, for each input the weights to these outputs.
    bundles: Vec<Vec<[f32; LANES]>>,
    bias: Vec<[f32; LANES]>,
}

impl Lanes {
    /// A layer of one tap; its outputs are a multiple of [`LANES`].
    fn of(layer: &Conv) -> Self {
        let tap = &layer.taps[0];
        let bundle = |first: usize| {
            tap.rows().into_iter().map(|row| std::array::from_fn(|k| row[first + k])).collect()
        };
        let firsts = || (0..layer.outputs()).step_by(LANES);
        Self {
            bundles: firsts().map(bundle).collect(),
            bias: firsts().map(|first| std::array::from_fn(|k| layer.bias[first + k])).collect(),
        }
    }

    #[inline(always)]
    fn apply(&self, x: &[f32], out: &mut [f32]) {
        for ((bundle, bias), out) in self.bundles.iter().zip(&self.bias).zip(out.chunks_exact_mut(LANES)) {
            let mut sum = *bias;
            for (x, weights) in x.iter().zip(bundle) {
                for (sum, w) in sum.iter_mut().zip(weights) {
                    *sum += x * w;
                }
            }
            out.copy_from_slice(&sum);
        }
    }
}

impl Unit {
    fn read(payload: &mut Payload<'_>, inputs: usize, states: usize) -> Result<Self, ModelError> {
        let input = payload.layer("memory input", inputs, 1)?;
        let state = payload.layer("memory state", states, 1)?;
        for (name, layer) in [("memory input", &input), ("memory state", &state)] {
            expect(name, "taps", layer.taps.len(), 1)?;
            expect(name, "outputs", layer.outputs(), 3 * states)?;
        }
        Ok(Self { input, state: Lanes::of(&state), states })
    }

    /// The state after each frame, in the order that `frames` goes through them.
    fn run(
        &self,
        x: ArrayView2<f32>,
        frames: impl Iterator<Item = usize>,
        mut out: impl FnMut(usize, &[f32]),
    ) {
        let given = self.input.apply(x);
        let given = given.as_slice().expect("a matrix that was just made");
        let mut state = vec![0.0; self.states];
        let mut held = vec![0.0; 3 * self.states];
        // One step after the other cannot be one matrix product: with all that the processor has.
        Arch::new().dispatch(|| {
            for t in frames {
                self.state.apply(&state, &mut held);
                self.step(&given[3 * self.states * t..][..3 * self.states], &held, &mut state);
                out(t, &state);
            }
        });
    }

    #[inline(always)]
    fn step(&self, given: &[f32], held: &[f32], state: &mut [f32]) {
        let n = self.states;
        let (r, z, c) = (&given[..n], &given[n..][..n], &given[2 * n..][..n]);
        let (held_r, held_z, held_c) = (&held[..n], &held[n..][..n], &held[2 * n..][..n]);
        let state = &mut state[..n];
        for i in 0..n {
            let reset = sigmoid(r[i] + held_r[i]);
            let update = sigmoid(z[i] + held_z[i]);
            let new = 2.0 * sigmoid(2.0 * (c[i] + reset * held_c[i])) - 1.0;
            state[i] = new + update * (state[i] - new);
        }
    }
}

#[inline(always)]
fn sigmoid(x: f32) -> f32 {
    1.0 / (1.0 + exp(-x))
}

/// e to the power of x, several at a time where the processor can: 2 to the whole part of x / ln 2, times the
/// series of the rest up to the sixth power. Within 1e-6 of the value, ends included.
#[inline(always)]
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

/// All layers, each with its two units.
#[derive(Clone, Debug)]
pub(super) struct Memory {
    layers: Vec<[Unit; 2]>,
}

impl Memory {
    /// Frames after which what was heard no longer matters: 3 s. Windows of two to five seconds were trained on.
    pub(super) const REACH: usize = 150;

    /// Reads the layers; each has as many outputs as inputs, half of them from either unit.
    pub(super) fn read(payload: &mut Payload<'_>, layers: usize, width: usize) -> Result<Self, ModelError> {
        let bundles = (width / (2 * LANES)).max(1);
        expect("memory", "inputs", width, bundles * 2 * LANES)?;
        let states = width / 2;
        let layers = (0..layers)
            .map(|_| Ok([Unit::read(payload, width, states)?, Unit::read(payload, width, states)?]))
            .collect::<Result<Vec<_>, ModelError>>()?;
        Ok(Self { layers })
    }

    /// As many values for each frame as it has.
    pub(super) fn apply(&self, x: ArrayView2<f32>) -> Array2<f32> {
        let mut heard = x.to_owned();
        for [forwards, backwards] in &self.layers {
            let (frames, n) = (heard.nrows(), forwards.states);
            let mut out = Array2::zeros((frames, 2 * n));
            let mut put = |t: usize, from: usize, state: &[f32]| {
                let row = out.row_mut(t).into_slice().expect("a row of a matrix that was just made");
                row[from..from + n].copy_from_slice(state);
            };
            forwards.run(heard.view(), 0..frames, |t, state| put(t, 0, state));
            backwards.run(heard.view(), (0..frames).rev(), |t, state| put(t, n, state));
            heard = out;
        }
        heard
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const STATES: usize = 16;
    const INPUTS: usize = 5;

    fn number(n: usize, seed: u32) -> f32 {
        ((n as u32).wrapping_mul(2_654_435_761).wrapping_add(seed * 97) >> 8) as f32 / 8e6 - 1.0
    }

    fn layer(inputs: usize, seed: u32) -> Conv {
        Conv {
            taps: vec![Array2::from_shape_fn((inputs, 3 * STATES), |(i, o)| {
                number(i * 3 * STATES + o, seed)
            })],
            bias: (0..3 * STATES).map(|o| number(90_000 + o, seed)).collect(),
            stride: 1,
            dilation: 1,
        }
    }

    fn unit(seed: u32) -> (Unit, Conv, Conv) {
        let (input, state) = (layer(INPUTS, seed), layer(STATES, seed + 1));
        (Unit { input: input.clone(), state: Lanes::of(&state), states: STATES }, input, state)
    }

    /// The definition (`torch.nn.GRU`), one state at a time, in f64.
    fn obvious(input: &Conv, state: &Conv, x: &Array2<f32>) -> Vec<Vec<f64>> {
        let mut h = vec![0.0; STATES];
        let weighed = |layer: &Conv, x: &[f64], o: usize| {
            f64::from(layer.bias[o])
                + x.iter().enumerate().map(|(i, x)| x * f64::from(layer.taps[0][[i, o]])).sum::<f64>()
        };
        let sigmoid = |x: f64| 1.0 / (1.0 + (-x).exp());
        x.rows()
            .into_iter()
            .map(|row| {
                let row: Vec<f64> = row.iter().map(|x| f64::from(*x)).collect();
                h = (0..STATES)
                    .map(|i| {
                        let r = sigmoid(weighed(input, &row, i) + weighed(state, &h, i));
                        let z = sigmoid(weighed(input, &row, STATES + i) + weighed(state, &h, STATES + i));
                        let n = (weighed(input, &row, 2 * STATES + i)
                            + r * weighed(state, &h, 2 * STATES + i))
                        .tanh();
                        (1.0 - z) * n + z * h[i]
                    })
                    .collect();
                h.clone()
            })
            .collect()
    }

    proptest! {
        #[test]
        fn a_unit_is_what_it_says(frames in 0usize..12, seed in 0u32..1000) {
            let (unit, input, state) = unit(seed);
            let x = Array2::from_shape_fn((frames, INPUTS), |(t, i)| number(300 + t * INPUTS + i, seed));
            let mut heard = Vec::new();
            unit.run(x.view(), 0..frames, |_, h| heard.push(h.to_vec()));
            let slow = obvious(&input, &state, &x);
            prop_assert_eq!(heard.len(), slow.len());
            for (a, b) in heard.iter().flatten().zip(slow.iter().flatten()) {
                prop_assert!((f64::from(*a) - b).abs() < 1e-4, "{} instead of {}", a, b);
            }
        }

        /// Backwards is forwards through the same frames turned round.
        #[test]
        fn backwards_is_forwards_turned_round(frames in 1usize..12, seed in 0u32..1000) {
            let (unit, ..) = unit(seed);
            let x = Array2::from_shape_fn((frames, INPUTS), |(t, i)| number(300 + t * INPUTS + i, seed));
            let turned = Array2::from_shape_fn((frames, INPUTS), |(t, i)| x[[frames - 1 - t, i]]);
            let (mut there, mut back) = (Vec::new(), Vec::new());
            unit.run(x.view(), (0..frames).rev(), |_, h| there.push(h.to_vec()));
            unit.run(turned.view(), 0..frames, |_, h| back.push(h.to_vec()));
            prop_assert_eq!(there, back);
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

    /// However large its inputs are, a unit's states stay between -1 and 1.
    #[test]
    fn states_are_bounded() {
        let (unit, ..) = unit(5);
        let x = Array2::from_shape_fn((40, INPUTS), |(t, _)| if t % 2 == 0 { 1e30 } else { -1e30 });
        unit.run(x.view(), 0..40, |_, h| assert!(h.iter().all(|v| v.abs() <= 1.0), "{h:?}"));
    }
}
