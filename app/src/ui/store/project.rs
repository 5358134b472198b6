//! Files in and out: recordings, rigs, projects.

use super::*;

impl Store {
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

    pub(super) fn take_bytes(self, name: String, bytes: Vec<u8>) {
        let text = bytes.iter().find(|b| !b.is_ascii_whitespace()) == Some(&b'{') || name.ends_with(".json");
        if text {
            let Ok(json) = String::from_utf8(bytes) else {
                return self.fail(format!("{name} is not UTF-8 text; save it as UTF-8 and open it again"));
            };
            let rig = serde_json::from_str::<serde_json::Value>(&json).ok();
            let servos = rig.is_some_and(|v| v.get("servos").is_some() && v.get("mechanisms").is_some());
            if servos {
                match Rig::from_json(&json) {
                    Ok(rig) => self.set_rig(&rig),
                    Err(RigError::Invalid(faults)) => self.lay_out_faulty(&name, &json, faults.len()),
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

    pub(super) fn load_project(self, name: &str, json: &str) {
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
}
