//! `lipwright export`

use super::arguments::Export;
use super::deliver::{Delivered, Ear, Source, deliver};
use super::files::{Failure, Terminal, folder, read, read_text, rig, stem, write};
use lipwright_core::audio::ChannelChoice;
use lipwright_core::export::cue_sheet;
use std::io::Write;
use std::process::ExitCode;

pub fn export(arguments: &Export) -> Result<ExitCode, Failure> {
    let rig = rig(&arguments.rig)?;
    let line = &arguments.line;
    let script = line.script.as_deref().map(read_text).transpose()?.unwrap_or_default();
    let audio_name = line.audio.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let mut source =
        Source::recorded(stem(&line.audio), stem(&line.audio), audio_name, read(&line.audio)?, script);
    source.channel = match line.channel {
        None => ChannelChoice::Mix,
        Some(0) => return Err(Failure::Argument("--channel counts from 1".into())),
        Some(n) => ChannelChoice::Only(n - 1),
    };
    folder(&arguments.output)?;
    let out = &arguments.output;
    let delivered = deliver(&source, 1, &rig, &arguments.forms, out, &Ear::new()?, &mut Terminal::new())?;
    for note in &delivered.notes {
        eprintln!("lipwright: {}: {note}", line.audio.display());
    }
    let Delivered { cue, summary, mut files, .. } = delivered;
    if arguments.forms.has(arguments.forms.cue_sheet) {
        let path = out.join("cue-sheet.html");
        write(&path, cue_sheet(&cue.name, &rig, std::slice::from_ref(&cue)).as_bytes())?;
        files.push(path);
    }
    let mut says = std::io::stdout().lock();
    for path in files {
        writeln!(says, "{}", path.display())?;
    }
    writeln!(
        says,
        "motion {:.2}, sound starts {:.0} ms after it; closures reached {} of {}; every limit of rig '{}' holds",
        cue.motion,
        cue.sound_after.value() * 1000.0,
        summary.closures_reached,
        summary.closures,
        rig.name()
    )?;
    Ok(ExitCode::SUCCESS)
}
