//! The quadratic programme of servo tracking, as data.

/// Limits of one servo, per controller frame (degrees, degrees per frame, degrees per frame²).
///
/// Infinite speeds and accelerations are allowed and mean "whatever the travel allows".
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrameLimits {
    /// Least angle.
    pub lower: f64,
    /// Greatest angle.
    pub upper: f64,
    /// Greatest increase from one frame to the next, > 0.
    pub up: f64,
    /// Greatest decrease from one frame to the next, > 0.
    pub down: f64,
    /// Greatest second difference, either way, > 0.
    pub acceleration: f64,
}

/// What a servo does outside the frames being solved: two known frames on either side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Surroundings {
    /// Angles at frames -2 and -1.
    pub before: [f64; 2],
    /// Angles at frames `frames` and `frames + 1`.
    pub after: [f64; 2],
}

impl Surroundings {
    /// At rest before and after.
    #[must_use]
    pub fn resting(angle: f64) -> Self {
        Self { before: [angle; 2], after: [angle; 2] }
    }
}

/// A linear row over the angles of one frame, or of neighbouring frames (at most one apart):
/// `lower ≤ Σ coefficient · angle ≤ upper`.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// (frame, servo, coefficient); not empty.
    pub terms: Vec<(usize, usize, f64)>,
    /// Lower bound, or -∞.
    pub lower: f64,
    /// Upper bound, or +∞.
    pub upper: f64,
    /// Price per unit of breach. `None`: the row may not be breached.
    ///
    /// The price is linear, hence *exact*: where the row can be met at a marginal cost below the
    /// price, it is met fully (R. Fletcher, *Practical Methods of Optimization*, exact penalties).
    pub price: Option<f64>,
}

/// Off-diagonal tracking weight between two servos that share degrees of freedom.
#[derive(Clone, Debug, PartialEq)]
pub struct CrossWeight {
    /// The two servos, different.
    pub servos: (usize, usize),
    /// One value a frame; `[w1, x; x, w2]` must stay positive semidefinite.
    pub weight: Vec<f64>,
}

/// Tracking of `width` servos over `frames` controller frames.
///
/// Minimises
/// ```text
/// Σt (θt − rt)ᵀ Wt (θt − rt)  +  Σt,c smooth_c (Δ²θ)²  +  Σt,c jerk_c (Δ³θ)²  +  Σ price · breach
/// ```
/// subject to the limits of every servo at every frame and to the rows; differences run over the
/// known frames on either side too, and the third difference takes the second to be 0 beyond them.
/// Arrays are frame-major: entry `t · width + c`.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// Number of free frames; at least 1.
    pub frames: usize,
    /// Number of servos solved together; at least 1.
    pub width: usize,
    /// Wanted angles, degrees.
    pub wanted: Vec<f64>,
    /// Weights of the squared distance to the wanted angles, ≥ 0.
    pub weight: Vec<f64>,
    /// Off-diagonal weights.
    pub cross: Vec<CrossWeight>,
    /// Weight of the squared second difference, per servo, ≥ 0.
    pub smooth: Vec<f64>,
    /// Weight of the squared third difference, per servo, ≥ 0.
    pub jerk: Vec<f64>,
    /// Limits, per servo.
    pub limits: Vec<FrameLimits>,
    /// Known frames on either side, per servo.
    pub surroundings: Vec<Surroundings>,
    /// Further linear rows.
    pub rows: Vec<Row>,
}

/// Input that the solver refuses.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ProblemError {
    /// No frame or no servo.
    #[error("a tracking problem needs at least one frame and one servo")]
    Empty,
    /// An array does not have the length its meaning fixes.
    #[error("{what} holds {found} values where {expected} are needed")]
    Length {
        /// Which array.
        what: &'static str,
        /// Its length.
        found: usize,
        /// The length it must have.
        expected: usize,
    },
    /// NaN, an infinity where none is allowed, a negative weight, a limit that is not positive.
    #[error("{what} of servo {servo} is {value}; it must be {must}")]
    Value {
        /// Which quantity.
        what: &'static str,
        /// Position of the servo in the problem.
        servo: usize,
        /// The offending number.
        value: f64,
        /// What is allowed.
        must: &'static str,
    },
    /// A row that names a frame or servo that does not exist, spans too many frames, or whose
    /// bounds exclude each other.
    #[error("row {row}: {what}")]
    Row {
        /// Position in `rows`.
        row: usize,
        /// What is wrong.
        what: &'static str,
    },
}

impl Problem {
    /// One servo, everything else at its simplest: unit weights, no smoothing, at rest at `rest`.
    #[must_use]
    pub fn single(wanted: Vec<f64>, limits: FrameLimits, rest: f64) -> Self {
        let frames = wanted.len();
        Self {
            frames,
            width: 1,
            weight: vec![1.0; frames],
            wanted,
            cross: Vec::new(),
            smooth: vec![0.0],
            jerk: vec![0.0],
            limits: vec![limits],
            surroundings: vec![Surroundings::resting(rest)],
            rows: Vec::new(),
        }
    }

    /// Value of the objective at `angles` (frame-major), breaches of priced rows included.
    #[must_use]
    pub fn objective(&self, angles: &[f64]) -> f64 {
        let m = self.width;
        let mut sum = self.tracking(angles);
        for row in &self.rows {
            if let Some(price) = row.price {
                let v: f64 = row.terms.iter().map(|&(t, c, k)| k * angles[t * m + c]).sum();
                sum += price * ((v - row.upper).max(0.0) + (row.lower - v).max(0.0));
            }
        }
        sum
    }

    /// The quadratic part of the objective: everything but breaches.
    pub(super) fn tracking(&self, angles: &[f64]) -> f64 {
        let (n, m) = (self.frames, self.width);
        let mut sum = 0.0;
        for i in 0..n * m {
            let e = angles[i] - self.wanted[i];
            sum += self.weight[i] * e * e;
        }
        for cross in &self.cross {
            let (a, b) = cross.servos;
            for t in 0..n {
                let ea = angles[t * m + a] - self.wanted[t * m + a];
                let eb = angles[t * m + b] - self.wanted[t * m + b];
                sum += 2.0 * cross.weight[t] * ea * eb;
            }
        }
        for c in 0..m {
            let at = |t: usize| self.extended(angles, t, c);
            if self.smooth[c] > 0.0 {
                for t in 2..n + 4 {
                    let d = at(t) - 2.0 * at(t - 1) + at(t - 2);
                    sum += self.smooth[c] * d * d;
                }
            }
            if self.jerk[c] > 0.0 {
                let second = |t: usize| at(t) - 2.0 * at(t - 1) + at(t - 2);
                for t in 3..n + 4 {
                    let d = second(t) - second(t - 1);
                    sum += self.jerk[c] * d * d;
                }
                sum += self.jerk[c] * (second(2).powi(2) + second(n + 3).powi(2));
            }
        }
        sum
    }

    /// Angle of servo `c` at extended frame `t`: 0 and 1 are the known frames before.
    pub(super) fn extended(&self, angles: &[f64], t: usize, c: usize) -> f64 {
        let around = &self.surroundings[c];
        if t < 2 {
            around.before[t]
        } else if t < self.frames + 2 {
            angles[(t - 2) * self.width + c]
        } else {
            around.after[t - self.frames - 2]
        }
    }

    /// Greatest breach of a servo's own limits at `angles`, relative to its range (0 = none).
    #[must_use]
    pub fn worst_breach_of_servos(&self, angles: &[f64]) -> f64 {
        let (n, m) = (self.frames, self.width);
        let mut worst: f64 = 0.0;
        for c in 0..m {
            let l = self.bounded_limits(c);
            let at = |t: usize| self.extended(angles, t, c);
            for t in 2..n + 4 {
                let v = at(t);
                let range = (l.upper - l.lower).max(1e-9);
                if t < n + 2 {
                    worst = worst.max((v - l.upper) / range).max((l.lower - v) / range);
                }
                let d = v - at(t - 1);
                if t < n + 3 {
                    worst = worst.max((d - l.up) / l.up).max((-d - l.down) / l.down);
                }
                let dd = d - (at(t - 1) - at(t - 2));
                worst = worst.max((dd.abs() - l.acceleration) / l.acceleration);
            }
        }
        worst
    }

    /// Greatest breach of a hard limit or hard row at `angles`, relative to its range (0 = none).
    #[must_use]
    pub fn worst_breach(&self, angles: &[f64]) -> f64 {
        let m = self.width;
        let mut worst = self.worst_breach_of_servos(angles);
        for row in &self.rows {
            if row.price.is_none() {
                let v: f64 = row.terms.iter().map(|&(t, c, k)| k * angles[t * m + c]).sum();
                let range = if row.lower.is_finite() && row.upper.is_finite() {
                    (row.upper - row.lower).max(1e-9)
                } else {
                    1.0
                };
                worst = worst.max((v - row.upper) / range).max((row.lower - v) / range);
            }
        }
        worst
    }

    /// Limits with infinities replaced by the finite number that the travel implies.
    pub(super) fn bounded_limits(&self, c: usize) -> FrameLimits {
        let l = self.limits[c];
        let around = &self.surroundings[c];
        let mut span = l.upper - l.lower;
        for v in around.before.into_iter().chain(around.after) {
            span = span.max(v - l.lower).max(l.upper - v);
        }
        let step = span + 1.0;
        FrameLimits {
            up: l.up.min(step),
            down: l.down.min(step),
            acceleration: l.acceleration.min(2.0 * step),
            ..l
        }
    }

    pub(super) fn validate(&self) -> Result<(), ProblemError> {
        let (n, m) = (self.frames, self.width);
        if n == 0 || m == 0 {
            return Err(ProblemError::Empty);
        }
        for (what, found, expected) in [
            ("wanted", self.wanted.len(), n * m),
            ("weight", self.weight.len(), n * m),
            ("smooth", self.smooth.len(), m),
            ("jerk", self.jerk.len(), m),
            ("limits", self.limits.len(), m),
            ("surroundings", self.surroundings.len(), m),
        ] {
            if found != expected {
                return Err(ProblemError::Length { what, found, expected });
            }
        }
        let value = |what, servo, value: f64, ok: bool, must| {
            if ok { Ok(()) } else { Err(ProblemError::Value { what, servo, value, must }) }
        };
        const WEIGHT: &str = "finite and not negative";
        for (i, (&r, &w)) in self.wanted.iter().zip(&self.weight).enumerate() {
            value("wanted angle", i % m, r, r.is_finite(), "finite")?;
            value("weight", i % m, w, w.is_finite() && w >= 0.0, WEIGHT)?;
        }
        for c in 0..m {
            let (s, j, l) = (self.smooth[c], self.jerk[c], &self.limits[c]);
            value("smoothness weight", c, s, s.is_finite() && s >= 0.0, WEIGHT)?;
            value("jerk weight", c, j, j.is_finite() && j >= 0.0, WEIGHT)?;
            value("lower limit", c, l.lower, l.lower.is_finite(), "finite")?;
            value("upper limit", c, l.upper, l.upper.is_finite(), "finite")?;
            value("travel", c, l.upper - l.lower, l.upper >= l.lower, "not negative")?;
            value("speed limit", c, l.up, l.up > 0.0, "positive")?;
            value("speed limit", c, l.down, l.down > 0.0, "positive")?;
            value("acceleration limit", c, l.acceleration, l.acceleration > 0.0, "positive")?;
            let around = &self.surroundings[c];
            for v in around.before.into_iter().chain(around.after) {
                value("known angle", c, v, v.is_finite(), "finite")?;
            }
        }
        for cross in &self.cross {
            let (a, b) = cross.servos;
            if cross.weight.len() != n {
                return Err(ProblemError::Length {
                    what: "cross weight",
                    found: cross.weight.len(),
                    expected: n,
                });
            }
            if a >= m || b >= m || a == b {
                return Err(ProblemError::Length {
                    what: "cross weight servos",
                    found: a.max(b),
                    expected: m,
                });
            }
            for (t, &x) in cross.weight.iter().enumerate() {
                let bound = self.weight[t * m + a] * self.weight[t * m + b];
                let ok = x.is_finite() && x * x <= bound * (1.0 + 1e-9) + 1e-300;
                value("cross weight", a, x, ok, "finite and at most the root of the two weights' product")?;
            }
        }
        for (index, row) in self.rows.iter().enumerate() {
            let fault = |what| ProblemError::Row { row: index, what };
            let Some(first) = row.terms.iter().map(|t| t.0).min() else {
                return Err(fault("has no terms"));
            };
            for &(t, c, k) in &row.terms {
                if t >= n || c >= m {
                    return Err(fault("names a frame or servo outside the problem"));
                }
                if t - first > 1 {
                    return Err(fault("spans more than two frames"));
                }
                if !k.is_finite() {
                    return Err(fault("has a coefficient that is not finite"));
                }
            }
            // A bound that is no number excludes everything, too.
            if !(row.lower <= row.upper) {
                return Err(fault("has bounds that exclude each other"));
            }
            if row.lower == f64::INFINITY || row.upper == f64::NEG_INFINITY {
                return Err(fault("has bounds that exclude each other"));
            }
            if row.price.is_some_and(|p| !(p.is_finite() && p > 0.0)) {
                return Err(fault("has a price that is not positive and finite"));
            }
        }
        Ok(())
    }
}
