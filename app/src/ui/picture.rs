//! A canvas that shows a scene.

use crate::scene::{DrawCmd, Theme, TimeAxis};
use crate::web::canvas::{SeenWatch, SizeWatch};
use crate::web::clock::{self, Frames};
use crate::web::painter;
use crate::web::turns::Turns;
use leptos::html;
use leptos::prelude::*;
use std::cell::Cell;
use std::rc::Rc;
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
    /// The time axis of a lane: it may wait its turn to be painted, stretched to the axis meanwhile.
    #[prop(optional)]
    axis: Option<RwSignal<TimeAxis>>,
    /// The scene.
    draw: impl Fn(f64, f64) -> Vec<DrawCmd> + 'static,
) -> impl IntoView {
    let paint = move |canvas: &HtmlCanvasElement, width: f64, height: f64, theme: Theme| {
        painter::paint(canvas, width, height, theme, &draw(width, height));
    };
    view! { <Painted testid=testid label=label theme=theme axis=axis paint=paint /> }
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
    /// The time axis of a lane: it may wait its turn to be painted, stretched to the axis meanwhile.
    axis: Option<RwSignal<TimeAxis>>,
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
    let lane = axis.map(Lane::new);
    // The frame in which it was painted last.
    let painted = StoredValue::new(None::<u32>);
    Effect::new(move || {
        if !seen.get() {
            lane.as_ref().inspect(|l| l.turns.leave(l.number));
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
            let theme = theme.get();
            if let Some(lane) = &lane
                && !lane.may_paint(now, (width, height, theme))
            {
                lane.stretch(&element);
                frames.wait();
                return;
            }
            let began = clock::now_ms();
            paint(&element, width, height, theme);
            lane.as_ref().inspect(|l| l.painted(&element, clock::now_ms() - began));
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

/// A picture on a time axis, which shows well enough for a few frames if it is only stretched.
struct Lane {
    axis: RwSignal<TimeAxis>,
    turns: Rc<Turns>,
    number: u32,
    /// Size and theme that it was last painted in.
    form: Cell<Option<(f64, f64, Theme)>>,
    /// The axis that it was last painted for.
    shown: Cell<TimeAxis>,
    stretched: Cell<bool>,
}

impl Lane {
    fn new(axis: RwSignal<TimeAxis>) -> Self {
        let turns = Turns::shared();
        let number = turns.number();
        on_cleanup(move || Turns::shared().leave(number));
        let shown = Cell::new(axis.get_untracked());
        Self { axis, turns, number, form: Cell::new(None), shown, stretched: Cell::new(false) }
    }

    /// True if it may be painted now. What has another size or theme cannot wait.
    fn may_paint(&self, frame: u32, form: (f64, f64, Theme)) -> bool {
        let fits = self.form.replace(Some(form)) == Some(form);
        if !fits {
            self.turns.leave(self.number);
        }
        !fits || self.turns.may_paint(self.number, frame, clock::now_ms())
    }

    /// Stretches what was painted last to the axis as it is.
    fn stretch(&self, canvas: &HtmlCanvasElement) {
        let (factor, moved) = self.axis.get().stretch(&self.shown.get());
        let form = format!("translateX({moved:.2}px) scaleX({factor:.5})");
        // Fails for no value that is a number.
        let _ = (**canvas).style().set_property("transform", &form);
        self.stretched.set(true);
    }

    /// It was painted for the axis as it is, which took so long (ms).
    fn painted(&self, canvas: &HtmlCanvasElement, took: f64) {
        self.turns.painted(took);
        self.shown.set(self.axis.get_untracked());
        if self.stretched.replace(false) {
            let _ = (**canvas).style().remove_property("transform");
        }
    }
}
