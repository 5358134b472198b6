//! What a recogniser says about every frame, and the trait it says it through.

use crate::features::MEL_BANDS;
use crate::phonetics::Phone;
use crate::progress::Progress;

/// Why hearing failed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum HearingError {
    /// The caller asked for it.
    #[error("listening was cancelled")]
    Cancelled,

    /// Rows of posteriors that are not probabilities.
    #[error(
        "frame {frame} of the recogniser's output is no probability distribution ({problem}); its model file is damaged"
    )]
    BadPosteriors {
        /// Which frame.
        frame: usize,
        /// What is wrong with it.
        problem: String,
    },

    /// A recogniser answered for another number of frames than it was asked about.
    #[error(
        "the recogniser answered for {answered} frames of {asked}; its model file does not fit this version"
    )]
    WrongLength {
        /// Frames it was given.
        asked: usize,
        /// Frames it gave back.
        answered: usize,
    },

    /// A recogniser failed in its own way.
    #[error("the recogniser '{name}' failed: {problem}")]
    Recogniser {
        /// Name of the recogniser.
        name: String,
        /// What went wrong.
        problem: String,
    },

    /// A setting outside its range.
    #[error("the setting {name} = {value} is outside {allowed}; choose a value in that range")]
    Setting {
        /// Field of [`super::ListenSettings`].
        name: &'static str,
        /// Its value.
        value: f64,
        /// The range, for a person.
        allowed: &'static str,
    },
}

impl From<crate::features::FeatureError> for HearingError {
    fn from(error: crate::features::FeatureError) -> Self {
        match error {
            crate::features::FeatureError::Cancelled => Self::Cancelled,
        }
    }
}

/// For each 10 ms frame, the probability of each phone: frames × [`Phone::COUNT`], in the order of
/// [`Phone::ALL`], every row non-negative and summing to 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Posteriors {
    rows: Vec<[f32; Phone::COUNT]>,
}

impl Posteriors {
    /// How far from 1 a row's sum may be; it is then scaled to 1.
    const SUM_TOLERANCE: f32 = 1e-3;

    /// Takes rows of probabilities.
    ///
    /// # Errors
    /// [`HearingError::BadPosteriors`] if a number is negative or not finite, or a row does not
    /// sum to 1 within 0.001.
    pub fn new(mut rows: Vec<[f32; Phone::COUNT]>) -> Result<Self, HearingError> {
        for (frame, row) in rows.iter_mut().enumerate() {
            if let Some(x) = row.iter().find(|x| !(x.is_finite() && **x >= 0.0)) {
                return Err(HearingError::BadPosteriors { frame, problem: format!("it holds {x}") });
            }
            let sum: f32 = row.iter().sum();
            if !((sum - 1.0).abs() <= Self::SUM_TOLERANCE) {
                return Err(HearingError::BadPosteriors { frame, problem: format!("it sums to {sum}") });
            }
            for x in row {
                *x /= sum;
            }
        }
        Ok(Self { rows })
    }

    /// Makes silence less likely where it is believed in too much: its probability is
    /// multiplied by `factor`, and the row sums to 1 as before. Rows with nothing else stay.
    pub(super) fn doubt_silence(&mut self, frame: usize, factor: f32) {
        let row = &mut self.rows[frame];
        let silent = row[Phone::Sil.index()];
        let sum = 1.0 - silent * (1.0 - factor);
        if sum > 1e-3 {
            row[Phone::Sil.index()] = silent * factor;
            row.iter_mut().for_each(|x| *x /= sum);
        }
    }

    /// Number of frames.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.rows.len()
    }

    /// Probabilities of all phones in frame `i`.
    ///
    /// # Panics
    /// If `i` is not below [`Posteriors::frames`].
    #[must_use]
    pub fn frame(&self, i: usize) -> &[f32; Phone::COUNT] {
        &self.rows[i]
    }
}

/// Where one phone ends and the next begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// The phone that ends.
    pub before: Phone,
    /// The phone that begins.
    pub after: Phone,
    /// When, in frames from the start of the recording: 3.0 lies between the third frame and the fourth.
    pub frame: f64,
}

/// Tells which phone each frame sounds like. A trained model is one; tests use made-up ones.
pub trait Recogniser {
    /// Short name for reports.
    fn name(&self) -> &str;

    /// One row per frame of log-mel values ([`crate::features::log_mel`]).
    ///
    /// # Errors
    /// [`HearingError::Cancelled`] if `progress` asked for it, or the recogniser's own failure.
    fn posteriors(
        &self,
        log_mel: &[[f32; MEL_BANDS]],
        progress: &mut dyn Progress,
    ) -> Result<Posteriors, HearingError>;

    /// Moves edges that a search through `posteriors` found to where they really are, below the hop of
    /// the frames. They may then touch or cross; whoever asks puts that right. A recogniser that knows no
    /// better leaves them.
    fn place(&self, posteriors: &Posteriors, edges: &mut [Edge]) {
        let _ = (posteriors, edges);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_distributions_are_taken() {
        let mut row = [0.0; Phone::COUNT];
        row[3] = 1.0005;
        let p = Posteriors::new(vec![row]).expect("close enough to 1");
        assert_eq!(p.frame(0)[3], 1.0);
        row[3] = 0.9;
        assert!(matches!(Posteriors::new(vec![row]), Err(HearingError::BadPosteriors { frame: 0, .. })));
        row[3] = f32::NAN;
        assert!(Posteriors::new(vec![row]).is_err());
        row[3] = 1.5;
        row[4] = -0.5;
        assert!(Posteriors::new(vec![row]).is_err());
    }
}
