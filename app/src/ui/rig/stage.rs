//! The face that the rig makes, with a slider for everything it can do.

use super::field::typed;
use super::servo::pose_angles;
use crate::editor::rig::{RigPage, part_name, words};
use crate::scene::face::{Look, front};
use crate::scene::side::cut;
use crate::ui::picture::Picture;
use crate::ui::store::Store;
use leptos::prelude::*;
use lipwright_core::phonetics::MouthShape;
use lipwright_core::rig::{Dof, DofSpec, DofValues};

/// The face and its sliders.
#[component]
pub fn RigStage() -> impl IntoView {
    let store = expect_context::<Store>();
    let desk = store.desk;
    let close = RwSignal::new(true);
    // The chosen servo's mechanism in the rig in use.
    let mechanism = Memo::new(move |_| {
        let name = desk.draft.with(|d| d.text(&format!("servos[{}].name", desk.servo.get())));
        store.head.with(|h| {
            let id = h.rig.servos().iter().find(|s| s.name == name)?.id;
            h.rig.mechanisms().iter().position(|m| m.servos().contains(&id))
        })
    });
    let face = Memo::new(move |_| {
        let swept = (desk.page.get() == RigPage::Servos).then(|| mechanism.get()).flatten();
        let angles = pose_angles(store, swept);
        store.head.with(|h| h.rig.forward(&angles))
    });
    // What the sliders ask, of the parts that this head has.
    let asked = Memo::new(move |_| {
        let all = desk.asked.get();
        store.head.with(|h| {
            let mut asked = DofValues::default();
            for d in h.rig.dofs() {
                asked[d.dof] = all[d.dof];
            }
            asked
        })
    });
    let wanted = Memo::new(move |_| (!desk.sweeping.get()).then(|| asked.get()));
    let anatomy = move || store.head.with(|h| h.anatomy);
    let show = move |event: web_sys::Event| {
        let name = typed(&event);
        let shape = MouthShape::ALL.into_iter().find(|s| s.name() == name);
        if let Some(shape) = shape {
            desk.asked.set(store.head.with_untracked(|h| h.rig.pose(shape).target));
        }
    };
    // The shape that the sliders stand at, if any.
    let shown = move || {
        let asked = asked.get();
        store.head.with(|h| MouthShape::ALL.into_iter().find(|s| h.rig.pose(*s).target == asked))
    };
    let rest = move |_| desk.asked.set(store.head.with_untracked(|h| h.rig.rest()));
    view! {
        <section class="rig-stage" aria-label="The face">
            <div class="front">
                <Picture testid="rig-front" label=Signal::derive(|| "The face that the rig makes".to_owned()) theme=store.theme draw=move |w, h| {
                    let look = if close.get() { Look::Close } else { Look::Whole };
                    face.with(|f| wanted.with(|x| front(f, x.as_ref(), &anatomy(), look, w, h)))
                } />
                <div class="switches">
                    <button class="chip" aria-pressed=move || (!close.get()).to_string() on:click=move |_| close.update(|c| *c = !*c)>"Whole head"</button>
                </div>
            </div>
            <div class="cut">
                <Picture testid="rig-cut" label=Signal::derive(String::new) theme=store.theme draw=move |w, h| {
                    face.with(|f| wanted.with(|x| cut(f, x.as_ref(), &anatomy(), w, h)))
                } />
            </div>
            <div class="sliders-head">
                <label class="field"><span>"Show"</span>
                    <select data-testid="show-pose" prop:value=move || shown().map_or("", MouthShape::name) on:change=show>
                        <option value="">"own"</option>
                        {MouthShape::ALL.into_iter().map(|s| view! { <option value=s.name() selected=move || shown() == Some(s)>{s.name()}</option> }).collect_view()}
                    </select>
                </label>
                <span class="spring"></span>
                <button class="quiet" data-testid="to-rest" on:click=rest>"To rest"</button>
            </div>
            <div class="sliders" data-testid="sliders">
                <For
                    each=move || store.head.with(|h| h.rig.dofs().to_vec())
                    key=|d| (d.dof, d.skin_min.to_bits(), d.skin_max.to_bits())
                    children=move |d| view! { <Slider spec=d got=Signal::derive(move || face.with(|f| f[d.dof])) /> }
                />
            </div>
        </section>
    }
}

#[component]
fn Slider(spec: DofSpec, got: Signal<f64>) -> impl IntoView {
    let store = expect_context::<Store>();
    let desk = store.desk;
    let DofSpec { dof, skin_min, skin_max, .. } = spec;
    let unit = if dof.unit() == "deg" { "°" } else { "mm" };
    let asked = move || desk.asked.with(|a| a[dof]).clamp(skin_min, skin_max);
    let short = move || (!desk.sweeping.get()) && (got.get() - asked()).abs() > 0.05;
    let value = move || if desk.sweeping.get() { got.get() } else { asked() };
    let slide = move |event: web_sys::Event| {
        if let Ok(value) = typed(&event).parse::<f64>() {
            store.set_sweeping(false);
            let both = desk.draft.with_untracked(|d| d.symmetric());
            desk.asked.update(|a| {
                a[dof] = value;
                if both && dof != Dof::NeckTurn {
                    a[dof.mirror()] = value;
                }
            });
        }
    };
    view! {
        <label class="slider" class:short=short title=part_name(dof.part())>
            <span>{words(dof)}</span>
            <input
                type="range"
                min=format!("{skin_min}")
                max=format!("{skin_max}")
                step="any"
                data-testid=format!("slider-{dof}")
                aria-valuetext=move || format!("{:.1} {unit}", value())
                prop:value=move || format!("{}", value())
                on:input=slide
            />
            // Adding zero turns a rounded -0.0 into 0.0.
            <b>{move || format!("{:.1} {unit}", (got.get() * 10.0).round() / 10.0 + 0.0)}</b>
        </label>
    }
}
