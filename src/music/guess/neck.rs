//! A hand that moves along the neck: how likely the notes are in a tuning, whatever chord they make.
//!
//! At every note the left hand lies somewhere and stops one of four frets, or lets a string ring open,
//! the more often the nearer it is to the nut; the right hand has its strings. Between notes the hand
//! now and then goes elsewhere. Sums over all ways of that (the forward algorithm of a hidden Markov
//! model, Rabiner 1989). Pitch classes that the piece uses seldom are as seldom here, so that a key
//! is no evidence of a tuning.

use crate::music::tuning::Tuning;

/// Places of the hand: its first finger's fret, 1 to this, and the frets that it reaches.
const PLACES: usize = 9;
const REACH: i32 = 4;
/// Frets of the neck that are thought of.
const FRETS: i32 = 15;
/// How often the hand moves between two notes, and how much less likely each fret up the neck is.
const MOVES: f64 = 0.07;
const UP: f64 = 0.25;
/// Share of notes on open strings, thumb and fingers with the hand at the nut, and how much each fret
/// away from it takes (a factor of e at 1); share of notes out of the hand's reach.
const OPEN: [f64; 2] = [0.45, 0.32];
const AWAY: f64 = 0.1;
const OUT: f64 = 0.05;
/// How often each string, from the highest, is played by thumb and by fingers; further ones as the sixth.
const STRINGS: [[f64; 6]; 2] = [
    [0.01, 0.01, 0.06, 0.25, 0.33, 0.34],
    [0.33, 0.3, 0.25, 0.09, 0.02, 0.01],
];
/// Share of notes that are misheard.
const MISHEARD: f64 = 0.02;

/// How often each pitch class is played, smoothed.
pub fn classes(midis: impl Iterator<Item = i32>) -> [f64; 12] {
    let mut counted = [1.0f64; 12];
    let mut all = 12.0;
    for midi in midis {
        counted[midi.rem_euclid(12) as usize] += 1.0;
        all += 1.0;
    }
    counted.map(|c| 12.0 * c / all)
}

/// Logarithm of the probability of `notes` (row: 0 thumb, 1 fingers, 2 not known; and pitch) in order
/// of time in `tuning`, each counted as often as `counts` says (as many); pitch classes weigh as in
/// `classes`.
pub fn likelihood(
    notes: &[(usize, i32)],
    counts: &[f64],
    tuning: &Tuning,
    classes: &[f64; 12],
) -> f64 {
    let tables = tables(tuning, classes);
    let home: Vec<f64> = (0..PLACES).map(|p| (-UP * p as f64).exp()).collect();
    let all: f64 = home.iter().sum();
    let mut now: Vec<f64> = home.iter().map(|h| h / all).collect();
    let mut sum = 0.0;
    for ((row, midi), count) in notes.iter().zip(counts) {
        let index = usize::try_from(*midi).ok().filter(|m| *m < 128);
        let total: f64 = now.iter().sum();
        for (p, likely) in now.iter_mut().enumerate() {
            let said = index.map_or(0.0, |m| tables[p][*row][m]);
            *likely = ((1.0 - MOVES) * *likely + MOVES * total * home[p] / all)
                * ((1.0 - MISHEARD) * said + MISHEARD / 60.0);
        }
        let total: f64 = now.iter().sum();
        sum += count * total.ln();
        for n in &mut now {
            *n /= total;
        }
    }
    sum
}

/// Probability of each pitch by place of the hand and row.
fn tables(tuning: &Tuning, classes: &[f64; 12]) -> Vec<[[f64; 128]; 3]> {
    (0..PLACES)
        .map(|place| {
            let mut rows = [[0.0; 128]; 3];
            for (row, table) in rows.iter_mut().enumerate().take(2) {
                fill(table, tuning, classes, place, row);
            }
            rows[2] = std::array::from_fn(|m| 0.5 * (rows[0][m] + rows[1][m]));
            rows
        })
        .collect()
}

fn fill(table: &mut [f64; 128], tuning: &Tuning, classes: &[f64; 12], place: usize, row: usize) {
    let first = place as i32 + 1;
    let open = OPEN[row] * (-AWAY * place as f64).exp();
    let mut all = 0.0;
    for string in 1..=tuning.strings() {
        let Some(lowest) = tuning.open(string) else {
            continue;
        };
        let often = STRINGS[row][usize::from(string - 1).min(5)];
        for fret in 0..=FRETS {
            let held = (first..first + REACH).contains(&fret);
            let easy = if fret == 0 {
                open
            } else if held {
                (1.0 - open - OUT) / f64::from(REACH)
            } else {
                OUT / f64::from(FRETS - REACH)
            };
            let midi = lowest + fret;
            if let Some(p) = usize::try_from(midi).ok().and_then(|m| table.get_mut(m)) {
                let likely = often * easy * classes[midi.rem_euclid(12) as usize];
                *p += likely;
                all += likely;
            }
        }
    }
    for p in table.iter_mut() {
        *p /= all.max(1e-9);
    }
}
