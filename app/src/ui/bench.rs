//! The bench view: the head itself, driven by hand.

use super::dialogs::Cautions;
use super::picture::Picture;
use super::store::{Shown, Store};
use crate::scene::face::front;
use crate::web::serial;
use leptos::prelude::*;
use lipwright_core::bench::{BenchConfig, HostState, TICKS_PER_US};
use lipwright_core::phonetics::MouthShape;
use lipwright_core::rig::{Dof, FacePart};
use wasm_bindgen::JsCast;

/// The head on the bench.
#[component]
pub fn BenchView() -> impl IntoView {
    view! {
        <main class="bench" data-testid="bench-view">
            <Strip />
            <div class="bench-head">
                <Head />
                <Cautions />
            </div>
            <div class="bench-desk">
                <Ceiling />
                <PlayLine />
                <Sliders />
                <Holds />
            </div>
        </main>
    }
}

/// What the state is called, and the reason where it is a failure.
fn words(shown: &Shown) -> (String, Option<String>) {
    match &shown.state {
        HostState::Closed => ("Not connected".to_owned(), None),
        HostState::Greeting => (format!("Greeting the {}…", shown.with), None),
        HostState::Ready => {
            let doing = shown.status.as_ref().map_or("connected", |s| s.state.name());
            (format!("Connected: {}, {doing}", shown.with), None)
        }
        HostState::Failed(reason) => ("Not connected".to_owned(), Some(reason.to_string())),
    }
}

/// An error as a sentence.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

/// Connecting, state, counters, and the stop.
#[component]
fn Strip() -> impl IntoView {
    let store = expect_context::<Store>();
    let clear = RwSignal::new(false);
    let offered = serial::offered();
    let closed =
        move || store.bench.shown.with(|s| !matches!(s.state, HostState::Ready | HostState::Greeting));
    let simulated = move || store.bench.shown.with(|s| s.with.starts_with("simulated"));
    let boards = move || store.head.with(|h| BenchConfig::boards(&h.rig));
    view! {
        <section class="bench-strip" aria-label="Connection">
            <div class="bench-connect">
                <Show when=move || { boards().len() > 1 }>
                    <label class="field"><span>"Board"</span>
                        <select data-testid="bench-board" disabled=move || !closed() on:change=move |event| {
                            let select = event.target().and_then(|t| t.dyn_into::<web_sys::HtmlSelectElement>().ok());
                            if let Some(index) = select.and_then(|s| usize::try_from(s.selected_index()).ok()) {
                                store.bench.board.set(index);
                            }
                        }>
                            {move || boards().into_iter().enumerate().map(|(i, name)| view! {
                                <option selected=move || store.bench.board.get() == i>{name}</option>
                            }).collect_view()}
                        </select>
                    </label>
                </Show>
                <Show
                    when=closed
                    fallback=move || view! {
                        <button data-testid="bench-disconnect" on:click=move |_| store.bench_close()>"Disconnect"</button>
                        <Show when=simulated>
                            <label class="tick"><input
                                type="checkbox"
                                data-testid="bench-unplug"
                                prop:checked=move || store.bench.shown.with(|s| s.unplugged)
                                on:change=move |event| store.bench_unplug(event_target_checked(&event))
                            />"Pull the cable"</label>
                        </Show>
                    }
                >
                    <button data-testid="bench-simulate" title="A head without hardware, to try everything on" on:click=move |_| store.bench_simulate()>
                        "Simulated controller"
                    </button>
                    <button
                        class="main"
                        data-testid="bench-serial"
                        disabled=move || !offered || !clear.get()
                        title="The head's own controller on a USB cable"
                        on:click=move |_| store.bench_serial()
                    >"Connect a controller…"</button>
                    {if offered {
                        view! {
                            <label class="tick"><input
                                type="checkbox"
                                data-testid="bench-clear"
                                prop:checked=move || clear.get()
                                on:change=move |event| clear.set(event_target_checked(&event))
                            />"Hands and hair are clear, and I can cut servo power"</label>
                        }.into_any()
                    } else {
                        view! {
                            <p class="facts" data-testid="bench-no-serial">
                                "This browser cannot talk to serial ports. Chromium-based browsers on a desktop can; the simulated controller works everywhere."
                            </p>
                        }.into_any()
                    }}
                </Show>
            </div>
            <div class="bench-state" role="status" aria-live="polite">
                <b data-testid="bench-state">{move || store.bench.shown.with(|s| words(s).0)}</b>
                <Faults />
            </div>
            <Counts />
            <button class="stop" data-testid="bench-stop" disabled=move || !store.bench.ready()
                title="Stop, and go to neutral slowly (Escape)" on:click=move |_| store.bench_stop()
            >"Stop"<small>"Esc"</small></button>
        </section>
    }
}

/// What is wrong, as sentences.
#[component]
fn Faults() -> impl IntoView {
    let store = expect_context::<Store>();
    let sentences = Memo::new(move |_| {
        store.bench.shown.with(|s| {
            let mut all: Vec<String> = words(s).1.iter().map(|why| sentence(why)).collect();
            if s.state == HostState::Ready {
                all.extend(s.status.iter().flat_map(|x| x.faults.sentences()).map(str::to_owned));
                all.extend(s.refusal.map(str::to_owned));
                all.extend(s.stopped_by.iter().map(|what| format!("Stopped in front of a limit: {what}.")));
            }
            all
        })
    });
    view! {
        <ul class="doubt" data-testid="bench-faults">
            <For each=move || sentences.get() key=Clone::clone children=|text| view! { <li>{text}</li> } />
        </ul>
    }
}

#[component]
fn Counts() -> impl IntoView {
    let store = expect_context::<Store>();
    let count = move |pick: fn(&Shown) -> u64| move || store.bench.shown.with(pick).to_string();
    type Pick = fn(&Shown) -> u64;
    let cells: [(&str, &str, &str, Pick); 4] = [
        ("bench-sent", "sent", "Frames sent to the controller", |s| s.counters.sent.into()),
        ("bench-answered", "answered", "Frames that it answered", |s| s.counters.answered.into()),
        ("bench-lost", "lost", "Frames that no answer came for, or that it says it missed", |s| {
            u64::from(s.counters.lost).max(s.status.as_ref().map_or(0, |x| x.missed.into()))
        }),
        ("bench-damaged", "damaged", "Frames that came damaged, on either side", |s| {
            u64::from(s.counters.damaged) + s.status.as_ref().map_or(0, |x| u64::from(x.dropped))
        }),
    ];
    view! {
        <dl class="bench-counts">
            {cells.into_iter().map(|(testid, name, title, pick)| view! {
                <div title=title><dt>{name}</dt><dd data-testid=testid>{count(pick)}</dd></div>
            }).collect_view()}
        </dl>
    }
}

/// The face as the controller's pulses make it, with what is asked as a ghost.
#[component]
fn Head() -> impl IntoView {
    let store = expect_context::<Store>();
    let pair = Memo::new(move |_| {
        let rest = store.head.with(|h| h.rig.rest());
        let (face, playing) = store.bench.shown.with(|s| (s.face, s.playing));
        let asked = store.bench.ready() && !playing && store.ghost.get();
        (face.unwrap_or(rest), asked.then(|| store.bench.wanted.get()))
    });
    let label = Signal::derive(move || "The head, front view, as the controller moves it".to_owned());
    view! {
        <section class="front" aria-label="The head">
            <Picture testid="bench-front" label=label theme=store.theme draw=move |w, h| {
                let anatomy = store.head.with(|h| h.anatomy);
                pair.with(|(face, asked)| front(face, asked.as_ref(), &anatomy, store.look.get(), w, h))
            } />
            <p class="bench-caption" aria-hidden="true">"as the controller moves it; dashed: what the sliders ask"</p>
        </section>
    }
}

/// The speed ceiling, raised by hand.
#[component]
fn Ceiling() -> impl IntoView {
    let store = expect_context::<Store>();
    let percent = move || store.bench.shown.with(|s| s.ceiling / 10);
    let off = move || !store.bench.ready();
    let set = move |value: i32| store.bench_ceiling(u16::try_from(value.clamp(0, 100) * 10).unwrap_or(0));
    view! {
        <section class="card" aria-label="Speed ceiling">
            <div class="card-head">
                <h2>"Speed ceiling"</h2>
                <p class="facts">"Share of each servo's own speed. It starts at 10 %; raise it when the head has moved well at the step before."</p>
            </div>
            <div class="ceiling">
                <button data-testid="ceiling-lower" disabled=off on:click=move |_| set(i32::from(percent()) - 5)>"Lower"</button>
                <input
                    type="range" min="0" max="100" step="5" data-testid="ceiling"
                    aria-label="Speed ceiling" aria-valuetext=move || format!("{} per cent", percent())
                    disabled=off
                    prop:value=move || percent().to_string()
                    on:input=move |event| {
                        if let Ok(value) = event_target_value(&event).parse() {
                            set(value);
                        }
                        // Pulled too far or too soon, it goes back to what is in force.
                        let input = event.target().and_then(|t| t.dyn_into::<web_sys::HtmlInputElement>().ok());
                        if let Some(input) = input {
                            input.set_value(&percent().to_string());
                        }
                    }
                />
                <button data-testid="ceiling-raise" disabled=off title="By 5 points, at most every half second" on:click=move |_| set(i32::from(percent()) + 5)>"Raise"</button>
                <b data-testid="ceiling-value">{move || format!("{} %", percent())}</b>
            </div>
        </section>
    }
}

/// The open line, on the head.
#[component]
fn PlayLine() -> impl IntoView {
    let store = expect_context::<Store>();
    let name = move || store.with_take(|t| t.name.clone()).unwrap_or_default();
    let playing = move || store.bench.shown.with(|s| s.playing);
    let planned = move || store.performance.with(Option::is_some);
    view! {
        <section class="card" aria-label="Play the line">
            <div class="card-head">
                <h2>"Play the line"</h2>
                <p class="facts">{move || {
                    let ceiling = store.bench.shown.with(|s| s.ceiling);
                    let slow = if ceiling < 1000 { " Below 100 % the head lags behind where the line is faster than the ceiling: play it slower." } else { "" };
                    format!("“{}”, in step with its sound.{slow}", name())
                }}</p>
            </div>
            <div class="verbs">
                <button data-testid="bench-play" disabled=move || !store.bench.ready() || !planned() on:click=move |_| {
                    if playing() { store.bench_stop() } else { store.bench_play() }
                }>{move || if playing() { "Stop the line" } else { "Play on the head" }}</button>
                <div class="group" role="group" aria-label="Speed of the line">
                    {crate::editor::Transport::SPEEDS.into_iter().filter(|(s, _)| *s <= 1.0).map(|(speed, label)| view! {
                        <button class="chip" data-testid=format!("bench-speed-{}", (speed * 100.0) as u32)
                            aria-pressed=move || store.transport.with(|t| (t.speed - speed).abs() < 1e-9).to_string()
                            on:click=move |_| store.set_speed(speed)
                        >{label}</button>
                    }).collect_view()}
                </div>
                <span class="facts" data-testid="bench-time">{move || store.transport.with(|t| format!("{:.2} s", t.time.value()))}</span>
            </div>
        </section>
    }
}

/// A slider for every degree of freedom, and the mouth shapes.
#[component]
fn Sliders() -> impl IntoView {
    let store = expect_context::<Store>();
    let parts = move || {
        let mut groups: Vec<(FacePart, Vec<Dof>)> = Vec::new();
        store.head.with(|h| {
            for d in h.rig.dofs() {
                match groups.iter_mut().find(|g| g.0 == d.dof.part()) {
                    Some(group) => group.1.push(d.dof),
                    None => groups.push((d.dof.part(), vec![d.dof])),
                }
            }
        });
        groups
    };
    view! {
        <section class="card" aria-label="Live pose">
            <div class="card-head">
                <h2>"Live pose"</h2>
                <p class="facts">"Every slider goes through the rig: travel, skin, couplings, speed and acceleration."</p>
            </div>
            <div class="bench-shapes" role="group" aria-label="Mouth shapes">
                {MouthShape::ALL.into_iter().map(|shape| view! {
                    <button class="chip" disabled=move || !store.bench.ready() data-testid=format!("bench-shape-{shape}")
                        on:click=move |_| store.bench_face(store.head.with_untracked(|h| h.rig.pose(shape).target))
                    >{shape.name()}</button>
                }).collect_view()}
            </div>
            <For each=parts key=Clone::clone children=move |(part, dofs)| view! {
                <fieldset class="sliders">
                    <legend>{format!("{part:?}")}</legend>
                    {dofs.into_iter().map(|dof| view! { <Slider dof /> }).collect_view()}
                </fieldset>
            } />
        </section>
    }
}

/// Without the sign of a zero that rounding makes.
fn plain(value: f64) -> f64 {
    if value.abs() < 0.05 { 0.0 } else { value }
}

#[component]
fn Slider(
    /// Which degree of freedom.
    dof: Dof,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let span = move || store.head.with(|h| h.rig.dof(dof).map_or((0.0, 0.0), |d| (d.skin_min, d.skin_max)));
    let asked = move || store.bench.wanted.with(|w| w[dof]);
    let seen = move || store.bench.shown.with(|s| s.face.map(|f| f[dof]));
    let label = dof.name().replace('-', " ");
    let spoken = label.clone();
    view! {
        <label class="slider">
            <span>{label}</span>
            <input
                type="range" step="0.1"
                min=move || span().0.to_string() max=move || span().1.to_string()
                data-testid=format!("bench-dof-{}", dof.name())
                aria-label=spoken
                aria-valuetext=move || format!("{:.1} {}", asked(), dof.unit())
                disabled=move || !store.bench.ready()
                prop:value=move || asked().to_string()
                on:input=move |event| if let Ok(value) = event_target_value(&event).parse() { store.bench_dof(dof, value) }
            />
            <b data-testid=format!("bench-seen-{}", dof.name())>{move || seen().map_or("–".to_owned(), |v| format!("{:.1} {}", plain(v), dof.unit()))}</b>
        </label>
    }
}

/// Servo by servo, for as long as a button is held.
#[component]
fn Holds() -> impl IntoView {
    let store = expect_context::<Store>();
    let channels = move || {
        store.head.with(|h| {
            let boards = BenchConfig::boards(&h.rig);
            let board = boards.get(store.bench.board.get()).or(boards.first())?;
            BenchConfig::new(&h.rig, board).ok()
        })
    };
    let rows = move || {
        channels().map_or(vec![], |c| {
            c.channels.into_iter().enumerate().map(|(i, c)| (i, c.name, c.low, c.high)).collect()
        })
    };
    view! {
        <section class="card" aria-label="Hold to move">
            <div class="card-head">
                <h2>"Hold to move"</h2>
                <p class="facts">"One servo moves while its button is held and stops when it is let go. It goes to the end of its pulses, past what the skin may allow: watch the head, and let go in time."</p>
            </div>
            <table class="holds">
                <thead><tr><th scope="col">"Servo"</th><th scope="col">"Pulse"</th><th scope="col">"Range"</th><th scope="col" colspan="2">"Hold"</th></tr></thead>
                <tbody>
                    <For each=rows key=Clone::clone children=move |(index, name, low, high)| {
                        let pulse = move || store.bench.shown.with(|s| s.status.as_ref().and_then(|x| x.positions.get(index).copied()));
                        let us = |ticks: u16| format!("{:.0}", f64::from(ticks) / TICKS_PER_US);
                        view! {
                            <tr>
                                <th scope="row">{name.clone()}</th>
                                <td data-testid=format!("bench-pulse-{index}") data-ticks=move || pulse().map(|p| p.to_string())>
                                    {move || pulse().map_or("–".to_owned(), |p| format!("{:.1} µs", f64::from(p) / TICKS_PER_US))}
                                </td>
                                <td class="facts">{format!("{}–{}", us(low), us(high))}</td>
                                <td><Hold index up=false name=name.clone() /></td>
                                <td><Hold index up=true name=name.clone() /></td>
                            </tr>
                        }
                    } />
                </tbody>
            </table>
        </section>
    }
}

/// One servo by name, where the rig is being calibrated: moved while a button is held, with the pulse
/// that it stands at. Nothing where no controller answers, or another board's servo is meant.
#[component]
pub fn HoldServo(
    /// The servo's name.
    name: String,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let wanted = name.clone();
    let index = Memo::new(move |_| {
        store.head.with(|h| {
            let boards = BenchConfig::boards(&h.rig);
            let board = boards.get(store.bench.board.get()).or(boards.first())?;
            BenchConfig::new(&h.rig, board).ok()?.channels.iter().position(|c| c.name == wanted)
        })
    });
    // A memo: counts and pulses change many times a second, and the buttons must stay what they are.
    let there = Memo::new(move |_| index.get().filter(|_| store.bench.ready()));
    view! {
        {move || there.get().map(|index| {
            let pulse = move || store.bench.shown.with(|s| s.status.as_ref().and_then(|x| x.positions.get(index).copied()));
            view! {
                <div class="live" data-testid="live-servo">
                    <span>"On the bench, while held:"</span>
                    <Hold index up=false name=name.clone() />
                    <Hold index up=true name=name.clone() />
                    <b data-testid="live-pulse">{move || pulse().map_or("–".to_owned(), |p| format!("{:.1} µs", f64::from(p) / TICKS_PER_US))}</b>
                    <span class="facts">"Limits are those of the rig as it was when you connected; connect again after a change."</span>
                </div>
            }
        })}
    }
}

/// A button that moves a servo while it is down.
#[component]
fn Hold(
    /// Channel of the board.
    index: usize,
    /// Towards longer pulses.
    up: bool,
    /// The servo.
    name: String,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let down = RwSignal::new(false);
    let press = move || {
        if !down.get_untracked() && store.bench.connected() {
            down.set(true);
            store.bench_hold(index, up);
        }
    };
    let release = move || {
        if down.get_untracked() {
            down.set(false);
            store.bench_release();
        }
    };
    on_cleanup(move || store.bench_release());
    let (sign, way) = if up { ("+", "longer") } else { ("−", "shorter") };
    let key = |event: &web_sys::KeyboardEvent| [" ", "Enter"].contains(&event.key().as_str());
    view! {
        <button
            class="hold"
            data-testid=format!("hold-{index}-{way}")
            aria-label=format!("Hold to move {name} towards {way} pulses")
            aria-pressed=move || down.get().to_string()
            disabled=move || !store.bench.ready()
            on:pointerdown=move |event: web_sys::PointerEvent| {
                // The release comes here, wherever the pointer has gone by then.
                super::drag::capture(&event);
                press();
            }
            on:pointerup=move |_| release()
            on:pointercancel=move |_| release()
            on:lostpointercapture=move |_| release()
            on:blur=move |_| release()
            on:contextmenu=move |event: web_sys::MouseEvent| event.prevent_default()
            on:keydown=move |event: web_sys::KeyboardEvent| if key(&event) {
                event.prevent_default();
                press();
            }
            on:keyup=move |event: web_sys::KeyboardEvent| if key(&event) { release() }
        >{sign}</button>
    }
}
