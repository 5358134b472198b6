//! From mouth shapes to servo motion.

pub mod solver;
