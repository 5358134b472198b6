//! Blinks, turns of the head, held segments, looks copied.

use super::*;
use lipwright_core::line::{Event, EventKind, Turn};
use lipwright_core::rig::Dof;
use lipwright_core::units::Degrees;

impl Store {
    /// Adds a blink, or a turn of the head, at the playhead and chooses it.
    pub fn add_event(self, turn: bool) {
        let duration = self.duration();
        let time = self.transport.with_untracked(|t| t.time).max(Seconds::ZERO).min(duration);
        let event = if turn {
            let Some(most) = self.head.with_untracked(|h| h.rig.dof(Dof::NeckTurn).map(|d| d.skin_max))
            else {
                return self.say("This head's neck does not turn: add a servo for it on the rig page");
            };
            let usual = Turn::default();
            let to = Degrees::new(usual.to.value().min(most).round());
            // In no less time than the neck needs, in tenths of a second.
            let least = self.head.with_untracked(|h| h.rig.least_turn_time(Degrees::ZERO, to));
            let least = least.map_or(0.0, |t| (t.value() * 10.0).ceil() / 10.0);
            let over = usual.over.max(Seconds::new(least)).min(Turn::OVER.1);
            Event::turn(time, Turn { to, over, ..usual })
        } else if self.head.with_untracked(|h| h.rig.lids().next().is_none()) {
            return self.say("This head has no eyelids: add a servo for them on the rig page");
        } else {
            Event::blink(time)
        };
        self.edit(|t| t.add_event(event));
        self.choose_event(&event);
    }

    /// Chooses an event, wherever it stands now.
    pub fn choose_event(self, event: &Event) {
        let index = self.peek(|t| t.events().iter().position(|e| e == event)).flatten();
        self.event.set(index);
    }

    /// Changes the numbers of an event, or when it is.
    pub fn change_event(self, index: usize, change: impl FnOnce(&mut Event)) {
        let Some(Some(mut event)) = self.peek(|t| t.events().get(index).copied()) else { return };
        change(&mut event);
        event.time = event.time.max(Seconds::ZERO).min(self.duration());
        self.edit(|t| t.change_event(index, event));
        self.choose_event(&event);
    }

    /// Changes the turn that is chosen.
    pub fn change_turn(self, change: impl FnOnce(&mut Turn)) {
        if let Some(index) = self.event.get_untracked() {
            self.change_event(index, |e| {
                if let EventKind::HeadTurn(turn) = &mut e.kind {
                    change(turn);
                }
            });
        }
    }

    /// Takes an event away.
    pub fn delete_event(self, index: usize) {
        self.event.set(None);
        self.edit(|t| t.delete_event(index));
    }

    /// Holds the selected segments, or lets go.
    pub fn toggle_hold(self) {
        let outcome = self.change(Take::toggle_hold);
        match &outcome {
            Some(Ok(true)) => self.say("Held: whole from start to end; the neighbours give the time"),
            Some(Ok(false)) => self.say("No longer held"),
            _ => return self.say("Choose segments to hold"),
        }
        self.edited(outcome.map(|o| o.map(drop)));
    }

    /// Copies the looks and events over the selected segments.
    pub fn copy_looks(self) {
        match self.peek(|t| t.run_span().map(|_| t.copied_looks())).flatten() {
            None => self.say("Choose the segments whose looks are to be copied"),
            Some(Err(error)) => self.say(&error.to_string()),
            Some(Ok(copied)) => {
                let seconds = copied.length().value();
                self.say(&format!("Copied the looks of {seconds:.2} s; Shift D puts them at the playhead"));
                self.copied_looks.set(Some(copied));
            }
        }
    }

    /// Puts the copied looks and events over the line from the playhead on.
    pub fn paste_looks(self) {
        let Some(copied) = self.copied_looks.get_untracked() else {
            return self.say("No looks are copied yet: D copies those of the chosen segments");
        };
        let time = self.transport.with_untracked(|t| t.time);
        self.edit(|t| t.paste_looks(time, &copied));
    }
}
