//! Marks in a WAV file: a loop (`smpl`) and named points such as bars (`cue ` with `LIST adtl`).
//!
//! Layout after the Multimedia Programming Interface and Data Specifications 1.0 (IBM/Microsoft,
//! 1991); a loop's last frame is inclusive in the chunk.

use super::wav::{self, Depth};
use std::io::{self, Write};
use std::ops::Range;

/// A named point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cue {
    /// Frame from the start of the file.
    pub frame: usize,
    /// Its name.
    pub name: String,
}

/// Writes planar `channels` at `rate` Hz as [`wav::write`] does, with a loop over the frames of
/// `repeat` and named points.
///
/// # Errors
/// Those of [`wav::write`]; [`io::ErrorKind::InvalidInput`] when it gets longer than WAV can be.
pub fn write(
    out: &mut dyn Write,
    rate: u32,
    channels: &[Vec<f32>],
    depth: Depth,
    repeat: Option<Range<usize>>,
    cues: &[Cue],
) -> io::Result<()> {
    let mut file = Vec::new();
    wav::write(&mut file, rate, channels, depth)?;
    if let Some(repeat) = repeat.filter(|r| !r.is_empty()) {
        chunk(&mut file, *b"smpl", &sampler(rate, &repeat))?;
    }
    if !cues.is_empty() {
        chunk(&mut file, *b"cue ", &points(cues))?;
        chunk(&mut file, *b"LIST", &names(cues))?;
    }
    let size = u32::try_from(file.len() - 8).map_err(|_| too_long())?;
    file[4..8].copy_from_slice(&size.to_le_bytes());
    out.write_all(&file)
}

fn too_long() -> io::Error {
    io::Error::new(
        io::ErrorKind::InvalidInput,
        "it is longer than a WAV file can be",
    )
}

fn chunk(file: &mut Vec<u8>, name: [u8; 4], body: &[u8]) -> io::Result<()> {
    let size = u32::try_from(body.len()).map_err(|_| too_long())?;
    file.extend_from_slice(&name);
    file.extend_from_slice(&size.to_le_bytes());
    file.extend_from_slice(body);
    if body.len() % 2 == 1 {
        file.push(0);
    }
    Ok(())
}

/// One forward loop without end over the frames of `repeat`; middle C, no detune.
fn sampler(rate: u32, repeat: &Range<usize>) -> Vec<u8> {
    let period = (1e9 / f64::from(rate.max(1))).round() as u32;
    let last = repeat.end.saturating_sub(1) as u32;
    words(&[
        0,
        0,
        period,
        60,
        0,
        0,
        0,
        1,
        0, // one loop, no extra bytes
        1,
        0,
        repeat.start as u32,
        last,
        0,
        0,
    ])
}

fn points(cues: &[Cue]) -> Vec<u8> {
    let mut body = words(&[cues.len() as u32]);
    for (i, cue) in cues.iter().enumerate() {
        body.extend(words(&[i as u32 + 1, cue.frame as u32]));
        body.extend_from_slice(b"data");
        body.extend(words(&[0, 0, cue.frame as u32]));
    }
    body
}

/// Labels of the cue points, UTF-8, each ended by a zero byte.
fn names(cues: &[Cue]) -> Vec<u8> {
    let mut body = b"adtl".to_vec();
    for (i, cue) in cues.iter().enumerate() {
        let name: Vec<u8> = cue.name.bytes().filter(|b| *b != 0).collect();
        body.extend_from_slice(b"labl");
        body.extend(words(&[name.len() as u32 + 5, i as u32 + 1]));
        body.extend_from_slice(&name);
        body.push(0);
        if name.len().is_multiple_of(2) {
            body.push(0);
        }
    }
    body
}

fn words(values: &[u32]) -> Vec<u8> {
    values.iter().flat_map(|v| v.to_le_bytes()).collect()
}
