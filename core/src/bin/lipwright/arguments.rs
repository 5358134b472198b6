//! What can be asked on the command line.

use clap::{Args, Parser, Subcommand, ValueEnum};
use lipwright_core::motion::KeyframeForm;
use lipwright_core::phonetics::Language;
use lipwright_core::rig::FacePart;
use lipwright_core::units::Seconds;
use std::num::NonZeroU16;
use std::path::PathBuf;

/// Turns a recorded line of dialogue into a servo performance for an animatronic head.
#[derive(Parser)]
#[command(
    version,
    arg_required_else_help = true,
    after_help = "Examples:
  lipwright shapes welcome.wav --script welcome.txt
  lipwright plan welcome.wav --script welcome.txt --rig my-head.json -o welcome.csv
  lipwright verify welcome.csv --rig my-head.json
  lipwright export welcome.wav --script welcome.txt --rig my-head.json -o show/
  lipwright batch recordings/ --rig my-head.json -o show/
  lipwright rig jaw-only -o my-head.json      a rig to start from

Moving jaws and linkages pinch: try a new track at low speed, with fingers and hair clear."
)]
pub struct Arguments {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Subcommand)]
pub enum Command {
    /// Hear a line: which mouth shape, when, and how sure
    #[command(after_help = "Examples:
  lipwright shapes welcome.wav
  lipwright shapes welcome.wav --script welcome.txt --json > welcome.json")]
    Shapes(Shapes),
    /// List the looks that a line's voice suggests for brows, head and mouth corners
    #[command(
        after_help = "A suggestion is a place where the voice stands out, with how clear that is; whether a look
suits the line is for a person to say. The editor shows the same ones.

Example:
  lipwright looks welcome.wav --script welcome.txt"
    )]
    Looks(Looks),
    /// Plan a line for a rig and write its servo track
    #[command(after_help = "Examples:
  lipwright plan welcome.wav -o welcome.json
  lipwright plan welcome.wav --script welcome.txt --rig my-head.json -o welcome.csv
  lipwright plan welcome.wav --keyframes smooth -o welcome.json
  lipwright plan welcome.wav --speed 0.12s/60deg         what other servos would make of it
  lipwright plan welcome.wav --speed lips=0.08s/60deg

The ending of the output file decides its form: .json holds keyframes (or every frame, with
--dense), .csv one row a frame. What was written is read back and verified before it counts as done.
A track planned with --speed belongs to a head with those servos: verify refuses it for another.")]
    Plan(Plan),
    /// Write a line in the forms that controllers, players and show control read
    #[command(after_help = FORMS_HELP)]
    Export(Export),
    /// Export every line of a project, or of a folder of recordings
    #[command(after_help = BATCH_HELP)]
    Batch(Batch),
    /// Check every limit of a rig against a servo track
    #[command(
        after_help = "Exit status: 0 every limit holds, 1 with each breach listed, 2 an input cannot be read.

Example:
  lipwright verify welcome.csv --rig my-head.json"
    )]
    Verify(Verify),
    /// Write the sketch folder that plays lines on the head's controller (ATmega2560)
    #[command(after_help = "Examples:
  lipwright sketch welcome.wav storm-bell.wav --script --rig my-head.json -o head/
  lipwright sketch museum.json --driver -o head/

Lines are numbered in the order given; a project's lines in its own. Every line is verified against
the rig as it will be played. A rig on two boards gives two folders.

Moving jaws and linkages pinch: read README.txt in the folder before you load it.")]
    Sketch(Sketch),
    /// Compare servo speeds: which faster servos would buy the most closures
    #[command(
        after_help = "Plans the line on the head as it is, then with the servos of each part of the mouth, and all of
them, faster or slower by each factor. Ask it before buying servos; no track is written.

Example:
  lipwright what-if welcome.wav --rig my-head.json --factor 0.5 --factor 1.5"
    )]
    WhatIf(WhatIf),
    /// Compare what is heard with known phone times, as a confusion table
    #[command(after_help = "Each LINE.wav needs LINE.phones.json beside it, and LINE.txt for --script.

Example:
  lipwright score sample-audio/*.wav --script")]
    Score(Score),
    /// Write one of the rigs that come with Lipwright, to start from
    #[command(after_help = "Example:
  lipwright rig jaw-only -o my-head.json")]
    Rig(RigPreset),
}

#[derive(Args)]
pub struct Line {
    /// The recording: WAV, 8 to 192 kHz, any number of channels
    #[arg(value_name = "LINE.wav")]
    pub audio: PathBuf,
    /// What is said, as plain text
    #[arg(long, value_name = "LINE.txt")]
    pub script: Option<PathBuf>,
    /// Use one channel, counted from 1, instead of mixing all
    #[arg(long, value_name = "N")]
    pub channel: Option<u16>,
    /// The language of the script: English, French, Italian or Spanish; a line "language = …" in the
    /// script says it, too
    #[arg(long, value_name = "LANGUAGE", default_value_t)]
    pub language: Language,
}

#[derive(Args)]
pub struct Shapes {
    #[command(flatten)]
    pub line: Line,
    /// Print JSON instead of a table
    #[arg(long)]
    pub json: bool,
}

#[derive(Args)]
pub struct Looks {
    #[command(flatten)]
    pub line: Line,
}

#[derive(Args)]
pub struct Plan {
    #[command(flatten)]
    pub line: Line,
    /// The head: a rig file, or the name of a rig that comes with Lipwright
    #[arg(long, value_name = "RIG.json", default_value = "harbourmaster")]
    pub rig: PathBuf,
    /// Where to write the servo track; the ending .json or .csv decides its form
    #[arg(short, long, value_name = "OUT", required_unless_present = "speeds")]
    pub output: Option<PathBuf>,
    /// Write every frame to JSON instead of keyframes
    #[arg(long, conflicts_with = "keyframes")]
    pub dense: bool,
    /// Write keyframes, played in straight lines or in smooth curves [default for .json: linear]
    #[arg(long, value_name = "FORM")]
    pub keyframes: Option<Form>,
    /// Plan as if servos had this data-sheet speed: of all, or PART=… of jaw, lips, corners, tongue,
    /// brows or neck; may be given several times
    #[arg(long = "speed", value_name = "[PART=]0.12s/60deg")]
    pub speeds: Vec<ServoSpeed>,
    /// Largest error of the keyframes, in microseconds of pulse width
    #[arg(long, value_name = "US", default_value_t = 4.0)]
    pub tolerance_us: f64,
    /// Controller frame in milliseconds, 10 to 40
    #[arg(long, value_name = "MS", default_value_t = 20.0)]
    pub frame_ms: f64,
    /// How far the mouth leads the sound, in milliseconds
    #[arg(long, value_name = "MS")]
    pub lead_ms: Option<f64>,
}

const FORMS_HELP: &str = "Files, all on one clock that starts with the motion:
  NAME.json        servo track, keyframes         NAME.csv         servo track, every frame
  NAME.mid         one controller lane a servo    NAME.timed.wav   the recording, timed to the motion
  NAME.words.vtt   captions                       NAME.shapes.vtt  mouth shapes
  cue-sheet.html   a page to print

Example:
  lipwright export welcome.wav --script welcome.txt --wav --midi -o show/";

const BATCH_HELP: &str =
    "A folder's lines are its WAV files, in order of name, each with the script of the same name (.txt)
where there is one. A project's lines keep every hand edit. A line that fails stops no other. The table
is also written to OUT/summary.csv; files are those of `lipwright export`.

Exit status: 0 every line was done, 1 some failed, 2 none could be done.

Example:
  lipwright batch recordings/ --rig my-head.json -o show/ --jobs 4";

/// Which files to write.
#[derive(Args)]
pub struct Forms {
    /// Servo track as JSON, with keyframes
    #[arg(long)]
    pub json: bool,
    /// Servo track as CSV, one row a frame
    #[arg(long)]
    pub csv: bool,
    /// Standard MIDI File, one controller lane a servo
    #[arg(long)]
    pub midi: bool,
    /// Words and mouth shapes as WebVTT
    #[arg(long)]
    pub webvtt: bool,
    /// The recording, cut and padded so that it starts and ends with the motion
    #[arg(long)]
    pub wav: bool,
    /// A page to print: trigger numbers and lengths
    #[arg(long)]
    pub cue_sheet: bool,
}

impl Forms {
    /// Whether a form is wanted: all are where none is named.
    pub fn has(&self, form: bool) -> bool {
        form || !(self.json || self.csv || self.midi || self.webvtt || self.wav || self.cue_sheet)
    }
}

#[derive(Args)]
pub struct Export {
    #[command(flatten)]
    pub line: Line,
    /// The head: a rig file, or the name of a rig that comes with Lipwright
    #[arg(long, value_name = "RIG.json", default_value = "harbourmaster")]
    pub rig: PathBuf,
    /// The folder to write to; made where it is not there
    #[arg(short, long, value_name = "OUT")]
    pub output: PathBuf,
    #[command(flatten)]
    pub forms: Forms,
}

#[derive(Args)]
pub struct Batch {
    /// A project file, or a folder of recordings
    #[arg(value_name = "PROJECT|FOLDER")]
    pub source: PathBuf,
    /// The folder to write to; made where it is not there
    #[arg(short, long, value_name = "OUT")]
    pub output: PathBuf,
    /// The head: a rig file, or the name of a rig that comes with Lipwright; the project's own
    /// otherwise
    #[arg(long, value_name = "RIG.json")]
    pub rig: Option<PathBuf>,
    /// How many lines to work on at a time; as many as there are processors otherwise
    #[arg(long, value_name = "N")]
    pub jobs: Option<NonZeroU16>,
    #[command(flatten)]
    pub forms: Forms,
}

#[derive(Args)]
pub struct Sketch {
    /// Recordings (WAV), or one project file (.json)
    #[arg(value_name = "LINE.wav", required = true)]
    pub lines: Vec<PathBuf>,
    /// Hear each recording with the script beside it: LINE.txt
    #[arg(long)]
    pub script: bool,
    /// The head: a rig file, or the name of a rig that comes with Lipwright; otherwise the project's
    #[arg(long, value_name = "RIG.json")]
    pub rig: Option<PathBuf>,
    /// Folder to put the sketch folder into
    #[arg(short, long, value_name = "DIR")]
    pub output: PathBuf,
    /// Name of the sketch
    #[arg(long, default_value = "talking-head")]
    pub name: String,
    /// Servos on a 16-channel I2C PWM driver instead of pins
    #[arg(long)]
    pub driver: bool,
    /// Largest error of the packed lines, in microseconds of pulse width
    #[arg(long, value_name = "US", default_value_t = 4.0)]
    pub tolerance_us: f64,
    /// How long the audio player takes from its start signal to the first sound, in milliseconds
    #[arg(long, value_name = "MS", default_value_t = 0.0)]
    pub audio_lead_ms: f64,
    /// No movement of brows and neck between lines
    #[arg(long)]
    pub no_idle: bool,
    /// Write each packed line to a file as well, for an SD card
    #[arg(long)]
    pub packed: bool,
}

/// How the controller plays between keyframes.
#[derive(Clone, Copy, ValueEnum)]
pub enum Form {
    /// Straight lines
    Linear,
    /// Cubic curves with a slope at every keyframe
    Smooth,
}

impl From<Form> for KeyframeForm {
    fn from(form: Form) -> Self {
        match form {
            Form::Linear => Self::Linear,
            Form::Smooth => Self::Smooth,
        }
    }
}

/// Another speed for the servos of one part, or of all.
#[derive(Clone, Copy)]
pub struct ServoSpeed {
    pub part: Option<FacePart>,
    pub per_60_degrees: Seconds,
}

impl std::str::FromStr for ServoSpeed {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (part, speed) = match text.split_once('=') {
            None => (None, text),
            Some((name, speed)) => {
                let part = match name.trim() {
                    "jaw" => FacePart::Jaw,
                    "lips" => FacePart::Lips,
                    "corners" => FacePart::Corners,
                    "tongue" => FacePart::Tongue,
                    "brows" => FacePart::Brows,
                    "neck" => FacePart::Neck,
                    "lids" => FacePart::Lids,
                    other => {
                        return Err(format!(
                            "'{other}' is no part of the face; give jaw, lips, corners, tongue, brows, neck or lids"
                        ));
                    }
                };
                (Some(part), speed)
            }
        };
        let number = speed.trim().trim_end_matches("/60deg").trim_end_matches('s').trim();
        match number.parse::<f64>() {
            Ok(value) if value > 0.0 && value.is_finite() => {
                Ok(Self { part, per_60_degrees: Seconds::new(value) })
            }
            _ => Err("give seconds for 60 degrees as on the data sheet: 0.12s/60deg".to_owned()),
        }
    }
}

#[derive(Args)]
pub struct WhatIf {
    #[command(flatten)]
    pub line: Line,
    /// The head: a rig file, or the name of a rig that comes with Lipwright
    #[arg(long, value_name = "RIG.json", default_value = "harbourmaster")]
    pub rig: PathBuf,
    /// Speed and acceleration against what the rig has; may be given several times
    #[arg(long = "factor", value_name = "F", default_values_t = [1.5, 2.0])]
    pub factors: Vec<f64>,
}

#[derive(Args)]
pub struct Verify {
    /// The servo track, JSON or CSV
    #[arg(value_name = "TRACK")]
    pub track: PathBuf,
    /// The head: a rig file, or the name of a rig that comes with Lipwright
    #[arg(long, value_name = "RIG.json")]
    pub rig: PathBuf,
}

#[derive(Args)]
pub struct Score {
    /// Recordings with known phone times beside them
    #[arg(value_name = "LINE.wav", required = true)]
    pub lines: Vec<PathBuf>,
    /// Hear with the script beside each recording
    #[arg(long)]
    pub script: bool,
}

#[derive(Args)]
pub struct RigPreset {
    /// harbourmaster, jaw-only, …; without a name, lists them
    pub name: Option<String>,
    /// Where to write it; standard output otherwise
    #[arg(short, long, value_name = "RIG.json")]
    pub output: Option<PathBuf>,
}
