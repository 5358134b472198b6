//! Long lines made of the sample lines, for benchmarks.

use crate::sample_lines;
use lipwright_core::audio::{ChannelChoice, Recording, read_wav};
use std::path::Path;

/// Writes the sample lines, one after another, for so many seconds, as a 16 kHz WAV.
///
/// # Panics
/// Where a sample line cannot be read or the file not written.
pub fn write_long_line(path: &Path, seconds: usize) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: Recording::RATE.value() as u32,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    let mut left = seconds * spec.sample_rate as usize;
    for line in sample_lines().iter().cycle() {
        let bytes = std::fs::read(line).expect("a sample line");
        let recording = read_wav(&bytes, ChannelChoice::Mix).expect("it reads");
        for x in recording.samples().iter().take(left) {
            writer.write_sample((x * 32_767.0) as i16).expect("it is written");
        }
        left = left.saturating_sub(recording.samples().len());
        if left == 0 {
            break;
        }
    }
    writer.finalize().expect("a whole file");
}
