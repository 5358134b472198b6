//! Help, export, script.

use super::keys::TABLE;
use super::store::{Dialog, Store};
use crate::work::FileKind;
use leptos::html;
use leptos::prelude::*;
use lipwright_core::phonetics::{Language, Margin};
use wasm_bindgen::JsCast;

/// What must be known before motion leaves the screen.
const CAUTIONS: [&str; 4] = [
    "Moving jaws and linkages pinch. Keep fingers and hair clear, and cut servo power before reaching in.",
    "Set end stops before running at speed. A stalled servo overheats.",
    "Size supply, wiring and fuses for the stall current. Follow local electrical codes, and have public installations checked by a licensed person.",
    "Nothing here is a safety controller: an emergency stop must cut servo power in hardware.",
];

/// The dialog that is open.
#[component]
pub fn Dialogs() -> impl IntoView {
    let store = expect_context::<Store>();
    view! {
        <Show when=move || store.dialog.get() == Dialog::Help><Help /></Show>
        <Show when=move || store.dialog.get() == Dialog::Export><Export /></Show>
        <Show when=move || store.dialog.get() == Dialog::Project><super::project::Project /></Show>
        <Show when=move || store.dialog.get() == Dialog::Record><super::record::Record /></Show>
        <Show when=move || store.dialog.get() == Dialog::Script><Script /></Show>
        <Show when=move || store.dialog.get() == Dialog::AddServo><super::rig::AddServo /></Show>
    }
}

/// A modal box that keeps the focus and closes on Escape.
#[component]
pub fn Modal(
    /// Heading.
    title: &'static str,
    /// `data-testid`.
    testid: &'static str,
    children: Children,
) -> impl IntoView {
    let store = expect_context::<Store>();
    let node = NodeRef::<html::Dialog>::new();
    let back = document().active_element().and_then(|e| e.dyn_into::<web_sys::HtmlElement>().ok());
    let back = StoredValue::new_local(back);
    Effect::new(move || {
        if let Some(dialog) = node.get() {
            // Already open is the only reason to fail.
            let _ = dialog.show_modal();
        }
    });
    on_cleanup(move || {
        if let Some(element) = back.get_value() {
            let _ = element.focus();
        }
    });
    view! {
        <dialog node_ref=node aria-labelledby="dialog-title" data-testid=testid on:close=move |_| store.dialog.set(Dialog::None)>
            <div class="dialog-head">
                <h2 id="dialog-title">{title}</h2>
                <button class="icon" aria-label="Close" data-testid="dialog-close" on:click=move |_| store.dialog.set(Dialog::None)>
                    <svg viewBox="0 0 24 24" aria-hidden="true"><path d="m6 7.400 1.400-1.400L12 10.600 16.600 6 18 7.400 13.400 12l4.600 4.600-1.400 1.400L12 13.400 7.400 18 6 16.600l4.600-4.600z" /></svg>
                </button>
            </div>
            {children()}
        </dialog>
    }
}

/// What must be known before motion leaves the screen.
#[component]
pub fn Cautions() -> impl IntoView {
    view! {
        <section class="cautions" aria-label="Cautions">
            <h3>"Before it moves"</h3>
            <ul>{CAUTIONS.into_iter().map(|c| view! { <li>{c}</li> }).collect_view()}</ul>
        </section>
    }
}

/// The manual: headings and what stands under them.
const MANUAL: [(&str, &str); 7] = [
    (
        "From a recording to a track",
        "Drop a recording anywhere, or press Ctrl O. With a script (the button Script…, or a text file of the same name dropped with it) the ear fits the words to the sound. Then correct: drag a boundary, choose another mouth, split, merge. Hatched segments are those the ear was least sure of; N goes from one to the next. Magenta marks what the head cannot do; P goes from one to the next. Export writes what the controller plays.",
    ),
    (
        "Recording",
        "The button Record… opens the microphone: a level meter, a count-in, and as many recordings of a line as you like. Silence at the ends is cut off and the level set. A line keeps all its recordings and uses one; each keeps its own corrections.",
    ),
    (
        "The rig",
        "Under Rig you describe and calibrate your head: servos, linkages, what the skin allows, how the mouth shapes look on it. Every line is planned anew when the rig changes; what you corrected by hand stays.",
    ),
    (
        "The bench",
        "Under Bench the browser moves the head itself over a serial cable, slowly at first. Escape stops.",
    ),
    (
        "What is kept, and where",
        "The whole project, recordings too, is kept in this browser within a second after each edit; nothing is sent anywhere. The button Project… lists the lines and the earlier states, and brings any of them back. Save writes everything into one file, the same one again where the browser can; keep such a file for what matters, since a browser's storage can be cleared. Two tabs never write the same project: the second one says so.",
    ),
    (
        "Playing",
        "From a quarter to double speed at the same pitch. Picture and sound agree to within one frame of the controller: the time the sound takes to the loudspeaker is taken off. Dragging along the ruler lets you hear where you are.",
    ),
    (
        "Without a network",
        "After the first visit the page works without a network, and the browser can install it as a program of its own.",
    ),
];

#[component]
fn Help() -> impl IntoView {
    let store = expect_context::<Store>();
    view! {
        <Modal title="Lipwright" testid="help-dialog">
            <p>"Lipwright hears where the mouth changes in a recorded line, plans what this head's servos can really do of it, and writes the track that the head's controller plays. What you see on the stage is the planned motion; the dashed outline is what was wanted."</p>
            <div class="verbs"><button data-testid="tour-again" on:click=move |_| {
                store.dialog.set(Dialog::None);
                super::tour::start(store);
            }>"Show me round"</button></div>
            {MANUAL.into_iter().map(|(title, text)| view! { <h3>{title}</h3><p>{text}</p> }).collect_view()}
            <h3>"Keys"</h3>
            <dl class="keys">
                {TABLE.into_iter().map(|(keys, what)| view! { <div><dt>{keys}</dt><dd>{what}</dd></div> }).collect_view()}
            </dl>
            <h3>"Colours of the mouth shapes"</h3>
            <ul class="legend wide">
                <li class="lead-lips">"lips lead"</li>
                <li class="lead-tip">"tongue tip leads"</li>
                <li class="lead-body">"tongue body leads"</li>
                <li class="lead-jaw">"jaw leads"</li>
                <li class="lead-none">"rest"</li>
            </ul>
            <Cautions />
            <p class="facts">"Recordings stay in this browser: nothing is sent anywhere. Letters: B612, SIL Open Font License."</p>
        </Modal>
    }
}

#[component]
fn Export() -> impl IntoView {
    let store = expect_context::<Store>();
    let forms = [
        (FileKind::Json, "export-json", "Servo track, JSON", "A pulse for every servo and controller frame."),
        (
            FileKind::Csv,
            "export-csv",
            "Servo track, CSV",
            "The same as a table: time in ms, one column a servo, pulse widths in µs.",
        ),
        (
            FileKind::JsonKeyed,
            "export-keyed",
            "Keyframes, JSON",
            "The fewest knots within 4 µs of the plan; the controller draws straight lines.",
        ),
        (
            FileKind::Midi,
            "export-midi",
            "Show control, MIDI",
            "A Standard MIDI File, one 14-bit lane a servo.",
        ),
        (FileKind::Sound, "export-sound", "Timed sound, WAV", "The recording, cut and padded to the motion."),
        (FileKind::Words, "export-words", "Words, WebVTT", "Captions on the motion's clock."),
        (FileKind::Shapes, "export-shapes", "Mouth shapes, WebVTT", "The same for the shapes."),
    ];
    let driver = RwSignal::new(false);
    let opened = move || store.takes.with(|takes| takes.iter().filter(|t| t.document.is_some()).count());
    let ready = move || store.with_take(|t| t.document.is_some()).unwrap_or(false);
    view! {
        <Modal title="Export" testid="export-dialog">
            <p class="facts">{move || {
                let name = store.with_take(|t| t.name.clone()).unwrap_or_default();
                format!("{name}, for {}. Every file is read back and checked against the rig before it is handed out.", store.head.with(|h| h.rig.name().to_owned()))
            }}</p>
            <div class="forms">
                {forms.into_iter().map(|(kind, testid, title, text)| view! {
                    <button data-testid=testid disabled=move || !ready() on:click=move |_| store.export(kind)>
                        <b>{title}</b><span>{text}</span>
                    </button>
                }).collect_view()}
            </div>
            <h3>{move || match opened() {
                1 => "Every opened line: 1".to_owned(),
                n => format!("Every opened line: {n}"),
            }}</h3>
            <div class="forms">
                <button data-testid="export-sketch" disabled=move || !ready() on:click=move |_| store.export_show(FileKind::Sketch, driver.get_untracked())>
                    <b>"Controller program, zip"</b><span>"A sketch for an ATmega2560 board with the lines in its flash, ready to compile."</span>
                </button>
                <button data-testid="export-cues" disabled=move || !ready() on:click=move |_| store.export_show(FileKind::CueSheet, false)>
                    <b>"Cue sheet, HTML"</b><span>"Trigger numbers, lengths and words of the lines, to print."</span>
                </button>
            </div>
            <label class="check"><input type="checkbox" data-testid="sketch-driver" on:change=move |e| driver.set(event_target_checked(&e)) />
                <span>"The servos hang on a 16-channel I²C driver (PCA9685), not on the board's pins"</span></label>
            <p class="done" role="status" data-testid="export-done">{move || store.exported.get()}</p>
            <Cautions />
        </Modal>
    }
}

#[component]
fn Script() -> impl IntoView {
    let store = expect_context::<Store>();
    let node = NodeRef::<html::Textarea>::new();
    let first = store.peek(|t| t.script.clone()).unwrap_or_default();
    let language = Margin::of(&first).language.unwrap_or_default();
    let problem = RwSignal::new(String::new());
    let text = move || node.get_untracked().map(|n| n.value()).unwrap_or_default();
    let choose = move |event: web_sys::Event| {
        if let (Some(node), Ok(language)) = (node.get_untracked(), event_target_value(&event).parse()) {
            node.set_value(&Margin::with_language(&node.value(), language));
        }
    };
    let fit = move |_| {
        let text = text();
        if let Some(wrong) = Margin::of(&text).problems.first() {
            return problem.set(format!("In {wrong}."));
        }
        store.dialog.set(Dialog::None);
        store.change_script(text.trim().to_owned());
    };
    view! {
        <Modal title="Script" testid="script-dialog">
            <label class="script">
                <span>"What is said in the recording. The ear fits these words to the sound; what does not fit is reported, and what you set by hand stays. Where you change a few words, only their part is fitted again."</span>
                <textarea node_ref=node rows="6" spellcheck="true" data-testid="script-text">{first}</textarea>
            </label>
            <p class="facts">"A name the ear does not know: say it on a line of its own, in ARPABET, as in "<code>"Wimbry = W IH1 M B R IY0"</code>". Such lines are not spoken."</p>
            <label class="facts">"Language of the script "<select data-testid="script-language" on:change=choose>
                {Language::ALL.into_iter().map(|l| view! { <option value=l.name() selected={l == language}>{l.name()}</option> }).collect_view()}
            </select></label>
            <p class="wrong" role="alert" data-testid="script-problem">{move || problem.get()}</p>
            <div class="dialog-foot">
                <button class="quiet" data-testid="afresh" on:click=move |_| {
                    store.dialog.set(Dialog::None);
                    store.start_afresh();
                }>"Forget my edits, listen afresh"</button>
                <span class="spring"></span>
                <button on:click=move |_| {
                    store.select(|t| t.script.clear());
                    store.dialog.set(Dialog::None);
                    store.listen();
                }>"Listen without a script"</button>
                <button class="main" data-testid="align" on:click=fit>"Fit the words"</button>
            </div>
        </Modal>
    }
}
