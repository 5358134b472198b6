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
