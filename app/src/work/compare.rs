//! What another rig makes of the lines: each planned on both, and scored.

use super::message::LineOf;
use lipwright_core::line::Segment;
use lipwright_core::motion::{Plan, PlanSettings, PlanStatus, plan_line};
use lipwright_core::phonetics::MouthShape;
use lipwright_core::progress::Progress;
use lipwright_core::rig::Rig;
use lipwright_core::units::Amps;
use serde::{Deserialize, Serialize};

/// How one shape fares over a line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ShapeScore {
    /// Which.
    pub shape: MouthShape,
    /// Segments of it.
    pub asked: usize,
    /// Of those, how many fall noticeably short in some part that matters to them.
    pub short: usize,
}

/// One line on one rig.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Score {
    /// Lip closures asked for.
    pub closures: usize,
    /// Lip closures made.
    pub closures_reached: usize,
    /// Tongue contacts asked for (none without a tongue).
    pub contacts: usize,
    /// Tongue contacts made.
    pub contacts_reached: usize,
    /// Root of the weighted mean squared error against the rig's own poses, mm.
    pub error_mm: f64,
    /// Greatest estimated current.
    pub peak_a: Amps,
    /// What the rig's supply allows.
    pub budget_a: Amps,
    /// False where some limit could not be kept: not to be played.
    pub playable: bool,
    /// Shapes that the line holds, in their order.
    pub shapes: Vec<ShapeScore>,
}

/// One line on the rig as it was and as it is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineChange {
    /// Name of the line.
    pub name: String,
    /// On the rig as it was.
    pub before: Score,
    /// On the rig as it is.
    pub after: Score,
}

impl Score {
    fn of(plan: &Plan, segments: &[Segment]) -> Self {
        let s = &plan.summary;
        let shapes = MouthShape::ALL
            .into_iter()
            .filter(|shape| *shape != MouthShape::Rest)
            .map(|shape| {
                let mut short: Vec<usize> =
                    plan.shortfalls.iter().filter(|f| f.shape == shape).map(|f| f.segment).collect();
                short.dedup();
                let asked = segments.iter().filter(|x| x.shape == shape).count();
                ShapeScore { shape, asked, short: short.len() }
            })
            .filter(|x| x.asked > 0)
            .collect();
        Self {
            closures: s.closures,
            closures_reached: s.closures_reached,
            contacts: s.tongue_contacts,
            contacts_reached: s.tongue_contacts_reached,
            error_mm: s.weighted_error,
            peak_a: s.peak_current,
            budget_a: s.current_budget,
            playable: s.status != PlanStatus::OutsideLimits,
            shapes,
        }
    }
}

/// Plans every line on both rigs.
///
/// # Errors
/// What went wrong, as core says it, with the line's name.
pub fn compare(
    lines: &[LineOf],
    before: &str,
    after: &str,
    settings: &PlanSettings,
    progress: &mut dyn Progress,
) -> Result<Vec<LineChange>, String> {
    let rigs = [before, after].map(|json| Rig::from_json(json).map_err(|e| e.to_string()));
    let [before, after] = rigs;
    let (before, after) = (before?, after?);
    let total = (2 * lines.len()).max(1) as f64;
    let mut done = 0;
    let mut score = |line: &LineOf, rig: &Rig, done: usize| {
        let mut part =
            |stage: &'static str, share: f64| progress.report(stage, (done as f64 + share) / total);
        plan_line(&line.line, rig, settings, &mut part)
            .map(|p| Score::of(&p, line.line.segments()))
            .map_err(|e| format!("{}: {e}", line.name))
    };
    let mut changes = Vec::new();
    for line in lines {
        let was = score(line, &before, done)?;
        let is = score(line, &after, done + 1)?;
        done += 2;
        changes.push(LineChange { name: line.name.clone(), before: was, after: is });
    }
    Ok(changes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::line::Line;
    use lipwright_core::progress::Quiet;
    use lipwright_core::rig::{Dof, MechanismKind, Preset, ServoClass};
    use lipwright_core::units::Seconds;

    fn line() -> LineOf {
        let cuts = [
            (0.0, MouthShape::Rest),
            (0.3, MouthShape::Bilabial),
            (0.45, MouthShape::Open),
            (0.7, MouthShape::Alveolar),
            (0.85, MouthShape::HalfOpen),
            (1.0, MouthShape::Rest),
        ];
        let end = |i: usize| cuts.get(i + 1).map_or(1.3, |c| c.0);
        let segments = cuts
            .iter()
            .enumerate()
            .map(|(i, c)| Segment::new(Seconds::new(c.0), Seconds::new(end(i)), c.1))
            .collect();
        LineOf {
            name: "test".into(),
            audio: String::new(),
            sha256: String::new(),
            script: String::new(),
            line: Line::new(Seconds::new(1.3), segments).expect("a line"),
        }
    }

    #[test]
    fn a_tongue_gains_contacts_and_a_slow_jaw_loses_shapes() {
        let before = Preset::JawAndLips.describe();
        let mut tongue = before.clone();
        tongue.add_mechanism(MechanismKind::PushRod, ServoClass::MicroDigital, "tongue", &[Dof::TongueTip]);
        let settings = PlanSettings::default();
        let run = |after: &str| {
            compare(&[line()], &before.to_json(), after, &settings, &mut Quiet).expect("plans").remove(0)
        };
        let change = run(&tongue.to_json());
        assert_eq!((change.before.contacts, change.after.contacts, change.after.contacts_reached), (0, 1, 1));
        assert_eq!(change.before.closures_reached, 1);
        let mut slow = before.clone();
        slow.servos[0].speed_s_per_60deg = 2.0;
        let change = run(&slow.to_json());
        let short = |s: &Score| s.shapes.iter().map(|x| x.short).sum::<usize>();
        assert!(short(&change.after) > short(&change.before), "{change:?}");
        assert!(change.after.error_mm > change.before.error_mm);
        assert!(compare(&[line()], "{}", &before.to_json(), &settings, &mut Quiet).is_err());
    }
}
