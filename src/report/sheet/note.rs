//! Notes on the page: how high a head stands, how it looks, what it says when asked.

use super::row::{Row, RowKind, beat_length, drift_in_beats};
use super::shape::{Point, Rect, Shape};
use super::slots;
use super::theme::Ink;
use super::{Piece, Placed, Sheet};
use crate::music::note::{Note, Role};
use crate::timing::{Drift, SlotFigure};
use crate::unit::{Beats, MidiNote, Span};

/// A head on the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Index of its note, in the piece's or the second take's list.
    pub note: usize,
    /// Is it a note of the second take?
    pub second: bool,
    /// Middle of the head.
    pub head: Point,
    /// Foot of its stem on the row's line; none in free time.
    pub foot: Option<Point>,
    /// Around the head, for pointing at.
    pub area: Rect,
}

/// Heights of heads above and below a row's line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Levels {
    zoom: f64,
    /// Levels below the line: strings 4 to the lowest.
    below: f64,
}

impl Levels {
    /// Nearest head to the line, to the middle of the head.
    const NEAR: f64 = 8.0;
    const STEP: f64 = 9.5;
    /// Level of a hand that plays on the other hand's strings, between the line and its own.
    const CROSSED: f64 = 0.3;
    /// Between the outermost head and the next row.
    const PAD: f64 = 11.0;
    /// Finger strings 3, 2, 1.
    const ABOVE: f64 = 3.0;
    /// Height of the tablature under a bar.
    const TABLATURE: f64 = 66.0;

    pub fn of(piece: &Piece, zoom: f64) -> Self {
        let strings = f64::from(piece.tuning.strings().clamp(6, 10));
        Self {
            zoom,
            below: strings - 3.0,
        }
    }

    fn reach(&self, level: f64) -> f64 {
        (Self::NEAR + Self::STEP * level) * self.zoom
    }

    /// From a row's upper edge to its line.
    pub fn above(&self) -> f64 {
        self.reach(Self::ABOVE) + Self::PAD * self.zoom
    }

    /// Height of a row.
    pub fn height(&self, tablature: bool) -> f64 {
        let extra = if tablature { Self::TABLATURE } else { 0.0 };
        self.above() + self.reach(self.below) + (Self::PAD + extra) * self.zoom
    }

    /// From a row's line to the upper edge of its tablature.
    pub fn tablature(&self) -> f64 {
        self.reach(self.below) + 14.0 * self.zoom
    }

    /// Height on the page of a head; the line is at `line`.
    pub fn y(&self, note: &Note, line: f64) -> f64 {
        let string = note.string.map(f64::from);
        match note.role {
            Role::Melody => {
                let level = string.map_or(2.0, |s| if s <= 3.0 { 4.0 - s } else { Self::CROSSED });
                line - self.reach(level.clamp(Self::CROSSED, Self::ABOVE))
            }
            Role::Bass => {
                let level = string.map_or(2.0, |s| if s >= 4.0 { s - 3.0 } else { Self::CROSSED });
                line + self.reach(level.clamp(Self::CROSSED, self.below))
            }
        }
    }

    /// From the line to just beyond the outermost head of a hand.
    pub fn span(&self, role: Role, line: f64) -> (f64, f64) {
        match role {
            Role::Melody => (line, line - self.reach(Self::ABOVE + 0.6)),
            Role::Bass => (line, line + self.reach(self.below + 0.6)),
        }
    }
}

/// Notes of one hand on one slot, both takes: they share a band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Group {
    pub slot: Beats,
    pub role: Role,
    /// The widest floor among them.
    pub floor: Span,
}

/// A row about to be drawn.
#[derive(Clone, Copy)]
pub(super) struct Staged<'a> {
    pub piece: &'a Piece<'a>,
    pub row: &'a Row,
    /// Height of its line on the page.
    pub line: f64,
    pub groups: &'a [Group],
}

/// Groups of a row.
pub(super) fn groups(piece: &Piece, row: &Row) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    let second = row.second.iter().filter_map(|&i| piece.second(i));
    let first = row
        .notes
        .iter()
        .map(|&i| (&piece.notes[i], piece.placed(i)));
    for (note, placed) in first.chain(second) {
        let Some(slot) = placed.at else { continue };
        let floor = Span(placed.floor.0.max(0.0));
        match groups
            .iter_mut()
            .find(|g| g.role == note.role && same_slot(g.slot, slot))
        {
            Some(group) => group.floor = Span(group.floor.0.max(floor.0)),
            None => groups.push(Group {
                slot,
                role: note.role,
                floor,
            }),
        }
    }
    groups
}

fn same_slot(a: Beats, b: Beats) -> bool {
    (a.0 - b.0).abs() < 1e-3
}

/// Horizontal places of a note: its slot's (none in free time) and its head's.
fn across(
    sheet: &Sheet,
    piece: &Piece,
    row: &Row,
    note: &Note,
    placed: &Placed,
) -> (Option<f64>, f64) {
    let edge = 3.0 * sheet.options.zoom;
    let keep = |x: f64| x.clamp(edge, sheet.options.width - edge);
    let on_slot = placed.at.and_then(|slot| {
        let cell = row.cell_of(slot)?;
        let x = sheet.x(cell.offset + slot.0 - cell.first_beat);
        let drift = drift_in_beats(piece.grid, placed)?;
        Some((x, keep(x + drift * sheet.beat * sheet.magnifier)))
    });
    if let Some((slot, head)) = on_slot {
        return (Some(slot), head);
    }
    let inside = match &row.kind {
        RowKind::Free { from, .. } => (note.time - *from).0 * super::row::BEATS_A_SECOND,
        RowKind::Bars(cells) => {
            let cell = cells.iter().rev().find(|c| c.start <= note.time);
            let cell = cell.or(cells.first());
            match (cell, piece.grid.beat_at(note.time)) {
                (Some(cell), Some(at)) => cell.offset + at.0 - cell.first_beat,
                _ => 0.0,
            }
        }
    };
    (None, keep(sheet.x(inside)))
}

impl Sheet {
    /// Adds stem, flag and head of a note; says where it can be touched.
    pub(super) fn head(
        &self,
        stage: Staged,
        index: usize,
        (note, placed): (&Note, &Placed),
        second: bool,
        out: &mut Vec<Shape>,
    ) -> Option<Mark> {
        let z = self.options.zoom;
        let Staged {
            piece, row, line, ..
        } = stage;
        let (slot, x) = across(self, piece, row, note, placed);
        let y = self.levels.y(note, line);
        if !(x.is_finite() && y.is_finite()) {
            return None;
        }
        let bold = placed.at.is_some_and(|at| {
            let shares = |g: &&Group| g.role == note.role && same_slot(g.slot, at);
            let group = stage.groups.iter().find(shares);
            placed.counts && placed.drift.abs() > group.map_or(placed.floor, |g| g.floor)
        });
        let ink = head_ink(note.role, bold);
        if let Some(slot) = slot {
            let (foot, top) = (Point::new(slot, line), Point::new(slot, y));
            out.push(Shape::line(foot, top, 1.1 * z, Ink::Tick));
            let width = if bold { 2.4 } else { 1.2 } * z;
            out.push(Shape::line(top, Point::new(x, y), width, ink));
        }
        let head = Point::new(x, y);
        let size = if bold { 5.0 } else { 3.4 } * z;
        out.push(head_shape(head, size, note.role, second, ink, z));
        let touch = size.max(5.0 * z) + 1.5 * z;
        Some(Mark {
            note: index,
            second,
            head,
            foot: slot.map(|slot| Point::new(slot, line)),
            area: Rect::about(head, touch, touch),
        })
    }

    /// The sail of a note whose slot leans the same way over and over.
    pub(super) fn sail(
        &self,
        stage: Staged,
        drift: &Drift,
        (note, placed): (&Note, Placed),
    ) -> Option<Shape> {
        let Staged {
            piece, row, line, ..
        } = stage;
        let figures = drift.slots.iter();
        let slant = figures
            .filter(|f| f.slot == placed.slot && f.role == note.role)
            .find_map(SlotFigure::slant)?;
        if !placed.audible() || slant.0 * placed.drift.0 < 0.0 {
            return None;
        }
        let (slot, x) = across(self, piece, row, note, &placed);
        let y = self.levels.y(note, line);
        let slot = slot?;
        Some(Shape::Sail {
            corners: [
                Point::new(slot, line),
                Point::new(slot, y),
                Point::new(x, y),
            ],
            ink: match note.role {
                Role::Bass => Ink::ThumbSail,
                Role::Melody => Ink::FingerSail,
            },
        })
    }
}

/// Bold heads carry the hand's full colour, quiet ones a muted one.
pub(super) fn head_ink(role: Role, bold: bool) -> Ink {
    match (role, bold) {
        (Role::Bass, true) => Ink::Thumb,
        (Role::Bass, false) => Ink::ThumbQuiet,
        (Role::Melody, true) => Ink::Finger,
        (Role::Melody, false) => Ink::FingerQuiet,
    }
}

/// Fingers are round, the thumb is square; a second take is hollow.
pub(super) fn head_shape(
    at: Point,
    size: f64,
    role: Role,
    hollow: bool,
    ink: Ink,
    zoom: f64,
) -> Shape {
    let width = 1.5 * zoom;
    match (role, hollow) {
        (Role::Melody, false) => Shape::Disc {
            centre: at,
            radius: size,
            ink,
        },
        (Role::Melody, true) => Shape::Ring {
            centre: at,
            radius: size,
            width,
            ink,
        },
        (Role::Bass, false) => Shape::Block {
            area: Rect::about(at, 0.93 * size, 0.93 * size),
            radius: zoom,
            ink,
        },
        (Role::Bass, true) => Shape::Frame {
            area: Rect::about(at, 0.93 * size, 0.93 * size),
            radius: zoom,
            width,
            ink,
        },
    }
}

/// A drift in a player's words: `14 ms behind`, `9 ms ahead`, or `in time` within the floor.
pub(super) fn drift_words(drift: Span, floor: Span) -> String {
    if drift.abs() <= floor || !drift.0.is_finite() {
        "in time".to_owned()
    } else {
        let way = if drift.0 > 0.0 { "behind" } else { "ahead" };
        format!("{:.0} ms {way}", drift.abs().ms())
    }
}

/// Names of the twelve pitch classes, sharps as players of open tunings say them.
const NAMES: [&str; 12] = [
    "C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B",
];

/// A pitch as written, with its octave: C4 is middle C.
pub fn pitch_name(pitch: MidiNote) -> String {
    let m = pitch.nearest();
    let name = NAMES[m.rem_euclid(12) as usize];
    format!("{name}{}", m.div_euclid(12) - 1)
}

/// Everything about one note in one line: bar, slot, hand, drift, pitch, place on the neck.
pub fn describe(piece: &Piece, note: &Note, placed: &Placed) -> String {
    let mut parts = Vec::new();
    if let Some(at) = placed.at {
        parts.push(format!("bar {}", bar_of(piece, at)));
        parts.push(slots::name(placed.slot));
    } else {
        parts.push("no beat here".to_owned());
    }
    parts.push(hand(note.role).to_owned());
    if let Some(at) = placed.at {
        let words = drift_words(placed.drift, placed.floor);
        let share = beat_length(piece.grid, at).map(|beat| 100.0 * placed.drift.abs().0 / beat.0);
        match share.filter(|_| placed.audible()) {
            Some(share) => parts.push(format!("{words} ({share:.0} % of the beat)")),
            None => parts.push(words),
        }
    }
    if let Some(pitch) = note.pitch.filter(|p| p.0.is_finite()) {
        parts.push(pitch_name(pitch));
    }
    if let Some(string) = note.string {
        parts.push(match note.fret {
            Some(0) => format!("string {string} open"),
            Some(fret) => format!("string {string} fret {fret}"),
            None => format!("string {string}"),
        });
    }
    parts.join(", ")
}

/// Number of the bar that holds a slot.
pub(super) fn bar_of(piece: &Piece, slot: Beats) -> i32 {
    let beats = piece.grid.beats();
    let index = (slot.0 + 1e-6).floor().max(0.0) as usize;
    beats
        .get(index.min(beats.len().saturating_sub(1)))
        .map_or(0, |b| b.bar)
}

/// The hand's part, as a player says it.
pub(super) fn hand(role: Role) -> &'static str {
    match role {
        Role::Bass => "thumb",
        Role::Melody => "fingers",
    }
}
