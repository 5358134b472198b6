//! One field of the rig: its name, its unit, and what is wrong with it.

use crate::editor::rig::{Entry, Field, Kind};
use crate::ui::store::Store;
use leptos::prelude::*;
use wasm_bindgen::JsCast;

/// The text of the field an event came from.
pub fn typed(event: &web_sys::Event) -> String {
    let target = event.target();
    let input = target.clone().and_then(|t| t.dyn_into::<web_sys::HtmlInputElement>().ok());
    let select = target.and_then(|t| t.dyn_into::<web_sys::HtmlSelectElement>().ok());
    input.map(|i| i.value()).or_else(|| select.map(|s| s.value())).unwrap_or_default()
}

/// Puts a text back into the field an event came from: what the draft holds is what is shown.
fn show(event: &web_sys::Event, text: &str) {
    if let Some(input) = event.target().and_then(|t| t.dyn_into::<web_sys::HtmlInputElement>().ok()) {
        input.set_value(text);
    }
}

/// A labelled field of a form.
#[component]
pub fn FormField(
    /// Which.
    field: &'static Field,
    /// Where it stands in the file.
    #[prop(into)]
    path: String,
    /// What it belongs to, for the name of the undo step.
    #[prop(into)]
    of: String,
    /// True where it follows the other half of the face.
    #[prop(into, default = Signal::derive(|| false))]
    follows: Signal<bool>,
) -> impl IntoView {
    let limits = field.limits();
    let hint = match limits.as_str() {
        "" => format!("{}: {}", field.label, field.hint),
        limits => format!("{}: {} Allowed: {limits}.", field.label, field.hint),
    };
    let what = format!("{of}: {}", field.label.to_lowercase());
    view! {
        <label class="f">
            <span>{field.label}</span>
            <Cell path=path what=what entry=field.entry() kind=field.kind unit=field.unit step=field.step hint=hint follows=follows />
        </label>
    }
}

/// The box of a field with its unit, and its error under it.
#[component]
pub fn Cell(
    /// Where it stands in the file.
    #[prop(into)]
    path: String,
    /// Name of the undo step.
    #[prop(into)]
    what: String,
    /// How its text is read.
    entry: Entry,
    /// What it takes.
    #[prop(default = Kind::Text)]
    kind: Kind,
    /// Unit behind it.
    #[prop(default = "")]
    unit: &'static str,
    /// Step of the arrow keys; 0 for none.
    #[prop(default = 0.0)]
    step: f64,
    /// What it means.
    #[prop(into, default = String::new())]
    hint: String,
    /// Name for a screen reader, where no label stands beside it.
    #[prop(into, optional)]
    label: Option<String>,
    /// Shown faintly while the field is absent.
    #[prop(into, default = Signal::derive(String::new))]
    otherwise: Signal<String>,
    /// True where it follows the other half of the face.
    #[prop(into, default = Signal::derive(|| false))]
    follows: Signal<bool>,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let draft = store.desk.draft;
    let place = StoredValue::new(path.clone());
    let what = StoredValue::new(what);
    let hint = StoredValue::new(hint);
    let text = Memo::new(move |_| place.with_value(|p| draft.with(|d| d.text(p))));
    let wrong = Memo::new(move |_| place.with_value(|p| draft.with(|d| d.problem_at(p))));
    let enter = move |text: &str| {
        place.with_value(|p| what.with_value(|w| store.rig_enter(w, p, entry, text)));
    };
    let change = move |event: web_sys::Event| {
        enter(&typed(&event));
        show(&event, &text.get_untracked());
    };
    let nudge = move |event: web_sys::KeyboardEvent| {
        let by = match event.key().as_str() {
            "ArrowUp" => step,
            "ArrowDown" => -step,
            _ => return,
        };
        if by == 0.0 {
            return;
        }
        event.prevent_default();
        if let Ok(now) = typed(&event).trim().replace(',', ".").parse::<f64>() {
            // Sixteen digits after many steps help nobody.
            let next = ((now + by) * 1e6).round() / 1e6 + 0.0;
            enter(&format!("{next}"));
            show(&event, &text.get_untracked());
        }
    };
    let error_id = format!("error-{path}");
    let described = {
        let id = error_id.clone();
        move || if wrong.with(Option::is_some) { id.clone() } else { "rig-hint".to_owned() }
    };
    let focus = move |_| hint.with_value(|h| store.desk.hint.set(h.clone()));
    let bad = move || wrong.with(Option::is_some).to_string();
    let input = match kind {
        Kind::Choice(names) => view! {
            <select data-testid=format!("field-{path}") disabled=move || follows.get() aria-invalid=bad on:focus=focus on:change=change prop:value=move || text.get()>
                {names.iter().map(|n| view! { <option value=*n selected=move || text.with(|t| t == n)>{*n}</option> }).collect_view()}
            </select>
        }
        .into_any(),
        _ => view! {
            <input
                type="text"
                inputmode=if entry == Entry::Text { "text" } else { "decimal" }
                autocomplete="off"
                spellcheck="false"
                data-testid=format!("field-{path}")
                aria-label=label
                aria-invalid=bad
                aria-describedby=described
                disabled=move || follows.get()
                placeholder=move || otherwise.get()
                prop:value=move || text.get()
                on:focus=focus
                on:change=change
                on:keydown=nudge
            />
        }
        .into_any(),
    };
    view! {
        <span class="cell" data-path=path.clone() class:bad=move || wrong.with(Option::is_some) title=hint.get_value()>
            <span class="box" class:unit=!unit.is_empty()>{input}<i aria-hidden="true">{unit}</i></span>
            <Show when=move || wrong.with(Option::is_some)>
                <small class="error" id=error_id.clone() role="alert" data-testid=format!("error-{}", place.get_value())>{move || wrong.get()}</small>
            </Show>
        </span>
    }
}

/// What is wrong at a place that has no field of its own.
#[component]
pub fn WrongAt(
    /// The place.
    #[prop(into)]
    path: String,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let place = StoredValue::new(path);
    let wrong = Memo::new(move |_| place.with_value(|p| store.desk.draft.with(|d| d.problem_at(p))));
    view! {
        <Show when=move || wrong.with(Option::is_some)>
            <p class="error" role="alert" data-path=place.get_value() data-testid=format!("error-{}", place.get_value())>{move || wrong.get()}</p>
        </Show>
    }
}
