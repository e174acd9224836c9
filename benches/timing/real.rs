//! Real takes (GuitarSet, Xi et al. 2018, CC-BY 4.0), where they are there.

use crate::table::Set;
use crate::variant::Variant;
use std::path::Path;
use thumbline::analysis::beat::judge::Piece;
use thumbline::load::load;

/// Played to a click; each begins on beat one and lasts whole bars of four.
const TAKES: [(&str, f64); 5] = [
    ("00_BN1-129-Eb_comp_mic", 129.0),
    ("00_BN1-129-Eb_solo_mic", 129.0),
    ("03_Jazz2-110-Bb_comp_mic", 110.0),
    ("03_SS1-68-E_comp_mic", 68.0),
    ("05_Rock1-130-A_solo_mic", 130.0),
];

/// The takes with room, cut, and as they were cut to their click.
pub fn sets() -> Vec<Set> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/data/guitarset");
    if !folder.is_dir() {
        println!("skipped: the recordings of ../shared are absent");
        return Vec::new();
    }
    let take = |(name, bpm): &(&str, f64), variant: Variant| -> Option<Piece> {
        let recording = load(&folder.join(format!("{name}.wav"))).ok()?;
        let beat = 60.0 / bpm;
        let n = (recording.end().0 / beat).round() as usize;
        let beats: Vec<f64> = (0..n).map(|k| k as f64 * beat).collect();
        let downbeats: Vec<f64> = beats.iter().copied().step_by(4).collect();
        let piece = variant.of(&recording, &beats, &downbeats);
        Some(Piece {
            name: (*name).to_owned(),
            ..piece
        })
    };
    Variant::ALL
        .iter()
        .map(|&(how, variant)| Set {
            name: format!("real, {how}"),
            pieces: TAKES.iter().filter_map(|t| take(t, variant)).collect(),
        })
        .collect()
}
