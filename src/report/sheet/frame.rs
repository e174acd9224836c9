//! What stands around the rows: heading and legend, means at the right, all bars together.

use super::note::{drift_words, head_ink, head_shape};
use super::row::Row;
use super::shape::{Align, Point, Rect, Shape, text_width};
use super::slots;
use super::theme::Ink;
use super::words::sentences;
use super::{Piece, Sheet};
use crate::music::note::Role;
use crate::timing::{SlotFigure, stats};
use crate::unit::Span;

impl Sheet {
    /// Height of the heading.
    pub(super) fn head_height(&self) -> f64 {
        78.0 * self.options.zoom
    }

    /// Heading: title, legend, magnifier, beat numbers.
    pub fn head_shapes(&self, piece: &Piece) -> Vec<Shape> {
        let z = self.options.zoom;
        let mut out = Vec::new();
        let left = self.x(0.0);
        let meter = piece.grid.meter;
        let facts = match piece.grid.tempo() {
            Some(bpm) if bpm.0.is_finite() => format!("{:.0} beats a minute, {meter}", bpm.0),
            _ => "no beat found".to_owned(),
        };
        out.push(Shape::Text {
            at: Point::new(left, 22.0 * z),
            align: Align::Left,
            size: 16.0 * z,
            bold: true,
            ink: Ink::Text,
            text: fitting(piece.title, 16.0 * z, 0.6 * self.options.width),
        });
        let right = self.options.width - 14.0 * z;
        out.push(Shape::text(
            Point::new(right, 22.0 * z),
            Align::Right,
            12.0 * z,
            Ink::Faint,
            facts,
        ));
        self.legend(piece, Point::new(left, 45.0 * z), &mut out);
        self.beat_numbers(self.head_height() - 4.0 * z, &mut out);
        out
    }

    /// The numbers of the beats, standing on `y`, over the columns of the rows.
    pub fn beat_numbers(&self, y: f64, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        if self.options.bars_a_row != 1 {
            return;
        }
        let rows = self.rows.iter().filter(|r| r.is_bars());
        let beats = rows.map(Row::beats).fold(0.0, f64::max);
        for beat in 0..beats.ceil() as usize {
            out.push(Shape::text(
                Point::new(self.x(beat as f64), y),
                Align::Centre,
                11.0 * z,
                Ink::Faint,
                (beat + 1).to_string(),
            ));
        }
    }

    fn legend(&self, piece: &Piece, at: Point, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let size = 11.0 * z;
        let limit = self.options.width - 14.0 * z;
        let mut x = at.x;
        let word = |x: &mut f64, gap: f64, text: &str, out: &mut Vec<Shape>| {
            let place = Point::new(*x + gap * z, at.y);
            let wide = text_width(text, size);
            if place.x + wide < limit {
                out.push(Shape::text(place, Align::Left, size, Ink::Faint, text));
            }
            *x = place.x + wide + 16.0 * z;
        };
        let middle = at.y - 4.0 * z;
        let sample = |x: &mut f64, role, hollow, text: &str, out: &mut Vec<Shape>| {
            let centre = Point::new(*x + 5.0 * z, middle);
            if centre.x + text_width(text, size) + 16.0 * z < limit {
                let ink = head_ink(role, true);
                out.push(head_shape(centre, 4.6 * z, role, hollow, ink, z));
            }
            word(x, 14.0, text, out);
        };
        sample(&mut x, Role::Melody, false, "fingers", out);
        sample(&mut x, Role::Bass, false, "thumb", out);
        if piece.second.is_some() {
            sample(&mut x, Role::Melody, true, "your take (hollow)", out);
        }
        if piece.grid.is_empty() {
            return;
        }
        let text = "too close to hear or measure";
        if x + text_width(text, size) + 24.0 * z < limit {
            out.push(Shape::Block {
                area: Rect::about(Point::new(x + 5.0 * z, middle), 5.0 * z, 7.0 * z),
                radius: 2.0 * z,
                ink: Ink::Band,
            });
            word(&mut x, 15.0, text, out);
        }
        let text = "slant: it repeats";
        if x + text_width(text, size) + 30.0 * z < limit && leans(piece) {
            let foot = Point::new(x, middle + 6.0 * z);
            let top = Point::new(x, middle - 6.0 * z);
            out.push(Shape::Sail {
                corners: [foot, top, Point::new(x + 11.0 * z, middle - 6.0 * z)],
                ink: Ink::FingerSail,
            });
            out.push(Shape::line(foot, top, z, Ink::Tick));
            word(&mut x, 15.0, text, out);
        }
        self.ruler(piece, &mut x, middle, limit, out);
    }

    /// How long 20 ms of drift are drawn, and how much that is stretched.
    fn ruler(&self, piece: &Piece, x: &mut f64, y: f64, limit: f64, out: &mut Vec<Shape>) {
        let Some(bpm) = piece.grid.tempo().filter(|bpm| bpm.0.is_finite()) else {
            return;
        };
        let z = self.options.zoom;
        let long = 0.020 / bpm.beat().0 * self.beat * self.magnifier;
        let text = format!("20 ms, drift drawn ×{:.0}", self.magnifier);
        let size = 11.0 * z;
        let place = Point::new(*x + long + 8.0 * z, y + 4.0 * z);
        if !long.is_finite() || place.x + text_width(&text, size) > limit {
            // Never leave the magnifier unsaid: without room for the ruler, say it above.
            let at = Point::new(limit, y - 14.0 * z);
            let text = format!("drift drawn ×{:.0}", self.magnifier);
            out.push(Shape::text(at, Align::Right, size, Ink::Faint, text));
            return;
        }
        let (from, to) = (Point::new(*x, y), Point::new(*x + long, y));
        out.push(Shape::line(from, to, 1.6 * z, Ink::Line));
        for end in [from, to] {
            let tick = |dy: f64| Point::new(end.x, end.y + dy * z);
            out.push(Shape::line(tick(-4.0), tick(4.0), 1.6 * z, Ink::Line));
        }
        out.push(Shape::text(place, Align::Left, size, Ink::Faint, text));
        *x = place.x;
    }

    /// At the right of a bar: each hand's mean drift in it.
    pub(super) fn row_means(&self, piece: &Piece, row: &Row, line: f64, out: &mut Vec<Shape>) {
        if !self.shows_means() || !row.is_bars() {
            return;
        }
        let z = self.options.zoom;
        let x = self.options.width - 14.0 * z;
        for (role, y) in [
            (Role::Melody, line - 12.0 * z),
            (Role::Bass, line + 20.0 * z),
        ] {
            let here = row.notes.iter().filter(|&&i| piece.notes[i].role == role);
            let placed = here.map(|&i| piece.placed(i)).filter(|p| p.counts);
            let (drifts, floors): (Vec<_>, Vec<_>) = placed.map(|p| (p.drift.0, p.floor.0)).unzip();
            let Some(figure) = stats::figure(&drifts) else {
                continue;
            };
            let (mean, floor) = (figure.centre, Span(floors.into_iter().fold(0.0, f64::max)));
            let beyond = mean.abs() > floor;
            out.push(Shape::Text {
                at: Point::new(x, y),
                align: Align::Right,
                size: 11.0 * z,
                bold: beyond,
                ink: if beyond { Ink::Text } else { Ink::Faint },
                text: drift_words(mean, floor),
            });
        }
    }

    /// Under the rows: all bars laid over each other, then what it means in words. `top` is where
    /// it starts; the second value is its height.
    pub fn foot_shapes(&self, piece: &Piece, top: f64) -> (Vec<Shape>, f64) {
        let z = self.options.zoom;
        let mut out = Vec::new();
        let mut y = top + 14.0 * z;
        let left = self.x(0.0);
        if !piece.drift.slots.is_empty() && self.options.bars_a_row == 1 {
            y = self.together(piece, y, &mut out);
        }
        for sentence in sentences(piece) {
            let room = self.options.width - left - 14.0 * z;
            for line in wrapped(&sentence.text, 13.0 * z, room) {
                y += 19.0 * z;
                let at = Point::new(left, y);
                out.push(Shape::text(at, Align::Left, 13.0 * z, Ink::Text, line));
            }
        }
        (out, y + 18.0 * z - top)
    }

    /// Every slot's mean as one head, its spread as a bar through it, its value beside it.
    fn together(&self, piece: &Piece, top: f64, out: &mut Vec<Shape>) -> f64 {
        let z = self.options.zoom;
        let (left, reach) = (self.x(0.0), 30.0 * z);
        out.push(Shape::Text {
            at: Point::new(left, top + 4.0 * z),
            align: Align::Left,
            size: 12.0 * z,
            bold: true,
            ink: Ink::Text,
            text: "All bars together".to_owned(),
        });
        let line = top + 22.0 * z + reach;
        let beats = self.rows.iter().filter(|r| r.is_bars());
        let beats = beats.map(Row::beats).fold(1.0, f64::max);
        let length = piece.grid.tempo().map_or(0.5, |bpm| bpm.beat().0);
        let length = if length.is_finite() {
            length.max(0.01)
        } else {
            0.5
        };
        for slot in piece.drift.slots.iter().filter(|s| usable(s)) {
            let part = slots::share(piece.drift, slot.slot.part, slot.slot.parts);
            let at = f64::from(slot.slot.beat.saturating_sub(1)) + part;
            let (x, scale) = (self.x(at.min(beats)), self.beat * self.magnifier / length);
            let up = if slot.role == Role::Melody { -1.0 } else { 1.0 };
            let y = line + up * reach * 0.62;
            let half = (slot.floor.0 * scale).min(self.beat / 2.0);
            let (a, b) = (line, line + up * reach);
            out.push(Shape::Block {
                area: Rect {
                    left: x - half,
                    top: a.min(b),
                    right: x + half,
                    bottom: a.max(b),
                },
                radius: half.min(4.0 * z),
                ink: Ink::Band,
            });
            self.mean_head(slot, Point::new(x, line), y, scale, out);
        }
        let ends = (Point::new(left, line), Point::new(self.x(beats), line));
        out.push(Shape::line(ends.0, ends.1, 1.4 * z, Ink::Line));
        for beat in 0..beats.ceil() as usize {
            let x = self.x(beat as f64);
            let ends = (Point::new(x, line - 6.0 * z), Point::new(x, line + 6.0 * z));
            out.push(Shape::line(ends.0, ends.1, 1.4 * z, Ink::Line));
        }
        line + reach + 22.0 * z
    }

    fn mean_head(&self, slot: &SlotFigure, foot: Point, y: f64, scale: f64, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let keep = |x: f64| x.clamp(3.0 * z, self.options.width - 3.0 * z);
        let (bold, role) = (slot.slant().is_some(), slot.role);
        let ink = head_ink(role, bold);
        let head = Point::new(keep(foot.x + slot.figure.centre.0 * scale), y);
        let top = Point::new(foot.x, y);
        if bold {
            out.push(Shape::Sail {
                corners: [foot, top, head],
                ink: match role {
                    Role::Bass => Ink::ThumbSail,
                    Role::Melody => Ink::FingerSail,
                },
            });
        }
        out.push(Shape::line(foot, top, 1.1 * z, Ink::Tick));
        let spread = slot.figure.spread.0 * scale;
        let ends = [keep(head.x - spread), keep(head.x + spread)];
        let ends = ends.map(|x| Point::new(x, y));
        out.push(Shape::line(ends[0], ends[1], 1.6 * z, ink));
        let size = if bold { 5.0 } else { 3.4 } * z;
        out.push(head_shape(head, size, role, false, ink, z));
        if bold {
            let outside = if role == Role::Melody { -22.0 } else { 29.0 };
            out.push(Shape::Text {
                at: Point::new(foot.x, foot.y + outside * z + (y - foot.y) * 0.62),
                align: Align::Centre,
                size: 10.5 * z,
                bold: true,
                ink: Ink::Text,
                text: drift_words(slot.figure.centre, slot.floor),
            });
        }
    }
}

/// Does any slot's drift repeat, in the recording or the take?
fn leans(piece: &Piece) -> bool {
    let take = piece
        .second
        .is_some_and(|t| t.drift.slants().next().is_some());
    take || piece.drift.slants().next().is_some()
}

/// Are its numbers numbers?
fn usable(slot: &SlotFigure) -> bool {
    (slot.figure.centre.0 + slot.figure.spread.0 + slot.floor.0).is_finite()
}

/// The text, cut with an ellipsis where it is wider than `room`.
fn fitting(text: &str, size: f64, room: f64) -> String {
    let most = (room / text_width("n", size)).max(1.0) as usize;
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{kept}…")
}

/// The text in lines no wider than `room`, broken at spaces.
fn wrapped(text: &str, size: f64, room: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split(' ') {
        if !line.is_empty() && text_width(&line, size) + text_width(word, size) + size > room {
            lines.push(std::mem::replace(&mut line, word.to_owned()));
        } else {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines.push(line);
    lines
}
