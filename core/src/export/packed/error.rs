//! Why a track cannot be packed, or packed bytes not be read.

use crate::export::Verdict;

/// What is wrong with a packed track, or with a track that is to become one.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PackError {
    /// The track does not fit the format, or belongs to another rig.
    #[error("{what}; {fix}")]
    Unfit {
        /// What does not fit.
        what: String,
        /// What to do.
        fix: &'static str,
    },
    /// The bytes are no packed track, or damaged.
    #[error("packed track, byte {offset}: {problem}; export it again")]
    Damaged {
        /// Where.
        offset: usize,
        /// What is wrong.
        problem: &'static str,
    },
    /// Written by a later Lipwright.
    #[error("packed track version {0} is newer than this Lipwright reads; use a newer Lipwright")]
    Newer(u8),
    /// What was packed breaks limits of the rig.
    #[error("the packed track breaks limits of the rig, so nothing was exported:\n{0}")]
    Breaches(Verdict),
    /// What was packed does not read back as what was meant.
    #[error("the packed track reads back differently; nothing was exported, report this as a fault")]
    Differs,
}

impl PackError {
    pub(super) fn unfit(what: impl Into<String>, fix: &'static str) -> Self {
        Self::Unfit { what: what.into(), fix }
    }

    pub(super) fn damaged(offset: usize, problem: &'static str) -> Self {
        Self::Damaged { offset, problem }
    }
}
