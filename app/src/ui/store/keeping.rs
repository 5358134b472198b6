//! Keeping the project in the browser: written within a second after an edit, one whole state at a
//! time, with earlier states to go back to.

use super::hashes::Hashes;
use super::*;
use crate::editor::dub::Other;
use crate::editor::keeping::{Entry, KeptLine, KeptOrigin, KeptOther, KeptRig, KeptState, plan};
use crate::web::alone::Alone;
use crate::web::clock::{Within, sleep};
use crate::web::database::{Change, Database};
use crate::web::room;
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

/// Who keeps the project.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Standing {
    /// Not known yet.
    #[default]
    Starting,
    /// This tab.
    Here,
    /// Another tab: what is changed here is not kept.
    Elsewhere,
    /// Nobody; the browser's reason.
    Refused(String),
}

/// The keeping's part of the store. A cheap handle.
#[derive(Clone, Copy)]
pub struct Keeping {
    /// Who keeps the project.
    pub standing: RwSignal<Standing>,
    /// The kept states, oldest first.
    pub entries: RwSignal<Vec<Entry>>,
    /// The earlier state that is being looked at.
    pub looking: RwSignal<Option<u32>>,
    shelf: StoredValue<Rc<Shelf>, LocalStorage>,
}

/// What only the browser's thread can hold.
#[derive(Default)]
struct Shelf {
    alone: Alone,
    database: RefCell<Option<Database>>,
    timer: std::cell::OnceCell<Within>,
    /// Something is not kept yet.
    dirty: Cell<bool>,
    writing: Cell<bool>,
    /// What was done last.
    what: RefCell<String>,
    /// Recordings that are stored.
    stored: RefCell<BTreeSet<String>>,
    hashes: Rc<Hashes>,
    /// Recordings whose edits came from an earlier version's storage.
    legacy: RefCell<Vec<ContentHash>>,
}

/// All that is to be kept, and the recordings that belong to it by their hashes.
type Whole = (KeptState, BTreeMap<String, Shared<Vec<u8>>>);

/// A recording whose hash is not known yet.
struct Unhashed(Shared<Vec<u8>>);

/// An edit is written this many ms after it was made: with the writing itself, within a second.
const WITHIN: i32 = 400;

impl Keeping {
    pub(super) fn new() -> Self {
        Self {
            standing: RwSignal::default(),
            entries: RwSignal::default(),
            looking: RwSignal::new(None),
            shelf: StoredValue::new_local(Rc::default()),
        }
    }

    fn shelf(&self) -> Rc<Shelf> {
        self.shelf.get_value()
    }

    /// The hashes of the recordings in the page's memory.
    pub(super) fn hashes(&self) -> Rc<Hashes> {
        Rc::clone(&self.shelf().hashes)
    }
}

/// Shows on the document's body whether all is kept, for whoever looks from outside.
fn mark(kept: bool) {
    if let Some(body) = document().body() {
        let _ = body.set_attribute("data-kept", if kept { "yes" } else { "no" });
    }
}

/// True once the program has fallen over in the middle of something (boot.js says so): what is in its
/// memory may be half done, and must not take the place of what is kept.
fn stopped() -> bool {
    document().body().is_some_and(|body| body.has_attribute("data-stopped"))
}

impl Store {
    /// Brings the project back as it was left, or begins with the demonstration.
    pub fn begin(self) {
        let shelf = self.keeping.shelf();
        // The cell is fresh.
        let _ = shelf.timer.set(Within::new(WITHIN, move || self.keep_now()));
        leptos::task::spawn_local(async move {
            match Database::open().await {
                Ok(database) => {
                    *shelf.database.borrow_mut() = Some(database);
                    shelf.alone.on_request(move || self.hand_over());
                    let mine = shelf.alone.take(false, move || self.robbed()).await;
                    self.keeping.standing.set(if mine { Standing::Here } else { Standing::Elsewhere });
                    self.bring_latest_back().await;
                }
                Err(message) => {
                    self.keeping.standing.set(Standing::Refused(message));
                    self.open(0);
                }
            }
        });
    }

    async fn bring_latest_back(self) {
        let shelf = self.keeping.shelf();
        let Some(database) = shelf.database.borrow().clone() else { return };
        let mut entries: Vec<Entry> = match database.entries().await {
            Ok(texts) => texts.iter().filter_map(|t| serde_json::from_str(t).ok()).collect(),
            Err(message) => {
                self.open(0);
                return self.fail(format!("What this browser kept could not be read: {message}"));
            }
        };
        entries.sort_by_key(|e| e.id);
        *shelf.stored.borrow_mut() = entries.iter().flat_map(|e| e.recordings.clone()).collect();
        self.keeping.entries.set(entries.clone());
        let mut trouble = None;
        for entry in entries.iter().rev() {
            match self.take_up(&database, entry.id).await {
                Ok(()) => {
                    if let Some(message) = trouble {
                        self.fail(format!(
                            "The newest kept state could not be read ({message}); this is the one before it: {}.",
                            entry.what
                        ));
                    }
                    return mark(true);
                }
                Err(message) => trouble = trouble.or(Some(message)),
            }
        }
        self.open(0);
        if let Some(message) = trouble {
            self.fail(format!("What this browser kept could not be read: {message}"));
        }
    }

    /// Puts a kept state on the desk.
    async fn take_up(self, database: &Database, id: u32) -> Result<(), String> {
        let text = database.state(id).await?.ok_or("the state is not there")?;
        let state = KeptState::from_json(&text)?;
        let mut sounds: BTreeMap<String, Shared<Vec<u8>>> = BTreeMap::new();
        for hash in state.recordings() {
            if let Some(bytes) = database.recording(&hash).await? {
                sounds.insert(hash, Shared::new(bytes));
            }
        }
        let mut missing = Vec::new();
        let mut takes = Vec::new();
        for kept in state.lines {
            let origin = match kept.origin {
                KeptOrigin::Beside(path) => Origin::Beside(path),
                KeptOrigin::Recording(hash) => match sounds.get(&hash) {
                    Some(bytes) => Origin::Bytes(bytes.clone()),
                    None => {
                        missing.push(kept.name);
                        continue;
                    }
                },
            };
            let mut take = Take::new(kept.name, kept.file, origin, kept.script);
            if let Some(line) = kept.line {
                take.edit(line);
            }
            take.others = kept
                .others
                .into_iter()
                .filter_map(|o| {
                    Some(Other { file: o.file, bytes: sounds.get(&o.recording)?.clone(), line: o.line })
                })
                .collect();
            takes.push(take);
        }
        for (hash, bytes) in sounds {
            if let Some(hash) = ContentHash::from_hex(&hash) {
                self.keeping.hashes().note(&bytes, hash);
            }
        }
        self.stop();
        self.cancel_quietly();
        self.lay_out_kept(state.rig);
        self.project.set(state.project);
        let last = takes.len().saturating_sub(1);
        self.takes.set(takes);
        self.unsaved.set(state.unsaved);
        self.open(state.current.min(last));
        if !missing.is_empty() {
            self.fail(format!(
                "The recording of {} is no longer kept in this browser: that line is left out. Open the recording again.",
                missing.join(", ")
            ));
        }
        Ok(())
    }

    /// Has the project kept soon; `what` says what was done.
    pub(super) fn keep_soon(self, what: String) {
        let shelf = self.keeping.shelf();
        *shelf.what.borrow_mut() = what;
        shelf.dirty.set(true);
        mark(false);
        // Whoever changes an earlier state goes on from there.
        self.keeping.looking.set(None);
        if let Some(timer) = shelf.timer.get() {
            timer.ask();
        }
    }

    /// Writes what is not kept yet.
    pub fn keep_now(self) {
        let shelf = self.keeping.shelf();
        if !shelf.dirty.get() || shelf.writing.get() || stopped() {
            return;
        }
        match self.keeping.standing.get_untracked() {
            // Asked again once that is known.
            Standing::Starting => return,
            Standing::Elsewhere => return,
            Standing::Refused(message) => return self.cannot_keep(&message),
            Standing::Here => {}
        }
        let Some(database) = shelf.database.borrow().clone() else { return };
        shelf.writing.set(true);
        leptos::task::spawn_local(async move {
            let outcome = self.write_state(&shelf, &database).await;
            shelf.writing.set(false);
            if let Err(message) = outcome {
                shelf.dirty.set(true);
                return self.cannot_keep(&message);
            }
            if shelf.dirty.get()
                && let Some(timer) = shelf.timer.get()
            {
                timer.ask();
            }
        });
    }

    async fn write_state(self, shelf: &Shelf, database: &Database) -> Result<(), String> {
        // More recordings may come while a hash is waited for; once all are known nothing comes in between.
        let state = loop {
            match self.snapshot(shelf) {
                Ok(state) => break state,
                Err(Unhashed(bytes)) => shelf.hashes.of(&bytes).await,
            };
        };
        // Fallen over meanwhile.
        if stopped() {
            return Ok(());
        }
        let (entry, change) = self.next_state(shelf, state)?;
        shelf.dirty.set(false);
        let gone = (change.old_states.clone(), change.old_recordings.clone());
        database.write(change).await?;
        self.was_kept(shelf, entry, gone);
        Ok(())
    }

    fn next_state(self, shelf: &Shelf, (state, sounds): Whole) -> Result<(Entry, Change), String> {
        let text = state.to_json()?;
        let (entries, what) = (self.keeping.entries.get_untracked(), shelf.what.borrow().clone());
        let entry = Entry {
            id: entries.last().map_or(1, |e| e.id + 1),
            at_ms: js_sys::Date::now(),
            what,
            size: text.len(),
            recordings: state.recordings(),
        };
        let plan = plan(&entries, &entry);
        let stored = shelf.stored.borrow();
        let new = sounds.iter().filter(|(hash, _)| !stored.contains(*hash));
        let change = Change {
            id: entry.id,
            state: text,
            entry: serde_json::to_string(&entry).map_err(|e| e.to_string())?,
            recordings: new
                .map(|(hash, bytes)| Ok((hash.clone(), room::byte_array(bytes.as_slice())?)))
                .collect::<Result<_, String>>()?,
            old_states: plan.states,
            old_recordings: plan.recordings,
        };
        Ok((entry, change))
    }

    fn snapshot(self, shelf: &Shelf) -> Result<Whole, Unhashed> {
        let mut sounds = BTreeMap::new();
        let mut add = |bytes: &Shared<Vec<u8>>| {
            let hash = shelf.hashes.known(bytes).ok_or_else(|| Unhashed(bytes.clone()))?.to_string();
            sounds.insert(hash.clone(), bytes.clone());
            Ok(hash)
        };
        let lines = self.takes.with_untracked(|takes| {
            takes
                .iter()
                .map(|take| {
                    let origin = match &take.origin {
                        Origin::Beside(path) => KeptOrigin::Beside(path.clone()),
                        Origin::Bytes(bytes) => KeptOrigin::Recording(add(bytes)?),
                    };
                    let mut others = Vec::new();
                    for other in &take.others {
                        let recording = add(&other.bytes)?;
                        others.push(KeptOther {
                            file: other.file.clone(),
                            recording,
                            line: other.line.clone(),
                        });
                    }
                    Ok(KeptLine {
                        others,
                        name: take.name.clone(),
                        file: take.file.clone(),
                        origin,
                        script: take.script.clone(),
                        line: take.line().cloned(),
                    })
                })
                .collect::<Result<_, _>>()
        })?;
        shelf.hashes.keep_only(|hash| sounds.contains_key(hash.as_str()));
        let rig = self.desk.draft.with_untracked(|d| KeptRig {
            rig: d.rig().to_json(),
            draft: d.value().clone(),
            sheets: self.desk.sheets.get_untracked(),
        });
        let (project, current) = (self.project.get_untracked(), self.current.get_untracked());
        Ok((KeptState::new(project, lines, rig, current, self.unsaved.get_untracked()), sounds))
    }

    fn was_kept(self, shelf: &Shelf, entry: Entry, (states, recordings): (Vec<u32>, Vec<String>)) {
        self.hands().unkept.set(false);
        shelf.stored.borrow_mut().extend(entry.recordings.iter().cloned());
        shelf.stored.borrow_mut().retain(|r| !recordings.contains(r));
        self.keeping.entries.update(|entries| {
            entries.retain(|e| !states.contains(&e.id));
            entries.push(entry);
        });
        // What an earlier version kept has come over whole.
        for hash in shelf.legacy.take() {
            keep::forget(&hash);
        }
        keep::forget_rig();
        mark(!shelf.dirty.get());
    }

    /// Says once, not after every edit, that nothing is kept.
    fn cannot_keep(self, message: &str) {
        if !self.hands().unkept.replace(true) {
            self.fail(format!(
                "Edits cannot be kept in this browser ({message}); save the project to a file before you leave."
            ));
        }
    }

    /// Remembers that a line's edits came from an earlier version's storage.
    pub(super) fn taken_over(self, hash: ContentHash) {
        self.keeping.shelf().legacy.borrow_mut().push(hash);
    }

    /// True if closing the page would lose something that is kept nowhere.
    pub fn must_ask(self) -> bool {
        let here = self.keeping.standing.get_untracked() == Standing::Here;
        self.hands().unkept.get() || (!here && self.keeping.shelf().dirty.get())
    }

    async fn flush(self) {
        let shelf = self.keeping.shelf();
        self.keep_now();
        for _ in 0..100 {
            if !shelf.writing.get() {
                return;
            }
            sleep(10).await;
        }
    }

    /// Another tab asks for the project: what is not kept yet is written first.
    fn hand_over(self) {
        let shelf = self.keeping.shelf();
        if !shelf.alone.holds() {
            return;
        }
        leptos::task::spawn_local(async move {
            self.flush().await;
            self.keeping.standing.set(Standing::Elsewhere);
            shelf.alone.give_up();
        });
    }

    /// Another tab took the project by force, as this one did not answer.
    fn robbed(self) {
        self.keeping.standing.set(Standing::Elsewhere);
    }

    /// Takes the project over from the tab that keeps it.
    pub fn work_here(self) {
        leptos::task::spawn_local(async move {
            let shelf = self.keeping.shelf();
            shelf.alone.ask_for_it();
            let mut mine = false;
            for _ in 0..20 {
                sleep(100).await;
                mine = shelf.alone.take(false, move || self.robbed()).await;
                if mine {
                    break;
                }
            }
            if !mine {
                shelf.alone.take(true, move || self.robbed()).await;
            }
            shelf.dirty.set(false);
            self.keeping.standing.set(Standing::Here);
            self.bring_latest_back().await;
            self.say("The project is kept by this tab now");
        });
    }

    /// Shows an earlier state; nothing is written until it is changed or gone on from.
    pub fn look_at(self, id: u32) {
        leptos::task::spawn_local(async move {
            self.flush().await;
            let newest = self.keeping.entries.with_untracked(|e| e.last().map(|e| e.id));
            let Some(database) = self.keeping.shelf().database.borrow().clone() else { return };
            match self.take_up(&database, id).await {
                Ok(()) => self.keeping.looking.set((newest != Some(id)).then_some(id)),
                Err(message) => self.fail(format!("That state could not be read: {message}")),
            }
        });
    }

    /// Makes the state that is being looked at the present one.
    pub fn go_on_from_here(self) {
        let id = self.keeping.looking.get_untracked();
        let what = self.keeping.entries.with_untracked(|entries| {
            entries.iter().find(|e| Some(e.id) == id).map(|e| e.what.clone()).unwrap_or_default()
        });
        self.keep_soon(format!("went back to: {what}"));
        self.say("You go on from that state; the later ones stay in the history");
    }

    /// Leaves the earlier state for the newest.
    pub fn back_to_newest(self) {
        if let Some(id) = self.keeping.entries.with_untracked(|e| e.last().map(|e| e.id)) {
            self.look_at(id);
        }
    }
}
