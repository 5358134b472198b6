//! Editing, selection, what is kept.

use super::*;

impl Store {
    pub(super) fn edited(self, outcome: Option<Result<(), LineError>>) {
        match outcome {
            Some(Ok(())) => {
                self.unsaved.set(true);
                self.soon();
            }
            Some(Err(error)) => self.say(&error.to_string()),
            None => {}
        }
    }

    /// Plans once the hand rests.
    pub(super) fn soon(self) {
        if let Some(replan) = self.hands().replan.get() {
            replan.poke();
        }
        if let Some(keep) = self.hands().keep.get() {
            keep.poke();
        }
    }

    /// Keeps the open line's edits in the browser's storage.
    pub(super) fn keep(self) {
        let kept = self
            .peek(|t| {
                let hash = t.audio.as_ref()?.hash.clone();
                Some((hash, Kept { script: t.script.clone(), line: t.line()?.clone() }))
            })
            .flatten();
        let Some((hash, kept)) = kept else { return };
        let unkept = self.hands().unkept;
        match keep::keep(&hash, &kept) {
            Ok(()) => unkept.set(false),
            // Say it once, not after every edit.
            Err(message) => {
                if !unkept.replace(true) {
                    self.fail(format!(
                        "Edits cannot be kept in this browser ({message}); save the project to a file before you leave."
                    ));
                }
            }
        }
    }

    /// True if closing the page would lose something that the browser's storage does not keep.
    pub fn must_ask(&self) -> bool {
        self.hands().unkept.get() || self.takes.with_untracked(|t| t.len() > DEMO.len())
    }

    /// Throws every edit of the open line away and listens afresh.
    pub fn start_afresh(self) {
        if let Some(Some(hash)) = self.peek(|t| t.audio.as_ref().map(|a| a.hash.clone())) {
            keep::forget(&hash);
        }
        self.change(|t| {
            t.document = None;
            t.selected = None;
            t.performance = None;
        });
        self.listen();
    }

    /// Runs one editing verb on the open line.
    pub fn edit(self, verb: impl FnOnce(&mut Take) -> Result<(), LineError>) {
        let outcome = self.change(verb);
        self.edited(outcome);
    }

    /// Takes the last step of what is on the screen back.
    pub fn undo_here(self) {
        match self.view.get_untracked() {
            View::Line => self.undo(),
            View::Rig => self.rig_undo(),
            View::Bench => {}
        }
    }

    /// Does the last undone step of what is on the screen again.
    pub fn redo_here(self) {
        match self.view.get_untracked() {
            View::Line => self.redo(),
            View::Rig => self.rig_redo(),
            View::Bench => {}
        }
    }

    /// Takes the last step back.
    pub fn undo(self) {
        self.edit(|t| {
            t.undo();
            Ok(())
        });
    }

    /// Does the last undone step again.
    pub fn redo(self) {
        self.edit(|t| {
            t.redo();
            Ok(())
        });
    }

    /// Changes the selection, without touching the line.
    pub fn select(self, change: impl FnOnce(&mut Take)) {
        self.change(change);
    }

    /// Selects a segment and moves the playhead and the view to it.
    pub fn go_to(self, index: usize) {
        self.change(|t| t.selected = Some(index));
        if let Some(Some((start, _))) = self.peek(|t| t.selection().map(|s| (s.start, s.end))) {
            self.seek(start);
            self.axis.update(|a| *a = a.showing(start));
        }
    }
}
