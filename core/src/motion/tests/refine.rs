//! What solving again does where there is no room, where third differences count, and where nothing else helps.

use super::super::settings::PlanSettings;
use super::super::solver::FrameLimits;
use super::*;
use crate::line::Segment;
use crate::motion::tests::lips::one_in_the_other;
use crate::motion::tests::planner;
use crate::phonetics::MouthShape;
use crate::rig::{Preset, Rig};
use crate::units::Seconds;

const S: fn(f64) -> Seconds = Seconds::new;

/// Lips that have been driven into each other for all but the ends of a line, on servos that need two seconds to part them:
/// around any one frame there is no room, for the frames beyond are taken as they are. The window doubles until there is:
/// 20 frames and 40, 80 … each way come to 1260 with the sixth doubling, 20 and 22, 24 … to less than 500 in all passes.
#[test]
fn a_window_doubles_until_there_is_room_in_it() {
    for seconds in [30.0, 60.0] {
        room_is_found(seconds);
    }
}

fn room_is_found(seconds: f64) {
    let rig = Preset::JawAndLips.rig();
    let mut planner = planner(&rig, &[], seconds, PlanSettings::default());
    let group = planner.head.groups[0].clone();
    let (m, n) = (group.servos.len(), planner.frames());
    let crash = one_in_the_other(&rig);
    let mut track = Track::resting(&planner, &group);
    let rest = track.angles[..m].to_vec();
    let farthest = (0..m).map(|c| (crash[c] - rest[c]).abs()).fold(0.0, f64::max);
    let (first, last, way) = (250, n - 250, 100.0);
    for l in &mut planner.head.limits {
        // Twice what the smooth step asks for.
        let (up, bend) = (2.0 * 1.5 * farthest / way, 2.0 * 6.0 * farthest / (way * way));
        *l = FrameLimits { up, down: up, acceleration: bend, ..*l };
    }
    for t in 0..n {
        let u = ((t as f64 - first as f64) / way)
            .clamp(0.0, 1.0)
            .min(((last as f64 - t as f64) / way).clamp(0.0, 1.0));
        let share = u * u * (3.0 - 2.0 * u);
        for c in 0..m {
            track.angles[t * m + c] = rest[c] + share * (crash[c] - rest[c]);
        }
    }
    track.point.clone_from(&track.angles);
    let before = track.angles.clone();
    assert!(
        planner.draw_in(&group, &mut track.clone(), 0..n - 1, &mut vec![]) > 0.5,
        "the lips are too far in"
    );
    let middle = n / 2..n / 2 + 1;
    planner.refine(&group, &mut track, vec![middle]).expect("it solves");
    assert!(!track.infeasible);
    let worst = planner.draw_in(&group, &mut track.clone(), 0..n - 1, &mut vec![]);
    assert!(worst <= EXACT, "{worst} mm");
    let problem = planner.objective(&group, planner.free(), &track);
    assert!(problem.worst_breach_of_servos(&track.angles[2 * m..(n - 2) * m]) < 1e-9);
    assert_ne!(track.angles, before);
}

/// Where servos cannot move as they must, passes run out: the track is outside its limits if a limit of the face is still
/// broken, and only then.
#[test]
fn what_still_breaks_a_limit_after_all_passes_is_outside_its_limits() {
    let rig = Preset::JawAndLips.rig();
    let mut planner = planner(&rig, &[], 0.6, PlanSettings::default());
    let group = planner.head.groups[0].clone();
    let m = group.servos.len();
    // Nothing may stand still: no window has a solution.
    planner.head.limits[0] = FrameLimits { lower: 50.0, upper: 51.0, ..planner.head.limits[0] };
    let crash = one_in_the_other(&rig);
    for crashed in [true, false] {
        let mut track = Track::resting(&planner, &group);
        if crashed {
            track.angles[14 * m..15 * m].copy_from_slice(&crash);
        }
        track.edges.push(14);
        planner.refine(&group, &mut track, vec![]).expect("it solves");
        assert_eq!(track.infeasible, crashed);
        assert!(!track.edges.is_empty(), "no window was solved");
    }
}

/// What binds third differences reaches beyond a window: with a weight on them the whole is solved, without one only
/// what lies around the frame.
#[test]
fn with_a_weight_on_jerk_the_whole_line_is_solved() {
    let rig = Rig::jaw_only();
    let vowels = [
        Segment::new(S(0.2), S(0.4), MouthShape::Open),
        Segment::new(S(0.4), S(3.4), MouthShape::Rest),
        Segment::new(S(3.4), S(3.6), MouthShape::Open),
    ];
    for jerk in [0.0, 0.02] {
        let planner = planner(&rig, &vowels, 4.0, PlanSettings { jerk, ..PlanSettings::default() });
        let group = &planner.head.groups[0];
        let mut track = Track::resting(&planner, group);
        let whole = planner.objective(group, planner.free(), &track);
        let solved = solve(&whole, &Settings { tolerance: 1e-8, ..Settings::default() }).expect("it solves");
        let frame = |line: f64| planner.targets.timeline.ceil(line);
        track.edges.push(frame(3.5));
        planner.refine(group, &mut track, vec![]).expect("it solves");
        let off = |line: f64| (track.angles[frame(line)] - solved.angles[frame(line) - 2]).abs();
        let moved = |line: f64| (track.angles[frame(line)] - track.angles[0]).abs();
        assert!(off(3.5) < 0.05 && moved(3.5) > 1.0, "{jerk}: {} degrees off", off(3.5));
        if jerk > 0.0 {
            assert!(off(0.3) < 0.05 && moved(0.3) > 1.0, "{} degrees off", off(0.3));
        } else {
            assert_eq!(moved(0.3), 0.0, "three seconds away");
        }
    }
}

/// A track that could not be planned, but keeps all limits as it stands, is cut back by nothing, and is whole again.
#[test]
fn what_keeps_its_limits_after_all_is_cut_back_by_nothing() {
    let mut d = Preset::JawAndLips.describe();
    let idle: f64 = d.servos.iter().map(|s| s.idle_current_a).sum();
    d.supply.budget_a = idle + 0.3;
    let rig = Rig::new(d).expect("still a head");
    let line =
        [Segment::new(S(0.1), S(0.3), MouthShape::Open), Segment::new(S(0.3), S(0.4), MouthShape::Bilabial)];
    let planner = planner(&rig, &line, 0.6, PlanSettings::default());
    let solved: Vec<Track> =
        planner.head.groups.iter().map(|g| planner.solve(g).expect("it solves")).collect();
    let joint =
        |tracks: &[Track]| planner.within_budget(tracks).expect("it solves").expect("too much is drawn").1;
    let plain = joint(&solved);
    let mut doubted = solved.clone();
    doubted[0].infeasible = true;
    let cut = joint(&doubted);
    assert_eq!((plain.infeasible, plain.cut), (false, false));
    assert_eq!((cut.infeasible, cut.cut), (false, true));
    assert!(cut.angles.iter().zip(&plain.angles).all(|(a, b)| (a - b).abs() < 1e-9));
}
