//! The proof: one stretch of a recording close up, at true scale. Waveform, where the sound rises,
//! each onset with the error it may have, each slot where the grid wants it.
//!
//! Owns its layout as shapes, like `sheet`; the window paints them, [`draw`] writes them as SVG.

use super::sheet::{Align, Ground, Ink, Piece, Point, Shape, draw_head, full, quiet};
use super::svg;
use crate::analysis::candidates::flux::{Fluxes, HOP};
use crate::analysis::mono::Mono;
use crate::music::note::{Attack, Role};
use crate::recording::Recording;
use crate::timing::Slot;
use crate::unit::{Beats, Seconds, Span};

/// Size of the picture as a file.
const SIZE: (f64, f64) = (960.0, 330.0);
/// Half of the 95 % interval of one onset: found within 1.5 ms (SD), measured on rendered pieces.
const ERROR: Span = Span::from_ms(3.0);
/// What is shown before the stretch, as a share of it.
const LEAD: f64 = 0.04;
/// Left and right of what is drawn.
const MARGIN: f64 = 64.0;

/// SVG of `recording` from `from` to `to`, with what was heard there; an empty stretch gives an
/// empty picture.
pub fn draw(recording: &Recording, piece: &Piece, from: Seconds, to: Seconds) -> String {
    let shapes = shapes(recording, piece, (from, to), SIZE, 1.0);
    svg::page("A bar close up", SIZE, &shapes, Ground::Paper)
}

/// The stretch `from` to `to` in `size` points, letters and heads `zoom` times as large as usual.
pub fn shapes(
    recording: &Recording,
    piece: &Piece,
    (from, to): (Seconds, Seconds),
    size: (f64, f64),
    zoom: f64,
) -> Vec<Shape> {
    let mut out = Vec::new();
    let (from, length) = drawn((from, to));
    if !(length.is_finite() && length > 0.0 && from.0.is_finite()) {
        return out;
    }
    let view = View::new(from, length, size, zoom);
    view.slots(piece, &mut out);
    let sound = stretch(recording, from, to);
    view.waveform(&sound, &mut out);
    view.rises(&sound, &mut out);
    for (i, note) in piece.notes.iter().enumerate() {
        if note.time >= from && note.time < to {
            view.onset(piece, i, &mut out);
        }
    }
    for (role, y) in [(Role::Melody, view.lanes.0), (Role::Bass, view.lanes.1)] {
        let name = if role == Role::Bass {
            "thumb"
        } else {
            "fingers"
        };
        view.says(Point::new(8.0, y + 3.5 * zoom), name, &mut out);
    }
    view.says(Point::new(8.0, view.wave.centre()), "sound", &mut out);
    view.says(Point::new(8.0, view.flux.centre()), "rises", &mut out);
    out
}

/// The stretch that is drawn: a little before, so that the attack on the first beat is whole.
fn drawn((from, to): (Seconds, Seconds)) -> (Seconds, f64) {
    let from = Seconds((from.0 - LEAD * (to - from).0).max(0.0));
    (from, (to - from).0)
}

/// Where an instant stands in a picture `width` points wide of a stretch.
pub fn across(stretch: (Seconds, Seconds), width: f64, time: Seconds) -> f64 {
    let (from, length) = drawn(stretch);
    View::new(from, length, (width, 0.0), 1.0).x(time)
}

/// The instant at a place of such a picture; none outside the stretch.
pub fn time_at(stretch: (Seconds, Seconds), width: f64, x: f64) -> Option<Seconds> {
    let (from, length) = drawn(stretch);
    let share = (x - MARGIN) / (width - 2.0 * MARGIN).max(10.0);
    (0.0..=1.0)
        .contains(&share)
        .then(|| from + Span(length * share))
}

/// The stretch at the analysis rate, mono; empty where the recording has none.
fn stretch(recording: &Recording, from: Seconds, to: Seconds) -> Vec<f32> {
    let rate = recording.rate();
    let end = to.frame(rate).min(recording.frames());
    let start = from.frame(rate).min(end);
    let part = (0..recording.width()).map(|c| recording.part(c, start..end).into_owned());
    let Ok(part) = Recording::new("a stretch", rate, part.collect()) else {
        return Vec::new();
    };
    let mono = Mono::new(&part);
    mono.part(0, mono.len()).into_owned()
}

/// A band of the picture between two heights.
#[derive(Clone, Copy)]
struct Band {
    top: f64,
    bottom: f64,
}

impl Band {
    fn centre(self) -> f64 {
        f64::midpoint(self.top, self.bottom)
    }

    fn height(self) -> f64 {
        self.bottom - self.top
    }
}

struct View {
    from: Seconds,
    length: f64,
    width: f64,
    zoom: f64,
    /// Heights of the fingers' and the thumb's heads.
    lanes: (f64, f64),
    wave: Band,
    flux: Band,
}

impl View {
    fn new(from: Seconds, length: f64, (width, height): (f64, f64), zoom: f64) -> Self {
        // Counts, fingers, sound, rises, thumb, from the top.
        let (head, foot) = (46.0 * zoom, height - 30.0 * zoom);
        let split = head + 0.64 * (foot - head);
        Self {
            from,
            length,
            width: (width - 2.0 * MARGIN).max(10.0),
            zoom,
            lanes: (34.0 * zoom, height - 16.0 * zoom),
            wave: Band {
                top: head + 4.0 * zoom,
                bottom: split,
            },
            flux: Band {
                top: split + 6.0 * zoom,
                bottom: foot,
            },
        }
    }

    fn x(&self, time: Seconds) -> f64 {
        MARGIN + self.width * (time - self.from).0 / self.length
    }

    fn says(&self, at: Point, text: &str, out: &mut Vec<Shape>) {
        out.push(Shape::text(
            at,
            Align::Left,
            10.5 * self.zoom,
            Ink::Faint,
            text,
        ));
    }

    /// Where the grid wants notes: beats and their parts, with how they are counted.
    fn slots(&self, piece: &Piece, out: &mut Vec<Shape>) {
        for (index, beat) in piece.grid.beats().iter().enumerate() {
            let parts = beat.parts.max(1);
            for part in 0..parts {
                let share = if (part, parts) == (1, 2) {
                    piece.drift.off_beat()
                } else {
                    f64::from(part) / f64::from(parts)
                };
                let Some(time) = piece.grid.time_at(Beats(index as f64 + share)) else {
                    continue;
                };
                let x = self.x(time);
                if !(MARGIN - 1.0..=MARGIN + self.width + 1.0).contains(&x) {
                    continue;
                }
                let slot = Slot {
                    beat: beat.place,
                    part,
                    parts,
                };
                let on = part == 0;
                let ends = (
                    Point::new(x, 20.0 * self.zoom),
                    Point::new(x, self.lanes.1 + 8.0 * self.zoom),
                );
                let (width, ink) = if on {
                    (1.4, Ink::Line)
                } else {
                    (0.8, Ink::Tick)
                };
                out.push(Shape::line(ends.0, ends.1, width * self.zoom, ink));
                out.push(Shape::Text {
                    at: Point::new(x, 14.0 * self.zoom),
                    align: Align::Centre,
                    size: if on { 12.0 } else { 10.5 } * self.zoom,
                    bold: on,
                    ink: if on { Ink::Text } else { Ink::Faint },
                    text: slot.count(piece.grid.meter),
                });
            }
        }
    }

    /// Lowest and highest sample of every point across.
    fn waveform(&self, sound: &[f32], out: &mut Vec<Shape>) {
        let top = sound.iter().fold(1e-6_f32, |m, v| m.max(v.abs()));
        let y = |v: f32| self.wave.centre() - 0.5 * self.wave.height() * f64::from(v / top);
        let chunk = sound.len().div_ceil(self.width as usize).max(1);
        let step = self.width * chunk as f64 / sound.len().max(1) as f64;
        for (i, part) in sound.chunks(chunk).enumerate() {
            let low = part.iter().fold(f32::INFINITY, |m, v| m.min(*v));
            let high = part.iter().fold(f32::NEG_INFINITY, |m, v| m.max(*v));
            let x = MARGIN + step * i as f64;
            let ends = (Point::new(x, y(high)), Point::new(x, y(low) + 0.6));
            out.push(Shape::line(ends.0, ends.1, 1.0, Ink::Tick));
        }
    }

    /// How fast the sound rises (spectral flux).
    fn rises(&self, sound: &[f32], out: &mut Vec<Shape>) {
        let flux = Fluxes::of(sound).combined;
        let top = flux.iter().fold(1e-6_f32, |m, v| m.max(*v));
        let at = |i: usize, v: f32| {
            let x = MARGIN + self.width * (i * HOP) as f64 / sound.len().max(1) as f64;
            Point::new(
                x,
                self.flux.bottom - self.flux.height() * f64::from(v / top),
            )
        };
        let points: Vec<Point> = flux.iter().enumerate().map(|(i, v)| at(i, *v)).collect();
        for pair in points.windows(2) {
            out.push(Shape::line(pair[0], pair[1], 1.2 * self.zoom, Ink::Line));
        }
    }

    /// One onset: a line through sound and rises, its head with the error it may have, and its
    /// drift where it is heard.
    fn onset(&self, piece: &Piece, index: usize, out: &mut Vec<Shape>) {
        let (note, placed, z) = (&piece.notes[index], piece.placed(index), self.zoom);
        let x = self.x(note.time);
        let heard = placed.audible();
        let knock = note.attack == Attack::Tap;
        let ink = match (knock, heard) {
            (true, _) => Ink::Tick,
            (false, true) => full(note.role),
            (false, false) => quiet(note.role),
        };
        let y = match note.role {
            Role::Melody => self.lanes.0,
            Role::Bass => self.lanes.1,
        };
        let (a, b) = match note.role {
            Role::Melody => (y, self.flux.bottom),
            Role::Bass => (self.wave.top, y),
        };
        let width = if heard { 2.0 } else { 1.2 } * z;
        out.push(Shape::line(Point::new(x, a), Point::new(x, b), width, ink));
        if knock {
            return;
        }
        let half = self.width * ERROR.0 / self.length;
        let ends = (Point::new(x - half, y), Point::new(x + half, y));
        draw_head(Point::new(x, y), 4.6 * z, note.role, (false, heard), z, out);
        out.push(Shape::line(ends.0, ends.1, 1.4 * z, Ink::Line));
        for end in [ends.0, ends.1] {
            let (up, down) = (end.y - 3.0 * z, end.y + 3.0 * z);
            let tick = (Point::new(end.x, up), Point::new(end.x, down));
            out.push(Shape::line(tick.0, tick.1, 1.4 * z, Ink::Line));
        }
        if heard {
            let late = placed.drift.0 > 0.0;
            let (dx, align) = if late {
                (9.0, Align::Left)
            } else {
                (-9.0, Align::Right)
            };
            out.push(Shape::Text {
                at: Point::new(x + dx * z, y + 3.8 * z),
                align,
                size: 11.0 * z,
                bold: true,
                ink: Ink::Text,
                text: piece.drift.reference.off(placed.drift),
            });
        }
    }
}
