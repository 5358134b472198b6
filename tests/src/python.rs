//! The judges written in Python, in the virtual environment that `make test-tools` makes.

use crate::{cache, workspace};
use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};

/// The interpreter of the virtual environment.
///
/// # Panics
/// Where it has not been made.
#[must_use]
pub fn interpreter() -> PathBuf {
    let python = cache().join("python/bin/python");
    assert!(python.exists(), "{} is missing; run `make test-tools`", python.display());
    python
}

/// Runs a script of `tests/reference` with this text as its input; whether it was content, and what
/// it said.
///
/// # Panics
/// Where Python cannot be started.
#[must_use]
pub fn run(script: &str, input: &str) -> (bool, String) {
    let mut child = Command::new(interpreter())
        .arg(workspace().join("tests/reference").join(script))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let mut pipe = child.stdin.take().expect("a pipe");
    let input = input.to_owned();
    // Written from a thread of its own: a script may answer before it has read everything.
    let writer = std::thread::spawn(move || pipe.write_all(input.as_bytes()));
    let output = child.wait_with_output().expect("Python ends");
    let _ = writer.join(); // A script that stopped early has said why.
    let said =
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    (output.status.success(), said)
}
