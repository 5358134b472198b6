//! Looking up a plan between its frames, and what planning says of its progress.

use super::*;
use crate::phonetics::MouthShape;
use crate::progress::Quiet;
use crate::rig::{Dof, Preset};

fn s(value: f64) -> Seconds {
    Seconds::new(value)
}

fn silent(settings: &PlanSettings) -> Plan {
    plan(&[], s(0.2), &Rig::jaw_only(), settings, &mut Quiet).expect("it plans")
}

#[test]
fn between_frames_a_plan_is_a_straight_line_and_beyond_its_ends_it_stays() {
    let settings = PlanSettings { servo_lag: s(0.05), audio_delay: s(0.01), ..PlanSettings::default() };
    let mut plan = silent(&settings);
    let frames = plan.frames();
    assert_eq!(plan.servos[0].planned.len(), frames);
    for t in 0..frames {
        plan.servos[0].planned[t] = Degrees::new((t * t) as f64);
        plan.targets.wanted[t][Dof::JawOpen] = 2.0 * (t * t) as f64;
    }
    let frame = plan.frame.value();
    let close = |a: f64, b: f64| (a - b).abs() < 1e-6;
    assert!(close(plan.time_of(0).value(), plan.start.value()));
    assert!(close(plan.time_of(7).value(), plan.start.value() + 7.0 * frame));
    // Seen 0.05 s after it is sent, of a sound that comes 0.01 s late.
    assert!(close(plan.shows_at(7).value(), plan.time_of(7).value() + 0.04));
    let last = frames - 1;
    let end = (last * last) as f64;
    for (at, value) in [
        (3.0, 9.0),
        (3.25, 10.75),
        (3.5, 12.5),
        (-4.0, 0.0),
        (last as f64, end),
        (last as f64 - 0.5, 0.5 * (end + ((last - 1) * (last - 1)) as f64)),
        (last as f64 + 9.0, end),
    ] {
        let time = plan.start + s(at * frame);
        let (angle, wanted) = (plan.angles_at(time)[0].value(), plan.wanted_at(time)[Dof::JawOpen]);
        assert!(close(angle, value), "{at}: {angle}, by hand {value}");
        assert!(close(wanted, 2.0 * value), "{at}: {wanted} wanted, by hand {}", 2.0 * value);
    }
    assert_eq!(plan.angles_at(s(f64::NAN)), plan.angles_at(plan.start));
}

/// Remembers what it is told, and calls off after so many.
struct Listener(Vec<f64>, usize);

impl Progress for Listener {
    fn report(&mut self, stage: &str, share: f64) -> bool {
        assert_eq!(stage, "planning");
        self.0.push(share);
        self.0.len() < self.1
    }
}

#[test]
fn progress_goes_by_the_square_of_how_many_servos_are_solved_together() {
    let rig = Preset::Lookout.rig();
    let settings = PlanSettings::default();
    let groups = Head::new(&rig, 0.02).expect("it stands").groups;
    let costs: Vec<f64> = groups.iter().map(|g| 1.0 + (g.servos.len() * g.servos.len()) as f64).collect();
    let total: f64 = costs.iter().sum();
    let mut expected: Vec<f64> = (0..costs.len()).map(|k| costs[..k].iter().sum::<f64>() / total).collect();
    expected.push(1.0);
    assert!(
        groups.len() > 2 && groups.iter().any(|g| g.servos.len() > 1),
        "the test wants groups of several sizes"
    );
    let mut listener = Listener(vec![], usize::MAX);
    plan(&[], s(0.1), &rig, &settings, &mut listener).expect("it plans");
    assert!(
        listener.0.iter().zip(&expected).all(|(a, b)| (a - b).abs() < 1e-12),
        "{:?} {expected:?}",
        listener.0
    );
    assert_eq!(listener.0.len(), expected.len());
    for stop in 1..=expected.len() {
        let called_off = plan(&[], s(0.1), &rig, &settings, &mut Listener(vec![], stop));
        assert_eq!(called_off, Err(MotionError::Cancelled), "after {stop}");
    }
}

#[test]
fn wanted_angles_give_the_wanted_face() {
    let rig = Preset::JawAndLips.rig();
    let line =
        [Segment::new(s(0.1), s(0.3), MouthShape::Open), Segment::new(s(0.3), s(0.4), MouthShape::Bilabial)];
    let plan = plan(&line, s(0.5), &rig, &PlanSettings::default(), &mut Quiet).expect("it plans");
    for t in 0..plan.frames() {
        let angles: Vec<Degrees> = plan.servos.iter().map(|c| c.wanted[t]).collect();
        let (face, reach) = (rig.forward(&angles), rig.reach(&plan.targets.wanted[t]).dofs);
        for spec in rig.dofs() {
            let (a, b) = (face[spec.dof], reach[spec.dof]);
            assert!((a - b).abs() < 1e-6, "{} in frame {t}: {a} and {b}", spec.dof);
        }
    }
}
