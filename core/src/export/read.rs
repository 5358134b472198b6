//! Reading a track without being told its form.

use super::{ServoTrack, TrackError};

impl ServoTrack {
    /// Reads a track file of either form: JSON begins with a brace, anything else is a table.
    ///
    /// # Errors
    /// As [`ServoTrack::from_json`] and [`ServoTrack::from_csv`]; bytes that are not UTF-8 text are
    /// no track at all.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, TrackError> {
        let text = std::str::from_utf8(bytes).map_err(|e| TrackError::Csv {
            line: bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count() + 1,
            problem: "the file is not UTF-8 text".into(),
            fix: "choose a servo track in JSON or CSV",
        })?;
        let text = text.trim_start_matches('\u{feff}');
        if text.trim_start().starts_with(['{', '[']) { Self::from_json(text) } else { Self::from_csv(text) }
    }
}
