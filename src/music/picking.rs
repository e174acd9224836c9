//! Picking patterns: the cell that a right hand repeats, found in notes or written down.
//!
//! Owns cells, how they are found and how far two of them lie apart. Named patterns are data
//! (`presets/patterns.toml`).

mod cell;
mod find;
mod pattern;
mod reading;
mod written;

pub use cell::{Cell, CellNote, count, swung};
pub use find::{BarFit, FoundCell, PlacedNote, Variant, division, find, place};
pub use pattern::{NEAR, Pattern, nearest};
pub use reading::{KEEPS, PatternReading, chords_heard, like};
pub use written::{WrittenStroke, of_strokes};

/// Which strings the thumb goes to on a chord, as four strokes of an alternating bass: root, middle,
/// the other bass string, middle. C (root on 5) goes 5-4-6-4, G (on 6) 6-4-5-4, D (on 4) 4-5-4-6. A
/// string that sounds no note of the chord is passed over for the one before it.
pub fn thumb_walk(
    shape: &super::chord::Shape,
    chord: &super::chord::Chord,
    tuning: &super::tuning::Tuning,
) -> [u8; 4] {
    let classes = chord.classes();
    let bass = chord.bass.unwrap_or(chord.root);
    let sounds = |string: u8| {
        let fret = shape.frets.get(usize::from(string).wrapping_sub(1));
        let fret = fret.copied().flatten().unwrap_or(0);
        tuning.open(string).map(|o| (o + fret).rem_euclid(12))
    };
    let root = (4..=tuning.strings().min(6))
        .rev()
        .find(|s| sounds(*s) == Some(bass) && shape.frets[usize::from(*s) - 1].is_some())
        .unwrap_or(tuning.strings().min(6));
    let mut walk = match root {
        4 => [4, 5, 4, 6],
        5 => [5, 4, 6, 4],
        _ => [root, 4, 5, 4],
    };
    for i in 1..4 {
        if !sounds(walk[i]).is_some_and(|class| classes.contains(&class)) {
            walk[i] = walk[i - 1];
        }
    }
    walk
}
