//! Files in, files out, and how the command fails: one line saying what, where, what to do.

use super::arguments::{Line, RigPreset};
use lipwright_core::audio::{AudioError, ChannelChoice, Recording, read_wav};
use lipwright_core::phonetics::{Language, Lexicon};
use lipwright_core::progress::Progress;
use lipwright_core::recognise::{AcousticModel, Hearing, ListenSettings, listen};
use lipwright_core::rig::{Preset, Rig, RigError};
use std::fmt;
use std::io::{ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// The packed pronouncing dictionary; the page fetches the same bytes.
pub static LEXICON: &[u8] = include_bytes!("../../../models/lexicon.bin");

/// Why a command stopped. Shown on standard error as one line.
#[derive(Debug)]
pub enum Failure {
    /// A file cannot be read or written.
    File { path: PathBuf, action: &'static str, error: std::io::Error },
    /// A file was read, but what it holds is wrong.
    Content { path: PathBuf, error: Box<dyn std::error::Error> },
    /// An argument makes no sense.
    Argument(String),
    /// The work itself failed.
    Work(Box<dyn std::error::Error>),
    /// Whoever read standard output went away.
    OutputClosed,
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Failure::File { path, action, error } => {
                write!(f, "cannot {action} {}: {error}; {}", path.display(), way_out(error.kind()))
            }
            Failure::Content { path, error } => write!(f, "{}: {error}", path.display()),
            Failure::Argument(text) => f.write_str(text),
            Failure::Work(error) => write!(f, "{error}"),
            Failure::OutputClosed => f.write_str("output closed"),
        }
    }
}

/// What to do about a file that cannot be read or written.
fn way_out(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
            "make room, or write to another disk; what was there before is untouched"
        }
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
            "give yourself the permission, or choose another folder"
        }
        ErrorKind::NotFound => "check the path",
        _ => "check the path and its permissions",
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        if error.kind() == ErrorKind::BrokenPipe {
            Failure::OutputClosed
        } else {
            Failure::Work(Box::new(error))
        }
    }
}

/// Ties what a file holds to the file's name.
pub fn content<E: std::error::Error + 'static>(path: &Path) -> impl FnOnce(E) -> Failure {
    move |error| Failure::Content { path: path.to_path_buf(), error: Box::new(error) }
}

/// An error of the work itself.
pub fn work<E: std::error::Error + 'static>(error: E) -> Failure {
    Failure::Work(Box::new(error))
}

pub fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    std::fs::read(path).map_err(|error| Failure::File { path: path.to_path_buf(), action: "read", error })
}

/// Reads text; bytes that are not UTF-8 are taken as Windows-1252 would be of little use to a
/// script, so they are refused with a word on what to do. The mark that some editors put before UTF-8 text
/// is no part of it.
pub fn read_text(path: &Path) -> Result<String, Failure> {
    let text = String::from_utf8(read(path)?).map_err(|_| {
        Failure::Argument(format!("{}: not UTF-8 text; save it as UTF-8 and try again", path.display()))
    })?;
    Ok(text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text))
}

/// Writes a whole file or leaves the old one untouched: a power cut never leaves half a track.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let fail = |error| Failure::File { path: path.to_path_buf(), action: "write", error };
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let part = path.with_file_name(name);
    let result = std::fs::File::create(&part).and_then(|mut file| {
        file.write_all(bytes)?;
        file.sync_all()?;
        std::fs::rename(&part, path)
    });
    if result.is_ok()
        && let Some(folder) = path.parent()
    {
        // Said to be done only once the new name would survive a power cut, too. Not every file system
        // can do that for a folder; the old file or the new one stands whole in any case.
        let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        let _ = std::fs::File::open(folder).and_then(|f| f.sync_all());
    }
    result.map_err(|error| {
        let _ = std::fs::remove_file(&part); // Best effort: the error that matters is the first.
        fail(error)
    })
}

/// Makes a folder, with those above it, unless it is there.
pub fn folder(path: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(path).map_err(|error| Failure::File {
        path: path.to_path_buf(),
        action: "make the folder",
        error,
    })
}

/// A file's name without folder and ending.
pub fn stem(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}

/// Reads a rig file, or takes a preset by name where no such file exists.
pub fn rig(path: &Path) -> Result<Rig, Failure> {
    if !path.exists()
        && let Some(preset) = path.to_str().and_then(preset)
    {
        return Ok(preset.rig());
    }
    Rig::from_json(&read_text(path)?).map_err(content::<RigError>(path))
}

fn preset(name: &str) -> Option<Preset> {
    Preset::ALL.into_iter().find(|p| handle(*p) == name)
}

/// The preset's name as typed: that of its file, without the ending.
fn handle(preset: Preset) -> &'static str {
    preset.file_name().trim_end_matches(".json")
}

/// `lipwright rig`: writes a preset.
pub fn rig_preset(arguments: &RigPreset) -> Result<ExitCode, Failure> {
    let mut out = std::io::stdout().lock();
    let Some(name) = &arguments.name else {
        for preset in Preset::ALL {
            let servos = preset.rig().servos().len();
            let plural = if servos == 1 { "" } else { "s" };
            writeln!(out, "{:<16} {}, {servos} servo{plural}", handle(preset), preset.name())?;
        }
        return Ok(ExitCode::SUCCESS);
    };
    let preset = preset(name).ok_or_else(|| {
        let known = Preset::ALL.map(handle).join(", ");
        Failure::Argument(format!("no rig '{name}' comes with Lipwright; it has {known}"))
    })?;
    let text = preset.rig().to_json();
    match &arguments.output {
        Some(path) => write(path, text.as_bytes())?,
        None => writeln!(out, "{text}")?,
    }
    Ok(ExitCode::SUCCESS)
}

/// Reads the recording of a line.
pub fn recording(line: &Line) -> Result<(Vec<u8>, Recording), Failure> {
    let choice = match line.channel {
        None => ChannelChoice::Mix,
        Some(0) => return Err(Failure::Argument("--channel counts from 1".into())),
        Some(n) => ChannelChoice::Only(n - 1),
    };
    let bytes = read(&line.audio)?;
    let recording = read_wav(&bytes, choice).map_err(content::<AudioError>(&line.audio))?;
    for note in &recording.source().notes {
        eprintln!("lipwright: {}: {note}", line.audio.display());
    }
    Ok((bytes, recording))
}

/// Hears a recording, with its script where there is one.
pub fn hear(recording: &Recording, script: Option<&str>, language: Language) -> Result<Hearing, Failure> {
    let lexicon = script.map(|_| Lexicon::from_bytes(LEXICON)).transpose().map_err(work)?;
    let model = AcousticModel::built_in();
    let settings = ListenSettings { language, ..ListenSettings::default() };
    let mut terminal = Terminal::new();
    listen(recording, script, lexicon.as_ref(), &model, &settings, &mut terminal).map_err(work)
}

/// Reads and hears a line as the arguments say.
pub fn hear_line(line: &Line) -> Result<(Vec<u8>, Hearing), Failure> {
    let (bytes, recording) = recording(line)?;
    let script = line.script.as_deref().map(read_text).transpose()?;
    Ok((bytes, hear(&recording, script.as_deref(), line.language)?))
}

/// Shows progress on standard error where that is a terminal, and nowhere else.
pub struct Terminal {
    shown: Option<(&'static str, u32)>,
    on: bool,
}

impl Terminal {
    pub fn new() -> Self {
        Self { shown: None, on: std::io::stderr().is_terminal() }
    }
}

impl Progress for Terminal {
    fn report(&mut self, stage: &'static str, done: f64) -> bool {
        // Ten steps a stage: enough to see life, few enough to cost nothing.
        let tenth = (done.clamp(0.0, 1.0) * 10.0) as u32;
        if self.on && self.shown != Some((stage, tenth)) {
            self.shown = Some((stage, tenth));
            eprint!("\r\x1b[K{stage} {} %", tenth * 10);
        }
        true
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        if self.shown.is_some() {
            eprint!("\r\x1b[K");
        }
    }
}
