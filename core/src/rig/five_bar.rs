//! Two-servo planar five-bar: one mouth corner anywhere in its plane.

use super::KinematicError;
use serde::{Deserialize, Serialize};

const NAME: &str = "five-bar";

/// Which way the two elbows point, seen with the linkage's x axis to the right and y up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Elbows {
    /// Away from each other (the usual corner linkage).
    Out,
    /// Towards each other.
    In,
    /// Both to the left, seen from the axle looking at the tip.
    Left,
    /// Both to the right.
    Right,
}

impl Elbows {
    /// Every way, in file order.
    pub const ALL: [Self; 4] = [Self::Out, Self::In, Self::Left, Self::Right];

    /// Name in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Out => "out",
            Self::In => "in",
            Self::Left => "left",
            Self::Right => "right",
        }
    }

    /// +1 where the elbow lies to the left of the line axle → tip, per arm.
    const fn signs(self) -> [f64; 2] {
        match self {
            Self::Out => [1.0, -1.0],
            Self::In => [-1.0, 1.0],
            Self::Left => [1.0, 1.0],
            Self::Right => [-1.0, -1.0],
        }
    }
}

/// Two cranks on fixed servos and two rods that meet at the driven point.
///
/// ```text
///                P (driven point)
///              ↗   ↖
///       rod b ╱     ╲ rod b
///            ╱       ╲
///       E1  ●         ●  E2          y
///   crank a  ╲       ╱  crank a      ↑
///        α1 ↺ o─────o ↺ α2           └─→ x   linkage frame, mm
///             A1    A2
///            (0,0)  (L,0)
/// ```
///
/// Crank angles α are measured from +x towards +y, in degrees. With both servos at their neutral
/// pulse the point sits at `rest` (linkage frame); that fixes the crank angles there, and
/// α_i = α_i(rest) + θ_i. The face sees q = R(`rotation`) · (P − `rest`): x outward from the midline,
/// y up. A linkage on the right of the head is the mirror image of one on the left: describe it in a
/// frame whose x also points outward (it turns the other way when seen from the front) and give its
/// servos the opposite sign of µs per degree.
///
/// Closed form is circle intersection; the singularity classes are those of C. Gosselin and
/// J. Angeles (1990): an arm straight or folded (first kind), the rods in line (second kind).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FiveBar {
    /// Distance L between the two axles, mm.
    pub base: f64,
    /// Crank length a, mm.
    pub proximal: f64,
    /// Rod length b, mm.
    pub distal: f64,
    /// Which way the elbows point.
    pub elbows: Elbows,
    /// The point at neutral pulses, linkage frame, mm.
    pub rest: [f64; 2],
    /// Degrees by which the linkage frame is turned to give the face's (outward, up).
    pub rotation: f64,
    /// Width of the cranks, mm, where they lie in one layer and must not meet; 0 where they do not.
    /// (The rods meet at the tip and so always lie in two layers.)
    pub link_width: f64,
    cranks_at_rest: [f64; 2],
    tip_side: f64,
}

/// Where every joint of a five-bar is, in its linkage frame, for drawing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FiveBarJoints {
    /// Axles A1, A2.
    pub axles: [[f64; 2]; 2],
    /// Elbows E1, E2.
    pub elbows: [[f64; 2]; 2],
    /// Driven point P.
    pub tip: [f64; 2],
}

impl FiveBar {
    /// Degrees kept from straight arms and from rods in line.
    pub const MIN_CLEARANCE: f64 = 8.0;

    /// Builds the linkage and finds its crank angles at the rest point.
    ///
    /// # Errors
    /// Where the rest point is out of reach or too near a singular configuration.
    pub fn new(
        base: f64,
        proximal: f64,
        distal: f64,
        elbows: Elbows,
        rest: [f64; 2],
        rotation: f64,
    ) -> Result<Self, KinematicError> {
        let mut bar = Self {
            base,
            proximal,
            distal,
            elbows,
            rest,
            rotation,
            link_width: 0.0,
            cranks_at_rest: [0.0; 2],
            tip_side: 1.0,
        };
        bar.cranks_at_rest = bar.cranks_to(rest)?;
        bar.tip_side = bar.side_of(bar.cranks_at_rest, rest);
        let clearance = bar.clearance([0.0; 2]);
        if clearance < Self::MIN_CLEARANCE {
            return Err(KinematicError::Singular { linkage: NAME, clearance, needed: Self::MIN_CLEARANCE });
        }
        Ok(bar)
    }

    /// Crank angles in degrees that put the point at `p` (linkage frame) with these elbows.
    fn cranks_to(&self, p: [f64; 2]) -> Result<[f64; 2], KinematicError> {
        let (a, b) = (self.proximal, self.distal);
        let signs = self.elbows.signs();
        let mut cranks = [0.0; 2];
        for i in 0..2 {
            let dx = p[0] - if i == 0 { 0.0 } else { self.base };
            let d = dx.hypot(p[1]);
            if !d.is_finite() {
                return Err(KinematicError::NotFinite { linkage: NAME, value: d });
            }
            let cosine = (a * a + d * d - b * b) / (2.0 * a * d);
            if !(cosine.abs() <= 1.0) {
                let (min, max) = ((a - b).abs(), a + b);
                return Err(KinematicError::Unreachable { linkage: NAME, wanted: d, min, max });
            }
            cranks[i] = (p[1].atan2(dx) + signs[i] * cosine.acos()).to_degrees();
        }
        Ok(cranks)
    }

    fn elbow_points(&self, cranks: [f64; 2]) -> [[f64; 2]; 2] {
        let point = |x0: f64, deg: f64| {
            let (s, c) = deg.to_radians().sin_cos();
            [x0 + self.proximal * c, self.proximal * s]
        };
        [point(0.0, cranks[0]), point(self.base, cranks[1])]
    }

    /// +1 where the tip lies to the left of E1 → E2.
    fn side_of(&self, cranks: [f64; 2], p: [f64; 2]) -> f64 {
        let [e1, e2] = self.elbow_points(cranks);
        let cross = (e2[0] - e1[0]) * (p[1] - e1[1]) - (e2[1] - e1[1]) * (p[0] - e1[0]);
        cross.signum()
    }

    /// Crank angles for servo angles θ, each turned to lie near its rest angle.
    fn cranks(&self, theta: [f64; 2]) -> [f64; 2] {
        [self.cranks_at_rest[0] + theta[0], self.cranks_at_rest[1] + theta[1]]
    }

    /// Joints for servo angles; where the links do not meet, the tip is put between the elbows.
    #[must_use]
    pub fn joints(&self, theta: [f64; 2]) -> FiveBarJoints {
        let elbows = self.elbow_points(self.cranks(theta));
        let [e1, e2] = elbows;
        let (dx, dy) = (e2[0] - e1[0], e2[1] - e1[1]);
        let d = dx.hypot(dy).max(1e-12);
        let h = (self.distal * self.distal - 0.25 * d * d).max(0.0).sqrt().copysign(self.tip_side);
        let tip = [0.5 * (e1[0] + e2[0]) - h * dy / d, 0.5 * (e1[1] + e2[1]) + h * dx / d];
        FiveBarJoints { axles: [[0.0, 0.0], [self.base, 0.0]], elbows, tip }
    }

    fn face(&self, p: [f64; 2]) -> [f64; 2] {
        let (s, c) = self.rotation.to_radians().sin_cos();
        let (dx, dy) = (p[0] - self.rest[0], p[1] - self.rest[1]);
        [c * dx - s * dy, s * dx + c * dy]
    }

    fn linkage(&self, q: [f64; 2]) -> [f64; 2] {
        let (s, c) = self.rotation.to_radians().sin_cos();
        [self.rest[0] + c * q[0] + s * q[1], self.rest[1] - s * q[0] + c * q[1]]
    }

    pub(crate) fn forward(&self, theta: [f64; 2]) -> [f64; 2] {
        self.face(self.joints(theta).tip)
    }

    pub(crate) fn inverse(&self, q: [f64; 2]) -> Result<[f64; 2], KinematicError> {
        let p = self.linkage(q);
        let cranks = self.cranks_to(p)?;
        if self.side_of(cranks, p) != self.tip_side {
            return Err(KinematicError::OtherAssembly { linkage: NAME });
        }
        let mut theta = [0.0; 2];
        for i in 0..2 {
            let turn = cranks[i] - self.cranks_at_rest[i];
            theta[i] = turn - (turn / 360.0).round() * 360.0;
        }
        self.check(theta)?;
        Ok(theta)
    }

    /// ∂q/∂θ, rows q (x outward, y up), columns servo; mm per servo degree.
    ///
    /// From b² = |P − E_i|²: (P − E_i)·dP = (P − E_i)·dE_i for both arms.
    pub(crate) fn jacobian(&self, theta: [f64; 2]) -> [[f64; 2]; 2] {
        let FiveBarJoints { elbows, tip, .. } = self.joints(theta);
        let cranks = self.cranks(theta);
        let mut rods = [[0.0; 2]; 2];
        let mut rates = [0.0; 2];
        for i in 0..2 {
            rods[i] = [tip[0] - elbows[i][0], tip[1] - elbows[i][1]];
            let (s, c) = cranks[i].to_radians().sin_cos();
            rates[i] = self.proximal * (-s * rods[i][0] + c * rods[i][1]) * std::f64::consts::PI / 180.0;
        }
        let det = rods[0][0] * rods[1][1] - rods[0][1] * rods[1][0];
        // In line the point can move without the cranks: the derivative does not exist. Zero keeps
        // callers finite; `check` is what refuses the configuration.
        if det.abs() < 1e-12 {
            return [[0.0; 2]; 2];
        }
        let plane = [
            [rods[1][1] * rates[0] / det, -rods[0][1] * rates[1] / det],
            [-rods[1][0] * rates[0] / det, rods[0][0] * rates[1] / det],
        ];
        let (s, c) = self.rotation.to_radians().sin_cos();
        [
            [c * plane[0][0] - s * plane[1][0], c * plane[0][1] - s * plane[1][1]],
            [s * plane[0][0] + c * plane[1][0], s * plane[0][1] + c * plane[1][1]],
        ]
    }

    /// Degrees from the nearest singular configuration: straight or folded arm, or rods in line.
    ///
    /// Negative where an arm or the rods have passed through it (another assembly than at rest).
    pub(crate) fn clearance(&self, theta: [f64; 2]) -> f64 {
        let FiveBarJoints { axles, elbows, tip } = self.joints(theta);
        let signs = self.elbows.signs();
        // Signed angle from u to v turned so that it is positive in this assembly.
        let angle = |u: [f64; 2], v: [f64; 2], sign: f64| {
            let turn = sign * (u[0] * v[1] - u[1] * v[0]).atan2(u[0] * v[0] + u[1] * v[1]).to_degrees();
            if turn >= 0.0 { turn.min(180.0 - turn) } else { turn.max(-180.0 - turn) }
        };
        let from = |a: [f64; 2], b: [f64; 2]| [b[0] - a[0], b[1] - a[1]];
        let mut least = f64::INFINITY;
        for i in 0..2 {
            // Elbow to the left of axle → tip means the rod turns right relative to the crank.
            least = least.min(angle(from(axles[i], elbows[i]), from(elbows[i], tip), -signs[i]));
        }
        least.min(angle(from(elbows[0], tip), from(elbows[1], tip), self.tip_side))
    }

    /// Whether the links meet, in the assembly they have at rest, clear of singular configurations.
    pub(crate) fn check(&self, theta: [f64; 2]) -> Result<(), KinematicError> {
        for value in theta {
            if !value.is_finite() {
                return Err(KinematicError::NotFinite { linkage: NAME, value });
            }
        }
        let [e1, e2] = self.elbow_points(self.cranks(theta));
        let distance = (e2[0] - e1[0]).hypot(e2[1] - e1[1]);
        let bridge = 2.0 * self.distal;
        if distance > bridge {
            return Err(KinematicError::NotAssemblable { linkage: NAME, distance, bridge });
        }
        let clearance = self.clearance(theta);
        if clearance < Self::MIN_CLEARANCE {
            return Err(KinematicError::Singular { linkage: NAME, clearance, needed: Self::MIN_CLEARANCE });
        }
        let gap = self.crank_gap(theta);
        if gap < self.link_width {
            return Err(KinematicError::Collision { linkage: NAME, gap, needed: self.link_width });
        }
        Ok(())
    }

    /// The same linkage with cranks of this width in one layer.
    ///
    /// # Errors
    /// Where they already meet at the rest point.
    pub fn with_link_width(mut self, link_width: f64) -> Result<Self, KinematicError> {
        self.link_width = link_width;
        self.check([0.0; 2])?;
        Ok(self)
    }

    /// Least distance between the two cranks, mm; 0 where they cross. In one layer, links need
    /// their own width of it.
    #[must_use]
    pub fn crank_gap(&self, theta: [f64; 2]) -> f64 {
        let FiveBarJoints { axles, elbows, .. } = self.joints(theta);
        segment_gap(axles[0], elbows[0], axles[1], elbows[1])
    }
}

/// Least distance between segments `ab` and `cd`.
fn segment_gap(a: [f64; 2], b: [f64; 2], c: [f64; 2], d: [f64; 2]) -> f64 {
    let cross =
        |o: [f64; 2], p: [f64; 2], q: [f64; 2]| (p[0] - o[0]) * (q[1] - o[1]) - (p[1] - o[1]) * (q[0] - o[0]);
    let parts = |x: f64, y: f64| x.signum() != y.signum();
    let crossing = parts(cross(a, b, c), cross(a, b, d)) && parts(cross(c, d, a), cross(c, d, b));
    if crossing {
        return 0.0;
    }
    let to_segment = |p: [f64; 2], a: [f64; 2], b: [f64; 2]| {
        let (ux, uy) = (b[0] - a[0], b[1] - a[1]);
        let length2 = ux * ux + uy * uy;
        let t = (((p[0] - a[0]) * ux + (p[1] - a[1]) * uy) / length2).clamp(0.0, 1.0);
        (p[0] - a[0] - t * ux).hypot(p[1] - a[1] - t * uy)
    };
    to_segment(a, c, d).min(to_segment(b, c, d)).min(to_segment(c, a, b)).min(to_segment(d, a, b))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn worked(rest: [f64; 2]) -> FiveBar {
        FiveBar::new(40.0, 20.0, 35.0, Elbows::Out, rest, 0.0).expect("assembles")
    }

    /// L = 40, a = 20, b = 35 mm, elbows out (circle intersection; numbers computed independently
    /// of this code).
    #[test]
    fn worked_example_inverse() {
        let bar = worked([20.0, 40.0]);
        for (p, t1, t2, e1, e2) in [
            (
                [20.0, 40.0],
                112.375_255_1,
                67.624_744_9,
                [-7.613_421_0, 18.494_210_5],
                [47.613_421_0, 18.494_210_5],
            ),
            (
                [25.0, 38.0],
                103.524_037_4,
                52.637_469_5,
                [-4.677_065_7, 19.445_437_9],
                [52.137_123_8, 15.896_233_1],
            ),
            (
                [12.0, 42.0],
                125.750_186_0,
                92.267_643_2,
                [-11.685_046_0, 16.231_441_7],
                [39.208_649_8, 19.984_338_0],
            ),
        ] {
            let cranks = bar.cranks_to(p).expect("reachable");
            assert!((cranks[0] - t1).abs() < 1e-6 && (cranks[1] - t2).abs() < 1e-6, "{cranks:?}");
            let elbows = bar.elbow_points(cranks);
            for (got, want) in [(elbows[0], e1), (elbows[1], e2)] {
                assert!((got[0] - want[0]).abs() < 1e-6 && (got[1] - want[1]).abs() < 1e-6);
            }
        }
    }

    #[test]
    fn worked_example_forward_and_velocity() {
        let bar = worked([20.0, 40.0]);
        let theta = |a: f64, b: f64| [a - bar.cranks_at_rest[0], b - bar.cranks_at_rest[1]];
        let tip = bar.joints(theta(120.0, 60.0)).tip;
        assert!((tip[0] - 20.0).abs() < 1e-7 && (tip[1] - 35.348_264_5).abs() < 1e-7);
        assert!((tip[1] - (10.0 * 3f64.sqrt() + 325f64.sqrt())).abs() < 1e-9);
        let tip = bar.joints(theta(135.0, 50.0)).tip;
        assert!((tip[0] - 19.178_734_4).abs() < 1e-7 && (tip[1] - 24.852_860_1).abs() < 1e-7);
        let j = bar.jacobian(theta(135.0, 50.0));
        let per_radian = 180.0 / std::f64::consts::PI;
        for (got, want) in [
            (j[0][0], -8.750_407_1),
            (j[0][1], -10.082_020_6),
            (j[1][0], -30.915_705_6),
            (j[1][1], 31.364_983_6),
        ] {
            assert!((got * per_radian - want).abs() < 1e-6, "{} against {want}", got * per_radian);
        }
    }

    #[test]
    fn named_errors_for_the_impossible() {
        let bar = worked([20.0, 40.0]);
        let theta = [180.0 - bar.cranks_at_rest[0], 0.0 - bar.cranks_at_rest[1]];
        assert!(
            matches!(bar.check(theta), Err(KinematicError::NotAssemblable { distance, .. }) if (distance - 80.0).abs() < 1e-9)
        );
        // Straight arms on the centre line at y = 51.2347538.
        assert!(matches!(bar.inverse([0.0, 11.15]), Err(KinematicError::Singular { .. })));
        // A crank of 20 and a rod of 35 mm reach from 15 to 55 mm.
        let far = bar.inverse([0.0, 11.3]);
        assert!(
            matches!(far, Err(KinematicError::Unreachable { min, max, .. }) if min == 15.0 && max == 55.0),
            "{far:?}"
        );
        assert!(matches!(bar.inverse([f64::NAN, 0.0]), Err(KinematicError::NotFinite { .. })));
    }

    /// Judge: the law of cosines. A crank and its rod are in line where the axle is a + b or |a − b| from the
    /// tip; the rods are where the elbows are 2b apart, or together.
    #[test]
    fn clearance_is_by_the_law_of_cosines() {
        let bar = worked([20.0, 40.0]);
        let opposite = |u: f64, v: f64, w: f64| ((u * u + v * v - w * w) / (2.0 * u * v)).acos().to_degrees();
        let in_line = |angle: f64| angle.min(180.0 - angle);
        for p in [[20.0, 40.0], [12.0, 42.0], [25.0, 38.0], [30.0, 30.0], [6.0, 38.0]] {
            let theta = bar.inverse([p[0] - 20.0, p[1] - 40.0]).expect("reachable");
            let FiveBarJoints { elbows, .. } = bar.joints(theta);
            let apart = (elbows[1][0] - elbows[0][0]).hypot(elbows[1][1] - elbows[0][1]);
            let arms = [0.0, 40.0].map(|x| in_line(opposite(20.0, 35.0, (p[0] - x).hypot(p[1]))));
            let expected = arms[0].min(arms[1]).min(in_line(opposite(35.0, 35.0, apart)));
            let clearance = bar.clearance(theta);
            assert!((clearance - expected).abs() < 1e-9, "{p:?}: {clearance} and not {expected}");
        }
    }

    /// Left and right as seen from the axle towards the tip.
    #[test]
    fn elbows_lie_where_their_name_says() {
        let names = Elbows::ALL.map(Elbows::name);
        assert_eq!(names, ["out", "in", "left", "right"]);
        let sides = [[1.0, -1.0], [-1.0, 1.0], [1.0, 1.0], [-1.0, -1.0]];
        for (elbows, sides) in Elbows::ALL.into_iter().zip(sides) {
            let bar = FiveBar::new(30.0, 20.0, 40.0, elbows, [8.0, 38.0], 0.0).expect("assembles");
            let FiveBarJoints { axles, elbows: at, tip } = bar.joints([0.0, 0.0]);
            for i in 0..2 {
                let (u, v) = (tip[0] - axles[i][0], tip[1] - axles[i][1]);
                let side = u * (at[i][1] - axles[i][1]) - v * (at[i][0] - axles[i][0]);
                assert_eq!(side.signum(), sides[i], "{} arm {i}", elbows.name());
            }
        }
    }

    /// Behind both axles, where angles jump from 180° to −180°: a small move stays a small turn.
    #[test]
    fn a_small_move_behind_the_axles_is_a_small_turn() {
        let bar = FiveBar::new(10.0, 20.0, 35.0, Elbows::Out, [-25.0, 1.0], 0.0).expect("assembles");
        for y in [-4.0, -2.0, 2.0] {
            let theta = bar.inverse([0.0, y]).expect("reachable");
            assert!(theta.iter().all(|t| t.abs() < 30.0), "{theta:?} for {y} mm");
            assert!((bar.forward(theta)[1] - y).abs() < 1e-9);
        }
    }

    /// Too far apart for the rods, the drawing puts the tip between the elbows: the rods are in line, and the
    /// point has no velocity that the cranks decide.
    #[test]
    fn rods_in_line_have_no_slope() {
        let bar = worked([20.0, 40.0]);
        let apart = [180.0 - bar.cranks_at_rest[0], 0.0 - bar.cranks_at_rest[1]];
        assert_eq!(bar.jacobian(apart), [[0.0; 2]; 2]);
    }

    /// Elbows at (-10, 17.32) and (60, 0): a line that falls.
    #[test]
    fn the_tips_side_is_that_of_the_line_through_the_elbows() {
        let bar = worked([20.0, 40.0]);
        let (cranks, high) = ([120.0, 0.0], 300f64.sqrt());
        for (x, above) in [(-30.0, 1.0), (-30.0, -1.0), (0.0, 3.0), (25.0, -2.0), (25.0, 2.0), (80.0, -0.5)] {
            let on_line = high - high / 70.0 * (x + 10.0);
            let side = bar.side_of(cranks, [x, on_line + above]);
            assert_eq!(side, f64::signum(above), "{above} mm above the line at x = {x}");
        }
    }

    /// Beyond a singular configuration the angle counts negative, and again to the next one: no two
    /// links are ever more than 90 degrees from being in line.
    #[test]
    fn clearance_stays_within_a_right_angle() {
        let bar = worked([20.0, 40.0]);
        let mut least = f64::INFINITY;
        for a in (-180..180).step_by(5) {
            for b in (-180..180).step_by(5) {
                let clearance = bar.clearance([f64::from(a), f64::from(b)]);
                assert!((-90.0..=90.0).contains(&clearance), "{clearance} at {a}, {b}");
                least = least.min(clearance);
            }
        }
        assert!(least < -45.0, "passed through a singular configuration: {least}");
    }

    #[test]
    fn mirror_symmetry() {
        let bar = worked([20.0, 40.0]);
        let tip = bar.joints([10.0, -3.0]).tip;
        let mirrored = bar.joints([3.0, -10.0]).tip;
        assert!((tip[0] - (40.0 - mirrored[0])).abs() < 1e-9 && (tip[1] - mirrored[1]).abs() < 1e-9);
    }

    #[test]
    fn cranks_that_cross_have_no_gap() {
        let bar = FiveBar::new(20.0, 25.0, 40.0, Elbows::In, [10.0, 45.0], 0.0).expect("assembles");
        assert_eq!(bar.crank_gap([0.0, 0.0]), 0.0);
        let apart = worked([20.0, 40.0]).crank_gap([0.0, 0.0]);
        assert!((apart - 40.0).abs() < 1e-9, "feet are nearest when elbows point out: {apart}");
    }

    #[test]
    fn wide_cranks_in_one_layer_collide() {
        // Cranks that lean towards each other, and more so when the tip comes down.
        let bar = FiveBar::new(44.0, 14.0, 40.0, Elbows::In, [22.0, 48.0], 0.0).expect("assembles");
        let gap = bar.crank_gap([0.0, 0.0]);
        assert!(gap > 1.0 && gap < 44.0, "{gap}");
        assert!(matches!(bar.with_link_width(gap + 0.1), Err(KinematicError::Collision { .. })));
        let wide = bar.with_link_width(gap - 0.1).expect("just passes at rest");
        let nearer = [-20.0, 20.0];
        assert!(bar.check(nearer).is_ok() && bar.crank_gap(nearer) < gap);
        assert!(matches!(wide.check(nearer), Err(KinematicError::Collision { .. })));
    }

    proptest! {
        /// Judge: both segments cut into a hundred pieces, every pair of ends measured.
        #[test]
        fn the_gap_of_segments_is_that_of_their_points(
            ends in prop::array::uniform4(prop::array::uniform2(-20.0..20.0f64)), point in any::<bool>(),
        ) {
            let [a, b, c, d] = if point { [ends[0], ends[0], ends[2], ends[3]] } else { ends };
            let at = |p: [f64; 2], q: [f64; 2], k: usize| {
                let s = k as f64 / 100.0;
                [p[0] + s * (q[0] - p[0]), p[1] + s * (q[1] - p[1])]
            };
            let mut least = f64::INFINITY;
            for i in 0..=100 {
                for k in 0..=100 {
                    let (p, q) = (at(a, b, i), at(c, d, k));
                    least = least.min((p[0] - q[0]).hypot(p[1] - q[1]));
                }
            }
            let gap = segment_gap(a, b, c, d);
            // Between two measured points lies at most half a piece of each segment.
            let pieces = (b[0] - a[0]).hypot(b[1] - a[1]) + (d[0] - c[0]).hypot(d[1] - c[1]);
            prop_assert!(gap <= least + 1e-9 && gap >= least - 0.005 * pieces - 1e-9, "{} against {}", gap, least);
        }
    }

    proptest! {
        // Random links often do not assemble: most of the draws are thrown away.
        #![proptest_config(ProptestConfig { max_global_rejects: 20_000, ..ProptestConfig::default() })]
        #[test]
        fn forward_undoes_inverse(
            base in 0.0..60.0f64, a in 8.0..25.0f64, b in 15.0..60.0f64, mode in 0usize..4,
            rx in -40.0..80.0f64, ry in -60.0..60.0f64, rotation in -180.0..180.0f64,
            dx in -15.0..15.0f64, dy in -15.0..15.0f64,
        ) {
            let bar = FiveBar::new(base, a, b, Elbows::ALL[mode], [rx, ry], rotation);
            prop_assume!(bar.is_ok());
            let bar = bar.expect("just checked");
            let rest = bar.inverse([0.0, 0.0]).expect("rest is reachable");
            prop_assert!(rest[0].abs() < 1e-9 && rest[1].abs() < 1e-9);
            if let Ok(theta) = bar.inverse([dx, dy]) {
                let q = bar.forward(theta);
                prop_assert!((q[0] - dx).abs() < 1e-9 && (q[1] - dy).abs() < 1e-9, "{:?} for {:?}", q, (dx, dy));
                let h = 1e-5;
                let j = bar.jacobian(theta);
                for s in 0..2 {
                    let (mut up, mut down) = (theta, theta);
                    up[s] += h;
                    down[s] -= h;
                    let (up, down) = (bar.forward(up), bar.forward(down));
                    for row in 0..2 {
                        let difference = (up[row] - down[row]) / (2.0 * h);
                        prop_assert!((j[row][s] - difference).abs() < 1e-5 * (1.0 + difference.abs()));
                    }
                }
            }
        }
    }
}
