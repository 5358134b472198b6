//! Looks and blinks from a voice.

use lipwright_core::audio::{ChannelChoice, Recording};
use lipwright_core::features::analyse;
use lipwright_core::line::{Line, Suggestion, suggest_all};
use lipwright_core::progress::Progress;

/// What the voice of a line suggests; `samples` are mono at 16 kHz.
///
/// # Errors
/// Why the recording could not be measured, as core says it.
pub fn suggest(samples: &[f32], line: &Line, progress: &mut dyn Progress) -> Result<Vec<Suggestion>, String> {
    let recording = Recording::from_interleaved(samples, 1, Recording::RATE, ChannelChoice::Mix)
        .map_err(|e| e.to_string())?;
    let features = analyse(&recording, progress).map_err(|e| e.to_string())?;
    Ok(suggest_all(line, &features))
}
