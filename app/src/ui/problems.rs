//! What the head cannot do, the weightiest first, and what the ear wants known.

use super::store::{Dialog, Store};
use crate::editor::{Problem, ProblemKind, Take};
use leptos::html;
use leptos::prelude::*;
use wasm_bindgen::JsCast;
use web_sys::Element;

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

/// What stands in the list: first what the ear noted, then the problems.
#[derive(Clone, PartialEq)]
enum Entry {
    Note(String),
    Problem(Row),
}

impl super::rows::Row for Entry {
    fn number(&self) -> Option<usize> {
        match self {
            Entry::Note(_) => None,
            Entry::Problem(row) => Some(row.place),
        }
    }

    fn write(&self, into: &Element, before: Option<&Self>) {
        match self {
            Entry::Note(note) => {
                // Fails for no attribute that has a name.
                let _ = into.remove_attribute("data-kind");
                into.set_class_name("heard");
                into.set_text_content(Some(note));
            }
            Entry::Problem(row) => {
                if !matches!(before, Some(Entry::Problem(_))) {
                    into.set_class_name("");
                    into.set_text_content(None);
                    let button = super::rows::add(into, "button");
                    for part in ["b", "i", "span"] {
                        button.as_ref().map(|b| super::rows::add(b, part));
                    }
                }
                super::rows::set(into, "data-kind", row.problem.kind.id());
                let time = format!("{:.2} s", row.problem.time.value());
                let texts = [row.shape, time.as_str(), row.problem.sentence.as_str()];
                let mut part = into.first_element_child().and_then(|b| b.first_element_child());
                for text in texts {
                    part = part.and_then(|p| {
                        p.set_text_content(Some(text));
                        p.next_element_sibling()
                    });
                }
            }
        }
    }
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
        let notes = store.with_take(|t| t.notes.clone()).unwrap_or_default();
        let fits = |r: &&Row| wanted.is_none_or(|k| k == r.problem.kind);
        let problems = all.with(|a| a.iter().filter(fits).take(LISTED).cloned().collect::<Vec<_>>());
        notes.into_iter().map(Entry::Note).chain(problems.into_iter().map(Entry::Problem)).collect()
    };
    let listed = Memo::new(move |_| listed());
    let current = Memo::new(move |_| store.problem.get().map_or(0..0, |(at, ..)| at..at + 1));
    let list = NodeRef::<html::Ul>::new();
    super::rows::keep(list, move || listed.get(), "aria-current", current);
    // One listener for all rows.
    let go = move |event: web_sys::MouseEvent| {
        let row = event.target().and_then(|t| t.dyn_into::<Element>().ok());
        let row = row.and_then(|e| e.closest("[data-row]").ok().flatten());
        let place = row.and_then(|r| r.get_attribute("data-row")?.parse::<usize>().ok());
        let problem = place.and_then(|place| all.with_untracked(|a| a.get(place).cloned()));
        if let Some(row) = problem {
            store.go_to_problem(row.place, &row.problem);
        }
    };
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
                // All are there and most are hidden: made anew with every count, each would leave its
                // subscription behind.
                {ProblemKind::ALL.into_iter().map(|of| {
                    let count = move || counts.with(|c| c.iter().find(|(k, _)| *k == of).map_or(0, |(_, n)| *n));
                    view! {
                        <button
                            class="chip"
                            data-testid=format!("kind-{}", of.id())
                            hidden=move || count() == 0
                            aria-pressed=move || (kind.get() == Some(of)).to_string()
                            on:click=move |_| only.update(|k| *k = if *k == Some(of) { None } else { Some(of) })
                        >{move || of.counted(count())}</button>
                    }
                }).collect_view()}
            </div>
            <ul data-testid="problems" node_ref=list on:click=go></ul>
        </div>
    }
}
