//! The pages of the rig view, and the steps of calibration.

/// A page of the rig view.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum RigPage {
    #[default]
    Servos,
    Face,
    Poses,
    Calibrate,
    Reach,
    Power,
    Changes,
}

impl RigPage {
    /// Every page, in order.
    pub const ALL: [Self; 7] =
        [Self::Servos, Self::Face, Self::Poses, Self::Calibrate, Self::Reach, Self::Power, Self::Changes];

    /// Name on its tab.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Servos => "Servos",
            Self::Face => "Face",
            Self::Poses => "Poses",
            Self::Calibrate => "Calibrate",
            Self::Reach => "Reach",
            Self::Power => "Power",
            Self::Changes => "Changes",
        }
    }

    /// Name for `data-testid` and ids.
    #[must_use]
    pub const fn id(self) -> &'static str {
        match self {
            Self::Servos => "servos",
            Self::Face => "face",
            Self::Poses => "poses",
            Self::Calibrate => "calibrate",
            Self::Reach => "reach",
            Self::Power => "power",
            Self::Changes => "changes",
        }
    }

    /// The page on which a field of the rig file is shown, by its path.
    #[must_use]
    pub fn of_path(path: &str) -> Self {
        match path.split(['.', '[']).next().unwrap_or_default() {
            "supply" => Self::Power,
            "face" | "name" | "notes" | "couplings" => Self::Face,
            "poses" | "expressions" => Self::Poses,
            _ if path.contains(".response") => Self::Calibrate,
            _ => Self::Servos,
        }
    }
}

/// A step of one servo's calibration.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Step {
    #[default]
    Neutral,
    Ends,
    Direction,
    Linkage,
    Travel,
    Skin,
}

impl Step {
    /// Every step, in order.
    pub const ALL: [Self; 6] =
        [Self::Neutral, Self::Ends, Self::Direction, Self::Linkage, Self::Travel, Self::Skin];

    /// Name on its tab.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Neutral => "Neutral",
            Self::Ends => "Ends",
            Self::Direction => "Direction",
            Self::Linkage => "Linkage",
            Self::Travel => "Skin travel",
            Self::Skin => "Skin response",
        }
    }

    /// The next step, `None` after the last.
    #[must_use]
    pub fn next(self) -> Option<Self> {
        let at = Self::ALL.iter().position(|s| *s == self)?;
        Self::ALL.get(at + 1).copied()
    }

    /// The step before, `None` at the first.
    #[must_use]
    pub fn back(self) -> Option<Self> {
        let at = Self::ALL.iter().position(|s| *s == self)?;
        Self::ALL.get(at.checked_sub(1)?).copied()
    }
}
