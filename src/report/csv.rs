//! Analysis → CSV (RFC 4180): a row a note, for spreadsheets.

use crate::analysis::Analysis;
use crate::music::note::{Attack, Role};
use std::fmt::Write;

/// The header row.
const COLUMNS: &str = "time_s,end_s,role,role_confidence,midi,string,fret,attack,strength_db,\
                       confidence,bar,beat";

/// The notes of an analysis in order of time: a header, then a row a note, rows ended by CRLF.
///
/// Empty fields are not known. `bar` counts as a player does, `beat` is the place in the bar with
/// its fraction (1 is the downbeat); both are empty where there is no grid.
pub fn notes(found: &Analysis) -> String {
    let mut out = format!("{COLUMNS}\r\n");
    for note in found.notes.iter().filter(|n| n.attack != Attack::Tap) {
        let role = match note.role {
            Role::Bass => "bass",
            Role::Melody => "melody",
        };
        let (bar, beat) = place(found, note.time).unzip();
        // Writing to a string cannot fail.
        let _ = write!(
            out,
            "{:.6},{:.6},{role},{:.3},{},{},{},{},{:.2},{:.3},{},{}\r\n",
            note.time.0,
            note.end.0,
            note.role_confidence,
            field(note.pitch.map(|p| format!("{:.3}", p.0))),
            field(note.string),
            field(note.fret),
            attack(note.attack),
            note.strength.0,
            note.confidence,
            field(bar),
            field(beat.map(|b| format!("{b:.3}"))),
        );
    }
    out
}

/// Bar and place in the bar of an instant.
fn place(found: &Analysis, time: crate::unit::Seconds) -> Option<(i32, f64)> {
    let at = found.grid.beat_at(time)?;
    let beats = found.grid.beats();
    let index = (at.0.floor().max(0.0) as usize).min(beats.len().checked_sub(1)?);
    let beat = beats[index];
    Some((beat.bar, f64::from(beat.place) + at.0 - index as f64))
}

fn attack(attack: Attack) -> &'static str {
    match attack {
        Attack::Pluck => "pluck",
        Attack::HammerOn => "hammer_on",
        Attack::PullOff => "pull_off",
        Attack::Slide => "slide",
        Attack::Harmonic => "harmonic",
        Attack::Dead => "dead",
        Attack::Tap => "tap",
    }
}

fn field(value: Option<impl ToString>) -> String {
    value.map(|v| v.to_string()).unwrap_or_default()
}
