//! Canonical prefix codes, read bit by bit: how the packed dictionary is stored.

/// A stream of bits, most significant first, that knows when it ends.
pub(super) struct BitReader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> BitReader<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0 }
    }

    /// The next bit, or `None` at the end.
    pub(super) fn bit(&mut self) -> Option<u32> {
        let byte = *self.bytes.get(self.at / 8)?;
        let bit = byte >> (7 - self.at % 8) & 1;
        self.at += 1;
        Some(u32::from(bit))
    }

    /// The next `n` bits as a number.
    pub(super) fn number(&mut self, n: u32) -> Option<u32> {
        (0..n).try_fold(0, |value, _| Some(value << 1 | self.bit()?))
    }

    /// Bits read so far.
    pub(super) fn position(&self) -> usize {
        self.at
    }
}

/// A canonical prefix code: symbols sorted by (length, symbol) take consecutive codes, as in
/// RFC 1951.
pub(super) struct Code {
    /// Symbols of each length, 1 to 15.
    counts: [u32; 16],
    symbols: Vec<u8>,
}

impl Code {
    /// From the length of each symbol's code; 0 marks a symbol that does not occur.
    pub(super) fn new(lengths: &[u8]) -> Self {
        let mut counts = [0; 16];
        let mut symbols = Vec::new();
        for length in 1..16u8 {
            for (symbol, n) in lengths.iter().enumerate() {
                if *n == length {
                    counts[usize::from(length)] += 1;
                    symbols.push(symbol as u8);
                }
            }
        }
        Self { counts, symbols }
    }

    /// The next symbol, or `None` if the bits end or spell no symbol.
    pub(super) fn symbol(&self, bits: &mut BitReader) -> Option<u8> {
        let (mut code, mut first, mut index) = (0u32, 0u32, 0u32);
        for count in &self.counts[1..] {
            code |= bits.bit()?;
            if code < first + count {
                // `code >= first` fails only for overfull tables of damaged files.
                return self.symbols.get((index + code.checked_sub(first)?) as usize).copied();
            }
            index += count;
            first = (first + count) << 1;
            code <<= 1;
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of RFC 1951, section 3.2.2: lengths (3, 3, 3, 3, 3, 2, 4, 4) for A to H.
    #[test]
    fn reads_the_standards_example() {
        let code = Code::new(&[3, 3, 3, 3, 3, 2, 4, 4]);
        // F = 00, A = 010, H = 1111, G = 1110, E = 110.
        let bytes = [0b0001_0111, 0b1111_0110];
        let mut bits = BitReader::new(&bytes);
        let read: Vec<_> = (0..5).map(|_| code.symbol(&mut bits)).collect();
        assert_eq!(read, [Some(5), Some(0), Some(7), Some(6), Some(4)]);
        assert_eq!(code.symbol(&mut bits), None);
    }
}
