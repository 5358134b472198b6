//! The command line: the same computation as the page, on files.

#[path = "lipwright/arguments.rs"]
mod arguments;
#[path = "lipwright/batch.rs"]
mod batch;
#[path = "lipwright/deliver.rs"]
mod deliver;
#[path = "lipwright/export.rs"]
mod export;
#[path = "lipwright/files.rs"]
mod files;
#[path = "lipwright/hear.rs"]
mod hear;
#[path = "lipwright/names.rs"]
mod names;
#[path = "lipwright/plan.rs"]
mod plan;
#[path = "lipwright/score.rs"]
mod score;
#[path = "lipwright/sketch.rs"]
mod sketch;
#[path = "lipwright/verify.rs"]
mod verify;
#[path = "lipwright/what_if.rs"]
mod what_if;

use arguments::{Arguments, Command};
use clap::Parser;
use files::Failure;
use std::process::ExitCode;

fn main() -> ExitCode {
    let result = match Arguments::parse().command {
        Command::Shapes(a) => hear::shapes(&a),
        Command::Looks(a) => hear::looks(&a),
        Command::Plan(a) => plan::plan(&a),
        Command::Export(a) => export::export(&a),
        Command::Batch(a) => batch::batch(&a),
        Command::Verify(a) => verify::verify(&a),
        Command::WhatIf(a) => what_if::what_if(&a),
        Command::Score(a) => score::score(&a),
        Command::Sketch(a) => sketch::sketch(&a),
        Command::Rig(a) => files::rig_preset(&a),
    };
    match result {
        Ok(code) => code,
        // A reader that stopped listening (`lipwright … | head`) is not a failure.
        Err(Failure::OutputClosed) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("lipwright: {failure}");
            ExitCode::from(2)
        }
    }
}
