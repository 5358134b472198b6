//! The expression lane: looks at moments, laid over speech.
//!
//! A key says what brows, mouth corners and neck should do at one moment: an [`Expression`] of the
//! rig, how much of it, and values of single degrees of freedom on top. Between two keys the lane goes
//! from one to the other as the first one's [`Easing`] says; before the first and after the last it
//! holds. The planner treats it as one more wish: speech has the corners first.

use super::{Line, LineError};
use crate::rig::{Dof, Expression};
use crate::units::Seconds;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// How the lane goes from one key to the next.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Easing {
    /// Stays until the next key, then changes as fast as the head can.
    Hold,
    /// Evenly.
    Linear,
    /// Slowly off, slowly in.
    #[default]
    Smooth,
}

impl Easing {
    /// Share of the next key's look when `u` (0 to 1) of the way to it is over.
    #[must_use]
    pub fn share(self, u: f64) -> f64 {
        let u = u.clamp(0.0, 1.0);
        match self {
            Self::Hold => f64::from(u8::from(u >= 1.0)),
            Self::Linear => u,
            Self::Smooth => u * u * (3.0 - 2.0 * u),
        }
    }
}

/// What the face should look like at one moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ExpressionKey {
    /// When, on the line's time axis.
    #[serde(rename = "time_s")]
    pub time: Seconds,
    /// Which look of the rig.
    pub expression: Expression,
    /// How much of it: 1 is the rig's pose, 0 the rest pose, up to [`ExpressionKey::MOST`].
    pub amount: f64,
    /// Values of single degrees of freedom that count instead, in their own units (mm, degrees).
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub values: BTreeMap<Dof, f64>,
    /// How the lane goes on to the next key.
    #[serde(default)]
    pub easing: Easing,
}

impl ExpressionKey {
    /// Largest amount: half as much again as the rig's own pose.
    pub const MOST: f64 = 1.5;

    /// Largest value of a single degree of freedom, mm or degrees; the skin's limits are narrower.
    pub const FURTHEST: f64 = 360.0;

    /// A whole expression, eased into the next key.
    #[must_use]
    pub fn new(time: Seconds, expression: Expression) -> Self {
        Self { time, expression, amount: 1.0, values: BTreeMap::new(), easing: Easing::Smooth }
    }

    pub(super) fn problem(&self, duration: Seconds) -> Option<&'static str> {
        if !(self.time >= Seconds::ZERO && self.time <= duration) {
            return Some("its time must lie inside the line");
        }
        if !(0.0..=Self::MOST).contains(&self.amount) {
            return Some("its amount must lie in 0 to 1.5");
        }
        if !self.values.values().all(|v| v.abs() <= Self::FURTHEST) {
            return Some("its values must be numbers of mm or degrees, at most 360");
        }
        None
    }
}

/// Where a lane stands at a time: the key before, the key after, and the share of the latter.
///
/// `None` on an empty lane. Keys must be in order, as a [`Line`] keeps them.
#[must_use]
pub fn lane_at(keys: &[ExpressionKey], time: Seconds) -> Option<(&ExpressionKey, &ExpressionKey, f64)> {
    let after = keys.partition_point(|k| k.time <= time);
    let before = keys.get(after.saturating_sub(1))?;
    let next = keys.get(after).filter(|_| after > 0).unwrap_or(before);
    let way = (next.time - before.time).value();
    let u = if way > 0.0 { (time - before.time).value() / way } else { 0.0 };
    Some((before, next, before.easing.share(u)))
}

impl Line {
    /// Keys of the expression lane, by rising time.
    #[must_use]
    pub fn expressions(&self) -> &[ExpressionKey] {
        &self.expressions
    }

    /// Checks a lane and puts it in the place of the present one.
    pub(super) fn set_expressions(&mut self, keys: Vec<ExpressionKey>) -> Result<(), LineError> {
        self.check_expressions(&keys)?;
        self.expressions = keys;
        Ok(())
    }

    fn check_expressions(&self, keys: &[ExpressionKey]) -> Result<(), LineError> {
        let mut last = Seconds::new(-1.0);
        for (index, key) in keys.iter().enumerate() {
            let problem = key.problem(self.duration);
            if let Some(problem) =
                problem.or((key.time <= last).then_some("must come after the key before it"))
            {
                return Err(LineError::Expression { index, at: key.time, problem });
            }
            last = key.time;
        }
        Ok(())
    }

    /// The lane with `key` in it; a key at the same time (to a millisecond) gives way.
    pub(super) fn with_expression(&self, key: ExpressionKey) -> Result<Vec<ExpressionKey>, LineError> {
        if let Some(problem) = key.problem(self.duration) {
            return Err(LineError::Expression { index: self.expressions.len(), at: key.time, problem });
        }
        let near = |k: &ExpressionKey| (k.time - key.time).abs() < Seconds::new(1e-3);
        let mut keys: Vec<_> = self.expressions.iter().filter(|k| !near(k)).cloned().collect();
        let place = keys.partition_point(|k| k.time < key.time);
        keys.insert(place, key);
        Ok(keys)
    }

    /// The lane without key `index`.
    pub(super) fn without_expression(&self, index: usize) -> Result<Vec<ExpressionKey>, LineError> {
        let count = self.expressions.len();
        if index >= count {
            return Err(LineError::NoSuchExpression { index, count });
        }
        let mut keys = self.expressions.clone();
        keys.remove(index);
        Ok(keys)
    }
}
