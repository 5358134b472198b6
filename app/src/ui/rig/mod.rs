//! The rig view: the head described, shown and checked.

use super::store::Store;
use leptos::prelude::*;

/// The head.
#[component]
pub fn RigView() -> impl IntoView {
    let store = expect_context::<Store>();
    let servos =
        move || store.head.with(|h| h.rig.servos().iter().map(|s| s.name.clone()).collect::<Vec<_>>());
    view! {
        <main class="rig" data-testid="rig-view">
            <h2>{move || store.head.with(|h| h.rig.name().to_owned())}</h2>
            <ul>
                <For each=servos key=Clone::clone children=|name| view! { <li>{name}</li> } />
            </ul>
        </main>
    }
}
