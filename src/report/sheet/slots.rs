//! Slots of the bar: what each is called, how far the notes on it drift on the whole page.

use super::row::beat_length;
use super::{Piece, Placed};
use crate::music::note::Role;
use crate::unit::Span;
use std::collections::BTreeMap;

/// A place in the bar that notes are meant for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct SlotPlace {
    /// Beat of the bar, 1 is the first.
    pub beat: u8,
    /// Part of the beat, 0 is the beat itself.
    pub part: u8,
    /// Parts the beat divides into, at least 1.
    pub parts: u8,
}

impl SlotPlace {
    /// What a player calls it: `beat 2`, `the and of 2`.
    pub fn name(self) -> String {
        let beat = self.beat;
        match (self.part, self.parts) {
            (0, _) => format!("beat {beat}"),
            (part, parts) if 2 * part == parts => format!("the and of {beat}"),
            (1, 4) => format!("the e of {beat}"),
            (3, 4) => format!("the a of {beat}"),
            (part, parts) if 3 * part == parts => format!("the second triplet of {beat}"),
            (part, parts) if 3 * part == 2 * parts => format!("the third triplet of {beat}"),
            (part, parts) => format!("part {} of {parts} of beat {beat}", part + 1),
        }
    }

    /// Share of the beat before it, as written: 0 to 1.
    pub fn share(self) -> f64 {
        f64::from(self.part) / f64::from(self.parts.max(1))
    }
}

/// A place in the bar and a hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SlotKey {
    /// Where in the bar.
    pub place: SlotPlace,
    /// Whose note.
    pub role: Role,
}

impl SlotKey {
    /// The key of a placed note; none in free time.
    pub fn of(placed: &Placed, role: Role) -> Option<Self> {
        let mut place = placed.slot?.place;
        // The same place may be written in fewer parts: the and is the and.
        for by in [2, 3] {
            while place.part % by == 0 && place.parts % by == 0 && place.parts > 1 {
                place.part /= by;
                place.parts /= by;
            }
        }
        if place.part == 0 {
            place.parts = 1;
        }
        Some(Self { place, role })
    }
}

/// Mean drift of all notes of one hand on one slot of the bar.
#[derive(Debug, Clone, PartialEq)]
pub struct SlotMean {
    /// Which slot, whose.
    pub key: SlotKey,
    /// Mean drift.
    pub mean: Span,
    /// Standard deviation of drift; 0 for a single note.
    pub spread: Span,
    /// The widest floor among its notes.
    pub floor: Span,
    /// Mean length of the beats they lie in.
    pub beat: Span,
    /// Mean place inside the beat, as drawn: 0 to 1.
    pub share: f64,
    /// Indices of its notes.
    pub notes: Vec<usize>,
    /// How many of them lie beyond the floor on the mean's side.
    pub agreeing: usize,
}

impl SlotMean {
    /// Does drift repeat here? At least three notes, their mean beyond the floor and beyond twice
    /// its standard error, and two notes in three beyond the floor on that side.
    pub fn is_slant(&self) -> bool {
        let n = self.notes.len();
        n >= 3
            && self.mean.abs() > self.floor
            && self.mean.abs().0 > 2.0 * self.spread.0 / (n as f64).sqrt()
            && 3 * self.agreeing >= 2 * n
    }
}

/// Means of every slot that has notes, in order of place in the bar, thumb before fingers.
pub fn slot_means(piece: &Piece) -> Vec<SlotMean> {
    let mut slots: BTreeMap<(SlotPlace, bool), Vec<usize>> = BTreeMap::new();
    for (i, note) in piece.notes.iter().enumerate() {
        let placed = piece.placed(i);
        let key = SlotKey::of(&placed, note.role).filter(|_| placed.counts);
        if let Some(SlotKey { place, role }) = key {
            slots
                .entry((place, role == Role::Melody))
                .or_default()
                .push(i);
        }
    }
    slots
        .into_iter()
        .map(|((place, melody), notes)| {
            let role = if melody { Role::Melody } else { Role::Bass };
            mean_of(piece, SlotKey { place, role }, notes)
        })
        .collect()
}

fn mean_of(piece: &Piece, key: SlotKey, notes: Vec<usize>) -> SlotMean {
    let (mean, spread) = mean_and_spread(notes.iter().map(|&i| piece.placed(i).drift));
    let floors = notes.iter().map(|&i| piece.placed(i).floor.0);
    let beats = notes
        .iter()
        .filter_map(|&i| beat_length(piece.grid, piece.placed(i).slot?.at));
    let beats: Vec<f64> = beats.map(|b| b.0).collect();
    let beat = beats.iter().sum::<f64>() / beats.len().max(1) as f64;
    let shares = notes
        .iter()
        .filter_map(|&i| Some(piece.placed(i).slot?.at.0 + 1e-6));
    let share = shares.map(|at| at - at.floor()).sum::<f64>() / notes.len().max(1) as f64;
    let agreeing = notes
        .iter()
        .map(|&i| piece.placed(i))
        .filter(|p| p.audible() && p.drift.0 * mean.0 > 0.0)
        .count();
    SlotMean {
        key,
        mean,
        spread,
        floor: Span(floors.fold(0.0, f64::max)),
        beat: Span(if beat > 0.0 { beat } else { 1.0 }),
        share,
        notes,
        agreeing,
    }
}

/// Mean and standard deviation (n − 1) of spans; zeros for none, no spread for one.
pub(super) fn mean_and_spread(spans: impl Iterator<Item = Span> + Clone) -> (Span, Span) {
    let n = spans.clone().count();
    if n == 0 {
        return (Span(0.0), Span(0.0));
    }
    let mean = spans.clone().map(|s| s.0).sum::<f64>() / n as f64;
    let square = spans.map(|s| (s.0 - mean).powi(2)).sum::<f64>();
    let spread = (square / (n.max(2) - 1) as f64).sqrt();
    (Span(mean), Span(spread))
}
