//! The chunks of a WAV file: where the samples lie and how they are stored.
//!
//! Layout: RIFF chunks, little endian, each starting on an even offset (Microsoft, WAVEFORMATEX
//! and WAVEFORMATEXTENSIBLE reference pages; 64-bit sizes as in EBU Tech 3306, from memory).
//! No length field is trusted beyond the bytes that are there, and none is allocated by.

use super::AudioError;
use super::recording::SampleKind;
use std::ops::Range;

/// Where the samples lie in the file's bytes, and how they are stored.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct WavLayout {
    pub(super) kind: SampleKind,
    pub(super) channels: u16,
    pub(super) rate: u32,
    /// Bytes per sample: 1 to 4, or 8 (float).
    pub(super) container: usize,
    /// Bits that carry sound, left justified in the container.
    pub(super) valid_bits: u16,
    /// Content of the `fmt ` chunk.
    pub(super) format: Range<usize>,
    /// Whole frames only.
    pub(super) data: Range<usize>,
    pub(super) notes: Vec<String>,
}

const TAG_PCM: u16 = 1;
const TAG_FLOAT: u16 = 3;
const TAG_EXTENSIBLE: u16 = 0xFFFE;

/// What writers that cannot go back leave as length: all ones, or a placeholder just below 2³¹.
const OPEN_ENDED: [u32; 3] = [u32::MAX, 0x7FFF_FFFF, 0x7FFF_F000];

/// Last twelve bytes of the sub-format GUIDs; the first four name the format.
const GUID_TAIL: [u8; 12] = [0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xAA, 0x00, 0x38, 0x9B, 0x71];

struct Format {
    kind: SampleKind,
    channels: u16,
    rate: u32,
    container: usize,
    valid_bits: u16,
    /// Where it stands in the file.
    content: Range<usize>,
}

/// Walks the chunks up to the samples.
pub(super) fn layout(bytes: &[u8]) -> Result<WavLayout, AudioError> {
    if bytes.is_empty() {
        return Err(AudioError::Empty);
    }
    let big = bytes.starts_with(b"RF64");
    let form_fits = bytes.get(8..12).is_none_or(|form| form == b"WAVE");
    if !(bytes.starts_with(b"RIFF") || big) || !form_fits {
        return Err(AudioError::NotWav { found: printable(bytes.get(..12).unwrap_or(bytes)) });
    }
    if bytes.len() < 12 {
        let chunk = printable(&bytes[..4]);
        return Err(AudioError::Truncated { chunk, offset: 0, promised: 12, present: bytes.len() as u64 });
    }
    let riff_size = u32_at(bytes, 4);

    let mut notes = Vec::new();
    let mut format: Option<Format> = None;
    let mut long_data: Option<u64> = None;
    let mut at = 12usize;
    while let Some(head) = bytes.get(at..at + 8) {
        let (id, size) = (&head[..4], u32_at(head, 4));
        let body = at + 8;
        let present = bytes.len() - body;
        match id {
            b"ds64" => {
                let content = whole(bytes, id, at, size)?;
                long_data = content.get(8..16).map(|b| {
                    let mut le = [0; 8];
                    le.copy_from_slice(b);
                    u64::from_le_bytes(le)
                });
            }
            b"fmt " => {
                let content = whole(bytes, id, at, size)?;
                if format.is_some() {
                    return Err(bad(id, at, "there are two of them"));
                }
                format = Some(read_format(content, at)?);
            }
            b"data" => {
                let Some(format) = format else {
                    return Err(bad(id, at, "it comes before any 'fmt ' chunk says how to read it"));
                };
                // In RF64, all ones means "see ds64"; only where that says nothing either is it open.
                let long = long_data.filter(|n| big && size == u32::MAX && !matches!(*n, 0 | u64::MAX));
                let streamed = long.is_none() && OPEN_ENDED.contains(&size)
                    || (size == 0 && (riff_size == 0 || OPEN_ENDED.contains(&riff_size)));
                let length = long.unwrap_or(u64::from(size));
                let open = streamed && (size == 0 || length > present as u64);
                let length = if open {
                    notes.push(
                        "the file was written without its length; everything after the header is taken as sound"
                            .to_owned(),
                    );
                    present
                } else {
                    usize::try_from(length).ok().filter(|&n| n <= present).ok_or_else(|| {
                        AudioError::Truncated {
                            chunk: printable(id),
                            offset: at,
                            promised: length,
                            present: present as u64,
                        }
                    })?
                };
                let frame = format.container * usize::from(format.channels);
                let over = length % frame;
                if over != 0 {
                    notes.push(format!("the last {over} bytes make no whole sample frame and were left out"));
                }
                let end = body + length - over;
                if end == body {
                    return Err(AudioError::NoSamples);
                }
                let Format { kind, channels, rate, container, valid_bits, content: format } = format;
                let data = body..end;
                return Ok(WavLayout { kind, channels, rate, container, valid_bits, format, data, notes });
            }
            // LIST, fact, bext, JUNK …: nothing here needs them.
            _ => {
                let _ = whole(bytes, id, at, size)?;
            }
        }
        at = body + size as usize + (size as usize & 1);
    }
    let chunk = if format.is_some() { "data" } else { "fmt " };
    Err(AudioError::MissingChunk { chunk, end: at.min(bytes.len()) })
}

fn read_format(content: &[u8], at: usize) -> Result<Format, AudioError> {
    let id = b"fmt ";
    if content.len() < 16 {
        return Err(bad(id, at, &format!("it holds {} bytes, and the smallest form has 16", content.len())));
    }
    let tag = u16_at(content, 0);
    let channels = u16_at(content, 2);
    let rate = u32_at(content, 4);
    let align = usize::from(u16_at(content, 12));
    let bits = u16_at(content, 14);

    let (tag, valid_bits) = if tag == TAG_EXTENSIBLE {
        if content.len() < 40 {
            return Err(bad(id, at, "it says WAVE_FORMAT_EXTENSIBLE but is shorter than 40 bytes"));
        }
        if content[28..40] != GUID_TAIL {
            return Err(AudioError::Unsupported {
                offset: at,
                form: "WAVE_FORMAT_EXTENSIBLE with an unknown GUID".to_owned(),
            });
        }
        let sub = u32_at(content, 24);
        // Zero valid bits is how some writers say "all of them".
        let valid = match u16_at(content, 18) {
            0 => bits,
            v => v,
        };
        (u16::try_from(sub).unwrap_or(0), valid)
    } else {
        (tag, bits)
    };

    let kind = match tag {
        TAG_PCM => SampleKind::Integer,
        TAG_FLOAT => SampleKind::Float,
        other => return Err(AudioError::Unsupported { offset: at, form: format!("0x{other:04X}") }),
    };
    if channels == 0 {
        return Err(bad(id, at, "it names 0 channels"));
    }
    if bits == 0 || bits > 64 {
        return Err(bad(id, at, &format!("it names {bits} bits per sample")));
    }
    let least = usize::from(bits).div_ceil(8);
    let width = usize::from(channels);
    if !align.is_multiple_of(width) || align / width < least {
        return Err(bad(
            id,
            at,
            &format!("{channels} channels of {bits} bits do not fit a frame of {align} bytes"),
        ));
    }
    let container = align / width;
    let readable = match kind {
        SampleKind::Float => container == 4 && bits == 32 || container == 8 && bits == 64,
        _ => container <= 4,
    };
    if !readable {
        let what = if kind == SampleKind::Float { "float" } else { "integer" };
        return Err(AudioError::Unsupported {
            offset: at,
            form: format!("{bits}-bit {what} in {container} bytes"),
        });
    }
    if valid_bits > container as u16 * 8 {
        return Err(bad(id, at, &format!("{valid_bits} valid bits do not fit {container} bytes")));
    }
    let content = at + 8..at + 8 + content.len();
    Ok(Format { kind, channels, rate, container, valid_bits, content })
}

/// The content of a chunk, all of which must be there.
fn whole<'a>(bytes: &'a [u8], id: &[u8], at: usize, size: u32) -> Result<&'a [u8], AudioError> {
    let body = at + 8;
    let present = bytes.len() - body;
    if size as usize > present {
        return Err(AudioError::Truncated {
            chunk: printable(id),
            offset: at,
            promised: u64::from(size),
            present: present as u64,
        });
    }
    Ok(&bytes[body..body + size as usize])
}

fn bad(id: &[u8], offset: usize, problem: &str) -> AudioError {
    AudioError::BadChunk { chunk: printable(id), offset, problem: problem.to_owned() }
}

fn printable(bytes: &[u8]) -> String {
    bytes.iter().map(|&b| if (0x20..0x7F).contains(&b) { char::from(b) } else { '·' }).collect()
}

/// Callers have checked that the bytes are there.
fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes([bytes[at], bytes[at + 1]])
}

/// Callers have checked that the bytes are there.
fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
}
