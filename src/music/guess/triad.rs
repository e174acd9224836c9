//! Few-finger triads near the nut: what a left hand is taken to hold while a tuning is guessed.
//!
//! The odds of `guess` were tuned on these costs, so they stay as they are; the shapes that a
//! player is shown are `chord`'s.

use crate::music::tuning::Tuning;

/// A triad.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Triad {
    /// Pitch classes root, third, fifth.
    pub classes: [i32; 3],
}

/// A way to hold a chord.
#[derive(Debug, Clone, PartialEq)]
pub struct TriadShape {
    /// Fret of each string, string 1 first: 0 open, none not played.
    pub frets: Vec<Option<i32>>,
    /// Strings that ring open.
    pub open: usize,
    /// Fingers that stop a string.
    pub fingers: usize,
    /// Sum of its costs; lower is easier and fuller.
    pub cost: f64,
    /// Is the third left out (neither major nor minor)?
    pub without_third: bool,
}

/// Highest fret of a shape, and the frets that a hand spans.
const HIGHEST: i32 = 7;
const SPAN: i32 = 3;

/// Costs of a shape: a stopped string 1, a string not played 1.5, each fret of span beyond the
/// first 0.5, each fret above the third 0.35, a missing third 1.6, a missing fifth 0.6, a bass that
/// is not the root 2 (tuned on the usual open chords of standard tuning).
const STOPPED: f64 = 1.0;
const UNPLAYED: f64 = 1.5;
const SPREAD: f64 = 0.5;
const HIGH: f64 = 0.35;
const NO_THIRD: f64 = 1.6;
const NO_FIFTH: f64 = 0.6;
const INVERTED: f64 = 2.0;

/// The `count` best shapes of `chord` in `tuning`, best first.
pub fn shapes(chord: &Triad, tuning: &Tuning, count: usize) -> Vec<TriadShape> {
    let strings = tuning.strings();
    let mut search = Search {
        chord,
        tuning,
        frets: vec![None; usize::from(strings)],
        found: Vec::new(),
        keep: count,
    };
    search.string(strings);
    search.found
}

struct Search<'a> {
    chord: &'a Triad,
    tuning: &'a Tuning,
    frets: Vec<Option<i32>>,
    found: Vec<TriadShape>,
    keep: usize,
}

impl Search<'_> {
    /// Tries every fret of `string` and goes on to the next higher one.
    fn string(&mut self, string: u8) {
        let Some(index) = usize::from(string).checked_sub(1) else {
            self.keep();
            return;
        };
        // Strings may be left out below the lowest that is played and above the highest.
        self.frets[index] = None;
        self.string(string - 1);
        let Some(open) = self.tuning.open(string) else {
            return;
        };
        // A string left out between played ones is hard to keep silent.
        let lower = &self.frets[index + 1..];
        if lower.first() == Some(&None) && lower.iter().any(Option::is_some) {
            return;
        }
        for fret in 0..=HIGHEST {
            let class = (open + fret).rem_euclid(12);
            if self.chord.classes.contains(&class) && self.fits(index, fret) {
                self.frets[index] = Some(fret);
                self.string(string - 1);
            }
        }
        self.frets[index] = None;
    }

    /// Can `fret` be added on string `index` without too wide a hand or too many fingers?
    fn fits(&self, index: usize, fret: i32) -> bool {
        if fret == 0 {
            return true;
        }
        let held = self.frets[index + 1..].iter().flatten().filter(|f| **f > 0);
        let (mut low, mut high, mut fingers) = (fret, fret, 1);
        for f in held {
            low = low.min(*f);
            high = high.max(*f);
            fingers += 1;
        }
        high - low < SPAN + 1 && fingers <= 4
    }

    fn keep(&mut self) {
        let Some(shape) = self.shape() else { return };
        let at = self.found.partition_point(|s| s.cost <= shape.cost);
        if at < self.keep {
            self.found.insert(at, shape);
            self.found.truncate(self.keep);
        }
    }

    fn shape(&self) -> Option<TriadShape> {
        let played: Vec<(usize, i32)> = self
            .frets
            .iter()
            .enumerate()
            .filter_map(|(i, f)| f.map(|f| (i, f)))
            .collect();
        if played.len() < 4 {
            return None;
        }
        let class = |(i, f): (usize, i32)| {
            self.tuning
                .open(i as u8 + 1)
                .map(|o| (o + f).rem_euclid(12))
        };
        let has = |wanted: i32| played.iter().any(|p| class(*p) == Some(wanted));
        let [root, third, fifth] = self.chord.classes;
        if !has(root) {
            return None;
        }
        let stopped: Vec<i32> = played.iter().map(|p| p.1).filter(|f| *f > 0).collect();
        let low = stopped.iter().min().copied().unwrap_or(0);
        let high = stopped.iter().max().copied().unwrap_or(0);
        let unplayed = self.frets.len() - played.len();
        let without_third = !has(third);
        let mut cost = STOPPED * stopped.len() as f64 + UNPLAYED * unplayed as f64;
        cost += SPREAD * f64::from((high - low - 1).max(0)) + HIGH * f64::from((high - 3).max(0));
        for (missing, price) in [
            (without_third, NO_THIRD),
            (!has(fifth), NO_FIFTH),
            (class(*played.last()?) != Some(root), INVERTED),
        ] {
            cost += if missing { price } else { 0.0 };
        }
        Some(TriadShape {
            frets: self.frets.clone(),
            open: played.len() - stopped.len(),
            fingers: stopped.len(),
            cost,
            without_third,
        })
    }
}
