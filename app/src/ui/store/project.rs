//! Files in and out: recordings, rigs, projects.

use super::*;
use crate::editor::arrivals;
use wasm_bindgen::JsCast;

impl Store {
    /// Lets the person choose files.
    pub fn choose_files(self) {
        if !picker::can_open() {
            let input = document().get_element_by_id("file");
            if let Some(input) = input.and_then(|e| e.dyn_into::<web_sys::HtmlElement>().ok()) {
                input.click();
            }
            return;
        }
        leptos::task::spawn_local(async move {
            match picker::open().await {
                Ok(chosen) => {
                    let only = if let [(_, place)] = chosen.as_slice() { Some(place.clone()) } else { None };
                    self.take_all(chosen.into_iter().map(|(file, _)| file).collect(), only).await;
                }
                Err(message) => self.fail(format!("No file could be opened: {message}")),
            }
        });
    }

    /// Takes files: projects, rigs, recordings that become lines, scripts.
    pub fn take_files(self, files: Vec<web_sys::File>) {
        leptos::task::spawn_local(self.take_all(files, None));
    }

    async fn take_all(self, files: Vec<web_sys::File>, place: Option<Place>) {
        let mut read = Vec::new();
        for file in files {
            let name = file.name();
            match files::read(&file).await {
                Ok((bytes, array)) => read.push((arrivals::kind(&name, &bytes), name, bytes, array)),
                Err(message) => self.fail(format!("{name} could not be read: {message}")),
            }
        }
        let named: Vec<_> = read.iter().map(|(kind, name, ..)| (name.clone(), *kind)).collect();
        let originals: Vec<_> = read.iter().map(|(.., array)| array.clone()).collect();
        let known: Vec<String> = self.takes.with_untracked(|t| t.iter().map(|t| t.file.clone()).collect());
        let open = self.current.get_untracked();
        let sorted = arrivals::sort(&named, &known, (open < known.len()).then_some(open));
        let mut taken = |at: usize| (read[at].1.clone(), std::mem::take(&mut read[at].2));
        for at in sorted.documents {
            let (name, bytes) = taken(at);
            self.take_document(&name, bytes, place.clone());
        }
        let (mut fresh, mut arrays) = (Vec::new(), Vec::new());
        for (sound, script) in sorted.lines {
            let script = script.map(&mut taken).and_then(|(name, bytes)| self.script_of(&name, bytes));
            let (name, bytes) = taken(sound);
            let bytes = Shared::new(bytes);
            arrays.push((bytes.clone(), sound));
            let title = name.rsplit_once('.').map_or(name.as_str(), |(stem, _)| stem).to_owned();
            let origin = Origin::Bytes(bytes);
            fresh.push(Take::new(title, name, origin, script.unwrap_or_default()));
        }
        // The first of them is opened at once.
        if let Some((bytes, at)) = arrays.into_iter().next() {
            *self.hands().original.borrow_mut() = Some((bytes, originals[at].clone()));
        }
        self.bring_in(fresh);
        for (script, line) in sorted.scripts {
            let (name, bytes) = taken(script);
            if let Some(text) = self.script_of(&name, bytes) {
                self.give_script(line, text);
            }
        }
        if let Some(stray) = sorted.strays.first() {
            self.fail(format!(
                "{}: there is no recording of that name; bring the recording in first, or together with its script",
                named[*stray].0
            ));
        }
    }

    fn script_of(self, name: &str, bytes: Vec<u8>) -> Option<String> {
        match String::from_utf8(bytes) {
            Ok(text) => Some(text.trim_start_matches('\u{feff}').trim().to_owned()),
            Err(_) => {
                self.fail(format!("{name} is not UTF-8 text; save it as UTF-8 and open it again"));
                None
            }
        }
    }

    /// Gives a line another script; the line that is open is listened to again.
    fn give_script(self, index: usize, text: String) {
        self.takes.update(|takes| {
            if let Some(take) = takes.get_mut(index) {
                take.script = text;
            }
        });
        self.unsaved.set(true);
        self.keep_soon("script brought in".to_owned());
        if index == self.current.get_untracked() {
            self.listen();
        } else {
            self.say("The script is there; open the line and choose Script… to fit its words");
        }
    }

    /// Adds lines and opens the first of them.
    pub(super) fn bring_in(self, fresh: Vec<Take>) {
        if fresh.is_empty() {
            return;
        }
        picker::ask_to_stay();
        let index = self.takes.with_untracked(Vec::len);
        let before = self.current.get_untracked();
        let count = fresh.len();
        self.takes.update(|takes| takes.extend(fresh));
        self.pending(|p| p.back = Some((index, before)));
        self.open(index);
        if count > 1 {
            self.say(&format!("{count} lines brought in"));
        }
    }

    fn take_document(self, name: &str, bytes: Vec<u8>, place: Option<Place>) {
        let Ok(json) = String::from_utf8(bytes) else {
            return self.fail(format!("{name} is not UTF-8 text; save it as UTF-8 and open it again"));
        };
        let rig = serde_json::from_str::<serde_json::Value>(&json).ok();
        let servos = rig.is_some_and(|v| v.get("servos").is_some() && v.get("mechanisms").is_some());
        if !servos {
            if self.load_project(name, &json) {
                self.set_place(place);
            }
            return;
        }
        match Rig::from_json(&json) {
            Ok(rig) => self.set_rig(&rig),
            Err(RigError::Invalid(faults)) => self.lay_out_faulty(name, &json, faults.len()),
            Err(error) => self.fail(format!("{name} is no rig that can be used: {error}")),
        }
    }

    fn set_place(self, place: Option<Place>) {
        self.place.set(place.as_ref().map(Place::name));
        *self.hands().place.borrow_mut() = place;
    }

    /// True if the project is open now.
    pub(super) fn load_project(self, name: &str, json: &str) -> bool {
        let refuse = |message: String| {
            self.fail(format!("{name}: {message}"));
            false
        };
        let project = match Project::from_json(json) {
            Ok(project) => project,
            Err(error) => return refuse(error.to_string()),
        };
        let mut takes = Vec::new();
        for line in &project.lines {
            let bytes = match line.audio.embedded() {
                Ok(Some(bytes)) => bytes,
                Ok(None) => {
                    return refuse(format!(
                        "the line '{}' names the recording {} but does not carry it; open that recording first",
                        line.name, line.audio.name
                    ));
                }
                Err(error) => return refuse(error.to_string()),
            };
            let origin = Origin::Bytes(Shared::new(bytes));
            let mut take = Take::new(line.name.clone(), line.audio.name.clone(), origin, line.script.clone());
            take.edit(line.performance.clone());
            takes.push(take);
        }
        if takes.is_empty() {
            return refuse("the project holds no lines; open a recording to make one".to_owned());
        }
        if !project.rig.is_null() {
            match Rig::from_json(&project.rig.to_string()) {
                Ok(rig) => self.lay_out(rig),
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
        self.set_place(None);
        self.keep_soon(format!("{name}: opened"));
        true
    }

    /// The project as its file says it, and how many lines it leaves out.
    fn project_file(self) -> (Project, usize) {
        let mut project = Project::new(self.project.get_untracked());
        project.rig = serde_json::from_str(&self.head.get_untracked().json).unwrap_or_default();
        let mut left = 0;
        self.takes.with_untracked(|takes| {
            for take in takes {
                // A line that nobody has opened yet may be there whole, too: kept, or from a file.
                match (&take.origin, take.line()) {
                    (Origin::Bytes(bytes), Some(line)) => {
                        let audio = AudioRef::of(take.file.clone(), bytes, line.duration()).embed(bytes);
                        let (name, script) = (take.name.clone(), take.script.clone());
                        project.lines.push(ProjectLine::new(name, audio, script, line.clone()));
                    }
                    _ => left += 1,
                }
            }
        });
        (project, left)
    }

    /// Writes the project with its recordings into its file: the one it was saved into before, where
    /// the browser can do that, one that the person points at, or a download.
    pub fn save_project(self) {
        let place = self.hands().place.borrow().clone();
        self.save_into(place);
    }

    /// Writes the project into another file than before.
    pub fn save_project_as(self) {
        self.save_into(None);
    }

    fn save_into(self, place: Option<Place>) {
        let (project, left) = self.project_file();
        let (lines, json) = (project.lines.len(), project.to_json());
        let name = format!("{}.lipwright.json", files::safe_name(&project.name));
        let saved = move |name: &str| {
            self.unsaved.set(false);
            let more =
                if left > 0 { format!(", {left} not listened to yet left out") } else { String::new() };
            self.say(&format!("Saved {name}: {lines} line{}{more}", if lines == 1 { "" } else { "s" }));
        };
        if place.is_none() && !picker::can_save() {
            return match files::download(&name, "application/json", json.as_bytes()) {
                Ok(()) => saved(&name),
                Err(message) => self.fail(format!("{name} could not be saved: {message}")),
            };
        }
        leptos::task::spawn_local(async move {
            let chosen = match place {
                Some(place) => Ok(Some(place)),
                None => picker::save_as(&name).await,
            };
            let written = match chosen {
                Ok(None) => return,
                Ok(Some(place)) => place.write(json.as_bytes()).await.map(|()| place),
                Err(message) => Err(message),
            };
            match written {
                Ok(place) => {
                    saved(&place.name());
                    self.set_place(Some(place));
                }
                Err(message) => self.fail(format!(
                    "{name} could not be saved ({message}); your work is still here: save it into another file (Shift Ctrl S)"
                )),
            }
        });
    }

    /// Names the project.
    pub fn name_project(self, name: &str) {
        let name = name.trim();
        if !name.is_empty() {
            self.project.set(name.to_owned());
            self.project_changed(format!("project named {name}"));
        }
    }

    /// Names a line.
    pub fn name_line(self, index: usize, name: &str) {
        let name = name.trim().to_owned();
        if !name.is_empty() {
            self.takes.update(|takes| {
                if let Some(take) = takes.get_mut(index) {
                    take.name.clone_from(&name);
                }
            });
            self.project_changed(format!("line named {name}"));
        }
    }

    /// Moves a line to another place in the order.
    pub fn move_line(self, from: usize, to: usize) {
        let count = self.takes.with_untracked(Vec::len);
        if from >= count || to >= count || from == to {
            return;
        }
        self.settle();
        let current = self.current.get_untracked();
        self.takes.update(|takes| {
            let take = takes.remove(from);
            takes.insert(to, take);
        });
        self.current.set(moved(current, from, to));
        self.project_changed("order of the lines".to_owned());
    }

    /// Takes a line out of the project; the history brings it back.
    pub fn remove_line(self, index: usize) {
        let count = self.takes.with_untracked(Vec::len);
        if index >= count {
            return;
        }
        self.settle();
        let mut name = String::new();
        self.takes.update(|takes| name = takes.remove(index).name);
        let current = self.current.get_untracked();
        self.project_changed(format!("{name}: taken out"));
        self.say(&format!("{name} is taken out; Earlier states brings it back"));
        if current == index {
            self.open(current.min(count.saturating_sub(2)));
        } else if index < current {
            self.current.set(current - 1);
        }
    }

    /// Begins a project without lines, on the same head; the history brings the old one back.
    pub fn new_project(self) {
        self.stop();
        self.cancel_quietly();
        self.phase.set(Phase::Ready);
        self.hands().player.unload();
        self.takes.set(Vec::new());
        self.current.set(0);
        self.project.set("Untitled".to_owned());
        self.set_place(None);
        self.project_changed("new project".to_owned());
        self.dialog.set(Dialog::None);
    }

    fn project_changed(self, what: String) {
        self.unsaved.set(true);
        self.keep_soon(what);
    }

    /// Work under way is for lines by their place; before places change, it is called off and what
    /// the open line still needs is asked for again.
    fn settle(self) {
        if self.hands().pending.get().busy() {
            self.cancel_quietly();
            self.phase.set(Phase::Ready);
            self.soon();
        }
    }
}

/// Where the line at `at` stands after one moved `from` a place `to` another.
fn moved(at: usize, from: usize, to: usize) -> usize {
    if at == from {
        to
    } else if from < at && at <= to {
        at - 1
    } else if to <= at && at < from {
        at + 1
    } else {
        at
    }
}

#[cfg(test)]
mod tests {
    use super::moved;

    #[test]
    fn the_open_line_stays_the_open_line() {
        for from in 0..5 {
            for to in 0..5 {
                let mut order: Vec<usize> = (0..5).collect();
                let taken = order.remove(from);
                order.insert(to, taken);
                for at in 0..5 {
                    assert_eq!(order[moved(at, from, to)], at, "{at}: {from} to {to}");
                }
            }
        }
    }
}
