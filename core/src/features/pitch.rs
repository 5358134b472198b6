//! Voicing and pitch by normalised autocorrelation.
//!
//! After P. Boersma, "Accurate short-term analysis of the fundamental frequency…", Proc. Inst.
//! Phonetic Sciences Amsterdam 17 (1993): the autocorrelation of a windowed stretch divided by
//! that of the window is, at a lag of one period, how periodic the sound is.

use super::mel::periodic_hann;
use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// 40 ms: three periods at 75 Hz.
pub(super) const WINDOW: usize = 640;
/// Longer than the window and the longest lag together, so that nothing wraps around.
const FFT: usize = 1_024;
/// Pitch range searched, in hertz: deep men to excited children.
const LOWEST_HZ: f64 = 60.0;
const HIGHEST_HZ: f64 = 500.0;
/// How much more periodic a sound must be an octave lower before the lower pitch is believed
/// (Boersma's octave cost).
const OCTAVE_COST: f32 = 0.02;

pub(super) struct PitchFinder {
    window: Vec<f32>,
    /// 1 / autocorrelation of the window, for each lag, normalised to 1 at lag 0.
    correction: Vec<f32>,
    forward: Arc<dyn RealToComplex<f32>>,
    back: Arc<dyn ComplexToReal<f32>>,
    buffer: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
}

impl PitchFinder {
    pub(super) fn new() -> Self {
        let mut planner = RealFftPlanner::<f32>::new();
        let forward = planner.plan_fft_forward(FFT);
        let back = planner.plan_fft_inverse(FFT);
        let window = periodic_hann(WINDOW);
        let at = |lag: usize| window.iter().zip(&window[lag..]).map(|(a, b)| a * b).sum::<f32>();
        let correction = (0..=longest()).map(|lag| at(0) / at(lag)).collect();
        Self {
            window,
            correction,
            buffer: vec![0.0; FFT],
            spectrum: forward.make_output_vec(),
            forward,
            back,
        }
    }

    /// Periodicity 0..=1 and pitch in hertz (0 where there is none) of up to [`WINDOW`] samples
    /// placed at `offset` within the window.
    pub(super) fn find(&mut self, samples: &[f32], offset: usize) -> (f32, f32) {
        self.buffer.fill(0.0);
        let mean = samples.iter().sum::<f32>() / samples.len().max(1) as f32;
        for ((b, x), w) in self.buffer[offset..].iter_mut().zip(samples).zip(&self.window[offset..]) {
            *b = (x - mean) * w;
        }
        self.forward.process(&mut self.buffer, &mut self.spectrum).expect("buffers fit the plan");
        for x in &mut self.spectrum {
            *x = Complex::new(x.norm_sqr(), 0.0);
        }
        self.back.process(&mut self.spectrum, &mut self.buffer).expect("buffers fit the plan");
        let energy = self.buffer[0];
        if !(energy > 1e-9) {
            return (0.0, 0.0);
        }
        let r = |lag: usize| self.buffer[lag] / energy * self.correction[lag];
        let (mut best, mut best_score) = (None, 0.0f32);
        for lag in shortest()..longest() {
            let (before, here, after) = (r(lag - 1), r(lag), r(lag + 1));
            if here > before && here >= after && here > 0.0 {
                // Parabola through three points: peak place and height between samples.
                let bend = before - 2.0 * here + after;
                let shift = if bend < 0.0 { 0.5 * (before - after) / bend } else { 0.0 };
                let height = here - 0.25 * (before - after) * shift;
                let lag = lag as f32 + shift;
                let score = height - OCTAVE_COST * (lag / shortest() as f32).log2();
                if score > best_score {
                    best_score = score;
                    best = Some((height, lag));
                }
            }
        }
        match best {
            Some((height, lag)) => (height.clamp(0.0, 1.0), 16_000.0 / lag),
            None => (0.0, 0.0),
        }
    }
}

fn shortest() -> usize {
    (16_000.0 / HIGHEST_HZ) as usize
}

fn longest() -> usize {
    (16_000.0 / LOWEST_HZ) as usize
}
