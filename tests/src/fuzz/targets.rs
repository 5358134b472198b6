//! What reads bytes from outside, and what it is fed with.

use super::link;
use super::{Limits, Target};
use lipwright_core::audio::{ChannelChoice, Recording, fit_wav, read_wav};
use lipwright_core::export::{ServoTrack, TrackMeta, packed};
use lipwright_core::features::analyse;
use lipwright_core::line::{Line, Segment};
use lipwright_core::motion::{PlanSettings, plan};
use lipwright_core::phonetics::{Lexicon, MouthShape};
use lipwright_core::progress::Quiet;
use lipwright_core::project::{AudioRef, Project, ProjectLine};
use lipwright_core::recognise::{AcousticModel, ListenSettings, Posteriors, Recogniser, hear};
use lipwright_core::rig::Rig;
use lipwright_core::units::{Microseconds, Seconds};
use std::sync::OnceLock;

fn text(bytes: &[u8]) -> std::borrow::Cow<'_, str> {
    String::from_utf8_lossy(bytes)
}

/// A track of ten frames that holds.
fn short_track() -> ServoTrack {
    let rig = Rig::jaw_only();
    let pulses: Vec<Microseconds> = (0..10).map(|t| Microseconds::new(1500.0 + 0.5 * f64::from(t))).collect();
    ServoTrack::dense(&rig, TrackMeta::default(), Seconds::new(0.02), Seconds::ZERO, &[pulses])
        .expect("ten sound frames")
}

/// Packed tracks of a jaw alone and of a whole head that open and close once.
fn packed_tracks() -> Vec<Vec<u8>> {
    let s = Seconds::new;
    let shapes = [MouthShape::Rest, MouthShape::Open, MouthShape::Rest];
    let times = [0.0, 0.3, 0.5, 0.8];
    let segments: Vec<Segment> =
        (0..3).map(|i| Segment::new(s(times[i]), s(times[i + 1]), shapes[i])).collect();
    let pack = |rig: Rig| {
        let plan = plan(&segments, s(0.8), &rig, &PlanSettings::default(), &mut Quiet).expect("it plans");
        let track = ServoTrack::from_plan(&plan, &rig, TrackMeta::default()).expect("it fits");
        let packed = packed::pack(&track, &rig, Microseconds::new(4.0)).expect("every limit holds");
        packed.boards.into_iter().map(|b| b.bytes)
    };
    pack(Rig::jaw_only()).chain(pack(Rig::harbourmaster())).collect()
}

/// Makes length and check sum of a packed track true again, so that damage reaches what lies behind.
fn with_length_and_check(mut bytes: Vec<u8>) -> Vec<u8> {
    bytes.truncate(bytes.len().saturating_sub(4));
    if let Some(coded) = bytes.len().checked_sub(packed::HEADER) {
        bytes[20..24].copy_from_slice(&(coded as u32).to_le_bytes());
    }
    let mut crc = flate2::Crc::new();
    crc.update(&bytes);
    bytes.extend_from_slice(&crc.sum().to_le_bytes());
    bytes
}

/// What scripts are laid over: an ear, how the first sample line sounds to it, and the dictionary.
fn heard() -> &'static (AcousticModel, Posteriors, Recording, Lexicon) {
    static HEARD: OnceLock<(AcousticModel, Posteriors, Recording, Lexicon)> = OnceLock::new();
    HEARD.get_or_init(|| {
        let sound = std::fs::read(&crate::sample_lines()[0]).expect("a sample line");
        let recording: Recording = read_wav(&sound, ChannelChoice::Mix).expect("it reads");
        let features = analyse(&recording, &mut Quiet).expect("nobody cancels");
        let ear = AcousticModel::built_in();
        let posteriors = ear.posteriors(features.log_mel(), &mut Quiet).expect("it hears");
        let lexicon =
            std::fs::read(crate::workspace().join("core/models/lexicon.bin")).expect("a dictionary");
        (ear, posteriors, recording, Lexicon::from_bytes(&lexicon).expect("it reads"))
    })
}

/// The whole way of a script: words, pronunciations, the graph, the search along the recording.
fn follow(bytes: &[u8]) -> bool {
    let (ear, posteriors, recording, lexicon) = heard();
    let settings = ListenSettings::default();
    let hearing = hear(ear, posteriors, recording, Some(&text(bytes)), Some(lexicon), &settings, &mut Quiet)
        .expect("no script is an error");
    let mut at = 0.0;
    for segment in &hearing.segments {
        assert_eq!(segment.start.value(), at, "no gap, no overlap");
        at = segment.end.value();
    }
    assert_eq!(at, recording.duration().value(), "the last segment ends with the recording");
    !hearing.words.is_empty()
}

fn project() -> Vec<Vec<u8>> {
    let mut project = Project::new("Harbour museum");
    let line = Line::silent(Seconds::new(2.0)).expect("two seconds");
    let audio = AudioRef::of("welcome.wav", b"sound", line.duration()).embed(b"sound");
    project.lines.push(ProjectLine::new("Welcome", audio, "Mind the step.", line));
    vec![project.to_json().into_bytes()]
}

/// Every reader of bytes that come from outside.
pub const TARGETS: &[Target] = &[
    Target {
        name: "wav",
        seeds: &[("tests/bad-input/wav", "wav")],
        good: Vec::new,
        mend: None,
        limits: Limits::SOUND,
        short: 3000,
        read: |bytes| read_wav(bytes, ChannelChoice::Mix).is_ok(),
    },
    Target {
        name: "cut",
        seeds: &[("tests/bad-input/wav", "wav")],
        good: Vec::new,
        mend: None,
        limits: Limits::CUT,
        short: 3000,
        read: |bytes| {
            let cut = fit_wav(bytes, Seconds::new(-0.001), Seconds::new(0.002));
            cut.is_ok_and(|bytes| read_wav(&bytes, ChannelChoice::Mix).is_ok())
        },
    },
    Target {
        name: "script",
        seeds: &[("sample-audio", "txt"), ("tests/bad-input/script", "txt")],
        good: Vec::new,
        mend: None,
        limits: Limits::SCRIPT,
        short: 150,
        read: follow,
    },
    Target {
        name: "rig",
        seeds: &[("tests/bad-input/rig", "json")],
        good: || vec![Rig::jaw_only().to_json().into_bytes(), Rig::harbourmaster().to_json().into_bytes()],
        mend: None,
        limits: Limits::USUAL,
        short: 1500,
        read: |bytes| Rig::from_json(&text(bytes)).is_ok(),
    },
    Target {
        name: "track",
        seeds: &[("tests/bad-input/track", "json")],
        good: || vec![short_track().to_json().into_bytes()],
        mend: None,
        limits: Limits::USUAL,
        short: 3000,
        read: |bytes| ServoTrack::from_bytes(bytes).is_ok(),
    },
    Target {
        name: "table",
        seeds: &[("tests/bad-input/track", "csv")],
        good: || vec![short_track().to_csv().into_bytes()],
        mend: None,
        limits: Limits::USUAL,
        short: 3000,
        read: |bytes| match ServoTrack::from_csv(&text(bytes)) {
            Ok(track) => {
                let again = ServoTrack::from_csv(&track.to_csv()).expect("what was read is written readably");
                assert_eq!(again, track, "a table comes back as it was read");
                true
            }
            Err(_) => false,
        },
    },
    Target {
        name: "packed",
        seeds: &[("tests/bad-input/packed", "lwp")],
        good: packed_tracks,
        mend: Some(|dice, bytes| if dice.below(8) > 0 { with_length_and_check(bytes) } else { bytes }),
        limits: Limits::PACKED,
        short: 3000,
        read: |bytes| match packed::read(bytes) {
            Ok(track) => {
                assert!(track.pulses.iter().all(|column| column.len() == track.frames));
                true
            }
            Err(_) => false,
        },
    },
    Target {
        name: "project",
        seeds: &[("tests/bad-input/project", "json")],
        good: project,
        mend: None,
        limits: Limits::USUAL,
        short: 3000,
        read: |bytes| match Project::from_json(&text(bytes)) {
            Ok(project) => {
                for line in &project.lines {
                    let _ = line.audio.embedded(); // Refused in words, or the bytes with the right hash.
                }
                true
            }
            Err(_) => false,
        },
    },
    Target {
        name: "link",
        seeds: &[],
        good: || vec![link::talk(Rig::harbourmaster()), link::talk(Rig::jaw_only())],
        mend: None,
        limits: Limits::USUAL,
        short: 600,
        read: link::listen,
    },
    Target {
        name: "orders",
        seeds: &[],
        good: || vec![link::records(&link::talk(Rig::harbourmaster()))],
        mend: Some(|_, bytes| link::framed(&bytes)),
        limits: Limits::USUAL,
        short: 600,
        read: link::listen,
    },
];
