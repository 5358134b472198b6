//! A canvas that shows a scene.

use crate::scene::{DrawCmd, Theme};
use crate::web::canvas::SizeWatch;
use crate::web::painter;
use leptos::html;
use leptos::prelude::*;

/// A canvas that fills its box and repaints whenever what `draw` reads changes.
///
/// `draw` gets the size in logical pixels and reads the signals that it depends on.
#[component]
pub fn Picture(
    /// `data-testid` of the canvas.
    #[prop(into)]
    testid: String,
    /// What a screen reader says; empty where the picture repeats what is said elsewhere.
    #[prop(into)]
    label: Signal<String>,
    /// Dark or light.
    #[prop(into)]
    theme: Signal<Theme>,
    /// The scene.
    draw: impl Fn(f64, f64) -> Vec<DrawCmd> + 'static,
) -> impl IntoView {
    let canvas = NodeRef::<html::Canvas>::new();
    let size = RwSignal::new((0.0, 0.0));
    let watch = StoredValue::new_local(None::<SizeWatch>);
    Effect::new(move || {
        if let Some(element) = canvas.get() {
            watch.set_value(SizeWatch::new(&element, move |w, h| size.set((w, h))));
        }
    });
    Effect::new(move || {
        let (width, height) = size.get();
        if let Some(element) = canvas.get()
            && width > 0.0
            && height > 0.0
        {
            painter::paint(&element, width, height, theme.get(), &draw(width, height));
        }
    });
    let named = move || !label.with(String::is_empty);
    view! {
        <canvas
            node_ref=canvas
            class="picture"
            data-testid=testid
            role="img"
            aria-label=move || label.get()
            aria-hidden=move || if named() { "false" } else { "true" }
        ></canvas>
    }
}
