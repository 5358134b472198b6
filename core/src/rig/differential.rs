//! Differential pair: two servos whose common motion does one thing and whose difference another.

/// Two servos on one carrier.
///
/// ```text
///   θ1 ─┐             q1 = common     · (θ1 + θ2) / 2     (both together: raise)
///       ├─ carrier
///   θ2 ─┘             q2 = difference · (θ1 − θ2) / 2     (against each other: tilt)
/// ```
///
/// Gains in DOF units per servo degree, never 0; q(0, 0) = (0, 0).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Differential {
    /// First DOF per degree of common motion.
    pub common: f64,
    /// Second DOF per degree of half difference.
    pub difference: f64,
}

impl Differential {
    pub(crate) fn forward(&self, theta: [f64; 2]) -> [f64; 2] {
        [self.common * 0.5 * (theta[0] + theta[1]), self.difference * 0.5 * (theta[0] - theta[1])]
    }

    pub(crate) fn inverse(&self, q: [f64; 2]) -> [f64; 2] {
        let (sum, difference) = (q[0] / self.common, q[1] / self.difference);
        [sum + difference, sum - difference]
    }

    pub(crate) fn jacobian(&self) -> [[f64; 2]; 2] {
        let (c, d) = (0.5 * self.common, 0.5 * self.difference);
        [[c, c], [d, -d]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn common_motion_raises_and_difference_tilts() {
        let pair = Differential { common: 0.2, difference: -0.5 };
        assert_eq!(pair.forward([10.0, 10.0]), [2.0, 0.0]);
        assert_eq!(pair.forward([10.0, -10.0]), [0.0, -5.0]);
        let theta = pair.inverse([1.5, 2.0]);
        let q = pair.forward(theta);
        assert!((q[0] - 1.5).abs() < 1e-12 && (q[1] - 2.0).abs() < 1e-12);
    }

    #[test]
    fn the_jacobian_is_what_one_degree_does() {
        let pair = Differential { common: 0.2, difference: -0.5 };
        assert_eq!(pair.jacobian(), [[0.1, 0.1], [-0.25, 0.25]]);
        let (here, there) = (pair.forward([3.0, 7.0]), pair.forward([4.0, 7.0]));
        assert!((there[0] - here[0] - 0.1).abs() < 1e-12 && (there[1] - here[1] + 0.25).abs() < 1e-12);
    }
}
