//! Direct rotary drive: a servo, a gear or belt ratio, and for a translation a lever.

use super::KinematicError;

const NAME: &str = "rotary drive";

/// Servo turns an axle through a ratio; a lever on the axle may turn that into millimetres.
///
/// ```text
///            lever (mm)
///   axle o────────────● point      rotation φ = ratio · θ
///                 φ ↺              q = φ                (no lever: degrees)
///                                  q = lever · sin φ    (lever: mm, across the lever's rest line)
/// ```
///
/// θ is the servo's angle, 0 at its neutral pulse; q(0) = 0. With a lever, φ stays inside ±80°,
/// where the point still moves across the rest line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rotary {
    /// Axle degrees per servo degree; negative where they turn against each other. Never 0.
    pub ratio: f64,
    /// Lever length in mm, or none for a DOF measured in degrees.
    pub lever: Option<f64>,
}

/// Largest lever angle used: beyond it the point moves along the lever more than across.
const MAX_LEVER_DEGREES: f64 = 80.0;

impl Rotary {
    pub(crate) fn forward(&self, theta: f64) -> f64 {
        let phi = self.ratio * theta;
        match self.lever {
            None => phi,
            Some(lever) => lever * phi.to_radians().sin(),
        }
    }

    pub(crate) fn inverse(&self, q: f64) -> Result<f64, KinematicError> {
        if !q.is_finite() {
            return Err(KinematicError::NotFinite { linkage: NAME, value: q });
        }
        let phi = match self.lever {
            None => q,
            Some(lever) => {
                let most = lever * MAX_LEVER_DEGREES.to_radians().sin();
                if q.abs() > most {
                    return Err(KinematicError::Unreachable {
                        linkage: NAME,
                        wanted: q,
                        min: -most,
                        max: most,
                    });
                }
                (q / lever).asin().to_degrees()
            }
        };
        Ok(phi / self.ratio)
    }

    /// dq/dθ, per servo degree.
    pub(crate) fn slope(&self, theta: f64) -> f64 {
        match self.lever {
            None => self.ratio,
            Some(lever) => {
                lever * (self.ratio * theta).to_radians().cos() * self.ratio * std::f64::consts::PI / 180.0
            }
        }
    }

    /// Servo angles over which q is one-to-one.
    pub(crate) fn range(&self) -> (f64, f64) {
        match self.lever {
            None => (f64::NEG_INFINITY, f64::INFINITY),
            Some(_) => {
                let most = MAX_LEVER_DEGREES / self.ratio.abs();
                (-most, most)
            }
        }
    }

    /// Degrees of the lever from pointing along its own motion (its dead centre); 90 without one.
    pub(crate) fn clearance(&self, theta: f64) -> f64 {
        match self.lever {
            None => 90.0,
            Some(_) => 90.0 - (self.ratio * theta).abs(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_lever_moves_by_the_sine() {
        let jaw = Rotary { ratio: 0.5, lever: Some(80.0) };
        assert!((jaw.forward(60.0) - 40.0).abs() < 1e-12, "80 sin 30°");
        assert!(matches!(jaw.inverse(79.5), Err(KinematicError::Unreachable { .. })));
        let neck = Rotary { ratio: -2.0, lever: None };
        assert_eq!(neck.forward(10.0), -20.0);
    }

    #[test]
    fn what_a_lever_cannot_reach_says_what_it_can() {
        let jaw = Rotary { ratio: 0.5, lever: Some(80.0) };
        // 80 sin 80° to either side.
        let said = jaw.inverse(-79.5);
        let Err(KinematicError::Unreachable { wanted, min, max, .. }) = said else { panic!("{said:?}") };
        assert!((min + 78.784_62).abs() < 1e-4 && (max - 78.784_62).abs() < 1e-4 && wanted == -79.5);
    }

    #[test]
    fn a_lever_stays_clear_of_its_dead_centre() {
        let jaw = Rotary { ratio: -0.5, lever: Some(80.0) };
        assert_eq!(jaw.range(), (-160.0, 160.0));
        assert_eq!((jaw.clearance(0.0), jaw.clearance(-100.0), jaw.clearance(200.0)), (90.0, 40.0, -10.0));
        let neck = Rotary { ratio: -2.0, lever: None };
        assert_eq!(neck.range(), (f64::NEG_INFINITY, f64::INFINITY));
        assert_eq!(neck.clearance(500.0), 90.0);
        // Just what the lever reaches at 80 degrees is reached, and a hair more is not.
        let most = jaw.forward(160.0).abs();
        assert!(jaw.inverse(most * (1.0 - 1e-12)).is_ok() && jaw.inverse(most * (1.0 + 1e-12)).is_err());
    }

    proptest! {
        #[test]
        fn forward_undoes_inverse(
            ratio in prop_oneof![-5.0..-0.1, 0.1..5.0f64], lever in prop::option::of(5.0..150.0f64), s in -1.0..1.0f64,
        ) {
            let drive = Rotary { ratio, lever };
            let theta = s * drive.range().1.min(180.0);
            let q = drive.forward(theta);
            let back = drive.inverse(q).expect("a value it just produced");
            prop_assert!((drive.forward(back) - q).abs() < 1e-9 && (back - theta).abs() < 1e-6);
            let h = 1e-5;
            let difference = (drive.forward(theta + h) - drive.forward(theta - h)) / (2.0 * h);
            prop_assert!((drive.slope(theta) - difference).abs() < 1e-6 * (1.0 + difference.abs()));
        }
    }
}
