//! Drift → a table in a player's words, for the terminal.
//!
//! The verdicts are `timing`'s, as everywhere: nothing within what a listener can hear, or within
//! what can be measured, is called early or late; what scatters is called uneven, and what the
//! interval leaves open unclear.

use crate::analysis::Analysis;
use crate::music::note::Role;
use crate::timing::{Drift, Feel, Figure, SlotFigure, Verdict};
use crate::unit::Span;
use std::fmt::Write;

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
        "{bars} bars of {} at {tempo:.1} beats a minute{}; told {}\n",
        found.grid.meter,
        swing(drift),
        drift.reference.name()
    );
    let _ = writeln!(
        out,
        "{:<22}{:>6}{:>11}{:>10}",
        "", "notes", "drift", "spread"
    );
    for (name, role) in [("thumb", Role::Bass), ("fingers", Role::Melody)] {
        if let Some((figure, floor)) = drift.hand(&found.notes, role) {
            let verdict = Verdict::of(&figure, floor, Span(0.0));
            row(&mut out, name, &figure, &told(verdict, ""));
        }
    }
    out.push_str(&lateness(found, drift));
    for role in [Role::Bass, Role::Melody] {
        let slots: Vec<&SlotFigure> = drift.slots.iter().filter(|s| s.role == role).collect();
        if !slots.is_empty() {
            let _ = writeln!(out, "\n{}, slot by slot", hand(role));
        }
        for slot in slots {
            let name = slot.slot.name(found.grid.meter);
            let words = told(slot.verdict(), ", bar after bar");
            row(&mut out, &name, &slot.figure, &words);
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

/// A verdict in words, a side with how often it is so.
fn told(verdict: Verdict, often: &str) -> String {
    match verdict {
        Verdict::Behind => format!("behind{often}"),
        Verdict::Ahead => format!("ahead{often}"),
        Verdict::With => "with the beat".to_owned(),
        Verdict::Uneven => "uneven".to_owned(),
        Verdict::Unclear => "unclear".to_owned(),
        Verdict::TooFew => "too few to tell".to_owned(),
    }
}

fn hand(role: Role) -> &'static str {
    match role {
        Role::Bass => "thumb",
        Role::Melody => "fingers",
    }
}

fn lateness(found: &Analysis, drift: &Drift) -> String {
    let Some((figure, floor)) = drift.between_hands(&found.notes) else {
        return String::new();
    };
    let ms = figure.centre.abs().ms();
    let words = match Verdict::of(&figure, floor, Span(0.0)) {
        Verdict::Behind => format!("fingers {ms:.0} ms behind the thumb"),
        Verdict::Ahead => format!("fingers {ms:.0} ms ahead of the thumb"),
        Verdict::With => "fingers and thumb together".to_owned(),
        _ => "fingers against thumb: unclear".to_owned(),
    };
    format!("  {words}\n")
}

fn swing(drift: &Drift) -> String {
    match drift.swing.map(|s| s.feel()) {
        Some(Feel::Swung(ratio)) => format!(", swung {ratio:.2} to 1"),
        Some(Feel::Hurried(ratio)) => format!(", off-beats early, 1 to {ratio:.2}"),
        Some(Feel::Straight) => ", straight".to_owned(),
        Some(Feel::Between) => ", neither clearly straight nor swung".to_owned(),
        None => String::new(),
    }
}
