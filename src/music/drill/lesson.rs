//! What a picking pattern becomes: its stages, from the thumb alone to silent bars.

use super::stage::{Clicks, Stage};
use super::writer::{Writer, spoken_number};
use crate::music::meter::Meter;
use crate::music::note::{Attack, Role};
use crate::music::picking::Cell;
use crate::music::progression::HeldChord;
use crate::music::syncopation::Sense;
use crate::music::tuning::Tuning;
use crate::unit::Bpm;

/// What a pattern becomes on open strings: see [`lesson`].
pub fn pattern_stages(
    name: &str,
    cell: &Cell,
    tuning: &Tuning,
    tempo: Bpm,
    bars: usize,
) -> Vec<Stage> {
    lesson(name, cell, tuning, tempo, bars, &[])
}

/// A pattern as a lesson of a few stages, each of `bars` bars (rounded up to whole cells), a chord a
/// cell where `chords` are given.
///
/// An arpeggio is planted as a block, rolled, then played whole. Everything else begins with the thumb
/// alone, is said and tapped on muted strings, then played with the melody on the beats it belongs to
/// (`syncopation::senses`); then notes are pushed ahead of their beat, then delayed behind it, to the
/// whole pattern. A pattern off the beat is played against a click on two and four and through silent
/// bars; one that swings first straight; chords are joined at last.
pub fn lesson(
    name: &str,
    cell: &Cell,
    tuning: &Tuning,
    tempo: Bpm,
    bars: usize,
    chords: &[HeldChord],
) -> Vec<Stage> {
    let writer = Writer {
        name,
        cell,
        tuning,
        tempo,
        bars,
        chords,
    };
    let mut stages = if is_arpeggio(cell) {
        writer.arpeggio()
    } else {
        writer.against_the_thumb()
    };
    if cell.swing > 0.5
        && let Some(whole) = stages.last().cloned()
    {
        let mut swing = whole.clone();
        if let Some(straight) = stages.last_mut() {
            straight.title += ", straight";
        }
        swing.title += ", swung";
        swing.swing = cell.swing;
        "long and short are the same in every beat, and the thumb stays on the beat"
            .clone_into(&mut swing.goal);
        let beats = 1..=usize::from(cell.meter.beats().max(1));
        let long_short = beats.map(|n| format!("{}-a", spoken_number(n).to_uppercase()));
        stages.push(swing.saying(long_short.collect::<Vec<_>>().join(" ")));
    }
    let syncopated = cell
        .melody_senses()
        .iter()
        .any(|(_, s)| *s != Sense::Passing);
    if syncopated
        && !is_arpeggio(cell)
        && let Some(whole) = stages.last().cloned()
    {
        if cell.meter == Meter::COMMON {
            let mut back = whole.clone().clicking(Clicks::Backbeat);
            "the whole pattern, click on two and four".clone_into(&mut back.title);
            "you count one and three; the click answers".clone_into(&mut back.goal);
            stages.push(back);
        }
        let mut silent = whole.clicking(Clicks::TwoAndTwo);
        "the whole pattern, two bars with the click and two without".clone_into(&mut silent.title);
        "the click comes back on your beat".clone_into(&mut silent.goal);
        stages.push(silent);
    }
    if chords.len() > 1 {
        stages.push(writer.join());
    }
    stages
}

/// Does every slot sound in turn, with two or more fingers' strokes after a thumb's?
fn is_arpeggio(cell: &Cell) -> bool {
    let mut places: Vec<f64> = cell.notes.iter().map(|n| n.at.0).collect();
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    let Some(step) = places
        .windows(2)
        .map(|p| p[1] - p[0])
        .min_by(f64::total_cmp)
    else {
        return false;
    };
    let even = (places.len() as f64 * step - cell.beats()).abs() < 1e-6
        && places.windows(2).all(|p| (p[1] - p[0] - step).abs() < 1e-6);
    let special = cell
        .notes
        .iter()
        .any(|n| n.touch.brush.is_some() || n.attack != Attack::Pluck);
    let thumb = |at: f64| {
        cell.notes
            .iter()
            .any(|n| n.role == Role::Bass && (n.at.0 - at).abs() < 1e-6)
    };
    let run = places.windows(2).any(|p| !thumb(p[0]) && !thumb(p[1]));
    even && !special && step < 1.0 - 1e-6 && run && thumb(places[0])
}
