//! Windows, and what a track takes in, by hand.

// Lists of windows are meant, not of frames.
#![allow(clippy::single_range_in_vec_init)]

use super::super::settings::PlanSettings;
use super::super::solver::{Duals, Status};
use super::*;
use crate::rig::{Preset, Rig};
use crate::units::Degrees;

#[test]
fn long_windows_are_cut_and_nothing_is_lost() {
    assert_eq!(
        (longest(0), longest(1), longest(2), longest(4), longest(16), longest(30)),
        (4000, 4000, 4000, 2000, 500, 500)
    );
    assert_eq!(split_long(vec![5..9], 4), [5..9]);
    assert_eq!(split_long(vec![5..10], 4), [5..9, 9..10]);
    assert_eq!(split_long(vec![0..3, 5..17], 4), [0..3, 5..9, 9..13, 13..17]);
    assert_eq!(split_long(vec![], 4), [0..0; 0]);
}

#[test]
fn windows_lie_around_their_frames_and_merge_where_two_known_frames_do_not_fit_between() {
    let all = 2..100;
    assert_eq!(windows_around(vec![50], 3, &all), [47..54]);
    // Within what there is.
    assert_eq!(windows_around(vec![2], 3, &all), [2..6]);
    assert_eq!(windows_around(vec![99], 3, &all), [96..100]);
    // 47..54, and the next begins 3, 2 and 0 frames behind it.
    assert_eq!(windows_around(vec![60, 50], 3, &all), [47..54, 57..64]);
    assert_eq!(windows_around(vec![50, 59], 3, &all), [47..63]);
    assert_eq!(windows_around(vec![57, 50], 3, &all), [47..61]);
    // One inside another leaves the longer as it is; frames that are none are left out.
    assert_eq!(windows_around(vec![50, 50], 3, &all), [47..54]);
    assert_eq!(windows_around(vec![200], 3, &all), [0..0; 0]);
}

fn planner<'a>(rig: &'a Rig, seconds: f64) -> Planner<'a> {
    crate::motion::tests::planner(rig, &[], seconds, PlanSettings::default())
}

#[test]
fn a_track_of_a_plan_holds_the_plan_from_its_frame_on() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, 0.2);
    let (n, count) = (planner.frames(), rig.servos().len());
    let limited = |s: usize, t: usize| (s == 1 && t.is_multiple_of(3)).then_some(LimitedBy::Speed);
    let curves: Vec<ServoCurve> = (0..count)
        .map(|s| ServoCurve {
            wanted: vec![],
            planned: (0..n + 5).map(|t| Degrees::new((100 * s + t) as f64)).collect(),
            limited: (0..n + 5).map(|t| limited(s, t)).collect(),
        })
        .collect();
    for group in &planner.head.groups {
        let track = Track::of_plan(&planner, group, &curves, 5);
        let m = group.servos.len();
        assert_eq!(track.angles.len(), n * m);
        for t in 0..n {
            for (c, &s) in group.servos.iter().enumerate() {
                assert_eq!(track.angles[t * m + c], (100 * s + t + 5) as f64);
                assert_eq!(track.limited[t * m + c], limited(s, t + 5));
            }
        }
        assert_eq!(track.point, track.angles);
        assert_eq!(
            (track.limit_duals.len(), track.contact_duals.len()),
            (n * group.limits.len(), n * group.contacts.len())
        );
    }
}

/// The groups' angles under the servos of the rig, margins under the limits of all, one after another.
#[test]
fn joined_tracks_say_what_each_said() {
    let rig = Rig::harbourmaster();
    let planner = planner(&rig, 0.1);
    let (groups, n, count) = (&planner.head.groups, planner.frames(), rig.servos().len());
    let with_limits: Vec<usize> = (0..groups.len()).filter(|&g| !groups[g].limits.is_empty()).collect();
    assert!(groups.len() > 2 && !with_limits.is_empty(), "the test wants groups, and limits");
    let all = planner.head.all(0.02);
    let mut tracks: Vec<Track> = groups.iter().map(|g| Track::resting(&planner, g)).collect();
    for (g, track) in tracks.iter_mut().enumerate() {
        let m = groups[g].servos.len();
        for i in 0..n * m {
            track.angles[i] = (1000 * groups[g].servos[i % m] + i / m) as f64;
            track.limited[i] = (i == 4 * m).then_some(LimitedBy::Travel);
        }
        track.bound = (g + 1) as f64;
        track.best.insert(g, g + 7);
        for l in 0..groups[g].limits.len() {
            track.margins.insert(3 * groups[g].limits.len() + l, [g as f64, l as f64]);
        }
    }
    let joint = Track::join(&planner, &all, &tracks);
    for t in 0..n {
        for s in 0..count {
            assert_eq!(joint.angles[t * count + s], (1000 * s + t) as f64);
        }
    }
    let expected: Vec<bool> = (0..count).map(|s| groups.iter().any(|g| g.servos[0] == s)).collect();
    let got: Vec<bool> =
        (0..count).map(|s| joint.limited[4 * count + s] == Some(LimitedBy::Travel)).collect();
    assert_eq!(got, expected);
    assert_eq!(joint.point, joint.angles);
    assert_eq!(joint.bound, (1..=groups.len()).sum::<usize>() as f64);
    assert_eq!(joint.best.len(), groups.len());
    assert!((0..groups.len()).all(|g| joint.best[&g] == g + 7));
    let mut place = 3 * all.limits.len();
    for (g, group) in groups.iter().enumerate() {
        for l in 0..group.limits.len() {
            assert_eq!(joint.margins[&place], [g as f64, l as f64]);
            place += 1;
        }
    }
    assert_eq!(joint.margins.len(), all.limits.len());
    assert_eq!((joint.infeasible, joint.cut), (false, false));
    // One that breaks a limit, and one that was cut, tell of all.
    tracks[0].infeasible = true;
    tracks[1].cut = true;
    let joint = Track::join(&planner, &all, &tracks);
    assert_eq!((joint.infeasible, joint.cut), (true, true));
    (tracks[1].infeasible, tracks[2].cut) = (true, true);
    let joint = Track::join(&planner, &all, &tracks);
    assert_eq!((joint.infeasible, joint.cut), (true, true));
}

/// Frames 5 to 8 of a group of several servos: angles, multipliers, and which ends have moved.
#[test]
fn a_track_takes_in_a_window_and_notes_which_ends_moved() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, 0.2);
    let group = planner.head.groups.iter().find(|g| !g.limits.is_empty()).expect("lips");
    let (m, n) = (group.servos.len(), planner.frames());
    let (l, k) = (group.limits.len(), group.contacts.len());
    let resting = Track::resting(&planner, group);
    let take = |window: Range<usize>, moved: &[(usize, usize, f64)]| {
        let mut track = resting.clone();
        track.limit_duals.fill(9.0);
        track.contact_duals.fill(8.0);
        let mut angles = resting.angles[window.start * m..window.end * m].to_vec();
        for &(t, c, by) in moved {
            angles[(t - window.start) * m + c] += by;
        }
        let slots = [Slot::Limit(window.start * l), Slot::Current, Slot::Contact((window.end - 1) * k)];
        let duals = Duals { travel: vec![], speed: vec![], acceleration: vec![], rows: vec![1.5, 2.5, 3.5] };
        let (status, iterations) = (Status::Solved, 1);
        let solution =
            Solution { angles, objective: 0.0, bound: 0.0, breach: 0.0, status, iterations, duals };
        let point = vec![0.25; window.len() * m];
        track.take(group, &window, &solution, &slots, &point);
        assert_eq!(track.angles[window.start * m..window.end * m], solution.angles);
        assert_eq!(track.angles[..window.start * m], resting.angles[..window.start * m]);
        assert_eq!(track.angles[window.end * m..], resting.angles[window.end * m..]);
        let inside = |i: usize, each: usize| window.contains(&(i / each));
        assert!((0..n * m).all(|i| (track.point[i] == 0.25) == inside(i, m)));
        for i in 0..n * l {
            let expected = if i == window.start * l {
                1.5
            } else if inside(i, l) {
                0.0
            } else {
                9.0
            };
            assert_eq!(track.limit_duals[i], expected);
        }
        for i in 0..n * k {
            let expected = if i == (window.end - 1) * k {
                3.5
            } else if inside(i, k) {
                0.0
            } else {
                8.0
            };
            assert_eq!(track.contact_duals[i], expected);
        }
        track.edges
    };
    assert_eq!(take(5..9, &[]), [0; 0]);
    assert_eq!(take(5..9, &[(5, 0, 0.03)]), [5]);
    assert_eq!(take(5..9, &[(5, m - 1, -0.03), (8, m - 1, 0.03)]), [5, 8]);
    assert_eq!(take(5..9, &[(5, 0, 0.01), (8, 0, -0.01), (6, 0, 5.0), (7, 0, 5.0)]), [0; 0]);
    // At the ends of the line nothing lies beyond that could move.
    assert_eq!(take(2..9, &[(2, 0, 1.0), (8, 0, 1.0)]), [8]);
    assert_eq!(take(3..n - 2, &[(3, 0, 1.0), (n - 3, 0, 1.0)]), [3]);
    assert_eq!(take(3..n - 3, &[(n - 4, 0, 1.0)]), [n - 4]);
}
