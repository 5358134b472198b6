//! When a contact counts as made, by hand.

use super::super::head::{ContactForm, Form, Group};
use super::*;
use crate::rig::{Dof, DofValues};

/// A group with these contacts: kind, factor of one DOF, constant, how far dead bands leave it short.
fn group(contacts: &[(ContactKind, Dof, f64, f64, f64)]) -> Group {
    let mut group = Group::default();
    group.contacts = contacts
        .iter()
        .map(|&(kind, dof, factor, constant, stops_short)| ContactForm {
            kind,
            form: Form { terms: vec![(dof, factor)], constant },
            stops_short,
        })
        .collect();
    group
}

fn contact(kind: ContactKind, dof: Dof, value: f64) -> Contact {
    let mut target = DofValues::default();
    target[dof] = value;
    Contact { segment: 0, kind, target, first: 2, end: 5, centre: 3 }
}

fn close(a: f64, b: f64) -> bool {
    a == b || (a - b).abs() < 1e-12
}

#[test]
fn each_kind_has_its_own_target_and_tolerance() {
    let head = group(&[
        (ContactKind::Lips, Dof::UpperLipLeft, 1.0, 2.0, 0.1),
        (ContactKind::LipOnTeeth, Dof::LowerLipLeft, 2.0, 1.0, 0.1),
        (ContactKind::TongueTip, Dof::TongueTip, -1.0, 0.0, 0.1),
        (ContactKind::TongueBody, Dof::TongueBody, -1.0, 0.0, 0.1),
    ]);
    // Lips: a gap of 0, whatever the pose; the others: what the form is in the pose.
    for (kind, dof, value, index, target, both_sides, tolerance) in [
        (ContactKind::Lips, Dof::UpperLipLeft, 5.0, 0, 0.0, false, 0.3),
        (ContactKind::LipOnTeeth, Dof::LowerLipLeft, 4.0, 1, 9.0, true, 0.5),
        (ContactKind::TongueTip, Dof::TongueTip, 6.0, 2, -6.0, false, 0.8),
        (ContactKind::TongueBody, Dof::TongueBody, 5.0, 3, -5.0, false, 0.8),
    ] {
        let contact = contact(kind, dof, value);
        let found = conditions(&contact, &head);
        let [only] = found.as_slice() else { panic!("{kind:?}: {} conditions", found.len()) };
        assert_eq!((only.index, only.kind, only.both_sides), (index, kind, both_sides));
        assert_eq!((only.target, only.tolerance), (target, tolerance), "{kind:?}");
    }
}

#[test]
fn what_is_missing_is_counted_from_the_tolerance() {
    let head = group(&[
        (ContactKind::Lips, Dof::UpperLipLeft, 1.0, 2.0, 0.1),
        (ContactKind::LipOnTeeth, Dof::LowerLipLeft, 2.0, 1.0, 0.1),
    ]);
    let lips = contact(ContactKind::Lips, Dof::UpperLipLeft, 0.0);
    let lips = &conditions(&lips, &head)[0];
    // Lips pressed by a millimetre are closed by 1.3 mm more than need be.
    for (gap, missing) in [(0.5, 0.2), (0.3, 0.0), (0.0, -0.3), (-1.0, -1.3)] {
        assert!(close(lips.missing(gap), missing), "{gap}: {}", lips.missing(gap));
    }
    let teeth = contact(ContactKind::LipOnTeeth, Dof::LowerLipLeft, 4.0);
    let teeth = &conditions(&teeth, &head)[0];
    for (place, missing) in [(8.0, 0.5), (9.0, -0.5), (10.0, 0.5), (9.5, 0.0)] {
        assert!(close(teeth.missing(place), missing), "{place}: {}", teeth.missing(place));
    }
}

#[test]
fn a_contact_aims_at_half_its_tolerance_or_what_dead_bands_leave_of_it() {
    // Lips, 0.3 mm: half of it, but no more than is left, and pressed by 0.3 mm at most.
    for (stops_short, upper) in [(0.1, 0.15), (0.15, 0.15), (0.25, 0.05), (0.4, -0.1), (1.0, -0.3)] {
        let head = group(&[(ContactKind::Lips, Dof::UpperLipLeft, 1.0, 0.0, stops_short)]);
        let lips = contact(ContactKind::Lips, Dof::UpperLipLeft, 0.0);
        let lips = &conditions(&lips, &head)[0];
        let (low, high) = lips.free_of_charge(true);
        assert!(low == f64::NEG_INFINITY && close(high, upper), "{stops_short}: {low} to {high}");
        // Held, four fifths of it, whatever the dead bands.
        let (low, high) = lips.free_of_charge(false);
        assert!(low == f64::NEG_INFINITY && close(high, 0.24), "{low} to {high}");
    }
    // A lip at the teeth, 0.5 mm to both sides of 9: a tenth of it is left whatever the dead bands.
    for (stops_short, off) in [(0.1, 0.25), (0.4, 0.1), (1.0, 0.05)] {
        let head = group(&[(ContactKind::LipOnTeeth, Dof::LowerLipLeft, 2.0, 1.0, stops_short)]);
        let teeth = contact(ContactKind::LipOnTeeth, Dof::LowerLipLeft, 4.0);
        let teeth = &conditions(&teeth, &head)[0];
        let (low, high) = teeth.free_of_charge(true);
        assert!(close(low, 9.0 - off) && close(high, 9.0 + off), "{stops_short}: {low} to {high}");
        let (low, high) = teeth.free_of_charge(false);
        assert!(close(low, 8.6) && close(high, 9.4), "{low} to {high}");
        for (place, breach) in [(8.0, 0.6), (8.6, 0.0), (9.0, 0.0), (9.4, 0.0), (10.0, 0.6)] {
            assert!(close(teeth.breach(place, false), breach), "{place}: {}", teeth.breach(place, false));
        }
        assert!(close(teeth.breach(10.0, true), 1.0 - off));
    }
}

#[test]
fn closures_cost_what_closures_do_and_a_fiftieth_where_they_are_held() {
    let settings = PlanSettings { closure_price: 2000.0, tongue_price: 300.0, ..PlanSettings::default() };
    for (kind, made, held) in [
        (ContactKind::Lips, 2000.0, 40.0),
        (ContactKind::LipOnTeeth, 2000.0, 40.0),
        (ContactKind::TongueTip, 300.0, 6.0),
        (ContactKind::TongueBody, 300.0, 6.0),
    ] {
        let head = group(&[(kind, Dof::JawOpen, 1.0, 0.0, 0.1)]);
        let contact = contact(kind, Dof::JawOpen, 0.0);
        let condition = &conditions(&contact, &head)[0];
        assert_eq!(condition.price(&settings, true), made, "{kind:?}");
        assert!(close(condition.price(&settings, false), held), "{kind:?}");
    }
}
