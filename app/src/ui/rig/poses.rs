//! The pose board: every shape and expression as this head makes it, and how far apart they are.

use super::field::Cell;
use crate::editor::rig::{Entry, Kind, words};
use crate::scene::face::{Look, front};
use crate::scene::mouth::icon;
use crate::scene::pt;
use crate::ui::panel::lead;
use crate::ui::picture::Picture;
use crate::ui::store::{Chosen, Store};
use leptos::prelude::*;
use lipwright_core::phonetics::MouthShape;
use lipwright_core::rig::{Dof, Expression, LOOK_ALIKE};
use std::sync::Arc;

/// The page.
#[component]
pub fn PosesPage() -> impl IntoView {
    view! {
        <Board />
        <Numbers />
        <Distances />
    }
}

#[component]
fn Board() -> impl IntoView {
    let store = expect_context::<Store>();
    let desk = store.desk;
    let choose = move |chosen: Chosen| {
        desk.pose.set(chosen);
        desk.asked.set(store.head.with_untracked(|h| chosen.pose(&h.rig).target));
    };
    let own = move |chosen: Chosen| Memo::new(move |_| desk.draft.with(|d| d.has_entries(&chosen.path())));
    // Shapes that another looks like on this head.
    let alike = Memo::new(move |_| {
        store.head.with(|h| {
            MouthShape::ALL
                .into_iter()
                .filter(|a| {
                    MouthShape::ALL.iter().any(|b| b != a && h.rig.pose_distance(*a, *b) < LOOK_ALIKE)
                })
                .collect::<Vec<_>>()
        })
    });
    view! {
        <div class="board" role="group" aria-label="Mouth shapes" data-testid="pose-board">
            {MouthShape::ALL.into_iter().map(|shape| {
                let chosen = Chosen::Shape(shape);
                let own = own(chosen);
                let twin = move || alike.with(|a| a.contains(&shape));
                view! {
                    <button
                        class=format!("mouth {}", lead(shape.articulator()))
                        data-testid=format!("pose-{shape}")
                        aria-pressed=move || (desk.pose.get() == chosen).to_string()
                        title=move || format!("{shape}: {}{}{}", shape.sounds(), if own.get() { "; adjusted" } else { "" }, if twin() { "; another shape looks like it" } else { "" })
                        on:click=move |_| choose(chosen)
                    >
                        <Picture testid=format!("pose-picture-{shape}") label=Signal::derive(String::new) theme=store.theme draw=move |w, h| {
                            store.head.with(|head| icon(&head.poses[shape.index()], &head.anatomy, pt(0.0, 0.0), w, h))
                        } />
                        <span>{shape.name()}{move || if own.get() { " ·" } else { "" }}{move || if twin() { " ≈" } else { "" }}</span>
                    </button>
                }
            }).collect_view()}
        </div>
        <div class="board looks" role="group" aria-label="Expressions">
            {Expression::ALL.into_iter().map(|look| {
                let chosen = Chosen::Look(look);
                let own = own(chosen);
                view! {
                    <button
                        class="mouth lead-none"
                        data-testid=format!("pose-{look}")
                        aria-pressed=move || (desk.pose.get() == chosen).to_string()
                        on:click=move |_| choose(chosen)
                    >
                        <Picture testid=format!("pose-picture-{look}") label=Signal::derive(String::new) theme=store.theme draw=move |w, h| {
                            store.head.with(|head| front(&head.rig.expression(look).target, None, &head.anatomy, Look::Whole, w, h))
                        } />
                        <span>{look.name()}{move || if own.get() { " ·" } else { "" }}</span>
                    </button>
                }
            }).collect_view()}
        </div>
    }
}

/// Target and importance of every DOF in the chosen pose.
#[component]
fn Numbers() -> impl IntoView {
    let store = expect_context::<Store>();
    let desk = store.desk;
    let rows = Memo::new(move |_| {
        let pose = desk.pose.get();
        let dofs = store.head.with(|h| h.rig.dofs().iter().map(|d| d.dof).collect::<Vec<_>>());
        (pose, dofs)
    });
    let from_sliders = move |_| {
        let pose = desk.pose.get_untracked();
        let asked = store.head.with_untracked(|h| h.rig.reach(&desk.asked.get_untracked()).dofs);
        let now = store.head.with_untracked(|h| pose.pose(&h.rig).target);
        store.rig_edit(|d| {
            d.change(format!("{} from the sliders", pose.name()), |r| {
                let own = match pose {
                    Chosen::Shape(s) => r.poses.entry(s).or_default(),
                    Chosen::Look(e) => r.expressions.entry(e).or_default(),
                };
                for d in &r.dofs {
                    if (asked[d.dof] - now[d.dof]).abs() > 0.005 {
                        own.target.insert(d.dof, (asked[d.dof] * 100.0).round() / 100.0);
                    }
                }
            })
        });
    };
    let forget = move |_| {
        let pose = desk.pose.get_untracked();
        store.rig_edit(|d| Ok(d.take_out(&format!("{} as generated", pose.name()), &pose.path())));
    };
    view! {
        <section class="pose-numbers" aria-label="The chosen pose">
            <div class="servo-head">
                <h2 data-testid="pose-name">{move || desk.pose.get().name()}</h2>
                <p class="facts">"Faint numbers are generated from the reference face; yours replace them. Empty one to have it generated again."</p>
                <span class="spring"></span>
                <button data-testid="pose-from-sliders" title="Take what the sliders show as this pose" on:click=from_sliders>"From the sliders"</button>
                <button class="quiet" data-testid="pose-forget" on:click=forget>"As generated"</button>
            </div>
            {move || {
                let (pose, dofs) = rows.get();
                view! {
                    <div class="pose-grid">
                        <div class="pose-row pose-heads" aria-hidden="true"><span></span><span>"Target"</span><span>"Importance"</span></div>
                        {dofs.into_iter().map(|dof| view! { <PoseRow pose=pose dof=dof /> }).collect_view()}
                    </div>
                }
            }}
        </section>
    }
}

#[component]
fn PoseRow(pose: Chosen, dof: Dof) -> impl IntoView {
    let store = expect_context::<Store>();
    let of = move |which: fn(&lipwright_core::rig::ShapePose, Dof) -> f64, digits: i32| {
        let scale = 10f64.powi(digits);
        Signal::derive(move || {
            // Adding zero turns a rounded -0.0 into 0.0.
            let value = store.head.with(|h| (which(pose.pose(&h.rig), dof) * scale).round() / scale + 0.0);
            format!("{value:.*}", digits as usize)
        })
    };
    let right = dof.mirror() != dof && !dof.is_left();
    let follows = Signal::derive(move || right && store.desk.draft.with(|d| d.symmetric()));
    let label = words(dof);
    let unit = if dof.unit() == "deg" { "°" } else { "mm" };
    view! {
        <div class="pose-row">
            <span>{label.clone()}</span>
            <Cell path=format!("{}.target.{dof}", pose.path()) what=format!("{}: {label}", pose.name()) entry=Entry::Optional kind=Kind::Range(-360.0, 360.0) unit=unit step=0.1
                label=format!("{label}, target") otherwise=of(|p, d| p.target[d], 1) follows=follows hint="Target: what the shape asks here. It is held to what skin, linkage and limits allow." />
            <Cell path=format!("{}.importance.{dof}", pose.path()) what=format!("{}: importance of {label}", pose.name()) entry=Entry::Optional kind=Kind::Range(0.0, 100.0) step=0.05
                label=format!("{label}, importance") otherwise=of(|p, d| p.importance[d], 2) follows=follows hint="Importance: 0 does not matter, 1 matters fully. Neighbouring sounds share what a shape does not own." />
        </div>
    }
}

/// How far apart every two shapes are to the eye.
#[component]
fn Distances() -> impl IntoView {
    let store = expect_context::<Store>();
    let rig = move || store.head.with(|h| Arc::clone(&h.rig));
    view! {
        <section class="distances" aria-label="How far apart the shapes are">
            <h3>"How far apart the shapes are, mm"</h3>
            <p class="facts">{format!("Under {LOOK_ALIKE:.1} a viewer two metres away can hardly tell two shapes apart (calculated from what an eye resolves).")}</p>
            <div class="scroll">
                <table data-testid="distance-table">
                    <thead><tr><td></td>{MouthShape::ALL[..MouthShape::ALL.len() - 1].iter().map(|s| view! { <th scope="col"><span>{s.name()}</span></th> }).collect_view()}</tr></thead>
                    <tbody>
                        {move || {
                            let rig = rig();
                            MouthShape::ALL.into_iter().enumerate().skip(1).map(|(i, a)| view! {
                                <tr>
                                    <th scope="row">{a.name()}</th>
                                    {MouthShape::ALL.into_iter().take(i).map(|b| {
                                        let d = rig.pose_distance(a, b);
                                        let class = if d < LOOK_ALIKE { "alike" } else if d.value() < 2.0 * LOOK_ALIKE.value() { "near" } else { "" };
                                        view! { <td class=class title=format!("{a} and {b}: {d:.1} apart")>{format!("{:.1}", d.value())}</td> }
                                    }).collect_view()}
                                </tr>
                            }).collect_view()
                        }}
                    </tbody>
                </table>
            </div>
        </section>
    }
}
