//! What is done to a recording from the microphone before it becomes a line: silence at the ends goes,
//! the level becomes sane.

use super::Shared;
use lipwright_core::line::Line;
use lipwright_core::units::Seconds;

/// A recording of a line that is not the one in use.
#[derive(Clone)]
pub struct Other {
    /// File name.
    pub file: String,
    /// The file.
    pub bytes: Shared<Vec<u8>>,
    /// What was heard in it and corrected, where that was done.
    pub line: Option<Line>,
}

/// A recording made fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Dub {
    /// The samples.
    pub samples: Vec<f32>,
    /// What was cut off before and after.
    pub cut: (Seconds, Seconds),
    /// What the samples were multiplied with, dB.
    pub gain_db: f64,
    /// True if the microphone was too loud for the converter: that cannot be mended.
    pub clipped: bool,
}

/// Length of a piece whose loudness is looked at, s.
const PIECE: f64 = 0.02;
/// Speech is this much louder than the quietest tenth of the pieces (from common practice): 12 dB.
const OVER_NOISE: f64 = 4.0;
/// Nothing quieter than this counts as speech: -56 dB of full scale.
const FLOOR: f64 = 0.0016;
/// What stays before the first and after the last sound, s: the head needs a moment to come up, and
/// breath after a word belongs to it.
const BEFORE: f64 = 0.25;
const AFTER: f64 = 0.35;
/// Loudness aimed at while speaking, RMS: -20 dB of full scale (from common practice for speech).
const AIM: f64 = 0.1;
/// No peak beyond this: -1 dB of full scale.
const PEAK: f64 = 0.891;
/// The most that is added: 30 dB; beyond that it is the room that is amplified.
const MOST: f64 = 31.6;
/// A sample this near full scale is at its end.
const FULL: f32 = 0.999;

/// True if some samples in a row stand at full scale.
#[must_use]
pub fn clips(samples: &[f32]) -> bool {
    samples.windows(3).any(|w| w.iter().all(|x| x.abs() >= FULL))
}

/// Makes a recording fit; `None` where nothing in it rises above the noise of the room.
#[must_use]
pub fn tidy(samples: &[f32], rate: f64) -> Option<Dub> {
    let piece = ((rate * PIECE) as usize).max(1);
    let rms = |x: &[f32]| (x.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>() / x.len() as f64).sqrt();
    let loud: Vec<f64> = samples.chunks(piece).map(rms).collect();
    let mut sorted = loud.clone();
    sorted.sort_by(f64::total_cmp);
    let noise = sorted.get(sorted.len() / 10).copied()?;
    let threshold = (noise * OVER_NOISE).max(FLOOR);
    // Where someone speaks without a pause, the quietest tenth is speech, too.
    let threshold = threshold.min(sorted.last().copied()? / 2.0).max(FLOOR);
    // A click is one piece; speech is more.
    let speaks = |i: usize| loud[i] > threshold && loud.get(i + 1).is_some_and(|l| *l > threshold);
    let first = (0..loud.len()).find(|i| speaks(*i))?;
    let last = (0..loud.len()).rev().find(|i| speaks(*i))? + 2;
    let start = (first * piece).saturating_sub((rate * BEFORE) as usize);
    let end = (last * piece + (rate * AFTER) as usize).min(samples.len());
    let kept = &samples[start..end];

    let spoken: Vec<f64> =
        loud[first..last.min(loud.len())].iter().filter(|l| **l > threshold).copied().collect();
    let level = (spoken.iter().map(|l| l * l).sum::<f64>() / spoken.len().max(1) as f64).sqrt();
    let peak = kept.iter().fold(0.0f64, |m, x| m.max(f64::from(x.abs())));
    let gain = (AIM / level).min(PEAK / peak).clamp(1.0 / MOST, MOST);
    Some(Dub {
        samples: kept.iter().map(|x| (f64::from(*x) * gain) as f32).collect(),
        cut: (Seconds::new(start as f64 / rate), Seconds::new((samples.len() - end) as f64 / rate)),
        gain_db: 20.0 * gain.log10(),
        clipped: clips(samples),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const RATE: f64 = 16_000.0;

    /// A room with this noise, in which someone speaks from 1 to 2 s at this level.
    fn room(noise: f32, level: f32) -> Vec<f32> {
        let mut seed = 3u32;
        (0..48_000)
            .map(|i| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let hiss = ((seed >> 16) as f32 / 32_768.0 - 1.0) * noise;
                let voice = if (16_000..32_000).contains(&i) { (i as f32 * 0.07).sin() * level } else { 0.0 };
                hiss + voice
            })
            .collect()
    }

    #[test]
    fn silence_goes_and_the_level_becomes_sane() {
        for (noise, level) in [(0.0005, 0.01), (0.002, 0.05), (0.001, 0.9)] {
            let dub = tidy(&room(noise, level), RATE).expect("someone speaks");
            assert!((dub.cut.0.value() - 0.75).abs() < 0.03, "{:?}", dub.cut);
            assert!((dub.cut.1.value() - 0.65).abs() < 0.05, "{:?}", dub.cut);
            let length = dub.samples.len() as f64 / RATE;
            assert!((length + dub.cut.0.value() + dub.cut.1.value() - 3.0).abs() < 1e-9);
            let voice = &dub.samples[6_000..18_000];
            let rms = (voice.iter().map(|x| x * x).sum::<f32>() / voice.len() as f32).sqrt();
            assert!((rms - 0.1).abs() < 0.01, "{noise} {level}: {rms}");
            assert!(!dub.clipped);
        }
    }

    #[test]
    fn clipping_is_told_and_an_empty_room_is_no_line() {
        assert!(
            tidy(&room(0.001, 1.4).iter().map(|x| x.clamp(-1.0, 1.0)).collect::<Vec<_>>(), RATE)
                .expect("loud")
                .clipped
        );
        assert_eq!(tidy(&room(0.002, 0.0), RATE), None);
        assert_eq!(tidy(&[], RATE), None);
        assert_eq!(tidy(&[0.0; 1000], RATE), None);
        // One click is not speech.
        let mut click = vec![0.0; 16_000];
        click[8_000] = 0.9;
        assert_eq!(tidy(&click, RATE), None);
    }

    proptest! {
        #[test]
        fn nothing_is_ever_louder_than_full_scale(samples in prop::collection::vec(-1.0f32..1.0, 0..9_000), quiet in 0.0f32..1.0) {
            let samples: Vec<f32> = samples.iter().map(|x| x * quiet).collect();
            if let Some(dub) = tidy(&samples, RATE) {
                prop_assert!(dub.samples.iter().all(|x| x.abs() <= 0.9));
                prop_assert!(dub.samples.len() <= samples.len());
            }
        }
    }
}
