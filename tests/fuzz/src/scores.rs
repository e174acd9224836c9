//! Any bytes as written notes: MIDI and MusicXML, as a melody and as a pattern.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::path::PathBuf;
use std::sync::LazyLock;
use tempfile::TempDir;
use thumbline::load::melody;

static FOLDER: LazyLock<TempDir> = LazyLock::new(|| tempfile::tempdir().expect("a folder"));
static FILE: LazyLock<PathBuf> = LazyLock::new(|| FOLDER.path().join("notes"));

fuzz_target!(|bytes: &[u8]| {
    let _ = melody::is_melody(bytes);
    std::fs::write(&*FILE, bytes).expect("written");
    if let Ok(read) = melody::read(&FILE) {
        assert!(read.tempo.0.is_finite() && read.tempo.0 > 0.0);
        assert!(read.notes.iter().all(|n| n.at.0.is_finite()));
    }
    if let Ok(read) = melody::plucked(&FILE) {
        assert!(read.tempo.0.is_finite() && read.tempo.0 > 0.0);
        assert!(read.strokes.iter().all(|s| s.at.0.is_finite()));
    }
});
