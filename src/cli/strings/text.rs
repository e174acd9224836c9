//! The answer of `strings` in words, in lines of at most 80 columns.

use super::answer::Answer;
use std::fmt::Write;
use thumbline::music::fingering::Path;
use thumbline::music::pitch::Key;
use thumbline::music::tuning::Tuning;
use thumbline::music::{capo, moves, tension};
use thumbline::report::{shapes, tab};

/// Widest line.
pub const WIDTH: usize = 80;

/// The whole answer. Writing to a string cannot fail.
pub(super) fn of(answer: &Answer) -> String {
    let mut out = String::new();
    heading(&mut out, &answer.tuning_name, &answer.neck.tuning);
    let (open, stopped) = answer.neck.open_classes();
    let _ = writeln!(out, "\n{}", answer.neck.scale.name);
    let _ = writeln!(out, "  can ring open:  {}", listed(&open));
    let _ = writeln!(out, "  must be stopped: {}", listed(&stopped));
    let _ = writeln!(out, "\nWhere each note lies (string:fret, 0 is open)");
    for note in &answer.neck.notes {
        let places: Vec<String> = note
            .places
            .iter()
            .map(|(string, fret)| format!("{string}:{fret}"))
            .collect();
        let _ = writeln!(out, "  {:<4} {}", note.name, listed(&places));
    }
    path(&mut out, answer);
    moves(&mut out, answer);
    chords(&mut out, answer);
    out
}

/// The tuning and how to reach it, in Hz.
pub fn heading(out: &mut String, name: &str, tuning: &Tuning) {
    let capo = match tuning.capo() {
        0 => String::new(),
        fret => format!(", capo {fret}"),
    };
    let _ = writeln!(out, "Tuning {name}{capo}");
    for string in (1..=tuning.strings()).rev() {
        let bare = tuning.clone().with_capo(0);
        let Some(pitch) = bare.sounding(string, 0) else {
            let _ = writeln!(out, "  string {string}: none");
            continue;
        };
        let name = Key { fifths: 1 }.pitch_name(pitch.nearest());
        let _ = write!(out, "  string {string}: {name:<4} {:7.2} Hz", pitch.hz());
        if let (true, Some(with)) = (tuning.capo() > 0, tuning.sounding(string, 0)) {
            let name = Key { fifths: 1 }.pitch_name(with.nearest());
            let _ = write!(out, "   with the capo {name:<4} {:7.2} Hz", with.hz());
        }
        out.push('\n');
    }
    strain(out, tuning);
}

/// What to know before tuning up, where there is something.
pub fn strain(out: &mut String, tuning: &Tuning) {
    if let Some(warning) = tension::warning(tuning) {
        let _ = writeln!(out, "{}", wrapped(&warning, WIDTH - 2));
    }
}

fn listed(names: &[String]) -> String {
    if names.is_empty() {
        "none".to_owned()
    } else {
        names.join(" ")
    }
}

fn path(out: &mut String, answer: &Answer) {
    let Some(best) = answer.neck.paths.first() else {
        return;
    };
    let _ = writeln!(
        out,
        "\nA path that rings: {:.0} of 100 notes ring on into the next, {} of {} are open",
        100.0 * best.ringing(),
        best.open_notes(),
        best.places.len(),
    );
    if let Some(score) = answer.score() {
        out.push_str(&tab::text(&score, WIDTH));
    }
    let hands: Vec<String> = best
        .positions()
        .iter()
        .map(|(i, hand)| {
            let name = answer.neck.scale.pitch_name(best.places[*i].midi);
            format!("fret {hand} from {name}")
        })
        .collect();
    if !hands.is_empty() {
        let line = format!("The index finger stands at {}.", hands.join(", "));
        let _ = writeln!(out, "{}", wrapped(&line, WIDTH - 2));
    }
    if answer.neck.alone.len() > 2 {
        let names: Vec<String> = answer
            .neck
            .alone
            .iter()
            .map(|m| answer.neck.scale.pitch_name(*m))
            .collect();
        let line = format!(
            "{} lie on one string only: those on the same string cannot ring together.",
            names.join(" ")
        );
        let _ = writeln!(out, "{}", wrapped(&line, WIDTH - 2));
    }
    for other in answer.neck.paths.iter().skip(1) {
        let _ = writeln!(
            out,
            "Another way ({:.0} of 100 ring on, {} open) differs at:",
            100.0 * other.ringing(),
            other.open_notes(),
        );
        let _ = writeln!(out, "  {}", difference(answer, best, other));
    }
}

fn difference(answer: &Answer, best: &Path, other: &Path) -> String {
    let differing: Vec<String> = best
        .places
        .iter()
        .zip(&other.places)
        .filter(|(a, b)| a != b)
        .map(|(a, b)| {
            let name = answer.neck.scale.pitch_name(a.midi);
            format!("{name} {}:{} for {}:{}", b.string, b.fret, a.string, a.fret)
        })
        .collect();
    wrapped(&differing.join(", "), WIDTH - 2)
}

/// Breaks at spaces; further lines are indented by two.
pub fn wrapped(text: &str, width: usize) -> String {
    let mut out = String::new();
    let mut column = 0;
    for word in text.split(' ') {
        let length = word.chars().count();
        if column > 0 && column + 1 + length > width {
            out.push_str("\n  ");
            column = 0;
        } else if column > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    out
}

fn moves(out: &mut String, answer: &Answer) {
    let said = moves::sentences(&answer.moves);
    if said.is_empty() {
        return;
    }
    let _ = writeln!(out, "\nComing from {}", answer.against);
    for sentence in said {
        let _ = writeln!(out, "  {sentence}");
    }
}

fn chords(out: &mut String, answer: &Answer) {
    let _ = writeln!(
        out,
        "\nChords of the mode (frets, then left-hand fingers, from the lowest string)"
    );
    for (chord, found) in &answer.neck.chords {
        let name = capo::words(chord, answer.neck.tuning.capo());
        let _ = writeln!(out, "  {} {name}", chord.degree);
        if found.is_empty() {
            let _ = writeln!(out, "    no shape within reach");
        }
        for shape in found {
            let line = wrapped(&shapes::line(shape), WIDTH - 12);
            let line = line.replace('\n', "\n            ");
            let _ = writeln!(out, "    {:<7} {line}", shape.name);
        }
    }
    if answer.neck.drones.is_empty() {
        return;
    }
    let _ = writeln!(
        out,
        "\nShapes that move up under open strings (frets low/high)"
    );
    for drone in &answer.neck.drones {
        let _ = writeln!(out, "  {}", wrapped(&shapes::drone(drone), WIDTH - 2));
    }
}
