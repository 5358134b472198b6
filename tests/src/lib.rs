//! What the end-to-end tests share: the built command, the page behind a local server, a browser.
//!
//! `make test` builds and installs what these need; run by hand, each helper says what is missing.

pub mod browser;
pub mod command;
pub mod controller;
pub mod desk;
pub mod fuzz;
pub mod lines;
pub mod memory;
pub mod processes;
pub mod python;
mod server;

pub use server::PageServer;

use std::path::{Path, PathBuf};
use std::time::Duration;

/// The folder of the workspace.
#[must_use]
pub fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("tests/ lies in the workspace").to_path_buf()
}

/// Where `make` keeps installed tools and fetched speech.
#[must_use]
pub fn cache() -> PathBuf {
    if let Some(dir) = std::env::var_os("LIPWRIGHT_CACHE") {
        return dir.into();
    }
    let base = std::env::var_os("XDG_CACHE_HOME")
        .map(PathBuf::from)
        .unwrap_or_else(|| PathBuf::from(std::env::var_os("HOME").expect("a home folder")).join(".cache"));
    base.join("lipwright")
}

/// Time that this thread has spent on a processor, where the system tells (Linux); else the clock. Other
/// work on the machine does not count.
#[must_use]
pub fn processor_time() -> Duration {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|t| t.split(' ').next()?.parse().ok()).map(Duration::from_nanos);
    nanoseconds.unwrap_or_else(|| std::time::SystemTime::UNIX_EPOCH.elapsed().unwrap_or_default())
}

/// Names of the sample lines under `sample-audio/`, from its manifest.
#[must_use]
pub fn sample_lines() -> Vec<PathBuf> {
    let folder = workspace().join("sample-audio");
    let mut lines: Vec<_> = std::fs::read_dir(&folder)
        .expect("sample-audio is part of the repository")
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "wav"))
        .collect();
    lines.sort();
    assert_eq!(lines.len(), 4, "four sample lines in {}", folder.display());
    lines
}

/// A handful of recordings of a real human speaker, fetched by `make test-tools`.
#[must_use]
pub fn human_prompts() -> Vec<PathBuf> {
    let folder = cache().join("human-prompts");
    let names = ["vm-intro", "conf-onlyperson", "vm-options", "queue-thankyou", "privacy-unident"];
    let found: Vec<_> =
        names.iter().map(|n| folder.join(format!("{n}.wav"))).filter(|p| p.exists()).collect();
    assert!(found.len() >= 3, "human speech is missing in {}; run `make test-tools`", folder.display());
    found
}
