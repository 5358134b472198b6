//! When a contact counts as made.

use super::head::{Form, Group};
use super::targets::{Contact, ContactKind};

/// Gap (mm) up to which lips count as closed.
pub const CLOSED_GAP: f64 = 0.3;

/// Distance (mm) from its place at the teeth up to which the lower lip counts as there.
pub const LIP_ON_TEETH: f64 = 0.5;

/// Distance (mm) from its target up to which the tongue counts as there.
pub const TONGUE_REACHED: f64 = 0.8;

/// A contact's condition on one form: the value wanted, and how far off still counts.
pub(super) struct Condition<'f> {
    /// Position of the form among the group's contacts.
    pub(super) index: usize,
    pub(super) form: &'f Form,
    /// Value that the form should have or be below.
    pub(super) target: f64,
    /// The form must not be below `target − tolerance` either.
    pub(super) both_sides: bool,
    pub(super) tolerance: f64,
}

impl Condition<'_> {
    /// How far the form is from counting as reached (0 or less: reached).
    pub(super) fn missing(&self, value: f64) -> f64 {
        let off = value - self.target;
        (if self.both_sides { off.abs() } else { off }) - self.tolerance
    }
}

/// The conditions of one contact on the forms of one group.
pub(super) fn conditions<'f>(contact: &Contact, group: &'f Group) -> Vec<Condition<'f>> {
    let matching = group.contacts.iter().enumerate().filter(|(_, (kind, _))| *kind == contact.kind);
    matching
        .map(|(index, (kind, form))| match kind {
            ContactKind::Lips => {
                Condition { index, form, target: 0.0, both_sides: false, tolerance: CLOSED_GAP }
            }
            ContactKind::LipOnTeeth => Condition {
                index,
                form,
                target: form.value(&contact.target),
                both_sides: true,
                tolerance: LIP_ON_TEETH,
            },
            ContactKind::TongueTip | ContactKind::TongueBody => Condition {
                index,
                form,
                target: form.value(&contact.target),
                both_sides: false,
                tolerance: TONGUE_REACHED,
            },
        })
        .collect()
}
