//! Lipwright's browser editor.
use leptos::prelude::*;

/// Starts the page.
pub fn start() {
    console_error_panic_hook::set_once();
    leptos::mount::mount_to_body(|| view! { <p>"Lipwright"</p> });
}
