//! A recording as every later room sees it.

use super::AudioError;
use super::resample::Resampler16k;
use crate::units::{Hertz, Seconds};

/// Which channels of a recording to listen to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ChannelChoice {
    /// The mean of all channels.
    #[default]
    Mix,
    /// One channel, counted from 0.
    Only(u16),
}

/// How samples were stored where they came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SampleKind {
    /// Integer PCM.
    Integer,
    /// IEEE 754 floating point.
    Float,
    /// Already decoded by somebody else, such as a browser.
    Decoded,
}

/// What a recording was before it became mono at 16 kHz.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceFormat {
    /// Sampling rate.
    pub rate: Hertz,
    /// Channels.
    pub channels: u16,
    /// Bits that carry sound in each sample.
    pub bits: u16,
    /// How samples were stored.
    pub kind: SampleKind,
    /// Sample frames (one sample per channel).
    pub frames: u64,
    /// Plain sentences about what was odd but could be read all the same.
    pub notes: Vec<String>,
}

/// Mono sound at 16 kHz, nominally in −1..=1, with at least one sample, all finite.
///
/// ```
/// use lipwright_core::audio::{ChannelChoice, Recording};
/// use lipwright_core::units::Hertz;
/// // A second of stereo silence at 48 kHz becomes a second of mono silence.
/// let quiet = Recording::from_interleaved(&[0.0; 96_000], 2, Hertz::new(48_000.0), ChannelChoice::Mix)?;
/// assert_eq!(quiet.samples().len(), 16_000);
/// # Ok::<(), lipwright_core::audio::AudioError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    samples: Vec<f32>,
    source: SourceFormat,
}

impl Recording {
    /// Sampling rate of every recording: 16 kHz keeps what distinguishes speech sounds.
    pub const RATE: Hertz = Hertz::new(16_000.0);

    /// Lowest and highest sampling rates that are accepted, in hertz.
    pub(super) const SOURCE_RATES: (f64, f64) = (8_000.0, 192_000.0);

    /// Takes sound that somebody else decoded, frame by frame interleaved.
    ///
    /// NaN and infinite samples count as silence, and the source's notes say how many there were.
    ///
    /// # Errors
    /// [`AudioError::Channels`] if the samples do not make whole frames, [`AudioError::NoSamples`],
    /// [`AudioError::NoSuchChannel`], [`AudioError::Rate`].
    pub fn from_interleaved(
        samples: &[f32],
        channels: u16,
        rate: Hertz,
        choice: ChannelChoice,
    ) -> Result<Self, AudioError> {
        let width = usize::from(channels);
        if width == 0 || !samples.len().is_multiple_of(width) {
            return Err(AudioError::Channels { samples: samples.len(), channels });
        }
        let mut intake = Intake::new(channels, rate, choice)?;
        for frame in samples.chunks_exact(width) {
            intake.push(frame.iter().copied());
        }
        intake.finish(32, SampleKind::Decoded, Vec::new())
    }

    /// The samples.
    #[must_use]
    pub fn samples(&self) -> &[f32] {
        &self.samples
    }

    /// Length in time.
    #[must_use]
    pub fn duration(&self) -> Seconds {
        Seconds::new(self.samples.len() as f64 / Self::RATE.value())
    }

    /// What the recording was before.
    #[must_use]
    pub fn source(&self) -> &SourceFormat {
        &self.source
    }
}

/// Turns sample frames into a [`Recording`] as they come, so that only the 16 kHz mono result is
/// ever held in memory: an hour at 192 kHz in eight channels needs no more than an hour at 16 kHz.
pub(super) struct Intake {
    channels: u16,
    rate: Hertz,
    choice: ChannelChoice,
    resampler: Resampler16k,
    frames: u64,
    not_finite: u64,
}

impl Intake {
    /// Checks rate and channels.
    pub(super) fn new(channels: u16, rate: Hertz, choice: ChannelChoice) -> Result<Self, AudioError> {
        let (low, high) = Recording::SOURCE_RATES;
        if !(rate.value() >= low && rate.value() <= high) {
            return Err(AudioError::Rate { rate: rate.value() });
        }
        match choice {
            ChannelChoice::Only(asked) if asked >= channels => {
                return Err(AudioError::NoSuchChannel { asked, last: channels.saturating_sub(1) });
            }
            _ => {}
        }
        let resampler = Resampler16k::new(rate);
        Ok(Self { channels, rate, choice, resampler, frames: 0, not_finite: 0 })
    }

    /// Takes one frame: exactly one sample per channel.
    pub(super) fn push(&mut self, frame: impl ExactSizeIterator<Item = f32>) {
        debug_assert_eq!(frame.len(), usize::from(self.channels));
        let mut bad = 0;
        let mut clean = frame.map(|x| {
            if x.is_finite() {
                // Far beyond full scale is damage, and squares of it would overflow later.
                f64::from(x.clamp(-1e6, 1e6))
            } else {
                bad += 1;
                0.0
            }
        });
        let mono = match self.choice {
            ChannelChoice::Mix => clean.sum::<f64>() / f64::from(self.channels),
            ChannelChoice::Only(n) => clean.nth(usize::from(n)).unwrap_or(0.0),
        };
        self.not_finite += bad;
        self.frames += 1;
        self.resampler.push(mono as f32);
    }

    /// Ends the recording.
    pub(super) fn finish(
        self,
        bits: u16,
        kind: SampleKind,
        mut notes: Vec<String>,
    ) -> Result<Recording, AudioError> {
        if self.frames == 0 {
            return Err(AudioError::NoSamples);
        }
        if self.not_finite > 0 {
            notes.push(format!(
                "{} samples were not finite numbers and were taken as silence",
                self.not_finite
            ));
        }
        let source =
            SourceFormat { rate: self.rate, channels: self.channels, bits, kind, frames: self.frames, notes };
        Ok(Recording { samples: self.resampler.finish(), source })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate(hz: f64) -> Hertz {
        Hertz::new(hz)
    }

    #[test]
    fn mixes_or_picks() {
        let stereo = [0.5f32, -0.25, 0.25, 0.75];
        let at = |choice| {
            Recording::from_interleaved(&stereo, 2, Recording::RATE, choice).map(|r| r.samples().to_vec())
        };
        assert_eq!(at(ChannelChoice::Mix), Ok(vec![0.125, 0.5]));
        assert_eq!(at(ChannelChoice::Only(1)), Ok(vec![-0.25, 0.75]));
        assert_eq!(at(ChannelChoice::Only(2)), Err(AudioError::NoSuchChannel { asked: 2, last: 1 }));
    }

    #[test]
    fn refuses_what_makes_no_recording() {
        let make = |s: &[f32], c, r| {
            Recording::from_interleaved(s, c, rate(r), ChannelChoice::Mix).expect_err("no recording")
        };
        assert_eq!(make(&[], 1, 16_000.0), AudioError::NoSamples);
        assert!(matches!(make(&[0.0], 0, 16_000.0), AudioError::Channels { .. }));
        assert!(matches!(make(&[0.0; 3], 2, 16_000.0), AudioError::Channels { .. }));
        for bad in [0.0, 7_999.0, 192_001.0, f64::NAN, f64::INFINITY, -16_000.0] {
            assert!(matches!(make(&[0.0], 1, bad), AudioError::Rate { .. }), "{bad}");
        }
    }

    #[test]
    fn what_is_not_finite_is_silence_and_noted() {
        let r = Recording::from_interleaved(
            &[f32::NAN, 0.5, f32::INFINITY],
            1,
            Recording::RATE,
            ChannelChoice::Mix,
        )
        .expect("reads");
        assert_eq!(r.samples(), [0.0, 0.5, 0.0]);
        assert_eq!(r.source().notes.len(), 1);
    }
}
