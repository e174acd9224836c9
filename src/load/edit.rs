//! The edit list of an MP4 file: which of the decoded frames are the recording and which are the
//! encoder's lead-in and padding. AAC encoders put 1,024 to 2,112 frames of lead-in before the
//! sound; left in, everything would come up to 48 ms late against the same tune in another format.
//!
//! Boxes after ISO/IEC 14496-12, 8.6.6 (`elst`), 8.4.2 (`mdhd`), 8.2.2 (`mvhd`), from memory.

use std::io::{Read, Seek, SeekFrom};

/// An index of this size describes days of sound; a larger one is damage.
const MOST_INDEX: u64 = 64 << 20;

/// Where the sound lies in what the decoder gives, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct EditList {
    /// Lead-in before the sound.
    pub lead: f64,
    /// Length of the sound, where it is stated.
    pub length: Option<f64>,
}

/// The edit list of the first sound track; none where there is none or the file is no MP4.
pub(super) fn read(source: &mut (impl Read + Seek)) -> Option<EditList> {
    let index = movie(source)?;
    let scale = u64::from(timescale(child(&index, *b"mvhd")?)?);
    let track = boxes(&index)
        .filter(|(kind, _)| kind == b"trak")
        .find(|(_, body)| is_sound(body))?
        .1;
    let media = child(track, *b"mdia")?;
    let media_scale = timescale(child(media, *b"mdhd")?)?;
    let list = child(child(track, *b"edts")?, *b"elst")?;
    let wide = *list.first()? == 1;
    let (step, half) = if wide { (20, 8) } else { (12, 4) };
    let (duration, start) = list.get(8..)?.chunks_exact(step).find_map(|entry| {
        let start = signed(&entry[half..2 * half]);
        (start >= 0).then_some((unsigned(&entry[..half]), start as u64)) // −1 is an empty edit
    })?;
    Some(EditList {
        lead: start as f64 / f64::from(media_scale),
        length: (duration > 0 && scale > 0).then_some(duration as f64 / scale as f64),
    })
}

/// The body of the `moov` box.
fn movie(source: &mut (impl Read + Seek)) -> Option<Vec<u8>> {
    source.rewind().ok()?;
    let mut first = true;
    loop {
        let mut head = [0; 8];
        source.read_exact(&mut head).ok()?;
        if std::mem::take(&mut first) && &head[4..] != b"ftyp" {
            return None;
        }
        let mut size = unsigned(&head[..4]);
        let mut used = 8;
        if size == 1 {
            let mut long = [0; 8];
            source.read_exact(&mut long).ok()?;
            size = unsigned(&long);
            used = 16;
        }
        let body = size.checked_sub(used)?; // 0 runs to the end of the file: only `mdat` does
        if &head[4..] == b"moov" {
            let mut bytes = Vec::new();
            source
                .take(body.min(MOST_INDEX))
                .read_to_end(&mut bytes)
                .ok()?;
            return Some(bytes);
        }
        source
            .seek(SeekFrom::Current(i64::try_from(body).ok()?))
            .ok()?;
    }
}

/// The boxes inside a box: kind and body.
fn boxes(mut bytes: &[u8]) -> impl Iterator<Item = (&[u8], &[u8])> {
    std::iter::from_fn(move || {
        let size = unsigned(bytes.get(..4)?) as usize;
        let kind = bytes.get(4..8)?;
        let body = bytes.get(8..size)?;
        bytes = &bytes[size..];
        Some((kind, body))
    })
}

fn child(bytes: &[u8], kind: [u8; 4]) -> Option<&[u8]> {
    boxes(bytes).find(|(k, _)| *k == kind).map(|(_, body)| body)
}

fn is_sound(track: &[u8]) -> bool {
    child(track, *b"mdia")
        .and_then(|media| child(media, *b"hdlr"))
        .and_then(|handler| handler.get(8..12))
        .is_some_and(|kind| kind == b"soun")
}

/// Units a second in a movie's or a media's header: after version, flags and two dates.
fn timescale(header: &[u8]) -> Option<u32> {
    let at = if *header.first()? == 1 { 20 } else { 12 };
    let scale = unsigned(header.get(at..at + 4)?) as u32;
    (scale > 0).then_some(scale)
}

/// Big-endian, up to eight bytes.
fn unsigned(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0, |sum, b| sum << 8 | u64::from(*b))
}

/// Big-endian in two's complement, four or eight bytes.
fn signed(bytes: &[u8]) -> i64 {
    if bytes.len() == 4 {
        i64::from(unsigned(bytes) as u32 as i32)
    } else {
        unsigned(bytes) as i64
    }
}
