//! Looks and blinks from a voice.

use lipwright_core::audio::{ChannelChoice, Recording};
use lipwright_core::features::analyse;
use lipwright_core::line::{Line, Suggestion};
use lipwright_core::progress::Progress;

/// What the voice of a line suggests; `samples` are mono at 16 kHz.
///
/// # Errors
/// Why the recording could not be measured, as core says it.
pub fn suggest(samples: &[f32], line: &Line, progress: &mut dyn Progress) -> Result<Vec<Suggestion>, String> {
    let recording = Recording::from_interleaved(samples, 1, Recording::RATE, ChannelChoice::Mix)
        .map_err(|e| e.to_string())?;
    let features = analyse(&recording, progress).map_err(|e| e.to_string())?;
    let mut all = lipwright_core::line::suggest(line, &features);
    all.extend(lipwright_core::line::suggest_blinks(line));
    all.sort_by(|a, b| a.start.value().total_cmp(&b.start.value()));
    Ok(all)
}
