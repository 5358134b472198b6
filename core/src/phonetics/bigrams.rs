//! Which phone follows which, in running English.

use super::Phone;

/// Made by `training/phone_bigrams.py`, which documents the format.
const FILE: &[u8] = include_bytes!("../../models/phone_bigrams.bin");
const HEADER: usize = 12;

/// Natural logarithm of the probability that `next` follows `phone`; silence stands for pauses
/// and for the ends of what is said. Between −16 and 0.
#[must_use]
pub fn follows(phone: Phone, next: Phone) -> f32 {
    let at = HEADER + phone.index() * Phone::COUNT + next.index();
    // The file is part of the program and its length is tested.
    FILE.get(at).map_or(-16.0, |q| -f32::from(*q) / 16.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::crc::crc32;

    #[test]
    fn the_file_is_whole() {
        assert_eq!(&FILE[..8], b"LWPB\x01\0\x28\0");
        assert_eq!(FILE.len(), HEADER + Phone::COUNT * Phone::COUNT);
        assert_eq!(u32::from_le_bytes([FILE[8], FILE[9], FILE[10], FILE[11]]), crc32(&FILE[HEADER..]));
    }

    #[test]
    fn rows_are_distributions_and_english() {
        for phone in Phone::ALL {
            let sum: f32 = Phone::ALL.into_iter().map(|next| follows(phone, next).exp()).sum();
            assert!((sum - 1.0).abs() < 0.05, "{phone}: {sum}");
        }
        // "str" is English, "ngr" hardly; NG never begins a word.
        assert!(follows(Phone::S, Phone::T) > follows(Phone::S, Phone::Zh) + 2.0);
        assert!(follows(Phone::Sil, Phone::Dh) > follows(Phone::Sil, Phone::Ng) + 2.0);
    }
}
