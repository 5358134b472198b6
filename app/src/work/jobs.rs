//! The work itself, without a browser: the same functions run in tests.

use super::message::{FileKind, LineOf, Sound};
use super::problems::{self, Stretches};
use crate::editor::{Performance, PerformanceHead, limit_code};
use lipwright_core::audio::{ChannelChoice, Recording, SampleKind, fit_wav, read_wav};
use lipwright_core::export::sketch::{FLASH_BYTES, Outputs, SketchSettings, sketches, zip};
use lipwright_core::export::{Cue, ServoTrack, TrackMeta, cue_sheet, shapes_webvtt, verify, words_webvtt};
use lipwright_core::features::{Survey, log_mel, survey};
use lipwright_core::line::Line;
use lipwright_core::motion::{Plan, PlanSettings, PlanStatus, keyframes, plan_line, replan_line};
use lipwright_core::phonetics::Lexicon;
use lipwright_core::progress::Progress;
use lipwright_core::recognise::{AcousticModel, Hearing, ListenSettings, Recogniser, hear};
use lipwright_core::rig::{Dof, Rig};
use lipwright_core::units::{Microseconds, Seconds};

/// How far sparse knots may stray from the plan.
const KEYFRAME_TOLERANCE: Microseconds = Microseconds::new(4.0);

/// Reads a WAV file to mono samples at 16 kHz.
///
/// # Errors
/// What is wrong with the file, as core says it.
pub fn read(bytes: &[u8]) -> Result<(Sound, Recording), String> {
    let recording = read_wav(bytes, ChannelChoice::Mix).map_err(|e| e.to_string())?;
    let source = recording.source();
    let channels = match source.channels {
        1 => "mono".to_owned(),
        2 => "stereo".to_owned(),
        n => format!("{n} channels"),
    };
    let kind = match source.kind {
        SampleKind::Integer => format!("{} bit", source.bits),
        SampleKind::Float => format!("{} bit float", source.bits),
        SampleKind::Decoded => "decoded by the browser".to_owned(),
    };
    let text = format!("{:.1} kHz, {channels}, {kind}", source.rate.value() / 1000.0);
    Ok((Sound { source: text, notes: source.notes.clone() }, recording))
}

/// Listens to samples, with a script where one is given; `begin` is told the name of each stage as it
/// begins.
///
/// # Errors
/// What went wrong, as core says it.
pub fn listen(
    samples: &[f32],
    script: &str,
    lexicon: Option<&Lexicon>,
    model: &AcousticModel,
    begin: &mut dyn FnMut(&'static str),
    progress: &mut dyn Progress,
) -> Result<Hearing, String> {
    let recording = Recording::from_interleaved(samples, 1, Recording::RATE, ChannelChoice::Mix)
        .map_err(|e| e.to_string())?;
    let script = Some(script.trim()).filter(|s| !s.is_empty());
    // What `recognise::listen` does, stage by stage.
    begin("features");
    let log_mel = log_mel(&recording, progress).map_err(|e| e.to_string())?;
    begin("network");
    let posteriors = model.posteriors(&log_mel, progress).map_err(|e| e.to_string())?;
    begin("decoding");
    let settings = ListenSettings::default();
    hear(model, &posteriors, &recording, script, lexicon, &settings, progress).map_err(|e| e.to_string())
}

/// Looks samples over: where the sound changes, and its spectrogram.
///
/// # Errors
/// What went wrong, as core says it.
pub fn look_over(samples: &[f32], progress: &mut dyn Progress) -> Result<Survey, String> {
    let recording = Recording::from_interleaved(samples, 1, Recording::RATE, ChannelChoice::Mix)
        .map_err(|e| e.to_string())?;
    survey(&recording, progress).map_err(|e| e.to_string())
}

fn planned(
    line: &Line,
    rig: &str,
    settings: &PlanSettings,
    progress: &mut dyn Progress,
) -> Result<(Rig, Plan), String> {
    let rig = Rig::from_json(rig).map_err(|e| e.to_string())?;
    let plan = plan_line(line, &rig, settings, progress).map_err(|e| e.to_string())?;
    Ok((rig, plan))
}

/// The last plan, so that an edit costs what it changed and not the whole line.
#[derive(Default)]
pub struct Memory(Option<Remembered>);

struct Remembered {
    duration: Seconds,
    json: String,
    settings: PlanSettings,
    rig: Rig,
    plan: Plan,
    stretches: Stretches,
}

impl Memory {
    /// The plan of this line: the last one changed where the line, the rig and the settings
    /// are the same, else a new one.
    fn plan(
        &mut self,
        line: &Line,
        json: &str,
        settings: &PlanSettings,
        progress: &mut dyn Progress,
    ) -> Result<&mut Remembered, String> {
        let duration = line.duration();
        let same = |m: &Remembered| m.duration == duration && m.json == json && m.settings == *settings;
        let remembered = match self.0.take().filter(same) {
            Some(mut m) => {
                replan_line(&mut m.plan, line, &m.rig, progress).map_err(|e| e.to_string())?;
                m
            }
            None => {
                let (rig, plan) = planned(line, json, settings, progress)?;
                Remembered {
                    duration,
                    json: json.to_owned(),
                    settings: *settings,
                    rig,
                    plan,
                    stretches: Stretches::default(),
                }
            }
        };
        Ok(self.0.insert(remembered))
    }
}

/// Plans a line for the page; also how long planning itself took, by the caller's clock (seconds).
///
/// # Errors
/// What went wrong, as core says it.
pub fn perform(
    memory: &mut Memory,
    line: &Line,
    rig: &str,
    settings: &PlanSettings,
    clock: &dyn Fn() -> f64,
    progress: &mut dyn Progress,
) -> Result<(Performance, f64), String> {
    let start = clock();
    let Remembered { rig, plan, stretches, .. } = memory.plan(line, rig, settings, progress)?;
    let took = clock() - start;
    let frames = plan.frames();
    let problems = problems::problems(plan, rig, line, stretches);
    let head = PerformanceHead {
        frame: plan.frame,
        start: plan.start,
        lag: plan.shows_at(0) - plan.time_of(0),
        frames,
        servos: plan.servos.len(),
        problems,
        score: problems::score(plan, rig, line),
        summary: summary(plan),
        peak: plan.summary.peak_current,
        mean: plan.summary.mean_current,
    };
    let mut wanted = Vec::with_capacity(frames * head.servos);
    let mut angles = Vec::with_capacity(frames * head.servos);
    let mut limited = Vec::with_capacity(frames * head.servos);
    for servo in &plan.servos {
        wanted.extend(servo.wanted.iter().map(|a| a.value() as f32));
        angles.extend(servo.planned.iter().map(|a| a.value() as f32));
        limited.extend(servo.limited.iter().map(|l| limit_code(*l)));
    }
    let mut face = Vec::with_capacity(frames * Dof::COUNT);
    for frame in 0..frames {
        let values = plan.wanted_at(plan.time_of(frame));
        face.extend(values.iter().map(|(_, v)| v as f32));
    }
    Performance::new(head, wanted, angles, face, limited)
        .map(|performance| (performance, took))
        .ok_or_else(|| "the planner's lists differ in length; please report this line".to_owned())
}

fn summary(plan: &Plan) -> String {
    let s = &plan.summary;
    let mut text = match (s.closures, s.closures_reached) {
        (0, _) => "No lip closures in this line".to_owned(),
        (n, m) if n == m => format!("All {n} lip closures shut"),
        (n, m) => format!("{m} of {n} lip closures shut"),
    };
    if s.tongue_contacts > 0 {
        text.push_str(&format!(
            ", {} of {} tongue contacts made",
            s.tongue_contacts_reached, s.tongue_contacts
        ));
    }
    text.push_str(&format!(
        "; peak {:.1} A of {:.1} A on the servo rail (estimate)",
        s.peak_current.value(),
        s.current_budget.value()
    ));
    if s.status == PlanStatus::OutsideLimits {
        text.push_str(". Some limits could not be kept: do not play this on the head");
    }
    text.push('.');
    text
}

fn meta(line: &LineOf) -> TrackMeta {
    TrackMeta { line: line.name.clone(), audio_name: line.audio.clone(), audio_sha256: line.sha256.clone() }
}

/// Plans a line and writes one file of it; core reads back what it wrote and checks motion against
/// the rig. `sound` is the recording's file, needed for [`FileKind::Sound`] alone.
///
/// # Errors
/// What went wrong, or which limits the motion would break.
pub fn file(
    line: &LineOf,
    sound: &[u8],
    rig: &str,
    settings: &PlanSettings,
    kind: FileKind,
    progress: &mut dyn Progress,
) -> Result<(Vec<u8>, String), String> {
    let (rig, plan) = planned(&line.line, rig, settings, progress)?;
    let words = |e: &dyn std::fmt::Display| e.to_string();
    let dense = ServoTrack::from_plan(&plan, &rig, meta(line)).map_err(|e| words(&e))?;
    let zero = dense.start();
    let captions = "On one clock with the track: 0 is the first frame of the motion.".to_owned();
    Ok(match kind {
        FileKind::Json => {
            (dense.export_json(&rig).map_err(|e| words(&e))?.into_bytes(), checked(&dense, &rig))
        }
        FileKind::Csv => (dense.export_csv(&rig).map_err(|e| words(&e))?.into_bytes(), checked(&dense, &rig)),
        FileKind::Midi => {
            (dense.export_midi(&rig, Some(&line.line)).map_err(|e| words(&e))?, checked(&dense, &rig))
        }
        FileKind::JsonKeyed => {
            let keys = keyframes(&plan, &rig, KEYFRAME_TOLERANCE);
            let track = ServoTrack::from_keyframes(&plan, &keys, &rig, meta(line)).map_err(|e| words(&e))?;
            let knots: usize = track.servos().iter().filter_map(|s| s.knots()).map(|k| k.len()).sum();
            let text = track.export_json(&rig).map_err(|e| words(&e))?;
            (text.into_bytes(), format!("{} {knots} knots.", checked(&track, &rig)))
        }
        FileKind::Words => (words_webvtt(&line.line, &line.name, zero).into_bytes(), captions),
        FileKind::Shapes => (shapes_webvtt(&line.line, &line.name, zero).into_bytes(), captions),
        FileKind::Sound => {
            let end = dense.time_of(dense.frames() - 1);
            (
                fit_wav(sound, zero, end).map_err(|e| words(&e))?,
                "It starts and ends with the motion.".to_owned(),
            )
        }
        FileKind::Sketch | FileKind::CueSheet => {
            return Err("this file is made from the whole project; choose it under the project".to_owned());
        }
    })
}

fn checked(track: &ServoTrack, rig: &Rig) -> String {
    let verdict = verify(track, rig);
    format!(
        "Read back and checked against {}: {} frames of {} servos, {} comparisons, no limit broken.",
        rig.name(),
        verdict.frames,
        verdict.servos,
        verdict.comparisons
    )
}

/// Plans every line and writes one file of them all: the controller's program, or the cue sheet.
///
/// # Errors
/// What went wrong with which line, or what does not fit the controller.
pub fn show(
    name: &str,
    lines: &[LineOf],
    rig: &str,
    settings: &PlanSettings,
    kind: FileKind,
    driver: bool,
    progress: &mut dyn Progress,
) -> Result<(Vec<u8>, String), String> {
    let mut tracks = Vec::with_capacity(lines.len());
    let mut cues = Vec::with_capacity(lines.len());
    let built = Rig::from_json(rig).map_err(|e| e.to_string())?;
    for (i, line) in lines.iter().enumerate() {
        let mut part =
            |stage: &'static str, share: f64| progress.report(stage, (i as f64 + share) / lines.len() as f64);
        let of_line = |e: String| format!("{}: {e}", line.name);
        let (_, plan) = planned(&line.line, rig, settings, &mut part).map_err(of_line)?;
        let track = ServoTrack::from_plan(&plan, &built, meta(line)).map_err(|e| of_line(e.to_string()))?;
        cues.push(Cue {
            trigger: i + 1,
            name: line.name.clone(),
            script: line.script.clone(),
            sound: line.line.duration(),
            motion: track.time_of(track.frames() - 1) - track.start(),
            sound_after: -track.start(),
        });
        tracks.push(track);
    }
    if kind == FileKind::CueSheet {
        let page = cue_sheet(name, &built, &cues);
        return Ok((page.into_bytes(), format!("{} lines; open it and print it.", cues.len())));
    }
    let outputs = if driver { Outputs::Driver } else { Outputs::Pins };
    let settings = SketchSettings { name: name.to_owned(), outputs, ..SketchSettings::default() };
    let made = sketches(&tracks, &built, &settings).map_err(|e| e.to_string())?;
    let sizes: Vec<String> = made
        .iter()
        .map(|s| {
            let percent = 100.0 * s.size.flash as f64 / FLASH_BYTES as f64;
            format!(
                "{}: flash about {} bytes ({percent:.0} %), RAM about {}",
                s.board, s.size.flash, s.size.ram
            )
        })
        .collect();
    let bytes = zip(&made).map_err(|e| e.to_string())?;
    let text = format!(
        "{} lines, every limit of {} kept. {}. README.txt in it says how to wire and load it.",
        tracks.len(),
        built.name(),
        sizes.join("; ")
    );
    Ok((bytes, text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::line::Segment;
    use lipwright_core::phonetics::MouthShape;
    use lipwright_core::progress::Quiet;

    fn line() -> Line {
        let cuts = [
            (0.0, MouthShape::Rest),
            (0.3, MouthShape::Bilabial),
            (0.4, MouthShape::Open),
            (0.6, MouthShape::Alveolar),
            (0.7, MouthShape::Rest),
        ];
        let segments = (0..cuts.len())
            .map(|i| {
                Segment::new(
                    Seconds::new(cuts[i].0),
                    Seconds::new(cuts.get(i + 1).map_or(1.0, |c| c.0)),
                    cuts[i].1,
                )
            })
            .collect();
        Line::new(Seconds::new(1.0), segments).expect("a line")
    }

    fn named() -> LineOf {
        LineOf {
            name: "test".into(),
            audio: "test.wav".into(),
            sha256: String::new(),
            script: "Mind the step.".into(),
            line: line(),
        }
    }

    #[test]
    fn a_line_is_performed_on_both_heads() {
        for rig in [Rig::harbourmaster(), Rig::jaw_only()] {
            let json = rig.to_json();
            let settings = PlanSettings::default();
            let mut memory = Memory::default();
            let p = perform(&mut memory, &line(), &json, &settings, &|| 0.0, &mut Quiet)
                .expect("a plain line can be planned")
                .0;
            assert_eq!(p.head().servos, rig.servos().len());
            // The jaw opens for the vowel and is at rest at both ends.
            let rest = rig.rest_angles()[0];
            let at = |t: f64| p.angles_at(Seconds::new(t))[0];
            assert!((at(-9.0) - rest).abs().value() < 1e-3 && (at(9.0) - rest).abs().value() < 1e-3);
            let open = rig.forward(&p.angles_at(Seconds::new(0.48)))[Dof::JawOpen];
            assert!(open > 5.0, "{}: jaw {open:.1} mm in the vowel", rig.name());
            // An edit changes the remembered plan to nearly what a fresh one would be.
            let mut edited = line().segments().to_vec();
            edited[2].shape = MouthShape::Pursed;
            let edited = Line::new(Seconds::new(1.0), edited).expect("a line");
            let again = |memory: &mut Memory| {
                perform(memory, &edited, &json, &settings, &|| 0.0, &mut Quiet).expect("planned").0
            };
            let (changed, fresh) = (again(&mut memory), again(&mut Memory::default()));
            for servo in 0..rig.servos().len() {
                for (a, b) in changed.planned(servo).iter().zip(fresh.planned(servo)) {
                    assert!((a - b).abs() < 0.2, "{a} after the edit, {b} afresh");
                }
            }
        }
    }

    #[test]
    fn every_file_of_a_line_is_written_and_tracks_read_back() {
        let json = Rig::harbourmaster().to_json();
        let mut sound = std::io::Cursor::new(Vec::new());
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 16_000,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::new(&mut sound, spec).expect("a valid form");
        (0..16_000).for_each(|i| writer.write_sample((i % 100) as i16).expect("to memory"));
        writer.finalize().expect("finishes");
        for kind in FileKind::OF_A_LINE {
            let (bytes, said) =
                file(&named(), sound.get_ref(), &json, &PlanSettings::default(), kind, &mut Quiet)
                    .expect("writes");
            assert!(!said.is_empty() && !bytes.is_empty());
            let text = || String::from_utf8(bytes.clone()).expect("text");
            match kind {
                FileKind::Csv => assert_eq!(ServoTrack::from_csv(&text()).expect("reads").servos().len(), 16),
                FileKind::Json | FileKind::JsonKeyed => {
                    assert!(said.contains("no limit broken"));
                    assert_eq!(ServoTrack::from_json(&text()).expect("reads").servos().len(), 16);
                }
                FileKind::Midi => assert!(bytes.starts_with(b"MThd")),
                FileKind::Words | FileKind::Shapes => assert!(text().starts_with("WEBVTT")),
                FileKind::Sound => assert!(read(&bytes).expect("reads").1.duration() > Seconds::new(1.0)),
                FileKind::Sketch | FileKind::CueSheet => unreachable!("not of one line"),
            }
        }
        let refused = file(&named(), b"mp3", &json, &PlanSettings::default(), FileKind::Sound, &mut Quiet);
        assert!(refused.expect_err("no WAV").contains("not a WAV file"));
    }

    #[test]
    fn a_show_becomes_a_sketch_and_a_cue_sheet() {
        let json = Rig::jaw_only().to_json();
        let lines = [named(), LineOf { name: "<b>bold</b>".into(), ..named() }];
        let make =
            |kind| show("Harbour museum", &lines, &json, &PlanSettings::default(), kind, false, &mut Quiet);
        let (zip, said) = make(FileKind::Sketch).expect("fits");
        assert!(zip.starts_with(b"PK") && said.contains("flash about"));
        let (page, _) = make(FileKind::CueSheet).expect("a page");
        let page = String::from_utf8(page).expect("text");
        assert!(page.contains("&lt;b&gt;bold") && !page.contains("<b>bold"));
    }

    #[test]
    fn a_file_that_is_no_wav_is_refused_in_words() {
        let error = read(b"not a wav at all").expect_err("refused");
        assert!(error.len() > 10, "{error}");
    }
}
