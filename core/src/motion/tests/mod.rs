//! Plans on the preset heads, judged by a checker that shares nothing with the planner.

mod checker;
mod coarticulation;
mod events;
pub(in crate::motion) mod lips;
mod looks;
mod random;

use super::*;
use crate::export::{Knot, ServoTrack, TrackMeta, verify};
use crate::line::Segment;
use crate::phonetics::MouthShape;
use crate::progress::Quiet;
use crate::rig::{Dof, Preset, Rig};
use crate::units::{Microseconds, Seconds};
use checker::{breaches, written};

/// A planner of shapes alone, at fifty frames a second.
pub(in crate::motion) fn planner<'a>(
    rig: &'a Rig,
    segments: &[Segment],
    seconds: f64,
    settings: PlanSettings,
) -> planner::Planner<'a> {
    let wishes = targets::Wishes { segments, expressions: &[], events: &[], duration: Seconds::new(seconds) };
    let targets = targets::Targets::new(wishes, rig, &settings).expect("valid");
    planner::Planner::new(head::Head::new(rig, 0.02).expect("it stands"), targets, settings)
}

pub(crate) fn segment(start: f64, end: f64, shape: MouthShape) -> Segment {
    Segment::new(Seconds::new(start), Seconds::new(end), shape)
}

/// A line that runs through all shapes at speaking rate, with a pause and a diphthong. Returns its
/// segments and length.
pub(crate) fn busy_line(seconds: f64, variant: usize) -> (Vec<Segment>, Seconds) {
    use MouthShape::*;
    const SHAPES: [MouthShape; 13] = [
        Open,
        Bilabial,
        HalfOpen,
        Alveolar,
        Spread,
        Labiodental,
        Rounded,
        Sibilant,
        Rhotic,
        Pursed,
        Velar,
        Dental,
        Postalveolar,
    ];
    let mut line = vec![];
    let mut t = 0.25;
    let mut k = variant;
    while t < seconds - 0.4 {
        let shape = if k % 23 == 19 { Rest } else { SHAPES[(k * 7 + k / 13) % SHAPES.len()] };
        let vowel = matches!(shape, Open | HalfOpen | Spread | Rounded | Pursed);
        let length = if vowel { 0.1 } else { 0.06 } + 0.01 * ((k * 5) % 7) as f64;
        let mut s = segment(t, t + length, shape);
        if shape == Open && k.is_multiple_of(3) {
            s.glide = Some(Spread);
        }
        line.push(s);
        t += length;
        k += 1;
    }
    (line, Seconds::new(seconds))
}

fn planned(line: &[Segment], length: Seconds, rig: &Rig) -> Plan {
    plan(line, length, rig, &PlanSettings::default(), &mut Quiet).expect("plans")
}

fn assert_within(plan: &Plan, rig: &Rig) {
    assert_ne!(plan.summary.status, PlanStatus::OutsideLimits);
    let found = breaches(&written(plan, rig), plan.frame.value(), rig);
    assert!(
        found.is_empty(),
        "{}: {} breaches, first {:?}",
        rig.name(),
        found.len(),
        &found[..found.len().min(3)]
    );
}

/// Judged by the exporters' own judge, as a dense track and as keyframes.
fn assert_judged(plan: &Plan, rig: &Rig) {
    let pulses: Vec<Vec<Microseconds>> = rig
        .servos()
        .iter()
        .zip(&plan.servos)
        .map(|(s, curve)| curve.planned.iter().map(|a| s.pulse(*a)).collect())
        .collect();
    let meta = TrackMeta::default;
    let dense = ServoTrack::dense(rig, meta(), plan.frame, plan.start, &pulses).expect("fits");
    assert!(verify(&dense, rig).holds(), "{}", verify(&dense, rig));
    for tolerance in [1.0, 8.0] {
        let knots: Vec<Vec<Knot>> = keyframes(plan, rig, Microseconds::new(tolerance))
            .iter()
            .map(|keys| keys.iter().map(|k| Knot { frame: k.frame, pulse: k.pulse }).collect())
            .collect();
        let keyed = ServoTrack::keyed(rig, meta(), plan.frame, plan.start, plan.frames(), &knots);
        let curves = smooth_keyframes(plan, rig, Microseconds::new(tolerance));
        let smooth = ServoTrack::from_smooth_keyframes(plan, &curves, rig, meta());
        for track in [keyed, smooth] {
            let verdict = verify(&track.expect("fits"), rig);
            assert!(verdict.holds(), "{} at {tolerance}: {verdict}", rig.name());
        }
    }
}

#[test]
fn plans_for_every_preset_hold_every_limit() {
    for preset in Preset::ALL {
        let rig = preset.rig();
        let (line, length) = busy_line(12.0, 0);
        let plan = planned(&line, length, &rig);
        assert_within(&plan, &rig);
        assert_eq!(plan.summary.status, PlanStatus::Optimal, "{}", rig.name());
        let gap = plan.summary.gap.expect("a plan of the whole line is proven");
        assert!(gap < 1e-3, "{}: gap {gap}", rig.name());
        assert!(plan.start <= Seconds::ZERO);
        assert!(plan.time_of(plan.frames() - 1) > length);
    }
}

#[test]
fn the_checker_finds_what_is_wrong() {
    let rig = Rig::harbourmaster();
    let (line, length) = busy_line(3.0, 0);
    let plan = planned(&line, length, &rig);
    let good = written(&plan, &rig);
    let found = |change: &dyn Fn(&mut Vec<Vec<f64>>)| {
        let mut bad = good.clone();
        change(&mut bad);
        breaches(&bad, plan.frame.value(), &rig).join("\n")
    };
    assert_eq!(found(&|_| ()), "");
    assert!(found(&|p| p[0][40] += 400.0).contains("speed"));
    assert!(found(&|p| p[3][40] += 15.0).contains("acceleration"));
    assert!(found(&|p| p[0][40] = 100.0).contains("travel"));
    assert!(found(&|p| p[0][0] += 0.1).contains("not at rest"));
    // Both lips of one side driven into each other, slowly enough for the servos.
    let crash = |p: &mut Vec<Vec<f64>>| {
        let upper = rig.servos().iter().position(|s| s.name == "upper lip left").expect("has one");
        let angle = rig.travel(crate::rig::ServoId(upper)).0;
        p[upper].fill(rig.servos()[upper].pulse(angle).value());
    };
    assert!(found(&crash).contains("lip gap left"));
}

#[test]
fn the_exporters_judge_agrees() {
    for preset in Preset::ALL {
        let rig = preset.rig();
        let (line, length) = busy_line(10.0, 5);
        let plan = planned(&line, length, &rig);
        assert_judged(&plan, &rig);
    }
}

/// Pulses at the frames from `(frame, pulse, slope)`, by the basis functions as published.
fn hermite(keys: &[SmoothKeyframe]) -> Vec<f64> {
    let mut out = vec![];
    for pair in keys.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        assert!(a.frame < b.frame);
        let length = (b.frame - a.frame) as f64;
        for t in a.frame..b.frame {
            let u = (t - a.frame) as f64 / length;
            let (h10, h11) = (u.powi(3) - 2.0 * u * u + u, u.powi(3) - u * u);
            let h01 = 3.0 * u * u - 2.0 * u.powi(3);
            let slopes = length * (h10 * a.slope.value() + h11 * b.slope.value());
            // h00 is 1 − h01.
            out.push(a.pulse.value() + h01 * (b.pulse - a.pulse).value() + slopes);
        }
    }
    out.extend(keys.last().map(|k| k.pulse.value()));
    out
}

fn straight(keys: &[Keyframe]) -> Vec<f64> {
    let mut out = vec![];
    for pair in keys.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        assert!(a.frame < b.frame);
        for t in a.frame..b.frame {
            let u = (t - a.frame) as f64 / (b.frame - a.frame) as f64;
            out.push(a.pulse.value() + u * (b.pulse - a.pulse).value());
        }
    }
    out.extend(keys.last().map(|k| k.pulse.value()));
    out
}

#[test]
fn keyframes_play_the_plan_within_tolerance_and_limits() {
    for rig in [Rig::jaw_only(), Rig::harbourmaster()] {
        let (line, length) = busy_line(8.0, 2);
        let plan = planned(&line, length, &rig);
        let dense = written(&plan, &rig);
        let mut counts = [vec![], vec![]];
        for tolerance in [0.0, 2.0, 6.0, 20.0] {
            let us = Microseconds::new(tolerance);
            let linear = keyframes(&plan, &rig, us);
            let smooth = smooth_keyframes(&plan, &rig, us);
            counts[0].push(linear.iter().map(Vec::len).sum::<usize>());
            counts[1].push(smooth.iter().map(Vec::len).sum::<usize>());
            let forms: [Vec<Vec<f64>>; 2] =
                [linear.iter().map(|k| straight(k)).collect(), smooth.iter().map(|k| hermite(k)).collect()];
            for played in forms {
                for (track, own) in dense.iter().zip(&played) {
                    assert_eq!(track.len(), own.len());
                    for (p, q) in own.iter().zip(track) {
                        assert!((p - q).abs() <= tolerance + 1e-6, "{p} {q}");
                    }
                }
                let found = breaches(&played, plan.frame.value(), &rig);
                let first = &found[..found.len().min(3)];
                assert!(found.is_empty(), "{} at {tolerance}: {first:?}", rig.name());
            }
        }
        for counts in &counts {
            assert!(counts.windows(2).all(|w| w[1] <= w[0]), "{counts:?}");
            assert!(counts[3] * 2 < counts[0], "{counts:?}");
        }
        // Curves need fewer knots than lines for the same error.
        assert!(counts[1][1] < counts[0][1], "{counts:?}");
    }
}

#[test]
fn every_closure_of_ordinary_speech_is_made_on_the_demonstration_head() {
    for rig in [Rig::jaw_only(), Rig::harbourmaster()] {
        let (line, length) = busy_line(12.0, 3);
        let plan = planned(&line, length, &rig);
        let asked = line.iter().filter(|s| s.shape == MouthShape::Bilabial).count();
        assert!(asked > 5 && plan.summary.closures >= asked);
        // Judged from the servo angles, not from the report.
        for s in line.iter().filter(|s| s.shape == MouthShape::Bilabial) {
            let closed = (0..plan.frames())
                .filter(|&t| plan.shows_at(t) >= s.start && plan.shows_at(t) < s.end)
                .any(|t| {
                    let face = rig.forward(&plan.servos.iter().map(|c| c.planned[t]).collect::<Vec<_>>());
                    crate::rig::Side::BOTH
                        .into_iter()
                        .all(|side| rig.lip_gap(&face, side).is_some_and(|g| g.value() <= CLOSED_GAP))
                });
            assert!(closed, "{}: {s:?}", rig.name());
        }
        assert_eq!(plan.summary.closures_reached, plan.summary.closures);
    }
}

#[test]
fn half_the_speed_is_reported_and_keeps_the_order_of_importance() {
    let mut description = Preset::Harbourmaster.describe();
    for servo in &mut description.servos {
        servo.speed_s_per_60deg *= 2.0;
        servo.acceleration_deg_per_s2 /= 2.0;
    }
    let slow = Rig::new(description).expect("still a valid head");
    let (line, length) = busy_line(12.0, 3);
    let (fast, slow_plan) = (planned(&line, length, &Rig::harbourmaster()), planned(&line, length, &slow));
    assert_within(&slow_plan, &slow);
    assert!(slow_plan.shortfalls.len() > fast.shortfalls.len());
    assert!(slow_plan.summary.weighted_error > fast.summary.weighted_error);
    // Every closure missed is in the report, and closures suffer least of all.
    let missed = slow_plan.contacts.iter().filter(|c| !c.reached).count();
    let s = &slow_plan.summary;
    assert_eq!(missed, s.closures + s.tongue_contacts - s.closures_reached - s.tongue_contacts_reached);
    assert!(s.closure_share() > 0.9, "{s:?}");
    for s in &slow_plan.shortfalls {
        assert!((s.wanted - s.reached).abs() >= 0.5 && s.sentence().contains(s.by.name()), "{s:?}");
    }
}

#[test]
fn a_weak_supply_is_never_overdrawn() {
    let (line, length) = busy_line(6.0, 3);
    let strong = planned(&line, length, &Rig::harbourmaster());
    for share in [0.8, 0.5] {
        let mut description = Preset::Harbourmaster.describe();
        description.supply.budget_a = share * strong.summary.peak_current.value();
        let rig = Rig::new(description).expect("still a valid head");
        let plan = planned(&line, length, &rig);
        assert_within(&plan, &rig);
        assert_judged(&plan, &rig);
        let s = &plan.summary;
        assert!(s.peak_current <= s.current_budget, "{s:?}");
        // It is used, and it is named where it is to blame.
        assert!(s.peak_current.value() > 0.95 * s.current_budget.value(), "{s:?}");
        assert!(plan.servos.iter().any(|c| c.limited.contains(&Some(LimitedBy::Current))));
        assert!(s.closure_share() > 0.8, "{s:?}");
    }
}

#[test]
fn planning_again_after_an_edit_gives_what_planning_anew_gives() {
    let rig = Rig::harbourmaster();
    let (line, length) = busy_line(14.0, 2);
    let first = planned(&line, length, &rig);
    assert!((first.recount() - first.summary.objective).abs() < 1e-9 * first.summary.objective);
    let at = line.iter().position(|s| s.start.value() > 6.0).expect("long enough");
    type Change<'a> = &'a dyn Fn(&mut Vec<Segment>);
    let edits: [Change<'_>; 5] = [
        // A boundary dragged by 25 ms.
        &|l| {
            let boundary = l[at].start + Seconds::new(0.025);
            (l[at - 1].end, l[at].start) = (boundary, boundary);
        },
        &|l| l[at].shape = MouthShape::Bilabial,
        &|l| {
            l.remove(at);
        },
        &|l| {
            let middle = Seconds::new(0.5 * (l[at].start + l[at].end).value());
            let second = Segment { start: middle, shape: MouthShape::Labiodental, ..l[at].clone() };
            l[at].end = middle;
            l.insert(at + 1, second);
        },
        &|l| l[0].strength = 0.4,
    ];
    for (k, edit) in edits.iter().enumerate() {
        let mut edited = line.clone();
        edit(&mut edited);
        let anew = planned(&edited, length, &rig);
        let mut again = first.clone();
        replan(&mut again, &edited, &rig, &mut Quiet).expect("plans again");
        assert_within(&again, &rig);
        let mut worst: f64 = 0.0;
        for (a, b) in again.servos.iter().zip(&anew.servos) {
            assert!(a.wanted.iter().zip(&b.wanted).all(|(x, y)| (*x - *y).abs().value() < 1e-9), "edit {k}");
            for (x, y) in a.planned.iter().zip(&b.planned) {
                worst = worst.max((*x - *y).abs().value());
            }
        }
        assert!(worst < 0.5, "edit {k}: {worst} degrees apart");
        assert!((again.summary.weighted_error - anew.summary.weighted_error).abs() < 0.01, "edit {k}");
        // The summary is that of the new motion: its objective as counted from nothing, and no proof.
        let (told, counted) = (again.summary.objective, again.recount());
        assert!((told - counted).abs() < 1e-6 * counted, "edit {k}: {told} against {counted}");
        assert!((told / first.summary.objective - 1.0).abs() > 1e-6, "edit {k} changes the objective");
        assert!((told / anew.summary.objective - 1.0).abs() < 5e-3, "edit {k}: {told}");
        assert_eq!((again.summary.gap, again.summary.status), (None, PlanStatus::WithinLimits), "edit {k}");
        let currents = |p: &Plan| (p.summary.peak_current.value(), p.summary.mean_current.value());
        let (a, b) = (currents(&again), currents(&anew));
        assert!((a.0 - b.0).abs() < 0.05 && (a.1 - b.1).abs() < 0.01, "edit {k}: {a:?} {b:?}");
        let made = |p: &Plan| p.contacts.iter().map(|c| (c.segment, c.kind, c.reached)).collect::<Vec<_>>();
        assert_eq!(made(&again), made(&anew), "edit {k}");
        assert!(again.shortfalls.len().abs_diff(anew.shortfalls.len()) <= 1, "edit {k}");
        // The plan really changed.
        assert_ne!(again.servos[0].wanted, first.servos[0].wanted, "edit {k}");
    }
    let mut same = first.clone();
    let other = replan(&mut same, &line, &Rig::jaw_only(), &mut Quiet);
    assert_eq!(other, Err(MotionError::OtherRig));
    replan(&mut same, &line, &rig, &mut Quiet).expect("plans again");
    assert_eq!(same, first);
}

#[test]
fn faster_servos_are_compared() {
    let rig = with_servo_speed(&Rig::harbourmaster(), None, Seconds::new(0.3)).expect("a slow head");
    assert!((rig.servos()[0].speed_up.value() - 0.65 * 200.0).abs() < 1e-6);
    let (line, length) = busy_line(3.0, 3);
    let rows = what_if(&line, length, &rig, &PlanSettings::default(), &[2.0], &mut Quiet).expect("compares");
    let parts: Vec<_> = rows.iter().map(|r| (r.part, r.factor)).collect();
    use crate::rig::FacePart::*;
    assert_eq!(
        parts,
        [
            (None, 1.0),
            (None, 2.0),
            (Some(Jaw), 2.0),
            (Some(Lips), 2.0),
            (Some(Corners), 2.0),
            (Some(Tongue), 2.0)
        ]
    );
    let plain = planned(&line, length, &rig);
    assert_eq!(rows[0].weighted_error, plain.summary.weighted_error);
    // No single part helps as much as all together, and all help.
    for row in &rows[2..] {
        assert!(row.weighted_error >= rows[1].weighted_error - 1e-3, "{row:?}");
        assert!(row.weighted_error <= rows[0].weighted_error + 1e-3, "{row:?}");
    }
    assert!(rows[1].weighted_error < 0.8 * rows[0].weighted_error && rows[1].shortfalls < rows[0].shortfalls);
    let bad = what_if(&line, length, &rig, &PlanSettings::default(), &[0.0], &mut Quiet);
    assert!(matches!(bad, Err(MotionError::BadSetting { .. })));
}

#[test]
fn a_t_and_an_r_are_told_apart_by_the_tongue() {
    let rig = Rig::harbourmaster();
    let pose_at = |shape| {
        let line = [
            segment(0.2, 0.35, MouthShape::HalfOpen),
            segment(0.35, 0.43, shape),
            segment(0.43, 0.6, MouthShape::HalfOpen),
        ];
        let plan = planned(&line, Seconds::new(0.8), &rig);
        let middle = Seconds::new(0.39 - 0.02 - 0.02);
        rig.forward(&plan.angles_at(middle))
    };
    let (t, r) = (pose_at(MouthShape::Alveolar), pose_at(MouthShape::Rhotic));
    for (dof, sign) in [(Dof::TongueTip, 1.0), (Dof::TongueBody, -1.0)] {
        let spec = rig.dof(dof).expect("has a tongue");
        let apart = sign * (t[dof] - r[dof]) / (spec.skin_max - spec.skin_min);
        assert!(apart >= 0.25, "{dof}: {} and {}", t[dof], r[dof]);
    }
}

#[test]
fn silence_is_rest() {
    let rig = Rig::harbourmaster();
    for line in [vec![], vec![segment(0.0, 3.0, MouthShape::Rest)]] {
        let plan = planned(&line, Seconds::new(3.0), &rig);
        for (curve, rest) in plan.servos.iter().zip(rig.rest_angles()) {
            assert!(curve.planned.iter().all(|a| (*a - rest).abs().value() < 0.05));
        }
        assert!(plan.shortfalls.is_empty() && plan.contacts.is_empty());
    }
    // Nothing at all, and one frame of something.
    assert_within(&planned(&[], Seconds::ZERO, &rig), &rig);
    assert_within(&planned(&[segment(0.0, 0.01, MouthShape::Bilabial)], Seconds::new(0.01), &rig), &rig);
}

#[test]
fn moving_the_line_by_whole_frames_moves_the_motion() {
    let rig = Rig::harbourmaster();
    let (line, length) = busy_line(4.0, 1);
    let later: Vec<Segment> = line
        .iter()
        .map(|s| Segment { start: s.start + Seconds::new(0.2), end: s.end + Seconds::new(0.2), ..s.clone() })
        .collect();
    let (a, b) = (planned(&line, length, &rig), planned(&later, length + Seconds::new(0.2), &rig));
    for t in 0..a.frames() {
        for (x, y) in a.servos.iter().zip(&b.servos) {
            let moved = y.planned.get(t + 10).copied().unwrap_or(x.planned[t]);
            assert!((x.planned[t] - moved).abs().value() < 0.2, "frame {t}");
        }
    }
}

#[test]
fn bad_input_is_refused_with_a_reason() {
    let rig = Rig::jaw_only();
    let run = |line: &[Segment], length: f64, settings: &PlanSettings| {
        plan(line, Seconds::new(length), &rig, settings, &mut Quiet)
    };
    let fine = PlanSettings::default();
    let s = |a, b| segment(a, b, MouthShape::Open);
    for bad in [
        vec![s(0.5, 0.2)],
        vec![s(0.0, 0.3), s(0.2, 0.5)],
        vec![s(f64::NAN, 1.0)],
        vec![s(0.0, f64::INFINITY)],
        vec![s(-1.0, 0.5)],
    ] {
        assert!(matches!(run(&bad, 1.0, &fine), Err(MotionError::BadSegment { .. })), "{bad:?}");
    }
    let strong = Segment { strength: f64::NAN, ..s(0.0, 0.5) };
    assert!(matches!(run(&[strong], 1.0, &fine), Err(MotionError::BadSegment { index: 0, .. })));
    for length in [f64::NAN, f64::INFINITY, -1.0, 1e9] {
        assert!(matches!(run(&[], length, &fine), Err(MotionError::BadDuration(_))));
    }
    for change in [
        |p: &mut PlanSettings| p.frame = Seconds::new(0.005),
        |p: &mut PlanSettings| p.frame = Seconds::new(f64::NAN),
        |p: &mut PlanSettings| p.smoothness = -1.0,
        |p: &mut PlanSettings| p.visual_lead = Seconds::new(f64::INFINITY),
        |p: &mut PlanSettings| p.closure_price = f64::NAN,
        |p: &mut PlanSettings| p.tolerance = 0.0,
    ] {
        let mut settings = fine;
        change(&mut settings);
        assert!(matches!(run(&[], 1.0, &settings), Err(MotionError::BadSetting { .. })));
    }
    let mut stop = |_: &'static str, _: f64| false;
    assert_eq!(plan(&[], Seconds::new(1.0), &rig, &fine, &mut stop), Err(MotionError::Cancelled));
}

#[test]
fn the_end_of_a_line_leaves_time_to_come_home() {
    let rig = Rig::harbourmaster();
    // Speech to the very last sample.
    let line = [segment(0.0, 0.5, MouthShape::Open), segment(0.5, 1.0, MouthShape::Spread)];
    let plan = planned(&line, Seconds::new(1.0), &rig);
    assert_within(&plan, &rig);
    let spread = rig.pose(MouthShape::Spread).target[Dof::CornerLeftX];
    let face = rig.forward(&plan.angles_at(Seconds::new(0.75)));
    assert!((face[Dof::CornerLeftX] - spread).abs() < 0.5, "{}", face[Dof::CornerLeftX]);
}

/// Servos with a wide dead band stop short of their commands: closures are pressed until they hold all
/// the same.
#[test]
fn closures_are_made_with_the_dead_band_in_hand() {
    let (line, length) = busy_line(6.0, 3);
    for dead_band in [0.0, 5.0, 8.0] {
        let mut description = Preset::Harbourmaster.describe();
        for servo in &mut description.servos {
            servo.dead_band_us = dead_band;
        }
        let rig = Rig::new(description).expect("still a valid head");
        let plan = planned(&line, length, &rig);
        assert_within(&plan, &rig);
        assert_eq!(plan.summary.closures_reached, plan.summary.closures, "{dead_band}");
        for s in line.iter().filter(|s| s.shape == MouthShape::Bilabial) {
            // Every servo stops short towards open lips, by its whole dead band.
            let gap = |t: usize| {
                let angles: Vec<_> = plan.servos.iter().map(|c| c.planned[t]).collect();
                let worst: f64 = crate::rig::Side::BOTH
                    .into_iter()
                    .map(|side| {
                        let face = rig.forward(&angles);
                        let open: f64 = rig
                            .partials(&angles)
                            .iter()
                            .filter(|p| [Dof::JawOpen, side.upper_lip(), side.lower_lip()].contains(&p.1))
                            .map(|p| (p.2 * dead_band / rig.servos()[p.0.0].us_per_degree).abs())
                            .sum();
                        rig.lip_gap(&face, side).expect("has lips").value() + open
                    })
                    .fold(f64::NEG_INFINITY, f64::max);
                worst
            };
            let shows = |t: &usize| {
                let shown = plan.shows_at(*t);
                shown >= s.start - Seconds::new(1e-9) && shown < s.end
            };
            let least = (0..plan.frames()).filter(shows).map(gap).fold(f64::INFINITY, f64::min);
            assert!(least <= CLOSED_GAP + 0.03, "{dead_band} us: {least} mm at {}", s.start);
        }
    }
}
