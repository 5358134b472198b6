//! The top bar: the project, files, undo and redo, theme, help.

use super::store::{Dialog, Store};
use crate::editor::View;
use crate::editor::rig::RigDraft;
use crate::scene::Theme;
use crate::web::{files, keep};
use leptos::prelude::*;
use lipwright_core::line::{Document, Step};
use lipwright_core::rig::Preset;
use wasm_bindgen::JsCast;

fn selected(event: &web_sys::Event) -> Option<String> {
    let select = event.target()?.dyn_into::<web_sys::HtmlSelectElement>().ok()?;
    // The choice is made: the keyboard goes back to the page.
    let _ = select.blur();
    Some(select.value())
}

/// How a rig of the person's own is listed beside those to start from.
fn own_rig(name: String) -> String {
    let preset = Preset::ALL.iter().any(|p| p.name() == name);
    if preset { format!("{name}, changed") } else { name }
}

/// The top bar.
#[component]
pub fn Bar() -> impl IntoView {
    let store = expect_context::<Store>();
    let step = move |which: fn(&Document) -> Option<Step>| {
        Memo::new(move |_| {
            store.with_take(|t| t.document.as_ref().and_then(which)).flatten().map(|s| s.to_string())
        })
    };
    let line_undo = step(Document::can_undo);
    let line_redo = step(Document::can_redo);
    // Undo speaks of what is on the screen.
    let here = move |line: Memo<Option<String>>, rig: fn(&RigDraft) -> Option<&str>| {
        Memo::new(move |_| match store.view.get() {
            View::Line => line.get(),
            View::Rig => store.desk.draft.with(|d| rig(d).map(str::to_owned)),
            View::Bench => None,
        })
    };
    let undo = here(line_undo, RigDraft::can_undo);
    let redo = here(line_redo, RigDraft::can_redo);
    let preset = Memo::new(move |_| {
        store.head.with(|h| {
            let same = |p: &Preset| p.describe() == *h.rig.description();
            Preset::ALL.into_iter().find(same).map_or_else(|| Err(h.rig.name().to_owned()), |p| Ok(p.name()))
        })
    });
    let names = Memo::new(move |_| {
        store.takes.with(|takes| takes.iter().map(|t| t.name.clone()).collect::<Vec<_>>())
    });
    let pick = move |event: web_sys::Event| {
        let input = event.target().and_then(|t| t.dyn_into::<web_sys::HtmlInputElement>().ok());
        let Some(input) = input else { return };
        store.take_files(files::all(input.files().as_ref()));
        // The same file may be chosen again.
        input.set_value("");
    };
    let theme = move |_| {
        store.theme.update(|t| *t = if *t == Theme::Dark { Theme::Light } else { Theme::Dark });
        let name = if store.theme.get_untracked() == Theme::Dark { "dark" } else { "light" };
        keep::choose("theme", name);
    };
    view! {
        <header class="bar">
            <h1 class="brand"><Mark />"Lipwright"</h1>
            <super::views::Switch />
            <label class="field">
                <span>"Line"</span>
                <select
                    data-testid="line"
                    prop:value=move || store.current.get().to_string()
                    on:change=move |event| {
                        if let Some(index) = selected(&event).and_then(|v| v.parse().ok()) {
                            store.open(index);
                        }
                    }
                >
                    <optgroup label=move || store.project.get()>
                        <For
                            each=move || names.get().into_iter().enumerate()
                            key=Clone::clone
                            children=move |(i, name)| view! {
                                <option value=i.to_string() selected=move || store.current.get() == i>{name}</option>
                            }
                        />
                    </optgroup>
                </select>
            </label>
            <label class="field">
                <span>"Rig"</span>
                <select data-testid="rig" title="The head that performs" on:change=move |event| {
                    if let Some(name) = selected(&event) {
                        store.set_preset(&name);
                    }
                }>
                    {Preset::ALL.into_iter().map(|p| {
                        let on = move || preset.with(|x| *x == Ok(p.name()));
                        view! { <option value=p.name() selected=on>{p.name()}</option> }
                    }).collect_view()}
                    <Show when=move || preset.with(Result::is_err)>
                        <option value="" selected=true>{move || preset.get().err().map(own_rig)}</option>
                    </Show>
                </select>
            </label>
            <div class="group">
                <button
                    data-testid="undo"
                    disabled=move || undo.with(Option::is_none)
                    title=move || undo.get().map_or_else(|| "Nothing to undo".to_owned(), |s| format!("Undo: {s} (Ctrl Z)"))
                    on:click=move |_| store.undo_here()
                >"Undo"<small>{move || undo.get()}</small></button>
                <button
                    data-testid="redo"
                    disabled=move || redo.with(Option::is_none)
                    title=move || redo.get().map_or_else(|| "Nothing to redo".to_owned(), |s| format!("Redo: {s} (Ctrl Y)"))
                    on:click=move |_| store.redo_here()
                >"Redo"<small>{move || redo.get()}</small></button>
            </div>
            <span class="spring"></span>
            <input id="file" type="file" class="sr" multiple tabindex="-1" aria-hidden="true" data-testid="file"
                accept="audio/*,.wav,.txt,text/plain,.json,application/json" on:change=pick />
            <button data-testid="project" title="The lines of the project, and its earlier states" on:click=move |_| store.dialog.set(Dialog::Project)>"Project…"</button>
            <button data-testid="open" title="Open recordings, scripts, a project or a rig (Ctrl O)" on:click=move |_| store.choose_files()>"Open…"</button>
            <button data-testid="record" title="Record a line from the microphone" on:click=move |_| store.dialog.set(Dialog::Record)>"Record…"</button>
            <button data-testid="save" title=move || store.place.with(|p| match p { Some(name) => format!("Save the project into {name} (Ctrl S)"), None => "Save the project with its recordings (Ctrl S)".to_owned() }) on:click=move |_| store.save_project()>"Save"</button>
            <button class="main" data-testid="export" title="Export the servo track (Ctrl E)" on:click=move |_| store.dialog.set(Dialog::Export)>"Export…"</button>
            <button class="icon" data-testid="theme" aria-label="Dark or light" title="Dark or light" on:click=theme>
                <svg viewBox="0 0 24 24" aria-hidden="true"><path d="M12 3a9 9 0 1 0 0 18zM12 5.500v13a6.500 6.500 0 0 0 0-13z" /></svg>
            </button>
            <button class="icon" data-testid="help" aria-label="Help and keys" title="Help and keys (?)" on:click=move |_| store.dialog.set(Dialog::Help)>
                <span aria-hidden="true">"?"</span>
            </button>
        </header>
    }
}

/// The mark: a mouth on two pivots.
#[component]
fn Mark() -> impl IntoView {
    view! {
        <svg class="mark" viewBox="0 0 64 40" aria-hidden="true">
            <path class="lips" d="M9 21c7-11 13-13 18-11 3 1 4 2 5 2s2-1 5-2c5-2 11 0 18 11-8 13-15 17-23 17S17 34 9 21z" />
            <path class="gap" d="M15 21c7-4 11-5 17-5s10 1 17 5c-6 6-11 8-17 8s-11-2-17-8z" />
            <path class="teeth" d="M22 17.500h20l-1 3.500H23z" />
            <circle cx="9" cy="21" r="4.500" /><circle cx="55" cy="21" r="4.500" />
        </svg>
    }
}
