//! The lanes on one time axis.

use super::drag::{capture, local_x};
use super::picture::Picture;
use super::store::{Head, Store};
use crate::editor::snap::{Catch, nearest};
use crate::editor::{Take, TimeUnit};
use crate::scene::Theme;
use crate::scene::lanes::{self, Hit};
use crate::web::canvas::SizeWatch;
use leptos::html;
use leptos::prelude::*;
use lipwright_core::line::Segment;
use lipwright_core::rig::{FacePart, ServoId};
use lipwright_core::units::Seconds;
use wasm_bindgen::JsCast;

/// All lanes.
#[component]
pub fn Lanes() -> impl IntoView {
    let store = expect_context::<Store>();
    let track = NodeRef::<html::Div>::new();
    let watch = StoredValue::new_local(None::<SizeWatch>);
    Effect::new(move || {
        if let Some(element) = track.get() {
            let tell = move |width: f64, _| store.axis.update(|a| *a = a.resized(width));
            watch.set_value(SizeWatch::new(&element, tell));
        }
    });
    let playhead = Memo::new(move |_| {
        let axis = store.axis.get();
        let x = axis.x(store.transport.with(|t| t.time));
        (x >= -1.0 && x <= axis.width() + 1.0).then_some((x * 4.0).round() / 4.0)
    });
    // Where the boundary in hand has caught.
    let caught = Memo::new(move |_| {
        let caught = store.pointer.with(|p| p.caught)?;
        Some((caught.on.id(), store.axis.with(|a| a.x(caught.time).round())))
    });
    // What stops stops a stroke, too.
    let playing = Memo::new(move |_| store.transport.with(|t| t.playing));
    Effect::new(move || {
        if !playing.get() {
            store.paint_up(None);
        }
    });
    let source = move || store.with_take(|t| t.audio.as_ref().map(|a| a.source.clone())).flatten();
    let wheel = move |event: web_sys::WheelEvent, upright: bool| {
        let Some(x) = local_x(&event) else { return };
        let label = 148.0;
        if event.ctrl_key() || event.meta_key() {
            event.prevent_default();
            let factor = (-event.delta_y() * 0.0035).exp();
            store.axis.update(|a| *a = a.zoomed(factor, (x - label).clamp(0.0, a.width())));
        } else {
            let sideways = if event.shift_key() && event.delta_x() == 0.0 {
                event.delta_y()
            } else if upright {
                event.delta_x()
            } else {
                event.delta_x() + event.delta_y()
            };
            if sideways != 0.0 && event.delta_x().abs() + f64::from(u8::from(!upright)) > 0.0
                || event.shift_key()
            {
                event.prevent_default();
                store.axis.update(|a| *a = a.scrolled(sideways));
            }
        }
    };
    view! {
        <section class="lanes" id="lanes" aria-label="Lanes">
            <div class="fixed" on:wheel=move |e| wheel(e, false)>
                <super::minimap::Minimap />
                <div class="row ruler">
                    <div class="label"><Unit /></div>
                    <div class="track" node_ref=track><Seekable>
                        <Picture testid="lane-ruler" label=Signal::derive(String::new) theme=store.theme
                            draw=move |_, h| lanes::ruler(&store.axis.get(), h) />
                    </Seekable><super::loops::LoopBand /></div>
                </div>
                <super::loops::Markers />
                <div class="row wave">
                    <div class="label sound"><span>"Sound"<small title=source>{source}</small></span>
                        <button
                            class="chip"
                            data-testid="spectrogram"
                            aria-pressed=move || store.spectrogram.get().to_string()
                            title="Spectrogram instead of the waveform (Y)"
                            on:click=move |_| store.spectrogram.update(|s| *s = !*s)
                        >"Spectrum"</button>
                    </div>
                    <div class="track"><Seekable>
                        <Show when=move || store.spectrogram.get() fallback=|| view! { <Wave /> }><Spectrogram /></Show>
                    </Seekable></div>
                </div>
                <Words />
                <Shapes />
                <super::looks::Looks />
                <super::events::Events />
            </div>
            <Servos wheel=move |e| wheel(e, true) />
            <div class="playhead-box" aria-hidden="true">
                <Show when=move || caught.get().is_some()>
                    <div class="caught" data-testid="caught" data-on=move || caught.get().map(|(on, _)| on)
                        style:transform=move || format!("translateX({}px)", caught.get().unwrap_or_default().1)></div>
                </Show>
                <Show when=move || playhead.get().is_some()>
                    <div class="playhead" data-testid="playhead" style:transform=move || format!("translateX({}px)", playhead.get().unwrap_or_default())></div>
                </Show>
            </div>
        </section>
    }
}

/// Wraps a lane in which a press moves the playhead and a drag scrubs.
#[component]
fn Seekable(children: Children) -> impl IntoView {
    let store = expect_context::<Store>();
    let held = RwSignal::new(false);
    let go = move |event: &web_sys::PointerEvent| {
        if let Some(x) = local_x(event) {
            store.scrub(store.axis.with_untracked(|a| a.time_within(x)));
        }
    };
    view! {
        <div
            class="fill seek"
            on:pointerdown=move |event| {
                if event.button() == 0 {
                    capture(&event);
                    held.set(true);
                    go(&event);
                }
            }
            on:pointermove=move |event| {
                if held.get_untracked() {
                    go(&event);
                }
            }
            on:pointerup=move |_| held.set(false)
            on:pointercancel=move |_| held.set(false)
        >{children()}</div>
    }
}

#[component]
fn Wave() -> impl IntoView {
    let store = expect_context::<Store>();
    let draw = move |_: f64, h: f64| {
        let axis = store.axis.get();
        if let Some(pyramid) = store.pyramid.get() {
            return lanes::waveform(&axis, Some(&pyramid), h);
        }
        let current = store.current.get();
        store.arriving.with(|arriving| {
            let pyramid = arriving.as_ref().filter(|(of, _)| *of == current).map(|(_, pyramid)| pyramid);
            lanes::waveform(&axis, pyramid, h)
        })
    };
    view! {
        <Picture testid="lane-wave" axis=store.axis label=Signal::derive(|| "Waveform of the recording".to_owned()) theme=store.theme draw=draw />
    }
}

#[component]
fn Spectrogram() -> impl IntoView {
    let store = expect_context::<Store>();
    let spectrum =
        Memo::new(move |_| store.with_take(|t| t.survey.as_ref().map(|s| s.spectrum.clone())).flatten());
    let tiles = StoredValue::new_local(crate::web::tiles::Tiles::default());
    let paint = move |canvas: &web_sys::HtmlCanvasElement, w: f64, h: f64, theme: Theme| {
        let axis = store.axis.get();
        spectrum.with(|s| tiles.with_value(|t| t.draw(canvas, (w, h), &axis, s.as_ref(), theme)));
    };
    view! {
        <super::picture::Painted testid="lane-spectrogram" axis=Some(store.axis) label=Signal::derive(|| "Spectrogram of the recording".to_owned()) theme=store.theme paint=paint />
    }
}

#[component]
fn Words() -> impl IntoView {
    let store = expect_context::<Store>();
    let any = Memo::new(move |_| {
        store.with_take(|t| t.line().is_some_and(|l| !l.words().is_empty())) == Some(true)
    });
    let draw = move |_: f64, h: f64| {
        store
            .with_take(|t| t.line().map(|l| lanes::words(&store.axis.get(), l.words(), h)))
            .flatten()
            .unwrap_or_default()
    };
    view! {
        <Show when=move || any.get()>
            <div class="row words">
                <div class="label">"Words"</div>
                <div class="track"><Seekable>
                    <Picture testid="lane-words" axis=store.axis label=Signal::derive(String::new) theme=store.theme draw=draw />
                </Seekable></div>
            </div>
        </Show>
    }
}

#[component]
fn Shapes() -> impl IntoView {
    let store = expect_context::<Store>();
    let drag = RwSignal::new(None::<usize>);
    let hit = move |event: &web_sys::PointerEvent| {
        let x = local_x(event)?;
        let axis = store.axis.get_untracked();
        let hit = store.peek(|t| t.line().and_then(|l| lanes::hit(&axis, l, x))).flatten();
        Some((x, axis, hit))
    };
    let down = move |event: web_sys::PointerEvent| {
        if event.button() != 0 {
            return;
        }
        let Some((x, axis, Some(hit))) = hit(&event) else { return };
        match hit {
            Hit::Boundary(index) => {
                capture(&event);
                event.prevent_default();
                drag.set(Some(index));
                store.select(|t| t.selected = Some(index));
                store.pointer.update(|p| p.boundary = Some(index));
            }
            Hit::Segment(index) if event.shift_key() => store.select(|t| t.extend_to(index)),
            Hit::Segment(index) => {
                store.select(|t| {
                    t.selected = Some(index);
                    t.extent = None;
                });
                store.seek(axis.time_within(x));
            }
        }
    };
    let moved = move |event: web_sys::PointerEvent| {
        let Some((x, axis, hit)) = hit(&event) else { return };
        if let Some(index) = drag.get_untracked() {
            let wanted = axis.time_within(x);
            let caught = if event.alt_key() { None } else { catch(store, wanted, axis.scale()) };
            let time = caught.map_or(wanted, |c| c.time);
            store.edit(|t| t.drag_boundary(index, time, event.shift_key()));
            if store.pointer.with_untracked(|p| p.caught != caught) {
                store.pointer.update(|p| p.caught = caught);
            }
            if let Some(Some(start)) =
                store.peek(|t| t.line().and_then(|l| l.segments().get(index)).map(|s| s.start))
            {
                store.seek(start);
            }
            return;
        }
        let (boundary, hovered) = match hit {
            Some(Hit::Boundary(index)) => (Some(index), None),
            Some(Hit::Segment(index)) => (None, Some(index)),
            None => (None, None),
        };
        if store.pointer.with_untracked(|p| (p.boundary, p.hovered)) != (boundary, hovered) {
            store.pointer.update(|p| (p.boundary, p.hovered) = (boundary, hovered));
        }
    };
    let up = move |_: web_sys::PointerEvent| {
        if drag.get_untracked().is_some() {
            drag.set(None);
            store.pointer.update(|p| p.caught = None);
            store.select(Take::end_drag);
        }
    };
    let selected = Memo::new(move |_| store.with_take(Take::run).flatten());
    let draw = move |_: f64, h: f64| {
        let head = store.head.get();
        let mut state = store.pointer.get();
        state.selected = selected.get().map(|run| (run.start, run.end));
        store
            .with_take(|t| {
                t.line().map(|l| lanes::shapes(&store.axis.get(), l, &head.poses, &head.anatomy, state, h))
            })
            .flatten()
            .unwrap_or_default()
    };
    view! {
        <div class="row shapes">
            <div class="label">"Mouth shapes"<small>{move || {
                store.with_take(|t| t.line().map(|l| format!("{} segments", l.segments().len()))).flatten()
            }}</small></div>
            <div class="track">
                <div
                    class="fill"
                    class:edge=move || store.pointer.with(|p| p.boundary.is_some())
                    on:pointerdown=down
                    on:pointermove=moved
                    on:pointerup=up
                    on:pointercancel=move |_| {
                        drag.set(None);
                        store.pointer.update(|p| p.caught = None);
                        store.select(Take::cancel_drag);
                    }
                    on:pointerleave=move |_| {
                        if drag.get_untracked().is_none() {
                            store.pointer.update(|p| (p.boundary, p.hovered) = (None, None));
                        }
                    }
                    on:dblclick=move |_| {
                        if let Some(Some((a, b))) = store.peek(Take::run_span) {
                            store.axis.update(|axis| *axis = axis.framing(a, b));
                        }
                    }
                >
                    <Picture testid="lane-shapes" axis=store.axis label=Signal::derive(String::new) theme=store.theme draw=draw />
                    <StrokeBand />
                </div>
                <SegmentList />
            </div>
        </div>
    }
}

/// What a boundary dragged to a time catches on.
fn catch(store: Store, wanted: Seconds, scale: f64) -> Option<Catch> {
    let look = |t: &Take| {
        let changes = t.survey.as_ref().map_or(&[][..], |s| &s.changes);
        nearest(wanted, scale, t.line()?, changes)
    };
    store.peek(look).flatten()
}

/// The stroke that is being painted.
#[component]
fn StrokeBand() -> impl IntoView {
    let store = expect_context::<Store>();
    let band = Memo::new(move |_| {
        let (shape, start) = store.stroke.with(|s| s.as_ref().map(|s| (s.shape, s.start)))?;
        let axis = store.axis.get();
        let (from, to) = (axis.x(start), axis.x(store.transport.with(|t| t.time)));
        Some((shape, from.round(), (to - from).max(0.0).round()))
    });
    view! {
        <Show when=move || band.get().is_some()>
            <div
                class=move || format!("stroke {}", band.get().map_or("", |(s, _, _)| super::panel::lead(s.articulator())))
                data-testid="stroke"
                style:left=move || format!("{}px", band.get().map_or(0.0, |b| b.1))
                style:width=move || format!("{}px", band.get().map_or(0.0, |b| b.2))
            ></div>
        </Show>
    }
}

/// The choice between seconds and frames.
#[component]
fn Unit() -> impl IntoView {
    let store = expect_context::<Store>();
    let unit = Memo::new(move |_| store.axis.with(|a| a.unit()));
    let choose = move |event: web_sys::Event| {
        let select = event.target().and_then(|t| t.dyn_into::<web_sys::HtmlSelectElement>().ok());
        let Some(select) = select else { return };
        if let Some(unit) = TimeUnit::named(&select.value()) {
            store.set_unit(unit);
        }
        let _ = select.blur();
    };
    view! {
        <select data-testid="time-unit" aria-label="Time in seconds or frames" title="What the ruler shows, and what a nudge or a step is" on:change=choose>
            {TimeUnit::ALL.into_iter().map(|u| view! {
                <option value=u.id() selected=move || unit.get() == u>{u.title()}</option>
            }).collect_view()}
        </select>
    }
}

/// Most segments listed for screen readers at once; beyond it, those around the selection.
const LISTED: usize = 240;
/// The listed ones follow the selection in steps: most choices then leave the list as it is.
const STEP: usize = 60;

/// A segment in the list, with its number.
#[derive(Clone, PartialEq)]
struct Listed(usize, Segment);

impl super::rows::Row for Listed {
    fn number(&self) -> Option<usize> {
        Some(self.0)
    }

    fn write(&self, into: &web_sys::Element, _: Option<&Self>) {
        let Self(index, s) = self;
        let set = |name: &str, value: &str| super::rows::set(into, name, value);
        set("role", "option");
        set("id", &format!("segment-{index}"));
        set("data-start", &format!("{:.4}", s.start.value()));
        set("data-end", &format!("{:.4}", s.end.value()));
        set("data-shape", s.shape.name());
        set("data-confidence", &format!("{:.3}", s.confidence));
        set("data-locked", &s.locked.to_string());
        set("data-held", &s.held.to_string());
        set("data-strength", &format!("{:.3}", s.strength));
        let (start, end) = (s.start.value(), s.end.value());
        let doubt = if s.confidence < lanes::DOUBTFUL { ", in doubt" } else { "" };
        let held = if s.held { ", held" } else { "" };
        let locked = if s.locked { ", locked" } else { "" };
        let said = format!("{} from {start:.2} to {end:.2} seconds{doubt}{held}{locked}", s.shape);
        into.set_text_content(Some(&said));
    }
}

/// The segments as a list: what screen readers read, and what tests look at.
#[component]
fn SegmentList() -> impl IntoView {
    let store = expect_context::<Store>();
    let listed = Memo::new(move |_| {
        store
            .with_take(|t| {
                let line = t.line()?;
                let all = line.segments();
                let about = t.selected.unwrap_or(0).saturating_sub(LISTED / 2) / STEP * STEP;
                let from = about.min(all.len().saturating_sub(LISTED));
                let rows = all.iter().cloned().enumerate().skip(from).take(LISTED);
                Some(rows.map(|(i, s)| Listed(i, s)).collect::<Vec<_>>())
            })
            .flatten()
            .unwrap_or_default()
    });
    let selected = Memo::new(move |_| store.with_take(|t| t.selected).flatten());
    let run = Memo::new(move |_| store.with_take(Take::run).flatten().unwrap_or_default());
    let surveyed =
        Memo::new(move |_| store.with_take(|t| t.survey.as_ref().map(|s| s.changes.len())).flatten());
    let list = NodeRef::<html::Ul>::new();
    super::rows::keep(list, move || listed.get(), "aria-selected", run);
    view! {
        <ul
            node_ref=list
            class="segments"
            role="listbox"
            aria-multiselectable="true"
            data-changes=move || surveyed.get().map(|n| n.to_string())
            tabindex="0"
            aria-label="Mouth shapes; left and right choose one"
            aria-orientation="horizontal"
            aria-activedescendant=move || selected.get().map(|i| format!("segment-{i}"))
            data-testid="segments"
        ></ul>
    }
}

/// Heading of a part of the face.
const fn part_name(part: FacePart) -> &'static str {
    match part {
        FacePart::Jaw => "Jaw",
        FacePart::Lips => "Lips",
        FacePart::Corners => "Corners",
        FacePart::Tongue => "Tongue",
        FacePart::Brows => "Brows",
        FacePart::Neck => "Neck",
        FacePart::Lids => "Eyelids",
    }
}

/// Servos by part of the face, in the rig's order.
fn grouped(head: &Head) -> Vec<(&'static str, Vec<(ServoId, String)>)> {
    let mut groups: Vec<(&'static str, Vec<(ServoId, String)>)> = Vec::new();
    for servo in head.rig.servos() {
        let part = head
            .rig
            .mechanism_of(servo.id)
            .and_then(|m| m.drives().first().map(|d| d.dof.part()))
            .map_or("Other", part_name);
        match groups.iter_mut().find(|(name, _)| *name == part) {
            Some((_, list)) => list.push((servo.id, servo.name.clone())),
            None => groups.push((part, vec![(servo.id, servo.name.clone())])),
        }
    }
    groups
}

#[component]
fn Servos(wheel: impl Fn(web_sys::WheelEvent) + 'static) -> impl IntoView {
    let store = expect_context::<Store>();
    let groups = Memo::new(move |_| store.head.with(grouped));
    view! {
        <div class="servos" data-testid="servos" on:wheel=wheel>
            <For
                each=move || groups.get()
                key=|(name, list)| (*name, list.clone())
                children=move |(name, list)| {
                    let open = move || !store.folded.with(|f| f.contains(&name));
                    let ids: Vec<ServoId> = list.iter().map(|(id, _)| *id).collect();
                    let limited = Memo::new(move |_| {
                        store.performance.get().map_or(0, |p| ids.iter().map(|id| p.limited_frames(id.0)).sum::<usize>())
                    });
                    let count = list.len();
                    let rows = StoredValue::new(list);
                    view! {
                        <div class="group-head">
                            <button
                                class="fold"
                                aria-expanded=move || open().to_string()
                                on:click=move |_| store.folded.update(|f| {
                                    if let Some(at) = f.iter().position(|n| *n == name) { f.remove(at); } else { f.push(name); }
                                })
                            >
                                <svg viewBox="0 0 12 12" aria-hidden="true"><path d="M3 4.500 6 8l3-3.500z" /></svg>
                                {name}
                                <small>{if count == 1 { "1 servo".to_owned() } else { format!("{count} servos") }}</small>
                            </button>
                            <small class="limited">{move || {
                                let n = limited.get();
                                if n == 0 { String::new() } else { format!("at a limit in {n} frames") }
                            }}</small>
                        </div>
                        <Show when=open>
                            <For each=move || rows.get_value() key=|(id, n)| (*id, n.clone()) children=move |(id, name)| {
                                view! { <ServoLane id=id name=name /> }
                            } />
                        </Show>
                    }
                }
            />
            <p class="key" aria-hidden="true">
                <span class="k planned">"planned"</span><span class="k wanted">"wanted"</span>
                <span class="k band">"travel"</span><span class="k danger">"at a limit"</span>
            </p>
        </div>
    }
}

#[component]
fn ServoLane(id: ServoId, name: String) -> impl IntoView {
    let store = expect_context::<Store>();
    let title = name.clone();
    // While it plays, ten times a second is as often as a number can be read.
    let shown = Memo::new(move |_| store.transport.with(|t| t.readable(10.0)));
    let value = move || {
        let time = shown.get();
        let angle = store.performance.get().and_then(|p| p.angle_at(id.0, time));
        angle.map(|a| format!("{:+.1}°", a.value())).unwrap_or_default()
    };
    let channel = move || store.head.with(|h| h.rig.servos().get(id.0).map(|s| s.channel));
    view! {
        <div class="row servo" data-testid=format!("servo-{}", id.0)>
            <div class="label">
                <span>{name}</span>
                <small><span title="Channel of the board">"ch "{channel}</span><b>{value}</b></small>
            </div>
            <div class="track"><Seekable>
                <Picture testid=format!("lane-servo-{}", id.0) axis=store.axis label=Signal::derive(move || format!("{title}: wanted and planned angle")) theme=store.theme
                    draw=move |_, h| {
                        let performance = store.performance.get();
                        store.head.with(|head| lanes::servo(&store.axis.get(), &head.rig, id, performance.as_deref(), h))
                    } />
            </Seekable></div>
        </div>
    }
}
