//! Asking the voice for looks.

use super::*;
use lipwright_core::line::Suggestion;

impl Store {
    /// Asks the worker what the open line's voice suggests.
    pub fn suggest_looks(self) {
        let index = self.current.get_untracked();
        let Some(Some((samples, line))) =
            self.peek(|t| Some((t.audio.as_ref()?.samples.clone(), t.line()?.clone())))
        else {
            return;
        };
        self.say("Listening to the voice for looks…");
        let id = self.send(|id| Job::Suggest { id, line }, &samples, &[]);
        self.pending(|p| p.suggest = Some((id, index)));
    }

    /// Puts on the lane what this head has a part for.
    pub(super) fn suggested(self, index: usize, mut list: Vec<Suggestion>) {
        self.head.with_untracked(|h| list.retain(|s| h.rig.dofs().iter().any(|d| d.dof.part() == s.part)));
        if index != self.current.get_untracked() {
            return;
        }
        match list.len() {
            0 => self.say("This voice suggests no looks for this head: nothing stands out"),
            1 => self.say("One look or blink suggested"),
            n => self.say(&format!("{n} looks and blinks suggested")),
        }
        self.edit(|t| t.suggest(list));
    }
}
