//! The editor's state and rules, without a browser.

pub mod arrivals;
pub mod demo;
pub mod dub;
mod events;
pub mod keeping;
mod performance;
pub mod rig;
mod runs;
mod shared;
pub mod snap;
mod spectrum;
mod stretch;
mod take;
mod time_unit;
pub mod tour;
mod transport;
mod view;

#[cfg(test)]
pub(crate) use performance::tests as performance_tests;
pub use performance::{Performance, PerformanceHead, Problem, ProblemKind, limit_code};
pub use shared::Shared;
pub use spectrum::Spectrum;
pub use stretch::Stretcher;
pub use take::{Audio, Origin, Surveyed, Take};
pub use time_unit::{TimeUnit, clock};
pub use transport::{Next, Transport};
pub use view::View;
