//! Why a sketch could not be generated.

use crate::export::packed::PackError;
use crate::units::Seconds;

/// What is wrong, and what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SketchError {
    /// No line, or too many.
    #[error("a sketch holds 1 to 64 lines, not {0}; export the lines in several sketches")]
    Lines(usize),
    /// A line was planned with another frame.
    #[error("line \"{line}\" has frames of {frame}; plan it with frames of 20 ms, a servo's own period")]
    Frame {
        /// Name of the line.
        line: String,
        /// Its frame.
        frame: Seconds,
    },
    /// A line cannot be packed.
    #[error("line \"{line}\": {error}")]
    Line {
        /// Name of the line.
        line: String,
        /// Why.
        error: PackError,
    },
    /// A servo hangs where the board has no output.
    #[error("servo \"{servo}\" hangs on channel {channel} of \"{board}\"; {fix}")]
    Channel {
        /// Name of the servo.
        servo: String,
        /// Its channel.
        channel: u8,
        /// Name of the board.
        board: String,
        /// What to do.
        fix: &'static str,
    },
    /// Everything together is too large.
    #[error("the sketch does not fit: it needs {needs} bytes of {what}, the board has {has}; {fix}")]
    TooLarge {
        /// Flash or RAM.
        what: &'static str,
        /// Needed.
        needs: usize,
        /// There.
        has: usize,
        /// What would fit.
        fix: String,
    },
    /// What was generated does not read back.
    #[error("{0} does not read back as it was meant; nothing was exported, report this as a fault")]
    Differs(&'static str),
    /// The archive could not be made.
    #[error("the zip archive could not be made: {0}; export the folder by the command line instead")]
    Zip(String),
}
