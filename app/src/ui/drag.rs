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

/// Something at a moment of the line that can be taken to another.
#[derive(Clone, Copy)]
pub struct TimeDrag {
    home: Seconds,
    /// Where the pointer went down, and the moment that the drag has come to.
    at: RwSignal<Option<(f64, Seconds)>>,
}

impl TimeDrag {
    /// For what stands at `home`.
    pub fn new(home: Seconds) -> Self {
        Self { home, at: RwSignal::new(None) }
    }

    /// Where it is shown, tracked: under the pointer while it is dragged.
    pub fn now(self) -> Seconds {
        self.at.get().map_or(self.home, |(_, t)| t)
    }

    /// The pointer goes down.
    pub fn down(self, event: &web_sys::PointerEvent) {
        if event.button() == 0 {
            capture(event);
            self.at.set(Some((f64::from(event.client_x()), self.home)));
        }
    }

    /// The pointer moves.
    pub fn moved(self, store: Store, event: &web_sys::PointerEvent) {
        if let Some((from, _)) = self.at.get_untracked() {
            let by = f64::from(event.client_x()) - from;
            let to = store.axis.with_untracked(|a| a.time_within(a.x(self.home) + by));
            self.at.set(Some((from, to)));
        }
    }

    /// The pointer comes up: where to, unless it was a press without a drag.
    pub fn up(self) -> Option<Seconds> {
        let (_, to) = self.at.get_untracked()?;
        self.at.set(None);
        ((to - self.home).abs() > LEAST).then_some(to)
    }

    /// The browser takes the pointer away.
    pub fn cancel(self) {
        self.at.set(None);
    }
}

/// What is moved by key is drawn anew: the focus goes to it where it is now, so that the next key moves it
/// on. `name` and the place make its `data-testid`.
pub fn keep_focus(name: &str, place: Option<usize>) {
    if let Some(place) = place {
        let selector = format!("[data-testid={name}-{place}]");
        request_animation_frame(move || super::keys::focus(&selector));
    }
}
