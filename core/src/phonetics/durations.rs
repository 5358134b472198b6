//! How long phones last.

use super::Phone;
use crate::units::Seconds;

/// The length of a phone in speech.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Inherent length: stressed, in a word on its own.
    pub inherent: Seconds,
    /// Shortest length to which rules shorten it.
    pub minimum: Seconds,
}

impl Phone {
    /// Inherent and minimum length: D. H. Klatt (1979) as in J. Allen, S. Hunnicutt and D. Klatt,
    /// From Text to Speech: The MITalk System (1987), chapter 9, with the values that the Festival
    /// synthesiser's source carries (US values for AH, UH, UW, EY, AW). Silence: 250 ms as there,
    /// with a minimum of 30 ms (chosen).
    #[must_use]
    pub fn span(self) -> Span {
        use Phone::*;
        let (inherent, minimum) = match self {
            Sil => (250, 30),
            P => (90, 50),
            B => (85, 60),
            M => (70, 60),
            F => (100, 80),
            T | D => (75, 50),
            N => (60, 50),
            V => (60, 40),
            K | G => (80, 60),
            Ng => (95, 60),
            Th => (90, 60),
            Ch | Jh => (70, 50),
            L => (80, 40),
            Dh => (50, 30),
            S => (105, 60),
            Z => (75, 40),
            R => (80, 30),
            Sh => (105, 80),
            Zh => (70, 40),
            Hh => (80, 20),
            W => (80, 60),
            Y => (80, 40),
            Ae => (230, 80),
            Aa => (240, 100),
            Er => (180, 80),
            Ay => (250, 150),
            Aw => (260, 100),
            Eh => (150, 70),
            Ey => (190, 100),
            Ih => (135, 40),
            Iy => (155, 55),
            Oy => (280, 150),
            Ao => (240, 130),
            Ow => (220, 80),
            Ah => (140, 60),
            Uh => (160, 60),
            Uw => (210, 70),
        };
        let ms = |n: i32| Seconds::new(f64::from(n) / 1000.0);
        Span { inherent: ms(inherent), minimum: ms(minimum) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minima_lie_below_inherent_lengths() {
        for phone in Phone::ALL {
            let span = phone.span();
            assert!(span.minimum < span.inherent && span.minimum.value() >= 0.02, "{phone}");
        }
    }
}
