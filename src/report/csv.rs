//! Analysis → CSV (RFC 4180): a row a note, for spreadsheets.

use super::sign::NOTES;
use crate::analysis::Analysis;
use crate::music::note::{Attack, Role};
use crate::timing::{Drift, Standing};
use crate::unit::Span;
use std::fmt::Write;

/// The header row, after [`NOTES`].
const COLUMNS: &str = ",midi,string,fret,attack,strength_db,\
                       confidence,bar,beat,part,parts,drift_ms,floor_ms";

/// The notes of an analysis in order of time: a header, then a row a note, rows ended by CRLF.
///
/// Empty fields are not known. `bar`, `beat`, `part` and `parts` name the slot a note is meant
/// for: `part` of `parts` of the beat, 0 is the beat itself. A positive `drift_ms` is late; within
/// ± `floor_ms` it is not heard, or not measured for certain.
pub fn notes(found: &Analysis, drift: &Drift) -> String {
    let mut out = format!("{NOTES}{COLUMNS}\r\n");
    let placed = found.tuning_known() && found.solo.is_one_guitar();
    let drifts = drift.notes.iter().chain(std::iter::repeat(&None));
    for (note, drift) in found.notes.iter().zip(drifts) {
        if note.attack == Attack::Tap {
            continue;
        }
        let role = match note.role {
            Role::Bass => "bass",
            Role::Melody => "melody",
        };
        let slot = drift
            .filter(|d| d.standing != Standing::Between)
            .map(|d| d.slot);
        // Writing to a string cannot fail.
        let _ = write!(
            out,
            "{:.6},{:.6},{role},{:.3},{},{},{},{},{:.2},{:.3},{},{},{},{},{},{}\r\n",
            note.time.0,
            note.end.0,
            note.role_confidence,
            field(note.pitch.map(|p| format!("{:.3}", p.0))),
            field(note.string.filter(|_| placed)),
            field(note.fret.filter(|_| placed)),
            attack(note.attack),
            note.strength.0,
            note.confidence,
            field(drift.map(|d| d.bar)),
            field(slot.map(|s| s.beat)),
            field(slot.map(|s| s.part)),
            field(slot.map(|s| s.parts)),
            field(drift.and_then(|d| d.drift).map(ms)),
            field(drift.map(|d| ms(d.floor))),
        );
    }
    out
}

fn ms(span: Span) -> String {
    format!("{:.3}", span.ms())
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
