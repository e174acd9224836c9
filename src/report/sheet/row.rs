//! Rows: which bars and which notes stand in each, and the shapes of one row.

use super::note::{self, Mark, Staged};
use super::shape::{Align, Point, Shape};
use super::theme::Ink;
use super::{Piece, Placed, Sheet, slots, strings};
use crate::music::grid::Grid;
use crate::music::note::Note;
use crate::unit::{Beats, Seconds, Span};

/// Seconds in a row of free time.
const FREE_ROW: f64 = 4.0;
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
}

impl Row {
    fn new(kind: RowKind) -> Self {
        Self {
            kind,
            top: 0.0,
            height: 0.0,
            notes: Vec::new(),
            second: Vec::new(),
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
const EDGE: f64 = 1e-6;

/// Rows of a piece, with their notes.
pub(super) fn rows(piece: &Piece, bars_a_row: u8) -> Vec<Row> {
    let mut rows = empty_rows(piece, bars_a_row);
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
    rows
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

/// A note's drift in beats of the tempo around its slot.
pub(super) fn drift_in_beats(grid: &Grid, placed: &Placed) -> Option<f64> {
    let beat = beat_length(grid, placed.at?)?;
    let drift = placed.drift.0 / beat.0;
    drift.is_finite().then_some(drift)
}

/// Length of the beat around a position.
pub(super) fn beat_length(grid: &Grid, at: Beats) -> Option<Span> {
    let floor = Beats(at.0.max(0.0).floor().min(grid.beats().len() as f64));
    let span = grid.time_at(Beats(floor.0 + 1.0))? - grid.time_at(floor)?;
    (span.0.is_finite() && span.0 >= SHORTEST_BEAT).then_some(span)
}

impl Sheet {
    /// The shapes of one row and where its notes can be touched, in drawing order. Coordinates
    /// are the page's.
    pub fn row_shapes(&self, piece: &Piece, row: usize) -> (Vec<Shape>, Vec<Mark>) {
        let mut shapes = Vec::new();
        let mut marks = Vec::new();
        let Some(row) = self.rows.get(row) else {
            return (shapes, marks);
        };
        let line = self.line_of(row);
        let groups = note::groups(piece, row);
        let stage = Staged {
            piece,
            row,
            line,
            groups: &groups,
        };
        self.bands_and_sails(stage, &mut shapes);
        match &row.kind {
            RowKind::Bars(cells) => {
                for cell in cells {
                    self.bar_frame(piece, cell, line, &mut shapes);
                }
            }
            RowKind::Free { from, to } => self.free_frame(*from, *to, line, &mut shapes),
        }
        for &i in &row.second {
            if let Some((note, placed)) = piece.second(i) {
                marks.extend(self.head(stage, i, (note, &placed), true, &mut shapes));
            }
        }
        for &i in &row.notes {
            let lie = (&piece.notes[i], &piece.placed(i));
            marks.extend(self.head(stage, i, lie, false, &mut shapes));
        }
        if self.options.strings && row.is_bars() {
            strings::tablature(self, piece, row, &mut shapes);
        }
        self.row_means(piece, row, line, &mut shapes);
        (shapes, marks)
    }

    /// Height of a row's line on the page.
    pub(super) fn line_of(&self, row: &Row) -> f64 {
        row.top + self.levels.above()
    }

    /// Bar line, beat ticks, finer ticks, bar number.
    fn bar_frame(&self, piece: &Piece, cell: &BarCell, y: f64, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let (left, right) = (self.x(cell.offset), self.x(cell.offset + cell.beats));
        let tick = |x: f64, up: f64, down: f64, width: f64, ink| {
            Shape::line(Point::new(x, y - up), Point::new(x, y + down), width, ink)
        };
        for beat in 0..cell.beats.ceil() as usize {
            let at = cell.offset + beat as f64;
            let index = cell.first_beat as usize + beat;
            let parts = piece.grid.beats().get(index).map_or(1, |b| b.parts.min(12));
            for part in 1..parts {
                let x = self.x(at + slots::share(piece.drift, part, parts));
                out.push(tick(x, 3.0 * z, 3.0 * z, z, Ink::Tick));
            }
            let reach = if beat == 0 { 11.0 } else { 6.5 } * z;
            let width = if beat == 0 { 2.4 } else { 1.4 } * z;
            out.push(tick(self.x(at), reach, reach, width, Ink::Line));
        }
        let ends = [Point::new(left, y), Point::new(right, y)];
        out.push(Shape::line(ends[0], ends[1], 1.4 * z, Ink::Line));
        let first = cell.offset < 1.0;
        let (at, align) = if first {
            (Point::new(14.0 * z, y + 5.0 * z), Align::Left)
        } else {
            (Point::new(left + 4.0 * z, y - 13.0 * z), Align::Left)
        };
        out.push(Shape::Text {
            at,
            align,
            size: if first { 15.0 } else { 11.0 } * z,
            bold: true,
            ink: Ink::Text,
            text: if cell.number <= 0 {
                "·".to_owned()
            } else {
                cell.number.to_string()
            },
        });
    }

    /// A dashed line and seconds, where there are no beats.
    fn free_frame(&self, from: Seconds, to: Seconds, y: f64, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let beats = ((to - from).0 * BEATS_A_SECOND).clamp(0.0, FREE_ROW * BEATS_A_SECOND);
        let (left, right) = (self.x(0.0), self.x(beats));
        let mut x = left;
        while x < right {
            let stop = (x + 6.0 * z).min(right);
            out.push(Shape::line(
                Point::new(x, y),
                Point::new(stop, y),
                1.2 * z,
                Ink::Tick,
            ));
            x += 11.0 * z;
        }
        let minutes = (from.0 / 60.0).floor();
        out.push(Shape::text(
            Point::new(14.0 * z, y + 4.0 * z),
            Align::Left,
            11.0 * z,
            Ink::Faint,
            format!("{minutes:.0}:{:04.1}", from.0 - 60.0 * minutes),
        ));
    }

    /// Under each slot with notes its band, and the sails of slots whose drift repeats.
    fn bands_and_sails(&self, stage: Staged, out: &mut Vec<Shape>) {
        let Staged {
            piece, row, line, ..
        } = stage;
        for group in stage.groups {
            let Some(cell) = row.cell_of(group.slot) else {
                continue;
            };
            let Some(beat) = beat_length(piece.grid, group.slot) else {
                continue;
            };
            let x = self.x(cell.offset + group.slot.0 - cell.first_beat);
            let half = (group.floor.0 / beat.0 * self.beat * self.magnifier).min(self.beat / 2.0);
            let (near, far) = self.levels.span(group.role, line);
            let (top, bottom) = if near < far { (near, far) } else { (far, near) };
            out.push(Shape::Block {
                area: super::Rect {
                    left: x - half,
                    top,
                    right: x + half,
                    bottom,
                },
                radius: half.min(4.0 * self.options.zoom),
                ink: Ink::Band,
            });
        }
        for &i in &row.notes {
            let lie = (&piece.notes[i], piece.placed(i));
            out.extend(self.sail(stage, piece.drift, lie));
        }
        for &i in &row.second {
            if let (Some(take), Some(lie)) = (piece.second, piece.second(i)) {
                out.extend(self.sail(stage, take.drift, lie));
            }
        }
    }
}
