//! The fewest keyframes that play the plan.
//!
//! A keyframe is a plan frame with its pulse (and, in the smooth form, its slope); `curve` says what the
//! controller plays between two. Of all ways to choose keyframes among the frames such that
//!
//! - every frame in between stays within the tolerance of the plan,
//! - every step stays within the servo's speed, and every change of step within its acceleration,
//! - the servo stays within its travel,
//! - the first and last two frames are at rest,
//!
//! the dynamic programme in `fewest` finds one with the fewest. Limits that tie several servos are
//! checked afterwards on the whole head, and the tolerance is narrowed where one breaks, until none
//! does: at tolerance 0 the track is the plan itself.

mod curve;
mod fewest;

use super::between::moments;
use super::head::{Group, Head};
use super::plan::Plan;
use crate::rig::{DofValues, Rig, Servo};
use crate::units::Microseconds;
pub use curve::KeyframeForm;
use curve::{played, slope};
use fewest::{PulseLimits, fewest};

/// A pulse at a plan frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Keyframe {
    /// Plan frame.
    pub frame: usize,
    /// Pulse, a multiple of 0.1 µs.
    pub pulse: Microseconds,
}

/// A pulse and a slope at a plan frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SmoothKeyframe {
    /// Plan frame.
    pub frame: usize,
    /// Pulse, a multiple of 0.1 µs.
    pub pulse: Microseconds,
    /// Slope there, µs per frame, a multiple of 0.05.
    pub slope: Microseconds,
}

/// Pulse as it is written: to 0.1 µs.
fn written(servo: &Servo, angle: crate::units::Degrees) -> f64 {
    (servo.pulse(angle).value() * 10.0).round() / 10.0
}

/// Written pulses of a plan, `[servo][frame]`.
fn pulses_of(plan: &Plan, rig: &Rig) -> Vec<Vec<f64>> {
    let curves = rig.servos().iter().zip(&plan.servos);
    curves.map(|(servo, c)| c.planned.iter().map(|a| written(servo, *a)).collect()).collect()
}

/// Sparse keyframes for every servo of a plan, played in straight lines, within `tolerance` of the
/// plan's written pulses.
///
/// The fewest for each servo where no limit ties it to others (lines are at most 250 frames long);
/// where one does, the fewest that leave it unbroken at the tolerance that it took. A plan of
/// another rig than `rig` gives all frames.
#[must_use]
pub fn keyframes(plan: &Plan, rig: &Rig, tolerance: Microseconds) -> Vec<Vec<Keyframe>> {
    let pulses = pulses_of(plan, rig);
    let key = |p: &[f64], frame: usize| Keyframe { frame, pulse: Microseconds::new(p[frame]) };
    let chosen = choose(plan, rig, &pulses, tolerance, KeyframeForm::Linear);
    let each = chosen.iter().zip(&pulses);
    each.map(|(frames, p)| frames.iter().map(|&t| key(p, t)).collect()).collect()
}

/// As [`keyframes`], played as cubic curves: between `(a, p, m)` and `(b, q, k)`, at frame t with
/// u = (t − a)/(b − a), `(1 + 2u)(1 − u)² p + u (1 − u)² (b − a) m + u² (3 − 2u) q − u² (1 − u) (b − a) k`.
///
/// Each slope is the plan's own at that frame; over all choices of frames with these slopes none with
/// fewer keyframes is within the tolerance and the limits.
#[must_use]
pub fn smooth_keyframes(plan: &Plan, rig: &Rig, tolerance: Microseconds) -> Vec<Vec<SmoothKeyframe>> {
    let pulses = pulses_of(plan, rig);
    let key = |p: &[f64], frame: usize| SmoothKeyframe {
        frame,
        pulse: Microseconds::new(p[frame]),
        slope: Microseconds::new(slope(p, frame)),
    };
    let chosen = choose(plan, rig, &pulses, tolerance, KeyframeForm::Smooth);
    let each = chosen.iter().zip(&pulses);
    each.map(|(frames, p)| frames.iter().map(|&t| key(p, t)).collect()).collect()
}

/// Frames chosen for each servo.
fn choose(
    plan: &Plan,
    rig: &Rig,
    pulses: &[Vec<f64>],
    tolerance: Microseconds,
    form: KeyframeForm,
) -> Vec<Vec<usize>> {
    let (frames, count) = (plan.frames(), pulses.len());
    let tolerance = if tolerance.value() >= 0.0 { tolerance.value() } else { 0.0 };
    let head = match Head::new(rig, plan.frame.value()) {
        Ok(head) if count == rig.servos().len() => head,
        _ => return pulses.iter().map(|_| (0..frames).collect()).collect(),
    };
    let limits = |servo: &Servo| {
        let (low, high) = rig.travel(servo.id);
        let (a, b) = (servo.pulse(low).value(), servo.pulse(high).value());
        PulseLimits::new(servo, plan.frame.value(), (a.min(b), a.max(b)), &pulses[servo.id.0])
    };
    let limits: Vec<PulseLimits> = rig.servos().iter().map(limits).collect();
    let mut allowed = vec![vec![tolerance; frames]; count];
    let fewest_of = |s: usize, allowed: &[Vec<f64>]| fewest(&pulses[s], &allowed[s], limits[s], form);
    let mut chosen: Vec<Vec<usize>> = (0..count).map(|s| fewest_of(s, &allowed)).collect();
    for round in 0..=41 {
        let mut again = vec![false; count];
        let mut narrow = |servos: &[usize], t: usize| {
            for &s in servos {
                for tolerance in &mut allowed[s][t..(t + 2).min(frames)] {
                    *tolerance = if round < 5 { 0.5 * *tolerance } else { 0.0 };
                }
                again[s] = true;
            }
        };
        let tracks: Vec<Vec<f64>> = (0..count).map(|s| played(&pulses[s], &chosen[s], form)).collect();
        for group in head.groups.iter().filter(|g| !g.limits.is_empty()) {
            let own: Vec<&[f64]> = group.servos.iter().map(|&s| tracks[s].as_slice()).collect();
            for t in broken(rig, &head, group, &own) {
                narrow(&group.servos, t);
            }
        }
        let all: Vec<usize> = (0..count).collect();
        for t in overdrawn(rig, &head, plan.frame.value(), pulses, &tracks) {
            narrow(&all, t);
        }
        if !again.contains(&true) {
            break;
        }
        for s in (0..count).filter(|&s| again[s]) {
            chosen[s] = fewest_of(s, &allowed);
        }
    }
    chosen
}

/// Frames on whose way to the next the current is above the budget, and above the plan's.
fn overdrawn(rig: &Rig, head: &Head<'_>, frame: f64, pulses: &[Vec<f64>], tracks: &[Vec<f64>]) -> Vec<usize> {
    let budget = head.budget(frame);
    let current = |of: &[Vec<f64>], t: usize| -> f64 {
        let load = |s: usize| budget.load(s, (of[s][t + 1] - of[s][t]) / rig.servos()[s].us_per_degree);
        (0..of.len()).map(load).sum()
    };
    // `room` has been drawn in by what rounding adds, and the pulses here are rounded already.
    let over = |t: &usize| current(tracks, *t) > budget.room.max(current(pulses, *t)) + 1e-9;
    (0..pulses.first().map_or(1, Vec::len) - 1).filter(over).collect()
}

/// Frames on whose way to the next a limit of the face is broken.
fn broken(rig: &Rig, head: &Head<'_>, group: &Group, tracks: &[&[f64]]) -> Vec<usize> {
    let frames = tracks[0].len();
    let rest = group.face(rig, &group.rest(&head.rest));
    let angle = |c: usize, pulse: f64| rig.servos()[group.servos[c]].angle(Microseconds::new(pulse)).value();
    // What rounding of the rest pulses alone does to each limit at rest is not the keyframes' doing.
    let written_rest: Vec<f64> = (0..tracks.len()).map(|c| angle(c, tracks[c][0])).collect();
    let at_rest: DofValues = group.face(rig, &written_rest);
    let mut out = vec![];
    for t in 0..frames - 1 {
        let still = tracks.iter().all(|p| p[t] == p[t + 1]);
        let face_at = |u: f64| {
            let at = |(c, p): (usize, &&[f64])| angle(c, p[t] + u * (p[t + 1] - p[t]));
            group.face(rig, &tracks.iter().enumerate().map(at).collect::<Vec<f64>>())
        };
        let values = |u: f64| {
            let face = face_at(u);
            group.limits.iter().map(|l| l.form.value(&face)).collect::<Vec<f64>>()
        };
        let moments = if still { vec![0.0] } else { moments(&group.limits, values) };
        let breaks = moments.into_iter().any(|u| {
            let face = face_at(u);
            group.limits.iter().any(|limit| {
                let value = limit.form.value(&face);
                let resting = [limit.form.value(&rest), limit.form.value(&at_rest)];
                let lower = limit.lower.min(resting[0]).min(resting[1]);
                let upper = limit.upper.max(resting[0]).max(resting[1]);
                value < lower - 1e-9 || value > upper + 1e-9
            })
        });
        if breaks {
            out.push(t);
        }
    }
    out
}

#[cfg(test)]
#[path = "../tests/keyframes.rs"]
mod tests;
