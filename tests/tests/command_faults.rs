//! What goes wrong around the command line: power cut in the middle of a write, a full disk, folders that
//! nobody may write to, names that lead elsewhere. Nothing that was there before is lost, no half file
//! stands under a name that somebody would load, and the words say what to do.

use lipwright_core::audio::{ChannelChoice, read_wav};
use lipwright_core::line::Line;
use lipwright_core::project::{AudioRef, Project, ProjectLine};
use lipwright_core::units::Seconds;
use lipwright_tests::{command, sample_lines};
use std::collections::BTreeMap;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

fn text(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned() + &String::from_utf8_lossy(&output.stdout)
}

/// Every file below a folder, with what it holds.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            found.extend(files(&path));
        } else if let Ok(bytes) = std::fs::read(&path) {
            found.insert(path, bytes); // One that was renamed meanwhile is found under its new name.
        }
    }
    found
}

fn parts(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).expect("a folder").flatten().map(|e| e.path());
    entries.filter(|p| p.extension().is_some_and(|e| e == "part")).collect()
}

/// A project of one silent line whose recording is large: 96 kHz, four channels, 32 bits. Planning it
/// takes no time to speak of, and writing its timed recording does.
fn large(folder: &Path, loudness: f32) -> PathBuf {
    let spec = hound::WavSpec {
        channels: 4,
        sample_rate: 96_000,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let wav = folder.join("long.wav");
    let mut writer = hound::WavWriter::create(&wav, spec).expect("a file");
    for i in 0..6 * 96_000 * 4 {
        writer.write_sample(loudness * (i % 97) as f32 / 97.0).expect("written");
    }
    writer.finalize().expect("written");
    let sound = std::fs::read(&wav).expect("just written");
    let line = Line::silent(Seconds::new(6.0)).expect("six seconds");
    let mut project = Project::new("Harbour museum");
    let audio = AudioRef::of("long.wav", &sound, line.duration());
    project.lines.push(ProjectLine::new("Long", audio, "", line));
    let path = folder.join("museum.json");
    std::fs::write(&path, project.to_json()).expect("written");
    path
}

/// Power cut: the process is ended at once while the new file is being written. Whatever stands under
/// the file's own name is the old one whole, or the new one whole.
#[test]
fn a_power_cut_leaves_the_old_file_or_the_new_one() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("show");
    let project = large(folder.path(), 0.1);
    let arguments = ["batch", &text(&project), "-o", &text(&out), "--wav", "--rig", "jaw-only"];
    command::run_ok(arguments);
    let track = out.join("Long.timed.wav");
    let old = std::fs::read(&track).expect("written");
    // Another recording under the same name: what is written next differs in every sample.
    large(folder.path(), 0.9);
    let (mut cut, mut new) = (0, None::<Vec<u8>>);
    for attempt in 0..400 {
        let mut child = Command::new(command::path())
            .args(arguments)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        // Until the first bytes of the new file are there, then a little longer each time.
        while parts(&out).is_empty() && child.try_wait().expect("a child").is_none() {
            std::thread::yield_now();
        }
        std::thread::sleep(std::time::Duration::from_micros(attempt % 20 * 400));
        child.kill().expect("it is ours");
        child.wait().expect("it ends");
        let now = std::fs::read(&track).expect("the file is never missing");
        if now != old {
            let whole = read_wav(&now, ChannelChoice::Mix).expect("a whole recording");
            assert_eq!(now.len(), old.len());
            assert!(whole.samples().len() > 90_000);
            assert_eq!(*new.get_or_insert_with(|| now.clone()), now, "the new file is the same every time");
            // The next attempt begins with the old one again.
            std::fs::write(&track, &old).expect("put back");
        }
        let left = parts(&out);
        cut += usize::from(!left.is_empty());
        for part in left {
            std::fs::remove_file(part).expect("ours");
        }
        if cut >= 30 {
            break;
        }
    }
    assert!(cut >= 30, "only {cut} writes were cut in the middle");
    let names: Vec<String> =
        files(&out).keys().map(|p| p.file_name().expect("a name").to_string_lossy().into_owned()).collect();
    assert_eq!(names, ["Long.timed.wav", "summary.csv"]);
}

/// Runs the command where no file may grow beyond so many blocks of 512 bytes; the system then answers a
/// write as a full disk does.
fn run_in_little_room(blocks: u32, arguments: &[&str]) -> Output {
    Command::new("sh")
        .args(["-c", "trap '' XFSZ; ulimit -f \"$1\"; shift; exec \"$@\"", "sh", &blocks.to_string()])
        .arg(command::path())
        .args(arguments)
        .current_dir(lipwright_tests::workspace())
        .output()
        .expect("sh starts")
}

#[test]
fn a_full_disk_is_said_and_the_old_file_stays() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let rig = folder.path().join("head.json");
    command::run_ok(["rig", "jaw-only", "-o", &text(&rig)]);
    let before = files(folder.path());
    let output = run_in_little_room(2, &["rig", "harbourmaster", "-o", &text(&rig)]);
    let words = said(&output);
    assert_eq!(output.status.code(), Some(2), "{words}");
    assert!(words.contains("cannot write") && words.contains(&text(&rig)), "{words}");
    assert!(words.contains("make room"), "{words}");
    assert_eq!(files(folder.path()), before, "the old rig stands, and nothing beside it");

    // The same for a batch: the line is said to have failed, and no half file stands under its name.
    let project = large(folder.path(), 0.5);
    let out = folder.path().join("show");
    let output =
        run_in_little_room(64, &["batch", &text(&project), "-o", &text(&out), "--wav", "--rig", "jaw-only"]);
    let words = said(&output);
    assert_eq!(output.status.code(), Some(2), "{words}");
    assert!(words.contains("Long") && words.contains("make room"), "{words}");
    let names: Vec<PathBuf> = files(&out).into_keys().collect();
    assert_eq!(names, [out.join("summary.csv")], "the table alone, and it says what failed");
}

#[test]
fn standard_output_that_takes_nothing_is_a_failure() {
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").expect("Linux has it");
    let output = Command::new(command::path())
        .args(["rig", "harbourmaster"])
        .stdout(full)
        .output()
        .expect("it starts");
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).starts_with("lipwright: "), "{}", said(&output));
}

/// A copy of the command, run so that it may not write into the folder `shut`: the superuser may write
/// anywhere, so a test run by them gives its rights up first.
fn powerless(folder: &Path, shut: &Path) -> Command {
    let copy = folder.join("lipwright");
    std::fs::copy(command::path(), &copy).expect("copied");
    std::fs::set_permissions(&copy, PermissionsExt::from_mode(0o755)).expect("ours");
    let probe = shut.join("probe");
    if std::fs::write(&probe, "").is_ok() {
        std::fs::remove_file(probe).expect("just written");
        let mut command = Command::new("setpriv");
        command.args(["--reuid", "65534", "--regid", "65534", "--clear-groups"]).arg(copy);
        command
    } else {
        Command::new(copy)
    }
}

#[test]
fn a_folder_that_may_not_be_written_is_said() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mode = |path: &Path, mode| {
        std::fs::set_permissions(path, PermissionsExt::from_mode(mode)).expect("ours");
    };
    mode(folder.path(), 0o755);
    let shut = folder.path().join("shut");
    std::fs::create_dir(&shut).expect("made");
    mode(&shut, 0o555);
    let wav = folder.path().join("line.wav");
    std::fs::copy(&sample_lines()[0], &wav).expect("copied");
    mode(&wav, 0o644);
    let inside = shut.join("show");
    let track = shut.join("line.json");
    for arguments in [
        vec!["rig".to_owned(), "jaw-only".into(), "-o".into(), text(&track)],
        vec!["plan".into(), text(&wav), "--rig".into(), "jaw-only".into(), "-o".into(), text(&track)],
        vec!["export".into(), text(&wav), "--rig".into(), "jaw-only".into(), "-o".into(), text(&inside)],
        vec!["sketch".into(), text(&wav), "--rig".into(), "jaw-only".into(), "-o".into(), text(&inside)],
    ] {
        let output =
            powerless(folder.path(), &shut).args(&arguments).current_dir("/").output().expect("it starts");
        let words = said(&output);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {words}");
        assert!(words.contains(&text(&shut)), "{arguments:?}: {words}");
        assert!(words.contains("choose another folder"), "{arguments:?}: {words}");
        assert!(!words.contains("panicked"), "{words}");
    }
    mode(&shut, 0o755);
    assert!(files(&shut).is_empty(), "nothing was written");

    // What is no folder at all.
    let output = command::run(["export", &text(&wav), "--rig", "jaw-only", "-o", &text(&wav.join("show"))]);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains("cannot make the folder"), "{}", said(&output));
}

/// A project in which every name that a person can give leads elsewhere, is no name, or is taken.
fn hostile(folder: &Path) -> PathBuf {
    let long = "harbour ".repeat(200);
    let names = [
        "../../outside",
        "/outside",
        "..",
        ".",
        "",
        "a\0b",
        "summary",
        "cue-sheet",
        "NUL",
        "C:\\outside",
        "same",
        "Same",
        "line\nbreak",
        "<b>bold</b>",
        &long,
    ];
    let mut project = Project::new("../outside");
    for name in names {
        let line = Line::silent(Seconds::new(0.5)).expect("half a second");
        let audio = AudioRef::of("../../secret.wav", b"none", line.duration());
        project.lines.push(ProjectLine::new(name, audio, "", line));
    }
    let path = folder.join("museum.json");
    std::fs::write(&path, project.to_json()).expect("written");
    path
}

#[test]
fn names_never_lead_out_of_the_folder_nor_onto_each_other() {
    let cage = tempfile::tempdir().expect("a temporary folder");
    let deep = cage.path().join("a/b/c");
    std::fs::create_dir_all(&deep).expect("made");
    let project = hostile(&deep);
    let before = files(cage.path());
    let out = deep.join("show");
    let said = command::run_ok([
        "batch",
        &text(&project),
        "-o",
        &text(&out),
        "--csv",
        "--cue-sheet",
        "--rig",
        "jaw-only",
    ]);
    assert!(said.contains("15 of 15 lines done"), "{said}");
    let outside: BTreeMap<_, _> =
        files(cage.path()).into_iter().filter(|(path, _)| !path.starts_with(&out)).collect();
    assert_eq!(outside, before, "nothing outside the folder changed");
    assert!(!Path::new("/outside.csv").exists());
    let inside: Vec<PathBuf> = files(&out).into_keys().collect();
    // A table a line, the summary, the sheet; none in a folder further down.
    assert_eq!(inside.len(), 15 + 2, "{inside:#?}");
    assert!(inside.iter().all(|p| p.parent() == Some(&*out)), "{inside:#?}");
    let summary = std::fs::read_to_string(out.join("summary.csv")).expect("the table");
    assert!(summary.starts_with("trigger,line,"), "the line of that name did not take its place: {summary}");

    let out = deep.join("sketch");
    let name = "../../outside";
    command::run_ok([
        "sketch",
        &text(&project),
        "-o",
        &text(&out),
        "--rig",
        "jaw-only",
        "--packed",
        "--name",
        name,
    ]);
    let outside: BTreeMap<_, _> = files(cage.path())
        .into_iter()
        .filter(|(path, _)| !path.starts_with(&out) && !path.starts_with(deep.join("show")))
        .collect();
    assert_eq!(outside, before, "nothing outside the folder changed");
    let packed = files(&out).into_keys().filter(|p| p.extension().is_some_and(|e| e == "lwp")).count();
    assert_eq!(packed, 15, "every line has a packed file of its own");
    for (path, bytes) in files(&out) {
        let code = path.extension().is_some_and(|e| e == "h" || e == "ino");
        assert!(!code || bytes.is_ascii(), "{}: names in code are plain letters", path.display());
    }
}
