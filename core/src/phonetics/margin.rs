//! What stands in a script's margin: how a name is said, and which language is spoken.
//!
//! A line of the script that reads `Wimbry = W IH1 M B R IY0` says how a word is pronounced
//! wherever it stands (ARPABET; several such lines give alternatives, and the sound decides). A line
//! `language = Spanish` says which language the script is in. Neither is itself spoken, and both are
//! kept with the script.

use super::{Language, Pronunciation, PronunciationError};
use std::collections::BTreeMap;
use std::ops::Range;

/// Longest phone name with its stress digit: `SIL`, `AA1`.
const LONGEST_NAME: usize = 3;

/// What the margin of a script says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Margin {
    /// The language that the script names.
    pub language: Option<Language>,
    /// Words, in lower case as they are looked up, with the ways to say them.
    pub own: BTreeMap<String, Vec<Pronunciation>>,
    /// Lines that were meant for the margin and cannot be used.
    pub problems: Vec<MarginError>,
    /// The lines of the margin, in bytes of the script.
    pub(super) lines: Vec<Range<usize>>,
}

/// Why a line of the margin cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MarginError {
    /// Phones that are none.
    #[error("line {line} of the script, how “{word}” is said: {problem}")]
    Pronunciation {
        /// Counted from 1.
        line: usize,
        /// The word.
        word: String,
        /// What is wrong with the phones.
        problem: PronunciationError,
    },
    /// Not one word.
    #[error(
        "line {line} of the script: “{text}” is not one word; write each word on a line of its own: Wimbry = W IH1 M B R IY0"
    )]
    Word {
        /// Counted from 1.
        line: usize,
        /// What stands before the equals sign.
        text: String,
    },
    /// A language that is not known.
    #[error(
        "line {line} of the script: the language “{name}” is not known; there are English, French, Italian and Spanish"
    )]
    Language {
        /// Counted from 1.
        line: usize,
        /// What was written.
        name: String,
    },
}

impl Margin {
    /// Reads the margin of a script; what is wrong in it is in [`Margin::problems`].
    ///
    /// ```
    /// use lipwright_core::phonetics::Margin;
    /// let margin = Margin::of("Wimbry = W IH1 M B R IY0\nWelcome to Port Wimbry!");
    /// assert_eq!(margin.own["wimbry"][0].to_string(), "W IH1 M B R IY0");
    /// assert!(Margin::of("Wimbry = W IX M").problems[0].to_string().contains("IX"));
    /// ```
    #[must_use]
    pub fn of(script: &str) -> Self {
        let mut margin = Self::default();
        let mut start = 0;
        for (index, text) in script.split('\n').enumerate() {
            let place = start..start + text.len();
            start = place.end + 1;
            let Some((left, right)) = text.split_once('=') else { continue };
            let (left, right) = (left.trim(), right.trim());
            if margin.line(index + 1, left, right) {
                margin.lines.push(place);
            }
        }
        margin
    }

    /// The lines of the margin as the script writes them, each with its line break: what a part of the
    /// script needs before it to be read like the whole.
    #[must_use]
    pub fn written(script: &str) -> String {
        Self::of(script).lines.into_iter().map(|place| format!("{}\n", script[place].trim())).collect()
    }

    /// The script with its margin naming `language`; English needs no name.
    #[must_use]
    pub fn with_language(script: &str, language: Language) -> String {
        let names = |line: &&str| {
            line.split_once('=').is_some_and(|(left, _)| left.trim().eq_ignore_ascii_case("language"))
        };
        let rest: Vec<&str> = script.split('\n').filter(|line| !names(line)).collect();
        let rest = rest.join("\n");
        if language == Language::English { rest } else { format!("language = {language}\n{rest}") }
    }

    /// Takes one line in; false if it is something to say.
    fn line(&mut self, line: usize, left: &str, right: &str) -> bool {
        if left.eq_ignore_ascii_case("language") {
            match right.parse() {
                Ok(language) => self.language = Some(language),
                Err(_) => self.problems.push(MarginError::Language { line, name: right.to_owned() }),
            }
            return true;
        }
        if left.is_empty() || !looks_like_phones(right) {
            return false;
        }
        let keys = super::script::keys(left);
        match right.parse::<Pronunciation>() {
            _ if keys.is_empty() => self.problems.push(MarginError::Word { line, text: left.to_owned() }),
            Err(problem) => {
                self.problems.push(MarginError::Pronunciation { line, word: left.to_owned(), problem });
            }
            Ok(said) => {
                for key in keys {
                    self.own.entry(key).or_default().push(said.clone());
                }
            }
        }
        true
    }
}

/// Only capitals and stress digits, in short pieces: nobody says that.
fn looks_like_phones(text: &str) -> bool {
    let phone = |t: &str| {
        let letters = t.trim_end_matches(['0', '1', '2']);
        !letters.is_empty() && t.len() <= LONGEST_NAME && letters.bytes().all(|b| b.is_ascii_uppercase())
    };
    !text.is_empty() && text.split_whitespace().all(phone)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn names_are_said_as_the_margin_says() {
        let margin =
            Margin::of("Žarko = ZH AA1 R K OW0\nWelcome, Žarko!\n Žarko = Z AA1 R K OW0 \r\nBBQ=B IY1");
        assert_eq!(margin.problems, []);
        let said: Vec<String> = margin.own["zarko"].iter().map(ToString::to_string).collect();
        assert_eq!(said, ["ZH AA1 R K OW0", "Z AA1 R K OW0"]);
        assert_eq!(margin.own["bbq"].len(), 1);
        assert_eq!(margin.lines.len(), 3);
    }

    #[test]
    fn what_is_wrong_is_said_with_its_line() {
        let margin =
            Margin::of("Ahoy\nWimbry = W IX1 M\nPort Wimbry = P AO1\nlanguage = Klingon\nWimbry = SIL");
        let said: Vec<String> = margin.problems.iter().map(ToString::to_string).collect();
        assert!(
            said[0].starts_with("line 2 of the script, how “Wimbry” is said") && said[0].contains("IX1"),
            "{said:?}"
        );
        assert!(said[1].contains("line 3") && said[1].contains("not one word"), "{said:?}");
        assert!(said[2].contains("“Klingon” is not known"), "{said:?}");
        assert!(said[3].contains("SIL"), "{said:?}");
        assert!(margin.own.is_empty() && margin.lines.len() == 4);
    }

    #[test]
    fn a_sum_is_something_to_say() {
        for script in ["1 + 1 = 2", "tide = time", "a = b", "= M", "x =", "E = MC2 I say"] {
            assert_eq!(Margin::of(script), Margin::default(), "{script}");
        }
    }

    #[test]
    fn a_language_is_named() {
        let spanish = Margin::with_language("¡Hola!", Language::Spanish);
        assert_eq!(spanish, "language = Spanish\n¡Hola!");
        assert_eq!(Margin::with_language(&spanish, Language::French), "language = French\n¡Hola!");
        assert_eq!(Margin::with_language(&spanish, Language::English), "¡Hola!");
        assert_eq!(Margin::of("Language = español\n¡Hola!").language, Some(Language::Spanish));
    }

    #[test]
    fn a_part_of_a_script_takes_the_margin_along() {
        let script = "language = Italian\nCiao a tutti.\n  Wimbry = W IH1 M\r\nA Wimbry!";
        assert_eq!(Margin::written(script), "language = Italian\nWimbry = W IH1 M\n");
        assert_eq!(Margin::written("Ahoy"), "");
    }

    proptest! {
        #[test]
        fn any_script_has_a_margin(script in any::<String>()) {
            for place in Margin::of(&script).lines {
                prop_assert!(script.get(place).is_some());
            }
        }
    }
}
