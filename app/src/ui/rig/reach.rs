//! What this head gives less of than the reference face, and what a builder could change.

use crate::ui::store::Store;
use leptos::prelude::*;
use lipwright_core::rig::{PoseFinding, ReachLimit, ReachNote, Rig};

/// What to change, in words.
fn advice(rig: &Rig, note: &ReachNote) -> String {
    let servo = rig
        .mechanisms()
        .iter()
        .find(|m| m.drives().iter().any(|d| d.dof == note.dof))
        .and_then(|m| m.servos().first())
        .and_then(|id| rig.servos().get(id.0))
        .map_or("its servo", |s| s.name.as_str());
    match note.by {
        ReachLimit::Skin => "Thin the skin there, move its anchor nearer, or accept less.".to_owned(),
        ReachLimit::Mechanism => {
            format!("A longer horn or lever on {servo}, or a wider pulse range if the linkage allows it.")
        }
        ReachLimit::Coupling => "Check the limits between parts on the page Face.".to_owned(),
        ReachLimit::Missing => {
            "Add a servo there; without it other parts stand in as far as they can.".to_owned()
        }
    }
}

fn alike(finding: &PoseFinding) -> bool {
    matches!(finding, PoseFinding::LookAlike { .. })
}

/// The page.
#[component]
pub fn ReachPage() -> impl IntoView {
    let store = expect_context::<Store>();
    let rig = Memo::new(move |_| store.head.with(|h| h.json.clone()));
    let notes = Memo::new(move |_| {
        rig.track();
        store.head.with_untracked(|h| {
            let all = h.rig.reach_report();
            all.iter().map(|n| (n.shape.name(), n.to_string(), advice(&h.rig, n))).collect::<Vec<_>>()
        })
    });
    let findings = Memo::new(move |_| {
        rig.track();
        store.head.with_untracked(|h| {
            h.rig.check_poses().iter().map(|f| (alike(f), f.to_string())).collect::<Vec<_>>()
        })
    });
    view! {
        <section class="report" aria-label="Poses checked">
            <h3>"Closing and telling apart"</h3>
            <Show
                when=move || !findings.with(Vec::is_empty)
                fallback=|| view! { <p class="fine">"Bilabial closes, labiodental meets the teeth, the tongue tells its sounds apart, and no two shapes look alike."</p> }
            >
                <ul data-testid="pose-findings">
                    {move || findings.get().into_iter().map(|(alike, text)| view! { <li class:alike=alike>{text}</li> }).collect_view()}
                </ul>
            </Show>
        </section>
        <section class="report" aria-label="Reach by pose">
            <h3>"Reach by pose"</h3>
            <p class="facts">"Against the reference face; parts that matter little to a shape are left out."</p>
            <Show
                when=move || !notes.with(Vec::is_empty)
                fallback=|| view! { <p class="fine" data-testid="reach-full">"This head gives every shape what the reference face gives it."</p> }
            >
                <table class="grid" data-testid="reach-report">
                    <thead><tr><th scope="col">"Shape"</th><th scope="col">"What is missing"</th><th scope="col">"What could be changed"</th></tr></thead>
                    <tbody>
                        {move || notes.get().into_iter().map(|(shape, text, advice)| view! {
                            <tr><th scope="row">{shape}</th><td>{text}</td><td>{advice}</td></tr>
                        }).collect_view()}
                    </tbody>
                </table>
            </Show>
        </section>
    }
}
