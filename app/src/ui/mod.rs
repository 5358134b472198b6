//! The page: components that show the store and call its verbs.

mod bar;
mod bench;
mod dialogs;
mod drag;
mod events;
mod keys;
mod lanes;
mod looks;
mod loops;
mod minimap;
mod panel;
mod picture;
mod problems;
mod project;
mod record;
mod rig;
mod rows;
mod stage;
mod store;
mod suggestions;
mod tour;
mod transport;
mod views;

use crate::editor::View;
use crate::scene::Theme;
use crate::web::{files, keep};
use leptos::ev;
use leptos::prelude::*;
use store::Store;
use wasm_bindgen::JsCast;

/// Puts the page into the document.
pub fn mount() {
    if let Some(body) = document().body() {
        // The words shown while loading have done their work.
        if let Ok(Some(boot)) = body.query_selector(".boot") {
            boot.remove();
        }
    }
    mount_to_body(App);
}

/// What the person chose before, else what the system prefers.
fn first_theme() -> Theme {
    let stored = keep::choice("theme");
    match stored.as_deref() {
        Some("light") => Theme::Light,
        Some("dark") => Theme::Dark,
        _ => {
            let light = window().match_media("(prefers-color-scheme: light)").ok().flatten();
            if light.is_some_and(|m| m.matches()) { Theme::Light } else { Theme::Dark }
        }
    }
}

#[component]
fn App() -> impl IntoView {
    let store = Store::new(first_theme());
    provide_context(store);
    store.begin();

    // The document's own element shows theme and state, for style sheets and tests.
    Effect::new(move || {
        let name = match store.theme.get() {
            Theme::Dark => "dark",
            Theme::Light => "light",
        };
        if let Some(root) = document().document_element() {
            let _ = root.set_attribute("data-theme", name);
        }
    });
    Effect::new(move || {
        let status = match (store.error.with(Option::is_some), store.phase.get()) {
            (true, store::Phase::Ready) => "error",
            (_, phase) => phase.name(),
        };
        if let Some(body) = document().body() {
            let _ = body.set_attribute("data-status", status);
        }
    });
    Effect::new(move || {
        if let Some(body) = document().body() {
            let _ = body.set_attribute("data-view", store.view.get().id());
        }
    });
    Effect::new(move || {
        let line = store.with_take(|t| t.name.clone()).unwrap_or_default();
        let mark = if store.unsaved.get() { "• " } else { "" };
        document().set_title(&format!("{mark}{line} – Lipwright"));
    });

    let keys = window_event_listener(ev::keydown, move |event| keys::pressed(store, &event));
    on_cleanup(move || keys.remove());
    let released = window_event_listener(ev::keyup, move |event| store.paint_up(Some(&event.code())));
    on_cleanup(move || released.remove());
    // A key that comes up elsewhere is not heard of.
    let left = window_event_listener(ev::blur, move |_| store.paint_up(None));
    on_cleanup(move || left.remove());
    // Closing the page with unsaved edits asks first.
    let leave = window_event_listener(ev::beforeunload, move |event| {
        store.keep_now();
        if store.unsaved.get_untracked() && store.must_ask() {
            event.prevent_default();
        }
    });
    on_cleanup(move || leave.remove());
    // A tablet may end a page that is out of sight without another word.
    let hidden = window_event_listener(ev::visibilitychange, move |_| store.keep_now());
    on_cleanup(move || hidden.remove());

    let over = RwSignal::new(false);
    view! {
        <div
            class="app"
            class:over=move || over.get()
            on:mousedown=move |event: web_sys::MouseEvent| {
                // A button pressed by the pointer leaves the focus where it was, so that space
                // goes on to mean play. Not among forms: there, leaving a field takes its text over.
                let button = element(&event).and_then(|e| e.closest("button").ok().flatten());
                let line = store.view.get_untracked() == View::Line;
                if line && button.is_some_and(|b| b.closest("dialog").ok().flatten().is_none()) {
                    event.prevent_default();
                }
            }
            on:dragover=move |event: web_sys::DragEvent| {
                event.prevent_default();
                over.set(true);
            }
            on:dragleave=move |event: web_sys::DragEvent| {
                if event.related_target().is_none() {
                    over.set(false);
                }
            }
            on:drop=move |event: web_sys::DragEvent| {
                event.prevent_default();
                over.set(false);
                let files = event.data_transfer().and_then(|d| d.files());
                store.take_files(files::all(files.as_ref()));
            }
        >
            <bar::Bar />
            <div class="banners"><Banner /><project::Notices /><tour::Offer /></div>
            <views::Panel view=View::Line><LineView /></views::Panel>
            <views::Panel view=View::Rig><rig::RigView /></views::Panel>
            <views::Panel view=View::Bench><bench::BenchView /></views::Panel>
            <dialogs::Dialogs />
            <tour::Tour />
            <p class="note" role="status" aria-live="polite" data-testid="note">
                {move || store.note.get()}
            </p>
            <div class="drop-hint" aria-hidden="true">"Drop recordings, scripts, a project or a rig"</div>
        </div>
    }
}

/// One line: stage and panel, transport, lanes.
#[component]
fn LineView() -> impl IntoView {
    view! {
        <main class="upper">
            <stage::Stage />
            <panel::Panel />
        </main>
        <transport::TransportBar />
        <lanes::Lanes />
    }
}

/// What went wrong, until it is put away.
#[component]
fn Banner() -> impl IntoView {
    let store = expect_context::<Store>();
    view! {
        <Show when=move || store.error.with(Option::is_some)>
            <div class="banner" role="alert" data-testid="error">
                <span>{move || store.error.get().unwrap_or_default()}</span>
                <button class="quiet" aria-label="Put this message away" on:click=move |_| store.error.set(None)>
                    "Dismiss"
                </button>
            </div>
        </Show>
    }
}

/// The element an event came from, as an HTML element.
fn element(event: &web_sys::Event) -> Option<web_sys::HtmlElement> {
    event.target().and_then(|t| t.dyn_into().ok())
}
