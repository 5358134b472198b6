//! The fourteen mouth shapes.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// What a mouth visibly does for a sound, named by articulatory phonetics.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MouthShape {
    /// Silence, breath: lips together, relaxed.
    Rest,
    /// P B M: lips pressed shut. Must close.
    Bilabial,
    /// F V: lower lip against the upper teeth.
    Labiodental,
    /// TH DH: tongue tip between the teeth. Tongue visible.
    Dental,
    /// T D N L: tongue tip raised behind the upper teeth. Tongue visible.
    Alveolar,
    /// S Z: teeth close, lips spread a little, tongue hidden.
    Sibilant,
    /// SH ZH CH JH: teeth close, lips pushed forward.
    Postalveolar,
    /// R ER: tongue bunched back, lips slightly rounded. Tongue visible, not as for alveolar.
    Rhotic,
    /// K G NG: jaw half open, tongue back raised.
    Velar,
    /// AA AY AW, stressed AH: jaw wide.
    Open,
    /// EH AE EY, unstressed AH: jaw middling.
    HalfOpen,
    /// IY IH Y: corners out, jaw small.
    Spread,
    /// AO OY OW: lips round, jaw middling.
    Rounded,
    /// UW UH W: lips round and forward, small opening.
    Pursed,
}

/// The articulator that leads a shape: what a viewer watches, and what its colour shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Articulator {
    /// Nothing leads: the mouth rests.
    None,
    /// Lips.
    Lips,
    /// Tongue tip.
    TongueTip,
    /// Tongue body.
    TongueBody,
    /// Jaw.
    Jaw,
}

impl MouthShape {
    /// Number of shapes.
    pub const COUNT: usize = 14;

    /// Every shape in its fixed order.
    pub const ALL: [Self; Self::COUNT] = {
        use MouthShape::*;
        [
            Rest,
            Bilabial,
            Labiodental,
            Dental,
            Alveolar,
            Sibilant,
            Postalveolar,
            Rhotic,
            Velar,
            Open,
            HalfOpen,
            Spread,
            Rounded,
            Pursed,
        ]
    };

    /// Position in [`MouthShape::ALL`].
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// Phonetic name, as shown and as written to files: `half-open`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        const NAMES: [&str; MouthShape::COUNT] = [
            "rest",
            "bilabial",
            "labiodental",
            "dental",
            "alveolar",
            "sibilant",
            "postalveolar",
            "rhotic",
            "velar",
            "open",
            "half-open",
            "spread",
            "rounded",
            "pursed",
        ];
        NAMES[self as usize]
    }

    /// The sounds that take this shape, for people: `P B M`.
    #[must_use]
    pub const fn sounds(self) -> &'static str {
        const SOUNDS: [&str; MouthShape::COUNT] = [
            "silence",
            "P B M",
            "F V",
            "TH DH",
            "T D N L",
            "S Z",
            "SH ZH CH JH",
            "R ER",
            "K G NG",
            "AA AY AW AH",
            "EH AE EY AH",
            "IY IH Y",
            "AO OY OW",
            "UW UH W",
        ];
        SOUNDS[self as usize]
    }

    /// Viseme number of ISO/IEC 14496-2 (face animation: table of visemes and related phonemes;
    /// numbers from memory). The standard has fewer vowels than we do: half-open goes to 11 (e),
    /// rounded to 13, pursed to 14, spread to 12; alveolar to 4 (t, d), which leaves its 8 (n, l)
    /// unused.
    #[must_use]
    pub const fn viseme_number(self) -> u8 {
        const NUMBERS: [u8; MouthShape::COUNT] = [0, 1, 2, 3, 4, 7, 6, 9, 5, 10, 11, 12, 13, 14];
        NUMBERS[self as usize]
    }

    /// The articulator that leads.
    #[must_use]
    pub const fn articulator(self) -> Articulator {
        use MouthShape::*;
        match self {
            Rest => Articulator::None,
            Bilabial | Labiodental | Rounded | Pursed => Articulator::Lips,
            Dental | Alveolar | Sibilant | Postalveolar => Articulator::TongueTip,
            Rhotic | Velar => Articulator::TongueBody,
            Open | HalfOpen | Spread => Articulator::Jaw,
        }
    }

    /// True where two surfaces must meet for the sound to look right: lips, or lip and teeth.
    #[must_use]
    pub const fn is_closure(self) -> bool {
        matches!(self, MouthShape::Bilabial | MouthShape::Labiodental)
    }

    /// True where the tongue is seen to do the work.
    #[must_use]
    pub const fn shows_tongue(self) -> bool {
        matches!(self, MouthShape::Dental | MouthShape::Alveolar | MouthShape::Rhotic)
    }
}

impl fmt::Display for MouthShape {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// A text that names no mouth shape.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "'{0}' is not a mouth shape; use one of rest, bilabial, labiodental, dental, alveolar, sibilant, postalveolar, rhotic, velar, open, half-open, spread, rounded, pursed"
)]
pub struct ParseShapeError(pub String);

impl FromStr for MouthShape {
    type Err = ParseShapeError;

    fn from_str(text: &str) -> Result<Self, ParseShapeError> {
        MouthShape::ALL.into_iter().find(|s| s.name() == text).ok_or_else(|| ParseShapeError(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phonetics::Phone;

    #[test]
    fn names_round_trip_in_order() {
        for (i, shape) in MouthShape::ALL.into_iter().enumerate() {
            assert_eq!(shape.index(), i);
            assert_eq!(shape.name().parse::<MouthShape>(), Ok(shape));
            let json = serde_json::to_string(&shape).expect("serialises");
            assert_eq!(json, format!("\"{}\"", shape.name()));
        }
    }

    #[test]
    fn every_shape_is_some_phones_shape() {
        for shape in MouthShape::ALL {
            let made = Phone::ALL.into_iter().any(|p| p.shape(true) == shape || p.shape(false) == shape);
            assert!(made, "no phone makes {shape}");
        }
    }

    #[test]
    fn viseme_numbers_are_distinct_and_in_the_standards_range() {
        let mut seen = [false; 15];
        for shape in MouthShape::ALL {
            let n = usize::from(shape.viseme_number());
            assert!(!seen[n], "viseme {n} used twice");
            seen[n] = true;
        }
    }
}
