//! What can be wrong with sound that is handed in.

/// Why a recording could not be read. Every message says what was wrong, where, and what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AudioError {
    /// Nothing at all was handed in.
    #[error("the file is empty; choose a WAV file with sound in it")]
    Empty,

    /// The bytes are some other kind of file.
    #[error(
        "not a WAV file: it begins with {found} instead of RIFF … WAVE at byte 0; save the recording as WAV"
    )]
    NotWav {
        /// The first bytes, printed for a person.
        found: String,
    },

    /// A chunk promises more bytes than the file holds.
    #[error(
        "the '{chunk}' chunk at byte {offset} promises {promised} bytes, but the file ends after {present}; \
         it is truncated: copy or export it again"
    )]
    Truncated {
        /// Four-character name of the chunk.
        chunk: String,
        /// Byte offset of the chunk's name in the file.
        offset: usize,
        /// Bytes that the chunk's length field promises.
        promised: u64,
        /// Bytes that are there.
        present: u64,
    },

    /// A chunk's content contradicts itself.
    #[error(
        "the '{chunk}' chunk at byte {offset} is wrong: {problem}; export the recording again as plain WAV"
    )]
    BadChunk {
        /// Four-character name of the chunk.
        chunk: String,
        /// Byte offset of the chunk's name in the file.
        offset: usize,
        /// What is wrong with it.
        problem: String,
    },

    /// A chunk that a WAV file must have is not there.
    #[error("no '{chunk}' chunk was found up to byte {end}; the file is cut short or not a WAV recording")]
    MissingChunk {
        /// Four-character name of the chunk.
        chunk: &'static str,
        /// Byte offset where the search ended.
        end: usize,
    },

    /// A form of WAV that is not read here (compressed speech codecs and the like).
    #[error(
        "the 'fmt ' chunk at byte {offset} names sample format {form}, which is not read here; \
         export as 16-bit or 24-bit integer PCM, or 32-bit float"
    )]
    Unsupported {
        /// Byte offset of the chunk's name in the file.
        offset: usize,
        /// The format, for a person.
        form: String,
    },

    /// The sampling rate is outside what speech analysis can use.
    #[error(
        "a sampling rate of {rate} Hz is outside 8000 to 192000 Hz; export at 16 000, 44 100 or 48 000 Hz"
    )]
    Rate {
        /// The rate that was found, in hertz.
        rate: f64,
    },

    /// No whole sample frame.
    #[error("the recording holds no samples; check that the export finished and was not muted away")]
    NoSamples,

    /// Zero channels, or a number of samples that the channels do not divide.
    #[error("{samples} samples do not make whole frames of {channels} channels; decode the sound again")]
    Channels {
        /// Samples handed in.
        samples: usize,
        /// Channels named.
        channels: u16,
    },

    /// A channel was picked that is not there.
    #[error(
        "channel {asked} was picked, but the recording has channels 0 to {last}; pick one of those or mix"
    )]
    NoSuchChannel {
        /// The 0-based channel that was asked for.
        asked: u16,
        /// The last 0-based channel there is.
        last: u16,
    },

    /// A stretch of time that no file can hold.
    #[error(
        "the stretch from {from} s to {to} s makes no WAV file; it must be longer than nothing and shorter than 4 GB: \
         cut the line into shorter ones"
    )]
    Stretch {
        /// First instant asked for, in seconds.
        from: f64,
        /// Last instant asked for, in seconds.
        to: f64,
    },
}
