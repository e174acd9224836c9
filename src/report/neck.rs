//! The neck as an SVG picture (SVG 1.1, W3C 2011): strings, frets where they really lie, notes as
//! rings (open) and discs (stopped), and a path through them.

use super::sheet::{Ground, Ink};
use super::sign::COMMENT;
use crate::music::harmonics::fret_distance_mm;
use crate::music::neck::Mark;
use crate::music::pitch::Key;
use crate::music::tuning::Tuning;
use crate::xml::escaped;
use std::fmt::Write;

/// Everything the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture<'a> {
    /// Heading.
    pub title: &'a str,
    /// Strings and capo.
    pub tuning: &'a Tuning,
    /// Notes.
    pub marks: &'a [Mark],
    /// A path as (string, fret) in order, drawn as a line; empty for none.
    pub path: &'a [(u8, f64)],
    /// Highest fret that is drawn, at least 3.
    pub highest: u8,
}

/// Where frets lie between two edges: at their true distances from each other, whatever part of the
/// neck is shown. The edges may be in any unit, and swapped for a left-handed player.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Board {
    /// First wire that is shown, 0 for nut or capo.
    pub lowest: f64,
    /// Last wire that is shown, above the first.
    pub highest: f64,
    /// Where the first lies.
    pub from: f64,
    /// Where the last lies.
    pub to: f64,
    /// How large a note is drawn: half its width.
    pub radius: f64,
}

impl Board {
    /// Where a wire lies.
    pub fn wire(&self, fret: f64) -> f64 {
        let at = |fret: f64| fret_distance_mm(1.0, fret);
        let share = (at(fret) - at(self.lowest)) / (at(self.highest) - at(self.lowest));
        self.from + share * (self.to - self.from)
    }

    /// Where a finger goes: behind the wire; of a node, upon it; open strings beyond the nut.
    pub fn finger(&self, fret: f64) -> f64 {
        let up = (self.to - self.from).signum();
        if fret == 0.0 {
            return self.from - up * 1.6 * self.radius;
        }
        if fret.fract() != 0.0 {
            return self.wire(fret);
        }
        let (low, high) = (self.wire(fret - 1.0), self.wire(fret));
        let middle = 0.5 * (low + high);
        let near = high - up * 2.2 * self.radius;
        if up > 0.0 {
            middle.max(near)
        } else {
            middle.min(near)
        }
    }

    /// Does a note at `fret` lie on the part that is shown? Open strings always do.
    pub fn shows(&self, fret: f64) -> bool {
        fret == 0.0 || (fret > self.lowest + 1e-9 && fret <= self.highest + 0.5)
    }
}

const WIDTH: f64 = 960.0;
const LEFT: f64 = 88.0;
const RIGHT: f64 = 24.0;
const TOP: f64 = 64.0;
const GAP: f64 = 34.0;
const RADIUS: f64 = 13.0;

/// Frets with an inlay.
pub const INLAYS: [u8; 9] = [3, 5, 7, 9, 12, 15, 17, 19, 21];

/// The picture as an SVG document.
pub fn svg(neck: &Picture<'_>, ground: Ground) -> String {
    let strings = neck.tuning.strings();
    let bottom = TOP + GAP * f64::from(strings.max(1) - 1);
    let height = bottom + 56.0;
    let paper = ground.colour().hex();
    let title = escaped(neck.title);
    let mut out = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH:.0}\" height=\"{height:.0}\" \
         viewBox=\"0 0 {WIDTH:.0} {height:.0}\" role=\"img\" font-family=\"sans-serif\">\n{COMMENT}\n\
         <title>{title}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"{paper}\"/>\n"
    );
    let draw = Drawing { neck, ground };
    // Writing to a string cannot fail.
    let _ = draw.wood(&mut out, bottom);
    let _ = draw.path(&mut out);
    let _ = draw.marks(&mut out);
    let ink = ground.ink(Ink::Text).hex();
    let _ = writeln!(
        out,
        "<text x=\"{LEFT}\" y=\"28\" font-size=\"17\" fill=\"{ink}\">{title}</text>\n</svg>"
    );
    out
}

struct Drawing<'a> {
    neck: &'a Picture<'a>,
    ground: Ground,
}

impl Drawing<'_> {
    fn board(&self) -> Board {
        Board {
            lowest: 0.0,
            highest: f64::from(self.neck.highest.max(3)),
            from: LEFT,
            to: WIDTH - RIGHT,
            radius: RADIUS,
        }
    }

    fn wire(&self, fret: f64) -> f64 {
        self.board().wire(fret)
    }

    fn x(&self, fret: f64) -> f64 {
        self.board().finger(fret)
    }

    fn y(string: u8) -> f64 {
        TOP + GAP * f64::from(string.max(1) - 1)
    }

    fn wood(&self, out: &mut String, bottom: f64) -> std::fmt::Result {
        let line = self.ground.ink(Ink::Line).hex();
        let quiet = self.ground.ink(Ink::Faint).hex();
        let text = self.ground.ink(Ink::Text).hex();
        for fret in 0..=self.neck.highest.max(3) {
            let x = self.wire(f64::from(fret));
            let width = if fret == 0 { 5.0 } else { 1.6 };
            writeln!(
                out,
                "<path d=\"M{x:.1} {TOP}V{bottom:.1}\" stroke=\"{line}\" stroke-width=\"{width}\"/>"
            )?;
            if fret > 0 {
                let middle = 0.5 * (self.wire(f64::from(fret) - 1.0) + x);
                let weight = if INLAYS.contains(&fret) {
                    "bold"
                } else {
                    "normal"
                };
                let y = bottom + 34.0;
                writeln!(
                    out,
                    "<text x=\"{middle:.1}\" y=\"{y:.1}\" font-size=\"12\" text-anchor=\"middle\" \
                     font-weight=\"{weight}\" fill=\"{text}\">{fret}</text>"
                )?;
            }
        }
        for string in 1..=self.neck.tuning.strings() {
            let y = Self::y(string);
            let end = WIDTH - RIGHT;
            let width = 0.8 + 0.35 * f64::from(string);
            writeln!(
                out,
                "<path d=\"M{LEFT} {y}H{end}\" stroke=\"{quiet}\" stroke-width=\"{width:.2}\"/>"
            )?;
            let open = self
                .neck
                .tuning
                .open(string)
                .map(|m| m - self.neck.tuning.capo());
            let name = open.map_or_else(|| "x".to_owned(), |m| Key { fifths: 1 }.class_name(m));
            writeln!(
                out,
                "<text x=\"14\" y=\"{:.1}\" font-size=\"14\" fill=\"{text}\">{string} {name}</text>",
                y + 5.0
            )?;
        }
        Ok(())
    }

    fn path(&self, out: &mut String) -> std::fmt::Result {
        if self.neck.path.len() < 2 {
            return Ok(());
        }
        let colour = self.ground.ink(Ink::Finger).hex();
        write!(
            out,
            "<path fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\" "
        )?;
        write!(out, "stroke-opacity=\"0.55\" d=\"")?;
        for (i, (string, fret)) in self.neck.path.iter().enumerate() {
            let step = if i == 0 { 'M' } else { 'L' };
            write!(out, "{step}{:.1} {:.1}", self.x(*fret), Self::y(*string))?;
        }
        writeln!(out, "\"/>")
    }

    fn marks(&self, out: &mut String) -> std::fmt::Result {
        let paper = self.ground.colour().hex();
        let text = self.ground.ink(Ink::Text).hex();
        for dot in self.neck.marks {
            let (x, y) = (self.x(dot.fret), Self::y(dot.string));
            let ink = if dot.strong { Ink::Finger } else { Ink::Line };
            let ink = self.ground.ink(ink).hex();
            let open = dot.fret == 0.0;
            let (fill, label) = if open || !dot.strong {
                (paper.clone(), text.clone())
            } else {
                (ink.clone(), paper.clone())
            };
            writeln!(
                out,
                "<g><title>{}</title><circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{RADIUS}\" \
                 fill=\"{fill}\" stroke=\"{ink}\" stroke-width=\"2.4\"/><text x=\"{x:.1}\" \
                 y=\"{:.1}\" font-size=\"12\" text-anchor=\"middle\" fill=\"{label}\">{}</text></g>",
                escaped(&dot.told),
                y + 4.2,
                escaped(&dot.label)
            )?;
        }
        Ok(())
    }
}
