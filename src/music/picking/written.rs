//! A cell out of written notes: whose hand plays each, on which string, and what is repeated.

use super::cell::Cell;
use super::find::{PlacedNote, find};
use crate::music::meter::Meter;
use crate::music::note::Role;
use crate::music::tuning::Tuning;
use crate::unit::Beats;
use std::collections::{BTreeMap, BTreeSet};

/// A note as it is written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WrittenStroke {
    /// Beats after the first beat of a bar, never negative.
    pub at: Beats,
    /// Sounding pitch (MIDI).
    pub midi: i32,
    /// Its string, where that is written.
    pub string: Option<u8>,
    /// Its part and voice: two numbers are two voices.
    pub voice: u32,
}

/// Highest fret that a note is looked for on.
const HIGHEST: i32 = 14;
/// A file of so many bars is a cell rather than a piece: no cell is longer.
const SHORT: f64 = 4.0;
/// The lowest string that fingers usually play (common practice: the thumb has 4, 5 and 6).
const FINGERS: u8 = 3;

/// The cell that `strokes` repeat in `tuning`; a lone bar is one. Of several voices the lowest is the
/// thumb's; in one voice the thumb has the strings from the fourth on. None where nothing is written.
pub fn of_strokes(strokes: &[WrittenStroke], meter: Meter, tuning: &Tuning) -> Option<Cell> {
    let thumb = thumbs_voice(strokes);
    let mut taken: BTreeSet<(i64, u8)> = BTreeSet::new();
    let mut placed: Vec<PlacedNote> = Vec::with_capacity(strokes.len());
    for stroke in strokes {
        let moment = (stroke.at.0 * 48.0).round() as i64;
        let mut places = tuning.places(stroke.midi, HIGHEST);
        places.sort_by_key(|(_, fret)| *fret);
        let free = places.iter().map(|p| p.0);
        let string = stroke
            .string
            .or_else(|| free.clone().find(|s| !taken.contains(&(moment, *s))));
        taken.extend(string.map(|s| (moment, s)));
        let low = string.is_some_and(|s| s > FINGERS);
        let bass = thumb.map_or(low, |voice| voice == stroke.voice);
        placed.push(PlacedNote {
            at: stroke.at,
            role: if bass { Role::Bass } else { Role::Melody },
            string,
        });
    }
    let per_bar = f64::from(meter.beats().max(1));
    let last = placed.iter().map(|p| p.at.0).reduce(f64::max)?;
    let bars = (last / per_bar).floor() + 1.0;
    if bars <= SHORT {
        // What is written once is meant to come round.
        let again = placed.clone().into_iter().map(|p| PlacedNote {
            at: Beats(p.at.0 + bars * per_bar),
            ..p
        });
        placed.extend(again);
    }
    find(&placed, meter).map(|found| found.cell)
}

/// The lowest voice on the average, where there are several.
fn thumbs_voice(strokes: &[WrittenStroke]) -> Option<u32> {
    let mut voices: BTreeMap<u32, (f64, f64)> = BTreeMap::new();
    for stroke in strokes {
        let (sum, count) = voices.entry(stroke.voice).or_default();
        *sum += f64::from(stroke.midi);
        *count += 1.0;
    }
    if voices.len() < 2 {
        return None;
    }
    let mean = |v: &(f64, f64)| v.0 / v.1;
    let lowest = voices
        .iter()
        .min_by(|a, b| mean(a.1).total_cmp(&mean(b.1)))?;
    Some(*lowest.0)
}
