//! Mutation of the planner and the rig without a build for each change.
//!
//!   lipwright-mutants build LIST.json PLACE      a copy of core in PLACE/copy with every change behind a switch
//!   lipwright-mutants run LIST.json PLACE PART   which tests reach which change; then each change with those tests
//!   lipwright-mutants report LIST.json PLACE     the counts by file, and what went unnoticed
//!   lipwright-mutants alone LIST.json PLACE      changes that take no switch
//!   lipwright-mutants sample LIST.json PLACE N   ten changes drawn by a number, to compare with cargo-mutants itself
//!
//! `tests/setup/mutants.sh` calls it. What it writes in PLACE is kept: a run that is stopped goes on where it was.

mod copy;
mod list;
mod report;
mod run;
mod weave;

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match words[..] {
        ["build", list, place] => copy::build(Path::new(list), Path::new(place)),
        ["run", list, place, part] => run::run(Path::new(list), Path::new(place), part),
        ["alone", list, place] => report::alone(Path::new(list), Path::new(place)),
        ["sample", list, place, seed] => report::sample(Path::new(list), Path::new(place), seed),
        ["report", list, place] => report::report(Path::new(list), Path::new(place)),
        _ => {
            Err("give build, run, report, alone or sample, the list of changes and the place for results"
                .into())
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(what) => {
            eprintln!("mutants: {what}");
            ExitCode::FAILURE
        }
    }
}

/// Reads the list of changes; numbers begin at [`FIRST`].
fn changes(path: &Path) -> Result<Vec<list::Change>, String> {
    let text = std::fs::read_to_string(path).map_err(|e| format!("{}: {e}", path.display()))?;
    serde_json::from_str(&text).map_err(|e| format!("{} is no list of changes: {e}", path.display()))
}

/// Numbers below are the switch's own.
const FIRST: usize = 2;
