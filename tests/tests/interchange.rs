//! What is exported for show control and players, read by libraries that know nothing of Lipwright.

use lipwright_core::export::{ServoTrack, midi_lanes};
use lipwright_core::project::{AudioRef, Project, ProjectLine};
use lipwright_core::rig::Rig;
use lipwright_core::units::Microseconds;
use lipwright_tests::{command, python, sample_lines, workspace};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What the independent readers find in these files.
fn read(paths: &[PathBuf]) -> Vec<Value> {
    let output = Command::new(python::interpreter())
        .arg(workspace().join("tests/interchange/read.py"))
        .args(paths)
        .output()
        .expect("python starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

fn text(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("a number, not {value}"))
}

fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap_or_else(|| panic!("a list, not {value}"))
}

/// A sample line exported in every form.
struct Exported {
    folder: tempfile::TempDir,
    stem: String,
    audio: PathBuf,
    track: ServoTrack,
}

impl Exported {
    fn new(audio: &Path) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let script = audio.with_extension("txt");
        command::run_ok(["export", &text(audio), "--script", &text(&script), "-o", &text(folder.path())]);
        let stem = audio.file_stem().expect("a name").to_string_lossy().into_owned();
        let json = std::fs::read_to_string(folder.path().join(format!("{stem}.json"))).expect("the track");
        let track = ServoTrack::from_json(&json).expect("reads back");
        Self { folder, stem, audio: audio.to_path_buf(), track }
    }

    fn file(&self, ending: &str) -> PathBuf {
        self.folder.path().join(format!("{}.{ending}", self.stem))
    }

    /// The plan itself, frame by frame, as the table holds it.
    fn dense(&self) -> ServoTrack {
        let text = std::fs::read_to_string(self.file("csv")).expect("the table");
        ServoTrack::from_csv(&text).expect("reads back")
    }

    fn one(&self, ending: &str) -> Value {
        read(&[self.file(ending)]).remove(0)
    }

    /// Words as the ear places them: name and times in seconds of the recording.
    fn words(&self) -> Vec<(String, f64, f64)> {
        let script = self.audio.with_extension("txt");
        let said = command::run_ok(["shapes", &text(&self.audio), "--script", &text(&script), "--json"]);
        let hearing: Value = serde_json::from_str(&said).expect("JSON");
        list(&hearing["words"])
            .iter()
            .map(|w| {
                let name = w["text"].as_str().expect("a word").to_owned();
                (name, number(&w["start_s"]), number(&w["end_s"]))
            })
            .collect()
    }
}

#[test]
fn midi_holds_every_servo_s_motion_at_every_frame() {
    let rig = Rig::harbourmaster();
    for audio in sample_lines() {
        let exported = Exported::new(&audio);
        let track = &exported.dense();
        let midi = exported.one("mid");
        let tracks = list(&midi["tracks"]);
        assert_eq!(midi["type"], 1);
        assert_eq!(tracks.len(), 1 + rig.servos().len());
        let length = (track.time_of(track.frames() - 1) - track.start()).value();
        assert!((number(&midi["length"]) - length).abs() < 1e-9);
        for ((lane, servo), found) in midi_lanes(&rig).iter().zip(track.servos()).zip(&tracks[1..]) {
            assert_eq!(found["name"], Value::from(servo.name.as_str()));
            let mut events = list(&found["controls"]).iter().peekable();
            let mut held = 0u16;
            for (frame, pulse) in servo.pulses().enumerate() {
                // Ticks are exact: no event stands between frames.
                let now = (track.time_of(frame) - track.start()).value() + 1e-9;
                while let Some(event) = events.next_if(|e| number(&e[0]) <= now) {
                    assert!((number(&event[0]) - now).abs() < 1e-6, "{event} is not on a frame");
                    assert_eq!(number(&event[1]) as u8, lane.channel - 1);
                    let value = number(&event[3]) as u16;
                    match number(&event[2]) as u8 {
                        c if c == lane.controller => held = value << 7,
                        c if c == lane.controller + 32 => held = held & !0x7F | value,
                        other => panic!("controller {other}"),
                    }
                }
                // The documented scale, written out anew.
                let (low, high) = (lane.low.value(), lane.high.value());
                let meant = Microseconds::new(low + (high - low) * f64::from(held) / 16383.0);
                let half = (high - low) / 16383.0 / 2.0;
                assert!((meant - pulse).abs().value() <= half + 1e-9, "{}: {meant} for {pulse}", servo.name);
            }
            assert!(events.next().is_none());
        }
        let sound = &list(&tracks[0]["markers"])[0];
        assert_eq!(sound[1], "sound");
        assert!((number(&sound[0]) + track.start().value()).abs() < 1e-3);
        let lyrics: Vec<&str> = list(&tracks[0]["lyrics"]).iter().filter_map(|l| l[1].as_str()).collect();
        let words: Vec<String> = exported.words().into_iter().map(|w| w.0).collect();
        assert_eq!(lyrics, words);
        assert!(!words.is_empty());
    }
}

#[test]
fn captions_hold_every_word_and_every_shape() {
    for audio in sample_lines() {
        let exported = Exported::new(&audio);
        let lead = -exported.track.start().value();
        let found = exported.one("words.vtt");
        let words = exported.words();
        assert_eq!(list(&found).len(), words.len());
        for (k, (cue, (word, start, end))) in list(&found).iter().zip(&words).enumerate() {
            assert_eq!(cue[0], format!("word-{}", k + 1));
            assert!((number(&cue[1]) / 1000.0 - start - lead).abs() <= 0.001 + 1e-9, "{cue} {start}");
            assert!((number(&cue[2]) / 1000.0 - end - lead).abs() <= 0.001 + 1e-9, "{cue} {end}");
            assert_eq!(cue[3], word.as_str());
        }
        let shapes = exported.one("shapes.vtt");
        let names: Vec<&str> = list(&shapes).iter().filter_map(|c| c[3].as_str()).collect();
        assert!(names.len() > 20 && names.contains(&"rest") && names.contains(&"alveolar"), "{names:?}");
        // Cues cover the recording: each starts where the one before it ends.
        let ends: Vec<f64> = list(&shapes).iter().map(|c| number(&c[2])).collect();
        let starts: Vec<f64> = list(&shapes).iter().map(|c| number(&c[1])).collect();
        assert_eq!(ends[..ends.len() - 1], starts[1..]);
    }
}

#[test]
fn the_timed_recording_starts_with_the_motion() {
    for audio in sample_lines() {
        let exported = Exported::new(&audio);
        let found = exported.one("timed.wav");
        let source = read(std::slice::from_ref(&audio)).remove(0);
        for key in ["rate", "channels", "width"] {
            assert_eq!(found[key], source[key]);
        }
        let rate = number(&found["rate"]);
        let track = &exported.track;
        let length = (track.time_of(track.frames() - 1) - track.start()).value();
        assert!((number(&found["frames"]) - length * rate).abs() <= 1.0);
        let hex = |v: &Value| v["data"].as_str().expect("samples").to_owned();
        let digits = 2 * number(&found["width"]) as usize * number(&found["channels"]) as usize;
        let lead = (-track.start().value() * rate).round() as usize * digits;
        let (cut, whole) = (hex(&found), hex(&source));
        assert!(cut[..lead].bytes().all(|b| b == b'0'), "silence before the sound");
        let sound = whole.len().min(cut.len() - lead);
        assert_eq!(cut[lead..lead + sound], whole[..sound], "the samples as they were");
        assert!(cut[lead + sound..].bytes().all(|b| b == b'0'), "silence after it");
        assert!(sound == whole.len(), "nothing of the sound is lost");
    }
}

#[test]
fn the_table_reads_as_rfc_4180_and_fits_the_keyframes() {
    let exported = Exported::new(&sample_lines()[0]);
    let rows = exported.one("csv");
    let rows = list(&rows);
    let track = &exported.track;
    assert_eq!(rows.len(), 1 + track.frames());
    assert_eq!(rows[0][0], "time_ms");
    for (column, servo) in track.servos().iter().enumerate() {
        assert_eq!(rows[0][column + 1], servo.name.as_str());
        // Keyframes stay within 4 us of the plan, of which the table holds every frame.
        for (frame, pulse) in servo.pulses().enumerate() {
            let cell = rows[frame + 1][column + 1].as_str().and_then(|c| c.parse::<f64>().ok());
            let cell = cell.unwrap_or_else(|| panic!("a pulse in row {frame}"));
            assert!((cell - pulse.value()).abs() <= 4.0 + 0.11, "{}, frame {frame}", servo.name);
        }
    }
}

/// Names that could break out of a page, a table, a caption or a folder.
const NASTY: &str = "../<script>\"x\" & 'y', --> \u{e9}";

/// A project with a nasty line, a good one, and one whose recording is gone.
fn project(folder: &Path) -> PathBuf {
    let mut project = Project::new("Port Wimbry <museum>");
    for (audio, name, keep) in
        sample_lines().iter().zip([NASTY, "welcome", "lost"]).map(|(a, n)| (a, n, n != "lost"))
    {
        let bytes = std::fs::read(audio).expect("the sample line");
        let recording = lipwright_core::audio::read_wav(&bytes, Default::default()).expect("reads");
        let line = lipwright_core::line::Line::silent(recording.duration()).expect("a line");
        let reference = AudioRef::of("gone.wav", &bytes, recording.duration());
        let reference = if keep { reference.embed(&bytes) } else { reference };
        project.lines.push(ProjectLine::new(name, reference, "", line));
    }
    let path = folder.join("show.json");
    std::fs::write(&path, project.to_json()).expect("written");
    path
}

#[test]
fn a_batch_does_what_it_can_and_says_what_it_could_not() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let recordings = folder.path().join("lines");
    std::fs::create_dir(&recordings).expect("made");
    for audio in sample_lines() {
        for ending in ["wav", "txt"] {
            let from = audio.with_extension(ending);
            std::fs::copy(&from, recordings.join(from.file_name().expect("a name"))).expect("copied");
        }
    }
    let out = text(&folder.path().join("all good"));
    let said = command::run_ok(["batch", &text(&recordings), "-o", &out, "--rig", "jaw-only", "--jobs", "2"]);
    assert!(said.contains("4 of 4 lines done"), "{said}");
    for audio in sample_lines() {
        let stem = audio.file_stem().expect("a name").to_string_lossy().into_owned();
        for ending in ["json", "csv"] {
            command::run_ok(["verify", &format!("{out}/{stem}.{ending}"), "--rig", "jaw-only"]);
        }
    }
    let leftovers = std::fs::read_dir(&out)
        .expect("the folder")
        .filter(|e| e.as_ref().is_ok_and(|e| e.file_name().to_string_lossy().ends_with(".part")));
    assert_eq!(leftovers.count(), 0);

    // Two bad lines among them: the others are done, and the table says why these are not.
    std::fs::write(recordings.join("noise.wav"), b"this is no sound").expect("written");
    std::fs::write(recordings.join("welcome.txt"), b"caf\xe9").expect("written");
    let output = command::run(["batch", &text(&recordings), "-o", &out, "--json"]);
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(said.contains("3 of 5 lines done") && said.contains("not a WAV file"), "{said}");
    let table = read(&[folder.path().join("all good/summary.csv")]).remove(0);
    let statuses: Vec<&str> = list(&table)[1..].iter().filter_map(|r| r[6].as_str()).collect();
    assert_eq!(statuses.iter().filter(|s| s.starts_with("failed: ")).count(), 2, "{statuses:?}");
    let audio = recordings.join("welcome.wav");
    assert_eq!(std::fs::read(&audio).expect("there"), std::fs::read(&sample_lines()[3]).expect("there"));

    // Nothing at all.
    let empty = text(&folder.path().join("empty"));
    std::fs::create_dir(&empty).expect("made");
    assert_eq!(command::run(["batch", &empty, "-o", &out]).status.code(), Some(2));
    assert_eq!(command::run(["batch", "no-such-folder", "-o", &out]).status.code(), Some(2));
    let same = command::run(["batch", &text(&recordings), "-o", &text(&recordings)]);
    assert_eq!(same.status.code(), Some(2), "recordings are never written over");
}

#[test]
fn a_project_s_batch_keeps_names_inside_their_places() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = project(folder.path());
    let out = folder.path().join("out");
    let output = command::run(["batch", &text(&path), "-o", &text(&out)]);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("2 of 3 lines done") && said.contains("gone.wav"), "{said}");
    // Everything was written inside the folder.
    let names: Vec<String> = std::fs::read_dir(&out)
        .expect("the folder")
        .map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(names.len(), 2 * 6 + 2, "{names:?}");
    let inside: Vec<String> = std::fs::read_dir(folder.path())
        .expect("the folder")
        .map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(inside.len(), 2, "{inside:?}");
    let page = read(&[out.join("cue-sheet.html")]).remove(0);
    assert!(!list(&page["tags"]).iter().any(|t| t == "script"), "{page}");
    let cells: Vec<&str> = list(&page["cells"]).iter().filter_map(Value::as_str).collect();
    // Seven columns: trigger, line, sound, motion, sound after, two boxes.
    assert_eq!(cells.len(), 7 * 3);
    assert_eq!(cells[7], "1");
    assert!(cells[8].starts_with(NASTY), "{}", cells[8]);
    assert_eq!(cells[14], "2");
    assert!(cells[15].starts_with("welcome"));
}
