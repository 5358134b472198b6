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

    /// Plans once the hand rests, and has what changed kept.
    pub(super) fn soon(self) {
        self.keep_soon(self.last_step());
        if let Some(replan) = self.hands().replan.get() {
            replan.poke();
        }
    }

    /// The open line and what was last done to it, in words.
    fn last_step(self) -> String {
        self.peek(|t| {
            let step = t.document.as_ref().and_then(lipwright_core::line::Document::can_undo);
            format!("{}: {}", t.name, step.map_or_else(|| "as heard".to_owned(), |s| s.to_string()))
        })
        .unwrap_or_default()
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
