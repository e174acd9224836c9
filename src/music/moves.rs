//! Going from one tuning to another: what stays under the fingers and what moves.

use super::tuning::Tuning;

/// One string between two tunings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StringMove {
    /// String, 1 = highest.
    pub string: u8,
    /// Open pitch before (MIDI).
    pub from: i32,
    /// Open pitch after.
    pub to: i32,
}

impl StringMove {
    /// Frets by which every note on this string moves up (a slackened string: above 0).
    pub fn frets(self) -> i32 {
        self.from - self.to
    }
}

/// Strings that both tunings have, the lowest first. Capos count.
pub fn string_moves(from: &Tuning, to: &Tuning) -> Vec<StringMove> {
    (1..=from.strings().max(to.strings()))
        .rev()
        .filter_map(|string| {
            Some(StringMove {
                string,
                from: from.open(string)?,
                to: to.open(string)?,
            })
        })
        .collect()
}

/// What moves between two tunings, a sentence each: what stays first; nothing where nothing moves.
pub fn sentences(moves: &[StringMove]) -> Vec<String> {
    let moving: Vec<&StringMove> = moves.iter().filter(|m| m.frets() != 0).collect();
    if moving.is_empty() {
        return Vec::new();
    }
    let staying = moves.iter().filter(|m| m.frets() == 0);
    let staying: Vec<String> = staying.map(|m| m.string.to_string()).collect();
    let mut said = Vec::new();
    if !staying.is_empty() {
        said.push(format!("stays: everything on string {}", staying.join(" ")));
    }
    said.extend(moving.iter().map(|m| {
        let frets = m.frets();
        let (how, where_to) = if frets > 0 {
            ("slackened", "higher")
        } else {
            ("tightened", "lower")
        };
        let by = frets.abs();
        let s = if by == 1 { "" } else { "s" };
        format!(
            "string {} is {how}: its notes lie {by} fret{s} {where_to}",
            m.string
        )
    }));
    said
}

/// What happens to one place of the old tuning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// The note stays where it was.
    Stays,
    /// It lies this many frets higher (lower: below 0) on the same string.
    Moves(i32),
    /// Its string no longer has it.
    Gone,
}

/// What happens to the note at (`string`, `fret`) when the tuning changes; frets up to `highest`.
/// None when the string is missing in the old tuning.
pub fn fate(from: &Tuning, to: &Tuning, string: u8, fret: i32, highest: i32) -> Option<Fate> {
    let midi = from.open(string)? + fret;
    Some(match to.fret(string, midi, highest) {
        Some(new) if new == fret => Fate::Stays,
        Some(new) => Fate::Moves(new - fret),
        None => Fate::Gone,
    })
}
