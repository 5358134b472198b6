//! All measurements of a recording.

use super::formants::FormantFinder;
use super::mel::{BIN_HZ, BINS, MEL_BANDS, MelBank, WINDOW};
use super::pitch::{self, Candidates, PitchFinder};
use super::pitch_track::{PitchTrack, VOICED};
use crate::audio::Recording;
use crate::progress::Progress;
use crate::units::Seconds;

/// Why measuring stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FeatureError {
    /// The caller asked for it.
    #[error("measuring the sound was cancelled")]
    Cancelled,
}

/// Samples from one frame to the next.
const HOP: usize = 160;
/// Frames between two reports of progress.
const REPORT_EVERY: usize = 256;
/// A frame this far below the loudest sample has neither pitch nor formants, in decibels.
const QUIET_DB: f32 = 55.0;
/// The track may call a frame voiced that is this much less periodic than its threshold, if its
/// neighbours are voiced: formants are looked for there, too.
const BARELY: f32 = 0.25;
/// Loudness of digital silence, in decibels relative to full scale.
const SILENCE_DB: f32 = -120.0;

/// Measurements of a recording, one row every 10 ms.
///
/// All lists have [`Features::frames`] entries and hold finite numbers only.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Features {
    log_mel: Vec<[f32; MEL_BANDS]>,
    energy_db: Vec<f32>,
    centroid_hz: Vec<f32>,
    flatness: Vec<f32>,
    voicing: Vec<f32>,
    pitch_hz: Vec<f32>,
    formants_hz: Vec<[f32; 3]>,
}

impl Features {
    /// Time from one frame to the next.
    pub const HOP: Seconds = Seconds::new(0.01);

    /// Number of frames.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.log_mel.len()
    }

    /// Natural logarithm of the energy in each of 40 mel bands (see the module page).
    #[must_use]
    pub fn log_mel(&self) -> &[[f32; MEL_BANDS]] {
        &self.log_mel
    }

    /// Mean power of the 25 ms window in dB relative to full scale; −120 for silence.
    #[must_use]
    pub fn energy_db(&self) -> &[f32] {
        &self.energy_db
    }

    /// Centre of gravity of the power spectrum in hertz; 0 for silence.
    #[must_use]
    pub fn centroid_hz(&self) -> &[f32] {
        &self.centroid_hz
    }

    /// Geometric over arithmetic mean of the power spectrum, 0..=1: near 0 for a tone, towards 1
    /// for noise (white noise in one frame gives about 0.56, not 1).
    #[must_use]
    pub fn flatness(&self) -> &[f32] {
        &self.flatness
    }

    /// How periodic the sound is, 0..=1.
    #[must_use]
    pub fn voicing(&self) -> &[f32] {
        &self.voicing
    }

    /// Pitch in hertz; 0 where the sound is not voiced.
    #[must_use]
    pub fn pitch_hz(&self) -> &[f32] {
        &self.pitch_hz
    }

    /// F1, F2, F3 in hertz; 0 where a formant was not found or the frame is quiet or not voiced.
    #[must_use]
    pub fn formants_hz(&self) -> &[[f32; 3]] {
        &self.formants_hz
    }
}

/// Measures a recording.
///
/// ```
/// use lipwright_core::{audio::*, features::analyse, progress::Quiet, units::Hertz};
/// let tone: Vec<f32> = (0..16_000).map(|i| (i as f32 * 0.05).sin()).collect();
/// let tone = Recording::from_interleaved(&tone, 1, Hertz::new(16_000.0), ChannelChoice::Mix)?;
/// let features = analyse(&tone, &mut Quiet)?;
/// assert_eq!(features.frames(), 100);
/// assert!((features.pitch_hz()[50] - 16_000.0 * 0.05 / std::f32::consts::TAU).abs() < 1.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`FeatureError::Cancelled`] if `progress` asked for it.
pub fn analyse(recording: &Recording, progress: &mut dyn Progress) -> Result<Features, FeatureError> {
    let samples = recording.samples();
    let frames = frame_count(samples.len());
    let mut out = Features {
        log_mel: Vec::with_capacity(frames),
        energy_db: Vec::with_capacity(frames),
        centroid_hz: Vec::with_capacity(frames),
        flatness: Vec::with_capacity(frames),
        voicing: Vec::with_capacity(frames),
        pitch_hz: Vec::new(),
        formants_hz: Vec::with_capacity(frames),
    };
    let mut mel = MelBank::new();
    let mut pitch = PitchFinder::new();
    let mut formants = FormantFinder::new();
    let mut power = [0.0; BINS];
    // What is very quiet beside the loudest sample is not searched for pitch.
    let loudest = loudest(samples);
    let floor_db = SILENCE_DB.max(20.0 * loudest.max(1e-9).log10() - QUIET_DB);
    let mut track = PitchTrack::new(loudest, frames);
    for i in 0..frames {
        if i % REPORT_EVERY == 0 && !progress.report("measuring", i as f64 / frames as f64) {
            return Err(FeatureError::Cancelled);
        }
        let (stretch, offset) = around(samples, i, WINDOW);
        mel.power(stretch, offset, &mut power);
        out.log_mel.push(mel.log_mel(&power));
        let mean = stretch.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / WINDOW as f64;
        let db = (10.0 * mean.max(1e-12).log10()) as f32;
        out.energy_db.push(db);
        let (centroid, flatness) = spectral_shape(&power);
        out.centroid_hz.push(centroid);
        out.flatness.push(flatness);
        let (stretch, offset) = around(samples, i, pitch::WINDOW);
        let pitches = if db > floor_db { pitch.find(stretch, offset) } else { Candidates::default() };
        track.push(&pitches);
        let periodic = pitches.periodic();
        out.voicing.push(periodic);
        let maybe = periodic >= VOICED - BARELY;
        out.formants_hz.push(if maybe { formants.find(&power) } else { [0.0; 3] });
    }
    out.pitch_hz = track.finish();
    for (formants, hz) in out.formants_hz.iter_mut().zip(&out.pitch_hz) {
        if *hz == 0.0 {
            *formants = [0.0; 3];
        }
    }
    Ok(out)
}

/// The log-mel values of a recording alone, the same as in [`Features::log_mel`]: all that the acoustic
/// model hears, in a fraction of the time, since neither pitch nor formants are looked for.
///
/// # Errors
/// [`FeatureError::Cancelled`] if `progress` asked for it.
pub fn log_mel(
    recording: &Recording,
    progress: &mut dyn Progress,
) -> Result<Vec<[f32; MEL_BANDS]>, FeatureError> {
    let samples = recording.samples();
    let frames = frame_count(samples.len());
    let mut mel = MelBank::new();
    let mut power = [0.0; BINS];
    let mut rows = Vec::with_capacity(frames);
    for i in 0..frames {
        if i % REPORT_EVERY == 0 && !progress.report("measuring", i as f64 / frames as f64) {
            return Err(FeatureError::Cancelled);
        }
        let (stretch, offset) = around(samples, i, WINDOW);
        mel.power(stretch, offset, &mut power);
        rows.push(mel.log_mel(&power));
    }
    Ok(rows)
}

/// How periodic single frames of a recording are, the same as in [`Features::voicing`]: for who asks about few.
pub struct Periodicity<'a> {
    samples: &'a [f32],
    finder: PitchFinder,
}

impl<'a> Periodicity<'a> {
    /// Gets ready for a recording.
    #[must_use]
    pub fn of(recording: &'a Recording) -> Self {
        Self { samples: recording.samples(), finder: PitchFinder::new() }
    }

    /// How periodic a frame is, 0..=1; 0 beyond the end.
    pub fn at(&mut self, frame: usize) -> f32 {
        if frame >= frame_count(self.samples.len()) {
            return 0.0;
        }
        let (stretch, offset) = around(self.samples, frame, pitch::WINDOW);
        self.finder.find(stretch, offset).periodic()
    }
}

/// Number of frames of so many samples.
pub(super) fn frame_count(samples: usize) -> usize {
    samples.div_ceil(HOP)
}

/// Largest sample, less the mean of all.
fn loudest(samples: &[f32]) -> f32 {
    let sum: f64 = samples.iter().map(|x| f64::from(*x)).sum();
    let mean = (sum / samples.len().max(1) as f64) as f32;
    samples.iter().fold(0.0, |m, x| (x - mean).abs().max(m))
}

/// The samples of a window centred on frame `i`, and how far into the window they begin.
pub(super) fn around(samples: &[f32], i: usize, window: usize) -> (&[f32], usize) {
    let centre = i * HOP + HOP / 2;
    let from = centre.saturating_sub(window / 2);
    let offset = (window / 2).saturating_sub(centre);
    let to = (centre + window / 2).min(samples.len());
    (&samples[from..to], offset)
}

fn spectral_shape(power: &[f32; BINS]) -> (f32, f32) {
    let (mut sum, mut moment, mut logs) = (0.0f64, 0.0f64, 0.0f64);
    for (k, p) in power.iter().enumerate() {
        let p = f64::from(*p);
        sum += p;
        moment += p * k as f64;
        logs += f64::from((p as f32).max(1e-30).ln());
    }
    if !(sum > 1e-12) {
        return (0.0, 0.0);
    }
    let geometric = (logs / BINS as f64).exp();
    let arithmetic = sum / BINS as f64;
    ((moment / sum * BIN_HZ) as f32, ((geometric / arithmetic) as f32).clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::ChannelChoice;
    use crate::progress::Quiet;
    use proptest::prelude::*;
    use std::f64::consts::{PI, TAU};

    fn measure(samples: &[f32]) -> Features {
        let r = Recording::from_interleaved(samples, 1, Recording::RATE, ChannelChoice::Mix)
            .expect("a recording");
        analyse(&r, &mut Quiet).expect("not cancelled")
    }

    #[test]
    fn a_frame_by_itself_is_as_periodic_as_among_the_others() {
        let samples: Vec<f32> = (0..8_000).map(|i| (i as f32 * 0.05).sin() * (i as f32 / 8_000.0)).collect();
        let recording = Recording::from_interleaved(&samples, 1, Recording::RATE, ChannelChoice::Mix)
            .expect("a recording");
        let whole = measure(&samples);
        let mut single = Periodicity::of(&recording);
        for i in [49, 20, 35] {
            assert_eq!(single.at(i), whole.voicing()[i]);
        }
        assert_eq!(single.at(50), 0.0, "beyond the end");
    }

    #[test]
    fn frames_cover_the_recording() {
        for (n, frames) in [(1, 1), (160, 1), (161, 2), (16_000, 100)] {
            assert_eq!(measure(&vec![0.1; n]).frames(), frames);
        }
    }

    /// Judge: everything measured at once.
    #[test]
    fn log_mel_alone_is_the_same() {
        let sound: Vec<f32> =
            (0..9_000).map(|i| ((i as f32) * 0.03).sin() * ((i as f32) * 0.002).sin()).collect();
        let r =
            Recording::from_interleaved(&sound, 1, Recording::RATE, ChannelChoice::Mix).expect("a recording");
        assert_eq!(log_mel(&r, &mut Quiet).expect("not cancelled"), measure(&sound).log_mel());
        assert_eq!(log_mel(&r, &mut |_: &'static str, _| false), Err(FeatureError::Cancelled));
    }

    #[test]
    fn silence_is_silent() {
        let f = measure(&[0.0; 3_200]);
        assert!(f.log_mel().iter().flatten().all(|x| *x == (1e-10f32).ln()));
        assert!(f.energy_db().iter().all(|x| *x == -120.0));
        assert!(f.voicing().iter().chain(f.pitch_hz()).chain(f.flatness()).all(|x| *x == 0.0));
    }

    /// Moving a sound by whole frames moves every measurement by as many frames.
    #[test]
    fn time_shifts_go_through() {
        let sound: Vec<f32> =
            (0..8_000).map(|i| ((i as f32) * 0.03).sin() * ((i as f32) * 0.002).sin()).collect();
        let mut later = vec![0.0; 5 * HOP];
        later.extend(&sound);
        let (a, b) = (measure(&sound), measure(&later));
        for i in 2..a.frames() - 2 {
            assert_eq!(a.log_mel()[i], b.log_mel()[i + 5]);
            assert_eq!(a.pitch_hz()[i], b.pitch_hz()[i + 5]);
        }
    }

    #[test]
    fn noise_is_flat_and_tones_are_not() {
        let mut seed = 1u32;
        let noise: Vec<f32> = (0..16_000)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                seed as f32 / u32::MAX as f32 - 0.5
            })
            .collect();
        let f = measure(&noise);
        assert!(f.flatness()[50] > 0.4 && (f.centroid_hz()[50] - 4_000.0).abs() < 600.0);
        assert!(f.voicing()[20..80].iter().sum::<f32>() / 60.0 < 0.45);
        let tone: Vec<f32> =
            (0..16_000).map(|i| (TAU * 250.0 * f64::from(i) / 16_000.0).sin() as f32).collect();
        let f = measure(&tone);
        assert!(f.flatness()[50] < 0.01 && (f.centroid_hz()[50] - 250.0).abs() < 20.0);
        assert!((f.pitch_hz()[50] - 250.0).abs() < 0.5 && f.voicing()[50] > 0.95);
        assert!((f.energy_db()[50] + 3.01).abs() < 0.2);
    }

    /// A vowel from a pulse train through resonators at the given formants.
    fn vowel(pitch: f64, formants: [f64; 3]) -> Vec<f32> {
        let rate = 16_000.0;
        let mut x = vec![0.0f64; 8_000];
        let mut phase = 0.0;
        let mut tilt = 0.0;
        for v in x.iter_mut() {
            phase += pitch / rate;
            let pulse = if phase >= 1.0 {
                phase -= 1.0;
                1.0
            } else {
                0.0
            };
            tilt = 0.9 * tilt + pulse;
            *v = tilt;
        }
        // F4 and F5 as in a uniform tube keep the slope of the spectrum natural.
        let scale = formants[2] / 2_500.0;
        for (f, bw) in formants
            .into_iter()
            .zip([60.0, 90.0, 120.0])
            .chain([(3_500.0 * scale, 175.0), (4_500.0 * scale, 250.0)])
        {
            let c = -(-2.0 * PI * bw / rate).exp();
            let b = 2.0 * (-PI * bw / rate).exp() * (TAU * f / rate).cos();
            let (mut y1, mut y2) = (0.0, 0.0);
            for v in x.iter_mut() {
                let y = (1.0 - b - c) * *v + b * y1 + c * y2;
                (y2, y1) = (y1, y);
                *v = y;
            }
        }
        let top = x.iter().fold(0.0f64, |m, v| m.max(v.abs()));
        x.iter().map(|v| (v / top * 0.5) as f32).collect()
    }

    /// Vowels of G. E. Peterson and H. L. Barney, JASA 24 (1952), Table II, men: F1 and F2 must
    /// come back within a harmonic's half spacing and a tenth, the normal error at this pitch.
    #[test]
    fn finds_the_formants_of_published_vowels() {
        let men = [
            ("i", [270.0, 2290.0, 3010.0]),
            ("ɪ", [390.0, 1990.0, 2550.0]),
            ("ɛ", [530.0, 1840.0, 2480.0]),
            ("æ", [660.0, 1720.0, 2410.0]),
            ("ɑ", [730.0, 1090.0, 2440.0]),
            ("ɔ", [570.0, 840.0, 2410.0]),
            ("ʊ", [440.0, 1020.0, 2240.0]),
            ("u", [300.0, 870.0, 2240.0]),
            ("ʌ", [640.0, 1190.0, 2390.0]),
            ("ɝ", [490.0, 1350.0, 1690.0]),
        ];
        for (name, formants) in men {
            let f = measure(&vowel(120.0, formants));
            let mut rows = f.formants_hz()[10..40].to_vec();
            for k in 0..2 {
                rows.sort_by(|a, b| a[k].total_cmp(&b[k]));
                let got = f64::from(rows[rows.len() / 2][k]);
                let allowed = 60.0f64.max(0.1 * formants[k]);
                assert!((got - formants[k]).abs() <= allowed, "{name} F{}: {got} vs {}", k + 1, formants[k]);
            }
            let pitch = f.pitch_hz()[25];
            assert!((pitch - 120.0).abs() < 2.0, "{name}: pitch {pitch}");
        }
    }

    #[test]
    fn can_be_cancelled() {
        let r = Recording::from_interleaved(&[0.0; 16_000], 1, Recording::RATE, ChannelChoice::Mix)
            .expect("a recording");
        assert_eq!(analyse(&r, &mut |_: &'static str, _| false), Err(FeatureError::Cancelled));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]
        #[test]
        fn all_numbers_are_finite(samples in proptest::collection::vec(prop_oneof![-1.0f32..1.0, Just(0.0f32), Just(1e6f32), Just(1e-20f32)], 1..2000)) {
            let f = measure(&samples);
            prop_assert!(f.log_mel().iter().flatten().all(|x| x.is_finite()));
            for list in [f.energy_db(), f.centroid_hz(), f.flatness(), f.voicing(), f.pitch_hz()] {
                prop_assert_eq!(list.len(), f.frames());
                prop_assert!(list.iter().all(|x| x.is_finite()));
            }
            prop_assert!(f.formants_hz().iter().flatten().all(|x| x.is_finite() && *x >= 0.0));
        }
    }
}
