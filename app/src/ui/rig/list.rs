//! The servos, by the part of the face that they move.

use crate::editor::rig::{ServoRow, outline, part_name};
use crate::ui::store::{Dialog, Store};
use leptos::prelude::*;
use lipwright_core::rig::FacePart;

/// Class that carries a part's colour: that of the articulator it belongs to.
const fn tint(part: Option<FacePart>) -> &'static str {
    match part {
        Some(FacePart::Jaw) => "lead-jaw",
        Some(FacePart::Lips | FacePart::Corners) => "lead-lips",
        Some(FacePart::Tongue) => "lead-tip",
        Some(FacePart::Brows | FacePart::Neck | FacePart::Lids) | None => "lead-none",
    }
}

/// The rig's rows, tracked.
pub fn rows(store: Store) -> Memo<Vec<ServoRow>> {
    Memo::new(move |_| store.desk.draft.with(|d| outline(d.value())))
}

/// The list at the left.
#[component]
pub fn ServoList() -> impl IntoView {
    let store = expect_context::<Store>();
    let rows = rows(store);
    let desk = store.desk;
    let symmetric = Memo::new(move |_| desk.draft.with(|d| d.symmetric()));
    let halves = move || rows.with(|r| r.iter().flat_map(|r| &r.drives).any(|(dof, _)| dof.mirror() != *dof));
    view! {
        <nav class="servo-list" aria-label="Servos">
            <ul data-testid="servo-list">
                <For
                    each=move || {
                        let rows = rows.get();
                        let head = |i: usize| i == 0 || rows[i - 1].part() != rows[i].part();
                        (0..rows.len()).map(|i| (rows[i].clone(), head(i))).collect::<Vec<_>>()
                    }
                    key=Clone::clone
                    children=move |(row, head)| {
                        let (servo, part) = (row.servo, row.part());
                        let on = move || desk.servo.get() == servo;
                        let wrong = Memo::new(move |_| desk.draft.with(|d| d.problems_under(&format!("servos[{servo}]"))));
                        view! {
                            {head.then(|| view! { <li class="part" aria-hidden="true">{part.map_or("Not used", part_name)}</li> })}
                            <li class=tint(part)>
                                <button
                                    data-testid="servo-row"
                                    aria-current=move || if on() { "true" } else { "false" }
                                    on:click=move |_| desk.servo.set(servo)
                                >
                                    <b>{row.name.clone()}</b>
                                    <i>{row.wired.clone()}</i>
                                    {(row.moves() != row.name).then(|| view! { <span>{row.moves()}</span> })}
                                    <Show when=move || { wrong.get() > 0 }><em aria-label="something is wrong here">"!"</em></Show>
                                </button>
                            </li>
                        }
                    }
                />
            </ul>
            <div class="list-foot">
                <button data-testid="add-servo" on:click=move |_| store.dialog.set(Dialog::AddServo)>"Add a servo…"</button>
                <Show when=halves>
                    <label class="switch" title="Skin, linkage and poses of the left half are copied to the right; pulses, direction and wiring of each servo stay its own">
                        <input
                            type="checkbox"
                            data-testid="symmetric"
                            prop:checked=move || symmetric.get()
                            on:change=move |_| {
                                let on = !symmetric.get_untracked();
                                store.rig_edit(|d| d.set_symmetric(on));
                            }
                        />
                        <span>"Right follows left"</span>
                    </label>
                </Show>
            </div>
        </nav>
    }
}
