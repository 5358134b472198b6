//! Optimal tracking of servo targets under limits, in time linear in the number of frames.
//!
//! [`Problem`] states the quadratic programme; [`solve`] finds its optimum by a primal–dual
//! interior-point method whose every step costs one banded Cholesky factorisation of half
//! bandwidth twice the number of servos solved together. The number of steps hardly depends on the
//! length, so a line costs time in proportion to its length.
//!
//! ```
//! use lipwright_core::motion::solver::{FrameLimits, Problem, Settings, Status, solve};
//!
//! // A step of 10 degrees, for a servo that makes 2 degrees a frame at most.
//! let mut wanted = vec![0.0; 20];
//! wanted[8..].fill(10.0);
//! let limits = FrameLimits { lower: -30.0, upper: 30.0, up: 2.0, down: 2.0, acceleration: 1.0 };
//! let solution = solve(&Problem::single(wanted, limits, 0.0), &Settings::default())?;
//! assert_eq!(solution.status, Status::Solved);
//! assert!(solution.angles.windows(2).all(|w| (w[1] - w[0]).abs() <= 2.0));
//! assert!(solution.gap() < 1e-5 * solution.objective);
//! # Ok::<(), lipwright_core::motion::solver::ProblemError>(())
//! ```

mod band;
mod bound;
mod interior;
mod operator;
mod problem;

pub use bound::lower_bound;
pub use problem::{CrossWeight, FrameLimits, Problem, ProblemError, Row, Surroundings};

/// How hard to work.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Stop when the duality gap is below this share of the objective (default 1e-6).
    pub tolerance: f64,
    /// Give up after this many steps (default 100; 10 to 20 are usual).
    pub max_iterations: usize,
}

impl Default for Settings {
    fn default() -> Self {
        Self { tolerance: 1e-6, max_iterations: 100 }
    }
}

/// How a solve ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// Within the tolerance of the optimum, inside every hard limit.
    Solved,
    /// Inside every hard limit, but stopped before the tolerance was met; the gap says how far.
    IterationLimit,
    /// Inside every hard limit, but arithmetic stopped helping; the gap says how far.
    NumericalTrouble,
    /// No point inside every hard limit was found; `breach` says how far the best is outside.
    Infeasible,
}

/// Multipliers at the solution, upper side minus lower side: positive where an upper limit holds
/// the servo back, negative where a lower one does, about 0 where a limit is idle. Units: objective
/// per degree.
#[derive(Clone, Debug, PartialEq)]
pub struct Duals {
    /// Of the travel, `frames × width`.
    pub travel: Vec<f64>,
    /// Of the first differences, `(frames + 1) × width`; entry `t` is the move into frame `t`.
    pub speed: Vec<f64>,
    /// Of the second differences, `(frames + 2) × width`; entry `t` is centred on frame `t − 1`.
    pub acceleration: Vec<f64>,
    /// Of the further rows, in their order.
    pub rows: Vec<f64>,
}

/// The optimum, or the best that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// Angles, frame-major.
    pub angles: Vec<f64>,
    /// Objective there.
    pub objective: f64,
    /// A proven lower bound on the objective of every point inside the limits.
    pub bound: f64,
    /// Greatest breach of a hard limit, relative to its range; 0 or less when inside.
    pub breach: f64,
    /// How the solve ended.
    pub status: Status,
    /// Steps taken.
    pub iterations: usize,
    /// Multipliers.
    pub duals: Duals,
}

impl Solution {
    /// How far the objective may be above the optimum at most (never negative).
    #[must_use]
    pub fn gap(&self) -> f64 {
        (self.objective - self.bound).max(0.0)
    }
}

/// Solves a tracking problem.
///
/// # Errors
/// Input that is not a problem: wrong lengths, NaN, infinities, negative weights. A problem that
/// cannot be met is not an error but a [`Status`].
pub fn solve(problem: &Problem, settings: &Settings) -> Result<Solution, ProblemError> {
    problem.validate()?;
    Ok(interior::solve(problem, settings))
}

#[cfg(test)]
mod tests;
