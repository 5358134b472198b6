//! What can go wrong on the bench.

/// Why the bench refused something. Every message says what, where, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BenchError {
    /// No servo of the rig hangs on this board.
    #[error("no servo of this rig hangs on a board called \"{0}\"; choose one of the rig's boards")]
    NoSuchBoard(String),
    /// More channels than a frame can carry.
    #[error(
        "board \"{board}\" has {channels} servos, and the link carries at most {most}; spread them over two boards"
    )]
    TooManyChannels {
        /// The board.
        board: String,
        /// Its servos.
        channels: usize,
        /// Most that fit.
        most: usize,
    },
    /// The other side speaks another version.
    #[error(
        "the controller speaks version {theirs} of the bench link, this page version {ours}; export the sketch again and load it"
    )]
    Version {
        /// Version of the controller.
        theirs: u8,
        /// Version of this side.
        ours: u8,
    },
    /// The controller was made for another rig.
    #[error(
        "the controller holds the settings of another rig ({theirs:08x}, not {ours:08x}); export the sketch for this rig and load it"
    )]
    OtherRig {
        /// Fingerprint in the controller.
        theirs: u32,
        /// Fingerprint of this rig.
        ours: u32,
    },
    /// The controller has another number of channels.
    #[error(
        "the controller drives {theirs} servos, this rig has {ours} on that board; export the sketch for this rig and load it"
    )]
    OtherChannels {
        /// Channels of the controller.
        theirs: usize,
        /// Channels of this rig.
        ours: usize,
    },
    /// Nothing answers.
    #[error(
        "the controller does not answer; check the cable, the power of the board, and that its sketch was made by Lipwright"
    )]
    Silent,
    /// Something was asked before the greeting was over.
    #[error("no controller is connected; connect one, or the simulated one, first")]
    NotReady,
    /// There is no such servo on the board.
    #[error("there is no servo {index} on this board; it has {count}")]
    NoSuchServo {
        /// Asked for.
        index: usize,
        /// How many there are.
        count: usize,
    },
}
