//! The keyboard: every verb of the editor.

use super::store::{Dialog, Store};
use crate::editor::View;
use crate::scene::face::Look;
use leptos::prelude::*;
use lipwright_core::phonetics::MouthShape;
use lipwright_core::units::Seconds;
use wasm_bindgen::JsCast;

/// Keys of the palette's two rows, by where they lie on the keyboard: as the little mouths do.
pub const PALETTE: [(&str, &str); MouthShape::COUNT] = [
    ("KeyQ", "Q"),
    ("KeyW", "W"),
    ("KeyE", "E"),
    ("KeyR", "R"),
    ("KeyT", "T"),
    ("KeyY", "Y"),
    ("KeyU", "U"),
    ("KeyA", "A"),
    ("KeyS", "S"),
    ("KeyD", "D"),
    ("KeyF", "F"),
    ("KeyG", "G"),
    ("KeyH", "H"),
    ("KeyJ", "J"),
];

/// What the help shows: keys, then what they do.
pub const TABLE: [(&str, &str); 42] = [
    ("Space", "play or pause"),
    ("← →", "previous or next segment"),
    ("Shift Alt ← →", "more or fewer segments chosen"),
    ("Ctrl A", "choose every segment"),
    ("Ctrl C, X, V", "copy, cut, paste at the playhead"),
    ("Shift ← →", "playhead by one frame"),
    ("Home, End", "start or end of the line"),
    ("[ ]", "start of the segment 10 ms or a frame earlier or later"),
    ("Shift [ ]", "its end"),
    ("R", "replace: go to the little mouths"),
    ("S", "split at the playhead"),
    ("M", "merge with the next segment"),
    ("Delete", "delete the segment"),
    ("↑ ↓", "more or less of the shape (10 %)"),
    ("N", "next segment that the ear doubted"),
    ("P", "next problem, the weightiest first"),
    ("Y", "spectrogram or waveform"),
    ("T", "lock against listening, or unlock"),
    ("E", "listen to the chosen segments again"),
    ("H", "hold the chosen segments to their ends, or let go"),
    ("X, A", "blink, or turn the head, at the playhead"),
    ("D, Shift D", "copy the looks of the chosen segments, put them at the playhead"),
    ("K", "set a marker at the playhead"),
    ("< >", "marker before, after"),
    ("L", "loop between the points, the chosen segments, or the line"),
    ("I, O, Shift L", "loop starts here, ends here, has no points"),
    ("B", "paint: hold a key of the palette while it plays"),
    ("Alt drag", "a boundary goes past what it would catch on"),
    ("Shift drag", "a boundary takes the rest of its word along, name and shapes"),
    (", .", "slower or faster"),
    ("+ − 0 F", "zoom in, out, whole line, to the segment"),
    ("G", "show or hide what was wanted"),
    ("C", "close look at the mouth"),
    ("V", "the head as in a mirror"),
    ("Z", "the stage on the whole screen; Escape or Z: back"),
    ("Ctrl Z, Ctrl Y", "undo, redo"),
    ("Ctrl O, Ctrl S", "open files, save the project"),
    ("Shift Ctrl S", "save into another file"),
    ("Ctrl E", "export"),
    ("1, 2, 3", "the line, the rig, the bench"),
    ("Escape", "on the bench: stop, and go to neutral slowly"),
    ("?", "this page"),
];

/// True where a key belongs to what has the focus and not to the page.
fn typing(event: &web_sys::KeyboardEvent) -> bool {
    let Some(element) = event.target().and_then(|t| t.dyn_into::<web_sys::Element>().ok()) else {
        return false;
    };
    let tag = element.tag_name();
    match tag.as_str() {
        "TEXTAREA" | "SELECT" => true,
        "INPUT" => {
            let kind = element.get_attribute("type").unwrap_or_default();
            // A slider keeps its arrows; everything else about it is the page's.
            kind != "range"
                || event.key().starts_with("Arrow")
                || ["Home", "End"].contains(&event.key().as_str())
        }
        _ => false,
    }
}

/// True where the focused element itself answers to space and return.
fn pressable(event: &web_sys::KeyboardEvent) -> bool {
    event
        .target()
        .and_then(|t| t.dyn_into::<web_sys::Element>().ok())
        .is_some_and(|e| ["BUTTON", "A", "SUMMARY"].contains(&e.tag_name().as_str()))
}

/// Puts the focus on an element.
pub fn focus(selector: &str) {
    let found = document().query_selector(selector).ok().flatten();
    if let Some(element) = found.and_then(|e| e.dyn_into::<web_sys::HtmlElement>().ok()) {
        let _ = element.focus();
    }
}

/// Answers a key.
pub fn pressed(store: Store, event: &web_sys::KeyboardEvent) {
    // Before everything else, whatever has the focus: a moving head stops.
    if event.key() == "Escape" && store.bench.connected() {
        store.bench_stop();
    }
    if store.dialog.get_untracked() != Dialog::None {
        return; // An open dialog keeps the keyboard; Escape is the browser's.
    }
    if event.key() == "Escape" && store.tour.get_untracked().is_some() {
        store.tour.set(None);
        return;
    }
    let command = event.ctrl_key() || event.meta_key();
    let key = event.key();
    if command {
        match key.to_lowercase().as_str() {
            "z" | "y" | "a" | "c" | "x" | "v" if typing(event) => return,
            "a" | "c" | "x" | "v" if store.view.get_untracked() != View::Line => return,
            "a" => store.select(crate::editor::Take::select_all),
            "c" => store.copy(),
            "x" => store.cut(),
            "v" => store.paste(),
            "z" if event.shift_key() => store.redo_here(),
            "z" => store.undo_here(),
            "y" => store.redo_here(),
            "s" if event.shift_key() => store.save_project_as(),
            "s" => store.save_project(),
            "o" => store.choose_files(),
            "e" => store.dialog.set(Dialog::Export),
            _ => return,
        }
        event.prevent_default();
        return;
    }
    if typing(event) {
        return;
    }
    if event.alt_key() {
        let by = match key.as_str() {
            "ArrowLeft" => -1,
            "ArrowRight" => 1,
            _ => return,
        };
        if event.shift_key() && store.view.get_untracked() == View::Line {
            extend(store, by);
            event.prevent_default();
        }
        return;
    }
    if paint(store, event) {
        event.prevent_default();
        return;
    }
    if let Some(view) = View::of_key(&key) {
        store.show_view(view);
        event.prevent_default();
        return;
    }
    match (key.as_str(), store.view.get_untracked()) {
        ("?", _) => store.dialog.set(Dialog::Help),
        (_, View::Line) => return line_key(store, event),
        // Fields and sliders there answer to the rest.
        (_, View::Rig | View::Bench) => return,
    }
    event.prevent_default();
}

/// Extends the selection and shows its end.
fn extend(store: Store, by: isize) {
    store.select(|t| t.extend_by(by));
    if let Some(Some(start)) = store.peek(|t| t.selection().map(|s| s.start)) {
        store.axis.update(|a| *a = a.showing(start));
    }
}

/// A key of the palette while the line plays and painting is on: true where it was one.
fn paint(store: Store, event: &web_sys::KeyboardEvent) -> bool {
    let on = store.painting.get_untracked()
        && store.view.get_untracked() == View::Line
        && store.transport.with_untracked(|t| t.playing);
    let code = event.code();
    let Some(index) = PALETTE.iter().position(|(c, _)| on && *c == code) else { return false };
    if !event.repeat() {
        store.paint_down(MouthShape::ALL[index], code);
    }
    true
}

/// A key without Ctrl or Alt in the line view.
fn line_key(store: Store, event: &web_sys::KeyboardEvent) {
    let key = event.key();
    let shift = event.shift_key();
    let time = store.transport.with_untracked(|t| t.time);
    let zoom = |factor: f64| {
        store.axis.update(|a| {
            let x = a.x(time);
            let about = if (0.0..=a.width()).contains(&x) { x } else { a.width() / 2.0 };
            *a = a.zoomed(factor, about);
        });
    };
    match key.as_str() {
        " " if pressable(event) && !event.target_is_play() => return,
        " " => store.toggle_play(),
        "ArrowLeft" if shift => store.scrub(store.unit().stepped(time, -1)),
        "ArrowRight" if shift => store.scrub(store.unit().stepped(time, 1)),
        "ArrowLeft" | "ArrowRight" => {
            let by = if key == "ArrowLeft" { -1 } else { 1 };
            let selected = store.peek(|t| t.selected).flatten();
            store.select(|t| if selected.is_none() { t.select_at(time) } else { t.step_selection(by) });
            if let Some(Some(index)) = store.peek(|t| t.selected) {
                store.go_to(index);
            }
        }
        "Home" => {
            store.seek(Seconds::ZERO);
            store.axis.update(|a| *a = a.showing(Seconds::ZERO));
        }
        "End" => {
            let end = store.duration();
            store.seek(end);
            store.axis.update(|a| *a = a.showing(end));
        }
        "[" | "{" => store.edit(|t| t.nudge(shift, -store.unit().nudge())),
        "]" | "}" => store.edit(|t| t.nudge(shift, store.unit().nudge())),
        "ArrowUp" | "ArrowDown" => {
            let by = if key == "ArrowUp" { 0.1 } else { -0.1 };
            if store.peek(|t| t.selection().is_some()) == Some(true) {
                store.edit(|t| t.change_strength(|s| s + by));
            }
        }
        "r" | "R" => {
            let mouths = ".palette button[aria-pressed=true], .palette button";
            if store.roomy.get_untracked() {
                store.set_roomy(false);
                // They are there once the page has shown them.
                leptos::task::spawn_local(async move {
                    crate::web::clock::sleep(0).await;
                    focus(mouths);
                });
            } else {
                focus(mouths);
            }
        }
        "s" | "S" => store.edit(|t| t.split(time)),
        "m" | "M" => store.edit(crate::editor::Take::merge),
        "Delete" | "Backspace" => store.edit(crate::editor::Take::delete),
        "n" | "N" => match store.peek(crate::editor::Take::next_doubtful).flatten() {
            Some(index) => store.go_to(index),
            None => store.say("No segment is in doubt"),
        },
        "p" | "P" => store.next_problem(),
        "t" | "T" => store.toggle_lock(),
        "e" | "E" => store.listen_to_selection(),
        "h" | "H" => store.toggle_hold(),
        "x" | "X" => store.add_event(false),
        "a" | "A" => store.add_event(true),
        "d" | "D" if shift => store.paste_looks(),
        "d" | "D" => store.copy_looks(),
        "k" | "K" => store.add_marker(),
        "<" => store.go_to_marker(false),
        ">" => store.go_to_marker(true),
        "i" | "I" => store.set_loop_point(false),
        "o" | "O" => store.set_loop_point(true),
        "y" | "Y" => store.spectrogram.update(|s| *s = !*s),
        "b" | "B" => store.painting.update(|p| *p = !*p),
        "l" | "L" if shift => store.transport.update(|t| t.points = (None, None)),
        "l" | "L" => store.transport.update(|t| t.looping = !t.looping),
        "," => store.set_speed(store.transport.with_untracked(|t| t.stepped(-1))),
        "." => store.set_speed(store.transport.with_untracked(|t| t.stepped(1))),
        "+" | "=" => zoom(1.5),
        "-" | "_" => zoom(1.0 / 1.5),
        "0" => store.axis.update(|a| *a = a.of(a.duration())),
        "f" | "F" => {
            if let Some(Some((start, end))) = store.peek(crate::editor::Take::run_span) {
                store.axis.update(|a| *a = a.framing(start, end));
            }
        }
        "g" | "G" => store.ghost.update(|g| *g = !*g),
        "v" | "V" => store.mirrored.update(|m| *m = !*m),
        "z" | "Z" => super::stage::full_screen(),
        "c" | "C" => store.look.update(|l| *l = if *l == Look::Close { Look::Whole } else { Look::Close }),
        "Escape" => {
            store.select(|t| {
                t.cancel_drag();
                t.selected = None;
            });
        }
        _ => return,
    }
    event.prevent_default();
}

/// Small questions to a key event.
trait KeyTarget {
    /// True where the play button has the focus: there, space is the page's own.
    fn target_is_play(&self) -> bool;
}

impl KeyTarget for web_sys::KeyboardEvent {
    fn target_is_play(&self) -> bool {
        self.target()
            .and_then(|t| t.dyn_into::<web_sys::Element>().ok())
            .is_some_and(|e| e.class_list().contains("play"))
    }
}
