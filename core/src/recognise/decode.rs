//! Listening without a script: the likeliest sequence of phones.
//!
//! Viterbi search over phones with explicit shortest lengths: over all ways to cut the frames into
//! phones, the sum of
//! `sound_weight · ln p(phone | frame)` over frames, `phone_weight · ln P(phone | phone before)`
//! and `−phone_cost` over phones, and a geometric law for how much longer than its shortest a
//! phone lasts, is made largest.

use super::segments::TimedPhone;
use super::{HearingError, ListenSettings, Posteriors};
use crate::phonetics::{Phone, follows};
use crate::progress::Progress;
use std::ops::Range;

const N: usize = Phone::COUNT;
/// No probability counts as less than this.
pub(super) const FLOOR: f32 = 1e-4;
/// Frames between two reports of progress.
const REPORT_EVERY: usize = 1_024;

/// Shortest length of a phone in frames, and the cost of staying and leaving beyond it.
#[derive(Clone, Copy, Debug)]
pub(super) struct DurationLaw {
    /// At least 1.
    pub(super) shortest: usize,
    /// ln of the probability that it lasts one more frame.
    pub(super) stay: f32,
    /// ln of the probability that it ends.
    pub(super) leave: f32,
}

impl DurationLaw {
    /// From published lengths, shortened as the settings say.
    pub(super) fn of(phone: Phone, settings: &ListenSettings) -> Self {
        let span = phone.span();
        let frames = |s: f64| s / 0.01;
        let shortest = (frames(span.minimum.value()) * settings.shortest_phone).round().max(1.0);
        // Running speech lasts between the two published lengths.
        let typical = frames(0.5 * (span.inherent.value() + span.minimum.value()));
        let beyond = (typical - shortest).max(0.5);
        let stay = beyond / (beyond + 1.0);
        Self { shortest: shortest as usize, stay: stay.ln() as f32, leave: (1.0 - stay).ln() as f32 }
    }

    /// The same without a shortest length, for stretches too short for one.
    fn relaxed(self) -> Self {
        Self { shortest: 1, ..self }
    }
}

/// The likeliest phones of a range of frames, covering it without gap. `None` for an empty range.
pub(super) fn decode(
    posteriors: &Posteriors,
    range: Range<usize>,
    settings: &ListenSettings,
    progress: &mut dyn Progress,
) -> Result<Vec<TimedPhone>, HearingError> {
    let frames = range.len();
    if frames == 0 {
        return Ok(Vec::new());
    }
    let mut laws = Phone::ALL.map(|p| DurationLaw::of(p, settings));
    if frames <= laws.iter().map(|l| l.shortest).max().unwrap_or(1) {
        laws = laws.map(DurationLaw::relaxed);
    }
    let bigram = |from: Phone, to: Phone| {
        settings.phone_weight as f32 * follows(from, to) - settings.phone_cost as f32
    };
    let links: Vec<[f32; N]> = Phone::ALL.iter().map(|from| Phone::ALL.map(|to| bigram(*from, to))).collect();

    // Scores of phone p having lasted k + 1 frames, the last entry standing for "at least", and
    // when each such stretch began.
    let mut score: Vec<Vec<f32>> = laws.iter().map(|l| vec![f32::NEG_INFINITY; l.shortest]).collect();
    let mut began: Vec<Vec<u32>> = laws.iter().map(|l| vec![0; l.shortest]).collect();
    // For each frame: who a phone that begins here follows; and when a phone that ends here began.
    let mut before = vec![[0u8; N]; frames];
    let mut start = vec![[0u32; N]; frames];
    let mut enter: [f32; N] = Phone::ALL.map(|p| if p == Phone::Sil { 0.0 } else { bigram(Phone::Sil, p) });
    let mut end_score = [f32::NEG_INFINITY; N];
    for t in 0..frames {
        if t % REPORT_EVERY == 0 && !progress.report("listening", t as f64 / frames as f64) {
            return Err(HearingError::Cancelled);
        }
        let row = posteriors.frame(range.start + t);
        for p in 0..N {
            let law = laws[p];
            let last = law.shortest - 1;
            let sound = settings.sound_weight as f32 * row[p].max(FLOOR).ln();
            let (s, b) = (&mut score[p], &mut began[p]);
            let stayed = (s[last] + law.stay, b[last]);
            for k in (1..=last).rev() {
                (s[k], b[k]) = (s[k - 1], b[k - 1]);
            }
            (s[0], b[0]) = (enter[p], t as u32);
            if stayed.0 > s[last] {
                (s[last], b[last]) = stayed;
            }
            for x in s.iter_mut() {
                *x += sound;
            }
            end_score[p] = s[last] + law.leave;
            start[t][p] = b[last];
        }
        if t + 1 < frames {
            let mut best = [f32::NEG_INFINITY; N];
            let mut from = [0u8; N];
            for q in 0..N {
                let s = end_score[q];
                let link = &links[q];
                for p in 0..N {
                    let candidate = s + link[p];
                    if candidate > best[p] {
                        best[p] = candidate;
                        from[p] = q as u8;
                    }
                }
            }
            // Keep numbers small over an hour: only differences count.
            let top = best.iter().copied().fold(f32::NEG_INFINITY, f32::max);
            if top.is_finite() {
                for x in best.iter_mut().chain(score.iter_mut().flatten()) {
                    *x -= top;
                }
            }
            enter = best;
            before[t + 1] = from;
        }
    }

    let mut phones = Vec::new();
    let mut end = frames;
    let mut phone = (0..N).max_by(|a, b| end_score[*a].total_cmp(&end_score[*b])).unwrap_or(0);
    while end > 0 {
        let begin = start[end - 1][phone] as usize;
        phones.push(TimedPhone {
            phone: Phone::ALL[phone],
            stressed: None,
            frames: (range.start + begin) as f64..(range.start + end) as f64,
            scripted: false,
        });
        phone = usize::from(before[begin][phone]);
        end = begin;
    }
    phones.reverse();
    Ok(phones)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::progress::Quiet;
    use crate::recognise::testing::{posteriors_of, random_posteriors};
    use proptest::prelude::*;

    fn heard(posteriors: &Posteriors) -> Vec<TimedPhone> {
        decode(posteriors, 0..posteriors.frames(), &ListenSettings::default(), &mut Quiet)
            .expect("not cancelled")
    }

    #[test]
    fn clear_speech_comes_back() {
        use Phone::*;
        let spoken = [
            (Sil, 20),
            (Hh, 5),
            (Aa, 12),
            (R, 6),
            (B, 7),
            (Er, 14),
            (Sil, 15),
            (M, 8),
            (Ae, 15),
            (S, 10),
            (T, 6),
            (Er, 12),
            (Sil, 30),
        ];
        let p = posteriors_of(&spoken, 0.7, 1);
        let got: Vec<(Phone, usize)> = heard(&p).iter().map(|t| (t.phone, t.length() as usize)).collect();
        assert_eq!(got, spoken);
    }

    /// Single-frame flicker in the posteriors must not become segments.
    #[test]
    fn flicker_is_not_believed() {
        use Phone::*;
        let mut spoken = Vec::new();
        for _ in 0..10 {
            spoken.extend([(Iy, 4), (Z, 1)]);
        }
        let got = heard(&posteriors_of(&spoken, 0.6, 2));
        assert!(got.len() <= 3, "{got:?}");
    }

    /// Judge: the same sum made largest by trying every cut of a few frames.
    #[test]
    fn finds_the_best_of_all_sequences() {
        let settings = ListenSettings { shortest_phone: 0.5, ..ListenSettings::default() };
        for seed in 0..5 {
            // Few phones and frames keep the number of sequences small.
            let p = random_posteriors(16, seed, &[Phone::Sil, Phone::T, Phone::Dh]);
            let fast = decode(&p, 0..16, &settings, &mut Quiet).expect("not cancelled");
            let value = |phones: &[TimedPhone]| -> f64 {
                let mut last = Phone::Sil;
                let mut sum = 0.0f64;
                for (i, t) in phones.iter().enumerate() {
                    let law = DurationLaw::of(t.phone, &settings);
                    let frames = t.frames.start as usize..t.frames.end as usize;
                    if frames.len() < law.shortest {
                        return f64::NEG_INFINITY;
                    }
                    if !(i == 0 && t.phone == Phone::Sil) {
                        sum +=
                            settings.phone_weight * f64::from(follows(last, t.phone)) - settings.phone_cost;
                    }
                    sum += f64::from(law.leave) + (frames.len() - law.shortest) as f64 * f64::from(law.stay);
                    sum += frames
                        .map(|f| {
                            settings.sound_weight * f64::from(p.frame(f)[t.phone.index()].max(FLOOR).ln())
                        })
                        .sum::<f64>();
                    last = t.phone;
                }
                sum
            };
            let mut best = f64::NEG_INFINITY;
            let mut stack: Vec<Vec<TimedPhone>> = vec![vec![]];
            while let Some(path) = stack.pop() {
                let at = path.last().map_or(0, |t: &TimedPhone| t.frames.end as usize);
                if at == 16 {
                    best = best.max(value(&path));
                    continue;
                }
                for phone in [Phone::Sil, Phone::T, Phone::Dh] {
                    for end in at + DurationLaw::of(phone, &settings).shortest..=16 {
                        let mut next = path.clone();
                        next.push(TimedPhone {
                            phone,
                            stressed: None,
                            frames: at as f64..end as f64,
                            scripted: false,
                        });
                        stack.push(next);
                    }
                }
            }
            assert!((value(&fast) - best).abs() < 1e-3, "{} vs {best}", value(&fast));
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]
        #[test]
        fn any_posteriors_are_covered_without_gap(frames in 1usize..200, seed: u64) {
            let p = random_posteriors(frames, seed, &Phone::ALL);
            let phones = heard(&p);
            let mut at = 0.0;
            for t in &phones {
                prop_assert_eq!(t.frames.start, at);
                prop_assert!(t.frames.end > at);
                at = t.frames.end;
            }
            prop_assert_eq!(at, frames as f64);
        }
    }
}
