//! The rig on the desk: editing, sweeping, comparing, keeping.

use super::*;
use crate::editor::keeping::KeptRig;
use crate::editor::rig::{Entry, RigDraft, RigPage, Sheet, Step, outline};
use crate::work::compare::LineChange;
use lipwright_core::rig::Expression;
use std::collections::BTreeMap;

/// The pose that the pose board edits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chosen {
    /// A mouth shape.
    Shape(MouthShape),
    /// An expression.
    Look(Expression),
}

impl Chosen {
    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shape(s) => s.name(),
            Self::Look(e) => e.name(),
        }
    }

    /// Where the rig file keeps it.
    #[must_use]
    pub fn path(self) -> String {
        match self {
            Self::Shape(s) => format!("poses.{}", s.name()),
            Self::Look(e) => format!("expressions.{}", e.name()),
        }
    }

    /// What it asks of a rig.
    #[must_use]
    pub fn pose(self, rig: &Rig) -> &lipwright_core::rig::ShapePose {
        match self {
            Self::Shape(s) => rig.pose(s),
            Self::Look(e) => rig.expression(e),
        }
    }
}

/// The page's clock, s.
fn seconds_now() -> f64 {
    window().performance().map_or(0.0, |p| p.now() / 1000.0)
}

/// A rig before and after, as their files say them.
#[derive(Clone)]
pub struct TwoRigs {
    /// As it was.
    pub before: Arc<String>,
    /// As it is.
    pub after: Arc<String>,
}

impl TwoRigs {
    /// True if these very two are meant.
    #[must_use]
    pub fn are(&self, before: &Arc<String>, after: &Arc<String>) -> bool {
        Arc::ptr_eq(&self.before, before) && Arc::ptr_eq(&self.after, after)
    }
}

/// State of the rig view. A cheap handle, like the store.
#[derive(Clone, Copy)]
pub struct Desk {
    /// The rig being edited.
    pub draft: RwSignal<RigDraft>,
    /// Which page is open.
    pub page: RwSignal<RigPage>,
    /// Which servo is chosen, by its place in the file.
    pub servo: RwSignal<usize>,
    /// What the sliders ask of the face.
    pub asked: RwSignal<DofValues>,
    /// Which pose is chosen.
    pub pose: RwSignal<Chosen>,
    /// Step of the calibration.
    pub step: RwSignal<Step>,
    /// What was measured, by servo name or `skin: ` and the name of the DOF.
    pub sheets: RwSignal<BTreeMap<String, Sheet>>,
    /// True while the chosen mechanism is moved through its range.
    pub sweeping: RwSignal<bool>,
    /// How far round it is, 0 to 1.
    pub turn: RwSignal<f64>,
    /// When the sweep began, and whether it ends after one round.
    sweep: RwSignal<(f64, bool)>,
    /// The rig that changes are measured against, as its file says it.
    pub before: RwSignal<Arc<String>>,
    /// What the lines come to on two rigs, and which these were.
    pub changes: RwSignal<Option<(TwoRigs, Vec<LineChange>)>>,
    /// The rigs that the worker compares at the moment.
    pub comparing: RwSignal<Option<TwoRigs>>,
    /// What the field with the focus means.
    pub hint: RwSignal<String>,
}

/// Time for one sweep through the range and back, s.
const SWEEP: f64 = 5.0;

impl Desk {
    /// The desk as it was left, or the museum's head.
    pub(super) fn open() -> Self {
        let kept = keep::kept_rig().and_then(|k| Some((Rig::from_json(&k.rig).ok()?, k)));
        let (draft, sheets) = match kept {
            Some((rig, k)) => (RigDraft::resume(rig, k.draft), k.sheets),
            None => (RigDraft::new(Rig::harbourmaster()), BTreeMap::new()),
        };
        let before = Arc::new(draft.rig().to_json());
        let asked = draft.rig().rest();
        Self {
            draft: RwSignal::new(draft),
            page: RwSignal::default(),
            servo: RwSignal::new(0),
            asked: RwSignal::new(asked),
            pose: RwSignal::new(Chosen::Shape(MouthShape::Rest)),
            step: RwSignal::default(),
            sheets: RwSignal::new(sheets),
            sweeping: RwSignal::new(false),
            turn: RwSignal::new(0.0),
            sweep: RwSignal::new((0.0, false)),
            before: RwSignal::new(before),
            changes: RwSignal::new(None),
            comparing: RwSignal::new(None),
            hint: RwSignal::new(String::new()),
        }
    }
}

impl Store {
    /// Runs one editing verb on the draft; where it leaves a good rig, that is in use from now on.
    pub fn rig_edit(self, verb: impl FnOnce(&mut RigDraft) -> Result<bool, String>) {
        let outcome = self.desk.draft.try_update(verb);
        match outcome {
            Some(Ok(true)) => self.rig_changed(),
            Some(Err(message)) => self.say(&message),
            Some(Ok(false)) | None => {}
        }
    }

    /// Writes what was typed into a field of the rig.
    pub fn rig_enter(self, what: &str, path: &str, entry: Entry, text: &str) {
        self.rig_edit(|d| Ok(d.enter(what, path, entry, text)));
    }

    /// Takes the last step of the rig back.
    pub fn rig_undo(self) {
        self.rig_edit(|d| Ok(d.undo()));
    }

    /// Does the last undone step of the rig again.
    pub fn rig_redo(self) {
        self.rig_edit(|d| Ok(d.redo()));
    }

    /// After a step: the good rig goes into use, lines are planned anew, the draft is kept.
    fn rig_changed(self) {
        let rig = self.desk.draft.with_untracked(|d| Arc::clone(d.rig()));
        let new = self.head.with_untracked(|h| !Arc::ptr_eq(&h.rig, &rig));
        if new {
            self.head.set(Head::new(rig));
            self.takes.update(|takes| {
                for take in takes {
                    take.performance = None;
                }
            });
            self.soon();
        }
        let rows = self.desk.draft.with_untracked(|d| outline(d.value()).len());
        if self.desk.servo.get_untracked() >= rows {
            self.desk.servo.set(rows.saturating_sub(1));
        }
        self.unsaved.set(true);
        self.keep_rig();
    }

    /// Has the rig kept, with what was measured.
    pub fn keep_rig(self) {
        let step = self.desk.draft.with_untracked(|d| d.can_undo().map(str::to_owned));
        self.keep_soon(format!("rig: {}", step.unwrap_or_else(|| "as it was".to_owned())));
    }

    /// Lays a rig on the desk as it was kept.
    pub(super) fn lay_out_kept(self, kept: KeptRig) {
        match Rig::from_json(&kept.rig) {
            Ok(rig) => {
                let draft = RigDraft::resume(rig, kept.draft);
                self.desk.before.set(Arc::new(draft.rig().to_json()));
                self.desk.changes.set(None);
                self.head.set(Head::new(Arc::clone(draft.rig())));
                self.desk.draft.set(draft);
                self.desk.sheets.set(kept.sheets);
                self.desk.servo.set(0);
            }
            Err(error) => {
                self.fail(format!("The kept rig could not be used ({error}); the present one stays"))
            }
        }
    }

    /// Takes another rig and plans every line anew for it; undo in the rig view brings the one
    /// before back.
    pub fn set_rig(self, rig: &Rig) {
        self.say(&format!("Rig: {}", rig.name()));
        self.desk.draft.update(|d| d.replace(format!("rig {}", rig.name()), rig));
        self.desk.servo.set(0);
        self.rig_changed();
    }

    /// Lays a project's rig on the desk: its own beginning, with nothing to undo.
    pub(super) fn lay_out(self, rig: Rig) {
        self.desk.before.set(Arc::new(rig.to_json()));
        self.desk.changes.set(None);
        self.desk.draft.set(RigDraft::new(rig));
        self.desk.servo.set(0);
        self.rig_changed();
    }

    /// Lays a rig file with faults on the desk, to be corrected there; the rig before stays in use.
    pub(super) fn lay_out_faulty(self, name: &str, json: &str, faults: usize) {
        let Ok(value) = serde_json::from_str::<serde_json::Value>(json) else { return };
        self.rig_edit(|d| Ok(d.take_up(format!("file {name}"), value)));
        self.show_view(View::Rig);
        let count = if faults == 1 { "one fault".to_owned() } else { format!("{faults} faults") };
        self.fail(format!(
            "{name} has {count}. It lies on the desk to be corrected; until then the rig before stays in use, and Undo takes the file away again."
        ));
    }

    /// Takes one of the heads to start from.
    pub fn set_preset(self, name: &str) {
        if let Some(preset) = Preset::ALL.into_iter().find(|p| p.name() == name) {
            self.set_rig(&preset.rig());
        }
    }

    /// Hands the rig in use out as a file.
    pub fn save_rig(self) {
        let (name, json) =
            self.head.with_untracked(|h| (files::safe_name(h.rig.name()), Arc::clone(&h.json)));
        let name = format!("{name}.rig.json");
        match files::download(&name, "application/json", json.as_bytes()) {
            Ok(()) => self.say(&format!("Saved {name}")),
            Err(message) => self.fail(format!("{name} could not be saved: {message}")),
        }
    }

    /// Starts or ends the sweep of the chosen mechanism.
    pub fn set_sweeping(self, on: bool) {
        self.start_sweep(on, false);
    }

    /// Shows once what the chosen mechanism does; not to those who asked for less motion.
    pub fn sweep_once(self) {
        let calm = window().match_media("(prefers-reduced-motion: reduce)").ok().flatten();
        if calm.is_none_or(|m| !m.matches()) {
            self.start_sweep(true, true);
        }
    }

    fn start_sweep(self, on: bool, once: bool) {
        self.desk.sweep.set((seconds_now(), once));
        self.desk.sweeping.set(on);
        if on && let Some(frame) = self.hands().sweep.get() {
            frame.ask();
        }
    }

    /// One animation frame of the sweep; it ends when its page is left.
    pub(super) fn sweep_frame(self) {
        if !self.desk.sweeping.get_untracked() {
            return;
        }
        let seen =
            self.view.get_untracked() == View::Rig && self.desk.page.get_untracked() == RigPage::Servos;
        let (start, once) = self.desk.sweep.get_untracked();
        let rounds = (seconds_now() - start) / SWEEP;
        if !seen || (once && rounds >= 1.0) {
            return self.desk.sweeping.set(false);
        }
        self.desk.turn.set(rounds.fract());
        if let Some(frame) = self.hands().sweep.get() {
            frame.ask();
        }
    }

    /// Plans every opened line on the rig as it was and as it is.
    pub fn compare(self) {
        if self.hands().pending.get().compare.is_some() {
            return;
        }
        let lines = self.opened_lines();
        let rigs = TwoRigs {
            before: self.desk.before.get_untracked(),
            after: self.head.with_untracked(|h| Arc::clone(&h.json)),
        };
        let (before, after) = (rigs.before.as_ref().clone(), rigs.after.as_ref().clone());
        let settings = self.settings.get_untracked();
        self.desk.comparing.set(Some(rigs));
        let id = self.send(|id| Job::Compare { id, lines, before, after, settings }, &[], &[]);
        self.pending(|p| p.compare = Some(id));
    }

    pub(super) fn compared(self, changes: Vec<LineChange>) {
        let rigs = self.desk.comparing.get_untracked();
        self.desk.comparing.set(None);
        self.desk.changes.set(rigs.map(|rigs| (rigs, changes)));
    }

    /// From now on changes are measured against the rig as it is.
    pub fn compare_from_here(self) {
        self.desk.before.set(self.head.with_untracked(|h| Arc::clone(&h.json)));
        self.desk.changes.set(None);
    }

    /// Shows the page on which a field stands, and puts the focus there.
    pub fn go_to_field(self, path: &str) {
        let page = RigPage::of_path(path);
        let place = |list: &str| {
            let rest = path.strip_prefix(list)?.strip_prefix('[')?;
            rest.split(']').next()?.parse::<usize>().ok()
        };
        let rows = self.desk.draft.with_untracked(|d| outline(d.value()));
        let servo = place("servos")
            .or_else(|| {
                place("mechanisms")
                    .and_then(|m| rows.iter().find(|r| r.mechanism == Some(m)).map(|r| r.servo))
            })
            .or_else(|| {
                let dof = place("dofs")?;
                rows.iter().find(|r| r.drives.iter().any(|d| d.1 == Some(dof))).map(|r| r.servo)
            });
        if let Some(servo) = servo {
            self.desk.servo.set(servo);
        }
        if page == RigPage::Poses {
            let name = path.split('.').nth(1).unwrap_or_default();
            let shape = MouthShape::ALL.into_iter().find(|s| s.name() == name).map(Chosen::Shape);
            let look = Expression::ALL.into_iter().find(|e| e.name() == name).map(Chosen::Look);
            let chosen = if path.starts_with("poses") { shape } else { look };
            self.desk.pose.set(chosen.unwrap_or(self.desk.pose.get_untracked()));
        }
        self.desk.page.set(page);
        let selector = format!("[data-path='{path}'] input, [data-path='{path}'] select");
        // The page must be there before its field can have the focus.
        request_animation_frame(move || crate::ui::keys::focus(&selector));
    }
}
