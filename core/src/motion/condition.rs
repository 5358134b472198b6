//! When a contact counts as made.

use super::head::{ContactForm, Form, Group};
use super::settings::PlanSettings;
use super::targets::{Contact, ContactKind};

/// Gap (mm) up to which lips count as closed.
pub const CLOSED_GAP: f64 = 0.3;

/// Distance (mm) from its place at the teeth up to which the lower lip counts as there.
pub const LIP_ON_TEETH: f64 = 0.5;

/// Distance (mm) from its target up to which the tongue counts as there.
pub const TONGUE_REACHED: f64 = 0.8;

/// Share of its tolerance that a contact aims to use where it is made, so that some is left.
const IN_HAND: f64 = 0.5;

/// The same on the frames on which it is held.
const HELD_IN_HAND: f64 = 0.8;

/// Price of holding a contact through the whole of its segment, as a share of making it once.
const HOLD: f64 = 0.02;

/// A contact's condition on one form: the value wanted, and how far off still counts.
pub(super) struct Condition<'f> {
    /// Position of the form among the group's contacts.
    pub(super) index: usize,
    pub(super) kind: ContactKind,
    pub(super) form: &'f Form,
    /// Value that the form should have or be below.
    pub(super) target: f64,
    /// The form must not be below `target − tolerance` either.
    pub(super) both_sides: bool,
    pub(super) tolerance: f64,
    /// How much of the tolerance the servos' dead bands may take, mm.
    stops_short: f64,
}

impl Condition<'_> {
    /// How far the form is from counting as reached (0 or less: reached).
    pub(super) fn missing(&self, value: f64) -> f64 {
        let off = value - self.target;
        (if self.both_sides { off.abs() } else { off }) - self.tolerance
    }

    /// Values between which the form is free of charge: at the frame at which the contact is to be
    /// made (`made`), or on the others.
    pub(super) fn free_of_charge(&self, made: bool) -> (f64, f64) {
        // Where the contact is made, it is to be made with every servo stopping short, too; lips are
        // then pressed a little, while a lip at the teeth has two sides to keep to.
        let least = if self.both_sides { 0.1 } else { -1.0 };
        let used = if made {
            (self.tolerance * IN_HAND).min(self.tolerance - self.stops_short).max(least * self.tolerance)
        } else {
            self.tolerance * HELD_IN_HAND
        };
        (if self.both_sides { self.target - used } else { f64::NEG_INFINITY }, self.target + used)
    }

    /// How far a value is outside them (never negative).
    pub(super) fn breach(&self, value: f64, made: bool) -> f64 {
        let (lower, upper) = self.free_of_charge(made);
        (value - upper).max(lower - value).max(0.0)
    }

    /// Price of a mm of it.
    pub(super) fn price(&self, settings: &PlanSettings, made: bool) -> f64 {
        let full = match self.kind {
            ContactKind::Lips | ContactKind::LipOnTeeth => settings.closure_price,
            ContactKind::TongueTip | ContactKind::TongueBody => settings.tongue_price,
        };
        if made { full } else { full * HOLD }
    }
}

/// The conditions of one contact on the forms of one group.
pub(super) fn conditions<'f>(contact: &Contact, group: &'f Group) -> Vec<Condition<'f>> {
    let matching = group.contacts.iter().enumerate().filter(|(_, own)| own.kind == contact.kind);
    matching
        .map(|(index, own)| {
            let ContactForm { kind, form, stops_short } = own;
            let (target, both_sides, tolerance) = match kind {
                ContactKind::Lips => (0.0, false, CLOSED_GAP),
                ContactKind::LipOnTeeth => (form.value(&contact.target), true, LIP_ON_TEETH),
                ContactKind::TongueTip | ContactKind::TongueBody => {
                    (form.value(&contact.target), false, TONGUE_REACHED)
                }
            };
            Condition { index, kind: *kind, form, target, both_sides, tolerance, stops_short: *stops_short }
        })
        .collect()
}

#[cfg(test)]
#[path = "tests/condition.rs"]
mod tests;
