//! Where exactly one phone ends and the next begins.
//!
//! A search through phones sets an edge where one phone's posterior overtakes the other's, which is
//! not quite where people set it, and only to a whole frame. A small network looks at the posteriors
//! around the edge, knows the phones on both sides, and gives a distribution of how far off the edge
//! is; its median is taken. Same arithmetic as `core/training/edges.py`.

use super::network::{Conv, relu};
use super::product::add_rows;
use super::weights::{ModelError, Payload, expect};
use crate::phonetics::Phone;
use crate::recognise::{Edge, Posteriors};
use ndarray::{Array2, Axis};

/// Frames to either side of an edge that are looked at.
const REACH: usize = 8;
/// For each frame: the logarithms of all posteriors, and again those of the two phones.
const VALUES: usize = Phone::COUNT + 2;
/// Logarithms are held to this, then shifted and scaled to about ±2.
const FLOOR: f32 = -8.0;
const SHIFT: f32 = 3.0;
const SCALE: f32 = 0.5;
/// Offsets that are told apart, and how far apart they are in frames.
const BINS: usize = 49;
const STEP: f64 = 0.5;
/// How often an edge is looked at, each time from where it was put last.
const ROUNDS: usize = 2;
/// Edges worked on at a time: memory for a few hundred windows, however long the recording.
const CHUNK: usize = 256;

#[derive(Clone, Debug)]
pub(super) struct EdgePlacer {
    window: Conv,
    before: Conv,
    after: Conv,
    middle: Conv,
    out: Conv,
}

impl EdgePlacer {
    /// Reads the layers and checks that each fits the next.
    pub(super) fn read(payload: &mut Payload<'_>) -> Result<Self, ModelError> {
        let window = payload.layer("window", VALUES, 1)?;
        expect("window", "taps", window.taps.len(), 2 * REACH)?;
        let before = payload.layer("before", Phone::COUNT, 1)?;
        let after = payload.layer("after", Phone::COUNT, 1)?;
        let middle = payload.layer("middle", window.outputs(), 1)?;
        let out = payload.layer("edge", middle.outputs(), 1)?;
        for (name, layer) in [("before", &before), ("after", &after), ("middle", &middle), ("edge", &out)] {
            expect(name, "taps", layer.taps.len(), 1)?;
        }
        expect("before", "outputs", before.outputs(), window.outputs())?;
        expect("after", "outputs", after.outputs(), window.outputs())?;
        expect("edge", "outputs", out.outputs(), BINS)?;
        Ok(Self { window, before, after, middle, out })
    }

    /// Moves each edge to where it is thought to be, independently of the others.
    pub(super) fn place(&self, posteriors: &Posteriors, edges: &mut [Edge]) {
        if posteriors.frames() == 0 {
            return;
        }
        for _ in 0..ROUNDS {
            for some in edges.chunks_mut(CHUNK) {
                self.look_again(posteriors, some);
            }
        }
    }

    fn look_again(&self, posteriors: &Posteriors, edges: &mut [Edge]) {
        let last = posteriors.frames() - 1;
        for edge in edges.iter_mut() {
            edge.frame = edge.frame.clamp(0.0, last as f64 + 1.0).round_ties_even();
        }
        let bias =
            |layer: &Conv| Array2::from_shape_fn((edges.len(), layer.outputs()), |(_, o)| layer.bias[o]);
        let mut hidden = bias(&self.window);
        let mut input = Array2::zeros((edges.len(), VALUES));
        for (k, tap) in self.window.taps.iter().enumerate() {
            for (edge, mut values) in edges.iter().zip(input.rows_mut()) {
                // What lies before the first frame and after the last is taken to be like them.
                let frame = (edge.frame as usize + k).saturating_sub(REACH).min(last);
                let row = posteriors.frame(frame).map(scaled);
                for (value, x) in values
                    .iter_mut()
                    .zip(row.iter().chain([&row[edge.before.index()], &row[edge.after.index()]]))
                {
                    *value = *x;
                }
            }
            add_rows(&input, tap, &mut hidden);
        }
        for (edge, mut row) in edges.iter().zip(hidden.rows_mut()) {
            row += &self.before.taps[0].index_axis(Axis(0), edge.before.index());
            row += &self.after.taps[0].index_axis(Axis(0), edge.after.index());
        }
        relu(&mut hidden);
        let mut middle = bias(&self.middle);
        add_rows(&hidden, &self.middle.taps[0], &mut middle);
        relu(&mut middle);
        let mut out = bias(&self.out);
        add_rows(&middle, &self.out.taps[0], &mut out);
        for (edge, row) in edges.iter_mut().zip(out.rows()) {
            edge.frame += offset(row.iter().map(|x| f64::from(*x)));
        }
    }
}

fn scaled(probability: f32) -> f32 {
    (probability.max(f32::MIN_POSITIVE).ln().max(FLOOR) + SHIFT) * SCALE
}

/// Median of the distribution in frames, as if it were flat inside each bin.
fn offset(logits: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = logits.clone().fold(f64::NEG_INFINITY, f64::max);
    let shares = logits.map(|x| (x - top).exp());
    let half = 0.5 * shares.clone().sum::<f64>();
    let mut before = 0.0;
    for (bin, share) in shares.enumerate() {
        if before + share >= half {
            let centre = bin as f64 - (BINS / 2) as f64;
            return (centre - 0.5 + (half - before) / share) * STEP;
        }
        before += share;
    }
    0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recognise::{AcousticModel, Recogniser};

    /// Posteriors, edges as found, and where PyTorch places them (`core/training/edges.py`).
    const GOLDEN: &[u8] = include_bytes!("../../../models/edges.golden");

    fn golden() -> (Posteriors, Vec<Edge>, Vec<f64>) {
        let word = |at: usize| <[u8; 4]>::try_from(&GOLDEN[at..at + 4]).expect("4 bytes");
        let frames = u32::from_le_bytes(word(0)) as usize;
        let number = |i: usize, from: usize| f32::from_le_bytes(word(from + 4 * i));
        let rows = (0..frames).map(|f| std::array::from_fn(|p| number(f * Phone::COUNT + p, 4))).collect();
        let at = 4 + 4 * frames * Phone::COUNT;
        let count = u32::from_le_bytes(word(at)) as usize;
        let phone = |x: f32| Phone::ALL[x as usize];
        let edges = (0..count).map(|e| Edge {
            before: phone(number(4 * e + 1, at + 4)),
            after: phone(number(4 * e + 2, at + 4)),
            frame: f64::from(number(4 * e, at + 4)),
        });
        let placed = (0..count).map(|e| f64::from(number(4 * e + 3, at + 4)));
        (Posteriors::new(rows).expect("distributions"), edges.collect(), placed.collect())
    }

    #[test]
    fn places_edges_where_pytorch_does() {
        let (posteriors, mut edges, placed) = golden();
        assert!(edges.len() > 20);
        AcousticModel::built_in().place(&posteriors, &mut edges);
        for (edge, right) in edges.iter().zip(placed) {
            assert!((edge.frame - right).abs() < 0.01, "{edge:?} instead of {right}");
        }
    }

    #[test]
    fn the_median_is_that_of_a_distribution() {
        // All in one bin: its middle. Half in each of two neighbours: the border between them.
        let one = |bin: usize| (0..BINS).map(move |b| if b == bin { 60.0 } else { 0.0 });
        assert!(offset(one(24)).abs() < 1e-6);
        assert!((offset(one(30)) - 3.0).abs() < 1e-6);
        let two = (0..BINS).map(|b| if b == 24 || b == 25 { 60.0 } else { 0.0 });
        assert!((offset(two) - 0.25).abs() < 1e-6);
    }

    #[test]
    fn edges_at_the_ends_and_beyond_them_are_looked_at() {
        let (posteriors, _, _) = golden();
        let edge = |frame| Edge { before: Phone::Sil, after: Phone::T, frame };
        let mut edges = [edge(0.0), edge(posteriors.frames() as f64), edge(-40.0), edge(1e9)];
        AcousticModel::built_in().place(&posteriors, &mut edges);
        assert!(edges.iter().all(|e| e.frame.is_finite()));
        AcousticModel::built_in().place(&Posteriors::default(), &mut edges);
    }
}
