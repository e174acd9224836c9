//! What the numbers say, in a player's words; each sentence knows the notes it speaks of.

use super::note::{drift_words, hand, key_bar};
use super::slots::{SlotMean, mean_and_spread};
use super::{Piece, Sheet};
use crate::music::note::Role;
use crate::unit::Span;

/// A sentence and the notes it was computed from.
#[derive(Debug, Clone, PartialEq)]
pub struct Sentence {
    /// Plain English.
    pub text: String,
    /// Indices of the notes it speaks of.
    pub notes: Vec<usize>,
    /// Bar to loop, where it proposes one.
    pub bar: Option<i32>,
}

impl Sentence {
    fn new(text: String, notes: Vec<usize>) -> Self {
        Self {
            text,
            notes,
            bar: None,
        }
    }
}

/// How many slants are spelled out: more would be a list, not advice.
const SLANTS: usize = 3;

/// What to know and what to practise next, most telling first after each hand's summary.
pub fn sentences(piece: &Piece, sheet: &Sheet) -> Vec<Sentence> {
    if piece.notes.is_empty() {
        return vec![Sentence::new("No notes were found.".to_owned(), Vec::new())];
    }
    if piece.grid.is_empty() {
        let text = "No steady beat was found, so drift is not shown. Tap the beat along to set it.";
        return vec![Sentence::new(text.to_owned(), Vec::new())];
    }
    let mut found: Vec<_> = [Role::Bass, Role::Melody]
        .into_iter()
        .filter_map(|role| summary_of(piece, role))
        .collect();
    found.extend(between_hands(piece, true));
    found.extend(between_hands(piece, false));
    let mut slants: Vec<_> = sheet.slots().iter().filter(|s| s.is_slant()).collect();
    slants.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    found.extend(slants.iter().take(SLANTS).map(|s| practise(piece, s)));
    let loud = (0..piece.notes.len()).any(|i| piece.placed(i).audible());
    if slants.is_empty() && loud {
        let text = "No drift repeats at the same place of the bar.";
        found.push(Sentence::new(text.to_owned(), Vec::new()));
    } else if !loud {
        let text = "Nothing here strays far enough from the beat to be heard or measured.";
        found.push(Sentence::new(text.to_owned(), Vec::new()));
    }
    found
}

/// How much a slant matters: how far beyond what can be heard, times how often.
fn weight(slant: &SlotMean) -> f64 {
    (slant.mean.abs().0 - slant.floor.0) * slant.agreeing as f64
}

fn on_grid(piece: &Piece, role: Role) -> Vec<usize> {
    (0..piece.notes.len())
        .filter(|&i| piece.notes[i].role == role && piece.placed(i).counts)
        .filter(|&i| piece.placed(i).slot.is_some())
        .collect()
}

fn floor_of(piece: &Piece, notes: &[usize]) -> Span {
    Span(
        notes
            .iter()
            .map(|&i| piece.placed(i).floor.0)
            .fold(0.0, f64::max),
    )
}

fn summary_of(piece: &Piece, role: Role) -> Option<Sentence> {
    let notes = on_grid(piece, role);
    if notes.is_empty() {
        return None;
    }
    let (mean, spread) = mean_and_spread(notes.iter().map(|&i| piece.placed(i).drift));
    let name = match role {
        Role::Bass => "Thumb",
        Role::Melody => "Fingers",
    };
    let count = match notes.len() {
        1 => "1 note".to_owned(),
        n => format!("{n} notes"),
    };
    let words = drift_words(mean, floor_of(piece, &notes));
    let text = if notes.len() < 2 {
        format!("{name}: {count}, {words}.")
    } else {
        format!(
            "{name}: {count}, {words} on average, spread {:.0} ms.",
            spread.ms()
        )
    };
    Some(Sentence::new(text, notes))
}

/// Fingers against thumb, on the beats or on the off-beats.
fn between_hands(piece: &Piece, on_beats: bool) -> Option<Sentence> {
    let pick = |role| -> Vec<usize> {
        let there = |&i: &usize| {
            let part = piece.placed(i).slot.map_or(0, |s| s.place.part);
            (part == 0) == on_beats
        };
        on_grid(piece, role).into_iter().filter(there).collect()
    };
    // Off the beat the thumb is often silent: the fingers are then heard against its beats.
    let fingers = pick(Role::Melody);
    let mut thumb = pick(Role::Bass);
    if !on_beats {
        thumb = on_grid(piece, Role::Bass);
    }
    if fingers.len() < 3 || thumb.len() < 3 {
        return None;
    }
    let mean = |notes: &[usize]| mean_and_spread(notes.iter().map(|&i| piece.placed(i).drift)).0;
    let gap = mean(&fingers) - mean(&thumb);
    let floor = floor_of(piece, &fingers).0.max(floor_of(piece, &thumb).0);
    if gap.abs().0 <= floor {
        return None;
    }
    let place = if on_beats { "beats" } else { "off-beats" };
    let way = if gap.0 > 0.0 { "behind" } else { "ahead of" };
    let text = format!(
        "On the {place} the fingers come {:.0} ms {way} the thumb.",
        gap.abs().ms()
    );
    let notes = fingers.into_iter().chain(thumb).collect();
    Some(Sentence::new(text, notes))
}

fn practise(piece: &Piece, slant: &SlotMean) -> Sentence {
    let place = slant.key.place.name();
    let way = if slant.mean.0 > 0.0 { "late" } else { "early" };
    let worst = slant.notes.iter().copied().max_by(|&a, &b| {
        let lean = |i: usize| piece.placed(i).drift.0 * slant.mean.0.signum();
        lean(a).total_cmp(&lean(b))
    });
    let bar = worst
        .and_then(|i| piece.placed(i).slot)
        .map(|slot| key_bar(piece, slot.at));
    let advice = bar.map_or_else(String::new, |bar| format!(" Loop bar {bar} at 60 %."));
    let place = capitalised(&place);
    let text = format!(
        "{place} comes {:.0} ms {way} with the {} in {} of {} notes.{advice}",
        slant.mean.abs().ms(),
        hand(slant.key.role),
        slant.agreeing,
        slant.notes.len(),
    );
    Sentence {
        text,
        notes: slant.notes.clone(),
        bar,
    }
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|c| c.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}
