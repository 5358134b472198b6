//! Samples written as a WAV file.

/// A mono 16-bit PCM WAV of these samples (−1 to 1; beyond that they are cut off).
///
/// Form: Microsoft and IBM, "Multimedia Programming Interface and Data Specifications 1.0" (1991),
/// the RIFF WAVE form with its `fmt ` and `data` chunks. Files beyond 4 GB cannot be written in it;
/// samples that would not fit are left out.
#[must_use]
pub fn write_wav(samples: &[f32], rate: u32) -> Vec<u8> {
    const HEAD: usize = 44;
    let samples = &samples[..samples.len().min((u32::MAX as usize - HEAD) / 2)];
    let size = (samples.len() * 2) as u32;
    let mut out = Vec::with_capacity(HEAD + samples.len() * 2);
    out.extend_from_slice(b"RIFF");
    out.extend_from_slice(&(size + 36).to_le_bytes());
    out.extend_from_slice(b"WAVEfmt ");
    out.extend_from_slice(&16u32.to_le_bytes());
    out.extend_from_slice(&1u16.to_le_bytes()); // integer PCM
    out.extend_from_slice(&1u16.to_le_bytes()); // one channel
    out.extend_from_slice(&rate.to_le_bytes());
    out.extend_from_slice(&rate.saturating_mul(2).to_le_bytes()); // bytes a second
    out.extend_from_slice(&2u16.to_le_bytes()); // bytes a frame
    out.extend_from_slice(&16u16.to_le_bytes());
    out.extend_from_slice(b"data");
    out.extend_from_slice(&size.to_le_bytes());
    for x in samples {
        // `as` takes NaN to 0 and holds what is too large at the ends.
        out.extend_from_slice(&((x * 32_767.0).round() as i16).to_le_bytes());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::write_wav;

    /// `hound`, which shares nothing with this writer, is the judge.
    #[test]
    fn another_reader_reads_what_was_written() {
        let samples: Vec<f32> = (0..4801).map(|i| (i as f32 * 0.05).sin() * 0.8).collect();
        let mut reader =
            hound::WavReader::new(std::io::Cursor::new(write_wav(&samples, 48_000))).expect("a WAV");
        let spec = reader.spec();
        assert_eq!((spec.channels, spec.sample_rate, spec.bits_per_sample), (1, 48_000, 16));
        let read: Vec<i16> = reader.samples::<i16>().map(|s| s.expect("a sample")).collect();
        assert_eq!(read.len(), samples.len());
        for (a, b) in samples.iter().zip(read) {
            assert!((a * 32_767.0 - f32::from(b)).abs() <= 0.5);
        }
    }

    #[test]
    fn odd_samples_stay_in_range() {
        let bytes = write_wav(&[f32::NAN, 9.0, -9.0], 8_000);
        assert_eq!(bytes[44..], [0, 0, 0xff, 0x7f, 0x00, 0x80]);
        assert_eq!(write_wav(&[], 8_000).len(), 44);
    }
}
