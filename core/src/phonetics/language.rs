//! Languages of scripts, and how their spelling sounds.
//!
//! English words come from the dictionary. Spanish, Italian and French words are read by rule: their
//! spelling says, mostly, how they sound. The sounds are given as the ARPABET phone that is articulated
//! most like them, since that is what mouth shapes need: a Spanish or Italian *r*, tapped behind the
//! teeth, is a D; a French one, made at the back of the tongue, a G; a French *u* is rounded like UW;
//! nasal vowels close nothing and have no N. Rules and facts: from memory, as pronunciation guides and
//! the Handbook of the International Phonetic Association (1999) describe these languages.

mod french;
mod italian;
mod rules;
mod spanish;

use super::Pronunciation;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// The language of a script.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs)]
pub enum Language {
    #[default]
    English,
    French,
    Italian,
    Spanish,
}

impl Language {
    /// Every language, English first.
    pub const ALL: [Self; 4] = [Self::English, Self::French, Self::Italian, Self::Spanish];

    /// Its English name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::English => "English",
            Self::French => "French",
            Self::Italian => "Italian",
            Self::Spanish => "Spanish",
        }
    }

    /// Its ISO 639-1 code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::French => "fr",
            Self::Italian => "it",
            Self::Spanish => "es",
        }
    }

    /// Letters of words in this language, beyond a to z and the apostrophe.
    pub(super) const fn letters(self) -> &'static str {
        match self {
            Self::English => "",
            Self::French => "àâæçéèêëîïôœùûüÿ",
            Self::Italian => "àèéìíòóùú",
            Self::Spanish => "áéíñóúü",
        }
    }

    /// The ways to say a lower-case word by this language's rules, likeliest first; none for English,
    /// whose words are looked up, and for what has no sound.
    #[must_use]
    pub fn say(self, word: &str) -> Vec<Pronunciation> {
        let ways = match self {
            Self::English => return Vec::new(),
            Self::French => french::say(word),
            Self::Italian => italian::say(word),
            Self::Spanish => spanish::say(word),
        };
        let mut out: Vec<Pronunciation> = Vec::new();
        for phones in ways {
            let way = Pronunciation { phones, guessed: true };
            if !way.phones.is_empty() && !out.contains(&way) {
                out.push(way);
            }
        }
        out
    }
}

impl fmt::Display for Language {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// A name that is none of [`Language::ALL`].
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the language '{0}' is not known; there are English, French, Italian and Spanish (en, fr, it, es)")]
pub struct ParseLanguageError(String);

impl FromStr for Language {
    type Err = ParseLanguageError;

    /// Reads an English name, the language's own name, or its code, in either case.
    fn from_str(text: &str) -> Result<Self, ParseLanguageError> {
        Ok(match text.trim().to_lowercase().as_str() {
            "en" | "english" => Self::English,
            "fr" | "french" | "français" | "francais" => Self::French,
            "it" | "italian" | "italiano" => Self::Italian,
            "es" | "spanish" | "español" | "espanol" | "castellano" => Self::Spanish,
            _ => return Err(ParseLanguageError(text.trim().to_owned())),
        })
    }
}

#[cfg(test)]
mod tests;
