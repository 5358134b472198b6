//! The built command line.

use crate::workspace;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

/// Path of the release build of `lipwright`, built once if need be; or of the one that the environment
/// names in `LIPWRIGHT_COMMAND`, as a run that measures coverage does.
///
/// # Panics
/// Where it does not build.
pub fn path() -> &'static Path {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(|| {
        if let Some(given) = std::env::var_os("LIPWRIGHT_COMMAND") {
            return given.into();
        }
        let status = Command::new(env!("CARGO"))
            .args(["build", "--quiet", "--release", "-p", "lipwright-core", "--bin", "lipwright"])
            .current_dir(workspace())
            .status()
            .expect("cargo runs");
        assert!(status.success(), "lipwright does not build");
        let target =
            std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| workspace().join("target"), PathBuf::from);
        target.join("release").join(format!("lipwright{}", std::env::consts::EXE_SUFFIX))
    })
}

/// Runs `lipwright` with these arguments in the workspace folder.
///
/// # Panics
/// Where it cannot be started.
pub fn run<S: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = S>) -> Output {
    run_in(&workspace(), arguments)
}

/// Runs `lipwright` with these arguments in another folder.
///
/// # Panics
/// Where it cannot be started.
pub fn run_in<S: AsRef<std::ffi::OsStr>>(folder: &Path, arguments: impl IntoIterator<Item = S>) -> Output {
    Command::new(path()).args(arguments).current_dir(folder).output().expect("lipwright starts")
}

/// Runs `lipwright`, expects exit status 0, and returns standard output.
///
/// # Panics
/// Where the status is another; the message carries what it said.
pub fn run_ok<S: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = S>) -> String {
    let output = run(arguments);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "{}\n{said}\n{}",
        output.status,
        String::from_utf8_lossy(&output.stdout)
    );
    String::from_utf8(output.stdout).expect("output is UTF-8")
}
