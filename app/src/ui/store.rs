//! The one store of the page: state in signals, and the verbs that change it.

use crate::editor::{Audio, Next, Origin, Performance, Shared, Take, Transport};
use crate::scene::lanes::ShapesState;
use crate::scene::mouth::Anatomy;
use crate::scene::{Theme, TimeAxis, face::Look};
use crate::web::audio::Player;
use crate::web::clock::{OncePerFrame, WhenQuiet};
use crate::web::files;
use crate::web::keep::{self, Kept};
use crate::web::worker_link::{Delivery, WorkerLink};
use crate::work::{Answer, Job, TrackKind};
use leptos::prelude::*;
use lipwright_core::audio::{Recording, WaveformPyramid};
use lipwright_core::line::{Line, LineError};
use lipwright_core::motion::PlanSettings;
use lipwright_core::phonetics::MouthShape;
use lipwright_core::project::{AudioRef, ContentHash, Project, ProjectLine};
use lipwright_core::rig::{DofValues, Preset, Rig};
use lipwright_core::units::Seconds;
use std::cell::Cell;
use std::rc::Rc;
use std::sync::Arc;

/// What the page is busy with.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Phase {
    /// Fetching and reading a recording.
    #[default]
    Loading,
    /// Hearing.
    Listening,
    /// Planning motion.
    Planning,
    /// Writing a track.
    Writing,
    /// Nothing.
    Ready,
}

impl Phase {
    /// For `data-status`, tests and screen readers.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Phase::Loading => "loading",
            Phase::Listening => "listening",
            Phase::Planning => "planning",
            Phase::Writing => "writing",
            Phase::Ready => "ready",
        }
    }
}

/// Which dialog is open.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Dialog {
    /// None.
    #[default]
    None,
    /// Keys, the page explained, cautions.
    Help,
    /// Export, with its cautions.
    Export,
    /// The script of the line.
    Script,
}

/// The rig with what the page draws from it.
#[derive(Clone)]
pub struct Head {
    /// The rig.
    pub rig: Arc<Rig>,
    /// The same as its file says it.
    pub json: Arc<String>,
    /// Target of each mouth shape, in their order.
    pub poses: Arc<Vec<DofValues>>,
    /// Sizes of the face.
    pub anatomy: Anatomy,
}

impl Head {
    fn new(rig: Rig) -> Self {
        let poses = MouthShape::ALL.iter().map(|s| rig.pose(*s).target).collect();
        Self {
            json: Arc::new(rig.to_json()),
            poses: Arc::new(poses),
            anatomy: Anatomy::from(&rig),
            rig: Arc::new(rig),
        }
    }
}

/// What is being done for whom.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Pending {
    read: Option<(u32, usize)>,
    listen: Option<(u32, usize)>,
    plan: Option<(u32, usize, u64)>,
    track: Option<u32>,
    /// A line that was just brought in, and the line to go back to if it cannot be read.
    back: Option<(usize, usize)>,
    /// The document or rig changed while a plan was under way.
    again: bool,
}

impl Pending {
    /// True while the worker has something to do.
    fn busy(&self) -> bool {
        self.read.is_some() || self.listen.is_some() || self.plan.is_some() || self.track.is_some()
    }
}

/// The page's state. A cheap handle: every copy speaks of the same state.
#[derive(Clone, Copy)]
pub struct Store {
    /// Name of the project.
    pub project: RwSignal<String>,
    /// The lines.
    pub takes: RwSignal<Vec<Take>>,
    /// Which line is open.
    pub current: RwSignal<usize>,
    /// The open line's planned motion, when it is for the rig in use.
    pub performance: Memo<Option<Shared<Performance>>>,
    /// The open line's waveform.
    pub pyramid: Memo<Option<Shared<WaveformPyramid>>>,
    /// The rig.
    pub head: RwSignal<Head>,
    /// Settings of the planner.
    pub settings: RwSignal<PlanSettings>,
    /// Time across the lanes.
    pub axis: RwSignal<TimeAxis>,
    /// Pointer over the shapes lane, and drags.
    pub pointer: RwSignal<ShapesState>,
    /// Where playing stands.
    pub transport: RwSignal<Transport>,
    /// What the page is busy with.
    pub phase: RwSignal<Phase>,
    /// How far it has come, 0 to 1.
    pub progress: RwSignal<f64>,
    /// What went wrong, until it is put away.
    pub error: RwSignal<Option<String>>,
    /// A short word about what just happened, also read out.
    pub note: RwSignal<String>,
    /// Which dialog is open.
    pub dialog: RwSignal<Dialog>,
    /// Dark or light.
    pub theme: RwSignal<Theme>,
    /// Close look at the mouth or the whole head.
    pub look: RwSignal<Look>,
    /// True if the wanted pose is drawn over the planned one.
    pub ghost: RwSignal<bool>,
    /// Parts of the face whose servo lanes are folded away.
    pub folded: RwSignal<Vec<&'static str>>,
    /// What was checked in the last export.
    pub exported: RwSignal<Option<String>>,
    /// Changes that have not been saved to a file.
    pub unsaved: RwSignal<bool>,
    hands: StoredValue<Hands, LocalStorage>,
}

/// What only the browser's thread can hold.
#[derive(Clone)]
struct Hands {
    player: Rc<Player>,
    link: Rc<std::cell::OnceCell<Rc<WorkerLink>>>,
    frame: Rc<std::cell::OnceCell<OncePerFrame>>,
    replan: Rc<std::cell::OnceCell<WhenQuiet>>,
    keep: Rc<std::cell::OnceCell<WhenQuiet>>,
    hush: Rc<std::cell::OnceCell<WhenQuiet>>,
    unkept: Rc<Cell<bool>>,
    pending: Rc<Cell<Pending>>,
}

/// The line's own files beside the page.
const DEMO: [(&str, &str); 4] = [
    ("Welcome", "welcome"),
    ("Storm bell", "storm-bell"),
    ("Mind the mud", "mind-the-mud"),
    ("Toy boat", "toy-boat"),
];

/// Pause after an edit before it is planned, ms: short enough to feel live, long enough for a key
/// that repeats.
const QUIET: i32 = 60;
/// Pause after an edit before it is kept in the browser's storage, ms.
const KEEP: i32 = 700;
/// How long a passing word stays, ms.
const HUSH: i32 = 5000;

impl Store {
    /// The state at the start: the demo project, nothing read yet.
    pub fn new(theme: Theme) -> Self {
        let takes = DEMO
            .iter()
            .map(|(name, file)| {
                let path = format!("sample-audio/{file}.wav");
                Take::new(*name, format!("{file}.wav"), Origin::Beside(path), "")
            })
            .collect();
        let hands = Hands {
            player: Rc::default(),
            link: Rc::default(),
            frame: Rc::default(),
            replan: Rc::default(),
            keep: Rc::default(),
            hush: Rc::default(),
            unkept: Rc::default(),
            pending: Rc::default(),
        };
        let takes = RwSignal::new(takes);
        let current = RwSignal::new(0);
        let head = RwSignal::new(Head::new(Rig::harbourmaster()));
        let open = move |look: fn(&Take) -> Option<Shared<Performance>>| {
            takes.with(|takes: &Vec<Take>| takes.get(current.get()).and_then(look))
        };
        // A plan for the rig before may still be there for the moment until the new one comes.
        let fits = move |p: &Shared<Performance>| head.with(|h| p.head().servos == h.rig.servos().len());
        let performance = Memo::new(move |_| open(|t| t.performance.clone()).filter(fits));
        let pyramid = Memo::new(move |_| {
            takes
                .with(|takes: &Vec<Take>| takes.get(current.get())?.audio.as_ref().map(|a| a.pyramid.clone()))
        });
        let store = Self {
            project: RwSignal::new("Harbour museum".to_owned()),
            takes,
            current,
            performance,
            pyramid,
            head,
            settings: RwSignal::new(PlanSettings::default()),
            axis: RwSignal::new(TimeAxis::fitted(Seconds::new(1.0), 800.0)),
            pointer: RwSignal::default(),
            transport: RwSignal::default(),
            phase: RwSignal::default(),
            progress: RwSignal::new(0.0),
            error: RwSignal::new(None),
            note: RwSignal::new(String::new()),
            dialog: RwSignal::default(),
            theme: RwSignal::new(theme),
            look: RwSignal::default(),
            ghost: RwSignal::new(true),
            folded: RwSignal::new(Vec::new()),
            exported: RwSignal::new(None),
            unsaved: RwSignal::new(false),
            hands: StoredValue::new_local(hands),
        };
        let link = WorkerLink::start(move |d| store.delivered(d), move |m| store.fail(m));
        let frame = OncePerFrame::new(move || store.frame());
        let replan = WhenQuiet::new(QUIET, move || store.plan());
        let keep = WhenQuiet::new(KEEP, move || store.keep());
        let hush = WhenQuiet::new(HUSH, move || store.note.set(String::new()));
        store.hands.with_value(|h| {
            // The cells are fresh, so setting them cannot fail.
            let _ = h.link.set(link);
            let _ = h.frame.set(frame);
            let _ = h.replan.set(replan);
            let _ = h.keep.set(keep);
            let _ = h.hush.set(hush);
        });
        store
    }

    fn hands(&self) -> Hands {
        self.hands.get_value()
    }

    fn pending(&self, change: impl FnOnce(&mut Pending)) -> Pending {
        let cell = self.hands().pending;
        let mut pending = cell.get();
        change(&mut pending);
        cell.set(pending);
        pending
    }

    fn send(&self, make: impl FnOnce(u32) -> Job, numbers: &[f32], bytes: &[u8]) -> u32 {
        let hands = self.hands();
        let Some(link) = hands.link.get() else { return 0 };
        let id = link.number();
        link.send(make(id), numbers, bytes);
        id
    }

    // ---- reading the state ----------------------------------------------------------------

    /// Looks at the open line, tracking it.
    pub fn with_take<T>(&self, look: impl FnOnce(&Take) -> T) -> Option<T> {
        let current = self.current.get();
        self.takes.with(|takes| takes.get(current).map(look))
    }

    /// Looks at the open line without tracking it.
    pub fn peek<T>(&self, look: impl FnOnce(&Take) -> T) -> Option<T> {
        let current = self.current.get_untracked();
        self.takes.with_untracked(|takes| takes.get(current).map(look))
    }

    fn change<T>(&self, change: impl FnOnce(&mut Take) -> T) -> Option<T> {
        let current = self.current.get_untracked();
        self.takes.try_update(|takes| takes.get_mut(current).map(change)).flatten()
    }

    /// Length of the open line.
    pub fn duration(&self) -> Seconds {
        self.peek(|t| t.line().map(Line::duration)).flatten().unwrap_or(Seconds::ZERO)
    }

    fn loop_span(&self) -> Option<(Seconds, Seconds)> {
        self.peek(|t| t.selection().map(|s| (s.start, s.end))).flatten()
    }

    // ---- bringing lines in ----------------------------------------------------------------

    /// Opens a line of the project: fetches and reads its recording where that is still to do.
    pub fn open(self, index: usize) {
        self.stop();
        // Work for the line that is left would only hold up this one.
        let pending = self.hands().pending.get();
        if pending.busy() {
            self.cancel_quietly();
            self.pending(|p| p.back = pending.back);
        }
        self.current.set(index);
        self.transport.update(|t| t.time = Seconds::ZERO);
        self.pointer.set(ShapesState::default());
        let Some((origin, ready)) = self.peek(|t| (t.origin.clone(), t.audio.is_some())) else { return };
        if ready {
            self.show_whole();
            self.load_sound();
            self.next_work();
            return;
        }
        self.phase.set(Phase::Loading);
        leptos::task::spawn_local(async move {
            let bytes = match &origin {
                Origin::Bytes(bytes) => Ok(Vec::clone(bytes)),
                Origin::Beside(path) => {
                    let script = path.replace(".wav", ".txt");
                    let bytes = files::fetch(path).await;
                    if let Ok(text) = files::fetch(&script).await
                        && bytes.is_ok()
                    {
                        let text = String::from_utf8_lossy(&text).trim().to_owned();
                        self.takes.update(|takes| takes[index].script = text);
                    }
                    bytes
                }
            };
            match bytes {
                Ok(bytes) => self.read(index, bytes).await,
                Err(message) => {
                    self.phase.set(Phase::Ready);
                    self.fail(format!("The recording could not be opened. {message}"));
                }
            }
        });
    }

    /// Reads a recording: WAV in the worker, anything else by the browser.
    async fn read(self, index: usize, bytes: Vec<u8>) {
        let bytes = Shared::new(bytes);
        self.takes.update(|takes| {
            if let Some(take) = takes.get_mut(index) {
                take.origin = Origin::Bytes(bytes.clone());
            }
        });
        if bytes.starts_with(b"RIFF") || bytes.starts_with(b"RIFX") || bytes.is_empty() {
            let id = self.send(|id| Job::Read { id }, &[], &bytes);
            self.pending(|p| p.read = Some((id, index)));
            return;
        }
        let player = self.hands().player;
        match player.decode(&bytes).await {
            Ok(recording) => {
                let source = recording.source();
                let text = format!("{:.1} kHz, decoded by the browser", source.rate.value() / 1000.0);
                self.got_sound(index, text, Vec::new(), recording.samples().to_vec());
            }
            Err(message) => self.unreadable(index, &message),
        }
    }

    /// A recording that could not be read: a line just brought in goes again, and the line that
    /// was open before comes back.
    fn unreadable(self, index: usize, message: &str) {
        self.phase.set(Phase::Ready);
        let file = self.takes.with_untracked(|t| t.get(index).map(|t| t.file.clone())).unwrap_or_default();
        self.fail(format!("{file} could not be read. {message}"));
        let back = self.hands().pending.get().back;
        if let Some((new, before)) = back
            && new == index
        {
            self.pending(|p| p.back = None);
            self.current.set(before);
            self.takes.update(|takes| {
                if index < takes.len() {
                    takes.remove(index);
                }
            });
            self.open(before);
        }
    }

    fn got_sound(self, index: usize, source: String, notes: Vec<String>, samples: Vec<f32>) {
        if self.hands().pending.get().back.is_some_and(|(new, _)| new == index) {
            self.pending(|p| p.back = None);
            self.unsaved.set(true);
        }
        let pyramid = Shared::new(WaveformPyramid::new(&samples));
        let samples = Shared::new(samples);
        self.takes.update(|takes| {
            let Some(take) = takes.get_mut(index) else { return };
            let Origin::Bytes(bytes) = &take.origin else { return };
            take.audio = Some(Audio {
                name: take.file.clone(),
                bytes: bytes.clone(),
                hash: ContentHash::of(bytes),
                source,
                samples,
                pyramid,
            });
            take.notes = notes;
        });
        self.recall(index);
        if index == self.current.get_untracked() {
            self.load_sound();
            self.next_work();
        }
    }

    /// Takes up edits of this recording that were kept earlier, where the line has none yet.
    fn recall(self, index: usize) {
        let hash = self.takes.with_untracked(|takes| {
            let take = takes.get(index)?;
            if take.document.is_some() { None } else { take.audio.as_ref().map(|a| a.hash.clone()) }
        });
        let Some(kept) = hash.and_then(|h| keep::kept(&h)) else { return };
        self.takes.update(|takes| {
            if let Some(take) = takes.get_mut(index) {
                take.script = kept.script;
                take.edit(kept.line);
            }
        });
        self.say("Your edits of this recording are back");
    }

    fn load_sound(self) {
        let player = self.hands().player;
        let Some(Some((samples, bytes))) =
            self.peek(|t| t.audio.as_ref().map(|a| (a.samples.clone(), a.bytes.clone())))
        else {
            player.unload();
            return;
        };
        if let Err(message) = player.load(&samples) {
            self.fail(format!("The line can be edited but not heard: {message}"));
        }
        // The recording at its own rate sounds better than what the ear needs; take it if the
        // browser can read it and it is as long.
        let index = self.current.get_untracked();
        let length = samples.len() as f64 / Recording::RATE.value();
        leptos::task::spawn_local(async move {
            player.upgrade(&bytes, length, move || self.current.get_untracked() == index).await;
        });
    }

    /// Whatever the open line still needs: hearing, then planning.
    fn next_work(self) {
        let Some((heard, planned)) = self.peek(|t| (t.document.is_some(), t.performance.is_some())) else {
            return;
        };
        if heard {
            self.show_whole();
            if planned { self.phase.set(Phase::Ready) } else { self.plan() }
        } else {
            self.listen();
        }
    }

    fn show_whole(&self) {
        let duration = self.duration();
        if duration > Seconds::ZERO {
            self.axis.update(|a| *a = TimeAxis::fitted(duration, a.width()));
        }
    }

    /// Listens to the open line, with its script where it has one.
    pub fn listen(self) {
        let index = self.current.get_untracked();
        let Some(Some((samples, script))) =
            self.peek(|t| t.audio.as_ref().map(|a| (a.samples.clone(), t.script.clone())))
        else {
            return;
        };
        self.phase.set(Phase::Listening);
        self.progress.set(0.0);
        let id = self.send(|id| Job::Listen { id, script }, &samples, &[]);
        self.pending(|p| p.listen = Some((id, index)));
    }

    /// Takes a file: a project, or a recording that becomes a new line.
    pub fn take_file(self, file: web_sys::File) {
        leptos::task::spawn_local(async move {
            let name = file.name();
            match files::read(&file).await {
                Ok(bytes) => self.take_bytes(name, bytes),
                Err(message) => self.fail(format!("{name} could not be read: {message}")),
            }
        });
    }

    fn take_bytes(self, name: String, bytes: Vec<u8>) {
        let text = bytes.iter().find(|b| !b.is_ascii_whitespace()) == Some(&b'{') || name.ends_with(".json");
        if text {
            let json = String::from_utf8_lossy(&bytes);
            let rig = serde_json::from_str::<serde_json::Value>(&json).ok();
            let servos = rig.is_some_and(|v| v.get("servos").is_some() && v.get("mechanisms").is_some());
            if servos {
                match Rig::from_json(&json) {
                    Ok(rig) => self.set_rig(rig),
                    Err(error) => self.fail(format!("{name} is no rig that can be used: {error}")),
                }
            } else {
                self.load_project(&name, &json);
            }
            return;
        }
        let title = name.rsplit_once('.').map_or(name.as_str(), |(stem, _)| stem).to_owned();
        let take = Take::new(title, name, Origin::Bytes(Shared::new(bytes)), "");
        let index = self.takes.with_untracked(Vec::len);
        let before = self.current.get_untracked();
        self.takes.update(|takes| takes.push(take));
        self.pending(|p| p.back = Some((index, before)));
        self.open(index);
    }

    fn load_project(self, name: &str, json: &str) {
        let project = match Project::from_json(json) {
            Ok(project) => project,
            Err(error) => return self.fail(format!("{name}: {error}")),
        };
        let mut takes = Vec::new();
        for line in &project.lines {
            let bytes = match line.audio.embedded() {
                Ok(Some(bytes)) => bytes,
                Ok(None) => {
                    return self.fail(format!(
                        "{name}: the line '{}' names the recording {} but does not carry it; open that recording first",
                        line.name, line.audio.name
                    ));
                }
                Err(error) => return self.fail(format!("{name}: {error}")),
            };
            let origin = Origin::Bytes(Shared::new(bytes));
            let mut take = Take::new(line.name.clone(), line.audio.name.clone(), origin, line.script.clone());
            take.edit(line.performance.clone());
            takes.push(take);
        }
        if takes.is_empty() {
            return self.fail(format!("{name}: the project holds no lines; open a recording to make one"));
        }
        if !project.rig.is_null() {
            match Rig::from_json(&project.rig.to_string()) {
                Ok(rig) => self.head.set(Head::new(rig)),
                Err(error) => {
                    self.fail(format!("{name}: its rig could not be used ({error}); the present rig stays"));
                }
            }
        }
        self.cancel_quietly();
        self.project.set(project.name);
        self.takes.set(takes);
        self.unsaved.set(false);
        self.say("Project opened");
        self.open(0);
    }

    /// Writes the project with its recordings into a file.
    pub fn save_project(self) {
        let mut project = Project::new(self.project.get_untracked());
        project.rig = serde_json::from_str(&self.head.get_untracked().json).unwrap_or_default();
        let mut left = 0;
        self.takes.with_untracked(|takes| {
            for take in takes {
                match (&take.audio, take.line()) {
                    (Some(audio), Some(line)) => {
                        let reference = AudioRef::of(audio.name.clone(), &audio.bytes, line.duration())
                            .embed(&audio.bytes);
                        project.lines.push(ProjectLine::new(
                            take.name.clone(),
                            reference,
                            take.script.clone(),
                            line.clone(),
                        ));
                    }
                    // A project that was loaded carries lines that nobody has opened yet.
                    (None, Some(line)) => {
                        if let Origin::Bytes(bytes) = &take.origin {
                            let reference =
                                AudioRef::of(take.file.clone(), bytes, line.duration()).embed(bytes);
                            project.lines.push(ProjectLine::new(
                                take.name.clone(),
                                reference,
                                take.script.clone(),
                                line.clone(),
                            ));
                        }
                    }
                    _ => left += 1,
                }
            }
        });
        let name = format!("{}.lipwright.json", files::safe_name(&project.name));
        match files::download(&name, "application/json", project.to_json().as_bytes()) {
            Ok(()) => {
                self.unsaved.set(false);
                let lines = project.lines.len();
                let more = if left > 0 { format!(", {left} not opened yet left out") } else { String::new() };
                self.say(&format!("Saved {name}: {lines} line{}{more}", if lines == 1 { "" } else { "s" }));
            }
            Err(message) => self.fail(format!("{name} could not be saved: {message}")),
        }
    }

    // ---- the rig --------------------------------------------------------------------------

    /// Takes another rig and plans every line anew for it.
    pub fn set_rig(self, rig: Rig) {
        self.say(&format!("Rig: {}", rig.name()));
        self.head.set(Head::new(rig));
        self.takes.update(|takes| {
            for take in takes {
                take.performance = None;
            }
        });
        self.plan();
    }

    /// Takes one of the heads to start from.
    pub fn set_preset(self, name: &str) {
        if let Some(preset) = Preset::ALL.into_iter().find(|p| p.name() == name) {
            self.set_rig(preset.rig());
        }
    }

    // ---- the worker -----------------------------------------------------------------------

    /// Plans the open line; while a plan is under way, once more after it.
    pub fn plan(self) {
        let index = self.current.get_untracked();
        let Some((Some(line), revision)) = self.peek(|t| (t.line().cloned(), t.revision)) else { return };
        let busy = self.hands().pending.get();
        if busy.plan.is_some() {
            self.pending(|p| p.again = true);
            return;
        }
        if self.phase.get_untracked() == Phase::Ready || self.phase.get_untracked() == Phase::Loading {
            self.phase.set(Phase::Planning);
            self.progress.set(0.0);
        }
        let rig = self.head.with_untracked(|h| h.json.as_ref().clone());
        let settings = self.settings.get_untracked();
        let (segments, duration_s) = (line.segments().to_vec(), line.duration());
        let id = self.send(|id| Job::Plan { id, segments, duration_s, rig, settings }, &[], &[]);
        self.pending(|p| {
            p.plan = Some((id, index, revision));
            p.again = false;
        });
    }

    /// Writes the track of the open line.
    pub fn export(self, kind: TrackKind) {
        let Some((Some(line), name, audio)) = self.peek(|t| {
            (t.line().cloned(), t.name.clone(), t.audio.as_ref().map(|a| (a.name.clone(), a.hash.clone())))
        }) else {
            return self.fail("There is nothing to export yet: open a recording first.".to_owned());
        };
        self.exported.set(None);
        self.phase.set(Phase::Writing);
        let rig = self.head.with_untracked(|h| h.json.as_ref().clone());
        let settings = self.settings.get_untracked();
        let (audio, sha256) = audio.map_or_else(Default::default, |(n, h)| (n, h.to_string()));
        let (segments, duration_s) = (line.segments().to_vec(), line.duration());
        let id = self.send(
            |id| Job::Track { id, segments, duration_s, rig, settings, kind, line: name, audio, sha256 },
            &[],
            &[],
        );
        self.pending(|p| p.track = Some(id));
    }

    /// Calls long work off.
    pub fn cancel(self) {
        self.cancel_quietly();
        self.phase.set(Phase::Ready);
        // A line that was never heard can still be worked on by hand.
        let silent = self
            .peek(|t| match (&t.document, &t.audio) {
                (None, Some(audio)) => Some(audio.samples.len() as f64 / Recording::RATE.value()),
                _ => None,
            })
            .flatten();
        if let Some(duration) = silent
            && let Ok(line) = Line::silent(Seconds::new(duration))
        {
            self.change(|t| t.edit(line));
            self.show_whole();
        }
        self.say("Called off");
    }

    fn cancel_quietly(self) {
        if let Some(link) = self.hands().link.get() {
            link.restart();
        }
        self.pending(|p| *p = Pending::default());
    }

    fn delivered(self, delivery: Delivery) {
        let Delivery { answer, numbers, bytes } = delivery;
        let pending = self.hands().pending.get();
        match answer {
            Answer::Ready => {}
            Answer::Progress { id, done, .. } => {
                if [pending.listen.map(|l| l.0), pending.plan.map(|p| p.0)].contains(&Some(id)) {
                    self.progress.set(done);
                }
            }
            Answer::Read { id, sound } => {
                if let Some((wanted, index)) = pending.read
                    && wanted == id
                {
                    self.pending(|p| p.read = None);
                    self.got_sound(index, sound.source, sound.notes, numbers);
                }
            }
            Answer::Heard { id, hearing } => {
                if let Some((wanted, index)) = pending.listen
                    && wanted == id
                {
                    self.pending(|p| p.listen = None);
                    self.heard(index, &hearing);
                }
            }
            Answer::Planned { id, head } => {
                if let Some((wanted, index, revision)) = pending.plan
                    && wanted == id
                {
                    self.pending(|p| p.plan = None);
                    match Performance::from_parts(head, numbers, bytes) {
                        Some(performance) => {
                            let again = pending.again;
                            self.takes.update(|takes| {
                                if let Some(take) = takes.get_mut(index) {
                                    take.performance = Some(Shared::new(performance));
                                    let _ = revision;
                                }
                            });
                            if again || index != self.current.get_untracked() {
                                self.phase.set(Phase::Ready);
                                self.plan_if_needed(again);
                            } else {
                                self.phase.set(Phase::Ready);
                            }
                        }
                        None => {
                            self.phase.set(Phase::Ready);
                            self.fail(
                                "The plan came back incomplete; edit the line to plan it again.".to_owned(),
                            );
                        }
                    }
                }
            }
            Answer::Track { id, kind, text, checked } => {
                if pending.track == Some(id) {
                    self.pending(|p| p.track = None);
                    self.phase.set(Phase::Ready);
                    self.hand_out(kind, &text, checked);
                }
            }
            Answer::Failed { id, message } => self.failed(id, message),
        }
    }

    fn plan_if_needed(self, again: bool) {
        if again || self.peek(|t| t.performance.is_none() && t.document.is_some()).unwrap_or(false) {
            self.plan();
        }
    }

    fn failed(self, id: u32, message: String) {
        let pending = self.hands().pending.get();
        if let Some((read, index)) = pending.read
            && read == id
        {
            self.pending(|p| p.read = None);
            return self.unreadable(index, &message);
        }
        let mut what = "That did not work";
        if pending.listen.map(|l| l.0) == Some(id) {
            what = "The line could not be listened to";
        } else if pending.plan.map(|p| p.0) == Some(id) {
            what = "The motion could not be planned";
        } else if pending.track == Some(id) {
            what = "The track was not written";
        }
        self.pending(|p| {
            let again = p.again;
            *p = Pending::default();
            p.again = again;
        });
        self.phase.set(Phase::Ready);
        self.fail(format!("{what}: {message}"));
    }

    fn heard(self, index: usize, hearing: &lipwright_core::recognise::Hearing) {
        let outcome = self
            .takes
            .try_update(|takes| {
                let take = takes.get_mut(index)?;
                take.notes.retain(|n| !n.is_empty());
                take.notes.clone_from(&hearing.notes);
                Some(match take.document.as_mut() {
                    // Hearing again keeps what a person decided, and can be undone.
                    Some(document) => document.adopt(hearing).map(|_| ()),
                    None => Line::from_hearing(hearing).map(|line| take.edit(line)),
                })
            })
            .flatten();
        self.phase.set(Phase::Ready);
        if let Some(Err(error)) = outcome {
            self.fail(format!("What was heard could not be used: {error}"));
            return;
        }
        self.takes.update(|takes| {
            if let Some(take) = takes.get_mut(index) {
                take.revision += 1;
                take.performance = None;
            }
        });
        if index == self.current.get_untracked() {
            self.show_whole();
            self.plan();
        }
    }

    fn hand_out(self, kind: TrackKind, text: &str, checked: String) {
        let name = self.peek(|t| files::safe_name(&t.name)).unwrap_or_default();
        let (name, mime) = match kind {
            TrackKind::Json => (format!("{name}.track.json"), "application/json"),
            TrackKind::JsonKeyed => (format!("{name}.keyframes.json"), "application/json"),
            TrackKind::Csv => (format!("{name}.track.csv"), "text/csv"),
        };
        match files::download(&name, mime, text.as_bytes()) {
            Ok(()) => {
                self.exported.set(Some(format!("{name}: {checked}")));
                self.say(&format!("Wrote {name}"));
            }
            Err(message) => self.fail(format!("{name} could not be handed out: {message}")),
        }
    }

    // ---- editing --------------------------------------------------------------------------

    fn edited(self, outcome: Option<Result<(), LineError>>) {
        match outcome {
            Some(Ok(())) => {
                self.unsaved.set(true);
                self.soon();
            }
            Some(Err(error)) => self.say(&error.to_string()),
            None => {}
        }
    }

    /// Plans once the hand rests.
    fn soon(self) {
        if let Some(replan) = self.hands().replan.get() {
            replan.poke();
        }
        if let Some(keep) = self.hands().keep.get() {
            keep.poke();
        }
    }

    /// Keeps the open line's edits in the browser's storage.
    fn keep(self) {
        let kept = self
            .peek(|t| {
                let hash = t.audio.as_ref()?.hash.clone();
                Some((hash, Kept { script: t.script.clone(), line: t.line()?.clone() }))
            })
            .flatten();
        let Some((hash, kept)) = kept else { return };
        let unkept = self.hands().unkept;
        match keep::keep(&hash, &kept) {
            Ok(()) => unkept.set(false),
            // Say it once, not after every edit.
            Err(message) => {
                if !unkept.replace(true) {
                    self.fail(format!(
                        "Edits cannot be kept in this browser ({message}); save the project to a file before you leave."
                    ));
                }
            }
        }
    }

    /// True if closing the page would lose something that the browser's storage does not keep.
    pub fn must_ask(&self) -> bool {
        self.hands().unkept.get() || self.takes.with_untracked(|t| t.len() > DEMO.len())
    }

    /// Throws every edit of the open line away and listens afresh.
    pub fn start_afresh(self) {
        if let Some(Some(hash)) = self.peek(|t| t.audio.as_ref().map(|a| a.hash.clone())) {
            keep::forget(&hash);
        }
        self.change(|t| {
            t.document = None;
            t.selected = None;
            t.performance = None;
        });
        self.listen();
    }

    /// Runs one editing verb on the open line.
    pub fn edit(self, verb: impl FnOnce(&mut Take) -> Result<(), LineError>) {
        let outcome = self.change(verb);
        self.edited(outcome);
    }

    /// Takes the last step back.
    pub fn undo(self) {
        self.edit(|t| {
            t.undo();
            Ok(())
        });
    }

    /// Does the last undone step again.
    pub fn redo(self) {
        self.edit(|t| {
            t.redo();
            Ok(())
        });
    }

    /// Changes the selection, without touching the line.
    pub fn select(self, change: impl FnOnce(&mut Take)) {
        self.change(change);
    }

    /// Selects a segment and moves the playhead and the view to it.
    pub fn go_to(self, index: usize) {
        self.change(|t| t.selected = Some(index));
        if let Some(Some((start, _))) = self.peek(|t| t.selection().map(|s| (s.start, s.end))) {
            self.seek(start);
            self.axis.update(|a| *a = a.showing(start));
        }
    }

    /// Goes to the next problem after the playhead, round the end.
    pub fn next_problem(self) {
        let time = self.transport.with_untracked(|t| t.time);
        let problem = self
            .peek(|t| {
                let problems = &t.performance.as_ref()?.head().problems;
                let later = problems.iter().find(|p| p.time > time + Seconds::new(0.001));
                later.or(problems.first()).map(|p| (p.segment, p.time))
            })
            .flatten();
        match problem {
            Some((segment, time)) => self.go_to_problem(segment, time),
            None => self.say("The head can do all of this line"),
        }
    }

    /// Goes to a problem's place.
    pub fn go_to_problem(self, segment: usize, time: Seconds) {
        self.go_to(segment);
        self.seek(time);
        self.axis.update(|a| *a = a.showing(time));
    }

    // ---- playing --------------------------------------------------------------------------

    /// Plays or pauses.
    pub fn toggle_play(self) {
        if self.transport.with_untracked(|t| t.playing) { self.stop() } else { self.play() }
    }

    fn play(self) {
        let duration = self.duration();
        if duration <= Seconds::ZERO {
            return;
        }
        let span = self.loop_span();
        let transport = self.transport.get_untracked();
        let from = transport.begin(duration, span);
        match self.hands().player.play(from, transport.speed) {
            Ok(()) => {
                self.transport.update(|t| {
                    t.playing = true;
                    t.time = from;
                });
                self.tick();
            }
            Err(message) => self.fail(format!("The line cannot be played: {message}")),
        }
    }

    /// Stops where the playhead stands.
    pub fn stop(self) {
        self.hands().player.stop();
        if self.transport.with_untracked(|t| t.playing) {
            self.transport.update(|t| t.playing = false);
        }
    }

    fn tick(self) {
        if let Some(frame) = self.hands().frame.get() {
            frame.ask();
        }
    }

    /// One animation frame of playing.
    fn frame(self) {
        let transport = self.transport.get_untracked();
        if !transport.playing {
            return;
        }
        let Some(heard) = self.hands().player.heard() else { return self.stop() };
        match transport.next(heard, self.duration(), self.loop_span()) {
            Next::Show(time) => {
                self.transport.update(|t| t.time = time);
                // The view turns the page only when the playhead leaves it: lanes stay still otherwise.
                if time > self.axis.with_untracked(|a| a.span().1) {
                    self.axis.update(|a| *a = a.showing(time));
                }
                self.tick();
            }
            Next::Again(time) => {
                self.transport.update(|t| t.time = time);
                if self.hands().player.play(time, transport.speed).is_ok() {
                    self.tick();
                } else {
                    self.stop();
                }
            }
            Next::Stop(time) => {
                self.stop();
                self.transport.update(|t| t.time = time);
            }
        }
    }

    /// Moves the playhead; while playing, the sound follows.
    pub fn seek(self, time: Seconds) {
        let time = time.max(Seconds::ZERO).min(self.duration());
        let transport = self.transport.get_untracked();
        self.transport.update(|t| t.time = time);
        if transport.playing && self.hands().player.play(time, transport.speed).is_err() {
            self.stop();
        }
    }

    /// Moves the playhead and lets a moment of the sound be heard.
    pub fn scrub(self, time: Seconds) {
        self.seek(time);
        if !self.transport.with_untracked(|t| t.playing) {
            self.hands().player.blip(time);
        }
    }

    /// Sets the speed; a playing line goes on at it.
    pub fn set_speed(self, speed: f64) {
        self.transport.update(|t| t.speed = speed);
        let transport = self.transport.get_untracked();
        if transport.playing {
            self.seek(transport.time);
        }
    }

    // ---- words to the person ----------------------------------------------------------------

    /// Says something in passing.
    pub fn say(&self, text: &str) {
        self.note.set(text.to_owned());
        if let Some(hush) = self.hands().hush.get() {
            hush.poke();
        }
    }

    /// Says what went wrong, until it is put away.
    pub fn fail(&self, message: String) {
        self.error.set(Some(message));
    }
}
