//! Which part of a recording a change of its script concerns.

use super::HeardWord;
use crate::phonetics::{Margin, script_words};
use crate::units::Seconds;

/// The part of a line that changed words concern.
#[derive(Clone, Debug, PartialEq)]
pub struct ChangedPart {
    /// The words to listen for: the changed ones, and a word on either side to hold on to.
    pub script: String,
    /// Span to listen to: it holds all of those words.
    pub window: (Seconds, Seconds),
    /// Span in which what is heard replaces what was there.
    pub span: (Seconds, Seconds),
}

/// Least time for one changed word; where there is less between the unchanged words around it, these are
/// aligned again as well. A short English word in running speech takes about this long (from memory).
const WORD: Seconds = Seconds::new(0.12);
/// Sound beyond the outermost words that is listened to as well.
const AROUND: Seconds = Seconds::new(0.15);

/// What must be listened to again when a line's script goes from `old` to `new`; `None` where no word
/// changed, or where the words heard do not say where the change is (listen to the whole line then).
///
/// `words` are those heard with the old script, in order, inside a line of length `duration`.
#[must_use]
pub fn changed_part(words: &[HeardWord], old: &str, new: &str, duration: Seconds) -> Option<ChangedPart> {
    // How words are said concerns them wherever they stand.
    let margin = Margin::written(new);
    if margin != Margin::written(old) {
        return None;
    }
    let (before, after) = (script_words(old), script_words(new));
    let same = before.iter().zip(&after).take_while(|(a, b)| a.text == b.text).count();
    let most = before.len().min(after.len()) - same;
    let behind = before.iter().rev().zip(after.iter().rev());
    let behind = behind.take(most).take_while(|(a, b)| a.text == b.text).count();
    let changed = same..after.len() - behind;
    if words.is_empty() || (changed.is_empty() && before.len() == after.len()) {
        return None;
    }
    // Unchanged words that were heard, from either end of the script; some of it may not have been.
    let texts: Vec<&str> = before.iter().map(|w| w.text.as_str()).collect();
    let left = follow(&texts[..same], words.iter().map(|w| w.text.as_str()));
    let backwards: Vec<&str> = texts[before.len() - behind..].iter().rev().copied().collect();
    let right = follow(&backwards, words.iter().rev().map(|w| w.text.as_str()));
    let left = left.map(|(word, heard)| (word, &words[heard]));
    let right = right.map(|(word, heard)| (after.len() - 1 - word, &words[words.len() - 1 - heard]));
    let (mut start, mut end) =
        (left.map_or(Seconds::ZERO, |(_, w)| w.end), right.map_or(duration, |(_, w)| w.start));
    if end < start {
        return None;
    }
    let (from, to) = (left.map_or(Seconds::ZERO, |(_, w)| w.start), right.map_or(duration, |(_, w)| w.end));
    if end - start < WORD * changed.len().max(1) as f64 {
        (start, end) = (from, to);
    }
    let first = left.map_or(0, |(i, _)| after[i].place.start);
    let last = right.map_or(new.len(), |(i, _)| after[i].place.end);
    let window = ((from - AROUND).max(Seconds::ZERO), (to + AROUND).min(duration));
    let script = margin + new.get(first..last)?;
    Some(ChangedPart { script, window, span: (start, end) })
}

/// The last of `texts` that was heard, and which heard word it is, when what was heard is read along them.
fn follow<'a>(texts: &[&str], heard: impl Iterator<Item = &'a str>) -> Option<(usize, usize)> {
    let mut heard = heard.enumerate().peekable();
    let mut last = None;
    for (i, text) in texts.iter().enumerate() {
        if let Some((at, _)) = heard.next_if(|(_, h)| h == text) {
            last = Some((i, at));
        }
    }
    last
}

#[cfg(test)]
mod tests {
    use super::*;

    const OLD: &str = "Mind the step, and welcome to the harbour. Mind your head.";

    fn words() -> Vec<HeardWord> {
        let texts = ["Mind", "the", "step", "and", "welcome", "to", "the", "harbour", "Mind", "your", "head"];
        let word = |(i, text): (usize, &&str)| HeardWord {
            start: Seconds::new(i as f64 * 0.4),
            end: Seconds::new(i as f64 * 0.4 + 0.3),
            text: (*text).to_owned(),
            confidence: 0.9,
        };
        texts.iter().enumerate().map(word).collect()
    }

    fn part(words: &[HeardWord], new: &str) -> Option<ChangedPart> {
        changed_part(words, OLD, new, Seconds::new(5.0))
    }

    fn near(got: (Seconds, Seconds), wanted: (f64, f64)) -> bool {
        (got.0.value() - wanted.0).abs() < 1e-9 && (got.1.value() - wanted.1).abs() < 1e-9
    }

    #[test]
    fn a_replaced_word_concerns_its_own_time() {
        let found = part(&words(), &OLD.replace("welcome", "good evening")).expect("a change");
        assert_eq!(found.script, "and good evening to");
        assert!(near(found.span, (1.5, 2.0)), "{found:?}");
        assert!(near(found.window, (1.05, 2.45)), "{found:?}");
    }

    #[test]
    fn a_word_squeezed_in_takes_its_neighbours_along() {
        let found = part(&words(), &OLD.replace("the harbour", "the old harbour")).expect("a change");
        assert_eq!(found.script, "the old harbour");
        assert!(near(found.span, (2.4, 3.1)), "{found:?}");
    }

    #[test]
    fn the_ends_of_the_line_hold_where_no_word_does() {
        let found = part(&words(), &OLD.replace("Mind the", "Watch that")).expect("a change");
        assert_eq!(found.script, "Watch that step");
        assert!(near(found.span, (0.0, 0.8)), "{found:?}");
        let found = part(&words(), &OLD.replace("your head", "the beam")).expect("a change");
        assert!(near(found.span, (3.5, 5.0)), "{found:?}");
    }

    #[test]
    fn words_that_were_not_heard_widen_the_part() {
        let mut heard = words();
        heard.remove(3);
        let found = part(&heard, &OLD.replace("welcome", "good evening")).expect("a change");
        assert_eq!(found.script, "step, and good evening to");
        assert!(near(found.span, (1.1, 2.0)), "{found:?}");
    }

    #[test]
    fn the_margin_goes_with_the_part_and_concerns_all_when_it_changes() {
        let margin = "harbour = HH AA1 R B ER0\n";
        let new = format!("{margin}{}", OLD.replace("welcome", "good evening"));
        let found = changed_part(&words(), &format!("{margin}{OLD}"), &new, Seconds::new(5.0));
        assert_eq!(found.expect("a change").script, format!("{margin}and good evening to"));
        assert_eq!(part(&words(), &new), None, "the margin is new");
    }

    #[test]
    fn no_change_and_no_words_ask_for_no_part() {
        assert_eq!(part(&words(), OLD), None);
        assert_eq!(part(&words(), &OLD.replace("step,", "step")), None, "punctuation is not said");
        assert_eq!(part(&[], "Something else"), None);
        let gone = part(&words(), &OLD.replace("and welcome ", "")).expect("words that went");
        assert_eq!(gone.script, "step, to");
    }
}
