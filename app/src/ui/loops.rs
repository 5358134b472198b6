//! Loop points, pre-roll, painting, markers.

use super::store::Store;
use crate::editor::Transport;
use leptos::prelude::*;
use lipwright_core::line::Marker;
use lipwright_core::units::Seconds;
use wasm_bindgen::JsCast;

/// The loop's points and run-up, the switch for painting, and the button that sets a marker.
#[component]
pub fn Loops() -> impl IntoView {
    let store = expect_context::<Store>();
    let points = Memo::new(move |_| store.transport.with(|t| t.points));
    let point = move |end: bool| {
        let at = move || {
            let (from, to) = points.get();
            if end { to } else { from }
        };
        view! {
            <button
                class="chip"
                data-testid=if end { "loop-to" } else { "loop-from" }
                aria-pressed=move || at().is_some().to_string()
                title=if end { "The loop ends at the playhead (O)" } else { "The loop starts at the playhead (I)" }
                on:click=move |_| store.set_loop_point(end)
            >
                {if end { "to" } else { "from" }}
                <small>{move || at().map(|t| store.axis.with(|a| a.unit()).say(t, 0.01))}</small>
            </button>
        }
    };
    let pre_roll = move |event: web_sys::Event| {
        let select = event.target().and_then(|t| t.dyn_into::<web_sys::HtmlSelectElement>().ok());
        let Some(select) = select else { return };
        if let Ok(seconds) = select.value().parse::<f64>() {
            store.transport.update(|t| t.pre_roll = Seconds::new(seconds));
        }
        let _ = select.blur();
    };
    view! {
        <div class="group" role="group" aria-label="Loop points">
            {point(false)}
            {point(true)}
            <Show when=move || points.get() != (None, None)>
                <button class="chip" data-testid="loop-clear" aria-label="Loop without points" title="Loop without points (Shift L)"
                    on:click=move |_| store.transport.update(|t| t.points = (None, None))>"×"</button>
            </Show>
            <label class="field" title="Sound before the loop's start, each time round">
                <span>"Pre-roll"</span>
                <select data-testid="pre-roll" on:change=pre_roll>
                    {Transport::PRE_ROLLS.into_iter().map(|s| view! { <option value=s.to_string()>{format!("{s} s")}</option> }).collect_view()}
                </select>
            </label>
            <button
                class="chip"
                data-testid="paint"
                aria-pressed=move || store.painting.get().to_string()
                title="While the line plays, hold a key: its mouth is written from press to release (B). The keys lie on the keyboard as the little mouths lie on the page."
                on:click=move |_| store.painting.update(|p| *p = !*p)
            >"Paint"</button>
            <button class="chip" data-testid="add-marker" title="Set a marker at the playhead (K)" on:click=move |_| store.add_marker()>"Marker"</button>
        </div>
    }
}

/// The loop on the ruler.
#[component]
pub fn LoopBand() -> impl IntoView {
    let store = expect_context::<Store>();
    let band = Memo::new(move |_| {
        let span = store.transport.with(|t| t.between_points(store.axis.with(|a| a.duration())))?;
        let axis = store.axis.get();
        let (from, to) = (axis.x(span.0).max(0.0), axis.x(span.1).min(axis.width()));
        (to > from).then_some((from, to - from))
    });
    view! {
        <Show when=move || band.get().is_some()>
            <div
                class="loop-band"
                data-testid="loop-band"
                style:left=move || format!("{:.1}px", band.get().unwrap_or_default().0)
                style:width=move || format!("{:.1}px", band.get().unwrap_or_default().1)
            ></div>
        </Show>
    }
}

/// The markers, where there are any.
#[component]
pub fn Markers() -> impl IntoView {
    let store = expect_context::<Store>();
    let markers = Memo::new(move |_| {
        store.with_take(|t| t.line().map(|l| l.markers().to_vec())).flatten().unwrap_or_default()
    });
    let any = Memo::new(move |_| markers.with(|m| !m.is_empty()));
    view! {
        <Show when=move || any.get()>
            <div class="row markers">
                <div class="label">"Markers"</div>
                <div class="track" role="group" aria-label="Markers, in order of time" data-testid="markers">
                    // Without its number in the key: one more in front leaves the others as they are.
                    <For
                        each=move || markers.get()
                        key=|m| (m.time.value().to_bits(), m.name.clone())
                        children=move |marker| view! { <Flag marker=marker /> }
                    />
                </div>
            </div>
        </Show>
    }
}

/// One marker: its name is a field; going there is a button.
#[component]
fn Flag(marker: Marker) -> impl IntoView {
    let store = expect_context::<Store>();
    let time = marker.time;
    let name = StoredValue::new(marker.name.clone());
    let x = Memo::new(move |_| store.axis.with(|a| a.x(time).round()));
    let seen = move || store.axis.with(|a| x.get() > -120.0 && x.get() < a.width());
    let rename = move |event: web_sys::Event| {
        let field = event.target().and_then(|t| t.dyn_into::<web_sys::HtmlInputElement>().ok());
        let Some(field) = field else { return };
        let wanted = field.value();
        if wanted.trim().is_empty() {
            field.set_value(&name.get_value());
        } else {
            store.edit(|t| t.set_marker(time, wanted.trim()));
        }
    };
    let delete = move |_| {
        let find = |t: &crate::editor::Take| t.line()?.markers().iter().position(|m| m.time == time);
        if let Some(index) = store.peek(find).flatten() {
            store.edit(|t| t.delete_marker(index));
        }
    };
    view! {
        <div
            class="marker"
            data-testid="marker"
            data-time=format!("{:.4}", time.value())
            data-name=marker.name.clone()
            style:transform=move || format!("translateX({}px)", x.get())
            style:display=move || if seen() { "" } else { "none" }
        >
            <button aria-label=format!("Go to {}", marker.name) title="Go there" on:click=move |_| {
                store.seek(time);
                store.axis.update(|a| *a = a.showing(time));
            }>"▸"</button>
            <input
                type="text"
                maxlength=Marker::LONGEST.to_string()
                size=marker.name.chars().count().clamp(4, 24).to_string()
                aria-label="Name of the marker"
                prop:value=marker.name.clone()
                on:change=rename
                on:keydown=move |event: web_sys::KeyboardEvent| {
                    if event.key() == "Enter" || event.key() == "Escape" {
                        event.stop_propagation();
                        if let Some(field) = super::element(&event) {
                            let _ = field.blur();
                        }
                    }
                }
            />
            <button aria-label=format!("Take {} away", marker.name) title="Take the marker away" on:click=delete>"×"</button>
        </div>
    }
}
