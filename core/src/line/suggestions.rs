//! Looks that the voice suggests: brows up on a high syllable, the head with a loud one.
//!
//! Speakers raise their brows mostly where the pitch rises (C. Cavé and others, "About the
//! relationship between eyebrow movements and F0 variations", ICSLP 1996), a little before the
//! accent begins (M. L. Flecha-García, Speech Communication 52, 2010), and loudness tells stress
//! better than pitch does (G. Kochanski and others, JASA 118, 2005); these are cited from memory, and
//! the thresholds below are our own choice. A suggestion changes nothing until a person takes it.

use super::syllables::{Phrase, Syllable, median, phrases};
use super::{EventKind, ExpressionKey, Line, LineError, first_late, lane_at};
use crate::features::Features;
use crate::rig::{Dof, Expression, FacePart};
use crate::units::Seconds;
pub use blinks::suggest_blinks;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Pitch above the phrase that suggests a raised brow, in semitones.
const HIGH: f64 = 2.5;
/// Pitch above the phrase at which a syllable that ends it is a question, in semitones.
const RISING: f64 = 3.0;
/// Loudness above the phrase that suggests a move of the head, in decibels.
const LOUD: f64 = 4.0;
/// Pitch of a phrase above the others that suggests lifted corners, in semitones.
const BRIGHT: f64 = 2.5;
/// Suggestions keep this distance.
const APART: Seconds = Seconds::new(0.4);
/// How long before a syllable a look sets in, and how soon after its beginning it is there.
const BEFORE: Seconds = Seconds::new(0.16);
const THERE: Seconds = Seconds::new(0.04);
/// How long a look takes to go.
const AFTER: Seconds = Seconds::new(0.35);
/// A turn of the head with a loud syllable, in degrees.
const TURN: f64 = 5.0;
/// Keys nearer than this count as one.
const SAME: Seconds = Seconds::new(1e-3);

/// A look that the voice suggests.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Suggestion {
    /// The face leaves what it did here.
    #[serde(rename = "start_s")]
    pub start: Seconds,
    /// What it does, and when that is reached.
    pub look: ExpressionKey,
    /// Until here it stays.
    #[serde(rename = "until_s")]
    pub until: Seconds,
    /// Here it is back.
    #[serde(rename = "end_s")]
    pub end: Seconds,
    /// The part of the face that moves.
    pub part: FacePart,
    /// How clear the voice is about it, 0..=1: grows with how far the syllable stands out, and falls
    /// where it is hardly voiced or the ear was unsure. Not a measured probability.
    pub confidence: f64,
    /// The event that it is instead of a look; `look` then tells when, and no more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub event: Option<EventKind>,
    /// Why, for the person: "brows up at “storm”: 4 semitones above the phrase".
    pub reason: String,
}

impl Suggestion {
    fn problem(&self, duration: Seconds) -> Option<&'static str> {
        let times = [Seconds::ZERO, self.start, self.look.time, self.until, self.end, duration];
        if !times.windows(2).all(|t| t[0] <= t[1]) {
            return Some("its times must rise inside the line");
        }
        if !(0.0..=1.0).contains(&self.confidence) {
            return Some("confidence must lie in 0 to 1");
        }
        self.look.problem(duration)
    }

    /// The keys that this look puts into a lane, each one unless the lane has one there already.
    fn keys(&self, lane: &[ExpressionKey]) -> Vec<ExpressionKey> {
        let at = |t| shown_at(lane, t);
        let mut look = at(self.look.time);
        let changes = self.look.expression != Expression::Neutral;
        if changes && look.expression == Expression::Neutral && look.values.is_empty() {
            look = self.look.clone();
        } else if changes {
            // Another look is on: only what moves is laid over it.
            let pose = self.look.expression.reference().target;
            let moved = Dof::ALL.into_iter().filter(|d| d.part() == self.part);
            look.values.extend(moved.map(|d| (d, pose[d] * self.look.amount)));
        } else {
            look.values.extend(&self.look.values);
        }
        let stays = ExpressionKey { time: self.until, ..look.clone() };
        let mut keys = vec![at(self.start), look];
        if self.until - self.look.time > SAME {
            keys.push(stays);
        }
        keys.push(at(self.end));
        keys
    }
}

/// What a lane shows at a time, as a key of its own.
pub(super) fn shown_at(lane: &[ExpressionKey], time: Seconds) -> ExpressionKey {
    let Some((before, next, share)) = lane_at(lane, time) else {
        return ExpressionKey::new(time, Expression::Neutral);
    };
    let mut key = if share < 0.5 { before.clone() } else { next.clone() };
    if before.expression == next.expression {
        key.amount = before.amount + (next.amount - before.amount) * share;
        for (dof, value) in &mut key.values {
            if let (Some(a), Some(b)) = (before.values.get(dof), next.values.get(dof)) {
                *value = a + (b - a) * share;
            }
        }
    }
    ExpressionKey { time, easing: before.easing, ..key }
}

/// Looks that the voice of a line suggests, in order of time, apart from each other; none for a
/// monotone. `features` are those of the line's recording.
///
/// Costs grow with the line's length.
#[must_use]
pub fn suggest(line: &Line, features: &Features) -> Vec<Suggestion> {
    let phrases = phrases(line, features);
    let usual = median(phrases.iter().filter_map(|p| p.pitch).collect());
    let mut found = Vec::new();
    for phrase in &phrases {
        found.extend(phrase.syllables.iter().filter_map(|s| accent(line, s)));
        found.extend(phrase.syllables.last().and_then(|s| question(line, phrase, s)));
        if phrases.len() > 1 {
            found.extend(usual.and_then(|usual| bright(line, phrase, usual)));
        }
    }
    let mut chosen = apart(found);
    let turns = chosen.iter_mut().filter(|s| s.part == FacePart::Neck);
    // A head that always turned to one side would look at something there.
    for (i, suggestion) in turns.enumerate() {
        let side = if i % 2 == 0 { TURN } else { -TURN };
        suggestion.look.values = BTreeMap::from([(Dof::NeckTurn, side)]);
    }
    chosen
}

/// All that a voice suggests, in order of time: looks as [`suggest`] finds them, blinks as
/// [`suggest_blinks`] does.
#[must_use]
pub fn suggest_all(line: &Line, features: &Features) -> Vec<Suggestion> {
    let mut all = suggest(line, features);
    all.extend(suggest_blinks(line));
    all.sort_by(|a, b| a.start.value().total_cmp(&b.start.value()));
    all
}

/// The clearest ones, none near another, in order of time.
fn apart(mut found: Vec<Suggestion>) -> Vec<Suggestion> {
    found.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    // By start; what is in here is disjoint, so that its neighbours decide.
    let mut chosen: BTreeMap<u64, Suggestion> = BTreeMap::new();
    for s in found {
        // The order of times that are not negative is that of their bits.
        let key = s.start.value().max(0.0).to_bits();
        let before = chosen.range(..=key).next_back().is_none_or(|(_, b)| b.end + APART <= s.start);
        let after = chosen.range(key..).next().is_none_or(|(_, a)| s.end + APART <= a.start);
        if before && after {
            chosen.insert(key, s);
        }
    }
    chosen.into_values().collect()
}

fn accent(line: &Line, s: &Syllable) -> Option<Suggestion> {
    let above = s.above.filter(|a| *a >= HIGH);
    // Open vowels are louder than close ones by themselves; length speaks for stress.
    let stress = 0.02 * s.louder.clamp(-5.0, 10.0) + 0.1 * (s.longer - 0.8).clamp(-0.5, 1.0);
    let (part, look, clear, what) = match above {
        Some(above) => {
            let amount = round(0.3 + 0.05 * (above - HIGH), 0.8);
            let look = ExpressionKey { amount, ..ExpressionKey::new(Seconds::ZERO, Expression::Shocked) };
            (FacePart::Brows, look, 0.45 + 0.07 * (above - HIGH), semitones(above, "above the phrase"))
        }
        None if s.louder >= LOUD && s.longer > 0.6 => {
            let look = ExpressionKey::new(Seconds::ZERO, Expression::Neutral);
            let what = format!("{:.0} dB louder than the phrase", s.louder);
            (FacePart::Neck, look, 0.35 + 0.03 * (s.louder - LOUD), what)
        }
        None => return None,
    };
    let does = if part == FacePart::Brows { "brows up" } else { "head turns" };
    Some(Suggestion {
        confidence: sure(clear + stress, s),
        reason: format!("{does} at {}: {what}", place(line, s)),
        ..timed(line, look, part, s.start, s.end)
    })
}

fn question(line: &Line, phrase: &Phrase, s: &Syllable) -> Option<Suggestion> {
    let rise = s.ends_above.filter(|r| *r >= RISING && *r > s.above.unwrap_or(0.0) - 0.5)?;
    let look =
        ExpressionKey { amount: round(0.4, 0.8), ..ExpressionKey::new(Seconds::ZERO, Expression::Shocked) };
    let what = semitones(rise, "at the end of the phrase");
    Some(Suggestion {
        confidence: sure(0.55 + 0.06 * (rise - RISING), s),
        reason: format!("brows up at {}: the voice rises {what}", place(line, s)),
        ..timed(line, look, FacePart::Brows, s.start, phrase.end.max(s.end))
    })
}

fn bright(line: &Line, phrase: &Phrase, usual: f64) -> Option<Suggestion> {
    let above = phrase.pitch? - usual;
    let first = phrase.syllables.first().filter(|_| above >= BRIGHT && phrase.syllables.len() >= 4)?;
    let look = ExpressionKey { amount: 0.4, ..ExpressionKey::new(Seconds::ZERO, Expression::Smile) };
    let until = phrase.end.min(phrase.start + Seconds::new(0.8)).max(first.end);
    Some(Suggestion {
        confidence: sure(0.3 + 0.05 * (above - BRIGHT), first),
        reason: format!(
            "corners up from {}: the phrase lies {}",
            place(line, first),
            semitones(above, "above the others")
        ),
        ..timed(line, look, FacePart::Corners, phrase.start, until)
    })
}

fn round(amount: f64, most: f64) -> f64 {
    (amount.min(most) * 20.0).round() / 20.0
}

fn sure(clear: f64, s: &Syllable) -> f64 {
    (clear.min(0.9) * (0.5 + 0.5 * s.voiced) * (0.6 + 0.4 * s.sure)).clamp(0.05, 0.9)
}

/// A look for the stretch in which something is said, with time to come and go inside the line.
fn timed(line: &Line, look: ExpressionKey, part: FacePart, from: Seconds, to: Seconds) -> Suggestion {
    let end = (to + AFTER).min(line.duration());
    let time = (from + THERE).min(to).min(end);
    Suggestion {
        start: (from - BEFORE).max(Seconds::ZERO).min(time),
        until: to.min(end).max(time),
        look: ExpressionKey { time, ..look },
        end,
        part,
        confidence: 0.0,
        event: None,
        reason: String::new(),
    }
}

fn semitones(n: f64, where_: &str) -> String {
    let n = n.round();
    format!("{n:.0} semitone{} {where_}", if n == 1.0 { "" } else { "s" })
}

/// The word a syllable belongs to, or its time.
fn place(line: &Line, s: &Syllable) -> String {
    let middle = (s.start + s.end) / 2.0;
    match line.words().iter().find(|w| w.start <= middle && middle < w.end) {
        Some(word) => format!("“{}”", word.text),
        None => format!("{:.2} s", s.start.value()),
    }
}

impl Line {
    /// Looks that the voice suggests and nobody has taken or dismissed, by rising time.
    #[must_use]
    pub fn suggestions(&self) -> &[Suggestion] {
        &self.suggestions
    }

    pub(super) fn check_suggestions(&self, list: &[Suggestion]) -> Result<(), LineError> {
        let first_late = first_late(list.iter().map(|s| s.start));
        for (index, s) in list.iter().enumerate() {
            let late = (first_late == Some(index)).then_some("must not begin before the one before it");
            if let Some(problem) = s.problem(self.duration).or(late) {
                return Err(LineError::Suggestion { index, at: s.start, problem });
            }
        }
        Ok(())
    }

    /// The suggestions without number `index`, and it.
    pub(super) fn without_suggestion(
        &self,
        index: usize,
    ) -> Result<(Vec<Suggestion>, Suggestion), LineError> {
        let count = self.suggestions.len();
        if index >= count {
            return Err(LineError::NoSuchSuggestion { index, count });
        }
        let mut rest = self.suggestions.clone();
        let taken = rest.remove(index);
        Ok((rest, taken))
    }

    /// The lane with a suggestion in it. Keys that a person set stay, each where it is.
    pub(super) fn with_suggestion(&self, suggestion: &Suggestion) -> Vec<ExpressionKey> {
        let mut keys = self.expressions.clone();
        for key in suggestion.keys(&self.expressions) {
            let place = keys.partition_point(|k| k.time < key.time);
            let near = |k: Option<&ExpressionKey>| k.is_some_and(|k| (k.time - key.time).abs() < SAME);
            if !near(keys.get(place)) && !near(place.checked_sub(1).and_then(|i| keys.get(i))) {
                keys.insert(place, key);
            }
        }
        keys
    }
}

mod blinks;
#[cfg(test)]
mod tests;
