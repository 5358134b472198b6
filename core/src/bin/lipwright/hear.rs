//! `lipwright shapes` and `lipwright looks`

use super::arguments::{Looks, Shapes};
use super::files::{Failure, Terminal, hear, hear_line, read_text, recording, work};
use lipwright_core::features::analyse;
use lipwright_core::line::{Line, suggest_all};
use std::io::Write;
use std::process::ExitCode;

pub fn shapes(arguments: &Shapes) -> Result<ExitCode, Failure> {
    let (_, hearing) = hear_line(&arguments.line)?;
    let mut out = std::io::stdout().lock();
    if arguments.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&hearing).map_err(work)?)?;
    } else {
        writeln!(out, "{:>8} {:>8}  {:<13} {:<5} sure", "start", "end", "shape", "phone")?;
        for s in &hearing.segments {
            let phone = s.phone.map_or("", |p| p.arpabet());
            let glide = s.glide.map(|g| format!(" to {g}")).unwrap_or_default();
            writeln!(
                out,
                "{:>8.3} {:>8.3}  {:<13} {:<5} {:>3.0} %{glide}",
                s.start.value(),
                s.end.value(),
                s.shape,
                phone,
                s.confidence * 100.0
            )?;
        }
    }
    for note in &hearing.notes {
        eprintln!("lipwright: {}: {note}", arguments.line.audio.display());
    }
    Ok(ExitCode::SUCCESS)
}

pub fn looks(arguments: &Looks) -> Result<ExitCode, Failure> {
    let (_, recording) = recording(&arguments.line)?;
    let script = arguments.line.script.as_deref().map(read_text).transpose()?;
    let hearing = hear(&recording, script.as_deref(), arguments.line.language)?;
    let line = Line::from_hearing(&hearing).map_err(work)?;
    let features = analyse(&recording, &mut Terminal::new()).map_err(work)?;
    let mut out = std::io::stdout().lock();
    writeln!(out, "{:>8} {:>8}  clear  why", "start", "end")?;
    for s in suggest_all(&line, &features) {
        writeln!(
            out,
            "{:>8.3} {:>8.3}  {:>3.0} %  {}",
            s.start.value(),
            s.end.value(),
            s.confidence * 100.0,
            s.reason
        )?;
    }
    Ok(ExitCode::SUCCESS)
}
