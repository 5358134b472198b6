//! Looks and blinks that the voice suggests, faint on their lane: taken or dismissed one by one.

use super::store::Store;
use leptos::prelude::*;
use lipwright_core::line::Suggestion;
use lipwright_core::rig::FacePart;
use wasm_bindgen::JsCast;

/// What moves, in a word.
fn moves(part: FacePart) -> &'static str {
    match part {
        FacePart::Brows => "brows",
        FacePart::Corners => "corners",
        FacePart::Lids => "blink",
        _ => "head",
    }
}

/// After one is gone the keyboard goes on to the next.
fn focus(index: usize, left: usize) {
    let Some(last) = left.checked_sub(1) else { return };
    let selector = format!("[data-testid=suggestion-{}]", index.min(last));
    request_animation_frame(move || {
        let found = document().query_selector(&selector).ok().flatten();
        if let Some(button) = found.and_then(|e| e.dyn_into::<web_sys::HtmlElement>().ok()) {
            // Fails only for an element that has just gone.
            let _ = button.focus();
        }
    });
}

/// The open line's suggestions: looks, or events.
#[component]
pub fn Suggestions(
    /// Events instead of looks.
    events: bool,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let list = Memo::new(move |_| {
        store.with_take(|t| t.line().map(|l| l.suggestions().to_vec())).flatten().unwrap_or_default()
    });
    view! {
        <For
            each=move || list.get().into_iter().enumerate().filter(move |(_, s)| s.event.is_some() == events)
            key=|(i, s)| (*i, s.start.value().to_bits(), s.look.time.value().to_bits())
            children=move |(index, suggestion)| view! { <Suggested index=index suggestion=suggestion list=list /> }
        />
    }
}

#[component]
fn Suggested(
    /// Its place among the suggestions.
    index: usize,
    /// What is suggested.
    suggestion: Suggestion,
    /// All of them.
    list: Memo<Vec<Suggestion>>,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let (start, end, time) = (suggestion.start, suggestion.end, suggestion.look.time);
    let settle = move |take: bool| {
        store.edit(|t| if take { t.take_suggestion(index) } else { t.dismiss_suggestion(index) });
        focus(index, list.with_untracked(Vec::len));
    };
    let pressed = move |event: web_sys::KeyboardEvent| {
        match event.key().as_str() {
            "Delete" | "Backspace" => settle(false),
            // A button's own click; only the page's shortcuts must not hear of it.
            "Enter" | " " => return event.stop_propagation(),
            _ => return,
        }
        event.prevent_default();
        event.stop_propagation();
    };
    let clear = format!("{:.0} %", suggestion.confidence * 100.0);
    let reason = suggestion.reason.clone();
    let label = format!("Suggested, {clear} clear: {reason}; Enter takes it, Delete dismisses it");
    let title = format!("{reason} ({clear} clear). Click to take it.");
    view! {
        <div
            class="look suggested"
            style:left=move || format!("{}px", store.axis.with(|a| a.x(start)))
            style:width=move || format!("{}px", store.axis.with(|a| (a.x(end) - a.x(start)).max(0.0)))
        >
            <button
                data-testid=format!("suggestion-{index}")
                data-time=format!("{:.4}", time.value())
                aria-label=label
                title=title
                on:click=move |_| settle(true)
                on:keydown=pressed
            >{moves(suggestion.part)}"?"</button>
            <button
                class="dismiss"
                tabindex="-1"
                data-testid=format!("suggestion-dismiss-{index}")
                aria-label=format!("Dismiss: {reason}")
                title="Dismiss"
                on:click=move |_| settle(false)
            >"×"</button>
        </div>
    }
}
