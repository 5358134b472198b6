//! Playing and zooming.

use super::store::Store;
use crate::editor::{TimeUnit, Transport};
use leptos::prelude::*;
use lipwright_core::units::Seconds;

/// Play, time, speed, loop, zoom.
#[component]
pub fn TransportBar() -> impl IntoView {
    let store = expect_context::<Store>();
    let playing = Memo::new(move |_| store.transport.with(|t| t.playing));
    let speed = Memo::new(move |_| store.transport.with(|t| t.speed));
    let looping = Memo::new(move |_| store.transport.with(|t| t.looping));
    let duration =
        move || store.with_take(|t| t.line().map(|l| l.duration())).flatten().unwrap_or(Seconds::ZERO);
    let unit = Memo::new(move |_| store.axis.with(|a| a.unit()));
    let zoom = move |factor: f64| {
        let time = store.transport.with_untracked(|t| t.time);
        store.axis.update(|a| {
            let x = a.x(time);
            let about = if (0.0..=a.width()).contains(&x) { x } else { a.width() / 2.0 };
            *a = a.zoomed(factor, about);
        });
    };
    view! {
        <section class="transport" aria-label="Playing">
            <button
                class="play"
                data-testid="play"
                aria-label=move || if playing.get() { "Pause" } else { "Play" }
                title="Play or pause (space)"
                on:click=move |_| store.toggle_play()
            >
                <svg viewBox="0 0 24 24" aria-hidden="true">
                    <Show
                        when=move || playing.get()
                        fallback=|| view! { <path d="M7 4.500v15l13-7.500z" /> }
                    >
                        <path d="M6 4.500h4.500v15H6zM13.500 4.500H18v15h-4.500z" />
                    </Show>
                </svg>
            </button>
            <span class="time" data-testid="time">
                <b>{move || unit.get().say(store.transport.with(|t| t.time), 0.01)}</b>
                <span>" / " {move || unit.get().say(duration(), 0.01)} {move || if unit.get() == TimeUnit::Seconds { " s" } else { "" }}</span>
            </span>
            <div class="group" role="group" aria-label="Speed">
                {Transport::SPEEDS
                    .into_iter()
                    .map(|(value, text)| {
                        let on = move || (speed.get() - value).abs() < 1e-9;
                        view! {
                            <button
                                class="chip"
                                aria-pressed=move || on().to_string()
                                aria-label=format!("Speed {value}")
                                on:click=move |_| store.set_speed(value)
                            >{text}</button>
                        }
                    })
                    .collect_view()}
            </div>
            <button
                class="chip"
                aria-pressed=move || looping.get().to_string()
                title="Repeat between the loop's points, or the selection, or the whole line (L)"
                data-testid="loop"
                on:click=move |_| store.transport.update(|t| t.looping = !t.looping)
            >"Loop"</button>
            <super::loops::Loops />
            <span class="spring"></span>
            <div class="group" role="group" aria-label="Zoom">
                <button class="chip" title="Zoom out (−)" aria-label="Zoom out" on:click=move |_| zoom(1.0 / 1.5)>"−"</button>
                <button
                    class="chip"
                    title="The whole line (0)"
                    data-testid="fit"
                    on:click=move |_| {
                        store.axis.update(|a| *a = a.of(a.duration()));
                    }
                >"Whole line"</button>
                <button class="chip" title="Zoom in (+)" aria-label="Zoom in" data-testid="zoom-in" on:click=move |_| zoom(1.5)>"+"</button>
            </div>
        </section>
    }
}
