//! Where a slot stands inside its beat, and the slots that a page has.

use super::piece::Piece;
use super::row;
use crate::timing::{Drift, Slot};
use std::collections::BTreeMap;

/// Share of the beat that lies before part `part` of `parts`: even, but for the off-beat of two
/// parts, which stands where it was measured from.
pub(super) fn share(drift: &Drift, part: u8, parts: u8) -> f64 {
    match (part, parts) {
        (1, 2) => drift.off_beat(),
        _ => f64::from(part) / f64::from(parts.max(1)),
    }
}

/// A slot that is played somewhere on the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Column {
    /// Which slot.
    pub slot: Slot,
    /// Beats after the bar's first.
    pub at: f64,
    /// The narrowest tolerance of the notes that are spoken of, as a share of the beat: whatever is
    /// drawn off its slot lies outside it. None where no such note is played.
    pub floor: Option<f64>,
}

/// The slots that are played, in order of the bar.
pub(super) fn columns(piece: &Piece) -> Vec<Column> {
    let mut found: BTreeMap<Slot, Option<f64>> = BTreeMap::new();
    for i in 0..piece.notes.len() {
        let placed = piece.placed(i);
        if placed.at.is_some() {
            found.entry(placed.slot).or_default();
        }
    }
    for (_, placed) in piece.spoken().filter(|(_, placed)| placed.counts) {
        let floor = row::in_beats(piece.grid, &placed, placed.floor);
        if let (Some(_), Some(floor)) = (placed.at, floor) {
            let narrowest = found.entry(placed.slot).or_default();
            let before = narrowest.unwrap_or(f64::INFINITY);
            *narrowest = Some(before.min(floor.abs()));
        }
    }
    found
        .into_iter()
        .filter(|(slot, _)| slot.beat >= 1 && slot.parts >= 1 && slot.part < slot.parts)
        .map(|(slot, floor)| Column {
            slot,
            at: f64::from(slot.beat - 1) + share(piece.drift, slot.part, slot.parts),
            floor,
        })
        .collect()
}
