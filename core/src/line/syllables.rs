//! What a voice does from syllable to syllable: pitch, loudness, length, beside its phrase.

use super::{Line, Segment};
use crate::features::Features;
use crate::phonetics::{MouthShape, Phone};
use crate::units::Seconds;
use std::ops::Range;

/// A rest at least this long ends a phrase.
const PAUSE: Seconds = Seconds::new(0.15);
/// Syllables of one phrase; a breathless speaker's phrase is cut here, which also bounds the work.
const LONGEST_PHRASE: usize = 24;
/// Voiced frames that a syllable needs before it has a pitch.
const FEWEST_FRAMES: usize = 3;
/// A voice sinks along a phrase, rarely by more than this (semitones a second; common practice).
const STEEPEST: f64 = 5.0;

/// A syllable, by its vowel.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Syllable {
    /// Where its vowel begins.
    pub(super) start: Seconds,
    /// Where its vowel ends.
    pub(super) end: Seconds,
    /// Upper quartile of its pitch above the phrase's sinking line, in semitones.
    pub(super) above: Option<f64>,
    /// How far the pitch moves from the phrase's line to where the syllable ends, in semitones.
    pub(super) ends_above: Option<f64>,
    /// Loudest frame beside the median syllable of the phrase, in decibels.
    pub(super) louder: f64,
    /// Its length over what its vowel usually has.
    pub(super) longer: f64,
    /// Share of its frames that are voiced, 0..=1.
    pub(super) voiced: f64,
    /// How sure the ear was of its shape, 0..=1.
    pub(super) sure: f64,
}

/// Syllables between two pauses; never empty.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Phrase {
    pub(super) start: Seconds,
    pub(super) end: Seconds,
    pub(super) syllables: Vec<Syllable>,
    /// Median pitch in semitones above 1 Hz, where there is one.
    pub(super) pitch: Option<f64>,
}

/// Reads the phrases of a line off its segments and the voice.
pub(super) fn phrases(line: &Line, features: &Features) -> Vec<Phrase> {
    let mut out = Vec::new();
    let mut from = 0;
    let mut vowels = 0;
    let segments = line.segments();
    for (i, s) in segments.iter().enumerate() {
        vowels += usize::from(is_nucleus(s));
        let pause = s.shape == MouthShape::Rest && s.length() >= PAUSE;
        if pause || vowels == LONGEST_PHRASE || i + 1 == segments.len() {
            let end = if pause { i } else { i + 1 };
            out.extend(phrase(&segments[from..end], features));
            (from, vowels) = (i + 1, 0);
        }
    }
    out
}

fn phrase(segments: &[Segment], features: &Features) -> Option<Phrase> {
    let raw: Vec<Raw> = segments.iter().filter(|s| is_nucleus(s)).map(|s| Raw::of(s, features)).collect();
    let pitches: Vec<(f64, f64)> = raw.iter().filter_map(|r| Some((r.middle(), r.pitch?))).collect();
    let slope = sinking(&pitches);
    let level = median(pitches.iter().map(|(t, p)| p - slope * t).collect());
    let loudness = median(raw.iter().map(|r| r.loud).collect())?;
    let line = |at: f64| level.map(|l| l + slope * at);
    let syllables = raw.iter().map(|r| Syllable {
        start: r.start,
        end: r.end,
        above: r.pitch.zip(line(r.middle())).map(|(p, l)| p - l),
        ends_above: r.last.zip(line(r.end.value())).map(|(p, l)| p - l),
        louder: r.loud - loudness,
        longer: r.longer,
        voiced: r.voiced,
        sure: r.sure,
    });
    Some(Phrase {
        start: segments.first()?.start,
        end: segments.last()?.end,
        syllables: syllables.collect(),
        pitch: median(pitches.iter().map(|p| p.1).collect()),
    })
}

/// A vowel, and what was measured in it.
struct Raw {
    start: Seconds,
    end: Seconds,
    /// Semitones above 1 Hz.
    pitch: Option<f64>,
    last: Option<f64>,
    loud: f64,
    longer: f64,
    voiced: f64,
    sure: f64,
}

impl Raw {
    fn of(segment: &Segment, features: &Features) -> Self {
        let frames = frames(segment, features);
        let mut pitch: Vec<f64> = features.pitch_hz()[frames.clone()]
            .iter()
            .filter(|hz| **hz > 0.0)
            .map(|hz| 12.0 * f64::from(*hz).log2())
            .collect();
        let voiced = pitch.len() as f64 / frames.len().max(1) as f64;
        let enough = pitch.len() >= FEWEST_FRAMES;
        let last =
            enough.then(|| pitch[pitch.len() - FEWEST_FRAMES..].iter().sum::<f64>() / FEWEST_FRAMES as f64);
        pitch.sort_by(f64::total_cmp);
        let usual = segment.phone.unwrap_or(Phone::Ah).span().inherent;
        Self {
            start: segment.start,
            end: segment.end,
            pitch: enough.then(|| pitch[pitch.len() * 3 / 4]),
            last,
            loud: f64::from(features.energy_db()[frames].iter().copied().fold(-120.0, f32::max)),
            longer: segment.length().value() / usual.value(),
            voiced,
            sure: segment.confidence,
        }
    }

    fn middle(&self) -> f64 {
        0.5 * (self.start + self.end).value()
    }
}

fn frames(segment: &Segment, features: &Features) -> Range<usize> {
    let frame = |t: Seconds| ((t.value() / Features::HOP.value()).round() as usize).min(features.frames());
    frame(segment.start)..frame(segment.end)
}

fn is_nucleus(segment: &Segment) -> bool {
    use MouthShape::*;
    match segment.phone {
        Some(phone) => phone.is_vowel(),
        None => matches!(segment.shape, Open | HalfOpen | Rounded | Spread | Pursed),
    }
}

/// How fast a phrase sinks, in semitones a second: the median slope between any two syllables
/// (Theil's estimator), which one accent does not bend; never rising, never absurdly steep.
fn sinking(pitches: &[(f64, f64)]) -> f64 {
    if pitches.len() < 4 {
        return 0.0;
    }
    let mut slopes = Vec::new();
    for (i, a) in pitches.iter().enumerate() {
        slopes.extend(pitches[i + 1..].iter().map(|b| (b.1 - a.1) / (b.0 - a.0).max(0.01)));
    }
    median(slopes).map_or(0.0, |s| s.clamp(-STEEPEST, 0.0))
}

pub(super) fn median(mut of: Vec<f64>) -> Option<f64> {
    of.sort_by(f64::total_cmp);
    let n = of.len();
    (n > 0).then(|| 0.5 * (of[(n - 1) / 2] + of[n / 2]))
}
