//! The events lane: blinks and turns of the head, added at the playhead, dragged, changed, taken away.

use super::drag::{TimeDrag, keep_focus};
use super::rows::{Chip, Said, keep_chips, part, place_of, set};
use super::store::Store;
use super::suggestions::Suggestions;
use leptos::html;
use leptos::prelude::*;
use lipwright_core::line::{Event, EventKind, Turn};
use lipwright_core::rig::{BlinkCourse, Dof, Rig};
use lipwright_core::units::{Degrees, Seconds};
use web_sys::Element;

/// A step with the arrow keys: one controller frame.
const STEP: Seconds = Seconds::new(0.02);
/// Width of a blink on the lane of a head that has no eyelids, as time.
const NO_LIDS: Seconds = Seconds::new(0.3);

/// What this head can do of it.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Able {
    blink: Option<BlinkCourse>,
    /// How far the neck turns: to the right (negative), to the left.
    neck: Option<(f64, f64)>,
}

impl Able {
    fn of(rig: &Rig) -> Self {
        Self { blink: rig.blink(), neck: rig.dof(Dof::NeckTurn).map(|d| (d.skin_min, d.skin_max)) }
    }
}

fn length(event: &Event, blink: Option<BlinkCourse>) -> Seconds {
    match event.kind {
        EventKind::Blink => blink.map_or(NO_LIDS, |b| b.length()),
        EventKind::HeadTurn(turn) => turn.length(),
    }
}

/// `15° left`.
fn side(angle: Degrees) -> String {
    let value = angle.value();
    let way = if value > 0.0 {
        " left"
    } else if value < 0.0 {
        " right"
    } else {
        ""
    };
    format!("{:.0}°{way}", value.abs())
}

fn title(event: &Event) -> String {
    match event.kind {
        EventKind::Blink => "blink".to_owned(),
        EventKind::HeadTurn(turn) => format!("turn {}", side(turn.to)),
    }
}

/// What the head makes of an event, in a sentence.
fn facts(event: &Event, rig: &Rig) -> String {
    let able = Able::of(rig);
    match (event.kind, able.blink, able.neck) {
        (EventKind::Blink, None, _) => "This head has no eyelids: nothing will be seen.".to_owned(),
        (EventKind::Blink, Some(course), _) => {
            let takes = course.length().value();
            let servo = rig.servos().get(course.servo.0).map_or("", |s| s.name.as_str());
            if course.length() > BlinkCourse::LONGEST {
                format!(
                    "Takes {takes:.2} s on this head, longer than a person's: servo {servo} is no faster."
                )
            } else {
                format!("Takes {takes:.2} s on this head.")
            }
        }
        (EventKind::HeadTurn(_), _, None) => {
            "This head's neck does not turn: nothing will be seen.".to_owned()
        }
        (EventKind::HeadTurn(turn), _, Some((right, left))) => {
            let least = rig.least_turn_time(Degrees::ZERO, turn.to).map_or(0.0, Seconds::value);
            format!(
                "This neck turns {:.0}° to the right and {:.0}° to the left, so far in {least:.2} s at the soonest.",
                right.abs(),
                left.abs()
            )
        }
    }
}

/// The lane, and under it what can be set of the chosen event.
#[component]
pub fn Events() -> impl IntoView {
    let store = expect_context::<Store>();
    let events = Memo::new(move |_| store.with_take(|t| t.events().to_vec()).unwrap_or_default());
    let able = Memo::new(move |_| store.head.with(|h| Able::of(&h.rig)));
    let suggested = Memo::new(move |_| {
        let blinks = |l: &lipwright_core::line::Line| l.suggestions().iter().any(|s| s.event.is_some());
        store.with_take(|t| t.line().is_some_and(blinks)) == Some(true)
    });
    let shown = Memo::new(move |_| {
        let some = able.with(|a| a.blink.is_some() || a.neck.is_some()) || events.with(|e| !e.is_empty());
        some && store.with_take(|t| t.document.is_some()) == Some(true)
    });
    // Another line has other events.
    Effect::new(move || {
        store.current.track();
        store.event.set(None);
    });
    let chosen = Memo::new(move |_| store.event.get().and_then(|i| events.with(|e| e.get(i).copied())));
    let add = move |turn: bool| {
        let (id, name, words) = if turn {
            ("add-turn", "Turn", "Turn the head at the playhead (A)")
        } else {
            ("add-blink", "Blink", "Blink at the playhead (X)")
        };
        let can = move || able.with(|a| if turn { a.neck.is_some() } else { a.blink.is_some() });
        let why = move || match (can(), turn) {
            (true, _) => words,
            (false, true) => "This head's neck does not turn",
            (false, false) => "This head has no eyelids; add a servo for them on the rig page",
        };
        view! {
            <button class="quiet" data-testid=id title=why aria-label=why disabled=move || !can() on:click=move |_| store.add_event(turn)>{name}</button>
        }
    };
    view! {
        <Show when=move || shown.get()>
            <div class="row looks events">
                <div class="label">"Events"<span>{add(false)}{add(true)}</span></div>
                <div class="track" data-testid="lane-events" role="group" aria-label="Blinks and turns of the head, in order of time">
                    <Chips events=events able=able />
                    <Suggestions events=true />
                    <Show when=move || events.with(Vec::is_empty) && !suggested.get()>
                        <p class="hint">"No blinks or turns yet: put the playhead where one begins, and add it at the left"</p>
                    </Show>
                </div>
            </div>
        </Show>
        <Show when=move || chosen.with(Option::is_some)>
            <Settings chosen=chosen />
        </Show>
    }
}

/// One event, and how long it is on this head.
#[derive(Clone, Debug, PartialEq)]
struct Lasting(Event, Seconds);

impl Said for Lasting {
    fn say(&self, place: usize, into: &Element) {
        let Self(event, lasts) = self;
        let turn = matches!(event.kind, EventKind::HeadTurn(_));
        into.set_class_name(if turn { "look turn" } else { "look" });
        let Some(button) = part(into, 0, "button") else { return };
        let (name, time) = (title(event), event.time.value());
        set(&button, "data-testid", &format!("event-{place}"));
        set(&button, "data-time", &format!("{time:.4}"));
        set(&button, "data-event", event.kind.name());
        set(&button, "data-lasts", &format!("{:.3}", lasts.value()));
        let label = format!("{name}, from {time:.2} seconds; arrows move it, Delete takes it away");
        set(&button, "aria-label", &label);
        button.set_text_content(Some(&name));
    }
}

/// The events: chips as long as the events are on this head.
#[component]
fn Chips(events: Memo<Vec<Event>>, able: Memo<Able>) -> impl IntoView {
    let store = expect_context::<Store>();
    let lane = NodeRef::<html::Div>::new();
    let drag = TimeDrag::new();
    let chips = move || {
        let (axis, chosen, blink) = (store.axis.get(), store.event.get(), able.with(|a| a.blink));
        let chip = |(place, event): (usize, Event)| {
            let lasts = length(&event, blink);
            let (left, width) =
                (axis.x(drag.now(place, event.time)), axis.x(event.time + lasts) - axis.x(event.time));
            Chip {
                place,
                what: Lasting(event, lasts),
                at: (left, width),
                chosen: Some(chosen == Some(place)),
            }
        };
        events.get().into_iter().enumerate().map(chip).collect()
    };
    keep_chips(lane, chips);
    let of = move |event: &web_sys::Event| {
        let place = place_of(event)?;
        Some((place, events.with_untracked(|e| e.get(place).map(|e| e.time))?))
    };
    let go = move |place: usize, to: Seconds| store.change_event(place, |e| e.time = to);
    let pressed = move |key: web_sys::KeyboardEvent| {
        let Some((place, time)) = of(&key) else { return };
        match key.key().as_str() {
            way @ ("ArrowLeft" | "ArrowRight") => {
                go(place, if way == "ArrowLeft" { time - STEP } else { time + STEP });
                keep_focus("event", store.event.get_untracked());
            }
            "Delete" | "Backspace" => store.delete_event(place),
            // A button's own click; only the page's shortcuts must not hear of it.
            "Enter" | " " => return key.stop_propagation(),
            _ => return,
        }
        key.prevent_default();
        key.stop_propagation();
    };
    view! {
        <div
            class="chips"
            node_ref=lane
            on:click=move |event| if let Some((place, time)) = of(&event) {
                store.event.set(Some(place));
                store.seek(time);
            }
            on:keydown=pressed
            on:pointerdown=move |event: web_sys::PointerEvent| if let Some((place, time)) = of(&event) {
                drag.down(&event, place, time);
            }
            on:pointermove=move |event: web_sys::PointerEvent| drag.moved(store, &event)
            on:pointerup=move |_| if let Some((place, to)) = drag.up() { go(place, to) }
            on:pointercancel=move |_| drag.cancel()
        ></div>
    }
}

/// A field for a number of the chosen turn.
fn number(
    id: &'static str,
    words: &'static str,
    unit: &'static str,
    (least, most, step): (f64, f64, f64),
    value: Signal<f64>,
    set: Callback<f64>,
) -> impl IntoView {
    view! {
        <label>{words}" "<input type="number" data-testid=id min=least max=most step=step
            prop:value=move || format!("{}", value.get())
            on:change=move |e| {
                let typed = super::looks::value_of(&e).and_then(|v| v.parse::<f64>().ok());
                if let Some(v) = typed.filter(|v| v.is_finite()) {
                    set.run(v.clamp(least, most));
                }
            } />{unit}</label>
    }
}

/// What can be set of the chosen event, and what the head makes of it.
#[component]
fn Settings(chosen: Memo<Option<Event>>) -> impl IntoView {
    let store = expect_context::<Store>();
    let turn = Memo::new(move |_| match chosen.get()?.kind {
        EventKind::HeadTurn(turn) => Some(turn),
        EventKind::Blink => None,
    });
    let of = move |get: fn(Turn) -> f64| Signal::derive(move || turn.get().map_or(0.0, get));
    let says = move || {
        let event = chosen.get();
        event.map(|e| store.head.with(|h| facts(&e, &h.rig))).unwrap_or_default()
    };
    let (over, hold) = (Turn::OVER, Turn::LONGEST_HOLD.value());
    view! {
        <div class="look-settings" data-testid="event-settings">
            <Show when=move || turn.with(Option::is_some)>
                {number("turn-to", "To", "° (left is positive)", (-Turn::FURTHEST.value(), Turn::FURTHEST.value(), 1.0),
                    of(|t| t.to.value()), Callback::new(move |v| store.change_turn(|t| t.to = Degrees::new(v))))}
                {number("turn-over", "in", "s", (over.0.value(), over.1.value(), 0.1),
                    of(|t| t.over.value()), Callback::new(move |v| store.change_turn(|t| t.over = Seconds::new(v))))}
                {number("turn-hold", "stays", "s", (0.0, hold, 0.1),
                    of(|t| t.hold.value()), Callback::new(move |v| store.change_turn(|t| t.hold = Seconds::new(v))))}
            </Show>
            <span class="facts" data-testid="event-facts">{says}</span>
            <button data-testid="event-delete" on:click=move |_| if let Some(i) = store.event.get_untracked() { store.delete_event(i) }>"Take away"</button>
            <button class="quiet" aria-label="Close the event's settings" on:click=move |_| store.event.set(None)>"Done"</button>
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::rig::Preset;

    #[test]
    fn the_lane_says_what_the_head_can_do() {
        let turn = Turn { to: Degrees::new(-20.0), ..Turn::default() };
        let (blink, turn) = (Event::blink(Seconds::ZERO), Event::turn(Seconds::ZERO, turn));
        let (lookout, jaw) = (Preset::Lookout.rig(), Preset::JawOnly.rig());
        assert!(facts(&blink, &lookout).starts_with("Takes 0."), "{}", facts(&blink, &lookout));
        assert!(facts(&turn, &lookout).contains("40° to the right and 40° to the left"));
        assert!(facts(&blink, &jaw).contains("no eyelids") && facts(&turn, &jaw).contains("does not turn"));
        assert_eq!(title(&turn), "turn 20° right");
        assert_eq!(length(&blink, Able::of(&lookout).blink), lookout.blink().expect("lids").length());
    }
}
