//! A recording at a glance: its spectrogram in few bytes, and the moments where the sound changes.

use super::frames::{FeatureError, log_mel};
use super::mel::MEL_BANDS;
use crate::audio::Recording;
use crate::features::Features;
use crate::progress::Progress;
use crate::units::Seconds;

/// What [`survey`] found.
///
/// `levels` holds [`Survey::BANDS`] values a frame of [`Features::HOP`], lowest band first: 255 is the
/// loudest band of the recording, 0 is [`Survey::RANGE_DB`] below it or less. `changes` are rising times.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Survey {
    /// Loudness by frame and band.
    pub levels: Vec<u8>,
    /// Moments at which the spectrum changes quickest.
    pub changes: Vec<Seconds>,
}

/// Frames on either side whose means are compared.
const REACH: usize = 2;
/// A change is the greatest within so many frames on either side.
const APART: usize = 3;
/// Least change that counts, in levels (root mean square over the bands). Chosen by eye on the sample
/// lines: about one change a sound.
const LEAST: f32 = 22.0;
impl Survey {
    /// Values a frame.
    pub const BANDS: usize = MEL_BANDS;

    /// Range of loudness that the levels cover, dB.
    pub const RANGE_DB: f64 = 55.0;

    /// Number of frames.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.levels.len() / Self::BANDS
    }
}

/// Looks over a recording: log-mel levels as [`super::analyse`] measures them, kept to a byte each, and
/// the moments where they change most (spectral flux: the distance between the mean of two frames before
/// and two after; J. P. Bello et al., "A tutorial on onset detection in music signals", IEEE Trans. Speech
/// and Audio Processing 13 (2005), from memory; here over falls as well as rises).
///
/// # Errors
/// [`FeatureError::Cancelled`] if `progress` asked for it.
pub fn survey(recording: &Recording, progress: &mut dyn Progress) -> Result<Survey, FeatureError> {
    let rows = log_mel(recording, &mut |_: &'static str, done: f64| progress.report("looking over", done))?;
    let top = rows.iter().flatten().copied().fold(f32::NEG_INFINITY, f32::max);
    // Natural logarithm of a power: 10/ln 10 dB each.
    let range = (Survey::RANGE_DB * std::f64::consts::LN_10 / 10.0) as f32;
    let level = |v: f32| (((v - top) / range + 1.0).clamp(0.0, 1.0) * 255.0).round() as u8;
    let levels: Vec<u8> = rows.iter().flatten().map(|v| level(*v)).collect();
    let changes = changes(&levels);
    Ok(Survey { levels, changes })
}

fn changes(levels: &[u8]) -> Vec<Seconds> {
    let frames = levels.len() / MEL_BANDS;
    // Change at the boundary before frame t.
    let flux = |t: usize| -> f32 {
        let band = |from: usize, b: usize| -> f32 {
            (from..from + REACH).map(|f| f32::from(levels[f * MEL_BANDS + b])).sum::<f32>() / REACH as f32
        };
        let square = |b: usize| (band(t, b) - band(t - REACH, b)).powi(2);
        ((0..MEL_BANDS).map(square).sum::<f32>() / MEL_BANDS as f32).sqrt()
    };
    if frames < 2 * REACH {
        return Vec::new();
    }
    let first = REACH;
    let all: Vec<f32> = (first..=frames - REACH).map(flux).collect();
    let greatest = |i: usize| {
        let near = &all[i.saturating_sub(APART)..(i + APART + 1).min(all.len())];
        let before = &all[i.saturating_sub(APART)..i];
        // Of equals, the first.
        near.iter().all(|v| *v <= all[i]) && before.iter().all(|v| *v < all[i])
    };
    (0..all.len())
        .filter(|i| all[*i] >= LEAST && greatest(*i))
        .map(|i| Features::HOP * (i + first) as f64)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::ChannelChoice;
    use crate::progress::Quiet;

    fn of(samples: &[f32]) -> Survey {
        let r = Recording::from_interleaved(samples, 1, Recording::RATE, ChannelChoice::Mix)
            .expect("a recording");
        survey(&r, &mut Quiet).expect("not cancelled")
    }

    #[test]
    fn finds_where_tones_begin_change_and_end() {
        let mut samples = vec![0.0f32; 32_000];
        let parts = [(0.4, 0.8, 300.0), (0.8, 1.3, 2_000.0), (1.5, 1.7, 900.0)];
        for (from, to, hz) in parts {
            for i in (from * 16_000.0) as usize..(to * 16_000.0) as usize {
                samples[i] = (i as f32 * hz / 16_000.0 * std::f32::consts::TAU).sin() * 0.4;
            }
        }
        let found = of(&samples);
        assert_eq!(found.frames(), 200);
        assert_eq!(found.changes.len(), 5, "{:?}", found.changes);
        for (got, wanted) in found.changes.iter().zip([0.4, 0.8, 1.3, 1.5, 1.7]) {
            assert!((got.value() - wanted).abs() <= 0.011, "{got} for {wanted}");
        }
    }

    #[test]
    fn levels_follow_the_bands_of_the_analysis() {
        let tone: Vec<f32> = (0..16_000).map(|i| (i as f32 * 0.4).sin() * 0.3).collect();
        let r = Recording::from_interleaved(&tone, 1, Recording::RATE, ChannelChoice::Mix).expect("one");
        let features = crate::features::analyse(&r, &mut Quiet).expect("not cancelled");
        let found = of(&tone);
        let row = &found.levels[50 * Survey::BANDS..51 * Survey::BANDS];
        let loudest = |v: &dyn Fn(usize) -> f64| {
            (0..Survey::BANDS).max_by(|a, b| v(*a).total_cmp(&v(*b))).expect("bands")
        };
        let by_analysis = loudest(&|b| f64::from(features.log_mel()[50][b]));
        assert_eq!(loudest(&|b| f64::from(row[b])), by_analysis);
        assert_eq!(found.levels.iter().max(), Some(&255));
    }

    #[test]
    fn odd_sounds_are_no_trouble() {
        for samples in [vec![0.1; 1], vec![0.0; 16_000], vec![1e6; 700]] {
            let found = of(&samples);
            assert!(found.changes.len() <= 2 && found.levels.len() == found.frames() * Survey::BANDS);
        }
        let r =
            Recording::from_interleaved(&[0.0; 16_000], 1, Recording::RATE, ChannelChoice::Mix).expect("one");
        assert_eq!(survey(&r, &mut |_: &'static str, _| false), Err(FeatureError::Cancelled));
    }
}
