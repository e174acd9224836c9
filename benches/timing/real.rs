//! Real takes (GuitarSet, Xi et al. 2018, CC-BY 4.0), where they are there.

use crate::guitarset::{TAKES, Take, folder};
use crate::table::Set;
use crate::variant::Variant;
use thumbline::analysis::beat::evaluation::Piece;
use thumbline::load::load;

/// The takes with room, cut, and as they were cut to their click.
pub fn sets() -> Vec<Set> {
    let Some(folder) = folder() else {
        return Vec::new();
    };
    let take = |&Take { name, bpm, .. }: &Take, variant: Variant| -> Option<Piece> {
        let recording = load(&folder.join(format!("{name}.wav"))).ok()?;
        let beat = 60.0 / bpm;
        let n = (recording.end().0 / beat).round() as usize;
        let beats: Vec<f64> = (0..n).map(|k| k as f64 * beat).collect();
        let downbeats: Vec<f64> = beats.iter().copied().step_by(4).collect();
        let piece = variant.of(&recording, &beats, &downbeats);
        Some(Piece {
            name: name.to_owned(),
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
