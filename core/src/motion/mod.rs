//! From mouth shapes to the best motion that one particular head can give.
//!
//! # The problem
//!
//! **Variables.** θ[t, c]: the angle of servo c (degrees, 0 at its neutral pulse) at controller frame
//! t. Frames are `PlanSettings::frame` apart (20 ms); the first two and last two are the rest angles.
//! Between frames the controller plays a straight line in pulses.
//!
//! **Objective.** Minimise
//!
//! ```text
//! Σt,d W[t,d] (face_d(θ[t]) − wanted[t,d])²        error of the face, mm²
//!   + Σt,c smoothness · g_c (θ[t] − 2 θ[t−1] + θ[t−2])²
//!   + Σt,c jerk       · g_c (third difference)²
//!   + Σ contacts price · (distance by which it is missed, mm)
//! ```
//!
//! `wanted` and `W` come from the segments (below). The face's error is carried over to servo angles
//! by the slopes of the linkages at the wanted angles (`Jᵀ W J`, which couples the two servos of a
//! mouth corner), `g_c` is the mean square of those slopes over the servo's travel, mm² per square
//! degree. A weight of 1 is what a DOF of importance 1 has in the middle of its segment.
//!
//! **Constraints**, at every frame, and between frames for what the controller really plays:
//!
//! - travel of the servo, drawn in by what the skin allows;
//! - speed, |θ[t] − θ[t−1]| ≤ v · frame, with separate limits up and down;
//! - acceleration, |θ[t] − 2 θ[t−1] + θ[t−2]| ≤ a · frame²;
//! - skin around a point that two servos move, and couplings min ≤ Σ k · dof ≤ max (mm): linearised
//!   and solved again until the true ones hold (the `planner` module says how).
//!
//! All are tightened by what rounding pulses to 0.1 µs can add, so that the written track holds them.
//!
//! **Priorities.** Lip closures, lip-on-teeth and tongue contacts carry a linear price per mm missed.
//! Such a price is exact: it is paid only where the contact cannot be made, or only at a marginal
//! cost above it. The price of a closure (2000) is beyond what vowels can pay, that of a tongue
//! contact (300) below it; so closures come first, then tongue contacts, then vowels, then smoothness,
//! and the vowel *before* a closure gives way early enough for the lips to arrive.
//!
//! # Where the targets come from
//!
//! Each segment pulls each DOF towards its pose with weight importance² · fade(t). With smoothness,
//! limits and prices at zero the optimum is `Σ W_s x_s / Σ W_s`: exactly the dominance blend of
//! M. Cohen and D. Massaro, "Modeling coarticulation in synthetic visual speech" (1993), with the
//! fade as dominance function. This differs from theirs in four ways:
//!
//! 1. the fade ends `overlap` beyond the segment, where their exponential never ends, so a long vowel
//!    reaches its target fully;
//! 2. contacts are conditions and not pulls: no blend of open and closed ever closes the lips;
//! 3. the head's limits are part of the optimum: what a servo cannot do in time is started earlier;
//! 4. where nothing pulls, smoothness carries the motion from one target to the next (anticipation).
//!
//! # How it is solved
//!
//! Servos that nothing ties together are solved apart; each group is a banded quadratic programme
//! ([`solver`]), solved by an interior-point method in time linear in frames, with a proven bound on
//! the distance to its optimum. [`Plan`] then says what was not reached and which limit is to blame,
//! and [`keyframes`] finds the fewest knots that play it.

mod condition;
mod head;
mod keyframes;
mod plan;
mod planner;
mod report;
mod settings;
pub mod solver;
mod targets;
#[cfg(test)]
mod tests;
mod track;

pub use condition::{CLOSED_GAP, LIP_ON_TEETH, TONGUE_REACHED};
pub use keyframes::{Keyframe, keyframes};
pub use plan::{LimitedBy, Plan, ServoCurve, plan};
pub use report::{ContactReport, PlanStatus, PlanSummary, Shortfall};
pub use settings::{MotionError, PlanSettings};
pub use targets::ContactKind;
