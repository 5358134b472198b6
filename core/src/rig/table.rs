//! A measured linkage: value seen at some pulses, and a monotone curve between them.

use super::KinematicError;

const NAME: &str = "measured table";

/// Monotone piecewise-cubic curve q(θ) through measured points.
///
/// Slopes at the knots follow F. N. Fritsch and R. E. Carlson, "Monotone piecewise cubic
/// interpolation", SIAM J. Numer. Anal. 17 (1980), with the weighted harmonic mean of Fritsch and
/// Butland (1984) (both from memory): the curve never overshoots its points, so it has an inverse.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    angles: Vec<f64>,
    values: Vec<f64>,
    slopes: Vec<f64>,
}

/// Why points do not make a table.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum TableFault {
    TooFew,
    NotFinite(usize),
    /// Angles at this point do not go on in the direction they started.
    AnglesRepeat(usize),
    /// Values turn back, or stand still, at this point.
    FoldsBack(usize),
}

impl Table {
    /// `points` are (servo angle in degrees, value); any order of angles that is monotone.
    pub(crate) fn new(points: &[(f64, f64)]) -> Result<Self, TableFault> {
        if points.len() < 2 {
            return Err(TableFault::TooFew);
        }
        if let Some(i) = points.iter().position(|p| !p.0.is_finite() || !p.1.is_finite()) {
            return Err(TableFault::NotFinite(i));
        }
        let along = (points[1].0 - points[0].0).signum();
        let up = (points[1].1 - points[0].1).signum();
        for i in 1..points.len() {
            if !((points[i].0 - points[i - 1].0) * along > 0.0) {
                return Err(TableFault::AnglesRepeat(i));
            }
            if !((points[i].1 - points[i - 1].1) * up > 0.0) {
                return Err(TableFault::FoldsBack(i));
            }
        }
        let mut sorted = points.to_vec();
        if along < 0.0 {
            sorted.reverse();
        }
        let angles: Vec<f64> = sorted.iter().map(|p| p.0).collect();
        let values: Vec<f64> = sorted.iter().map(|p| p.1).collect();
        let slopes = monotone_slopes(&angles, &values);
        Ok(Self { angles, values, slopes })
    }

    /// The measured points, as (servo angle in degrees, value), by rising angle.
    pub fn points(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.angles.iter().copied().zip(self.values.iter().copied())
    }

    /// Interval that holds `theta`, or the end one.
    fn interval(&self, theta: f64) -> usize {
        self.angles.partition_point(|a| *a <= theta).clamp(1, self.angles.len() - 1) - 1
    }

    pub(crate) fn forward(&self, theta: f64) -> f64 {
        let (low, high) = self.range();
        let inside = theta.clamp(low, high);
        let i = self.interval(inside);
        let h = self.angles[i + 1] - self.angles[i];
        let s = (inside - self.angles[i]) / h;
        let (v0, v1, d0, d1) =
            (self.values[i], self.values[i + 1], self.slopes[i] * h, self.slopes[i + 1] * h);
        let r = 1.0 - s;
        let curve =
            v0 * r * r * (1.0 + 2.0 * s) + v1 * s * s * (1.0 + 2.0 * r) + d0 * s * r * r - d1 * s * s * r;
        // Outside the measured points the end slope goes on: a straight line, still one-to-one.
        curve + self.slope(inside) * (theta - inside)
    }

    /// dq/dθ per servo degree.
    pub(crate) fn slope(&self, theta: f64) -> f64 {
        let i = self.interval(theta);
        let h = self.angles[i + 1] - self.angles[i];
        let s = ((theta - self.angles[i]) / h).clamp(0.0, 1.0);
        let chord = (self.values[i + 1] - self.values[i]) / h;
        let (d0, d1) = (self.slopes[i], self.slopes[i + 1]);
        6.0 * s * (1.0 - s) * chord + d0 * (1.0 - s) * (1.0 - 3.0 * s) + d1 * s * (3.0 * s - 2.0)
    }

    pub(crate) fn inverse(&self, q: f64) -> Result<f64, KinematicError> {
        if !q.is_finite() {
            return Err(KinematicError::NotFinite { linkage: NAME, value: q });
        }
        let (first, last) = (self.values[0], self.values[self.values.len() - 1]);
        let (min, max) = (first.min(last), first.max(last));
        if q < min || q > max {
            return Err(KinematicError::Unreachable { linkage: NAME, wanted: q, min, max });
        }
        let sign = (last - first).signum();
        let i = self.values.partition_point(|v| sign * v <= sign * q);
        let i = i.clamp(1, self.values.len() - 1) - 1;
        let miss = |theta: f64| (sign * (self.forward(theta) - q), sign * self.slope(theta));
        Ok(root(self.angles[i], self.angles[i + 1], miss))
    }

    /// Measured range of servo angles.
    pub(crate) fn range(&self) -> (f64, f64) {
        (self.angles[0], self.angles[self.angles.len() - 1])
    }
}

/// Where a rising function is 0, between two places: Newton's method as long as its steps stay within what is left of
/// them, else halving. `value` gives the function and its slope.
fn root(mut low: f64, mut high: f64, value: impl Fn(f64) -> (f64, f64)) -> f64 {
    /// A last step this small (degrees) leaves nothing to be gained by another.
    const FINE: f64 = 1e-11;
    let mut at = 0.5 * (low + high);
    for _ in 0..80 {
        let (miss, slope) = value(at);
        let step = miss / slope;
        if step.abs() <= FINE {
            return at - step;
        }
        if miss.is_sign_positive() {
            high = at;
        } else {
            low = at;
        }
        let newton = at - step;
        at = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
    }
    at
}

/// Knot slopes that keep the cubic monotone.
fn monotone_slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let step = |i: usize| x[i + 1] - x[i];
    let chord = |i: usize| (y[i + 1] - y[i]) / step(i);
    if n == 2 {
        return vec![chord(0); 2];
    }
    let mut slopes = vec![0.0; n];
    for i in 1..n - 1 {
        let (h0, h1, c0, c1) = (step(i - 1), step(i), chord(i - 1), chord(i));
        let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
        slopes[i] = (w0 + w1) / (w0 / c0 + w1 / c1);
    }
    // Ends: three-point parabola. Held strictly between a quarter of and three times the chord, so
    // that the curve stays monotone (at most three) and never quite flat at its end (an inverse with
    // infinite slope would make the planner's derivatives useless there).
    let end = |h0: f64, h1: f64, c0: f64, c1: f64| {
        let slope = ((2.0 * h0 + h1) * c0 - h0 * c1) / (h0 + h1);
        c0 * (slope / c0).clamp(0.25, 3.0)
    };
    slopes[0] = end(step(0), step(1), chord(0), chord(1));
    slopes[n - 1] = end(step(n - 2), step(n - 3), chord(n - 2), chord(n - 3));
    slopes
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn straight_points_make_a_straight_line() {
        let table = Table::new(&[(-30.0, 6.0), (0.0, 0.0), (40.0, -8.0)]).expect("monotone");
        for theta in [-35.0, -30.0, -7.0, 0.0, 12.0, 40.0, 44.0] {
            assert!((table.forward(theta) + 0.2 * theta).abs() < 1e-12);
            assert!((table.slope(theta) + 0.2).abs() < 1e-12);
        }
    }

    #[test]
    fn the_points_come_back_by_rising_angle() {
        let table = Table::new(&[(40.0, -8.0), (0.0, 0.0), (-30.0, 6.0)]).expect("monotone");
        assert_eq!(table.points().collect::<Vec<_>>(), [(-30.0, 6.0), (0.0, 0.0), (40.0, -8.0)]);
    }

    /// Slopes by hand: chords 1 and 2 over steps 1 and 2 give (5 + 4)/(5/1 + 4/2) in the middle, and
    /// parabolas through three points give (4·1 − 1·2)/3 and (5·2 − 2·1)/3 at the ends.
    #[test]
    fn slopes_are_those_of_the_paper() {
        let table = Table::new(&[(0.0, 0.0), (1.0, 1.0), (3.0, 5.0)]).expect("monotone");
        for (theta, slope) in [(0.0, 2.0 / 3.0), (1.0, 9.0 / 7.0), (3.0, 8.0 / 3.0)] {
            assert!((table.slope(theta) - slope).abs() < 1e-12, "at {theta}: {}", table.slope(theta));
        }
        assert_eq!(table.range(), (0.0, 3.0));
    }

    /// By hand again, with steps 1, 3 and 2 and chords 1, 2 and 0.5: (7 + 5)/(7/1 + 5/2) and
    /// (7 + 8)/(7/2 + 8/0.5) inside; at the ends (5·1 − 1·2)/4 and (7·0.5 − 2·2)/5 < 0, which is held at a
    /// quarter of the chord.
    #[test]
    fn slopes_of_uneven_steps_are_those_of_the_paper() {
        let table = Table::new(&[(0.0, 0.0), (1.0, 1.0), (4.0, 7.0), (6.0, 8.0)]).expect("monotone");
        for (theta, slope) in [(0.0, 0.75), (1.0, 24.0 / 19.0), (4.0, 10.0 / 13.0), (6.0, 0.125)] {
            assert!((table.slope(theta) - slope).abs() < 1e-12, "at {theta}: {}", table.slope(theta));
        }
        // One point more, after a step of 1 with the chord 2: (4·2 − 1·0.5)/3.
        let more =
            Table::new(&[(0.0, 0.0), (1.0, 1.0), (4.0, 7.0), (6.0, 8.0), (7.0, 10.0)]).expect("monotone");
        assert!((more.slope(7.0) - 2.5).abs() < 1e-12, "{}", more.slope(7.0));
    }

    /// Beyond its ends a measured curve goes on straight, with its slope there.
    #[test]
    fn beyond_the_ends_the_slope_goes_on() {
        let table = Table::new(&[(0.0, 0.0), (1.0, 1.0), (3.0, 5.0)]).expect("monotone");
        assert!((table.forward(-3.0) + 2.0).abs() < 1e-12, "2/3 a degree: {}", table.forward(-3.0));
        assert!((table.forward(6.0) - 13.0).abs() < 1e-12, "8/3 a degree: {}", table.forward(6.0));
    }

    #[test]
    fn what_was_not_measured_says_what_was() {
        let falling = Table::new(&[(-30.0, 6.0), (0.0, 0.0), (40.0, -8.0)]).expect("monotone");
        for q in [6.1, -8.1] {
            let said = falling.inverse(q);
            let Err(KinematicError::Unreachable { wanted, min, max, .. }) = said else {
                panic!("{q}: {said:?}");
            };
            assert_eq!((wanted, min, max), (q, -8.0, 6.0));
        }
        assert!(falling.inverse(f64::NAN).is_err());
    }

    /// Counts how often a function is asked on the way to its root.
    fn searched(low: f64, high: f64, value: impl Fn(f64) -> (f64, f64)) -> (f64, usize) {
        let asked = std::cell::Cell::new(0);
        let counted = |x: f64| {
            asked.set(asked.get() + 1);
            value(x)
        };
        (root(low, high, counted), asked.get())
    }

    /// The Babylonian way to √2: 3/2, 17/12, 577/408, 665857/470832 (1.6e-12 too large), and from there by a last step
    /// to the last digit.
    #[test]
    fn a_gentle_curve_is_followed_by_its_tangents() {
        let (root, asked) = searched(1.0, 2.0, |x| (x * x - 2.0, 2.0 * x));
        assert!((root - std::f64::consts::SQRT_2).abs() < 1e-15, "{root}");
        assert_eq!(asked, 4);
        // A straight line is met by its first tangent, wherever it lies.
        for (low, high, at) in [(-90.0, -10.0, -88.5), (-4.0, 60.0, 0.25), (0.0, 1.0, 0.75)] {
            assert_eq!(searched(low, high, |x| (2.0 * (x - at), 2.0)), (at, 2));
        }
    }

    /// Tangents to the arctangent lead away from its root from beyond 1.3918 (as textbooks show); those to a cube root
    /// from everywhere, to twice as far on the other side; a flight of steps has none.
    #[test]
    fn where_tangents_lead_astray_the_bracket_is_halved() {
        for (low, high) in [(-1.0, 30.0), (-30.0, 1.0), (-80.0, 79.0)] {
            let (at, asked) = searched(low, high, |x: f64| (x.atan(), 1.0 / (1.0 + x * x)));
            assert!(at.abs() < 1e-12 && asked < 14, "{at} after {asked}");
        }
        let cube_root = |x: f64| ((x - 0.3).cbrt(), (x - 0.3).cbrt().powi(-2) / 3.0);
        let (at, asked) = searched(-2.0, 1.0, cube_root);
        assert!((at - 0.3).abs() < 1e-11 && asked <= 80, "{at} after {asked}");
        let step = |x: f64| (if x < 0.3 { -1.0 } else { 1.0 }, 0.0);
        for (low, high) in [(0.0, 1.0), (-5.0, 3.0), (0.2, 40.0)] {
            assert!((searched(low, high, step).0 - 0.3).abs() < 1e-12);
        }
    }

    /// Where the curve is nearly flat at one end and steep at the other, Newton's method alone overshoots.
    #[test]
    fn the_inverse_is_found_on_flat_and_steep_curves() {
        for points in [
            vec![(0.0, 0.0), (10.0, 0.001), (11.0, 9.0), (40.0, 9.001)],
            vec![(0.0, 0.0), (0.01, 5.0), (60.0, 5.01), (60.01, 12.0)],
            vec![(-40.0, 8.0), (-39.0, 0.001), (20.0, 0.0)],
        ] {
            let table = Table::new(&points).expect("monotone");
            let (first, last) = (points[0].1, points[points.len() - 1].1);
            for k in 0..=2000 {
                let q = first + (last - first) * f64::from(k) / 2000.0;
                let theta = table.inverse(q).expect("measured");
                assert!((table.forward(theta) - q).abs() < 1e-9, "{q} in {points:?}");
            }
        }
    }

    #[test]
    fn faults_are_found_where_they_are() {
        assert_eq!(Table::new(&[(0.0, 0.0)]), Err(TableFault::TooFew));
        assert_eq!(Table::new(&[(0.0, 0.0), (1.0, 2.0), (2.0, 1.0)]), Err(TableFault::FoldsBack(2)));
        assert_eq!(Table::new(&[(0.0, 0.0), (1.0, 2.0), (1.0, 3.0)]), Err(TableFault::AnglesRepeat(2)));
        assert_eq!(Table::new(&[(0.0, 0.0), (1.0, f64::NAN)]), Err(TableFault::NotFinite(1)));
    }

    proptest! {
        #[test]
        fn monotone_and_invertible(
            steps in prop::collection::vec((0.5..30.0f64, 0.01..8.0f64), 1..9), down in any::<bool>(), s in 0.0..1.0f64,
        ) {
            let mut points = vec![(-40.0, 1.0)];
            for (dx, dy) in steps {
                let last = points[points.len() - 1];
                points.push((last.0 + dx, last.1 + if down { -dy } else { dy }));
            }
            let table = Table::new(&points).expect("strictly monotone");
            let (low, high) = table.range();
            let mut previous = None;
            for k in 0..=200 {
                let value = table.forward(low + (high - low) * f64::from(k) / 200.0);
                if let Some(p) = previous {
                    let onwards = if down { value <= p } else { value >= p };
                    prop_assert!(onwards);
                }
                previous = Some(value);
            }
            for end in [points[0], points[points.len() - 1]] {
                let theta = table.inverse(end.1).expect("the ends were measured, too");
                prop_assert!((theta - end.0).abs() < 1e-6);
            }
            let q = points[0].1 + s * (points[points.len() - 1].1 - points[0].1);
            let theta = table.inverse(q).expect("inside");
            prop_assert!((table.forward(theta) - q).abs() < 1e-9);
        }
    }
}
