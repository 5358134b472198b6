//! The dialog that adds a servo.

use super::field::typed;
use super::servo::kind_name;
use crate::editor::rig::{outline, part_name, words};
use crate::ui::dialogs::Modal;
use crate::ui::store::{Dialog, Store};
use leptos::prelude::*;
use lipwright_core::rig::{Dof, MechanismKind, ServoClass};

/// What it drives, how, and what it is.
#[component]
pub fn AddServo() -> impl IntoView {
    let store = expect_context::<Store>();
    let taken: Vec<Dof> = store
        .desk
        .draft
        .with_untracked(|d| outline(d.value()).iter().flat_map(|r| r.drives.iter().map(|x| x.0)).collect());
    let free: Vec<Dof> = Dof::ALL.into_iter().filter(|d| !taken.contains(d)).collect();
    let any = !free.is_empty();
    let dofs = RwSignal::new(Vec::<Dof>::new());
    let kind = RwSignal::new(MechanismKind::PushRod);
    let class = RwSignal::new(ServoClass::Standard);
    let name = RwSignal::new(String::new());
    let named = move || {
        let own = name.get();
        if own.trim().is_empty() { usual_name(&dofs.get()) } else { own.trim().to_owned() }
    };
    let missing = Memo::new(move |_| {
        let dofs = dofs.get();
        let turns = dofs.iter().any(|d| d.unit() == "deg");
        match kind.get() {
            _ if dofs.is_empty() => Some("Choose what it moves."),
            MechanismKind::FiveBar | MechanismKind::Differential if dofs.len() != 2 => {
                Some("Two servos move exactly two parts: choose two.")
            }
            MechanismKind::FiveBar if dofs.iter().any(|d| !d.name().starts_with("corner")) => {
                Some("A five-bar moves one point out and up: choose both parts of one mouth corner.")
            }
            MechanismKind::PushRod if turns => {
                Some("A push-rod moves millimetres; choose a rotary drive for the neck.")
            }
            _ if turns && dofs.len() > 1 => {
                Some("The neck is measured in degrees; give it a servo of its own.")
            }
            _ => None,
        }
    });
    let add = move |_| {
        if missing.get_untracked().is_some() {
            return;
        }
        let (kind, class, name, dofs) =
            (kind.get_untracked(), class.get_untracked(), untrack(named), dofs.get_untracked());
        store.rig_edit(|d| {
            d.change(format!("{name} added"), |r| {
                r.add_mechanism(kind, class, &name, &dofs);
            })
        });
        // Its row: the first servo of the last mechanism.
        let rows = store.desk.draft.with_untracked(|d| outline(d.value()));
        if let Some(row) = rows.iter().max_by_key(|r| r.mechanism) {
            store.desk.servo.set(row.partners.first().copied().unwrap_or(row.servo));
        }
        store.desk.page.set(crate::editor::rig::RigPage::Servos);
        store.dialog.set(Dialog::None);
    };
    view! {
        <Modal title="Add a servo" testid="add-servo-dialog">
            <Show
                when=move || any
                fallback=|| view! { <p>"Every part of the face that Lipwright knows is driven already. Take a servo out to give its part to another."</p> }
            >
                <h3>"What it moves"</h3>
                <div class="dofs">
                    {free.iter().map(|dof| {
                        let dof = *dof;
                        view! {
                            <label class="switch">
                                <input type="checkbox" data-testid=format!("add-{dof}") on:change=move |_| dofs.update(|all| {
                                    if let Some(i) = all.iter().position(|d| *d == dof) {
                                        all.remove(i);
                                    } else {
                                        all.push(dof);
                                        all.sort();
                                    }
                                }) />
                                <span>{words(dof)}" "<small>{part_name(dof.part())}</small></span>
                            </label>
                        }
                    }).collect_view()}
                </div>
                <div class="fields">
                    <label class="f"><span>"Linkage"</span><span class="cell"><span class="box"><select data-testid="add-kind" on:change=move |e| {
                        let chosen = typed(&e);
                        if let Some(k) = MechanismKind::ALL.into_iter().find(|k| k.name() == chosen) {
                            kind.set(k);
                        }
                    }>
                        {MechanismKind::ALL.into_iter().map(|k| view! { <option value=k.name()>{kind_name(k)}</option> }).collect_view()}
                    </select></span></span></label>
                    <label class="f"><span>"Servo class"</span><span class="cell"><span class="box"><select data-testid="add-class" on:change=move |e| {
                        let chosen = typed(&e);
                        if let Some(c) = ServoClass::ALL.into_iter().find(|c| c.name() == chosen) {
                            class.set(c);
                        }
                    }>
                        {ServoClass::ALL.into_iter().map(|c| view! { <option value=c.name() selected=c == ServoClass::Standard>{c.name()}</option> }).collect_view()}
                    </select></span></span></label>
                    <label class="f"><span>"Name"</span><span class="cell"><span class="box"><input type="text" autocomplete="off" data-testid="add-name" placeholder=named on:input=move |e| name.set(typed(&e)) /></span></span></label>
                </div>
                <p class="facts">"It starts with sizes and figures of common practice. Measure your own part before you set its limits."</p>
                <p class="wrong" role="status">{move || missing.get()}</p>
                <div class="dialog-foot">
                    <button class="main" data-testid="add-confirm" disabled=move || missing.get().is_some() on:click=add>"Add"</button>
                </div>
            </Show>
        </Modal>
    }
}

/// A name for a servo that moves these.
fn usual_name(dofs: &[Dof]) -> String {
    match dofs {
        [] => "servo".to_owned(),
        [one] => one.name().replace('-', " "),
        [first, ..] => {
            // What the names have in common: both halves of a lip are "upper lip".
            let parts: Vec<&str> = first.name().split('-').collect();
            let shared =
                |n: usize| dofs.iter().all(|d| d.name().split('-').take(n).eq(parts.iter().take(n).copied()));
            let n = (1..=parts.len()).rev().find(|n| shared(*n)).unwrap_or(0);
            if n == 0 { first.name().replace('-', " ") } else { parts[..n].join(" ") }
        }
    }
}
