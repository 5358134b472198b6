//! `lipwright plan`

use super::arguments::Plan;
use super::files::{Failure, Terminal, hear_line, rig, work, write};
use lipwright_core::export::{ServoTrack, TrackMeta, TrackServo, sha256_hex};
use lipwright_core::line::Line;
use lipwright_core::motion::{self, KeyframeForm, PlanSettings, Shortfall};
use lipwright_core::rig::Rig;
use lipwright_core::units::{Microseconds, Seconds};
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

pub fn plan(arguments: &Plan) -> Result<ExitCode, Failure> {
    let form = arguments.output.as_deref().map(|path| Form::of(arguments, path)).transpose()?;
    let mut rig = rig(&arguments.rig)?;
    for speed in &arguments.speeds {
        rig = motion::with_servo_speed(&rig, speed.part, speed.per_60_degrees).map_err(work)?;
    }
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
    let plan = motion::plan_line(&line, &rig, &settings, &mut Terminal::new()).map_err(work)?;
    if let (Some(path), Some(form)) = (&arguments.output, form) {
        let track = track(arguments, &plan, &rig, &bytes, form)?;
        // Exporting reads back what it wrote and verifies it: a track that breaks a limit of its own
        // rig never reaches the disk.
        let csv = path.extension().is_some_and(|e| e == "csv");
        let text = if csv { track.export_csv(&rig) } else { track.export_json(&rig) };
        write(path, text.map_err(work)?.as_bytes())?;
        written(path, &plan, &rig, &track)?;
    }
    report(&plan)
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
    let Form::Keyframes(form) = form else {
        return ServoTrack::from_plan(plan, rig, meta).map_err(work);
    };
    let tolerance = arguments.tolerance_us;
    if !(tolerance > 0.0 && tolerance.is_finite()) {
        return Err(Failure::Argument(format!(
            "--tolerance-us {tolerance}: give a positive number of microseconds"
        )));
    }
    let tolerance = Microseconds::new(tolerance);
    let made = match form {
        KeyframeForm::Linear => {
            ServoTrack::from_keyframes(plan, &motion::keyframes(plan, rig, tolerance), rig, meta)
        }
        KeyframeForm::Smooth => {
            let keys = motion::smooth_keyframes(plan, rig, tolerance);
            ServoTrack::from_smooth_keyframes(plan, &keys, rig, meta)
        }
    };
    made.map_err(work)
}

/// Says what was written.
fn written(path: &Path, plan: &motion::Plan, rig: &Rig, track: &ServoTrack) -> Result<(), Failure> {
    let knots: usize = track.servos().iter().map(TrackServo::knot_count).sum();
    let form = match (knots, track.is_smooth()) {
        (0, _) => "every frame".to_owned(),
        (_, true) => format!("{knots} smooth keyframes"),
        (_, false) => format!("{knots} keyframes"),
    };
    writeln!(
        std::io::stdout().lock(),
        "{}: {} servos, {} frames of {:.0} ms from {:.2}, {form}; every limit of rig '{}' holds",
        path.display(),
        rig.servos().len(),
        plan.frames(),
        plan.frame.value() * 1000.0,
        plan.start,
        rig.name()
    )?;
    Ok(())
}

/// No more than a person reads.
const SHOWN: usize = 12;

fn report(plan: &motion::Plan) -> Result<ExitCode, Failure> {
    let mut out = std::io::stdout().lock();
    let summary = &plan.summary;
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
    let missed: Vec<_> = plan.contacts.iter().filter(|c| !c.reached).collect();
    for contact in missed.iter().take(SHOWN) {
        writeln!(out, "{}", contact.sentence())?;
    }
    if missed.len() > SHOWN {
        writeln!(out, "and {} more contacts missed", missed.len() - SHOWN)?;
    }
    for look in plan.looks.iter().take(SHOWN) {
        writeln!(out, "{} ({})", look.sentence(), look.expression)?;
    }
    if plan.looks.len() > SHOWN {
        writeln!(out, "and {} more looks that fall short", plan.looks.len() - SHOWN)?;
    }
    for event in plan.event_shortfalls.iter().take(SHOWN) {
        writeln!(out, "{}", event.sentence())?;
    }
    if plan.event_shortfalls.len() > SHOWN {
        writeln!(out, "and {} more blinks and turns that fall short", plan.event_shortfalls.len() - SHOWN)?;
    }
    if plan.shortfalls.is_empty() {
        if missed.is_empty() && plan.looks.is_empty() && plan.event_shortfalls.is_empty() {
            writeln!(out, "everything asked was reached")?;
        }
        return Ok(ExitCode::SUCCESS);
    }
    // The most important first.
    let miss = |s: &Shortfall| s.importance * (s.wanted - s.reached).abs();
    let mut worst: Vec<&Shortfall> = plan.shortfalls.iter().collect();
    worst.sort_by(|a, b| miss(b).total_cmp(&miss(a)));
    writeln!(out, "not reached:")?;
    for shortfall in worst.iter().take(SHOWN) {
        writeln!(out, "  {} ({})", shortfall.sentence(), shortfall.shape)?;
    }
    if worst.len() > SHOWN {
        writeln!(out, "  and {} smaller ones", worst.len() - SHOWN)?;
    }
    Ok(ExitCode::SUCCESS)
}

#[derive(Clone, Copy)]
enum Form {
    Dense,
    Keyframes(KeyframeForm),
}

impl Form {
    fn of(arguments: &Plan, path: &Path) -> Result<Self, Failure> {
        let asked = arguments.keyframes.map(KeyframeForm::from);
        match path.extension().and_then(|e| e.to_str()) {
            Some("csv") => Ok(asked.map_or(Self::Dense, Self::Keyframes)),
            Some("json") if arguments.dense => Ok(Self::Dense),
            Some("json") => Ok(Self::Keyframes(asked.unwrap_or_default())),
            _ => Err(Failure::Argument(format!(
                "cannot tell the form of {}; end its name in .json or .csv",
                path.display()
            ))),
        }
    }
}
