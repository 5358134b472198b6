//! A canvas that shows a scene.

use crate::scene::{DrawCmd, Theme};
use crate::web::canvas::{SeenWatch, SizeWatch};
use crate::web::clock::Frames;
use crate::web::painter;
use leptos::html;
use leptos::prelude::*;
use web_sys::HtmlCanvasElement;

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
    let paint = move |canvas: &HtmlCanvasElement, width: f64, height: f64, theme: Theme| {
        painter::paint(canvas, width, height, theme, &draw(width, height));
    };
    view! { <Painted testid=testid label=label theme=theme paint=paint /> }
}

/// A canvas that fills its box and is painted again whenever what `paint` reads changes: at most once an
/// animation frame, and not while it is scrolled out of sight.
#[component]
pub fn Painted(
    /// `data-testid` of the canvas.
    #[prop(into)]
    testid: String,
    /// What a screen reader says; empty where the picture repeats what is said elsewhere.
    #[prop(into)]
    label: Signal<String>,
    /// Dark or light.
    #[prop(into)]
    theme: Signal<Theme>,
    /// Paints; gets the size in logical pixels.
    paint: impl Fn(&HtmlCanvasElement, f64, f64, Theme) + 'static,
) -> impl IntoView {
    let canvas = NodeRef::<html::Canvas>::new();
    let size = RwSignal::new((0.0, 0.0));
    let seen = RwSignal::new(true);
    let watches = StoredValue::new_local((None::<SizeWatch>, None::<SeenWatch>));
    let frames = Frames::shared();
    Effect::new(move || {
        if let Some(element) = canvas.get() {
            let told = SizeWatch::new(&element, move |w, h| size.set((w, h)));
            let visible = move |v: bool| {
                if seen.get_untracked() != v {
                    seen.set(v);
                }
            };
            watches.set_value((told, SeenWatch::new(&element, visible)));
        }
    });
    // The frame in which it was painted last.
    let painted = StoredValue::new(None::<u32>);
    Effect::new(move || {
        if !seen.get() {
            return;
        }
        let now = frames.count();
        if painted.get_value() == Some(now) {
            // Painted in this frame already: the next one paints what has changed since.
            frames.wait();
            return;
        }
        let (width, height) = size.get();
        if let Some(element) = canvas.get()
            && width > 0.0
            && height > 0.0
        {
            paint(&element, width, height, theme.get());
            painted.set_value(Some(now));
            frames.ask();
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
