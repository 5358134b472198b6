//! What the present rig makes of the lines, against the rig before.

use crate::editor::View;
use crate::ui::store::{Phase, Store};
use crate::work::compare::{LineChange, Score};
use leptos::prelude::*;
use lipwright_core::phonetics::MouthShape;
use lipwright_core::rig::Rig;
use std::cmp::Ordering;
use std::sync::Arc;

/// Better, worse or the same, as a word that does not rest on colour.
fn verdict(order: Ordering) -> (&'static str, &'static str) {
    match order {
        Ordering::Greater => ("better", "better"),
        Ordering::Less => ("worse", "worse"),
        Ordering::Equal => ("same", "same"),
    }
}

/// Compares by a number of which less is better; differences below `noise` are none.
fn less_is_better(before: f64, after: f64, noise: f64) -> Ordering {
    if (before - after).abs() < noise { Ordering::Equal } else { before.total_cmp(&after) }
}

/// The page.
#[component]
pub fn ChangesPage() -> impl IntoView {
    let store = expect_context::<Store>();
    let desk = store.desk;
    let stale = Memo::new(move |_| {
        let now = store.head.with(|h| Arc::clone(&h.json));
        let before = desk.before.get();
        desk.changes.with(|c| c.as_ref().is_none_or(|(rigs, _)| !rigs.are(&before, &now)))
    });
    // Once the open line is planned, so that what is seen comes first.
    Effect::new(move || {
        let idle = store.phase.get() == Phase::Ready && store.performance.with(Option::is_some);
        if idle && stale.get() && desk.comparing.with(Option::is_none) && store.view.get() == View::Rig {
            store.compare();
        }
    });
    let unopened = move || {
        store
            .takes
            .with(|t| t.iter().filter(|t| t.line().is_none()).map(|t| t.name.clone()).collect::<Vec<_>>())
    };
    let before_name = move || {
        desk.before.with(|json| Rig::from_json(json).map(|r| r.name().to_owned())).unwrap_or_default()
    };
    let other_parts = move || {
        let before = desk.before.with(|json| Rig::from_json(json).ok());
        let parts = |rig: &Rig| rig.dofs().iter().map(|d| d.dof).collect::<Vec<_>>();
        store.head.with(|h| before.is_some_and(|b| parts(&b) != parts(&h.rig)))
    };
    let same = move || desk.before.with(|b| store.head.with(|h| **b == *h.json));
    view! {
        <div class="servo-head">
            <h2>"What the change brings"</h2>
            <p class="facts">{move || if same() {
                "The rig is as it was when it was laid on the desk.".to_owned()
            } else {
                format!("{} as it was, against the rig as it is now. Hand edits of the lines are kept in both.", before_name())
            }}</p>
            <span class="spring"></span>
            <button data-testid="compare-from-here" title="Later changes are measured against the rig as it is now" on:click=move |_| store.compare_from_here()>"Compare from here"</button>
        </div>
        <div role="status" data-testid="changes" data-fresh=move || (!stale.get()).to_string()>
            {move || match desk.changes.get() {
                None => view! { <p class="facts">"Planning the lines on both rigs …"</p> }.into_any(),
                Some((_, changes)) => changes.iter().map(line_table).collect_view().into_any(),
            }}
            <Show when=move || desk.changes.with(Option::is_some) && stale.get()><p class="facts">"Planning the lines again …"</p></Show>
        </div>
        <Show when=other_parts>
            <p class="facts">"The two heads do not move the same parts. “Short” and the error speak only of the parts that a head has, so fewer parts can look better there; the reach below says what is missing."</p>
        </Show>
        <Show when=move || !unopened().is_empty()>
            <p class="facts">{move || format!("Not opened yet, so not compared: {}.", unopened().join(", "))}</p>
        </Show>
        <Reaches />
    }
}

/// One row: what, before, after, which way.
fn row(what: String, before: String, after: String, order: Ordering) -> AnyView {
    let (class, word) = verdict(order);
    view! { <tr><th scope="row">{what}</th><td>{before}</td><td>{after}</td><td class=class>{word}</td></tr> }
        .into_any()
}

fn share(reached: usize, asked: usize) -> String {
    if asked == 0 { "none asked".to_owned() } else { format!("{reached} of {asked}") }
}

fn line_table(change: &LineChange) -> impl IntoView + use<> {
    let (b, a) = (&change.before, &change.after);
    let mut rows = vec![
        row(
            "Lip closures made".into(),
            share(b.closures_reached, b.closures),
            share(a.closures_reached, a.closures),
            (b.closures - b.closures_reached).cmp(&(a.closures - a.closures_reached)),
        ),
        row(
            "Tongue contacts made".into(),
            share(b.contacts_reached, b.contacts),
            share(a.contacts_reached, a.contacts),
            a.contacts_reached.cmp(&b.contacts_reached),
        ),
        row(
            "Error against the rig's own poses".into(),
            format!("{:.2} mm", b.error_mm),
            format!("{:.2} mm", a.error_mm),
            less_is_better(b.error_mm, a.error_mm, 0.005),
        ),
        row(
            "Peak current, estimated".into(),
            format!("{:.2} of {:.1} A", b.peak_a.value(), b.budget_a.value()),
            format!("{:.2} of {:.1} A", a.peak_a.value(), a.budget_a.value()),
            less_is_better(b.peak_a.value(), a.peak_a.value(), 0.005),
        ),
    ];
    if !(a.playable && b.playable) {
        let word = |s: &Score| if s.playable { "all" } else { "not all: do not play it" };
        rows.push(row("Limits kept".into(), word(b).into(), word(a).into(), a.playable.cmp(&b.playable)));
    }
    let shapes = b.shapes.iter().zip(&a.shapes).filter(|(x, y)| x.short > 0 || y.short > 0);
    rows.extend(shapes.map(|(x, y)| {
        let text = |short: usize| format!("{short} of {} short", x.asked);
        row(format!("{} segments", x.shape), text(x.short), text(y.short), x.short.cmp(&y.short))
    }));
    view! {
        <table class="grid changes" data-line=change.name.clone()>
            <caption>{change.name.clone()}</caption>
            <thead><tr><th scope="col"></th><th scope="col">"Before"</th><th scope="col">"Now"</th><th scope="col"></th></tr></thead>
            <tbody>{rows}</tbody>
        </table>
    }
}

/// What each shape gives, whatever the line: poses of both rigs against the reference face.
#[component]
fn Reaches() -> impl IntoView {
    let store = expect_context::<Store>();
    let rows = Memo::new(move |_| {
        let before = store.desk.before.with(|json| Rig::from_json(json).ok());
        store
            .head
            .with(|h| {
                let before = before?;
                let short = |rig: &Rig, shape: MouthShape| -> f64 {
                    // Parts a head does not have are missing by all that is wanted.
                    rig.reach_report()
                        .iter()
                        .filter(|n| n.shape == shape)
                        .map(|n| (n.wanted - n.given).abs())
                        .sum::<f64>()
                        + 0.0
                };
                let rows: Vec<(MouthShape, f64, f64)> = MouthShape::ALL
                    .into_iter()
                    .map(|s| (s, short(&before, s), short(&h.rig, s)))
                    .filter(|(_, b, a)| (b - a).abs() > 0.05)
                    .collect();
                Some(rows)
            })
            .unwrap_or_default()
    });
    view! {
        <Show when=move || !rows.with(Vec::is_empty)>
            <table class="grid changes" data-testid="reach-changes">
                <caption>"Reach of the poses: millimetres missing against the reference face"</caption>
                <thead><tr><th scope="col">"Shape"</th><th scope="col">"Before"</th><th scope="col">"Now"</th><th scope="col"></th></tr></thead>
                <tbody>{move || rows.get().into_iter().map(|(shape, b, a)| {
                    row(shape.name().to_owned(), format!("{b:.1} mm"), format!("{a:.1} mm"), less_is_better(b, a, 0.05))
                }).collect_view()}</tbody>
            </table>
        </Show>
    }
}
