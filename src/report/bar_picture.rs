//! One stretch of a recording as it was heard: waveform, spectral flux, onsets with their role, as
//! SVG. For the project's own documents; the bar sheet is `sheet`.

use crate::analysis::hear::Mono;
use crate::analysis::onset::flux::{Fluxes, HOP};
use crate::analysis::{Analysis, RATE};
use crate::music::note::{Attack, Role};
use crate::recording::Recording;
use crate::unit::Seconds;
use std::fmt::Write;

const WIDTH: f64 = 960.0;
const WAVE: f64 = 160.0;
const FLUX: f64 = 90.0;
const GAP: f64 = 24.0;
/// Thumb and fingers, in the bar sheet's colours (Okabe & Ito) and places.
const THUMB: &str = "#0072b2";
const FINGERS: &str = "#d55e00";

/// SVG of `recording` from `from` to `to`, with the onsets that `analysis` found there; empty
/// stretches give an empty picture.
pub fn draw(recording: &Recording, analysis: &Analysis, from: Seconds, to: Seconds) -> String {
    let mono = Mono::new(recording);
    let end = to.frame(RATE).min(mono.len());
    let start = from.frame(RATE).min(end);
    let sound = mono.part(start, end);
    let height = WAVE + GAP + FLUX + GAP;
    let x = |t: f64| WIDTH * (t - from.0) / (to.0 - from.0).max(1e-9);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" font-family=\"sans-serif\" font-size=\"12\">\n"
    );
    let _ = writeln!(
        svg,
        "<path d=\"{}\" fill=\"none\" stroke=\"#666\" stroke-width=\"1\"/>",
        waveform(&sound)
    );
    let _ = writeln!(
        svg,
        "<polyline points=\"{}\" fill=\"none\" stroke=\"#333\" stroke-width=\"1.5\"/>",
        flux(&sound)
    );
    let inside = |t: Seconds| t.0 >= from.0 && t.0 < to.0;
    for note in analysis.notes.iter().filter(|n| inside(n.time)) {
        let at = x(note.time.0);
        let (colour, head, word) = match (note.attack, note.role) {
            (Attack::Tap, _) => ("#999", GAP, "knock"),
            (_, Role::Bass) => (THUMB, WAVE - 10.0, "thumb"),
            (_, Role::Melody) => (FINGERS, 10.0, "finger"),
        };
        let _ = writeln!(
            svg,
            "<g stroke=\"{colour}\" fill=\"{colour}\"><title>{word} at {:.3} s</title><line x1=\"{at:.1}\" y1=\"0\" x2=\"{at:.1}\" y2=\"{:.1}\"/><circle cx=\"{at:.1}\" cy=\"{head:.1}\" r=\"4\"/></g>",
            note.time.0,
            WAVE + GAP + FLUX
        );
    }
    let _ = writeln!(
        svg,
        "<text x=\"4\" y=\"{:.0}\" fill=\"{THUMB}\">thumb</text><text x=\"52\" y=\"{:.0}\" fill=\"{FINGERS}\">fingers</text><text x=\"110\" y=\"{:.0}\" fill=\"#333\">waveform above, spectral flux below</text>\n</svg>",
        height - 6.0,
        height - 6.0,
        height - 6.0
    );
    svg
}

/// Lowest and highest sample of every pixel.
fn waveform(sound: &[f32]) -> String {
    let top = sound.iter().fold(1e-6f32, |m, v| m.max(v.abs()));
    let y = |v: f32| WAVE / 2.0 * (1.0 - f64::from(v / top));
    let chunk = sound.len().div_ceil(WIDTH as usize).max(1);
    let mut path = String::new();
    for (i, part) in sound.chunks(chunk).enumerate() {
        let low = part.iter().fold(f32::INFINITY, |m, v| m.min(*v));
        let high = part.iter().fold(f32::NEG_INFINITY, |m, v| m.max(*v));
        let x = WIDTH * (i * chunk) as f64 / sound.len() as f64;
        let _ = write!(path, "M{x:.1} {:.1}V{:.1}", y(high), y(low) + 0.5);
    }
    path
}

fn flux(sound: &[f32]) -> String {
    let flux = Fluxes::of(sound).combined;
    let top = flux.iter().fold(1e-6f32, |m, v| m.max(*v));
    let mut points = String::new();
    for (i, v) in flux.iter().enumerate() {
        let x = WIDTH * (i * HOP) as f64 / sound.len().max(1) as f64;
        let y = WAVE + GAP + FLUX * (1.0 - f64::from(v / top));
        let _ = write!(points, "{x:.1},{y:.1} ");
    }
    points
}
