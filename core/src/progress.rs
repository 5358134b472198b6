//! Progress and cancellation for long work.

/// Hears how far long work has come, and may stop it.
///
/// Core never looks at a clock: callers decide how often to pass a report on.
pub trait Progress {
    /// `stage` names the work ("listening", "planning"), `done` runs from 0 to 1 within it.
    /// Returning `false` asks the work to stop; it then returns its room's `Cancelled` error.
    fn report(&mut self, stage: &'static str, done: f64) -> bool;
}

/// Ignores every report and never cancels.
#[derive(Clone, Copy, Debug, Default)]
pub struct Quiet;

impl Progress for Quiet {
    fn report(&mut self, _stage: &'static str, _done: f64) -> bool {
        true
    }
}

impl<F: FnMut(&'static str, f64) -> bool> Progress for F {
    fn report(&mut self, stage: &'static str, done: f64) -> bool {
        self(stage, done)
    }
}
