//! The project file: lines, their audio by content hash, and one rig.
//!
//! JSON with `format`, `version` and a migration from every earlier version. A file from a newer
//! Lipwright is refused with words that say so, never half read. Fields that this version does not
//! know, at the top and in each line, are kept and written back.

mod audio_ref;

pub use audio_ref::{AudioRef, AudioRefError, ContentHash};

use crate::line::Line;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// The value of a project file's `format` field.
pub const FORMAT: &str = "lipwright-project";

/// The version this code writes; it reads this and every earlier one.
pub const VERSION: u64 = 3;

/// Everything a person is working on: one head, and the lines it will speak.
///
/// ```
/// use lipwright_core::project::Project;
///
/// let project = Project::new("Harbour museum");
/// let text = project.to_json();
/// assert_eq!(Project::from_json(&text).expect("what was written reads back"), project);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Project {
    format: String,
    version: u64,
    /// The project's name, as a person gave it.
    pub name: String,
    /// The head, as the rig room's own JSON; `null` means the demonstration head.
    #[serde(default, skip_serializing_if = "Value::is_null")]
    pub rig: Value,
    /// The lines, in the person's order.
    pub lines: Vec<ProjectLine>,
    /// Fields of other versions, kept as they are.
    #[serde(flatten)]
    other: Map<String, Value>,
}

/// One line of a project.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProjectLine {
    /// The line's name, as a person gave it.
    pub name: String,
    /// Which recording it is.
    pub audio: AudioRef,
    /// The script, as typed; empty where there is none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub script: String,
    /// Segments and words, with every hand edit.
    pub performance: Line,
    /// Fields of other versions, kept as they are.
    #[serde(flatten)]
    other: Map<String, Value>,
}

/// Why a project file was refused.
#[derive(Debug, thiserror::Error)]
pub enum ProjectError {
    /// Not JSON, or JSON of another shape.
    #[error("project file: {0}; it may be cut short or edited by hand: restore an earlier copy")]
    Malformed(#[from] serde_json::Error),
    /// JSON, but some other kind of file.
    #[error(
        "not a project file: its \"format\" is {found}, expected \"{FORMAT}\"; open it where that format belongs"
    )]
    OtherFormat {
        /// What the field holds.
        found: Value,
    },
    /// Written by a newer Lipwright.
    #[error(
        "project version {found} is newer than this Lipwright, which reads up to {VERSION}; update Lipwright"
    )]
    Newer {
        /// The file's version.
        found: u64,
    },
    /// The version is missing or not a whole number.
    #[error("project file: \"version\" is {found}, expected a whole number from 1 to {VERSION}")]
    Version {
        /// What the field holds.
        found: Value,
    },
}

impl Project {
    /// An empty project on the demonstration head.
    #[must_use]
    pub fn new(name: impl Into<String>) -> Self {
        Self {
            format: FORMAT.to_owned(),
            version: VERSION,
            name: name.into(),
            rig: Value::Null,
            lines: Vec::new(),
            other: Map::new(),
        }
    }

    /// Reads a project file of any version up to [`VERSION`].
    ///
    /// # Errors
    /// What is wrong and what to do, by [`ProjectError`].
    pub fn from_json(text: &str) -> Result<Self, ProjectError> {
        let value: Value = serde_json::from_str(text.trim_start_matches('\u{feff}'))?;
        let field = |name: &str| value.get(name).cloned().unwrap_or(Value::Null);
        let format = field("format");
        if format != FORMAT {
            return Err(ProjectError::OtherFormat { found: format });
        }
        let found = field("version");
        let version = found.as_u64().filter(|v| *v > 0).ok_or(ProjectError::Version { found })?;
        if version > VERSION {
            return Err(ProjectError::Newer { found: version });
        }
        Ok(serde_json::from_value(migrate(value, version))?)
    }

    /// The file's text: indented JSON that [`Project::from_json`] reads back to an equal value.
    #[must_use]
    pub fn to_json(&self) -> String {
        serde_json::to_string_pretty(self).expect("a project holds only finite numbers and text")
    }
}

impl ProjectLine {
    /// A line of a project.
    #[must_use]
    pub fn new(name: impl Into<String>, audio: AudioRef, script: impl Into<String>, line: Line) -> Self {
        Self { name: name.into(), audio, script: script.into(), performance: line, other: Map::new() }
    }
}

/// Lifts an older file to the present version, one version at a time.
///
/// Version 2 has markers and locked segments in its lines, version 3 has events (blinks and turns of the
/// head) and held segments; without them each reads as the one before does. A sample of each old version
/// stands among the tests.
fn migrate(mut value: Value, from: u64) -> Value {
    debug_assert!(from <= VERSION);
    value["version"] = VERSION.into();
    value
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn sample() -> Project {
        let mut project = Project::new("Harbour museum");
        let audio = AudioRef::of("welcome.wav", b"not really a wav", Seconds::new(2.0));
        let line = Line::silent(Seconds::new(2.0)).expect("valid");
        project.lines.push(ProjectLine::new(
            "Welcome",
            audio.embed(b"not really a wav"),
            "Mind the step.",
            line,
        ));
        project
    }

    #[test]
    fn writes_and_reads_back_the_same() {
        let project = sample();
        assert_eq!(Project::from_json(&project.to_json()).expect("reads back"), project);
    }

    #[test]
    fn unknown_fields_survive() {
        let mut value: Value = serde_json::from_str(&sample().to_json()).expect("json");
        value["colour"] = "brass".into();
        value["lines"][0]["mood"] = "gruff".into();
        let kept = Project::from_json(&value.to_string()).expect("reads").to_json();
        assert!(kept.contains("brass") && kept.contains("gruff"));
    }

    #[test]
    fn refuses_with_words_that_help() {
        let text = sample().to_json();
        let newer = text.replacen("\"version\": 3", "\"version\": 99", 1);
        assert!(Project::from_json(&newer).expect_err("newer").to_string().contains("update Lipwright"));
        let other = text.replacen(FORMAT, "spreadsheet", 1);
        assert!(Project::from_json(&other).expect_err("other").to_string().contains("not a project file"));
        for bad in ["", "{", "[]", "null", "{\"format\":\"lipwright-project\",\"version\":-1}"] {
            assert!(Project::from_json(bad).is_err(), "{bad}");
        }
        let cut = &text[..text.len() / 2];
        assert!(matches!(Project::from_json(cut), Err(ProjectError::Malformed(_))));
    }

    #[test]
    fn version_1_is_lifted_and_loses_nothing() {
        let old = r#"{"format": "lipwright-project", "version": 1, "name": "Harbour museum", "colour": "brass",
            "lines": [{"name": "Welcome", "audio": AUDIO, "script": "Mind the step.", "mood": "gruff",
                "performance": {"duration_s": 2.0, "segments": [
                    {"start_s": 0.0, "end_s": 0.5, "shape": "rest", "confidence": 0.9, "strength": 1.0},
                    {"start_s": 0.5, "end_s": 2.0, "shape": "open", "confidence": 1.0, "strength": 1.2, "by_hand": true}
                ]}}]}"#;
        let audio = serde_json::to_string(&sample().lines[0].audio).expect("serialises");
        let project = Project::from_json(&old.replace("AUDIO", &audio)).expect("reads version 1");
        let line = &project.lines[0].performance;
        assert!(line.segments()[1].by_hand && !line.segments()[1].locked && line.markers().is_empty());
        let text = project.to_json();
        assert!(text.contains("\"version\": 3") && text.contains("brass") && text.contains("gruff"));
        assert_eq!(Project::from_json(&text).expect("reads back"), project);
    }

    #[test]
    fn version_2_is_lifted_and_loses_nothing() {
        let old = r#"{"format": "lipwright-project", "version": 2, "name": "Harbour museum", "tide": "low",
            "lines": [{"name": "Welcome", "audio": AUDIO, "script": "Mind the step.",
                "performance": {"duration_s": 2.0, "segments": [
                    {"start_s": 0.0, "end_s": 2.0, "shape": "open", "confidence": 1.0, "strength": 1.2, "locked": true}
                ], "expressions": [{"time_s": 0.5, "expression": "smile", "amount": 0.5}],
                "markers": [{"time_s": 1.0, "name": "bell"}], "wind": 7}}]}"#;
        let audio = serde_json::to_string(&sample().lines[0].audio).expect("serialises");
        let project = Project::from_json(&old.replace("AUDIO", &audio)).expect("reads version 2");
        let line = &project.lines[0].performance;
        assert!(line.segments()[0].locked && !line.segments()[0].held && line.events().is_empty());
        assert_eq!((line.markers().len(), line.expressions().len()), (1, 1));
        let text = project.to_json();
        assert!(text.contains("\"version\": 3") && text.contains("\"tide\"") && text.contains("\"wind\""));
        assert!(!text.contains("events") && !text.contains("held"), "nothing is invented");
        assert_eq!(Project::from_json(&text).expect("reads back"), project);
    }

    #[test]
    fn events_and_held_segments_are_kept() {
        use crate::line::{Document, Event, Turn};
        let mut project = sample();
        let mut doc = Document::new(project.lines[0].performance.clone());
        doc.add_event(Event::blink(Seconds::new(0.5))).expect("inside");
        doc.add_event(Event::turn(Seconds::new(1.0), Turn::default())).expect("inside");
        doc.set_held(0..1, true).expect("there");
        project.lines[0].performance = doc.line().clone();
        let text = project.to_json();
        assert!(text.contains("\"head-turn\"") && text.contains("\"held\": true"));
        assert_eq!(Project::from_json(&text).expect("reads back"), project);
    }

    #[test]
    fn a_broken_line_inside_is_named() {
        let bad = sample().to_json().replace("\"duration_s\": 2.0", "\"duration_s\": 3.0");
        let error = Project::from_json(&bad).expect_err("the segment does not cover the line");
        assert!(error.to_string().contains("must end where the line ends"), "{error}");
    }

    #[test]
    fn deep_nesting_is_an_error_not_a_crash() {
        let deep = "[".repeat(100_000);
        assert!(Project::from_json(&deep).is_err());
    }
}
