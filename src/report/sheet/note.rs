//! Notes on the page: where a head stands, how it looks, how far it left its slot.

use super::layout::Sheet;
use super::mark::Mark;
use super::piece::{Piece, Placed};
use super::row::{Row, RowKind, in_beats};
use super::said::NAMES;
use super::shape::{Align, Point, Rect, Shape};
use super::strings;
use super::theme::Ink;
use crate::music::note::{Attack, Note, Role};
use crate::unit::Seconds;
use std::fmt::Write as _;

/// A row about to be drawn.
#[derive(Clone, Copy)]
pub(super) struct Staged<'a> {
    pub piece: &'a Piece<'a>,
    pub row: &'a Row,
    /// Height of its line on the page.
    pub line: f64,
}

/// A head about to be drawn.
pub(super) struct Head<'a> {
    note: &'a Note,
    placed: Placed,
    pub mark: Mark,
    /// Where its slot stands; none in free time and between slots.
    slot: Option<f64>,
    size: f64,
    /// Is it heard off its slot, and spoken of?
    bold: bool,
    /// Does it lie on the other hand's strings?
    crossed: bool,
}

impl Sheet {
    /// Is a note drawn off its slot by its drift: one that is spoken of, and heard?
    fn leaves(&self, placed: &Placed, spoken: bool) -> bool {
        spoken && (placed.audible() || self.options.hairs)
    }

    /// Horizontal places of a note: its slot's (none in free time) and its head's.
    fn across(
        &self,
        stage: Staged,
        note: &Note,
        placed: &Placed,
        spoken: bool,
    ) -> (Option<f64>, f64) {
        let Staged { piece, row, .. } = stage;
        let edge = 3.0 * self.options.zoom;
        let keep = |x: f64| x.clamp(edge, self.options.width - edge);
        let on_slot = placed.at.and_then(|slot| {
            let cell = row.cell_of(slot)?;
            let x = self.x(cell.offset + slot.0 - cell.first_beat);
            let drift = in_beats(piece.grid, placed, placed.drift)? * self.beat;
            let away = if self.leaves(placed, spoken) {
                drift * self.magnifier
            } else if placed.counts {
                0.0
            } else {
                // Notes of a rolled chord and grace notes: as they are played, not stretched.
                drift
            };
            Some((x, keep(x + away)))
        });
        if let Some((slot, head)) = on_slot {
            return (Some(slot), head);
        }
        (None, keep(self.at(stage, note.time)))
    }

    /// Where an instant lies in a row.
    fn at(&self, stage: Staged, time: Seconds) -> f64 {
        let inside = match &stage.row.kind {
            RowKind::Free { from, .. } => (time - *from).0 * super::row::BEATS_A_SECOND,
            RowKind::Bars(cells) => {
                let cell = cells.iter().rev().find(|c| c.start <= time);
                let cell = cell.or(cells.first());
                match (cell, stage.piece.grid.beat_at(time)) {
                    (Some(cell), Some(at)) => cell.offset + at.0 - cell.first_beat,
                    _ => 0.0,
                }
            }
        };
        self.x(inside)
    }

    /// The heads of a row, the take's last, so that they lie over the recording's.
    pub(super) fn heads<'a>(&self, stage: Staged<'a>) -> Vec<Head<'a>> {
        let (piece, row) = (stage.piece, stage.row);
        let first = row.notes.iter().map(|&i| {
            let placed = piece.placed(i);
            (i, &piece.notes[i], placed, false)
        });
        let second = row.second.iter().filter_map(|&i| {
            piece
                .second(i)
                .map(|(note, placed)| (i, note, placed, true))
        });
        let shown = |note: &&Note| self.options.hands.shows(note.role);
        first
            .chain(second)
            .filter(|(_, note, ..)| shown(note))
            .filter_map(|(i, note, placed, second)| self.staged(stage, i, note, placed, second))
            .collect()
    }

    fn staged<'a>(
        &self,
        stage: Staged<'a>,
        index: usize,
        note: &'a Note,
        placed: Placed,
        second: bool,
    ) -> Option<Head<'a>> {
        let z = self.options.zoom;
        let spoken = second || stage.piece.second.is_none();
        let bold = spoken && placed.audible();
        let (slot, x) = self.across(stage, note, &placed, spoken);
        let (y, crossed) = self.levels.y(note, stage.line);
        if !(x.is_finite() && y.is_finite()) {
            return None;
        }
        let grace = placed.at.is_some() && !placed.counts;
        let size = self.levels.radius
            * if bold {
                1.12
            } else if grace {
                0.8
            } else {
                1.0
            };
        let head = Point::new(x, y);
        let touch = size.max(5.0 * z) + 1.5 * z;
        Some(Head {
            note,
            placed,
            mark: Mark {
                note: index,
                others: Vec::new(),
                second,
                head,
                foot: slot.map(|slot| Point::new(slot, stage.line)),
                area: Rect::about(head, touch, touch),
            },
            slot,
            size,
            bold,
            crossed,
        })
    }

    /// What lies under all heads: how long the string rings, the stem on the slot.
    pub(super) fn under(&self, stage: Staged, head: &Head, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let at = head.mark.head;
        if !head.mark.second {
            let end = self.rings_until(stage, head.note).min(self.options.width);
            if end > at.x + 2.2 * head.size {
                self.ring((at.x + head.size, end), at.y, head.note, out);
            }
        }
        if let Some(slot) = head.slot {
            let ends = (Point::new(slot, stage.line), Point::new(slot, at.y));
            out.push(Shape::line(ends.0, ends.1, 0.9 * z, Ink::Tick));
        }
    }

    /// How long a string rings.
    fn ring(&self, (from, to): (f64, f64), y: f64, note: &Note, out: &mut Vec<Shape>) {
        let ends = (Point::new(from, y), Point::new(to, y));
        let width = 1.8 * self.options.zoom;
        out.push(Shape::line(ends.0, ends.1, width, pale(note.role)));
    }

    /// Ties over the bar line: strings of earlier rows that ring on into this one, from before its line.
    pub(super) fn ties(&self, stage: Staged, out: &mut Vec<Shape>) {
        let Staged { piece, row, line } = stage;
        let z = self.options.zoom;
        let left = self.at(stage, row.from());
        for &(i, until) in &row.carried {
            let note = &piece.notes[i];
            if !self.options.hands.shows(note.role) {
                continue;
            }
            let stop = row_end(row, until);
            let struck = row.notes.iter().any(|&k| {
                let own = &piece.notes[k];
                own.string == note.string && own.time <= until
            });
            let gap = if struck {
                1.6 * self.levels.radius
            } else {
                0.0
            };
            let end = (self.at(stage, stop) - gap).min(self.options.width);
            if end > left {
                self.ring(
                    (left - 6.0 * z, end),
                    self.levels.y(note, line).0,
                    note,
                    out,
                );
            }
        }
    }

    /// Where in the row a string is heard last: until it is damped, dies away, is struck again or
    /// the row ends.
    fn rings_until(&self, stage: Staged, note: &Note) -> f64 {
        let (piece, row) = (stage.piece, stage.row);
        let again = row
            .notes
            .iter()
            .map(|&i| &piece.notes[i])
            .find(|n| n.time > note.time && n.string == note.string && n.string.is_some());
        let end = again.map_or(note.end, |n| Seconds(n.time.0.min(note.end.0)));
        let gap = if again.is_some_and(|n| n.time <= end) {
            1.6 * self.levels.radius
        } else {
            0.0
        };
        let x = self.at(stage, row_end(row, end)) - gap;
        if x.is_finite() { x } else { 0.0 }
    }

    /// Wedge, gate and head of a note.
    pub(super) fn head(&self, stage: Staged, head: &Head, out: &mut Vec<Shape>) {
        let z = self.options.zoom;
        let (at, role) = (head.mark.head, head.note.role);
        if let Some(slot) = head.slot.filter(|_| head.bold) {
            wedge(slot, at, role, z, out);
        } else if let Some(slot) = head.slot.filter(|slot| (slot - at.x).abs() > 0.5) {
            let ends = (Point::new(slot, at.y), at);
            out.push(Shape::line(ends.0, ends.1, 1.1 * z, quiet(role)));
        }
        draw_head(at, head.size, role, (head.mark.second, head.bold), z, out);
        if !self.levels.named() {
            return;
        }
        let text = head_text(stage.piece, head.note);
        let size =
            (1.42 * self.levels.radius).min(9.6 * z) * if text.len() > 1 { 0.86 } else { 1.0 };
        out.push(Shape::Text {
            at: Point::new(at.x, at.y + 0.35 * size),
            align: Align::Centre,
            size,
            bold: head.bold,
            ink: Ink::Text,
            text,
        });
        let spelled =
            stage.piece.fretted && stage.row.spells_fingers(head.placed.at) && !head.mark.second;
        let mut beside = if spelled {
            strings::finger(head.note).to_owned()
        } else {
            String::new()
        };
        if let Some(string) = head.note.string.filter(|_| head.crossed) {
            let _ = write!(beside, " on {string}");
        }
        if !beside.is_empty() {
            // On the side that the wedge does not take.
            let late = head.bold && head.placed.drift.0 > 0.0;
            let (x, align) = if head.bold && !late {
                (at.x - head.size - 2.0 * z, Align::Right)
            } else {
                (at.x + head.size + 2.0 * z, Align::Left)
            };
            let place = Point::new(x, at.y - 2.5 * z);
            out.push(Shape::text(place, align, 8.5 * z, Ink::Faint, beside));
        }
    }
}

/// An instant, or the row's own end where that comes first.
fn row_end(row: &Row, time: Seconds) -> Seconds {
    let last = match &row.kind {
        RowKind::Bars(cells) => cells.last().map_or(time, |c| c.end),
        RowKind::Free { to, .. } => *to,
    };
    Seconds(time.0.min(last.0))
}

/// What stands in a head: the fret; where the tuning is only guessed, the name of the pitch.
pub(super) fn head_text(piece: &Piece, note: &Note) -> String {
    match note.pitch.filter(|_| !piece.fretted) {
        Some(pitch) if note.attack != Attack::Dead => {
            NAMES[pitch.nearest().rem_euclid(12) as usize].to_owned()
        }
        _ => strings::fret_text(note),
    }
}

/// From the slot to a head that left it: a gate on the slot, and a wedge that grows towards the
/// head.
pub(super) fn wedge(slot: f64, head: Point, role: Role, zoom: f64, out: &mut Vec<Shape>) {
    let gate = |dy: f64| Point::new(slot, head.y + dy * zoom);
    out.push(Shape::Sail {
        corners: [
            gate(0.0),
            Point::new(head.x, head.y - 5.0 * zoom),
            Point::new(head.x, head.y + 5.0 * zoom),
        ],
        ink: full(role),
    });
    out.push(Shape::line(gate(-7.0), gate(7.0), 1.7 * zoom, Ink::Line));
}

/// The hand's full colour.
pub fn full(role: Role) -> Ink {
    match role {
        Role::Bass => Ink::Thumb,
        Role::Melody => Ink::Finger,
    }
}

/// The hand's colour where there is nothing to say.
pub fn quiet(role: Role) -> Ink {
    match role {
        Role::Bass => Ink::ThumbQuiet,
        Role::Melody => Ink::FingerQuiet,
    }
}

/// The hand's colour as a fill behind text.
pub(super) fn pale(role: Role) -> Ink {
    match role {
        Role::Bass => Ink::ThumbPale,
        Role::Melody => Ink::FingerPale,
    }
}

/// A head: fingers are round, the thumb is square; a take is hollow; what is heard off its slot has
/// a bold rim in the hand's full colour.
pub fn draw_head(
    at: Point,
    size: f64,
    role: Role,
    (hollow, bold): (bool, bool),
    zoom: f64,
    out: &mut Vec<Shape>,
) {
    let (rim, ink) = if bold {
        (2.4 * zoom, full(role))
    } else {
        (1.0 * zoom, quiet(role))
    };
    let rim = rim.min(0.4 * size);
    match (role, hollow) {
        (Role::Melody, true) => out.push(Shape::Ring {
            centre: at,
            radius: size - rim / 2.0,
            width: rim,
            ink,
        }),
        (Role::Bass, true) => out.push(Shape::Frame {
            area: Rect::about(at, 0.93 * size - rim / 2.0, 0.93 * size - rim / 2.0),
            radius: 1.5 * zoom,
            width: rim,
            ink,
        }),
        (Role::Melody, false) => {
            for (radius, ink) in [(size, ink), (size - rim, pale(role))] {
                let centre = at;
                out.push(Shape::Disc {
                    centre,
                    radius,
                    ink,
                });
            }
        }
        (Role::Bass, false) => {
            for (half, ink) in [(0.93 * size, ink), (0.93 * size - rim, pale(role))] {
                out.push(Shape::Block {
                    area: Rect::about(at, half, half),
                    radius: 1.5 * zoom,
                    ink,
                });
            }
        }
    }
}
