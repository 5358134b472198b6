//! A script as the paths that its sounds can take.

use super::ListenSettings;
use super::decode::DurationLaw;
use crate::phonetics::{Language, Lexicon, Phone, Pronunciation, ScriptWord};

/// Pronunciations kept per word of the script, over all its readings.
const MOST_PRONUNCIATIONS: usize = 24;
/// Pronunciations kept per reading: those of its words multiply.
const MOST_PER_READING: usize = 8;

/// A phone in the script.
#[derive(Clone, Copy, Debug)]
pub(super) struct Unit {
    pub(super) phone: Phone,
    pub(super) stressed: bool,
    pub(super) law: DurationLaw,
    /// True for the last phone of its word.
    pub(super) last: bool,
    /// Its first state, among those of all units.
    pub(super) state: usize,
    /// What it costs to begin the word with this unit: more where the pronunciation is not the dictionary's.
    pub(super) entry: f32,
}

/// The sounds of one word of the script.
#[derive(Clone, Debug)]
pub(super) struct WordUnits {
    /// Its units, all pronunciations one after the other.
    pub(super) units: std::ops::Range<usize>,
    /// Those of them with which a pronunciation begins.
    pub(super) firsts: Vec<usize>,
    /// True if it need not be said: a speaker's name.
    pub(super) optional: bool,
}

/// All words of a script as units.
#[derive(Clone, Debug, Default)]
pub(super) struct Graph {
    pub(super) units: Vec<Unit>,
    pub(super) words: Vec<WordUnits>,
    pub(super) states: usize,
    pub(super) language: Language,
}

impl Graph {
    /// Words in the language that the settings name, as the dictionary says them.
    pub(super) fn new(words: &[ScriptWord], lexicon: &Lexicon, settings: &ListenSettings) -> Self {
        Self::with(words, lexicon, settings, false)
    }

    /// The same, also as running speech says them.
    pub(super) fn running(words: &[ScriptWord], lexicon: &Lexicon, settings: &ListenSettings) -> Self {
        Self::with(words, lexicon, settings, true)
    }

    fn with(words: &[ScriptWord], lexicon: &Lexicon, settings: &ListenSettings, running: bool) -> Self {
        let mut graph = Self { language: settings.language, ..Self::default() };
        for word in words {
            let first_unit = graph.units.len();
            let mut firsts = Vec::new();
            for (pronunciation, reduced) in pronunciations(word, lexicon, settings.language) {
                if reduced && !running {
                    continue;
                }
                let entry = if reduced { settings.reduced_cost as f32 } else { 0.0 };
                firsts.push(graph.units.len());
                let count = pronunciation.len();
                for (i, (phone, stressed)) in pronunciation.into_iter().enumerate() {
                    let law = DurationLaw::of(phone, settings);
                    let state = graph.states;
                    graph.states += law.shortest;
                    graph.units.push(Unit { phone, stressed, law, last: i + 1 == count, state, entry });
                }
            }
            graph.words.push(WordUnits {
                units: first_unit..graph.units.len(),
                firsts,
                optional: word.label,
            });
        }
        graph
    }
}

/// A way to say a word: its phones, vowels stressed or not.
type Way = Vec<(Phone, bool)>;

/// All ways to say a word of a script, without repetition, and whether they are what running speech makes of it.
fn pronunciations(word: &ScriptWord, lexicon: &Lexicon, language: Language) -> Vec<(Way, bool)> {
    let mut out: Vec<(Way, bool)> = Vec::new();
    let mut add = |way: Way, reduced: bool| {
        if !way.is_empty() && out.iter().all(|(w, _)| *w != way) && out.len() < MOST_PRONUNCIATIONS {
            out.push((way, reduced));
        }
    };
    for reading in &word.readings {
        let mut ways: Vec<Way> = vec![Vec::new()];
        for spoken in reading {
            let mut said: Vec<Pronunciation> = lexicon.pronounce_in(language, spoken);
            if ways.len() * said.len() > MOST_PER_READING {
                said.truncate(1);
            }
            ways = ways
                .iter()
                .flat_map(|way| {
                    said.iter().map(move |p| {
                        let mut longer = way.clone();
                        longer.extend(p.phones.iter().map(|s| (s.phone, s.stressed())));
                        longer
                    })
                })
                .collect();
        }
        let reduced: Vec<Way> = match language {
            Language::English => ways.iter().flat_map(|way| as_in_running_speech(way)).collect(),
            _ => Vec::new(),
        };
        ways.into_iter().for_each(|way| add(way, false));
        reduced.into_iter().for_each(|way| add(way, true));
    }
    out
}

/// What running speech makes of a dictionary's pronunciation, where it makes something of it: a T between
/// a vowel and an unstressed vowel is flapped, which sounds like a short D (*water*); an unstressed vowel
/// before L, M or N is swallowed and the consonant becomes the syllable (*little*, *button*). Each on its own and
/// both (American English; J. C. Wells, Accents of English, 1982, from memory).
fn as_in_running_speech(way: &[(Phone, bool)]) -> Vec<Way> {
    let flapped = flapped(way);
    let syllabic = syllabic(way);
    let both = syllabic.as_deref().and_then(self::flapped);
    [flapped, syllabic, both].into_iter().flatten().collect()
}

fn flapped(way: &[(Phone, bool)]) -> Option<Way> {
    let mut out = way.to_vec();
    for i in 1..way.len().saturating_sub(1) {
        let opens = way[i - 1].0.is_vowel() || way[i - 1].0 == Phone::R;
        // After a syllabic consonant took the vowel's place, the consonant follows the flap.
        let (next, stressed) = way[i + 1];
        let weak = next.is_vowel() && !stressed || next == Phone::L;
        if way[i].0 == Phone::T && opens && weak {
            out[i].0 = Phone::D;
        }
    }
    (out != way).then_some(out)
}

fn syllabic(way: &[(Phone, bool)]) -> Option<Way> {
    let swallowed = |i: usize| {
        let before = i.checked_sub(1).map(|i| way[i].0);
        let after = way.get(i + 1).map(|p| p.0);
        way[i] == (Phone::Ah, false)
            && before
                .is_some_and(|p| !p.is_vowel() && !matches!(p, Phone::R | Phone::L | Phone::W | Phone::Y))
            && matches!(after, Some(Phone::L | Phone::M | Phone::N))
    };
    let out: Vec<_> = (0..way.len()).filter(|i| !swallowed(*i)).map(|i| way[i]).collect();
    (out.len() < way.len()).then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phonetics::script_words;

    fn said(word: &str) -> Vec<String> {
        let lexicon = Lexicon::from_bytes(include_bytes!("../../models/lexicon.bin")).expect("intact");
        let words = script_words(word);
        pronunciations(&words[0], &lexicon, Language::English)
            .iter()
            .map(|(way, _)| way.iter().map(|(p, _)| p.to_string()).collect::<Vec<_>>().join(" "))
            .collect()
    }

    #[test]
    fn running_speech_flaps_and_swallows() {
        assert!(said("water").contains(&"W AO D ER".to_owned()), "{:?}", said("water"));
        let little = said("little");
        for way in ["L IH T AH L", "L IH D AH L", "L IH T L", "L IH D L"] {
            assert!(little.contains(&way.to_owned()), "{way} of {little:?}");
        }
        assert!(said("button").contains(&"B AH T N".to_owned()), "{:?}", said("button"));
        assert!(said("rhythm").contains(&"R IH DH M".to_owned()), "{:?}", said("rhythm"));
    }

    #[test]
    fn careful_speech_stays() {
        // A T that begins a stressed syllable keeps its sound, and so does a vowel with nothing to lean on.
        assert_eq!(said("attack"), ["AH T AE K"]);
        assert_eq!(said("allow"), ["AH L AW"]);
        assert!(!said("melon").iter().any(|way| way == "M EH L N"), "{:?}", said("melon"));
    }
}
