//! `lipwright shapes`

use super::arguments::Shapes;
use super::files::{Failure, hear_line, work};
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
