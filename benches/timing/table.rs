//! The tables: figures, confidence, failures by kind, repairs.

use std::collections::BTreeMap;
use thumbline::analysis::beat::evaluation::{Piece, Verdict};
use thumbline::analysis::beat::{Edit, GridEdits, Tracked, Tracker};
use thumbline::music::grid::Grid;
use thumbline::unit::{Bpm, Seconds};

/// Pieces of one kind.
pub struct Set {
    pub name: String,
    pub pieces: Vec<Piece>,
}

/// Confidences that are counted together, ten of them from 0 to 1.
const STEPS: usize = 10;

/// One piece and what was made of it.
struct Read<'a> {
    piece: &'a Piece,
    tracker: Tracker,
    tracked: Tracked,
}

/// Prints all tables.
pub fn print(sets: &[Set]) {
    let sets: Vec<(&str, Vec<Read>)> = sets
        .iter()
        .map(|set| {
            let read = set.pieces.iter().map(|piece| {
                let tracker = Tracker::new(&piece.notes, piece.end);
                let tracked = tracker.solve(&GridEdits::none());
                Read {
                    piece,
                    tracker,
                    tracked,
                }
            });
            (set.name.as_str(), read.collect())
        })
        .collect();
    figures(&sets);
    failures(&sets);
    confidence(&sets);
    repairs(&sets);
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    sum / f64::max(n, 1.0)
}

fn is(yes: bool) -> f64 {
    f64::from(u8::from(yes))
}

fn figures(sets: &[(&str, Vec<Read>)]) {
    println!("\nset                        pieces  beat F  follow  bar F  meter  tempo  octave");
    for (name, read) in sets {
        let of = |figure: &dyn Fn(&Read) -> f64| mean(read.iter().map(figure));
        let tempo = |r: &Read| {
            let n = r.piece.beats.len();
            let long = r.piece.beats[n - 1] - r.piece.beats[0];
            r.tracked
                .grid
                .tempo()
                .map_or(0.0, |t| t.0 * long / 60.0 / (n - 1) as f64)
        };
        let near = |tempo: f64, factors: &[f64]| {
            is(factors.iter().any(|f| (tempo / f - 1.0).abs() < 0.08))
        };
        println!(
            "{name:<27} {:5} {:7.2} {:7.2} {:6.2} {:6.2} {:6.2} {:7.2}",
            read.len(),
            of(&|r| r.piece.figures(&r.tracked.grid).0),
            of(&|r| r.piece.continuity(&r.tracked.grid)),
            of(&|r| r.piece.figures(&r.tracked.grid).1),
            of(&|r| is(r.piece.has_bar_of(r.tracked.grid.meter))),
            of(&|r| near(tempo(r), &[1.0])),
            of(&|r| near(tempo(r), &[1.0, 0.5, 2.0, 1.0 / 3.0, 3.0])),
        );
    }
}

fn failures(sets: &[(&str, Vec<Read>)]) {
    println!("\nhow readings fail          right  octave  phase  lost  meter  bar one");
    for (name, read) in sets {
        let mut counts: BTreeMap<Verdict, usize> = BTreeMap::new();
        for r in read {
            *counts.entry(r.piece.verdict(&r.tracked.grid)).or_default() += 1;
        }
        let [right, octave, phase, lost, meter, bar] =
            Verdict::ALL.map(|v| counts.get(&v).copied().unwrap_or(0));
        println!("{name:<27} {right:4} {octave:7} {phase:6} {lost:5} {meter:6} {bar:8}");
    }
}

/// Of bars said to be so sure, how many are right; the error is the mean distance of the two,
/// weighted by how many bars are said so (expected calibration error; Naeini et al. 2015).
fn confidence(sets: &[(&str, Vec<Read>)]) {
    println!("\nof beats whose bar is said to be so sure, share that is right (and how many)");
    for (name, read) in sets {
        let mut steps = [(0.0, 0.0, 0usize); STEPS];
        for r in read {
            let beats = r.tracked.grid.beats();
            for (beat, right) in beats.iter().zip(r.piece.right_bars(beats)) {
                let sure = f64::from(beat.confidence);
                let step = &mut steps[((sure * STEPS as f64) as usize).min(STEPS - 1)];
                *step = (step.0 + sure, step.1 + is(right), step.2 + 1);
            }
        }
        let all: usize = steps.iter().map(|s| s.2).sum();
        let error: f64 = steps.iter().map(|s| (s.0 - s.1).abs()).sum::<f64>() / all.max(1) as f64;
        print!("{name:<27}");
        for (sure, right, n) in steps.iter().filter(|s| s.2 > 0) {
            let n_ = *n as f64;
            print!(" {:.2}: {:.2} ({n})", sure / n_, right / n_);
        }
        println!(" error {error:.3}");
    }
}

/// What at most two actions make of a piece that was read wrongly: a bar line; its tempo and a bar line;
/// four taps in the middle and a bar line; half or double and a bar line.
fn repairs(sets: &[(&str, Vec<Read>)]) {
    println!(
        "\nrepairs of what is wrong    pieces  bar line  tempo+  taps+  half or double+  the best"
    );
    for (name, read) in sets {
        let mut rows: Vec<[f64; 4]> = Vec::new();
        for r in read {
            let piece = r.piece;
            if piece.verdict(&r.tracked.grid) == Verdict::Right || piece.downbeats.len() < 2 {
                continue;
            }
            let n = piece.beats.len();
            let beat = (piece.beats[n - 1] - piece.beats[0]) / (n - 1) as f64;
            let at = Seconds((piece.downbeats[1] + 0.02).max(0.0));
            let bar = Edit::BarOne { at };
            let tempo = Edit::Tempo {
                bpm: Bpm((60.0 / beat).round()),
            };
            let middle = (n / 2).min(n.saturating_sub(4));
            // A hand that taps is a little early here and late there.
            let taps = piece.beats[middle..]
                .iter()
                .zip([0.015, -0.02, 0.01, -0.012]);
            let taps = taps.map(|(at, away)| Edit::Tap {
                at: Seconds(at + away),
            });
            let after = |list: Vec<Edit>| {
                let grid: Grid = r.tracker.solve(&GridEdits { list }).grid;
                let (beats, bars) = piece.figures(&grid);
                beats.min(bars)
            };
            let half = after(vec![Edit::Halve, bar]);
            rows.push([
                after(vec![bar]),
                after(vec![tempo, bar]),
                after(taps.chain([bar]).collect()),
                half.max(after(vec![Edit::Double, bar])),
            ]);
        }
        let right = |of: &dyn Fn(&[f64; 4]) -> f64| mean(rows.iter().map(|r| is(of(r) > 0.85)));
        println!(
            "{name:<27} {:6} {:9.2} {:7.2} {:6.2} {:16.2} {:9.2}",
            rows.len(),
            right(&|r| r[0]),
            right(&|r| r[1]),
            right(&|r| r[2]),
            right(&|r| r[3]),
            right(&|r| r.iter().copied().fold(0.0, f64::max))
        );
    }
}
