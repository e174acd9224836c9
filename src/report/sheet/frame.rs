//! What stands around the rows: heading and legend, what a row says at its right, words below.

use super::layout::Sheet;
use super::note::{draw_head, wedge};
use super::piece::{Piece, Placed};
use super::row::Row;
use super::shape::{Align, Point, Rect, Shape, text_width};
use super::theme::Ink;
use super::words::sentences;
use crate::music::note::Role;

/// From the page's top to the headline, to the legend, and to what follows it.
const HEADLINE: f64 = 50.0;
const LEGEND: f64 = 44.0;
const AFTER: f64 = 16.0;
/// Height of the headline.
const HEADLINE_TALL: f64 = 26.0;

impl Sheet {
    /// Height of the heading: title, headline, legend, the strip of what repeats, counts.
    pub(super) fn head_height(&self, piece: &Piece) -> f64 {
        if !self.options.heading {
            return 4.0 * self.options.zoom;
        }
        self.repeats_top() + self.below_legend(piece)
    }

    /// Where the strip of what repeats begins.
    fn repeats_top(&self) -> f64 {
        let headline = if self.headline.is_some() {
            HEADLINE_TALL
        } else {
            0.0
        };
        (LEGEND + headline + AFTER) * self.options.zoom
    }

    fn below_legend(&self, piece: &Piece) -> f64 {
        if self.options.repeats && self.repeats_height(piece) > 0.0 {
            self.repeats_height(piece)
        } else {
            18.0 * self.options.zoom
        }
    }

    /// Heading: title, what it comes to, legend, the strip of what repeats, counts of the beats.
    pub fn head_shapes(&self, piece: &Piece) -> Vec<Shape> {
        let z = self.options.zoom;
        let mut out = Vec::new();
        if !self.options.heading {
            return out;
        }
        let left = self.x(0.0);
        let meter = piece.grid.meter;
        let facts = match piece.grid.tempo() {
            Some(bpm) if bpm.0.is_finite() => format!("{:.0} beats a minute, {meter}", bpm.0),
            _ => "no beat found".to_owned(),
        };
        out.push(Shape::Text {
            at: Point::new(left, 24.0 * z),
            align: Align::Left,
            size: 19.0 * z,
            bold: true,
            ink: Ink::Text,
            text: fitting(piece.title, 19.0 * z, 0.6 * self.options.width),
        });
        let right = self.options.width - 14.0 * z;
        out.push(Shape::text(
            Point::new(right, 24.0 * z),
            Align::Right,
            11.5 * z,
            Ink::Faint,
            facts,
        ));
        let mut y = LEGEND * z;
        if let Some(text) = &self.headline {
            out.push(Shape::Text {
                at: Point::new(left, HEADLINE * z),
                align: Align::Left,
                size: 14.0 * z,
                bold: false,
                ink: Ink::Text,
                text: fitting(text, 14.0 * z, right - left),
            });
            y += HEADLINE_TALL * z;
        }
        self.legend(piece, Point::new(left, y), &mut out);
        if self.options.repeats && self.repeats_height(piece) > 0.0 {
            out.extend(self.repeats_shapes(piece, self.repeats_top()));
        } else {
            self.beat_numbers(piece, self.head_height(piece) - 4.0 * z, &mut out);
        }
        out
    }

    /// How the bar is counted, standing on `y`, over the columns of the rows.
    pub fn beat_numbers(&self, piece: &Piece, y: f64, out: &mut Vec<Shape>) {
        if self.options.bars_a_row == 1 && self.rows.iter().any(Row::is_bars) {
            self.counts(piece, self.beat, y, out);
        }
    }

    /// What the shapes mean, from `at` to the right.
    pub(super) fn legend(&self, piece: &Piece, at: Point, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let size = 10.5 * z;
        let limit = self.options.width - 14.0 * z;
        let mut x = at.x;
        let word = |x: &mut f64, gap: f64, text: &str, out: &mut Vec<Shape>| {
            let place = Point::new(*x + gap * z, at.y);
            let wide = text_width(text, size);
            if place.x + wide < limit {
                out.push(Shape::text(place, Align::Left, size, Ink::Faint, text));
            }
            *x = place.x + wide + 14.0 * z;
        };
        let middle = at.y - 3.6 * z;
        let sample = |x: &mut f64, role, hollow, text: &str, out: &mut Vec<Shape>| {
            let centre = Point::new(*x + 5.0 * z, middle);
            if centre.x + text_width(text, size) + 16.0 * z < limit {
                draw_head(centre, 5.0 * z, role, (hollow, false), z, out);
            }
            word(x, 14.0, text, out);
        };
        sample(&mut x, Role::Melody, false, "fingers", out);
        sample(&mut x, Role::Bass, false, "thumb", out);
        if piece.second.is_some() {
            sample(&mut x, Role::Melody, true, "your take", out);
        }
        if piece.grid.is_empty() {
            return;
        }
        let text = "nobody hears this";
        if x + text_width(text, size) + 24.0 * z < limit {
            out.push(Shape::Block {
                area: Rect::about(Point::new(x + 5.0 * z, middle), 4.0 * z, 7.0 * z),
                radius: 0.0,
                ink: Ink::Band,
            });
            word(&mut x, 14.0, text, out);
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
        let text = format!("20 ms, drawn ×{:.0}", self.magnifier);
        let size = 10.5 * z;
        let place = Point::new(*x + long + 14.0 * z, y + 3.6 * z);
        if !long.is_finite() || place.x + text_width(&text, size) > limit {
            // Never leave the magnifier unsaid: without room for the ruler, say it above.
            let at = Point::new(limit, 36.0 * z);
            let text = format!("drift drawn ×{:.0}", self.magnifier);
            out.push(Shape::text(at, Align::Right, size, Ink::Faint, text));
            return;
        }
        let head = Point::new(*x + long, y);
        wedge(*x, head, Role::Melody, 0.8 * z, out);
        draw_head(head, 5.0 * z, Role::Melody, (false, true), z, out);
        out.push(Shape::text(place, Align::Left, size, Ink::Faint, text));
        *x = place.x;
    }

    /// At the right of a bar, a hand a side of the line: what is heard off its slot there. Silent
    /// where nothing is.
    pub(super) fn row_says(&self, piece: &Piece, row: &Row, line: f64, out: &mut Vec<Shape>) {
        if !self.shows_means() || !row.is_bars() {
            return;
        }
        let z = self.options.zoom;
        let reference = piece.told().reference;
        let x = self.options.width - 14.0 * z;
        for (role, y) in [
            (Role::Melody, line - 20.0 * z),
            (Role::Bass, line + 18.0 * z),
        ] {
            let off = self.off_in(piece, row, role);
            let Some(worst) = off
                .iter()
                .max_by(|a, b| a.drift.abs().0.total_cmp(&b.drift.abs().0))
            else {
                continue;
            };
            out.push(Shape::Text {
                at: Point::new(x, y),
                align: Align::Right,
                size: 11.0 * z,
                bold: true,
                ink: Ink::Text,
                text: reference.off(worst.drift),
            });
            let mut place = worst.slot.name(piece.grid.meter);
            if off.len() > 1 {
                place = format!("{place}, {} more", off.len() - 1);
            }
            let at = Point::new(x, y + 12.0 * z);
            out.push(Shape::text(at, Align::Right, 9.5 * z, Ink::Faint, place));
        }
    }

    /// The notes of a hand that are drawn off their slots in a row.
    fn off_in(&self, piece: &Piece, row: &Row, role: Role) -> Vec<Placed> {
        let of = if piece.second.is_some() {
            &row.second
        } else {
            &row.notes
        };
        let own = |i: &&usize| piece.spoken_note(**i).is_some_and(|n| n.role == role);
        if !self.options.hands.shows(role) {
            return Vec::new();
        }
        of.iter()
            .filter(own)
            .map(|&i| match piece.second(i) {
                Some((_, placed)) => placed,
                None => piece.placed(i),
            })
            .filter(Placed::audible)
            .collect()
    }

    /// Under the rows: what it means in words. `top` is where it starts; the second value is its
    /// height.
    pub fn foot_shapes(&self, piece: &Piece, top: f64) -> (Vec<Shape>, f64) {
        let z = self.options.zoom;
        let mut out = Vec::new();
        let mut y = top + 14.0 * z;
        let left = self.x(0.0);
        if self.options.words {
            // The first stands above the rows.
            for sentence in sentences(piece).into_iter().skip(1) {
                let room = self.options.width - left - 14.0 * z;
                y += 4.0 * z;
                for line in wrapped(&sentence.text, 13.0 * z, room) {
                    y += 18.0 * z;
                    let at = Point::new(left, y);
                    out.push(Shape::text(at, Align::Left, 13.0 * z, Ink::Text, line));
                }
            }
        }
        (out, y + 18.0 * z - top)
    }
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
