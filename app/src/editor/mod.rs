//! The editor's state and rules, without a browser.

mod performance;

pub use performance::{Limit, Performance, PerformanceHead, Problem};
#[cfg(test)]
pub(crate) use performance::tests as performance_tests;
