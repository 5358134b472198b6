//! The one store of the page: state in signals, and the verbs that change it.

use crate::editor::{Audio, Next, Origin, Performance, ProblemKind, Shared, Take, Transport, View};
use crate::scene::lanes::ShapesState;
use crate::scene::mouth::Anatomy;
use crate::scene::{Theme, TimeAxis, face::Look};
use crate::web::audio::{Heard, Player};
use crate::web::clock::{self, OncePerFrame, WhenQuiet};
use crate::web::files;
use crate::web::keep;
use crate::web::picker::{self, Place};
use crate::web::worker_link::{Delivery, WorkerLink};
use crate::work::{Answer, FileKind, Job, LineOf, Sound};
use leptos::prelude::*;
use lipwright_core::audio::{Column, Recording, WaveformPyramid};
use lipwright_core::line::{CopiedLooks, Line, LineError, Segment};
use lipwright_core::motion::PlanSettings;
use lipwright_core::phonetics::MouthShape;
use lipwright_core::project::{AudioRef, ContentHash, Project, ProjectLine};
use lipwright_core::rig::{DofValues, Preset, Rig, RigError};
use lipwright_core::units::Seconds;
use std::cell::Cell;
use std::rc::Rc;
use std::sync::Arc;

mod bench;
mod booth;
mod editing;
mod edits;
mod events;
mod hashes;
mod keeping;
mod lines;
mod playing;
mod project;
mod rig;
mod suggesting;
mod worker;

pub use bench::{Bench, Shown};
pub use booth::{Booth, Dubbed, Dubbing};
pub use editing::{Stroke, counted};
pub use keeping::{Keeping, Standing};
pub use rig::{Chosen, Desk};

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
    /// A new servo.
    AddServo,
    /// Lines and earlier states of the project.
    Project,
    /// The recording desk.
    Record,
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
    fn new(rig: Arc<Rig>) -> Self {
        let poses = MouthShape::ALL.iter().map(|s| rig.pose(*s).target).collect();
        Self {
            json: Arc::new(rig.to_json()),
            poses: Arc::new(poses),
            anatomy: Anatomy::from(rig.as_ref()),
            rig,
        }
    }
}

/// What is being done for whom.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Pending {
    /// A recording that is being fetched, or decoded by the browser.
    opening: Option<(u32, usize)>,
    read: Option<(u32, usize)>,
    listen: Option<(u32, usize)>,
    /// Where only a part is being listened to.
    part: Option<editing::Part>,
    survey: Option<(u32, usize)>,
    plan: Option<(u32, usize)>,
    file: Option<u32>,
    compare: Option<u32>,
    suggest: Option<(u32, usize)>,
    /// A line that was just brought in, and the line to go back to if it cannot be read.
    back: Option<(usize, usize)>,
    /// The document or rig changed while a plan was under way.
    again: bool,
}

impl Pending {
    /// True while the worker has something to do, or a recording is on its way to it.
    fn busy(&self) -> bool {
        let reading = self.opening.or(self.read).is_some();
        reading || self.listen.is_some() || self.plan.is_some() || self.file.is_some()
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
    /// The waveform of a recording that is being read, as far as it has come, and of which line it is.
    pub arriving: RwSignal<Option<(usize, WaveformPyramid)>>,
    /// The rig.
    pub head: RwSignal<Head>,
    /// The rig on the desk: what is being described, measured and compared.
    pub desk: Desk,
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
    /// What the page shows.
    pub view: RwSignal<View>,
    /// The bench.
    pub bench: Bench,
    /// The recording desk.
    pub dubbing: Dubbing,
    /// What is kept in the browser.
    pub keeping: Keeping,
    /// Which dialog is open.
    pub dialog: RwSignal<Dialog>,
    /// Dark or light.
    pub theme: RwSignal<Theme>,
    /// Close look at the mouth or the whole head.
    pub look: RwSignal<Look>,
    /// True if the wanted pose is drawn over the planned one.
    pub ghost: RwSignal<bool>,
    /// True if the head is shown as in a mirror.
    pub mirrored: RwSignal<bool>,
    /// Step of the tour, while it is on.
    pub tour: RwSignal<Option<usize>>,
    /// True until the tour was taken or declined.
    pub new_here: RwSignal<bool>,
    /// Segments that were copied.
    pub copied: RwSignal<Vec<Segment>>,
    /// Looks that were copied.
    pub copied_looks: RwSignal<Option<CopiedLooks>>,
    /// The event whose settings are open.
    pub event: RwSignal<Option<usize>>,
    /// The problem gone to last: its place in the list, its kind, its segment.
    pub problem: RwSignal<Option<(usize, ProblemKind, usize)>>,
    /// True where the little mouths are put away, so that more problems are seen at once.
    pub roomy: RwSignal<bool>,
    /// True where the lane of sound shows the spectrogram.
    pub spectrogram: RwSignal<bool>,
    /// True while the keys of the palette write shapes as the line plays.
    pub painting: RwSignal<bool>,
    /// The key that is held down for that.
    pub stroke: RwSignal<Option<Stroke>>,
    /// Parts of the face whose servo lanes are folded away.
    pub folded: RwSignal<Vec<&'static str>>,
    /// What was checked in the last export.
    pub exported: RwSignal<Option<String>>,
    /// Name of the file that the project is saved into, where the browser lets it be written again.
    pub place: RwSignal<Option<String>>,
    /// Changes that have not been saved to a file.
    pub unsaved: RwSignal<bool>,
    hands: StoredValue<Hands, LocalStorage>,
}

/// The browser's own array of one file, and the bytes that it is known by.
type Original = Rc<std::cell::RefCell<Option<(Shared<Vec<u8>>, js_sys::Uint8Array)>>>;

/// What only the browser's thread can hold.
#[derive(Clone)]
struct Hands {
    player: Rc<Player>,
    link: Rc<std::cell::OnceCell<Rc<WorkerLink>>>,
    frame: Rc<std::cell::OnceCell<OncePerFrame>>,
    replan: Rc<std::cell::OnceCell<WhenQuiet>>,
    sweep: Rc<std::cell::OnceCell<OncePerFrame>>,
    hush: Rc<std::cell::OnceCell<WhenQuiet>>,
    unkept: Rc<Cell<bool>>,
    place: Rc<std::cell::RefCell<Option<Place>>>,
    pending: Rc<Cell<Pending>>,
    /// The browser's own array of a file that was just brought in: it goes to the worker as it is.
    original: Original,
}

/// The line's own files beside the page.
const DEMO: [(&str, &str); 4] = [
    ("Welcome", "welcome"),
    ("Storm bell", "storm-bell"),
    ("Mind the mud", "mind-the-mud"),
    ("Toy boat", "toy-boat"),
];

/// The choice that [`Store::roomy`] is remembered as.
const ROOMY: &str = "problems-have-room";
/// Pause after an edit before it is planned, ms: short enough to feel live, long enough for a key
/// that repeats.
const QUIET: i32 = 60;
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
            sweep: Rc::default(),
            hush: Rc::default(),
            unkept: Rc::default(),
            place: Rc::default(),
            pending: Rc::default(),
            original: Rc::default(),
        };
        let takes = RwSignal::new(takes);
        let current = RwSignal::new(0);
        let desk = Desk::open();
        let head = RwSignal::new(Head::new(desk.draft.with_untracked(|d| Arc::clone(d.rig()))));
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
            arriving: RwSignal::new(None),
            head,
            desk,
            settings: RwSignal::new(PlanSettings::default()),
            axis: RwSignal::new(TimeAxis::fitted(Seconds::new(1.0), 800.0).in_unit(editing::kept_unit())),
            pointer: RwSignal::default(),
            transport: RwSignal::default(),
            phase: RwSignal::default(),
            progress: RwSignal::new(0.0),
            error: RwSignal::new(None),
            note: RwSignal::new(String::new()),
            view: RwSignal::default(),
            bench: Bench::new(),
            dubbing: Dubbing::new(),
            keeping: Keeping::new(),
            dialog: RwSignal::default(),
            theme: RwSignal::new(theme),
            look: RwSignal::default(),
            ghost: RwSignal::new(true),
            problem: RwSignal::new(None),
            roomy: RwSignal::new(keep::choice(ROOMY).as_deref() == Some("yes")),
            spectrogram: RwSignal::new(false),
            mirrored: RwSignal::new(false),
            tour: RwSignal::new(None),
            new_here: RwSignal::new(super::tour::is_new_here()),
            copied: RwSignal::default(),
            copied_looks: RwSignal::default(),
            event: RwSignal::new(None),
            painting: RwSignal::new(false),
            stroke: RwSignal::default(),
            folded: RwSignal::new(Vec::new()),
            exported: RwSignal::new(None),
            place: RwSignal::new(None),
            unsaved: RwSignal::new(false),
            hands: StoredValue::new_local(hands),
        };
        let link = WorkerLink::start(move |d| store.delivered(d), move |m| store.worker_broke(&m));
        let frame = OncePerFrame::new(move || store.frame());
        let replan = WhenQuiet::new(QUIET, move || store.plan());
        let sweep = OncePerFrame::new(move || store.sweep_frame());
        let hush = WhenQuiet::new(HUSH, move || store.note.set(String::new()));
        store.hands.with_value(|h| {
            // The cells are fresh, so setting them cannot fail.
            let _ = h.link.set(link);
            let _ = h.frame.set(frame);
            let _ = h.replan.set(replan);
            let _ = h.sweep.set(sweep);
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
        let points = self.transport.with_untracked(|t| t.between_points(self.duration()));
        points.or_else(|| self.peek(Take::run_span).flatten())
    }

    /// Goes to a view. Playing stops: what plays would not be seen.
    pub fn show_view(self, view: View) {
        if self.view.get_untracked() != view {
            self.stop();
            if self.view.get_untracked() == View::Bench && self.bench.connected() {
                self.bench_stop();
            }
            self.view.set(view);
        }
    }

    /// Puts the little mouths away or back; remembered for the next visit.
    pub fn set_roomy(&self, roomy: bool) {
        self.roomy.set(roomy);
        keep::choose(ROOMY, if roomy { "yes" } else { "no" });
    }

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
