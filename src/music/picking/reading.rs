//! What a recording's picking repeats, read for a player: the cell, how faithfully it is kept, what is
//! near it, and how its melody is syncopated.

use super::cell::{Cell, count};
use super::find::{FoundCell, PlacedNote, find, place};
use super::pattern::{NEAR, Pattern, nearest};
use crate::music::grid::Grid;
use crate::music::hand::Hand;
use crate::music::meter::Meter;
use crate::music::note::{Note, Role};
use crate::music::pitch::Key;
use crate::music::progression::{self, HeldChord};
use crate::music::score::{Score, Written};
use crate::music::syncopation::{self, BarSyncopation, Sense};
use crate::music::tuning::Tuning;
use crate::unit::{Beats, Bpm};

/// Known patterns that are named.
const NEAREST: usize = 3;

/// Chords that are practised of a recording.
const CHORDS: usize = 4;

/// Below this share of strokes that agree with the cell, it is not called the pattern.
const HARDLY: f64 = 0.5;

/// From this share of its strokes on, a bar is said to keep the pattern.
pub const KEEPS: f64 = 0.75;

/// A pattern that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct PatternReading {
    /// The cell, and every bar against it.
    pub found: FoundCell,
    /// Known patterns with their distance from it (0 the same, 1 nothing in common), the nearest first.
    pub nearest: Vec<(String, f64)>,
    /// The melody's syncopation bar by bar.
    pub bars: Vec<BarSyncopation>,
}

impl PatternReading {
    /// Reads the notes of a recording on their grid, against known `patterns`; none without a steady beat
    /// and at least two bars.
    pub fn of(notes: &[Note], grid: &Grid, patterns: &[Pattern]) -> Option<Self> {
        let placed = place(notes, grid);
        let found = find(&placed, grid.meter)?;
        let near = nearest(&found.cell, patterns).into_iter().take(NEAREST);
        Some(Self {
            nearest: near
                .map(|(p, distance)| (p.name.clone(), distance))
                .collect(),
            bars: melody_syncopation(&placed, grid.meter, found.cell.division),
            found,
        })
    }

    /// Mean of both measures of syncopation over all bars.
    pub fn syncopation(&self) -> (f64, f64) {
        let bars = self.bars.len().max(1) as f64;
        let missed: i32 = self.bars.iter().map(|b| b.missed_beat).sum();
        let distance: f64 = self.bars.iter().map(|b| b.beat_distance).sum();
        (f64::from(missed) / bars, distance / bars)
    }

    /// Share of strokes that agree with the cell, over all bars.
    pub fn faithful(&self) -> f64 {
        let fits = &self.found.fits;
        fits.iter().map(|f| f.faithful).sum::<f64>() / fits.len().max(1) as f64
    }

    /// A pulse of the melody as a player counts it.
    pub fn pulse(&self, pulse: usize) -> String {
        let cell = &self.found.cell;
        let at = Beats(pulse as f64 / f64::from(cell.division.max(1)));
        count(cell.meter, at)
    }

    /// What a player can use, a sentence each: length, pushes and delays, bars that differ, what is like
    /// it.
    pub fn sentences(&self) -> Vec<String> {
        let cell = &self.found.cell;
        let fits = &self.found.fits;
        let bars = match cell.bars {
            1 => "one bar".to_owned(),
            n => format!("{n} bars"),
        };
        let keep = fits.iter().filter(|f| f.faithful >= KEEPS).count();
        let mut said = vec![if self.faithful() < HARDLY {
            format!(
                "Hardly a pattern: what repeats most is {bars} of {} long, and most bars leave it.",
                cell.meter
            )
        } else {
            format!(
                "The pattern is {bars} of {} long; {keep} of {} bars keep it.",
                cell.meter,
                fits.len()
            )
        }];
        said.extend(cell.senses_said());
        let other = fits.iter().filter(|f| f.faithful < KEEPS);
        let other: Vec<i32> = other.map(|f| f.number).collect();
        if !other.is_empty() && keep > 0 {
            said.push(format!("Bars that differ: {}.", runs(&other)));
        }
        said.extend(self.found.variants.iter().map(|variant| {
            let part = |wanted: Role, name: &str| {
                let of = variant.strokes.iter().filter(|(_, role)| *role == wanted);
                let at: Vec<String> = of.map(|(at, _)| count(cell.meter, *at)).collect();
                (!at.is_empty()).then(|| format!("{name} on {}", at.join(" ")))
            };
            let parts = [part(Role::Bass, "thumb"), part(Role::Melody, "fingers")];
            let parts: Vec<String> = parts.into_iter().flatten().collect();
            let (bars, play) = match variant.bars.as_slice() {
                [_] => ("Bar", "plays"),
                _ => ("Bars", "play"),
            };
            format!(
                "{bars} {} {play} instead: {}.",
                runs(&variant.bars),
                parts.join("; ")
            )
        }));
        said.extend(like(&self.nearest));
        said
    }
}

/// Bars as a player names them: `1-3, 5 and 8-10`. Sorted ones.
fn runs(bars: &[i32]) -> String {
    let mut runs: Vec<(i32, i32)> = Vec::new();
    for bar in bars {
        match runs.last_mut() {
            Some(run) if run.1 + 1 == *bar => run.1 = *bar,
            _ => runs.push((*bar, *bar)),
        }
    }
    let named = runs.iter().flat_map(|&(from, to)| match to - from {
        0 => vec![from.to_string()],
        1 => vec![from.to_string(), to.to_string()],
        _ => vec![format!("{from}-{to}")],
    });
    let mut named: Vec<String> = named.collect();
    match named.pop() {
        Some(last) if !named.is_empty() => format!("{} and {last}", named.join(", ")),
        last => last.unwrap_or_default(),
    }
}

/// Which known pattern a cell is or is like; none where nothing is near.
pub fn like(nearest: &[(String, f64)]) -> Option<String> {
    let (name, distance) = nearest.first().filter(|(_, d)| *d < NEAR)?;
    let how = if *distance < 0.15 {
        "It is"
    } else {
        "Nearest known pattern:"
    };
    Some(format!("{how} “{name}”."))
}

/// The melody's syncopation bar by bar.
fn melody_syncopation(placed: &[PlacedNote], meter: Meter, division: u8) -> Vec<BarSyncopation> {
    let onsets: Vec<usize> = placed
        .iter()
        .filter(|n| n.role == Role::Melody)
        .map(|n| (n.at.0 * f64::from(division)).round())
        .filter(|slot| (0.0..1e7).contains(slot))
        .map(|slot| slot as usize)
        .collect();
    syncopation::line(&onsets, meter, division)
}

/// The first chords of a recording, a grip for every cell of `bars` bars: what a pattern found in it is
/// practised on.
pub fn chords_heard(notes: &[Note], grid: &Grid, tuning: &Tuning, bars: u8) -> Vec<HeldChord> {
    let hand = Hand::with_capo(tuning.capo());
    let mut held = progression::heard(notes, grid, tuning, &hand, bars);
    held.truncate(CHORDS);
    held
}

impl Cell {
    /// Where its melody is pushed ahead of its beat and where it is delayed behind it, a sentence each.
    pub fn senses_said(&self) -> Vec<String> {
        let senses = self.melody_senses();
        let named = |wanted: fn(&Sense) -> bool| -> (String, &str) {
            let of = senses.iter().filter(|(_, s)| wanted(s));
            let names: Vec<String> = of.map(|(at, _)| self.count(Beats(*at))).collect();
            let which = if names.len() == 1 { "it" } else { "each" };
            (names.join(" "), which)
        };
        let (pushed, who) = named(|s| matches!(s, Sense::Pushed { .. }));
        let mut said = Vec::new();
        if !pushed.is_empty() {
            said.push(format!(
                "The melody is pushed at {pushed}: {who} belongs to the next beat."
            ));
        }
        let (delayed, who) = named(|s| matches!(s, Sense::Delayed { .. }));
        if !delayed.is_empty() {
            said.push(format!(
                "The melody is delayed at {delayed}: {who} belongs to the beat before."
            ));
        }
        said
    }

    /// It on open strings, once, at `tempo`.
    pub fn score(&self, tuning: &Tuning, tempo: Bpm) -> Score {
        let notes = self.notes.iter().flat_map(|n| {
            let strings = if n.touch.brush.is_some() {
                n.strings.as_slice()
            } else {
                n.strings.get(..1).unwrap_or_default()
            };
            strings.iter().map(move |string| {
                let mut note = Written::pluck(n.at, Beats(1.0), *string, 0);
                note.role = n.role;
                note.finger = Some(n.finger);
                note.touch = n.touch;
                note.attack = n.attack;
                note
            })
        });
        Score::settled(
            "pattern",
            tuning,
            self.meter,
            tempo,
            Key::default(),
            notes.collect(),
        )
    }
}
