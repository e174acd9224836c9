//! Positions and lengths → note values, with dots, triplets and ties.

use crate::music::meter::Meter;
use crate::music::note::Role;
use crate::music::score::Score;

/// Units a quarter note: holds halves down to 32nds and triplets of all of them.
pub(super) const DIVISIONS: u32 = 24;

/// One written value of one voice: notes sounding together, or a rest.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Piece {
    /// Length in units.
    pub units: u32,
    /// Name of the note value.
    pub kind: &'static str,
    /// One dot.
    pub dotted: bool,
    /// Three in the time of two.
    pub triplet: bool,
    /// Indices of the score's notes; empty for a rest.
    pub notes: Vec<usize>,
    /// Tied to the piece before.
    pub continues: bool,
    /// Tied to the piece after.
    pub goes_on: bool,
}

/// Values without a triplet as (units, name, dotted), longest first.
const PLAIN: [(u32, &str, bool); 11] = [
    (144, "whole", true),
    (96, "whole", false),
    (72, "half", true),
    (48, "half", false),
    (36, "quarter", true),
    (24, "quarter", false),
    (18, "eighth", true),
    (12, "eighth", false),
    (9, "16th", true),
    (6, "16th", false),
    (3, "32nd", false),
];

/// Values of triplets.
const TRIPLET: [(u32, &str); 5] = [
    (16, "quarter"),
    (8, "eighth"),
    (4, "16th"),
    (2, "32nd"),
    (1, "64th"),
];

fn beat_units(meter: Meter) -> u32 {
    let unit = (DIVISIONS * 4 / u32::from(meter.unit.max(1))).max(1);
    if meter.is_compound() { 3 * unit } else { unit }
}

/// Length of a bar in units.
pub(super) fn bar_units(meter: Meter) -> u32 {
    beat_units(meter) * u32::from(meter.beats().max(1))
}

/// One voice of one bar (from 0), without gaps.
pub(super) fn pieces(score: &Score, role: Role, bar: usize) -> Vec<Piece> {
    let beat = beat_units(score.meter);
    let length = bar_units(score.meter);
    let units = |beats: f64| (beats * f64::from(beat)).round() as i64;
    let start = bar as i64 * i64::from(length);
    let mut onsets: Vec<(u32, Vec<usize>)> = Vec::new();
    let inside = score.notes.iter().enumerate().filter(|(_, n)| {
        let at = units(n.at.0) - start;
        n.role == role && (0..i64::from(length)).contains(&at) && score.pitch(n).is_some()
    });
    for (i, note) in inside {
        let at = (units(note.at.0) - start) as u32;
        match onsets.last_mut() {
            Some((last, notes)) if *last == at => notes.push(i),
            _ => onsets.push((at, vec![i])),
        }
    }
    let mut out = Vec::new();
    let mut now = 0;
    for (i, (at, notes)) in onsets.iter().enumerate() {
        values(&mut out, now, *at, beat, &[]);
        let next = onsets.get(i + 1).map_or(length, |n| n.0);
        let longest = notes.iter().map(|n| units(score.notes[*n].length.0)).max();
        let end = longest.map_or(next, |l| at + l.max(1) as u32).min(next);
        values(&mut out, *at, end, beat, notes);
        now = end;
    }
    values(&mut out, now, length, beat, &[]);
    out
}

/// Writes what lasts from `from` to `to` as values: what begins off the beat is tied over it, so
/// that the beat stays visible.
fn values(out: &mut Vec<Piece>, from: u32, to: u32, beat: u32, notes: &[usize]) {
    let first = out.len();
    let mut now = from;
    while now < to {
        let next_beat = (now / beat + 1) * beat;
        let room = if now.is_multiple_of(beat) {
            to
        } else {
            to.min(next_beat)
        } - now;
        let (units, kind, dotted, triplet) = value(now, room);
        out.push(Piece {
            units,
            kind,
            dotted,
            triplet,
            notes: notes.to_vec(),
            continues: !notes.is_empty() && now > from,
            goes_on: !notes.is_empty() && now + units < to,
        });
        now += units;
    }
    debug_assert!(out.len() >= first);
}

/// The longest value that fits into `room` from `now`.
fn value(now: u32, room: u32) -> (u32, &'static str, bool, bool) {
    let plain = now.is_multiple_of(3);
    // A remainder that no plain value fills belongs to a triplet.
    if plain && (room.is_multiple_of(3) || room > DIVISIONS) {
        let room = if room.is_multiple_of(3) {
            room
        } else {
            room / DIVISIONS * DIVISIONS
        };
        if let Some((units, kind, dotted)) = PLAIN.iter().find(|p| p.0 <= room) {
            return (*units, kind, *dotted, false);
        }
    }
    let (units, kind) = TRIPLET
        .iter()
        .find(|t| t.0 <= room)
        .copied()
        .unwrap_or((1, "64th"));
    (units, kind, false, true)
}
