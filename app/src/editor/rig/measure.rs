//! Calibration on paper: what was measured at the bench, and what it says.

use lipwright_core::rig::{Dof, ResponsePoint, Rig, ServoId};
use lipwright_core::units::{Degrees, Microseconds};
use serde::{Deserialize, Serialize};

/// One row that a person fills in; texts, so that nothing typed is lost.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// Pulse sent, µs; for a skin, what its mechanism asks.
    pub sent: String,
    /// Value seen; for a skin, coming from smaller values.
    pub seen: String,
    /// For a skin: seen coming from larger values.
    pub back: String,
}

fn number(text: &str) -> Option<f64> {
    text.trim().replace(',', ".").replace('−', "-").parse().ok().filter(|n: &f64| n.is_finite())
}

/// The rows of one measurement.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sheet(pub Vec<Reading>);

/// Rows that a fresh sheet has: five are the least, nine the most that is worth the time.
const ROWS: usize = 7;

impl Sheet {
    /// A sheet with pulses spread evenly over a servo's travel, rounded to 5 µs.
    #[must_use]
    pub fn for_servo(rig: &Rig, servo: ServoId) -> Self {
        let Some(s) = rig.servos().get(servo.0) else { return Self::default() };
        let (low, high) = (s.pulse_min.value(), s.pulse_max.value());
        Self::spread(low, high, 5.0)
    }

    /// A sheet with asked values spread evenly over what a skin allows, to a tenth.
    #[must_use]
    pub fn for_skin(rig: &Rig, dof: Dof) -> Self {
        rig.dof(dof).map_or_else(Self::default, |d| Self::spread(d.skin_min, d.skin_max, 0.1))
    }

    fn spread(low: f64, high: f64, grain: f64) -> Self {
        let at = |i: usize| low + (high - low) * i as f64 / (ROWS - 1) as f64;
        // Dividing by the reciprocal keeps tenths tidy: 3 · 0.1 is not 0.3.
        let tidy = |v: f64| (v / grain).round() / grain.recip() + 0.0;
        let row = |i| Reading { sent: format!("{}", tidy(at(i))), ..Reading::default() };
        Self((0..ROWS).map(row).collect())
    }

    /// Points of the rows that are filled in.
    ///
    /// # Errors
    /// The row (from 0) that holds something other than numbers.
    pub fn points(&self) -> Result<Vec<(Microseconds, f64)>, usize> {
        let filled = self.0.iter().enumerate().filter(|(_, r)| !r.seen.trim().is_empty());
        filled
            .map(|(i, r)| match (number(&r.sent), number(&r.seen)) {
                (Some(pulse), Some(value)) => Ok((Microseconds::new(pulse), value)),
                _ => Err(i),
            })
            .collect()
    }
}

/// A skin's measured response.
#[derive(Clone, Debug, PartialEq)]
pub struct Response {
    /// Points by rising asked value.
    pub points: Vec<ResponsePoint>,
    /// Half the widest distance between coming and going.
    pub hysteresis: f64,
    /// Least and greatest value seen, mean of both directions.
    pub seen: (f64, f64),
}

/// What a sheet says about a skin; a missing way back counts as the way there.
///
/// # Errors
/// A sentence for the person who measured.
pub fn response_of(sheet: &Sheet) -> Result<Response, String> {
    let filled: Vec<(usize, &Reading)> =
        sheet.0.iter().enumerate().filter(|(_, r)| !r.seen.trim().is_empty()).collect();
    let mut points = Vec::new();
    for (i, r) in &filled {
        let back = if r.back.trim().is_empty() { &r.seen } else { &r.back };
        let (Some(asked), Some(seen_rising), Some(seen_falling)) =
            (number(&r.sent), number(&r.seen), number(back))
        else {
            return Err(format!("Row {} holds something other than numbers; correct it.", i + 1));
        };
        points.push(ResponsePoint { asked, seen_rising, seen_falling, extra: serde_json::Map::new() });
    }
    if points.len() < 2 {
        return Err(format!(
            "{} rows are filled in; measure at least two, better five to nine, over the whole travel.",
            points.len()
        ));
    }
    points.sort_by(|a, b| a.asked.total_cmp(&b.asked));
    let mean = |p: &ResponsePoint| 0.5 * (p.seen_rising + p.seen_falling);
    if let Some(pair) = points.windows(2).find(|w| !(w[1].asked > w[0].asked && mean(&w[1]) > mean(&w[0]))) {
        return Err(format!(
            "Asked for {} the skin does not go on from {}: it slipped, or its anchor moved. Measure again there.",
            pair[1].asked, pair[0].asked
        ));
    }
    let hysteresis = points.iter().map(|p| (p.seen_rising - p.seen_falling).abs()).fold(0.0, f64::max) / 2.0;
    let seen = (mean(&points[0]), mean(&points[points.len() - 1]));
    Ok(Response { points, hysteresis, seen })
}

/// Which way a servo's parts should go when its pulse grows, by the rig as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Direction {
    /// The DOF to watch.
    pub dof: Dof,
    /// True if a longer pulse raises its value.
    pub rises: bool,
}

/// What a longer pulse does at neutral: the DOF that moves most.
#[must_use]
pub fn direction(rig: &Rig, servo: ServoId) -> Option<Direction> {
    let s = rig.servos().get(servo.0)?;
    let (low, high) = rig.travel(servo);
    // At neutral, or where the skin does not allow neutral, at the near end of the travel.
    let mut angles = rig.rest_angles();
    *angles.get_mut(servo.0)? = Degrees::ZERO.max(low).min(high);
    let strongest = rig
        .partials(&angles)
        .into_iter()
        .filter(|(id, _, _)| *id == servo)
        .max_by(|a, b| a.2.abs().total_cmp(&b.2.abs()))?;
    Some(Direction { dof: strongest.1, rises: strongest.2 * s.us_per_degree > 0.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::rig::{Preset, measure_linkage};

    fn filled(rows: &[(&str, &str, &str)]) -> Sheet {
        let row = |r: &(&str, &str, &str)| Reading { sent: r.0.into(), seen: r.1.into(), back: r.2.into() };
        Sheet(rows.iter().map(row).collect())
    }

    #[test]
    fn a_sheet_becomes_points_that_core_judges() {
        let rig = Rig::harbourmaster();
        let sheet = Sheet::for_servo(&rig, ServoId(1));
        assert_eq!((sheet.0.len(), sheet.0[0].sent.as_str(), sheet.0[6].sent.as_str()), (7, "800", "2200"));
        assert_eq!(sheet.points(), Ok(vec![]), "nothing measured yet");
        let sheet = filled(&[("1100", "−3,5", ""), ("1500", "0", ""), ("1700", "", ""), ("1900", "3.5", "")]);
        let points = sheet.points().expect("numbers");
        assert_eq!(points[0], (Microseconds::new(1100.0), -3.5));
        assert_eq!(measure_linkage(&points).expect("rises").points.len(), 3);
        assert_eq!(filled(&[("1100", "much", "")]).points(), Err(0));
    }

    #[test]
    fn a_skin_that_slips_is_told_from_one_that_lags() {
        let lag = filled(&[("4", "2.8", "3.2"), ("-4", "-3.0", "-2.6"), ("0", "0", "")]);
        let r = response_of(&lag).expect("rises");
        assert!((r.hysteresis - 0.2).abs() < 1e-12);
        assert_eq!(r.points.iter().map(|p| p.asked).collect::<Vec<_>>(), [-4.0, 0.0, 4.0]);
        assert!((r.seen.0 + 2.8).abs() < 1e-12 && (r.seen.1 - 3.0).abs() < 1e-12);
        let slip = filled(&[("0", "0", ""), ("2", "1.5", ""), ("4", "1.2", "")]);
        assert!(response_of(&slip).expect_err("falls").contains("slipped"));
        assert!(response_of(&filled(&[("0", "0", "")])).expect_err("few").contains("at least two"));
    }

    #[test]
    fn direction_follows_the_sign_of_the_pulse() {
        let mut d = Preset::JawAndLips.describe();
        let before = direction(&Preset::JawAndLips.rig(), ServoId(1)).expect("moves a lip");
        d.servos[1].us_per_degree = -d.servos[1].us_per_degree;
        let after = direction(&Rig::new(d).expect("valid"), ServoId(1)).expect("moves a lip");
        assert_eq!((before.dof, before.rises), (after.dof, !after.rises));
        assert_eq!(direction(&Rig::jaw_only(), ServoId(9)), None);
    }
}
