//! What the head asks of its supply, and the questions that belong to a qualified person.

use super::field::FormField;
use crate::editor::rig::SUPPLY;
use crate::ui::store::Store;
use leptos::prelude::*;
use lipwright_core::rig::{PowerNeeds, Supply};
use lipwright_core::units::Watts;
use std::collections::BTreeMap;

/// Heat that a small regulator in the usual three-legged case sheds by itself, W (common practice).
const BARE: f64 = 1.0;
/// Heat above which a heat sink gets too large for a head, W (common practice).
const SINK: f64 = 5.0;

/// What a linear regulator's heat means.
fn warning(heat: Watts) -> &'static str {
    match heat.value() {
        w if w <= BARE => "little: a bare regulator in a three-legged case sheds about a watt",
        w if w <= SINK => "needs a heat sink and air; too hot to touch",
        _ => {
            "too much for a linear regulator in a head: use a switching one, and see its sheet for its losses"
        }
    }
}

/// The page.
#[component]
pub fn PowerPage() -> impl IntoView {
    let store = expect_context::<Store>();
    let needs =
        Memo::new(move |_| store.head.with(|h| (h.rig.power_needs(), *h.rig.supply(), h.rig.servos().len())));
    let boards = move || {
        store.head.with(|h| {
            let mut boards: BTreeMap<String, (usize, f64, f64)> = BTreeMap::new();
            for s in h.rig.servos() {
                let b = boards.entry(s.controller.clone()).or_default();
                b.0 += 1;
                b.1 += (s.idle_current + s.moving_current).value();
                b.2 += s.stall_current.value();
            }
            boards.into_iter().collect::<Vec<_>>()
        })
    };
    let used = move || {
        let (_, supply, _) = needs.get();
        let line = store.with_take(|t| t.name.clone()).unwrap_or_default();
        store.performance.get().map(|p| {
            let head = p.head();
            let share = 100.0 * head.peak.value() / supply.budget.value();
            format!("{line}: peak {:.2} A, mean {:.2} A of {:.1} A ({share:.0} % at the peak, estimated from speeds).", head.peak.value(), head.mean.value(), supply.budget.value())
        })
    };
    view! {
        <fieldset>
            <legend>"Supply"</legend>
            <div class="fields">{SUPPLY.iter().map(|f| view! { <FormField field=f path=format!("supply.{}", f.key) of="supply" /> }).collect_view()}</div>
            <p class="facts">"Check which wire is which before you connect: the input into the servo rail ends every servo at once."</p>
        </fieldset>
        <section class="report" aria-label="Currents">
            <h3>"Currents, all servos together"</h3>
            <table class="grid" data-testid="power-table">
                <thead><tr><th scope="col"></th><th scope="col">"Current"</th><th scope="col">"Heat in a linear regulator"</th><th scope="col">"What that means"</th></tr></thead>
                <tbody>{move || needs.with(|(n, s, _)| table(n, s))}</tbody>
            </table>
            <p class="facts" data-testid="budget-used">{used}</p>
            <Show when=move || { boards().len() > 1 }>
                <ul class="boards">{move || boards().into_iter().map(|(name, (n, moving, stall))| view! {
                    <li>{format!("Controller {name}: {n} servos, {moving:.1} A all moving, {stall:.1} A all stalled")}</li>
                }).collect_view()}</ul>
            </Show>
        </section>
        <section class="report" aria-label="Questions for a qualified person">
            <h3>"Questions for a qualified person"</h3>
            <p class="facts">"Lipwright sums currents; it does not size wire, fuse or supply."</p>
            <ul data-testid="power-questions">{move || needs.with(|(n, s, count)| questions(n, s, *count))}</ul>
        </section>
        <p class="caution">"Nothing here is a safety controller: an emergency stop must cut servo power in hardware. Follow local electrical codes, and have public installations checked by a licensed person."</p>
    }
}

fn table(n: &PowerNeeds, supply: &Supply) -> impl IntoView + use<> {
    let heat = |current| supply.linear_heat(current);
    [
        ("At rest", n.idle, String::new()),
        ("Budget while moving", supply.budget, warning(n.heat_at_budget).to_owned()),
        (
            "All moving at full speed",
            n.moving,
            if n.moving > supply.budget {
                "more than the budget: the planner spreads motion in time to keep to it".to_owned()
            } else {
                "within the budget: it never holds the planner back".to_owned()
            },
        ),
        ("All stalled", n.stall, format!("{}; wire, fuse and supply are sized for this current", warning(n.heat_at_stall))),
    ]
    .into_iter()
    .map(|(name, current, means)| {
        let watts = heat(current);
        let hot = if watts.value() > SINK { "alike" } else { "" };
        view! {
            <tr><th scope="row">{name}</th><td>{format!("{current:.2}")}</td><td class=hot>{format!("{watts:.1}")}</td><td>{means}</td></tr>
        }
    })
    .collect_view()
}

fn questions(n: &PowerNeeds, supply: &Supply, count: usize) -> impl IntoView + use<> {
    let (stall, rail, input) = (n.stall.value(), supply.rail.value(), supply.input.value());
    [
        format!("Which supply gives {rail} V at {stall:.1} A for the moment that all {count} servos are blocked, and what does it do when asked for more?"),
        format!("Which wire carries {stall:.1} A over my length of cable at {rail} V without warming up, and how much voltage is lost on the way?"),
        "Which fuse protects the thinnest wire of the servo rail, and does it let the servos start?".to_owned(),
        format!("Does anything on the head see {input} V that must not, if a regulator fails?"),
        "Where does the emergency stop cut servo power in hardware, and who may reset it?".to_owned(),
    ]
    .into_iter()
    .map(|q| view! { <li>{q}</li> })
    .collect_view()
}
