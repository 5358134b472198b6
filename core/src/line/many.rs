//! Verbs on runs of segments: ripple, replace, delete, strength, lock, paste, a part heard again.

use super::breaths::with_breaths;
use super::edit::{decided, overlay};
use super::splice::{Splice, common};
use super::{Line, LineError, Segment};
use crate::phonetics::MouthShape;
use crate::recognise::{HeardWord, Hearing};
use crate::units::Seconds;
use std::ops::Range;

impl Line {
    fn run_checked(&self, run: &Range<usize>) -> Result<&[Segment], LineError> {
        let count = self.segments.len();
        let missing = LineError::NoSuchSegment { index: run.end.saturating_sub(1).max(run.start), count };
        self.segments.get(run.clone()).filter(|s| !s.is_empty()).ok_or(missing)
    }

    /// The splice that turns the present segments into others over the same time.
    fn splice_to(&self, mut after: Vec<Segment>) -> Splice {
        let (same, behind) = common(&self.segments, &after);
        after.truncate(after.len() - behind);
        self.splice(same, self.segments.len() - behind - same, after.split_off(same))
    }

    /// Moves the boundary at the start of `index`, and `index..=last` with it.
    pub(super) fn ripple_boundary(
        &self,
        index: usize,
        time: Seconds,
        last: usize,
    ) -> Result<Splice, LineError> {
        let count = self.segments.len();
        if index == 0 || index >= count || last < index {
            return Err(LineError::NoSuchSegment { index: last.max(index), count });
        }
        if time.value().is_nan() {
            return Err(LineError::NoSuchTime { time, duration: self.duration });
        }
        // The segment that gives or takes the time.
        let giving = (last + 1).min(count - 1);
        let (before, giver) = (&self.segments[index - 1], &self.segments[giving]);
        let at = self.segments[index].start;
        let back = before.length() - Segment::MIN_LENGTH;
        let on = giver.length() - Segment::MIN_LENGTH;
        if back < Seconds::ZERO || on < Seconds::ZERO {
            return Err(LineError::NoRoom { what: "move the boundary", at });
        }
        let by = (time - at).max(-back).min(on);
        if by == Seconds::ZERO {
            return Ok(self.splice(index - 1, 1, vec![before.clone()]));
        }
        let mut moved = vec![Segment { end: at + by, ..decided(before) }];
        moved.extend(self.segments[index..giving].iter().map(|s| Segment {
            start: s.start + by,
            end: s.end + by,
            ..decided(s)
        }));
        moved.push(Segment { start: giver.start + by, ..decided(giver) });
        let words = self.words_moved((at, giver.start), by);
        Ok(self.splice(index - 1, moved.len(), moved).with_words(self, words))
    }

    /// The words, where what lies in `at..=to` has moved by `by`: a word keeps to its shapes. What is
    /// just outside gives way as far as it must.
    fn words_moved(&self, (at, to): (Seconds, Seconds), by: Seconds) -> Vec<HeardWord> {
        /// Words and segments come from one hearing; their times differ by rounding only.
        const SAME: Seconds = Seconds::new(1e-6);
        let moved = |t: Seconds| {
            if t < at - SAME {
                t.min(at + by)
            } else if t <= to + SAME {
                t.max(at).min(to) + by
            } else {
                t.max(to + by)
            }
        };
        let word = |w: &HeardWord| HeardWord { start: moved(w.start), end: moved(w.end), ..w.clone() };
        self.words.iter().map(word).collect()
    }

    pub(super) fn replace_shapes(&self, run: Range<usize>, shape: MouthShape) -> Result<Splice, LineError> {
        let new = |s: &Segment| Segment { shape, glide: None, phone: None, confidence: 1.0, ..decided(s) };
        let after = self.run_checked(&run)?.iter().map(new).collect();
        Ok(self.splice(run.start, run.len(), after))
    }

    pub(super) fn delete_run(&self, run: Range<usize>) -> Result<Splice, LineError> {
        let gone = self.run_checked(&run)?;
        let one = Segment { end: gone[gone.len() - 1].end, ..gone[0].clone() };
        // As one segment, the run goes by the rule of one.
        let mut joined = self.clone();
        joined.segments.splice(run.clone(), [one]);
        joined.delete(run.start)?.apply(&mut joined);
        Ok(self.splice_to(joined.segments))
    }

    pub(super) fn merge_run(&self, run: Range<usize>) -> Result<Splice, LineError> {
        let merged = self.run_checked(&run)?;
        let [first, .., last] = merged else {
            return Err(LineError::NoSuchSegment { index: run.end, count: self.segments.len() });
        };
        Ok(self.splice(run.start, run.len(), vec![Segment { end: last.end, ..decided(first) }]))
    }

    pub(super) fn set_strengths(
        &self,
        run: Range<usize>,
        change: impl Fn(f64) -> f64,
    ) -> Result<Splice, LineError> {
        let mut after = Vec::with_capacity(run.len());
        for old in self.run_checked(&run)? {
            let strength = change(old.strength).clamp(0.0, Segment::MAX_STRENGTH);
            if !strength.is_finite() {
                return Err(LineError::Strength(strength));
            }
            after.push(Segment { strength, ..decided(old) });
        }
        Ok(self.splice(run.start, run.len(), after))
    }

    pub(super) fn set_locked(&self, run: Range<usize>, locked: bool) -> Result<Splice, LineError> {
        let after = self.run_checked(&run)?.iter().map(|s| Segment { locked, ..s.clone() }).collect();
        Ok(self.splice(run.start, run.len(), after))
    }

    pub(super) fn set_held(&self, run: Range<usize>, held: bool) -> Result<Splice, LineError> {
        let after = self.run_checked(&run)?.iter().map(|s| Segment { held, ..decided(s) }).collect();
        Ok(self.splice(run.start, run.len(), after))
    }

    pub(super) fn paste(&self, time: Seconds, copied: &[Segment]) -> Result<Splice, LineError> {
        let time = self.time_checked(time)?;
        let first = copied.first().ok_or(LineError::NoSegments)?;
        let by = time - first.start;
        let mut after = self.segments.clone();
        let mut some = false;
        for segment in copied {
            let (start, end) = (segment.start + by, (segment.end + by).min(self.duration));
            if end - start < Segment::MIN_LENGTH {
                continue;
            }
            some = true;
            lay(&mut after, Segment { start, end, locked: false, ..decided(segment) }, self.duration)?;
        }
        if some { Ok(self.splice_to(after)) } else { Err(LineError::NoRoom { what: "paste", at: time }) }
    }

    /// Takes what was heard in `start..end`; outside it and where segments are locked, nothing changes.
    pub(super) fn adopt_within(
        &self,
        hearing: &Hearing,
        start: Seconds,
        end: Seconds,
    ) -> Result<Splice, LineError> {
        let (start, end) = (self.time_checked(start)?, self.time_checked(end)?);
        if end - start < Segment::MIN_LENGTH {
            return Err(LineError::NoRoom { what: "listen", at: start });
        }
        let mut after = self.segments.clone();
        for heard in with_breaths(hearing.segments.iter().cloned().map(Segment::from).collect()) {
            let (from, to) = (heard.start.max(start), heard.end.min(end));
            if to - from >= Segment::MIN_LENGTH {
                lay(&mut after, Segment { start: from, end: to, ..heard }, self.duration)?;
            }
        }
        for kept in self.segments.iter().filter(|s| s.locked && s.end > start && s.start < end) {
            lay(&mut after, kept.clone(), self.duration)?;
        }
        let mut words: Vec<HeardWord> =
            self.words.iter().filter(|w| !inside(w, start, end)).cloned().collect();
        words.extend(hearing.words.iter().filter(|w| inside(w, start, end)).cloned());
        words.sort_by(|a, b| a.start.value().total_cmp(&b.start.value()));
        let mut fresh = self.clone();
        fresh.segments = after;
        fresh.check()?;
        fresh.set_words(words)?;
        Ok(self.splice_to(fresh.segments).with_words(self, fresh.words))
    }
}

/// True if the middle of a word lies in a span.
fn inside(word: &HeardWord, start: Seconds, end: Seconds) -> bool {
    let middle = (word.start + word.end) / 2.0;
    middle >= start && middle < end
}

fn lay(segments: &mut Vec<Segment>, over: Segment, duration: Seconds) -> Result<(), LineError> {
    let (at, count, inserted) = overlay(segments, over, duration)?;
    segments.splice(at..at + count, inserted);
    Ok(())
}
