//! Names over the bars: a chord where three notes make one, else the thumb's bass note, and only
//! where it changes.
//!
//! A plain reading for orientation: what sounds in half a bar or a bar against the 24 triads. It is
//! no harmonic analysis and says nothing of what it cannot name.

use super::piece::Piece;
use super::said::NAMES;
use crate::music::grid::Bar;
use crate::music::note::{Attack, Role};
use crate::unit::{Beats, Seconds};

/// A name and where it begins.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Name {
    /// Beats after the grid's first.
    pub at: Beats,
    /// `D`, `Em`, `G/B`; of a bass note alone `bass D`.
    pub text: String,
    /// Is it a chord (not a bass note alone)?
    pub chord: bool,
}

/// Share of the notes that must belong to a triad. Chosen by hand.
const OWN: f64 = 0.75;

/// The names of a piece, in order.
pub(super) fn names(piece: &Piece) -> Vec<Name> {
    let mut names: Vec<Name> = Vec::new();
    for bar in piece.grid.bars() {
        let middle = middle(piece, &bar);
        let halves = middle.and_then(|(at, time)| {
            let first = chord(piece, bar.start, time)?;
            let second = chord(piece, time, bar.end)?;
            (first != second).then_some([(bar.first_beat as f64, first), (at, second)])
        });
        let whole = || {
            let start = bar.first_beat as f64;
            chord(piece, bar.start, bar.end)
                .map(|text| (text, true))
                .or_else(|| bass(piece, bar.start, bar.end).map(|text| (text, false)))
                .map(|(text, chord)| (start, text, chord))
        };
        let found: Vec<_> = match halves {
            Some(halves) => halves.map(|(at, text)| (at, text, true)).into(),
            None => whole().into_iter().collect(),
        };
        for (at, text, chord) in found {
            if names.last().is_none_or(|last| changes(last, &text, chord)) {
                let at = Beats(at);
                names.push(Name { at, text, chord });
            }
        }
    }
    names
}

/// Is it another harmony than the last? A bass note alone that is the root of the last chord is not.
fn changes(last: &Name, text: &str, chord: bool) -> bool {
    let bass = text.strip_prefix("bass ").unwrap_or(text);
    let root = last.text.split('/').next().unwrap_or_default();
    let goes_on = !chord && last.chord && root.trim_end_matches('m') == bass;
    last.text != text && !goes_on
}

/// The middle of a bar of an even number of beats.
fn middle(piece: &Piece, bar: &Bar) -> Option<(f64, Seconds)> {
    let half = bar.beats / 2;
    (bar.beats >= 4 && bar.beats.is_multiple_of(2)).then_some(())?;
    let beat = piece.grid.beats().get(bar.first_beat + half)?;
    Some(((bar.first_beat + half) as f64, beat.time))
}

/// Pitches that begin between two instants (a little early counts), with their hands.
fn sounding<'a>(
    piece: &'a Piece,
    from: Seconds,
    to: Seconds,
) -> impl Iterator<Item = (i32, Role)> + 'a {
    const EARLY: f64 = 0.06;
    let first = |at: Seconds| piece.notes.partition_point(|n| n.time.0 < at.0 - EARLY);
    let (first, last) = (first(from), first(to));
    piece.notes[first.min(last)..last]
        .iter()
        .filter(|n| !matches!(n.attack, Attack::Tap | Attack::Dead))
        .filter_map(|n| Some((n.pitch.filter(|p| p.0.is_finite())?.nearest(), n.role)))
}

fn bass(piece: &Piece, from: Seconds, to: Seconds) -> Option<String> {
    let thumb = sounding(piece, from, to).find(|(_, role)| *role == Role::Bass);
    thumb.map(|(midi, _)| format!("bass {}", class_name(midi)))
}

/// The triad of which all three notes sound and hardly another one.
fn chord(piece: &Piece, from: Seconds, to: Seconds) -> Option<String> {
    let notes: Vec<i32> = sounding(piece, from, to).map(|n| n.0).collect();
    let lowest = *notes.iter().min()?;
    let count = |class: i32| notes.iter().filter(|m| m.rem_euclid(12) == class).count();
    let mut best: Option<(f64, i32, bool)> = None;
    for root in 0..12 {
        for minor in [false, true] {
            let third = if minor { 3 } else { 4 };
            let classes = [root, (root + third) % 12, (root + 7) % 12];
            let counts = classes.map(count);
            let own = counts.iter().sum::<usize>() as f64 / notes.len() as f64;
            if counts.contains(&0) || own < OWN {
                continue;
            }
            let rooted = lowest.rem_euclid(12) == root;
            let score = own + if rooted { 0.15 } else { 0.0 };
            if best.is_none_or(|b| score > b.0) {
                best = Some((score, root, minor));
            }
        }
    }
    let (_, root, minor) = best?;
    let mut name = format!("{}{}", class_name(root), if minor { "m" } else { "" });
    if lowest.rem_euclid(12) != root {
        name.push('/');
        name.push_str(class_name(lowest));
    }
    Some(name)
}

fn class_name(midi: i32) -> &'static str {
    NAMES[midi.rem_euclid(12) as usize]
}
