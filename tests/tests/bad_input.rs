//! Broken, hostile and odd files: each gets words that help, nothing panics, nothing is lost.
//!
//! `tests/bad-input/make.py` makes the files, and `expected.json` beside it says what must be answered.

use lipwright_core::export::packed;
use lipwright_core::project::Project;
use lipwright_tests::browser::Browser;
use lipwright_tests::{command, workspace};
use serde::Deserialize;
use std::path::PathBuf;

/// One file of the corpus and what must be said about it.
#[derive(Deserialize)]
struct Case {
    /// Path below `tests/bad-input`; its first folder is the kind.
    file: String,
    /// Exit status of the command.
    code: i32,
    /// Each must stand in the answer.
    says: Vec<String>,
    /// Why the page treats the file otherwise, where it does.
    #[serde(default)]
    page_differs: Option<String>,
}

impl Case {
    fn path(&self) -> PathBuf {
        workspace().join("tests/bad-input").join(&self.file)
    }

    fn kind(&self) -> &str {
        self.file.split('/').next().expect("a folder")
    }
}

fn cases() -> Vec<Case> {
    let list = workspace().join("tests/bad-input/expected.json");
    let text = std::fs::read_to_string(list).expect("expected.json is part of the repository");
    serde_json::from_str(&text).expect("a list of cases")
}

#[test]
fn the_corpus_is_whole() {
    let cases = cases();
    assert!(cases.len() >= 120, "{} files", cases.len());
    for case in &cases {
        assert!(case.path().is_file(), "{} is missing; run tests/bad-input/make.py", case.file);
        assert!(case.code == 0 || !case.says.is_empty(), "{}: an error without words", case.file);
    }
}

#[test]
fn the_command_answers_every_bad_file_in_words() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let track = folder.path().join("good.json").to_string_lossy().into_owned();
    command::run_ok(["plan", "sample-audio/toy-boat.wav", "--rig", "jaw-only", "-o", &track]);
    let mut faults = Vec::new();
    for case in cases() {
        let file = case.path().to_string_lossy().into_owned();
        let arguments: Vec<&str> = match case.kind() {
            "wav" => vec!["shapes", &file],
            "script" => vec!["shapes", "sample-audio/toy-boat.wav", "--script", &file],
            "rig" => vec!["verify", &track, "--rig", &file],
            "track" => vec!["verify", &file, "--rig", "jaw-only"],
            // Below: no command opens a project by itself, and packed tracks are the controller's to read.
            "project" | "packed" => continue,
            other => panic!("no command for files of kind {other}"),
        };
        let output = command::run(&arguments);
        let said =
            String::from_utf8_lossy(&output.stderr).into_owned() + &String::from_utf8_lossy(&output.stdout);
        let mut fault = |what: String| faults.push(format!("{}: {what}\n    {}", case.file, said.trim()));
        if output.status.code() != Some(case.code) {
            fault(format!("exit status {} and not {}", output.status, case.code));
        }
        for words in case.says.iter().filter(|w| !said.contains(*w)) {
            fault(format!("lacks '{words}'"));
        }
        if said.contains("panicked") {
            fault("a panic".into());
        }
        if case.code == 2 && !said.contains(&file) {
            fault("does not name the file".into());
        }
    }
    assert!(faults.is_empty(), "{} faults\n{}", faults.len(), faults.join("\n"));
}

#[test]
fn every_bad_project_is_refused_in_words() {
    for case in cases().iter().filter(|c| c.kind() == "project") {
        let bytes = std::fs::read(case.path()).expect("part of the repository");
        let said = match String::from_utf8(bytes) {
            Ok(text) => Project::from_json(&text).expect_err(&case.file).to_string(),
            Err(_) => "not UTF-8 text".to_owned(),
        };
        for words in &case.says {
            assert!(said.contains(words), "{}: '{said}' lacks '{words}'", case.file);
        }
    }
}

#[test]
fn every_bad_packed_track_is_refused_in_words() {
    for case in cases().iter().filter(|c| c.kind() == "packed") {
        let bytes = std::fs::read(case.path()).expect("part of the repository");
        let said = packed::read(&bytes).expect_err(&case.file).to_string();
        for words in &case.says {
            assert!(said.contains(words), "{}: '{said}' lacks '{words}'", case.file);
        }
    }
}

/// The page is given every broken recording and project; it answers in the same words as the command,
/// and the line that was open is still there and ready.
#[tokio::test(flavor = "multi_thread")]
async fn the_page_answers_bad_files_in_words_and_keeps_the_line() {
    const READY: &str = "document.body.dataset.status === 'ready'";
    const SEGMENTS: &str =
        "[...document.querySelectorAll('[data-testid=segments] [role=option]')].map(e => e.outerText).join()";
    let browser = Browser::open().await;
    browser.until(READY).await;
    browser.until("document.querySelectorAll('[data-testid=segments] [role=option]').length > 1").await;
    let before = browser.eval(SEGMENTS).await;
    let shown: Vec<Case> =
        cases().into_iter().filter(|c| matches!(c.kind(), "wav" | "project") && c.code == 2).collect();
    assert!(shown.len() >= 50, "{} files for the page", shown.len());
    for case in shown {
        let input = browser.find("[data-testid=file]").await;
        input.send_keys(&case.path().to_string_lossy()).await.expect("the file is chosen");
        let name = case.path().file_name().expect("a name").to_string_lossy().into_owned();
        // What Lipwright leaves to the browser is answered in the browser's words, with the file's name.
        let elsewhere = [name, "could not be read".to_owned()];
        let words = if case.page_differs.is_some() { &elsewhere[..] } else { &case.says };
        for words in words {
            let words = serde_json::to_string(words).expect("text");
            browser
                .until(&format!(
                    "(document.querySelector('[data-testid=error]')?.textContent ?? '').includes({words})"
                ))
                .await;
        }
        browser.click("[data-testid=error] button").await;
        browser.until("!document.querySelector('[data-testid=error]')").await;
        browser.until(READY).await;
    }
    assert_eq!(browser.eval(SEGMENTS).await, before, "the open line is as it was");
    browser.close().await;
}
