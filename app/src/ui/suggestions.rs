//! Looks and blinks that the voice suggests, faint on their lane: taken or dismissed one by one.

use super::rows::{Chip, Said, keep_chips, part, place_of, set};
use super::store::Store;
use leptos::html;
use leptos::prelude::*;
use lipwright_core::line::Suggestion;
use lipwright_core::rig::FacePart;
use wasm_bindgen::JsCast;
use web_sys::Element;

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
    request_animation_frame(move || super::keys::focus(&selector));
}

impl Said for Suggestion {
    fn say(&self, place: usize, into: &Element) {
        into.set_class_name("look suggested");
        let (Some(take), Some(dismiss)) = (part(into, 0, "button"), part(into, 1, "button")) else { return };
        let (reason, clear) = (&self.reason, format!("{:.0} %", self.confidence * 100.0));
        set(&take, "data-testid", &format!("suggestion-{place}"));
        set(&take, "data-time", &format!("{:.4}", self.look.time.value()));
        let label = format!("Suggested, {clear} clear: {reason}; Enter takes it, Delete dismisses it");
        set(&take, "aria-label", &label);
        set(&take, "title", &format!("{reason} ({clear} clear). Click to take it."));
        take.set_text_content(Some(&format!("{}?", moves(self.part))));
        dismiss.set_class_name("dismiss");
        set(&dismiss, "tabindex", "-1");
        set(&dismiss, "data-testid", &format!("suggestion-dismiss-{place}"));
        set(&dismiss, "aria-label", &format!("Dismiss: {reason}"));
        set(&dismiss, "title", "Dismiss");
        dismiss.set_text_content(Some("×"));
    }
}

/// The open line's suggestions: looks, or events.
#[component]
pub fn Suggestions(
    /// Events instead of looks.
    events: bool,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let lane = NodeRef::<html::Div>::new();
    let list = Memo::new(move |_| {
        store.with_take(|t| t.line().map(|l| l.suggestions().to_vec())).flatten().unwrap_or_default()
    });
    let chips = move || {
        let axis = store.axis.get();
        let chip = |(place, what): (usize, Suggestion)| {
            let left = axis.x(what.start);
            let at = (left, (axis.x(what.end) - left).max(0.0));
            Chip { place, what, at, chosen: None }
        };
        list.get().into_iter().enumerate().filter(|(_, s)| s.event.is_some() == events).map(chip).collect()
    };
    keep_chips(lane, chips);
    let settle = move |place: usize, take: bool| {
        store.edit(|t| if take { t.take_suggestion(place) } else { t.dismiss_suggestion(place) });
        focus(place, list.with_untracked(Vec::len));
    };
    let clicked = move |event: web_sys::MouseEvent| {
        let on = event.target().and_then(|t| t.dyn_into::<Element>().ok());
        let dismissed = on.is_some_and(|e| e.closest(".dismiss").ok().flatten().is_some());
        if let Some(place) = place_of(&event) {
            settle(place, !dismissed);
        }
    };
    let pressed = move |event: web_sys::KeyboardEvent| {
        let Some(place) = place_of(&event) else { return };
        match event.key().as_str() {
            "Delete" | "Backspace" => settle(place, false),
            // A button's own click; only the page's shortcuts must not hear of it.
            "Enter" | " " => return event.stop_propagation(),
            _ => return,
        }
        event.prevent_default();
        event.stop_propagation();
    };
    view! { <div class="chips" node_ref=lane on:click=clicked on:keydown=pressed></div> }
}
