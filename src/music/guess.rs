//! Which tuning was it? Ranked guesses from the notes that were heard, with odds.
//!
//! Owns the guess, not the list of tunings (`presets/tunings.toml`). For every known tuning and
//! capo it asks how likely a guitarist would have played just these notes: open strings most, low
//! frets next, thumb notes on the low strings, notes that ring on while others begin on open ones;
//! nothing below the lowest string. Bayes' rule makes odds of it.

use super::note::{Attack, Note, Role};
use super::tuning::Tuning;
use crate::unit::{Cents, Span};

/// A tuning that may have been used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its strings, without capo.
    pub tuning: &'a Tuning,
    /// How common it is; only ratios matter.
    pub weight: f64,
}

/// One guess.
#[derive(Debug, Clone, PartialEq)]
pub struct Guess {
    /// Name of the tuning.
    pub name: String,
    /// The tuning, with capo.
    pub tuning: Tuning,
    /// How far the whole guitar lies off A4 = 440 Hz, where known.
    pub cents: Cents,
    /// Probability against all other candidates, 0 to 1.
    pub odds: f64,
}

/// Highest capo that is thought of.
const HIGHEST_CAPO: i32 = 7;

/// How likely a note is at each fret (0 open; the last holds for all higher ones up to 15), before
/// the choice of string, in two ways of playing: in a tuning chosen for its open strings about half
/// of all notes are open; in closed positions few are, and the notes tell little of the tuning.
/// Chosen by hand from what guitarists play, not fitted to data.
const AT_FRET: [[f64; 9]; 2] = [
    [0.40, 0.05, 0.13, 0.08, 0.10, 0.07, 0.03, 0.05, 0.02],
    [0.10, 0.08, 0.09, 0.09, 0.09, 0.08, 0.08, 0.08, 0.04],
];
const HIGHEST_FRET: i32 = 15;

/// Share of notes that fit nowhere: misheard, or an octave off.
const MISHEARD: f64 = 0.08;

/// How likely a capo sits at each fret from 0.
const AT_CAPO: [f64; 8] = [0.50, 0.08, 0.13, 0.09, 0.07, 0.06, 0.03, 0.04];

/// Notes of one piece repeat each other: evidence grows up to this many, then only slowly.
const INDEPENDENT: f64 = 45.0;

/// A note that rings this long while others begin is likely open.
const RINGS: Span = Span(0.9);

/// A pitch that was heard, with how it was played.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heard {
    /// Pitch (MIDI), off the equal-tempered grid by what the guitar is.
    pub midi: i32,
    /// Whose part.
    pub role: Role,
    /// Did it ring on while others began?
    pub rings: bool,
}

/// What a guess needs of an analysis's notes; `offset` is the guitar's distance from 440 Hz.
pub fn heard(notes: &[Note], offset: Cents) -> Vec<Heard> {
    notes
        .iter()
        .filter(|n| !matches!(n.attack, Attack::Harmonic | Attack::Tap | Attack::Dead))
        .filter_map(|n| {
            let pitch = n.pitch?.detuned(Cents(-offset.0));
            Some(Heard {
                midi: pitch.nearest(),
                role: n.role,
                rings: (n.end - n.time).0 > RINGS.0,
            })
        })
        .collect()
}

/// Guesses in order of their odds, at most `count`; empty when nothing was heard.
pub fn guess(
    heard: &[Heard],
    offset: Cents,
    candidates: &[Candidate<'_>],
    count: usize,
) -> Vec<Guess> {
    if heard.is_empty() {
        return Vec::new();
    }
    let evidence = counts(heard);
    let temper = (INDEPENDENT / heard.len() as f64).min(1.0);
    let mut scored: Vec<(f64, Guess)> = Vec::new();
    for candidate in candidates.iter().filter(|c| c.weight > 0.0) {
        for capo in 0..=HIGHEST_CAPO {
            let tuning = candidate.tuning.clone().with_capo(capo);
            let fits = AT_FRET.map(|at_fret| {
                let likely = likelihoods(&tuning, &at_fret);
                let fit: f64 = evidence.iter().map(|(h, n)| n * likely.of(*h).ln()).sum();
                temper * fit
            });
            let fit = fits[0].max(fits[1]) + (-(fits[0] - fits[1]).abs()).exp().ln_1p();
            let prior = candidate.weight.ln() + AT_CAPO[capo as usize].ln();
            let guess = Guess {
                name: candidate.name.to_owned(),
                tuning,
                cents: offset,
                odds: 0.0,
            };
            scored.push((fit + prior, guess));
        }
    }
    let best = scored.iter().map(|s| s.0).fold(f64::MIN, f64::max);
    let total: f64 = scored.iter().map(|s| (s.0 - best).exp()).sum();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    scored
        .into_iter()
        .take(count)
        .map(|(score, guess)| Guess {
            odds: (score - best).exp() / total,
            ..guess
        })
        .collect()
}

/// Equal notes counted.
fn counts(heard: &[Heard]) -> Vec<(Heard, f64)> {
    let mut counted: Vec<(Heard, f64)> = Vec::new();
    for h in heard {
        match counted.iter_mut().find(|(k, _)| k == h) {
            Some((_, n)) => *n += 1.0,
            None => counted.push((*h, 1.0)),
        }
    }
    counted
}

/// Probability of each pitch in one tuning, for thumb and fingers, ringing or not.
struct Likelihoods {
    table: [[f64; 128]; 4],
}

fn row(role: Role, rings: bool) -> usize {
    2 * usize::from(role == Role::Melody) + usize::from(rings)
}

fn likelihoods(tuning: &Tuning, at_fret: &[f64; 9]) -> Likelihoods {
    let mut table = [[0.0; 128]; 4];
    for role in [Role::Bass, Role::Melody] {
        for rings in [false, true] {
            let row = &mut table[row(role, rings)];
            for string in 1..=tuning.strings() {
                let Some(open) = tuning.open(string) else {
                    continue;
                };
                // The thumb's strings are 4 and lower; one part in ten strays.
                let own = (string >= 4) == (role == Role::Bass);
                let share = if own { 0.30 } else { 0.033 };
                for fret in 0..=HIGHEST_FRET {
                    let Some(p) = usize::try_from(open + fret)
                        .ok()
                        .and_then(|m| row.get_mut(m))
                    else {
                        continue;
                    };
                    let at = at_fret[(fret as usize).min(at_fret.len() - 1)];
                    let at = match (rings, fret) {
                        (true, 0) => 1.4 * at,
                        (true, _) => 0.75 * at,
                        _ => at,
                    };
                    *p += share * at;
                }
            }
        }
    }
    for row in &mut table {
        let whole: f64 = row.iter().sum();
        for p in row.iter_mut() {
            *p = (1.0 - MISHEARD) * *p / whole.max(1e-9) + MISHEARD / 128.0;
        }
    }
    Likelihoods { table }
}

impl Likelihoods {
    fn of(&self, heard: Heard) -> f64 {
        usize::try_from(heard.midi)
            .ok()
            .and_then(|midi| self.table[row(heard.role, heard.rings)].get(midi).copied())
            .unwrap_or(MISHEARD / 128.0)
    }
}
