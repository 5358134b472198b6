//! The README is a contract: every command it shows runs, every target, subcommand and option it names is
//! there, every file it links to exists.
//!
//! What is not run here, and why: `make run` and `make test` (the second runs this test, the first serves
//! until it is stopped) are asked what they would do (`make -n`); `make command` is what built the command
//! that runs here. `alias` is a shell's own affair. A `*` stands for what a shell would put there.

use lipwright_tests::{command, sample_lines, workspace};
use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

fn readme() -> String {
    std::fs::read_to_string(workspace().join("README.md")).expect("the README")
}

/// The lines of every block of shell commands, remarks taken off.
fn commands(text: &str) -> Vec<String> {
    let mut out = Vec::new();
    let mut inside = false;
    for line in text.lines() {
        if let Some(kind) = line.strip_prefix("```") {
            inside = kind == "sh";
        } else if inside && !line.trim().is_empty() {
            out.push(line.split(" #").next().unwrap_or(line).trim().to_owned());
        }
    }
    out
}

/// What stands between single backquotes.
fn quoted(text: &str) -> Vec<&str> {
    let plain = text.split("```").step_by(2);
    plain.flat_map(|part| part.split('`').skip(1).step_by(2)).collect()
}

fn targets() -> BTreeSet<String> {
    let output = Command::new("make").arg("help").current_dir(workspace()).output().expect("make is there");
    assert!(output.status.success());
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    said.lines().filter_map(|l| l.split_whitespace().next()).map(str::to_owned).collect()
}

#[test]
fn every_command_of_the_readme_runs_in_its_order() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let lines = folder.path().join("sample-audio");
    std::fs::create_dir(&lines).expect("a folder");
    for entry in std::fs::read_dir(workspace().join("sample-audio")).expect("sample lines").flatten() {
        std::fs::copy(entry.path(), lines.join(entry.file_name())).expect("copied");
    }
    let mut ran = 0;
    for line in commands(&readme()) {
        let mut words = line.split_whitespace();
        match words.next() {
            Some("lipwright") => {
                let mut arguments = Vec::new();
                for word in words {
                    if word == "sample-audio/*.wav" {
                        arguments.extend(sample_lines().iter().map(|p| p.to_string_lossy().into_owned()));
                    } else {
                        assert!(
                            !word.contains(['*', '|', '>', '$']),
                            "{line}: nothing here stands for a shell"
                        );
                        arguments.push(word.to_owned());
                    }
                }
                let output = command::run_in(folder.path(), &arguments);
                assert!(output.status.success(), "{line}\n{}", String::from_utf8_lossy(&output.stderr));
                ran += 1;
            }
            Some("make") => {
                let output = Command::new("make")
                    .arg("-n")
                    .args(words)
                    .current_dir(workspace())
                    .output()
                    .expect("make is there");
                assert!(output.status.success(), "{line}: {}", String::from_utf8_lossy(&output.stderr));
            }
            Some("alias") => assert_eq!(line, "alias lipwright=target/release/lipwright"),
            _ => panic!("the README shows '{line}', and nothing here knows how to run it"),
        }
    }
    assert!(ran >= 10, "the README shows {ran} commands of lipwright");
}

#[test]
fn every_target_that_a_page_names_is_in_make_help() {
    let targets = targets();
    for page in ["README.md", "DEVELOPERS.md", "core/training/README.md", "tests/EVIDENCE.md"] {
        let text = std::fs::read_to_string(workspace().join(page)).expect(page);
        let shown = commands(&text);
        let named = quoted(&text).into_iter().chain(shown.iter().map(String::as_str));
        for line in named.filter(|q| q.starts_with("make ")) {
            let target = line.split_whitespace().nth(1).unwrap_or_default();
            assert!(targets.contains(target), "{page} names `{line}`, and make help does not list it");
        }
    }
    assert!(targets.contains("run") && targets.contains("test"), "{targets:?}");
}

#[test]
fn every_subcommand_and_option_that_the_readme_names_exists() {
    let verbs = ["shapes", "plan", "export", "batch", "verify", "sketch", "what-if", "score", "rig"];
    let help: Vec<(&str, String)> = verbs.iter().map(|v| (*v, command::run_ok([*v, "--help"]))).collect();
    let text = readme();
    for quote in quoted(&text) {
        let mut words = quote.split_whitespace();
        match words.next() {
            Some("lipwright") => {
                if let Some(verb) = words.next() {
                    assert!(verbs.contains(&verb), "`{quote}`: there is no such subcommand");
                }
            }
            Some(option) if option.starts_with("--") => {
                assert!(help.iter().any(|(_, h)| h.contains(option)), "no subcommand takes `{quote}`");
            }
            _ => {}
        }
    }
}

#[test]
fn every_file_that_the_readme_links_to_is_there() {
    let text = readme();
    let mut links = 0;
    for part in text.split("](").skip(1) {
        let target = part.split(')').next().unwrap_or_default();
        if !target.starts_with("http") {
            assert!(workspace().join(target).exists(), "the README links to {target}");
            links += 1;
        }
    }
    for name in quoted(&text).into_iter().filter(|q| q.contains('/') && q.contains('.') && !q.contains(' ')) {
        if !name.starts_with('~') && Path::new(name).is_relative() {
            assert!(workspace().join(name).exists(), "the README names {name}");
            links += 1;
        }
    }
    assert!(links >= 4, "{links} files named");
}
