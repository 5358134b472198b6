//! From phones in time to mouth shapes in time.

use super::{Edge, HeardSegment, ListenSettings, Posteriors, Recogniser};
use crate::features::Features;
use crate::phonetics::{MouthShape, Phone};
use crate::units::Seconds;
use std::ops::Range;

/// A phone and the frames it fills.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct TimedPhone {
    pub(super) phone: Phone,
    /// Whether a vowel is stressed, where that is known.
    pub(super) stressed: Option<bool>,
    /// Where it begins and ends: between whole frames as a search leaves it, anywhere once it is placed.
    pub(super) frames: Range<f64>,
    /// True if a script says so, and not the sound alone.
    pub(super) scripted: bool,
}

impl TimedPhone {
    /// Length in frames.
    pub(super) fn length(&self) -> f64 {
        self.frames.end - self.frames.start
    }

    fn seconds(&self) -> f64 {
        self.length() * Features::HOP.value()
    }
}

/// The frames that a stretch of time fills, at least one of those that there are.
fn whole(frames: &Range<f64>, count: usize) -> Range<usize> {
    let start = (frames.start.round() as usize).min(count.saturating_sub(1));
    start..(frames.end.round() as usize).clamp(start + 1, count.max(start + 1))
}

/// Has the recogniser say where exactly each phone ends and the next begins. Each keeps at least a frame.
pub(super) fn place(phones: &mut [TimedPhone], recogniser: &dyn Recogniser, posteriors: &Posteriors) {
    let edge =
        |pair: &[TimedPhone]| Edge { before: pair[0].phone, after: pair[1].phone, frame: pair[0].frames.end };
    let mut edges: Vec<Edge> = phones.windows(2).map(edge).collect();
    let (Some(first), Some(last)) = (phones.first(), phones.last()) else { return };
    let (mut earliest, mut latest) = (first.frames.start, last.frames.end);
    recogniser.place(posteriors, &mut edges);
    for (edge, phone) in edges.iter_mut().zip(phones.iter()) {
        let wanted = if edge.frame.is_finite() { edge.frame } else { phone.frames.end };
        edge.frame = wanted.max(earliest + 1.0);
        earliest = edge.frame;
    }
    for edge in edges.iter_mut().rev() {
        edge.frame = edge.frame.min(latest - 1.0);
        latest = edge.frame;
    }
    for (i, edge) in edges.iter().enumerate() {
        phones[i].frames.end = edge.frame;
        phones[i + 1].frames.start = edge.frame;
    }
}

/// A mouth shape in the making.
#[derive(Clone, Debug)]
struct Gesture {
    shape: MouthShape,
    glide: Option<MouthShape>,
    phone: Phone,
    /// Length in frames of the phone that names the gesture.
    named: f64,
    scripted: bool,
    frames: Range<f64>,
}

/// Turns phones that cover all frames into segments that cover `0..duration`.
///
/// - A silence too short to be a pause joins the stop after it (whose closure it is), else the
///   sound before it.
/// - HH takes the shape of the sound after it; AH of unknown stress is judged by its length.
/// - Neighbours of one shape that the mouth makes in one gesture (N and T; HH and its vowel) become
///   one segment, named after the longer; a shape that still has to glide somewhere ends first.
/// - Confidence is the mean probability that the recogniser gives to all phones of the shape; where a
///   script speaks for the shape too, it is raised to what that is worth.
pub(super) fn segments(
    phones: &[TimedPhone],
    posteriors: &Posteriors,
    duration: Seconds,
    settings: &ListenSettings,
) -> Vec<HeardSegment> {
    let phones = without_false_pauses(phones, settings);
    let mut gestures: Vec<Gesture> = Vec::new();
    for (i, t) in phones.iter().enumerate() {
        let long = t.seconds() >= settings.stressed_ah.value();
        let next =
            phones.get(i + 1).filter(|n| t.phone == Phone::Hh && !matches!(n.phone, Phone::Sil | Phone::Hh));
        let shape = match next {
            Some(next) => shape_of(next, settings),
            None => t.phone.shape(t.stressed.unwrap_or(long)),
        };
        let gesture = Gesture {
            shape,
            glide: t.phone.glide(),
            phone: t.phone,
            named: t.length(),
            scripted: t.scripted,
            frames: t.frames.clone(),
        };
        match gestures.last_mut() {
            Some(last) if last.shape == gesture.shape && last.glide.is_none() => {
                last.frames.end = gesture.frames.end;
                last.glide = gesture.glide;
                // A diphthong's name explains its glide; HH and silence name nothing.
                let weak = matches!(last.phone, Phone::Hh | Phone::Sil);
                if weak || gesture.glide.is_some() || gesture.named > last.named && gesture.phone != Phone::Hh
                {
                    last.phone = gesture.phone;
                    last.named = gesture.named;
                }
            }
            _ => gestures.push(gesture),
        }
    }

    let hop = Features::HOP;
    let mut out: Vec<HeardSegment> = Vec::with_capacity(gestures.len());
    let count = gestures.len();
    for (i, g) in gestures.into_iter().enumerate() {
        let start = hop * g.frames.start;
        let end = if i + 1 == count { duration } else { hop * g.frames.end };
        let confidence = confidence(&g, posteriors);
        // The last frame may be cut short by the end of the recording.
        if end - start < hop * 0.999
            && let Some(last) = out.last_mut()
        {
            last.end = end;
            continue;
        }
        out.push(HeardSegment {
            start,
            end,
            shape: g.shape,
            glide: g.glide,
            confidence,
            phone: Some(g.phone),
        });
    }
    if out.is_empty() {
        out.push(HeardSegment {
            start: Seconds::ZERO,
            end: duration,
            shape: MouthShape::Rest,
            glide: None,
            confidence: 1.0,
            phone: Some(Phone::Sil),
        });
    }
    out
}

fn shape_of(t: &TimedPhone, settings: &ListenSettings) -> MouthShape {
    let long = t.seconds() >= settings.stressed_ah.value();
    t.phone.shape(t.stressed.unwrap_or(long))
}

/// Probability that a frame's mouth has this shape: the sum over all phones that can take it. AH
/// counts for both of its shapes.
pub(super) fn shape_mass(row: &[f32; Phone::COUNT], shape: MouthShape) -> f64 {
    Phone::ALL
        .into_iter()
        .filter(|p| p.shape(true) == shape || p.shape(false) == shape)
        .map(|p| f64::from(row[p.index()]))
        .sum()
}

/// Mean probability of the gesture's shape; HH counts as part of any vowel's gesture.
fn confidence(g: &Gesture, posteriors: &Posteriors) -> f64 {
    let breath = g.phone.is_vowel() && g.shape != MouthShape::HalfOpen;
    let frames = whole(&g.frames, posteriors.frames());
    let sum: f64 = frames
        .clone()
        .map(|f| {
            let row = posteriors.frame(f);
            let h = if breath { f64::from(row[Phone::Hh.index()]) } else { 0.0 };
            shape_mass(row, g.shape) + h
        })
        .sum();
    let sound = (sum / frames.len().max(1) as f64).clamp(0.0, 1.0);
    if g.scripted { with_script(sound) } else { sound }
}

/// How often a shape is right that a script asks for, by how probable the sound alone finds it:
/// straight lines through the reliability that was measured on tuning speech.
fn with_script(sound: f64) -> f64 {
    const MEASURED: [(f64, f64); 6] =
        [(0.0, 0.64), (0.36, 0.75), (0.68, 0.82), (0.825, 0.875), (0.915, 0.917), (1.0, 0.92)];
    for pair in MEASURED.windows(2) {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        if sound <= x1 {
            return y0 + (y1 - y0) * (sound - x0) / (x1 - x0);
        }
    }
    MEASURED[MEASURED.len() - 1].1
}

fn without_false_pauses(phones: &[TimedPhone], settings: &ListenSettings) -> Vec<TimedPhone> {
    let mut out: Vec<TimedPhone> = Vec::with_capacity(phones.len());
    let mut closure = None;
    for (i, t) in phones.iter().enumerate() {
        let mut t = t.clone();
        if let Some(start) = closure.take() {
            t.frames.start = start;
        }
        let inside = i > 0 && i + 1 < phones.len();
        if t.phone == Phone::Sil && inside {
            let length = t.seconds() + 1e-9;
            let next = phones[i + 1].phone;
            if next.is_stop() || matches!(next, Phone::Ch | Phone::Jh) {
                if length < settings.shortest_pause_before_stop.value() {
                    closure = Some(t.frames.start);
                    continue;
                }
            } else if length < settings.shortest_pause.value()
                && let Some(last) = out.last_mut()
            {
                last.frames.end = t.frames.end;
                continue;
            }
        }
        out.push(t);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recognise::testing::posteriors_of;

    fn made(spoken: &[(Phone, usize)]) -> Vec<HeardSegment> {
        let p = posteriors_of(spoken, 0.8, 3);
        let mut at = 0;
        let phones: Vec<TimedPhone> = spoken
            .iter()
            .map(|(phone, n)| {
                at += n;
                TimedPhone {
                    phone: *phone,
                    stressed: None,
                    frames: (at - n) as f64..at as f64,
                    scripted: false,
                }
            })
            .collect();
        segments(&phones, &p, Seconds::new(at as f64 * 0.01), &ListenSettings::default())
    }

    fn shapes(spoken: &[(Phone, usize)]) -> Vec<MouthShape> {
        made(spoken).iter().map(|s| s.shape).collect()
    }

    #[test]
    fn h_takes_the_shape_of_its_vowel() {
        use MouthShape::*;
        let s = made(&[(Phone::Sil, 20), (Phone::Hh, 6), (Phone::Uw, 15), (Phone::Sil, 20)]);
        assert_eq!(s.iter().map(|s| s.shape).collect::<Vec<_>>(), [Rest, Pursed, Rest]);
        assert_eq!(s[1].phone, Some(Phone::Uw));
        assert!((s[1].start.value() - 0.2).abs() < 1e-9 && (s[1].end.value() - 0.41).abs() < 1e-9);
        let s = made(&[(Phone::Hh, 6), (Phone::Ow, 15), (Phone::Sil, 20)]);
        assert_eq!((s[0].shape, s[0].glide, s[0].phone), (Rounded, Some(Pursed), Some(Phone::Ow)));
        assert_eq!(shapes(&[(Phone::Iy, 9), (Phone::Hh, 6), (Phone::Sil, 9)]), [Spread, HalfOpen, Rest]);
    }

    #[test]
    fn one_gesture_is_one_segment() {
        use MouthShape::*;
        assert_eq!(
            shapes(&[(Phone::Ae, 9), (Phone::N, 5), (Phone::T, 7), (Phone::Sil, 30)]),
            [HalfOpen, Alveolar, Rest]
        );
        // A diphthong must arrive before the next sound of its first shape begins.
        assert_eq!(shapes(&[(Phone::Ay, 20), (Phone::Aa, 20), (Phone::Sil, 9)]), [Open, Open, Rest]);
    }

    #[test]
    fn a_closure_is_no_pause() {
        use MouthShape::*;
        assert_eq!(
            shapes(&[
                (Phone::Eh, 10),
                (Phone::Sil, 8),
                (Phone::P, 3),
                (Phone::Iy, 10),
                (Phone::Sil, 4),
                (Phone::S, 8)
            ]),
            [HalfOpen, Bilabial, Spread, Sibilant]
        );
        assert_eq!(
            shapes(&[(Phone::Eh, 10), (Phone::Sil, 40), (Phone::P, 3), (Phone::Iy, 10)]),
            [HalfOpen, Rest, Bilabial, Spread]
        );
    }

    #[test]
    fn long_ah_is_open() {
        use MouthShape::*;
        assert_eq!(shapes(&[(Phone::Ah, 12), (Phone::M, 8), (Phone::Ah, 5)]), [Open, Bilabial, HalfOpen]);
    }

    #[test]
    fn a_cut_last_frame_joins_its_neighbour() {
        let spoken = [(Phone::S, 10), (Phone::T, 1)];
        let p = posteriors_of(&spoken, 0.8, 3);
        let phones = [
            TimedPhone { phone: Phone::S, stressed: None, frames: 0.0..10.0, scripted: false },
            TimedPhone { phone: Phone::T, stressed: None, frames: 10.0..11.0, scripted: false },
        ];
        let s = segments(&phones, &p, Seconds::new(0.1004), &ListenSettings::default());
        assert_eq!(s.len(), 1);
        assert_eq!((s[0].start.value(), s[0].end.value()), (0.0, 0.1004));
    }

    /// A recogniser that has its own idea of where edges lie.
    struct Elsewhere(Vec<f64>);

    impl Recogniser for Elsewhere {
        fn name(&self) -> &str {
            "made up"
        }
        fn posteriors(
            &self,
            _: &[[f32; crate::features::MEL_BANDS]],
            _: &mut dyn crate::progress::Progress,
        ) -> Result<Posteriors, crate::recognise::HearingError> {
            Ok(Posteriors::default())
        }
        fn place(&self, _: &Posteriors, edges: &mut [Edge]) {
            for (edge, frame) in edges.iter_mut().zip(&self.0) {
                edge.frame = *frame;
            }
        }
    }

    #[test]
    fn placed_edges_keep_their_order() {
        let placed = |wanted: &[f64]| -> Vec<f64> {
            let mut phones: Vec<TimedPhone> = [Phone::Sil, Phone::T, Phone::R, Phone::Iy]
                .into_iter()
                .enumerate()
                .map(|(i, phone)| {
                    let start = 5.0 * i as f64;
                    TimedPhone { phone, stressed: None, frames: start..start + 5.0, scripted: true }
                })
                .collect();
            place(&mut phones, &Elsewhere(wanted.to_vec()), &Posteriors::default());
            assert_eq!((phones[0].frames.start, phones[3].frames.end), (0.0, 20.0));
            assert!(phones.windows(2).all(|p| p[0].frames.end == p[1].frames.start));
            phones[..3].iter().map(|p| p.frames.end).collect()
        };
        assert_eq!(placed(&[4.25, 11.5, 14.0]), [4.25, 11.5, 14.0]);
        assert_eq!(placed(&[9.0, 8.0, 9.5]), [9.0, 10.0, 11.0]);
        assert_eq!(placed(&[-3.0, 50.0, 60.0]), [1.0, 18.0, 19.0]);
        assert_eq!(placed(&[f64::NAN, 9.0, f64::INFINITY]), [5.0, 9.0, 15.0]);
    }

    #[test]
    fn nothing_heard_is_rest() {
        let s = segments(&[], &Posteriors::default(), Seconds::new(0.004), &ListenSettings::default());
        assert_eq!((s.len(), s[0].shape), (1, MouthShape::Rest));
    }
}
