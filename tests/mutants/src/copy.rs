//! The copy of core that holds every change, built once.

use crate::list::Change;
use crate::{FIRST, changes, weave};
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

const SWITCH: &str = include_str!("../switch.rs");

/// Where it stands in the copy.
const OWN: &str = "core/src/mutant.rs";

/// Weaves the changes into `place/copy`, leaves out what does not compile, builds the tests, and writes which
/// changes the program holds (`place/switched.json`).
pub fn build(list: &Path, place: &Path) -> Result<(), String> {
    let changes = changes(list)?;
    let copy = place.join("copy");
    let mut files: BTreeMap<&str, Vec<(usize, Change)>> = BTreeMap::new();
    for (k, change) in changes.iter().enumerate() {
        files.entry(&change.file).or_default().push((k + FIRST, change.clone()));
    }
    let woven: BTreeSet<&Path> = files.keys().map(Path::new).collect();
    mirror(Path::new("core"), &copy, &woven)?;
    let (mut fixed, mut blame) = (BTreeSet::new(), Blame::default());
    loop {
        let mut switched = BTreeSet::new();
        for (file, changes) in &files {
            let text = std::fs::read_to_string(file).map_err(|e| format!("{file}: {e}"))?;
            let left: Vec<_> = changes
                .iter()
                .filter(|(n, _)| !blame.broken.contains(n) && !blame.alone.contains(n))
                .cloned()
                .collect();
            let woven =
                weave::weave(&text, &left, &fixed, &blame.plain).map_err(|e| format!("{file}: {e}"))?;
            blame.broken.extend(woven.nonsense);
            switched.extend(woven.switched);
            write(&copy.join(file), &woven.text)?;
        }
        write(&copy.join(OWN), SWITCH)?;
        let library = std::fs::read_to_string("core/src/lib.rs").map_err(|e| e.to_string())?;
        write(&copy.join("core/src/lib.rs"), &library.replacen("pub mod audio;", HEAD, 1))?;
        let complaints = complaints(&copy, "check")?;
        eprintln!("{} switches, {} complaints", switched.len(), complaints.len());
        if complaints.is_empty() {
            let broken = &blame.broken;
            let alone: Vec<usize> = (FIRST..changes.len() + FIRST)
                .filter(|n| !switched.contains(n) && !broken.contains(n))
                .collect();
            let kept = serde_json::json!({ "switched": switched, "broken": broken, "alone": alone });
            write(&place.join("switched.json"), &kept.to_string())?;
            break;
        }
        let before = blame.count() + fixed.len();
        let mut hard = BTreeSet::new();
        for complaint in &complaints {
            if let Some(name) = complaint.must_be_known() {
                fixed.insert(name);
                continue;
            }
            complaint.blame(&copy, &mut blame.broken, &mut hard);
        }
        blame.simplify(&hard - &blame.broken);
        if blame.count() + fixed.len() == before {
            return Err(format!(
                "the copy does not compile, and no change is to blame: {}",
                complaints[0].message
            ));
        }
    }
    let program = program(&copy)?;
    write(&place.join("program"), &program)
}

/// What the copy's library begins with.
const HEAD: &str =
    "#![allow(warnings, clippy::all)]\n#[allow(missing_docs)]\npub mod mutant;\npub mod audio;";

/// Makes a folder of the copy the same, but for what is woven. What is there already is left as it is, so that it is
/// not built again.
fn mirror(folder: &Path, copy: &Path, woven: &BTreeSet<&Path>) -> Result<(), String> {
    let failed = |e: std::io::Error| format!("{}: {e}", folder.display());
    std::fs::create_dir_all(copy.join(folder)).map_err(failed)?;
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        if path.is_dir() {
            mirror(&path, copy, woven)?;
        } else if !woven.contains(path.as_path()) && path != Path::new("core/src/lib.rs") {
            let (old, new) = (std::fs::read(copy.join(&path)).ok(), std::fs::read(&path).map_err(failed)?);
            if old.as_ref() != Some(&new) {
                std::fs::write(copy.join(&path), new).map_err(failed)?;
            }
        }
    }
    // What is gone here goes there, too.
    for entry in std::fs::read_dir(copy.join(folder)).map_err(failed)? {
        let path = folder.join(entry.map_err(failed)?.file_name());
        if path.exists() || path == Path::new(OWN) {
            continue;
        }
        let old = copy.join(&path);
        if old.is_dir() { std::fs::remove_dir_all(old) } else { std::fs::remove_file(old) }
            .map_err(failed)?;
    }
    Ok(())
}

fn write(path: &Path, text: &str) -> Result<(), String> {
    if std::fs::read_to_string(path).is_ok_and(|old| old == text) {
        return Ok(());
    }
    std::fs::write(path, text).map_err(|e| format!("{}: {e}", path.display()))
}

fn cargo(copy: &Path, what: &str) -> Result<Vec<Message>, String> {
    let mut command = Command::new("cargo");
    command.args([what, "--offline", "-q", "-p", "lipwright-core", "--lib", "--message-format=json"]);
    command.args(if what == "check" { ["--profile", "test"].as_slice() } else { ["--no-run"].as_slice() });
    let done = command.current_dir(copy).output().map_err(|e| format!("cargo: {e}"))?;
    let lines = String::from_utf8_lossy(&done.stdout).into_owned();
    let messages: Vec<Message> = lines.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
    if messages.is_empty() {
        return Err(String::from_utf8_lossy(&done.stderr).into_owned());
    }
    Ok(messages)
}

fn complaints(copy: &Path, what: &str) -> Result<Vec<Complaint>, String> {
    let messages = cargo(copy, what)?;
    Ok(messages
        .into_iter()
        .filter_map(|m| m.message)
        .filter(|m| m.level == "error" && !m.spans.is_empty())
        .collect())
}

fn program(copy: &Path) -> Result<String, String> {
    let built = cargo(copy, "test")?.into_iter().filter_map(|m| m.executable).next_back();
    built.ok_or_else(|| "cargo names no program of tests".into())
}

/// Changes that the compiler complained of.
#[derive(Default)]
struct Blame {
    /// They mean nothing, switch or no switch.
    broken: BTreeSet<usize>,
    /// They get a switch without a look at what it would do.
    plain: BTreeSet<usize>,
    /// They get no switch.
    alone: BTreeSet<usize>,
}

impl Blame {
    fn count(&self) -> usize {
        self.broken.len() + self.plain.len() + self.alone.len()
    }

    /// These switches do not compile as they are.
    fn simplify(&mut self, numbers: BTreeSet<usize>) {
        for number in numbers {
            if !self.plain.insert(number) {
                self.alone.insert(number);
            }
        }
    }
}

#[derive(Deserialize)]
struct Message {
    message: Option<Complaint>,
    executable: Option<String>,
}

#[derive(Deserialize)]
struct Complaint {
    level: String,
    message: String,
    code: Option<Code>,
    spans: Vec<Stretch>,
}

#[derive(Deserialize)]
struct Code {
    code: String,
}

#[derive(Deserialize)]
struct Stretch {
    file_name: String,
    byte_start: usize,
    byte_end: usize,
    is_primary: bool,
}

/// Complaints about types: the change means nothing there, switch or no switch.
const MEANINGLESS: [&str; 8] = ["E0277", "E0308", "E0369", "E0368", "E0600", "E0599", "E0423", "E0425"];

impl Complaint {
    /// The function that something calls while the program is built (E0015).
    fn must_be_known(&self) -> Option<String> {
        self.code.as_ref().filter(|c| c.code == "E0015")?;
        self.message.split('`').nth(1)?.rsplit("::").next().map(str::to_owned)
    }

    /// Finds the change that the compiler complains of. Within a changed arm it is that change; else all those of
    /// the place get a simpler switch, and if that does not help none: they are to be tried alone.
    fn blame(&self, copy: &Path, broken: &mut BTreeSet<usize>, hard: &mut BTreeSet<usize>) {
        let meaningless = self.code.as_ref().is_some_and(|c| MEANINGLESS.contains(&c.code.as_str()));
        let mut around = BTreeSet::new();
        let primary_first =
            self.spans.iter().filter(|s| s.is_primary).chain(self.spans.iter().filter(|s| !s.is_primary));
        for stretch in primary_first {
            let Ok(text) = std::fs::read_to_string(copy.join(&stretch.file_name)) else { continue };
            if let Some(number) = arm(&text[..stretch.byte_start.min(text.len())]) {
                if meaningless {
                    broken.insert(number)
                } else {
                    hard.insert(number)
                };
                return;
            }
            around.extend(nearby(&text, stretch.byte_start, stretch.byte_end));
        }
        hard.extend(around);
    }
}

/// The change within whose arm a text ends.
fn arm(before: &str) -> Option<usize> {
    let open = before.rfind("/*<")?;
    (before.rfind("/*>").is_none_or(|closed| closed < open)).then(|| number(&before[open + 3..])).flatten()
}

/// The changes whose switches stand around a stretch, else those on its lines.
fn nearby(text: &str, from: usize, to: usize) -> Vec<usize> {
    let start = text[..from.min(text.len())].rfind('\n').unwrap_or(0);
    let end = text[to.min(text.len())..].find('\n').map_or(text.len(), |n| to + n);
    let mut open: Vec<Vec<usize>> = vec![];
    let (mut found, mut at, mut last) = (vec![], 0, None);
    while let Some(next) = text[at..].find("/*").map(|n| at + n) {
        if next >= end {
            break;
        }
        let rest = &text[next + 2..];
        if let Some(name) = rest.strip_prefix('[') {
            let number = number(name);
            // Names of one switch stand one after another.
            match (last == Some(next), open.last_mut()) {
                (true, Some(top)) => top.extend(number),
                _ => open.push(number.into_iter().collect()),
            }
            last = rest.find("*/").map(|n| next + 2 + n + 2);
            if next >= start {
                found.extend(number);
            }
        } else if rest.starts_with("]*/") {
            let closed = open.pop();
            if next >= start {
                found.extend(closed.into_iter().flatten());
            }
        }
        at = next + 2;
    }
    if found.is_empty() { open.pop().unwrap_or_default() } else { found }
}

fn number(text: &str) -> Option<usize> {
    text.split("*/").next()?.parse().ok()
}
