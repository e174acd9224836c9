//! What a note says when asked: bar, slot, hand, drift, pitch, place on the neck.

use super::piece::{Piece, Placed};
use super::row::beat_length;
use crate::music::note::{Note, Role};
use crate::timing::Reference;
use crate::unit::{Beats, MidiNote};

/// Names of the twelve pitch classes, sharps as players of open tunings say them.
pub(super) const NAMES: [&str; 12] = [
    "C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B",
];

/// A pitch as written, with its octave: C4 is middle C.
pub fn pitch_name(pitch: MidiNote) -> String {
    let m = pitch.nearest();
    let name = NAMES[m.rem_euclid(12) as usize];
    format!("{name}{}", m.div_euclid(12) - 1)
}

/// Everything about one note of the recording in one line: bar, slot, hand, drift, pitch, place on
/// the neck.
pub fn describe(piece: &Piece, note: &Note, placed: &Placed) -> String {
    told(piece, note, placed, piece.drift.reference)
}

/// The same of a note of the second take.
pub fn describe_taken(piece: &Piece, note: &Note, placed: &Placed) -> String {
    let reference = piece.told().reference;
    format!("your take: {}", told(piece, note, placed, reference))
}

fn told(piece: &Piece, note: &Note, placed: &Placed, reference: Reference) -> String {
    let mut parts = Vec::new();
    if let Some(at) = placed.at {
        parts.push(format!("bar {}", bar_of(piece, at)));
        parts.push(placed.slot.name(piece.grid.meter));
    } else {
        parts.push("no beat here".to_owned());
    }
    parts.push(hand(note.role).to_owned());
    if let Some(at) = placed.at {
        let words = if placed.audible() {
            reference.off(placed.drift)
        } else {
            reference.with().to_owned()
        };
        let share = beat_length(piece.grid, at).map(|beat| 100.0 * placed.drift.abs().0 / beat.0);
        match share.filter(|_| placed.audible()) {
            Some(share) => parts.push(format!("{words} ({share:.0} % of the beat)")),
            None => parts.push(words),
        }
    }
    if let Some(pitch) = note.pitch.filter(|p| p.0.is_finite()) {
        parts.push(pitch_name(pitch));
    }
    if let Some(string) = note.string.filter(|_| piece.fretted) {
        parts.push(match note.fret {
            Some(0) => format!("string {string} open"),
            Some(fret) => format!("string {string} fret {fret}"),
            None => format!("string {string}"),
        });
    }
    parts.join(", ")
}

/// Number of the bar that holds a slot.
pub(super) fn bar_of(piece: &Piece, slot: Beats) -> i32 {
    let beats = piece.grid.beats();
    let index = (slot.0 + 1e-6).floor().max(0.0) as usize;
    beats
        .get(index.min(beats.len().saturating_sub(1)))
        .map_or(0, |b| b.bar)
}

/// The hand's part, as a player says it.
pub(super) fn hand(role: Role) -> &'static str {
    match role {
        Role::Bass => "thumb",
        Role::Melody => "fingers",
    }
}
