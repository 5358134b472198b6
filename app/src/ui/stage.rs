//! The stage: the head as it will really move, and the cut that shows the tongue.

use super::picture::Picture;
use super::store::{Phase, Store};
use crate::scene::face::{Look, front};
use crate::scene::side::cut;
use leptos::prelude::*;
use lipwright_core::rig::DofValues;
use lipwright_core::units::Seconds;

/// So often a second is the cut drawn while the line plays: half of a screen's frames, and the tongue is
/// small. What the front shows, it shows in every frame.
const CUTS: f64 = 30.0;

/// Planned and wanted face at a time.
fn faces(store: Store, time: Seconds) -> (DofValues, Option<DofValues>) {
    let performance = store.performance.get();
    store.head.with(|head| match performance {
        Some(p) => {
            // What shows now was sent a servo's lag ago.
            let sent: Seconds = time - p.head().lag;
            (head.rig.forward(&p.angles_at(sent)), Some(p.wanted_face_at(sent)))
        }
        None => (head.rig.rest(), None),
    })
}

/// Gives the stage the whole screen, or takes it back.
pub fn full_screen() {
    let page = document();
    if page.fullscreen_element().is_some() {
        page.exit_fullscreen();
    } else if let Ok(Some(stage)) = page.query_selector(".stage") {
        // A browser that will not shows the stage where it is.
        let _ = stage.request_fullscreen();
    }
}

/// Two canvases and their switches.
#[component]
pub fn Stage() -> impl IntoView {
    let store = expect_context::<Store>();
    let pair_at = move |time: Seconds| {
        let (planned, wanted) = faces(store, time);
        (planned, wanted.filter(|_| store.ghost.get()))
    };
    let pair = Memo::new(move |_| pair_at(store.transport.with(|t| t.time)));
    let seldom = Memo::new(move |_| store.transport.with(|t| t.readable(CUTS)));
    let cut_pair = Memo::new(move |_| pair_at(seldom.get()));
    let shape = move || {
        let time = store.transport.with(|t| t.time);
        store
            .with_take(|t| t.line().map(|l| l.segments()[l.segment_at(time)].clone()))
            .flatten()
            .map(|s| (s.shape, s.phone))
    };
    let name = Memo::new(move |_| shape().map_or("–", |(s, _)| s.name()).to_owned());
    let label = Signal::derive(move || format!("The head, front view: {}", name.get()));
    let work = move || match store.phase.get() {
        Phase::Ready => None,
        Phase::Loading => Some("Opening the recording"),
        Phase::Listening => Some("Listening"),
        Phase::Planning => Some("Planning motion"),
        Phase::Writing => Some("Writing and checking the track"),
    };
    view! {
        <section class="stage" aria-label="Stage">
            <div class="front" class:mirrored=move || store.mirrored.get()>
                <Picture testid="stage-front" label=label theme=store.theme draw=move |w, h| {
                    let anatomy = store.head.with(|h| h.anatomy);
                    pair.with(|(planned, wanted)| front(planned, wanted.as_ref(), &anatomy, store.look.get(), w, h))
                } />
                <div class="readout" aria-hidden="true">
                    <span class="shape" data-testid="current-shape">{move || name.get()}</span>
                    <span class="sounds">{move || {
                        shape().and_then(|(s, p)| p.map(|p| p.arpabet().to_owned()).or(Some(s.sounds().to_owned())))
                    }}</span>
                </div>
                <div class="switches">
                    <button
                        class="chip"
                        aria-pressed=move || store.ghost.get().to_string()
                        title="Show what was wanted as a dashed outline (G)"
                        data-testid="ghost"
                        on:click=move |_| store.ghost.update(|g| *g = !*g)
                    >"Wanted"</button>
                    <button
                        class="chip"
                        aria-pressed=move || (store.look.get() == Look::Close).to_string()
                        title="Close look at the mouth (C)"
                        data-testid="close"
                        on:click=move |_| store.look.update(|l| *l = if *l == Look::Close { Look::Whole } else { Look::Close })
                    >"Close"</button>
                    <button
                        class="chip"
                        aria-pressed=move || store.mirrored.get().to_string()
                        title="The head as in a mirror: its left is your left (V)"
                        data-testid="mirror"
                        on:click=move |_| store.mirrored.update(|m| *m = !*m)
                    >"Mirror"</button>
                    <button class="chip" title="The stage alone on the whole screen (Z)" data-testid="full" on:click=move |_| full_screen()>"Full screen"</button>
                </div>
                <Show when=move || store.takes.with(Vec::is_empty) && store.phase.get() == Phase::Ready>
                    <div class="nothing" data-testid="nothing-open">
                        <h2>"No line yet"</h2>
                        <p>"Drop recordings of dialogue anywhere on this page: WAV, or whatever else this browser plays. A text file of the same name becomes the script."</p>
                        <div class="verbs"><button class="main" on:click=move |_| store.choose_files()>"Open files…"</button>
                            <button on:click=move |_| store.dialog.set(super::store::Dialog::Record)>"Record…"</button></div>
                    </div>
                </Show>
                // Hidden rather than taken away: it comes with every plan, and what is made anew that often adds up.
                <div class="busy" role="status" hidden=move || work().is_none()>
                    <span>{move || work().unwrap_or_default()}</span>
                    <progress max="1" aria-label="How far it has come" value=move || store.progress.get()></progress>
                    <button class="quiet" data-testid="cancel" on:click=move |_| store.cancel()>"Call off"</button>
                </div>
            </div>
            <div class="cut">
                <Picture testid="stage-cut" label=Signal::derive(|| "The head cut down the middle: tongue, teeth and lips".to_owned()) theme=store.theme draw=move |w, h| {
                    let anatomy = store.head.with(|h| h.anatomy);
                    cut_pair.with(|(planned, wanted)| cut(planned, wanted.as_ref(), &anatomy, w, h))
                } />
                <ul class="legend" aria-hidden="true">
                    <li class="lead-tip">"tongue tip"</li>
                    <li class="lead-body">"tongue body"</li>
                    <li class="lead-jaw">"jaw hinge"</li>
                </ul>
            </div>
        </section>
    }
}
