//! How a folded row is drawn: a head for every stroke of the pattern, with its fret where all of its bars have
//! the same; a dot for every repeat that is heard off its slot; the head leaves its slot where the repeats do
//! so again and again.

use super::fold::{Said, Stroke, note, said, strokes};
use super::layout::Sheet;
use super::mark::Mark;
use super::note::{draw_head, full, head_text, quiet, wedge};
use super::piece::{Piece, Placed};
use super::row::{Alike, BarCell, Row, in_beats};
use super::shape::{Align, Point, Rect, Shape};
use super::theme::Ink;
use super::{slots, strings};
use crate::music::note::{Note, Role};
use crate::timing::Slot;
use crate::unit::Span;
use std::collections::BTreeSet;

/// The text that all have in common; empty where they differ.
fn common(texts: impl IntoIterator<Item = String>) -> String {
    let mut texts: Vec<String> = texts
        .into_iter()
        .collect::<BTreeSet<_>>()
        .into_iter()
        .collect();
    if texts.len() == 1 {
        texts.remove(0)
    } else {
        String::new()
    }
}

impl Sheet {
    /// A folded row and where its strokes can be touched.
    pub(super) fn folded_shapes(
        &self,
        piece: &Piece,
        row: &Row,
        alike: &Alike,
    ) -> (Vec<Shape>, Vec<Mark>) {
        let (mut out, mut marks) = (Vec::new(), Vec::new());
        let cell = &alike.bars[0];
        self.bar_lines(piece, row, cell, &mut out);
        self.folded_names(piece, row, alike, &mut out);
        let said = said(piece, row);
        for second in [false, true] {
            for stroke in strokes(piece, row, second) {
                if self.options.hands.shows(stroke.role) {
                    let spoken = second || piece.second.is_none();
                    let said = said
                        .iter()
                        .find(|s| spoken && s.slot == stroke.slot && s.role == stroke.role);
                    marks.extend(self.stroke(piece, (row, alike), &stroke, said, &mut out));
                }
            }
        }
        self.folded_says(piece, row, &said, &mut out);
        (out, marks)
    }

    /// Letter and how many bars at the left, which bars above.
    fn folded_names(&self, piece: &Piece, row: &Row, alike: &Alike, out: &mut Vec<Shape>) {
        let (z, y) = (self.options.zoom, self.line_of(row));
        let pattern = alike.bars[0].pattern.map(|p| p.to_string());
        let bold = |at, size: f64, text: String| Shape::Text {
            at,
            align: Align::Left,
            size: size * z,
            bold: true,
            ink: Ink::Text,
            text,
        };
        out.push(bold(
            Point::new(14.0 * z, y + 1.0 * z),
            16.0,
            pattern.unwrap_or_default(),
        ));
        out.push(bold(
            Point::new(14.0 * z, y + 16.0 * z),
            9.5,
            format!("{} bars", alike.bars.len()),
        ));
        let left = self.x(alike.bars[0].offset);
        if piece.fretted && self.levels.named() {
            self.string_names(left, y, out);
        }
        let at = Point::new(left - 4.0 * z, row.top + 11.0 * z);
        out.push(Shape::text(
            at,
            Align::Left,
            10.5 * z,
            Ink::Faint,
            alike.numbers(),
        ));
    }

    /// The slot of a stroke on the page; none beyond the row.
    fn slot_at(&self, piece: &Piece, cell: &BarCell, slot: Slot) -> Option<f64> {
        let at =
            f64::from(slot.beat.checked_sub(1)?) + slots::share(piece.drift, slot.part, slot.parts);
        (at < cell.beats).then(|| self.x(cell.offset + at))
    }

    /// One stroke: its stem, its repeats that are heard, its head.
    fn stroke(
        &self,
        piece: &Piece,
        (row, alike): (&Row, &Alike),
        stroke: &Stroke,
        said: Option<&Said>,
        out: &mut Vec<Shape>,
    ) -> Option<Mark> {
        let z = self.options.zoom;
        let slot = self.slot_at(piece, &alike.bars[0], stroke.slot)?;
        let notes: Vec<(&Note, Placed)> = stroke
            .notes
            .iter()
            .filter_map(|&i| note(piece, i, stroke.second))
            .collect();
        let (first, _) = *notes.first()?;
        let line = self.line_of(row);
        let y = self.levels.y(first, line).0;
        let across = |placed: &Placed, span: Span| {
            let drift = in_beats(piece.grid, placed, span)? * self.beat * self.magnifier;
            Some(self.kept(slot + drift)).filter(|x| x.is_finite())
        };
        let drifts = said.filter(|s| s.verdict.drifts());
        let x = drifts
            .and_then(|s| across(&notes[0].1, s.figure.centre))
            .unwrap_or(slot);
        let head = Point::new(x, y);
        if !stroke.second {
            let ends = (Point::new(slot, line), Point::new(slot, y));
            out.push(Shape::line(ends.0, ends.1, 0.9 * z, Ink::Tick));
        }
        if drifts.is_some() {
            wedge(slot, head, stroke.role, z, out);
        }
        if said.is_some() {
            self.repeats_of(&notes, &across, y, out);
        }
        // What is played in fewer than half of the bars is drawn small.
        let often = 2 * notes.len() >= alike.bars.len();
        let size = self.levels.radius() * if often { 1.0 } else { 0.6 };
        let style = (stroke.second, drifts.is_some());
        draw_head(head, size, stroke.role, style, z, out);
        if often && self.levels.named() {
            self.head_says(piece, &notes, (head, size), drifts.is_some(), out);
        }
        let touch = size.max(5.0 * z) + 1.5 * z;
        Some(Mark {
            note: stroke.notes[0],
            others: stroke.notes[1..].to_vec(),
            second: stroke.second,
            head,
            foot: Some(Point::new(slot, line)),
            area: Rect::about(head, touch, touch),
        })
    }

    /// A dot for each repeat that is heard off its slot (each at all, with every hair), the first bar's
    /// nearest to the line.
    fn repeats_of(
        &self,
        notes: &[(&Note, Placed)],
        across: &dyn Fn(&Placed, Span) -> Option<f64>,
        y: f64,
        out: &mut Vec<Shape>,
    ) {
        let z = self.options.zoom;
        let step = 9.0 * z / notes.len().max(2) as f64;
        for (k, (note, placed)) in notes.iter().enumerate() {
            let shown = placed.audible() || self.options.hairs && placed.counts;
            let Some(x) = across(placed, placed.drift).filter(|_| shown) else {
                continue;
            };
            let up = if note.role == Role::Melody { -1.0 } else { 1.0 };
            let ink = if placed.audible() {
                full(note.role)
            } else {
                quiet(note.role)
            };
            out.push(Shape::Disc {
                centre: Point::new(x, y + up * (step * (k as f64 + 0.5) - 4.5 * z)),
                radius: 1.7 * z,
                ink,
            });
        }
    }

    /// The fret (or the pitch) that all repeats share, and the finger beside it.
    fn head_says(
        &self,
        piece: &Piece,
        notes: &[(&Note, Placed)],
        (head, size): (Point, f64),
        bold: bool,
        out: &mut Vec<Shape>,
    ) {
        let z = self.options.zoom;
        let text = common(notes.iter().map(|(note, _)| head_text(piece, note)));
        let letters =
            (1.42 * self.levels.radius()).min(9.6 * z) * if text.len() > 1 { 0.86 } else { 1.0 };
        out.push(Shape::Text {
            at: Point::new(head.x, head.y + 0.35 * letters),
            align: Align::Centre,
            size: letters,
            bold,
            ink: Ink::Text,
            text,
        });
        if piece.fretted && piece.second.is_none() {
            let finger = common(
                notes
                    .iter()
                    .map(|(note, _)| strings::finger(note).to_owned()),
            );
            let at = Point::new(head.x + size + 2.0 * z, head.y - 2.5 * z);
            out.push(Shape::text(at, Align::Left, 8.5 * z, Ink::Faint, finger));
        }
    }

    /// At the right, a hand a side of the line: the place that drifts most, bar after bar; else how many
    /// notes stray.
    fn folded_says(&self, piece: &Piece, row: &Row, said: &[Said], out: &mut Vec<Shape>) {
        if !self.shows_means() {
            return;
        }
        let z = self.options.zoom;
        let line = self.line_of(row);
        let reference = piece.told().reference;
        for (role, y) in [
            (Role::Melody, line - 20.0 * z),
            (Role::Bass, line + 18.0 * z),
        ] {
            let own = said
                .iter()
                .filter(|s| s.role == role && self.options.hands.shows(role));
            let drifting = own.clone().filter(|s| s.verdict.drifts());
            let worst = drifting.clone().max_by(|a, b| {
                let by = |s: &Said| s.figure.centre.abs().0;
                by(a).total_cmp(&by(b))
            });
            let (above, below, bold) = if let Some(worst) = worst {
                let name = worst.slot.name(piece.grid.meter);
                let more = match drifting.count() - 1 {
                    0 => String::new(),
                    n => format!(", {n} more"),
                };
                let times = format!("{name}, {} of {}{more}", worst.agree, worst.figure.n);
                (reference.off(worst.figure.centre), times, true)
            } else {
                let strayed: usize = own.map(|s| s.strayed.len()).sum();
                match strayed {
                    0 => continue,
                    1 => ("1 note strays".to_owned(), String::new(), false),
                    n => (format!("{n} notes stray"), String::new(), false),
                }
            };
            let x = self.options.width - 14.0 * z;
            out.push(Shape::Text {
                at: Point::new(x, y),
                align: Align::Right,
                size: if bold { 11.0 } else { 9.5 } * z,
                bold,
                ink: if bold { Ink::Text } else { Ink::Faint },
                text: above,
            });
            let at = Point::new(x, y + 12.0 * z);
            out.push(Shape::text(at, Align::Right, 9.5 * z, Ink::Faint, below));
        }
    }
}
