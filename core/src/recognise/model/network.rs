//! The network's arithmetic: convolutions over time as matrix products, and the layers that remember between them.

use super::memory::Memory;
use super::product::add_product;
use super::weights::{ModelError, Payload, StackSize};
use crate::features::MEL_BANDS;
use crate::phonetics::Phone;
use ndarray::{Array2, ArrayView2, Axis};

/// A convolution over time. Activations are frames × channels.
#[derive(Clone, Debug)]
pub(super) struct Conv {
    /// One inputs × outputs matrix for each tap.
    pub taps: Vec<Array2<f32>>,
    /// One for each output.
    pub bias: Vec<f32>,
    /// Input frames from one output frame to the next.
    pub stride: usize,
    /// Input frames from one tap to the next.
    pub dilation: usize,
}

impl Conv {
    #[cfg(test)]
    fn inputs(&self) -> usize {
        self.taps[0].nrows()
    }

    pub(super) fn outputs(&self) -> usize {
        self.bias.len()
    }

    /// Zeros assumed before the first frame (and after the last).
    fn padding(&self) -> usize {
        (self.taps.len() - 1) * self.dilation / 2
    }

    /// Input padded with zeros on both sides, convolved.
    pub(super) fn apply(&self, x: ArrayView2<f32>) -> Array2<f32> {
        let frames = x.nrows();
        let padding = self.padding();
        let reach = self.dilation * (self.taps.len() - 1) + 1;
        let outputs = (frames + 2 * padding + self.stride).saturating_sub(reach) / self.stride;
        let mut out = Array2::from_shape_fn((outputs, self.outputs()), |(_, c)| self.bias[c]);
        let inputs = x.ncols();
        let values = x.to_slice().expect("frames one after another");
        let sums = out.as_slice_mut().expect("just made so");
        for (j, tap) in self.taps.iter().enumerate() {
            // Output t reads input t·stride + offset − padding; keep the t where that exists.
            let offset = j * self.dilation;
            let first = padding.saturating_sub(offset).div_ceil(self.stride);
            let last = if frames + padding > offset {
                ((frames + padding - offset - 1) / self.stride + 1).min(outputs)
            } else {
                0
            };
            if first >= last {
                continue;
            }
            let from = first * self.stride + offset - padding;
            let until = from + (last - first - 1) * self.stride + 1;
            let rows = &values[from * inputs..until * inputs];
            let sums = &mut sums[first * self.outputs()..last * self.outputs()];
            add_product(rows, self.stride * inputs, tap, sums);
        }
        out
    }

    fn apply_relu(&self, x: ArrayView2<f32>) -> Array2<f32> {
        let mut out = self.apply(x);
        relu(&mut out);
        out
    }
}

pub(super) fn relu(x: &mut Array2<f32>) {
    x.mapv_inplace(|v| v.max(0.0));
}

/// Two convolutions beside what passes by unchanged, and in the last blocks what is remembered of that.
#[derive(Clone, Debug)]
struct Block {
    squeeze: Conv,
    expand: Conv,
    memory: Option<Memory>,
}

impl Block {
    fn apply(&self, x: &mut Array2<f32>) {
        let y = self.squeeze.apply_relu(x.view());
        *x += &self.expand.apply(y.view());
        relu(x);
        if let Some(memory) = &self.memory {
            *x += &memory.apply(x.view());
        }
    }
}

/// Blocks one after the other.
#[derive(Clone, Debug)]
struct Stack(Vec<Block>);

impl Stack {
    /// Reads blocks that take and give `wide` values; the last ones remember.
    fn read(payload: &mut Payload<'_>, wide: usize, size: StackSize) -> Result<Self, ModelError> {
        let StackSize { blocks, memories } = size;
        let block = |n| {
            let squeeze = payload.layer("squeeze", wide, 1)?;
            let expand = payload.layer("expand", squeeze.outputs(), 1)?;
            check("expand", expand.outputs(), wide)?;
            let remembers = n + memories >= blocks;
            let memory = remembers.then(|| Memory::read(payload, wide)).transpose()?;
            Ok(Block { squeeze, expand, memory })
        };
        (0..blocks).map(block).collect::<Result<_, _>>().map(Self)
    }

    /// How many rows to either side the convolutions see.
    fn padding(&self) -> usize {
        self.0.iter().map(|b| b.squeeze.padding() + b.expand.padding()).sum()
    }

    fn apply(&self, x: &mut Array2<f32>) {
        for block in &self.0 {
            block.apply(x);
        }
    }
}

/// The layers, as named in `core/training/net.py`.
#[derive(Clone, Debug)]
pub(super) struct Network {
    stem: Conv,
    down: Conv,
    /// At 20 ms.
    middle: Stack,
    deeper: Conv,
    /// At 40 ms.
    deep: Stack,
    rise: Conv,
    up: Conv,
    refine: Conv,
    out: Conv,
}

impl Network {
    /// Frames that are one row where there are fewest: pieces begin on a multiple of it.
    pub(super) const PACE: usize = 4;

    /// Reads the layers and checks that each fits the next.
    pub(super) fn read(
        payload: &mut Payload<'_>,
        middle: StackSize,
        deep: StackSize,
    ) -> Result<Self, ModelError> {
        let stem = payload.layer("stem", MEL_BANDS, 1)?;
        let down = payload.layer("down", stem.outputs(), 2)?;
        let wide = down.outputs();
        let middle = Stack::read(payload, wide, middle)?;
        let deeper = payload.layer("deeper", wide, 2)?;
        let deep = Stack::read(payload, deeper.outputs(), deep)?;
        let rise = payload.layer("rise", deeper.outputs(), 1)?;
        check("rise", rise.outputs(), 2 * wide)?;
        let up = payload.layer("up", wide, 1)?;
        check("up", up.outputs(), 2 * stem.outputs())?;
        let refine = payload.layer("refine", stem.outputs(), 1)?;
        let out = payload.layer("out", refine.outputs(), 1)?;
        check("out", out.outputs(), Phone::COUNT)?;
        Ok(Self { stem, down, middle, deeper, deep, rise, up, refine, out })
    }

    /// How many frames to either side have a say in a frame's answer; a multiple of [`Self::PACE`]. All that the
    /// convolutions see, and what the layers that remember have not as good as forgotten.
    pub(super) fn context(&self) -> usize {
        let at_10_ms = self.stem.padding() + self.refine.padding();
        let convolved = at_10_ms + 2 * self.middle.padding() + 4 * self.deep.padding();
        // The windows of both strides, and the frames that they take together.
        let strides = 4 + Self::PACE;
        (convolved + strides + Memory::REACH).next_multiple_of(Self::PACE)
    }

    /// Probabilities for normalised frames.
    pub(super) fn posteriors(&self, mut input: Array2<f32>) -> Vec<[f32; Phone::COUNT]> {
        let frames = input.nrows();
        if frames == 0 {
            return Vec::new();
        }
        if !frames.is_multiple_of(Self::PACE) {
            // Those that are left over make a row together with average frames.
            let mut whole = Array2::zeros((frames.next_multiple_of(Self::PACE), input.ncols()));
            whole.slice_axis_mut(Axis(0), (0..frames).into()).assign(&input);
            input = whole;
        }
        let stem = self.stem.apply_relu(input.view());
        let mut middle = self.down.apply_relu(stem.view());
        self.middle.apply(&mut middle);
        let mut deep = self.deeper.apply_relu(middle.view());
        self.deep.apply(&mut deep);
        middle += &two_rows_from_each(self.rise.apply(deep.view()), &middle);
        let mut z = two_rows_from_each(self.up.apply(middle.view()), &stem);
        z += &stem;
        relu(&mut z);
        let z = self.refine.apply_relu(z.view());
        let logits = self.out.apply(z.view());
        logits.rows().into_iter().take(frames).map(|row| softmax(std::array::from_fn(|p| row[p]))).collect()
    }
}

/// Row j holds rows 2j and 2j + 1 of the result side by side: the same memory, twice as many rows, as `like` has.
fn two_rows_from_each(x: Array2<f32>, like: &Array2<f32>) -> Array2<f32> {
    x.into_shape_with_order(like.raw_dim()).expect("as many values: outputs were checked to be twice as many")
}

fn check(layer: &'static str, found: usize, wanted: usize) -> Result<(), ModelError> {
    if found == wanted { Ok(()) } else { Err(ModelError::Layer { layer, what: "outputs", found, wanted }) }
}

fn softmax(mut row: [f32; Phone::COUNT]) -> [f32; Phone::COUNT] {
    let top = row.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let mut sum = 0.0;
    for x in &mut row {
        *x = (*x - top).exp();
        sum += *x;
    }
    row.map(|x| x / sum)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Numbers between -1 and about 1.1 without order, the same ones every time.
    pub(in super::super) fn number(n: usize, seed: u32) -> f32 {
        ((n as u32).wrapping_mul(2_654_435_761).wrapping_add(seed * 97) >> 8) as f32 / 8e6 - 1.0
    }

    /// The definition, one multiplication at a time.
    fn obvious(conv: &Conv, x: &Array2<f32>) -> Vec<Vec<f32>> {
        let frames = x.nrows() as isize;
        let k = conv.taps.len();
        let reach = conv.dilation * (k - 1) + 1;
        let padding = conv.padding() as isize;
        let total = frames as usize + 2 * padding as usize;
        let count = if total < reach { 0 } else { (total - reach) / conv.stride + 1 };
        (0..count)
            .map(|t| {
                (0..conv.outputs())
                    .map(|o| {
                        let mut sum = conv.bias[o];
                        for (j, tap) in conv.taps.iter().enumerate() {
                            let at = (t * conv.stride + j * conv.dilation) as isize - padding;
                            if (0..frames).contains(&at) {
                                for i in 0..conv.inputs() {
                                    sum += x[[at as usize, i]] * tap[[i, o]];
                                }
                            }
                        }
                        sum
                    })
                    .collect()
            })
            .collect()
    }

    proptest! {
        #[test]
        fn convolution_is_what_it_says(
            frames in 1usize..20, k in 1usize..6, stride in 1usize..3, dilation in 1usize..9, seed in 0u32..1000
        ) {
            let number = |n: usize| number(n, seed);
            let conv = Conv {
                taps: (0..k).map(|j| Array2::from_shape_fn((3, 5), |(i, o)| number(j * 15 + i * 5 + o))).collect(),
                bias: (0..5).map(|o| number(900 + o)).collect(),
                stride,
                dilation,
            };
            let x = Array2::from_shape_fn((frames, 3), |(t, i)| number(300 + t * 3 + i));
            let fast = conv.apply(x.view());
            let slow = obvious(&conv, &x);
            prop_assert_eq!(fast.nrows(), slow.len());
            for (a, b) in fast.rows().into_iter().zip(&slow) {
                for (a, b) in a.iter().zip(b) {
                    prop_assert!((a - b).abs() < 1e-4);
                }
            }
        }
    }
}
