//! The expression lane: looks at moments, added at the playhead, dragged, changed, taken away.

use super::drag::{TimeDrag, keep_focus};
use super::picture::Picture;
use super::rows::{Chip, Said, keep_chips, part, place_of, set};
use super::store::Store;
use super::suggestions::Suggestions;
use crate::scene::lanes;
use leptos::html;
use leptos::prelude::*;
use lipwright_core::line::{Easing, ExpressionKey};
use lipwright_core::rig::{Dof, Expression, FacePart, Rig};
use lipwright_core::units::Seconds;
use wasm_bindgen::JsCast;
use web_sys::Element;

/// The choice that asks the voice instead of naming a look.
const FROM_VOICE: &str = "from-voice";
/// The choices that copy what is there.
const COPY: &str = "copy";
const PASTE: &str = "paste";

/// A step with the arrow keys: one controller frame.
const STEP: Seconds = Seconds::new(0.02);

const EASINGS: [(Easing, &str, &str); 3] = [
    (Easing::Smooth, "smooth", "slowly off, slowly in"),
    (Easing::Linear, "even", "evenly"),
    (Easing::Hold, "hold", "stays, then changes as fast as the head can"),
];

/// A part of the face that a key can move by itself, both sides alike.
#[derive(Clone, Copy)]
struct Own {
    id: &'static str,
    words: &'static str,
    dofs: [Dof; 2],
}

const OWN: [Own; 3] = [
    Own { id: "look-brows-in", words: "Brows, inner", dofs: [Dof::BrowLeftInner, Dof::BrowRightInner] },
    Own { id: "look-brows-out", words: "outer", dofs: [Dof::BrowLeftOuter, Dof::BrowRightOuter] },
    Own { id: "look-corners", words: "Corners", dofs: [Dof::CornerLeftY, Dof::CornerRightY] },
];

impl Own {
    /// Sets what counts instead of the look's own value, mm; `None` for the look's own again.
    fn set(self, key: &mut ExpressionKey, value: Option<f64>) {
        for dof in self.dofs {
            match value {
                Some(value) => drop(key.values.insert(dof, value)),
                None => drop(key.values.remove(&dof)),
            }
        }
    }

    /// Least and greatest that the skin allows, and what the look itself asks for; `None` on a head without.
    fn reach(self, key: &ExpressionKey, rig: &Rig) -> Option<(f64, f64, f64)> {
        let spec = self.dofs.into_iter().find_map(|dof| rig.dof(dof))?;
        let by = key.amount * (rig.expression(key.expression).target[spec.dof] - spec.rest);
        Some((spec.skin_min, spec.skin_max, (spec.rest + by).clamp(spec.skin_min, spec.skin_max)))
    }
}

pub(super) fn value_of(event: &web_sys::Event) -> Option<String> {
    let target = event.target()?;
    let select = target.dyn_ref::<web_sys::HtmlSelectElement>().map(web_sys::HtmlSelectElement::value);
    select.or_else(|| target.dyn_ref::<web_sys::HtmlInputElement>().map(web_sys::HtmlInputElement::value))
}

fn within(time: Seconds, duration: Seconds) -> Seconds {
    Seconds::new(time.value().clamp(0.0, duration.value().max(0.0)))
}

fn expression_named(name: &str) -> Option<Expression> {
    Expression::ALL.into_iter().find(|e| e.name() == name)
}

/// The lane, and under it the chosen key's settings.
#[component]
pub fn Looks() -> impl IntoView {
    let store = expect_context::<Store>();
    let keys = Memo::new(move |_| {
        store.with_take(|t| t.line().map(|l| l.expressions().to_vec())).flatten().unwrap_or_default()
    });
    let chosen = RwSignal::new(None::<usize>);
    let key = Memo::new(move |_| chosen.get().and_then(|i| keys.with(|k| k.get(i).cloned())));
    let able = Memo::new(move |_| {
        let shows = |part: FacePart| !part.is_mouth() || part == FacePart::Corners;
        store.head.with(|h| h.rig.dofs().iter().any(|d| shows(d.dof.part())))
    });
    let suggested = Memo::new(move |_| {
        store.with_take(|t| t.line().is_some_and(|l| l.suggestions().iter().any(|s| s.event.is_none())))
            == Some(true)
    });
    let there = Memo::new(move |_| store.with_take(|t| t.document.is_some()) == Some(true));
    let curves = move |_: f64, height: f64| {
        let axis = store.axis.get();
        store.head.with(|h| keys.with(|k| lanes::looks(&axis, k, &h.rig, height)))
    };
    let add = move |event: web_sys::Event| {
        let wanted = value_of(&event);
        match wanted.as_deref() {
            Some(FROM_VOICE) => store.suggest_looks(),
            Some(COPY) => store.copy_looks(),
            Some(PASTE) => store.paste_looks(),
            _ => {}
        }
        let look = wanted.as_deref().and_then(expression_named);
        if let Some(select) = event.target().and_then(|t| t.dyn_into::<web_sys::HtmlSelectElement>().ok()) {
            select.set_value("");
        }
        let Some(look) = look else { return };
        let time = within(store.transport.with_untracked(|t| t.time), store.duration());
        store.edit(|t| t.set_look(ExpressionKey::new(time, look)));
        chosen.set(keys.get_untracked().iter().position(|k| k.time == time));
    };
    view! {
        <Show when=move || able.get() && there.get()>
            <div class="row looks">
                <div class="label">
                    "Expression"
                    <select aria-label="Add a look at the playhead" title="Add a look at the playhead" data-testid="add-look" on:change=add>
                        <option value="">"Add…"</option>
                        {Expression::ALL.into_iter().map(|e| view! { <option value=e.name()>{e.name()}</option> }).collect_view()}
                        <option value=FROM_VOICE>"suggest from the voice"</option>
                        <option value=COPY>"copy those of the chosen segments"</option>
                        <option value=PASTE>"paste at the playhead"</option>
                    </select>
                </div>
                <div class="track" data-testid="lane-looks" role="group" aria-label="Looks, in order of time" title="Brows amber, their outer ends dashed; mouth corners red; up is raised">
                    <Picture testid="lane-looks-curves" axis=store.axis label=Signal::derive(String::new) theme=store.theme draw=curves />
                    <Keys keys=keys chosen=chosen />
                    <Suggestions events=false />
                    <Show when=move || keys.with(Vec::is_empty) && !suggested.get()>
                        <p class="hint">"No looks yet: put the playhead where one begins, and add it at the left, or "
                            <button class="quiet" data-testid="suggest-looks" on:click=move |_| store.suggest_looks()>"let the voice suggest some"</button></p>
                    </Show>
                </div>
            </div>
        </Show>
        <Show when=move || key.with(Option::is_some)>
            <Settings key=key chosen=chosen />
        </Show>
    }
}

impl Said for ExpressionKey {
    fn say(&self, place: usize, into: &Element) {
        let neutral = self.expression == Expression::Neutral;
        into.set_class_name(if neutral { "look neutral" } else { "look" });
        let Some(button) = part(into, 0, "button") else { return };
        let (name, amount) = (self.expression.name(), format!("{:.0} %", self.amount * 100.0));
        let time = self.time.value();
        set(&button, "data-testid", &format!("look-{place}"));
        set(&button, "data-time", &format!("{time:.4}"));
        set(&button, "data-look", name);
        set(
            &button,
            "aria-label",
            &format!("{name}, {amount}, from {time:.2} seconds; arrows move it, Delete takes it away"),
        );
        button.set_text_content(Some(name));
        if let Some(small) = part(&button, 0, "small") {
            small.set_text_content(Some(&amount));
        }
    }
}

/// The keys: chips at their moments, each with a band up to the next.
#[component]
fn Keys(
    /// All keys.
    keys: Memo<Vec<ExpressionKey>>,
    /// Which is chosen.
    chosen: RwSignal<Option<usize>>,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let lane = NodeRef::<html::Div>::new();
    let drag = TimeDrag::new();
    let chips = move || {
        let (axis, chosen, keys) = (store.axis.get(), chosen.get(), keys.get());
        let ends: Vec<Seconds> = keys.iter().skip(1).map(|k| k.time).chain([store.duration()]).collect();
        let chip = |((place, what), end): ((usize, ExpressionKey), Seconds)| {
            let left = axis.x(drag.now(place, what.time));
            let at = (left, (axis.x(end) - left).max(0.0));
            Chip { place, what, at, chosen: Some(chosen == Some(place)) }
        };
        keys.into_iter().enumerate().zip(ends).map(chip).collect()
    };
    keep_chips(lane, chips);
    let of = move |event: &web_sys::Event| {
        let place = place_of(event)?;
        Some((place, keys.with_untracked(|k| k.get(place).map(|k| k.time))?))
    };
    let go = move |place: usize, to: Seconds| {
        let to = within(to, store.duration());
        store.edit(|t| t.move_look(place, to));
        chosen.set(keys.get_untracked().iter().position(|k| k.time == to));
    };
    let pressed = move |event: web_sys::KeyboardEvent| {
        let Some((place, time)) = of(&event) else { return };
        match event.key().as_str() {
            way @ ("ArrowLeft" | "ArrowRight") => {
                go(place, if way == "ArrowLeft" { time - STEP } else { time + STEP });
                keep_focus("look", chosen.get_untracked());
            }
            "Delete" | "Backspace" => {
                chosen.set(None);
                store.edit(|t| t.delete_look(place));
            }
            _ => return,
        }
        event.prevent_default();
        event.stop_propagation();
    };
    view! {
        <div
            class="chips"
            node_ref=lane
            on:click=move |event| if let Some((place, time)) = of(&event) {
                chosen.set(Some(place));
                store.seek(time);
            }
            on:keydown=pressed
            on:pointerdown=move |event: web_sys::PointerEvent| if let Some((place, time)) = of(&event) {
                drag.down(&event, place, time);
            }
            on:pointermove=move |event: web_sys::PointerEvent| drag.moved(store, &event)
            on:pointerup=move |_| if let Some((place, to)) = drag.up() { go(place, to) }
            on:pointercancel=move |_| drag.cancel()
        ></div>
    }
}

/// What can be set of the chosen key.
#[component]
fn Settings(
    /// The key.
    key: Memo<Option<ExpressionKey>>,
    /// Which is chosen.
    chosen: RwSignal<Option<usize>>,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let change = move |verb: &dyn Fn(&mut ExpressionKey)| {
        if let Some(mut new) = key.get_untracked() {
            verb(&mut new);
            store.edit(|t| t.set_look(new));
        }
    };
    let amount = move || key.with(|k| k.as_ref().map_or(1.0, |k| k.amount));
    let easing = move || key.with(|k| k.as_ref().map_or(Easing::Smooth, |k| k.easing));
    view! {
        <div class="look-settings" data-testid="look-settings">
            <label>"Look" <select data-testid="look-expression" on:change=move |e| {
                if let Some(look) = value_of(&e).as_deref().and_then(expression_named) {
                    change(&|k| k.expression = look);
                }
            }>
                {Expression::ALL.into_iter().map(|e| view! {
                    <option value=e.name() selected=move || key.with(|k| k.as_ref().is_some_and(|k| k.expression == e))>{e.name()}</option>
                }).collect_view()}
            </select></label>
            <label>"How much" <input type="range" min="0" max="150" step="5" data-testid="look-amount"
                aria-valuetext=move || format!("{:.0} per cent", amount() * 100.0)
                prop:value=move || format!("{:.0}", amount() * 100.0)
                on:change=move |e| {
                    if let Some(percent) = value_of(&e).and_then(|v| v.parse::<f64>().ok()) {
                        change(&|k| k.amount = percent / 100.0);
                    }
                } /><b>{move || format!("{:.0} %", amount() * 100.0)}</b></label>
            <label>"To the next" <select data-testid="look-easing" on:change=move |e| {
                let name = value_of(&e).unwrap_or_default();
                if let Some((easing, ..)) = EASINGS.into_iter().find(|(_, n, _)| *n == name) {
                    change(&|k| k.easing = easing);
                }
            }>
                {EASINGS.into_iter().map(|(e, name, what)| view! {
                    <option value=name title=what selected=move || easing() == e>{name}</option>
                }).collect_view()}
            </select></label>
            {OWN.into_iter().map(|own| view! { <OwnValue own=own key=key change=Callback::new(move |v: Option<f64>| change(&|k| own.set(k, v))) /> }).collect_view()}
            <button data-testid="look-delete" on:click=move |_| {
                if let Some(index) = chosen.get_untracked() {
                    chosen.set(None);
                    store.edit(|t| t.delete_look(index));
                }
            }>"Take away"</button>
            <button class="quiet" aria-label="Close the look's settings" on:click=move |_| chosen.set(None)>"Done"</button>
        </div>
    }
}

/// A field for what a part of the face does at the chosen key; empty where it does what the look asks for.
#[component]
fn OwnValue(own: Own, key: Memo<Option<ExpressionKey>>, change: Callback<Option<f64>>) -> impl IntoView {
    let store = expect_context::<Store>();
    let reach = Memo::new(move |_| store.head.with(|h| key.get().and_then(|k| own.reach(&k, &h.rig))));
    let limit = move |get: fn((f64, f64, f64)) -> f64| reach.get().map(|r| format!("{:.1}", get(r)));
    let value = move || {
        let set = key.with(|k| own.dofs.into_iter().find_map(|dof| k.as_ref()?.values.get(&dof).copied()));
        set.map(|v| format!("{v:.1}")).unwrap_or_default()
    };
    view! {
        <label hidden=move || reach.get().is_none() title="Millimetres above rest, instead of what the look asks for; empty: as the look">
            {own.words}
            <input type="number" step="0.5" data-testid=own.id
                aria-label=format!("{}, mm above rest; empty: as the look", own.words)
                min=move || limit(|r| r.0) max=move || limit(|r| r.1) placeholder=move || limit(|r| r.2)
                prop:value=value
                on:change=move |event| {
                    let typed = value_of(&event).and_then(|v| v.parse::<f64>().ok()).filter(|v| v.is_finite());
                    change.run(typed.zip(reach.get_untracked()).map(|(v, (least, most, _))| v.clamp(least, most)));
                } />
        </label>
    }
}
