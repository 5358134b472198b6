//! The work itself, without a browser: the same functions run in tests.

use super::message::{Sound, TrackKind};
use crate::editor::{Performance, PerformanceHead, Problem, limit_code};
use lipwright_core::audio::{ChannelChoice, Recording, SampleKind, read_wav};
use lipwright_core::export::{ServoTrack, TrackMeta};
use lipwright_core::line::Segment;
use lipwright_core::motion::{LimitedBy, Plan, PlanSettings, PlanStatus, Shortfall, keyframes, plan, replan};
use lipwright_core::phonetics::Lexicon;
use lipwright_core::progress::Progress;
use lipwright_core::recognise::{AcousticModel, Hearing, ListenSettings};
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

/// Listens to samples, with a script where one is given.
///
/// # Errors
/// What went wrong, as core says it.
pub fn listen(
    samples: &[f32],
    script: &str,
    lexicon: Option<&Lexicon>,
    model: &AcousticModel,
    progress: &mut dyn Progress,
) -> Result<Hearing, String> {
    let recording = Recording::from_interleaved(samples, 1, Recording::RATE, ChannelChoice::Mix)
        .map_err(|e| e.to_string())?;
    let script = Some(script.trim()).filter(|s| !s.is_empty());
    lipwright_core::recognise::listen(
        &recording,
        script,
        lexicon,
        model,
        &ListenSettings::default(),
        progress,
    )
    .map_err(|e| e.to_string())
}

fn planned(
    segments: &[Segment],
    duration: Seconds,
    rig: &str,
    settings: &PlanSettings,
    progress: &mut dyn Progress,
) -> Result<(Rig, Plan), String> {
    let rig = Rig::from_json(rig).map_err(|e| e.to_string())?;
    let plan = plan(segments, duration, &rig, settings, progress).map_err(|e| e.to_string())?;
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
}

impl Memory {
    /// The plan of these segments: the last one changed where the line, the rig and the settings
    /// are the same, else a new one.
    fn plan(
        &mut self,
        segments: &[Segment],
        duration: Seconds,
        json: &str,
        settings: &PlanSettings,
        progress: &mut dyn Progress,
    ) -> Result<&Remembered, String> {
        let same = |m: &Remembered| m.duration == duration && m.json == json && m.settings == *settings;
        let remembered = match self.0.take().filter(same) {
            Some(mut m) => {
                replan(&mut m.plan, segments, &m.rig, progress).map_err(|e| e.to_string())?;
                m
            }
            None => {
                let (rig, plan) = planned(segments, duration, json, settings, progress)?;
                Remembered { duration, json: json.to_owned(), settings: *settings, rig, plan }
            }
        };
        Ok(self.0.insert(remembered))
    }
}

/// Plans a line for the page.
///
/// # Errors
/// What went wrong, as core says it.
pub fn perform(
    memory: &mut Memory,
    segments: &[Segment],
    duration: Seconds,
    rig: &str,
    settings: &PlanSettings,
    progress: &mut dyn Progress,
) -> Result<Performance, String> {
    let Remembered { rig, plan, .. } = memory.plan(segments, duration, rig, settings, progress)?;
    let frames = plan.frames();
    let problems = plan
        .shortfalls
        .iter()
        .map(|s| Problem { segment: s.segment, time: s.time, sentence: sentence(rig, s) })
        .collect();
    let head = PerformanceHead {
        frame: plan.frame,
        start: plan.start,
        lag: plan.shows_at(0) - plan.time_of(0),
        frames,
        servos: plan.servos.len(),
        problems,
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
        .ok_or_else(|| "the planner's lists differ in length; please report this line".to_owned())
}

/// A shortfall in words: what was reached, what was wanted, which limit of which servo.
fn sentence(rig: &Rig, s: &Shortfall) -> String {
    let unit = if s.dof.unit() == "deg" { "°" } else { " mm" };
    let what = s.dof.name().replace('-', " ");
    let servo = rig.servos().get(s.servo.0).map_or("", |s| s.name.as_str());
    let limit = match s.by {
        LimitedBy::Coupling => "another part of the face comes first".to_owned(),
        LimitedBy::Current => "the supply's current".to_owned(),
        by if servo == what => by.name().to_owned(),
        by => format!("{} of servo {servo}", by.name()),
    };
    // Adding zero turns a rounded -0.0 into 0.0.
    let tenth = |v: f64| (v * 10.0).round() / 10.0 + 0.0;
    format!("{what} {:.1}{unit}, wanted {:.1}{unit}: {limit}", tenth(s.reached), tenth(s.wanted))
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

/// What goes into the head of a track.
pub struct Origin<'a> {
    /// Name of the line.
    pub line: &'a str,
    /// File name of the recording.
    pub audio: &'a str,
    /// SHA-256 of the recording.
    pub sha256: &'a str,
}

/// Plans a line and writes its track; core reads back what it wrote and checks it against the rig.
///
/// # Errors
/// What went wrong, or which limits the track would break.
pub fn track(
    segments: &[Segment],
    duration: Seconds,
    rig: &str,
    settings: &PlanSettings,
    kind: TrackKind,
    origin: &Origin<'_>,
    progress: &mut dyn Progress,
) -> Result<(String, String), String> {
    let (rig, plan) = planned(segments, duration, rig, settings, progress)?;
    let meta = TrackMeta {
        line: origin.line.to_owned(),
        audio_name: origin.audio.to_owned(),
        audio_sha256: origin.sha256.to_owned(),
    };
    let track = match kind {
        TrackKind::Json | TrackKind::Csv => ServoTrack::from_plan(&plan, &rig, meta),
        TrackKind::JsonKeyed => {
            ServoTrack::from_keyframes(&plan, &keyframes(&plan, &rig, KEYFRAME_TOLERANCE), &rig, meta)
        }
    }
    .map_err(|e| e.to_string())?;
    let text = match kind {
        TrackKind::Json | TrackKind::JsonKeyed => track.export_json(&rig),
        TrackKind::Csv => track.export_csv(&rig),
    }
    .map_err(|e| e.to_string())?;
    let verdict = lipwright_core::export::verify(&track, &rig);
    let mut checked = format!(
        "Read back and checked against {}: {} frames of {} servos, {} comparisons, no limit broken.",
        rig.name(),
        verdict.frames,
        verdict.servos,
        verdict.comparisons
    );
    if track.is_keyed() {
        let knots: usize = track.servos().iter().filter_map(|s| s.knots()).map(|k| k.len()).sum();
        checked.push_str(&format!(" {knots} knots."));
    }
    Ok((text, checked))
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::phonetics::MouthShape;
    use lipwright_core::progress::Quiet;

    fn segments() -> Vec<Segment> {
        let cuts = [
            (0.0, MouthShape::Rest),
            (0.3, MouthShape::Bilabial),
            (0.4, MouthShape::Open),
            (0.6, MouthShape::Alveolar),
            (0.7, MouthShape::Rest),
        ];
        (0..cuts.len())
            .map(|i| {
                Segment::new(
                    Seconds::new(cuts[i].0),
                    Seconds::new(cuts.get(i + 1).map_or(1.0, |c| c.0)),
                    cuts[i].1,
                )
            })
            .collect()
    }

    #[test]
    fn a_line_is_performed_on_both_heads() {
        for rig in [Rig::harbourmaster(), Rig::jaw_only()] {
            let json = rig.to_json();
            let settings = PlanSettings::default();
            let mut memory = Memory::default();
            let p = perform(&mut memory, &segments(), Seconds::new(1.0), &json, &settings, &mut Quiet)
                .expect("a plain line can be planned");
            assert_eq!(p.head().servos, rig.servos().len());
            // The jaw opens for the vowel and is at rest at both ends.
            let rest = rig.rest_angles()[0];
            let at = |t: f64| p.angles_at(Seconds::new(t))[0];
            assert!((at(-9.0) - rest).abs().value() < 1e-3 && (at(9.0) - rest).abs().value() < 1e-3);
            let open = rig.forward(&p.angles_at(Seconds::new(0.48)))[Dof::JawOpen];
            assert!(open > 5.0, "{}: jaw {open:.1} mm in the vowel", rig.name());
            // An edit changes the remembered plan to nearly what a fresh one would be.
            let mut edited = segments();
            edited[2].shape = MouthShape::Pursed;
            let again = |memory: &mut Memory| {
                perform(memory, &edited, Seconds::new(1.0), &json, &settings, &mut Quiet).expect("planned")
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
    fn every_form_of_track_reads_back() {
        let rig = Rig::harbourmaster();
        let origin = Origin { line: "test", audio: "test.wav", sha256: "" };
        for kind in [TrackKind::Json, TrackKind::JsonKeyed, TrackKind::Csv] {
            let (text, checked) = track(
                &segments(),
                Seconds::new(1.0),
                &rig.to_json(),
                &PlanSettings::default(),
                kind,
                &origin,
                &mut Quiet,
            )
            .expect("writes");
            assert!(checked.contains("no limit broken"));
            let back = match kind {
                TrackKind::Csv => ServoTrack::from_csv(&text),
                _ => ServoTrack::from_json(&text),
            };
            assert_eq!(back.expect("reads").servos().len(), 16);
        }
    }

    #[test]
    fn a_file_that_is_no_wav_is_refused_in_words() {
        let error = read(b"not a wav at all").expect_err("refused");
        assert!(error.len() > 10, "{error}");
    }
}
