//! How much of a hearing is right, against reference phones.
//!
//! A reference file is JSON: `{"duration_s": 4.2, "phones": [{"start_s": 0.0, "end_s": 0.21,
//! "phone": "SIL"}, …]}`, phones in order, ARPABET with or without stress digits. Shapes follow
//! from phones as for hearing: HH takes the shape of the sound after it; a diphthong counts as its
//! first target all through.

use super::{Hearing, ListenSettings};
use crate::features::Features;
use crate::phonetics::{MouthShape, ParsePhoneError, Phone};
use crate::units::Seconds;
use serde::Deserialize;
use std::fmt::Write;

/// Why a reference cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ReferenceError {
    /// Not the JSON that is expected.
    #[error(
        "the reference is not valid: {0}; expected {{\"duration_s\", \"phones\": [{{\"start_s\", \"end_s\", \"phone\"}}]}}"
    )]
    Json(#[from] serde_json::Error),
    /// An unknown phone.
    #[error("phone {index} of the reference: {source}")]
    Phone {
        /// Which, from 0.
        index: usize,
        /// What is wrong.
        source: ParsePhoneError,
    },
    /// Times that run backwards or are no numbers.
    #[error(
        "phone {index} of the reference lasts from {start} s to {end} s, after one that ends at {before} s; times must run forwards"
    )]
    Times {
        /// Which, from 0.
        index: usize,
        /// Its start.
        start: f64,
        /// Its end.
        end: f64,
        /// Where the one before ends.
        before: f64,
    },
}

#[derive(Deserialize)]
struct RawReference {
    #[serde(default)]
    duration_s: Option<f64>,
    phones: Vec<RawPhone>,
}

#[derive(Deserialize)]
struct RawPhone {
    start_s: f64,
    end_s: f64,
    phone: String,
}

/// A stretch of the reference.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Stretch {
    start: f64,
    end: f64,
    shape: MouthShape,
}

/// Which shape a recording really has at which time.
#[derive(Clone, Debug, PartialEq)]
pub struct Reference {
    duration: Seconds,
    stretches: Vec<Stretch>,
}

impl Reference {
    /// Reads a reference file.
    ///
    /// # Errors
    /// [`ReferenceError`], naming the phone that is wrong.
    pub fn from_json(text: &str) -> Result<Self, ReferenceError> {
        let raw: RawReference = serde_json::from_str(text)?;
        let mut phones = Vec::with_capacity(raw.phones.len());
        let mut before = 0.0;
        for (index, p) in raw.phones.iter().enumerate() {
            let phone: Phone = p.phone.parse().map_err(|source| ReferenceError::Phone { index, source })?;
            // Times are often rounded to a millisecond.
            if !(p.start_s >= before - 2e-3 && p.end_s >= p.start_s && p.end_s.is_finite()) {
                return Err(ReferenceError::Times { index, start: p.start_s, end: p.end_s, before });
            }
            before = p.end_s;
            let stressed = match p.phone.chars().last() {
                Some('0') => false,
                Some('1' | '2') => true,
                _ => p.end_s - p.start_s >= ListenSettings::default().stressed_ah.value(),
            };
            phones.push((p.start_s, p.end_s, phone, phone.shape(stressed)));
        }
        let stretches = (0..phones.len())
            .map(|i| {
                let (start, end, phone, own) = phones[i];
                let next = phones.get(i + 1).filter(|n| phone == Phone::Hh && n.2 != Phone::Sil);
                Stretch { start, end, shape: next.map_or(own, |n| n.3) }
            })
            .collect();
        let duration = Seconds::new(raw.duration_s.unwrap_or(before));
        Ok(Self { duration, stretches })
    }

    /// Length of the recording.
    #[must_use]
    pub fn duration(&self) -> Seconds {
        self.duration
    }

    /// The shape at a time; `None` where the reference says nothing.
    #[must_use]
    pub fn at(&self, time: Seconds) -> Option<MouthShape> {
        let t = time.value();
        let i = self.stretches.partition_point(|s| s.end <= t);
        self.stretches.get(i).filter(|s| s.start <= t).map(|s| s.shape)
    }

    fn changes(&self) -> Vec<(f64, MouthShape)> {
        let shapes = self.stretches.iter().filter(|s| s.end > s.start).map(|s| (s.start, s.shape));
        changes(shapes)
    }
}

/// Times at which a new shape begins, after the first.
fn changes(stretches: impl Iterator<Item = (f64, MouthShape)>) -> Vec<(f64, MouthShape)> {
    let mut last = None;
    let mut out = Vec::new();
    for (start, shape) in stretches {
        if last.is_some_and(|l| l != shape) {
            out.push((start, shape));
        }
        last = Some(shape);
    }
    out
}

/// How hearings compare with their references, frame by frame of 10 ms.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Score {
    /// Frames by reference shape (row) and heard shape (column).
    pub confusion: [[u64; MouthShape::COUNT]; MouthShape::COUNT],
    /// Changes of shape in the references.
    pub changes: u64,
    /// Of these, how many the hearing also has: a change to the same shape within 20 ms.
    pub changes_within_20_ms: u64,
}

impl Score {
    /// Compares a hearing with its reference.
    #[must_use]
    pub fn new(hearing: &Hearing, reference: &Reference) -> Self {
        let mut score = Self::default();
        let hop = Features::HOP.value();
        let duration = hearing.duration.min(reference.duration).value();
        let mut segment = 0;
        for i in 0.. {
            let time = (f64::from(i) + 0.5) * hop;
            if time >= duration {
                break;
            }
            while hearing.segments.get(segment).is_some_and(|s| s.end.value() <= time) {
                segment += 1;
            }
            if let (Some(right), Some(heard)) =
                (reference.at(Seconds::new(time)), hearing.segments.get(segment))
            {
                score.confusion[right.index()][heard.shape.index()] += 1;
            }
        }
        let heard = changes(hearing.segments.iter().map(|s| (s.start.value(), s.shape)));
        for (time, shape) in reference.changes() {
            score.changes += 1;
            let near = heard.iter().any(|(t, s)| *s == shape && (t - time).abs() <= 0.02 + 1e-9);
            score.changes_within_20_ms += u64::from(near);
        }
        score
    }

    /// Adds the counts of another comparison.
    pub fn add(&mut self, other: &Self) {
        for (row, other) in self.confusion.iter_mut().zip(&other.confusion) {
            for (a, b) in row.iter_mut().zip(other) {
                *a += b;
            }
        }
        self.changes += other.changes;
        self.changes_within_20_ms += other.changes_within_20_ms;
    }

    /// Frames compared.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.confusion.iter().flatten().sum()
    }

    /// Share of frames with the right shape, 0..=1; 0 if there are none.
    #[must_use]
    pub fn accuracy(&self) -> f64 {
        let right: u64 = (0..MouthShape::COUNT).map(|i| self.confusion[i][i]).sum();
        ratio(right, self.frames())
    }

    /// The same over frames whose reference is not rest: silence is easy and common.
    #[must_use]
    pub fn accuracy_in_speech(&self) -> f64 {
        let right: u64 = (1..MouthShape::COUNT).map(|i| self.confusion[i][i]).sum();
        ratio(right, self.confusion[1..].iter().flatten().sum())
    }

    /// Of the frames that have this shape, the share that was heard as it.
    #[must_use]
    pub fn recall(&self, shape: MouthShape) -> Option<f64> {
        let row = &self.confusion[shape.index()];
        let all: u64 = row.iter().sum();
        (all > 0).then(|| ratio(row[shape.index()], all))
    }

    /// Of the frames heard as this shape, the share that has it.
    #[must_use]
    pub fn precision(&self, shape: MouthShape) -> Option<f64> {
        let all: u64 = self.confusion.iter().map(|row| row[shape.index()]).sum();
        (all > 0).then(|| ratio(self.confusion[shape.index()][shape.index()], all))
    }

    /// Share of shape changes found within 20 ms, 0..=1.
    #[must_use]
    pub fn change_accuracy(&self) -> f64 {
        ratio(self.changes_within_20_ms, self.changes)
    }

    /// The confusion table in percent of each reference shape's frames, for a terminal.
    #[must_use]
    pub fn table(&self) -> String {
        let mut out = String::new();
        let _ = write!(out, "{:>12} {:>7} ", "really", "frames");
        for shape in MouthShape::ALL {
            let _ = write!(out, " {:>5.5}", shape.name());
        }
        out.push_str("   precision\n");
        for (row, shape) in self.confusion.iter().zip(MouthShape::ALL) {
            let all: u64 = row.iter().sum();
            let _ = write!(out, "{:>12} {all:>7} ", shape.name());
            for n in row {
                if *n == 0 {
                    let _ = write!(out, " {:>5}", "·");
                } else {
                    let _ = write!(out, " {:>5.1}", 100.0 * ratio(*n, all));
                }
            }
            match self.precision(shape) {
                Some(p) => {
                    let _ = writeln!(out, "   {:>8.1} %", 100.0 * p);
                }
                None => out.push('\n'),
            }
        }
        let _ = writeln!(
            out,
            "right shape: {:.1} % of {} frames ({:.1} % of frames in speech); shape changes within 20 ms: {:.1} % of {}",
            100.0 * self.accuracy(),
            self.frames(),
            100.0 * self.accuracy_in_speech(),
            100.0 * self.change_accuracy(),
            self.changes
        );
        out
    }
}

fn ratio(part: u64, all: u64) -> f64 {
    if all == 0 { 0.0 } else { part as f64 / all as f64 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recognise::HeardSegment;

    const REFERENCE: &str = r#"{"duration_s": 0.5, "phones": [
        {"start_s": 0.0, "end_s": 0.1, "phone": "SIL"},
        {"start_s": 0.1, "end_s": 0.2, "phone": "HH"},
        {"start_s": 0.2, "end_s": 0.3, "phone": "UW1"},
        {"start_s": 0.3, "end_s": 0.4, "phone": "AH0"},
        {"start_s": 0.4, "end_s": 0.5, "phone": "AH1"}]}"#;

    fn hearing(list: &[(f64, MouthShape)]) -> Hearing {
        let mut start = 0.0;
        let segments = list
            .iter()
            .map(|(end, shape)| {
                let s = HeardSegment {
                    start: Seconds::new(start),
                    end: Seconds::new(*end),
                    shape: *shape,
                    glide: None,
                    confidence: 1.0,
                    phone: None,
                };
                start = *end;
                s
            })
            .collect();
        Hearing { duration: Seconds::new(start), segments, words: vec![], notes: vec![] }
    }

    #[test]
    fn a_perfect_hearing_scores_full_marks() {
        use MouthShape::*;
        let reference = Reference::from_json(REFERENCE).expect("valid");
        let s = Score::new(&hearing(&[(0.1, Rest), (0.3, Pursed), (0.4, HalfOpen), (0.5, Open)]), &reference);
        assert_eq!((s.frames(), s.accuracy(), s.accuracy_in_speech()), (50, 1.0, 1.0));
        assert_eq!((s.changes, s.changes_within_20_ms), (3, 3));
    }

    #[test]
    fn mistakes_are_counted_where_they_are() {
        use MouthShape::*;
        let reference = Reference::from_json(REFERENCE).expect("valid");
        // Pursed is heard 50 ms late, the last vowel not at all.
        let s = Score::new(&hearing(&[(0.15, Rest), (0.3, Pursed), (0.5, HalfOpen)]), &reference);
        assert_eq!(s.confusion[Pursed.index()][Rest.index()], 5);
        assert_eq!(s.confusion[Open.index()][HalfOpen.index()], 10);
        assert_eq!(s.recall(Pursed), Some(0.75));
        assert_eq!(s.precision(HalfOpen), Some(0.5));
        assert_eq!(s.recall(Dental), None);
        assert!((s.accuracy() - 0.7).abs() < 1e-12);
        assert_eq!((s.changes, s.changes_within_20_ms), (3, 1));
        assert!(s.table().contains("70.0 %"));
        let mut twice = s.clone();
        twice.add(&s);
        assert_eq!((twice.frames(), twice.accuracy()), (100, s.accuracy()));
    }

    #[test]
    fn wrong_references_say_where() {
        let error = |t: &str| Reference::from_json(t).expect_err("wrong").to_string();
        assert!(error("{}").contains("phones"));
        assert!(error(r#"{"phones":[{"start_s":0,"end_s":1,"phone":"QX"}]}"#).contains("phone 0"));
        assert!(
            error(
                r#"{"phones":[{"start_s":0,"end_s":1,"phone":"S"},{"start_s":0.5,"end_s":1,"phone":"S"}]}"#
            )
            .contains("phone 1")
        );
    }
}
