//! What the three readers share: a word as letters with a place in it, and the phones said so far.

use crate::phonetics::{Phone, SpokenPhone, Stress};

/// A word being read from left to right.
pub(super) struct Reader {
    letters: Vec<char>,
    at: usize,
    said: Vec<SpokenPhone>,
    /// Index of the phone of each vowel, with whether it bears a written accent.
    vowels: Vec<(usize, bool)>,
}

impl Reader {
    pub(super) fn new(word: &str) -> Self {
        let letters = word.chars().filter(|c| *c != '\'').collect();
        Self { letters, at: 0, said: Vec::new(), vowels: Vec::new() }
    }

    /// The letter `by` places on; a space beyond the ends.
    pub(super) fn peek(&self, by: isize) -> char {
        self.at.checked_add_signed(by).and_then(|i| self.letters.get(i)).copied().unwrap_or(' ')
    }

    pub(super) fn done(&self) -> bool {
        self.at >= self.letters.len()
    }

    /// True if these letters come next.
    pub(super) fn next(&self, text: &str) -> bool {
        text.chars().enumerate().all(|(i, c)| self.peek(i as isize) == c)
    }

    /// True if nothing comes after the next `count` letters.
    pub(super) fn ends_after(&self, count: usize) -> bool {
        self.at + count >= self.letters.len()
    }

    pub(super) fn first(&self) -> bool {
        self.at == 0
    }

    pub(super) fn skip(&mut self, count: usize) {
        self.at += count;
    }

    /// Says consonants or glides and goes on by `count` letters.
    pub(super) fn say(&mut self, count: usize, phones: &[Phone]) {
        let plain = |phone: &Phone| SpokenPhone { phone: *phone, stress: Stress::None };
        self.said.extend(phones.iter().map(plain));
        self.at += count;
    }

    /// Says a vowel, with a written accent or not, and goes on by `count` letters.
    pub(super) fn vowel(&mut self, count: usize, phone: Phone, accent: bool) {
        self.vowels.push((self.said.len(), accent));
        self.say(count, &[phone]);
    }

    pub(super) fn vowel_count(&self) -> usize {
        self.vowels.len()
    }

    /// Ends the word: the vowel with a written accent is stressed, else the one `from_end` places from
    /// the end (1 is the last).
    pub(super) fn finish(mut self, from_end: usize) -> Vec<SpokenPhone> {
        let written = self.vowels.iter().rposition(|v| v.1);
        // In a word with fewer vowels it lies on the first.
        let regular = self.vowels.len().saturating_sub(from_end);
        if let Some((phone, _)) = self.vowels.get(written.unwrap_or(regular)) {
            self.said[*phone].stress = Stress::Primary;
        }
        self.said
    }
}
