//! The whole project as it is kept: everything but the recordings' bytes, which lie beside it by
//! their content hash.

use crate::editor::rig::Sheet;
use lipwright_core::line::Line;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;

/// The form this program writes; it reads this and every earlier one.
const VERSION: u32 = 1;

/// One state of the project.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KeptState {
    version: u32,
    /// Name of the project.
    pub project: String,
    /// The lines, in the person's order.
    pub lines: Vec<KeptLine>,
    /// The head as it is being worked on.
    pub rig: KeptRig,
    /// Which line was open.
    pub current: usize,
    /// True if it differs from the project's file.
    pub unsaved: bool,
}

/// Where a line's recording lies.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum KeptOrigin {
    /// A file beside the page.
    Beside(String),
    /// Among the kept recordings, by its SHA-256.
    Recording(String),
}

/// One line of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KeptLine {
    /// Name of the line.
    pub name: String,
    /// File name of the recording.
    pub file: String,
    /// Where the recording lies.
    pub origin: KeptOrigin,
    /// The script.
    pub script: String,
    /// Segments and words; absent until the line was first heard.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<Line>,
    /// Recordings of the same line that are not in use.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub others: Vec<KeptOther>,
}

/// A recording of a line that is not in use.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KeptOther {
    /// File name.
    pub file: String,
    /// Its SHA-256.
    pub recording: String,
    /// What was heard in it and corrected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<Line>,
}

/// The head as it is being worked on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KeptRig {
    /// The rig in use, as its file says it.
    pub rig: String,
    /// The draft, which may be wrong.
    pub draft: Value,
    /// What was measured, by servo or part of the face.
    pub sheets: BTreeMap<String, Sheet>,
}

impl KeptState {
    /// A state of this form.
    #[must_use]
    pub fn new(project: String, lines: Vec<KeptLine>, rig: KeptRig, current: usize, unsaved: bool) -> Self {
        Self { version: VERSION, project, lines, rig, current, unsaved }
    }

    /// The recordings it needs, by hash.
    #[must_use]
    pub fn recordings(&self) -> Vec<String> {
        let mut found: Vec<String> = self
            .lines
            .iter()
            .filter_map(|l| match &l.origin {
                KeptOrigin::Recording(hash) => Some(hash.clone()),
                KeptOrigin::Beside(_) => None,
            })
            .chain(self.lines.iter().flat_map(|l| l.others.iter().map(|o| o.recording.clone())))
            .collect();
        found.sort_unstable();
        found.dedup();
        found
    }

    /// As text.
    ///
    /// # Errors
    /// What cannot be written; a state holds only text and finite numbers, so this does not happen.
    pub fn to_json(&self) -> Result<String, String> {
        serde_json::to_string(self).map_err(|e| e.to_string())
    }

    /// Reads a state.
    ///
    /// # Errors
    /// What is wrong with it, or that a newer Lipwright wrote it.
    pub fn from_json(text: &str) -> Result<Self, String> {
        let state: Self = serde_json::from_str(text).map_err(|e| e.to_string())?;
        if state.version > VERSION {
            return Err(format!(
                "it was kept by a newer Lipwright (form {}, this one reads up to {VERSION}); reload the page to get that one",
                state.version
            ));
        }
        Ok(state)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::units::Seconds;

    fn state() -> KeptState {
        let line = |origin, line| KeptLine {
            name: "Welcome".into(),
            file: "welcome.wav".into(),
            origin,
            script: "Mind the mud.".into(),
            line,
            others: Vec::new(),
        };
        let rig = KeptRig { rig: "{}".into(), draft: Value::Null, sheets: BTreeMap::new() };
        let mut lines = vec![
            line(KeptOrigin::Beside("sample-audio/welcome.wav".into()), None),
            line(KeptOrigin::Recording("b".into()), Line::silent(Seconds::new(1.0)).ok()),
            line(KeptOrigin::Recording("a".into()), None),
            line(KeptOrigin::Recording("b".into()), None),
        ];
        lines[0].others.push(KeptOther { file: "again.wav".into(), recording: "c".into(), line: None });
        KeptState::new("Harbour museum".into(), lines, rig, 1, true)
    }

    #[test]
    fn a_state_reads_back_the_same_and_knows_its_recordings() {
        let state = state();
        let text = state.to_json().expect("text");
        assert_eq!(KeptState::from_json(&text), Ok(state.clone()));
        assert_eq!(state.recordings(), ["a", "b", "c"], "each once");
    }

    #[test]
    fn what_a_newer_program_kept_is_left_alone() {
        let text = state().to_json().expect("text").replacen("\"version\":1", "\"version\":9", 1);
        let error = KeptState::from_json(&text).expect_err("newer");
        assert!(error.contains("newer Lipwright"), "{error}");
        assert!(KeptState::from_json("{\"version\":1}").is_err());
    }
}
