//! A spectrogram at several scales, cut into tiles that can be drawn as pictures.

use lipwright_core::features::Survey;

/// Levels of loudness by frame and band, at the scale of the analysis and at coarser and coarser ones.
///
/// What always holds: scale 0 has the frames of the [`Survey`]; each further scale has a quarter of the
/// frames of the one before, rounded up; the coarsest has at most [`Spectrum::TILE`].
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Spectrum {
    scales: Vec<Vec<u8>>,
}

/// Frames of one scale that make one of the next.
const FAN: usize = 4;
const BANDS: usize = Survey::BANDS;

impl Spectrum {
    /// Frames to a tile.
    pub const TILE: usize = 512;

    /// All scales of the levels of a survey.
    #[must_use]
    pub fn new(levels: Vec<u8>) -> Self {
        let mut scales = vec![levels];
        while let Some(last) = scales.last().filter(|l| l.len() / BANDS > Self::TILE) {
            scales.push(coarser(last));
        }
        Self { scales }
    }

    /// All scales in one run of bytes, for the way from the worker.
    #[must_use]
    pub fn into_bytes(self) -> Vec<u8> {
        self.scales.concat()
    }

    /// The scales of so many frames, from one run of bytes; `None` where there are too few or too many.
    #[must_use]
    pub fn from_bytes(mut bytes: Vec<u8>, frames: usize) -> Option<Self> {
        let (mut scales, mut frames) = (Vec::new(), frames);
        loop {
            let size = frames.checked_mul(BANDS).filter(|n| *n <= bytes.len())?;
            let rest = bytes.split_off(size);
            scales.push(std::mem::replace(&mut bytes, rest));
            if frames <= Self::TILE {
                return bytes.is_empty().then_some(Self { scales });
            }
            frames = frames.div_ceil(FAN);
        }
    }

    /// Frames at a scale.
    #[must_use]
    pub fn frames(&self, scale: usize) -> usize {
        self.scales.get(scale).map_or(0, |l| l.len() / BANDS)
    }

    /// The scale to draw at so many analysis frames a pixel, and how many analysis frames one of its
    /// frames is.
    #[must_use]
    pub fn scale_for(&self, frames_per_pixel: f64) -> (usize, usize) {
        let (mut scale, mut each) = (0, 1);
        while scale + 1 < self.scales.len() && (each * FAN) as f64 <= frames_per_pixel {
            scale += 1;
            each *= FAN;
        }
        (scale, each)
    }

    /// The picture of a tile: rows from the highest band to the lowest, four bytes a pixel as `colours`
    /// has them for each level; and its width. Empty beyond the end.
    #[must_use]
    pub fn tile(&self, scale: usize, index: usize, colours: &[[u8; 4]; 256]) -> (Vec<u8>, usize) {
        let first = index.saturating_mul(Self::TILE);
        let width = self.frames(scale).saturating_sub(first).min(Self::TILE);
        let mut pixels = Vec::with_capacity(width * BANDS * 4);
        for band in (0..BANDS).rev() {
            for frame in first..first + width {
                let level = self.scales[scale][frame * BANDS + band];
                pixels.extend_from_slice(&colours[usize::from(level)]);
            }
        }
        (pixels, width)
    }
}

/// Means of so many frames each.
fn coarser(levels: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(levels.len().div_ceil(FAN));
    for frames in levels.chunks(FAN * BANDS) {
        let count = frames.len() / BANDS;
        for band in 0..BANDS {
            let sum: usize = (0..count).map(|f| usize::from(frames[f * BANDS + band])).sum();
            out.push((sum / count.max(1)) as u8);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(frames: usize) -> Vec<u8> {
        (0..frames * BANDS).map(|i| (i / BANDS % 200 + i % BANDS) as u8).collect()
    }

    #[test]
    fn scales_travel_as_bytes_and_come_back() {
        for frames in [0, 1, 512, 513, 5_000, 60_000] {
            let spectrum = Spectrum::new(ramp(frames));
            let bytes = spectrum.clone().into_bytes();
            assert_eq!(Spectrum::from_bytes(bytes.clone(), frames), Some(spectrum), "{frames}");
            let more = [bytes.as_slice(), &[0]].concat();
            assert_eq!(Spectrum::from_bytes(more, frames), None);
            if frames > 0 {
                assert_eq!(Spectrum::from_bytes(bytes[1..].to_vec(), frames), None);
            }
        }
    }

    #[test]
    fn a_coarse_frame_is_the_mean_of_its_four() {
        let spectrum = Spectrum::new(ramp(1_000));
        assert_eq!((spectrum.frames(0), spectrum.frames(1)), (1_000, 250));
        let value =
            |scale: usize, frame: usize, band: usize| f64::from(spectrum.scales[scale][frame * BANDS + band]);
        for (frame, band) in [(0, 0), (7, 3), (249, 39)] {
            let mean = (0..4).map(|k| value(0, frame * 4 + k, band)).sum::<f64>() / 4.0;
            assert!((value(1, frame, band) - mean).abs() < 1.0);
        }
        assert_eq!(spectrum.scale_for(0.5), (0, 1));
        assert_eq!(spectrum.scale_for(3.9), (0, 1));
        assert_eq!(spectrum.scale_for(4.0), (1, 4));
        assert_eq!(spectrum.scale_for(1e9), (1, 4));
    }

    #[test]
    fn a_tile_has_the_lowest_band_at_its_foot() {
        let mut colours = [[0u8; 4]; 256];
        for (i, c) in colours.iter_mut().enumerate() {
            *c = [i as u8, 0, 0, 255];
        }
        let spectrum = Spectrum::new(ramp(600));
        let (pixels, width) = spectrum.tile(0, 1, &colours);
        assert_eq!((width, pixels.len()), (88, 88 * BANDS * 4));
        let foot = &pixels[(BANDS - 1) * width * 4..];
        assert_eq!(foot[0], spectrum.scales[0][512 * BANDS]);
        assert_eq!(spectrum.tile(0, 9, &colours), (vec![], 0));
        assert_eq!(spectrum.tile(7, 0, &colours), (vec![], 0));
    }
}
