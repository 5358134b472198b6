//! What every drag on the time axis has in common.

use super::store::Store;
use leptos::prelude::*;
use lipwright_core::units::Seconds;
use wasm_bindgen::JsCast;

fn listener(event: &web_sys::Event) -> Option<web_sys::Element> {
    event.current_target()?.dyn_into::<web_sys::Element>().ok()
}

/// Pixel from the left edge of the element that listens.
pub fn local_x(event: &web_sys::MouseEvent) -> Option<f64> {
    Some(f64::from(event.client_x()) - listener(event)?.get_bounding_client_rect().left())
}

/// Keeps pointer events coming to this element until the button is let go.
pub fn capture(event: &web_sys::PointerEvent) {
    if let Some(element) = listener(event) {
        // Fails only for a pointer that has already gone.
        let _ = element.set_pointer_capture(event.pointer_id());
    }
}

/// Moves shorter than this choose instead of moving.
const LEAST: Seconds = Seconds::new(0.005);

/// A chip in hand.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Held {
    place: usize,
    /// Where it stood.
    home: Seconds,
    /// Where the pointer went down, px.
    from: f64,
    /// The moment that the drag has come to.
    to: Seconds,
}

/// Chips at moments of the line, one of which can be taken to another moment at a time.
#[derive(Clone, Copy)]
pub struct TimeDrag(RwSignal<Option<Held>>);

impl TimeDrag {
    /// None is in hand.
    pub fn new() -> Self {
        Self(RwSignal::new(None))
    }

    /// Where the chip of this place is shown, tracked: under the pointer while it is dragged.
    pub fn now(self, place: usize, home: Seconds) -> Seconds {
        self.0.get().filter(|h| h.place == place).map_or(home, |h| h.to)
    }

    /// The pointer goes down on a chip's button.
    pub fn down(self, event: &web_sys::PointerEvent, place: usize, home: Seconds) {
        if event.button() != 0 {
            return;
        }
        // The button, not the lane that listens for it: its click must come to it.
        let button = event.target().and_then(|t| t.dyn_into::<web_sys::Element>().ok());
        if let Some(button) = button.and_then(|b| b.closest("button").ok().flatten()) {
            // Fails only for a pointer that has already gone.
            let _ = button.set_pointer_capture(event.pointer_id());
        }
        self.0.set(Some(Held { place, home, from: f64::from(event.client_x()), to: home }));
    }

    /// The pointer moves.
    pub fn moved(self, store: Store, event: &web_sys::PointerEvent) {
        if let Some(held) = self.0.get_untracked() {
            let by = f64::from(event.client_x()) - held.from;
            let to = store.axis.with_untracked(|a| a.time_within(a.x(held.home) + by));
            self.0.set(Some(Held { to, ..held }));
        }
    }

    /// The pointer comes up: which chip goes where to, unless it was a press without a drag.
    pub fn up(self) -> Option<(usize, Seconds)> {
        let held = self.0.get_untracked()?;
        self.0.set(None);
        ((held.to - held.home).abs() > LEAST).then_some((held.place, held.to))
    }

    /// The browser takes the pointer away.
    pub fn cancel(self) {
        self.0.set(None);
    }
}

/// What is moved by key may have another place afterwards: the focus goes to it where it is now, so that
/// the next key moves it on. `name` and the place make its `data-testid`.
pub fn keep_focus(name: &str, place: Option<usize>) {
    if let Some(place) = place {
        let selector = format!("[data-testid={name}-{place}]");
        request_animation_frame(move || super::keys::focus(&selector));
    }
}
