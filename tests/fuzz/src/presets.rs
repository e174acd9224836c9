//! A player's own presets: any bytes as each of the three files.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;
use tempfile::TempDir;
use thumbline::music::drill::pattern_stages;
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;
use thumbline::unit::Bpm;

static FOLDER: LazyLock<TempDir> = LazyLock::new(|| tempfile::tempdir().expect("a folder"));
const FILES: [&str; 3] = ["tunings.toml", "scales.toml", "patterns.toml"];

fuzz_target!(|bytes: &[u8]| {
    let Some((which, text)) = bytes.split_first() else {
        return;
    };
    let which = usize::from(*which) % FILES.len();
    let file = FOLDER.path().join(FILES[which]);
    std::fs::write(&file, text).expect("written");
    let built_in = Presets::built_in();
    let (presets, left_out) = Presets::with_folder(Some(FOLDER.path()));
    std::fs::remove_file(&file).expect("removed");
    assert!(left_out.len() <= 1);
    if !left_out.is_empty() {
        assert_eq!(presets, built_in, "what cannot be used is left out whole");
        return;
    }
    for named in &presets.tunings {
        let _ = presets.tuning(&named.name);
    }
    for kind in &presets.scales {
        if let Ok(scale) = presets.scale(&format!("D {}", kind.name)) {
            let _ = scale.notes(40, 88);
        }
    }
    for pattern in &presets.patterns {
        let _ = pattern_stages(
            &pattern.name,
            &pattern.cell,
            &Tuning::dadgad(),
            Bpm(80.0),
            1,
        );
    }
});
