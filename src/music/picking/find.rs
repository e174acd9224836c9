//! Finding the cell that a right hand repeats.
//!
//! A cell of one to four bars is a description of all bars: what it says of every slot, and where
//! bars differ from it. The shortest description in all wins (minimum description length,
//! Rissanen 1978, from memory), so that a longer cell must earn its length.

use super::cell::{Cell, CellNote};
use crate::music::grid::Grid;
use crate::music::meter::Meter;
use crate::music::note::{Attack, Note, Role};
use crate::music::score::{Brush, Finger, Touch};
use crate::unit::Beats;
use std::collections::BTreeMap;

/// A note on the beat grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlacedNote {
    /// Beats after the first downbeat; may be negative in a pick-up.
    pub at: Beats,
    /// Whose part.
    pub role: Role,
    /// Its string, where that is known.
    pub string: Option<u8>,
}

/// How one bar follows the cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BarFit {
    /// Bar number, from 1.
    pub number: i32,
    /// Which bar of the cell it is, from 0.
    pub of_cell: u8,
    /// Strokes that both have over strokes that either has, 0 to 1.
    pub faithful: f64,
}

/// Another way of playing one bar of the cell that comes back.
#[derive(Debug, Clone, PartialEq)]
pub struct Variant {
    /// Which bar of the cell it replaces, from 0.
    pub of_cell: u8,
    /// Bars that play it, from 1; at least two.
    pub bars: Vec<i32>,
    /// Strokes it has: beats after the bar's start, and part.
    pub strokes: Vec<(Beats, Role)>,
}

/// A cell found in a piece.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundCell {
    /// The cell.
    pub cell: Cell,
    /// Every bar against it, in order.
    pub fits: Vec<BarFit>,
    /// Ways of playing a bar that differ from the cell and come back, most frequent first.
    pub variants: Vec<Variant>,
}

/// Longest cell that is looked for, in bars.
const LONGEST: usize = 4;

/// Nats for one slot of one bar that differs from the cell: ln((1 − e)/e) with 8 % of strokes
/// missed, added or varied.
const DIFFERENT: f64 = 2.44;

/// Nats for one stroke that a cell names, and for one string it names for it: chosen by hand, before
/// the generated patterns of `tests/patterns.rs` were looked at.
const NAMED: f64 = 2.2;
const STRING_NAMED: f64 = 1.4;

/// A string that differs weighs less than a stroke that is missing.
const STRING_SHARE: f64 = 0.5;

/// Standard deviation of a player's placing in beats, for choosing the division.
const PLACING: f64 = 0.045;

/// Notes of an analysis on its grid: those that are plucked, from the first downbeat on.
pub fn place(notes: &[Note], grid: &Grid) -> Vec<PlacedNote> {
    let Some(first) = grid.beats().iter().position(|b| b.place == 1) else {
        return Vec::new();
    };
    notes
        .iter()
        .filter(|n| !matches!(n.attack, Attack::HammerOn | Attack::PullOff | Attack::Slide))
        .filter(|n| n.attack != Attack::Tap)
        .filter_map(|n| {
            let at = grid.beat_at(n.time)?;
            Some(PlacedNote {
                at: Beats(at.0 - first as f64),
                role: n.role,
                string: n.string,
            })
        })
        .collect()
}

/// The cell that `notes` repeat; none when they fill less than two bars.
pub fn find(notes: &[PlacedNote], meter: Meter) -> Option<FoundCell> {
    let per_bar = f64::from(meter.beats().max(1));
    let last = notes.iter().map(|n| n.at.0).fold(f64::MIN, f64::max);
    if !(last.is_finite() && (per_bar..1e6).contains(&last)) {
        return None;
    }
    let division = division(notes, meter);
    let pages = pages(notes, meter, division);
    if pages.len() < 2 {
        return None;
    }
    let longest = LONGEST.min(pages.len() / 2).max(1);
    let bars = (1..=longest)
        .map(|bars| (bars, cost(&pages, bars)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?
        .0;
    let cell = cell(&pages, bars, meter, division);
    let fits = fits(&pages, &cell);
    let variants = variants(&pages, &cell, &fits);
    Some(FoundCell {
        cell,
        fits,
        variants,
    })
}

/// Slots a beat divides into: the fewest that explain the placing of the notes.
pub fn division(notes: &[PlacedNote], meter: Meter) -> u8 {
    let choices: &[u8] = if meter.is_compound() {
        &[1, 3, 6]
    } else {
        &[1, 2, 3, 4]
    };
    let cost = |d: u8| -> f64 {
        let slots = f64::from(d);
        notes
            .iter()
            .map(|n| {
                let slot = n.at.0 * slots;
                let off = (slot - slot.round()) / slots / PLACING;
                (0.5 * off * off).min(6.0) + slots.ln()
            })
            .sum()
    };
    let best = choices
        .iter()
        .copied()
        .min_by(|a, b| cost(*a).total_cmp(&cost(*b)));
    best.unwrap_or(2)
}

/// What one bar has at each (slot, part): the strings, where known.
type Page = BTreeMap<(i64, Part), Vec<u8>>;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Part {
    Thumb,
    Fingers,
}

impl Part {
    fn of(role: Role) -> Self {
        match role {
            Role::Bass => Self::Thumb,
            Role::Melody => Self::Fingers,
        }
    }

    fn role(self) -> Role {
        match self {
            Self::Thumb => Role::Bass,
            Self::Fingers => Role::Melody,
        }
    }
}

/// Bars from the first downbeat to the last note's.
fn pages(notes: &[PlacedNote], meter: Meter, division: u8) -> Vec<Page> {
    let slots = i64::from(meter.beats().max(1)) * i64::from(division);
    let mut pages: Vec<Page> = Vec::new();
    for note in notes {
        let slot = (note.at.0 * f64::from(division)).round() as i64;
        if slot < 0 {
            continue;
        }
        let bar = (slot / slots) as usize;
        if bar >= pages.len() {
            pages.resize(bar + 1, Page::new());
        }
        let strings = pages[bar]
            .entry((slot % slots, Part::of(note.role)))
            .or_default();
        strings.extend(note.string);
    }
    // An unfinished last bar is no bar: often one final note.
    while pages.len() > 2 && pages.last().is_some_and(|p| p.len() < 2) {
        pages.pop();
    }
    pages
}

/// Counts of strokes and of strings at each (slot, part) of one bar of the cell.
type Tally = BTreeMap<(i64, Part), (usize, BTreeMap<u8, usize>)>;

fn tally(pages: &[Page], bars: usize, of_cell: usize) -> (Tally, usize) {
    let mut tally = Tally::new();
    let mut repeats = 0;
    for page in pages.iter().skip(of_cell).step_by(bars) {
        repeats += 1;
        for (key, strings) in page {
            let (count, by_string) = tally.entry(*key).or_default();
            *count += 1;
            for string in strings {
                *by_string.entry(*string).or_default() += 1;
            }
        }
    }
    (tally, repeats)
}

/// Length in nats of describing every bar by a cell of `bars` bars.
fn cost(pages: &[Page], bars: usize) -> f64 {
    (0..bars)
        .map(|of_cell| {
            let (tally, repeats) = tally(pages, bars, of_cell);
            tally
                .values()
                .map(|(count, by_string)| {
                    let rest = repeats - count;
                    let named = if *count > rest { NAMED } else { 0.0 };
                    let strings: f64 = by_string
                        .values()
                        .map(|k| {
                            let k = (*k).min(*count);
                            let named = if 2 * k > *count { STRING_NAMED } else { 0.0 };
                            named + STRING_SHARE * DIFFERENT * k.min(count - k) as f64
                        })
                        .sum();
                    named + strings + DIFFERENT * (*count).min(rest) as f64
                })
                .sum::<f64>()
        })
        .sum()
}

/// The cell of `bars` bars: what more than half of its repetitions have.
fn cell(pages: &[Page], bars: usize, meter: Meter, division: u8) -> Cell {
    let per_bar = f64::from(meter.beats().max(1));
    let mut notes = Vec::new();
    for of_cell in 0..bars {
        let (tally, repeats) = tally(pages, bars, of_cell);
        for ((slot, part), (count, by_string)) in tally {
            if 2 * count <= repeats {
                continue;
            }
            let at = of_cell as f64 * per_bar + slot as f64 / f64::from(division);
            let mut strings: Vec<(u8, usize)> = by_string.into_iter().collect();
            strings.sort_by_key(|(string, k)| (std::cmp::Reverse(*k), *string));
            let share = |k: usize| k.min(count) as f64 / repeats as f64;
            let stroke = |strings: Vec<u8>, k: usize| CellNote {
                at: Beats(at),
                role: part.role(),
                strings,
                finger: Finger::P,
                share: share(k),
                attack: Attack::Pluck,
                touch: Touch::default(),
                tied: false,
            };
            // Strings that sound there in most repeats sound together.
            let together: Vec<u8> = strings
                .iter()
                .filter(|(_, k)| 4 * k > 3 * count)
                .map(|(string, _)| *string)
                .collect();
            if part == Part::Thumb && together.len() > 2 {
                // A thumb does not pluck three strings at once: it brushes them.
                let mut brush = stroke(together, count);
                brush.strings.sort_unstable_by(|a, b| b.cmp(a));
                brush.touch.brush = Some(Brush::Down);
                notes.push(brush);
            } else if part == Part::Fingers && together.len() > 1 {
                notes.extend(together.into_iter().map(|s| stroke(vec![s], count)));
            } else {
                strings.retain(|(_, k)| 4 * k >= count);
                notes.push(stroke(strings.into_iter().map(|(s, _)| s).collect(), count));
            }
        }
    }
    assign_fingers(&mut notes);
    let mut cell = Cell {
        meter,
        bars: bars as u8,
        division,
        notes,
        rests: Vec::new(),
        swing: 0.5,
    };
    cell.sort();
    cell
}

/// Gives the thumb its part, and i, m, a to the melody's strings from the lowest; a finger that would
/// play twice running within a beat takes turns with its neighbour, as a teacher has it.
fn assign_fingers(notes: &mut [CellNote]) {
    let mut strings: Vec<u8> = notes
        .iter()
        .filter(|n| n.role == Role::Melody)
        .filter_map(|n| n.strings.first().copied())
        .collect();
    strings.sort_unstable_by(|a, b| b.cmp(a));
    strings.dedup();
    let mut turn = false;
    for note in notes.iter_mut().filter(|n| n.role == Role::Melody) {
        let string = note.strings.first();
        let rank = string.and_then(|s| strings.iter().position(|k| k == s));
        note.finger = match (strings.len(), rank) {
            (0 | 1, _) => {
                turn = !turn;
                if turn { Finger::I } else { Finger::M }
            }
            (_, Some(0)) => Finger::I,
            (_, Some(1) | None) => Finger::M,
            _ => Finger::A,
        };
    }
    let mut last: (f64, Vec<Finger>) = (f64::NEG_INFINITY, Vec::new());
    let mut now: (f64, Vec<Finger>) = last.clone();
    for note in notes.iter_mut().filter(|n| n.role == Role::Melody) {
        if note.at.0 > now.0 + 1e-6 {
            last = std::mem::replace(&mut now, (note.at.0, Vec::new()));
        }
        let quick = note.at.0 - last.0 < 1.0 - 1e-6;
        if quick && last.1.contains(&note.finger) {
            let other = match note.finger {
                Finger::M => [Finger::A, Finger::I],
                Finger::A => [Finger::M, Finger::I],
                Finger::I | Finger::P => [Finger::M, Finger::A],
            };
            let free = |f: &&Finger| !last.1.contains(f) && !now.1.contains(f);
            note.finger = other.iter().find(free).copied().unwrap_or(note.finger);
        }
        now.1.push(note.finger);
    }
}

/// Strokes of one bar of the cell as (slot, part).
fn expected(cell: &Cell, of_cell: usize) -> Vec<(i64, Part)> {
    let slots = i64::from(cell.meter.beats().max(1)) * i64::from(cell.division);
    cell.notes
        .iter()
        .map(|n| {
            let slot = (n.at.0 * f64::from(cell.division)).round() as i64;
            (slot / slots, slot % slots, Part::of(n.role))
        })
        .filter(|(bar, ..)| *bar == of_cell as i64)
        .map(|(_, slot, part)| (slot, part))
        .collect()
}

fn fits(pages: &[Page], cell: &Cell) -> Vec<BarFit> {
    let bars = usize::from(cell.bars);
    pages
        .iter()
        .enumerate()
        .map(|(i, page)| {
            let expected = expected(cell, i % bars);
            let both = expected.iter().filter(|key| page.contains_key(key)).count();
            let either = expected.len() + page.len() - both;
            BarFit {
                number: i as i32 + 1,
                of_cell: (i % bars) as u8,
                faithful: if either == 0 {
                    1.0
                } else {
                    both as f64 / either as f64
                },
            }
        })
        .collect()
}

/// Slots and parts of one bar.
type Strokes = Vec<(i64, Part)>;

fn variants(pages: &[Page], cell: &Cell, fits: &[BarFit]) -> Vec<Variant> {
    let mut groups: BTreeMap<(u8, Strokes), Vec<i32>> = BTreeMap::new();
    for (page, fit) in pages.iter().zip(fits).filter(|(_, f)| f.faithful < 1.0) {
        let strokes: Strokes = page.keys().copied().collect();
        groups
            .entry((fit.of_cell, strokes))
            .or_default()
            .push(fit.number);
    }
    let mut variants: Vec<Variant> = groups
        .into_iter()
        .filter(|((_, strokes), bars)| bars.len() >= 2 && !strokes.is_empty())
        .map(|((of_cell, strokes), bars)| Variant {
            of_cell,
            bars,
            strokes: strokes
                .into_iter()
                .map(|(slot, part)| (Beats(slot as f64 / f64::from(cell.division)), part.role()))
                .collect(),
        })
        .collect();
    variants.sort_by_key(|v| std::cmp::Reverse(v.bars.len()));
    variants
}
