//! What the head cannot do with a line, the weightiest first, and a score of the whole.

use crate::editor::{Problem, ProblemKind};
use lipwright_core::line::Line;
use lipwright_core::motion::{ContactKind, EventFault, LimitedBy, LookShortfall, Plan, Shortfall};
use lipwright_core::phonetics::{Articulator, MouthShape};
use lipwright_core::rig::{Dof, FacePart, Rig, ServoId};
use lipwright_core::units::{Degrees, Seconds};
use std::collections::BTreeMap;

/// Share of the skin's travel, from the rest to its end, from which it counts as near its end.
const NEAR_SKIN: f64 = 0.97;
/// Share of the current budget from which a peak counts as near it.
const NEAR_BUDGET: f64 = 0.9;

/// How near the skin comes to its travel in each frame, remembered so that an edit costs the frames it
/// changed.
#[derive(Default)]
pub struct Stretches {
    angles: Vec<Degrees>,
    /// Per frame, the share for each DOF of the rig.
    shares: Vec<f32>,
}

impl Stretches {
    fn update(&mut self, plan: &Plan, rig: &Rig) {
        let (frames, servos, dofs) = (plan.frames(), plan.servos.len(), rig.dofs().len());
        let fits = self.angles.len() == frames * servos && self.shares.len() == frames * dofs;
        if !fits {
            self.angles = vec![Degrees::new(f64::NAN); frames * servos];
            self.shares = vec![0.0; frames * dofs];
        }
        let mut now = vec![Degrees::ZERO; servos];
        for frame in 0..frames {
            for (servo, curve) in plan.servos.iter().enumerate() {
                now[servo] = curve.planned[frame];
            }
            let known = &mut self.angles[frame * servos..(frame + 1) * servos];
            if known == now.as_slice() {
                continue;
            }
            known.copy_from_slice(&now);
            let face = rig.forward(&now);
            let shares = &mut self.shares[frame * dofs..(frame + 1) * dofs];
            for (share, spec) in shares.iter_mut().zip(rig.dofs()) {
                let off = face[spec.dof] - spec.rest;
                let room = if off < 0.0 { spec.rest - spec.skin_min } else { spec.skin_max - spec.rest };
                *share = if room > 1e-6 { (off.abs() / room) as f32 } else { 0.0 };
            }
        }
    }
}

/// What the head cannot do, the weightiest first; within a kind, the greatest first.
pub fn problems(plan: &Plan, rig: &Rig, line: &Line, stretches: &mut Stretches) -> Vec<Problem> {
    let mut out = contacts(plan);
    stretches.update(plan, rig);
    out.extend(skin(plan, rig, line, stretches));
    out.extend(current(plan, line));
    let missed: Vec<usize> = out.iter().filter(|p| p.kind.is_contact()).map(|p| p.segment).collect();
    out.extend(shapes(plan, rig, &missed));
    out.extend(looks(plan, rig, line));
    out.extend(events(plan, rig, line));
    out.sort_by(|a, b| {
        a.kind.cmp(&b.kind).then(b.size.total_cmp(&a.size)).then(a.time.value().total_cmp(&b.time.value()))
    });
    out
}

fn contacts(plan: &Plan) -> Vec<Problem> {
    let missed = plan.contacts.iter().filter(|c| !c.reached);
    missed
        .map(|c| Problem {
            kind: match c.kind {
                ContactKind::Lips | ContactKind::LipOnTeeth => ProblemKind::Closure,
                ContactKind::TongueTip | ContactKind::TongueBody => ProblemKind::Tongue,
            },
            size: c.missing,
            segment: c.segment,
            time: c.time,
            sentence: c.sentence(),
        })
        .collect()
}

/// One entry for each DOF whose skin is stretched near its travel, at the place where it is most.
fn skin(plan: &Plan, rig: &Rig, line: &Line, stretches: &Stretches) -> Vec<Problem> {
    let dofs = rig.dofs();
    let mut out = Vec::new();
    // A lid's end is the eye shut: each blink goes there.
    for (i, spec) in dofs.iter().enumerate().filter(|(_, d)| d.dof.part() != FacePart::Lids) {
        let share = |frame: usize| f64::from(stretches.shares[frame * dofs.len() + i]);
        let near: Vec<usize> = (0..plan.frames()).filter(|f| share(*f) >= NEAR_SKIN).collect();
        let Some(worst) = near.iter().copied().max_by(|a, b| share(*a).total_cmp(&share(*b))) else {
            continue;
        };
        let time = plan.shows_at(worst).max(lipwright_core::units::Seconds::ZERO).min(line.duration());
        let lasts = near.len() as f64 * plan.frame.value();
        out.push(Problem {
            kind: ProblemKind::Skin,
            size: lasts,
            segment: line.segment_at(time),
            time,
            sentence: format!(
                "{}: at {:.0} % of the skin's travel, near its end for {lasts:.1} s in all",
                plain(spec.dof),
                share(worst) * 100.0
            ),
        });
    }
    out
}

fn current(plan: &Plan, line: &Line) -> Option<Problem> {
    let s = &plan.summary;
    let share = s.peak_current / s.current_budget;
    let time = s.peak_at.max(lipwright_core::units::Seconds::ZERO).min(line.duration());
    (share >= NEAR_BUDGET).then(|| Problem {
        kind: ProblemKind::Current,
        size: share,
        segment: line.segment_at(time),
        time,
        sentence: format!(
            "peak {:.1} A of {:.1} A on the servo rail (estimate)",
            s.peak_current.value(),
            s.current_budget.value()
        ),
    })
}

/// Size of a shortfall: the share of the way from rest that is missing, by how much the shape cares.
fn size(rig: &Rig, s: &Shortfall) -> f64 {
    let way = (s.wanted - rig.rest()[s.dof]).abs().max(1e-6);
    s.importance * ((s.wanted - s.reached).abs() / way).min(1.0)
}

/// One entry for each segment that falls short, with its greatest shortfall; segments whose contact is
/// missed stand there already.
fn shapes(plan: &Plan, rig: &Rig, missed: &[usize]) -> Vec<Problem> {
    let mut by_segment: BTreeMap<usize, Vec<&Shortfall>> = BTreeMap::new();
    for s in plan.shortfalls.iter().filter(|s| !missed.contains(&s.segment)) {
        by_segment.entry(s.segment).or_default().push(s);
    }
    let worst = |list: &[&Shortfall]| {
        list.iter().copied().max_by(|a, b| size(rig, a).total_cmp(&size(rig, b))).cloned()
    };
    by_segment
        .into_iter()
        .filter_map(|(segment, list)| {
            let s = worst(&list)?;
            let more = match list.len() {
                1 => String::new(),
                n => format!("; {} more of this shape", n - 1),
            };
            Some(Problem {
                kind: ProblemKind::Shape,
                size: size(rig, &s),
                segment,
                time: s.time,
                sentence: format!("{}{more}", sentence(rig, s.dof, s.servo, (s.reached, s.wanted), s.by)),
            })
        })
        .collect()
}

fn plain(dof: Dof) -> String {
    dof.name().replace('-', " ")
}

/// One entry for each key of the expression lane whose look falls short, with its greatest shortfall.
fn looks(plan: &Plan, rig: &Rig, line: &Line) -> Vec<Problem> {
    let share = |s: &LookShortfall| {
        let way = (s.wanted - rig.rest()[s.dof]).abs().max(1e-6);
        ((s.wanted - s.reached).abs() / way).min(1.0)
    };
    let mut by_key: BTreeMap<usize, Vec<&LookShortfall>> = BTreeMap::new();
    for s in &plan.looks {
        by_key.entry(s.key).or_default().push(s);
    }
    let of = |list: Vec<&LookShortfall>| {
        let s = list.iter().copied().max_by(|a, b| share(a).total_cmp(&share(b)))?;
        let more = match list.len() {
            1 => String::new(),
            n => format!("; {} more of this look", n - 1),
        };
        let why = sentence(rig, s.dof, s.servo, (s.reached, s.wanted), s.by);
        Some(at(ProblemKind::Look, share(s), s.time, format!("{}: {why}{more}", s.expression), line))
    };
    by_key.into_values().filter_map(of).collect()
}

/// Blinks and turns that are not done as asked for; what the head has no part for stands once.
fn events(plan: &Plan, rig: &Rig, line: &Line) -> Vec<Problem> {
    let missing = |part: FacePart| {
        let all = plan.event_shortfalls.iter().filter(|e| e.fault == EventFault::Missing(part));
        let first = all.clone().next()?;
        let (name, count) = (first.kind.name(), all.count());
        let why = if part == FacePart::Lids {
            "this head has no eyelids"
        } else {
            "this head's neck does not turn"
        };
        let sentence = format!("{count} {name}{}: {why}", if count == 1 { "" } else { "s" });
        Some(at(ProblemKind::Event, count as f64, first.time, sentence, line))
    };
    let mut out: Vec<Problem> = [FacePart::Lids, FacePart::Neck].into_iter().filter_map(missing).collect();
    for e in &plan.event_shortfalls {
        let name = e.kind.name();
        let (size, sentence) = match e.fault {
            EventFault::Missing(_) => continue,
            EventFault::Short { dof, servo, wanted, reached, by } => {
                let way = (wanted - rig.rest()[dof]).abs().max(1e-6);
                let why = sentence(rig, dof, servo, (reached, wanted), by);
                (((wanted - reached).abs() / way).min(1.0), format!("{name}: {why}"))
            }
            EventFault::Slow { takes, servo } => {
                let servo = rig.servos().get(servo.0).map_or("", |s| s.name.as_str());
                let takes = takes.value();
                (takes, format!("{name} takes {takes:.2} s, longer than a person's: speed of servo {servo}"))
            }
        };
        out.push(at(ProblemKind::Event, size, e.time, sentence, line));
    }
    out
}

/// A problem at a time, whichever segment that is in.
fn at(kind: ProblemKind, size: f64, time: Seconds, sentence: String, line: &Line) -> Problem {
    let time = time.max(Seconds::ZERO).min(line.duration());
    Problem { kind, size, segment: line.segment_at(time), time, sentence }
}

/// A shortfall in words: what was reached, what was wanted, which limit of which servo.
fn sentence(rig: &Rig, dof: Dof, servo: ServoId, (reached, wanted): (f64, f64), by: LimitedBy) -> String {
    let unit = if dof.unit() == "deg" { "°" } else { " mm" };
    let what = plain(dof);
    let servo = rig.servos().get(servo.0).map_or("", |s| s.name.as_str());
    let limit = match by {
        LimitedBy::Coupling => "another part of the face comes first".to_owned(),
        LimitedBy::Current => "the supply's current".to_owned(),
        by if servo == what => by.name().to_owned(),
        by => format!("{} of servo {servo}", by.name()),
    };
    // Adding zero turns a rounded -0.0 into 0.0.
    let tenth = |v: f64| (v * 10.0).round() / 10.0 + 0.0;
    format!("{what} {:.1}{unit}, wanted {:.1}{unit}: {limit}", tenth(reached), tenth(wanted))
}

/// What a viewer would miss most: a closure counts three times, a tongue contact twice as much as
/// another shape (our choice; it follows the planner's order of what gives way last).
fn weight(shape: MouthShape) -> f64 {
    match shape {
        MouthShape::Rest => 0.0,
        MouthShape::Bilabial | MouthShape::Labiodental => 3.0,
        s if matches!(s.articulator(), Articulator::TongueTip) => 2.0,
        _ => 1.0,
    }
}

/// How much of a line the head does, 0..=100: the share of its segments that are made as wanted, by
/// weight. A contact that is missed loses its segment; a shape that falls short loses the share of its
/// greatest shortfall. A line of rest scores 100.
#[must_use]
pub fn score(plan: &Plan, rig: &Rig, line: &Line) -> f64 {
    let segments = line.segments();
    let mut lost = vec![0.0f64; segments.len()];
    for s in &plan.shortfalls {
        if let Some(lost) = lost.get_mut(s.segment) {
            *lost = lost.max(size(rig, s));
        }
    }
    for c in plan.contacts.iter().filter(|c| !c.reached) {
        if let Some(lost) = lost.get_mut(c.segment) {
            *lost = 1.0;
        }
    }
    let all: f64 = segments.iter().map(|s| weight(s.shape)).sum();
    let gone: f64 = segments.iter().zip(&lost).map(|(s, lost)| weight(s.shape) * lost).sum();
    if all > 0.0 { 100.0 * (1.0 - gone / all) } else { 100.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::line::Segment;
    use lipwright_core::motion::{PlanSettings, plan_line};
    use lipwright_core::progress::Quiet;
    use lipwright_core::units::Seconds;

    const S: fn(f64) -> Seconds = Seconds::new;

    fn line(cuts: &[(f64, MouthShape)], end: f64) -> Line {
        let ends = cuts.iter().skip(1).map(|c| c.0).chain([end]);
        let segments =
            cuts.iter().zip(ends).map(|((start, shape), end)| Segment::new(S(*start), S(end), *shape));
        Line::new(S(end), segments.collect()).expect("valid")
    }

    fn of(line: &Line) -> (Vec<Problem>, f64, Plan, Rig) {
        let rig = Rig::harbourmaster();
        let plan = plan_line(line, &rig, &PlanSettings::default(), &mut Quiet).expect("plans");
        let list = problems(&plan, &rig, line, &mut Stretches::default());
        let score = score(&plan, &rig, line);
        (list, score, plan, rig)
    }

    /// Shapes faster than any mouth.
    fn rushed() -> Line {
        let cuts: Vec<(f64, MouthShape)> = (0..90)
            .map(|i| (f64::from(i) * 0.03, MouthShape::ALL[i as usize * 5 % MouthShape::COUNT]))
            .collect();
        line(&cuts, 2.7)
    }

    #[test]
    fn the_weightiest_come_first_and_a_segment_stands_once() {
        let (list, score, plan, _) = of(&rushed());
        assert!(list.len() > 5 && score < 90.0, "{} problems, score {score}", list.len());
        assert!(list.windows(2).all(|w| w[0].kind <= w[1].kind));
        assert!(list.windows(2).all(|w| w[0].kind != w[1].kind || w[0].size >= w[1].size));
        let mut of_segments: Vec<usize> = list
            .iter()
            .filter(|p| p.kind.is_contact() || p.kind == ProblemKind::Shape)
            .map(|p| p.segment)
            .collect();
        let count = of_segments.len();
        of_segments.sort_unstable();
        of_segments.dedup();
        assert_eq!(of_segments.len(), count);
        let missed = plan.contacts.iter().filter(|c| !c.reached).count();
        assert_eq!(list.iter().filter(|p| p.kind.is_contact()).count(), missed);
    }

    #[test]
    fn a_slow_line_scores_better_than_a_rushed_one() {
        use MouthShape::*;
        let slow = line(&[(0.0, Rest), (0.5, Bilabial), (1.0, Open), (1.6, Rest)], 2.2);
        let (_, slow, ..) = of(&slow);
        let (_, rushed, ..) = of(&rushed());
        assert!(slow > rushed + 5.0, "{slow} and {rushed}");
        let (list, rest, ..) = of(&line(&[(0.0, Rest)], 1.0));
        assert_eq!((list, rest), (vec![], 100.0));
    }

    #[test]
    fn looks_and_events_that_fall_short_stand_in_the_list() {
        use lipwright_core::line::{Document, Easing, Event, ExpressionKey, Turn};
        use lipwright_core::rig::{Expression, Preset};
        let mut doc = Document::new(line(&[(0.0, MouthShape::Rest)], 6.0));
        // Neutral until the very moment, then shocked: no servo jumps. And a neck that cannot go so far.
        let held = ExpressionKey { easing: Easing::Hold, ..ExpressionKey::new(S(0.5), Expression::Neutral) };
        doc.set_expression(held).expect("inside");
        doc.set_expression(ExpressionKey::new(S(1.5), Expression::Shocked)).expect("inside");
        doc.add_event(Event::turn(S(3.0), Turn { to: Degrees::new(80.0), ..Turn::default() }))
            .expect("inside");
        doc.add_event(Event::blink(S(2.0))).expect("inside");
        doc.add_event(Event::blink(S(4.0))).expect("inside");
        let mut slow = Preset::Harbourmaster.describe();
        for servo in slow.servos.iter_mut().filter(|s| s.name.starts_with("brow")) {
            servo.speed_s_per_60deg = 1.2;
        }
        let lids = slow.mechanisms.iter().position(|m| m.drives.iter().any(|d| d.dof == Dof::LidLeft));
        slow.remove_mechanism(lids.expect("it has eyelids"));
        let rig = Rig::new(slow).expect("a slow head");
        let plan = plan_line(doc.line(), &rig, &PlanSettings::default(), &mut Quiet).expect("plans");
        let list = problems(&plan, &rig, doc.line(), &mut Stretches::default());
        let of = |kind| {
            list.iter().filter(move |p| p.kind == kind).map(|p| p.sentence.as_str()).collect::<Vec<_>>()
        };
        let looks = of(ProblemKind::Look);
        assert!(
            looks.len() == 1
                && looks[0].starts_with("shocked: brow ")
                && looks[0].contains("more of this look"),
            "{looks:?}"
        );
        let events = of(ProblemKind::Event);
        assert_eq!(events[0], "2 blinks: this head has no eyelids");
        assert!(
            events.len() == 2 && events[1].starts_with("head turn: neck turn 35.0°, wanted 80.0°: travel"),
            "{events:?}"
        );
        assert!(list.iter().all(|p| doc.line().segments().get(p.segment).is_some()));
    }

    #[test]
    fn what_is_remembered_of_the_skin_is_what_would_be_computed() {
        let (_, _, plan, rig) = of(&rushed());
        let mut remembered = Stretches::default();
        remembered.update(&plan, &rig);
        let mut other =
            line(&[(0.0, MouthShape::Rest), (1.0, MouthShape::Spread), (2.0, MouthShape::Rest)], 2.7);
        for pass in 0..2 {
            let plan = plan_line(&other, &rig, &PlanSettings::default(), &mut Quiet).expect("plans");
            remembered.update(&plan, &rig);
            let mut fresh = Stretches::default();
            fresh.update(&plan, &rig);
            assert_eq!(remembered.shares, fresh.shares, "pass {pass}");
            other = rushed();
        }
    }
}
