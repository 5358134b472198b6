//! The trained acoustic model: log-mel frames in, the probability of every phone out.
//!
//! A small network that looks and remembers both ways (some seconds): see
//! `core/training/net.py` for its shape and `core/training/README.md` for the speech it was
//! trained on. This module runs the same arithmetic on the weights of `core/models/acoustic.bin`.

mod edges;
mod memory;
mod network;
mod normalise;
mod product;
mod weights;

pub use weights::ModelError;

use super::{Edge, HearingError, Posteriors, Recogniser};
use crate::features::MEL_BANDS;
use crate::phonetics::Phone;
use crate::progress::Progress;
use edges::EdgePlacer;
use network::Network;
use normalise::Normaliser;

/// Frames worked on at a time: enough to keep the matrix products busy, few enough that an hour
/// of audio needs no more memory than two minutes do.
const CHUNK: usize = 9000;

/// A trained acoustic model, ready to listen.
///
/// ```
/// use lipwright_core::{audio::*, features::log_mel, progress::Quiet, recognise::*, units::Hertz};
/// let tone: Vec<f32> = (0..16_000).map(|i| (i as f32 * 0.05).sin()).collect();
/// let tone = Recording::from_interleaved(&tone, 1, Hertz::new(16_000.0), ChannelChoice::Mix)?;
/// let posteriors = AcousticModel::built_in().posteriors(&log_mel(&tone, &mut Quiet)?, &mut Quiet)?;
/// assert_eq!(posteriors.frames(), 100);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct AcousticModel {
    normaliser: Normaliser,
    network: Network,
    edges: Option<EdgePlacer>,
    shares: [f32; Phone::COUNT],
}

impl AcousticModel {
    /// Reads a model file (the form is described in `core/training/export.py`).
    ///
    /// # Errors
    /// [`ModelError`] if the bytes are not a whole, undamaged model file of this version.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, ModelError> {
        let mut payload = weights::open(bytes)?;
        let [middle, deep] = payload.dimensions()?;
        let normaliser = Normaliser {
            active_range: payload.f32()?,
            prior_frames: payload.f32()?,
            clamp: payload.f32()?,
            scale: payload.f32()?,
            spectrum: payload.f32s()?,
        };
        let shares = payload.f32s()?;
        let network = Network::read(&mut payload, middle, deep)?;
        let edges = match payload.count()? {
            0 => None,
            _ => Some(EdgePlacer::read(&mut payload)?),
        };
        payload.finish()?;
        Ok(Self { normaliser, network, edges, shares })
    }

    /// The model that comes with the library.
    #[must_use]
    pub fn built_in() -> Self {
        Self::from_bytes(include_bytes!("../../models/acoustic.bin"))
            .expect("the embedded file is the one that the tests load")
    }

    /// How often each phone occurred in training as the network saw it, summing to 1: a decoder
    /// that brings its own expectations divides them out of the posteriors.
    #[must_use]
    pub fn phone_shares(&self) -> &[f32; Phone::COUNT] {
        &self.shares
    }

    /// Posteriors of log-mel frames (the definition is in [`crate::features`]).
    fn hear(
        &self,
        log_mel: &[[f32; MEL_BANDS]],
        chunk: usize,
        progress: &mut dyn Progress,
    ) -> Result<Posteriors, HearingError> {
        let frames = log_mel.len();
        let means = self.normaliser.means(log_mel);
        let mut rows = Vec::with_capacity(frames);
        let context = self.network.context();
        let mut start = 0;
        while start < frames {
            if !progress.report("listening", start as f64 / frames as f64) {
                return Err(HearingError::Cancelled);
            }
            let end = (start + chunk).min(frames);
            // The network takes frames together from the start.
            let from = start.saturating_sub(context) / Network::PACE * Network::PACE;
            let to = (end + context).min(frames);
            let input = self.normaliser.apply(&log_mel[from..to], &means);
            let all = self.network.posteriors(input);
            rows.extend_from_slice(&all[start - from..end - from]);
            start = end;
        }
        progress.report("listening", 1.0);
        Posteriors::new(rows)
    }
}

impl Recogniser for AcousticModel {
    fn name(&self) -> &str {
        "trained acoustic model"
    }

    fn posteriors(
        &self,
        log_mel: &[[f32; MEL_BANDS]],
        progress: &mut dyn Progress,
    ) -> Result<Posteriors, HearingError> {
        self.hear(log_mel, CHUNK, progress)
    }

    fn place(&self, posteriors: &Posteriors, edges: &mut [Edge]) {
        if let Some(placer) = &self.edges {
            placer.place(posteriors, edges);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::progress::Quiet;

    const MODEL: &[u8] = include_bytes!("../../models/acoustic.bin");
    /// A small input and PyTorch's answer to it (`core/training/export.py`).
    const GOLDEN: &[u8] = include_bytes!("../../models/acoustic.golden");

    struct Golden {
        log_mel: Vec<[f32; MEL_BANDS]>,
        input: Vec<[f32; MEL_BANDS]>,
        posteriors: Vec<[f32; Phone::COUNT]>,
    }

    fn golden() -> Golden {
        let frames = u32::from_le_bytes(GOLDEN[..4].try_into().expect("4 bytes")) as usize;
        let values: Vec<f32> =
            GOLDEN[4..].chunks_exact(4).map(|b| f32::from_le_bytes(b.try_into().expect("4 bytes"))).collect();
        assert_eq!(values.len(), frames * 120);
        let part = |i: usize| {
            values[i * frames * 40..(i + 1) * frames * 40]
                .chunks_exact(40)
                .map(|row| row.try_into().expect("40 values"))
                .collect()
        };
        Golden { log_mel: part(0), input: part(1), posteriors: part(2) }
    }

    fn largest_difference(a: &[[f32; 40]], b: &[[f32; 40]]) -> f32 {
        assert_eq!(a.len(), b.len());
        a.iter().flatten().zip(b.iter().flatten()).map(|(x, y)| (x - y).abs()).fold(0.0, f32::max)
    }

    fn rows(p: &Posteriors) -> Vec<[f32; 40]> {
        (0..p.frames()).map(|i| *p.frame(i)).collect()
    }

    #[test]
    fn gives_pytorchs_numbers() {
        let golden = golden();
        let model = AcousticModel::from_bytes(MODEL).expect("loads");
        let means = model.normaliser.means(&golden.log_mel);
        let input = model.normaliser.apply(&golden.log_mel, &means);
        let input: Vec<[f32; 40]> = input.rows().into_iter().map(|r| std::array::from_fn(|b| r[b])).collect();
        assert!(largest_difference(&input, &golden.input) < 1e-3);
        let heard = model.hear(&golden.log_mel, CHUNK, &mut Quiet).expect("hears");
        assert!(largest_difference(&rows(&heard), &golden.posteriors) < 1e-3);
    }

    /// The log-mel of the golden input was worked out by `core/training/features.py` from the
    /// start of a sample line: training and listening measure the same thing.
    #[test]
    fn training_and_listening_see_the_same_features() {
        let wav = include_bytes!("../../../sample-audio/welcome.wav");
        let golden = golden();
        let line = crate::audio::read_wav(wav, crate::audio::ChannelChoice::Mix).expect("reads");
        let whole = crate::features::analyse(&line, &mut Quiet).expect("analyses");
        // The golden input ends 37 samples short of its last frame: the last two differ.
        let n = golden.log_mel.len() - 2;
        assert!(largest_difference(&whole.log_mel()[..n], &golden.log_mel[..n]) < 2e-3);
    }

    /// Slow and obvious: all at once. Fast: in pieces with context. Where the context reaches both ends they agree.
    #[test]
    fn pieces_join_without_a_seam() {
        let model = AcousticModel::from_bytes(MODEL).expect("loads");
        let log_mel = &golden().log_mel[..61];
        let whole = rows(&model.hear(log_mel, CHUNK, &mut Quiet).expect("hears"));
        for chunk in [1, 20] {
            let pieces = rows(&model.hear(log_mel, chunk, &mut Quiet).expect("hears"));
            assert!(largest_difference(&whole, &pieces) < 1e-5, "chunk {chunk}");
        }
    }

    fn three_lines() -> [Vec<[f32; MEL_BANDS]>; 3] {
        let line = |wav: &[u8]| {
            let line = crate::audio::read_wav(wav, crate::audio::ChannelChoice::Mix).expect("reads");
            crate::features::log_mel(&line, &mut Quiet).expect("analyses")
        };
        [
            line(include_bytes!("../../../sample-audio/welcome.wav")),
            line(include_bytes!("../../../sample-audio/storm-bell.wav")),
            line(include_bytes!("../../../sample-audio/mind-the-mud.wav")),
        ]
    }

    /// In how many frames another phone is the likeliest.
    fn heard_otherwise(a: &[[f32; 40]], b: &[[f32; 40]]) -> usize {
        assert_eq!(a.len(), b.len());
        let likeliest = |row: &[f32; 40]| (0..40).max_by(|a, b| row[*a].total_cmp(&row[*b]));
        a.iter().zip(b).filter(|(a, b)| likeliest(a) != likeliest(b)).count()
    }

    /// What was heard long ago is never wholly forgotten, but it decides nothing: where a piece begins or ends
    /// is not heard.
    #[test]
    fn what_was_heard_long_ago_decides_nothing() {
        let model = AcousticModel::from_bytes(MODEL).expect("loads");
        let log_mel = three_lines().concat();
        let whole = rows(&model.hear(&log_mel, CHUNK, &mut Quiet).expect("hears"));
        let pieces = rows(&model.hear(&log_mel, 400, &mut Quiet).expect("hears"));
        let frames = whole.len();
        assert!(frames > 4 * 400);
        let apart: f32 = whole.iter().zip(&pieces).map(|(a, b)| largest_difference(&[*a], &[*b])).sum();
        let other = heard_otherwise(&whole, &pieces);
        assert!(apart / (frames as f32) < 0.02, "{} on average", apart / frames as f32);
        assert!(50 * other < frames, "another phone in {other} of {frames} frames");
    }

    /// Lines one after the other for a minute are heard as each is alone: states do not drift away.
    #[test]
    fn a_long_recording_is_heard_like_a_short_one() {
        let model = AcousticModel::from_bytes(MODEL).expect("loads");
        let lines = three_lines();
        let hear = |log_mel: &[[f32; 40]]| rows(&model.hear(log_mel, CHUNK, &mut Quiet).expect("hears"));
        let alone: Vec<_> = lines.iter().flat_map(|line| hear(line)).collect();
        let long = hear(&lines.concat().repeat(3));
        for (round, again) in long.chunks(alone.len()).enumerate() {
            let other = heard_otherwise(&alone, again);
            assert!(
                10 * other < alone.len(),
                "round {round}: another phone in {other} of {} frames",
                alone.len()
            );
        }
    }

    #[test]
    fn gain_changes_nothing() {
        let model = AcousticModel::from_bytes(MODEL).expect("loads");
        let quiet = golden().log_mel;
        let loud: Vec<[f32; 40]> = quiet.iter().map(|r| r.map(|x| x + 4.6)).collect();
        let a = rows(&model.hear(&quiet, CHUNK, &mut Quiet).expect("hears"));
        let b = rows(&model.hear(&loud, CHUNK, &mut Quiet).expect("hears"));
        assert!(largest_difference(&a, &b) < 1e-3);
    }

    #[test]
    fn odd_inputs_are_heard() {
        let model = AcousticModel::from_bytes(MODEL).expect("loads");
        for frames in 0..4 {
            for value in [(1e-10_f32).ln(), 0.0, 30.0] {
                let heard = model.hear(&vec![[value; 40]; frames], CHUNK, &mut Quiet).expect("hears");
                assert_eq!(heard.frames(), frames);
            }
        }
    }

    #[test]
    fn stops_when_asked() {
        let model = AcousticModel::from_bytes(MODEL).expect("loads");
        let mut asked = 0;
        let mut stop = |_: &'static str, _: f64| {
            asked += 1;
            asked < 3
        };
        let heard = model.hear(&vec![[0.0; 40]; 1000], 100, &mut stop);
        assert_eq!(heard, Err(HearingError::Cancelled));
        assert_eq!(asked, 3);
    }

    #[test]
    fn damaged_files_are_refused() {
        assert!(matches!(AcousticModel::from_bytes(&MODEL[..9]), Err(ModelError::TooShort { length: 9 })));
        assert!(matches!(AcousticModel::from_bytes(&[7; 400]), Err(ModelError::NotAModel)));
        let cut = &MODEL[..MODEL.len() - 1];
        assert!(matches!(AcousticModel::from_bytes(cut), Err(ModelError::Length { .. })));
        let mut newer = MODEL.to_vec();
        newer[4] = 200;
        assert!(matches!(AcousticModel::from_bytes(&newer), Err(ModelError::Version { found: 200 })));
        for at in [16, 500, MODEL.len() / 2, MODEL.len() - 1] {
            let mut bent = MODEL.to_vec();
            bent[at] ^= 0x10;
            assert!(matches!(AcousticModel::from_bytes(&bent), Err(ModelError::Checksum { .. })), "{at}");
        }
    }

    /// With a checksum that fits, wrong contents must still be refused, never believed.
    #[test]
    fn wrong_contents_with_a_right_checksum_are_refused() {
        for (at, byte) in [
            (16, 41),
            (20, 39),
            (24, 3),
            (24, 200),
            (28, 1),
            (28, 9),
            (32, 0),
            (32, 9),
            (36, 2),
            (16 + 40 + 320, 95),
        ] {
            let mut bent = MODEL.to_vec();
            bent[at] = byte;
            let crc = crate::crc::crc32(&bent[16..]);
            bent[12..16].copy_from_slice(&crc.to_le_bytes());
            assert!(AcousticModel::from_bytes(&bent).is_err(), "byte {at} = {byte}");
        }
    }

    #[test]
    fn shares_are_a_distribution() {
        let sum: f32 = AcousticModel::built_in().phone_shares().iter().sum();
        assert!((sum - 1.0).abs() < 1e-3);
    }
}
