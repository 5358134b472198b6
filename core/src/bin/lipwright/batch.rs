//! `lipwright batch`: many lines in parallel, and a table of what became of each.

use super::arguments::Batch;
use super::deliver::{Delivered, Ear, Source, deliver};
use super::files::{self, Failure, content, read, read_text, stem, write};
use super::names::Names;
use lipwright_core::audio::ChannelChoice;
use lipwright_core::export::{Cue, csv_field, cue_sheet};
use lipwright_core::progress::Quiet;
use lipwright_core::project::{Project, ProjectError, ProjectLine};
use lipwright_core::rig::{Rig, RigError};
use std::io::{IsTerminal, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;

/// A line that is still to be read.
enum Ticket {
    Files { file: String, audio: PathBuf },
    Saved { file: String, line: Box<ProjectLine> },
}

impl Ticket {
    /// The line's name, for people.
    fn name(&self) -> String {
        match self {
            Ticket::Files { audio, .. } => stem(audio),
            Ticket::Saved { line, .. } => line.name.clone(),
        }
    }

    /// Reads the line; only one worker's line is in memory at a time.
    fn open(&self, beside: &Path) -> Result<Source, Failure> {
        match self {
            Ticket::Files { file, audio } => {
                let script = audio.with_extension("txt");
                let script = if script.exists() { read_text(&script)? } else { String::new() };
                let audio_name = audio.file_name().unwrap_or_default().to_string_lossy().into_owned();
                Ok(Source::recorded(self.name(), file.clone(), audio_name, read(audio)?, script))
            }
            Ticket::Saved { file, line } => {
                let audio = match line.audio.embedded().map_err(files::work)? {
                    Some(bytes) => Some(bytes),
                    None => lying_beside(line, beside),
                };
                Ok(Source {
                    name: self.name(),
                    file: file.clone(),
                    audio_name: line.audio.name.clone(),
                    audio,
                    audio_sha256: line.audio.sha256.as_str().to_owned(),
                    script: line.script.clone(),
                    channel: ChannelChoice::Mix,
                    performance: Some(line.performance.clone()),
                })
            }
        }
    }
}

/// The recording of a project's line from the project's own folder, if it is the one it names.
fn lying_beside(line: &ProjectLine, folder: &Path) -> Option<Vec<u8>> {
    // A project may come from anywhere: only a bare file name is looked for.
    let name = Path::new(&line.audio.name).file_name()?;
    let bytes = std::fs::read(folder.join(name)).ok()?;
    (lipwright_core::project::ContentHash::of(&bytes) == line.audio.sha256).then_some(bytes)
}

/// What the batch itself writes beside the lines' files, without endings.
const OWN: [&str; 2] = ["summary", "cue-sheet"];

/// What is to be done.
struct Work {
    show: String,
    rig: Rig,
    tickets: Vec<Ticket>,
    /// Folder of the project or the recordings.
    beside: PathBuf,
}

pub fn batch(arguments: &Batch) -> Result<ExitCode, Failure> {
    let work = gather(arguments)?;
    files::folder(&arguments.output)?;
    if same(&arguments.output, &work.beside) && arguments.source.is_dir() {
        return Err(Failure::Argument(format!(
            "-o {} is the folder of the recordings; give another, so that what is written is never taken for a line",
            arguments.output.display()
        )));
    }
    let jobs = arguments.jobs.map_or_else(
        || std::thread::available_parallelism().map_or(1, std::num::NonZero::get),
        |n| usize::from(n.get()),
    );
    let results = run(&work, arguments, jobs)?;
    let cues: Vec<Cue> = results.iter().filter_map(|r| Some(r.as_ref().ok()?.cue.clone())).collect();
    if arguments.forms.has(arguments.forms.cue_sheet) && !cues.is_empty() {
        let page = cue_sheet(&work.show, &work.rig, &cues);
        write(&arguments.output.join("cue-sheet.html"), page.as_bytes())?;
    }
    write(&arguments.output.join("summary.csv"), csv(&work, &results).as_bytes())?;
    table(&work, &results)?;
    Ok(match (cues.len(), results.len()) {
        (0, _) => ExitCode::from(2),
        (good, all) if good == all => ExitCode::SUCCESS,
        _ => ExitCode::from(1),
    })
}

fn same(a: &Path, b: &Path) -> bool {
    matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

fn gather(arguments: &Batch) -> Result<Work, Failure> {
    let source = &arguments.source;
    let given = arguments.rig.as_deref().map(files::rig).transpose()?;
    if source.is_dir() {
        let tickets = recordings(source)?;
        let rig = given.unwrap_or_else(Rig::harbourmaster);
        let show = source.canonicalize().map_or_else(|_| stem(source), |p| stem(&p));
        return Ok(Work { show, rig, tickets, beside: source.clone() });
    }
    let project = Project::from_json(&read_text(source)?).map_err(content::<ProjectError>(source))?;
    let rig = match given {
        Some(rig) => rig,
        None if project.rig.is_null() => Rig::harbourmaster(),
        None => Rig::from_json(&project.rig.to_string()).map_err(content::<RigError>(source))?,
    };
    let mut names = Names::beside(&OWN);
    let tickets: Vec<Ticket> = project
        .lines
        .into_iter()
        .map(|line| Ticket::Saved { file: names.unique(&line.name), line: Box::new(line) })
        .collect();
    if tickets.is_empty() {
        return Err(Failure::Argument(format!("{}: the project holds no lines", source.display())));
    }
    let beside = source.parent().unwrap_or(Path::new("")).to_path_buf();
    Ok(Work { show: project.name, rig, tickets, beside })
}

fn recordings(folder: &Path) -> Result<Vec<Ticket>, Failure> {
    let fail = |error| Failure::File { path: folder.to_path_buf(), action: "read", error };
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(fail)? {
        let path = entry.map_err(fail)?.path();
        let wav = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav"));
        if wav && path.is_file() {
            found.push(path);
        }
    }
    found.sort();
    if found.is_empty() {
        return Err(Failure::Argument(format!(
            "{}: no WAV files in this folder; give a folder of recordings, or a project",
            folder.display()
        )));
    }
    let mut names = Names::beside(&OWN);
    Ok(found.into_iter().map(|audio| Ticket::Files { file: names.unique(&stem(&audio)), audio }).collect())
}

type Outcome = Result<Delivered, String>;

/// Every line, `jobs` at a time; the results in the order of the lines.
fn run(work: &Work, arguments: &Batch, jobs: usize) -> Result<Vec<Outcome>, Failure> {
    let ear = Ear::new()?;
    let count = work.tickets.len();
    let next = AtomicUsize::new(0);
    let (send, receive) = mpsc::channel::<(usize, Outcome)>();
    let mut outcomes: Vec<Option<Outcome>> = (0..count).map(|_| None).collect();
    std::thread::scope(|scope| {
        for _ in 0..jobs.clamp(1, count) {
            let (send, next, ear) = (send.clone(), &next, &ear);
            scope.spawn(move || {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    let Some(ticket) = work.tickets.get(index) else { return };
                    let outcome = one(work, ticket, index + 1, arguments, ear);
                    if send.send((index, outcome)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(send);
        let shows = std::io::stderr().is_terminal();
        for (done, (index, outcome)) in receive.iter().enumerate() {
            if shows {
                eprint!("\r\x1b[K{} of {count}: {}", done + 1, work.tickets[index].name());
            }
            outcomes[index] = Some(outcome);
        }
        if shows {
            eprint!("\r\x1b[K");
        }
    });
    let lost = || Err("the work on this line stopped; run it alone to see why".to_owned());
    Ok(outcomes.into_iter().map(|o| o.unwrap_or_else(lost)).collect())
}

/// One line; whatever happens, the others go on.
fn one(work: &Work, ticket: &Ticket, trigger: usize, arguments: &Batch, ear: &Ear) -> Outcome {
    let attempt = || -> Result<Delivered, Failure> {
        let source = ticket.open(&work.beside)?;
        deliver(&source, trigger, &work.rig, &arguments.forms, &arguments.output, ear, &mut Quiet)
    };
    match catch_unwind(AssertUnwindSafe(attempt)) {
        Ok(outcome) => outcome.map_err(|failure| failure.to_string()),
        Err(_) => Err("a fault in Lipwright itself; please report it with this line".to_owned()),
    }
}

/// What a line's row says, in the order of the columns.
fn row(work: &Work, index: usize, outcome: &Outcome) -> [String; 7] {
    let (trigger, name) = ((index + 1).to_string(), work.tickets[index].name());
    match outcome {
        Ok(d) => [
            trigger,
            name,
            format!("{:.2}", d.cue.sound.value()),
            d.shapes.to_string(),
            format!("{} of {}", d.summary.closures_reached, d.summary.closures),
            format!("{:.2}", d.summary.peak_current.value()),
            if d.notes.is_empty() { "done".to_owned() } else { format!("done; {}", d.notes.join("; ")) },
        ],
        Err(reason) => {
            let none = String::new;
            [trigger, name, none(), none(), none(), none(), format!("failed: {reason}")]
        }
    }
}

const COLUMNS: [&str; 7] =
    ["trigger", "line", "duration_s", "shapes", "closures_reached", "peak_current_a", "status"];

fn csv(work: &Work, outcomes: &[Outcome]) -> String {
    let mut out = COLUMNS.join(",") + "\r\n";
    for (index, outcome) in outcomes.iter().enumerate() {
        out.push_str(&row(work, index, outcome).map(|cell| csv_field(&cell)).join(","));
        out.push_str("\r\n");
    }
    out
}

fn table(work: &Work, outcomes: &[Outcome]) -> Result<(), Failure> {
    let mut rows =
        vec![["#", "line", "length s", "shapes", "closures", "peak A", "status"].map(str::to_owned)];
    rows.extend(outcomes.iter().enumerate().map(|(i, o)| row(work, i, o)));
    let width = |c: usize| rows.iter().map(|r| r[c].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..COLUMNS.len() - 1).map(width).collect();
    let mut out = std::io::stdout().lock();
    for row in &rows {
        for (c, w) in widths.iter().enumerate() {
            // Names to the left, numbers to the right.
            if c == 1 { write!(out, "{:<w$}  ", row[c])? } else { write!(out, "{:>w$}  ", row[c])? }
        }
        writeln!(out, "{}", row[6])?;
    }
    let good = outcomes.iter().filter(|o| o.is_ok()).count();
    writeln!(out, "{good} of {} lines done", outcomes.len())?;
    Ok(())
}
