//! Minimum, maximum and loudness of any stretch of a waveform, at the cost of the pixels drawn.

/// Samples that one node of the finest level covers.
const LEAF: usize = 64;
/// Nodes that one node of the next level covers.
const FAN: usize = 4;

/// What one pixel column of a waveform shows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Column {
    /// Lowest sample.
    pub min: f32,
    /// Highest sample.
    pub max: f32,
    /// Root mean square.
    pub rms: f32,
}

#[derive(Clone, Copy)]
struct Node {
    min: f32,
    max: f32,
    /// Sum of squares.
    power: f32,
}

impl Node {
    const NONE: Self = Self { min: f32::INFINITY, max: f32::NEG_INFINITY, power: 0.0 };

    fn sum(nodes: &[Self]) -> Self {
        nodes.iter().fold(Self::NONE, |a, b| Self {
            min: a.min.min(b.min),
            max: a.max.max(b.max),
            power: a.power + b.power,
        })
    }

    fn of(samples: &[f32]) -> Self {
        samples.iter().fold(Self::NONE, |n, &x| Self {
            min: n.min.min(x),
            max: n.max.max(x),
            power: n.power + x * x,
        })
    }
}

/// Precomputed summaries of a waveform at coarser and coarser steps.
///
/// Holds a copy of the samples and about 7 % more on top; a column costs at most a few dozen
/// summaries, however much sound it covers.
///
/// ```
/// use lipwright_core::audio::WaveformPyramid;
/// let ramp: Vec<f32> = (0..1000).map(|i| i as f32).collect();
/// let columns = WaveformPyramid::new(&ramp).columns(0.0, 100.0, 10);
/// assert_eq!((columns[2].min, columns[2].max), (200.0, 299.0));
/// ```
pub struct WaveformPyramid {
    /// Empty where only columns are known.
    samples: Vec<f32>,
    length: usize,
    /// `levels[0]` summarises [`LEAF`] samples a node, each further level [`FAN`] times as many.
    levels: Vec<Vec<Node>>,
}

impl WaveformPyramid {
    /// Samples that a column of the finest level covers.
    pub const LEAF: usize = LEAF;

    /// Summarises the samples; takes time in proportion to them, once.
    #[must_use]
    pub fn new(samples: &[f32]) -> Self {
        let leaves = samples.chunks(LEAF).map(Node::of).collect();
        Self { samples: samples.to_vec(), length: samples.len(), levels: levels(leaves) }
    }

    /// A waveform of which only the columns are known, one for every [`Self::LEAF`] of so many samples: finer
    /// than that, it is drawn as if the sound were the same all through a column.
    pub(super) fn of_columns(columns: &[Column], length: usize) -> Self {
        let leaf = |(i, c): (usize, &Column)| {
            let samples = LEAF.min(length.saturating_sub(i * LEAF));
            Node { min: c.min, max: c.max, power: c.rms * c.rms * samples as f32 }
        };
        let count = length.div_ceil(LEAF).min(columns.len());
        let leaves = columns[..count].iter().enumerate().map(leaf).collect();
        Self { samples: Vec::new(), length: length.min(count * LEAF), levels: levels(leaves) }
    }

    /// What the waveform looks like at its finest, a column for every [`Self::LEAF`] samples; and the number of
    /// samples. The two travel where the samples are not needed, and make a waveform again.
    #[must_use]
    pub fn to_columns(&self) -> (Vec<Column>, usize) {
        let count = self.levels[0].len();
        (self.columns(0.0, LEAF as f64, count), self.length)
    }

    /// The other half of [`Self::to_columns`]; what is no waveform (numbers that are none, columns that are
    /// missing) is drawn flat.
    #[must_use]
    pub fn from_columns(columns: &[Column], length: usize) -> Self {
        let sound = |c: &Column| c.min.is_finite() && c.max.is_finite() && c.rms.is_finite();
        let clean: Vec<Column> =
            columns.iter().map(|c| if sound(c) { *c } else { Column::default() }).collect();
        Self::of_columns(&clean, length)
    }

    /// The samples.
    #[must_use]
    pub fn samples(&self) -> &[f32] {
        &self.samples
    }

    /// Number of samples summarised.
    #[must_use]
    pub fn len(&self) -> usize {
        self.length
    }

    /// True if there is nothing to draw.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.length == 0
    }

    /// What each of `columns` pixels shows, the first starting at `start_sample` (may lie outside
    /// the sound), each `samples_per_column` wide (may be below one).
    ///
    /// Column c covers the samples from `start + c·width`, rounded down, to `start + (c + 1)·width`,
    /// rounded down, and always at least one. Outside the sound, and if an argument is not a
    /// finite number or the width not positive, a column is flat at zero.
    #[must_use]
    pub fn columns(&self, start_sample: f64, samples_per_column: f64, columns: usize) -> Vec<Column> {
        let sound = start_sample.is_finite() && samples_per_column.is_finite() && samples_per_column > 0.0;
        (0..columns)
            .map(|c| {
                if !sound {
                    return Column::default();
                }
                let (from, to) = column_range(start_sample, samples_per_column, c);
                // Casts saturate, so that columns far outside come out empty.
                let from = from.clamp(0.0, self.length as f64) as usize;
                let to = to.clamp(0.0, self.length as f64) as usize;
                self.summary(from, to)
            })
            .collect()
    }

    /// Samples of one node of the finest level, or of a part of it.
    fn within(&self, from: usize, to: usize) -> Node {
        match self.samples.get(from..to) {
            Some(samples) => Node::of(samples),
            None => {
                let node = self.levels[0].get(from / LEAF).copied().unwrap_or(Node::NONE);
                Node { power: node.power * (to - from) as f32 / LEAF as f32, ..node }
            }
        }
    }

    fn summary(&self, from: usize, to: usize) -> Column {
        if from >= to {
            return Column::default();
        }
        let (mut min, mut max, mut power) = (f32::INFINITY, f32::NEG_INFINITY, 0.0f64);
        let mut take = |n: Node| {
            min = min.min(n.min);
            max = max.max(n.max);
            power += f64::from(n.power);
        };
        let mut at = from;
        while at < to {
            // The largest node that starts here and ends within the range.
            let mut level = None;
            let mut span = LEAF;
            for (i, nodes) in self.levels.iter().enumerate() {
                let fits = at.is_multiple_of(span) && (at + span <= to || to == self.length);
                if !fits || at / span >= nodes.len() {
                    break;
                }
                level = Some((i, span));
                span *= FAN;
            }
            match level {
                Some((i, span)) => {
                    take(self.levels[i][at / span]);
                    at += span;
                }
                None => {
                    let stop = to.min((at / LEAF + 1) * LEAF);
                    take(self.within(at, stop));
                    at = stop;
                }
            }
        }
        Column { min, max, rms: (power / (to - from) as f64).sqrt() as f32 }
    }
}

/// Sums up the finest level, again and again.
fn levels(leaves: Vec<Node>) -> Vec<Vec<Node>> {
    let mut levels = vec![leaves];
    while let Some(last) = levels.last().filter(|l| l.len() > FAN) {
        let next = last.chunks(FAN).map(Node::sum).collect();
        levels.push(next);
    }
    levels
}

/// First sample and end of a column, as whole numbers that may lie outside the sound.
fn column_range(start: f64, width: f64, c: usize) -> (f64, f64) {
    let from = (start + c as f64 * width).floor();
    let to = (start + (c + 1) as f64 * width).floor().max(from + 1.0);
    (from, to)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Judge: looks at every sample of every column.
    fn slow(samples: &[f32], start: f64, width: f64, columns: usize) -> Vec<Column> {
        (0..columns)
            .map(|c| {
                let (from, to) = column_range(start, width, c);
                let inside: Vec<f32> = samples
                    .iter()
                    .enumerate()
                    .filter(|(i, _)| (*i as f64) >= from && (*i as f64) < to)
                    .map(|(_, x)| *x)
                    .collect();
                if inside.is_empty() {
                    return Column::default();
                }
                let power: f64 = inside.iter().map(|x| f64::from(*x).powi(2)).sum();
                Column {
                    min: inside.iter().copied().fold(f32::INFINITY, f32::min),
                    max: inside.iter().copied().fold(f32::NEG_INFINITY, f32::max),
                    rms: (power / inside.len() as f64).sqrt() as f32,
                }
            })
            .collect()
    }

    proptest! {
        #[test]
        fn equals_looking_at_every_sample(
            samples in proptest::collection::vec(-1.0f32..1.0, 0..3000),
            start in -500.0f64..3500.0,
            width in prop_oneof![0.1f64..3.0, 3.0f64..900.0, Just(64.0), Just(256.0)],
            columns in 0usize..40,
        ) {
            let fast = WaveformPyramid::new(&samples).columns(start, width, columns);
            let judge = slow(&samples, start, width, columns);
            prop_assert_eq!(fast.len(), judge.len());
            for (f, s) in fast.iter().zip(&judge) {
                prop_assert_eq!((f.min, f.max), (s.min, s.max));
                prop_assert!((f.rms - s.rms).abs() < 1e-4);
            }
        }
    }

    proptest! {
        #[test]
        fn columns_alone_show_the_same(
            samples in proptest::collection::vec(-1.0f32..1.0, 1..6000),
            from in 0usize..20,
        ) {
            let whole = WaveformPyramid::new(&samples);
            let (columns, length) = whole.to_columns();
            let again = WaveformPyramid::from_columns(&columns, length);
            prop_assert_eq!(again.len(), samples.len());
            for width in [LEAF, 3 * LEAF, 16 * LEAF, 64 * LEAF] {
                let of = |p: &WaveformPyramid| p.columns((from * LEAF) as f64, width as f64, 12);
                for (a, b) in of(&again).iter().zip(of(&whole)) {
                    prop_assert_eq!((a.min, a.max), (b.min, b.max));
                    prop_assert!((a.rms - b.rms).abs() < 1e-3);
                }
            }
            // Finer than a column nothing is out of its bounds.
            prop_assert!(again.columns(0.0, 7.0, 800).iter().all(|c| c.min >= -1.0 && c.max <= 1.0));
        }
    }

    #[test]
    fn senseless_arguments_draw_nothing() {
        let p = WaveformPyramid::new(&[1.0; 100]);
        for (start, width) in
            [(f64::NAN, 1.0), (0.0, f64::NAN), (0.0, 0.0), (0.0, -1.0), (f64::INFINITY, 1.0), (1e300, 1.0)]
        {
            assert_eq!(p.columns(start, width, 3), [Column::default(); 3]);
        }
    }
}
