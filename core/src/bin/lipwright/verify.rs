//! `lipwright verify`

use super::arguments::Verify;
use super::files::{Failure, content, read, rig};
use lipwright_core::export::{ServoTrack, TrackError, verify as check};
use std::io::Write;
use std::process::ExitCode;

pub fn verify(arguments: &Verify) -> Result<ExitCode, Failure> {
    let rig = rig(&arguments.rig)?;
    let bytes = read(&arguments.track)?;
    let track = ServoTrack::from_bytes(&bytes).map_err(content::<TrackError>(&arguments.track))?;
    let verdict = check(&track, &rig);
    let mut out = std::io::stdout().lock();
    writeln!(out, "{verdict}")?;
    Ok(if verdict.holds() { ExitCode::SUCCESS } else { ExitCode::from(1) })
}
