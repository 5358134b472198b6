//! Which tests reach which change, and which changes these tests notice.

use crate::list::Change;
use crate::{FIRST, changes};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::fs::File;
use std::io::Write;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Signals by which the system ends what has used up its time.
const SIGKILL: i32 = 9;
const SIGXCPU: i32 = 24;

/// What came of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// A test failed.
    Noticed,
    /// A test did not come to its end in ten times its time and two seconds, of the processor's time.
    Endless,
    /// Every test that reaches it held.
    Unnoticed,
    /// Every test held that was run; some that reach it were left out because they take long.
    Open,
    /// No test reaches it: what is unreached nothing can notice.
    Unreached,
}

/// One line of `results.jsonl`; of several with one name the last counts.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Verdict {
    /// The change.
    pub name: String,
    /// What came of it.
    pub outcome: Outcome,
    /// The test that noticed.
    pub by: Option<String>,
    /// Tests that held with the change on.
    pub held: BTreeSet<String>,
}

/// What a test reaches, and how long it takes.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Reach {
    seconds: f64,
    changes: BTreeSet<usize>,
}

/// What the copy holds.
#[derive(Debug, Deserialize)]
pub struct Held {
    /// Changes with a switch.
    pub switched: BTreeSet<usize>,
    /// Changes that do not compile.
    pub broken: BTreeSet<usize>,
    /// Changes in places that take no switch.
    pub alone: BTreeSet<usize>,
}

/// What the last build put into `place/switched.json`.
pub fn held(place: &Path) -> Result<Held, String> {
    let path = place.join("switched.json");
    let text = std::fs::read_to_string(&path).map_err(|e| format!("{}: {e}; build first", path.display()))?;
    serde_json::from_str(&text).map_err(|e| format!("{}: {e}", path.display()))
}

/// The last verdict of each change.
pub fn verdicts(place: &Path) -> HashMap<String, Verdict> {
    let text = std::fs::read_to_string(place.join("results.jsonl")).unwrap_or_default();
    // A line that was cut when a run was stopped is no verdict.
    let lines = text.lines().filter_map(|line| serde_json::from_str::<Verdict>(line).ok());
    lines.map(|v| (v.name.clone(), v)).collect()
}

/// The changes of a part: `linkages`, `solver`, `rooms` (all else), `all`, or the beginning of a file's path.
pub fn belongs(change: &Change, part: &str) -> bool {
    let linkage = ["push_rod", "five_bar", "table", "rotary", "differential"]
        .iter()
        .any(|name| change.file.ends_with(&format!("/rig/{name}.rs")));
    let solver = change.file.contains("/motion/solver/");
    match part {
        "all" => true,
        "linkages" => linkage,
        "solver" => solver,
        "rooms" => !linkage && !solver,
        path => change.file.contains(path),
    }
}

/// Runs the changes of a part that no test has noticed yet. `HANDS` at a time (1); with `LONGEST`, only by tests
/// that take no more seconds than that, so that a run without it has few changes left for the long ones.
pub fn run(list: &Path, place: &Path, part: &str) -> Result<(), String> {
    let list = changes(list)?;
    let held = held(place)?;
    let program = std::fs::read_to_string(place.join("program")).map_err(|e| format!("{e}; build first"))?;
    let longest = std::env::var("LONGEST").ok().and_then(|s| s.parse().ok()).unwrap_or(f64::INFINITY);
    let tests = Tests { program: PathBuf::from(program), home: place.join("copy/core"), longest };
    let reach = reaches(&tests, place)?;
    let done = verdicts(place);
    let log = File::options().create(true).append(true).open(place.join("results.jsonl"));
    let log = Mutex::new(log.map_err(|e| e.to_string())?);
    let mut work: Vec<usize> =
        held.switched.into_iter().filter(|n| belongs(&list[n - FIRST], part)).collect();
    // What nothing noticed the last time is asked first.
    let before = std::fs::read_to_string(place.join("before.txt")).unwrap_or_default();
    let before: HashSet<(&str, &str)> = before.lines().filter_map(without_place).collect();
    work.sort_by_key(|n| without_place(&list[n - FIRST].name).is_none_or(|name| !before.contains(&name)));
    let hands = std::env::var("HANDS").ok().and_then(|h| h.parse().ok()).unwrap_or(1);
    let next = AtomicUsize::new(0);
    let sharp = Mutex::new(Sharp::new());
    for verdict in done.values() {
        remember(&sharp, verdict);
    }
    std::thread::scope(|scope| {
        for _ in 0..hands {
            scope.spawn(|| {
                while let Some(n) = work.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let name = &list[n - FIRST].name;
                    let before = done.get(name);
                    if before.is_some_and(|v| matches!(v.outcome, Outcome::Noticed | Outcome::Endless)) {
                        continue;
                    }
                    let verdict = judged(*n, name, before, &tests, &ordered(*n, name, &reach, &sharp));
                    remember(&sharp, &verdict);
                    if before.is_none_or(|v| v.outcome != verdict.outcome || v.held != verdict.held) {
                        let line = serde_json::to_string(&verdict).expect("plain values") + "\n";
                        let mut log = log.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
                        // The disk may be full; a verdict that is lost is come to again by the next run.
                        let _ = log.write_all(line.as_bytes());
                    }
                }
            });
        }
    });
    Ok(())
}

/// How many changes of a file each test has noticed.
type Sharp = HashMap<String, HashMap<String, usize>>;

/// File and words of a change, whatever its line has become; of a line of `unnoticed.txt`, too.
fn without_place(name: &str) -> Option<(&str, &str)> {
    let (file, rest) = name.split_once(':')?;
    let words = rest.split_once(": ")?.1;
    Some((file, words.trim_end_matches(" (unreached)").trim_end_matches(" (long tests not run)")))
}

fn file(name: &str) -> &str {
    name.split(':').next().unwrap_or_default()
}

fn remember(sharp: &Mutex<Sharp>, verdict: &Verdict) {
    if let Some(test) = &verdict.by {
        let mut sharp = sharp.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        *sharp.entry(file(&verdict.name).to_owned()).or_default().entry(test.clone()).or_default() += 1;
    }
}

/// The tests that reach a change with the time they take: first those that noticed most of the same file a second,
/// then the quickest.
fn ordered(
    n: usize,
    name: &str,
    reach: &BTreeMap<String, Reach>,
    sharp: &Mutex<Sharp>,
) -> Vec<(String, f64)> {
    let sharp = sharp.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let own = sharp.get(file(name));
    let worth = |test: &str, seconds: f64| {
        own.and_then(|o| o.get(test)).map_or(0.0, |count| *count as f64) / seconds.max(0.01)
    };
    let mut tests: Vec<(String, f64)> =
        reach.iter().filter(|(_, r)| r.changes.contains(&n)).map(|(t, r)| (t.clone(), r.seconds)).collect();
    tests.sort_by(|a, b| worth(&b.0, b.1).total_cmp(&worth(&a.0, a.1)).then_with(|| a.1.total_cmp(&b.1)));
    tests
}

/// Runs the tests that reach a change and have not held with it before, one after another, until one fails.
fn judged(
    n: usize,
    name: &str,
    before: Option<&Verdict>,
    tests: &Tests,
    reaching: &[(String, f64)],
) -> Verdict {
    let mut verdict = Verdict {
        name: name.to_owned(),
        outcome: if reaching.is_empty() { Outcome::Unreached } else { Outcome::Unnoticed },
        by: None,
        held: before.map(|v| v.held.clone()).unwrap_or_default(),
    };
    let left = reaching.iter().filter(|(test, _)| !verdict.held.contains(test));
    let (now, later): (Vec<_>, Vec<_>) = left.partition(|(_, seconds)| *seconds <= tests.longest);
    for bundle in bundles(&now) {
        let Some((outcome, by)) = tests.noticed(bundle.clone(), n) else {
            verdict.held.extend(bundle.into_iter().map(|(test, _)| test.clone()));
            continue;
        };
        return Verdict { outcome, by: Some(by), ..verdict };
    }
    if !later.is_empty() {
        verdict.outcome = Outcome::Open;
    }
    verdict
}

/// Tests of up to so many seconds share a process: to start one takes as long.
const QUICK: f64 = 0.03;

/// The first test alone, then the quick ones by the dozen, then the others one by one.
fn bundles<'t>(tests: &[&'t (String, f64)]) -> Vec<Vec<&'t (String, f64)>> {
    let Some((first, others)) = tests.split_first() else { return vec![] };
    let (quick, slow): (Vec<_>, Vec<_>) = others.iter().copied().partition(|(_, seconds)| *seconds <= QUICK);
    let mut out = vec![vec![*first]];
    out.extend(quick.chunks(12).map(<[_]>::to_vec));
    out.extend(slow.into_iter().map(|test| vec![test]));
    out
}

/// The program of tests.
struct Tests {
    program: PathBuf,
    home: PathBuf,
    /// Tests that take longer, in seconds, are left for another run.
    longest: f64,
}

impl Tests {
    /// A process of its own for some tests, with no more memory than 6 GB: some changes fill it without end.
    fn command<'t>(&self, tests: impl IntoIterator<Item = &'t str>, start: &str) -> Command {
        let mut command = Command::new("bash");
        command.args(["-c", &format!("ulimit -v 6000000; {start} \"$0\" --exact --test-threads 1 \"$@\"")]);
        command.arg(&self.program).args(tests).current_dir(&self.home);
        command.env("PROPTEST_RNG_SEED", "20261125").env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1");
        // That a case fails is enough; the smallest that does is not looked for.
        command.env("PROPTEST_MAX_SHRINK_ITERS", "0").env_remove("LIPWRIGHT_CHANGE");
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        command
    }

    /// The first of some tests that does not hold with a change on, and how it does not.
    fn noticed(&self, bundle: Vec<&(String, f64)>, change: usize) -> Option<(Outcome, String)> {
        // What else the machine does counts for nothing: a limit is one of the processor's time.
        let limit: f64 = bundle.iter().map(|(_, seconds)| 10.0 * seconds + 2.0).sum();
        let start = format!("ulimit -t {}; exec", limit.ceil());
        let mut command = self.command(bundle.iter().map(|(test, _)| test.as_str()), &start);
        let done =
            command.env("LIPWRIGHT_CHANGE", change.to_string()).stdout(Stdio::piped()).output().ok()?;
        if done.status.success() {
            return None;
        }
        if let [(test, _)] = bundle[..] {
            let endless = matches!(done.status.signal(), Some(SIGKILL | SIGXCPU));
            return Some((if endless { Outcome::Endless } else { Outcome::Noticed }, test.clone()));
        }
        let said = String::from_utf8_lossy(&done.stdout).into_owned();
        let failed = said.lines().find_map(|l| l.strip_prefix("test ")?.strip_suffix(" ... FAILED"));
        match failed {
            Some(test) => Some((Outcome::Noticed, test.to_owned())),
            // It fell over before it could say where.
            None => bundle.into_iter().find_map(|test| self.noticed(vec![test], change)),
        }
    }

    /// Seconds of the processor's time that a test takes; none where it fails.
    fn seconds(&self, test: &str) -> Option<f64> {
        let mut command = self.command([test], "TIMEFORMAT='%U %S'; time");
        command.stderr(Stdio::piped());
        let done = command.output().ok().filter(|done| done.status.success())?;
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        said.split_whitespace().rev().take(2).map(|word| word.parse::<f64>().ok()).sum()
    }

    /// The tests of both rooms.
    fn names(&self) -> Result<Vec<String>, String> {
        let listed = Command::new(&self.program).arg("--list").current_dir(&self.home).output();
        let listed = listed.map_err(|e| format!("the program of tests: {e}"))?;
        let ignored =
            Command::new(&self.program).args(["--list", "--ignored"]).current_dir(&self.home).output();
        let ignored = ignored.map_err(|e| format!("the program of tests: {e}"))?;
        let lines = |bytes: &[u8]| -> BTreeSet<String> {
            let text = String::from_utf8_lossy(bytes).into_owned();
            let names = text.lines().filter_map(|line| line.strip_suffix(": test"));
            names.filter(|n| n.starts_with("motion::") || n.starts_with("rig::")).map(str::to_owned).collect()
        };
        Ok(lines(&listed.stdout).difference(&lines(&ignored.stdout)).cloned().collect())
    }
}

/// Looking takes several times as long as the test. One that takes longer than this, in seconds, or is not to be run, is
/// not looked at: it counts as reaching whatever others of its module reach, or of its room where it is alone.
const LOOKED: f64 = 3.0;

/// What every test reaches: looked at once for each, kept in `place/reach`.
fn reaches(tests: &Tests, place: &Path) -> Result<BTreeMap<String, Reach>, String> {
    let folder = place.join("reach");
    std::fs::create_dir_all(&folder).map_err(|e| e.to_string())?;
    let (mut all, mut long) = (BTreeMap::new(), vec![]);
    for test in tests.names()? {
        let path = folder.join(test.replace("::", "."));
        let kept = std::fs::read_to_string(&path).ok().and_then(|t| serde_json::from_str::<Reach>(&t).ok());
        let reach = match kept {
            Some(reach) => reach,
            None => {
                let reach = match looked(tests, &test, place) {
                    Ok(reach) => reach,
                    // It tells nothing of changes, and is looked at again by the next run.
                    Err(what) => {
                        eprintln!("mutants: {what}");
                        continue;
                    }
                };
                if reach.seconds <= tests.longest {
                    let text = serde_json::to_string(&reach).expect("plain values");
                    std::fs::write(&path, text).map_err(|e| e.to_string())?;
                }
                reach
            }
        };
        if reach.changes.is_empty() && reach.seconds > LOOKED.min(tests.longest) {
            long.push((test, reach.seconds));
        } else {
            all.insert(test, reach);
        }
    }
    let short = all.clone();
    let union = |of: &str| -> BTreeSet<usize> {
        short.iter().filter(|(t, _)| t.starts_with(of)).flat_map(|(_, r)| r.changes.clone()).collect()
    };
    for (test, seconds) in long {
        let module = &test[..test.rfind("::").map_or(0, |at| at + 2)];
        let room = &test[..test.find("::").map_or(0, |at| at + 2)];
        let same = union(module);
        let changes = if same.is_empty() { union(room) } else { same };
        all.insert(test.clone(), Reach { seconds, changes });
    }
    Ok(all)
}

fn looked(tests: &Tests, test: &str, place: &Path) -> Result<Reach, String> {
    let seconds = tests.seconds(test).ok_or_else(|| format!("{test} fails without any change"))?;
    if seconds > LOOKED.min(tests.longest) {
        return Ok(Reach { seconds, changes: BTreeSet::new() });
    }
    let noted = std::env::current_dir().map_err(|e| e.to_string())?.join(place).join("reached");
    let _ = std::fs::remove_file(&noted);
    let status = tests.command([test], "exec").env("LIPWRIGHT_REACHED", &noted).status();
    if !status.is_ok_and(|s| s.success()) {
        return Err(format!("{test} fails while it is looked at"));
    }
    let lines = std::fs::read_to_string(&noted).unwrap_or_default();
    Ok(Reach { seconds, changes: lines.lines().filter_map(|n| n.parse().ok()).collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changes_are_known_again_on_another_line() {
        let now = without_place("core/src/rig/dof.rs:71:9: replace a::b -> bool with true");
        assert_eq!(now, Some(("core/src/rig/dof.rs", "replace a::b -> bool with true")));
        for left in ["", " (unreached)", " (long tests not run)"] {
            let line = format!("core/src/rig/dof.rs:8:19: replace a::b -> bool with true{left}");
            assert_eq!(without_place(&line), now);
        }
        assert_eq!(without_place("nothing"), None);
    }

    #[test]
    fn the_sharpest_runs_alone_and_the_quick_ones_together() {
        let tests: Vec<(String, f64)> =
            (0..20).map(|k| (format!("t{k}"), if k < 3 { 0.5 } else { 0.01 })).collect();
        let all: Vec<&(String, f64)> = tests.iter().collect();
        let names: Vec<Vec<&str>> =
            bundles(&all).iter().map(|b| b.iter().map(|(t, _)| t.as_str()).collect()).collect();
        assert_eq!(names.iter().map(Vec::len).collect::<Vec<_>>(), [1, 12, 5, 1, 1]);
        assert_eq!((names[0][0], names[1][0], names[3][0], names[4][0]), ("t0", "t3", "t1", "t2"));
        assert!(bundles(&[]).is_empty());
    }
}
