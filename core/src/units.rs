//! Physical quantities as types, so that a pulse width is never taken for an angle.
//!
//! Each unit is a transparent wrapper over `f64`: it costs nothing at run time, serialises as a
//! bare number (the field name or the format's schema states the unit), and supports only the
//! arithmetic that keeps its dimension. Numeric kernels unwrap with [`Seconds::value`] and its
//! siblings at their own door and wrap again on the way out.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

macro_rules! unit {
    ($(#[$doc:meta])* $name:ident, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            /// The zero of this quantity.
            pub const ZERO: Self = Self(0.0);

            /// Wraps a bare number that is already in this unit.
            #[must_use]
            pub const fn new(value: f64) -> Self {
                Self(value)
            }

            /// The bare number, in this unit.
            #[must_use]
            pub const fn value(self) -> f64 {
                self.0
            }

            /// Magnitude.
            #[must_use]
            pub const fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// The smaller of two quantities.
            #[must_use]
            pub const fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            /// The larger of two quantities.
            #[must_use]
            pub const fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            /// True unless the number is infinite or not a number.
            #[must_use]
            pub const fn is_finite(self) -> bool {
                self.0.is_finite()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                if let Some(digits) = f.precision() {
                    write!(f, "{:.*} {}", digits, self.0, $symbol)
                } else {
                    write!(f, "{} {}", self.0, $symbol)
                }
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl SubAssign for $name {
            fn sub_assign(&mut self, other: Self) {
                self.0 -= other.0;
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }
        impl Div for $name {
            /// The ratio of two like quantities is a bare number.
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
    };
}

unit!(
    /// Time in seconds: an instant on a line's axis (0 = first sample) or a span.
    Seconds, "s"
);
unit!(
    /// Frequency in hertz.
    Hertz, "Hz"
);
unit!(
    /// Angle in degrees.
    Degrees, "deg"
);
unit!(
    /// Length in millimetres.
    Millimetres, "mm"
);
unit!(
    /// Servo pulse width in microseconds.
    Microseconds, "us"
);
unit!(
    /// Angular speed in degrees per second.
    DegreesPerSecond, "deg/s"
);
unit!(
    /// Angular acceleration in degrees per second squared.
    DegreesPerSecondSquared, "deg/s^2"
);
unit!(
    /// Electric current in amperes.
    Amps, "A"
);
unit!(
    /// Electric potential in volts.
    Volts, "V"
);
unit!(
    /// Power in watts.
    Watts, "W"
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arithmetic_keeps_the_unit_and_ratios_drop_it() {
        let frame = Seconds::new(0.02);
        assert_eq!(frame * 50.0, Seconds::new(1.0));
        assert_eq!(Seconds::new(1.0) / frame, 50.0);
        assert_eq!(-(frame - frame), Seconds::ZERO);
    }

    #[test]
    fn display_names_the_unit() {
        assert_eq!(format!("{:.1}", Microseconds::new(1487.25)), "1487.2 us");
        assert_eq!(Amps::new(2.0).to_string(), "2 A");
    }

    #[test]
    fn serialises_as_a_bare_number() {
        let json = serde_json::to_string(&Degrees::new(12.5)).expect("a number serialises");
        assert_eq!(json, "12.5");
        assert_eq!(serde_json::from_str::<Degrees>(&json).expect("and reads back"), Degrees::new(12.5));
    }
}
