//! Limits that tie several servos: where does a written track break one, and who must give way?

use crate::export::PULSE_RESOLUTION;
use crate::rig::{Dof, Rig};
use crate::units::{Degrees, Seconds};

/// A servo that must not go beyond its plan: upwards in pulses (`true`) or downwards.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct GiveWay {
    pub(super) servo: usize,
    pub(super) upwards: bool,
}

/// One frame at which limits break.
#[derive(Clone, Debug)]
pub(super) struct Broken {
    pub(super) frame: usize,
    /// Who must keep to one side of the plan.
    pub(super) who: Vec<GiveWay>,
    /// Who must come nearer to the plan.
    pub(super) all: Vec<usize>,
}

/// The head as the check needs it.
pub(super) struct Ties<'a> {
    rig: &'a Rig,
    step_s: f64,
}

impl<'a> Ties<'a> {
    pub(super) fn new(rig: &'a Rig, frame: Seconds) -> Self {
        Self { rig, step_s: frame.value() }
    }

    fn angles(&self, columns: &[Vec<i32>], t: usize, share: f64) -> Vec<Degrees> {
        let next = (t + 1).min(columns[0].len() - 1);
        let at = |(c, s): (&Vec<i32>, &crate::rig::Servo)| {
            let tenths = f64::from(c[t]) + share * f64::from(c[next] - c[t]);
            Degrees::new((0.1 * tenths - s.pulse_neutral.value()) / s.us_per_degree)
        };
        columns.iter().zip(self.rig.servos()).map(at).collect()
    }

    /// Every frame at which a limit breaks, on its way to the next frame.
    pub(super) fn broken(&self, columns: &[Vec<i32>]) -> Vec<Broken> {
        const BETWEEN: u32 = 4;
        let frames = columns[0].len();
        let mut found = Vec::new();
        for t in 0..frames {
            let moving = t + 1 < frames && columns.iter().any(|c| c[t] != c[t + 1]);
            let mut who = Vec::new();
            let mut all = Vec::new();
            for k in 0..if moving { BETWEEN } else { 1 } {
                let angles = self.angles(columns, t, f64::from(k) / f64::from(BETWEEN));
                self.face(&angles, &mut who);
                for (m, _) in self.rig.check_linkages(&angles) {
                    all.extend(self.rig.mechanisms()[m].servos().iter().map(|s| s.0));
                }
            }
            if moving && self.current(columns, t) > self.rig.supply().budget.value() * (1.0 + 1e-9) {
                all.extend((0..columns.len()).filter(|s| columns[*s][t] != columns[*s][t + 1]));
            }
            if !(who.is_empty() && all.is_empty()) {
                found.push(Broken { frame: t, who, all });
            }
        }
        found
    }

    fn current(&self, columns: &[Vec<i32>], t: usize) -> f64 {
        let load = |(c, s): (&Vec<i32>, &crate::rig::Servo)| {
            let speed = 0.1 * f64::from(c[t + 1] - c[t]) / s.us_per_degree / self.step_s;
            let limit = if speed >= 0.0 { s.speed_up } else { s.speed_down };
            s.idle_current.value() + s.moving_current.value() * speed.abs() / limit.value()
        };
        columns.iter().zip(self.rig.servos()).map(load).sum()
    }

    /// Skin and couplings at one instant, with the allowance that rounding to a tenth needs.
    fn face(&self, angles: &[Degrees], who: &mut Vec<GiveWay>) {
        let values = self.rig.forward(angles);
        let mut partials = None;
        let mut check = |terms: &[(Dof, f64)], value: f64, low: Option<f64>, high: Option<f64>| {
            let over = high.is_some_and(|h| value > h + 1e-9);
            if !over && !low.is_some_and(|l| value < l - 1e-9) {
                return;
            }
            let beyond = if over { value - high.unwrap_or(value) } else { low.unwrap_or(value) - value };
            let partials = partials.get_or_insert_with(|| self.rig.partials(angles));
            let slopes: Vec<(usize, f64)> = partials
                .iter()
                .filter_map(|(servo, dof, slope)| {
                    let factor = terms.iter().find(|t| t.0 == *dof)?.1;
                    Some((servo.0, factor * slope / self.rig.servos()[servo.0].us_per_degree))
                })
                .collect();
            let rounding: f64 = slopes.iter().map(|s| (s.1 * 0.5 * PULSE_RESOLUTION.value()).abs()).sum();
            if beyond > rounding + 1e-9 {
                let way = |(servo, slope): (usize, f64)| GiveWay { servo, upwards: (slope > 0.0) == over };
                who.extend(slopes.into_iter().filter(|s| s.1 != 0.0).map(way));
            }
        };
        for d in self.rig.dofs() {
            check(&[(d.dof, 1.0)], values[d.dof], Some(d.skin_min), Some(d.skin_max));
        }
        for c in self.rig.couplings() {
            let sum = c.terms.iter().map(|(dof, factor)| factor * values[*dof]).sum();
            check(&c.terms, sum, c.min, c.max);
        }
    }
}
