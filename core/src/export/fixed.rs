//! Fixed-point numbers as files hold them: what is written is read back exactly.

use super::TrackError;
use crate::units::Microseconds;

/// Resolution of pulse widths in tracks. Rounding to it loses at most half of it.
pub const PULSE_RESOLUTION: Microseconds = Microseconds::new(0.1);

/// Longest pulse a track holds, in µs.
pub(super) const LONGEST_PULSE_US: f64 = 10_000.0;

/// Rounds a pulse to tenths of a microsecond; none unless it is a number from 0 to
/// [`LONGEST_PULSE_US`].
pub(super) fn round_pulse(pulse: Microseconds) -> Option<u32> {
    let tenths = (pulse.value() * 10.0).round();
    // The cast cannot lose: the range is checked first.
    (0.0..=LONGEST_PULSE_US * 10.0).contains(&tenths).then_some(tenths as u32)
}

/// A pulse in tenths of a microsecond, as a length of time.
pub(super) fn pulse(tenths: u32) -> Microseconds {
    Microseconds::new(f64::from(tenths) / 10.0)
}

/// A slope in hundredths of a microsecond per frame.
pub(super) fn slope(hundredths: i32) -> Microseconds {
    Microseconds::new(f64::from(hundredths) / 100.0)
}

/// Rounds a slope (µs per frame) to hundredths.
pub(super) fn checked_slope(servo: &str, value: f64) -> Result<i32, TrackError> {
    let hundredths = (value * 100.0).round();
    if hundredths.abs() <= LONGEST_PULSE_US * 100.0 {
        // The cast cannot lose: the range is checked.
        return Ok(hundredths as i32);
    }
    Err(TrackError::field(
        format!("servo \"{servo}\""),
        format!("has the slope {value}"),
        "give at most 10000 us per frame, up or down",
    ))
}

/// Writes `value` / 10^`digits` without trailing zeros: 15001, 1 → `1500.1`.
pub(super) fn write(value: i64, digits: u32) -> String {
    let scale = 10i64.pow(digits);
    let (whole, part) =
        (value.unsigned_abs() / scale.unsigned_abs(), value.unsigned_abs() % scale.unsigned_abs());
    let sign = if value < 0 { "-" } else { "" };
    if part == 0 {
        return format!("{sign}{whole}");
    }
    let fraction = format!("{part:0width$}", width = digits as usize);
    format!("{sign}{whole}.{}", fraction.trim_end_matches('0'))
}

/// The whole number of 10^-`digits` that `value` is; none where it has more digits, or is too large.
pub(super) fn scaled(value: f64, digits: u32) -> Option<i64> {
    let wanted = value * 10f64.powi(digits as i32);
    let nearest = wanted.round();
    let fits = nearest.abs() < 1e12 && (wanted - nearest).abs() < 1e-4;
    fits.then_some(nearest as i64)
}

/// Reads a plain decimal (`-12.5`, no exponent, no spaces).
pub(super) fn read(text: &str, digits: u32) -> Option<i64> {
    let body = text.strip_prefix('-').unwrap_or(text);
    let plain = !body.is_empty() && body.chars().all(|c| c.is_ascii_digit() || c == '.');
    if !plain || !body.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    scaled(text.parse().ok()?, digits)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_are_short_and_come_back() {
        for (value, digits, text) in [
            (15001, 1, "1500.1"),
            (15000, 1, "1500"),
            (-434_120, 3, "-434.12"),
            (-5, 3, "-0.005"),
            (0, 1, "0"),
        ] {
            assert_eq!(write(value, digits), text);
            assert_eq!(read(text, digits), Some(value));
        }
    }

    #[test]
    fn what_is_no_plain_decimal_is_refused() {
        for text in ["", "-", ".5", "1e3", " 1", "1 ", "NaN", "inf", "0x10", "1.2.3", "1.55", "--1"] {
            assert_eq!(read(text, 1), None, "{text}");
        }
    }

    #[test]
    fn rounding_loses_at_most_half_a_step() {
        for value in [0.0, 1_499.949_999, 1499.95, 1500.049, 2200.0, 9_999.99] {
            let back = pulse(round_pulse(Microseconds::new(value)).expect("in range")).value();
            assert!((back - value).abs() <= 0.5 * PULSE_RESOLUTION.value() + 1e-9);
        }
        for value in [f64::NAN, f64::INFINITY, -0.06, 10_000.06] {
            assert_eq!(round_pulse(Microseconds::new(value)), None);
        }
    }
}
