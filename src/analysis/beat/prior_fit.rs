//! Fits the table of priors, and the confidence, on pieces whose beats are known.
//!
//! Priors by search along one number after the other (Hooke & Jeeves 1961, from memory); the
//! confidence by logistic regression. `cargo xtask fit beats` reads the pieces. Nothing here is used
//! while listening.

use super::beat_net::{self, Belief};
use super::evaluation::Piece;
use super::{GridEdits, Part, Priors, Tracked, Tracker, solve};
use crate::parallel;

/// Steps along a number, as factors of it.
const STEPS: [f64; 2] = [0.7, 1.4];
/// What a step must gain: less is noise.
const GAIN: f64 = 0.002;
/// Rounds and rate of the regression.
const ROUNDS: usize = 4000;
const RATE: f64 = 0.5;

/// Pieces with what the network believes of them, which no prior changes.
#[derive(Debug)]
pub struct Pieces {
    pieces: Vec<(Piece, Belief)>,
}

impl Pieces {
    /// Listens to them once.
    pub fn new(pieces: Vec<Piece>) -> Self {
        let heard = pieces.into_iter().map(|piece| {
            let belief = beat_net::believe(&piece.notes);
            (piece, belief)
        });
        Self {
            pieces: heard.collect(),
        }
    }

    fn parts(&self, priors: Priors) -> Vec<(&Piece, Part)> {
        let part = |(piece, belief): &(Piece, Belief)| {
            Part::believed(&piece.notes, belief.clone(), 0.0..piece.end.0, true, priors)
        };
        let parts = parallel::map(&self.pieces, part);
        self.pieces
            .iter()
            .map(|(piece, _)| piece)
            .zip(parts)
            .collect()
    }

    /// The pieces with their grids under these priors.
    pub fn tracked(&self, priors: Priors) -> Vec<(&Piece, Tracked)> {
        let solved = |(piece, part): (_, Part)| {
            let tracker = Tracker { parts: vec![part] };
            (piece, tracker.solve(&GridEdits::none()))
        };
        self.parts(priors).into_iter().map(solved).collect()
    }

    /// Mean of beat F, continuity and bar F, 0 to 1.
    fn figure(&self, priors: Priors) -> f64 {
        let sum: f64 = self
            .tracked(priors)
            .iter()
            .map(|(piece, tracked)| {
                let (beats, bars) = piece.figures(&tracked.grid);
                (beats + piece.continuity(&tracked.grid) + bars) / 3.0
            })
            .sum();
        sum / self.pieces.len().max(1) as f64
    }
}

/// Priors for these sets, each set counting alike, from `start` on; `told` hears of every step.
pub fn priors(sets: &[Pieces], start: Priors, mut told: impl FnMut(&str, f64, f64)) -> Priors {
    let figure = |priors: Priors| {
        let sum: f64 = sets.iter().map(|set| set.figure(priors)).sum();
        sum / sets.len().max(1) as f64
    };
    let mut best = start;
    let mut top = figure(best);
    told("", f64::NAN, top);
    for k in 0..best.numbers().len() {
        for factor in STEPS {
            loop {
                let mut next = best;
                let mut numbers = next.numbers();
                let (name, number) = &mut numbers[k];
                let name = *name;
                **number *= factor;
                let value = **number;
                let now = figure(next);
                told(name, value, now);
                if now < top + GAIN {
                    break;
                }
                (best, top) = (next, now);
            }
        }
    }
    best
}

/// Weights of "this bar is right" for these sets, each piece counting alike: a constant and one a
/// sign (`priors::sure`).
pub fn sure(sets: &[Pieces], priors: Priors) -> [f64; 6] {
    let mut rows: Vec<([f64; 6], f64, f64)> = Vec::new();
    let pieces: usize = sets.iter().map(|set| set.pieces.len()).sum();
    for (piece, part) in sets.iter().flat_map(|set| set.parts(priors)) {
        let (Some(hypothesis), [first, .., last]) = (part.hypotheses.first(), &piece.beats[..])
        else {
            continue;
        };
        let among = first - 0.1..=last + 0.1;
        let beats = solve::number(&hypothesis.measured, &[]);
        let right = piece.right_bars(&beats);
        let signs = part.signs(hypothesis, &beats);
        let weight = 1.0 / (beats.len() * pieces).max(1) as f64;
        for ((beat, [a, b, c, d, e]), right) in beats.iter().zip(signs).zip(right) {
            if among.contains(&beat.time.0) {
                rows.push(([1.0, a, b, c, d, e], f64::from(u8::from(right)), weight));
            }
        }
    }
    let mut weights = [0.0; 6];
    for _ in 0..ROUNDS {
        let mut slope = [0.0; 6];
        for (x, right, weight) in &rows {
            let sum: f64 = x.iter().zip(&weights).map(|(x, w)| x * w).sum();
            let miss = weight * (right - 1.0 / (1.0 + (-sum).exp()));
            slope.iter_mut().zip(x).for_each(|(s, x)| *s += miss * x);
        }
        weights
            .iter_mut()
            .zip(slope)
            .for_each(|(w, s)| *w += RATE * s);
    }
    weights
}
