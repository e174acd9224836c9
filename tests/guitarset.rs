//! Real takes that lie beside the project: five of GuitarSet (Xi et al., ISMIR 2018, CC-BY 4.0), each
//! played to a click that begins with the file, in bars of four. All of them were looked at while choosing.

use std::path::{Path, PathBuf};

/// One take.
#[derive(Debug, Clone, Copy)]
pub struct Take {
    /// The file's name without its ending.
    pub name: &'static str,
    /// Beats a minute of the click, as the name tells.
    pub bpm: f64,
    /// How much the labels come after the sound, s (the data's own README).
    pub late: f64,
}

const fn take(name: &'static str, bpm: f64, late: f64) -> Take {
    Take { name, bpm, late }
}

/// All that are there.
pub const TAKES: [Take; 5] = [
    take("00_BN1-129-Eb_comp_mic", 129.0, 0.0105),
    take("00_BN1-129-Eb_solo_mic", 129.0, 0.01025),
    take("03_Jazz2-110-Bb_comp_mic", 110.0, 0.01425),
    take("03_SS1-68-E_comp_mic", 68.0, 0.01125),
    take("05_Rock1-130-A_solo_mic", 130.0, 0.01525),
];

/// Where they lie; none, which is said, where they are absent.
pub fn folder() -> Option<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/data/guitarset");
    if folder.is_dir() {
        return Some(folder);
    }
    println!(
        "skipped: the real recordings are not here ({})",
        folder.display()
    );
    None
}
