//! The log-mel spectrum: the acoustic model's only input, so its definition is fixed.
//!
//! 400-sample periodic Hann window, 512-point transform, power |X|²; 40 triangular filters with
//! peak weight 1 whose 42 edges lie equally spaced in mel from 60 Hz to 7600 Hz; a filter's weight
//! at a bin is interpolated linearly in hertz between its edges; value = ln(max(E, 1e-10)).
//! Mel scale: 2595·log₁₀(1 + f/700) (O'Shaughnessy, Speech Communication, 1987; as in HTK).

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};
use std::f64::consts::TAU;
use std::sync::Arc;

/// Mel filters, and so values per frame.
pub const MEL_BANDS: usize = 40;

/// Window length in samples: 25 ms.
pub(super) const WINDOW: usize = 400;
/// Transform length in samples.
pub(super) const FFT: usize = 512;
/// Bins of a spectrum, from 0 Hz to 8 kHz.
pub(super) const BINS: usize = FFT / 2 + 1;
/// Distance between bins, in hertz.
pub(super) const BIN_HZ: f64 = 16_000.0 / FFT as f64;

const LOWEST_HZ: f64 = 60.0;
const HIGHEST_HZ: f64 = 7_600.0;
const FLOOR: f32 = 1e-10;

/// Frequency in hertz to mel.
#[must_use]
pub fn hz_to_mel(hz: f64) -> f64 {
    2595.0 * (1.0 + hz / 700.0).log10()
}

/// Mel to frequency in hertz.
#[must_use]
pub fn mel_to_hz(mel: f64) -> f64 {
    700.0 * (10f64.powf(mel / 2595.0) - 1.0)
}

/// A filter: the bins it covers, and the weight of each.
struct Filter {
    first: usize,
    weights: Vec<f32>,
}

/// Computes power spectra and log-mel values of windowed stretches.
pub(super) struct MelBank {
    window: Vec<f32>,
    fft: Arc<dyn RealToComplex<f32>>,
    filters: Vec<Filter>,
    buffer: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
}

impl MelBank {
    pub(super) fn new() -> Self {
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(FFT);
        Self {
            window: periodic_hann(WINDOW),
            filters: filters(),
            buffer: vec![0.0; FFT],
            spectrum: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            fft,
        }
    }

    /// Power spectrum of up to [`WINDOW`] samples placed at `offset` within the window (the rest
    /// being silence).
    pub(super) fn power(&mut self, samples: &[f32], offset: usize, power: &mut [f32; BINS]) {
        self.buffer.fill(0.0);
        for ((b, x), w) in self.buffer[offset..].iter_mut().zip(samples).zip(&self.window[offset..]) {
            *b = x * w;
        }
        self.fft
            .process_with_scratch(&mut self.buffer, &mut self.spectrum, &mut self.scratch)
            .expect("buffers have the lengths that the plan made");
        for (p, x) in power.iter_mut().zip(&self.spectrum) {
            *p = x.norm_sqr();
        }
    }

    /// Log-mel values of a power spectrum.
    pub(super) fn log_mel(&self, power: &[f32; BINS]) -> [f32; MEL_BANDS] {
        let mut out = [0.0; MEL_BANDS];
        for (o, filter) in out.iter_mut().zip(&self.filters) {
            let energy: f32 = filter.weights.iter().zip(&power[filter.first..]).map(|(w, p)| w * p).sum();
            *o = energy.max(FLOOR).ln();
        }
        out
    }
}

/// Periodic Hann window: 0.5 − 0.5·cos(2πn/N).
pub(super) fn periodic_hann(n: usize) -> Vec<f32> {
    (0..n).map(|i| (0.5 - 0.5 * (TAU * i as f64 / n as f64).cos()) as f32).collect()
}

fn filters() -> Vec<Filter> {
    let (low, high) = (hz_to_mel(LOWEST_HZ), hz_to_mel(HIGHEST_HZ));
    let edge = |i: usize| mel_to_hz(low + (high - low) * i as f64 / (MEL_BANDS + 1) as f64);
    (0..MEL_BANDS)
        .map(|m| {
            let (left, peak, right) = (edge(m), edge(m + 1), edge(m + 2));
            let weight = |k: usize| {
                let f = k as f64 * BIN_HZ;
                ((f - left) / (peak - left)).min((right - f) / (right - peak)).max(0.0)
            };
            let first = (left / BIN_HZ).ceil() as usize;
            let last = ((right / BIN_HZ).floor() as usize).min(BINS - 1);
            Filter { first, weights: (first..=last).map(|k| weight(k) as f32).collect() }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mel values at these frequencies (calculated from the formula).
    #[test]
    fn mel_scale_has_the_published_values() {
        for (hz, mel) in
            [(0.0, 0.0), (100.0, 150.4891), (700.0, 781.1728), (1_000.0, 999.9855), (8_000.0, 2840.0230)]
        {
            assert!((hz_to_mel(hz) - mel).abs() < 5e-5);
            assert!((mel_to_hz(mel) - hz).abs() < 5e-4);
        }
    }

    #[test]
    fn the_window_is_periodic() {
        let w = periodic_hann(400);
        assert!((w.iter().sum::<f32>() - 200.0).abs() < 1e-3);
        assert!((w.iter().map(|x| x * x).sum::<f32>() - 150.0).abs() < 1e-3);
    }

    /// Judge: the transform from its definition, and every filter evaluated at every bin.
    #[test]
    fn equals_the_definition() {
        let samples: Vec<f32> = (0..WINDOW)
            .map(|i| ((i * i) as f32 * 0.013).sin() * 0.4 + (i as f32 * 0.9).cos() * 0.1)
            .collect();
        let mut bank = MelBank::new();
        let mut power = [0.0; BINS];
        bank.power(&samples, 0, &mut power);
        let window: Vec<f64> = (0..WINDOW).map(|i| 0.5 - 0.5 * (TAU * i as f64 / 400.0).cos()).collect();
        let mut judge = [0.0f64; BINS];
        for (k, j) in judge.iter_mut().enumerate() {
            let (mut re, mut im) = (0.0, 0.0);
            for n in 0..WINDOW {
                let x = f64::from(samples[n]) * window[n];
                let angle = -TAU * (k * n) as f64 / FFT as f64;
                re += x * angle.cos();
                im += x * angle.sin();
            }
            *j = re * re + im * im;
            assert!((f64::from(power[k]) - *j).abs() < 1e-4 * j.max(1.0), "bin {k}");
        }
        let (low, high) = (hz_to_mel(60.0), hz_to_mel(7_600.0));
        let edges: Vec<f64> = (0..42).map(|i| mel_to_hz(low + (high - low) * f64::from(i) / 41.0)).collect();
        for (m, got) in bank.log_mel(&power).iter().enumerate() {
            let mut energy = 0.0;
            for (k, j) in judge.iter().enumerate() {
                let f = k as f64 * 31.25;
                let (l, p, r) = (edges[m], edges[m + 1], edges[m + 2]);
                if f > l && f <= p {
                    energy += j * (f - l) / (p - l);
                } else if f > p && f < r {
                    energy += j * (r - f) / (r - p);
                }
            }
            assert!((f64::from(*got) - energy.max(1e-10).ln()).abs() < 1e-3, "band {m}");
        }
    }

    /// Every filter must see at least one bin, or its band would be silent for ever.
    #[test]
    fn no_filter_is_empty() {
        for (m, f) in filters().iter().enumerate() {
            assert!(f.weights.iter().sum::<f32>() > 0.05, "filter {m}: {:?}", f.weights);
        }
    }
}
