//! One row drawn: its bars with their lines, numbers, harmony and rests, free time, and the notes over them.

use super::layout::Sheet;
use super::mark::Mark;
use super::note::Staged;
use super::piece::Piece;
use super::row::{BEATS_A_SECOND, BarCell, EDGE, FREE_ROW, Row, RowKind};
use super::shape::{Align, Point, Rect, Shape};
use super::theme::Ink;
use super::{harmony, slots, strings};
use crate::unit::Seconds;

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
