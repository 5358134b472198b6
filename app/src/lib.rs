//! Lipwright's browser editor.

pub mod editor;
pub mod scene;

use leptos::prelude::*;

/// Starts the page.
pub fn start() {
    console_error_panic_hook::set_once();
    mount_to_body(|| view! { <p>"Lipwright"</p> });
}
