//! How periodic each frame is, and at which pitches: candidates by normalised autocorrelation.
//!
//! After P. Boersma, "Accurate short-term analysis of the fundamental frequency…", Proc. Inst.
//! Phonetic Sciences Amsterdam 17 (1993): the autocorrelation of a windowed stretch divided by
//! that of the window is, at a lag of one period, how periodic the sound is. A frame alone cannot
//! tell a pitch from its octaves, so it names several; [`super::pitch_track`] chooses.

use super::mel::periodic_hann;
use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// 50 ms: three periods of the lowest pitch, as the paper asks for.
pub(super) const WINDOW: usize = 800;
/// At the longest lag only the outermost 43 samples of the window wrap around, where it is below
/// 3 % of its height: the error is less than a millionth.
const FFT: usize = 1_024;
/// Pitch range searched, in hertz: deep men to excited children.
pub(super) const LOWEST_HZ: f64 = 60.0;
const HIGHEST_HZ: f64 = 500.0;
/// Pitches kept of a frame, the strongest ones.
pub(super) const MOST: usize = 7;
/// How much less periodic a sound may be an octave higher and still be as good a candidate (the
/// paper's octave cost).
const OCTAVE_COST: f32 = 0.01;

/// A pitch that a frame may have.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Candidate {
    /// Base-two logarithm of its frequency in hertz.
    pub(super) octaves: f32,
    /// How periodic the sound is at it, 0..=1.
    pub(super) periodic: f32,
    /// Its strength: periodicity less the octave cost.
    pub(super) strength: f32,
}

/// The pitches that one frame may have.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Candidates {
    /// Largest sample within half a longest period, less the local mean.
    pub(super) peak: f32,
    count: u8,
    list: [Candidate; MOST],
}

impl Candidates {
    pub(super) fn of_peak(peak: f32) -> Self {
        Self { peak, ..Self::default() }
    }

    /// Those there are, in no order.
    pub(super) fn list(&self) -> &[Candidate] {
        &self.list[..usize::from(self.count)]
    }

    /// How periodic the frame is at its best candidate.
    pub(super) fn periodic(&self) -> f32 {
        let best = self.list().iter().max_by(|a, b| a.strength.total_cmp(&b.strength));
        best.map_or(0.0, |c| c.periodic)
    }

    pub(super) fn add(&mut self, new: Candidate) {
        let count = usize::from(self.count);
        if count < MOST {
            self.list[count] = new;
            self.count += 1;
        } else if let Some(weakest) = self.list.iter_mut().min_by(|a, b| a.strength.total_cmp(&b.strength))
            && weakest.strength < new.strength
        {
            *weakest = new;
        }
    }
}

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

    /// What up to [`WINDOW`] samples placed at `offset` within the window may have for a pitch.
    pub(super) fn find(&mut self, samples: &[f32], offset: usize) -> Candidates {
        let mean = samples.iter().sum::<f32>() / samples.len().max(1) as f32;
        let mut found = Candidates::of_peak(peak(samples, offset, mean));
        self.buffer.fill(0.0);
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
            return found;
        }
        let r = |lag: usize| self.buffer[lag] / energy * self.correction[lag];
        for lag in shortest()..longest() {
            let (before, here, after) = (r(lag - 1), r(lag), r(lag + 1));
            if here > before && here >= after && here > 0.0 {
                found.add(summit(lag, before, here, after));
            }
        }
        found
    }
}

/// The top of a hump of the autocorrelation, by a parabola through three of its points.
fn summit(lag: usize, before: f32, here: f32, after: f32) -> Candidate {
    let bend = before - 2.0 * here + after;
    let shift = if bend < 0.0 { 0.5 * (before - after) / bend } else { 0.0 };
    let height = here - 0.25 * (before - after) * shift;
    // Above 1 only where the division by the window's own correlation overshoots.
    let periodic = if height > 1.0 { 1.0 / height } else { height };
    let octaves = (16_000.0 / (lag as f32 + shift)).log2();
    let strength = periodic + OCTAVE_COST * (octaves - LOWEST_HZ.log2() as f32);
    Candidate { octaves, periodic, strength }
}

/// Largest distance from the mean within half a longest period around the window's middle.
fn peak(samples: &[f32], offset: usize, mean: f32) -> f32 {
    let place = |at: usize| at.saturating_sub(offset).min(samples.len());
    let middle = place(WINDOW / 2 - longest() / 2)..place(WINDOW / 2 + longest() / 2);
    samples[middle].iter().fold(0.0, |m, x| (x - mean).abs().max(m))
}

fn shortest() -> usize {
    (16_000.0 / HIGHEST_HZ) as usize
}

fn longest() -> usize {
    (16_000.0 / LOWEST_HZ) as usize
}
