//! The command line on the sample lines and on real human speech.

use lipwright_core::phonetics::MouthShape;
use lipwright_tests::{command, human_prompts, sample_lines};
use serde_json::Value;
use std::path::{Path, PathBuf};

const RIGS: [&str; 2] = ["harbourmaster", "jaw-only"];

fn text(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

/// Plans one recording for one rig in one form, and lets `verify` judge what was written.
fn plan_and_verify(folder: &Path, audio: &Path, script: Option<&Path>, rig: &str, form: &str) -> PathBuf {
    let stem = audio.file_stem().expect("a file name").to_string_lossy();
    let track = folder.join(format!("{stem}-{rig}.{form}"));
    let mut arguments =
        vec!["plan".to_owned(), text(audio), "--rig".into(), rig.into(), "-o".into(), text(&track)];
    if let Some(script) = script {
        arguments.extend(["--script".into(), text(script)]);
    }
    let said = command::run_ok(&arguments);
    assert!(said.contains(&*stem), "the report names the file: {said}");
    command::run_ok(["verify", &text(&track), "--rig", rig]);
    track
}

#[test]
fn every_sample_line_plans_and_verifies_on_both_rigs() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for audio in sample_lines() {
        let script = audio.with_extension("txt");
        for rig in RIGS {
            for form in ["json", "csv"] {
                plan_and_verify(folder.path(), &audio, Some(&script), rig, form);
            }
            plan_and_verify(folder.path(), &audio, None, rig, "json");
        }
    }
}

#[test]
fn human_recordings_plan_and_verify_on_both_rigs() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for audio in human_prompts() {
        for rig in RIGS {
            plan_and_verify(folder.path(), &audio, None, rig, "json");
            plan_and_verify(folder.path(), &audio, None, rig, "csv");
        }
    }
}

#[test]
fn shapes_json_covers_the_recording_with_named_shapes() {
    for audio in sample_lines() {
        for script in [false, true] {
            let mut arguments = vec!["shapes".to_owned(), text(&audio), "--json".into()];
            if script {
                arguments.extend(["--script".into(), text(&audio.with_extension("txt"))]);
            }
            let said = command::run_ok(&arguments);
            let json: Value = serde_json::from_str(&said).expect("valid JSON");
            let reader = hound::WavReader::open(&audio).expect("a WAV");
            let length = f64::from(reader.duration()) / f64::from(reader.spec().sample_rate);
            let duration = json["duration_s"].as_f64().expect("a number");
            assert!((duration - length).abs() < 1e-3, "{duration} against {length}");
            let mut at = 0.0;
            for segment in json["segments"].as_array().expect("a list") {
                assert_eq!(segment["start_s"].as_f64(), Some(at), "no gap, no overlap");
                at = segment["end_s"].as_f64().expect("a number");
                let shape = segment["shape"].as_str().expect("a name");
                assert!(shape.parse::<MouthShape>().is_ok(), "{shape}");
                let sure = segment["confidence"].as_f64().expect("a number");
                assert!((0.0..=1.0).contains(&sure));
            }
            assert_eq!(at, duration, "the last segment ends with the recording");
        }
    }
}

/// The targets for the synthesised sample lines; the reference is the synthesiser's own phone times.
#[test]
fn most_frames_have_the_right_shape() {
    for (script, least) in [(false, 60.0), (true, 80.0)] {
        let mut arguments = vec!["score".to_owned()];
        arguments.extend(sample_lines().iter().map(|p| text(p)));
        if script {
            arguments.push("--script".into());
        }
        let said = command::run_ok(&arguments);
        let last = said.lines().last().expect("a result").to_owned();
        let percent: f64 = last
            .split_whitespace()
            .find_map(|w| w.parse().ok())
            .unwrap_or_else(|| panic!("a percentage in: {last}"));
        assert!(percent >= least, "{last}");
    }
}

#[test]
fn verify_finds_a_breach_and_says_where() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let audio = &sample_lines()[0];
    let track = plan_and_verify(folder.path(), audio, None, "jaw-only", "csv");
    let good = std::fs::read_to_string(&track).expect("the track");
    // One frame in the middle jumps by 400 us.
    let mut rows: Vec<String> = good.lines().map(str::to_owned).collect();
    let middle = rows.len() / 2;
    let (time, pulse) = rows[middle].split_once(',').expect("two columns");
    let pulse: f64 = pulse.trim().parse().expect("a pulse width");
    rows[middle] = format!("{time},{:.1}", pulse + 400.0);
    let bad = folder.path().join("bad.csv");
    std::fs::write(&bad, rows.join("\r\n") + "\r\n").expect("written");
    let output = command::run(["verify", &text(&bad), "--rig", "jaw-only"]);
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(said.contains("jaw") && said.contains("speed"), "{said}");
}

#[test]
fn what_cannot_be_read_is_status_2_and_one_line() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).expect("written");
        text(&path)
    };
    let wav = text(&sample_lines()[0]);
    let whole = std::fs::read(&wav).expect("the sample line");
    let junk = file("junk.wav", b"this is no sound at all");
    let empty = file("empty.wav", b"");
    let cut = file("cut.wav", &whole[..30]);
    let latin = file("latin.txt", b"caf\xe9");
    let rig = file("rig.json", b"{\"format\":\"lipwright-rig\",\"version\":99}");
    let track = file("track.json", b"[1,2,3]");
    let out = text(&folder.path().join("out.json"));
    let odd = text(&folder.path().join("out.xyz"));
    let cases: &[&[&str]] = &[
        &["shapes", "no-such-file.wav"],
        &["shapes", &junk],
        &["shapes", &empty],
        &["shapes", &cut],
        &["shapes", &wav, "--channel", "7"],
        &["shapes", &wav, "--script", &latin],
        &["plan", &wav, "-o", &odd],
        &["plan", &wav, "--rig", &rig, "-o", &out],
        &["plan", &wav, "--rig", "no-such-rig", "-o", &out],
        &["plan", &wav, "--frame-ms", "0", "-o", &out],
        &["verify", &track, "--rig", "jaw-only"],
        &["verify", "no-such-track.json", "--rig", "jaw-only"],
        &["verify", &wav, "--rig", "jaw-only"],
        &["score", &junk],
    ];
    for case in cases {
        let output = command::run(*case);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{case:?}: {said}");
        assert_eq!(said.trim_end().lines().count(), 1, "{case:?}: one line, not: {said}");
        assert!(said.starts_with("lipwright: "), "{case:?}: {said}");
        assert!(!said.contains("panicked"), "{case:?}: {said}");
    }
    assert!(!Path::new(&out).exists(), "a refused plan writes nothing");
}

#[test]
fn help_has_examples() {
    let top = command::run_ok(["--help"]);
    assert!(top.contains("Examples:") && top.contains("lipwright plan"));
    for verb in ["shapes", "plan", "verify", "what-if", "score", "rig"] {
        let said = command::run_ok([verb, "--help"]);
        assert!(said.contains("Example"), "{verb}: {said}");
    }
}

#[test]
fn slower_servos_close_fewer_lips_and_the_table_says_so() {
    let wav = text(&sample_lines()[0]);
    let said = command::run_ok(["what-if", &wav, "--factor", "0.4", "--factor", "2"]);
    let reached = |name: &str, speed: &str| -> (u32, f64) {
        let row = said
            .lines()
            .find(|l| l.starts_with(name) && l.contains(speed))
            .unwrap_or_else(|| panic!("no row {name} {speed} in:\n{said}"));
        let words: Vec<_> = row.trim_end_matches(" mm").split_whitespace().collect();
        let closures = words.iter().find_map(|w| w.split_once('/')).expect("closures").0;
        (closures.parse().expect("a count"), words.last().expect("an error").parse().expect("a number"))
    };
    let (now, error) = reached("as the head is", "1.00x");
    let (slow, slow_error) = reached("all", "0.40x");
    let (fast, fast_error) = reached("all", "2.00x");
    assert!(slow <= now && now <= fast, "{said}");
    assert!(slow_error > error && error > fast_error, "{said}");
}

/// Common practice: the tongue is there to tell a *t* from an *r*. The planned tongue of the
/// demonstration rig must differ by a quarter of the tongue servo's travel or more.
#[test]
fn a_t_and_an_r_differ_in_the_planned_tongue() {
    use lipwright_core::line::Segment;
    use lipwright_core::motion::{PlanSettings, plan};
    use lipwright_core::progress::Quiet;
    use lipwright_core::rig::{Dof, Rig, ServoId};
    use lipwright_core::units::Seconds;

    let rig = Rig::harbourmaster();
    let angles = |shape: MouthShape| {
        // The consonant between two vowels, as in "utter" and "error": 90 ms.
        let cuts = [0.0, 0.4, 0.55, 0.64, 0.8, 1.2];
        let shapes = [MouthShape::Rest, MouthShape::HalfOpen, shape, MouthShape::HalfOpen, MouthShape::Rest];
        let segments: Vec<_> = (0..5)
            .map(|i| Segment::new(Seconds::new(cuts[i]), Seconds::new(cuts[i + 1]), shapes[i]))
            .collect();
        let settings = PlanSettings::default();
        let plan = plan(&segments, Seconds::new(1.2), &rig, &settings, &mut Quiet).expect("plans");
        plan.angles_at(Seconds::new(0.595) - settings.visual_lead)
    };
    let (t, r) = (angles(MouthShape::Alveolar), angles(MouthShape::Rhotic));
    let rest = rig.rest_angles();
    let widest = (0..rig.servos().len())
        .filter(|&i| {
            rig.partials(&rest)
                .iter()
                .any(|(s, d, _)| *s == ServoId(i) && matches!(d, Dof::TongueTip | Dof::TongueBody))
        })
        .map(|i| {
            let (low, high) = rig.travel(ServoId(i));
            (t[i] - r[i]).abs() / (high - low)
        })
        .fold(0.0, f64::max);
    assert!(widest >= 0.25, "a tongue servo differs by {widest:.2} of its travel");
}
