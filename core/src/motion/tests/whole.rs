//! Stretches, and what becomes of a line that cannot be solved in them.

use super::super::settings::PlanSettings;
use super::*;
use crate::line::Segment;
use crate::motion::tests::planner;
use crate::phonetics::MouthShape;
use crate::rig::Rig;
use crate::units::Seconds;

const S: fn(f64) -> Seconds = Seconds::new;

#[test]
fn stretches_are_the_free_frames_and_with_a_weight_on_jerk_one() {
    let rig = Rig::jaw_only();
    for (jerk, seconds, count) in [(0.0, 20.0, 1), (0.0, 170.0, 3), (0.02, 170.0, 1)] {
        let planner = planner(&rig, &[], seconds, PlanSettings { jerk, ..PlanSettings::default() });
        let stretches = planner.stretches(&planner.head.groups[0]);
        assert_eq!(stretches.len(), count, "{jerk}, {seconds} s: {stretches:?}");
        assert_eq!(
            stretches.iter().flat_map(Clone::clone).collect::<Vec<_>>(),
            planner.free().collect::<Vec<_>>()
        );
    }
}

/// A travel that begins beyond what a frame or two can reach leaves no room anywhere: the servo stays at rest, and that
/// it could not be planned is said.
#[test]
fn without_room_the_first_pass_stands_still_and_says_so() {
    let rig = Rig::jaw_only();
    let open = [Segment::new(S(0.2), S(0.5), MouthShape::Open)];
    let mut planner = planner(&rig, &open, 0.8, PlanSettings::default());
    let group = planner.head.groups[0].clone();
    let resting = Track::resting(&planner, &group);
    let solved = planner.first_pass(&group).expect("it solves");
    assert!(!solved.infeasible && solved.angles != resting.angles);
    let (rest, limits) = (resting.angles[0], &mut planner.head.limits[0]);
    (limits.lower, limits.upper) = (rest + 20.0, rest + 40.0);
    let stuck = planner.first_pass(&group).expect("it says so");
    assert!(stuck.infeasible);
    assert_eq!(stuck.angles, resting.angles);
}

/// Ends of stretches are solved again with what lies beyond; ends of what was solved along and thrown away are not kept.
#[test]
fn only_the_beginning_of_a_stretch_is_left_to_be_looked_at() {
    let rig = Rig::jaw_only();
    let shapes = [MouthShape::Open, MouthShape::Spread];
    // Into the second stretch, so that its window ends in the middle of the third.
    let line: Vec<Segment> =
        (0..850).map(|k| Segment::new(S(0.2 * k as f64), S(0.2 * (k + 1) as f64), shapes[k % 2])).collect();
    let planner = planner(&rig, &line, 170.0, PlanSettings::default());
    let group = &planner.head.groups[0];
    let stretches = planner.stretches(group);
    assert!(stretches.len() > 2, "{stretches:?}");
    let track = planner.first_pass(group).expect("it solves");
    let last = stretches[stretches.len() - 1].start;
    assert!(track.edges.iter().all(|&e| e == last), "{:?} of {stretches:?}", track.edges);
}

/// A track that keeps its limits after all is whole again, drawn back by nothing.
#[test]
fn a_doubted_track_that_holds_is_cut_by_nothing() {
    let rig = Rig::jaw_only();
    let open = [Segment::new(S(0.2), S(0.5), MouthShape::Open)];
    let planner = planner(&rig, &open, 0.8, PlanSettings::default());
    let group = &planner.head.groups[0];
    let solved = planner.solve(group).expect("it solves");
    let mut doubted = solved.clone();
    doubted.infeasible = true;
    planner.certify(group, &mut doubted).expect("it solves");
    assert_eq!((doubted.infeasible, doubted.cut), (false, true));
    assert!(doubted.angles.iter().zip(&solved.angles).all(|(a, b)| (a - b).abs() < 1e-9));
}

/// A frame that bends too sharply by a half: the track is drawn back to rest by as much as it takes and stays so, though
/// one more solve would have had a better one.
#[test]
fn a_track_that_breaks_a_servos_limit_is_cut_and_stays_cut() {
    let rig = Rig::jaw_only();
    let open = [Segment::new(S(0.2), S(0.5), MouthShape::Open)];
    let planner = planner(&rig, &open, 2.0, PlanSettings::default());
    let group = &planner.head.groups[0];
    let solved = planner.solve(group).expect("it solves");
    let mut bent = solved.clone();
    let last = planner.frames() - 20;
    bent.angles[last] += 0.75 * planner.head.limits[0].acceleration;
    let (before, rest) = (bent.angles.clone(), bent.angles[0]);
    planner.certify(group, &mut bent).expect("it solves");
    assert_eq!((bent.infeasible, bent.cut), (false, true));
    // Sixty-fourths of the way from rest.
    let share = (bent.angles[last] - rest) / (before[last] - rest);
    assert!(share < 1.0 && share > 0.6, "{share}");
    assert!(bent.angles.iter().zip(&before).all(|(a, b)| (a - rest - share * (b - rest)).abs() < 1e-9));
}

/// A track that keeps its limits and is not the best there is becomes it by one more solve.
#[test]
fn a_track_that_could_be_better_is_made_so() {
    let rig = Rig::jaw_only();
    let open = [Segment::new(S(0.2), S(0.5), MouthShape::Open)];
    let planner = planner(&rig, &open, 2.0, PlanSettings::default());
    let group = &planner.head.groups[0];
    let solved = planner.solve(group).expect("it solves");
    let mut resting = Track::resting(&planner, group);
    planner.certify(group, &mut resting).expect("it solves");
    let far = resting.angles.iter().map(|a| (a - resting.angles[0]).abs()).fold(0.0, f64::max);
    assert!(far > 5.0 && !resting.cut && !resting.infeasible, "{far}");
    assert!(resting.angles.iter().zip(&solved.angles).all(|(a, b)| (a - b).abs() < 0.05));
}

/// Jaw and lips over more frames than one solve has: what is proven of the whole, put together from its stretches, is as
/// close as for one stretch.
#[test]
fn the_proof_of_several_stretches_is_one_of_the_whole() {
    let rig = crate::rig::Preset::JawAndLips.rig();
    let shapes = [MouthShape::Open, MouthShape::Spread, MouthShape::Pursed];
    let talk = |from: f64| {
        (0..6).map(move |k| {
            let start = from + 0.15 * f64::from(k);
            Segment::new(S(start), S(start + 0.15), shapes[k as usize % 3])
        })
    };
    let line: Vec<Segment> = talk(1.0).chain(talk(30.0)).chain(talk(57.0)).collect();
    let planner = planner(&rig, &line, 60.0, PlanSettings::default());
    let group = &planner.head.groups[0];
    assert!(planner.stretches(group).len() > 1);
    let track = planner.solve(group).expect("it solves");
    let (free, m) = (planner.free(), group.servos.len());
    let problem = planner.objective(group, free.clone(), &track);
    let objective = problem.objective(&track.angles[free.start * m..free.end * m]);
    assert!(track.bound <= objective * (1.0 + 1e-9) + 1e-9);
    assert!(objective - track.bound < 1e-3 * objective, "{} of {objective}", track.bound);
}
