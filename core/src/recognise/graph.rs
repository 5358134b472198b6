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
    /// Words in the language that the settings name.
    pub(super) fn new(words: &[ScriptWord], lexicon: &Lexicon, settings: &ListenSettings) -> Self {
        let mut graph = Self { language: settings.language, ..Self::default() };
        for word in words {
            let first_unit = graph.units.len();
            let mut firsts = Vec::new();
            for pronunciation in pronunciations(word, lexicon, settings.language) {
                firsts.push(graph.units.len());
                let count = pronunciation.len();
                for (i, (phone, stressed)) in pronunciation.into_iter().enumerate() {
                    let law = DurationLaw::of(phone, settings);
                    let state = graph.states;
                    graph.states += law.shortest;
                    graph.units.push(Unit { phone, stressed, law, last: i + 1 == count, state });
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

/// All ways to say a word of a script, without repetition.
fn pronunciations(word: &ScriptWord, lexicon: &Lexicon, language: Language) -> Vec<Vec<(Phone, bool)>> {
    let mut out: Vec<Vec<(Phone, bool)>> = Vec::new();
    for reading in &word.readings {
        let mut ways: Vec<Vec<(Phone, bool)>> = vec![Vec::new()];
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
        for way in ways {
            if !way.is_empty() && !out.contains(&way) && out.len() < MOST_PRONUNCIATIONS {
                out.push(way);
            }
        }
    }
    out
}
