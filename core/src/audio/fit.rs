//! A recording cut and padded to another stretch of time, sample for sample.

use super::AudioError;
use super::recording::{Recording, SampleKind};
use super::riff::layout;
use crate::units::Seconds;

/// The recording from `from` to `to` as a WAV file of its own: same rate, channels and sample form,
/// samples copied as they are. What lies outside the recording is silence.
///
/// `from` may be negative: a head that moves before the sound starts needs silence in front, so that
/// motion and sound can be started together. Both times are rounded to whole samples. Only the
/// format and the samples are written; other chunks of the file (lists, loudness, cue points) would
/// no longer fit and are left out.
///
/// # Errors
/// Where the file is no readable WAV, or its rate outside 8 to 192 kHz, or the stretch is empty, not finite or beyond 4 GB.
pub fn fit_wav(bytes: &[u8], from: Seconds, to: Seconds) -> Result<Vec<u8>, AudioError> {
    let wav = layout(bytes)?;
    let fault = || AudioError::Stretch { from: from.value(), to: to.value() };
    let rate = f64::from(wav.rate);
    let (slowest, fastest) = Recording::SOURCE_RATES;
    // A header may claim any rate; four billion samples of silence a second would be made of it.
    if !(slowest..=fastest).contains(&rate) {
        return Err(AudioError::Rate { rate });
    }
    let width = wav.container * usize::from(wav.channels);
    let frame = |time: Seconds| {
        let at = (time.value() * rate).round();
        (at.abs() < 1e15).then_some(at as i64).ok_or_else(fault)
    };
    let (first, end) = (frame(from)?, frame(to)?);
    let frames = u64::try_from(end - first).ok().filter(|n| *n > 0).ok_or_else(fault)?;
    let size = frames.checked_mul(width as u64).filter(|n| *n < u64::from(u32::MAX) - 1024);
    let size = size.and_then(|n| usize::try_from(n).ok()).ok_or_else(fault)?;

    let format = &bytes[wav.format.clone()];
    let source = &bytes[wav.data.clone()];
    let have = (source.len() / width) as i64;
    // Frames of silence, then of sound, then of silence again.
    let before = (-first).clamp(0, end - first) as usize;
    let sound = first.clamp(0, have) as usize..end.clamp(0, have) as usize;
    let after = frames as usize - before - sound.len();
    // 8-bit samples are unsigned around 128; all others are silent at zero.
    let silence = if wav.kind == SampleKind::Integer && wav.container == 1 { 128 } else { 0 };

    let mut out = Vec::new();
    // Wide frames make much silence: where memory does not hold it, that is an answer, not the end.
    out.try_reserve_exact(size + format.len() + 64).map_err(|_| fault())?;
    out.extend_from_slice(b"RIFF\0\0\0\0WAVE");
    chunk(&mut out, b"fmt ", format);
    if wav.kind == SampleKind::Float {
        // Every form but integer PCM names its length in frames (Microsoft, "Multimedia data
        // standards update", from memory).
        chunk(&mut out, b"fact", &(frames as u32).to_le_bytes());
    }
    out.extend_from_slice(b"data");
    out.extend_from_slice(&(size as u32).to_le_bytes());
    out.resize(out.len() + before * width, silence);
    out.extend_from_slice(&source[sound.start * width..sound.end * width]);
    out.resize(out.len() + after * width + (size & 1), silence);
    let riff = (out.len() - 8) as u32;
    out[4..8].copy_from_slice(&riff.to_le_bytes());
    Ok(out)
}

/// A chunk starts on an even byte: an odd one is followed by a pad byte that its size leaves out.
fn chunk(out: &mut Vec<u8>, name: &[u8; 4], content: &[u8]) {
    out.extend_from_slice(name);
    out.extend_from_slice(&(content.len() as u32).to_le_bytes());
    out.extend_from_slice(content);
    if content.len() % 2 == 1 {
        out.push(0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use hound::{SampleFormat, WavReader, WavSpec, WavWriter};
    use proptest::prelude::*;
    use std::io::Cursor;

    fn wav(channels: u16, bits: u16, format: SampleFormat, frames: u32) -> Vec<u8> {
        let spec = WavSpec { channels, sample_rate: 8_000, bits_per_sample: bits, sample_format: format };
        let mut file = Cursor::new(Vec::new());
        let mut writer = WavWriter::new(&mut file, spec).expect("a valid form");
        for i in 0..frames * u32::from(channels) {
            let written = match format {
                SampleFormat::Float => writer.write_sample(1.0 + i as f32),
                SampleFormat::Int => writer.write_sample((i % 100) as i32 + 1),
            };
            written.expect("writes to memory");
        }
        writer.finalize().expect("finishes");
        file.into_inner()
    }

    fn samples(bytes: &[u8]) -> Vec<f64> {
        let mut reader = WavReader::new(Cursor::new(bytes)).expect("an independent reader reads it");
        match reader.spec().sample_format {
            SampleFormat::Float => reader.samples::<f32>().map(|s| f64::from(s.expect("whole"))).collect(),
            SampleFormat::Int => reader.samples::<i32>().map(|s| f64::from(s.expect("whole"))).collect(),
        }
    }

    proptest! {
        /// Judge: the `hound` crate reads what was cut; every sample stands where the slow rule says.
        #[test]
        fn every_sample_stands_where_it_belongs(
            form in prop::sample::select(vec![(8, false), (16, false), (24, false), (32, false), (32, true)]),
            channels in 1..4u16, frames in 1..60u32, from in -80..80i64, length in 1..200i64,
        ) {
            let (bits, float) = form;
            let format = if float { SampleFormat::Float } else { SampleFormat::Int };
            let source = wav(channels, bits, format, frames);
            let time = |n: i64| Seconds::new(n as f64 / 8_000.0);
            let cut = fit_wav(&source, time(from), time(from + length)).expect("cuts");
            let (old, new) = (samples(&source), samples(&cut));
            let wide = i64::from(channels);
            prop_assert_eq!(new.len() as i64, length * wide);
            for (i, got) in new.iter().enumerate() {
                let at = from * wide + i as i64;
                let want = usize::try_from(at).ok().and_then(|at| old.get(at)).copied().unwrap_or(0.0);
                prop_assert_eq!(*got, want);
            }
            prop_assert_eq!(cut.len() % 2, 0);
        }
    }

    #[test]
    fn a_rate_that_no_recorder_has_is_refused() {
        let mut source = wav(1, 16, SampleFormat::Int, 10);
        for rate in [0u32, 4_000, 192_001, u32::MAX] {
            source[24..28].copy_from_slice(&rate.to_le_bytes());
            let cut = fit_wav(&source, Seconds::new(-0.1), Seconds::new(0.1));
            assert!(matches!(cut, Err(AudioError::Rate { .. })), "{rate}");
        }
    }

    #[test]
    fn impossible_stretches_are_refused() {
        let source = wav(1, 16, SampleFormat::Int, 10);
        let s = Seconds::new;
        for (from, to) in [(1.0, 1.0), (2.0, 1.0), (0.0, f64::INFINITY), (f64::NAN, 1.0), (0.0, 1e7)] {
            assert!(
                matches!(fit_wav(&source, s(from), s(to)), Err(AudioError::Stretch { .. })),
                "{from} {to}"
            );
        }
        assert!(fit_wav(b"", s(0.0), s(1.0)).is_err());
    }
}
