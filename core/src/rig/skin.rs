//! Skin that does not follow: what a mechanism asks and what the face is seen to do.

use super::Table;
use super::table::TableFault;

/// Measured response of the skin at one DOF.
///
/// ```text
///  seen │            ___ rising
///       │        _.-'_.-  falling      curve = mean of both, monotone (see [`Table`])
///       │    _.-'_.-'                   hysteresis = half of their largest distance
///       └──────────────── asked
/// ```
///
/// Thick silicone stretches less than it is pulled, magnets and anchors slip: the same asked value
/// shows differently coming from below and from above. All other parts speak of what is *seen*; the
/// curve is used both ways.
#[derive(Clone, Debug, PartialEq)]
pub struct SkinResponse {
    curve: Table,
    hysteresis: f64,
}

impl SkinResponse {
    /// Points are (asked, seen rising, seen falling), by rising asked.
    pub(crate) fn new(points: &[[f64; 3]]) -> Result<Self, TableFault> {
        let mean: Vec<(f64, f64)> = points.iter().map(|p| (p[0], 0.5 * (p[1] + p[2]))).collect();
        // Table allows both directions of either axis; here both must rise.
        if let Some(i) = (1..mean.len()).find(|i| !(mean[*i].0 > mean[i - 1].0)) {
            return Err(TableFault::AnglesRepeat(i));
        }
        if let Some(i) = (1..mean.len()).find(|i| !(mean[*i].1 > mean[i - 1].1)) {
            return Err(TableFault::FoldsBack(i));
        }
        let widest = points.iter().map(|p| (p[1] - p[2]).abs()).fold(0.0, f64::max);
        Ok(Self { curve: Table::new(&mean)?, hysteresis: 0.5 * widest })
    }

    /// What the face does when this is asked.
    #[must_use]
    pub fn seen(&self, asked: f64) -> f64 {
        self.curve.forward(asked)
    }

    /// What must be asked for the face to do `seen`, held to what was measured.
    #[must_use]
    pub fn asked(&self, seen: f64) -> f64 {
        let (low, high) = self.seen_range();
        let (first, last) = self.curve.range();
        // Within the range the inverse exists; a value that is no number asks for the middle.
        self.curve.inverse(seen.clamp(low, high)).unwrap_or(0.5 * (first + last))
    }

    /// d(seen)/d(asked).
    pub(crate) fn slope(&self, asked: f64) -> f64 {
        self.curve.slope(asked)
    }

    /// Half the width of the band in which the true position lies, depending on where it came from.
    #[must_use]
    pub fn hysteresis(&self) -> f64 {
        self.hysteresis
    }

    /// Least and greatest value that was seen (mean of both directions).
    #[must_use]
    pub fn seen_range(&self) -> (f64, f64) {
        let (first, last) = self.curve.range();
        (self.curve.forward(first), self.curve.forward(last))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phonetics::MouthShape;
    use crate::rig::{Dof, DofValues, ResponsePoint, Rig};
    use crate::units::Degrees;
    use proptest::prelude::*;

    #[test]
    fn the_mean_of_both_directions_counts() {
        let skin =
            SkinResponse::new(&[[-4.0, -3.2, -2.8], [0.0, -0.2, 0.2], [5.0, 3.6, 4.0]]).expect("rises");
        assert!((skin.hysteresis() - 0.2).abs() < 1e-12);
        assert!((skin.seen(0.0)).abs() < 1e-12 && (skin.seen(5.0) - 3.8).abs() < 1e-12);
        assert!((skin.asked(3.8) - 5.0).abs() < 1e-9 && (skin.asked(99.0) - 5.0).abs() < 1e-9);
        assert_eq!(SkinResponse::new(&[[0.0, 0.0, 0.0], [1.0, -1.0, -1.0]]), Err(TableFault::FoldsBack(1)));
        assert_eq!(SkinResponse::new(&[[0.0, 0.0, 0.0], [-1.0, 1.0, 1.0]]), Err(TableFault::AnglesRepeat(1)));
    }

    /// What is no number asks for the middle of what was asked: between −4 and 6.
    #[test]
    fn no_number_asks_for_the_middle() {
        let skin = SkinResponse::new(&[[-4.0, -3.0, -3.0], [0.0, 0.0, 0.0], [6.0, 3.0, 3.0]]).expect("rises");
        assert_eq!(skin.asked(f64::NAN), 1.0);
    }

    /// The full head with corners and lower lips whose skin gives less than it is asked.
    fn stiff_skin() -> Rig {
        let mut d = crate::rig::presets::all_apart();
        for x in &mut d.dofs {
            let give = match x.dof {
                Dof::CornerLeftX | Dof::CornerRightX => 0.7,
                Dof::LowerLipLeft => 0.9,
                _ => continue,
            };
            let point = |share: f64, seen: f64| ResponsePoint {
                asked: share * if share < 0.0 { -x.skin_min } else { x.skin_max },
                seen_rising: seen - 0.1,
                seen_falling: seen + 0.1,
                extra: Default::default(),
            };
            x.response = vec![
                point(-1.0, give * x.skin_min),
                point(-0.5, 0.6 * give * x.skin_min),
                point(0.0, 0.0),
                point(0.5, 0.6 * give * x.skin_max),
                point(1.0, give * x.skin_max),
            ];
            (x.skin_min, x.skin_max) = (give * x.skin_min, give * x.skin_max);
        }
        match Rig::new(d) {
            Ok(rig) => rig,
            Err(e) => panic!("{e}"),
        }
    }

    #[test]
    fn poses_and_reports_speak_of_what_is_seen() {
        let rig = stiff_skin();
        assert_eq!(Rig::from_json(&rig.to_json()).expect("reads back"), rig);
        let spread = rig.pose(MouthShape::Spread).target;
        assert!((spread[Dof::CornerLeftX] - 0.7 * 6.5).abs() < 1e-6, "{}", spread[Dof::CornerLeftX]);
        let notes = rig.reach_report();
        assert!(
            notes
                .iter()
                .any(|n| n.to_string() == "spread wants 6.5 mm at the left corner, this skin gives 4.5 mm"),
            "{notes:?}"
        );
        // The mechanism has to ask for more than the face shows.
        let plain = Rig::harbourmaster();
        let wanted = DofValues::from_pairs(&[(Dof::CornerLeftX, 4.0)]);
        let (soft, stiff) = (plain.reach(&wanted), rig.reach(&wanted));
        assert!(stiff.clamped.is_empty() && (stiff.dofs[Dof::CornerLeftX] - 4.0).abs() < 1e-9);
        assert!((stiff.angles[5] - soft.angles[5]).abs() > Degrees::new(1.0));
    }

    #[test]
    fn a_response_that_does_not_cover_the_skin_is_a_fault() {
        let mut d = stiff_skin().description().clone();
        let i = d.dofs.iter().position(|x| x.dof == Dof::CornerLeftX).expect("there");
        d.dofs[i].skin_max = 8.0;
        let error = Rig::new(d).expect_err("seen only to 5.6");
        assert!(error.problems().iter().any(|p| p.path == format!("dofs[{i}].response")), "{error}");
    }

    proptest! {
        #[test]
        fn reach_forward_and_partials_agree_through_the_skin(shares in prop::collection::vec(0.02..=0.98f64, 16)) {
            let rig = stiff_skin();
            let mut wanted = DofValues::default();
            for (d, share) in rig.dofs().iter().zip(&shares) {
                wanted[d.dof] = d.skin_min + share * (d.skin_max - d.skin_min);
            }
            let reach = rig.reach(&wanted);
            for (dof, value) in rig.forward(&reach.angles).iter() {
                prop_assert!((value - wanted[dof]).abs() < 1e-9, "{}: {} {}", dof, value, wanted[dof]);
            }
            let h = 1e-6;
            for (servo, dof, slope) in rig.partials(&reach.angles) {
                let (mut up, mut down) = (reach.angles.clone(), reach.angles.clone());
                up[servo.0] += Degrees::new(h);
                down[servo.0] += Degrees::new(-h);
                let difference = (rig.forward(&up)[dof] - rig.forward(&down)[dof]) / (2.0 * h);
                prop_assert!((slope - difference).abs() < 1e-4, "{}: {} {}", dof, slope, difference);
            }
        }
    }
}
