//! What can be wrong with a track.

use super::Verdict;

/// Why a track could not be built, written or read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TrackError {
    /// A setting or value that no track can hold.
    #[error("{field}: {problem}; {fix}")]
    Field {
        /// Which field, servo or row.
        field: String,
        /// What is wrong.
        problem: String,
        /// What to do.
        fix: &'static str,
    },
    /// The text is no JSON, or its fields have the wrong kind.
    #[error("the track is not readable at line {line}, column {column}: {reason}; export it again")]
    Json {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What is wrong.
        reason: String,
    },
    /// The JSON is something else than a track.
    #[error(
        "format: the file says {found}, not \"lipwright-track\"; choose a servo track (a rig or project is another file)"
    )]
    NotATrack {
        /// What stands in its `format` field.
        found: String,
    },
    /// The file was written by a later Lipwright.
    #[error(
        "version: the track has version {found}, this Lipwright reads up to {supported}; use a newer Lipwright"
    )]
    Newer {
        /// Version in the file.
        found: u64,
        /// Newest version this build reads.
        supported: u64,
    },
    /// The text is no RFC 4180 table of the expected form.
    #[error("the table is not readable at line {line}: {problem}; {fix}")]
    Csv {
        /// Line, from 1.
        line: usize,
        /// What is wrong.
        problem: String,
        /// What to do.
        fix: &'static str,
    },
}

impl TrackError {
    pub(super) fn field(field: impl Into<String>, problem: impl Into<String>, fix: &'static str) -> Self {
        Self::Field { field: field.into(), problem: problem.into(), fix }
    }
}

/// Why an export was not done.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ExportError {
    /// What was written did not read back at all.
    #[error("the written track does not read back: {0}")]
    Unreadable(#[from] TrackError),
    /// What was written reads back as something else.
    #[error("the written track reads back differently; nothing was exported, report this as a fault")]
    Differs,
    /// The track breaks limits of the rig.
    #[error("the track breaks limits of the rig, so nothing was exported:\n{0}")]
    Breaches(Verdict),
}
