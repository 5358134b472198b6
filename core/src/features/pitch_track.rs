//! One pitch for each frame, or none, chosen over the whole recording.
//!
//! Boersma's path finder (the paper named in [`super::pitch`], section 3): every frame is either
//! unvoiced or has one of its candidates; the path with the largest sum of strengths, less what its
//! changes cost, is taken. A voice does not jump by octaves or flicker on and off, and so neither
//! does the track, although single frames often seem to. Costs grow with the number of frames only.

use super::pitch::{Candidates, MOST};

/// Periodicity above which a frame is rather voiced than not (Boersma's default).
pub(super) const VOICED: f32 = 0.45;
/// Frames quieter than this share of the loudest sample tend to be silence (Boersma's default).
const SILENCE: f32 = 0.03;
/// Cost of a pitch one octave away from the last (Boersma's default for frames of 10 ms).
const JUMP_COST: f32 = 0.35;
/// Cost of the voice setting in or ending (Boersma's default for frames of 10 ms).
const TURN_COST: f32 = 0.14;
/// Choices of a frame: its candidates, and, last, no pitch at all.
const CHOICES: usize = MOST + 1;
const UNVOICED: usize = MOST;

/// Gathers frames, then says the likeliest pitch of each.
pub(super) struct PitchTrack {
    /// Largest sample of the recording.
    loudest: f32,
    /// Pitch in octaves of every candidate of every frame.
    octaves: Vec<[f32; MOST]>,
    /// For every choice of every frame, the choice before it on the best path to it.
    before: Vec<[u8; CHOICES]>,
    /// Sums along those paths, less the best of them.
    sums: [f32; CHOICES],
}

impl PitchTrack {
    /// `loudest` is the largest sample of the recording, less its mean.
    pub(super) fn new(loudest: f32, frames: usize) -> Self {
        Self {
            loudest,
            octaves: Vec::with_capacity(frames),
            before: Vec::with_capacity(frames),
            sums: [0.0; CHOICES],
        }
    }

    /// Takes the next frame.
    pub(super) fn push(&mut self, frame: &Candidates) {
        let last = self.octaves.last().copied();
        let mut octaves = [0.0; MOST];
        let mut strength = [f32::NEG_INFINITY; CHOICES];
        for (i, c) in frame.list().iter().enumerate() {
            octaves[i] = c.octaves;
            strength[i] = c.strength;
        }
        strength[UNVOICED] = VOICED + self.silence(frame.peak);
        let mut before = [UNVOICED as u8; CHOICES];
        let mut sums = [f32::NEG_INFINITY; CHOICES];
        for to in 0..CHOICES {
            if strength[to] == f32::NEG_INFINITY {
                continue;
            }
            let Some(last) = last else {
                sums[to] = strength[to];
                continue;
            };
            let cost = |from: usize| match (from == UNVOICED, to == UNVOICED) {
                (true, true) => 0.0,
                (false, false) => JUMP_COST * (octaves[to] - last[from]).abs(),
                _ => TURN_COST,
            };
            for from in 0..CHOICES {
                let sum = self.sums[from] - cost(from) + strength[to];
                if sum > sums[to] {
                    sums[to] = sum;
                    before[to] = from as u8;
                }
            }
        }
        // Only differences count; small numbers stay exact over an hour.
        let best = sums.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        self.sums = sums.map(|s| s - best);
        self.octaves.push(octaves);
        self.before.push(before);
    }

    /// How much more likely silence is than Boersma's threshold says, for what is this loud.
    fn silence(&self, peak: f32) -> f32 {
        if self.loudest > 0.0 {
            (2.0 - peak / self.loudest / (SILENCE / (1.0 + VOICED))).max(0.0)
        } else {
            2.0
        }
    }

    /// The pitch of every frame in hertz; 0 where there is none.
    pub(super) fn finish(self) -> Vec<f32> {
        let mut at = (0..CHOICES).max_by(|a, b| self.sums[*a].total_cmp(&self.sums[*b])).unwrap_or(UNVOICED);
        let mut out: Vec<f32> = self
            .octaves
            .iter()
            .zip(&self.before)
            .rev()
            .map(|(octaves, before)| {
                let hz = if at == UNVOICED { 0.0 } else { octaves[at].exp2() };
                at = usize::from(before[at]);
                hz
            })
            .collect();
        out.reverse();
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::features::pitch::Candidate;
    use proptest::prelude::*;

    fn frame(peak: f32, pitches: &[(f32, f32)]) -> Candidates {
        let mut out = Candidates::of_peak(peak);
        for (hz, strength) in pitches {
            out.add(Candidate { octaves: hz.log2(), periodic: *strength, strength: *strength });
        }
        out
    }

    fn track(frames: &[Candidates]) -> Vec<f32> {
        let mut track = PitchTrack::new(1.0, frames.len());
        frames.iter().for_each(|f| track.push(f));
        track.finish()
    }

    /// One frame that seems an octave lower, and one that seems unvoiced, do not break a voice.
    #[test]
    fn single_frames_do_not_break_a_voice() {
        let mut frames = vec![frame(0.5, &[(200.0, 0.9), (100.0, 0.88)]); 20];
        frames[8] = frame(0.5, &[(200.0, 0.8), (100.0, 0.85)]);
        frames[14] = frame(0.5, &[(200.0, 0.4)]);
        assert!(track(&frames).iter().all(|hz| (hz - 200.0).abs() < 0.01), "{:?}", track(&frames));
    }

    #[test]
    fn silence_has_no_pitch_however_periodic() {
        let mut frames = vec![frame(0.5, &[(150.0, 0.9)]); 10];
        frames.extend(vec![frame(0.001, &[(150.0, 0.9)]); 10]);
        let hz = track(&frames);
        assert!(hz[..10].iter().all(|x| *x > 0.0) && hz[10..].iter().all(|x| *x == 0.0), "{hz:?}");
        assert!(track(&[]).is_empty());
    }

    proptest! {
        /// Judge: the best of all paths, found by trying every one.
        #[test]
        fn finds_the_best_of_all_paths(
            drawn in proptest::collection::vec(proptest::collection::vec((60.0f32..500.0, 0.0f32..1.0), 0..3), 1..6),
            peak in 0.0f32..0.1,
        ) {
            let frames: Vec<_> = drawn.iter().map(|f| frame(peak, f)).collect();
            let quiet = VOICED + (2.0 - peak / (SILENCE / (1.0 + VOICED))).max(0.0);
            let choices = |t: usize| drawn[t].iter().copied().chain([(0.0, quiet)]);
            let step = |a: f32, b: f32| match (a > 0.0, b > 0.0) {
                (false, false) => 0.0,
                (true, true) => JUMP_COST * (a.log2() - b.log2()).abs(),
                _ => TURN_COST,
            };
            let mut best: Vec<(f32, f32)> = choices(0).collect();
            for t in 1..drawn.len() {
                best = best.iter().flat_map(|(hz, sum)| choices(t).map(move |(to, s)| (to, sum + s - step(*hz, to)))).collect();
            }
            let most = best.iter().map(|b| b.1).fold(f32::NEG_INFINITY, f32::max);
            let way = track(&frames);
            let mut sum = 0.0;
            for (t, hz) in way.iter().enumerate() {
                let (near, s) = choices(t).min_by(|a, b| (a.0 - hz).abs().total_cmp(&(b.0 - hz).abs())).expect("a choice");
                prop_assert!((near - hz).abs() < 0.01);
                sum += s - if t > 0 { step(way[t - 1], *hz) } else { 0.0 };
            }
            prop_assert!((sum - most).abs() < 1e-3, "{} instead of {}", sum, most);
        }
    }
}
