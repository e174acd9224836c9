//! Which bars play the same: A, A′, B.
//!
//! Owns the names of bars by what the right hand does in them: which hand plucks which string on
//! which slot. Frets do not matter: a pattern stays itself over another chord. Drift does not
//! either.

use super::piece::Piece;
use crate::music::note::{Attack, Role};
use crate::timing::{Slot, Standing};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// What a bar plays, by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pattern {
    /// Bars of one letter play alike: 0 is A.
    pub letter: u8,
    /// Which variant of it, 0 the first that was heard.
    pub variant: u8,
    /// Is this the first bar that plays it?
    pub first: bool,
}

impl fmt::Display for Pattern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = char::from(b'A' + self.letter % 26);
        match self.variant {
            0 => write!(f, "{letter}"),
            1 => write!(f, "{letter}′"),
            2 => write!(f, "{letter}″"),
            n => write!(f, "{letter}{}", n + 1),
        }
    }
}

/// A stroke: where and by which hand.
type Stroke = (Slot, bool);
/// What a bar plays: its strokes, each with its strings (none where that is not known).
type Strokes = BTreeMap<Stroke, BTreeSet<u8>>;

/// Bars that share this much of what either plays are one pattern, or else variants of one; a stroke
/// on another string counts half. Chosen by hand: two strokes of eight more or less are the same.
const SAME: f64 = 0.72;
const ALIKE: f64 = 0.55;
/// Most letters: a piece of more patterns has none.
const LETTERS: usize = 12;

/// The pattern of every bar that has notes, by number; empty where no bar comes back.
pub(super) fn names(piece: &Piece) -> BTreeMap<i32, Pattern> {
    let bars = bars(piece);
    // For each letter its variants: what they play.
    let mut known: Vec<Vec<&Strokes>> = Vec::new();
    let mut named = BTreeMap::new();
    for (&bar, strokes) in &bars {
        let all = known.iter().enumerate().flat_map(|(letter, variants)| {
            let variants = variants.iter().enumerate();
            variants.map(move |(variant, played)| (letter, variant, likeness(played, strokes)))
        });
        let nearest = all.max_by(|a, b| a.2.total_cmp(&b.2));
        let (letter, variant, first) = match nearest {
            Some((letter, variant, alike)) if alike >= SAME => (letter, variant, false),
            Some((letter, _, alike)) if alike >= ALIKE => {
                known[letter].push(strokes);
                (letter, known[letter].len() - 1, true)
            }
            _ => {
                known.push(vec![strokes]);
                (known.len() - 1, 0, true)
            }
        };
        if known.len() > LETTERS {
            return BTreeMap::new();
        }
        let pattern = Pattern {
            letter: letter as u8,
            variant: variant.min(200) as u8,
            first,
        };
        named.insert(bar, pattern);
    }
    if named.values().all(|p| p.first) {
        named.clear();
    }
    named
}

fn bars(piece: &Piece) -> BTreeMap<i32, Strokes> {
    let mut bars: BTreeMap<i32, Strokes> = BTreeMap::new();
    for (note, placed) in piece.notes.iter().zip(&piece.drift.notes) {
        let Some(placed) = placed else { continue };
        let struck = matches!(note.attack, Attack::Pluck | Attack::Harmonic | Attack::Dead);
        if struck && !matches!(placed.standing, Standing::Doubled | Standing::Between) {
            let strokes = bars.entry(placed.bar).or_default();
            let strings = strokes.entry((placed.slot, note.role == Role::Melody));
            strings.or_default().extend(note.string);
        }
    }
    bars
}

/// Share of strokes that both have of those that either has.
fn likeness(a: &Strokes, b: &Strokes) -> f64 {
    let both = a.iter().filter_map(|(stroke, strings)| {
        let theirs = b.get(stroke)?;
        let same = strings.is_empty() || theirs.is_empty() || !strings.is_disjoint(theirs);
        Some(if same { 1.0 } else { 0.5 })
    });
    let shared = both.clone().count();
    let either = a.len() + b.len() - shared;
    if either == 0 {
        return 1.0;
    }
    both.sum::<f64>() / either as f64
}
