//! What the head cannot do, the weightiest first, and what the ear wants known.

use super::store::{Dialog, Store};
use crate::editor::{Problem, ProblemKind, Take};
use leptos::html;
use leptos::prelude::*;

/// Most entries listed at once.
const LISTED: usize = 200;

/// One line of the list: the problem, and the name of its segment's shape.
#[derive(Clone, Debug, PartialEq)]
struct Row {
    /// Place among all problems.
    place: usize,
    problem: Problem,
    shape: &'static str,
}

fn rows(take: &Take) -> Vec<Row> {
    let segments = take.line().map_or(&[][..], |l| l.segments());
    let shape = |p: &Problem| match p.kind {
        ProblemKind::Look | ProblemKind::Event => p.kind.id(),
        _ => segments.get(p.segment).map_or("", |s| s.shape.name()),
    };
    let problems = take.problems().into_iter().enumerate();
    problems.map(|(place, problem)| Row { place, shape: shape(&problem), problem }).collect()
}

/// Places and confidences of the segments in doubt: what of the list does not come with a plan.
fn doubts(take: &Take) -> Vec<(usize, u64)> {
    let segments = take.line().map_or(&[][..], |l| l.segments());
    let in_doubt = segments.iter().enumerate().filter(|(_, s)| crate::scene::lanes::in_doubt(s));
    in_doubt.map(|(i, s)| (i, s.confidence.to_bits())).collect()
}

/// The score, counts by kind that choose what is listed, and the list.
#[component]
pub fn Problems() -> impl IntoView {
    let store = expect_context::<Store>();
    // Made anew with a plan or another doubt, not with every pixel of a drag.
    let doubts = Memo::new(move |_| store.with_take(doubts));
    let all = Memo::new(move |_| {
        store.current.track();
        store.performance.track();
        doubts.track();
        store.peek(rows).unwrap_or_default()
    });
    let only = RwSignal::new(None::<ProblemKind>);
    let counts = Memo::new(move |_| {
        let count = |kind: ProblemKind| all.with(|a| a.iter().filter(|r| r.problem.kind == kind).count());
        ProblemKind::ALL
            .map(|kind| (kind, count(kind)))
            .into_iter()
            .filter(|(_, n)| *n > 0)
            .collect::<Vec<_>>()
    });
    // A kind that is gone lets the others be seen again.
    let kind =
        Memo::new(move |_| only.get().filter(|k| counts.with(|c| c.iter().any(|(kind, _)| kind == k))));
    let listed = move || {
        let wanted = kind.get();
        let fits = |r: &&Row| wanted.is_none_or(|k| k == r.problem.kind);
        all.with(|a| a.iter().filter(fits).take(LISTED).cloned().collect::<Vec<_>>())
    };
    let current = Memo::new(move |_| store.problem.get().map_or(0..0, |(at, ..)| at..at + 1));
    let list = NodeRef::<html::Ul>::new();
    super::rows::mark(list, "aria-current", current);
    let notes = move || store.with_take(|t| t.notes.clone()).unwrap_or_default();
    let summary =
        move || store.with_take(|t| t.performance.as_ref().map(|p| p.head().summary.clone())).flatten();
    let scores = Memo::new(move |_| {
        let whole = |(a, b): (f64, f64)| (a.round() + 0.0, b.round() + 0.0);
        store.with_take(|t| t.scores().map(whole)).flatten()
    });
    let score = move || {
        scores.get().map(|(before, now)| {
            if before == now { format!("Score {now}") } else { format!("Score {now}, was {before}") }
        })
    };
    view! {
        <div class="problems">
            <div class="problems-head">
                <h2>"What the head cannot do"</h2>
                <span
                    class="score"
                    data-testid="score"
                    title="Of 100: the share of the line's shapes that the head makes as wanted; a closure counts three times, a tongue contact twice. Before: as the line first was, on this head."
                >{score}</span>
                <button
                    class="chip"
                    data-testid="room"
                    aria-pressed=move || store.roomy.get().to_string()
                    title="Put the little mouths away, so that more of this list is seen (R brings them back)"
                    on:click=move |_| store.set_roomy(!store.roomy.get_untracked())
                >"More room"</button>
                <button class="quiet" data-testid="script" on:click=move |_| store.dialog.set(Dialog::Script)>"Script…"</button>
            </div>
            <p class="facts" data-testid="summary" title=summary>{summary}</p>
            <div class="kinds" role="group" aria-label="Show one kind">
                <For each=move || counts.get() key=|c| *c children=move |(of, count)| {
                    view! {
                        <button
                            class="chip"
                            data-testid=format!("kind-{}", of.id())
                            aria-pressed=move || (kind.get() == Some(of)).to_string()
                            on:click=move |_| only.update(|k| *k = if *k == Some(of) { None } else { Some(of) })
                        >{of.counted(count)}</button>
                    }
                } />
            </div>
            <ul data-testid="problems" node_ref=list>
                <For
                    each=notes
                    key=Clone::clone
                    children=|note| view! { <li class="heard">{note}</li> }
                />
                <For
                    each=listed
                    key=|r| (r.problem.kind, r.problem.segment, r.problem.time.value().to_bits(), r.shape, r.place, r.problem.sentence.clone())
                    children=move |row| {
                        let place = row.place;
                        let current = current.with_untracked(|c| c.contains(&place)).to_string();
                        let (kind, time) = (row.problem.kind.id(), row.problem.time);
                        let sentence = row.problem.sentence.clone();
                        view! {
                            <li data-kind=kind data-row=place.to_string() aria-current=current>
                                <button on:click=move |_| store.go_to_problem(place, &row.problem)>
                                    <b>{row.shape}</b>
                                    <i>{format!("{:.2} s", time.value())}</i>
                                    <span>{sentence}</span>
                                </button>
                            </li>
                        }
                    }
                />
            </ul>
        </div>
    }
}
