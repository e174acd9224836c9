//! Rows: which bars and which notes stand in each.

use super::options::Options;
use super::pattern::{self, Pattern};
use super::piece::{Piece, Placed};
use crate::music::grid::Grid;
use crate::music::note::Note;
use crate::unit::{Beats, Seconds, Span};

/// Seconds in a row of free time.
pub(super) const FREE_ROW: f64 = 4.0;
/// A second of free time is as wide as this many beats, so that a row of it is as wide as a bar
/// of four.
pub(super) const BEATS_A_SECOND: f64 = 1.0;
/// Beats shorter than this are a broken grid, not music.
const SHORTEST_BEAT: f64 = 1e-3;
/// A gap between bars longer than this is a passage of its own.
const GAP: f64 = 0.05;

/// One bar as it stands in a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BarCell {
    /// Number as a player counts; 0 is a pick-up.
    pub number: i32,
    /// Its first beat.
    pub start: Seconds,
    /// The next bar's first beat.
    pub end: Seconds,
    /// Its first beat, in beats after the grid's first.
    pub first_beat: f64,
    /// Beats it holds.
    pub beats: f64,
    /// Beats from the row's left end to its first beat.
    pub offset: f64,
    /// Beats that are missing before its first one (of a pick-up).
    pub lead: f64,
    /// What it plays, where bars come back.
    pub pattern: Option<Pattern>,
}

/// What a row holds.
#[derive(Debug, Clone, PartialEq)]
pub enum RowKind {
    /// Bars side by side.
    Bars(Vec<BarCell>),
    /// A stretch without beats.
    Free {
        /// Its first instant.
        from: Seconds,
        /// Its last instant.
        to: Seconds,
    },
}

/// One row of the page.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What it holds.
    pub kind: RowKind,
    /// Points from the page's top to its upper edge.
    pub top: f64,
    /// Its height in points.
    pub height: f64,
    /// Indices of the notes that stand in it.
    pub notes: Vec<usize>,
    /// Indices of the second take's notes that stand in it.
    pub second: Vec<usize>,
    /// The bars it stands for, where it is one row for several.
    pub alike: Option<Alike>,
    /// Notes of earlier rows that ring on into it, and until when.
    pub(super) carried: Vec<(usize, Seconds)>,
}

impl Row {
    pub(super) fn new(kind: RowKind) -> Self {
        Self {
            kind,
            top: 0.0,
            height: 0.0,
            notes: Vec::new(),
            second: Vec::new(),
            alike: None,
            carried: Vec::new(),
        }
    }

    /// The first instant that belongs to it.
    pub fn from(&self) -> Seconds {
        match &self.kind {
            RowKind::Bars(cells) => cells.first().map_or(Seconds(0.0), |c| c.start),
            RowKind::Free { from, .. } => *from,
        }
    }

    /// Its length in beats (of `BEATS_A_SECOND` to a second in free time).
    pub fn beats(&self) -> f64 {
        match &self.kind {
            RowKind::Bars(cells) => cells.last().map_or(1.0, |c| c.offset + c.beats),
            RowKind::Free { .. } => FREE_ROW * BEATS_A_SECOND,
        }
    }

    /// Is it a row of bars?
    pub fn is_bars(&self) -> bool {
        matches!(self.kind, RowKind::Bars(_))
    }

    /// Are p i m a written in the bar that holds a position: the first that plays its pattern?
    pub(super) fn spells_fingers(&self, at: Option<Beats>) -> bool {
        let cell = at.and_then(|at| self.cell_of(at));
        cell.is_some_and(|cell| cell.pattern.is_none_or(|p| p.first))
    }

    /// The bar that holds a position on the grid.
    pub fn cell_of(&self, at: Beats) -> Option<&BarCell> {
        match &self.kind {
            RowKind::Bars(cells) => cells
                .iter()
                .find(|c| at.0 >= c.first_beat - EDGE && at.0 < c.first_beat + c.beats - EDGE),
            RowKind::Free { .. } => None,
        }
    }
}

/// Slots this little before a beat, in beats, count as on it: rounding.
pub(super) const EDGE: f64 = 1e-6;

/// Rows of a piece, with their notes.
pub(super) fn rows(piece: &Piece, options: &Options) -> Vec<Row> {
    let mut rows = empty_rows(piece, options.bars_a_row);
    let homes = |note: &Note, placed: &Placed| home(&rows, note, placed);
    let first: Vec<_> = (0..piece.notes.len())
        .map(|i| homes(&piece.notes[i], &piece.placed(i)))
        .collect();
    let second: Vec<_> = (0..piece.second.map_or(0, |take| take.notes.len()))
        .map(|i| {
            let (note, placed) = piece.second(i)?;
            homes(note, &placed)
        })
        .collect();
    for (i, row) in first.into_iter().enumerate() {
        if let Some(row) = row {
            rows[row].notes.push(i);
        }
    }
    for (i, row) in second.into_iter().enumerate() {
        if let Some(row) = row {
            rows[row].second.push(i);
        }
    }
    carry(piece, &mut rows);
    rows
}

/// A string that rings this much shorter into the next row rings to the end of its own.
const RINGS_ON: f64 = 0.06;

/// Notes that ring on over the end of their row: until they are damped or their string is struck again.
fn carry(piece: &Piece, rows: &mut [Row]) {
    let mut ringing: Vec<usize> = Vec::new();
    for row in rows {
        let from = row.from();
        let own: Vec<usize> = row.notes.clone();
        let on = |i: &usize| {
            let note = &piece.notes[*i];
            let stop = Seconds(stops(piece, note, &own).0.min(note.end.0));
            (stop.0 - from.0 > RINGS_ON && from.0.is_finite()).then_some((*i, stop))
        };
        let carried: Vec<(usize, Seconds)> = ringing.iter().filter_map(on).collect();
        let struck = |i: &usize| {
            own.iter()
                .any(|k| piece.notes[*k].string == piece.notes[*i].string)
        };
        ringing = carried.iter().map(|c| c.0).filter(|i| !struck(i)).collect();
        let last = |i: &&usize| {
            let string = piece.notes[**i].string;
            string.is_some() && own.iter().rfind(|k| piece.notes[**k].string == string) == Some(*i)
        };
        ringing.extend(own.iter().filter(last));
        row.carried = carried;
    }
}

/// When a note's string is struck again by one of `next`, or never.
fn stops(piece: &Piece, note: &Note, next: &[usize]) -> Seconds {
    let again = next.iter().map(|&i| &piece.notes[i]);
    let again = again.filter(|n| n.string == note.string && n.time > note.time);
    Seconds(again.map(|n| n.time.0).fold(f64::INFINITY, f64::min))
}

/// Where each bar and stretch of free time stands, in order of time.
pub(super) fn homes(rows: &[Row]) -> Vec<Home> {
    let mut homes: Vec<Home> = Vec::new();
    for (row, planned) in rows.iter().enumerate() {
        match (&planned.alike, &planned.kind) {
            (Some(alike), _) if alike.open => {}
            (Some(Alike { bars: cells, .. }), _) | (None, RowKind::Bars(cells)) => {
                homes.extend(cells.iter().map(|cell| Home {
                    from: cell.start,
                    row,
                    cell: Some(*cell),
                }));
            }
            (None, RowKind::Free { from, .. }) => homes.push(Home {
                from: *from,
                row,
                cell: None,
            }),
        }
    }
    homes.sort_by(|a, b| a.from.total_cmp(&b.from));
    homes
}

/// The row of a note: of its slot, or of its instant where it has none.
fn home(rows: &[Row], note: &Note, placed: &Placed) -> Option<usize> {
    if !note.time.0.is_finite() {
        return None;
    }
    if let Some(slot) = placed.at {
        let after = rows.partition_point(|row| match &row.kind {
            RowKind::Bars(cells) => cells.first().is_some_and(|c| c.first_beat - EDGE <= slot.0),
            RowKind::Free { from, .. } => *from <= note.time,
        });
        let found = (0..after).rev().find(|&r| rows[r].is_bars());
        if let Some(row) = found.filter(|&r| rows[r].cell_of(slot).is_some()) {
            return Some(row);
        }
    }
    let after = rows.partition_point(|row| row.from() <= note.time);
    Some(after.saturating_sub(1)).filter(|&row| row < rows.len())
}

fn empty_rows(piece: &Piece, bars_a_row: u8) -> Vec<Row> {
    let bars = piece.grid.bars();
    let patterns = pattern::names(piece);
    let end = piece.end.0;
    let end = Seconds(if end.is_finite() { end.max(0.0) } else { 0.0 });
    if piece.grid.is_empty() {
        return free_rows(Seconds(0.0), end);
    }
    let mut rows: Vec<Row> = Vec::new();
    let mut reached = Seconds(0.0);
    for (i, bar) in bars.iter().enumerate() {
        if (bar.start - reached).0 > GAP && (i > 0 || has_notes(piece, reached, bar.start)) {
            rows.extend(free_rows(reached, bar.start));
        }
        let mut cell = BarCell {
            number: bar.number,
            start: bar.start,
            end: bar.end,
            first_beat: bar.first_beat as f64,
            beats: bar.beats as f64,
            offset: 0.0,
            lead: 0.0,
            pattern: patterns.get(&bar.number).copied(),
        };
        let full = f64::from(piece.grid.meter.beats());
        if i + 1 == bars.len() && cell.beats < full {
            cell.beats = full;
            cell.end = piece
                .grid
                .time_at(Beats(cell.first_beat + full))
                .unwrap_or(cell.end);
        }
        let place = piece.grid.beats()[bar.first_beat].place;
        let lead = f64::from(place.saturating_sub(1));
        cell.lead = lead;
        match rows.last_mut().map(|row| &mut row.kind) {
            Some(RowKind::Bars(cells))
                if cells.len() < usize::from(bars_a_row)
                    && cells[0].number.rem_euclid(i32::from(bars_a_row)) == phase(bars_a_row)
                    && (cell.start - cells[cells.len() - 1].end).0 <= GAP =>
            {
                let before = cells[cells.len() - 1];
                cell.offset = before.offset + before.beats + lead;
                cells.push(cell);
            }
            _ => {
                cell.offset = lead;
                rows.push(Row::new(RowKind::Bars(vec![cell])));
            }
        }
        reached = cell.end;
    }
    if (end - reached).0 > GAP && has_notes(piece, reached, end) {
        rows.extend(free_rows(reached, end));
    }
    rows
}

/// Rows begin at bar 1, 1 + n, 1 + 2n …: what a first bar's number leaves when divided by n.
fn phase(bars_a_row: u8) -> i32 {
    i32::from(bars_a_row > 1)
}

/// Are there notes between two instants that no bar holds?
fn has_notes(piece: &Piece, from: Seconds, to: Seconds) -> bool {
    let beats = piece.grid.beats().len() as f64;
    let homeless = |placed: Placed| placed.at.is_none_or(|at| at.0 < -EDGE || at.0 >= beats);
    let notes = piece.notes.iter().enumerate();
    notes
        .filter(|(_, note)| note.time >= from && note.time < to)
        .any(|(i, _)| homeless(piece.placed(i)))
}

/// Rows of free time; as many as `from` to `to` needs, at most a day's worth.
fn free_rows(from: Seconds, to: Seconds) -> Vec<Row> {
    let count = ((to - from).0 / FREE_ROW).ceil().clamp(1.0, 21_600.0) as usize;
    (0..count)
        .map(|i| {
            let start = from + Span(FREE_ROW * i as f64);
            let stop = Seconds((start.0 + FREE_ROW).min(to.0.max(start.0)));
            Row::new(RowKind::Free {
                from: start,
                to: stop,
            })
        })
        .collect()
}

/// A span at a note's slot in beats of the tempo there.
pub(super) fn in_beats(grid: &Grid, placed: &Placed, span: Span) -> Option<f64> {
    let beat = beat_length(grid, placed.at?)?;
    let share = span.0 / beat.0;
    share.is_finite().then_some(share)
}

/// Length of the beat around a position.
pub(super) fn beat_length(grid: &Grid, at: Beats) -> Option<Span> {
    let floor = Beats(at.0.max(0.0).floor().min(grid.beats().len() as f64));
    let span = grid.time_at(Beats(floor.0 + 1.0))? - grid.time_at(floor)?;
    (span.0.is_finite() && span.0 >= SHORTEST_BEAT).then_some(span)
}

/// A bar, or a stretch of free time, and the row it stands in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Home {
    pub from: Seconds,
    pub row: usize,
    pub cell: Option<BarCell>,
}

/// The bars that one row stands for.
#[derive(Debug, Clone, PartialEq)]
pub struct Alike {
    /// Two bars at least, in order.
    pub bars: Vec<BarCell>,
    /// Which of the page's folded patterns it is, from 0.
    pub place: u8,
    /// Do its bars stand below it?
    pub open: bool,
}

impl Alike {
    /// What it is called: `Pattern A′, bars 1 to 4, 7 and 9`.
    pub fn name(&self) -> String {
        let pattern = self.bars[0].pattern.map(|p| format!("Pattern {p}, "));
        format!("{}{}", pattern.unwrap_or_default(), self.numbers())
    }

    /// `bars 1 to 4, 7 and 9`.
    pub fn numbers(&self) -> String {
        let mut runs: Vec<(i32, i32)> = Vec::new();
        for bar in &self.bars {
            match runs.last_mut() {
                Some((_, last)) if *last + 1 == bar.number => *last = bar.number,
                _ => runs.push((bar.number, bar.number)),
            }
        }
        let runs = runs.iter().map(|&(first, last)| match last - first {
            0 => first.to_string(),
            1 => format!("{first}, {last}"),
            _ => format!("{first} to {last}"),
        });
        let all: Vec<String> = runs.collect();
        format!("bars {}", all.join(", "))
    }
}
