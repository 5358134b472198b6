//! A recording by what it contains, not by where it lies.

use crate::export::sha256_hex;
use crate::units::Seconds;
use base64::Engine;
use base64::engine::general_purpose::STANDARD as BASE64;
use serde::{Deserialize, Serialize};
use std::fmt;

/// SHA-256 (FIPS 180-4) of a file's bytes, in lower-case hexadecimal.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct ContentHash(String);

impl ContentHash {
    /// The hash of these bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(sha256_hex(bytes))
    }

    /// A hash that somebody else worked out: the 32 bytes of a SHA-256.
    #[must_use]
    pub fn from_digest(digest: [u8; 32]) -> Self {
        Self(digest.iter().map(|b| format!("{b:02x}")).collect())
    }

    /// A hash that was written down as 64 lower-case hexadecimal digits; `None` for any other text.
    #[must_use]
    pub fn from_hex(text: &str) -> Option<Self> {
        let digit = |b: u8| b.is_ascii_digit() || (b'a'..=b'f').contains(&b);
        (text.len() == 64 && text.bytes().all(digit)).then(|| Self(text.to_owned()))
    }

    /// The 64 hexadecimal digits.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for ContentHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Which recording a line belongs to, with the recording itself where the file carries it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AudioRef {
    /// The file's name when it was brought in; for people, never used to find it.
    pub name: String,
    /// Content hash of the file's bytes.
    pub sha256: ContentHash,
    /// Length of the recording.
    #[serde(rename = "duration_s")]
    pub duration: Seconds,
    /// The file's bytes in base64 (RFC 4648), so that one project file can travel alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    data_base64: Option<String>,
}

/// Why a project's own copy of a recording cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AudioRefError {
    /// The copy is not base64.
    #[error("the copy of '{0}' in the project is damaged (not base64); open the recording again")]
    NotBase64(String),
    /// The copy is not the recording that the hash names.
    #[error(
        "the copy of '{0}' in the project is not the recording it names (its hash differs); open the recording again"
    )]
    OtherContent(String),
}

impl AudioRef {
    /// Names a recording without carrying it.
    #[must_use]
    pub fn of(name: impl Into<String>, bytes: &[u8], duration: Seconds) -> Self {
        Self { name: name.into(), sha256: ContentHash::of(bytes), duration, data_base64: None }
    }

    /// Carries the recording inside the project file (a third larger than the file itself).
    #[must_use]
    pub fn embed(mut self, bytes: &[u8]) -> Self {
        self.data_base64 = Some(BASE64.encode(bytes));
        self
    }

    /// The carried recording, checked against the hash; `None` where the project has no copy.
    ///
    /// # Errors
    /// [`AudioRefError`] where the copy is damaged.
    pub fn embedded(&self) -> Result<Option<Vec<u8>>, AudioRefError> {
        let Some(text) = &self.data_base64 else { return Ok(None) };
        let bytes = BASE64.decode(text).map_err(|_| AudioRefError::NotBase64(self.name.clone()))?;
        if ContentHash::of(&bytes) != self.sha256 {
            return Err(AudioRefError::OtherContent(self.name.clone()));
        }
        Ok(Some(bytes))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4 example: the message "abc".
    #[test]
    fn hash_is_sha_256() {
        assert_eq!(
            ContentHash::of(b"abc").as_str(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn a_hash_is_taken_from_its_digits_alone() {
        let hash = ContentHash::of(b"abc");
        assert_eq!(ContentHash::from_hex(hash.as_str()), Some(hash.clone()));
        let upper = hash.as_str().to_uppercase();
        let (short, long, other) = (&hash.as_str()[1..], format!("{hash}0"), hash.as_str().replace('b', "g"));
        for text in ["", short, &long, &upper, &other] {
            assert_eq!(ContentHash::from_hex(text), None, "{text}");
        }
    }

    #[test]
    fn a_carried_recording_is_checked() {
        let audio = AudioRef::of("a.wav", b"bytes", Seconds::new(1.0));
        assert_eq!(audio.embedded(), Ok(None));
        assert_eq!(audio.clone().embed(b"bytes").embedded(), Ok(Some(b"bytes".to_vec())));
        assert!(matches!(audio.clone().embed(b"other").embedded(), Err(AudioRefError::OtherContent(_))));
        let damaged = AudioRef { data_base64: Some("%%%".into()), ..audio };
        assert!(matches!(damaged.embedded(), Err(AudioRefError::NotBase64(_))));
    }
}
