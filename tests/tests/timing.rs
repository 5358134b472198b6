//! Sound and picture: when the planned lips close beside when the sound says they do.

use lipwright_core::audio::{ChannelChoice, read_wav};
use lipwright_core::line::{Line, Segment};
use lipwright_core::motion::{CLOSED_GAP, Plan, PlanSettings, plan};
use lipwright_core::phonetics::{Lexicon, MouthShape};
use lipwright_core::progress::Quiet;
use lipwright_core::recognise::score::Reference;
use lipwright_core::recognise::{AcousticModel, ListenSettings, listen};
use lipwright_core::rig::{Rig, Side};
use lipwright_core::units::Seconds;
use lipwright_tests::{sample_lines, workspace};
use serde_json::Value;
use std::path::Path;

/// Start and end of every P, B and M, by the synthesiser's own times.
fn closures(line: &Path) -> Vec<(f64, f64)> {
    let text = std::fs::read_to_string(line.with_extension("phones.json")).expect("part of the repository");
    let file: Value = serde_json::from_str(&text).expect("JSON");
    let rows = file["phones"].as_array().expect("phones");
    let time = |row: &Value, key: &str| row[key].as_f64().expect("a time");
    rows.iter()
        .filter(|r| matches!(r["phone"].as_str(), Some("P" | "B" | "M")))
        .map(|r| (time(r, "start_s"), time(r, "end_s")))
        .collect()
}

/// The stretches during which the planned lips are shut, as they show on the face.
fn shut(plan: &Plan, rig: &Rig) -> Vec<(f64, f64)> {
    const STEP: f64 = 0.002;
    let lag = (plan.shows_at(0) - plan.time_of(0)).value();
    let length = plan.frame.value() * plan.frames() as f64;
    let mut out: Vec<(f64, f64)> = Vec::new();
    let mut open = true;
    for k in 0..(length / STEP) as usize {
        let sent = plan.start.value() + k as f64 * STEP;
        let face = rig.forward(&plan.angles_at(Seconds::new(sent)));
        let gap = [Side::Left, Side::Right].map(|s| rig.lip_gap(&face, s).expect("a head with lips").value());
        let closed = gap.iter().all(|g| *g <= CLOSED_GAP);
        match (closed, open) {
            (true, true) => out.push((sent + lag, sent + lag)),
            (true, false) => out.last_mut().expect("begun").1 = sent + lag,
            _ => {}
        }
        open = !closed;
    }
    out
}

/// ITU-R BT.1359-1 (1998): viewers begin to notice sound 45 ms ahead of the picture.
const SOUND_AHEAD: f64 = 0.045;
/// … or 125 ms behind it.
const SOUND_BEHIND: f64 = 0.125;

/// Plans these segments for the museum's head; how many closures of the sound there are, and those
/// that the picture does not match. Lips that shut too late are a picture behind its sound, lips that
/// part too early are one ahead of it.
fn outside(path: &Path, segments: &[Segment], duration: Seconds) -> (usize, Vec<String>) {
    let rig = Rig::harbourmaster();
    let motion = plan(segments, duration, &rig, &PlanSettings::default(), &mut Quiet).expect("a plan");
    let shut = shut(&motion, &rig);
    let closures = closures(path);
    let mut late = Vec::new();
    for (start, end) in &closures {
        let off = |s: &(f64, f64)| (s.0 - start, end - s.1);
        let fits = |s: &(f64, f64)| {
            let (shuts_late, parts_early) = off(s);
            shuts_late <= SOUND_AHEAD && parts_early <= SOUND_BEHIND && s.1 >= start - SOUND_BEHIND
        };
        if !shut.iter().any(fits) {
            let nearest = shut.iter().map(off).min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
            let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
            late.push(format!("{name} at {start:.3} s: {nearest:?}"));
        }
    }
    (closures.len(), late)
}

fn summed(each: impl Iterator<Item = (usize, Vec<String>)>) -> (usize, Vec<String>) {
    let (mut judged, mut late) = (0, Vec::new());
    for (count, outside) in each {
        judged += count;
        late.extend(outside);
    }
    println!("{judged} closures, {} outside: {late:?}", late.len());
    assert!(judged >= 20, "{judged} closures in the sample lines");
    (judged, late)
}

/// From exact shapes every closure of the sample lines is planned within the tolerance.
#[test]
fn lips_close_with_the_sound_when_the_shapes_are_right() {
    let (_, late) = summed(sample_lines().iter().map(|path| {
        let text = std::fs::read_to_string(path.with_extension("phones.json")).expect("phones");
        let reference = Reference::from_json(&text).expect("a reference");
        let millis = (reference.duration().value() * 1000.0) as usize;
        let at =
            |ms: usize| reference.at(Seconds::new((ms as f64 + 0.5) / 1000.0)).unwrap_or(MouthShape::Rest);
        let mut segments: Vec<Segment> = Vec::new();
        let mut start = 0;
        for ms in 1..=millis {
            if ms == millis || at(ms) != at(start) {
                let time = |ms: usize| Seconds::new(ms as f64 / 1000.0);
                segments.push(Segment::new(time(start), time(ms), at(start)));
                start = ms;
            }
        }
        outside(path, &segments, reference.duration())
    }));
    assert!(late.is_empty(), "{}", late.join("\n"));
}

/// Heard with the script, a word may be misheard; nine closures in ten must hold all the same.
#[test]
fn lips_close_with_the_sound_as_it_is_heard() {
    let lexicon = std::fs::read(workspace().join("core/models/lexicon.bin")).expect("part of the repository");
    let lexicon = Lexicon::from_bytes(&lexicon).expect("a lexicon");
    let (judged, late) = summed(sample_lines().iter().map(|path| {
        let bytes = std::fs::read(path).expect("a recording");
        let recording = read_wav(&bytes, ChannelChoice::Mix).expect("a WAV file");
        let script = std::fs::read_to_string(path.with_extension("txt")).expect("a script");
        let settings = ListenSettings::default();
        let model = AcousticModel::built_in();
        let heard = listen(&recording, Some(&script), Some(&lexicon), &model, &settings, &mut Quiet);
        let line = Line::from_hearing(&heard.expect("it hears")).expect("a line");
        outside(path, line.segments(), line.duration())
    }));
    assert!(late.len() * 10 <= judged, "{}", late.join("\n"));
}
