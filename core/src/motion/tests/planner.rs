//! The planner's parts by hand or against difference quotients, on a jaw with one servo for each lip.

use super::super::condition::conditions;
use super::super::head::Budget;
use super::super::solver::FrameLimits;
use super::super::targets::ContactKind;
use super::*;
use crate::line::Segment;
use crate::phonetics::MouthShape;
use crate::rig::{Dof, Preset, Rig};
use crate::units::Seconds;

#[path = "planner_edges.rs"]
mod edges;

const S: fn(f64) -> Seconds = Seconds::new;

fn planner<'a>(rig: &'a Rig, segments: &[Segment], seconds: f64) -> Planner<'a> {
    crate::motion::tests::planner(rig, segments, seconds, PlanSettings::default())
}

/// Jaw open, then lips closed.
fn open_and_shut() -> [Segment; 2] {
    [Segment::new(S(0.1), S(0.3), MouthShape::Open), Segment::new(S(0.3), S(0.4), MouthShape::Bilabial)]
}

/// A face with the jaw so far open and each lip so far over the other's place (mm), as the group's angles: whether the
/// lips have room does not matter.
fn face(rig: &Rig, jaw: f64, lips: f64) -> Vec<f64> {
    use Dof::{JawOpen, LowerLipLeft, LowerLipRight, UpperLipLeft, UpperLipRight};
    let over = [(UpperLipLeft, -lips), (UpperLipRight, -lips), (LowerLipLeft, lips), (LowerLipRight, lips)];
    let with = |jaw: f64, lips: &[(Dof, f64)]| {
        let values = DofValues::from_pairs(&[&[(JawOpen, jaw)], lips].concat());
        rig.reach(&values).angles.iter().map(|a| a.value()).collect::<Vec<f64>>()
    };
    let mut angles = with(15.0, &over);
    let jaw = with(jaw, &[]);
    angles[0] = jaw[0];
    angles
}

/// Two servos over two frames, wanted 5 degrees above where they are; which limit is to blame for one angle.
fn blamed(i: usize, set: impl Fn(&mut Problem, &mut Solution)) -> Option<LimitedBy> {
    let limits = FrameLimits { lower: -9.0, upper: 9.0, up: 1.0, down: 1.0, acceleration: 1.0 };
    let row = |t, c, k| Row { terms: vec![(t, c, k)], lower: 0.0, upper: 0.0, price: None };
    let surroundings = vec![Surroundings::resting(0.0); 2];
    let mut problem = Problem {
        frames: 2,
        width: 2,
        wanted: vec![5.0; 4],
        weight: vec![1.0; 4],
        cross: vec![],
        smooth: vec![0.0; 2],
        jerk: vec![0.0; 2],
        limits: vec![limits; 2],
        surroundings,
        rows: vec![row(i / 2, i % 2, 2.0), row(i / 2, i % 2, 3.0), row(i / 2, i % 2, -4.0)],
    };
    let duals =
        Duals { travel: vec![0.0; 4], speed: vec![0.0; 6], acceleration: vec![0.0; 8], rows: vec![0.0; 3] };
    let (objective, bound, breach, status, iterations) = (0.0, 0.0, 0.0, Status::Solved, 1);
    let mut solution = Solution { angles: vec![0.0; 4], objective, bound, breach, status, iterations, duals };
    set(&mut problem, &mut solution);
    let slots = [Slot::Limit(0), Slot::Contact(0), Slot::Current];
    let all = limited(&problem, &solution, &slots);
    for k in (0..4).filter(|&k| k != i && problem.limits[k % 2].upper > -9.0) {
        let own = &solution.duals;
        let (m, a) = (2, &own.acceleration);
        let nothing = own.travel[k] == 0.0
            && own.speed[k] == own.speed[k + m]
            && a[k] - 2.0 * a[k + m] + a[k + 2 * m] == 0.0;
        assert!(!nothing || all[k].is_none(), "{k} is not to be blamed: {all:?}");
    }
    all[i]
}

#[test]
fn the_limit_that_pulls_most_is_to_blame() {
    use LimitedBy::{Acceleration, Coupling, Current, Speed, Travel};
    for i in 0..4 {
        assert_eq!(blamed(i, |_, _| ()), None);
        assert_eq!(blamed(i, |_, s| s.duals.travel[i] = -3.0), Some(Travel));
        // Of the move into the frame, and of the one out of it.
        assert_eq!(blamed(i, |_, s| s.duals.speed[i] = 3.0), Some(Speed));
        assert_eq!(blamed(i, |_, s| s.duals.speed[i + 2] = 3.0), Some(Speed));
        // What both moves alike are held back by moves nothing.
        assert_eq!(blamed(i, |_, s| (s.duals.speed[i], s.duals.speed[i + 2]) = (3.0, 3.0)), None);
        for k in [i, i + 2, i + 4] {
            assert_eq!(blamed(i, |_, s| s.duals.acceleration[k] = 3.0), Some(Acceleration));
        }
        let bends = |s: &mut Solution, list: [f64; 3]| {
            (0..3).for_each(|k| s.duals.acceleration[i + 2 * k] = list[k]);
        };
        assert_eq!(blamed(i, |_, s| bends(s, [2.0, 2.0, 2.0])), None);
        assert_eq!(blamed(i, |_, s| bends(s, [-1.0, 1.0, 3.0])), None);
        // Rows count times their coefficients; those of the current for themselves.
        assert_eq!(blamed(i, |_, s| s.duals.rows[0] = 1.0), Some(Coupling));
        assert_eq!(blamed(i, |_, s| s.duals.rows[1] = 1.0), Some(Coupling));
        assert_eq!(blamed(i, |_, s| s.duals.rows[2] = 1.0), Some(Current));
        assert_eq!(blamed(i, |_, s| s.duals.rows = vec![3.0, -2.0, 0.0]), None);
        // 2 + 3 against 4, and against 6.
        assert_eq!(blamed(i, |_, s| s.duals.rows = vec![1.0, 1.0, 1.0]), Some(Coupling));
        assert_eq!(blamed(i, |_, s| s.duals.rows = vec![1.0, 1.0, 1.5]), Some(Current));
        assert_eq!(blamed(i, |_, s| (s.duals.travel[i], s.duals.speed[i]) = (2.0, -3.0)), Some(Speed));
        assert_eq!(blamed(i, |_, s| (s.duals.travel[i], s.duals.speed[i]) = (-3.5, 3.0)), Some(Travel));
    }
}

#[test]
fn nobody_is_to_blame_where_nothing_is_missed_or_smoothness_explains_all_of_it() {
    use LimitedBy::Travel;
    let held = |by: f64, angle: f64, weight: f64| {
        blamed(1, |p, s| {
            (s.duals.travel[1], s.angles[1], p.weight[1], p.wanted[1]) = (by, angle, weight, 0.0);
        })
    };
    assert_eq!(held(9.0, 0.29, 1.0), None);
    assert_eq!(held(9.0, -0.29, 1.0), None);
    assert_eq!(held(9.0, 0.3, 1.0), Some(Travel));
    assert_eq!(held(9.0, -0.31, 1.0), Some(Travel));
    // Two degrees off at a weight of 4 pull with 16: from 1.6 on a limit has to do with it.
    assert_eq!(held(1.5, 2.0, 4.0), None);
    assert_eq!(held(-1.5, -2.0, 4.0), None);
    assert_eq!(held(1.7, 2.0, 4.0), Some(Travel));
    assert_eq!(held(1.7, -2.0, 4.0), Some(Travel));
    assert_eq!(held(1.6, 2.0, 4.0), None);
    // Two degrees from 2 to 4 as from 0 to 2.
    let from_two = |by: f64, angle: f64| {
        blamed(1, |p, s| {
            (s.duals.travel[1], s.angles[1], p.weight[1], p.wanted[1]) = (by, angle, 4.0, 2.0);
        })
    };
    assert_eq!((from_two(1.7, 4.0), from_two(1.5, 4.0)), (Some(Travel), None));
    assert_eq!((from_two(1.7, 0.0), from_two(1.5, 0.0)), (Some(Travel), None));
    // Where nothing pulls and nothing holds back there is nothing to say.
    assert_eq!(held(0.0, 2.0, 0.0), None);
    assert_eq!(held(0.001, 2.0, 0.0), Some(Travel));
    // A servo without travel is held by that, whatever the multipliers say.
    let pinned =
        |width: f64| blamed(1, |p, _| (p.limits[1].lower, p.limits[1].upper) = (-10.0 - width, -10.0));
    assert_eq!((pinned(0.0), pinned(0.9e-7), pinned(2e-7)), (Some(Travel), Some(Travel), None));
    let least = blamed(1, |p, _| (p.limits[1].lower, p.limits[1].upper) = (0.0, 1e-7));
    assert_eq!(least, None, "a ten-millionth of a degree is a travel");
}

#[test]
fn contacts_of_a_window_are_those_with_a_frame_in_it() {
    let rig = Preset::JawAndLips.rig();
    let mut planner = planner(&rig, &[], 1.0);
    let contact = |(first, end): (usize, usize)| Contact {
        segment: first,
        kind: ContactKind::Lips,
        target: rig.rest(),
        first,
        end,
        centre: first,
    };
    // Neighbours may overlap by rounding, and one may end before the one before it.
    let all = [(3, 6), (6, 8), (7, 11), (10, 12), (20, 21), (21, 25), (23, 24), (40, 44)];
    planner.targets.contacts = all.into_iter().map(contact).collect();
    for start in 0..46 {
        for end in start + 1..47 {
            let found: Vec<(usize, usize)> =
                planner.contacts_in(&(start..end)).iter().map(|c| (c.first, c.end)).collect();
            let expected: Vec<_> =
                all.into_iter().filter(|&(a, b)| (a..b).any(|t| (start..end).contains(&t))).collect();
            assert_eq!(found, expected, "{start}..{end}");
        }
    }
}

/// What rounding of the pulses can add is what half a step of every servo adds by the slopes.
#[test]
fn limits_are_drawn_in_by_rounding_but_never_past_rest() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let group = &planner.head.groups[0];
    let angles = face(&rig, 6.0, -0.5);
    let (slopes, rest) = (group.slopes(&rig, &angles), group.face(&rig, &group.rest(&planner.head.rest)));
    for limit in &group.limits {
        let value = |angles: &[f64]| limit.form.value(&group.face(&rig, angles));
        let mut rounding = 0.0;
        for c in 0..angles.len() {
            let mut moved = angles.clone();
            moved[c] += 1e-4;
            let more = value(&moved);
            moved[c] -= 2e-4;
            rounding += ((more - value(&moved)) / 2e-4).abs() * planner.head.rounding[group.servos[c]];
        }
        assert!(rounding > 1e-3, "{rounding}");
        let with = |lower, upper| FaceLimit { lower, upper, ..limit.clone() };
        let at_rest = limit.form.value(&rest);
        let (lower, upper) = planner.bounds(group, &with(at_rest - 2.0, at_rest + 3.0), &slopes, &rest);
        assert!((lower - (at_rest - 2.0) - rounding).abs() < 1e-7, "{lower}");
        assert!(((at_rest + 3.0) - upper - rounding).abs() < 1e-7, "{upper}");
        let close = 0.25 * rounding;
        let narrow = planner.bounds(group, &with(at_rest - close, at_rest + close), &slopes, &rest);
        assert_eq!(narrow, (at_rest, at_rest));
    }
}

/// The frames that are at work and have moved by more than a tenth of a degree.
#[test]
fn frames_that_moved_from_where_a_limit_was_linearised_are_stale() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let group = &planner.head.groups[0];
    let (m, l, k) = (group.servos.len(), group.limits.len(), group.contacts.len());
    let stale = |limit: f64, contact: f64, moved: f64, last: bool| {
        let mut track = Track::resting(&planner, group);
        let pick = |each: usize| 7 * each + if last { each - 1 } else { 0 };
        track.limit_duals[pick(l)] = limit;
        track.contact_duals[pick(k)] = contact;
        track.angles[pick(m)] += moved;
        let mut stale = vec![];
        for window in [2..7, 7..8, 8..12] {
            planner.moved_from(group, &track, &window, &mut stale);
        }
        stale
    };
    for last in [false, true] {
        for sign in [1.0, -1.0] {
            assert_eq!(stale(sign, 0.0, 0.2, last), [7]);
            assert_eq!(stale(0.0, sign, 0.2, last), [7]);
            assert_eq!(stale(1.0, 0.0, 0.2 * sign, last), [7]);
            assert_eq!(stale(0.0, 1.0, 0.09 * sign, last), [0; 0]);
            assert_eq!(stale(1e-7 * sign, 1e-7 * sign, 0.2, last), [0; 0]);
        }
    }
}

fn budget(room: f64) -> Budget {
    Budget { room, up: vec![0.1, 0.2, 0.4], down: vec![0.2, 0.1, 0.4] }
}

/// Three servos: steps of 1, -2 and 0 degrees draw 0.1 + 0.2 + 0 A, one of 3 up and back 1.2 A each way.
#[test]
fn steps_that_draw_too_much_are_noted_with_the_way_servos_turn() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let mut group = planner.head.groups[0].clone();
    let n = planner.frames();
    let mut track = Track::resting(&planner, &group);
    for t in 5..n {
        track.angles[3 * t] += 1.0;
        track.angles[3 * t + 1] -= 2.0;
    }
    track.angles[3 * 8 + 2] += 3.0;
    let mut look = |track: &mut Track, room: Option<f64>, steps: Range<usize>| {
        group.budget = room.map(budget);
        let mut stale = vec![];
        let any = planner.over_budget(&group, track, steps, &mut stale);
        assert!(any || stale.is_empty());
        stale
    };
    assert_eq!(look(&mut track, None, 0..n - 1), [0; 0]);
    assert_eq!(look(&mut track, Some(1.3), 0..n - 1), [0; 0]);
    assert!(track.cuts.is_empty());
    assert_eq!(look(&mut track, Some(0.5), 0..n - 1), [7, 8, 8, 9]);
    assert_eq!(track.cuts[&7], [[true, true, true]]);
    assert_eq!(track.cuts[&8], [[true, true, false]]);
    assert_eq!(look(&mut track, Some(0.31), 0..7), [0; 0]);
    assert_eq!(look(&mut track, Some(0.29), 0..7), [4, 5]);
    assert_eq!(track.cuts[&4], [[true, false, true]]);
    // What is known is not noted twice, another way is.
    assert_eq!(look(&mut track, Some(0.29), 0..7), [4, 5]);
    assert_eq!(track.cuts[&4].len(), 1);
    (0..3).for_each(|c| track.angles[3 * 5 + c] -= 9.0);
    assert_eq!(look(&mut track, Some(0.29), 4..5), [4, 5]);
    assert_eq!(track.cuts[&4], [[true, false, true], [false, false, false]]);
    // Frames that are not free are not to be solved again.
    (0..3).for_each(|c| track.angles[3 + c] += 9.0);
    (0..3).for_each(|c| track.angles[3 * (n - 2) + c] += 9.0);
    assert_eq!(look(&mut track, Some(0.29), 0..1), [0; 0].to_vec().as_slice());
    assert_eq!(look(&mut track, Some(0.29), 1..2), [2]);
    assert_eq!(look(&mut track, Some(0.29), n - 3..n - 2), [n - 3]);
}

/// A row is the load of its step, whichever of its two frames the window leaves free.
#[test]
fn rows_of_the_current_are_the_load_of_their_steps() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let mut group = planner.head.groups[0].clone();
    group.budget = Some(budget(0.7));
    let mut track = Track::resting(&planner, &group);
    for (i, a) in track.angles.iter_mut().enumerate() {
        *a = ((i * 37) % 19) as f64 - 9.0;
    }
    for t in 3..12 {
        track.cuts.insert(t, vec![vec![true, false, t % 2 == 0], vec![false, false, true]]);
    }
    track.cuts.remove(&6);
    let window = 5..9;
    let mut problem = planner.objective(&group, window.clone(), &track);
    let mut slots = vec![];
    planner.add_current(&mut problem, &group, &window, &track, &mut slots);
    // Steps 4 (into the window), 5, 7 and 8 (out of it), two ways each.
    assert_eq!((problem.rows.len(), slots.len()), (8, 8));
    assert!(slots.iter().all(|s| matches!(s, Slot::Current)));
    let steps = [4, 4, 5, 5, 7, 7, 8, 8];
    for (row, (k, t)) in problem.rows.iter().zip(steps.into_iter().enumerate()) {
        let ways = &track.cuts[&t][k % 2];
        let sum: f64 = (row.terms.iter()).map(|&(i, c, k)| k * track.angles[(5 + i) * 3 + c]).sum();
        let load: f64 = (0..3)
            .map(|c| {
                let step = track.angles[(t + 1) * 3 + c] - track.angles[t * 3 + c];
                if ways[c] { step * budget(0.7).up[c] } else { -step * budget(0.7).down[c] }
            })
            .sum();
        assert!(
            (row.upper - sum - (0.7 - load)).abs() < 1e-9,
            "step {t}: {} and {}",
            row.upper - sum,
            0.7 - load
        );
        assert_eq!((row.lower, row.price), (f64::NEG_INFINITY, None));
        assert_eq!(row.terms.len(), if t == 4 || t == 8 { 3 } else { 6 });
    }
    group.budget = None;
    let mut none = vec![];
    planner.add_current(&mut problem, &group, &window, &track, &mut none);
    assert_eq!((problem.rows.len(), none.len()), (8, 0));
}

/// At the point where it is linearised a row has the value of its form; from there it goes by the form's slopes.
#[test]
fn rows_are_their_forms_about_the_point() {
    let rig = Preset::JawAndLips.rig();
    let mut planner = planner(&rig, &[], 0.6);
    let group = planner.head.groups[0].clone();
    let (m, l, k) = (group.servos.len(), group.limits.len(), group.contacts.len());
    let contact =
        |kind, first, end, centre| Contact { segment: 0, kind, target: rig.rest(), first, end, centre };
    planner.targets.contacts =
        vec![contact(ContactKind::Lips, 4, 8, 5), contact(ContactKind::LipOnTeeth, 11, 14, 12)];
    let mut track = Track::resting(&planner, &group);
    track.margins.insert(7 * l + 1, [0.125, 0.25]);
    track.best.insert(11, 13);
    let window = 6..13;
    let point: Vec<f64> =
        window.clone().flat_map(|t| face(&rig, 1.0 + 0.3 * t as f64, -0.1 * t as f64)).collect();
    let mut problem = planner.objective(&group, window.clone(), &track);
    problem.rows.push(Row { terms: vec![], lower: 0.0, upper: 0.0, price: None });
    let slots = planner.add_rows(&mut problem, &group, &window, &point, &track);
    assert_eq!(slots.len(), problem.rows.len());
    let rest = group.face(&rig, &group.rest(&planner.head.rest));
    let (mut limits, mut contacts) = (0, vec![]);
    for (row, slot) in problem.rows.iter().zip(&slots) {
        let (t, form, lower, upper, price) = match *slot {
            Slot::Limit(i) => {
                limits += 1;
                let limit = &group.limits[i % l];
                let angles = &point[(i / l - 6) * m..][..m];
                let (low, high) = planner.bounds(&group, limit, &group.slopes(&rig, angles), &rest);
                let low = if i == 7 * l + 1 { low + 0.125 } else { low };
                (i / l, &limit.form, low, high, None)
            }
            Slot::Contact(i) => {
                let (t, which) = (i / k, i % k);
                contacts.push(t);
                let contact = &planner.targets.contacts[usize::from(t > 8)];
                let condition = conditions(contact, &group)
                    .into_iter()
                    .find(|c| c.index == which)
                    .expect("it is asked for");
                // Made in its middle, or where the track comes nearest.
                let made = t == if t > 8 { 13 } else { 5 };
                let (lower, upper) = condition.free_of_charge(made);
                (t, &group.contacts[which].form, lower, upper, Some(condition.price(&planner.settings, made)))
            }
            Slot::Current => panic!("nobody asked for the current"),
        };
        let at = |angles: &[f64]| form.value(&group.face(&rig, angles));
        let angles = &point[(t - 6) * m..][..m];
        let value: f64 = row.terms.iter().map(|&(_, c, k)| k * angles[c]).sum();
        assert!(row.terms.iter().all(|term| term.0 == t - 6));
        for (bound, of_form) in [(row.lower, lower), (row.upper, upper)] {
            let same = bound == of_form || (bound - value - (of_form - at(angles))).abs() < 1e-9;
            assert!(same, "frame {t}: {bound} and {of_form}");
        }
        assert_eq!(row.price, price);
        for c in 0..m {
            let mut moved = angles.to_vec();
            moved[c] += 1e-4;
            let more = at(&moved);
            moved[c] -= 2e-4;
            let slope = (more - at(&moved)) / 2e-4;
            let own = row.terms.iter().find(|term| term.1 == c).map_or(0.0, |term| term.2);
            assert!((own - slope).abs() < 1e-6, "frame {t}, servo {c}: {own} and {slope}");
        }
    }
    assert_eq!(limits, window.len() * l);
    // Both sides of the mouth at 6, 7 and at 11, 12: what of the contacts lies in the window.
    contacts.dedup();
    assert_eq!(contacts, [6, 7, 11, 12]);
    // Margins beyond rest leave rest where it is.
    track.margins.insert(7 * l, [99.0, 0.0]);
    planner.add_rows(&mut problem, &group, &window, &point, &track);
    let row =
        problem.rows.iter().zip(planner.add_rows(&mut problem.clone(), &group, &window, &point, &track));
    let (row, _) = row.into_iter().find(|(_, s)| matches!(s, Slot::Limit(i) if *i == 7 * l)).expect("a row");
    let value: f64 = row.terms.iter().map(|&(_, c, k)| k * point[m + c]).sum();
    let form = &group.limits[0].form;
    let at_rest = form.value(&rest);
    assert!((row.lower - value - (at_rest - form.value(&group.face(&rig, &point[m..2 * m])))).abs() < 1e-9);
}

/// The weight of a servo's error is that of the error of the face that it makes.
#[test]
fn weights_are_those_of_the_face() {
    let rig = Preset::Harbourmaster.rig();
    let planner = planner(&rig, &open_and_shut(), 0.6);
    let count = rig.servos().len();
    for group in &planner.head.groups {
        let mut track = Track::resting(&planner, group);
        for (i, a) in track.angles.iter_mut().enumerate() {
            *a += 0.01 * i as f64;
        }
        let (m, range) = (group.servos.len(), 20..32);
        let problem = planner.objective(group, range.clone(), &track);
        for (c, around) in problem.surroundings.iter().enumerate() {
            let at = |t: usize| track.angles[t * m + c];
            assert_eq!((around.before, around.after), ([at(18), at(19)], [at(32), at(33)]));
        }
        for (c, &s) in group.servos.iter().enumerate() {
            assert_eq!(problem.smooth[c], 0.05 * planner.head.gain[s]);
            assert_eq!(problem.limits[c], planner.head.limits[s]);
        }
        for (i, t) in range.enumerate() {
            let wanted: Vec<f64> = group.servos.iter().map(|&s| planner.wanted[t * count + s]).collect();
            assert_eq!(problem.wanted[i * m..(i + 1) * m], wanted);
            let slope = |c: usize, dof: Dof| {
                let (mut more, mut less) = (wanted.clone(), wanted.clone());
                more[c] += 1e-4;
                less[c] -= 1e-4;
                (group.face(&rig, &more)[dof] - group.face(&rig, &less)[dof]) / 2e-4
            };
            for a in 0..m {
                for b in a..m {
                    let sum: f64 = group
                        .dofs
                        .iter()
                        .map(|&d| planner.targets.weight[t][d] * slope(a, d) * slope(b, d))
                        .sum();
                    let got = if a == b {
                        problem.weight[i * m + a]
                    } else {
                        problem.cross.iter().find(|x| x.servos == (a, b)).map_or(0.0, |x| x.weight[i])
                    };
                    assert!((got - sum).abs() < 1e-5 * (1.0 + sum.abs()), "{a}, {b} at {t}: {got} and {sum}");
                }
            }
        }
    }
}

/// Lips pressed into each other from frame 10 to 13: every frame gives way by what it is over.
#[test]
fn where_a_limit_is_broken_its_margin_grows_by_a_fifth_more_than_the_breach() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let group = &planner.head.groups[0];
    let (m, l) = (group.servos.len(), group.limits.len());
    let free = planner.free();
    let rest = group.face(&rig, &group.rest(&planner.head.rest));
    let crash = |frames: Range<usize>, lips: f64| {
        let mut track = Track::resting(&planner, group);
        for t in frames {
            track.angles[t * m..(t + 1) * m].copy_from_slice(&face(&rig, 0.0, lips));
        }
        let mut stale = vec![];
        let worst = planner.draw_in(group, &mut track, 0..planner.frames() - 1, &mut stale);
        stale.sort_unstable();
        stale.dedup();
        (track, stale, worst)
    };
    let (track, stale, worst) = crash(10..14, 2.0);
    let angles = face(&rig, 0.0, 2.0);
    let slopes = group.slopes(&rig, &angles);
    let over = |which: usize| {
        let limit = &group.limits[which];
        planner.bounds(group, limit, &slopes, &rest).0 - limit.form.value(&group.face(&rig, &angles))
    };
    assert!(over(0) > 0.5 && over(1) > 0.5, "the lips are too far in");
    assert!((worst - over(0).max(over(1))).abs() < 1e-9, "{worst}");
    assert_eq!(stale, [9, 10, 11, 12, 13, 14]);
    for which in 0..2 {
        for t in [11, 12] {
            let [low, high] = track.margins[&(t * l + which)];
            assert!((low - (1.2 * over(which) + 1e-5)).abs() < 1e-9 && high == 0.0, "{low}");
        }
        // On the way in and out both neighbours give way, at three quarters and less of the whole.
        for t in [9, 14] {
            let low = track.margins[&(t * l + which)][0];
            assert!(low > 0.1 * over(which) && low < 2.5 * over(which), "{low}");
        }
        assert!(
            !track.margins.contains_key(&(8 * l + which)) && !track.margins.contains_key(&(15 * l + which))
        );
    }
    // Frames that are known are not to be moved.
    let (track, stale, worst) = crash(0..4, 2.0);
    assert!((worst - over(0).max(over(1))).abs() < 1e-9);
    assert_eq!(stale, [2, 3, 4]);
    assert!(track.margins.keys().all(|place| free.contains(&(place / l))));
    // Standing apart, or at rest, nothing is broken.
    for lips in [0.0, -1.0] {
        let (track, stale, worst) = crash(10..14, lips);
        assert!(stale.is_empty() && track.margins.is_empty() && worst <= 0.0, "{lips}: {worst}");
    }
}

/// Lips that come nearest two frames behind the middle: there the closure is to be made.
#[test]
fn a_missed_contact_moves_to_where_it_is_nearest() {
    let rig = Preset::JawAndLips.rig();
    let mut planner = planner(&rig, &[], 0.5);
    let group = planner.head.groups[0].clone();
    let m = group.servos.len();
    planner.targets.contacts = vec![Contact {
        segment: 0,
        kind: ContactKind::Lips,
        target: rig.rest(),
        first: 8,
        end: 13,
        centre: 10,
    }];
    let moved = |gaps: [f64; 5], known: Option<usize>, window: Range<usize>| {
        let mut track = Track::resting(&planner, &group);
        for (t, gap) in (8..).zip(gaps) {
            let jaw = gap / rig.face().lower_lip_per_jaw;
            track.angles[t * m..(t + 1) * m].copy_from_slice(&face(&rig, jaw, 0.0));
        }
        track.best.extend(known.map(|t| (8, t)));
        let mut stale = vec![];
        planner.contacts_to_move(&group, &mut track, &window, &mut stale);
        (track.best.get(&8).copied(), stale)
    };
    assert_eq!(moved([4.0, 3.0, 2.0, 1.5, 1.0], None, 5..20), (Some(12), vec![10, 12]));
    assert_eq!(moved([0.8, 3.0, 2.0, 1.5, 1.0], None, 5..20), (Some(8), vec![10, 8]));
    assert_eq!(moved([4.0, 3.0, 2.0, 1.5, 1.0], Some(9), 5..20), (Some(12), vec![9, 12]));
    // It is nearest already; it is made; it is nearer by too little; the window has nothing to do with it.
    assert_eq!(moved([4.0, 3.0, 1.0, 1.5, 2.0], None, 5..20), (None, vec![]));
    assert_eq!(moved([0.0, 0.0, 0.29, 0.0, 0.0], None, 5..20), (None, vec![]));
    assert_eq!(moved([2.0, 2.0, 2.0, 2.0, 1.9995], None, 5..20), (None, vec![]));
    assert_eq!(moved([2.0, 2.0, 2.0, 2.0, 1.99], None, 5..20), (Some(12), vec![10, 12]));
    assert_eq!(moved([4.0, 3.0, 2.0, 1.5, 1.0], None, 13..20), (None, vec![]));
}

/// A jump of 4 degrees where 3 are allowed: three quarters of the way is left of everything.
#[test]
fn the_last_resort_draws_everything_towards_rest_until_it_holds() {
    let rig = Preset::JawAndLips.rig();
    let planner = planner(&rig, &[], 0.5);
    let mut group = planner.head.groups[0].clone();
    let (m, free) = (group.servos.len(), planner.free());
    let mut track = Track::resting(&planner, &group);
    let mut problem = planner.objective(&group, free.clone(), &track);
    for l in &mut problem.limits {
        *l = FrameLimits { lower: -90.0, upper: 90.0, up: 3.0, down: 90.0, acceleration: 180.0 };
    }
    let rest = track.angles[free.start * m..free.end * m].to_vec();
    let mut original = rest.clone();
    for t in 5..15 {
        original[t * m] += 4.0;
        original[t * m + 1] += 2.0;
    }
    // Jaw and upper lip: away from the lower one, for all that the limits of the face know.
    let mut attempt = |problem: &Problem, group: &Group| {
        let mut angles = original.clone();
        let held = planner.cut_back(problem, group, &mut track, &mut angles);
        assert_eq!(track.angles[free.start * m..free.end * m], angles);
        let share: Vec<f64> = (angles.iter().zip(&rest).zip(&original))
            .filter(|((_, r), o)| o != r)
            .map(|((a, r), o)| (a - r) / (o - r))
            .collect();
        assert!(share.iter().all(|s| (s - share[0]).abs() < 1e-9), "{share:?}");
        (held, (share[0] * 64.0).round() / 64.0)
    };
    group.limits.clear();
    assert_eq!(attempt(&problem, &group), (true, 0.75));
    // On the way back 0.2 A a degree for the jaw, 0.1 for the other: 1 A, of which 25 of 64 parts are below 0.4.
    group.budget = Some(budget(0.4));
    assert_eq!(attempt(&problem, &group), (true, 25.0 / 64.0));
    group.budget = None;
    problem.limits[0].up = 40.0;
    assert_eq!(attempt(&problem, &group), (true, 1.0));
    // Not even rest is within these.
    problem.limits[0].lower = 50.0;
    assert_eq!(attempt(&problem, &group), (false, 0.0));
    let with_limits = planner.head.groups[0].clone();
    problem.limits[0].lower = -90.0;
    let mut crash = rest.clone();
    for t in 5..15 {
        crash[t * m..(t + 1) * m].copy_from_slice(&face(&rig, 0.0, 2.0));
    }
    let mut track = Track::resting(&planner, &with_limits);
    assert!(planner.cut_back(&problem, &with_limits, &mut track, &mut crash));
    assert!(planner.draw_in(&with_limits, &mut track, 0..planner.frames() - 1, &mut vec![]) <= EXACT);
    assert!((0..crash.len()).any(|i| (crash[i] - rest[i]).abs() > 0.5), "most of the way in is left");
}

/// Within the budget nothing is planned together; without room nothing can be; where it binds it is kept.
#[test]
fn the_rails_budget_is_kept_by_all_servos_together() {
    let with = |amps: f64| {
        let mut d = Preset::JawAndLips.describe();
        d.supply.budget_a = amps;
        Rig::new(d).expect("still a head")
    };
    let idle: f64 = with(1.5).servos().iter().map(|s| s.idle_current.value()).sum();
    for (amps, together) in [(5.0, false), (idle + 0.3, true), (idle + 1e-6, true)] {
        let rig = with(amps);
        let planner = planner(&rig, &open_and_shut(), 0.6);
        let tracks: Vec<Track> =
            planner.head.groups.iter().map(|g| planner.solve(g).expect("it solves")).collect();
        let joint = planner.within_budget(&tracks).expect("it solves");
        assert_eq!(joint.is_some(), together, "{amps} A");
        let Some((all, track)) = joint else { continue };
        assert_eq!(track.infeasible, amps < idle + 0.1, "{amps} A");
        assert_eq!(track.bound, tracks.iter().map(|t| t.bound).sum::<f64>());
        let (m, budget) = (all.servos.len(), planner.head.budget(0.02));
        let load = |t: usize| -> f64 {
            (0..m).map(|c| budget.load(c, track.angles[(t + 1) * m + c] - track.angles[t * m + c])).sum()
        };
        let most = (0..planner.frames() - 1).map(load).fold(0.0, f64::max);
        assert_eq!(most <= budget.room + 1e-6, amps > idle + 0.1, "{amps} A: {most} of {}", budget.room);
        assert!(
            amps < idle + 0.1 || most > 0.9 * budget.room,
            "what there is, is used: {most} of {}",
            budget.room
        );
        assert!(amps < idle + 0.1 || track.limited.contains(&Some(LimitedBy::Current)));
    }
}

/// A long line is solved in stretches; the whole, solved at once, is the same and within the proof.
#[test]
fn stretches_come_to_what_the_whole_comes_to() {
    let rig = Rig::jaw_only();
    let shapes = [MouthShape::Open, MouthShape::Spread, MouthShape::HalfOpen];
    let segments: Vec<Segment> =
        (0..430).map(|k| Segment::new(S(0.2 * k as f64), S(0.2 * (k + 1) as f64), shapes[k % 3])).collect();
    let planner = planner(&rig, &segments, 86.0);
    let group = &planner.head.groups[0];
    assert!(planner.frames() > 4200, "more than one stretch");
    let track = planner.solve(group).expect("it solves");
    let free = planner.free();
    let problem = planner.objective(group, free.clone(), &Track::resting(&planner, group));
    let whole = solve(&problem, &Settings { tolerance: 1e-8, ..Settings::default() }).expect("it solves");
    let angles = &track.angles[free];
    let worst = angles.iter().zip(&whole.angles).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    assert!(worst < 0.1, "{worst} degrees apart");
    let objective = problem.objective(angles);
    assert!(objective >= whole.objective * (1.0 - 1e-7) && objective < whole.objective * 1.001);
    assert!(
        track.bound <= whole.objective && track.bound > 0.998 * whole.objective,
        "{} of {}",
        track.bound,
        whole.objective
    );
    assert!(!track.infeasible && !track.cut);
}
