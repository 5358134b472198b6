//! Degrees of freedom of the face: what it does, whatever moves it.

use serde::{Deserialize, Serialize};
use std::fmt;

/// Something the face does.
///
/// Translations are in millimetres of the *face* (where the skin is pinned), rotations in degrees.
/// Left and right are the character's own. Zero is the reference rest pose: lips together and
/// relaxed, jaw shut, tongue flat, brows level, head straight, eyes open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Dof {
    /// Jaw opening at the lower incisors, mm, positive open.
    JawOpen,
    /// Upper lip, left half: raise above rest, mm, positive up.
    UpperLipLeft,
    /// Upper lip, right half: raise, mm, positive up.
    UpperLipRight,
    /// Lower lip, left half: raise *relative to the jaw*, mm, positive up.
    LowerLipLeft,
    /// Lower lip, right half: raise relative to the jaw, mm, positive up.
    LowerLipRight,
    /// Left mouth corner, mm outward (away from the midline).
    CornerLeftX,
    /// Left mouth corner, mm up.
    CornerLeftY,
    /// Right mouth corner, mm outward (away from the midline).
    CornerRightX,
    /// Right mouth corner, mm up.
    CornerRightY,
    /// Tongue tip raise above flat, mm, positive up.
    TongueTip,
    /// Tongue body: raised and drawn back, mm, positive up and back.
    TongueBody,
    /// Left brow, inner point: raise along its straight line, mm.
    BrowLeftInner,
    /// Left brow, outer point: raise along its straight line, mm.
    BrowLeftOuter,
    /// Right brow, inner point: raise along its straight line, mm.
    BrowRightInner,
    /// Right brow, outer point: raise along its straight line, mm.
    BrowRightOuter,
    /// Neck turn, degrees, positive towards the character's left.
    NeckTurn,
    /// Left upper eyelid: its edge below where it rests with the eye open, mm, positive closing. The
    /// greatest value that the skin allows is the eye shut.
    LidLeft,
    /// Right upper eyelid, mm, positive closing.
    LidRight,
}

/// Part of the face that a DOF belongs to; lanes and reports group by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum FacePart {
    Jaw,
    Lips,
    Corners,
    Tongue,
    Brows,
    Neck,
    Lids,
}

impl FacePart {
    /// True for the parts that speak.
    #[must_use]
    pub const fn is_mouth(self) -> bool {
        matches!(self, Self::Jaw | Self::Lips | Self::Corners | Self::Tongue)
    }
}

impl Dof {
    /// Number of DOFs a rig may have.
    pub const COUNT: usize = 18;

    /// Every DOF in its fixed order.
    pub const ALL: [Self; Self::COUNT] = {
        use Dof::*;
        [
            JawOpen,
            UpperLipLeft,
            UpperLipRight,
            LowerLipLeft,
            LowerLipRight,
            CornerLeftX,
            CornerLeftY,
            CornerRightX,
            CornerRightY,
            TongueTip,
            TongueBody,
            BrowLeftInner,
            BrowLeftOuter,
            BrowRightInner,
            BrowRightOuter,
            NeckTurn,
            LidLeft,
            LidRight,
        ]
    };

    /// Position in [`Dof::ALL`].
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// Name in files: `corner-left-x`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        const NAMES: [&str; Dof::COUNT] = [
            "jaw-open",
            "upper-lip-left",
            "upper-lip-right",
            "lower-lip-left",
            "lower-lip-right",
            "corner-left-x",
            "corner-left-y",
            "corner-right-x",
            "corner-right-y",
            "tongue-tip",
            "tongue-body",
            "brow-left-inner",
            "brow-left-outer",
            "brow-right-inner",
            "brow-right-outer",
            "neck-turn",
            "lid-left",
            "lid-right",
        ];
        NAMES[self as usize]
    }

    /// Where it is and which way it goes, for sentences: "the left corner, outward".
    #[must_use]
    pub const fn place(self) -> &'static str {
        use Dof::*;
        match self {
            JawOpen => "the jaw",
            UpperLipLeft => "the upper lip, left",
            UpperLipRight => "the upper lip, right",
            LowerLipLeft => "the lower lip, left",
            LowerLipRight => "the lower lip, right",
            CornerLeftX => "the left corner",
            CornerLeftY => "the left corner, upward",
            CornerRightX => "the right corner",
            CornerRightY => "the right corner, upward",
            TongueTip => "the tongue tip",
            TongueBody => "the tongue body",
            BrowLeftInner => "the left brow, inner point",
            BrowLeftOuter => "the left brow, outer point",
            BrowRightInner => "the right brow, inner point",
            BrowRightOuter => "the right brow, outer point",
            NeckTurn => "the neck",
            LidLeft => "the left eyelid",
            LidRight => "the right eyelid",
        }
    }

    /// The part of the face it belongs to.
    #[must_use]
    pub const fn part(self) -> FacePart {
        use Dof::*;
        match self {
            JawOpen => FacePart::Jaw,
            UpperLipLeft | UpperLipRight | LowerLipLeft | LowerLipRight => FacePart::Lips,
            CornerLeftX | CornerLeftY | CornerRightX | CornerRightY => FacePart::Corners,
            TongueTip | TongueBody => FacePart::Tongue,
            BrowLeftInner | BrowLeftOuter | BrowRightInner | BrowRightOuter => FacePart::Brows,
            NeckTurn => FacePart::Neck,
            LidLeft | LidRight => FacePart::Lids,
        }
    }

    /// The same on the other half of the face; itself for what lies on the midline.
    #[must_use]
    pub const fn mirror(self) -> Self {
        use Dof::*;
        match self {
            UpperLipLeft => UpperLipRight,
            UpperLipRight => UpperLipLeft,
            LowerLipLeft => LowerLipRight,
            LowerLipRight => LowerLipLeft,
            CornerLeftX => CornerRightX,
            CornerRightX => CornerLeftX,
            CornerLeftY => CornerRightY,
            CornerRightY => CornerLeftY,
            BrowLeftInner => BrowRightInner,
            BrowRightInner => BrowLeftInner,
            BrowLeftOuter => BrowRightOuter,
            BrowRightOuter => BrowLeftOuter,
            LidLeft => LidRight,
            LidRight => LidLeft,
            JawOpen | TongueTip | TongueBody | NeckTurn => self,
        }
    }

    /// True for DOFs of the character's left half.
    #[must_use]
    pub const fn is_left(self) -> bool {
        use Dof::*;
        matches!(
            self,
            UpperLipLeft | LowerLipLeft | CornerLeftX | CornerLeftY | BrowLeftInner | BrowLeftOuter | LidLeft
        )
    }

    /// Unit symbol of its values.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Dof::NeckTurn => "deg",
            _ => "mm",
        }
    }
}

impl fmt::Display for Dof {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}
