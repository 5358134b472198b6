//! The project: its lines in order, and the states that are kept of it.

use super::dialogs::Modal;
use super::store::{Dialog, Standing, Store};
use crate::editor::keeping::Entry;
use leptos::prelude::*;

/// What a line has come to, in a few words.
fn status(take: &crate::editor::Take) -> String {
    let Some(line) = take.line() else { return "not listened to yet".to_owned() };
    let shapes = line.segments().len();
    let by_hand = line.segments().iter().filter(|s| s.by_hand).count();
    let hand = if by_hand > 0 { format!(", {by_hand} by hand") } else { String::new() };
    let plan = match take.performance.as_ref().map(|p| p.head().problems.len()) {
        None => String::new(),
        Some(0) => ", the head can do all of it".to_owned(),
        Some(1) => ", 1 problem".to_owned(),
        Some(n) => format!(", {n} problems"),
    };
    format!("{:.1} s, {shapes} shapes{hand}{plan}", line.duration().value())
}

/// Time of day of a state, as the person's clock shows it; with the day where that is another one.
fn clock(at_ms: f64) -> String {
    let date = js_sys::Date::new(&at_ms.into());
    let time = format!("{:02}:{:02}:{:02}", date.get_hours(), date.get_minutes(), date.get_seconds());
    let now = js_sys::Date::new_0();
    let same = (date.get_full_year(), date.get_month(), date.get_date())
        == (now.get_full_year(), now.get_month(), now.get_date());
    if same {
        time
    } else {
        format!("{}-{:02}-{:02} {time}", date.get_full_year(), date.get_month() + 1, date.get_date())
    }
}

/// The dialog.
#[component]
pub fn Project() -> impl IntoView {
    view! {
        <Modal title="Project" testid="project-dialog">
            <Lines />
            <History />
        </Modal>
    }
}

#[component]
fn Lines() -> impl IntoView {
    let store = expect_context::<Store>();
    let rows = Memo::new(move |_| {
        store.takes.with(|takes| takes.iter().map(|t| (t.name.clone(), status(t))).collect::<Vec<_>>())
    });
    view! {
        <label class="field project-name"><span>"Name of the project"</span>
            <input data-testid="project-name" prop:value=move || store.project.get() on:change=move |e| store.name_project(&event_target_value(&e)) />
        </label>
        <h3>"Lines"</h3>
        <Show when=move || rows.with(Vec::is_empty)>
            <p class="facts">"No line yet. Drop a recording anywhere, or press Ctrl O."</p>
        </Show>
        <ol class="project-lines" data-testid="project-lines">
            <For each=move || rows.get().into_iter().enumerate() key=Clone::clone children=move |(i, (name, status))| {
                let shown = name.clone();
                let last = move || i + 1 == rows.with(Vec::len);
                view! {
                    <li>
                        <input aria-label=format!("Name of line {}", i + 1) data-testid=format!("line-name-{i}") prop:value=name.clone()
                            on:change=move |e| store.name_line(i, &event_target_value(&e)) />
                        <span>{status}</span>
                        <button class="quiet" aria-label=format!("Open {shown}") data-testid=format!("line-open-{i}") on:click=move |_| {
                            store.dialog.set(Dialog::None);
                            store.open(i);
                        }>"Open"</button>
                        <button class="quiet" aria-label=format!("{shown} earlier") data-testid=format!("line-up-{i}") disabled=i == 0 on:click=move |_| store.move_line(i, i.saturating_sub(1))>"↑"</button>
                        <button class="quiet" aria-label=format!("{shown} later") data-testid=format!("line-down-{i}") disabled=last on:click=move |_| store.move_line(i, i + 1)>"↓"</button>
                        <button class="quiet" aria-label=format!("Take {shown} out of the project") data-testid=format!("line-remove-{i}") on:click=move |_| store.remove_line(i)>"Take out"</button>
                    </li>
                }
            } />
        </ol>
        <div class="dialog-foot">
            <button data-testid="project-new" on:click=move |_| store.new_project()>"New project"</button>
            <button data-testid="save-as" on:click=move |_| store.save_project_as()>"Save into another file…"</button>
        </div>
    }
}

#[component]
fn History() -> impl IntoView {
    let store = expect_context::<Store>();
    let entries = move || store.keeping.entries.get().into_iter().rev().collect::<Vec<_>>();
    let newest = move || store.keeping.entries.with(|e| e.last().map(|e| e.id));
    let kept = move || {
        match store.keeping.standing.get() {
        Standing::Starting => "Looking at what this browser keeps …".to_owned(),
        Standing::Here => "Everything is kept in this browser within a second, recordings too. Look at any earlier state; the later ones stay.".to_owned(),
        Standing::Elsewhere => "Another tab or window keeps this project: what you change here is not kept.".to_owned(),
        Standing::Refused(why) => format!("This browser keeps nothing ({why}): save the project to a file before you leave."),
    }
    };
    view! {
        <h3>"Earlier states"</h3>
        <p class="facts" data-testid="kept-where">{kept}</p>
        <ul class="history" data-testid="history">
            <For each=entries key=|e| e.id children=move |entry| {
                let Entry { id, at_ms, what, .. } = entry;
                let time = clock(at_ms);
                let on = move || store.keeping.looking.get() == Some(id) || (store.keeping.looking.get().is_none() && newest() == Some(id));
                view! {
                    <li aria-current=move || if on() { "true" } else { "false" }>
                        <span class="when">{time.clone()}</span>
                        <span>{what.clone()}</span>
                        <button class="quiet" aria-label=format!("Look at the state of {time}: {what}") data-testid="history-look" disabled=on on:click=move |_| {
                            store.dialog.set(Dialog::None);
                            store.look_at(id);
                        }>"Look"</button>
                    </li>
                }
            } />
        </ul>
    }
}

/// What stands between the person and their work being kept: another tab, an earlier state.
#[component]
pub fn Notices() -> impl IntoView {
    let store = expect_context::<Store>();
    let looked = move || {
        let id = store.keeping.looking.get()?;
        store
            .keeping
            .entries
            .with(|all| all.iter().find(|e| e.id == id).map(|e| (clock(e.at_ms), e.what.clone())))
    };
    let update = RwSignal::new(false);
    let told = window_event_listener_untyped("lipwright-update", move |_| update.set(true));
    on_cleanup(move || told.remove());
    view! {
        <Show when=move || update.get()>
            <div class="banner calm" role="status" data-testid="update">
                <span>"A new version of Lipwright is here. It is used from the next visit on, or at once."</span>
                <button data-testid="go-over" on:click=move |_| {
                    store.keep_now();
                    // static/offline.js hears it.
                    if let Ok(event) = web_sys::Event::new("lipwright-go-over") {
                        let _ = window().dispatch_event(&event);
                    }
                }>"Use it now"</button>
                <button class="quiet" on:click=move |_| update.set(false)>"Later"</button>
            </div>
        </Show>
        <Show when=move || store.keeping.standing.get() == Standing::Elsewhere>
            <div class="banner calm" role="status" data-testid="elsewhere">
                <span>"This project is open in another tab or window, which keeps it. What you change here is not kept."</span>
                <button data-testid="work-here" on:click=move |_| store.work_here()>"Work here instead"</button>
            </div>
        </Show>
        <Show when=move || looked().is_some()>
            <div class="banner calm" role="status" data-testid="looking">
                <span>{move || looked().map(|(when, what)| format!("You look at the project as it was at {when} ({what})."))}</span>
                <button data-testid="go-on" on:click=move |_| store.go_on_from_here()>"Go on from here"</button>
                <button data-testid="to-newest" on:click=move |_| store.back_to_newest()>"Back to the newest"</button>
            </div>
        </Show>
    }
}
