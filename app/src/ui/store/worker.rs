//! Work given to the worker, and its answers.

use super::*;
use crate::editor::demo::staged;

impl Store {
    /// Plans the open line; while a plan is under way, once more after it.
    pub fn plan(self) {
        let index = self.current.get_untracked();
        let Some(Some(line)) = self.peek(|t| t.line().cloned()) else { return };
        let busy = self.hands().pending.get();
        if busy.plan.is_some() {
            self.pending(|p| p.again = true);
            return;
        }
        if self.phase.get_untracked() == Phase::Ready || self.phase.get_untracked() == Phase::Loading {
            self.phase.set(Phase::Planning);
            self.progress.set(0.0);
        }
        let rig = self.head.with_untracked(|h| h.json.as_ref().clone());
        let settings = self.settings.get_untracked();
        let id = self.send(|id| Job::Plan { id, line, rig, settings }, &[], &[]);
        self.pending(|p| {
            p.plan = Some((id, index));
            p.again = false;
        });
    }

    /// Every line that has been opened, with what its files say of it.
    pub(super) fn opened_lines(self) -> Vec<LineOf> {
        self.takes.with_untracked(|takes| takes.iter().filter_map(line_of).collect())
    }

    /// Writes a file of the open line.
    pub fn export(self, kind: FileKind) {
        let Some(Some((line, sound))) = self.peek(|t| {
            let sound = t.audio.as_ref().filter(|_| kind == FileKind::Sound).map(|a| a.bytes.clone());
            Some((line_of(t)?, sound))
        }) else {
            return self.fail("There is nothing to export yet: open a recording first.".to_owned());
        };
        let (rig, settings) = self.start_writing();
        let sound = sound.as_ref().map_or(&[][..], |b| b.as_slice());
        let id = self.send(|id| Job::File { id, line, rig, settings, kind }, &[], sound);
        self.pending(|p| p.file = Some(id));
    }

    /// Writes a file of every line that has been opened; `driver` where the servos hang on one.
    pub fn export_show(self, kind: FileKind, driver: bool) {
        let lines = self.opened_lines();
        if lines.is_empty() {
            return self.fail("There is nothing to export yet: open a recording first.".to_owned());
        }
        let name = self.project.get_untracked();
        let (rig, settings) = self.start_writing();
        let id = self.send(|id| Job::Show { id, name, lines, rig, settings, kind, driver }, &[], &[]);
        self.pending(|p| p.file = Some(id));
    }

    fn start_writing(self) -> (String, PlanSettings) {
        self.exported.set(None);
        self.phase.set(Phase::Writing);
        self.progress.set(0.0);
        (self.head.with_untracked(|h| h.json.as_ref().clone()), self.settings.get_untracked())
    }

    /// Calls long work off.
    pub fn cancel(self) {
        let pending = self.hands().pending.get();
        self.cancel_quietly();
        self.phase.set(Phase::Ready);
        // Of a recording that was not read yet there is nothing to work on: the line before comes back.
        if let (Some((_, read)), Some((new, before))) = (pending.opening.or(pending.read), pending.back)
            && read == new
        {
            self.arriving.set(None);
            self.without(new, before);
            return self.say("Called off: the recording was not brought in");
        }
        // A line that was never heard can still be worked on by hand.
        let silent = self
            .peek(|t| match (&t.document, &t.audio) {
                (None, Some(audio)) => Some(audio.samples.len() as f64 / Recording::RATE.value()),
                _ => None,
            })
            .flatten();
        if let Some(duration) = silent
            && let Ok(line) = Line::silent(Seconds::new(duration))
        {
            self.change(|t| t.edit(line));
            self.keep_soon("listening called off".to_owned());
            self.show_whole();
        }
        self.say("Called off");
    }

    pub(super) fn cancel_quietly(self) {
        if let Some(link) = self.hands().link.get() {
            link.restart();
        }
        self.pending(|p| *p = Pending::default());
        self.desk.comparing.set(None);
    }

    pub(super) fn delivered(self, delivery: Delivery) {
        let Delivery { answer, numbers, bytes } = delivery;
        let pending = self.hands().pending.get();
        match answer {
            Answer::Ready => {}
            Answer::Progress { id, done, .. } => {
                if [pending.listen.map(|l| l.0), pending.plan.map(|p| p.0)].contains(&Some(id)) {
                    self.progress.set(done);
                }
            }
            Answer::Skimmed { id, length } => {
                if let Some((wanted, index)) = pending.read
                    && wanted == id
                {
                    self.skimmed(index, &numbers, length);
                }
            }
            Answer::Timed { stages, .. } => {
                for stage in stages {
                    clock::measured(&stage.name, stage.began_ms, stage.took);
                }
            }
            Answer::Read { id, sound } => {
                if let Some((wanted, index)) = pending.read
                    && wanted == id
                {
                    leptos::task::spawn_local(self.was_read((id, index), sound, numbers));
                }
            }
            Answer::Heard { id, hearing } => {
                if let Some((wanted, index)) = pending.listen
                    && wanted == id
                {
                    let part = pending.part;
                    self.pending(|p| (p.listen, p.part) = (None, None));
                    match part {
                        Some(part) => self.heard_part(index, &hearing, part),
                        None => self.heard(index, &hearing),
                    }
                }
            }
            Answer::Surveyed { id, frames } => {
                if let Some((wanted, index)) = pending.survey
                    && wanted == id
                {
                    self.pending(|p| p.survey = None);
                    self.surveyed(index, &numbers, bytes, frames);
                }
            }
            Answer::Suggested { id, list } => {
                if let Some((wanted, index)) = pending.suggest
                    && wanted == id
                {
                    self.pending(|p| p.suggest = None);
                    self.suggested(index, list);
                }
            }
            Answer::Planned { id, head, took_s, taken } => {
                // For whoever measures.
                clock::weighed(taken);
                clock::measured("planning", clock::now_ms() - took_s.value() * 1000.0, took_s);
                if let Some(body) = document().body() {
                    let _ = body.set_attribute("data-plan-ms", &format!("{:.2}", took_s.value() * 1000.0));
                }
                if let Some((wanted, index)) = pending.plan
                    && wanted == id
                {
                    self.pending(|p| p.plan = None);
                    match Performance::from_parts(head, numbers, bytes) {
                        Some(performance) => {
                            let again = pending.again;
                            let rig = self.head.with_untracked(|h| Arc::clone(&h.json));
                            self.takes.update(|takes| {
                                if let Some(take) = takes.get_mut(index) {
                                    take.scored(performance.head().score, &rig);
                                    take.performance = Some(Shared::new(performance));
                                }
                            });
                            if again || index != self.current.get_untracked() {
                                self.phase.set(Phase::Ready);
                                self.plan_if_needed(again);
                            } else {
                                self.phase.set(Phase::Ready);
                                self.survey();
                            }
                        }
                        None => {
                            self.phase.set(Phase::Ready);
                            self.fail(
                                "The plan came back incomplete; edit the line to plan it again.".to_owned(),
                            );
                        }
                    }
                }
            }
            Answer::File { id, kind, checked } => {
                if pending.file == Some(id) {
                    self.pending(|p| p.file = None);
                    self.phase.set(Phase::Ready);
                    self.hand_out(kind, &bytes, checked);
                }
            }
            Answer::Compared { id, changes } => {
                if pending.compare == Some(id) {
                    self.pending(|p| p.compare = None);
                    self.compared(changes);
                }
            }
            Answer::Failed { id, message } => self.failed(id, message),
        }
    }

    /// What a worker that died was doing will not be answered: nothing waits for it any longer.
    pub(super) fn worker_broke(self, message: &str) {
        let pending = self.hands().pending.get();
        // What is still on its way to the worker comes to the next one.
        self.pending(|p| *p = Pending { back: pending.back, opening: pending.opening, ..Pending::default() });
        self.desk.comparing.set(None);
        self.phase.set(if pending.opening.is_some() { Phase::Loading } else { Phase::Ready });
        match pending.read {
            Some((_, index)) => self.unreadable(index, message, false),
            None => self.fail(message.to_owned()),
        }
    }

    pub(super) fn plan_if_needed(self, again: bool) {
        if again || self.peek(|t| t.performance.is_none() && t.document.is_some()).unwrap_or(false) {
            self.plan();
        }
    }

    pub(super) fn failed(self, id: u32, message: String) {
        let pending = self.hands().pending.get();
        if let Some((read, index)) = pending.read
            && read == id
        {
            self.pending(|p| p.read = None);
            return self.unreadable(index, &message, true);
        }
        if pending.survey.map(|s| s.0) == Some(id) {
            // Boundaries then catch on words alone.
            self.pending(|p| p.survey = None);
            return;
        }
        if pending.compare == Some(id) {
            self.pending(|p| p.compare = None);
            self.desk.comparing.set(None);
            return self.fail(format!("The rigs could not be compared: {message}"));
        }
        if pending.suggest.map(|s| s.0) == Some(id) {
            self.pending(|p| p.suggest = None);
            return self.fail(format!("The voice could not be asked for looks: {message}"));
        }
        let mut what = "That did not work";
        if pending.listen.map(|l| l.0) == Some(id) {
            what = "The line could not be listened to";
        } else if pending.plan.map(|p| p.0) == Some(id) {
            what = "The motion could not be planned";
        } else if pending.file == Some(id) {
            what = "The file was not written";
        }
        self.pending(|p| {
            let again = p.again;
            *p = Pending::default();
            p.again = again;
        });
        self.phase.set(Phase::Ready);
        self.fail(format!("{what}: {message}"));
    }

    pub(super) fn heard(self, index: usize, hearing: &lipwright_core::recognise::Hearing) {
        let outcome = self
            .takes
            .try_update(|takes| {
                let take = takes.get_mut(index)?;
                take.notes.retain(|n| !n.is_empty());
                take.notes.clone_from(&hearing.notes);
                Some(match take.document.as_mut() {
                    // Hearing again keeps what a person decided, and can be undone.
                    Some(document) => document.adopt(hearing).map(|_| ()),
                    None => Line::from_hearing(hearing)
                        .and_then(|line| staged(line, &take.begins_with))
                        .map(|line| take.edit(line)),
                })
            })
            .flatten();
        self.phase.set(Phase::Ready);
        if let Some(Err(error)) = outcome {
            self.fail(format!("What was heard could not be used: {error}"));
            return;
        }
        let mut name = String::new();
        self.takes.update(|takes| {
            if let Some(take) = takes.get_mut(index) {
                take.performance = None;
                name.clone_from(&take.name);
            }
        });
        // To hear a line of an earlier state that is only being looked at changes nothing.
        if self.keeping.looking.get_untracked().is_none() {
            self.keep_soon(format!("{name}: listened"));
        }
        if index == self.current.get_untracked() {
            self.show_whole();
            self.plan();
        }
    }

    pub(super) fn hand_out(self, kind: FileKind, bytes: &[u8], checked: String) {
        let name = match kind {
            FileKind::Sketch | FileKind::CueSheet => files::safe_name(&self.project.get_untracked()),
            _ => self.peek(|t| files::safe_name(&t.name)).unwrap_or_default(),
        };
        let name = format!("{name}.{}", kind.ending());
        match files::download(&name, kind.media(), bytes) {
            Ok(()) => {
                self.exported.set(Some(format!("{name}: {checked}")));
                self.say(&format!("Wrote {name}"));
            }
            Err(message) => self.fail(format!("{name} could not be handed out: {message}")),
        }
    }
}

/// A line that has been opened, with what its files say of it.
fn line_of(take: &Take) -> Option<LineOf> {
    let (audio, sha256) =
        take.audio.as_ref().map_or_else(Default::default, |a| (a.name.clone(), a.hash.to_string()));
    Some(LineOf {
        name: take.name.clone(),
        audio,
        sha256,
        script: take.script.clone(),
        line: take.line()?.clone(),
    })
}
