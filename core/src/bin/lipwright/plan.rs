//! `lipwright plan`

use super::arguments::Plan;
use super::files::{Failure, Terminal, hear_line, rig, work, write};
use lipwright_core::export::{ServoTrack, TrackMeta, sha256_hex};
use lipwright_core::line::Line;
use lipwright_core::motion::{self, PlanSettings, Shortfall};
use lipwright_core::rig::Rig;
use lipwright_core::units::{Microseconds, Seconds};
use std::io::Write;
use std::process::ExitCode;

pub fn plan(arguments: &Plan) -> Result<ExitCode, Failure> {
    let form = Form::of(arguments)?;
    let rig = rig(&arguments.rig)?;
    let (bytes, hearing) = hear_line(&arguments.line)?;
    for note in &hearing.notes {
        eprintln!("lipwright: {}: {note}", arguments.line.audio.display());
    }
    let line = Line::from_hearing(&hearing).map_err(work)?;
    let mut settings =
        PlanSettings { frame: Seconds::new(arguments.frame_ms / 1000.0), ..PlanSettings::default() };
    if let Some(lead) = arguments.lead_ms {
        settings.visual_lead = Seconds::new(lead / 1000.0);
    }
    let plan = motion::plan(line.segments(), line.duration(), &rig, &settings, &mut Terminal::new())
        .map_err(work)?;

    let track = track(arguments, &plan, &rig, &bytes, form)?;
    // Exporting reads back what it wrote and verifies it: a track that breaks a limit of its own
    // rig never reaches the disk.
    let text = if form == Form::Csv { track.export_csv(&rig) } else { track.export_json(&rig) };
    write(&arguments.output, text.map_err(work)?.as_bytes())?;
    report(arguments, &plan, &rig, &track)
}

fn track(
    arguments: &Plan,
    plan: &motion::Plan,
    rig: &Rig,
    audio: &[u8],
    form: Form,
) -> Result<ServoTrack, Failure> {
    let named = |part: Option<&std::ffi::OsStr>| part.unwrap_or_default().to_string_lossy().into_owned();
    let meta = TrackMeta {
        line: named(arguments.line.audio.file_stem()),
        audio_name: named(arguments.line.audio.file_name()),
        audio_sha256: sha256_hex(audio),
    };
    let made = if form == Form::Keyframes {
        let tolerance = arguments.tolerance_us;
        if !(tolerance > 0.0 && tolerance.is_finite()) {
            return Err(Failure::Argument(format!(
                "--tolerance-us {tolerance}: give a positive number of microseconds"
            )));
        }
        let keys = motion::keyframes(plan, rig, Microseconds::new(tolerance));
        ServoTrack::from_keyframes(plan, &keys, rig, meta)
    } else {
        ServoTrack::from_plan(plan, rig, meta)
    };
    made.map_err(work)
}

fn report(arguments: &Plan, plan: &motion::Plan, rig: &Rig, track: &ServoTrack) -> Result<ExitCode, Failure> {
    let mut out = std::io::stdout().lock();
    let summary = &plan.summary;
    let knots: usize = track.servos().iter().filter_map(|s| Some(s.knots()?.len())).sum();
    let form = if knots > 0 { format!("{knots} keyframes") } else { "every frame".to_owned() };
    writeln!(
        out,
        "{}: {} servos, {} frames of {:.0} ms from {:.2}, {form}; every limit of rig '{}' holds",
        arguments.output.display(),
        rig.servos().len(),
        plan.frames(),
        plan.frame.value() * 1000.0,
        plan.start,
        rig.name()
    )?;
    writeln!(
        out,
        "closures reached {} of {}, tongue contacts {} of {}, weighted error {:.2} mm",
        summary.closures_reached,
        summary.closures,
        summary.tongue_contacts_reached,
        summary.tongue_contacts,
        summary.weighted_error
    )?;
    writeln!(
        out,
        "current: mean {:.1}, peak {:.1} at {:.2}, budget {:.1} (estimated)",
        summary.mean_current, summary.peak_current, summary.peak_at, summary.current_budget
    )?;
    if plan.shortfalls.is_empty() {
        writeln!(out, "everything asked was reached")?;
        return Ok(ExitCode::SUCCESS);
    }
    // The most important first, and no more than a person reads.
    const SHOWN: usize = 12;
    let miss = |s: &Shortfall| s.importance * (s.wanted - s.reached).abs();
    let mut worst: Vec<&Shortfall> = plan.shortfalls.iter().collect();
    worst.sort_by(|a, b| miss(b).total_cmp(&miss(a)));
    writeln!(out, "not reached:")?;
    for shortfall in worst.iter().take(SHOWN) {
        writeln!(out, "  {} ({})", shortfall.sentence(rig), shortfall.shape)?;
    }
    if worst.len() > SHOWN {
        writeln!(out, "  and {} smaller ones", worst.len() - SHOWN)?;
    }
    Ok(ExitCode::SUCCESS)
}

#[derive(Clone, Copy, PartialEq)]
enum Form {
    Keyframes,
    Dense,
    Csv,
}

impl Form {
    fn of(arguments: &Plan) -> Result<Self, Failure> {
        match arguments.output.extension().and_then(|e| e.to_str()) {
            Some("csv") => Ok(Form::Csv),
            Some("json") if arguments.dense => Ok(Form::Dense),
            Some("json") => Ok(Form::Keyframes),
            _ => Err(Failure::Argument(format!(
                "cannot tell the form of {}; end its name in .json or .csv",
                arguments.output.display()
            ))),
        }
    }
}
