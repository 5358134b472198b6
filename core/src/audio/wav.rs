//! WAV bytes to a recording.

use super::recording::{Intake, SampleKind};
use super::riff::{WavLayout, layout};
use super::{AudioError, ChannelChoice, Column, Recording, WaveformPyramid};
use crate::units::Hertz;

/// Reads a WAV file: 8 to 32-bit integer or 32/64-bit float samples, plain or
/// WAVE_FORMAT_EXTENSIBLE, any number of channels, 8 to 192 kHz.
///
/// A file that was streamed, with its length left open (0 or all ones), is taken as what the bytes
/// hold. A `data` chunk that promises more than is there is an error: half a line of dialogue
/// would otherwise be planned as if it were the whole. Float samples that are not finite count as
/// silence. The source's notes tell what was let pass.
///
/// Memory: the result (64 kB per second of sound) and a block of the resampler, whatever the
/// length fields say.
///
/// # Errors
/// See [`AudioError`]; each names the chunk and byte offset where that makes sense.
pub fn read_wav(bytes: &[u8], channels: ChannelChoice) -> Result<Recording, AudioError> {
    let wav = layout(bytes)?;
    let intake = Intake::new(wav.channels, Hertz::new(f64::from(wav.rate)), channels)?;
    let intake = decoded(&wav, &bytes[wav.data.clone()], intake);
    intake.finish(wav.valid_bits, wav.kind, wav.notes)
}

/// What a WAV file's waveform looks like, without reading it: a column for every 64
/// samples that the recording will have, of the mean of its channels. It takes a fraction of the time of
/// [`read_wav`], so that a screen has something to show meanwhile, and says nothing of a recording that
/// could not be read.
///
/// # Errors
/// As [`read_wav`].
pub fn skim_wav(bytes: &[u8]) -> Result<WaveformPyramid, AudioError> {
    let wav = layout(bytes)?;
    let rate = f64::from(wav.rate);
    // The same things are refused.
    Intake::new(wav.channels, Hertz::new(rate), ChannelChoice::Mix)?;
    let data = &bytes[wav.data.clone()];
    let frames = data.len() / (wav.container * usize::from(wav.channels));
    if frames == 0 {
        return Err(AudioError::NoSamples);
    }
    let step = WaveformPyramid::LEAF as f64 * rate / Recording::RATE.value();
    let columns = decoded(&wav, data, Skim { step, columns: Vec::new() }).columns;
    let samples = (frames as f64 * Recording::RATE.value() / rate).round() as usize;
    Ok(WaveformPyramid::of_columns(&columns, samples.max(1)))
}

/// Work on the frames of a file, whatever its samples look like: it is made once for each way of decoding
/// them, so that no sample costs a call.
trait Frames {
    /// Goes through all frames, each so many bytes, each sample so many.
    fn all(&mut self, data: &[u8], frame: usize, width: usize, decode: impl Fn(&[u8]) -> f32 + Copy);
}

/// Does the work on the frames of a data chunk.
fn decoded<F: Frames>(wav: &WavLayout, data: &[u8], mut work: F) -> F {
    let width = wav.container;
    let frame = width * usize::from(wav.channels);
    match (wav.kind, width) {
        (SampleKind::Float, 4) => {
            work.all(data, frame, width, |b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
        }
        (SampleKind::Float, _) => work.all(data, frame, width, |b| {
            f64::from_le_bytes([b[0], b[1], b[2], b[3], b[4], b[5], b[6], b[7]]) as f32
        }),
        // 8-bit samples are unsigned around 128, all wider ones are signed.
        (_, 1) => work.all(data, frame, width, |b| (f32::from(b[0]) - 128.0) / 128.0),
        (_, 2) => {
            work.all(data, frame, width, |b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32_768.0);
        }
        (_, 3) => work.all(data, frame, width, |b| {
            (i32::from_le_bytes([0, b[0], b[1], b[2]]) as f64 / 2_147_483_648.0) as f32
        }),
        _ => work.all(data, frame, width, |b| {
            (i32::from_le_bytes([b[0], b[1], b[2], b[3]]) as f64 / 2_147_483_648.0) as f32
        }),
    }
    work
}

impl Frames for Intake {
    fn all(&mut self, data: &[u8], frame: usize, width: usize, decode: impl Fn(&[u8]) -> f32 + Copy) {
        for frame in data.chunks_exact(frame) {
            self.push(frame.chunks_exact(width).map(decode));
        }
    }
}

/// Sums up stretches of so many source frames.
struct Skim {
    step: f64,
    columns: Vec<Column>,
}

impl Frames for Skim {
    fn all(&mut self, data: &[u8], frame: usize, width: usize, decode: impl Fn(&[u8]) -> f32 + Copy) {
        let frames = data.len() / frame;
        let share = width as f32 / frame as f32;
        let mut from = 0;
        while from < frames {
            let next = ((self.columns.len() + 1) as f64 * self.step).round() as usize;
            let to = next.clamp(from + 1, frames);
            let (mut min, mut max, mut power) = (f32::INFINITY, f32::NEG_INFINITY, 0.0f32);
            for frame in data[from * frame..to * frame].chunks_exact(frame) {
                let sum: f32 = frame.chunks_exact(width).map(decode).sum();
                // What is no number counts as silence, and what is far beyond full scale as damage.
                let x = if sum.is_finite() { (sum * share).clamp(-1e6, 1e6) } else { 0.0 };
                (min, max, power) = (min.min(x), max.max(x), power + x * x);
            }
            self.columns.push(Column { min, max, rms: (power / (to - from) as f32).sqrt() });
            from = to;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use hound::{SampleFormat, WavSpec, WavWriter};
    use proptest::prelude::*;
    use std::io::Cursor;

    /// Smallest vector: 16 kHz mono 16-bit, samples 0, 1, −1, 32767.
    const SMALLEST: [u8; 52] = [
        0x52, 0x49, 0x46, 0x46, 0x2c, 0x00, 0x00, 0x00, 0x57, 0x41, 0x56, 0x45, 0x66, 0x6d, 0x74, 0x20, 0x10,
        0x00, 0x00, 0x00, 0x01, 0x00, 0x01, 0x00, 0x80, 0x3e, 0x00, 0x00, 0x00, 0x7d, 0x00, 0x00, 0x02, 0x00,
        0x10, 0x00, 0x64, 0x61, 0x74, 0x61, 0x08, 0x00, 0x00, 0x00, 0x00, 0x00, 0x01, 0x00, 0xff, 0xff, 0xff,
        0x7f,
    ];

    fn mix(bytes: &[u8]) -> Result<Recording, AudioError> {
        read_wav(bytes, ChannelChoice::Mix)
    }

    /// Builds a WAV by hand so that anything in it can be wrong.
    struct Maker {
        tag: u16,
        channels: u16,
        rate: u32,
        align: u16,
        bits: u16,
        extra: Vec<u8>,
        before: Vec<u8>,
        data: Vec<u8>,
        data_size: Option<u32>,
        riff_size: Option<u32>,
    }

    impl Maker {
        fn pcm(channels: u16, bits: u16, container: u16, data: &[u8]) -> Self {
            Self {
                tag: 1,
                channels,
                rate: 16_000,
                align: channels * container,
                bits,
                extra: vec![],
                before: vec![],
                data: data.to_vec(),
                data_size: None,
                riff_size: None,
            }
        }

        fn extensible(mut self, sub: u8, valid: u16) -> Self {
            self.tag = 0xFFFE;
            self.extra = vec![22, 0];
            self.extra.extend(valid.to_le_bytes());
            self.extra.extend([3, 0, 0, 0]);
            self.extra.extend([
                sub, 0, 0, 0, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xAA, 0x00, 0x38, 0x9B, 0x71,
            ]);
            self
        }

        fn bytes(&self) -> Vec<u8> {
            let mut out = b"WAVEfmt ".to_vec();
            out.extend((16 + self.extra.len() as u32).to_le_bytes());
            out.extend(self.tag.to_le_bytes());
            out.extend(self.channels.to_le_bytes());
            out.extend(self.rate.to_le_bytes());
            out.extend((self.rate * u32::from(self.align)).to_le_bytes());
            out.extend(self.align.to_le_bytes());
            out.extend(self.bits.to_le_bytes());
            out.extend(&self.extra);
            out.extend(&self.before);
            out.extend(b"data");
            out.extend(self.data_size.unwrap_or(self.data.len() as u32).to_le_bytes());
            out.extend(&self.data);
            let mut all = b"RIFF".to_vec();
            all.extend(self.riff_size.unwrap_or(out.len() as u32).to_le_bytes());
            all.extend(out);
            all
        }
    }

    /// Judge: the waveform of what is read. Low tones, which resampling leaves as they are.
    #[test]
    fn a_skimmed_waveform_is_that_of_the_recording() {
        for (rate, channels) in [(16_000, 1), (44_100, 2), (48_000, 1), (8_000, 2)] {
            let samples: Vec<u8> = (0..rate * 3)
                .flat_map(|i| {
                    let t = f64::from(i) / f64::from(rate);
                    let x = (t * 700.0).sin() * (t * 2.0).sin() * 20_000.0;
                    (0..channels).flat_map(move |_| (x as i16).to_le_bytes())
                })
                .collect();
            let mut maker = Maker::pcm(channels, 16, 2, &samples);
            maker.rate = rate;
            let skimmed = skim_wav(&maker.bytes()).expect("reads");
            let read = mix(&maker.bytes()).expect("reads");
            assert_eq!(skimmed.len(), read.samples().len());
            let judge = WaveformPyramid::new(read.samples());
            for (start, width) in [(0.0, 640.0), (777.0, 1_280.0), (0.0, 48_000.0), (5_000.0, 10.0)] {
                for (a, b) in skimmed.columns(start, width, 20).iter().zip(judge.columns(start, width, 20)) {
                    if width < WaveformPyramid::LEAF as f64 {
                        // A part of a column is drawn as the whole of it.
                        assert!(a.min < b.min + 0.08 && a.max > b.max - 0.08, "{rate}: {a:?} {b:?}");
                        continue;
                    }
                    let near = |a: f32, b: f32| (a - b).abs() < 0.08;
                    let alike = near(a.min, b.min) && near(a.max, b.max) && near(a.rms, b.rms);
                    assert!(alike, "{rate}: {a:?} {b:?}");
                }
            }
        }
        assert!(skim_wav(&SMALLEST[..50]).is_err());
    }

    #[test]
    fn the_smallest_vector_reads() {
        let r = mix(&SMALLEST).expect("reads");
        assert_eq!(r.samples(), [0.0, 1.0 / 32_768.0, -1.0 / 32_768.0, 32_767.0 / 32_768.0]);
        assert_eq!((r.source().bits, r.source().channels, r.source().frames), (16, 1, 4));
        assert!(r.source().notes.is_empty());
        assert_eq!(r.duration().value(), 4.0 / 16_000.0);
    }

    #[test]
    fn every_prefix_of_a_file_is_an_error_that_names_a_place() {
        for n in 0..SMALLEST.len() {
            let error = mix(&SMALLEST[..n]).expect_err("cut short").to_string();
            assert!(error.contains("byte") || n == 0, "{n}: {error}");
        }
        let cut = mix(&SMALLEST[..50]).expect_err("cut short");
        assert_eq!(
            cut,
            AudioError::Truncated { chunk: "data".to_owned(), offset: 36, promised: 8, present: 6 }
        );
    }

    /// Judge: the `hound` crate writes the same samples in every form it knows, and we read them.
    #[test]
    fn agrees_with_an_independent_writer() {
        for (bits, format) in [
            (8, SampleFormat::Int),
            (16, SampleFormat::Int),
            (24, SampleFormat::Int),
            (32, SampleFormat::Int),
            (32, SampleFormat::Float),
        ] {
            for channels in [1u16, 2, 6] {
                let spec =
                    WavSpec { channels, sample_rate: 16_000, bits_per_sample: bits, sample_format: format };
                let mut file = Cursor::new(Vec::new());
                let mut writer = WavWriter::new(&mut file, spec).expect("a valid form");
                let values: Vec<f64> = (0..60).map(|i| (f64::from(i) * 0.37).sin() * 0.9).collect();
                for v in &values {
                    let written = match format {
                        SampleFormat::Float => writer.write_sample(*v as f32),
                        SampleFormat::Int => {
                            writer.write_sample((v * (1i64 << (bits - 1)) as f64).round() as i32)
                        }
                    };
                    written.expect("writes to memory");
                }
                writer.finalize().expect("finishes");
                let read = read_wav(file.get_ref(), ChannelChoice::Only(channels - 1)).expect("reads");
                let want = values.iter().skip(usize::from(channels) - 1).step_by(usize::from(channels));
                let step =
                    if format == SampleFormat::Float { 1e-7 } else { 2.0f64.powi(-i32::from(bits)) + 1e-7 };
                assert_eq!(read.samples().len(), 60 / usize::from(channels));
                for (got, want) in read.samples().iter().zip(want) {
                    assert!((f64::from(*got) - want).abs() <= step, "{bits} bits: {got} vs {want}");
                }
            }
        }
    }

    /// 20-bit sound in a 24-bit container, left justified (WAVEFORMATEXTENSIBLE page's example).
    #[test]
    fn fewer_valid_bits_than_the_container() {
        let half = 0x40_0000i32.to_le_bytes();
        let wav = Maker::pcm(1, 24, 3, &half[..3]).extensible(1, 20).bytes();
        let r = mix(&wav).expect("reads");
        assert_eq!((r.samples(), r.source().bits), (&[0.5f32][..], 20));
        // 24 bits in four bytes.
        let wav = Maker::pcm(1, 32, 4, &0x4000_0000i32.to_le_bytes()).extensible(1, 24).bytes();
        assert_eq!(mix(&wav).expect("reads").samples(), [0.5]);
    }

    #[test]
    fn float_of_both_sizes_and_what_is_not_finite() {
        let mut data = Vec::new();
        for x in [0.25f32, f32::NAN, -0.5] {
            data.extend(x.to_le_bytes());
        }
        let mut make = Maker::pcm(1, 32, 4, &data);
        make.tag = 3;
        let r = mix(&make.bytes()).expect("reads");
        assert_eq!(r.samples(), [0.25, 0.0, -0.5]);
        assert_eq!(r.source().notes.len(), 1);
        let r = mix(&make.extensible(3, 32).bytes()).expect("reads");
        assert_eq!(r.samples(), [0.25, 0.0, -0.5]);
        let mut make = Maker::pcm(1, 64, 8, &0.125f64.to_le_bytes());
        make.tag = 3;
        assert_eq!(mix(&make.bytes()).expect("reads").samples(), [0.125]);
    }

    #[test]
    fn unknown_chunks_and_odd_sizes_are_stepped_over() {
        let mut make = Maker::pcm(1, 16, 2, &[0, 64]);
        make.before = b"LIST\x03\0\0\0abc\0".to_vec();
        assert_eq!(mix(&make.bytes()).expect("reads").samples(), [0.5]);
    }

    #[test]
    fn open_lengths_are_taken_as_what_is_there() {
        for (data_size, riff_size) in
            [(0, 0), (u32::MAX, u32::MAX), (u32::MAX, 0), (0, u32::MAX), (0x7FFF_F000, 0x7FFF_F024)]
        {
            let mut make = Maker::pcm(1, 16, 2, &[0, 64, 0, 32]);
            make.data_size = Some(data_size);
            make.riff_size = Some(riff_size);
            let r = mix(&make.bytes()).expect("reads");
            assert_eq!(r.samples(), [0.5, 0.25]);
            assert_eq!(r.source().notes.len(), 1);
        }
    }

    #[test]
    fn wrong_headers_say_what_and_where() {
        let good = || Maker::pcm(1, 16, 2, &[0, 64]);
        let says = |make: Maker, words: &[&str]| {
            let text = mix(&make.bytes()).expect_err("wrong").to_string();
            for word in words {
                assert!(text.contains(word), "'{text}' lacks '{word}'");
            }
        };
        says(Maker { channels: 0, ..good() }, &["fmt ", "byte 12", "0 channels"]);
        says(Maker { tag: 0x55, ..good() }, &["0x0055", "byte 12"]);
        says(Maker { bits: 0, ..good() }, &["0 bits"]);
        says(Maker { align: 1, ..good() }, &["frame of 1 bytes"]);
        says(Maker { rate: 4_000, ..good() }, &["4000 Hz"]);
        says(Maker { rate: u32::MAX, align: 0, ..good() }, &["fmt "]);
        says(Maker { data: vec![], ..good() }, &["no samples"]);
        says(
            Maker { data_size: Some(0xFFFF_FFF0), ..good() },
            &["data", "byte 36", "4294967280", "truncated"],
        );
        says(Maker { before: b"LIST\xff\xff\xff\x7f".to_vec(), ..good() }, &["LIST", "byte 36"]);
        says(Maker { before: b"data".to_vec(), ..good() }, &["data", "byte 36"]);
        assert!(matches!(mix(&[]), Err(AudioError::Empty)));
        assert!(matches!(mix(b"OggS0000000000000"), Err(AudioError::NotWav { .. })));
        assert!(matches!(mix(b"RIFF\x04\0\0\0AVI fmt "), Err(AudioError::NotWav { .. })));
        assert!(matches!(mix(b"RIFF\x04\0\0\0WAVE"), Err(AudioError::MissingChunk { chunk: "fmt ", .. })));
    }

    #[test]
    fn silence_reads_as_silence() {
        let mut make = Maker::pcm(2, 8, 1, &[128; 3_200]);
        make.rate = 8_000;
        let r = mix(&make.bytes()).expect("reads");
        assert_eq!(r.samples().len(), 3_200);
        assert!(r.samples().iter().all(|x| x.abs() < 1e-6));
    }

    proptest! {
        #[test]
        fn any_bytes_give_an_answer(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
            let _ = mix(&bytes);
        }

        #[test]
        fn a_damaged_file_gives_an_answer(at in 0usize..52, value: u8, at2 in 4usize..48, value2: u8, cut in 0usize..=52) {
            let mut bytes = SMALLEST;
            bytes[at] = value;
            bytes[at2] = value2;
            if let Ok(r) = mix(&bytes[..cut]) {
                prop_assert!(!r.samples().is_empty());
                prop_assert!(r.samples().iter().all(|x| x.is_finite()));
            }
        }
    }
}
