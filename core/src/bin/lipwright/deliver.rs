//! One line in every form that was asked for: what `export` and `batch` share.

use super::arguments::Forms;
use super::files::{Failure, LEXICON, work, write};
use lipwright_core::audio::{ChannelChoice, fit_wav, read_wav};
use lipwright_core::export::{
    Cue, ExportError, ServoTrack, TrackMeta, sha256_hex, shapes_webvtt, words_webvtt,
};
use lipwright_core::line::Line;
use lipwright_core::motion::{self, PlanSettings, PlanSummary};
use lipwright_core::phonetics::Lexicon;
use lipwright_core::progress::Progress;
use lipwright_core::recognise::{AcousticModel, ListenSettings, listen};
use lipwright_core::rig::Rig;
use lipwright_core::units::{Microseconds, Seconds};
use std::path::{Path, PathBuf};

/// Largest error of exported keyframes.
const TOLERANCE: Microseconds = Microseconds::new(4.0);

/// A line to be exported.
pub struct Source {
    /// Its name, for people.
    pub name: String,
    /// What its files are called: no path separators, no endings.
    pub file: String,
    /// File name of the recording.
    pub audio_name: String,
    /// The recording's bytes, where they are at hand.
    pub audio: Option<Vec<u8>>,
    /// Hash of the recording's bytes.
    pub audio_sha256: String,
    /// What is said; empty where unknown.
    pub script: String,
    /// Which channels to listen to.
    pub channel: ChannelChoice,
    /// Segments and words as a person left them; heard anew where there are none.
    pub performance: Option<Line>,
}

impl Source {
    /// A line of which only the recording, and perhaps the script, is known.
    pub fn recorded(name: String, file: String, audio_name: String, audio: Vec<u8>, script: String) -> Self {
        let audio_sha256 = sha256_hex(&audio);
        let channel = ChannelChoice::Mix;
        Self { name, file, audio_name, audio: Some(audio), audio_sha256, script, channel, performance: None }
    }
}

/// What became of a line.
pub struct Delivered {
    /// Its entry of the cue sheet.
    pub cue: Cue,
    /// Segments.
    pub shapes: usize,
    /// The plan as a whole.
    pub summary: PlanSummary,
    /// Plain sentences about what was odd.
    pub notes: Vec<String>,
    /// Files written.
    pub files: Vec<PathBuf>,
}

/// What hears lines: made once, used for many.
pub struct Ear {
    lexicon: Lexicon,
    model: AcousticModel,
}

impl Ear {
    pub fn new() -> Result<Self, Failure> {
        Ok(Self { lexicon: Lexicon::from_bytes(LEXICON).map_err(work)?, model: AcousticModel::built_in() })
    }

    fn hear(
        &self,
        source: &Source,
        notes: &mut Vec<String>,
        progress: &mut dyn Progress,
    ) -> Result<Line, Failure> {
        let audio = source.audio.as_deref().ok_or_else(|| missing(source))?;
        let recording = read_wav(audio, source.channel).map_err(work)?;
        notes.extend(recording.source().notes.iter().cloned());
        let script = Some(source.script.trim()).filter(|s| !s.is_empty());
        let lexicon = script.map(|_| &self.lexicon);
        let settings = ListenSettings::default();
        let hearing = listen(&recording, script, lexicon, &self.model, &settings, progress).map_err(work)?;
        notes.extend(hearing.notes.iter().cloned());
        Line::from_hearing(&hearing).map_err(work)
    }
}

fn missing(source: &Source) -> Failure {
    Failure::Argument(format!(
        "the recording '{}' is neither in the project nor beside it; put the file there, or save the project anew",
        source.audio_name
    ))
}

/// Hears (where need be), plans, writes and checks one line.
pub fn deliver(
    source: &Source,
    trigger: usize,
    rig: &Rig,
    forms: &Forms,
    folder: &Path,
    ear: &Ear,
    progress: &mut dyn Progress,
) -> Result<Delivered, Failure> {
    let mut notes = Vec::new();
    let line = match &source.performance {
        Some(line) => line.clone(),
        None => ear.hear(source, &mut notes, progress)?,
    };
    let settings = PlanSettings::default();
    let plan = motion::plan_line(&line, rig, &settings, progress).map_err(work)?;
    let meta = TrackMeta {
        line: source.name.clone(),
        audio_name: source.audio_name.clone(),
        audio_sha256: source.audio_sha256.clone(),
    };
    let keys = motion::keyframes(&plan, rig, TOLERANCE);
    let track = ServoTrack::from_keyframes(&plan, &keys, rig, meta.clone()).map_err(work)?;
    let dense = ServoTrack::from_plan(&plan, rig, meta).map_err(work)?;
    let end = track.time_of(track.frames() - 1);
    let cue = Cue {
        trigger,
        name: source.name.clone(),
        script: source.script.clone(),
        sound: line.duration(),
        motion: end - track.start(),
        sound_after: -track.start(),
    };
    let mut files = Vec::new();
    for (ending, bytes) in made(source, &line, &track, &dense, rig, forms)? {
        let path = folder.join(format!("{}.{ending}", source.file));
        write(&path, &bytes)?;
        files.push(path);
    }
    Ok(Delivered { cue, shapes: line.segments().len(), summary: plan.summary, notes, files })
}

/// Everything that was asked for, complete before the first file is written: a line is exported whole
/// or not at all.
fn made(
    source: &Source,
    line: &Line,
    track: &ServoTrack,
    dense: &ServoTrack,
    rig: &Rig,
    forms: &Forms,
) -> Result<Vec<(&'static str, Vec<u8>)>, Failure> {
    let zero = track.start();
    let mut out = Vec::new();
    if forms.has(forms.json) {
        out.push(("json", track.export_json(rig).map_err(work::<ExportError>)?.into_bytes()));
    }
    if forms.has(forms.csv) {
        out.push(("csv", dense.export_csv(rig).map_err(work::<ExportError>)?.into_bytes()));
    }
    if forms.has(forms.midi) {
        out.push(("mid", dense.export_midi(rig, Some(line)).map_err(work::<ExportError>)?));
    }
    if forms.has(forms.webvtt) {
        out.push(("words.vtt", words_webvtt(line, &source.name, zero).into_bytes()));
        out.push(("shapes.vtt", shapes_webvtt(line, &source.name, zero).into_bytes()));
    }
    if forms.has(forms.wav) {
        let audio = source.audio.as_deref().ok_or_else(|| missing(source))?;
        let end: Seconds = track.time_of(track.frames() - 1);
        out.push(("timed.wav", fit_wav(audio, zero, end).map_err(work)?));
    }
    Ok(out)
}
