//! Phones, mouth shapes, and the way from written words to phones.
//!
//! This room looks at no other: everything here is facts about speech.

mod bigrams;
mod durations;
mod huffman;
mod language;
mod letters;
mod lexicon;
mod margin;
mod numbers;
mod phone;
mod script;
mod shape;

pub use bigrams::follows;
pub use durations::Span;
pub use language::{Language, ParseLanguageError};
pub use lexicon::{Lexicon, LexiconError, Pronunciation, PronunciationError, SpokenPhone, Stress};
pub use margin::{Margin, MarginError};
pub use phone::{ParsePhoneError, Phone};
pub use script::{ScriptWord, script_words, script_words_in};
pub use shape::{Articulator, MouthShape, ParseShapeError};
