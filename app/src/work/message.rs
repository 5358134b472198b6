//! What page and worker say to each other. Text travels as JSON; long rows of numbers travel
//! beside it as typed arrays.

use super::compare::LineChange;
use crate::editor::PerformanceHead;
use lipwright_core::line::{Line, Suggestion};
use lipwright_core::motion::PlanSettings;
use lipwright_core::recognise::Hearing;
use lipwright_core::units::Seconds;
use serde::{Deserialize, Serialize};

/// What kind of file leaves the page.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum FileKind {
    /// Servo track as JSON, a pulse for every frame.
    Json,
    /// Servo track as JSON, sparse knots.
    JsonKeyed,
    /// Servo track as CSV, a row for every frame.
    Csv,
    /// Standard MIDI File, one controller lane a servo.
    Midi,
    /// Words as WebVTT.
    Words,
    /// Mouth shapes as WebVTT.
    Shapes,
    /// The recording, cut and padded to the motion.
    Sound,
    /// The controller's program with every line, as a zip.
    Sketch,
    /// A page to print: trigger numbers and lengths.
    CueSheet,
}

impl FileKind {
    /// Every kind that is made from the open line alone.
    pub const OF_A_LINE: [Self; 7] =
        [Self::Json, Self::JsonKeyed, Self::Csv, Self::Midi, Self::Words, Self::Shapes, Self::Sound];

    /// Ending of its file's name.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Json => "track.json",
            Self::JsonKeyed => "keyframes.json",
            Self::Csv => "track.csv",
            Self::Midi => "mid",
            Self::Words => "words.vtt",
            Self::Shapes => "shapes.vtt",
            Self::Sound => "timed.wav",
            Self::Sketch => "sketch.zip",
            Self::CueSheet => "cue-sheet.html",
        }
    }

    /// Media type.
    #[must_use]
    pub const fn media(self) -> &'static str {
        match self {
            Self::Json | Self::JsonKeyed => "application/json",
            Self::Csv => "text/csv",
            Self::Midi => "audio/midi",
            Self::Words | Self::Shapes => "text/vtt",
            Self::Sound => "audio/wav",
            Self::Sketch => "application/zip",
            Self::CueSheet => "text/html",
        }
    }
}

/// A line with what its files say of it; hand edits are in the line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineOf {
    /// Name of the line.
    pub name: String,
    /// File name of the recording.
    pub audio: String,
    /// SHA-256 of the recording; empty where it has not been read.
    pub sha256: String,
    /// What is said.
    pub script: String,
    /// Segments, words, expressions.
    pub line: Line,
}

/// What was read from a sound file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Sound {
    /// The file in a few words: rate, channels, bits.
    pub source: String,
    /// What was odd about it.
    pub notes: Vec<String>,
}

/// A part of a job, as its worker's clock saw it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stage {
    /// What was done.
    pub name: String,
    /// When it began, by the clock of the computer (milliseconds since 1970).
    pub began_ms: f64,
    /// How long it took.
    pub took: Seconds,
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
    /// Look over 16 kHz samples (beside); answered by [`Answer::Surveyed`].
    Survey {
        /// Number of the job.
        id: u32,
    },
    /// Ask a line's voice (16 kHz samples, beside) for looks; answered by [`Answer::Suggested`].
    Suggest {
        /// Number of the job.
        id: u32,
        /// The line.
        line: Line,
    },
    /// Plan a line; answered by [`Answer::Planned`].
    Plan {
        /// Number of the job.
        id: u32,
        /// The line.
        line: Line,
        /// The rig as its file says it.
        rig: String,
        /// Settings of the planner.
        settings: PlanSettings,
    },
    /// Plan a line and write a file of it (the recording travels beside where the file holds sound);
    /// answered by [`Answer::File`].
    File {
        /// Number of the job.
        id: u32,
        /// The line.
        line: LineOf,
        /// The rig as its file says it.
        rig: String,
        /// Settings of the planner.
        settings: PlanSettings,
        /// Kind of the file.
        kind: FileKind,
    },
    /// Plan lines and write one file of them all; answered by [`Answer::File`].
    Show {
        /// Number of the job.
        id: u32,
        /// Name of the project.
        name: String,
        /// The lines, in the order of their triggers.
        lines: Vec<LineOf>,
        /// The rig as its file says it.
        rig: String,
        /// Settings of the planner.
        settings: PlanSettings,
        /// Kind of the file: the sketch or the cue sheet.
        kind: FileKind,
        /// True where the servos hang on a PWM driver instead of the board's pins.
        driver: bool,
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
            | Job::Survey { id }
            | Job::Suggest { id, .. }
            | Job::Plan { id, .. }
            | Job::File { id, .. }
            | Job::Show { id, .. }
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
    /// What the waveform of a sound that is being read looks like: lowest, highest and root mean square of
    /// each of its columns (`WaveformPyramid::to_columns`) travel beside.
    Skimmed {
        /// Number of the job.
        id: u32,
        /// Samples that there will be.
        length: usize,
    },
    /// How long parts of a job took, for whoever measures.
    Timed {
        /// Number of the job.
        id: u32,
        /// The parts, in order.
        stages: Vec<Stage>,
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
    /// A sound was looked over; the times at which it changes (seconds) and its spectrogram travel beside.
    Surveyed {
        /// Number of the job.
        id: u32,
        /// Frames of the spectrogram at its finest scale.
        frames: usize,
    },
    /// What the voice suggests.
    Suggested {
        /// Number of the job.
        id: u32,
        /// The looks, in order of time.
        list: Vec<Suggestion>,
    },
    /// What was planned; wanted, planned and face values travel beside, then the limit codes.
    Planned {
        /// Number of the job.
        id: u32,
        /// Sizes and words.
        head: PerformanceHead,
        /// How long planning took.
        took_s: Seconds,
        /// Memory that the worker's program has taken by now, bytes, where that can be known.
        taken: Option<f64>,
    },
    /// A file, written, read back and checked against the rig; its bytes travel beside.
    File {
        /// Number of the job.
        id: u32,
        /// Kind of the file.
        kind: FileKind,
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

impl Answer {
    /// Number of the job that is answered; 0 where it is none.
    #[must_use]
    pub fn id(&self) -> u32 {
        match self {
            Answer::Ready => 0,
            Answer::Progress { id, .. }
            | Answer::Skimmed { id, .. }
            | Answer::Timed { id, .. }
            | Answer::Read { id, .. }
            | Answer::Heard { id, .. }
            | Answer::Surveyed { id, .. }
            | Answer::Suggested { id, .. }
            | Answer::Planned { id, .. }
            | Answer::File { id, .. }
            | Answer::Compared { id, .. }
            | Answer::Failed { id, .. } => *id,
        }
    }
}
