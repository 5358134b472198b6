//! What keyframes are judged by where servos are tied to each other, by hand and on a jaw with lips.

use super::*;
use crate::line::Segment;
use crate::motion::tests::lips::{Way, turned};
use crate::motion::{PlanSettings, plan};
use crate::phonetics::MouthShape;
use crate::progress::Quiet;
use crate::rig::{Dof, Preset};
use crate::units::Seconds;

fn planned(rig: &Rig) -> Plan {
    let s = Seconds::new;
    let line = [
        Segment::new(s(0.1), s(0.3), MouthShape::Open),
        Segment::new(s(0.3), s(0.4), MouthShape::Bilabial),
        Segment::new(s(0.4), s(0.6), MouthShape::Spread),
    ];
    plan(&line, s(0.8), rig, &PlanSettings::default(), &mut Quiet).expect("it plans")
}

/// One servo that draws 0.5 A at full speed, 300 degrees a second: 6 degrees a frame.
#[test]
fn steps_above_the_budget_and_above_the_plan_are_overdrawn() {
    let mut d = Preset::JawOnly.describe();
    let servo = &mut d.servos[0];
    (servo.speed_s_per_60deg, servo.load_derating_up, servo.load_derating_down) = (0.2, 1.0, 1.0);
    (servo.idle_current_a, servo.moving_current_a, servo.stall_current_a) = (0.1, 0.6, 2.0);
    d.supply.budget_a = 0.35;
    let rig = Rig::new(d).expect("still a head");
    let head = Head::new(&rig, 0.02).expect("it stands");
    let budget = head.budget(0.02);
    let (room, us) = (budget.room, rig.servos()[0].us_per_degree);
    // Degrees that just draw what there is.
    let most = room / budget.load(0, 1.0);
    assert!(most > 1.0, "{most}");
    let pulses = |steps: &[f64]| -> Vec<Vec<f64>> {
        let mut at = 1500.0;
        let mut list = vec![at];
        list.extend(steps.iter().map(|s| {
            at += s * us;
            at
        }));
        vec![list]
    };
    let plan = pulses(&[0.0, 0.5 * most, 1.5 * most, 0.0, -2.0 * most, 0.0]);
    let over = |tracks: &[f64]| overdrawn(&rig, &head, 0.02, &plan, &pulses(tracks));
    assert_eq!(over(&[0.0; 6]), [0; 0]);
    assert_eq!(over(&[0.99 * most; 6]), [0; 0]);
    // Where the plan itself draws more, that much is allowed; which way it turns does not matter.
    assert_eq!(over(&[1.01 * most; 6]), [0, 1, 3, 5]);
    assert_eq!(over(&[-1.01 * most; 6]), [0, 1, 3, 5]);
    assert_eq!(over(&[1.6 * most; 6]), [0, 1, 2, 3, 5]);
    assert_eq!(overdrawn(&rig, &head, 0.02, &plan, &plan), [0; 0], "the plan itself is never too much");
    assert_eq!(over(&[0.0, 0.0, 0.0, 0.0, 0.0, 2.1 * most]), [5]);
    assert_eq!(overdrawn(&rig, &head, 0.02, &[], &[]), [0; 0]);
}

/// Lips driven into each other at frames 4 and 5: on the way there, there, and on the way back.
#[test]
fn frames_on_whose_way_lips_collide_are_broken() {
    let rig = Preset::JawAndLips.rig();
    let head = Head::new(&rig, 0.02).expect("it stands");
    let group = head.groups.iter().find(|g| !g.limits.is_empty()).expect("lips");
    let angles = |jaw: f64, lips: f64| {
        let over = [Dof::UpperLipLeft, Dof::UpperLipRight].map(|d| (d, -lips));
        let under = [Dof::LowerLipLeft, Dof::LowerLipRight].map(|d| (d, lips));
        let all = [&[(Dof::JawOpen, 15.0)], &over[..], &under[..]].concat();
        let mut angles = rig.reach(&DofValues::from_pairs(&all)).angles;
        angles[0] = rig.reach(&DofValues::from_pairs(&[(Dof::JawOpen, jaw)])).angles[0];
        angles
    };
    let found = |jaws: [f64; 9], lips: [f64; 9]| {
        let tracks: Vec<Vec<f64>> = (group.servos.iter())
            .map(|&s| (0..9).map(|t| written(&rig.servos()[s], angles(jaws[t], lips[t])[s])).collect())
            .collect();
        let tracks: Vec<&[f64]> = tracks.iter().map(Vec::as_slice).collect();
        broken(&rig, &head, group, &tracks)
    };
    let still = [0.0; 9];
    assert_eq!(found(still, still), [0; 0]);
    assert_eq!(found(still, [0.0, 0.0, 0.0, 0.0, 2.0, 2.0, 0.0, 0.0, 0.0]), [3, 4, 5]);
    // Pressed by as much as lips give way: half a millimetre each, and no more.
    let press = 0.5 * rig.face().lip_compression.value();
    let held = |by: f64| [0.0, 0.0, 0.0, by, by, by, 0.0, 0.0, 0.0];
    assert_eq!(found(still, held(press - 0.01)), [0; 0]);
    // The end of a way is the beginning of the next.
    assert_eq!(found(still, held(press + 0.01)), [3, 4, 5]);
    // With the jaw open there is room for more.
    assert_eq!(found([8.0; 9], held(press + 0.01)), [0; 0]);
    // The last way is looked at, too.
    assert_eq!(found(still, [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 2.0]), [7]);
}

/// Rest as it is written is allowed, whatever a limit says of it: the plan begins and ends there.
#[test]
fn rest_is_never_broken() {
    let rig = Preset::JawAndLips.rig();
    let head = Head::new(&rig, 0.02).expect("it stands");
    let mut group = head.groups.iter().find(|g| !g.limits.is_empty()).expect("lips").clone();
    let rest: Vec<Vec<f64>> =
        group.servos.iter().map(|&s| vec![written(&rig.servos()[s], rig.rest_angles()[s]); 4]).collect();
    let tracks: Vec<&[f64]> = rest.iter().map(Vec::as_slice).collect();
    for (lower, upper) in [(9.0, 99.0), (-99.0, -9.0), (9.0, -9.0)] {
        group.limits.iter_mut().for_each(|l| (l.lower, l.upper) = (lower, upper));
        assert_eq!(broken(&rig, &head, &group, &tracks), [0; 0], "{lower} to {upper}");
    }
}

/// Linkages are curved: on the way from one frame to another with the same gap the lips come nearer or go farther apart. A
/// limit between the ends and that is broken though both frames keep it; the judge looks at hundredths of the way.
#[test]
fn a_limit_that_is_broken_between_two_frames_is_found() {
    let rig = Preset::JawAndLips.rig();
    let head = Head::new(&rig, 0.02).expect("it stands");
    let mut group = head.groups.iter().find(|g| !g.limits.is_empty()).expect("lips").clone();
    group.limits.truncate(1);
    let way = Way::of(&rig, &group);
    let tracks: Vec<Vec<f64>> = (0..3)
        .map(|c| {
            let servo = &rig.servos()[group.servos[c]];
            [way.first[c], way.last[c]].map(|at| servo.pulse(crate::units::Degrees::new(at)).value()).to_vec()
        })
        .collect();
    let tracks: Vec<&[f64]> = tracks.iter().map(Vec::as_slice).collect();
    let found = |lower: f64, upper: f64| {
        let mut own = group.clone();
        (own.limits[0].lower, own.limits[0].upper) = (lower, upper);
        broken(&rig, &head, &own, &tracks)
    };
    assert_eq!(found(way.ends - way.below - 0.01, way.ends + way.above + 0.01), [0; 0]);
    let (lower, upper) = way.half();
    assert_eq!(found(lower, upper), [0], "{lower} to {upper}");
}

/// A limit from above is broken where the same limit turned round is broken from below.
#[test]
fn upper_limits_are_broken_as_lower_ones() {
    let rig = Preset::JawAndLips.rig();
    let head = Head::new(&rig, 0.02).expect("it stands");
    let group = head.groups.iter().find(|g| !g.limits.is_empty()).expect("lips");
    let turned = turned(group);
    let lips = |by: f64| {
        let over = [Dof::UpperLipLeft, Dof::UpperLipRight].map(|d| (d, -by));
        let under = [Dof::LowerLipLeft, Dof::LowerLipRight].map(|d| (d, by));
        let all = [&[(Dof::JawOpen, 15.0)], &over[..], &under[..]].concat();
        let mut angles = rig.reach(&DofValues::from_pairs(&all)).angles;
        angles[0] = rig.rest_angles()[0];
        angles
    };
    let press = 0.5 * rig.face().lip_compression.value();
    for by in [0.0, press - 0.01, press + 0.01, 2.0] {
        let tracks: Vec<Vec<f64>> = (group.servos.iter())
            .map(|&s| [0.0, 0.0, by, by, 0.0, 0.0].map(|b| written(&rig.servos()[s], lips(b)[s])).to_vec())
            .collect();
        let tracks: Vec<&[f64]> = tracks.iter().map(Vec::as_slice).collect();
        let found = broken(&rig, &head, group, &tracks);
        assert_eq!(found, broken(&rig, &head, &turned, &tracks), "{by} mm");
        assert_eq!(found.is_empty(), by < press, "{by} mm: {found:?}");
    }
}

/// A face that stands at its limit to the last bit keeps it.
#[test]
fn what_just_meets_a_limit_is_not_broken() {
    let rig = Preset::JawAndLips.rig();
    let head = Head::new(&rig, 0.02).expect("it stands");
    let mut group = head.groups.iter().find(|g| !g.limits.is_empty()).expect("lips").clone();
    let open = rig.reach(&DofValues::from_pairs(&[(Dof::JawOpen, 8.0)])).angles;
    let pulses: Vec<f64> = group.servos.iter().map(|&s| written(&rig.servos()[s], open[s])).collect();
    let tracks: Vec<Vec<f64>> = pulses.iter().map(|&p| vec![p; 4]).collect();
    let tracks: Vec<&[f64]> = tracks.iter().map(Vec::as_slice).collect();
    let angles: Vec<f64> = group
        .servos
        .iter()
        .zip(&pulses)
        .map(|(&s, &p)| rig.servos()[s].angle(Microseconds::new(p)).value())
        .collect();
    let face = group.face(&rig, &angles);
    let mut with = |lower: f64, upper: f64| {
        for l in &mut group.limits {
            let value = l.form.value(&face);
            (l.lower, l.upper) = (value + lower, value + upper);
        }
        broken(&rig, &head, &group, &tracks)
    };
    assert_eq!(with(0.0, 0.0), [0; 0]);
    assert_eq!(with(-1.0, 0.0), [0; 0]);
    assert_eq!(with(0.0, 1.0), [0; 0]);
}

/// Whatever the tolerance: what is played is near the plan, and no limit is broken that ties servos together.
#[test]
fn lips_are_never_driven_into_each_other_by_what_keyframes_leave_out() {
    let rig = Preset::JawAndLips.rig();
    let plan = planned(&rig);
    let pulses = pulses_of(&plan, &rig);
    let head = Head::new(&rig, 0.02).expect("it stands");
    let mut before = usize::MAX;
    for tolerance in [0.0, 2.0, 10.0, 60.0, 300.0] {
        for form in [KeyframeForm::Linear, KeyframeForm::Smooth] {
            let chosen = choose(&plan, &rig, &pulses, Microseconds::new(tolerance), form);
            let tracks: Vec<Vec<f64>> =
                chosen.iter().zip(&pulses).map(|(frames, p)| played(p, frames, form)).collect();
            for group in head.groups.iter().filter(|g| !g.limits.is_empty()) {
                let own: Vec<&[f64]> = group.servos.iter().map(|&s| tracks[s].as_slice()).collect();
                assert_eq!(broken(&rig, &head, group, &own), [0; 0], "{tolerance} {form:?}");
            }
            assert_eq!(overdrawn(&rig, &head, 0.02, &pulses, &tracks), [0; 0]);
            for (track, p) in tracks.iter().zip(&pulses) {
                assert!(track.iter().zip(p).all(|(a, b)| (a - b).abs() <= tolerance + 1e-9));
            }
            if form == KeyframeForm::Linear {
                let count: usize = chosen.iter().map(Vec::len).sum();
                assert!(count <= before, "{tolerance}: {count} after {before}");
                before = count;
            }
        }
    }
    assert!(before < 3 * plan.frames() / 2, "{before} of {}", 3 * plan.frames());
}

#[test]
fn a_tolerance_that_is_none_is_0_and_another_heads_plan_keeps_all_its_frames() {
    let rig = Preset::JawAndLips.rig();
    let plan = planned(&rig);
    let exact = keyframes(&plan, &rig, Microseconds::new(0.0));
    for tolerance in [-1.0, f64::NAN] {
        assert_eq!(keyframes(&plan, &rig, Microseconds::new(tolerance)), exact);
    }
    let other = keyframes(&plan, &Rig::harbourmaster(), Microseconds::new(8.0));
    assert_eq!(other.len(), 3);
    for keys in other {
        assert_eq!(keys.iter().map(|k| k.frame).collect::<Vec<_>>(), (0..plan.frames()).collect::<Vec<_>>());
    }
    // Pulses are the plan's, to a tenth of a microsecond.
    for (servo, (keys, curve)) in rig.servos().iter().zip(exact.iter().zip(&plan.servos)) {
        for key in keys {
            let pulse: f64 = servo.pulse(curve.planned[key.frame]).value();
            assert!((key.pulse.value() - pulse).abs() <= 0.05 + 1e-9);
            let tenths = 10.0 * key.pulse.value();
            assert!((tenths - tenths.round()).abs() < 1e-9);
        }
    }
}
