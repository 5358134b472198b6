//! Lipwright's browser editor.
//!
//! [`editor`] is plain state with verbs and [`scene`] turns it into drawing commands; both run and
//! are tested without a browser. [`work`] is what the worker does, [`web`] the browser's side,
//! [`ui`] the page.

pub mod editor;
pub mod scene;
mod ui;
mod web;
pub mod work;

/// Starts the page or, in a worker, the worker: one program is both, so that it loads once.
pub fn start() {
    console_error_panic_hook::set_once();
    match work::serve::scope() {
        Some(scope) => work::serve::run(scope),
        None => ui::mount(),
    }
}
