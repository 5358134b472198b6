//! Slower and faster without another pitch: waveform-similarity overlap-add.
//!
//! Frames of the sound are laid over each other at a fixed hop; where each is taken from follows the
//! speed, moved by a few milliseconds to where it best continues what was laid before. Source: W.
//! Verhelst and M. Roelands, "An overlap-add technique based on waveform similarity (WSOLA) for high
//! quality time-scale modification of speech", ICASSP 1993. The lengths of frame and search are from
//! common practice for speech.

/// Length of a frame, s: two periods of a low voice.
const FRAME: f64 = 0.03;
/// How far a frame may be moved, s: half a period of 60 Hz, and well under a frame of the controller.
const SEARCH: f64 = 0.009;

/// A sound being played at another speed, piece by piece.
pub struct Stretcher {
    speed: f64,
    frame: usize,
    search: usize,
    /// Where the next frame would be taken from if it were not moved, samples; it may lie before the start.
    at: f64,
    /// Where the last frame was taken from.
    last: Option<usize>,
    /// Second half of the last frame, faded out.
    tail: Vec<f32>,
    window: Vec<f32>,
}

impl Stretcher {
    /// Starts `from` seconds into a sound of `rate` samples a second.
    #[must_use]
    pub fn new(rate: f64, speed: f64, from: f64) -> Self {
        let half = ((rate * FRAME / 2.0) as usize).max(8);
        let frame = 2 * half;
        let angle = |i: usize| std::f64::consts::TAU * i as f64 / frame as f64;
        Self {
            speed,
            frame,
            search: (rate * SEARCH) as usize,
            at: (from.max(0.0) * rate).round(),
            last: None,
            tail: vec![0.0; half],
            window: (0..frame).map(|i| (0.5 - 0.5 * angle(i).cos()) as f32).collect(),
        }
    }

    /// The next piece, at least `wanted` samples long; shorter only where the sound ends, empty after it.
    pub fn next(&mut self, sound: &[f32], wanted: usize) -> Vec<f32> {
        let half = self.frame / 2;
        let mut out = Vec::with_capacity(wanted + half);
        while out.len() < wanted && (self.at as usize) < sound.len() {
            let nominal = self.at as usize;
            let first = self.last.is_none();
            let place = match self.last {
                Some(last) => self.best(sound, nominal, last + half),
                None => nominal,
            };
            for i in 0..half {
                let x = sound.get(place + i).copied().unwrap_or(0.0);
                // The very first half has nothing to be faded over.
                out.push(if first { x } else { self.tail[i] + x * self.window[i] });
            }
            for i in 0..half {
                let x = sound.get(place + half + i).copied().unwrap_or(0.0);
                self.tail[i] = x * self.window[half + i];
            }
            self.last = Some(place);
            self.at += half as f64 * self.speed;
            if first {
                // From here on the middle of a frame, where it is loudest, is what belongs there.
                self.at -= half as f64 * (1.0 - self.speed);
            }
        }
        out
    }

    /// Where near `nominal` the sound most resembles what would come at `natural`.
    fn best(&self, sound: &[f32], nominal: usize, natural: usize) -> usize {
        let low = nominal.saturating_sub(self.search);
        let high = nominal + self.search;
        // Coarsely over the whole range, finely about the best.
        let coarse = (self.search / 48).max(1);
        let near = self.argmax(sound, natural, (low..=high).step_by(coarse), coarse);
        self.argmax(sound, natural, near.saturating_sub(coarse).max(low)..=(near + coarse).min(high), coarse)
    }

    fn argmax(
        &self,
        sound: &[f32],
        natural: usize,
        places: impl Iterator<Item = usize>,
        stride: usize,
    ) -> usize {
        let mut best = (f32::NEG_INFINITY, natural);
        for place in places {
            let (mut dot, mut energy) = (0.0f32, 1e-6f32);
            for i in (0..self.frame).step_by(stride) {
                let (Some(a), Some(b)) = (sound.get(natural + i), sound.get(place + i)) else { break };
                dot += a * b;
                energy += b * b;
            }
            let alike = dot / energy.sqrt();
            if alike > best.0 {
                best = (alike, place);
            }
        }
        best.1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: f64 = 16_000.0;
    const SPEEDS: [f64; 5] = [0.25, 0.5, 0.75, 1.5, 2.0];

    fn stretched(sound: &[f32], speed: f64, piece: usize) -> Vec<f32> {
        let mut stretcher = Stretcher::new(RATE, speed, 0.0);
        let mut out = Vec::new();
        loop {
            let next = stretcher.next(sound, piece);
            if next.is_empty() {
                return out;
            }
            out.extend(next);
        }
    }

    fn tone(hertz: f64, seconds: f64) -> Vec<f32> {
        let at = |i: usize| (std::f64::consts::TAU * hertz * i as f64 / RATE).sin() as f32;
        (0..(seconds * RATE) as usize).map(at).collect()
    }

    #[test]
    fn the_pitch_stays_and_the_length_follows_the_speed() {
        for hertz in [90.0, 220.0, 437.0] {
            let sound = tone(hertz, 2.0);
            for speed in SPEEDS {
                let out = stretched(&sound, speed, 4000);
                let seconds = out.len() as f64 / RATE;
                assert!((seconds - 2.0 / speed).abs() < 2.0 * FRAME, "{speed}: {seconds} s");
                // Between the ends: rising zero crossings a second, and loudness.
                let middle = &out[1600..out.len() - 1600];
                let rising = middle.windows(2).filter(|w| w[0] < 0.0 && w[1] >= 0.0).count();
                let heard = rising as f64 * RATE / middle.len() as f64;
                assert!((heard - hertz).abs() < hertz * 0.02 + 1.0, "{hertz} at {speed}: {heard}");
                let power = middle.iter().map(|x| x * x).sum::<f32>() / middle.len() as f32;
                assert!((power - 0.5).abs() < 0.05, "{hertz} at {speed}: power {power}");
            }
        }
    }

    #[test]
    fn what_is_heard_at_a_time_is_what_was_said_then() {
        // A burst of noise every half second.
        let mut sound = vec![0.0f32; 3 * RATE as usize];
        let mut seed = 7u32;
        for start in [8_000, 16_000, 24_000, 32_000] {
            for x in &mut sound[start..start + 800] {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                *x = (seed >> 16) as f32 / 32_768.0 - 1.0;
            }
        }
        for speed in SPEEDS {
            let out = stretched(&sound, speed, 1000);
            for start in [0.5, 1.0, 1.5, 2.0] {
                let wanted = start / speed;
                // The first loud sample after the silence before the burst.
                let from = ((wanted - 0.1 / speed) * RATE) as usize;
                let found = out[from..].iter().position(|x| x.abs() > 0.1).expect("a burst") + from;
                let heard = found as f64 / RATE * speed;
                assert!((heard - start).abs() < 0.02, "{start} s at {speed}: heard at {heard} s of the line");
            }
        }
    }

    #[test]
    fn pieces_fit_together_and_the_end_ends() {
        let sound = tone(200.0, 0.5);
        let whole = stretched(&sound, 0.5, 1_000_000);
        assert_eq!(stretched(&sound, 0.5, 100), whole);
        assert!(stretched(&[], 0.5, 100).is_empty());
        assert!(Stretcher::new(RATE, 2.0, 9.0).next(&sound, 100).is_empty(), "past the end");
        let late = Stretcher::new(RATE, 0.5, 0.25).next(&sound, 100);
        assert_eq!(late[..50], sound[4000..4050]);
    }
}
