//! What page and worker say to each other. Text travels as JSON; long rows of numbers travel
//! beside it as typed arrays.

use super::compare::{LineChange, LineOf};
use crate::editor::PerformanceHead;
use lipwright_core::line::Segment;
use lipwright_core::motion::PlanSettings;
use lipwright_core::recognise::Hearing;
use lipwright_core::units::Seconds;
use serde::{Deserialize, Serialize};

/// The form of a servo track.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum TrackKind {
    /// JSON, a pulse for every frame.
    Json,
    /// JSON, sparse knots.
    JsonKeyed,
    /// CSV, a row for every frame.
    Csv,
}

/// What was read from a sound file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Sound {
    /// The file in a few words: rate, channels, bits.
    pub source: String,
    /// What was odd about it.
    pub notes: Vec<String>,
}

/// Work for the worker. `id` comes back with every answer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Job {
    /// Read a WAV (its bytes travel beside); answered by [`Answer::Read`].
    Read {
        /// Number of the job.
        id: u32,
    },
    /// Listen to 16 kHz samples (beside); answered by [`Answer::Heard`].
    Listen {
        /// Number of the job.
        id: u32,
        /// The script, or empty.
        script: String,
    },
    /// Plan a line; answered by [`Answer::Planned`].
    Plan {
        /// Number of the job.
        id: u32,
        /// The line's segments.
        segments: Vec<Segment>,
        /// Its length.
        duration_s: Seconds,
        /// The rig as its file says it.
        rig: String,
        /// Settings of the planner.
        settings: PlanSettings,
    },
    /// Plan a line and write its track; answered by [`Answer::Track`].
    Track {
        /// Number of the job.
        id: u32,
        /// The line's segments.
        segments: Vec<Segment>,
        /// Its length.
        duration_s: Seconds,
        /// The rig as its file says it.
        rig: String,
        /// Settings of the planner.
        settings: PlanSettings,
        /// Form of the file.
        kind: TrackKind,
        /// Name of the line.
        line: String,
        /// Name of the recording.
        audio: String,
        /// SHA-256 of the recording.
        sha256: String,
    },
    /// Plan lines on two rigs; answered by [`Answer::Compared`].
    Compare {
        /// Number of the job.
        id: u32,
        /// The lines.
        lines: Vec<LineOf>,
        /// The rig as it was.
        before: String,
        /// The rig as it is.
        after: String,
        /// Settings of the planner.
        settings: PlanSettings,
    },
}

impl Job {
    /// Number of the job.
    #[must_use]
    pub fn id(&self) -> u32 {
        match self {
            Job::Read { id }
            | Job::Listen { id, .. }
            | Job::Plan { id, .. }
            | Job::Track { id, .. }
            | Job::Compare { id, .. } => *id,
        }
    }
}

/// What the worker says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Answer {
    /// It can take work.
    Ready,
    /// How far it has come.
    Progress {
        /// Number of the job.
        id: u32,
        /// What it is doing.
        stage: String,
        /// From 0 to 1.
        done: f64,
    },
    /// A sound was read; its samples (mono, 16 kHz) travel beside.
    Read {
        /// Number of the job.
        id: u32,
        /// What it was.
        sound: Sound,
    },
    /// What was heard.
    Heard {
        /// Number of the job.
        id: u32,
        /// Segments, words, notes.
        hearing: Hearing,
    },
    /// What was planned; wanted, planned and face values travel beside, then the limit codes.
    Planned {
        /// Number of the job.
        id: u32,
        /// Sizes and words.
        head: PerformanceHead,
    },
    /// A track, written, read back and checked against the rig.
    Track {
        /// Number of the job.
        id: u32,
        /// Form of the file.
        kind: TrackKind,
        /// Its text.
        text: String,
        /// What was checked, in words.
        checked: String,
    },
    /// What another rig makes of the lines.
    Compared {
        /// Number of the job.
        id: u32,
        /// One entry per line.
        changes: Vec<LineChange>,
    },
    /// It could not be done.
    Failed {
        /// Number of the job.
        id: u32,
        /// What, where, and what to do.
        message: String,
    },
}
