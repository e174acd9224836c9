//! Rows: which bars and which notes stand in each, and the shapes of one row.

use super::fold::{self, Alike};
use super::note::{Mark, Staged};
use super::pattern::{self, Pattern};
use super::shape::{Align, Point, Rect, Shape};
use super::theme::Ink;
use super::{Fold, Home, Options, Piece, Placed, Sheet, harmony, slots, strings};
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
const EDGE: f64 = 1e-6;

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
    match options.fold {
        Fold::Never => rows,
        Fold::Alike { open } => fold::fold(rows, open),
    }
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

impl Sheet {
    /// The shapes of one row and where its notes can be touched, in drawing order. Coordinates
    /// are the page's.
    pub fn row_shapes(&self, piece: &Piece, row: usize) -> (Vec<Shape>, Vec<Mark>) {
        let mut shapes = Vec::new();
        let mut marks = Vec::new();
        let Some(row) = self.rows.get(row) else {
            return (shapes, marks);
        };
        if let Some(alike) = &row.alike {
            return self.folded_shapes(piece, row, alike);
        }
        let line = self.line_of(row);
        match &row.kind {
            RowKind::Bars(cells) => {
                for cell in cells {
                    self.bar_lines(piece, row, cell, &mut shapes);
                    self.rests(piece, row, cell, &mut shapes);
                    self.bar_names(piece, row, cell, &mut shapes);
                }
            }
            RowKind::Free { from, to } => self.free_frame(*from, *to, line, &mut shapes),
        }
        let stage = Staged { piece, row, line };
        self.ties(stage, &mut shapes);
        let heads = self.heads(stage);
        for head in &heads {
            self.under(stage, head, &mut shapes);
        }
        for head in &heads {
            self.head(stage, head, &mut shapes);
            marks.push(head.mark.clone());
        }
        if self.options.strings && piece.fretted && row.is_bars() {
            strings::tablature(self, piece, row, &mut shapes);
        }
        self.row_says(piece, row, line, &mut shapes);
        (shapes, marks)
    }

    /// Height of a row's line on the page.
    pub(super) fn line_of(&self, row: &Row) -> f64 {
        row.top + self.levels.above()
    }

    /// The tolerance of each slot, beats and finer slots, strings, the bar's line.
    pub(super) fn bar_lines(&self, piece: &Piece, row: &Row, cell: &BarCell, out: &mut Vec<Shape>) {
        let y = self.line_of(row);
        let (left, right) = (self.x(cell.offset), self.x(cell.offset + cell.beats));
        self.tolerance(row, cell, out);
        for string in self.levels.lanes(y) {
            let ends = (Point::new(left, string), Point::new(right, string));
            out.push(Shape::line(ends.0, ends.1, 0.6, Ink::Hair));
        }
        self.ticks(piece, cell, y, out);
        let ends = [Point::new(left, y), Point::new(right, y)];
        out.push(Shape::line(
            ends[0],
            ends[1],
            1.2 * self.options.zoom,
            Ink::Line,
        ));
    }

    /// A faint strip for each slot, as wide as what nobody hears or measures, through the whole row:
    /// down the page it is one strip.
    fn tolerance(&self, row: &Row, cell: &BarCell, out: &mut Vec<Shape>) {
        for column in &self.columns {
            let at = cell.offset - cell.lead + column.at;
            let Some(floor) = column.floor.filter(|_| at < cell.offset + cell.beats) else {
                continue;
            };
            // A first bar that is not whole begins later.
            if at + EDGE < cell.offset {
                continue;
            }
            let half = (floor * self.beat * self.magnifier).min(self.beat / 2.0);
            out.push(Shape::Block {
                area: Rect {
                    left: self.x(at) - half,
                    top: row.top,
                    right: self.x(at) + half,
                    bottom: row.top + row.height,
                },
                radius: 0.0,
                ink: Ink::Band,
            });
        }
    }

    fn ticks(&self, piece: &Piece, cell: &BarCell, y: f64, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let tick = |x: f64, reach: f64, width: f64, ink| {
            Shape::line(
                Point::new(x, y - reach),
                Point::new(x, y + reach),
                width,
                ink,
            )
        };
        for beat in 0..cell.beats.ceil() as usize {
            let at = cell.offset + beat as f64;
            let index = cell.first_beat as usize + beat;
            let parts = piece.grid.beats().get(index).map_or(1, |b| b.parts.min(12));
            for part in 1..parts {
                let x = self.x(at + slots::share(piece.drift, part, parts));
                out.push(tick(x, 2.5 * z, z, Ink::Tick));
            }
            let (reach, width) = if beat == 0 { (9.0, 2.2) } else { (5.0, 1.2) };
            out.push(tick(self.x(at), reach * z, width * z, Ink::Line));
        }
    }

    /// Number and pattern before the bar, strings beside them, harmony over it.
    fn bar_names(&self, piece: &Piece, row: &Row, cell: &BarCell, out: &mut Vec<Shape>) {
        let (z, y) = (self.options.zoom, self.line_of(row));
        let left = self.x(cell.offset);
        let number = if cell.number <= 0 {
            "·".to_owned()
        } else {
            cell.number.to_string()
        };
        let pattern = cell.pattern.map(|p| p.to_string()).unwrap_or_default();
        let leads = cell.offset <= cell.lead;
        let (at, name, size) = if leads {
            let x = 14.0 * z;
            (
                Point::new(x, y + 1.0 * z),
                Point::new(x, y + 16.0 * z),
                16.0,
            )
        } else {
            let y = row.top + 11.0 * z;
            (
                Point::new(left + 3.0 * z, y),
                Point::new(left + 24.0 * z, y),
                11.0,
            )
        };
        let strong = cell.pattern.is_some_and(|p| p.first);
        out.push(Shape::Text {
            at,
            align: Align::Left,
            size: size * z,
            bold: true,
            ink: Ink::Text,
            text: number,
        });
        out.push(Shape::Text {
            at: name,
            align: Align::Left,
            size: 11.0 * z,
            bold: strong,
            ink: if strong { Ink::Text } else { Ink::Faint },
            text: pattern,
        });
        if leads && piece.fretted && self.levels.named() {
            self.string_names(left, y, out);
        }
        let end = cell.first_beat + cell.beats - EDGE;
        let here = |n: &&harmony::Name| n.at.0 >= cell.first_beat - EDGE && n.at.0 < end;
        for name in self.harmony.iter().filter(here) {
            let x = self.x(cell.offset + name.at.0 - cell.first_beat);
            let aside = if leads { 0.0 } else { 40.0 * z };
            out.push(Shape::Text {
                at: Point::new(x + aside - 4.0 * z, row.top + 11.0 * z),
                align: Align::Left,
                size: if name.chord { 11.5 } else { 9.5 } * z,
                bold: name.chord,
                ink: if name.chord { Ink::Text } else { Ink::Faint },
                text: name.text.clone(),
            });
        }
    }

    /// A block on the line where a whole beat is silent: no note begins in it, none rings into it.
    fn rests(&self, piece: &Piece, row: &Row, cell: &BarCell, out: &mut Vec<Shape>) {
        /// Share of a beat that may sound and the beat still be a rest, and how wide its block is drawn.
        const SOUNDS: f64 = 0.2;
        const WIDE: f64 = 0.2;
        let beats = piece.grid.beats();
        let (z, y) = (self.options.zoom, self.line_of(row));
        let own = row.notes.iter().map(|&i| (i, piece.notes[i].end));
        let all = row.carried.iter().copied().chain(own);
        let shown = all.filter(|(i, _)| self.options.hands.shows(piece.notes[*i].role));
        let sounds: Vec<(Seconds, Seconds)> = shown
            .map(|(i, until)| (piece.notes[i].time, until))
            .collect();
        for beat in 0..cell.beats as usize {
            let index = cell.first_beat as usize + beat;
            let Some(here) = beats.get(index).map(|b| b.time) else {
                break;
            };
            let next = beats.get(index + 1).map_or(cell.end, |b| b.time);
            let slack = SOUNDS * (next - here).0;
            let (from, to) = (here.0 + slack, next.0 - slack);
            if sounds.iter().any(|(on, off)| on.0 < to && off.0 > from) {
                continue;
            }
            let middle = Point::new(self.x(cell.offset + beat as f64 + 0.5), y);
            out.push(Shape::Block {
                area: Rect::about(middle, 0.5 * WIDE * self.beat, 2.6 * z),
                radius: z,
                ink: Ink::Tick,
            });
        }
    }

    /// The strings' numbers beside their lanes, left of `left`.
    pub(super) fn string_names(&self, left: f64, line: f64, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        for (string, lane) in self.levels.strings(line) {
            let at = Point::new(left - 9.0 * z, lane + 2.6 * z);
            let text = string.to_string();
            out.push(Shape::text(at, Align::Right, 7.5 * z, Ink::Faint, text));
        }
    }

    /// A dashed line and seconds, where there are no beats.
    fn free_frame(&self, from: Seconds, to: Seconds, y: f64, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let beats = ((to - from).0 * BEATS_A_SECOND).clamp(0.0, FREE_ROW * BEATS_A_SECOND);
        let (left, right) = (self.x(0.0), self.x(beats));
        let mut x = left;
        while x < right {
            let stop = (x + 6.0 * z).min(right);
            let ends = (Point::new(x, y), Point::new(stop, y));
            out.push(Shape::line(ends.0, ends.1, 1.2 * z, Ink::Tick));
            x += 11.0 * z;
        }
        let minutes = (from.0 / 60.0).floor();
        let text = format!("{minutes:.0}:{:04.1}", from.0 - 60.0 * minutes);
        let at = Point::new(14.0 * z, y + 4.0 * z);
        out.push(Shape::text(at, Align::Left, 11.0 * z, Ink::Faint, text));
    }
}
