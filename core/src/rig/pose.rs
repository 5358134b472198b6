//! Poses: a target for every degree of freedom.

use super::Dof;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A value for every DOF, in its own unit (mm or degrees); rigs without a DOF ignore its entry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DofValues([f64; Dof::COUNT]);

impl DofValues {
    /// All zero except the given ones.
    #[must_use]
    pub fn from_pairs(pairs: &[(Dof, f64)]) -> Self {
        let mut values = Self::default();
        for (dof, value) in pairs {
            values[*dof] = *value;
        }
        values
    }

    /// Every DOF with its value, in the fixed order.
    pub fn iter(&self) -> impl Iterator<Item = (Dof, f64)> + '_ {
        Dof::ALL.into_iter().map(|dof| (dof, self[dof]))
    }
}

impl Default for DofValues {
    /// The reference rest pose: all zero.
    fn default() -> Self {
        Self([0.0; Dof::COUNT])
    }
}

impl std::ops::Index<Dof> for DofValues {
    type Output = f64;
    fn index(&self, dof: Dof) -> &f64 {
        &self.0[dof.index()]
    }
}

impl std::ops::IndexMut<Dof> for DofValues {
    fn index_mut(&mut self, dof: Dof) -> &mut f64 {
        &mut self.0[dof.index()]
    }
}

/// What a mouth shape or expression asks of one particular rig.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShapePose {
    /// Wanted value per DOF: absolute, and reachable on the rig it came from.
    pub target: DofValues,
    /// How much each DOF matters to it: 0 not at all, 1 fully (errors are weighed by it).
    pub importance: DofValues,
}

/// A half of the face; the character's own left and right.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs)]
pub enum Side {
    Left,
    Right,
}

impl Side {
    /// Both halves.
    pub const BOTH: [Self; 2] = [Self::Left, Self::Right];

    /// Upper-lip DOF of this half.
    #[must_use]
    pub const fn upper_lip(self) -> Dof {
        match self {
            Self::Left => Dof::UpperLipLeft,
            Self::Right => Dof::UpperLipRight,
        }
    }

    /// Lower-lip DOF of this half.
    #[must_use]
    pub const fn lower_lip(self) -> Dof {
        match self {
            Self::Left => Dof::LowerLipLeft,
            Self::Right => Dof::LowerLipRight,
        }
    }
}

/// A look held over speech: brows, and the corners where speech leaves them free.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Expression {
    Neutral,
    Shocked,
    Angry,
    Sympathetic,
    Smile,
    Frown,
}

impl Expression {
    /// Number of expressions.
    pub const COUNT: usize = 6;

    /// Every expression in its fixed order.
    pub const ALL: [Self; Self::COUNT] =
        [Self::Neutral, Self::Shocked, Self::Angry, Self::Sympathetic, Self::Smile, Self::Frown];

    /// Position in [`Expression::ALL`].
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// The expression on the reference face.
    pub(crate) fn reference(self) -> ShapePose {
        super::reference_face::expression_pose(self)
    }

    /// Name in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        const NAMES: [&str; Expression::COUNT] =
            ["neutral", "shocked", "angry", "sympathetic", "smile", "frown"];
        NAMES[self as usize]
    }
}

impl fmt::Display for Expression {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}
