//! `lipwright sketch`

use super::arguments::{Line, Sketch};
use super::files::{Failure, Terminal, content, folder, hear_line, read_text, rig, work, write};
use super::names::Names;
use lipwright_core::export::packed;
use lipwright_core::export::sketch::{FLASH_BYTES, Outputs, RAM_BYTES, SketchSettings, sketches};
use lipwright_core::export::{ServoTrack, TrackMeta, sha256_hex};
use lipwright_core::line;
use lipwright_core::motion::{self, PlanSettings};
use lipwright_core::phonetics::Language;
use lipwright_core::project::{Project, ProjectError};
use lipwright_core::rig::Rig;
use lipwright_core::units::{Microseconds, Seconds};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

pub fn sketch(arguments: &Sketch) -> Result<ExitCode, Failure> {
    let (rig, lines) = lines(arguments)?;
    let settings = SketchSettings {
        name: arguments.name.clone(),
        outputs: if arguments.driver { Outputs::Driver } else { Outputs::Pins },
        tolerance: Microseconds::new(arguments.tolerance_us),
        audio_lead: Seconds::new(arguments.audio_lead_ms / 1000.0),
        idle: !arguments.no_idle,
    };
    let made = sketches(&lines, &rig, &settings).map_err(work)?;
    let mut out = std::io::stdout().lock();
    let seconds: f64 = lines.iter().map(|l| l.frames() as f64 * l.frame().value()).sum();
    for sketch in &made {
        let place = arguments.output.join(&sketch.folder);
        folder(&place)?;
        for file in &sketch.files {
            write(&place.join(&file.name), file.text.as_bytes())?;
        }
        let size = sketch.size;
        writeln!(
            out,
            "{}: {} lines, {seconds:.1} s in {} bytes ({:.1} bytes a second); flash about {} of {FLASH_BYTES}, RAM about {} of {RAM_BYTES}",
            place.display(),
            lines.len(),
            size.tracks,
            size.tracks as f64 / seconds,
            size.flash,
            size.ram
        )?;
    }
    if arguments.packed {
        let mut names = Names::default();
        for track in &lines {
            let line = names.unique(&track.meta().line);
            let packed = packed::pack(track, &rig, settings.tolerance).map_err(work)?;
            for board in &packed.boards {
                let many = packed.boards.len() > 1;
                let file =
                    if many { names.unique(&format!("{line}-{}", board.controller)) } else { line.clone() };
                let path = arguments.output.join(format!("{file}.lwp"));
                write(&path, &board.bytes)?;
                writeln!(out, "{}: {} bytes, error {:.1}", path.display(), board.bytes.len(), packed.error)?;
            }
        }
    }
    writeln!(out, "every limit of rig '{}' holds", rig.name())?;
    writeln!(
        out,
        "Before you load it: moving parts pinch. Keep clear, and cut servo power before reaching in. The sketch \
         is no safety controller: an emergency stop must cut servo power in hardware."
    )?;
    Ok(ExitCode::SUCCESS)
}

/// The rig and the planned track of every line, from recordings and project files.
fn lines(arguments: &Sketch) -> Result<(Rig, Vec<ServoTrack>), Failure> {
    let projects: Vec<&PathBuf> = arguments.lines.iter().filter(|p| is_project(p)).collect();
    if projects.len() > 1 || (projects.len() == 1 && arguments.lines.len() > 1) {
        return Err(Failure::Argument("give one project, or recordings, not both".into()));
    }
    if let Some(path) = projects.first() {
        return of_project(path, arguments);
    }
    let rig = rig(arguments.rig.as_deref().unwrap_or(Path::new("harbourmaster")))?;
    let tracks = arguments.lines.iter().map(|audio| {
        let script = arguments.script.then(|| audio.with_extension("txt"));
        let (bytes, hearing) =
            hear_line(&Line { audio: audio.clone(), script, channel: None, language: Language::English })?;
        for note in &hearing.notes {
            eprintln!("lipwright: {}: {note}", audio.display());
        }
        let named = |part: Option<&std::ffi::OsStr>| part.unwrap_or_default().to_string_lossy().into_owned();
        let meta = TrackMeta {
            line: named(audio.file_stem()),
            audio_name: named(audio.file_name()),
            audio_sha256: sha256_hex(&bytes),
        };
        track(&line::Line::from_hearing(&hearing).map_err(work)?, &rig, meta)
    });
    let tracks = tracks.collect::<Result<_, _>>()?;
    Ok((rig, tracks))
}

fn is_project(path: &Path) -> bool {
    path.extension().is_some_and(|e| e == "json")
}

fn of_project(path: &Path, arguments: &Sketch) -> Result<(Rig, Vec<ServoTrack>), Failure> {
    let project = Project::from_json(&read_text(path)?).map_err(content::<ProjectError>(path))?;
    let rig = match &arguments.rig {
        Some(file) => rig(file)?,
        None if project.rig.is_null() => Rig::harbourmaster(),
        None => Rig::from_json(&project.rig.to_string()).map_err(content(path))?,
    };
    let tracks = project.lines.iter().map(|l| {
        let meta = TrackMeta { line: l.name.clone(), ..TrackMeta::default() };
        track(&l.performance, &rig, meta)
    });
    let tracks = tracks.collect::<Result<_, _>>()?;
    Ok((rig, tracks))
}

fn track(line: &line::Line, rig: &Rig, meta: TrackMeta) -> Result<ServoTrack, Failure> {
    let settings = PlanSettings::default();
    let plan = motion::plan_line(line, rig, &settings, &mut Terminal::new()).map_err(work)?;
    ServoTrack::from_plan(&plan, rig, meta).map_err(work)
}
