//! `lipwright score`: what is heard against known phone times.

use super::arguments::{Line, Score};
use super::files::{Failure, content, hear_line, read_text};
use lipwright_core::phonetics::Language;
use lipwright_core::recognise::score::{Reference, ReferenceError, Score as Tally};
use std::io::Write;
use std::process::ExitCode;

pub fn score(arguments: &Score) -> Result<ExitCode, Failure> {
    let mut all = Tally::default();
    let mut out = std::io::stdout().lock();
    for audio in &arguments.lines {
        let reference_path = audio.with_extension("phones.json");
        let reference =
            Reference::from_json(&read_text(&reference_path)?)
                .map_err(content::<ReferenceError>(&reference_path))?;
        let script = arguments.script.then(|| audio.with_extension("txt"));
        let (_, hearing) =
            hear_line(&Line { audio: audio.clone(), script, channel: None, language: Language::English })?;
        let one = Tally::new(&hearing, &reference);
        let name = audio.file_stem().unwrap_or_default().to_string_lossy();
        writeln!(out, "{name:<20} {:5.1} % of {} frames", one.accuracy() * 100.0, one.frames())?;
        all.add(&one);
    }
    writeln!(out, "\n{}", all.table())?;
    writeln!(
        out,
        "\n{} {:.1} % of {} frames of 10 ms have the right shape",
        if arguments.script { "with script:" } else { "without script:" },
        all.accuracy() * 100.0,
        all.frames()
    )?;
    Ok(ExitCode::SUCCESS)
}
