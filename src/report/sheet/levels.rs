//! How high heads stand above and below a row's line, and how large they are.

use super::piece::Piece;
use crate::music::note::{Note, Role};

/// Heights of heads above and below a row's line, and their size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Levels {
    zoom: f64,
    /// Strings below the line: 4 to the lowest.
    below: u8,
    /// Is there a finger on strings 4 and lower, or a thumb on 3 and higher? They have a lane of
    /// their own between the line and the hand's own strings.
    crossed: (bool, bool),
    /// Radius of a plain head.
    pub radius: f64,
}

impl Levels {
    /// Nearest lane to the line.
    const NEAR: f64 = 11.0;
    const STEP: f64 = 13.0;
    /// From the upper edge of a row to its highest lane, and from its lowest to the lower edge.
    const OVER: f64 = 24.0;
    const UNDER: f64 = 12.0;
    /// Finger strings 3, 2, 1.
    const ABOVE: u8 = 3;
    /// Height of the tablature under a bar.
    const TABLATURE: f64 = 78.0;
    /// Radius of a head that has room.
    const RADIUS: f64 = 6.4;
    /// Smallest head that its fret is written in.
    const LEGIBLE: f64 = 4.6;

    pub fn of(piece: &Piece, zoom: f64) -> Self {
        let crossed = |role: Role, own: fn(u8) -> bool| {
            let second = piece.second.map_or(&[][..], |take| take.notes);
            let notes = piece.notes.iter().chain(second);
            let strings = notes.filter(|n| n.role == role).filter_map(|n| n.string);
            strings.into_iter().any(|s| !own(s))
        };
        Self {
            zoom,
            below: piece.tuning.strings().clamp(6, 10) - 3,
            crossed: (
                crossed(Role::Melody, |s| s <= 3),
                crossed(Role::Bass, |s| s >= 4),
            ),
            radius: Self::RADIUS * zoom,
        }
    }

    /// Makes heads small enough that two on neighbouring slots stay apart.
    pub fn fit(&mut self, slots_apart: f64) {
        self.radius = self.radius.min(0.46 * slots_apart).max(1.5);
    }

    /// Is there room for frets and string numbers?
    pub fn named(&self) -> bool {
        self.radius >= Self::LEGIBLE * self.zoom.min(1.0)
    }

    /// Radius of a plain head.
    pub fn radius(&self) -> f64 {
        self.radius
    }

    /// Distance from the line of a hand's `lane`, 0 nearest.
    fn reach(&self, lane: u8, crossed: bool) -> f64 {
        let lane = f64::from(lane) + if crossed { 1.0 } else { 0.0 };
        (Self::NEAR + Self::STEP * lane) * self.zoom
    }

    /// From a row's upper edge to its line.
    pub fn above(&self) -> f64 {
        self.reach(Self::ABOVE - 1, self.crossed.0) + Self::OVER * self.zoom
    }

    fn under(&self) -> f64 {
        self.reach(self.below - 1, self.crossed.1)
    }

    /// Height of a row.
    pub fn height(&self, tablature: bool) -> f64 {
        let extra = if tablature { Self::TABLATURE } else { 0.0 };
        let extra = extra * self.tablature_zoom();
        self.above() + self.under() + Self::UNDER * self.zoom + extra
    }

    /// From a row's line to the upper edge of its tablature.
    pub fn tablature(&self) -> f64 {
        self.under() + 16.0 * self.tablature_zoom()
    }

    /// Size of the tablature: with everything else, but never too small to be read.
    pub fn tablature_zoom(&self) -> f64 {
        self.zoom.max(1.0)
    }

    /// Strings and the heights of their lanes; the line is at `line`.
    pub fn strings(&self, line: f64) -> impl Iterator<Item = (u8, f64)> + use<> {
        let this = *self;
        let fingers =
            (1..=Self::ABOVE).map(move |s| (s, line - this.reach(Self::ABOVE - s, this.crossed.0)));
        let thumb =
            (0..this.below).map(move |lane| (4 + lane, line + this.reach(lane, this.crossed.1)));
        fingers.chain(thumb)
    }

    /// Heights of all lanes.
    pub fn lanes(&self, line: f64) -> impl Iterator<Item = f64> + use<> {
        self.strings(line).map(|(_, y)| y)
    }

    /// Height on the page of a head, and whether it lies on the other hand's strings.
    pub fn y(&self, note: &Note, line: f64) -> (f64, bool) {
        let near = Self::NEAR * self.zoom;
        match note.role {
            Role::Melody => match note.string {
                Some(s) if s <= Self::ABOVE => {
                    let lane = Self::ABOVE - s.max(1);
                    (line - self.reach(lane, self.crossed.0), false)
                }
                Some(_) => (line - near, true),
                None => (line - self.reach(1, self.crossed.0), false),
            },
            Role::Bass => match note.string {
                Some(s) if s >= 4 => {
                    let lane = (s - 4).min(self.below - 1);
                    (line + self.reach(lane, self.crossed.1), false)
                }
                Some(_) => (line + near, true),
                None => (line + self.reach(1, self.crossed.1), false),
            },
        }
    }
}
