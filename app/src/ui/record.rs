//! The recording desk: microphone, level, count-in, and what was recorded.

use super::dialogs::Modal;
use super::store::{Booth, Dubbed, Store};
use crate::editor::Shared;
use crate::web::files;
use leptos::prelude::*;

/// Level on a scale of decibels: -60 dB is 0, full scale 1.
fn scale(peak: f64) -> f64 {
    ((20.0 * peak.max(1e-6).log10() + 60.0) / 60.0).clamp(0.0, 1.0)
}

/// The dialog.
#[component]
pub fn Record() -> impl IntoView {
    let store = expect_context::<Store>();
    store.open_booth();
    on_cleanup(move || store.close_booth());
    let desk = store.dubbing;
    let refused = move || match desk.booth.get() {
        Booth::Refused(why) => Some(format!(
            "The microphone cannot be had: {why}. Allow it in the browser's address bar and open this desk again."
        )),
        _ => None,
    };
    let button = move || match desk.booth.get() {
        Booth::Recording => "Stop".to_owned(),
        Booth::Counting(left) => format!("{left} …"),
        _ => "Record".to_owned(),
    };
    let ready = move || matches!(desk.booth.get(), Booth::Open | Booth::Recording | Booth::Counting(_));
    let line = move || store.with_take(|t| t.name.clone());
    view! {
        <Modal title="Record" testid="record-dialog">
            <p class="facts">"Speak as the head shall speak, a hand's breadth from the microphone. Silence at both ends is cut off and the level is set; nothing leaves this browser."</p>
            <Show when=move || refused().is_some()><p class="wrong" role="alert">{refused}</p></Show>
            <div class="booth">
                <button class="main" data-testid="record-go" disabled=move || !ready() aria-pressed=move || (desk.booth.get() == Booth::Recording).to_string()
                    on:click=move |_| store.record()>{button}</button>
                <meter aria-label="Level of the microphone" data-testid="record-level" min="0" max="1" low="0.5" high="0.95" optimum="0.75"
                    prop:value=move || scale(desk.level.get())></meter>
                <span class="time" data-testid="record-length">{move || format!("{:.1} s", desk.length.get())}</span>
                <span class="clip" role="status" data-testid="record-clip">{move || desk.clipped.get().then_some("Too loud: it clips")}</span>
                <label class="check"><input type="checkbox" data-testid="record-count" prop:checked=move || desk.count_in.get()
                    on:change=move |e| desk.count_in.set(event_target_checked(&e)) /><span>"Count in"</span></label>
            </div>
            <h3>"Recorded now"</h3>
            <Show when=move || desk.dubs.with(Vec::is_empty)><p class="facts">"Nothing yet."</p></Show>
            <ul class="dubs" data-testid="dubs">
                <For each=move || desk.dubs.get() key=|d| d.number children=move |dubbed| {
                    let Dubbed { number, bytes, what, clipped } = dubbed.clone();
                    let (new, use_it) = (dubbed.clone(), StoredValue::new(dubbed));
                    view! {
                        <li class:clipped=clipped>
                            <b>{format!("Recording {number}")}</b>
                            <span>{what}</span>
                            <Listen bytes label=format!("Recording {number}") />
                            <div class="verbs">
                                <button data-testid=format!("dub-line-{number}") on:click=move |_| store.dub_as_line(&new)>"Make it a line"</button>
                                <Show when=move || line().is_some()>
                                    <button data-testid=format!("dub-use-{number}") on:click=move |_| use_it.with_value(|d| store.dub_for_line(d))>
                                        {move || format!("Use it for {}", line().unwrap_or_default())}
                                    </button>
                                </Show>
                            </div>
                        </li>
                    }
                } />
            </ul>
            <Others />
        </Modal>
    }
}

/// The other recordings of the open line.
#[component]
fn Others() -> impl IntoView {
    let store = expect_context::<Store>();
    let others = move || {
        store
            .with_take(|t| t.others.iter().map(|o| (o.file.clone(), o.bytes.clone())).collect::<Vec<_>>())
            .unwrap_or_default()
    };
    view! {
        <Show when=move || !others().is_empty()>
            <h3>{move || format!("Other recordings of {}", store.with_take(|t| t.name.clone()).unwrap_or_default())}</h3>
            <ul class="dubs" data-testid="others">
                {move || others().into_iter().enumerate().map(|(i, (file, bytes))| view! {
                    <li>
                        <b>{file.clone()}</b>
                        <Listen bytes label=file />
                        <button data-testid=format!("other-use-{i}") on:click=move |_| store.use_recording(i)>"Use this one"</button>
                    </li>
                }).collect_view()}
            </ul>
        </Show>
    }
}

/// A player of one recording.
#[component]
fn Listen(
    /// The file.
    bytes: Shared<Vec<u8>>,
    /// What it is.
    label: String,
) -> impl IntoView {
    // Without an address there is nothing to press; the rest of the desk works.
    let address = files::address("audio/wav", &bytes).unwrap_or_default();
    let old = address.clone();
    on_cleanup(move || files::forget_address(&old));
    view! { <audio controls preload="metadata" src=address aria-label=label></audio> }
}
