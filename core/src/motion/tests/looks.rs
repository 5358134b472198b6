//! The expression lane: brows, corners and neck move, and speech keeps what must touch.

use super::*;
use crate::line::{Document, Easing, ExpressionKey, Line};
use crate::rig::{DofValues, Expression};

/// The busy line as a document, with a silence of a second and a half behind it.
pub(super) fn document() -> Document {
    let (spoken, length) = busy_line(4.0, 3);
    let end = length + Seconds::new(1.5);
    let mut segments: Vec<Segment> = vec![];
    let mut at = Seconds::ZERO;
    for s in spoken {
        if s.start > at {
            segments.push(Segment::new(at, s.start, MouthShape::Rest));
        }
        at = s.end;
        segments.push(s);
    }
    segments.push(Segment::new(at, end, MouthShape::Rest));
    for k in 1..segments.len() {
        segments[k].start = segments[k - 1].end;
    }
    Document::new(Line::new(end, segments).expect("a line"))
}

fn key(time: f64, expression: Expression) -> ExpressionKey {
    ExpressionKey::new(Seconds::new(time), expression)
}

fn face_at(plan: &Plan, rig: &Rig, shown: f64) -> DofValues {
    rig.forward(&plan.angles_at(Seconds::new(shown) - plan.settings.servo_lag))
}

fn planned_line(line: &Line, rig: &Rig) -> Plan {
    plan_line(line, rig, &PlanSettings::default(), &mut Quiet).expect("plans")
}

#[test]
fn looks_move_brows_corners_and_neck_and_speech_keeps_its_contacts() {
    let rig = Rig::harbourmaster();
    let mut document = document();
    let plain = planned_line(document.line(), &rig);
    assert!(plain.servos[11].planned.iter().all(|a| (*a - plain.servos[11].planned[0]).abs().value() < 0.05));
    for k in [key(0.5, Expression::Neutral), key(1.5, Expression::Shocked), key(3.0, Expression::Shocked)] {
        document.set_expression(k).expect("valid");
    }
    let mut smile = key(4.2, Expression::Smile);
    smile.values.insert(Dof::NeckTurn, 14.0);
    document.set_expression(smile).expect("valid");
    let plan = planned_line(document.line(), &rig);
    assert_within(&plan, &rig);
    assert_judged(&plan, &rig);
    let (shocked, smile) =
        (rig.expression(Expression::Shocked).target, rig.expression(Expression::Smile).target);
    let mid = face_at(&plan, &rig, 2.2);
    for dof in [Dof::BrowLeftInner, Dof::BrowRightOuter] {
        assert!((mid[dof] - shocked[dof]).abs() < 0.3, "{dof}: {} of {}", mid[dof], shocked[dof]);
    }
    // Half of the way from neutral to shocked at half of the time, as the easing says.
    let half = face_at(&plan, &rig, 1.0)[Dof::BrowLeftInner];
    assert!((half - 0.5 * shocked[Dof::BrowLeftInner]).abs() < 0.5, "{half}");
    // In the silence the smile is whole, and the head turned.
    let end = face_at(&plan, &rig, 5.0);
    for dof in [Dof::CornerLeftY, Dof::CornerRightY, Dof::CornerLeftX] {
        assert!((end[dof] - smile[dof]).abs() < 0.3, "{dof}: {} of {}", end[dof], smile[dof]);
    }
    assert!((end[Dof::NeckTurn] - 14.0).abs() < 0.5, "{}", end[Dof::NeckTurn]);
    let made = |p: &Plan| (p.summary.closures_reached, p.summary.closures, p.summary.tongue_contacts_reached);
    assert_eq!(made(&plan), made(&plain));
    // A smile through the speech, too, takes nothing that must touch.
    document
        .replace_expressions(vec![ExpressionKey { amount: 1.5, ..key(0.0, Expression::Smile) }])
        .expect("valid");
    assert_eq!(made(&planned_line(document.line(), &rig)), made(&plain));
}

#[test]
fn planning_again_after_a_change_of_look_gives_what_planning_anew_gives() {
    let rig = Rig::harbourmaster();
    let mut document = document();
    for k in [key(0.5, Expression::Neutral), key(1.5, Expression::Smile), key(3.0, Expression::Frown)] {
        document.set_expression(k).expect("valid");
    }
    let mut plan = planned_line(document.line(), &rig);
    let before = plan.clone();
    let hold = ExpressionKey { easing: Easing::Hold, amount: 0.5, ..key(1.5, Expression::Angry) };
    for change in [hold, key(2.4, Expression::Sympathetic)] {
        document.set_expression(change).expect("valid");
        replan_line(&mut plan, document.line(), &rig, &mut Quiet).expect("plans again");
        assert_within(&plan, &rig);
        let anew = planned_line(document.line(), &rig);
        let mut worst: f64 = 0.0;
        for (a, b) in plan.servos.iter().zip(&anew.servos) {
            assert!(a.wanted.iter().zip(&b.wanted).all(|(x, y)| (*x - *y).abs().value() < 1e-9));
            for (x, y) in a.planned.iter().zip(&b.planned) {
                worst = worst.max((*x - *y).abs().value());
            }
        }
        assert!(worst < 0.5, "{worst} degrees apart");
    }
    assert_ne!(plan.servos[11].planned, before.servos[11].planned);
    // A change of segments alone keeps the lane.
    let mut segments = document.line().segments().to_vec();
    segments[5].shape = MouthShape::Pursed;
    let brow = plan.servos[11].planned.clone();
    replan(&mut plan, &segments, &rig, &mut Quiet).expect("plans again");
    assert_eq!(plan.servos[11].planned, brow);
}

#[test]
fn looks_that_the_head_falls_short_of_are_reported_with_their_reason() {
    let rig = Rig::harbourmaster();
    let mut document = document();
    for k in [key(0.5, Expression::Neutral), key(1.5, Expression::Shocked)] {
        document.set_expression(k).expect("valid");
    }
    let plan = planned_line(document.line(), &rig);
    assert!(plan.looks.is_empty(), "{:?}", plan.looks);
    // Held until the very moment: no servo jumps. The brows come late, the reason is their speed or
    // what it takes to gather it.
    let mut description = Preset::Harbourmaster.describe();
    for servo in &mut description.servos {
        servo.speed_s_per_60deg *= 6.0;
    }
    let slow = Rig::new(description).expect("still a valid head");
    let held = ExpressionKey { easing: Easing::Hold, ..key(0.5, Expression::Neutral) };
    document.set_expression(held).expect("valid");
    let mut late = planned_line(document.line(), &slow);
    let brow = late.looks.iter().find(|l| l.dof == Dof::BrowLeftInner).expect("reported");
    assert!(brow.key == 1 && brow.reached < brow.wanted - 0.5, "{brow:?}");
    assert!([LimitedBy::Speed, LimitedBy::Acceleration].contains(&brow.by), "{brow:?}");
    let said = brow.sentence();
    assert!(said.starts_with("brow left inner: ") && said.ends_with(brow.by.name()), "{said}");
    // More than the skin allows is said, too, after a local re-plan as well.
    let far = Dof::BrowLeftInner;
    let most = rig.dofs().iter().find(|d| d.dof == far).expect("there").skin_max;
    let mut beyond = key(5.0, Expression::Neutral);
    beyond.values.insert(far, most + 3.0);
    document.set_expression(beyond).expect("valid");
    replan_line(&mut late, document.line(), &slow, &mut Quiet).expect("plans again");
    let last = late.looks.iter().find(|l| l.key == 2 && l.dof == far).expect("reported");
    assert!(last.by == LimitedBy::Travel && (last.wanted - most - 3.0).abs() < 1e-9, "{last:?}");
}
