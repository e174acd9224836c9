//! Chord shapes in words and as boxes (SVG 1.1, W3C 2011): strings upright, the nut on top, a disc a
//! finger with its number, a bar a barre.

use super::sheet::{Ground, Ink};
use crate::music::capo;
use crate::music::chord::{Drone, Shape};
use crate::music::progression::HeldChord;
use crate::xml::escaped;
use std::fmt::Write;

/// Open strings and a hand no further up than here: no player counts a position.
const AT_THE_NUT: i32 = 3;

/// One shape in a line: `x32010  -32-1-  strings 3 and 1 open`, with what a player should know.
pub fn line(shape: &Shape) -> String {
    let mut said = shape.remarks();
    let position = shape.grip.position();
    let open = shape.open();
    if position > AT_THE_NUT || position > 1 && open.is_empty() {
        said.insert(0, format!("position {position}"));
    }
    if !open.is_empty() {
        said.push(format!("{} open", strings(&open)));
    }
    format!(
        "{:<8} {:<7} {}",
        shape.diagram(),
        shape.fingers(),
        said.join(", ")
    )
    .trim_end()
    .to_owned()
}

/// A progression, a chord a line, with what stays and what sounds on.
pub fn progression(held: &[HeldChord], capo: i32) -> String {
    let mut out = String::new();
    for step in held {
        let said = changes(step, capo);
        let line = format!("  {:<7} {}", step.shape.name, line(&step.shape));
        let _ = writeln!(out, "{line}"); // writing to a string cannot fail
        if !said.is_empty() {
            let _ = writeln!(out, "          {}", said.join("; "));
        }
    }
    out
}

/// What a chord is with the capo at `capo`, and what stays and sounds on from the one before.
pub fn changes(step: &HeldChord, capo: i32) -> Vec<String> {
    let mut said = Vec::new();
    if capo > 0 {
        said.push(capo::words(&step.chord, capo));
    }
    if !step.stay.is_empty() {
        let fingers: Vec<u8> = step.stay.iter().map(|(finger, ..)| *finger).collect();
        said.push(format!("keep {} down", held(&fingers)));
    }
    if !step.sound_on.is_empty() {
        said.push(format!("let {} ring on", strings(&step.sound_on)));
    }
    said
}

/// `string 4`, `strings 4, 2 and 1`.
pub fn strings(numbers: &[u8]) -> String {
    let named: Vec<String> = numbers.iter().map(u8::to_string).collect();
    let noun = if numbers.len() == 1 {
        "string"
    } else {
        "strings"
    };
    format!("{noun} {}", super::listed(&named))
}

/// `finger 2`, `the thumb and fingers 1 and 2`; 0 is the thumb.
fn held(fingers: &[u8]) -> String {
    let numbers: Vec<String> = fingers
        .iter()
        .filter(|f| **f > 0)
        .map(u8::to_string)
        .collect();
    let named = match numbers.as_slice() {
        [] => return "the thumb".to_owned(),
        [one] => format!("finger {one}"),
        _ => format!("fingers {}", super::listed(&numbers)),
    };
    if numbers.len() < fingers.len() {
        format!("the thumb and {named}")
    } else {
        named
    }
}

/// A walk of two-string shapes under open strings, in a line.
pub fn drone(drone: &Drone) -> String {
    let (low, high) = drone.strings;
    let steps: Vec<String> = drone
        .steps
        .iter()
        .map(|(a, b)| format!("{a}/{b}"))
        .collect();
    format!(
        "strings {low} and {high} in {}: {} ({} open)",
        drone.interval,
        steps.join(" "),
        strings(&drone.open)
    )
}

const GAP: f64 = 18.0;
const FRET: f64 = 22.0;
const TOP: f64 = 52.0;
const ROWS: i32 = 5;
const BOX: f64 = 150.0;

/// Shapes as boxes side by side, `across` in a row (at least 1).
pub fn svg(title: &str, shapes: &[&Shape], ground: Ground, across: usize) -> String {
    let across = across.clamp(1, 12);
    let rows = shapes.len().div_ceil(across).max(1);
    let row = TOP + FRET * f64::from(ROWS) + 40.0;
    let (width, height) = (BOX * across as f64, row * rows as f64 + 30.0);
    let text = ground.ink(Ink::Text).hex();
    let mut out = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.0}\" height=\"{height:.0}\" \
         viewBox=\"0 0 {width:.0} {height:.0}\" role=\"img\" font-family=\"sans-serif\">\n\
         <title>{0}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"{1}\"/>\n\
         <text x=\"16\" y=\"22\" font-size=\"15\" fill=\"{text}\">{0}</text>\n",
        escaped(title),
        ground.colour().hex()
    );
    for (i, shape) in shapes.iter().enumerate() {
        let x = BOX * (i % across) as f64 + 34.0;
        let y = 30.0 + row * (i / across) as f64;
        let _ = one(&mut out, shape, ground, x, y); // writing to a string cannot fail
    }
    out += "</svg>\n";
    out
}

fn one(out: &mut String, shape: &Shape, ground: Ground, left: f64, top: f64) -> std::fmt::Result {
    let text = ground.ink(Ink::Text).hex();
    let line = ground.ink(Ink::Line).hex();
    let ink = ground.ink(Ink::Finger).hex();
    let paper = ground.colour().hex();
    let strings = shape.frets.len() as u8;
    let high = shape.grip.presses.iter().map(|p| p.fret).max().unwrap_or(0);
    let low = shape.grip.presses.iter().map(|p| p.fret).min().unwrap_or(1);
    let first = if high <= ROWS { 1 } else { low };
    let x = |string: u8| left + GAP * f64::from(strings - string);
    let y = |fret: i32| top + TOP + FRET * (f64::from(fret - first) + 0.5);
    writeln!(
        out,
        "<g><title>{}</title><text x=\"{left:.1}\" y=\"{:.1}\" font-size=\"15\" font-weight=\"bold\" \
         fill=\"{text}\">{}</text>",
        escaped(&format!("{} {}", shape.name, self::line(shape))),
        top + 20.0,
        escaped(&shape.name)
    )?;
    let bottom = top + TOP + FRET * f64::from(ROWS);
    for string in 1..=strings {
        let x = x(string);
        writeln!(
            out,
            "<path d=\"M{x:.1} {:.1}V{bottom:.1}\" stroke=\"{line}\"/>",
            top + TOP
        )?;
        let mark = match shape.frets[usize::from(string) - 1] {
            None => "x",
            Some(0) => "o",
            Some(_) => continue,
        };
        writeln!(
            out,
            "<text x=\"{x:.1}\" y=\"{:.1}\" font-size=\"12\" text-anchor=\"middle\" fill=\"{text}\">{mark}</text>",
            top + TOP - 6.0
        )?;
    }
    for fret in 0..=ROWS {
        let y = top + TOP + FRET * f64::from(fret);
        let width = if fret == 0 && first == 1 { 4 } else { 1 };
        writeln!(
            out,
            "<path d=\"M{:.1} {y:.1}H{:.1}\" stroke=\"{line}\" stroke-width=\"{width}\"/>",
            x(strings),
            x(1)
        )?;
    }
    if first > 1 {
        writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"12\" text-anchor=\"end\" fill=\"{text}\">{first}</text>",
            left - 12.0,
            y(first) + 4.0
        )?;
    }
    for press in &shape.grip.presses {
        let (a, b, y) = (x(press.low), x(press.high), y(press.fret));
        if press.width() > 1 {
            writeln!(
                out,
                "<path d=\"M{a:.1} {y:.1}H{b:.1}\" stroke=\"{ink}\" stroke-width=\"11\" stroke-linecap=\"round\"/>"
            )?;
        }
        let name = if press.finger == 0 {
            "T".to_owned()
        } else {
            press.finger.to_string()
        };
        writeln!(
            out,
            "<circle cx=\"{a:.1}\" cy=\"{y:.1}\" r=\"7\" fill=\"{ink}\" stroke=\"{paper}\" stroke-width=\"1.5\" paint-order=\"stroke\"/><text x=\"{a:.1}\" y=\"{:.1}\" \
             font-size=\"11\" text-anchor=\"middle\" fill=\"{paper}\">{name}</text>",
            y + 4.0
        )?;
    }
    writeln!(out, "</g>")
}
