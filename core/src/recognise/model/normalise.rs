//! Taking gain and microphone out of log-mel frames, whatever the recording's share of silence.
//!
//! Same arithmetic as `core/training/features.py`; the constants come with the weights.

use crate::features::MEL_BANDS;
use ndarray::Array2;

/// How a recording's frames are brought to the form that the network was trained on.
#[derive(Clone, Debug)]
pub(super) struct Normaliser {
    /// Frames within this many nats of the level count as active speech.
    pub active_range: f32,
    /// How many frames of speech outweigh the average spectrum when the channel is measured.
    pub prior_frames: f32,
    /// Values are held to ± this many nats of the channel's mean.
    pub clamp: f32,
    /// Factor on the result.
    pub scale: f32,
    /// Average over the training speech of (band mean − level), in nats.
    pub spectrum: [f32; MEL_BANDS],
}

impl Normaliser {
    /// Each band's mean over active speech, held towards the average spectrum in short recordings.
    pub(super) fn means(&self, log_mel: &[[f32; MEL_BANDS]]) -> [f64; MEL_BANDS] {
        let energies: Vec<f64> =
            log_mel.iter().map(|row| row.iter().map(|x| f64::from(*x).exp()).sum()).collect();
        // Energy weighted by itself: the level follows the loud speech, however much silence there is.
        let (squares, sum) = energies.iter().fold((0.0, 0.0), |(s, t), e| (s + e * e, t + e));
        let level = if sum > 0.0 { (squares / sum).ln() } else { 0.0 };
        let mut totals = [0.0; MEL_BANDS];
        let mut active = 0.0;
        for (row, energy) in log_mel.iter().zip(&energies) {
            if energy.ln() > level - f64::from(self.active_range) {
                active += 1.0;
                for (t, x) in totals.iter_mut().zip(row) {
                    *t += f64::from(*x);
                }
            }
        }
        let prior = f64::from(self.prior_frames);
        std::array::from_fn(|b| {
            (totals[b] + prior * (level + f64::from(self.spectrum[b]))) / (active + prior)
        })
    }

    /// Frames × bands, ready for the network.
    pub(super) fn apply(&self, log_mel: &[[f32; MEL_BANDS]], means: &[f64; MEL_BANDS]) -> Array2<f32> {
        Array2::from_shape_fn((log_mel.len(), MEL_BANDS), |(i, b)| {
            let away = (f64::from(log_mel[i][b]) - means[b]) as f32;
            away.clamp(-self.clamp, self.clamp) * self.scale
        })
    }
}
