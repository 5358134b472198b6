//! Calibration, servo by servo, from values taken down at the bench.

use super::field::{FormField, WrongAt, typed};
use super::list::rows;
use crate::editor::rig::{Reading, SERVO, ServoRow, Sheet, Step, direction, response_of, skin_fields, words};
use crate::ui::store::Store;
use leptos::prelude::*;
use lipwright_core::rig::{
    Dof, LinkageDescription, MechanismKind, PushRod, Rig, ServoId, TablePoint, fit_push_rod, measure_linkage,
};
use lipwright_core::units::Microseconds;
use std::sync::Arc;

/// The page: steps for the servo that is chosen in the list.
#[component]
pub fn CalibratePage() -> impl IntoView {
    let store = expect_context::<Store>();
    let desk = store.desk;
    let rows = rows(store);
    let row = Memo::new(move |_| {
        let servo = desk.servo.get();
        rows.with(|r| r.iter().find(|r| r.servo == servo).cloned())
    });
    let go = move |next: bool| {
        let step = desk.step.get_untracked();
        let to = if next { step.next() } else { step.back() };
        if let Some(to) = to {
            desk.step.set(to);
        } else if next {
            // The next servo in the list, from its first step.
            let all = rows.get_untracked();
            let at = all.iter().position(|r| r.servo == desk.servo.get_untracked()).unwrap_or(0);
            if let Some(r) = all.get((at + 1) % all.len().max(1)) {
                desk.servo.set(r.servo);
                desk.step.set(Step::default());
            }
        }
    };
    view! {
        <div class="servo-head">
            <h2>{move || row.get().map(|r| r.name)}</h2>
            <p class="facts">"Choose a servo at the left. Values from paper are enough; where the Bench is connected, the servo can be moved from here."</p>
        </div>
        <ol class="steps" aria-label="Steps of the calibration">
            {Step::ALL.into_iter().enumerate().map(|(i, s)| view! {
                <li><button
                    class="chip"
                    data-testid=format!("step-{}", i + 1)
                    aria-pressed=move || (desk.step.get() == s).to_string()
                    on:click=move |_| desk.step.set(s)
                >{format!("{} {}", i + 1, s.name())}</button></li>
            }).collect_view()}
        </ol>
        <div class="step">
            {move || row.get().map(|row| match desk.step.get() {
                Step::Neutral => view! { <Neutral row=row /> }.into_any(),
                Step::Ends => view! { <Ends row=row /> }.into_any(),
                Step::Direction => view! { <Turning row=row /> }.into_any(),
                Step::Linkage => view! { <Measured row=row /> }.into_any(),
                Step::Travel => view! { <Travel row=row /> }.into_any(),
                Step::Skin => view! { <Skin row=row /> }.into_any(),
            })}
        </div>
        {move || row.get().map(|row| view! { <crate::ui::bench::HoldServo name=row.name /> })}
        <div class="dialog-foot">
            <button data-testid="step-back" disabled=move || desk.step.get().back().is_none() on:click=move |_| go(false)>"Back"</button>
            <button class="main" data-testid="step-next" on:click=move |_| go(true)>
                {move || if desk.step.get().next().is_some() { "Next step" } else { "Next servo" }}
            </button>
        </div>
        <p class="caution">"A calibration that is not done yet can drive a linkage into its end stop. Take the horn off, or keep the supply's current limit low, until neutral, ends and direction are right. Keep fingers clear, and cut servo power before reaching in."</p>
    }
}

/// A field of the servo, by its key.
#[component]
fn Own(row: ServoRow, key: &'static str) -> impl IntoView {
    SERVO.iter().find(|f| f.key == key).map(|f| {
        view! { <FormField field=f path=format!("servos[{}].{key}", row.servo) of=row.name.clone() /> }
    })
}

/// The servo of a row in the rig in use, by its name: the draft may be ahead.
fn in_use(rig: &Rig, row: &ServoRow) -> Option<ServoId> {
    rig.servos().iter().find(|s| s.name == row.name).map(|s| s.id)
}

#[component]
fn Neutral(row: ServoRow) -> impl IntoView {
    view! {
        <p>"Send the neutral pulse with the horn off. Put the horn on as the drawing shows it (for a push-rod: across the rod), then trim the pulse until the part stands where its row “at neutral” says."</p>
        <div class="fields"><Own row=row key="pulse_neutral_us" /></div>
    }
}

#[component]
fn Ends(row: ServoRow) -> impl IntoView {
    view! {
        <p>"Go outward from neutral in small steps. Stop before the linkage binds or the servo hums, and write down the shortest and the longest pulse. They are never exceeded."</p>
        <div class="fields"><Own row=row.clone() key="pulse_min_us" /><Own row=row key="pulse_max_us" /></div>
    }
}

#[component]
fn Turning(row: ServoRow) -> impl IntoView {
    let store = expect_context::<Store>();
    let servo = row.servo;
    let expected = {
        let row = row.clone();
        move || {
            store.head.with(|h| {
                let d = direction(&h.rig, in_use(&h.rig, &row)?)?;
                let way = match (d.dof, d.rises) {
                    (Dof::NeckTurn, true) => "turn towards the character's left",
                    (Dof::NeckTurn, false) => "turn towards the character's right",
                    (Dof::LidLeft | Dof::LidRight, true) => "close",
                    (Dof::LidLeft | Dof::LidRight, false) => "open",
                    (Dof::JawOpen, true) => "open",
                    (Dof::JawOpen, false) => "shut",
                    (Dof::CornerLeftX | Dof::CornerRightX, true) => "go outward",
                    (Dof::CornerLeftX | Dof::CornerRightX, false) => "go inward",
                    (_, true) => "rise",
                    (_, false) => "fall",
                };
                Some(format!("With a longer pulse, {} should {way}.", d.dof.place()))
            })
        }
    };
    let flip = move |_| {
        store.rig_edit(|d| {
            d.change("direction turned round", |r| {
                if let Some(s) = r.servos.get_mut(servo) {
                    s.us_per_degree = -s.us_per_degree;
                }
            })
        });
    };
    view! {
        <p data-testid="direction"><b>{expected}</b></p>
        <p>"Send a pulse 50 µs longer than neutral and watch. If it goes the other way, turn the direction round: the sign of the pulse per degree changes, nothing else."</p>
        <div class="fields"><Own row=row key="us_per_degree" /></div>
        <button data-testid="turn-round" on:click=flip>"It goes the other way: turn it round"</button>
    }
}

/// Rows of a sheet as inputs; what is typed is kept with the rig.
#[component]
fn SheetRows(
    /// Under which name the sheet is kept.
    key: String,
    /// What a fresh sheet holds.
    fresh: Signal<Sheet>,
    /// Heads of the columns.
    heads: &'static [&'static str],
) -> impl IntoView {
    let store = expect_context::<Store>();
    let key = StoredValue::new(key);
    let sheets = store.desk.sheets;
    let now = move || key.with_value(|k| sheets.with(|s| s.get(k).cloned())).unwrap_or_else(|| fresh.get());
    let count = Memo::new(move |_| now().0.len());
    let write = move |change: &dyn Fn(&mut Sheet)| {
        key.with_value(|k| {
            sheets.update(|s| change(s.entry(k.clone()).or_insert_with(|| fresh.get_untracked())));
        });
        store.keep_rig();
    };
    let columns = heads.len();
    view! {
        <table class="grid sheet-rows" data-testid="sheet">
            <thead><tr><th scope="col">"Row"</th>{heads.iter().map(|h| view! { <th scope="col">{*h}</th> }).collect_view()}</tr></thead>
            <tbody>
                {move || (0..count.get()).map(|i| {
                    let cell = move |column: usize| {
                        let get = move |r: &Reading| match column { 0 => r.sent.clone(), 1 => r.seen.clone(), _ => r.back.clone() };
                        let text = Memo::new(move |_| now().0.get(i).map(get).unwrap_or_default());
                        view! {
                            <td><span class="cell"><span class="box"><input
                                type="text" inputmode="decimal" autocomplete="off"
                                data-testid=format!("sheet-{i}-{column}")
                                aria-label=format!("Row {}, {}", i + 1, heads.get(column).copied().unwrap_or_default())
                                prop:value=move || text.get()
                                on:change=move |e| {
                                    let text = typed(&e);
                                    write(&|s| if let Some(r) = s.0.get_mut(i) {
                                        let place = match column { 0 => &mut r.sent, 1 => &mut r.seen, _ => &mut r.back };
                                        text.trim().clone_into(place);
                                    });
                                }
                            /></span></span></td>
                        }
                    };
                    view! { <tr><th scope="row">{i + 1}</th>{(0..columns).map(cell).collect_view()}</tr> }
                }).collect_view()}
            </tbody>
        </table>
        <div class="group">
            <button class="quiet" disabled=move || { count.get() >= 9 } on:click=move |_| write(&|s| s.0.push(Reading::default()))>"One more row"</button>
            <button class="quiet" disabled=move || { count.get() <= 3 } on:click=move |_| write(&|s| { s.0.pop(); })>"One row less"</button>
            <button class="quiet" on:click=move |_| {
                key.with_value(|k| sheets.update(|s| { s.remove(k); }));
                store.keep_rig();
            }>"Start the sheet again"</button>
        </div>
    }
}

#[component]
fn Measured(row: ServoRow) -> impl IntoView {
    let store = expect_context::<Store>();
    let two = row.kind.is_some_and(|k| k.servos() == 2);
    if two || row.drives.is_empty() {
        return view! {
            <p>{if two {
                "Two servos move this point together, so one table cannot describe it. Measure lengths with a caliper and enter them under Servos; then check on the drawing that the point reaches what the skin allows."
            } else {
                "This servo moves nothing yet. Give it a mechanism first: take it out and add it again with what it moves."
            }}</p>
        }
        .into_any();
    }
    let dof = row.drives[0].0;
    let unit = if dof.unit() == "deg" { "degrees" } else { "millimetres" };
    let key = row.name.clone();
    let rig = move || store.head.with(|h| Arc::clone(&h.rig));
    let fresh = {
        let row = row.clone();
        Signal::derive(move || {
            let rig = rig();
            in_use(&rig, &row).map_or_else(Sheet::default, |id| Sheet::for_servo(&rig, id))
        })
    };
    let points = {
        let key = key.clone();
        move || store.desk.sheets.with(|s| s.get(&key).map_or(Ok(Vec::new()), Sheet::points))
    };
    let judged = Memo::new({
        let row = row.clone();
        move |_| judge(&rig(), &row, points())
    });
    let apply = {
        let row = row.clone();
        move |as_rod: bool| {
            let Some(Ok(found)) = judged.get_untracked() else { return };
            let Some(m) = row.mechanism else { return };
            let name = row.name.clone();
            store.rig_edit(|d| {
                d.change(format!("{name} measured"), |r| {
                    let Some(m) = r.mechanisms.get_mut(m) else { return };
                    match (&found.rod, as_rod) {
                        (Some(fit), true) => {
                            if let LinkageDescription::PushRod { neutral_horn_deg, lever_ratio, .. } =
                                &mut m.linkage
                            {
                                (*neutral_horn_deg, *lever_ratio) = (fit.horn, fit.lever);
                            }
                            for drive in &mut m.drives {
                                (drive.gain, drive.at_neutral) = (1.0, fit.at_neutral);
                            }
                        }
                        _ => {
                            m.linkage = LinkageDescription::Table { points: found.points.clone() };
                            for drive in &mut m.drives {
                                (drive.gain, drive.at_neutral) = (1.0, 0.0);
                            }
                        }
                    }
                })
            });
        }
    };
    let apply_rod = apply.clone();
    view! {
        <p>{format!("Send each pulse, always coming from the same side, and measure {} in {unit} at the face, without the skin if it pulls. Five to nine rows; leave out what you could not measure.", dof.place())}</p>
        <div class="measure">
            <div><SheetRows key=key fresh=fresh heads=if dof.unit() == "deg" { &["Pulse, µs", "Seen, °"] } else { &["Pulse, µs", "Seen, mm"] } /></div>
            <div class="found" role="status" data-testid="linkage-found">
                {move || match judged.get() {
                    None => view! { <p class="facts">"Fill in at least three rows."</p> }.into_any(),
                    Some(Err(text)) => view! { <p class="error">{text}</p> }.into_any(),
                    Some(Ok(f)) => view! {
                        <ul>
                            <li class:error=f.folds>{f.run.clone()}</li>
                            <li>{f.residual.clone()}</li>
                            {f.rod.as_ref().map(|r| view! { <li>{r.text.clone()}</li> })}
                            {f.no_rod.clone().map(|t| view! { <li class="facts">{t}</li> })}
                        </ul>
                    }.into_any(),
                }}
                <div class="group wrap">
                    <button class="main" data-testid="use-table" disabled=move || !judged.with(|j| matches!(j, Some(Ok(_)))) on:click=move |_| apply(false)>"Use as measured table"</button>
                    <Show when=move || judged.with(|j| matches!(j, Some(Ok(f)) if f.rod.is_some()))>
                        <button data-testid="use-rod" on:click={ let a = apply_rod.clone(); move |_| a(true) }>"Use the fitted push-rod"</button>
                    </Show>
                </div>
                {row.mechanism.map(|m| view! {
                    <WrongAt path=format!("mechanisms[{m}].points") /><WrongAt path=format!("mechanisms[{m}].drives") /><WrongAt path=format!("mechanisms[{m}].kind") />
                })}
            </div>
        </div>
    }
    .into_any()
}

/// What measured points say, in words.
#[derive(Clone, Debug, PartialEq)]
struct Found {
    points: Vec<TablePoint>,
    run: String,
    folds: bool,
    residual: String,
    rod: Option<Rod>,
    no_rod: Option<String>,
}

/// A push-rod that fits them.
#[derive(Clone, Debug, PartialEq)]
struct Rod {
    horn: f64,
    lever: f64,
    at_neutral: f64,
    text: String,
}

/// Judges the rows; `None` while there are too few to say anything.
fn judge(
    rig: &Rig,
    row: &ServoRow,
    points: Result<Vec<(Microseconds, f64)>, usize>,
) -> Option<Result<Found, String>> {
    let points = match points {
        Ok(points) if points.len() < 3 => return None,
        Ok(points) => points,
        Err(i) => return Some(Err(format!("Row {} holds something other than numbers; correct it.", i + 1))),
    };
    let unit = if row.drives.first().is_some_and(|d| d.0.unit() == "deg") { "°" } else { "mm" };
    let found = match measure_linkage(&points) {
        Ok(found) => found,
        Err(e) => return Some(Err(format!("{e}."))),
    };
    let ends =
        |p: &[TablePoint]| (p.first().map_or(0.0, |p| p.pulse_us), p.last().map_or(0.0, |p| p.pulse_us));
    let (low, high) = ends(&found.points);
    let fold = match (found.folds_below, found.folds_above) {
        (None, None) => None,
        (Some(a), None) => Some(format!("It folds back below {:.0} µs.", a.value())),
        (None, Some(b)) => Some(format!("It folds back above {:.0} µs.", b.value())),
        (Some(a), Some(b)) => {
            Some(format!("It folds back below {:.0} and above {:.0} µs.", a.value(), b.value()))
        }
    };
    let folds = fold.is_some();
    let run = match fold {
        Some(text) => {
            format!("{text} Only {low:.0} to {high:.0} µs are used: remount the horn if that is too little.")
        }
        None => format!(
            "It keeps going one way over all {} points, {low:.0} to {high:.0} µs.",
            found.points.len()
        ),
    };
    let residual = match (found.residual, found.worst) {
        (Some(rms), Some((pulse, by))) => format!(
            "A smooth curve through the points leaves {rms:.2} {unit}; the point at {:.0} µs lies {:.2} {unit} {} it.",
            pulse.value(),
            by.abs(),
            if by < 0.0 { "below" } else { "above" }
        ),
        _ => "With five points or more you also learn how well they agree.".to_owned(),
    };
    let (rod, no_rod) = rod_of(rig, row, &points, unit);
    Some(Ok(Found { points: found.points, run, folds, residual, rod, no_rod }))
}

/// The push-rod of the rig fitted to the points, where it is one.
fn rod_of(
    rig: &Rig,
    row: &ServoRow,
    points: &[(Microseconds, f64)],
    unit: &str,
) -> (Option<Rod>, Option<String>) {
    if row.kind != Some(MechanismKind::PushRod) || points.len() < 4 {
        return (None, None);
    }
    let Some(servo) = in_use(rig, row).and_then(|id| rig.servos().get(id.0)) else { return (None, None) };
    let guess: Option<PushRod> = rig.mechanism_of(servo.id).and_then(|m| match m {
        lipwright_core::rig::Mechanism::PushRod { linkage, .. } => Some(*linkage),
        _ => None,
    });
    let Some(guess) = guess else { return (None, None) };
    match fit_push_rod(servo, points, guess) {
        Ok(fit) => {
            let round = |v: f64, by: f64| (v * by).round() / by;
            let text = format!(
                "As a push-rod with the lengths of the form: horn at {:.1}° at neutral, lever ratio {:.3}, {:.2} {unit} at neutral; it leaves {:.2} {unit}, at most {:.2}.",
                fit.linkage.neutral_horn, fit.linkage.lever, fit.at_neutral, fit.residual, fit.worst
            );
            let (horn, lever) = (round(fit.linkage.neutral_horn, 1e3), round(fit.linkage.lever, 1e5));
            (Some(Rod { horn, lever, at_neutral: round(fit.at_neutral, 1e4), text }), None)
        }
        Err(e) => (None, Some(format!("{e}."))),
    }
}

#[component]
fn Travel(row: ServoRow) -> impl IntoView {
    view! {
        <p>"With the skin on, move each part slowly and stop where the skin starts to pull or fold. Write down that value, a little less than the most it would take: skin tears at its anchors first."</p>
        {row.drives.iter().filter_map(|(dof, place)| place.map(|i| {
            let name = words(*dof);
            view! {
                <fieldset><legend>{name.clone()}</legend>
                    <div class="fields">{skin_fields(*dof).iter().map(|f| view! { <FormField field=f path=format!("dofs[{i}].{}", f.key) of=name.clone() /> }).collect_view()}</div>
                    <WrongAt path=format!("dofs[{i}].response") />
                </fieldset>
            }
        })).collect_view()}
    }
}

#[component]
fn Skin(row: ServoRow) -> impl IntoView {
    view! {
        <p>"Thick skin gives less than it is asked, and magnets or anchors slip. Ask for each value and measure what the face shows, once coming from smaller values and once from larger ones. Where the skin follows exactly, leave this out."</p>
        {row.drives.iter().filter_map(|(dof, place)| place.map(|i| view! { <SkinOf dof=*dof place=i /> })).collect_view()}
    }
}

#[component]
fn SkinOf(dof: Dof, place: usize) -> impl IntoView {
    let store = expect_context::<Store>();
    let key = format!("skin: {dof}");
    let fresh = Signal::derive(move || store.head.with(|h| Sheet::for_skin(&h.rig, dof)));
    let sheet = {
        let key = key.clone();
        move || store.desk.sheets.with(|s| s.get(&key).cloned())
    };
    let found = Memo::new(move |_| {
        sheet().filter(|s| s.0.iter().any(|r| !r.seen.trim().is_empty())).map(|s| response_of(&s))
    });
    let unit = if dof.unit() == "deg" { "°" } else { "mm" };
    let has = Memo::new(move |_| store.desk.draft.with(|d| d.count(&format!("dofs[{place}].response")) > 0));
    let apply = move |_| {
        let Some(Ok(r)) = found.get_untracked() else { return };
        store.rig_edit(|d| {
            d.change(format!("skin of {} measured", words(dof)), |rig| {
                if let Some(d) = rig.dofs.iter_mut().find(|d| d.dof == dof) {
                    // What was not seen cannot be asked for.
                    d.skin_min = d.skin_min.max(r.seen.0);
                    d.skin_max = d.skin_max.min(r.seen.1);
                    d.response = r.points;
                }
            })
        });
    };
    let forget = move |_| {
        store.rig_edit(|d| Ok(d.take_out("skin follows exactly", &format!("dofs[{place}].response"))))
    };
    view! {
        <fieldset><legend>{words(dof)}</legend>
            <div class="measure">
                <div><SheetRows key=key fresh=fresh heads=if unit == "°" { &["Asked, °", "Seen rising, °", "Seen falling, °"] } else { &["Asked, mm", "Seen rising, mm", "Seen falling, mm"] } /></div>
                <div class="found" role="status">
                    {move || match found.get() {
                        None => view! { <p class="facts">{if has.get() { "A response is in use." } else { "The skin counts as following exactly." }}</p> }.into_any(),
                        Some(Err(text)) => view! { <p class="error">{text}</p> }.into_any(),
                        Some(Ok(r)) => view! {
                            <ul>
                                <li>{format!("Seen from {:.1} to {:.1} {unit}; the skin's travel is narrowed to that.", r.seen.0, r.seen.1)}</li>
                                <li>{format!("Coming and going differ by ±{:.2} {unit}: the face can stand anywhere in that band.", r.hysteresis)}</li>
                            </ul>
                        }.into_any(),
                    }}
                    <div class="group wrap">
                        <button data-testid=format!("use-skin-{dof}") disabled=move || !found.with(|f| matches!(f, Some(Ok(_)))) on:click=apply>"Use this response"</button>
                        <Show when=move || has.get()><button class="quiet" on:click=forget>"Skin follows exactly"</button></Show>
                    </div>
                    <WrongAt path=format!("dofs[{place}].response") />
                </div>
            </div>
        </fieldset>
    }
}
