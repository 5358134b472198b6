//! The rig view: the head described, shown, measured and checked.

mod add;
mod calibrate;
mod changes;
mod face;
mod field;
mod list;
mod poses;
mod power;
mod reach;
mod servo;
mod stage;

pub use add::AddServo;

use super::store::Store;
use crate::editor::rig::{RigPage, plain};
use leptos::prelude::*;
use lipwright_core::rig::Preset;

/// The head: servos at the left, the chosen page, the face it makes at the right.
#[component]
pub fn RigView() -> impl IntoView {
    let store = expect_context::<Store>();
    let page = store.desk.page;
    let shown = move || match page.get() {
        RigPage::Servos => view! { <servo::ServoPage /> }.into_any(),
        RigPage::Face => view! { <face::FacePage /> }.into_any(),
        RigPage::Poses => view! { <poses::PosesPage /> }.into_any(),
        RigPage::Calibrate => view! { <calibrate::CalibratePage /> }.into_any(),
        RigPage::Reach => view! { <reach::ReachPage /> }.into_any(),
        RigPage::Power => view! { <power::PowerPage /> }.into_any(),
        RigPage::Changes => view! { <changes::ChangesPage /> }.into_any(),
    };
    view! {
        <main class="rig" data-testid="rig-view">
            <list::ServoList />
            <section class="desk" aria-label="Rig">
                <Pages />
                <Verdict />
                <div class="sheet" role="tabpanel" id="rig-page" aria-labelledby=move || format!("rig-tab-{}", page.get().id())>
                    {shown}
                </div>
                <p class="hint" id="rig-hint" aria-live="off">{move || store.desk.hint.get()}</p>
            </section>
            <stage::RigStage />
        </main>
    }
}

/// Tabs of the pages.
#[component]
fn Pages() -> impl IntoView {
    let store = expect_context::<Store>();
    let page = store.desk.page;
    let keys = move |event: web_sys::KeyboardEvent| {
        let at = RigPage::ALL.iter().position(|p| *p == page.get_untracked()).unwrap_or(0);
        let last = RigPage::ALL.len() - 1;
        let to = match event.key().as_str() {
            "ArrowLeft" => at.checked_sub(1).unwrap_or(last),
            "ArrowRight" => (at + 1) % (last + 1),
            "Home" => 0,
            "End" => last,
            _ => return,
        };
        event.prevent_default();
        page.set(RigPage::ALL[to]);
        super::keys::focus(&format!("#rig-tab-{}", RigPage::ALL[to].id()));
    };
    view! {
        <div class="pages">
            <div role="tablist" aria-label="Pages of the rig" on:keydown=keys>
                {RigPage::ALL.into_iter().map(|p| {
                    let on = move || page.get() == p;
                    view! {
                        <button
                            role="tab"
                            id=format!("rig-tab-{}", p.id())
                            data-testid=format!("rig-page-{}", p.id())
                            aria-selected=move || on().to_string()
                            aria-controls="rig-page"
                            tabindex=move || if on() { "0" } else { "-1" }
                            on:click=move |_| page.set(p)
                        >{p.name()}</button>
                    }
                }).collect_view()}
            </div>
            <span class="spring"></span>
            <button class="quiet" data-testid="rig-save" title="The rig as a JSON file; fields that Lipwright does not know are kept" on:click=move |_| store.save_rig()>"Save rig"</button>
            <a class="quiet" href="schema/rig.schema.json" target="_blank" rel="noopener" title="What the rig file holds, as a JSON Schema">"Schema"</a>
        </div>
    }
}

/// Whether what stands in the forms is in use, and what is wrong with it.
#[component]
fn Verdict() -> impl IntoView {
    let store = expect_context::<Store>();
    let problems = Memo::new(move |_| {
        store.desk.draft.with(|d| {
            d.problems()
                .iter()
                .map(|p| (p.path.clone(), plain(d.value(), &p.to_string())))
                .collect::<Vec<_>>()
        })
    });
    let good = move || problems.with(Vec::is_empty);
    let plan = move || {
        let name = store.with_take(|t| t.name.clone()).unwrap_or_default();
        match store.performance.get() {
            Some(p) => format!("{name}: {}", p.head().summary),
            None => format!("{name}: planning again …"),
        }
    };
    view! {
        <div class="verdict" class:bad=move || !good() role="status" data-testid="rig-verdict" data-good=move || good().to_string()>
            <Show
                when=good
                fallback=move || view! {
                    <p><b>{move || match problems.with(Vec::len) {
                        1 => "One thing is wrong.".to_owned(),
                        n => format!("{n} things are wrong."),
                    }}</b>" The last good rig stays in use until this is corrected:"</p>
                    <ul data-testid="rig-problems">
                        <For each=move || problems.get() key=Clone::clone children=move |(path, text)| {
                            let to = path.clone();
                            view! { <li><button class="quiet" data-problem=path on:click=move |_| store.go_to_field(&to)>{text}</button></li> }
                        } />
                    </ul>
                }
            >
                <p data-testid="rig-plan"><b>"In use. "</b>{plan}</p>
            </Show>
        </div>
    }
}

/// Heads to start from, as buttons.
#[component]
fn Presets() -> impl IntoView {
    let store = expect_context::<Store>();
    view! {
        <div class="group wrap" role="group" aria-label="Start from">
            {Preset::ALL.into_iter().map(|p| view! {
                <button
                    data-testid=format!("preset-{}", p.file_name().trim_end_matches(".json"))
                    title="Undo brings your rig back"
                    on:click=move |_| store.set_rig(&p.rig())
                >{p.name()}</button>
            }).collect_view()}
        </div>
    }
}
