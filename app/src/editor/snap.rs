//! Where a dragged boundary catches: changes of the sound, edges of words, markers.

use lipwright_core::line::Line;
use lipwright_core::units::Seconds;

/// How near the pointer must come for a boundary to catch, pixels.
pub const REACH: f64 = 8.0;

/// What a boundary catches on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CatchOn {
    /// A moment at which the sound changes.
    Sound,
    /// Start or end of a word.
    Word,
    /// A marker.
    Marker,
}

impl CatchOn {
    /// For elements' attributes.
    #[must_use]
    pub const fn id(self) -> &'static str {
        match self {
            Self::Sound => "sound",
            Self::Word => "word",
            Self::Marker => "marker",
        }
    }
}

/// A place that a boundary catches on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Catch {
    /// Where.
    pub time: Seconds,
    /// What is there.
    pub on: CatchOn,
}

/// The place nearest to `wanted` that lies within [`REACH`] pixels at `scale` pixels a second. Of places
/// equally near, markers come before words and words before sound.
#[must_use]
pub fn nearest(wanted: Seconds, scale: f64, line: &Line, changes: &[Seconds]) -> Option<Catch> {
    let reach = Seconds::new(REACH / scale);
    let markers = line.markers().iter().map(|m| Catch { time: m.time, on: CatchOn::Marker });
    let words = line.words();
    // Words near enough; a word can be long, so look from its end.
    let near = words.partition_point(|w| w.end < wanted - reach);
    let words = words[near..].iter().take_while(|w| w.start <= wanted + reach);
    let words = words.flat_map(|w| [w.start, w.end]).map(|time| Catch { time, on: CatchOn::Word });
    let from = changes.partition_point(|t| *t < wanted - reach);
    let sound = changes[from..].iter().take_while(|t| **t <= wanted + reach);
    let sound = sound.map(|time| Catch { time: *time, on: CatchOn::Sound });
    let off = |c: &Catch| (c.time - wanted).abs();
    markers
        .chain(words)
        .chain(sound)
        .filter(|c| off(c) <= reach)
        .min_by(|a, b| off(a).value().total_cmp(&off(b).value()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::phonetics::MouthShape;
    use lipwright_core::recognise::{HeardSegment, HeardWord, Hearing};

    const S: fn(f64) -> Seconds = Seconds::new;

    fn line() -> Line {
        let segment = HeardSegment {
            start: S(0.0),
            end: S(2.0),
            shape: MouthShape::Rest,
            glide: None,
            confidence: 1.0,
            phone: None,
        };
        let word = HeardWord { start: S(0.5), end: S(1.0), text: "mud".into(), confidence: 1.0 };
        Line::from_hearing(&Hearing {
            duration: S(2.0),
            segments: vec![segment],
            words: vec![word],
            notes: vec![],
        })
        .expect("valid")
    }

    #[test]
    fn the_nearest_place_within_reach_is_taken() {
        let changes = [S(0.52), S(1.5)];
        let at = |t: f64| nearest(S(t), 100.0, &line(), &changes).map(|c| (c.time.value(), c.on));
        assert_eq!(at(0.5), Some((0.5, CatchOn::Word)));
        assert_eq!(at(0.53), Some((0.52, CatchOn::Sound)));
        assert_eq!(at(0.95), Some((1.0, CatchOn::Word)), "the end of a long word");
        assert_eq!(at(1.43), Some((1.5, CatchOn::Sound)));
        assert_eq!(at(1.25), None, "nothing within eight pixels");
        // Zoomed in, the same eight pixels are less time.
        assert_eq!(nearest(S(1.43), 1000.0, &line(), &changes), None);
        assert_eq!(nearest(S(f64::NAN), 100.0, &line(), &changes), None);
    }
}
