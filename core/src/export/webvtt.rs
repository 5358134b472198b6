//! Words and mouth shapes as WebVTT (W3C, "WebVTT: The Web Video Text Tracks Format").
//!
//! Two files, not one: words are captions that a player shows, shapes are metadata for show control,
//! and a player shows every cue of the file it is given. Each cue has an identifier (`word-12`,
//! `shape-40`, counted from 1) and a class that style sheets can use (`<c.alveolar>`).

use crate::line::{Line, Segment};
use crate::units::Seconds;
use std::fmt::Write;

/// The line's words as captions. `zero` is the line time at which the player's clock stands at 0: the
/// start of the motion, where sound and motion are started together. Empty of cues without a script.
#[must_use]
pub fn words_webvtt(line: &Line, name: &str, zero: Seconds) -> String {
    let mut file = VttFile::new(&format!("Words of {name}"), "captions", zero);
    for word in line.words() {
        file.cue("word", word.start, word.end, "word", &word.text);
    }
    file.text
}

/// The line's mouth shapes as metadata, named phonetically; a diphthong says both its targets.
/// `zero` as in [`words_webvtt`].
#[must_use]
pub fn shapes_webvtt(line: &Line, name: &str, zero: Seconds) -> String {
    let mut file = VttFile::new(&format!("Mouth shapes of {name}"), "metadata", zero);
    for segment in line.segments() {
        file.cue("shape", segment.start, segment.end, segment.shape.name(), &shape_words(segment));
    }
    file.text
}

/// `open to spread`, `bilabial`.
fn shape_words(segment: &Segment) -> String {
    match segment.glide {
        Some(glide) => format!("{} to {glide}", segment.shape),
        None => segment.shape.name().to_owned(),
    }
}

struct VttFile {
    text: String,
    zero: i64,
    cues: usize,
}

impl VttFile {
    fn new(title: &str, kind: &str, zero: Seconds) -> Self {
        // The header may hold no line break and no "-->"; one line of plain text is enough.
        let text = format!(
            "WEBVTT {}\n\nNOTE\nUse as a track of kind {kind}. Time 0 is the first frame of the motion.\n",
            one_line(title).replace("-->", "--")
        );
        Self { text, zero: milliseconds(zero), cues: 0 }
    }

    fn cue(&mut self, name: &str, start: Seconds, end: Seconds, class: &str, payload: &str) {
        self.cues += 1;
        // Times before the clock starts do not exist; a cue must end after it starts.
        let start = (milliseconds(start) - self.zero).max(0);
        let end = (milliseconds(end) - self.zero).max(start + 1);
        let payload = escape(&one_line(payload));
        // Writing to a String cannot fail.
        let _ = write!(
            self.text,
            "\n{name}-{}\n{} --> {}\n<c.{class}>{payload}</c>\n",
            self.cues,
            timestamp(start),
            timestamp(end)
        );
    }
}

fn milliseconds(time: Seconds) -> i64 {
    (time.value() * 1000.0).round() as i64
}

/// `00:00:01.250`; hours take as many digits as they need.
fn timestamp(ms: i64) -> String {
    let (s, ms) = (ms / 1000, ms % 1000);
    format!("{:02}:{:02}:{:02}.{ms:03}", s / 3600, s / 60 % 60, s % 60)
}

/// Cue text ends at an empty line, so line breaks become spaces; NUL cannot stand in the format.
fn one_line(text: &str) -> String {
    let clean = text.replace('\0', "\u{fffd}");
    clean.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// `&` and `<` start markup; `>` is escaped so that no `-->` can stand in a payload.
fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phonetics::MouthShape;
    use crate::recognise::{HeardSegment, HeardWord, Hearing};

    fn line(words: &[(&str, f64, f64)]) -> Line {
        let s = Seconds::new;
        let shape = |start, end, shape, glide| HeardSegment {
            start: s(start),
            end: s(end),
            shape,
            glide,
            confidence: 1.0,
            phone: None,
        };
        let hearing = Hearing {
            duration: s(3700.0),
            segments: vec![
                shape(0.0, 0.45, MouthShape::Rest, None),
                shape(0.45, 3700.0, MouthShape::Open, Some(MouthShape::Spread)),
            ],
            words: words
                .iter()
                .map(|w| HeardWord { start: s(w.1), end: s(w.2), text: w.0.into(), confidence: 1.0 })
                .collect(),
            notes: vec![],
        };
        Line::from_hearing(&hearing).expect("a valid line")
    }

    #[test]
    fn cues_are_numbered_timed_from_the_motion_and_classed() {
        let line = line(&[("Ahoy", 0.5, 0.75)]);
        let words = words_webvtt(&line, "welcome", Seconds::new(-0.1));
        assert!(words.starts_with("WEBVTT Words of welcome\n\n"));
        assert!(words.ends_with("\nword-1\n00:00:00.600 --> 00:00:00.850\n<c.word>Ahoy</c>\n"), "{words}");
        let shapes = shapes_webvtt(&line, "welcome", Seconds::ZERO);
        assert!(
            shapes.ends_with("\nshape-2\n00:00:00.450 --> 01:01:40.000\n<c.open>open to spread</c>\n"),
            "{shapes}"
        );
    }

    #[test]
    fn no_text_breaks_out_of_its_cue() {
        let line = line(&[("a<b>&\n\n1\n00:00 --> 01:00\n", 0.1, 0.1)]);
        let text = words_webvtt(&line, "x\n\n-->\u{0}", Seconds::ZERO);
        assert_eq!(text.matches("-->").count(), 1, "only the cue's own arrow: {text}");
        assert!(text.contains("<c.word>a&lt;b&gt;&amp; 1 00:00 --&gt; 01:00</c>"), "{text}");
        assert!(text.contains("00:00:00.100 --> 00:00:00.101"), "a cue ends after it starts: {text}");
    }
}
