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
//!   and solved again until the true ones hold (the `planner` module says how);
//! - current of the rail, Σ idle + moving · |speed| / full speed ≤ budget.
//!
//! All are tightened by what rounding pulses to 0.1 µs can add, so that the written track holds them.
//!
//! **Priorities.** Lip closures, lip-on-teeth and tongue contacts carry a linear price per mm missed.
//! Such a price is exact: it is paid only where the contact cannot be made, or only at a marginal
//! cost above it. The price of a closure (2000) is far above what vowels usually pay, that of a tongue
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
//! The expression lane pulls brows, corners and neck in the same way, with the importances of the
//! rig's expressions; in silence its look is what the face rests at. Contacts are not its business.
//!
//! Events (blinks, turns of the head) pull lids and neck: a blink by a course that the lid's servo can
//! follow, from where the look of the moment leaves the lid to shut and back; a turn from where the look
//! leaves the neck to its angle and back. A later turn sets out from where an earlier one is.
//!
//! A held segment pulls with four times its weight from its start to its end, and its neighbours do not
//! reach into it: what moves, moves in their time. Contacts are kept up through their segments anyway.
//!
//! # Dead band
//!
//! A servo does not answer to a command that differs from where it stands by less than its dead band
//! (4 to 10 µs is common practice), so it may stop that far short of any command. Taken into account:
//!
//! - a contact aims so far beyond its tolerance that it is made where every servo stops short (by the
//!   slopes at rest; lips at most a whole tolerance beyond touching);
//! - a target that is missed by no more than dead bands can leave undone is not reported;
//! - of all sets of keyframes of the least size, one with the fewest moves below the dead band is taken.
//!
//! The plan itself is not rounded to dead bands: moves smaller than one are part of slower ones, and
//! holding them back would move them to later, in steps.
//!
//! # How it is solved
//!
//! Servos that nothing ties together are solved apart; each group is a banded quadratic programme
//! ([`solver`]), solved by an interior-point method in time linear in frames, with a proven bound on
//! the distance to its optimum. That proof is for the last linearisation; where linkages are curved,
//! the planner does not prove that no other motion is better. Where the current budget binds, all
//! servos are planned together around those steps, and the bound is the one without the budget. After
//! an edit, [`replan`] solves only what it can change; its plan has a true objective and no proof.
//! [`Plan`] then says what was not reached and which limit is to blame, and [`keyframes`] and
//! [`smooth_keyframes`] find the fewest knots that play it in straight lines or in cubic curves.

mod between;
mod condition;
mod events;
mod head;
mod keyframes;
mod plan;
mod planner;
mod replan;
mod report;
mod score;
mod settings;
pub mod solver;
mod targets;
#[cfg(test)]
mod tests;
mod track;
mod what_if;
mod whole;

pub use condition::{CLOSED_GAP, LIP_ON_TEETH, TONGUE_REACHED};
pub use events::{EventFault, EventShortfall};
pub use keyframes::{Keyframe, KeyframeForm, SmoothKeyframe, keyframes, smooth_keyframes};
pub use plan::{LimitedBy, Plan, ServoCurve, plan, plan_line};
pub use replan::{replan, replan_line};
pub use report::{ContactReport, LookShortfall, PlanStatus, PlanSummary, Shortfall};
pub use settings::{MotionError, PlanSettings};
pub use targets::ContactKind;
pub use what_if::{WhatIf, what_if, with_servo_speed};
