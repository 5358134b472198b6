//! The editor's state and rules, without a browser.

mod performance;
pub mod rig;
mod runs;
mod shared;
pub mod snap;
mod take;
mod time_unit;
mod transport;
mod view;

#[cfg(test)]
pub(crate) use performance::tests as performance_tests;
pub use performance::{Performance, PerformanceHead, Problem, limit_code};
pub use shared::Shared;
pub use take::{Audio, Origin, Take};
pub use time_unit::{TimeUnit, clock};
pub use transport::{Next, Transport};
pub use view::View;
