//! One servo with the mechanism that it moves and what that drives.

use super::field::{Cell, FormField, WrongAt, typed};
use super::list::rows;
use crate::editor::rig::{Entry, Kind, SERVO, ServoRow, linkage_fields, skin_fields, words};
use crate::scene::linkage::{links, plane, plot, sweep, zones};
use crate::ui::picture::Picture;
use crate::ui::store::{Dialog, Store};
use leptos::prelude::*;
use lipwright_core::rig::{Dof, Mechanism, MechanismKind, ServoClass};
use lipwright_core::units::Degrees;

/// The page of the chosen servo.
#[component]
pub fn ServoPage() -> impl IntoView {
    let store = expect_context::<Store>();
    let rows = rows(store);
    let row = Memo::new(move |_| {
        let servo = store.desk.servo.get();
        rows.with(|r| r.iter().find(|r| r.servo == servo).cloned())
    });
    // The forms are built anew only when what they speak of changes, not with every number.
    let shape =
        Memo::new(move |_| row.get().map(|r| ServoRow { name: String::new(), wired: String::new(), ..r }));
    // Whoever looks at a servo sees once what it does.
    Effect::new(move || {
        store.desk.servo.track();
        store.sweep_once();
    });
    view! {
        {move || match shape.get() {
            Some(r) => view! { <Forms row=r name=Signal::derive(move || row.get().map(|r| r.name).unwrap_or_default()) /> }.into_any(),
            None => view! {
                <div class="empty">
                    <p>"This rig has no servo yet."</p>
                    <super::Presets />
                    <button class="main" on:click=move |_| store.dialog.set(Dialog::AddServo)>"Add a servo…"</button>
                </div>
            }.into_any(),
        }}
    }
}

/// True where a DOF follows the left half.
fn follows(store: Store, dofs: &[Dof]) -> Signal<bool> {
    let right = dofs.iter().any(|d| d.mirror() != *d && !d.is_left());
    Signal::derive(move || right && store.desk.draft.with(|d| d.symmetric()))
}

#[component]
fn Forms(row: ServoRow, name: Signal<String>) -> impl IntoView {
    let store = expect_context::<Store>();
    let servo = row.servo;
    let title = name.get_untracked();
    let mechanism = row.mechanism;
    let moves = row.moves();
    let remove = move |_| {
        store.set_sweeping(false);
        store.rig_edit(|d| match mechanism {
            Some(m) => d.change("servo taken out", |r| r.remove_mechanism(m)),
            None => d.change("servo taken out", |r| {
                if servo < r.servos.len() {
                    r.servos.remove(servo);
                }
            }),
        });
    };
    let class = move |event: web_sys::Event| {
        let chosen = typed(&event);
        if let Some(class) = ServoClass::ALL.into_iter().find(|c| c.name() == chosen) {
            store.rig_edit(|d| d.change(format!("{} servo", class.name()), |r| r.set_class(servo, class)));
        }
        if let Some(select) =
            event.target().and_then(|t| wasm_bindgen::JsCast::dyn_into::<web_sys::HtmlSelectElement>(t).ok())
        {
            select.set_value("");
        }
    };
    view! {
        <div class="servo-head">
            <h2 data-testid="servo-name">{name}</h2>
            <p class="facts">{moves}</p>
            <span class="spring"></span>
            <button class="quiet" data-testid="remove-servo" title="With its linkage and what that moves; undo brings it back" on:click=remove>
                {if row.partners.len() > 1 { "Take both servos out" } else { "Take this servo out" }}
            </button>
        </div>
        {mechanism.map(|m| view! { <Moving mechanism=m /> })}
        <fieldset>
            <legend>"Servo"</legend>
            <div class="fields">
                {SERVO.iter().map(|f| view! { <FormField field=f path=format!("servos[{servo}].{}", f.key) of=title.clone() /> }).collect_view()}
                <label class="f" title="Figures of common practice for a class; name, wiring, pulses and direction stay">
                    <span>"Figures of a class"</span>
                    <span class="cell"><span class="box"><select data-testid="servo-class" on:change=class>
                        <option value="">"choose …"</option>
                        {ServoClass::ALL.into_iter().map(|c| view! { <option value=c.name()>{c.name()}</option> }).collect_view()}
                    </select></span></span>
                </label>
            </div>
            <p class="facts">"Figures of a class are ranges of common practice, not measurements of your part."</p>
        </fieldset>
        {mechanism.zip(row.kind).map(|(m, kind)| view! { <Linkage mechanism=m kind=kind row=row.clone() /> })}
    }
}

/// The mechanism, moving.
#[component]
fn Moving(mechanism: usize) -> impl IntoView {
    let store = expect_context::<Store>();
    let desk = store.desk;
    let rig = move || store.head.with(|h| std::sync::Arc::clone(&h.rig));
    // Its place in the draft may be another in the last good rig: look it up by its name.
    let here = Memo::new(move |_| {
        let name = desk.draft.with(|d| d.text(&format!("mechanisms[{mechanism}].name")));
        store.head.with(|h| h.rig.mechanisms().iter().position(|m| m.name() == name))
    });
    let seen = Memo::new(move |_| here.get().and_then(|m| plane(&rig(), m)));
    let angles = Memo::new(move |_| pose_angles(store, here.get()));
    let facts = move || {
        let (rig, m) = (rig(), here.get()?);
        let mechanism = rig.mechanisms().get(m)?;
        let theta: Vec<Degrees> =
            mechanism.servos().iter().filter_map(|id| angles.with(|a| a.get(id.0).copied())).collect();
        let values: Vec<String> = mechanism
            .forward(&theta.iter().map(|t| t.value()).collect::<Vec<_>>())
            .into_iter()
            .map(|(dof, v)| {
                format!("{} {:.1}{}", words(dof), v + 0.0, if dof.unit() == "deg" { "°" } else { " mm" })
            })
            .collect();
        let pulses: Vec<String> = mechanism
            .servos()
            .iter()
            .zip(&theta)
            .filter_map(|(id, t)| rig.servos().get(id.0).map(|s| format!("{:.0} µs", s.pulse(*t).value())))
            .collect();
        Some(format!("{}: {}", pulses.join(", "), values.join(", ")))
    };
    let dead = move || {
        let (rig, m) = (rig(), here.get()?);
        if let Some(p) = seen.get() {
            let share = p.share();
            return (share < 1.0)
                .then(|| format!("The linkage reaches {:.0} % of what the skin allows.", 100.0 * share));
        }
        let z = zones(&rig, m)?;
        let span = |(a, b): (f64, f64)| b - a;
        let (linkage, skin) = (span(z.pulse) - span(z.linkage), span(z.linkage) - span(z.free));
        let mut text = Vec::new();
        if linkage > 0.5 {
            let table = matches!(rig.mechanisms().get(m), Some(Mechanism::Table { .. }));
            let beyond = if table { "what was measured" } else { "the linkage" };
            text.push(format!("{linkage:.0}° of its pulse range are beyond {beyond} (magenta)"));
        }
        if skin > 0.5 {
            text.push(format!("{skin:.0}° beyond the skin (grey)"));
        }
        (!text.is_empty()).then(|| format!("{}.", text.join(", ")))
    };
    view! {
        <section class="moving" aria-label="The mechanism moving">
            <div class="drawing"><Picture testid="linkage" label=Signal::derive(move || format!("The linkage, {}", facts().unwrap_or_default())) theme=store.theme draw=move |w, h| {
                here.get().map_or_else(Vec::new, |m| angles.with(|a| links(&rig(), m, a, w, h)))
            } /></div>
            <div class="drawing"><Picture testid="linkage-plot" label=Signal::derive(String::new) theme=store.theme draw=move |w, h| {
                here.get().map_or_else(Vec::new, |m| seen.with(|p| angles.with(|a| plot(&rig(), m, a, p.as_ref(), w, h))))
            } /></div>
            <div class="moving-foot">
                <button
                    class="chip"
                    data-testid="sweep"
                    aria-pressed=move || desk.sweeping.get().to_string()
                    title="Move it through all that linkage and skin allow; on the screen only"
                    on:click=move |_| store.set_sweeping(!desk.sweeping.get_untracked())
                >"Sweep"</button>
                <span class="readings" data-testid="linkage-facts">{facts}</span>
                <span class="facts" data-testid="dead-zones">{dead}</span>
            </div>
        </section>
    }
}

/// One angle per servo of the rig in use: what the sliders ask, or the sweep.
pub fn pose_angles(store: Store, mechanism: Option<usize>) -> Vec<Degrees> {
    let desk = store.desk;
    store.head.with(|h| {
        let mut angles = h.rig.reach(&desk.asked.get()).angles;
        if let Some(m) = mechanism
            && desk.sweeping.get()
        {
            let swept = sweep(&h.rig, m, desk.turn.get());
            for id in h.rig.mechanisms().get(m).map_or(&[][..], |m| m.servos()) {
                angles[id.0] = swept[id.0];
            }
        }
        angles
    })
}

#[component]
fn Linkage(mechanism: usize, kind: MechanismKind, row: ServoRow) -> impl IntoView {
    let store = expect_context::<Store>();
    let dofs: Vec<Dof> = row.drives.iter().map(|d| d.0).collect();
    let follows = follows(store, &dofs);
    let at = move |key: &str| format!("mechanisms[{mechanism}].{key}");
    let name = store.desk.draft.with_untracked(|d| d.text(&at("name")));
    let choose = move |event: web_sys::Event| {
        let chosen = typed(&event);
        if let Some(kind) = MechanismKind::ALL.into_iter().find(|k| k.name() == chosen) {
            store.rig_edit(|d| {
                d.change(format!("{} linkage", kind.name()), |r| {
                    r.change_kind(mechanism, kind);
                })
            });
        }
    };
    view! {
        <fieldset>
            <legend>"Linkage"</legend>
            <div class="fields">
                <label class="f"><span>"Name"</span><Cell path=at("name") what="linkage name" entry=Entry::Text hint="Name of the linkage." /></label>
                <label class="f" title="Another kind starts with usual sizes for what it drives">
                    <span>"Kind"</span>
                    <span class="cell" data-path=at("kind")><span class="box"><select data-testid="linkage-kind" disabled=move || follows.get() on:change=choose>
                        {MechanismKind::ALL.into_iter().filter(move |k| k.servos() == kind.servos()).map(|k| {
                            view! { <option value=k.name() selected=k == kind>{kind_name(k)}</option> }
                        }).collect_view()}
                    </select></span></span>
                </label>
                {linkage_fields(kind).iter().map(|f| view! { <FormField field=f path=at(f.key) of=name.clone() follows=follows /> }).collect_view()}
            </div>
            {["kind", "servos", "drives", "points"].map(|k| view! { <WrongAt path=at(k) /> })}
            {(kind == MechanismKind::Table).then(|| view! { <Points mechanism=mechanism /> })}
        </fieldset>
        <fieldset>
            <legend>"What it moves"</legend>
            <table class="grid">
                <thead><tr>
                    <th scope="col">"Part of the face"</th>
                    <th scope="col" title="Factor on the linkage's own output">"Gain"</th>
                    <th scope="col" title="Value with the servo at its neutral pulse">"At neutral"</th>
                    <th scope="col">"Skin, least"</th><th scope="col">"At rest"</th><th scope="col">"Skin, most"</th>
                </tr></thead>
                <tbody>
                    {row.drives.iter().enumerate().map(|(k, (dof, place))| view! { <Drive mechanism=mechanism drive=k dof=*dof place=*place /> }).collect_view()}
                </tbody>
            </table>
        </fieldset>
    }
}

/// A kind for people.
pub const fn kind_name(kind: MechanismKind) -> &'static str {
    match kind {
        MechanismKind::Rotary => "direct or geared (rotary)",
        MechanismKind::PushRod => "push-rod",
        MechanismKind::Table => "measured table",
        MechanismKind::FiveBar => "five-bar, two servos",
        MechanismKind::Differential => "differential, two servos",
    }
}

#[component]
fn Drive(mechanism: usize, drive: usize, dof: Dof, place: Option<usize>) -> impl IntoView {
    let store = expect_context::<Store>();
    let follows = follows(store, &[dof]);
    let unit = if dof.unit() == "deg" { "°" } else { "mm" };
    let at = move |key: &str| format!("mechanisms[{mechanism}].drives[{drive}].{key}");
    let label = words(dof);
    let neutral = format!("at_neutral_{}", dof.unit());
    view! {
        <tr>
            <th scope="row">{label.clone()}<WrongAt path=at("dof") />{place.map(|i| view! { <WrongAt path=format!("dofs[{i}].dof") /><WrongAt path=format!("dofs[{i}].response") /> })}</th>
            <td><Cell path=at("gain") what=format!("{label}: gain") entry=Entry::Number kind=Kind::Range(-100.0, 100.0) step=0.1 label=format!("{label}, gain") hint="Gain: factor on the linkage's own output. Allowed: -100 to 100, not 0." follows=follows /></td>
            <td><Cell path=at(&neutral) what=format!("{label}: at neutral") entry=Entry::Number unit=unit step=0.1 label=format!("{label}, at neutral") hint="At neutral: what the face does with the servo at its neutral pulse." follows=follows /></td>
            {place.map(|i| skin_fields(dof).iter().map(|f| view! {
                <td><Cell path=format!("dofs[{i}].{}", f.key) what=format!("{label}: {}", f.label.to_lowercase()) entry=Entry::Number unit=unit step=f.step label=format!("{label}, {}", f.label) hint=format!("{}: {}", f.label, f.hint) follows=follows /></td>
            }).collect_view())}
        </tr>
    }
}

/// The points of a measured table.
#[component]
fn Points(mechanism: usize) -> impl IntoView {
    let store = expect_context::<Store>();
    let list = format!("mechanisms[{mechanism}].points");
    let count = {
        let list = list.clone();
        Memo::new(move |_| store.desk.draft.with(|d| d.count(&list)))
    };
    view! {
        <div class="points" data-testid="table-points">
            {move || (0..count.get()).map(|k| {
                let at = |key: &str| format!("mechanisms[{mechanism}].points[{k}].{key}");
                let gone = format!("mechanisms[{mechanism}].points[{k}]");
                view! {
                    <div class="point">
                        <Cell path=at("pulse_us") what="table point" entry=Entry::Number unit="µs" step=5.0 label=format!("Point {}, pulse", k + 1) hint="Pulse of a measured point, in order." />
                        <Cell path=at("value") what="table point" entry=Entry::Number step=0.1 label=format!("Point {}, value", k + 1) hint="What the face was seen to do there, mm or degrees; it must keep going one way." />
                        <button class="quiet" aria-label=format!("Take point {} out", k + 1) on:click=move |_| store.rig_edit(|d| Ok(d.take_out("table point out", &gone)))>"×"</button>
                    </div>
                }
            }).collect_view()}
            <p class="facts">"Measure it under Calibrate, step Linkage."</p>
        </div>
    }
}
