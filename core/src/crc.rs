//! CRC-32 (IEEE 802.3, reflected, as in ISO 3309): guards model files against damage.

/// CRC-32 of some bytes.
pub(crate) fn crc32(bytes: &[u8]) -> u32 {
    const TABLE: [u32; 256] = {
        let mut table = [0; 256];
        let mut i = 0;
        while i < 256 {
            let mut c = i as u32;
            let mut bit = 0;
            while bit < 8 {
                c = if c & 1 == 1 { 0xEDB8_8320 ^ (c >> 1) } else { c >> 1 };
                bit += 1;
            }
            table[i] = c;
            i += 1;
        }
        table
    };
    !bytes.iter().fold(!0u32, |c, b| TABLE[((c ^ u32::from(*b)) & 0xFF) as usize] ^ (c >> 8))
}

#[cfg(test)]
mod tests {
    /// Check value of CRC-32/ISO-HDLC in the CRC RevEng catalogue.
    #[test]
    fn has_the_standard_check_value() {
        assert_eq!(super::crc32(b"123456789"), 0xCBF4_3926);
    }
}
