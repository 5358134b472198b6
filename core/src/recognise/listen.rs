//! The whole way from a recording to what was heard in it.

use super::align::{Part, Stretch, align};
use super::decode::decode;
use super::graph::Graph;
use super::segments::{TimedPhone, place, segments, shape_mass};
use super::voice::hear_voice;
use super::{HeardWord, Hearing, HearingError, ListenSettings, Posteriors, Recogniser};
use crate::audio::Recording;
use crate::features::{Features, log_mel};
use crate::phonetics::{Lexicon, Margin, Phone, ScriptWord, script_words_in};
use crate::progress::Progress;
use crate::units::Seconds;
use std::borrow::Cow;

/// Words of a script in a row, all heard one right after the other, that are no accident: by chance, single
/// words fit anywhere. (Of 60 wrong scripts on tuning speech none had four in a row.)
const NO_ACCIDENT: usize = 4;
/// The same for fewer words: their length times how well the sound fits them, in frames.
const WEIGHTY: f64 = 100.0;
/// Sound between two words that the script does not have, from which on they are not in a row, in frames.
const APART: usize = 5;
/// A script belongs to another recording if less than this share of the words that could be in this one is
/// heard in rows that are no accident.
const FOUNDED: f64 = 0.25;
/// It belongs, too, if no more than this share of its words is left out …
const FEW_LEFT_OUT: f64 = 0.35;
/// … and this much of all that is said speaks for the rest: the mean, over all frames of speech, of how
/// probable the sound finds the script's mouth shape.
const WELL_COVERED: f64 = 0.38;
/// What leaving out a word costs while the script is not known to belong, as a share of what it costs then.
const STRANGE: f64 = 0.8;
/// Words that people say in a second, roughly (common practice).
const WORDS_A_SECOND: f64 = 2.5;
/// Speech outside the script, pauses in it not counted, is reported from this length on, in frames.
const WORTH_TELLING: usize = 45;
/// Words quoted in full in a note; of longer passages only the ends are.
const QUOTED: usize = 8;
/// Letters of one word that are quoted.
const QUOTED_LETTERS: usize = 40;

/// Listens to a recording: without a script by the sound alone, with one by fitting the script's
/// words to the sound. A script needs a lexicon; without one it is ignored, and the notes say so.
///
/// # Errors
/// [`HearingError::Cancelled`] if `progress` asked for it, [`HearingError::Setting`], or what the
/// recogniser reports.
pub fn listen(
    recording: &Recording,
    script: Option<&str>,
    lexicon: Option<&Lexicon>,
    recogniser: &dyn Recogniser,
    settings: &ListenSettings,
    progress: &mut dyn Progress,
) -> Result<Hearing, HearingError> {
    settings.validate()?;
    let log_mel = log_mel(recording, progress)?;
    let posteriors = recogniser.posteriors(&log_mel, progress)?;
    if posteriors.frames() != log_mel.len() {
        return Err(HearingError::WrongLength { asked: log_mel.len(), answered: posteriors.frames() });
    }
    hear(recogniser, &posteriors, recording, script, lexicon, settings, progress)
}

/// The second half of [`listen`], from a recogniser's answer on. The recogniser is asked again, where exactly
/// what was found begins and ends.
///
/// # Errors
/// As [`listen`].
pub fn hear(
    recogniser: &dyn Recogniser,
    posteriors: &Posteriors,
    recording: &Recording,
    script: Option<&str>,
    lexicon: Option<&Lexicon>,
    settings: &ListenSettings,
    progress: &mut dyn Progress,
) -> Result<Hearing, HearingError> {
    settings.validate()?;
    let voiced = hear_voice(posteriors.clone(), recording);
    let sound = Sound { recogniser, posteriors: &voiced, plain: posteriors, duration: recording.duration() };
    hear_sound(sound, script, lexicon, settings, progress)
}

fn hear_sound(
    sound: Sound<'_>,
    script: Option<&str>,
    lexicon: Option<&Lexicon>,
    settings: &ListenSettings,
    progress: &mut dyn Progress,
) -> Result<Hearing, HearingError> {
    let Sound { recogniser, posteriors, plain, duration } = sound;
    let mut notes = Vec::new();
    if let Some(script) = script {
        let margin = Margin::of(script);
        notes.extend(margin.problems.iter().map(|p| format!("In {p}.")));
        let language = margin.language.unwrap_or(settings.language);
        let settings = &ListenSettings { language, ..settings.clone() };
        let words = script_words_in(script, language);
        match lexicon {
            _ if words.is_empty() => notes.push("The script has no words; listened without it.".to_owned()),
            None => {
                notes.push("No pronouncing dictionary was at hand; listened without the script.".to_owned())
            }
            Some(lexicon) => {
                let lexicon = explained(lexicon, margin);
                let graph = Graph::new(&words, &lexicon, settings);
                // Whether the script belongs is judged with the sound in full: where it counts less,
                // words of another recording are found sooner than nothing. Words are left out more lightly,
                // too, than where they are known to have been said, and what may be a hesitation is silence.
                let judging = ListenSettings {
                    script_sound_weight: 1.0,
                    word_skip_cost: STRANGE * settings.word_skip_cost,
                    ..settings.clone()
                };
                let way = align(&graph, plain, &judging, progress)?;
                let followed = way.map(|way| Followed::new(&graph, way));
                match followed.filter(|f| f.belongs(&graph, plain)) {
                    Some(f) => {
                        // Only now: words said so freely fit another recording nearly as well.
                        let freer = Graph::running(&words, &lexicon, settings);
                        let way = align(&freer, posteriors, settings, progress)?;
                        let (graph, f) = way.map_or((graph, f), |way| {
                            let f = Followed::new(&freer, way);
                            (freer, f)
                        });
                        let mut heard = f.hearing(&graph, &words, sound, settings, progress)?;
                        heard.notes.splice(0..0, notes);
                        return Ok(heard);
                    }
                    None => notes.push(
                        "Hardly any of the script was heard: it seems to belong to another recording. Listened without it."
                            .to_owned(),
                    ),
                }
            }
        }
    }
    let mut phones = decode(posteriors, 0..posteriors.frames(), settings, progress)?;
    place(&mut phones, recogniser, posteriors);
    let segments = segments(&phones, posteriors, duration, settings);
    Ok(Hearing { duration, segments, words: Vec::new(), notes })
}

/// The lexicon with what the margin says about words.
fn explained(lexicon: &Lexicon, margin: Margin) -> Cow<'_, Lexicon> {
    let mut lexicon = Cow::Borrowed(lexicon);
    for (word, said) in margin.own {
        lexicon.to_mut().define(&word, said);
    }
    lexicon
}

/// What was recorded, and who listens.
#[derive(Clone, Copy)]
struct Sound<'a> {
    recogniser: &'a dyn Recogniser,
    posteriors: &'a Posteriors,
    /// As the recogniser gave them, before a voice was listened for.
    plain: &'a Posteriors,
    duration: Seconds,
}

/// A way through a script, by word.
struct Followed {
    way: Vec<Stretch>,
    /// For each word of the script, its part of the way; empty if it was left out.
    places: Vec<std::ops::Range<usize>>,
}

impl Followed {
    fn new(graph: &Graph, way: Vec<Stretch>) -> Self {
        let mut places = vec![0..0; graph.words.len()];
        for (i, stretch) in way.iter().enumerate() {
            if let Part::Unit(u) = stretch.part {
                let w = graph.words.partition_point(|word| word.units.end <= u);
                if places[w].is_empty() {
                    places[w] = i..i + 1;
                } else {
                    places[w].end = i + 1;
                }
            }
        }
        Self { way, places }
    }

    /// True unless the script seems to be that of another recording.
    fn belongs(&self, graph: &Graph, posteriors: &Posteriors) -> bool {
        let wanted = |w: &usize| !graph.words[*w].firsts.is_empty() && !graph.words[*w].optional;
        let sayable = (0..graph.words.len()).filter(wanted).count();
        let silent = |s: &&Stretch| s.part != Part::Pause;
        let speech: usize = self.way.iter().filter(silent).map(|s| s.frames.len()).sum();
        let all: Vec<usize> = (0..graph.words.len()).filter(|w| !self.places[*w].is_empty()).collect();
        let heard = all.iter().filter(|w| wanted(w)).count() as f64;
        let covered = self.weight(&all, graph, posteriors) / speech.max(1) as f64;
        if heard >= (1.0 - FEW_LEFT_OUT) * sayable as f64 && heard > 0.0 && covered >= WELL_COVERED {
            return true;
        }
        let sayable = (sayable as f64).min(WORDS_A_SECOND * speech as f64 * Features::HOP.value());
        let founded: usize = self
            .rows(graph)
            .iter()
            .filter(|row| {
                let whole = row.len() == graph.words.len();
                whole || row.len() >= NO_ACCIDENT || self.weight(row, graph, posteriors) >= WEIGHTY
            })
            .map(Vec::len)
            .sum();
        founded > 0 && founded as f64 >= FOUNDED * sayable
    }

    /// The words that were heard, divided where one was left out or something else was said.
    fn rows(&self, graph: &Graph) -> Vec<Vec<usize>> {
        let mut rows: Vec<Vec<usize>> = Vec::new();
        let mut end = None;
        for (w, place) in self.places.iter().enumerate() {
            if place.is_empty() {
                end = end.filter(|_| graph.words[w].optional);
                continue;
            }
            let between = |end: usize| &self.way[end..place.start];
            let other = |s: &Stretch| s.part == Part::Extra && s.frames.len() > APART;
            match rows.last_mut() {
                Some(row) if end.is_some_and(|end| !between(end).iter().any(other)) => row.push(w),
                _ => rows.push(vec![w]),
            }
            end = Some(place.end);
        }
        rows
    }

    /// How much sound speaks for the words of a row, in frames.
    fn weight(&self, row: &[usize], graph: &Graph, posteriors: &Posteriors) -> f64 {
        row.iter().map(|w| self.fit(self.places[*w].clone(), graph, posteriors)).sum()
    }

    /// The sum over a word's frames of how probable the sound finds its mouth shape.
    fn fit(&self, place: std::ops::Range<usize>, graph: &Graph, posteriors: &Posteriors) -> f64 {
        self.way[place]
            .iter()
            .map(|s| match s.part {
                Part::Unit(u) => {
                    let unit = &graph.units[u];
                    let shape = unit.phone.shape(unit.stressed);
                    s.frames.clone().map(|f| shape_mass(posteriors.frame(f), shape)).sum()
                }
                _ => 0.0,
            })
            .sum()
    }

    fn hearing(
        &self,
        graph: &Graph,
        script: &[ScriptWord],
        sound: Sound<'_>,
        settings: &ListenSettings,
        progress: &mut dyn Progress,
    ) -> Result<Hearing, HearingError> {
        let Sound { recogniser, posteriors, duration, .. } = sound;
        let mut phones = Vec::new();
        // For each stretch of the way, its first phone; speech outside the script has several.
        let mut first = Vec::with_capacity(self.way.len());
        for stretch in &self.way {
            first.push(phones.len());
            let frames = stretch.frames.start as f64..stretch.frames.end as f64;
            match stretch.part {
                Part::Unit(u) => {
                    let unit = &graph.units[u];
                    phones.push(TimedPhone {
                        phone: unit.phone,
                        stressed: Some(unit.stressed),
                        frames,
                        scripted: true,
                    });
                }
                Part::Pause => {
                    phones.push(TimedPhone { phone: Phone::Sil, stressed: None, frames, scripted: true });
                }
                Part::Extra => phones.extend(decode(posteriors, stretch.frames.clone(), settings, progress)?),
            }
        }
        place(&mut phones, recogniser, posteriors);
        let words = self
            .places
            .iter()
            .zip(script)
            .filter(|(place, _)| !place.is_empty())
            .map(|(place, word)| {
                let fit = self.fit(place.clone(), graph, posteriors);
                let frames: usize = self.way[place.clone()].iter().map(|s| s.frames.len()).sum();
                let (from, to) = (&phones[first[place.start]], &phones[first[place.end - 1]]);
                HeardWord {
                    start: Features::HOP * from.frames.start,
                    end: (Features::HOP * to.frames.end).min(duration),
                    text: word.text.clone(),
                    confidence: (fit / frames.max(1) as f64).clamp(0.0, 1.0),
                }
            })
            .collect::<Vec<_>>();
        let mut notes = self.missing(graph, script);
        notes.extend(self.extra());
        let poor = words.iter().filter(|w| w.confidence < settings.poor_fit);
        notes.extend(poor.map(|w| format!("“{}” at {:.2} s fits the sound badly.", w.text, w.start.value())));
        Ok(Hearing { duration, segments: segments(&phones, posteriors, duration, settings), words, notes })
    }

    /// Sentences about words that were not heard, one for each run of them.
    fn missing(&self, graph: &Graph, script: &[ScriptWord]) -> Vec<String> {
        let mut out = Vec::new();
        let mut at = 0;
        let mut time = 0;
        while at < script.len() {
            if !self.places[at].is_empty() {
                time = self.way[self.places[at].end - 1].frames.end;
                at += 1;
                continue;
            }
            if graph.words[at].optional {
                at += 1;
                continue;
            }
            let ends = |w: &usize| !self.places[*w].is_empty() || graph.words[*w].optional;
            let end = (at..script.len()).find(ends).unwrap_or(script.len());
            let run = &script[at..end];
            let texts: Vec<String> = run.iter().map(|w| short(&w.text)).collect();
            let quoted = if texts.len() <= QUOTED {
                texts.join(" ")
            } else {
                format!("{} … {}", texts[..3].join(" "), texts[texts.len() - 3..].join(" "))
            };
            let seconds = time as f64 * Features::HOP.value();
            let count = match run.len() {
                1 => "word".to_owned(),
                n => format!("{n} words"),
            };
            let why = if graph.words[at..end].iter().all(|w| w.firsts.is_empty()) {
                format!("cannot be read as {}, and was left out", graph.language)
            } else {
                "was not heard".to_owned()
            };
            out.push(format!("“{quoted}” ({count} of the script) {why} after {seconds:.2} s."));
            at = end;
        }
        out
    }

    /// Sentences about speech that the script does not have, one for all of it between two words.
    fn extra(&self) -> impl Iterator<Item = String> {
        let between = self.way.split(|s| matches!(s.part, Part::Unit(_)));
        between.filter_map(|stretches| {
            let extra = || stretches.iter().filter(|s| s.part == Part::Extra);
            let frames: usize = extra().map(|s| s.frames.len()).sum();
            if frames < WORTH_TELLING {
                return None;
            }
            let at = |frame: usize| frame as f64 * Features::HOP.value();
            let (from, to) = (at(extra().next()?.frames.start), at(extra().next_back()?.frames.end));
            Some(format!("What is heard from {from:.2} s to {to:.2} s is not in the script."))
        })
    }
}

/// A word as it is quoted: of a very long one, the beginning.
fn short(word: &str) -> String {
    match word.char_indices().nth(QUOTED_LETTERS) {
        Some((end, _)) => format!("{}…", &word[..end]),
        None => word.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::ChannelChoice;
    use crate::features::MEL_BANDS;
    use crate::phonetics::MouthShape;
    use crate::progress::Quiet;
    use crate::recognise::testing::{posteriors_of, random_posteriors};
    use proptest::prelude::*;
    use std::sync::OnceLock;

    fn lexicon() -> &'static Lexicon {
        static LEXICON: OnceLock<Lexicon> = OnceLock::new();
        LEXICON
            .get_or_init(|| Lexicon::from_bytes(include_bytes!("../../models/lexicon.bin")).expect("intact"))
    }

    /// Phones of a sentence from the dictionary, with made-up lengths and pauses.
    fn speak(sentence: &str) -> Vec<(Phone, usize)> {
        let mut out = vec![(Phone::Sil, 25)];
        for word in sentence.split(' ') {
            if word == "|" {
                out.push((Phone::Sil, 30));
                continue;
            }
            for p in &lexicon().pronounce(word)[0].phones {
                let n = (p.phone.span().inherent.value() * 70.0) as usize;
                out.push((p.phone, n.max(4)));
            }
        }
        out.push((Phone::Sil, 25));
        out
    }

    /// What is heard where nothing is known but a recogniser's answer.
    fn hear_row(p: &Posteriors, duration: Seconds, script: Option<&str>) -> Hearing {
        let recogniser = &Made(Posteriors::default());
        let sound = Sound { recogniser, posteriors: p, plain: p, duration };
        hear_sound(sound, script, Some(lexicon()), &ListenSettings::default(), &mut Quiet).expect("hears")
    }

    fn hear_it(p: &Posteriors, script: Option<&str>) -> Hearing {
        let duration = Seconds::new(p.frames() as f64 * 0.01);
        hear_row(p, duration, script)
    }

    fn texts(h: &Hearing) -> Vec<&str> {
        h.words.iter().map(|w| w.text.as_str()).collect()
    }

    const LINE: &str = "the tide comes in twice a day | and never waits for anybody";

    #[test]
    fn a_script_that_fits_gives_its_words() {
        let p = posteriors_of(&speak(LINE), 0.5, 7);
        let h = hear_it(&p, Some("The tide comes in twice a day, and never waits for anybody."));
        assert_eq!(
            texts(&h),
            "The tide comes in twice a day and never waits for anybody".split(' ').collect::<Vec<_>>()
        );
        assert!(h.notes.is_empty(), "{:?}", h.notes);
        let mut at = 25;
        for (w, word) in h.words.iter().zip(LINE.split(' ').filter(|w| *w != "|")) {
            if word == "and" {
                at += 30;
            }
            let frames: usize = lexicon().pronounce(word)[0]
                .phones
                .iter()
                .map(|p| ((p.phone.span().inherent.value() * 70.0) as usize).max(4))
                .sum();
            assert!((w.start.value() - at as f64 * 0.01).abs() < 0.025, "{}: {} vs {at}", w.text, w.start);
            at += frames;
            assert!(w.confidence > 0.4);
        }
    }

    #[test]
    fn a_missing_sentence_is_reported_and_the_rest_used() {
        let p = posteriors_of(&speak(LINE), 0.5, 8);
        let h = hear_it(
            &p,
            Some(
                "The tide comes in twice a day, the lamp is lit at six o'clock by my old friend, and never waits for anybody.",
            ),
        );
        assert!(h.notes.iter().any(|n| n.contains("11 words") && n.contains("not heard")), "{:?}", h.notes);
        assert!(texts(&h).ends_with(&["never", "waits", "for", "anybody"]));
        assert!((h.words[0].start.value() - 0.25).abs() < 0.03);
    }

    #[test]
    fn a_number_that_nobody_says_is_left_out_and_quoted_in_short() {
        let p = posteriors_of(&speak(LINE), 0.5, 8);
        let h = hear_it(&p, Some(&format!("{} {LINE}", "7".repeat(5000)).replace(" |", "")));
        let note = h.notes.iter().find(|n| n.contains("cannot be read as English")).expect("it is said");
        assert!(note.contains("77…") && note.len() < 200, "{note}");
        assert!(texts(&h).ends_with(&["never", "waits", "for", "anybody"]));
    }

    #[test]
    fn extra_speech_is_reported_and_listened_to() {
        let p = posteriors_of(&speak("the tide comes in | my bosun sleeps below | twice a day"), 0.5, 9);
        let h = hear_it(&p, Some("The tide comes in twice a day"));
        assert_eq!(h.words.len(), 7);
        assert!(h.notes.iter().any(|n| n.contains("not in the script")), "{:?}", h.notes);
        // The extra words are heard all the same.
        let from = h.words[3].end;
        let to = h.words[4].start;
        let between = h.segments.iter().filter(|s| s.start >= from && s.end <= to);
        assert!(between.filter(|s| s.shape == MouthShape::Bilabial).count() >= 3);
    }

    /// A stranger's remark with pauses in it is one thing to look at, not three.
    #[test]
    fn extra_speech_with_pauses_is_told_once_and_whole() {
        let remark =
            "the tide comes in | my bosun sleeps below | and his parrot never shuts its beak | twice a day";
        let p = posteriors_of(&speak(remark), 0.5, 9);
        let h = hear_it(&p, Some("The tide comes in twice a day"));
        let told: Vec<&String> = h.notes.iter().filter(|n| n.contains("not in the script")).collect();
        let [note] = told[..] else { panic!("{:?}", h.notes) };
        let times: Vec<f64> = note.split(' ').filter_map(|word| word.parse().ok()).collect();
        let (from, to) = (h.words[3].end.value(), h.words[4].start.value());
        assert!(times[0] >= from && times[1] <= to, "{note}");
        assert!(times[1] - times[0] >= 0.8 * (to - from), "{note}, between {from} and {to}");
    }

    #[test]
    fn a_speakers_name_is_not_missed() {
        let p = posteriors_of(&speak(LINE), 0.5, 13);
        let h = hear_it(&p, Some("KEEPER: The tide comes in twice a day, and never waits for anybody."));
        assert_eq!(h.words.len(), 12);
        assert!(h.notes.is_empty(), "{:?}", h.notes);
        // Where it is said, it is heard.
        let p = posteriors_of(&speak("keeper | the tide comes in"), 0.5, 14);
        assert_eq!(texts(&hear_it(&p, Some("KEEPER: the tide comes in")))[0], "KEEPER");
    }

    #[test]
    fn another_lines_script_is_noticed() {
        let p = posteriors_of(&speak(LINE), 0.5, 10);
        let h = hear_it(
            &p,
            Some("Forty ships sank off Skull Rock before we built this lighthouse out of stubborn granite"),
        );
        assert!(h.words.is_empty());
        assert_eq!(h.notes.len(), 1);
        assert_eq!(h.segments, hear_it(&p, None).segments);
    }

    #[test]
    fn silence_is_rest_whatever_the_script_says() {
        let p = posteriors_of(&[(Phone::Sil, 200)], 0.9, 11);
        for script in [None, Some("Ahoy there"), Some(""), Some("[waves]"), Some("你好")] {
            let h = hear_it(&p, script);
            assert_eq!(h.segments.len(), 1, "{script:?}: {h:?}");
            assert_eq!(h.segments[0].shape, MouthShape::Rest);
            assert!(h.words.is_empty());
        }
    }

    /// The sound decides how a number is read.
    #[test]
    fn readings_are_chosen_by_ear() {
        let p =
            posteriors_of(&speak("built in one thousand eight hundred and eighty seven by hand"), 0.5, 12);
        let h = hear_it(&p, Some("Built in 1887 by hand"));
        assert_eq!(texts(&h), ["Built", "in", "1887", "by", "hand"]);
        assert!(h.notes.is_empty(), "{:?}", h.notes);
    }

    /// A name said unlike its spelling is followed as the margin says; what is wrong there is told.
    #[test]
    fn the_margin_says_how_a_name_is_said() {
        let spoken = speak("the tide comes in at harbour");
        let (last, before) = (spoken[spoken.len() - 1], &spoken[..spoken.len() - 1]);
        let name = "Z UW1 M G OY1 N".parse::<crate::phonetics::Pronunciation>().expect("phones");
        let mut phones = before.to_vec();
        phones.extend(name.phones.iter().map(|p| (p.phone, 8)));
        phones.push(last);
        let p = posteriors_of(&phones, 0.5, 21);
        let script = "The tide comes in at harbour Cholmsey";
        let without = hear_it(&p, Some(script));
        let unheard = without.notes.iter().any(|n| n.contains("Cholmsey"));
        assert!(unheard || without.words[6].confidence < 0.3, "{without:?}");
        let with = hear_it(&p, Some(&format!("Cholmsey = Z UW1 M G OY1 N\n{script}")));
        assert!(with.notes.is_empty(), "{:?}", with.notes);
        assert_eq!(texts(&with).join(" "), script);
        assert!(with.words[6].confidence > 0.5, "{:?}", with.words);
        let wrong = hear_it(&p, Some(&format!("Cholmsey = Z UX M\n{script}")));
        assert!(
            wrong.notes[0].starts_with("In line 1 of the script, how “Cholmsey” is said"),
            "{:?}",
            wrong.notes
        );
    }

    #[test]
    fn a_script_in_another_language_is_followed_by_its_rules() {
        let said = |word: &str| crate::phonetics::Language::Spanish.say(word)[0].phones.clone();
        let mut phones = vec![(Phone::Sil, 25)];
        for word in ["el", "barco", "llega", "mañana", "por", "la", "noche"] {
            phones.extend(said(word).iter().map(|p| (p.phone, 8)));
        }
        phones.push((Phone::Sil, 25));
        let p = posteriors_of(&phones, 0.5, 22);
        let h = hear_it(&p, Some("language = Spanish\n¡El barco llega mañana por la noche! 7"));
        assert_eq!(texts(&h), ["El", "barco", "llega", "mañana", "por", "la", "noche"]);
        assert_eq!(h.notes.len(), 1, "{:?}", h.notes);
        assert!(h.notes[0].contains("“7”") && h.notes[0].contains("as Spanish"), "{:?}", h.notes);
    }

    struct Made(Posteriors);

    impl Recogniser for Made {
        fn name(&self) -> &str {
            "made up"
        }
        fn posteriors(
            &self,
            _: &[[f32; MEL_BANDS]],
            _: &mut dyn Progress,
        ) -> Result<Posteriors, HearingError> {
            Ok(self.0.clone())
        }
    }

    #[test]
    fn a_recogniser_that_miscounts_is_an_error() {
        let r = Recording::from_interleaved(&[0.0; 1_600], 1, Recording::RATE, ChannelChoice::Mix)
            .expect("a recording");
        let listen_to = |frames| {
            let made = Made(random_posteriors(frames, 1, &Phone::ALL));
            listen(&r, None, None, &made, &ListenSettings::default(), &mut Quiet)
        };
        assert!(listen_to(10).is_ok());
        assert_eq!(listen_to(9), Err(HearingError::WrongLength { asked: 10, answered: 9 }));
        let made = Made(random_posteriors(10, 1, &Phone::ALL));
        let stop = &mut |_: &'static str, _| false;
        assert_eq!(
            listen(&r, None, None, &made, &ListenSettings::default(), stop),
            Err(HearingError::Cancelled)
        );
    }

    fn promises(h: &Hearing) -> Result<(), TestCaseError> {
        prop_assert!(!h.segments.is_empty());
        let mut at = 0.0;
        for s in &h.segments {
            prop_assert_eq!(s.start.value(), at);
            prop_assert!(s.end > s.start && (0.0..=1.0).contains(&s.confidence));
            prop_assert!(h.segments.len() == 1 || s.end.value() - s.start.value() >= 0.01 - 1e-9);
            at = s.end.value();
        }
        prop_assert_eq!(at, h.duration.value());
        let mut at = 0.0;
        for w in &h.words {
            prop_assert!(w.start.value() >= at && w.end > w.start && w.end.value() <= h.duration.value());
            at = w.end.value() - 1e-9;
        }
        Ok(())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn promises_hold_for_any_sound_and_script(
            frames in 1usize..150,
            part in 1usize..=160,
            seed: u64,
            script in prop_oneof![any::<String>(), "([A-Z]?[a-z']{1,7}[,.]? |[0-9$:.]{1,5} ){0,14}"],
        ) {
            // The last frame may be any part of a hop.
            let samples = (frames - 1) * 160 + part;
            let duration = Seconds::new(samples as f64 / 16_000.0);
            let p = random_posteriors(frames, seed, &Phone::ALL);
            for script in [None, Some(script.as_str())] {
                let h = hear_row(&p, duration, script);
                promises(&h)?;
            }
        }
    }
}
