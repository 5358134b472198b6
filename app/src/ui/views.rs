//! The switch between views, and the place where the chosen one is shown.

use super::store::Store;
use crate::editor::View;
use leptos::prelude::*;

/// Tabs of the views: arrow keys go from one to the next, digits go there from anywhere.
#[component]
pub fn Switch() -> impl IntoView {
    let store = expect_context::<Store>();
    let keys = move |event: web_sys::KeyboardEvent| {
        let now = store.view.get_untracked();
        let to = match event.key().as_str() {
            "ArrowLeft" => now.stepped(-1),
            "ArrowRight" => now.stepped(1),
            "Home" => View::ALL[0],
            "End" => View::ALL[View::ALL.len() - 1],
            _ => return,
        };
        event.prevent_default();
        // The page's own arrow keys are not meant here.
        event.stop_propagation();
        store.show_view(to);
        super::keys::focus(&format!("#tab-{}", to.id()));
    };
    view! {
        <div class="views" role="tablist" aria-label="View" on:keydown=keys>
            {View::ALL.into_iter().enumerate().map(|(place, view)| {
                let on = move || store.view.get() == view;
                view! {
                    <button
                        role="tab"
                        id=format!("tab-{}", view.id())
                        data-testid=format!("view-{}", view.id())
                        aria-selected=move || on().to_string()
                        aria-controls=format!("view-{}", view.id())
                        tabindex=move || if on() { "0" } else { "-1" }
                        title=format!("{} ({})", view.purpose(), place + 1)
                        on:click=move |_| store.show_view(view)
                    >{view.name()}</button>
                }
            }).collect_view()}
        </div>
    }
}

/// What a view shows, while it is the chosen one.
#[component]
pub fn Panel(
    /// Which.
    view: View,
    children: ChildrenFn,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let children = StoredValue::new(children);
    view! {
        <Show when=move || store.view.get() == view>
            <div
                class="view"
                role="tabpanel"
                id=format!("view-{}", view.id())
                aria-labelledby=format!("tab-{}", view.id())
            >{children.with_value(|c| c())}</div>
        </Show>
    }
}
