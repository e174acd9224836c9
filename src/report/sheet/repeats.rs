//! The strip of what repeats: all bars laid over each other, one bar wide.
//!
//! For each slot and hand a cloud of its repeats (the first bar nearest to the line, the last
//! farthest), the middle of them with its interval, and what it comes to in words. The same figures
//! and verdicts as everywhere; columns stand over those of the rows.

use super::layout::Sheet;
use super::note::{draw_head, full, quiet, wedge};
use super::piece::{Piece, Placed};
use super::row::{Row, RowKind};
use super::said::hand;
use super::shape::{Align, Point, Rect, Shape};
use super::slots;
use super::theme::Ink;
use super::words;
use crate::music::note::Role;
use crate::timing::{SlotFigure, Verdict};
use crate::unit::Span;
use std::fmt::Write as _;

/// From the line to the middle of a hand's heads, and beyond to its words.
const LANE: f64 = 35.0;
const WORDS: f64 = 55.5;
/// Where the cloud lies: from here off the line to here.
const CLOUD: (f64, f64) = (6.0, 25.0);
/// From the strip's top to its line, and from its line to the counts of the beats.
const ABOVE: f64 = 95.0;
const BELOW: f64 = 87.0;

/// What stands at one place of the strip.
struct Spot<'a> {
    figure: &'a SlotFigure,
    /// Where its slot stands on the page.
    x: f64,
    /// Height of the strip's line.
    line: f64,
    /// Points to a second.
    scale: f64,
    /// Up for fingers, down for the thumb.
    up: f64,
}

/// What the strip says of one slot and hand.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeat {
    /// Around its head and cloud, for pointing at.
    pub area: Rect,
    /// "the and of 2, fingers: 21 ms later, 12 of 12 notes".
    pub text: String,
    /// The notes it was computed from (of the take, where there is one).
    pub notes: Vec<usize>,
}

impl Sheet {
    /// What the strip with its upper edge at `top` says, in order of the bar.
    pub fn repeats_at(&self, piece: &Piece, top: f64) -> Vec<Repeat> {
        let z = self.options.zoom;
        let line = top + ABOVE * z;
        let told = piece.told();
        let beat = self.inner_width() / self.longest_bar();
        let shown = |s: &&SlotFigure| usable(s) && self.options.hands.shows(s.role);
        told.slots
            .iter()
            .filter(shown)
            .map(|figure| {
                let part = slots::share(piece.drift, figure.slot.part, figure.slot.parts);
                let at = f64::from(figure.slot.beat.saturating_sub(1)) + part;
                let x = self.margin() + at * beat;
                let up = if figure.role == Role::Melody {
                    -1.0
                } else {
                    1.0
                };
                let middle = Point::new(x, line + up * 24.0 * z);
                let name = figure.slot.name(piece.grid.meter);
                let (agree, all) = words::agreeing(piece, figure);
                let verdict = figure.verdict();
                let mut text = format!(
                    "{name}, {}: {}",
                    hand(figure.role),
                    told.reference.told(&figure.figure, verdict)
                );
                // Writing to a string cannot fail.
                let _ = if verdict.drifts() {
                    write!(text, ", {} of {} notes", agree.len(), all.len())
                } else {
                    write!(text, ", {} notes", all.len())
                };
                Repeat {
                    area: Rect::about(middle, 15.0 * z, 20.0 * z),
                    text,
                    notes: all,
                }
            })
            .collect()
    }

    /// Around the number of each counted beat, from 1, under the strip whose upper edge is at `top`.
    pub fn counted(&self, top: f64) -> impl Iterator<Item = (u8, Rect)> + use<'_> {
        let z = self.options.zoom;
        let beats = self.longest_bar();
        let beat = self.inner_width() / beats;
        let y = top + (ABOVE + BELOW - 8.0) * z;
        (0..beats.ceil() as u8).map(move |n| {
            let centre = Point::new(self.margin() + f64::from(n) * beat, y);
            (
                n + 1,
                Rect::about(centre, (0.2 * beat).min(14.0 * z), 11.0 * z),
            )
        })
    }

    /// Height of the strip with the counts of the beats under it; none where there is nothing to
    /// lay over each other.
    pub fn repeats_height(&self, piece: &Piece) -> f64 {
        if self.repeats(piece) {
            (ABOVE + BELOW) * self.options.zoom
        } else {
            0.0
        }
    }

    fn repeats(&self, piece: &Piece) -> bool {
        !piece.told().slots.is_empty() && self.rows.iter().any(Row::is_bars)
    }

    /// The strip, its upper edge at `top`.
    pub fn repeats_shapes(&self, piece: &Piece, top: f64) -> Vec<Shape> {
        let mut out = Vec::new();
        if !self.repeats(piece) {
            return out;
        }
        let z = self.options.zoom;
        let line = top + ABOVE * z;
        let beats = self.longest_bar();
        // One bar fills the page, however many stand in a row.
        let beat = self.inner_width() / beats;
        let x = |at: f64| self.margin() + at * beat;
        self.strip_title(piece, top, &mut out);
        let length = piece.grid.tempo().map_or(0.5, |bpm| bpm.beat().0);
        let length = if length.is_finite() {
            length.max(0.01)
        } else {
            0.5
        };
        let far = WORDS - 11.5;
        for column in self.columns.iter().filter(|c| c.at < beats) {
            let half = column
                .floor
                .map(|f| (f * beat * self.magnifier).min(beat / 2.0));
            out.extend(half.map(|half| Shape::Block {
                area: Rect {
                    left: x(column.at) - half,
                    top: line - far * z,
                    right: x(column.at) + half,
                    bottom: line + far * z,
                },
                radius: 0.0,
                ink: Ink::Band,
            }));
        }
        let ends = (Point::new(x(0.0), line), Point::new(x(beats), line));
        out.push(Shape::line(ends.0, ends.1, 1.4 * z, Ink::Line));
        for number in 0..beats.ceil() as usize {
            let at = x(number as f64);
            let ends = (
                Point::new(at, line - 6.0 * z),
                Point::new(at, line + 6.0 * z),
            );
            out.push(Shape::line(ends.0, ends.1, 1.4 * z, Ink::Line));
        }
        let shown = |s: &&SlotFigure| usable(s) && self.options.hands.shows(s.role);
        for figure in piece.told().slots.iter().filter(shown) {
            let part = slots::share(piece.drift, figure.slot.part, figure.slot.parts);
            let at = f64::from(figure.slot.beat.saturating_sub(1)) + part;
            let spot = Spot {
                figure,
                x: x(at.min(beats)),
                line,
                scale: beat * self.magnifier / length,
                up: if figure.role == Role::Melody {
                    -1.0
                } else {
                    1.0
                },
            };
            self.cloud(piece, &spot, &mut out);
            self.middle(piece, &spot, &mut out);
        }
        self.counts(piece, beat, top + (ABOVE + BELOW - 4.0) * z, &mut out);
        out
    }

    /// Beats of the longest bar.
    pub(super) fn longest_bar(&self) -> f64 {
        let cells = self.rows.iter().filter_map(|row| match &row.kind {
            RowKind::Bars(cells) => Some(cells),
            RowKind::Free { .. } => None,
        });
        let beats = cells.flatten().map(|c| c.lead + c.beats);
        beats.fold(1.0, f64::max)
    }

    fn strip_title(&self, piece: &Piece, top: f64, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        if !self.options.heading {
            let at = Point::new(self.margin(), top + 13.0 * z);
            self.legend(piece, at, out);
            return self.lane_names(top, out);
        }
        let at = Point::new(self.margin(), top + 13.0 * z);
        let bars = piece.grid.bars().len();
        let of = if piece.second.is_some() {
            "your take, "
        } else {
            ""
        };
        out.push(Shape::Text {
            at,
            align: Align::Left,
            size: 11.5 * z,
            bold: true,
            ink: Ink::Text,
            text: "What repeats".to_owned(),
        });
        let text = format!(
            "{of}{bars} bars laid over each other, {}",
            piece.told().reference.name()
        );
        let at = Point::new(at.x + 100.0 * z, at.y);
        out.push(Shape::text(at, Align::Left, 10.5 * z, Ink::Faint, text));
        self.lane_names(top, out);
    }

    fn lane_names(&self, top: f64, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        for (role, dy) in [(Role::Melody, -LANE), (Role::Bass, LANE)] {
            if self.options.hands.shows(role) {
                // Where there is room, on the side that no early head takes.
                let x = if self.shows_means() {
                    self.margin() + self.inner_width() + 12.0 * z
                } else {
                    14.0 * z
                };
                let at = Point::new(x, top + (ABOVE + dy + 3.5) * z);
                let name = hand(role);
                out.push(Shape::text(at, Align::Left, 10.5 * z, Ink::Faint, name));
            }
        }
    }

    /// Every repeat as a dot, the first bar's nearest to the line.
    fn cloud(&self, piece: &Piece, spot: &Spot, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let notes: Vec<Placed> = piece
            .spoken()
            .filter(|(i, placed)| {
                let own = piece
                    .spoken_note(*i)
                    .is_some_and(|n| n.role == spot.figure.role);
                own && placed.counts && placed.slot == spot.figure.slot
            })
            .map(|(_, placed)| placed)
            .collect();
        let radius = if notes.len() > 40 { 1.3 } else { 1.9 } * z;
        let step = (CLOUD.1 - CLOUD.0) / notes.len().max(2) as f64;
        for (i, placed) in notes.iter().enumerate() {
            let centre = Point::new(
                self.kept(spot.x + placed.drift.0 * spot.scale),
                spot.line + spot.up * (CLOUD.0 + step * (i as f64 + 0.5)) * z,
            );
            let ink = if placed.audible() {
                full(spot.figure.role)
            } else {
                quiet(spot.figure.role)
            };
            if centre.x.is_finite() {
                out.push(Shape::Disc {
                    centre,
                    radius,
                    ink,
                });
            }
        }
    }

    pub(super) fn kept(&self, x: f64) -> f64 {
        let edge = 3.0 * self.options.zoom;
        x.clamp(edge, self.options.width - edge)
    }

    /// The middle of the repeats with its interval, and what it comes to.
    fn middle(&self, piece: &Piece, spot: &Spot, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let (figure, role) = (&spot.figure.figure, spot.figure.role);
        let verdict = spot.figure.verdict();
        let y = spot.line + spot.up * LANE * z;
        let place = |span: Span| self.kept(spot.x + span.0 * spot.scale);
        // A middle that nobody hears stands on its slot, as the notes do.
        let drifts = verdict.drifts();
        let head = Point::new(
            if drifts || self.options.hairs {
                place(figure.centre)
            } else {
                spot.x
            },
            y,
        );
        if piece.second.is_some() {
            self.other(piece, spot, y, out);
        }
        if drifts {
            wedge(spot.x, head, role, z, out);
        }
        if let (true, Some(low), Some(high)) = (
            drifts || verdict == Verdict::Unclear,
            figure.low,
            figure.high,
        ) {
            whisker(place(low), place(high), y + spot.up * 10.5 * z, z, out);
        }
        if verdict == Verdict::Uneven {
            let half = figure.spread;
            let ends = (place(figure.centre - half), place(figure.centre + half));
            whisker(ends.0, ends.1, y + spot.up * 10.5 * z, z, out);
        }
        let size = if drifts { 7.2 } else { 5.0 } * z;
        let hollow = piece.second.is_some();
        draw_head(head, size, role, (hollow, drifts), z, out);
        self.says(piece, spot, head.x, verdict, out);
    }

    /// Where the other player's middle lies, when it is not itself what is told against.
    fn other(&self, piece: &Piece, spot: &Spot, y: f64, out: &mut Vec<Shape>) {
        if piece.told().reference == crate::timing::Reference::Recording {
            return;
        }
        let same = |s: &&SlotFigure| s.slot == spot.figure.slot && s.role == spot.figure.role;
        if let Some(theirs) = piece.drift.slots.iter().find(same).filter(|s| usable(s)) {
            let at = Point::new(self.kept(spot.x + theirs.figure.centre.0 * spot.scale), y);
            let z = self.options.zoom;
            draw_head(at, 4.4 * z, spot.figure.role, (false, false), z, out);
        }
    }

    fn says(&self, piece: &Piece, spot: &Spot, x: f64, verdict: Verdict, out: &mut Vec<Shape>) {
        if matches!(verdict, Verdict::With | Verdict::TooFew) {
            return;
        }
        let z = self.options.zoom;
        let figure = &spot.figure.figure;
        let drifts = verdict.drifts();
        let text = piece.told().reference.told(figure, verdict);
        let outward = |by: f64| spot.line + spot.up * by * z + 4.0 * z;
        // Fingers: count over words over head; thumb the other way round.
        out.push(Shape::Text {
            at: Point::new(x, outward(WORDS)),
            align: Align::Centre,
            size: if drifts { 11.5 } else { 9.5 } * z,
            bold: drifts,
            ink: if drifts { Ink::Text } else { Ink::Faint },
            text,
        });
        if drifts {
            let (agree, all) = words::agreeing(piece, spot.figure);
            let at = Point::new(x, outward(WORDS + 12.0));
            let text = format!("{} of {}", agree.len(), all.len());
            out.push(Shape::text(at, Align::Centre, 9.5 * z, Ink::Faint, text));
        }
    }

    /// How the bar is counted, standing on `y`: beats and what lies between them.
    pub(super) fn counts(&self, piece: &Piece, beat: f64, y: f64, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let meter = piece.grid.meter;
        let x = |at: f64| self.margin() + at * beat;
        let mut counted: Vec<(f64, String, bool)> = (0..self.longest_bar().ceil() as u8)
            .map(|n| {
                let slot = crate::timing::Slot {
                    beat: n + 1,
                    part: 0,
                    parts: 1,
                };
                (f64::from(n), slot.count(meter), true)
            })
            .collect();
        let finer = self.columns.iter().filter(|c| c.slot.part > 0);
        counted.extend(finer.map(|c| (c.at, c.slot.count(meter), false)));
        for (at, text, beat) in counted {
            out.push(Shape::Text {
                at: Point::new(x(at), y),
                align: Align::Centre,
                size: if beat { 12.0 } else { 10.5 } * z,
                bold: beat,
                ink: if beat { Ink::Text } else { Ink::Faint },
                text,
            });
        }
    }
}

/// A line with ends: an interval.
fn whisker(from: f64, to: f64, y: f64, zoom: f64, out: &mut Vec<Shape>) {
    let ends = (Point::new(from, y), Point::new(to, y));
    out.push(Shape::line(ends.0, ends.1, 1.2 * zoom, Ink::Line));
    for x in [from, to] {
        let tick = (Point::new(x, y - 2.6 * zoom), Point::new(x, y + 2.6 * zoom));
        out.push(Shape::line(tick.0, tick.1, 1.2 * zoom, Ink::Line));
    }
}

/// Are its numbers numbers?
fn usable(slot: &SlotFigure) -> bool {
    let figure = &slot.figure;
    (figure.centre.0 + figure.spread.0 + slot.floor.0).is_finite()
        && slot.slot.parts > 0
        && [figure.low, figure.high]
            .into_iter()
            .flatten()
            .all(|s| s.0.is_finite())
}
