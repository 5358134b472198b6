//! Any sampling rate to 16 kHz, without moving the sound in time.

use super::Recording;
use crate::units::Hertz;
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Indexing, Resampler, WindowFunction};

/// Output samples per transform block: long enough that the anti-aliasing filter reaches close to
/// 8 kHz, short enough (64 ms) that a click's filter ripple stays within it.
const BLOCK: usize = 1024;

/// A streaming resampler to 16 kHz: band-limited, linear phase, its delay taken out.
///
/// Sample k of the result lies at k/16000 s of the source, to well within a sample, and there
/// are `round(n · 16000 / rate)` samples (at least one) for n source samples.
pub(super) struct Resampler16k {
    rate: f64,
    taken: u64,
    out: Vec<f32>,
    fft: Option<Stage>,
}

struct Stage {
    fft: Fft<f32>,
    pending: Vec<f32>,
    scratch: Vec<f32>,
    chunk: usize,
    delay: usize,
}

impl Resampler16k {
    /// `rate` must be within [`Recording::SOURCE_RATES`]; fractions of a hertz are rounded.
    pub(super) fn new(rate: Hertz) -> Self {
        let target = Recording::RATE.value() as usize;
        let from = rate.value().round() as usize;
        let fft = (from != target).then(|| Stage::new(from, target));
        Self { rate: rate.value(), taken: 0, out: Vec::new(), fft }
    }

    /// Takes one source sample.
    pub(super) fn push(&mut self, sample: f32) {
        self.taken += 1;
        match &mut self.fft {
            None => self.out.push(sample),
            Some(stage) => {
                stage.pending.push(sample);
                if stage.pending.len() == stage.chunk {
                    stage.run(&mut self.out);
                }
            }
        }
    }

    /// Ends the stream and gives the whole result.
    pub(super) fn finish(mut self) -> Vec<f32> {
        if let Some(stage) = &mut self.fft {
            let exact = self.taken as f64 * Recording::RATE.value() / self.rate.round();
            let wanted = (exact.round() as usize).max(1);
            while self.out.len() < wanted + stage.delay {
                stage.run(&mut self.out);
            }
            self.out.drain(..stage.delay);
            self.out.truncate(wanted);
        }
        self.out.shrink_to_fit();
        self.out
    }
}

impl Stage {
    fn new(from: usize, to: usize) -> Self {
        let gcd = gcd(from, to);
        // An even number of smallest blocks makes the filter's delay a whole number of output
        // samples, so that taking it out leaves nothing over.
        let blocks = (BLOCK * gcd).div_ceil(to).next_multiple_of(2);
        let chunk = blocks * from / gcd;
        let fft = Fft::new_custom(from, to, chunk, 1, 1, WindowFunction::BlackmanHarris2, FixedSync::Both)
            .expect("rates and block size are above zero, the only things that are refused");
        let scratch = vec![0.0; fft.output_frames_max()];
        let delay = fft.output_delay();
        Self { chunk: fft.input_frames_next(), fft, pending: Vec::with_capacity(chunk), scratch, delay }
    }

    /// Resamples what is pending, filled up with silence, and appends it.
    fn run(&mut self, out: &mut Vec<f32>) {
        self.pending.resize(self.chunk, 0.0);
        let made = {
            let input = InterleavedSlice::new(&self.pending, 1, self.chunk)
                .expect("the buffer was just sized to the chunk");
            let frames = self.scratch.len();
            let mut output = InterleavedSlice::new_mut(&mut self.scratch, 1, frames)
                .expect("the buffer holds as many samples as it is said to");
            let (_, made) = self
                .fft
                .process_into_buffer(&input, &mut output, Some(&Indexing::default()))
                .expect("buffers have the sizes that the resampler asked for");
            made
        };
        out.extend_from_slice(&self.scratch[..made]);
        self.pending.clear();
    }
}

fn gcd(a: usize, b: usize) -> usize {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn through(rate: f64, n: usize, sound: impl Fn(f64) -> f64) -> Vec<f32> {
        let mut r = Resampler16k::new(Hertz::new(rate));
        for i in 0..n {
            r.push(sound(i as f64 / rate) as f32);
        }
        r.finish()
    }

    /// A tone must come out as the same tone sampled at 16 kHz: same time, same height.
    #[test]
    fn a_tone_keeps_its_time_and_height() {
        for rate in [8_000.0, 11_025.0, 16_000.0, 22_050.0, 44_100.0, 44_101.0, 48_000.0, 96_000.0, 192_000.0]
        {
            let n = (rate * 0.5) as usize;
            let tone = |t: f64| 0.5 * (TAU * 1_000.0 * t + 0.3).sin();
            let out = through(rate, n, tone);
            assert_eq!(out.len(), (n as f64 * 16_000.0 / rate).round() as usize, "{rate}");
            // Away from the ends, where the sound starts and stops abruptly.
            for k in 1_500..out.len() - 1_500 {
                let want = tone(k as f64 / 16_000.0);
                assert!(
                    (f64::from(out[k]) - want).abs() < 2e-3,
                    "{rate} Hz, sample {k}: {} vs {want}",
                    out[k]
                );
            }
        }
    }

    #[test]
    fn what_16_khz_cannot_hold_is_removed() {
        let out = through(48_000.0, 24_000, |t| (TAU * 11_000.0 * t).sin());
        let worst = out[1_500..out.len() - 1_500].iter().fold(0.0f32, |m, x| m.max(x.abs()));
        assert!(worst < 1e-3, "{worst}");
    }

    #[test]
    fn a_click_stays_where_it_was() {
        for rate in [44_100.0, 48_000.0, 8_000.0] {
            let n = rate as usize;
            let mut r = Resampler16k::new(Hertz::new(rate));
            for i in 0..n {
                r.push(if i == n / 2 { 1.0 } else { 0.0 });
            }
            let out = r.finish();
            let at = (0..out.len()).max_by(|&a, &b| out[a].total_cmp(&out[b])).expect("not empty");
            assert!(at.abs_diff(8_000) <= 1, "{rate}: {at}");
        }
    }

    #[test]
    fn one_sample_gives_one_sample() {
        assert_eq!(through(192_000.0, 1, |_| 0.5).len(), 1);
        assert_eq!(through(8_000.0, 1, |_| 0.5).len(), 2);
        assert_eq!(through(191_999.0, 3, |_| 0.5).len(), 1);
    }
}
