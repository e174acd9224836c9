//! A planned page: where each row lies, which notes stand in it, and what lies under a point of it.

use super::fold;
use super::harmony;
use super::levels::Levels;
use super::mark::Mark;
use super::options::{Fold, Options};
use super::piece::Piece;
use super::row::{self, BarCell, Home, Row, RowKind};
use super::said::{describe, describe_taken};
use super::shape::{Point, Rect};
use super::slots;
use super::words;
use crate::unit::{Beats, Seconds, Span};
use std::ops::Range;

/// A planned page: where each row lies and which notes stand in it.
///
/// Planning costs one pass over the notes; shapes are made row by row when asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    pub(super) options: Options,
    pub(super) rows: Vec<Row>,
    /// Where each bar, and each stretch of free time, stands; in order of time.
    pub(super) homes: Vec<Home>,
    /// Points to a beat.
    pub(super) beat: f64,
    pub(super) magnifier: f64,
    pub(super) levels: Levels,
    pub(super) height: f64,
    pub(super) columns: Vec<slots::Column>,
    pub(super) harmony: Vec<harmony::Name>,
    /// The sentence above the rows.
    pub(super) headline: Option<String>,
}

/// Where an instant lies on the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PagePoint {
    /// Index of the row.
    pub row: usize,
    /// Points from the page's left edge.
    pub x: f64,
}

impl Sheet {
    /// Plans the page.
    pub fn plan(piece: &Piece, options: Options) -> Self {
        let options = Options {
            width: finite_or(options.width, 1000.0).clamp(200.0, 20_000.0),
            zoom: finite_or(options.zoom, 1.0).clamp(0.5, 4.0),
            bars_a_row: match options.fold {
                Fold::Never => options.bars_a_row.clamp(1, 8),
                Fold::Alike { .. } => 1,
            },
            ..options
        };
        let headline = options.words.then(|| words::headline(piece)).flatten();
        let mut sheet = Self {
            options,
            rows: match options.fold {
                Fold::Never => row::rows(piece, &options),
                Fold::Alike { open } => fold::fold(row::rows(piece, &options), open),
            },
            homes: Vec::new(),
            beat: 1.0,
            magnifier: 1.0,
            levels: Levels::of(piece, options.zoom),
            height: 0.0,
            columns: slots::columns(piece),
            harmony: harmony::names(piece),
            headline,
        };
        sheet.homes = row::homes(&sheet.rows);
        let most = sheet.rows.iter().map(Row::beats).fold(1.0, f64::max);
        sheet.beat = (sheet.inner_width() / most).min(sheet.inner_width());
        sheet.magnifier = f64::from(match options.magnifier {
            Some(factor) => factor.clamp(1, 16),
            None => fitting_magnifier(piece),
        });
        sheet.levels.fit(sheet.slot_width(piece));
        let mut top = sheet.head_height(piece);
        for row in &mut sheet.rows {
            row.top = top;
            row.height = sheet.levels.height(options.strings && row.is_bars());
            top += row.height;
        }
        sheet.height = top;
        sheet
    }

    /// The options it was planned with, kept inside their ranges.
    pub fn options(&self) -> &Options {
        &self.options
    }

    /// Rows from the top down.
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// Height of all rows with the heading above them, in points.
    pub fn height(&self) -> f64 {
        self.height
    }

    /// Every bar of the page, in order of time.
    pub fn bars(&self) -> impl Iterator<Item = &BarCell> {
        self.homes.iter().filter_map(|home| home.cell.as_ref())
    }

    /// The row that a bar stands in, by its number.
    pub fn row_of(&self, bar: i32) -> Option<usize> {
        let home = |home: &&Home| home.cell.is_some_and(|cell| cell.number == bar);
        self.homes.iter().find(home).map(|home| home.row)
    }

    /// The stretches of a row, from left to right, that lie between two instants: left and right edge on
    /// the page. In a folded row each of its bars counts.
    pub fn stretches(
        &self,
        piece: &Piece,
        row: usize,
        (from, to): (Seconds, Seconds),
    ) -> Vec<(f64, f64)> {
        let Some(shown) = self.rows.get(row) else {
            return Vec::new();
        };
        let x = |time: Seconds, cell: &BarCell| {
            let at = piece
                .grid
                .beat_at(time)
                .map_or(0.0, |at| at.0 - cell.first_beat);
            self.x(cell.offset + at.clamp(0.0, cell.beats))
        };
        let cells = match (&shown.kind, &shown.alike) {
            (
                RowKind::Free {
                    from: start,
                    to: end,
                },
                _,
            ) => {
                let x = |time: Seconds| self.x((time - *start).0 * row::BEATS_A_SECOND);
                let (from, to) = (from.0.max(start.0), to.0.min(end.0));
                let inside = from < to;
                return inside
                    .then(|| (x(Seconds(from)), x(Seconds(to))))
                    .into_iter()
                    .collect();
            }
            (_, Some(alike)) => &alike.bars,
            (RowKind::Bars(cells), None) => cells,
        };
        let inside = |cell: &&BarCell| cell.start < to && cell.end > from;
        let found = cells.iter().filter(inside).map(|cell| {
            let left = if from <= cell.start {
                self.x(cell.offset)
            } else {
                x(from, cell)
            };
            let right = if to >= cell.end {
                self.x(cell.offset + cell.beats)
            } else {
                x(to, cell)
            };
            (left, right)
        });
        let mut all: Vec<(f64, f64)> = Vec::new();
        for (left, right) in found {
            match all.last_mut() {
                Some(last) if left <= last.1 + 0.5 && left >= last.0 - 0.5 => {
                    last.1 = last.1.max(right);
                }
                _ => all.push((left, right)),
            }
        }
        all
    }

    /// How far right of a note's head something is drawn that comes `later` than the note, in points,
    /// stretched as drift is; below 0 to its left.
    pub fn beside(&self, piece: &Piece, note: usize, later: Span) -> f64 {
        let placed = piece.placed(note);
        let beats = match placed.at {
            Some(_) => row::in_beats(piece.grid, &placed, later).map(|by| by * self.magnifier),
            None => Some(later.0 * row::BEATS_A_SECOND),
        };
        let away = beats.unwrap_or(0.0) * self.beat;
        if away.is_finite() { away } else { 0.0 }
    }

    /// What a mark of a row says when asked.
    pub fn describe(&self, piece: &Piece, row: usize, mark: &Mark) -> String {
        if let Some((row, alike)) = self
            .rows
            .get(row)
            .and_then(|r| Some((r, r.alike.as_ref()?)))
        {
            return fold::describe_stroke(piece, row, alike, mark);
        }
        if mark.second {
            let of_take = piece.second(mark.note);
            return of_take.map_or_else(String::new, |(note, placed)| {
                describe_taken(piece, note, &placed)
            });
        }
        let note = piece.notes.get(mark.note);
        note.map_or_else(String::new, |note| {
            describe(piece, note, &piece.placed(mark.note))
        })
    }

    /// How much drift is stretched, 1 to 16.
    pub fn magnifier(&self) -> f64 {
        self.magnifier
    }

    /// Rows that show between `top` and `bottom` (points).
    pub fn visible(&self, top: f64, bottom: f64) -> Range<usize> {
        let first = self.rows.partition_point(|r| r.top + r.height < top);
        let last = self.rows.partition_point(|r| r.top <= bottom);
        first..last.max(first)
    }

    /// Where an instant lies; none outside every row.
    pub fn place(&self, piece: &Piece, time: Seconds) -> Option<PagePoint> {
        if !time.0.is_finite() {
            return None;
        }
        let after = self.homes.partition_point(|home| home.from <= time);
        let Home { row, cell, .. } = self.homes[after.checked_sub(1)?];
        let x = match (&self.rows[row].kind, cell) {
            (RowKind::Free { from, to }, _) => {
                (time <= *to).then(|| self.x((time - *from).0 * row::BEATS_A_SECOND))?
            }
            (RowKind::Bars(_), cell) => {
                let cell = cell?;
                let at = piece.grid.beat_at(time)?.0 - cell.first_beat;
                self.x(cell.offset + at.clamp(0.0, cell.beats))
            }
        };
        Some(PagePoint { row, x })
    }

    /// The instant under a place on the page; none between rows or in a margin.
    pub fn time_at(&self, piece: &Piece, at: Point) -> Option<Seconds> {
        let row = self.row_at(at.y)?;
        let inside = (at.x - self.margin()) / self.beat;
        match &self.rows[row].kind {
            RowKind::Free { from, to } => {
                let time = *from + Span(inside / row::BEATS_A_SECOND);
                (time >= *from && time <= *to).then_some(time)
            }
            RowKind::Bars(_) => piece.grid.time_at(self.beats_at(at)?),
        }
    }

    /// The position in beats under a place in a row of bars.
    pub fn beats_at(&self, at: Point) -> Option<Beats> {
        let row = self.row_at(at.y)?;
        let inside = (at.x - self.margin()) / self.beat;
        let RowKind::Bars(cells) = &self.rows[row].kind else {
            return None;
        };
        let cell = cells
            .iter()
            .find(|c| inside >= c.offset - 0.5 && inside < c.offset + c.beats)
            .or(cells.last())?;
        let at = (inside - cell.offset).clamp(-0.5, cell.beats);
        Some(Beats(cell.first_beat + at))
    }

    /// The row at a height on the page.
    pub fn row_at(&self, y: f64) -> Option<usize> {
        let row = self.rows.partition_point(|r| r.top <= y).checked_sub(1)?;
        (y < self.rows[row].top + self.rows[row].height).then_some(row)
    }

    /// The bar under a place on the page.
    pub fn bar_at(&self, at: Point) -> Option<&BarCell> {
        let row = self.row_at(at.y)?;
        let inside = (at.x - self.margin()) / self.beat;
        let RowKind::Bars(cells) = &self.rows[row].kind else {
            return None;
        };
        cells
            .iter()
            .find(|c| inside < c.offset + c.beats)
            .or(cells.last())
    }

    /// The area of a row between its margins.
    pub fn row_area(&self, row: usize) -> Option<Rect> {
        let row = self.rows.get(row)?;
        Some(Rect {
            left: self.x(0.0),
            top: row.top,
            right: self.x(row.beats()),
            bottom: row.top + row.height,
        })
    }

    /// Height on the page of a row's line.
    pub fn line(&self, row: usize) -> Option<f64> {
        self.rows.get(row).map(|row| self.line_of(row))
    }

    /// Horizontal place of `beats` after a row's left end.
    pub(super) fn x(&self, beats: f64) -> f64 {
        self.margin() + beats * self.beat
    }

    /// Space left of the rows, where bar numbers stand.
    pub(super) fn margin(&self) -> f64 {
        (72.0 * self.options.zoom).min(0.2 * self.options.width)
    }

    /// Space right of the rows, where each bar's means stand when there is room.
    pub(super) fn right_margin(&self) -> f64 {
        if self.shows_means() {
            124.0 * self.options.zoom
        } else {
            (24.0 * self.options.zoom).min(0.1 * self.options.width)
        }
    }

    /// Does every row say at its right what is heard in it?
    pub(super) fn shows_means(&self) -> bool {
        self.options.bars_a_row == 1 && self.options.width >= 700.0 * self.options.zoom
    }

    /// Points between two neighbouring slots, where they are closest.
    pub(super) fn slot_width(&self, piece: &Piece) -> f64 {
        let parts = piece.grid.beats().iter().map(|b| b.parts.clamp(1, 6));
        self.beat / f64::from(parts.max().unwrap_or(1))
    }

    pub(super) fn inner_width(&self) -> f64 {
        self.options.width - self.margin() - self.right_margin()
    }
}

fn finite_or(value: f64, otherwise: f64) -> f64 {
    if value.is_finite() { value } else { otherwise }
}

/// The largest of 1, 2, 3, 4 that keeps nineteen in twenty of the heads that leave their slots
/// nearer to their own than to the next: a row stays readable as rhythm.
fn fitting_magnifier(piece: &Piece) -> u8 {
    let (mut reach, mut parts) = (Vec::new(), 1);
    for (_, placed) in piece.spoken().filter(|(_, placed)| placed.audible()) {
        if let Some(drift) = row::in_beats(piece.grid, &placed, placed.drift) {
            reach.push(drift.abs());
            parts = parts.max(placed.slot.parts);
        }
    }
    if reach.is_empty() {
        return 4;
    }
    reach.sort_by(f64::total_cmp);
    let wide = reach[(reach.len() - 1) * 19 / 20].max(1e-6);
    let room = 0.5 / f64::from(parts);
    [4, 3, 2]
        .into_iter()
        .find(|&factor| wide * f64::from(factor) <= room)
        .unwrap_or(1)
}
