//! Drift → a table in a player's words, for the terminal.
//!
//! Nothing within what a listener can hear, or within what can be measured, is called early or
//! late: such rows say "with the beat".

use crate::analysis::Analysis;
use crate::music::note::Role;
use crate::timing::{Drift, Figure, NoteDrift, Slot, SlotFigure, floor, stats};
use crate::unit::Span;
use std::fmt::Write;

/// Off-beats nearer to even than this, as long over short, are called straight.
const STRAIGHT: f64 = 1.12;

/// The whole table: both hands, fingers against thumb, then every slot of the bar.
pub fn drift(found: &Analysis, drift: &Drift) -> String {
    if found.grid.is_empty() {
        return "No steady beat was found, so nothing can be early or late.".to_owned();
    }
    let mut out = String::new();
    let bars = found.grid.bars().len();
    let tempo = found.grid.tempo().map_or(0.0, |t| t.0);
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "{bars} bars of {} at {tempo:.1} beats a minute{}\n",
        found.grid.meter,
        swing(drift)
    );
    let _ = writeln!(
        out,
        "{:<22}{:>6}{:>11}{:>10}",
        "", "notes", "drift", "spread"
    );
    for (name, role, figure) in [
        ("thumb", Role::Bass, &drift.thumb),
        ("fingers", Role::Melody, &drift.fingers),
    ] {
        if let Some(figure) = figure {
            let verdict = against_floor(figure, hand_floor(found, drift, role));
            row(&mut out, name, figure, verdict);
        }
    }
    out.push_str(&lateness(drift, tempo));
    for role in [Role::Bass, Role::Melody] {
        let slots: Vec<&SlotFigure> = drift.slots.iter().filter(|s| s.role == role).collect();
        if !slots.is_empty() {
            let _ = writeln!(out, "\n{}, slot by slot", hand(role));
        }
        for slot in slots {
            row(&mut out, &name(slot.slot), &slot.figure, slot_verdict(slot));
        }
    }
    out.truncate(out.trim_end().len());
    out
}

fn row(out: &mut String, name: &str, figure: &Figure, verdict: &str) {
    let drift = format!("{:+.0} ms", figure.centre.ms() + 0.0);
    let spread = if figure.n > 1 {
        format!("{:.0} ms", figure.spread.ms())
    } else {
        String::new()
    };
    let _ = writeln!(
        out,
        "  {name:<20}{:>6}{drift:>11}{spread:>10}   {verdict}",
        figure.n
    );
}

/// What a player calls a slot.
pub fn name(slot: Slot) -> String {
    let beat = slot.beat;
    match (slot.part, slot.parts) {
        (0, _) => format!("beat {beat}"),
        (1, 2) | (2, 4) | (3, 6) => format!("the and of {beat}"),
        (1, 4) => format!("the e of {beat}"),
        (3, 4) => format!("the a of {beat}"),
        (part, 3) => format!("triplet {} of {beat}", part + 1),
        (part, parts) => format!("part {} of {parts} of {beat}", part + 1),
    }
}

fn hand(role: Role) -> &'static str {
    match role {
        Role::Bass => "thumb",
        Role::Melody => "fingers",
    }
}

/// Ahead or behind, when the centre's interval excludes 0 and the centre is beyond `floor`.
fn side(figure: &Figure, floor: Span) -> Option<&'static str> {
    let (low, high) = (figure.low?, figure.high?);
    if figure.centre.abs() <= floor {
        None
    } else if low.0 > 0.0 {
        Some("behind")
    } else if high.0 < 0.0 {
        Some("ahead")
    } else {
        None
    }
}

fn against_floor(figure: &Figure, floor: Span) -> &'static str {
    side(figure, floor).unwrap_or("with the beat")
}

fn slot_verdict(slot: &SlotFigure) -> &'static str {
    match slot.slant().map(|s| s.0 > 0.0) {
        Some(true) => "behind, bar after bar",
        Some(false) => "ahead, bar after bar",
        None if slot.figure.low.is_none() => "too few to tell",
        None => "with the beat",
    }
}

/// The median floor of a hand's notes.
fn hand_floor(found: &Analysis, drift: &Drift, role: Role) -> Span {
    let mut floors: Vec<f64> = found
        .notes
        .iter()
        .zip(&drift.notes)
        .filter(|(note, _)| note.role == role)
        .filter_map(|(_, d)| d.as_ref().map(|d: &NoteDrift| d.floor.0))
        .collect();
    Span(stats::median(&mut floors).unwrap_or(f64::INFINITY))
}

fn lateness(drift: &Drift, tempo: f64) -> String {
    let Some(figure) = drift.lateness else {
        return String::new();
    };
    let eighth = Span(30.0 / tempo.max(1.0));
    let words = match side(&figure, floor::perception(eighth)) {
        Some(side) => format!(
            "fingers {:.0} ms {side} the thumb",
            figure.centre.abs().ms()
        ),
        None => "fingers and thumb together".to_owned(),
    };
    format!("  {words}\n")
}

fn swing(drift: &Drift) -> String {
    match drift.swing {
        Some(swing) if swing.low > 1.0 && swing.ratio > STRAIGHT => {
            format!(", swung {:.2} to 1", swing.ratio)
        }
        Some(_) => ", straight".to_owned(),
        None => String::new(),
    }
}
