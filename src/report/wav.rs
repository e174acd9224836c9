//! Sound → WAV, written as it comes: nothing but the header has to be known beforehand.
//!
//! Layout after the Multimedia Programming Interface and Data Specifications 1.0 (IBM/Microsoft,
//! 1991) and WAVE_FORMAT_EXTENSIBLE for more than two channels (from memory).

use crate::recording::Recording;
use std::borrow::Cow;
use std::io::{self, Write};
use std::ops::Range;

/// Format tag of the extended header.
const EXTENSIBLE: u16 = 0xFFFE;

/// The list of facts about the file, with one: the software that made it, as `report::sign` reads it.
const MADE_BY: &[u8; 30] = b"LIST\x16\0\0\0INFOISFT\x0a\0\0\0Thumbline\0";

/// How samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    /// Whole numbers of 24 bits, full scale 1.0; louder samples are clipped.
    Int24,
    /// 32-bit floating point, never clipped.
    Float32,
}

impl Depth {
    fn bytes(self) -> u16 {
        match self {
            Self::Int24 => 3,
            Self::Float32 => 4,
        }
    }
}

/// Writes planar `channels` (at least one, all of one length) at `rate` Hz to `out`.
///
/// # Errors
/// The writer's own; [`io::ErrorKind::InvalidInput`] when the sound does not fit into the 4 GiB
/// that the format can hold.
pub fn write(
    out: &mut dyn Write,
    rate: u32,
    channels: &[Vec<f32>],
    depth: Depth,
) -> io::Result<()> {
    let frames = channels.first().map_or(0, Vec::len);
    let part = |channel: usize, part: Range<usize>| Cow::Borrowed(&channels[channel][part]);
    write_parts(out, rate, (channels.len(), frames), depth, part)
}

/// Writes a recording, wherever its samples lie.
///
/// # Errors
/// As for [`write()`].
pub fn write_recording(out: &mut dyn Write, sound: &Recording, depth: Depth) -> io::Result<()> {
    let size = (sound.width(), sound.frames());
    write_parts(out, sound.rate(), size, depth, |channel, part| {
        sound.part(channel, part)
    })
}

fn write_parts<'a>(
    out: &mut dyn Write,
    rate: u32,
    (channels, frames): (usize, usize),
    depth: Depth,
    part: impl Fn(usize, Range<usize>) -> Cow<'a, [f32]>,
) -> io::Result<()> {
    let too_much = |_| {
        io::Error::new(
            io::ErrorKind::InvalidInput,
            "it is longer than a WAV file can be",
        )
    };
    let width = u16::try_from(channels).map_err(too_much)?;
    let frame_bytes = u32::from(depth.bytes()) * u32::from(width);
    let data = frames as u64 * u64::from(frame_bytes);
    let size = u32::try_from(data + 120).map_err(too_much)? - 120;
    let second = u32::try_from(u64::from(rate) * u64::from(frame_bytes)).map_err(too_much)?;

    let kind: u16 = if depth == Depth::Float32 { 3 } else { 1 };
    let bits = 8 * depth.bytes();
    let wide = width > 2; // more than two channels need the extended header
    let pad = size % 2;
    let fact: &[u32] = if depth == Depth::Float32 {
        &[u32::from_le_bytes(*b"fact"), 4, frames as u32]
    } else {
        &[]
    };
    let format: u32 = if wide { 40 } else { 16 };
    let head = 4 + MADE_BY.len() as u32 + 8 + format + 4 * fact.len() as u32 + 8;
    out.write_all(b"RIFF")?;
    out.write_all(&(head + size + pad).to_le_bytes())?;
    out.write_all(b"WAVEfmt ")?;
    out.write_all(&format.to_le_bytes())?;
    out.write_all(&if wide { EXTENSIBLE } else { kind }.to_le_bytes())?;
    out.write_all(&width.to_le_bytes())?;
    out.write_all(&rate.to_le_bytes())?;
    out.write_all(&second.to_le_bytes())?;
    out.write_all(&(frame_bytes as u16).to_le_bytes())?;
    out.write_all(&bits.to_le_bytes())?;
    if wide {
        out.write_all(&22u16.to_le_bytes())?; // bytes that follow
        out.write_all(&bits.to_le_bytes())?; // of them valid
        out.write_all(&0u32.to_le_bytes())?; // no channel has a named place
        out.write_all(&kind.to_le_bytes())?;
        out.write_all(&[0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71])?;
    }
    for word in fact {
        out.write_all(&word.to_le_bytes())?;
    }
    out.write_all(MADE_BY)?;
    out.write_all(b"data")?;
    out.write_all(&size.to_le_bytes())?;
    samples(out, (channels, frames), depth, part)?;
    out.write_all(&vec![0; pad as usize])
}

fn samples<'a>(
    out: &mut dyn Write,
    (channels, frames): (usize, usize),
    depth: Depth,
    part: impl Fn(usize, Range<usize>) -> Cow<'a, [f32]>,
) -> io::Result<()> {
    const BLOCK: usize = 4096;
    let mut bytes = Vec::with_capacity(BLOCK * channels * 4);
    for start in (0..frames).step_by(BLOCK) {
        bytes.clear();
        let end = frames.min(start + BLOCK);
        let block: Vec<_> = (0..channels).map(|c| part(c, start..end)).collect();
        for frame in 0..end - start {
            for channel in &block {
                let sample = channel[frame];
                match depth {
                    Depth::Int24 => bytes.extend_from_slice(&int24(sample)),
                    Depth::Float32 => bytes.extend_from_slice(&sample.to_le_bytes()),
                }
            }
        }
        out.write_all(&bytes)?;
    }
    Ok(())
}

fn int24(sample: f32) -> [u8; 3] {
    const FULL: f64 = 8_388_608.0; // 2^23
    let value = (f64::from(sample) * FULL)
        .round_ties_even()
        .clamp(-FULL, FULL - 1.0) as i32;
    let [a, b, c, _] = value.to_le_bytes();
    [a, b, c]
}
