//! Editing several segments, markers, loops, painting, and listening to a part again.

use super::*;
use crate::editor::{Problem, Spectrum, Surveyed, TimeUnit};
use lipwright_core::line::{Segment, Step};
use lipwright_core::recognise::{Hearing, changed_part};

/// A part of the open line that is being listened to again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Part {
    /// Where the samples that were sent begin.
    from: Seconds,
    /// What is to be replaced by what is heard.
    span: (Seconds, Seconds),
    /// Why.
    step: Step,
}

/// A key held down while the line plays: what it writes, since when.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// What it writes.
    pub shape: MouthShape,
    /// Since when.
    pub start: Seconds,
    /// Which key.
    key: String,
}

/// Sound to either side of a selection that is listened to as well, so that its edges are heard in what
/// surrounds them.
const AROUND: Seconds = Seconds::new(0.3);

const UNIT: &str = "lipwright.time";

/// The unit of time that was chosen before.
pub(super) fn kept_unit() -> TimeUnit {
    let stored = window().local_storage().ok().flatten().and_then(|s| s.get_item(UNIT).ok().flatten());
    stored.as_deref().and_then(TimeUnit::named).unwrap_or_default()
}

impl Store {
    /// Shows and steps time in another unit, from now on.
    pub fn set_unit(self, unit: TimeUnit) {
        self.axis.update(|a| *a = a.in_unit(unit));
        if let Ok(Some(storage)) = window().local_storage() {
            // Without storage the choice lasts as long as the page.
            let _ = storage.set_item(UNIT, &unit.id());
        }
    }

    /// The unit of time.
    pub fn unit(&self) -> TimeUnit {
        self.axis.with_untracked(TimeAxis::unit)
    }

    /// Copies the selected segments.
    pub fn copy(self) {
        let copied = self.peek(Take::copied).unwrap_or_default();
        if copied.is_empty() {
            return self.say("Choose segments to copy");
        }
        self.say(&format!("Copied {}", counted(copied.len())));
        self.copied.set(copied);
    }

    /// Copies the selected segments and deletes them.
    pub fn cut(self) {
        self.copy();
        if self.peek(|t| t.run().is_some()) == Some(true) {
            self.edit(Take::delete);
        }
    }

    /// Writes the copied segments over the line from the playhead on.
    pub fn paste(self) {
        let copied: Vec<Segment> = self.copied.get_untracked();
        if copied.is_empty() {
            return self.say("Nothing is copied yet");
        }
        let time = self.transport.with_untracked(|t| t.time);
        self.edit(|t| t.paste(time, &copied));
    }

    /// Locks or unlocks the selected segments.
    pub fn toggle_lock(self) {
        let outcome = self.change(Take::toggle_lock);
        if let Some(Ok(locked)) = outcome {
            self.say(if locked { "Locked: no listening changes them" } else { "Unlocked" });
        }
        self.edited(outcome.map(|o| o.map(drop)));
    }

    /// Sets a marker at the playhead.
    pub fn add_marker(self) {
        let time = self.transport.with_untracked(|t| t.time);
        self.edit(|t| t.add_marker(time));
    }

    /// Goes to the marker after the playhead, or before it.
    pub fn go_to_marker(self, on: bool) {
        let time = self.transport.with_untracked(|t| t.time);
        match self.peek(|t| t.marker_beside(time, on)).flatten() {
            Some(time) => {
                self.seek(time);
                self.axis.update(|a| *a = a.showing(time));
            }
            None => self.say(if on { "No marker after this" } else { "No marker before this" }),
        }
    }

    /// Sets the loop's start, or its end, at the playhead.
    pub fn set_loop_point(self, end: bool) {
        self.transport.update(|t| t.set_point(end, t.time));
    }

    /// A key of the palette goes down while the line plays: a stroke begins.
    pub fn paint_down(self, shape: MouthShape, key: String) {
        self.paint_up(None);
        let transport = self.transport.get_untracked();
        if transport.playing {
            self.stroke.set(Some(Stroke { shape, start: transport.time, key }));
        }
    }

    /// A key comes up (`None`: any): its stroke is written, one step.
    pub fn paint_up(self, key: Option<&str>) {
        let held = self.stroke.with_untracked(|s| s.as_ref().is_some_and(|s| key.is_none_or(|k| k == s.key)));
        if !held {
            return;
        }
        let Some(stroke) = self.stroke.try_update(Option::take).flatten() else { return };
        let transport = self.transport.get_untracked();
        let mut end = transport.time;
        if end < stroke.start {
            // The loop went round under the finger: the stroke ends where the loop does.
            end = self.loop_span().map_or(self.duration(), |(_, end)| end);
        }
        // A tap is as short as a segment may be.
        let end = end.max(stroke.start + Segment::MIN_LENGTH).min(self.duration());
        let start = stroke.start.min(end - Segment::MIN_LENGTH).max(Seconds::ZERO);
        self.edit(|t| t.paint(start, end, stroke.shape));
    }

    /// Listens to the selected segments again; what is locked among them stays.
    pub fn listen_to_selection(self) {
        let Some(Some(span)) = self.peek(Take::run_span) else {
            return self.say("Choose the segments to listen to again");
        };
        // With words, those that lie in the selection are aligned; without, the ear listens alone.
        let words = self.peek(|t| {
            let inside = |w: &&lipwright_core::recognise::HeardWord| w.start < span.1 && w.end > span.0;
            let words = t.line().map(|l| l.words().iter().filter(inside)).into_iter().flatten();
            words.map(|w| (w.start, w.end, w.text.clone())).collect::<Vec<_>>()
        });
        let words = words.unwrap_or_default();
        let from = words.first().map_or(span.0, |w| w.0.min(span.0)) - AROUND;
        let to = words.last().map_or(span.1, |w| w.1.max(span.1)) + AROUND;
        let script: Vec<String> = words.into_iter().map(|w| w.2).collect();
        self.listen_to_part((from, to), span, script.join(" "), Step::ListenPart);
    }

    /// Takes a changed script: aligns the changed words' part alone where it can tell which part that
    /// is, else the whole line.
    pub fn change_script(self, script: String) {
        let part = self
            .peek(|t| {
                let line = t.line()?;
                changed_part(line.words(), &t.script, &script, line.duration())
            })
            .flatten();
        let same = self.peek(|t| t.script == script) == Some(true);
        self.change(|t| t.script = script);
        self.unsaved.set(true);
        self.keep_soon("another script".to_owned());
        match part {
            Some(part) if !same => self.listen_to_part(part.window, part.span, part.script, Step::Realign),
            _ => self.listen(),
        }
    }

    fn listen_to_part(
        self,
        window: (Seconds, Seconds),
        span: (Seconds, Seconds),
        script: String,
        step: Step,
    ) {
        let index = self.current.get_untracked();
        let Some(Some(samples)) = self.peek(|t| t.audio.as_ref().map(|a| a.samples.clone())) else { return };
        let rate = Recording::RATE.value();
        let place = |t: Seconds| ((t.value().max(0.0) * rate).round() as usize).min(samples.len());
        let (first, last) = (place(window.0), place(window.1));
        if last <= first {
            return self.say("There is no sound to listen to there");
        }
        self.phase.set(Phase::Listening);
        self.progress.set(0.0);
        let id = self.send(|id| Job::Listen { id, script }, &samples[first..last], &[]);
        let part = Part { from: Seconds::new(first as f64 / rate), span, step };
        self.pending(|p| {
            p.listen = Some((id, index));
            p.part = Some(part);
        });
    }

    /// What was heard of a part.
    pub(super) fn heard_part(self, index: usize, hearing: &Hearing, part: Part) {
        let hearing = hearing.clone().later(part.from);
        let outcome = self.takes.try_update(|takes| {
            let take = takes.get_mut(index)?;
            take.notes.clone_from(&hearing.notes);
            Some(take.adopt_within(&hearing, part.span, part.step))
        });
        self.phase.set(Phase::Ready);
        if let Some(Some(Err(error))) = outcome {
            return self.fail(format!("What was heard could not be used: {error}"));
        }
        self.unsaved.set(true);
        self.soon();
    }

    /// Goes to the problem after the one gone to last, round the end: the weightiest first.
    pub fn next_problem(self) {
        let list = self.peek(Take::problems).unwrap_or_default();
        let next = match self.problem.get_untracked() {
            None => 0,
            Some((place, kind, segment)) => {
                let same = |p: &Problem| (p.kind, p.segment) == (kind, segment);
                // One that an edit has solved leaves its place to the next.
                match list.get(place).filter(|p| same(p)) {
                    Some(_) => place + 1,
                    None => list.iter().position(same).map_or(place, |at| at + 1),
                }
            }
        };
        let next = if next < list.len() { next } else { 0 };
        match list.get(next) {
            Some(problem) => self.go_to_problem(next, problem),
            None => self.say("The head can do all of this line"),
        }
    }

    /// Goes to the problem at a place of the list.
    pub fn go_to_problem(self, place: usize, problem: &Problem) {
        self.problem.set(Some((place, problem.kind, problem.segment)));
        self.go_to(problem.segment);
        self.seek(problem.time);
        self.axis.update(|a| *a = a.showing(problem.time));
    }

    /// Has the open line looked over, where that is still to do.
    pub(super) fn survey(self) {
        let index = self.current.get_untracked();
        let samples = self.peek(|t| {
            let missing = t.survey.is_none();
            t.audio.as_ref().filter(|_| missing).map(|a| a.samples.clone())
        });
        let Some(Some(samples)) = samples else { return };
        if self.hands().pending.get().survey.is_none() {
            let id = self.send(|id| Job::Survey { id }, &samples, &[]);
            self.pending(|p| p.survey = Some((id, index)));
        }
    }

    pub(super) fn surveyed(self, index: usize, changes: &[f32], bytes: Vec<u8>, frames: usize) {
        let changes = changes.iter().map(|t| Seconds::new(f64::from(*t))).collect();
        let spectrum = Shared::new(Spectrum::from_bytes(bytes, frames).unwrap_or_default());
        let survey = Shared::new(Surveyed { changes, spectrum });
        self.takes.update(|takes| {
            if let Some(take) = takes.get_mut(index) {
                take.survey = Some(survey);
            }
        });
        // Another line may have been opened meanwhile.
        self.survey();
    }
}

/// `1 segment`, `3 segments`.
pub fn counted(count: usize) -> String {
    format!("{count} segment{}", if count == 1 { "" } else { "s" })
}
