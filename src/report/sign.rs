//! The sign by which a file tells that this program wrote it, each format's own way of naming its
//! software: what carries it can be made again and may be replaced.
//!
//! Takes and recordings carry none, whoever recorded them: what was played cannot be played again.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// The program's name, as its files give it.
pub const SOFTWARE: &str = "Thumbline";

/// A comment of XML with the program's name, for pictures.
pub const COMMENT: &str = "<!-- Thumbline -->";

/// First columns of a table of notes.
pub const NOTES: &str = "time_s,end_s,role,role_confidence";

/// First columns of a table of practice rounds.
pub const ROUNDS: &str = "recording,name,when_utc_ms";

/// A sign lies within this much of a file's beginning, in bytes; JSON sorts its keys, so that it
/// comes late there.
const REACH: u64 = 32 << 20;

/// Signs by the bytes that a file of their format begins with.
const SIGNS: [(&[u8], &[&str]); 8] = [
    (b"RIFF", &["ISFT\x0a\0\0\0Thumbline\0"]),
    (b"MThd", &["\u{1}\u{9}Thumbline"]),
    (
        b"{",
        &[
            "\"schema\": \"thumbline",
            "\"schema\":\"thumbline",
            "\"annotation_tools\": \"Thumbline\"",
        ],
    ),
    (b"<svg", &[COMMENT]),
    (b"<?xml", &[COMMENT, "<software>Thumbline</software>"]),
    (
        b"<!doctype html",
        &["<meta name=\"generator\" content=\"Thumbline "],
    ),
    (NOTES.as_bytes(), &[NOTES]),
    (ROUNDS.as_bytes(), &[ROUNDS]),
];

/// Does the file at `path` say that this program wrote it? A file that cannot be read says nothing.
pub fn is_ours(path: &Path) -> bool {
    carries_sign(path).unwrap_or(false)
}

fn carries_sign(path: &Path) -> io::Result<bool> {
    let mut file = File::open(path)?;
    let mut head = Vec::new();
    Read::take(&mut file, 4096).read_to_end(&mut head)?;
    let Some((_, signs)) = SIGNS.iter().find(|(begin, _)| head.starts_with(begin)) else {
        return Ok(false);
    };
    if !head.starts_with(b"RIFF") {
        file.take(REACH).read_to_end(&mut head)?;
    }
    let holds = |sign: &&str| head.windows(sign.len()).any(|w| w == sign.as_bytes());
    Ok(signs.iter().any(holds))
}
