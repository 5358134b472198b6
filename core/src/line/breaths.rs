//! Breath before a phrase: after a pause, people open the mouth a little to breathe in before they speak.

use super::Segment;
use crate::phonetics::MouthShape;
use crate::units::Seconds;

/// Pauses from this length on are used to breathe in (common practice; shorter ones are hesitations).
const PAUSE: Seconds = Seconds::new(0.5);
/// How long the mouth is open for it, at most (breaths between phrases take some half a second: from memory).
const BREATH: Seconds = Seconds::new(0.4);
/// How long the mouth stays closed first, so that a pause is still seen as one.
const CLOSED: Seconds = Seconds::new(0.2);
/// How far it opens, as a strength of the half-open shape.
const OPENING: f64 = 0.3;

/// The same segments, with the end of each long rest that speech follows turned into a breath.
pub(super) fn with_breaths(segments: Vec<Segment>) -> Vec<Segment> {
    let mut out = Vec::with_capacity(segments.len());
    let mut rest = segments.into_iter().peekable();
    while let Some(mut segment) = rest.next() {
        let length = segment.end - segment.start;
        let speaks = rest.peek().is_some_and(|next| next.shape != MouthShape::Rest);
        if segment.shape != MouthShape::Rest || length < PAUSE || !speaks {
            out.push(segment);
            continue;
        }
        let start = segment.end - BREATH.min(length - CLOSED);
        let breath =
            Segment { start, shape: MouthShape::HalfOpen, phone: None, strength: OPENING, ..segment.clone() };
        segment.end = start;
        out.extend([segment, breath]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(parts: &[(f64, MouthShape)]) -> Vec<Segment> {
        let mut at = 0.0;
        parts
            .iter()
            .map(|(length, shape)| {
                let start = at;
                at += length;
                Segment::new(Seconds::new(start), Seconds::new(at), *shape)
            })
            .collect()
    }

    #[test]
    fn the_mouth_opens_before_a_phrase_and_only_there() {
        use MouthShape::*;
        let heard = line(&[
            (0.6, Rest),
            (0.2, Bilabial),
            (0.3, Open),
            (0.3, Rest),
            (0.2, Spread),
            (1.5, Rest),
            (0.1, Open),
            (2.0, Rest),
        ]);
        let breathing = with_breaths(heard.clone());
        let shapes: Vec<MouthShape> = breathing.iter().map(|s| s.shape).collect();
        assert_eq!(shapes, [Rest, HalfOpen, Bilabial, Open, Rest, Spread, Rest, HalfOpen, Open, Rest]);
        // 0.6 s: closed for 0.2 s, then a breath of 0.4 s. 1.5 s: the last 0.4 s.
        let times = |i: usize| (breathing[i].start.value(), breathing[i].end.value());
        assert!((times(1).0 - 0.2).abs() < 1e-9 && (times(1).1 - 0.6).abs() < 1e-9);
        assert!((times(7).0 - 2.7).abs() < 1e-9 && (times(7).1 - 3.1).abs() < 1e-9);
        assert!(breathing.iter().all(|s| (s.strength - 1.0).abs() < 1e-9 || s.shape == HalfOpen));
        for pair in breathing.windows(2) {
            assert_eq!(pair[0].end, pair[1].start);
        }
        assert_eq!(breathing.last().map(|s| s.end), heard.last().map(|s| s.end));
    }
}
