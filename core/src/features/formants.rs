//! The first three formants of a frame, from its power spectrum.
//!
//! Selective linear prediction (J. Makhoul, IEEE Trans. ASSP 23, 1975): the autocorrelation of the
//! band below 5.5 kHz follows from that part of the power spectrum alone, so that no second,
//! slower-sampled copy of the recording is needed.

use super::lpc::{levinson, resonance, roots};
use super::mel::{BIN_HZ, BINS};
use realfft::num_complex::Complex64;
use std::f64::consts::PI;

/// Bins of the band: 176 · 31.25 Hz = 5.5 kHz, which holds F3 of children too.
const BAND: usize = 176;
const RATE: f64 = 2.0 * BAND as f64 * BIN_HZ;
/// Five resonances and a sloping rest. Usual order: 2 + sampling rate in kHz (common practice).
const ORDER: usize = 12;
/// A wider resonance than this shapes the slope of the spectrum rather than being a formant
/// (hertz; common practice).
const WIDEST: f64 = 600.0;
/// Formants lie within this range (hertz; bounds of the published vowel tables, widened).
const RANGE: (f64, f64) = (150.0, 5_000.0);

/// Finds formants frame after frame, starting each search from the last one's poles.
pub(super) struct FormantFinder {
    cosines: Vec<f64>,
    emphasis: Vec<f64>,
    poles: Option<Vec<Complex64>>,
}

impl FormantFinder {
    pub(super) fn new() -> Self {
        let mut cosines = Vec::with_capacity((ORDER + 1) * (BAND + 1));
        for lag in 0..=ORDER {
            for k in 0..=BAND {
                // Both ends of the band count once, all bins between them twice.
                let twice = if k == 0 || k == BAND { 1.0 } else { 2.0 };
                cosines.push(twice * (PI * (lag * k) as f64 / BAND as f64).cos());
            }
        }
        // Pre-emphasis 1 − 0.97 z⁻¹ at 16 kHz, as a factor on power.
        let emphasis = (0..=BAND)
            .map(|k| {
                let w = 2.0 * PI * k as f64 * BIN_HZ / 16_000.0;
                1.0 + 0.97 * 0.97 - 2.0 * 0.97 * w.cos()
            })
            .collect();
        Self { cosines, emphasis, poles: None }
    }

    /// F1 to F3 in hertz; 0 where there is none.
    pub(super) fn find(&mut self, power: &[f32; BINS]) -> [f32; 3] {
        let band: Vec<f64> = power.iter().zip(&self.emphasis).map(|(p, e)| f64::from(*p) * e).collect();
        let mut lags: Vec<f64> = self
            .cosines
            .chunks_exact(BAND + 1)
            .map(|row| row.iter().zip(&band).map(|(c, p)| c * p).sum())
            .collect();
        // A floor of −50 dB white noise keeps the recursion from chasing a single harmonic.
        lags[0] *= 1.0 + 1e-5;
        let Some(a) = levinson(&lags) else {
            self.poles = None;
            return [0.0; 3];
        };
        let poles = roots(&a, self.poles.as_deref());
        let mut found: Vec<f64> = poles
            .iter()
            .filter(|z| z.im > 0.0)
            .map(|z| resonance(*z, RATE))
            .filter(|(f, bw)| (RANGE.0..=RANGE.1).contains(f) && *bw < WIDEST)
            .map(|(f, _)| f)
            .collect();
        found.sort_by(f64::total_cmp);
        self.poles = Some(poles);
        let mut out = [0.0; 3];
        for (o, f) in out.iter_mut().zip(found) {
            *o = f as f32;
        }
        out
    }
}
