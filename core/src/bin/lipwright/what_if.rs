//! `lipwright what-if`: which faster servos would buy the most.

use super::arguments::WhatIf;
use super::files::{Failure, Terminal, hear_line, rig, work};
use lipwright_core::line::Line;
use lipwright_core::motion::{self, PlanSettings};
use lipwright_core::rig::FacePart;
use std::io::Write;
use std::process::ExitCode;

pub fn what_if(arguments: &WhatIf) -> Result<ExitCode, Failure> {
    let rig = rig(&arguments.rig)?;
    let (_, hearing) = hear_line(&arguments.line)?;
    let line = Line::from_hearing(&hearing).map_err(work)?;
    let settings = PlanSettings::default();
    let mut terminal = Terminal::new();
    let rows =
        motion::what_if(line.segments(), line.duration(), &rig, &settings, &arguments.factors, &mut terminal)
            .map_err(work)?;
    drop(terminal);
    let mut out = std::io::stdout().lock();
    writeln!(
        out,
        "{:<22} {:>6} {:>6} {:>9} {:>8} {:>12} {:>9}",
        "servos", "count", "speed", "closures", "tongue", "not reached", "error"
    )?;
    for row in rows {
        let name = match row.part {
            _ if row.servos.is_empty() => "as the head is",
            None => "all",
            Some(FacePart::Jaw) => "jaw",
            Some(FacePart::Lips) => "lips",
            Some(FacePart::Corners) => "mouth corners",
            Some(FacePart::Tongue) => "tongue",
            Some(FacePart::Brows) => "brows",
            Some(FacePart::Neck) => "neck",
            Some(FacePart::Lids) => "lids",
        };
        writeln!(
            out,
            "{name:<22} {:>6} {:>5.2}x {:>5}/{:<3} {:>8} {:>12} {:>6.2} mm",
            row.servos.len(),
            row.factor,
            row.closures_reached,
            row.closures,
            row.tongue_contacts_reached,
            row.shortfalls,
            row.weighted_error
        )?;
    }
    Ok(ExitCode::SUCCESS)
}
