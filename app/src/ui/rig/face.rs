//! The head as a whole: name, sizes of the face, limits between its parts.

use super::field::{Cell, FormField, WrongAt};
use crate::editor::rig::{Entry, FACE, Kind, words};
use crate::ui::store::Store;
use leptos::prelude::*;
use lipwright_core::rig::{CouplingDescription, Dof, TermDescription};

/// The page.
#[component]
pub fn FacePage() -> impl IntoView {
    view! {
        <fieldset>
            <legend>"The head"</legend>
            <div class="fields">
                <label class="f"><span>"Name"</span><Cell path="name" what="name of the head" entry=Entry::Text hint="What you call the head." /></label>
                <label class="f wide"><span>"Notes"</span><Cell path="notes" what="notes" entry=Entry::Text hint="Anything worth remembering." /></label>
                {FACE.iter().map(|f| view! { <FormField field=f path=format!("face.{}", f.key) of="face" /> }).collect_view()}
            </div>
            {["servos", "mechanisms", "dofs"].map(|k| view! { <WrongAt path=k /> })}
        </fieldset>
        <fieldset>
            <legend>"Start from"</legend>
            <super::Presets />
            <p class="facts">"Each is a whole head of common practice. Undo brings your own rig back."</p>
        </fieldset>
        <Couplings />
    }
}

/// Limits between parts: lips must not be driven into each other.
#[component]
fn Couplings() -> impl IntoView {
    let store = expect_context::<Store>();
    let draft = store.desk.draft;
    // Name and parts of each limit; the numbers are the cells' own.
    let rows = Memo::new(move |_| {
        draft.with(|d| {
            (0..d.count("couplings"))
                .map(|i| {
                    let terms = d.count(&format!("couplings[{i}].terms"));
                    let dofs: Vec<String> =
                        (0..terms).map(|k| d.text(&format!("couplings[{i}].terms[{k}].dof"))).collect();
                    (i, dofs)
                })
                .collect::<Vec<_>>()
        })
    });
    let plain =
        |name: &str| Dof::ALL.into_iter().find(|d| d.name() == name).map_or_else(|| name.to_owned(), words);
    let add = move |_| {
        store.rig_edit(|d| {
            d.change("limit added", |r| {
                let first = r.dofs.iter().find(|d| d.dof.unit() == "mm").map(|d| d.dof);
                if let Some(dof) = first {
                    r.couplings.push(CouplingDescription {
                        name: "new limit".to_owned(),
                        terms: vec![TermDescription { dof, factor: 1.0, extra: Default::default() }],
                        min_mm: None,
                        max_mm: Some(100.0),
                        extra: Default::default(),
                    });
                }
            })
        });
    };
    view! {
        <fieldset>
            <legend>"Limits between parts"</legend>
            <p class="facts">"Least ≤ sum of factor × part ≤ most, in mm. The planner keeps to them in every frame: lips are not driven into each other, the tongue not into the palate."</p>
            {move || rows.get().into_iter().map(|(i, dofs)| {
                let at = move |key: &str| format!("couplings[{i}].{key}");
                view! {
                    <div class="coupling" data-testid="coupling">
                        <div class="coupling-head">
                            <Cell path=at("name") what="limit" entry=Entry::Text label=format!("Limit {}, name", i + 1) hint="Name of the limit." />
                            <AddTerm coupling=i />
                            <span class="spring"></span>
                            <button class="quiet" aria-label=format!("Take limit {} out", i + 1) on:click=move |_| store.rig_edit(|d| Ok(d.take_out("limit out", &format!("couplings[{i}]"))))>"Take out"</button>
                        </div>
                        <Cell path=at("min_mm") what="limit, least" entry=Entry::Optional kind=Kind::Range(-1000.0, 1000.0) unit="mm" step=0.1 label=format!("Limit {}, least", i + 1) hint="Least value of the sum; empty for none." />
                        <span class="op">"≤"</span>
                        <div class="terms">
                            {dofs.into_iter().enumerate().map(|(k, dof)| {
                                let gone = format!("couplings[{i}].terms[{k}]");
                                view! {
                                    <span class="term">
                                        <Cell path=format!("couplings[{i}].terms[{k}].factor") what="limit, factor" entry=Entry::Number step=0.1 label=format!("Factor of {}", plain(&dof)) hint="Factor of this part in the sum." />
                                        <span>"× "{plain(&dof)}</span>
                                        <button class="quiet" aria-label=format!("Take {} out of the limit", plain(&dof)) on:click=move |_| store.rig_edit(|d| Ok(d.take_out("part out of a limit", &gone)))>"×"</button>
                                        <WrongAt path=format!("couplings[{i}].terms[{k}].dof") />
                                    </span>
                                }
                            }).collect_view()}
                        </div>
                        <span class="op">"≤"</span>
                        <Cell path=at("max_mm") what="limit, most" entry=Entry::Optional kind=Kind::Range(-1000.0, 1000.0) unit="mm" step=0.1 label=format!("Limit {}, most", i + 1) hint="Greatest value of the sum; empty for none." />
                        <WrongAt path=at("terms") />
                    </div>
                }
            }).collect_view()}
            <button data-testid="add-coupling" on:click=add>"Add a limit"</button>
        </fieldset>
    }
}

/// A choice of parts to add to a limit.
#[component]
fn AddTerm(coupling: usize) -> impl IntoView {
    let store = expect_context::<Store>();
    let free = move || {
        store.desk.draft.with(|d| {
            d.description().map_or_else(Vec::new, |r| {
                let used = r.couplings.get(coupling).map_or(&[][..], |c| &c.terms);
                r.dofs
                    .iter()
                    .map(|d| d.dof)
                    .filter(|dof| dof.unit() == "mm" && used.iter().all(|t| t.dof != *dof))
                    .collect::<Vec<_>>()
            })
        })
    };
    let add = move |event: web_sys::Event| {
        let name = super::field::typed(&event);
        if let Some(dof) = Dof::ALL.into_iter().find(|d| d.name() == name) {
            store.rig_edit(|d| {
                d.change("part into a limit", |r| {
                    if let Some(c) = r.couplings.get_mut(coupling) {
                        c.terms.push(TermDescription { dof, factor: 1.0, extra: Default::default() });
                    }
                })
            });
        }
    };
    view! {
        <select class="small" aria-label="Add a part to the limit" on:change=add>
            <option value="">"+ part"</option>
            {move || free().into_iter().map(|d| view! { <option value=d.name()>{words(d)}</option> }).collect_view()}
        </select>
    }
}
