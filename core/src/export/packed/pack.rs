//! From a servo track to paths of whole steps that keep every limit.

use super::PackError;
use super::limits::{Broken, Ties};
use super::model::{LARGEST, Model};
use super::search::{Company, Tube, cheapest};
use super::stream::{Channel, busyness};
use crate::export::ServoTrack;
use crate::rig::{Rig, Servo};

/// One servo's motion in whole steps from its first pulse.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Path {
    /// First pulse, tenths of a microsecond.
    pub(super) start: u16,
    /// Tenths of a microsecond per step; 0 where it stands still.
    pub(super) step: u8,
    /// Steps from the start, by frame.
    pub(super) at: Vec<i32>,
}

impl Path {
    /// Its pulses, tenths of a microsecond.
    pub(super) fn pulses(&self) -> Vec<i32> {
        self.at.iter().map(|at| i32::from(self.start) + i32::from(self.step) * at).collect()
    }

    /// Its corrections: changes of the steps made from frame to frame.
    pub(super) fn corrections(&self) -> Vec<i32> {
        let at = |t: usize, back: usize| t.checked_sub(back).map_or(0, |t| self.at[t]);
        (0..self.at.len()).map(|t| at(t, 0) - 2 * at(t, 1) + at(t, 2)).collect()
    }
}

/// Rounds of drawing in where limits between servos break. Each halves what is left of the
/// tolerance there, so that it is used up long before.
const ROUNDS: usize = 60;

/// Finds paths within `tolerance` (tenths of a microsecond) of the track's pulses.
pub(super) fn paths(track: &ServoTrack, rig: &Rig, tolerance: i32) -> Result<Vec<Path>, PackError> {
    let columns: Vec<Vec<i32>> = track
        .servos()
        .iter()
        .map(|s| s.pulses().map(|p| (p.value() * 10.0).round() as i32).collect())
        .collect();
    let frames = track.frames();
    let mut slack = vec![vec![(tolerance, tolerance); frames]; columns.len()];
    for column in &mut slack {
        for t in [0, 1, frames - 2, frames - 1] {
            column[t] = (0, 0);
        }
    }
    let ties = Ties::new(rig, track.frame());
    let limits: Vec<Limits> = rig.servos().iter().map(|s| Limits::new(s, track.frame().value())).collect();
    let mut search =
        Search { columns: &columns, limits: &limits, model: Model::trained(), found: Vec::new() };
    let mut paths = search.all(&slack, &vec![true; columns.len()])?;
    for round in 0..ROUNDS {
        let broken = ties.broken(&paths.iter().map(Path::pulses).collect::<Vec<_>>());
        if broken.is_empty() {
            break;
        }
        let mut again = vec![false; columns.len()];
        for b in &broken {
            draw_in(&mut slack, &mut again, b, round);
        }
        paths = search.all(&slack, &again)?;
    }
    Ok(paths)
}

/// Takes tolerance away where a limit breaks: first on the harmful side only.
fn draw_in(slack: &mut [Vec<(i32, i32)>], again: &mut [bool], broken: &Broken, round: usize) {
    const HARMFUL_SIDE_ONLY: usize = 4;
    for t in broken.frame..(broken.frame + 2).min(slack[0].len()) {
        for way in &broken.who {
            let (below, above) = &mut slack[way.servo][t];
            let (harmful, other) = if way.upwards { (above, below) } else { (below, above) };
            *harmful = if round == 0 { *harmful / 2 } else { 0 };
            if round >= HARMFUL_SIDE_ONLY {
                *other /= 2;
            }
            again[way.servo] = true;
        }
        for servo in &broken.all {
            let (below, above) = &mut slack[*servo][t];
            (*below, *above) = (*below / 2, *above / 2);
            again[*servo] = true;
        }
    }
}

/// One servo's limits per frame, tenths of a microsecond.
#[derive(Clone, Copy)]
struct Limits {
    low: i32,
    high: i32,
    rise: i32,
    fall: i32,
    bend: i32,
}

impl Limits {
    fn new(servo: &Servo, frame: f64) -> Self {
        let scale = 10.0 * servo.us_per_degree.abs() * frame;
        let floor = |x: f64| (x + 1e-6).floor() as i32;
        let (up, down) = (floor(servo.speed_up.value() * scale), floor(servo.speed_down.value() * scale));
        let (rise, fall) = if servo.us_per_degree > 0.0 { (up, down) } else { (down, up) };
        Self {
            low: (servo.pulse_min.value() * 10.0).ceil() as i32,
            high: (servo.pulse_max.value() * 10.0).floor() as i32,
            rise,
            fall,
            bend: floor(servo.acceleration.value() * scale * frame).min(LARGEST),
        }
    }

    /// Steps to try, the coarsest first. Each divides the greatest acceleration nearly evenly: motion
    /// that uses all of it must not fall behind for want of a fitting step.
    fn steps(&self, coarsest: i32) -> Vec<i32> {
        let parts = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 14, 16, 20, 24, 32, 48, 64, 96];
        let coarsest = coarsest.clamp(1, 255);
        let mut steps: Vec<i32> =
            parts.iter().map(|n| self.bend / n).filter(|s| (1..=coarsest).contains(s)).collect();
        steps.push(1);
        steps.dedup();
        steps
    }
}

struct Search<'a> {
    columns: &'a [Vec<i32>],
    limits: &'a [Limits],
    model: Model,
    found: Vec<Path>,
}

/// Steps that fit are compared; so many.
const COMPARED: usize = 3;

impl Search<'_> {
    /// Paths of all servos: those marked are sought again, the others kept.
    fn all(&mut self, slack: &[Vec<(i32, i32)>], again: &[bool]) -> Result<Vec<Path>, PackError> {
        let mut busy = vec![0; self.columns[0].len()];
        for (i, slack) in slack.iter().enumerate() {
            let twin = self.twin(i);
            if again[i] {
                let path =
                    self.one(i, slack, &busy, twin.as_deref().map(|(step, k)| (*step, k.as_slice())))?;
                if i < self.found.len() { self.found[i] = path } else { self.found.push(path) }
            }
            if self.found[i].step > 0 && twin.is_none() {
                busy = self.found[i].corrections().into_iter().map(busyness).collect();
            }
        }
        Ok(self.found.clone())
    }

    fn one(
        &self,
        i: usize,
        slack: &[(i32, i32)],
        busy: &[u8],
        twin: Option<(i32, &[i32])>,
    ) -> Result<Path, PackError> {
        let column = &self.columns[i];
        let start = u16::try_from(column[0]).map_err(|_| {
            PackError::unfit(
                format!("servo {}: the pulse {:.1} us is too long", i + 1, f64::from(column[0]) / 10.0),
                "packed tracks hold pulses up to 6553 us",
            )
        })?;
        let path = |step: i32, at: Vec<i32>| Path { start, step: step as u8, at };
        if column.iter().all(|p| *p == column[0]) {
            return Ok(path(0, vec![0; column.len()]));
        }
        let tube = self.tube(i, slack);
        let company = Company { others: busy, twin: twin.map(|t| t.1) };
        if let Some((step, _)) = twin
            && let Some((at, _)) = cheapest(&tube, step, &self.model, &company)
        {
            return Ok(path(step, at));
        }
        let alone = Company { others: busy, twin: None };
        let coarsest = slack.iter().map(|s| s.0 + s.1).max().unwrap_or(0) / 2;
        let fits = self.limits[i]
            .steps(coarsest)
            .into_iter()
            .filter_map(|step| cheapest(&tube, step, &self.model, &alone).map(|(at, cost)| (cost, step, at)));
        let best = fits.take(COMPARED).min_by(|a, b| a.0.total_cmp(&b.0));
        Ok(match best {
            Some((_, step, at)) => path(step, at),
            // The track itself, tenth by tenth.
            None => path(1, column.iter().map(|p| p - column[0]).collect()),
        })
    }

    fn tube(&self, i: usize, slack: &[(i32, i32)]) -> Tube {
        let l = self.limits[i];
        let bounds = |(p, (below, above)): (&i32, &(i32, i32))| {
            ((p - below).max(l.low.min(*p)), (p + above).min(l.high.max(*p)))
        };
        let column = &self.columns[i];
        Tube {
            start: column[0],
            bounds: column.iter().zip(slack).map(bounds).collect(),
            rise: l.rise,
            fall: l.fall,
            bend: l.bend,
        }
    }

    /// Step and corrections of an earlier servo that moves alike, turned this servo's way round.
    fn twin(&self, i: usize) -> Option<Box<(i32, Vec<i32>)>> {
        const NEAR: i32 = 20;
        let column = &self.columns[i];
        let mut best: Option<(usize, usize, i32)> = None;
        for (j, other) in self.columns[..i].iter().enumerate() {
            if self.found[j].step == 0 {
                continue;
            }
            for way in [1, -1] {
                let off = |(a, b): &(&i32, &i32)| (*a - column[0] - way * (*b - other[0])).abs() > NEAR;
                let misses = column.iter().zip(other).filter(off).count();
                if 4 * misses < column.len() && best.is_none_or(|b| misses < b.0) {
                    best = Some((misses, j, way));
                }
            }
        }
        let (_, j, way) = best?;
        let corrections = self.found[j].corrections().into_iter().map(|k| way * k).collect();
        Some(Box::new((self.found[j].step.into(), corrections)))
    }
}

/// The table of channels for these paths: who repeats whom.
pub(super) fn channels(paths: &[Path]) -> Vec<Channel> {
    let corrections: Vec<Vec<i32>> = paths.iter().map(Path::corrections).collect();
    let mut out: Vec<Channel> = Vec::with_capacity(paths.len());
    for (i, path) in paths.iter().enumerate() {
        let mut best: Option<(usize, (u8, bool))> = None;
        for (j, other) in out.iter().enumerate() {
            if path.step == 0 || other.step != path.step || other.twin.is_some() {
                continue;
            }
            for way in [1, -1] {
                let both = corrections[i].iter().zip(&corrections[j]);
                let moving = both.clone().filter(|(a, b)| **a != 0 || **b != 0).count();
                let same = both.filter(|(a, b)| **a != 0 && **a == way * **b).count();
                if 10 * same > 7 * moving && best.is_none_or(|b| same > b.0) {
                    best = Some((same, (j as u8, way < 0)));
                }
            }
        }
        out.push(Channel { start: path.start, step: path.step, twin: best.map(|b| b.1) });
    }
    out
}
