//! Fewest keyframes of one servo.
//!
//! The dynamic programme's states are *stretches* (pairs of keyframes), because the acceleration at a
//! keyframe joins the last step of the stretch before it and the first step of the one after; the best
//! stretch to continue from is a range-minimum query over last steps. Its optimum is that over all
//! subsets of the frames; among those of equal size it takes one with the fewest moves that are smaller
//! than the servo's dead band.

use super::curve::{KeyframeForm, Stretch};
use crate::rig::Servo;

/// Frames deeper than this inside a run of equal pulses are no candidates: keyframes there buy nothing
/// that one nearer its end does not.
const HOLD_DEPTH: usize = 12;

/// Longest stretch, frames. Keeps the number of stretches in proportion to the frames.
const LONGEST: usize = 250;

/// Rounding of the arithmetic, not of the pulses: the plan itself must always pass.
const EPS: f64 = 1e-9;

/// One servo's limits per frame, in µs of pulse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PulseLimits {
    /// Greatest rise and fall of the pulse per frame.
    pub(super) rise: f64,
    pub(super) fall: f64,
    /// Greatest change from one step to the next.
    pub(super) bend: f64,
    /// Pulses at the ends of the travel, as far as the plan keeps to them.
    pub(super) least: f64,
    pub(super) most: f64,
    /// Changes below this do nothing.
    pub(super) dead_band: f64,
}

impl PulseLimits {
    /// `travel` in pulses, smaller first.
    pub(super) fn new(servo: &Servo, frame: f64, travel: (f64, f64), pulses: &[f64]) -> Self {
        let scale = servo.us_per_degree.abs() * frame;
        let (up, down) = (servo.speed_up.value() * scale, servo.speed_down.value() * scale);
        let (rise, fall) = if servo.us_per_degree > 0.0 { (up, down) } else { (down, up) };
        // A rest pose on the edge of the skin's travel may be rounded over it.
        let least = pulses.iter().copied().fold(travel.0, f64::min);
        let most = pulses.iter().copied().fold(travel.1, f64::max);
        let dead_band = servo.dead_band.value();
        Self { rise, fall, bend: servo.acceleration.value() * scale * frame, least, most, dead_band }
    }

    fn allows_step(&self, step: f64) -> bool {
        step <= self.rise + EPS && step >= -self.fall - EPS
    }
}

/// What a choice of keyframes costs: their number, then the moves below the dead band.
type Cost = (u32, u32);

/// A stretch between two keyframes, ending at the frame in whose list it stands.
#[derive(Clone, Copy)]
struct Line {
    /// Its last step.
    last: f64,
    /// Of the keyframes up to its end.
    cost: Cost,
    from: u32,
    /// Position of the stretch before it among those that end at `from`.
    before: u32,
}

/// Frames chosen, first and last included. `pulses` are written pulses (rounded), `tolerance` one value
/// a frame.
pub(super) fn fewest(
    pulses: &[f64],
    tolerance: &[f64],
    limits: PulseLimits,
    form: KeyframeForm,
) -> Vec<usize> {
    let n = pulses.len();
    let every = || (0..n).collect::<Vec<usize>>();
    if n < 3 {
        return every();
    }
    let candidate = candidates(pulses);
    let mut ending: Vec<Vec<Line>> = vec![vec![]; n];
    let mut minima = Minima::default();
    for i in 0..n {
        let start = i == 0;
        // What no stretch ends at, and so whatever is no candidate, begins none.
        if !start && ending[i].is_empty() {
            continue;
        }
        if !start {
            ending[i].sort_by(|a, b| a.last.total_cmp(&b.last));
            minima.build(&ending[i]);
        }
        let mut add = |j: usize, first: f64, last: f64| {
            // Stretches that touch the ends of the plan lie at rest there.
            if (start && first != 0.0) || (j == n - 1 && last != 0.0) {
                return;
            }
            let best = if start {
                Some(((1, 0), 0))
            } else {
                minima.least(&ending[i], first - limits.bend - EPS, first + limits.bend + EPS)
            };
            if let Some(((count, small), before)) = best {
                let way = (pulses[j] - pulses[i]).abs();
                let small = small + u32::from(way > 0.0 && way < limits.dead_band);
                ending[j].push(Line { last, cost: (count + 1, small), from: i as u32, before });
            }
        };
        let reachable = i + 1..n.min(i + 1 + LONGEST);
        match form {
            KeyframeForm::Linear => lines(pulses, tolerance, &limits, i, reachable, &candidate, &mut add),
            KeyframeForm::Smooth => {
                for j in reachable.filter(|&j| candidate[j]) {
                    if let Some((first, last)) = curve(pulses, tolerance, &limits, i, j) {
                        add(j, first, last);
                    }
                }
            }
        }
    }
    let Some(mut line) = ending[n - 1].iter().min_by_key(|l| l.cost).copied() else {
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

/// Straight lines from frame `i`: a cone of slopes that pass every frame within its tolerance narrows
/// until it is empty. Travel needs no check: a line between two allowed pulses stays between them.
fn lines(
    pulses: &[f64],
    tolerance: &[f64],
    limits: &PulseLimits,
    i: usize,
    reachable: std::ops::Range<usize>,
    candidate: &[bool],
    add: &mut impl FnMut(usize, f64, f64),
) {
    let (mut low, mut high) = (-limits.fall - EPS, limits.rise + EPS);
    for j in reachable {
        let reach = (j - i) as f64;
        let slope = (pulses[j] - pulses[i]) / reach;
        if candidate[j] && slope >= low && slope <= high {
            add(j, slope, slope);
        }
        low = low.max((pulses[j] - tolerance[j] - pulses[i]) / reach - EPS);
        high = high.min((pulses[j] + tolerance[j] - pulses[i]) / reach + EPS);
        if low > high {
            break;
        }
    }
}

/// First and last step of the curve from frame `i` to frame `j`, where it keeps every frame within its
/// tolerance and itself within the limits.
fn curve(pulses: &[f64], tolerance: &[f64], limits: &PulseLimits, i: usize, j: usize) -> Option<(f64, f64)> {
    let stretch = Stretch::new(pulses, i, j, KeyframeForm::Smooth);
    let near = |t: usize, p: f64| (p - pulses[t]).abs() <= tolerance[t] + EPS;
    // Most curves fail in their middle: look there first.
    let length = j - i;
    for probe in [length / 2, length / 4, 3 * length / 4] {
        if !near(i + probe, stretch.at(i + probe)) {
            return None;
        }
    }
    let (mut before, mut step, mut first) = (pulses[i], 0.0, None);
    for t in i + 1..=j {
        let p = if t == j { pulses[j] } else { stretch.at(t) };
        let now = p - before;
        let gentle = first.is_none() || (now - step).abs() <= limits.bend + EPS;
        let inside = p >= limits.least - EPS && p <= limits.most + EPS;
        if !(near(t, p) && inside && gentle && limits.allows_step(now)) {
            return None;
        }
        first = first.or(Some(now));
        (before, step) = (p, now);
    }
    Some((first?, step))
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
    (0..n).map(|t| left[t].min(right[t]) <= HOLD_DEPTH || t % (LONGEST / 2) == 0).collect()
}

/// Least cost over a range of last steps: a sparse table over stretches sorted by last step.
#[derive(Default)]
struct Minima {
    /// Level k, entry i: position of the cheapest stretch among i .. i + 2^k.
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
                if lines[b as usize].cost < lines[a as usize].cost { b } else { a }
            };
            let next = (0..=lines.len() - 2 * width).map(|i| better(last[i], last[i + width])).collect();
            self.levels.push(next);
            width *= 2;
        }
    }

    /// (cost, position) of the best stretch with a last step in `low..=high`.
    fn least(&self, lines: &[Line], low: f64, high: f64) -> Option<(Cost, u32)> {
        let a = lines.partition_point(|l| l.last < low);
        let b = lines.partition_point(|l| l.last <= high);
        if a >= b {
            return None;
        }
        let level = (b - a).ilog2() as usize;
        let pair = [self.levels[level][a], self.levels[level][b - (1 << level)]];
        pair.into_iter().map(|k| (lines[k as usize].cost, k)).min()
    }
}

#[cfg(test)]
mod tests {
    use super::super::curve::played;
    use super::*;

    fn limits(rise: f64, fall: f64, bend: f64) -> PulseLimits {
        PulseLimits { rise, fall, bend, least: 0.0, most: 3000.0, dead_band: 3.0 }
    }

    /// Tries every subset of frames: the fewest keyframes, and the fewest small moves among those.
    fn exhaustive(pulses: &[f64], tolerance: f64, l: PulseLimits, form: KeyframeForm) -> Option<(u32, u32)> {
        let n = pulses.len();
        let mut best: Option<(u32, u32)> = None;
        for mask in 0_u32..1 << (n - 2) {
            let inner = (1..n - 1).filter(|t| mask & (1 << (t - 1)) != 0);
            let chosen: Vec<usize> = [0].into_iter().chain(inner).chain([n - 1]).collect();
            let cost = cost(pulses, &chosen, l);
            if best.is_some_and(|b| cost >= b) {
                continue;
            }
            let track = played(pulses, &chosen, form);
            let near = track.iter().zip(pulses).all(|(a, b)| (a - b).abs() <= tolerance + 1e-7);
            let inside = track.iter().all(|&p| p >= l.least - 1e-7 && p <= l.most + 1e-7);
            let steps: Vec<f64> = track.windows(2).map(|w| w[1] - w[0]).collect();
            let slow = steps.iter().all(|&v| v <= l.rise + 1e-7 && v >= -l.fall - 1e-7);
            let gentle = steps.windows(2).all(|w| (w[1] - w[0]).abs() <= l.bend + 1e-7);
            let rest = steps[0].abs() < 1e-8 && steps[n - 2].abs() < 1e-8;
            if near && inside && slow && gentle && rest {
                best = Some(cost);
            }
        }
        best
    }

    fn cost(pulses: &[f64], chosen: &[usize], l: PulseLimits) -> (u32, u32) {
        let way = |w: &&[usize]| (pulses[w[1]] - pulses[w[0]]).abs();
        let small = chosen.windows(2).filter(|w| way(w) > 0.0 && way(w) < l.dead_band).count();
        (chosen.len() as u32, small as u32)
    }

    /// A track within its limits: pulses integrated from bounded changes of step, home at the end.
    fn track(n: usize, state: &mut u64, l: PulseLimits) -> Vec<f64> {
        let mut next = || {
            *state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            (*state >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
        };
        loop {
            let mut pulses = vec![1500.0, 1500.0];
            let mut step: f64 = 0.0;
            while pulses.len() < n - 2 {
                step = (step + next() * l.bend).clamp(-l.fall, l.rise);
                step = (step * 10.0).round() / 10.0;
                pulses.push(pulses[pulses.len() - 1] + step);
            }
            let end = pulses[pulses.len() - 1];
            pulses.extend([end, end]);
            // The last bend, back to standing still, must be allowed too.
            if step.abs() <= l.bend {
                return pulses.iter().map(|p| (p * 10.0).round() / 10.0).collect();
            }
        }
    }

    #[test]
    fn no_choice_of_keyframes_is_smaller() {
        let mut state = 11;
        let mut saved = [0, 0];
        for case in 0..300 {
            let n = 6 + case % 8;
            let mut l = limits(20.0, 15.0, [4.0, 8.0, 30.0][case % 3]);
            let pulses = track(n, &mut state, l);
            if case % 5 == 0 {
                // Travel that the plan just keeps to: a curve must not swing beyond it.
                (l.least, l.most) =
                    pulses.iter().fold((3e3, 0.0), |(a, b), &p| (f64::min(a, p), f64::max(b, p)));
            }
            let tolerance = [0.0, 0.5, 2.0, 6.0][case % 4];
            for (k, form) in [KeyframeForm::Linear, KeyframeForm::Smooth].into_iter().enumerate() {
                let ours = fewest(&pulses, &vec![tolerance; n], l, form);
                let least = exhaustive(&pulses, tolerance, l, form).expect("all frames always work");
                assert_eq!(cost(&pulses, &ours, l), least, "case {case}, {form:?}: {pulses:?} {ours:?}");
                saved[k] += n - ours.len();
            }
        }
        // Both forms save something, or the comparison is empty.
        assert!(saved.iter().all(|&s| s > 300), "{saved:?}");
    }

    #[test]
    fn the_shortest_tracks_have_their_ends() {
        let l = limits(20.0, 20.0, 5.0);
        for form in [KeyframeForm::Linear, KeyframeForm::Smooth] {
            for (n, ends) in [(0, vec![]), (1, vec![0]), (2, vec![0, 1]), (3, vec![0, 2])] {
                assert_eq!(fewest(&vec![1500.0; n], &vec![1.0; n], l, form), ends, "{n}, {form:?}");
            }
        }
    }

    #[test]
    fn a_hold_needs_two_keyframes_and_a_long_one_few() {
        let l = limits(20.0, 20.0, 5.0);
        for form in [KeyframeForm::Linear, KeyframeForm::Smooth] {
            assert_eq!(fewest(&[1500.0; 100], &[1.0; 100], l, form), vec![0, 99]);
            let long = fewest(&[1500.0; 1000], &[1.0; 1000], l, form);
            assert!(long.len() <= 6, "{long:?}");
        }
    }

    /// A rest-to-rest move along a cubic, its slopes rounded as files hold them.
    #[test]
    fn a_smooth_move_is_a_few_smooth_keyframes_and_many_straight_ones() {
        let l = limits(40.0, 40.0, 5.0);
        let ease = |t: usize| {
            let u = ((t as f64 - 10.0) / 40.0).clamp(0.0, 1.0);
            (10.0 * (1500.0 + 300.0 * u * u * (3.0 - 2.0 * u))).round() / 10.0
        };
        let pulses: Vec<f64> = (0..60).map(ease).collect();
        let count = |form| fewest(&pulses, &[1.0; 60], l, form).len();
        let (straight, smooth) = (count(KeyframeForm::Linear), count(KeyframeForm::Smooth));
        assert!(2 * smooth <= straight, "{straight} straight, {smooth} smooth");
    }

    /// Moving frames are all candidates. A hold's are those no deeper in it than twelve frames, and one in 125.
    #[test]
    fn candidates_are_near_the_ends_of_holds() {
        let (moving, held) = (5, 400);
        let mut pulses: Vec<f64> = (0..moving).map(|k| 1400.0 + 20.0 * k as f64).collect();
        pulses.extend(vec![1500.0; held]);
        pulses.extend((1..=moving).map(|k| 1500.0 - 20.0 * k as f64));
        let (first, last) = (moving, moving + held - 1);
        for (t, is) in candidates(&pulses).into_iter().enumerate() {
            let deep = t > first + 12 && t + 12 < last;
            assert_eq!(is, !deep || t % 125 == 0, "frame {t}");
        }
    }

    /// A plan that itself falls faster than its servo may is kept as it is: no line may fall so, however many frames it has.
    #[test]
    fn what_falls_or_rises_too_fast_is_kept_frame_by_frame() {
        for (rise, fall, step) in [(15.0, 40.0, 20.0), (40.0, 15.0, -20.0)] {
            let l = limits(rise, fall, 50.0);
            let mut pulses = vec![1500.0, 1500.0];
            pulses.extend((1..=10).map(|k| 1500.0 + step * f64::from(k)));
            pulses.extend([1500.0 + 10.0 * step; 2]);
            let n = pulses.len();
            for form in [KeyframeForm::Linear, KeyframeForm::Smooth] {
                assert_eq!(fewest(&pulses, &vec![1.0; n], l, form), (0..n).collect::<Vec<_>>(), "{step}");
            }
        }
    }

    /// A parabola bends by the same from step to step, and a cubic through it with its own slopes is that parabola. Where
    /// that is just what the servo may, few keyframes are enough for all of it.
    #[test]
    fn a_curve_may_bend_by_all_that_is_allowed() {
        let l = limits(90.0, 90.0, 4.0);
        let mut pulses = vec![1500.0];
        let (mut at, mut step) = (1500.0, 0.0);
        for bend in [[4.0; 10], [-4.0; 10], [-4.0; 10], [4.0; 10]].as_flattened() {
            pulses.push(at);
            step += bend;
            at += step;
        }
        pulses.extend([at; 2]);
        let n = pulses.len();
        let chosen = fewest(&pulses, &vec![0.0; n], l, KeyframeForm::Smooth);
        assert!(chosen.len() < n / 2, "{} of {n}: {chosen:?}", chosen.len());
    }
}
