//! The objective by hand, on a jaw with lips whose lips rest.

use super::super::condition::{CLOSED_GAP, conditions};
use super::super::targets::ContactKind;
use super::*;
use crate::motion::PlanSettings;
use crate::rig::{Dof, DofValues, Preset, Rig};
use crate::units::Degrees;

fn planner<'a>(rig: &'a Rig, settings: &PlanSettings) -> Planner<'a> {
    crate::motion::tests::planner(rig, &[], 0.5, *settings)
}

/// Curves with the lips this far apart by the jaw in some frames, at rest in all others.
fn gaping(rig: &Rig, frames: usize, gaps: &[(usize, f64)]) -> Vec<ServoCurve> {
    let face = |gap: f64| DofValues::from_pairs(&[(Dof::JawOpen, gap / rig.face().lower_lip_per_jaw)]);
    let rest = rig.rest_angles();
    let angles = |t: usize| match gaps.iter().find(|g| g.0 == t) {
        Some((_, gap)) => rig.reach(&face(*gap)).angles,
        None => rest.clone(),
    };
    let all: Vec<Vec<Degrees>> = (0..frames).map(angles).collect();
    (0..rest.len())
        .map(|c| {
            let planned: Vec<Degrees> = all.iter().map(|a| a[c]).collect();
            ServoCurve { wanted: vec![rest[c]; frames], limited: vec![None; frames], planned }
        })
        .collect()
}

#[test]
fn a_missed_closure_costs_its_price_where_it_is_nearest_and_a_fiftieth_elsewhere() {
    let rig = Preset::JawAndLips.rig();
    let settings = PlanSettings { closure_price: 2000.0, ..PlanSettings::default() };
    let mut planner = planner(&rig, &settings);
    let (frames, first) = (planner.frames(), 12);
    let target = rig.rest();
    let contact =
        Contact { segment: 0, kind: ContactKind::Lips, target, first, end: first + 3, centre: first + 1 };
    let paid = |planner: &mut Planner<'_>, gaps: [f64; 3]| {
        let gaps: Vec<(usize, f64)> = (first..).zip(gaps).collect();
        let curves = gaping(&rig, frames, &gaps);
        planner.targets.contacts = vec![];
        let without = planner.objective_of(&curves, 0);
        planner.targets.contacts = vec![contact.clone()];
        planner.objective_of(&curves, 0) - without
    };
    let group = planner.head.groups.iter().find(|g| !g.contacts.is_empty()).expect("lips");
    let found = conditions(&contact, group);
    // Both sides of the mouth, each with the same gap.
    assert_eq!(found.len(), 2);
    let made = found[0].free_of_charge(true).1;
    assert!(made <= 0.5 * CLOSED_GAP && made > -CLOSED_GAP);
    drop(found);
    for (gaps, nearest) in [([0.5, 0.4, 0.9], 0.4), ([0.9, 0.5, 0.3], 0.3), ([0.26, 0.7, 0.8], 0.26)] {
        // Held is free up to 0.8 of 0.3 mm.
        let held: f64 = gaps.iter().map(|g: &f64| 40.0 * (g - 0.24).max(0.0)).sum();
        let best = 2000.0 * (nearest - made).max(0.0) - 40.0 * (nearest - 0.24_f64).max(0.0);
        let (is, by_hand) = (paid(&mut planner, gaps), 2.0 * (held + best));
        assert!((is - by_hand).abs() < 1e-3, "{gaps:?}: {is}, by hand {by_hand}");
    }
    assert!(paid(&mut planner, [0.0, 0.0, 0.0]).abs() < 2.0 * 2000.0 * (-made).max(0.0) + 1e-6);
}

#[test]
fn what_is_at_rest_and_wants_rest_costs_nothing_and_twice_as_far_off_four_times_as_much() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &PlanSettings::default());
    let frames = planner.frames();
    let rest = gaping(&rig, frames, &[]);
    assert!(planner.objective_of(&rest, 0).abs() < 1e-6, "{}", planner.objective_of(&rest, 0));
    let off = |by: f64| {
        let mut curves = rest.clone();
        for curve in &mut curves {
            for t in 15..18 {
                curve.planned[t] += Degrees::new(by);
            }
        }
        planner.objective_of(&curves, 0)
    };
    let (once, twice) = (off(1.0), off(2.0));
    assert!(once > 1e-3 && (twice / once - 4.0).abs() < 1e-6, "{once} and {twice}");
}

/// One servo alone off by a degree on the last free frames costs what its own errors and bends cost: all frames count.
#[test]
fn the_last_frames_count_as_the_first() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &PlanSettings { smoothness: 0.0, ..PlanSettings::default() });
    let frames = planner.frames();
    let off = |t: usize| {
        let mut curves = gaping(&rig, frames, &[]);
        curves[0].planned[t] += Degrees::new(1.0);
        planner.objective_of(&curves, 0)
    };
    // In silence every frame far from speech weighs the same.
    let middle = off(frames / 2);
    assert!(middle > 1e-3);
    for t in [frames - 4, frames - 3, 2, 3] {
        assert!((off(t) / middle - 1.0).abs() < 1e-6, "frame {t}: {} and {middle}", off(t));
    }
}
