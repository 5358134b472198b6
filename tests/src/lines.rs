//! Long lines made of the sample lines, for benchmarks.

use crate::browser::{Browser, Setup};
use crate::sample_lines;
use lipwright_core::audio::{ChannelChoice, Recording, read_wav};
use std::path::Path;

/// Sampling rate of the long lines: what most recordings come in.
const RATE: u32 = 48_000;
/// The rate that the ear hears at: files of it are a third as large.
pub const HEARING_RATE: u32 = 16_000;

/// True in a page once a long line is heard, planned and shown.
const OPEN: &str = "document.querySelectorAll('[data-testid=segments] [role=option]').length > 100
    && document.body.dataset.status === 'ready'";

/// Starts a browser, has it choose a file with the sample lines of so many seconds through the page's own
/// field for files, and waits until the line is heard and planned. `before` is evaluated in the page before
/// the file is chosen.
///
/// # Panics
/// As [`Browser::open`]; where the file cannot be written or the line not opened.
pub async fn open_long_line(seconds: usize, before: &str) -> Browser {
    open_long_line_as(Setup::default(), seconds, before).await
}

/// The same in a browser that is set up otherwise.
///
/// # Panics
/// As [`open_long_line`].
pub async fn open_long_line_as(setup: Setup, seconds: usize, before: &str) -> Browser {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("long.wav");
    write_line(&path, seconds, RATE);
    let browser = Browser::open_as(setup).await;
    browser.until("document.body.dataset.status === 'ready'").await;
    browser.eval(before).await;
    let input = browser.find("[data-testid=file]").await;
    input.send_keys(&path.to_string_lossy()).await.expect("the file is chosen");
    browser.until(OPEN).await;
    browser
}

/// Writes the sample lines, one after another, for so many seconds, as a WAV of a multiple of 16 kHz: between
/// the samples at 16 kHz lie others on the straight line from one to the next.
///
/// # Panics
/// Where a sample line cannot be read or the file not written.
pub fn write_line(path: &Path, seconds: usize, rate: u32) {
    let steps = rate / Recording::RATE.value() as u32;
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    let mut left = seconds * Recording::RATE.value() as usize;
    let mut last = 0.0;
    for line in sample_lines().iter().cycle() {
        let bytes = std::fs::read(line).expect("a sample line");
        let recording = read_wav(&bytes, ChannelChoice::Mix).expect("it reads");
        for x in recording.samples().iter().take(left) {
            for step in 1..=steps {
                let y = last + (x - last) * step as f32 / steps as f32;
                writer.write_sample((y * 32_767.0) as i16).expect("it is written");
            }
            last = *x;
        }
        left = left.saturating_sub(recording.samples().len());
        if left == 0 {
            break;
        }
    }
    writer.finalize().expect("a whole file");
}
