//! Push-rod: a slider-crank between a servo horn and a guided panel.

use super::KinematicError;

const NAME: &str = "push-rod";

/// A horn turns, a rod pushes a slider along a line.
///
/// ```text
///              rod l
///        ●─────────────────◆ slider, moves along y = e
///   r   ╱                    x(φ) = r cos φ + sqrt(l² − (r sin φ − e)²)
///      ╱ φ ↺
///     o·····················→ x   (parallel to the slider's line, pointing at the slider)
/// ```
///
/// φ = `neutral_horn` + θ, with θ the servo's angle (0 at its neutral pulse), and
/// q = `lever` · (x(φ) − x(`neutral_horn`)), so q(0) = 0. Lengths in mm, angles in degrees; e is the
/// slider line's distance from the axle, positive on the side φ turns towards from 0.
/// The formula is the slider-crank's of any machine-kinematics text.
///
/// Crank and rod are in line (dead centres) at sin φ = e/(l+r) and sin(φ − 180°) = e/(l−r). Between
/// two dead centres x(φ) is one-to-one; the linkage works on the branch its neutral horn lies on and
/// keeps [`PushRod::MIN_CLEARANCE`] away from both ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PushRod {
    /// Horn radius r, mm.
    pub horn_radius: f64,
    /// Rod length l, mm; longer than r + |e|.
    pub rod_length: f64,
    /// Slider offset e, mm.
    pub offset: f64,
    /// Horn angle φ at the neutral pulse, degrees.
    pub neutral_horn: f64,
    /// Face millimetres per slider millimetre, signed: negative where the slider's away-going
    /// motion lowers the value.
    pub lever: f64,
}

impl PushRod {
    /// Degrees of horn angle kept from a dead centre.
    pub const MIN_CLEARANCE: f64 = 5.0;

    /// Slider position for a horn angle in degrees.
    #[must_use]
    pub fn slide(&self, horn_degrees: f64) -> f64 {
        let (sin, cos) = horn_degrees.to_radians().sin_cos();
        let (r, l, e) = (self.horn_radius, self.rod_length, self.offset);
        r * cos + (l * l - (r * sin - e).powi(2)).max(0.0).sqrt()
    }

    /// d(slide)/d(horn angle), mm per radian.
    fn slide_slope(&self, horn_degrees: f64) -> f64 {
        let (sin, cos) = horn_degrees.to_radians().sin_cos();
        let (r, l, e) = (self.horn_radius, self.rod_length, self.offset);
        let root = (l * l - (r * sin - e).powi(2)).max(0.0).sqrt();
        -r * sin - (r * sin - e) * r * cos / root
    }

    /// The dead centres that bound the branch of the neutral horn, in horn degrees, and whether x
    /// falls (`true`) or rises along it.
    fn branch(&self) -> (f64, f64, bool) {
        let (r, l, e) = (self.horn_radius, self.rod_length, self.offset);
        let far = (e / (l + r)).asin().to_degrees();
        let near = 180.0 + (e / (l - r)).asin().to_degrees();
        // Turn the far dead centre to the last one at or below the neutral horn.
        let turns = ((self.neutral_horn - far) / 360.0).floor() * 360.0;
        let (far, near) = (far + turns, near + turns);
        if self.neutral_horn < near { (far, near, true) } else { (near, far + 360.0, false) }
    }

    pub(crate) fn forward(&self, theta: f64) -> f64 {
        self.lever * (self.slide(self.neutral_horn + theta) - self.slide(self.neutral_horn))
    }

    pub(crate) fn inverse(&self, q: f64) -> Result<f64, KinematicError> {
        if !q.is_finite() {
            return Err(KinematicError::NotFinite { linkage: NAME, value: q });
        }
        let (r, l, e) = (self.horn_radius, self.rod_length, self.offset);
        let x = q / self.lever + self.slide(self.neutral_horn);
        let d = x.hypot(e);
        let cosine = (r * r + d * d - l * l) / (2.0 * r * d);
        let (start, end, falling) = self.branch();
        if !(x > 0.0 && cosine.abs() <= 1.0) {
            let a = self.lever * (self.slide(start) - self.slide(self.neutral_horn));
            let b = self.lever * (self.slide(end) - self.slide(self.neutral_horn));
            return Err(KinematicError::Unreachable {
                linkage: NAME,
                wanted: q,
                min: a.min(b),
                max: a.max(b),
            });
        }
        // Axle, pin and slider form a triangle: the pin lies above the line axle-slider on the
        // falling branch and below it on the rising one.
        let turn = cosine.acos().to_degrees();
        let base = e.atan2(x).to_degrees();
        let phi = if falling { base + turn } else { base - turn };
        let middle = 0.5 * (start + end);
        let phi = phi + ((middle - phi) / 360.0).round() * 360.0;
        Ok(phi - self.neutral_horn)
    }

    /// dq/dθ, mm per servo degree.
    pub(crate) fn slope(&self, theta: f64) -> f64 {
        self.lever * self.slide_slope(self.neutral_horn + theta).to_radians()
    }

    /// Servo angles over which q is one-to-one, clear of both dead centres.
    pub(crate) fn range(&self) -> (f64, f64) {
        let (start, end, _) = self.branch();
        (start + Self::MIN_CLEARANCE - self.neutral_horn, end - Self::MIN_CLEARANCE - self.neutral_horn)
    }

    /// Degrees of horn angle to the nearer dead centre of the branch; negative beyond it.
    pub(crate) fn clearance(&self, theta: f64) -> f64 {
        let (start, end, _) = self.branch();
        let phi = self.neutral_horn + theta;
        (phi - start).min(end - phi)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn plain() -> PushRod {
        PushRod { horn_radius: 15.0, rod_length: 50.0, offset: 0.0, neutral_horn: 90.0, lever: 1.0 }
    }

    /// Worked table for r = 15, l = 50 mm (slider-crank formula, any machine-kinematics text;
    /// numbers computed independently of this code).
    #[test]
    fn worked_example_slides() {
        for (phi, x, slope) in [
            (0.0, 65.000_000, 0.0),
            (30.0, 62.424_681, -9.470_855),
            (45.0, 59.468_652, -12.909_002),
            (60.0, 55.783_020, -15.008_230),
            (90.0, 47.696_960, -15.0),
            (120.0, 40.783_020, -10.972_532),
            (180.0, 35.0, 0.0),
        ] {
            assert!((plain().slide(phi) - x).abs() < 1e-6, "x at {phi}");
            assert!((plain().slide_slope(phi) - slope).abs() < 1e-6, "slope at {phi}");
        }
        let offset = PushRod { offset: 5.0, ..plain() };
        assert!((offset.slide(60.0) - 56.857_408_9).abs() < 1e-7);
        let theta = plain().inverse(55.0 - plain().slide(90.0)).expect("inside the stroke");
        assert!((theta + 90.0 - 62.964_308_2).abs() < 1e-7);
    }

    #[test]
    fn beyond_the_stroke_is_unreachable() {
        let reach = plain().inverse(18.0);
        assert!(matches!(reach, Err(KinematicError::Unreachable { .. })), "{reach:?}");
        assert!(plain().inverse(f64::NAN).is_err());
    }

    /// The ends of the stroke, 65 and 35 mm from the axle, seen through the lever.
    #[test]
    fn what_cannot_be_reached_says_what_can() {
        let halved = PushRod { lever: -0.5, ..plain() };
        let Err(KinematicError::Unreachable { wanted, min, max, .. }) = halved.inverse(9.0) else {
            panic!("beyond the stroke");
        };
        assert!((min + 0.5 * (65.0 - 47.696_960)).abs() < 1e-6, "{min}");
        assert!((max - 0.5 * (47.696_960 - 35.0)).abs() < 1e-6 && wanted == 9.0, "{max}");
    }

    /// Dead centres by hand: crank and rod in line at asin(e / (l + r)) and 180° + asin(e / (l − r)), again
    /// every turn; without offset at 0° and 180°.
    #[test]
    fn the_range_reaches_from_one_dead_centre_to_the_next() {
        const CLEAR: f64 = PushRod::MIN_CLEARANCE;
        let (far, near) = ((5.0f64 / 65.0).asin().to_degrees(), 180.0 + (5.0f64 / 35.0).asin().to_degrees());
        for (offset, neutral, start, end) in [
            (0.0, 70.0, 0.0, 180.0),
            (0.0, 250.0, 180.0, 360.0),
            (0.0, 450.0, 360.0, 540.0),
            (0.0, -100.0, -180.0, 0.0),
            // Between 0° and the far dead centre an offset makes the branch before it the right one.
            (5.0, 2.0, near - 360.0, far),
            (5.0, 6.0, far, near),
            (5.0, 362.0, near, far + 360.0),
        ] {
            let rod = PushRod { offset, neutral_horn: neutral, ..plain() };
            let (low, high) = rod.range();
            let expected = (start + CLEAR - neutral, end - CLEAR - neutral);
            assert!(
                (low - expected.0).abs() < 1e-9 && (high - expected.1).abs() < 1e-9,
                "{offset} mm, {neutral}°: {low} to {high}, not {expected:?}"
            );
            let nearer = (neutral - start).min(end - neutral);
            assert!((rod.clearance(0.0) - nearer).abs() < 1e-9, "{offset} mm, {neutral}°");
        }
    }

    #[test]
    fn clearance_is_the_way_to_the_nearer_dead_centre() {
        let rod = PushRod { neutral_horn: 70.0, ..plain() };
        for (theta, clearance) in [(0.0, 70.0), (30.0, 80.0), (-30.0, 40.0), (100.0, 10.0), (115.0, -5.0)] {
            assert!((rod.clearance(theta) - clearance).abs() < 1e-9, "{theta}");
        }
    }

    proptest! {
        #[test]
        fn forward_undoes_inverse(
            r in 5.0..25.0f64, extra in 1.0..60.0f64, e in -12.0..12.0f64,
            neutral in -720.0..720.0f64, lever in prop_oneof![-2.0..-0.2, 0.2..2.0f64], s in 0.0..1.0f64,
        ) {
            let rod = PushRod {
                horn_radius: r, rod_length: r + e.abs() + extra, offset: e, neutral_horn: neutral, lever,
            };
            prop_assume!(rod.clearance(0.0) > PushRod::MIN_CLEARANCE);
            let (low, high) = rod.range();
            prop_assert!(low < 0.0 && 0.0 < high);
            let theta = low + s * (high - low);
            let q = rod.forward(theta);
            let back = rod.inverse(q).expect("a value it just produced");
            prop_assert!((rod.forward(back) - q).abs() < 1e-9);
            prop_assert!((back - theta).abs() < 1e-6, "{} against {}", back, theta);
            let h = 1e-5;
            let difference = (rod.forward(theta + h) - rod.forward(theta - h)) / (2.0 * h);
            prop_assert!((rod.slope(theta) - difference).abs() < 1e-6 * (1.0 + difference.abs()));
        }
    }
}
