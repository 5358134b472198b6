//! A loud voice is not silence, whatever the recogniser takes it for.
//!
//! Hesitations are rare in read speech, and where people make them the transcripts it learned from often have
//! nothing. So a recogniser takes an "um" for silence now and then, and the mouth would stay shut while a voice is
//! heard. What is as periodic as a voice and nearly as loud as the rest of what is said is one.

use super::Posteriors;
use crate::audio::Recording;
use crate::features::{Features, Periodicity};
use crate::phonetics::Phone;

/// How far under the mean power of what is said a voice may be and still be the speaker's.
const BELOW_DB: f64 = 15.0;
/// So much of its power a voiced frame has again one period later.
const PERIODIC: f32 = 0.7;
/// Belief in silence below which a frame is speech for sure enough to tell how loud it is.
const SURE: f32 = 0.5;
/// Less belief in silence needs no second look.
const BELIEVED: f32 = 0.02;
/// Frames in a row from which on it counts: what is shorter may be the end of a sound that is dying away.
const LEAST: usize = 6;
/// What is left of the belief in silence.
const LEFT: f32 = 0.02;

/// Takes belief in silence away where a voice is heard.
pub(super) fn hear_voice(mut posteriors: Posteriors, recording: &Recording) -> Posteriors {
    let hop = (Recording::RATE.value() * Features::HOP.value()).round() as usize;
    let power: Vec<f64> = recording
        .samples()
        .chunks(hop)
        .map(|c| c.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / hop as f64)
        .collect();
    let silent = |i: usize| posteriors.frame(i)[Phone::Sil.index()];
    let frames = posteriors.frames().min(power.len());
    let said: Vec<usize> = (0..frames).filter(|i| silent(*i) < SURE).collect();
    if said.len() < LEAST {
        return posteriors;
    }
    let loudness = said.iter().map(|i| power[*i]).sum::<f64>() / said.len() as f64;
    let floor = loudness * 10f64.powf(-BELOW_DB / 10.0);
    let mut periodic = Periodicity::of(recording);
    let voiced: Vec<bool> =
        (0..frames).map(|i| silent(i) > BELIEVED && power[i] > floor && periodic.at(i) > PERIODIC).collect();
    let mut at = 0;
    for run in voiced.chunk_by(|a, b| a == b) {
        if run[0] && run.len() >= LEAST {
            (at..at + run.len()).for_each(|i| posteriors.doubt_silence(i, LEFT));
        }
        at += run.len();
    }
    posteriors
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::ChannelChoice;

    const FRAMES: usize = 300;

    /// Three seconds: speech (a buzz at 120 Hz) for a second, then another sound until 2 s, then nothing.
    fn recording(second: impl Fn(usize) -> f32) -> Recording {
        let buzz = |i: usize| (1..=8).map(|k| (i as f32 * k as f32 * 0.047_12).sin() / k as f32).sum::<f32>();
        let samples: Vec<f32> = (0..FRAMES * 160)
            .map(|i| match i / 16_000 {
                0 => 0.2 * buzz(i),
                1 => second(i) * buzz(i),
                _ => 0.0,
            })
            .collect();
        Recording::from_interleaved(&samples, 1, Recording::RATE, ChannelChoice::Mix).expect("it is one")
    }

    /// Speech for a second, then a recogniser that rather believes in silence.
    fn taken_for_silence() -> Posteriors {
        let row = |i: usize| {
            let mut row = [0.0; Phone::COUNT];
            let silent = if i < 100 { 0.0 } else { 0.6 };
            row[Phone::Sil.index()] = silent;
            row[Phone::Ah.index()] = 0.75 * (1.0 - silent);
            row[Phone::Ae.index()] = 0.25 * (1.0 - silent);
            row
        };
        Posteriors::new((0..FRAMES).map(row).collect()).expect("they are")
    }

    /// Frames in which belief in silence was taken away.
    fn heard(second: impl Fn(usize) -> f32) -> Vec<usize> {
        let (before, after) = (taken_for_silence(), hear_voice(taken_for_silence(), &recording(second)));
        let mut changed = Vec::new();
        for i in 0..FRAMES {
            let row = after.frame(i);
            assert!((row.iter().sum::<f32>() - 1.0).abs() < 1e-5);
            if row == before.frame(i) {
                continue;
            }
            // What is said otherwise is as before, in the same proportion.
            assert!(row[Phone::Sil.index()] < 0.05, "{i}");
            assert!((row[Phone::Ah.index()] / row[Phone::Ae.index()] - 3.0).abs() < 1e-3, "{i}");
            changed.push(i);
        }
        changed
    }

    #[test]
    fn a_loud_voice_is_not_silence() {
        let frames = heard(|_| 0.15);
        assert!(frames.len() >= 95 && frames.iter().all(|i| (98..202).contains(i)), "{frames:?}");
    }

    /// The edge is 15 dB under what is said: 0.0356 of 0.2.
    #[test]
    fn a_voice_far_quieter_than_the_speaker_stays_what_it_was() {
        assert!(heard(|_| 0.04).len() >= 95);
        let frames = heard(|_| 0.03);
        assert!(frames.iter().all(|i| (98..102).contains(i)), "{frames:?}");
    }

    #[test]
    fn noise_is_no_voice() {
        let mut seed = 1u32;
        let noise: Vec<f32> = (0..32_000)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                seed as f32 / u32::MAX as f32 - 0.5
            })
            .collect();
        let mut recording = recording(|_| 0.0).samples().to_vec();
        for (x, n) in recording[16_000..].iter_mut().zip(&noise) {
            *x += 0.5 * n;
        }
        let recording = Recording::from_interleaved(&recording, 1, Recording::RATE, ChannelChoice::Mix)
            .expect("it is one");
        let after = hear_voice(taken_for_silence(), &recording);
        let changed = (103..FRAMES).filter(|i| after.frame(*i) != taken_for_silence().frame(*i)).count();
        assert_eq!(changed, 0);
    }

    #[test]
    fn what_is_over_in_a_moment_may_be_the_end_of_a_sound() {
        // Six frames of 10 ms and more count, fewer do not; windows of 50 ms blur the ends.
        let only = |from: usize, frames: usize| {
            move |i: usize| if (from..from + frames * 160).contains(&i) { 0.15 } else { 0.0 }
        };
        assert!(heard(only(24_000, 2)).is_empty());
        assert!(heard(only(24_000, 20)).len() >= 15);
    }

    #[test]
    fn nothing_is_made_of_nothing() {
        assert!(hear_voice(Posteriors::default(), &recording(|_| 0.2)) == Posteriors::default());
        // A hum where nobody speaks is no speech, however sure or unsure the recogniser is.
        for silence in [0.7, 0.97, 1.0] {
            let mut row = [0.0; Phone::COUNT];
            (row[Phone::Sil.index()], row[Phone::Ah.index()]) = (silence, 1.0 - silence);
            let before = Posteriors::new(vec![row; FRAMES]).expect("they are");
            assert!(hear_voice(before.clone(), &recording(|_| 0.2)) == before, "{silence}");
        }
    }
}
