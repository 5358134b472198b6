//! Scripts that do not fit the recording: what is wrong is told, and what is right keeps its place.
//!
//! Lines are put together from the sample lines, so that the truth is known to the sample.

use lipwright_core::audio::{ChannelChoice, Recording, read_wav};
use lipwright_core::features;
use lipwright_core::phonetics::{Lexicon, script_words};
use lipwright_core::progress::Quiet;
use lipwright_core::recognise::{AcousticModel, Hearing, ListenSettings, hear};
use lipwright_core::recognise::{Posteriors, Recogniser};
use std::path::Path;
use std::sync::OnceLock;

/// A word keeps its time if it begins this near, in seconds. The whole recording decides what counts as loud,
/// so that a border between two like sounds (boot*s s*tay) moves by some frames in other company.
const NEAR: f64 = 0.1;

/// A sample line with its script, and what was heard with it.
struct Sample {
    samples: Vec<f32>,
    script: String,
    alone: Hearing,
}

fn lexicon() -> &'static Lexicon {
    static LEXICON: OnceLock<Lexicon> = OnceLock::new();
    LEXICON.get_or_init(|| Lexicon::from_bytes(include_bytes!("../models/lexicon.bin")).expect("built in"))
}

fn model() -> &'static AcousticModel {
    static MODEL: OnceLock<AcousticModel> = OnceLock::new();
    MODEL.get_or_init(AcousticModel::built_in)
}

fn posteriors(samples: &[f32]) -> (Posteriors, Recording) {
    let line = Recording::from_interleaved(samples, 1, Recording::RATE, ChannelChoice::Mix).expect("sound");
    let features = features::log_mel(&line, &mut Quiet).expect("not cancelled");
    (model().posteriors(&features, &mut Quiet).expect("hears"), line)
}

fn listen(samples: &[f32], script: &str) -> Hearing {
    let (p, line) = posteriors(samples);
    let settings = ListenSettings::default();
    hear(model(), &p, &line, Some(script), Some(lexicon()), &settings, &mut Quiet).expect("hears")
}

fn samples() -> &'static [Sample] {
    static SAMPLES: OnceLock<Vec<Sample>> = OnceLock::new();
    SAMPLES.get_or_init(|| {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-audio");
        let one = |name: &str| {
            let bytes = std::fs::read(folder.join(name).with_extension("wav")).expect("a sample line");
            let samples = read_wav(&bytes, ChannelChoice::Mix).expect("a recording").samples().to_vec();
            let script =
                std::fs::read_to_string(folder.join(name).with_extension("txt")).expect("its script");
            let alone = listen(&samples, &script);
            Sample { samples, script, alone }
        };
        ["welcome", "storm-bell", "mind-the-mud", "toy-boat"].map(one).into()
    })
}

/// Lines end to end, and where each begins.
fn joined(parts: &[usize]) -> (Vec<f32>, Vec<f64>) {
    let mut sound = Vec::new();
    let mut starts = Vec::new();
    for part in parts {
        starts.push(sound.len() as f64 / 16_000.0);
        sound.extend_from_slice(&samples()[*part].samples);
    }
    (sound, starts)
}

fn scripts(parts: &[usize]) -> String {
    parts.iter().map(|p| samples()[*p].script.trim()).collect::<Vec<_>>().join("\n")
}

/// The words of part `part`, which begins at `offset`, are where they are when it is heard alone.
fn keeps_its_times(heard: &Hearing, part: usize, offset: f64) {
    let words = &samples()[part].alone.words;
    let off = |w: &&lipwright_core::recognise::HeardWord| {
        !heard
            .words
            .iter()
            .any(|h| h.text == w.text && (h.start.value() - offset - w.start.value()).abs() < NEAR)
    };
    let moved: Vec<_> = words.iter().filter(off).map(|w| (&w.text, offset + w.start.value())).collect();
    // A word beside what does not fit may give a little.
    assert!(moved.len() <= 1, "part {part}: moved or lost {moved:?} of {}: {:?}", words.len(), heard.notes);
}

/// Words that a note says were not heard, by its count.
fn words_missing(heard: &Hearing) -> usize {
    let count = |note: &String| {
        let (_, rest) = note.split_once('(')?;
        let (count, rest) = rest.split_once(" of the script) was not heard")?;
        let _ = rest;
        Some(count.split(' ').next().and_then(|n| n.parse().ok()).unwrap_or(1))
    };
    heard.notes.iter().filter_map(count).sum()
}

#[test]
fn lines_end_to_end_fit_their_scripts() {
    let (sound, starts) = joined(&[0, 1, 2, 3]);
    let heard = listen(&sound, &scripts(&[0, 1, 2, 3]));
    for (part, start) in starts.iter().enumerate() {
        keeps_its_times(&heard, part, *start);
    }
    assert_eq!(words_missing(&heard), 0, "{:?}", heard.notes);
}

/// A line of the script is not in the sound: in the middle, at the beginning, at the end.
#[test]
fn a_missing_line_is_told_by_its_words() {
    for (sound, script, gone) in [
        (vec![0, 3], vec![0, 2, 3], 2),
        (vec![1, 2], vec![1, 0, 2], 0),
        (vec![3, 1], vec![2, 3, 1], 2),
        (vec![2, 0], vec![2, 0, 1], 1),
    ] {
        let (samples_of_it, starts) = joined(&sound);
        let heard = listen(&samples_of_it, &scripts(&script));
        for (part, start) in sound.iter().zip(starts) {
            keeps_its_times(&heard, *part, start);
        }
        let words = script_words(&samples()[gone].script);
        let told = words_missing(&heard);
        let case = format!("{sound:?} with {script:?}: {:?}", heard.notes);
        assert!(told + 2 >= words.len() && told <= words.len() + 1, "{told} of {}: {case}", words.len());
        // The note quotes the first or second word of what is missing.
        let quoted = |n: &String| words[..2].iter().any(|w| n.contains(w.text.as_str()));
        assert!(heard.notes.iter().any(|n| n.contains("was not heard") && quoted(n)), "{case}");
    }
}

/// A line in the sound is not in the script.
#[test]
fn an_extra_line_is_told_by_its_time_and_heard_all_the_same() {
    for (sound, script, extra) in
        [(vec![0, 2, 3], vec![0, 3], 1), (vec![1, 0, 2], vec![0, 2], 0), (vec![3, 1, 2], vec![3, 1], 2)]
    {
        let (samples_of_it, starts) = joined(&sound);
        let heard = listen(&samples_of_it, &scripts(&script));
        let case = format!("{sound:?} with {script:?}: {:?}", heard.notes);
        for (place, part) in sound.iter().enumerate() {
            if place != extra {
                keeps_its_times(&heard, *part, starts[place]);
            }
        }
        let alone = &samples()[sound[extra]].alone;
        let from = starts[extra] + alone.words[0].start.value();
        let to = starts[extra] + alone.words[alone.words.len() - 1].end.value();
        let covered: f64 = heard
            .notes
            .iter()
            .filter(|n| n.ends_with("not in the script."))
            .map(|n| {
                let times: Vec<f64> = n.split(' ').filter_map(|w| w.parse().ok()).collect();
                (times[1].min(to) - times[0].max(from)).max(0.0)
            })
            .sum();
        assert!(covered > 0.8 * (to - from), "{covered:.2} of {:.2} s: {case}", to - from);
        // What is said there moves the mouth.
        let moves = heard.segments.iter().filter(|s| s.start.value() >= from && s.end.value() <= to).count();
        assert!(moves * 3 > alone.segments.len() * 2, "{moves} segments: {case}");
    }
}

/// Every line with every other line's script; the mouth moves as if there were no script.
#[test]
fn the_wrong_file_is_refused() {
    for (i, sample) in samples().iter().enumerate() {
        let (p, line) = posteriors(&sample.samples);
        let hear = |script| {
            let settings = ListenSettings::default();
            hear(model(), &p, &line, script, Some(lexicon()), &settings, &mut Quiet).expect("hears")
        };
        let bare = hear(None);
        for (j, other) in samples().iter().enumerate() {
            if i == j {
                continue;
            }
            let heard = hear(Some(&other.script));
            assert!(heard.words.is_empty(), "line {i} with script {j}: {:?}", heard.words);
            assert!(heard.notes.iter().any(|n| n.contains("another recording")), "{:?}", heard.notes);
            assert_eq!(heard.segments, bare.segments);
        }
    }
}

/// A sentence cut out of the sound, in the pause before it and the pause after it.
#[test]
fn a_sentence_cut_out_is_told() {
    let line = &samples()[1];
    let words = &line.alone.words;
    // The night the big storm broke … home. | Ring the bell, Martha, I roared. | Ring it!
    let begins = words.iter().position(|w| w.text == "Ring").expect("the second sentence");
    let ends = words.iter().position(|w| w.text == "roared").expect("its last word");
    let cut = |before: usize| {
        let (a, b) = (words[before].end.value(), words[before + 1].start.value());
        (0.5 * (a + b) * 16_000.0) as usize
    };
    let (from, to) = (cut(begins - 1), cut(ends));
    let mut sound = line.samples[..from].to_vec();
    sound.extend_from_slice(&line.samples[to..]);
    let heard = listen(&sound, &line.script);
    let told = words_missing(&heard);
    assert!((4..=7).contains(&told), "{told}: {:?}", heard.notes);
    let gone = (to - from) as f64 / 16_000.0;
    for (i, w) in words.iter().enumerate().filter(|(i, _)| *i < begins || *i > ends) {
        let start = w.start.value() - if i > ends { gone } else { 0.0 };
        let found = heard.words.iter().any(|h| h.text == w.text && (h.start.value() - start).abs() < NEAR);
        assert!(found, "{} at {start:.2}: {:?}", w.text, heard.words);
    }
}
