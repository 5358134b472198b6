//! The tour on the page: an offer at the first visit, a card that points at one thing after the other.

use super::store::Store;
use crate::editor::View;
use crate::editor::tour::{STOPS, place};
use crate::web::keep;
use leptos::html;
use leptos::prelude::*;

const CHOICE: &str = "tour";

/// True until the person has taken the tour or said no to it.
#[must_use]
pub fn is_new_here() -> bool {
    keep::choice(CHOICE).is_none()
}

/// Starts it.
pub fn start(store: Store) {
    store.new_here.set(false);
    keep::choose(CHOICE, "seen");
    store.show_view(View::Line);
    store.tour.set(Some(0));
}

/// The offer.
#[component]
pub fn Offer() -> impl IntoView {
    let store = expect_context::<Store>();
    view! {
        <Show when=move || store.new_here.get()>
            <div class="banner calm" data-testid="tour-offer">
                <span>"New here? Six steps show what is where. The line that is open is a demonstration: try anything."</span>
                <button data-testid="tour-start" on:click=move |_| start(store)>"Show me round"</button>
                <button class="quiet" data-testid="tour-never" on:click=move |_| {
                    store.new_here.set(false);
                    keep::choose(CHOICE, "seen");
                }>"No, thanks"</button>
            </div>
        </Show>
    }
}

/// The card of the present step and a ring round what it points at.
#[component]
pub fn Tour() -> impl IntoView {
    let store = expect_context::<Store>();
    view! {
        <Show when=move || store.tour.get().is_some()><Card /></Show>
    }
}

#[component]
fn Card() -> impl IntoView {
    let store = expect_context::<Store>();
    let card = NodeRef::<html::Section>::new();
    let next = NodeRef::<html::Button>::new();
    let ring = RwSignal::new((0.0, 0.0, 0.0, 0.0));
    let at = RwSignal::new((12.0, 12.0));
    let step = move || store.tour.get().unwrap_or(0).min(STOPS.len() - 1);
    let lay = move || {
        let Ok(Some(target)) = document().query_selector(STOPS[step()].at) else { return };
        let Some(card) = card.get() else { return };
        let r = target.get_bounding_client_rect();
        let size = (f64::from(card.offset_width()), f64::from(card.offset_height()));
        let room = |v: Result<wasm_bindgen::JsValue, _>| v.ok().and_then(|v| v.as_f64()).unwrap_or(800.0);
        let window = (room(window().inner_width()), room(window().inner_height()));
        let target = (r.left(), r.top(), r.width(), r.height());
        ring.set(target);
        at.set(place(target, size, window));
    };
    Effect::new(move || {
        lay();
        if let Some(button) = next.get() {
            let _ = button.focus();
        }
    });
    let resized = window_event_listener(leptos::ev::resize, move |_| lay());
    on_cleanup(move || resized.remove());
    let px = |v: f64| format!("{v:.0}px");
    let last = move || step() + 1 == STOPS.len();
    view! {
        <div class="ring" aria-hidden="true"
            style:left=move || px(ring.get().0) style:top=move || px(ring.get().1)
            style:width=move || px(ring.get().2) style:height=move || px(ring.get().3)></div>
        <section class="tour" node_ref=card role="dialog" aria-labelledby="tour-title" aria-describedby="tour-text" data-testid="tour"
            data-step=move || (step() + 1).to_string()
            style:left=move || px(at.get().0) style:top=move || px(at.get().1)>
            <h2 id="tour-title">{move || STOPS[step()].title}</h2>
            <p id="tour-text">{move || STOPS[step()].text}</p>
            <div class="dialog-foot">
                <small>{move || format!("{} of {}", step() + 1, STOPS.len())}</small>
                <span class="spring"></span>
                <button class="quiet" data-testid="tour-close" on:click=move |_| store.tour.set(None)>"Close"</button>
                <button disabled=move || step() == 0 data-testid="tour-back" on:click=move |_| store.tour.update(|t| *t = t.map(|t| t.saturating_sub(1)))>"Back"</button>
                <button class="main" node_ref=next data-testid="tour-next" on:click=move |_| {
                    let done = last();
                    store.tour.update(|t| *t = t.filter(|_| !done).map(|t| t + 1));
                }>{move || if last() { "Done" } else { "Next" }}</button>
            </div>
        </section>
    }
}
