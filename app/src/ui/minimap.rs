//! The whole line above the ruler: where the view is, where the problems are.

use super::drag::{capture, local_x};
use super::picture::Picture;
use super::store::Store;
use crate::scene::{TimeAxis, lanes};
use leptos::prelude::*;
use lipwright_core::units::Seconds;

/// Seconds by which an arrow key moves the view, as a share of what it shows.
const STEP: f64 = 0.2;

/// The whole line with the part in view; that part is dragged, or moved with the arrow keys.
#[component]
pub fn Minimap() -> impl IntoView {
    let store = expect_context::<Store>();
    // Changes with the line and the window's width alone: zooming redraws nothing here.
    let whole = Memo::new(move |_| store.axis.with(|a| a.of(a.duration())));
    let problems = Memo::new(move |_| {
        let weighty = |p: &&crate::editor::Problem| p.kind.stands_out();
        let of = |p: crate::editor::Shared<crate::editor::Performance>| {
            p.head().problems.iter().filter(weighty).map(|p| p.time).collect::<Vec<_>>()
        };
        store.performance.get().map(of).unwrap_or_default()
    });
    let markers = Memo::new(move |_| {
        let times = |t: &crate::editor::Take| {
            t.line().map(|l| l.markers().iter().map(|m| m.time).collect::<Vec<_>>())
        };
        store.with_take(times).flatten().unwrap_or_default()
    });
    let window = Memo::new(move |_| {
        let (axis, whole) = (store.axis.get(), whole.get());
        let (from, to) = axis.span();
        let (x0, x1) = (whole.x(from).max(0.0), whole.x(to).min(whole.width()));
        (x0.round(), (x1 - x0).max(6.0).round())
    });
    // Where in the part in view the pointer took hold, pixels from its left edge.
    let held = RwSignal::new(None::<f64>);
    let go = move |x: f64, grip: f64| {
        let start = whole.with_untracked(|w| w.time(x - grip));
        store.axis.update(|a| *a = a.starting_at(start));
    };
    let down = move |event: web_sys::PointerEvent| {
        let Some(x) = local_x(&event).filter(|_| event.button() == 0) else { return };
        capture(&event);
        let (left, width) = window.get_untracked();
        let grip = if (left..=left + width).contains(&x) { x - left } else { width / 2.0 };
        held.set(Some(grip));
        go(x, grip);
    };
    let moved = move |event: web_sys::PointerEvent| {
        if let (Some(grip), Some(x)) = (held.get_untracked(), local_x(&event)) {
            go(x, grip);
        }
    };
    let key = move |event: web_sys::KeyboardEvent| {
        let by = match event.key().as_str() {
            "ArrowLeft" => -STEP,
            "ArrowRight" => STEP,
            _ => return,
        };
        event.prevent_default();
        event.stop_propagation();
        store.axis.update(|a| *a = a.scrolled(by * a.width()));
    };
    let percent = move || {
        let axis = store.axis.get();
        let start: Seconds = axis.span().0.max(Seconds::ZERO);
        format!("{:.0}", 100.0 * start.value() / axis.duration().value().max(0.01))
    };
    view! {
        <div class="row minimap">
            <div class="label">"Whole line"</div>
            <div class="track">
                <div
                    class="fill"
                    data-testid="minimap"
                    role="scrollbar"
                    aria-label="Part of the line in view"
                    aria-orientation="horizontal"
                    aria-controls="lanes"
                    aria-valuemin="0"
                    aria-valuemax="100"
                    aria-valuenow=percent
                    tabindex="0"
                    on:pointerdown=down
                    on:pointermove=moved
                    on:pointerup=move |_| held.set(None)
                    on:pointercancel=move |_| held.set(None)
                    on:keydown=key
                >
                    <Picture testid="lane-minimap" label=Signal::derive(String::new) theme=store.theme draw=move |_, h| {
                        let axis: TimeAxis = whole.get();
                        problems.with(|p| markers.with(|m| lanes::minimap(&axis, store.pyramid.get().as_deref(), p, m, h)))
                    } />
                    <div
                        class="window"
                        data-testid="minimap-window"
                        style:transform=move || format!("translateX({}px)", window.get().0)
                        style:width=move || format!("{}px", window.get().1)
                    ></div>
                </div>
            </div>
        </div>
    }
}
