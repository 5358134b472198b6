//! Beside the stage: the selected segment with the little mouths, and what the head cannot do.

use super::picture::Picture;
use super::store::Store;
use crate::editor::Take;
use crate::scene::mouth::icon;
use crate::scene::pt;
use leptos::prelude::*;
use lipwright_core::line::Segment;
use lipwright_core::phonetics::{Articulator, MouthShape};
use wasm_bindgen::JsCast;

/// Class that carries an articulator's colour.
pub const fn lead(articulator: Articulator) -> &'static str {
    match articulator {
        Articulator::None => "lead-none",
        Articulator::Lips => "lead-lips",
        Articulator::TongueTip => "lead-tip",
        Articulator::TongueBody => "lead-body",
        Articulator::Jaw => "lead-jaw",
    }
}

/// Segment and problems.
#[component]
pub fn Panel() -> impl IntoView {
    view! {
        <aside class="panel" aria-label="Segment and problems">
            <Chosen />
            <Palette />
            <super::problems::Problems />
        </aside>
    }
}

/// The selected segment in words, with its verbs.
#[component]
fn Chosen() -> impl IntoView {
    let store = expect_context::<Store>();
    let segment = Memo::new(move |_| store.with_take(|t| t.selection().cloned()).flatten());
    let any = move || segment.with(Option::is_some);
    let strength = move || segment.with(|s| s.as_ref().map_or(1.0, |s| s.strength));
    let run = Memo::new(move |_| store.with_take(|t| Some((t.run()?.len(), t.run_span()?))).flatten());
    let many = move || run.get().filter(|(count, _)| *count > 1);
    let locked = Memo::new(move |_| {
        let all = |t: &Take| Some(t.line()?.segments().get(t.run()?)?.iter().all(|s| s.locked));
        store.with_take(all).flatten() == Some(true)
    });
    let held = Memo::new(move |_| store.with_take(Take::is_held) == Some(true));
    let times = move || {
        if let Some((_, (start, end))) = many() {
            return Some(format!(
                "{:.3} – {:.3} s, {:.0} ms",
                start.value(),
                end.value(),
                (end - start).value() * 1000.0
            ));
        }
        segment.with(|s| {
            s.as_ref().map(|s| {
                format!(
                    "{:.3} – {:.3} s, {:.0} ms",
                    s.start.value(),
                    s.end.value(),
                    s.length().value() * 1000.0
                )
            })
        })
    };
    let sure = move || {
        segment.with(|s| {
            s.as_ref().map(|s| {
                if s.locked {
                    "locked".to_owned()
                } else if s.by_hand {
                    "set by hand".to_owned()
                } else {
                    format!("{:.0} % sure", s.confidence * 100.0)
                }
            })
        })
    };
    let heading = move || {
        if let Some((count, _)) = many() {
            return super::store::counted(count);
        }
        segment.with(|s| match s {
            Some(s) => match (s.phone, s.glide) {
                (Some(p), Some(g)) => format!("{} to {g} · {p}", s.shape),
                (Some(p), None) => format!("{} · {p}", s.shape),
                (None, Some(g)) => format!("{} to {g}", s.shape),
                (None, None) => s.shape.to_string(),
            },
            None => "Choose a segment".to_owned(),
        })
    };
    view! {
        <div class="chosen">
            <div class="chosen-head"><h2 data-testid="chosen">{heading}</h2>
            <p class="facts">{move || {
                if many().is_some() {
                    times().unwrap_or_default()
                } else if any() {
                    format!("{} · {}", times().unwrap_or_default(), sure().unwrap_or_default())
                } else {
                    "in the lane below, or with the arrow keys".to_owned()
                }
            }}</p></div>
            <div class="verbs">
                <button data-testid="split" title="Split at the playhead (S)" on:click=move |_| {
                    let time = store.transport.with_untracked(|t| t.time);
                    store.edit(|t| t.split(time));
                }>"Split"</button>
                <button data-testid="merge" disabled=move || !any() title="Merge with the next (M)" on:click=move |_| store.edit(Take::merge)>"Merge"</button>
                <button data-testid="delete" disabled=move || !any() title="Delete; neighbours share the time (Delete)" on:click=move |_| store.edit(Take::delete)>"Delete"</button>
                <button class="chip" data-testid="lock" disabled=move || !any() aria-pressed=move || locked.get().to_string() title="Locked segments stay as they are when the line is listened to again (T)" on:click=move |_| store.toggle_lock()>"Lock"</button>
                <button class="chip" data-testid="hold" disabled=move || !any() aria-pressed=move || held.get().to_string() title="Held segments keep their shape from start to end; their neighbours give the time (H)" on:click=move |_| store.toggle_hold()>"Hold"</button>
                <button data-testid="relisten" disabled=move || !any() title="Listen to the chosen segments again; what is locked stays (E)" on:click=move |_| store.listen_to_selection()>"Re-listen"</button>
                <label class="strength">
                    <input
                        aria-label="Strength"
                        title="Strength: less or more of the shape (↑ ↓)"
                        type="range"
                        min="0"
                        max="150"
                        step="5"
                        data-testid="strength"
                        disabled=move || !any()
                        aria-valuetext=move || format!("{:.0} per cent", strength() * 100.0)
                        prop:value=move || format!("{:.0}", strength() * 100.0)
                        on:change=move |event| {
                            let value = event.target().and_then(|t| t.dyn_into::<web_sys::HtmlInputElement>().ok());
                            if let Some(value) = value.and_then(|i| i.value().parse::<f64>().ok()) {
                                store.edit(|t| t.change_strength(|_| (value / 100.0).min(Segment::MAX_STRENGTH)));
                            }
                        }
                    />
                    <b>{move || format!("{:.0} %", strength() * 100.0)}</b>
                </label>
            </div>
        </div>
    }
}

/// The shape's name, with the place where a long one may go on in a second line.
fn in_parts(shape: MouthShape) -> &'static str {
    match shape {
        MouthShape::Labiodental => "labio\u{ad}dental",
        MouthShape::Postalveolar => "post\u{ad}alveolar",
        _ => shape.name(),
    }
}

/// The fourteen little mouths.
#[component]
fn Palette() -> impl IntoView {
    let store = expect_context::<Store>();
    let current = Memo::new(move |_| store.with_take(|t| t.selection().map(|s| s.shape)).flatten());
    // Arrow keys walk the grid; one mouth at a time is in the tab order.
    let walk = move |event: web_sys::KeyboardEvent| {
        let by: isize = match event.key().as_str() {
            "ArrowLeft" => -1,
            "ArrowRight" => 1,
            "ArrowUp" => -7,
            "ArrowDown" => 7,
            _ => return,
        };
        event.prevent_default();
        event.stop_propagation();
        let Some(element) = super::element(&event).and_then(|e| e.closest("button").ok().flatten()) else {
            return;
        };
        let Some(index) = element.get_attribute("data-index").and_then(|i| i.parse::<usize>().ok()) else {
            return;
        };
        let next = (index as isize + by).rem_euclid(MouthShape::COUNT as isize);
        super::keys::focus(&format!(".palette button[data-index=\"{next}\"]"));
    };
    view! {
        // Wanted where shapes are painted, and where the tour points at it, whatever the list needs.
        <div class="palette" hidden=move || store.roomy.get() && !store.painting.get() && store.tour.get().is_none() role="toolbar" aria-label="Replace the segment's shape" on:keydown=walk class:painting=move || store.painting.get()>
            {MouthShape::ALL
                .into_iter()
                .map(|shape| {
                    let on = move || current.get() == Some(shape);
                    let first = move || current.get().map_or(shape.index() == 0, |c| c == shape);
                    view! {
                        <button
                            class=format!("mouth {}", lead(shape.articulator()))
                            data-testid=format!("shape-{shape}")
                            data-index=shape.index().to_string()
                            aria-pressed=move || on().to_string()
                            aria-label=format!("{shape}: {}", shape.sounds())
                            title=format!("{shape}: {}", shape.sounds())
                            tabindex=move || if first() { "0" } else { "-1" }
                            on:click=move |_| {
                                // Nothing chosen: the segment under the playhead is meant.
                                let time = store.transport.with_untracked(|t| t.time);
                                store.edit(|t| {
                                    if t.selected.is_none() {
                                        t.select_at(time);
                                    }
                                    t.replace(shape)
                                });
                            }
                        >
                            <Picture testid=format!("mouth-{shape}") label=Signal::derive(String::new) theme=store.theme draw=move |w, h| {
                                store.head.with(|head| icon(&head.poses[shape.index()], &head.anatomy, pt(0.0, 0.0), w, h))
                            } />
                            <span>{in_parts(shape)}</span>
                            <Show when=move || store.painting.get()>
                                <kbd aria-hidden="true">{super::keys::PALETTE[shape.index()].1}</kbd>
                            </Show>
                        </button>
                    }
                })
                .collect_view()}
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_in_parts_is_the_name() {
        for shape in MouthShape::ALL {
            assert_eq!(in_parts(shape).replace('\u{ad}', ""), shape.name());
        }
    }
}
