//! The planner at its edges: limits from above, breaches small and between frames, settings, servos that break a limit.

use super::*;
use crate::motion::tests::lips::{Way, turned};

/// What an earlier frame did is no reason to look at a later one again.
#[test]
fn a_frame_at_work_is_not_stale_for_what_another_moved() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let group = &planner.head.groups[0];
    let (m, l) = (group.servos.len(), group.limits.len());
    let stale = |moved: usize| {
        let mut track = Track::resting(&planner, group);
        track.limit_duals[9 * l] = 1.0;
        track.angles[moved * m] += 0.2;
        let mut stale = vec![];
        planner.moved_from(group, &track, &(2..12), &mut stale);
        stale
    };
    assert_eq!(stale(9), [9]);
    for moved in [0, 2, 3, 8, 10, 11] {
        assert_eq!(stale(moved), [0; 0], "{moved}");
    }
}

/// What a limit from below is drawn in by its margin, one from above is, too.
#[test]
fn margins_draw_in_upper_limits_as_lower_ones() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.6);
    let group = planner.head.groups[0].clone();
    let l = group.limits.len();
    let window = 6..9;
    let point: Vec<f64> = window.clone().flat_map(|t| face(&rig, 1.0 + 0.3 * t as f64, 0.0)).collect();
    let bounds = |group: &Group, margin: [f64; 2], lower: bool| -> Vec<f64> {
        let mut track = Track::resting(&planner, group);
        track.margins.insert(7 * l, margin);
        let mut problem = planner.objective(group, window.clone(), &track);
        planner.add_rows(&mut problem, group, &window, &point, &track);
        problem.rows.iter().map(|r| if lower { r.lower } else { -r.upper }).collect()
    };
    let below = bounds(&group, [0.125, 0.0], true);
    let above = bounds(&turned(&group), [0.0, 0.125], false);
    let plain = bounds(&group, [0.0, 0.0], true);
    assert_eq!(below.len(), window.len() * l);
    assert!(below.iter().zip(&above).all(|(a, b)| (a - b).abs() < 1e-9), "{below:?} and {above:?}");
    assert!((below[l] - plain[l] - 0.125).abs() < 1e-9);
}

/// Third differences weigh what the settings say, by the square of what a degree of the servo does to the face.
#[test]
fn jerk_weighs_what_the_settings_say() {
    let rig = Preset::JawAndLips.rig();
    let settings = PlanSettings { jerk: 0.02, ..PlanSettings::default() };
    let planner = crate::motion::tests::planner(&rig, &open_and_shut(), 0.6, settings);
    let group = &planner.head.groups[0];
    let problem = planner.objective(group, planner.free(), &Track::resting(&planner, group));
    for (c, &s) in group.servos.iter().enumerate() {
        assert_eq!(problem.jerk[c], 0.02 * planner.head.gain[s]);
    }
}

/// A pass solves to the tolerance of the settings, whatever that is.
#[test]
fn a_pass_solves_as_closely_as_the_settings_ask() {
    let rig = Preset::JawAndLips.rig();
    let passed = |tolerance: f64| {
        let settings = PlanSettings { tolerance, ..PlanSettings::default() };
        let planner = crate::motion::tests::planner(&rig, &open_and_shut(), 0.6, settings);
        let group = &planner.head.groups[0];
        let mut track = Track::resting(&planner, group);
        let mut problem = planner.objective(group, planner.free(), &track);
        let point = problem.wanted.clone();
        planner.pass(group, &mut problem, planner.free(), &point, &mut track).expect("it solves");
        let own = solve(&problem, &Settings { tolerance, ..Settings::default() }).expect("it solves");
        let m = group.servos.len();
        assert_eq!(track.angles[2 * m..track.angles.len() - 2 * m], own.angles, "{tolerance}");
        own.angles
    };
    assert_ne!(passed(1e-2), passed(1e-9));
}

/// A breach of a tenth of a millimetre counts as one of two does; limits from above as those from below.
#[test]
fn a_small_breach_is_seen() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let group = planner.head.groups[0].clone();
    let m = group.servos.len();
    for group in [group.clone(), turned(&group)] {
        let mut track = Track::resting(&planner, &group);
        let press = 0.5 * rig.face().lip_compression.value();
        for t in 10..14 {
            track.angles[t * m..(t + 1) * m].copy_from_slice(&face(&rig, 0.0, press + 0.05));
        }
        let mut stale = vec![];
        let worst = planner.draw_in(&group, &mut track, 0..planner.frames() - 1, &mut stale);
        assert!(worst > 0.05 && worst < 0.5, "{worst}");
        assert!((10..14).all(|t| stale.contains(&t)), "{stale:?}");
    }
}

/// The first of the frames that are looked at counts as those behind it.
#[test]
fn a_breach_on_the_first_frame_looked_at_is_seen() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let group = &planner.head.groups[0];
    let m = group.servos.len();
    for t in [4, 9, 14] {
        let mut track = Track::resting(&planner, group);
        track.angles[t * m..(t + 1) * m].copy_from_slice(&face(&rig, 0.0, 2.0));
        let mut stale = vec![];
        let worst = planner.draw_in(group, &mut track, t..t + 1, &mut stale);
        assert!(worst > 0.5 && stale.contains(&t), "{t}: {worst}, {stale:?}");
    }
}

/// On the straight way of the servos from one frame to the next the gap of the lips is not straight: a limit that both
/// frames keep is broken in between.
#[test]
fn what_is_broken_only_on_the_way_is_seen() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let mut group = planner.head.groups[0].clone();
    group.limits.truncate(1);
    let m = group.servos.len();
    let way = Way::of(&rig, &group);
    // Rest stays allowed, so what is limited is the half that the way strays by.
    let mut limited = group.clone();
    (limited.limits[0].lower, limited.limits[0].upper) = way.half();
    for group in [limited.clone(), turned(&limited)] {
        let mut track = Track::resting(&planner, &group);
        for t in 10..planner.frames() {
            track.angles[t * m..(t + 1) * m].copy_from_slice(&way.last);
        }
        let mut stale = vec![];
        let worst = planner.draw_in(&group, &mut track, 5..15, &mut stale);
        stale.dedup();
        assert!(worst > 0.4 * way.below.max(way.above), "{worst} of {} and {}", way.below, way.above);
        assert_eq!(stale.iter().filter(|t| ![9, 10].contains(t)).count(), 0, "{stale:?}");
        assert!(!stale.is_empty());
    }
}

/// A limit from above counts as one from below: the same lips, the form turned round.
#[test]
fn upper_limits_are_drawn_in_as_lower_ones() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let group = planner.head.groups[0].clone();
    let turned = turned(&group);
    let m = group.servos.len();
    let look = |group: &Group| {
        let mut track = Track::resting(&planner, group);
        for (t, share) in [(10, 0.8), (11, 2.0), (12, 1.5)] {
            track.angles[t * m..(t + 1) * m].copy_from_slice(&face(&rig, 0.0, share));
        }
        let mut stale = vec![];
        let worst = planner.draw_in(group, &mut track, 0..planner.frames() - 1, &mut stale);
        let mut margins: Vec<(usize, [f64; 2])> = track.margins.into_iter().collect();
        margins.sort_by_key(|m| m.0);
        (worst, stale, margins)
    };
    let ((worst, stale, margins), (other, stale_too, swapped)) = (look(&group), look(&turned));
    assert!(worst > 0.1 && (worst - other).abs() < 1e-9 && stale == stale_too);
    assert_eq!(margins.len(), swapped.len());
    for ((a, [low, _]), (b, [_, high])) in margins.iter().zip(&swapped) {
        assert!(a == b && (low - high).abs() < 1e-9);
    }
}

/// A part of the line far from what draws too much, and bent too sharply by a half: all is drawn back by as much as it
/// takes, and says so.
#[test]
fn what_the_budget_leaves_alone_is_cut_back_where_it_breaks_a_servos_limit() {
    let mut d = Preset::JawAndLips.describe();
    d.supply.budget_a = d.servos.iter().map(|s| s.idle_current_a).sum::<f64>() + 0.3;
    let rig = Rig::new(d).expect("still a head");
    let planner = planner(&rig, &open_and_shut(), 3.0);
    let tracks: Vec<Track> =
        planner.head.groups.iter().map(|g| planner.solve(g).expect("it solves")).collect();
    let cut = |tracks: &[Track]| {
        let (_, track) = planner.within_budget(tracks).expect("it solves").expect("too much is drawn");
        assert!(!track.infeasible);
        track.cut
    };
    assert!(!cut(&tracks));
    let mut bent = tracks.clone();
    let (group, m) = (&planner.head.groups[0], planner.head.groups[0].servos.len());
    let limits = &planner.head.limits[group.servos[0]];
    // One frame out of line by d bends by 2 d.
    bent[0].angles[(planner.frames() - 30) * m] += 0.75 * limits.acceleration;
    assert!(0.75 * limits.acceleration < limits.up.min(limits.down), "its speed is allowed");
    assert!(cut(&bent));
}
