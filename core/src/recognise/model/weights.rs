//! Reading a model file: every length and value is checked before it is believed.

use super::network::Conv;
use crate::crc::crc32;
use crate::features::MEL_BANDS;
use crate::phonetics::Phone;
use ndarray::Array2;

const MAGIC: &[u8; 4] = b"LWAM";
const VERSION: u32 = 4;
const HEADER: usize = 16;
/// More blocks, or channels in a layer, than any file of this version holds.
const MOST_BLOCKS: usize = 64;
const MOST_CHANNELS: usize = 4096;
const MOST_TAPS: usize = 16;
const MOST_DILATION: usize = 64;

/// Why a model file was refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ModelError {
    /// Not even a header.
    #[error("the acoustic model has {length} bytes, too few for its header; fetch the file again")]
    TooShort {
        /// Bytes there are.
        length: usize,
    },
    /// Other first bytes.
    #[error("this is no acoustic model file (it does not begin with LWAM)")]
    NotAModel,
    /// A version that this program does not know.
    #[error(
        "the acoustic model is of version {found}; this program reads version {VERSION}: use files of one release"
    )]
    Version {
        /// Version in the file.
        found: u32,
    },
    /// Cut off, or with something appended.
    #[error(
        "the acoustic model should have {declared} bytes after its header and has {found}; fetch the file again"
    )]
    Length {
        /// Bytes the header promises.
        declared: usize,
        /// Bytes there are.
        found: usize,
    },
    /// Damaged.
    #[error(
        "the acoustic model is damaged (CRC-32 {found:08x} instead of {declared:08x}); fetch the file again"
    )]
    Checksum {
        /// In the header.
        declared: u32,
        /// Of the bytes.
        found: u32,
    },
    /// The contents end before the layers do, or go on after them.
    #[error(
        "the acoustic model's contents do not end where its last layer does (byte {at}); train and export it again"
    )]
    Contents {
        /// Offset after the header.
        at: usize,
    },
    /// A layer does not fit its neighbours or this program.
    #[error(
        "the acoustic model's layer '{layer}' has {found} {what} where {wanted} would fit; train and export it again"
    )]
    Layer {
        /// Name of the layer.
        layer: &'static str,
        /// Which of its figures.
        what: &'static str,
        /// As the file has it.
        found: usize,
        /// As it should be (or may be at most).
        wanted: usize,
    },
    /// A weight that is no number.
    #[error(
        "the acoustic model holds a value that is not finite before byte {at} of its contents; train and export it again"
    )]
    NotFinite {
        /// Offset after the header.
        at: usize,
    },
}

/// Checks the header and checksum and gives the contents to read.
pub(super) fn open(bytes: &[u8]) -> Result<Payload<'_>, ModelError> {
    let Some((header, contents)) = bytes.split_at_checked(HEADER) else {
        return Err(ModelError::TooShort { length: bytes.len() });
    };
    if &header[..4] != MAGIC {
        return Err(ModelError::NotAModel);
    }
    let word = |i: usize| u32::from_le_bytes([header[i], header[i + 1], header[i + 2], header[i + 3]]);
    if word(4) != VERSION {
        return Err(ModelError::Version { found: word(4) });
    }
    let declared = word(8) as usize;
    if declared != contents.len() {
        return Err(ModelError::Length { declared, found: contents.len() });
    }
    let found = crc32(contents);
    if found != word(12) {
        return Err(ModelError::Checksum { declared: word(12), found });
    }
    Ok(Payload { contents, at: 0 })
}

/// How many blocks follow one another, and after how many of the last ones something is remembered.
#[derive(Clone, Copy, Debug)]
pub(super) struct StackSize {
    pub blocks: usize,
    pub memories: usize,
}

/// The contents of a model file, read from front to back.
pub(super) struct Payload<'a> {
    contents: &'a [u8],
    at: usize,
}

impl<'a> Payload<'a> {
    fn take(&mut self, count: usize) -> Result<&'a [u8], ModelError> {
        let end = self.at.checked_add(count).filter(|end| *end <= self.contents.len());
        let end = end.ok_or(ModelError::Contents { at: self.at })?;
        let taken = &self.contents[self.at..end];
        self.at = end;
        Ok(taken)
    }

    /// One count.
    pub(super) fn count(&mut self) -> Result<usize, ModelError> {
        let b = self.take(4)?;
        Ok(u32::from_le_bytes([b[0], b[1], b[2], b[3]]) as usize)
    }

    fn short(&mut self) -> Result<usize, ModelError> {
        let b = self.take(2)?;
        Ok(usize::from(u16::from_le_bytes([b[0], b[1]])))
    }

    /// One finite number.
    pub(super) fn f32(&mut self) -> Result<f32, ModelError> {
        let b = self.take(4)?;
        let x = f32::from_le_bytes([b[0], b[1], b[2], b[3]]);
        if x.is_finite() { Ok(x) } else { Err(ModelError::NotFinite { at: self.at }) }
    }

    /// `N` finite numbers.
    pub(super) fn f32s<const N: usize>(&mut self) -> Result<[f32; N], ModelError> {
        let mut out = [0.0; N];
        for x in &mut out {
            *x = self.f32()?;
        }
        Ok(out)
    }

    /// Checks bands and phones; returns how much there is at 20 and at 40 ms.
    pub(super) fn dimensions(&mut self) -> Result<[StackSize; 2], ModelError> {
        let (bands, phones) = (self.count()?, self.count()?);
        expect("input", "bands", bands, MEL_BANDS)?;
        expect("output", "phones", phones, Phone::COUNT)?;
        Ok([self.stack_size()?, self.stack_size()?])
    }

    fn stack_size(&mut self) -> Result<StackSize, ModelError> {
        let (blocks, memories) = (self.count()?, self.count()?);
        at_most("all", "blocks", blocks, MOST_BLOCKS)?;
        at_most("all", "layers that remember", memories, blocks)?;
        Ok(StackSize { blocks, memories })
    }

    /// One layer with the given number of inputs and stride.
    pub(super) fn layer(
        &mut self,
        layer: &'static str,
        inputs: usize,
        stride: usize,
    ) -> Result<Conv, ModelError> {
        let (outputs, found_inputs, taps) = (self.short()?, self.short()?, self.short()?);
        let (found_stride, dilation) = (self.short()?, self.short()?);
        expect(layer, "inputs", found_inputs, inputs)?;
        expect(layer, "frames of stride", found_stride, stride)?;
        at_most(layer, "outputs", outputs, MOST_CHANNELS)?;
        at_most(layer, "taps", taps, MOST_TAPS)?;
        at_most(layer, "frames of dilation", dilation, MOST_DILATION)?;
        let scale = (0..outputs).map(|_| self.f32()).collect::<Result<Vec<_>, _>>()?;
        let bias = (0..outputs).map(|_| self.f32()).collect::<Result<Vec<_>, _>>()?;
        let taps = (0..taps)
            .map(|_| {
                let q = self.take(inputs * outputs)?;
                Ok(Array2::from_shape_fn((inputs, outputs), |(i, o)| {
                    f32::from(q[i * outputs + o].cast_signed()) * scale[o]
                }))
            })
            .collect::<Result<Vec<_>, ModelError>>()?;
        Ok(Conv { taps, bias, stride, dilation })
    }

    /// Nothing may follow the last layer.
    pub(super) fn finish(self) -> Result<(), ModelError> {
        if self.at == self.contents.len() { Ok(()) } else { Err(ModelError::Contents { at: self.at }) }
    }
}

pub(super) fn expect(
    layer: &'static str,
    what: &'static str,
    found: usize,
    wanted: usize,
) -> Result<(), ModelError> {
    if found == wanted { Ok(()) } else { Err(ModelError::Layer { layer, what, found, wanted }) }
}

fn at_most(layer: &'static str, what: &'static str, found: usize, most: usize) -> Result<(), ModelError> {
    if (1..=most).contains(&found) {
        Ok(())
    } else {
        Err(ModelError::Layer { layer, what, found, wanted: most })
    }
}
