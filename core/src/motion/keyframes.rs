//! The fewest keyframes that play the plan.
//!
//! A keyframe is a plan frame with its pulse; the controller draws straight lines between them. Of
//! all ways to choose keyframes such that
//!
//! - every frame in between stays within the tolerance of the plan,
//! - every line stays within the servo's speed, and the change of slope at every keyframe within its
//!   acceleration,
//! - the first and last two frames are at rest,
//!
//! the dynamic programme below finds one with the fewest. Its states are *lines* (pairs of
//! keyframes), because the acceleration at a keyframe joins the lines on both sides; the best line to
//! continue from is a range-minimum query over slopes. Travel needs no check: a line between two
//! allowed angles stays between them. Limits that tie several servos are checked afterwards on the
//! whole head, and the tolerance is narrowed where one breaks, until none does: at tolerance 0 the
//! track is the plan itself.

use super::head::Head;
use super::plan::Plan;
use crate::rig::{DofValues, Rig, Servo};
use crate::units::Microseconds;

/// A pulse at a plan frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Keyframe {
    /// Plan frame.
    pub frame: usize,
    /// Pulse, a multiple of 0.1 µs.
    pub pulse: Microseconds,
}

/// Frames deeper than this inside a stretch of equal pulses are no candidates: keyframes there buy
/// nothing that one nearer its end does not.
const HOLD_DEPTH: usize = 12;

/// Longest line, frames. Keeps the number of lines in proportion to the frames.
const LONGEST: usize = 250;

/// One servo's limits per frame, in µs of pulse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PulseLimits {
    /// Greatest rise and fall of the pulse per frame.
    pub(super) rise: f64,
    pub(super) fall: f64,
    /// Greatest change of slope.
    pub(super) bend: f64,
}

impl PulseLimits {
    pub(super) fn new(servo: &Servo, frame: f64) -> Self {
        let scale = servo.us_per_degree.abs() * frame;
        let (up, down) = (servo.speed_up.value() * scale, servo.speed_down.value() * scale);
        let (rise, fall) = if servo.us_per_degree > 0.0 { (up, down) } else { (down, up) };
        Self { rise, fall, bend: servo.acceleration.value() * scale * frame }
    }
}

/// A line between two keyframes, ending at the frame in whose list it stands.
#[derive(Clone, Copy)]
struct Line {
    slope: f64,
    /// Keyframes up to its end.
    count: u32,
    from: u32,
    /// Position of the line before it among those that end at `from`.
    before: u32,
}

/// Fewest keyframes of one servo: frames chosen, first and last included. `pulses` are written
/// pulses (rounded), `tolerance` one value a frame.
pub(super) fn fewest(pulses: &[f64], tolerance: &[f64], limits: PulseLimits) -> Vec<usize> {
    let n = pulses.len();
    let every = || (0..n).collect::<Vec<usize>>();
    if n < 3 {
        return every();
    }
    // Rounding of the arithmetic, not of the pulses: the plan itself must always pass.
    const EPS: f64 = 1e-9;
    let candidate = candidates(pulses);
    let mut ending: Vec<Vec<Line>> = vec![vec![]; n];
    let mut minima = Minima::default();
    for i in 0..n - 1 {
        if !candidate[i] || (i > 0 && ending[i].is_empty()) {
            continue;
        }
        if i > 0 {
            ending[i].sort_by(|a, b| a.slope.total_cmp(&b.slope));
            minima.build(&ending[i]);
        }
        let (mut low, mut high) = (-limits.fall - EPS, limits.rise + EPS);
        for j in i + 1..n.min(i + 1 + LONGEST) {
            let slope = (pulses[j] - pulses[i]) / (j - i) as f64;
            let usable = candidate[j]
                && slope >= low
                && slope <= high
                // Lines that touch the ends of the plan lie at rest.
                && (i > 0 || slope == 0.0)
                && (j < n - 1 || slope == 0.0);
            if usable {
                let best = if i == 0 {
                    Some((1, 0))
                } else {
                    minima.least(&ending[i], slope - limits.bend - EPS, slope + limits.bend + EPS)
                };
                if let Some((count, before)) = best {
                    ending[j].push(Line { slope, count: count + 1, from: i as u32, before });
                }
            }
            let reach = (j - i) as f64;
            low = low.max((pulses[j] - tolerance[j] - pulses[i]) / reach - EPS);
            high = high.min((pulses[j] + tolerance[j] - pulses[i]) / reach + EPS);
            if low > high {
                break;
            }
        }
    }
    let Some(mut line) = ending[n - 1].iter().min_by_key(|l| l.count).copied() else {
        // Only where the plan itself is outside the limits: then every frame is kept as it is.
        return every();
    };
    let mut chosen = vec![n - 1];
    loop {
        let from = line.from as usize;
        chosen.push(from);
        if from == 0 {
            break;
        }
        line = ending[from][line.before as usize];
    }
    chosen.reverse();
    chosen
}

fn candidates(pulses: &[f64]) -> Vec<bool> {
    let n = pulses.len();
    // How many equal pulses run up to and including each frame, from either side.
    let mut left = vec![0_usize; n];
    let mut right = vec![0_usize; n];
    for t in 1..n {
        left[t] = if pulses[t] == pulses[t - 1] { left[t - 1] + 1 } else { 0 };
        let u = n - 1 - t;
        right[u] = if pulses[u] == pulses[u + 1] { right[u + 1] + 1 } else { 0 };
    }
    (0..n)
        .map(|t| t == 0 || t == n - 1 || left[t].min(right[t]) <= HOLD_DEPTH || t % (LONGEST / 2) == 0)
        .collect()
}

/// Least count over a range of slopes: a sparse table over lines sorted by slope.
#[derive(Default)]
struct Minima {
    /// Level k, entry i: position of the line with the least count among i .. i + 2^k.
    levels: Vec<Vec<u32>>,
}

impl Minima {
    fn build(&mut self, lines: &[Line]) {
        self.levels.clear();
        self.levels.push((0..lines.len() as u32).collect());
        let mut width = 1;
        while 2 * width <= lines.len() {
            let last = &self.levels[self.levels.len() - 1];
            let better = |a: u32, b: u32| {
                if lines[b as usize].count < lines[a as usize].count { b } else { a }
            };
            let next = (0..=lines.len() - 2 * width).map(|i| better(last[i], last[i + width])).collect();
            self.levels.push(next);
            width *= 2;
        }
    }

    /// (count, position) of the best line with a slope in `low..=high`.
    fn least(&self, lines: &[Line], low: f64, high: f64) -> Option<(u32, u32)> {
        let a = lines.partition_point(|l| l.slope < low);
        let b = lines.partition_point(|l| l.slope <= high);
        if a >= b {
            return None;
        }
        let level = (b - a).ilog2() as usize;
        let pair = [self.levels[level][a], self.levels[level][b - (1 << level)]];
        pair.into_iter().map(|k| (lines[k as usize].count, k)).min()
    }
}

/// Pulse as it is written: to 0.1 µs.
pub(super) fn written(servo: &Servo, angle: crate::units::Degrees) -> f64 {
    (servo.pulse(angle).value() * 10.0).round() / 10.0
}

/// Sparse keyframes for every servo of a plan, within `tolerance` of the plan's written pulses.
///
/// The fewest for each servo where no limit ties it to others (lines are at most 250 frames long);
/// where one does, the fewest that leave it unbroken at the tolerance that it took. A plan of
/// another rig than `rig` gives all frames.
#[must_use]
pub fn keyframes(plan: &Plan, rig: &Rig, tolerance: Microseconds) -> Vec<Vec<Keyframe>> {
    let frames = plan.frames();
    let tolerance = if tolerance.value() >= 0.0 { tolerance.value() } else { 0.0 };
    let pulses: Vec<Vec<f64>> = rig
        .servos()
        .iter()
        .zip(&plan.servos)
        .map(|(servo, curve)| curve.planned.iter().map(|a| written(servo, *a)).collect())
        .collect();
    let to_keyframes = |chosen: &[Vec<usize>]| {
        let of = |(s, frames): (usize, &Vec<usize>)| {
            let key = |&frame: &usize| Keyframe { frame, pulse: Microseconds::new(pulses[s][frame]) };
            frames.iter().map(key).collect()
        };
        chosen.iter().enumerate().map(of).collect::<Vec<Vec<Keyframe>>>()
    };
    let every: Vec<Vec<usize>> = pulses.iter().map(|_| (0..frames).collect()).collect();
    let head = match Head::new(rig, plan.frame.value()) {
        Ok(head) if pulses.len() == rig.servos().len() => head,
        _ => return to_keyframes(&every),
    };
    let limits: Vec<PulseLimits> =
        rig.servos().iter().map(|s| PulseLimits::new(s, plan.frame.value())).collect();
    let mut allowed = vec![vec![tolerance; frames]; pulses.len()];
    let mut chosen: Vec<Vec<usize>> =
        (0..pulses.len()).map(|s| fewest(&pulses[s], &allowed[s], limits[s])).collect();
    for round in 0.. {
        let mut again = vec![false; pulses.len()];
        for group in head.groups.iter().filter(|g| !g.limits.is_empty()) {
            let tracks: Vec<Vec<f64>> =
                group.servos.iter().map(|&s| played(&pulses[s], &chosen[s])).collect();
            for t in broken(rig, &head, group, &tracks) {
                for &s in &group.servos {
                    for tolerance in &mut allowed[s][t..(t + 2).min(frames)] {
                        *tolerance = if round < 5 { 0.5 * *tolerance } else { 0.0 };
                    }
                    again[s] = true;
                }
            }
        }
        let budget = head.budget(plan.frame.value());
        let played_all: Vec<Vec<f64>> = (0..pulses.len()).map(|s| played(&pulses[s], &chosen[s])).collect();
        for t in 0..frames - 1 {
            let step = |s: usize| (played_all[s][t + 1] - played_all[s][t]) / rig.servos()[s].us_per_degree;
            // `room` has been drawn in by what rounding adds, and the pulses here are rounded already.
            let dense = |s: usize| (pulses[s][t + 1] - pulses[s][t]) / rig.servos()[s].us_per_degree;
            let total =
                |step: &dyn Fn(usize) -> f64| (0..pulses.len()).map(|s| budget.load(s, step(s))).sum::<f64>();
            if total(&step) > budget.room.max(total(&dense)) + 1e-9 {
                for s in 0..pulses.len() {
                    for tolerance in &mut allowed[s][t..t + 2] {
                        *tolerance = if round < 5 { 0.5 * *tolerance } else { 0.0 };
                    }
                    again[s] = true;
                }
            }
        }
        if !again.contains(&true) || round > 40 {
            break;
        }
        for s in (0..pulses.len()).filter(|&s| again[s]) {
            chosen[s] = fewest(&pulses[s], &allowed[s], limits[s]);
        }
    }
    to_keyframes(&chosen)
}

/// Pulses at every frame that keyframes play.
pub(super) fn played(pulses: &[f64], chosen: &[usize]) -> Vec<f64> {
    let mut out = Vec::with_capacity(pulses.len());
    for pair in chosen.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        for t in a..b {
            let u = (t - a) as f64 / (b - a) as f64;
            out.push(pulses[a] + u * (pulses[b] - pulses[a]));
        }
    }
    out.extend(chosen.last().map(|&t| pulses[t]));
    out
}

/// Frames on whose way to the next a limit of the face is broken.
fn broken(rig: &Rig, head: &Head<'_>, group: &super::head::Group, tracks: &[Vec<f64>]) -> Vec<usize> {
    const BETWEEN: usize = 4;
    let frames = tracks[0].len();
    let rest = group.face(rig, &group.rest(&head.rest));
    let angle = |c: usize, pulse: f64| rig.servos()[group.servos[c]].angle(Microseconds::new(pulse)).value();
    // What rounding of the rest pulses alone does to each limit at rest is not the keyframes' doing.
    let written_rest: Vec<f64> = (0..tracks.len()).map(|c| angle(c, tracks[c][0])).collect();
    let at_rest: DofValues = group.face(rig, &written_rest);
    let mut out = vec![];
    for t in 0..frames - 1 {
        let still = tracks.iter().all(|p| p[t] == p[t + 1]);
        let steps = if still { 1 } else { BETWEEN };
        let breaks = (0..steps).any(|k| {
            let u = k as f64 / BETWEEN as f64;
            let angles: Vec<f64> =
                tracks.iter().enumerate().map(|(c, p)| angle(c, p[t] + u * (p[t + 1] - p[t]))).collect();
            let face = group.face(rig, &angles);
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
mod tests {
    use super::*;

    /// Tries every subset of frames.
    fn exhaustive(pulses: &[f64], tolerance: f64, l: PulseLimits) -> Option<usize> {
        let n = pulses.len();
        let mut best: Option<usize> = None;
        for mask in 0_u32..1 << (n - 2) {
            let inner = (1..n - 1).filter(|t| mask & (1 << (t - 1)) != 0);
            let chosen: Vec<usize> = [0].into_iter().chain(inner).chain([n - 1]).collect();
            if best.is_some_and(|b| chosen.len() >= b) {
                continue;
            }
            let track = played(pulses, &chosen);
            let near = track.iter().zip(pulses).all(|(a, b)| (a - b).abs() <= tolerance + 1e-7);
            let slopes: Vec<f64> = track.windows(2).map(|w| w[1] - w[0]).collect();
            let slow = slopes.iter().all(|&v| v <= l.rise + 1e-7 && v >= -l.fall - 1e-7);
            let gentle = slopes.windows(2).all(|w| (w[1] - w[0]).abs() <= l.bend + 1e-7);
            let rest = slopes[0].abs() < 1e-12 && slopes[n - 2].abs() < 1e-12;
            if near && slow && gentle && rest {
                best = Some(chosen.len());
            }
        }
        best
    }

    /// A track within its limits: pulses integrated from bounded changes of slope, home at the end.
    fn track(n: usize, state: &mut u64, l: PulseLimits) -> Vec<f64> {
        let mut next = || {
            *state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            (*state >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
        };
        loop {
            let mut pulses = vec![1500.0, 1500.0];
            let mut slope: f64 = 0.0;
            while pulses.len() < n - 2 {
                slope = (slope + next() * l.bend).clamp(-l.fall, l.rise);
                slope = (slope * 10.0).round() / 10.0;
                pulses.push(pulses[pulses.len() - 1] + slope);
            }
            let end = pulses[pulses.len() - 1];
            pulses.extend([end, end]);
            // The last bend, back to standing still, must be allowed too.
            if slope.abs() <= l.bend {
                return pulses.iter().map(|p| (p * 10.0).round() / 10.0).collect();
            }
        }
    }

    #[test]
    fn no_choice_of_keyframes_is_smaller() {
        let mut state = 11;
        for case in 0..300 {
            let n = 6 + case % 8;
            let l = PulseLimits { rise: 20.0, fall: 15.0, bend: [4.0, 8.0, 30.0][case % 3] };
            let pulses = track(n, &mut state, l);
            let tolerance = [0.0, 0.5, 2.0, 6.0][case % 4];
            let ours = fewest(&pulses, &vec![tolerance; n], l);
            let least = exhaustive(&pulses, tolerance, l).expect("all frames always work");
            assert_eq!(ours.len(), least, "case {case}: {pulses:?} {ours:?}");
        }
    }

    #[test]
    fn a_hold_needs_two_keyframes_and_a_long_one_few() {
        let l = PulseLimits { rise: 20.0, fall: 20.0, bend: 5.0 };
        assert_eq!(fewest(&[1500.0; 100], &[1.0; 100], l), vec![0, 99]);
        let long = fewest(&[1500.0; 1000], &[1.0; 1000], l);
        assert!(long.len() <= 6, "{long:?}");
    }
}
