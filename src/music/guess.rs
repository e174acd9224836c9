//! Which tuning was it? Ranked guesses from the notes that were heard, with odds.
//!
//! Owns the guess, not the list of tunings (`presets/tunings.toml`). In every moment the left hand
//! is taken to hold one of the easiest shapes that a tuning has for some triad (`triad`), and the
//! right hand to pluck its strings, thumb the low ones, fingers the high ones; now and then a note
//! leaves the shape for a low fret, or is misheard. Some pieces are played in closed positions all
//! over the neck instead; they say little of their tuning. Or a hand moves along the neck after a tune
//! (`neck`). Whether a note rings on when another begins says whether the two may lie on one string
//! (`ringing`). For every known tuning and capo all that is weighed together, with how common they
//! are, and makes odds.
//!
//! What is played again says nothing new: each different moment, step from note to note and pair of
//! pitches counts once, and many of them say little more than some, since what is wrong about these
//! models of a piece is wrong of all of it. So odds hardly rise with a recording's length, and not with
//! how often it is looped.

mod neck;
#[doc(hidden)]
pub mod triad;
mod weights;

use super::note::{Attack, Note, Role};
use super::ringing;
use super::tuning::{NamedTuning, Tuning};
use crate::stop;
use crate::unit::{Cents, Seconds};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt;
use triad::{Triad, TriadShape, shapes};
use weights::WEIGHTS;

/// Odds from which a guess is taken for known: below, nothing is told as if it were.
pub const SURE: f64 = 0.6;

/// One guess.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Guess {
    /// Name of the tuning.
    pub name: String,
    /// The tuning, with capo.
    pub tuning: Tuning,
    /// How far the whole guitar lies off A4 = 440 Hz, where known.
    pub cents: Cents,
    /// Probability against all other candidates, 0 to 1; those of `alike` are in it.
    pub odds: f64,
    /// Less likely names, and their capos, for strings that sound the same: nothing in the notes
    /// tells open E from open D with the capo at the second fret.
    pub alike: Vec<(String, i32)>,
}

/// Odds from which a guess is told as nearly sure, without a number: one in twenty is wrong at most, where
/// odds are what they say (set by hand).
pub const NEARLY_SURE: f64 = 0.95;

/// What was found, as a player is told it; empty where nothing was guessed.
///
/// `D A D G A D (DADGAD), nearly sure`, or `71 % sure`, or, where no guess is sure, the likeliest two.
pub fn told(guesses: &[Guess]) -> String {
    told_by(guesses, Guess::to_string)
}

/// The same with a name of the caller's for each guess.
pub fn told_by(guesses: &[Guess], name: impl Fn(&Guess) -> String) -> String {
    let likely = |g: &Guess| format!("{}, {} %", name(g), g.percent());
    match guesses {
        [] => String::new(),
        [first, ..] if first.odds >= NEARLY_SURE => format!("{}, nearly sure", name(first)),
        [first, ..] if first.odds >= SURE => format!("{} sure", likely(first)),
        [only] => format!("unsure: perhaps {}", likely(only)),
        [first, second, ..] => format!("unsure: {}, or {}", likely(first), likely(second)),
    }
}

impl Guess {
    /// Its odds as a player reads them: 1 to 99.
    pub fn percent(&self) -> u8 {
        (100.0 * self.odds).round().clamp(1.0, 99.0) as u8
    }
}

impl fmt::Display for Guess {
    /// Strings from the lowest, the capo, and the name where it says more.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let bare = self.tuning.clone().with_capo(0).to_string();
        write!(f, "{bare}")?;
        if self.name != bare && self.name != bare.replace(' ', "") {
            write!(f, " ({})", self.name)?;
        }
        match self.tuning.capo() {
            0 => Ok(()),
            fret => write!(f, ", capo {fret}"),
        }
    }
}

/// Highest capo that is thought of.
const HIGHEST_CAPO: i32 = 7;

/// How likely a capo sits at each fret from 0 (set by hand).
const AT_CAPO: [f64; 8] = [0.50, 0.08, 0.13, 0.09, 0.07, 0.06, 0.03, 0.04];

/// Notes within this long are taken to be of one shape, seconds.
const MOMENT: f64 = 1.2;

/// Shapes of a triad that are thought of, and by how much each step of their cost makes them less
/// likely (a factor of e at 1).
const WAYS: usize = 3;
const EASE: f64 = 0.15;

/// Share of notes that leave the shape for one of the frets below this, and that are misheard.
const ASTRAY: f64 = 0.12;
const LOW: i32 = 6;
const MISHEARD: f64 = 0.05;
/// Share of a hand's notes that fall on the other hand's strings.
const CROSSED: f64 = 0.1;

/// Notes below every six-string tuning's reach that make a seventh string thinkable: one may be misheard.
const BELOW: usize = 2;

/// Share of pieces in closed positions, and the frets that they go up to (set by hand).
const CLOSED: f64 = 0.1;
const NECK: i32 = 13;

/// How much what shapes and ringing say counts beside each other (set by hand).
const SHAPES: f64 = 0.87;
const RINGING: f64 = 3.0;

/// So many different moments, pairs of pitches and steps from note to note say half of what any number of
/// them would (of these, twice and four times as many, chosen on 120 invented pieces that nothing was
/// fitted on).
const MOMENTS: f64 = 15.0;
const PAIRS: f64 = 25.0;
const STEPS: f64 = 30.0;

/// Each fret makes a place of a pitch less likely by this (a factor of e at 1), as far as ringing
/// goes; in closed positions all are alike.
const LOWER: f64 = 0.3;
/// How often a note is heard to stop where another begins on its string, and on another string: a
/// finger may leave the fret. Two pitches lie on one string, or do not, at least this often.
const STOPS: f64 = 0.8;
const CUT: f64 = 0.15;
const SELDOM: f64 = 0.05;
// Those four were tuned on 144 pieces of the project's own model and 45 of sampled guitars; on
// fresh ones they were left alone.

/// A pitch that was heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeardPitch {
    /// When it began.
    pub time: Seconds,
    /// Until when it was heard to ring.
    pub rang: Seconds,
    /// When it ended; far away where that was not heard.
    pub end: Seconds,
    /// Pitch (MIDI), off the equal-tempered grid by what the guitar is.
    pub midi: i32,
    /// Whose part, where that is known.
    pub role: Option<Role>,
}

/// What a guess needs of an analysis's notes; `offset` is the guitar's distance from 440 Hz.
pub fn heard(notes: &[Note], offset: Cents) -> Vec<HeardPitch> {
    notes
        .iter()
        .filter(|n| !matches!(n.attack, Attack::Harmonic | Attack::Tap | Attack::Dead))
        .filter_map(|n| {
            Some(HeardPitch {
                time: n.time,
                rang: n.end,
                end: n.end,
                midi: n.pitch?.detuned(Cents(-offset.0)).nearest(),
                role: Some(n.role),
            })
        })
        .collect()
}

/// Guesses among the `known` tunings from notes in order of time, in order of their odds, at most
/// `count`; empty when nothing was heard. More than six strings are thought of only where notes lie
/// below all that the known six reach.
pub fn guess(
    heard: &[HeardPitch],
    offset: Cents,
    known: &[NamedTuning],
    count: usize,
) -> Vec<Guess> {
    let mut scored: Vec<(f64, Guess)> = evidence(heard, known)
        .into_iter()
        .map(|e| {
            let score = e.each.iter().zip(WEIGHTS).map(|(x, w)| x * w).sum();
            let guess = Guess {
                name: e.name,
                tuning: e.tuning,
                cents: offset,
                odds: 0.0,
                alike: Vec::new(),
            };
            (score, guess)
        })
        .collect();
    if scored.is_empty() {
        return Vec::new();
    }
    let best = scored.iter().map(|s| s.0).fold(f64::MIN, f64::max);
    let total: f64 = scored.iter().map(|s| (s.0 - best).exp()).sum();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut told: Vec<Guess> = Vec::new();
    for (score, guess) in scored {
        let odds = (score - best).exp() / total;
        match told
            .iter_mut()
            .find(|g| sounds_alike(&g.tuning, &guess.tuning))
        {
            Some(likelier) => {
                likelier.odds += odds;
                likelier.alike.push((guess.name, guess.tuning.capo()));
            }
            None => told.push(Guess { odds, ..guess }),
        }
    }
    told.sort_by(|a, b| b.odds.total_cmp(&a.odds));
    told.truncate(count);
    told
}

/// What speaks for one tuning with one capo.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Name of the tuning.
    pub name: String,
    /// The tuning, with capo.
    pub tuning: Tuning,
    /// Logarithms of likelihoods, each different thing counted once and many of them little more than some:
    /// of shapes with ringing; of the hand on the neck and the same with the piece's own pitch classes; and
    /// how common the tuning is with its capo.
    pub each: [f64; 4],
}

/// What speaks for each of the `known` tunings with each capo, of all that are thinkable; empty when
/// nothing was heard. Notes are in order of time.
pub fn evidence(heard: &[HeardPitch], known: &[NamedTuning]) -> Vec<Evidence> {
    if heard.is_empty() {
        return Vec::new();
    }
    let moments = moments(heard);
    let rung = rung(heard);
    let notes: Vec<(usize, i32)> = heard.iter().map(|h| (row(h.role), h.midi)).collect();
    let (once, steps) = steps(&notes);
    let shapes = SHAPES * share(moments.len() as f64, MOMENTS);
    let ringing = RINGING * share(rung.len() as f64, PAIRS);
    let own = neck::classes(heard.iter().map(|h| h.midi));
    let mut all = Vec::new();
    let reached = |named: &NamedTuning| named.tuning.range().map_or(i32::MIN, |(low, _)| low);
    let six = known.iter().filter(|k| k.tuning.strings() <= 6);
    let reach = six.map(reached).min().unwrap_or(i32::MIN);
    let below = heard.iter().filter(|h| h.midi < reach).count();
    let thinkable =
        |k: &&NamedTuning| k.weight > 0.0 && (k.tuning.strings() <= 6 || below >= BELOW);
    for named in known.iter().filter(thinkable) {
        let (open, closed) = (Held::in_tuning(&named.tuning), Held::closed(&named.tuning));
        for capo in 0..=HIGHEST_CAPO {
            stop::check();
            let fit = |held: &Held| -> f64 {
                let each = moments.iter().map(|notes| held.likelihood(notes, capo));
                shapes * each.sum::<f64>()
            };
            let tuning = named.tuning.clone().with_capo(capo);
            let rings = |lower| ringing * ring_on(&rung, &tuning, lower);
            let open = fit(&open) + rings(LOWER) + (1.0 - CLOSED).ln();
            let closed = fit(&closed) + rings(0.0) + CLOSED.ln();
            let held = open.max(closed) + (-(open - closed).abs()).exp().ln_1p();
            let along =
                |classes| share(steps, STEPS) * neck::likelihood(&notes, &once, &tuning, classes);
            let each = [
                held,
                along(&[1.0; 12]),
                along(&own),
                named.weight.ln() + AT_CAPO[capo as usize].ln(),
            ];
            all.push(Evidence {
                name: named.name.clone(),
                tuning,
                each,
            });
        }
    }
    all
}

/// Do all strings of two tunings sound the same, each with its capo?
pub fn sounds_alike(a: &Tuning, b: &Tuning) -> bool {
    a.strings() == b.strings() && (1..=a.strings()).all(|s| a.open(s) == b.open(s))
}

/// What each of `count` different observations still says when `enough` of them say half of all that they
/// could.
fn share(count: f64, enough: f64) -> f64 {
    1.0 / (1.0 + count / enough)
}

/// What each note counts so that every step from one pitch to the next counts once, and how many
/// different steps there are.
fn steps(notes: &[(usize, i32)]) -> (Vec<f64>, f64) {
    let step = |i: usize| (i.checked_sub(1).map(|b| notes[b].1), notes[i].1);
    let mut seen: HashMap<(Option<i32>, i32), f64> = HashMap::new();
    for i in 0..notes.len() {
        *seen.entry(step(i)).or_default() += 1.0;
    }
    let once = (0..notes.len()).map(|i| 1.0 / seen[&step(i)]).collect();
    (once, seen.len() as f64)
}

/// Two pitches, one after the other, and in which share of cases the first rang on or stopped when the
/// second began.
type Rung = ((i32, i32), (f64, f64));

/// What was heard of pairs of pitches that may lie on one string.
fn rung(heard: &[HeardPitch]) -> Vec<Rung> {
    let notes: Vec<ringing::Rung> = heard
        .iter()
        .map(|h| ringing::Rung {
            time: h.time,
            rang: h.rang,
            end: h.end,
            midi: h.midi,
        })
        .collect();
    let mut counted: BTreeMap<(i32, i32), (f64, f64)> = BTreeMap::new();
    for pair in ringing::pairs(&notes) {
        let count = counted
            .entry((notes[pair.first].midi, notes[pair.second].midi))
            .or_default();
        if pair.stops {
            count.1 += 1.0;
        } else {
            count.0 += 1.0;
        }
    }
    for (rang, stopped) in counted.values_mut() {
        let all = *rang + *stopped;
        (*rang, *stopped) = (*rang / all, *stopped / all);
    }
    counted.into_iter().collect()
}

/// Logarithm of the probability of what was heard of such pairs in a tuning, where each fret makes a
/// place less likely by `lower`.
fn ring_on(rung: &[Rung], tuning: &Tuning, lower: f64) -> f64 {
    let places = |midi: i32| -> Vec<(u8, f64)> {
        let easy = |fret: i32| (-lower * f64::from(fret)).exp();
        let places = tuning.places(midi, NECK);
        let all: f64 = places.iter().map(|p| easy(p.1)).sum();
        places.iter().map(|p| (p.0, easy(p.1) / all)).collect()
    };
    let one = |((first, second), (rang, stopped)): &Rung| -> f64 {
        let second = places(*second);
        let on = |string: u8| second.iter().filter(move |p| p.0 == string).map(|p| p.1);
        let same: f64 = places(*first)
            .iter()
            .flat_map(|(string, likely)| on(*string).map(move |p| likely * p))
            .sum();
        let same = same.clamp(SELDOM, 1.0 - SELDOM);
        let seen = |stops: f64| (stopped * stops.ln() + rang * (1.0 - stops).ln()).exp();
        (same * seen(STOPS) + (1.0 - same) * seen(CUT)).ln()
    };
    rung.iter().map(one).sum()
}

/// Which hand, as a row of a table: thumb, fingers, not known.
fn row(role: Option<Role>) -> usize {
    match role {
        Some(Role::Bass) => 0,
        Some(Role::Melody) => 1,
        None => 2,
    }
}

/// The different moments: the different notes of each (row and pitch), in their order.
fn moments(heard: &[HeardPitch]) -> Vec<Vec<(usize, i32)>> {
    let mut moments = BTreeSet::new();
    let mut from = 0;
    while from < heard.len() {
        let end = heard[from].time.0 + MOMENT;
        let to = from + heard[from..].partition_point(|h| h.time.0 <= end).max(1);
        let mut notes: Vec<(usize, i32)> = heard[from..to]
            .iter()
            .map(|h| (row(h.role), h.midi))
            .collect();
        notes.sort_unstable();
        notes.dedup();
        moments.insert(notes);
        from = to;
    }
    moments.into_iter().collect()
}

/// Logarithms of the probability of each pitch without capo, by row.
type Pitches = [[f32; 128]; 3];

/// The shapes that a hand may hold in a tuning, with the logarithm of how likely each is.
struct Held {
    shapes: Vec<(Pitches, f64)>,
}

impl Held {
    fn in_tuning(tuning: &Tuning) -> Self {
        let tuning = tuning.clone().with_capo(0);
        let astray = frets(&tuning, LOW);
        let mut found: Vec<(Pitches, f64)> = Vec::new();
        for root in 0..12 {
            for third in [3, 4] {
                let chord = Triad {
                    classes: [root, (root + third) % 12, (root + 7) % 12],
                };
                for shape in shapes(&chord, &tuning, WAYS) {
                    found.push((pitches(&shape, &tuning, &astray), -EASE * shape.cost));
                }
            }
        }
        if found.is_empty() {
            return Self::closed(&tuning); // a tuning in which no triad can be held
        }
        let total: f64 = found.iter().map(|s| s.1.exp()).sum();
        for shape in &mut found {
            shape.1 -= total.ln();
        }
        Self { shapes: found }
    }

    /// Any fret of the neck alike.
    fn closed(tuning: &Tuning) -> Self {
        let alike = frets(&tuning.clone().with_capo(0), NECK);
        let pitches = std::array::from_fn(|row| {
            std::array::from_fn(|i| {
                let across = if row == 2 { 2 } else { 1 - row };
                let p = (1.0 - CROSSED) * alike[row][i] + CROSSED * alike[across][i];
                ((1.0 - MISHEARD) * p + MISHEARD / 60.0).ln() as f32
            })
        });
        Self {
            shapes: vec![(pitches, 0.0)],
        }
    }

    /// Logarithm of the probability of a moment's notes with the capo at `capo`.
    fn likelihood(&self, notes: &[(usize, i32)], capo: i32) -> f64 {
        let missed = (MISHEARD / 60.0).ln();
        let (mut best, mut sum) = (f64::NEG_INFINITY, 0.0);
        for (pitches, likely) in &self.shapes {
            let fit = notes.iter().fold(*likely, |fit, (row, midi)| {
                let index = usize::try_from(midi - capo).ok();
                let at = index.and_then(|i| pitches[*row].get(i));
                fit + at.map_or(missed, |p| f64::from(*p))
            });
            // The logarithm of a sum of exponentials, as it goes.
            if fit > best {
                sum = sum * (best - fit).exp() + 1.0;
                best = fit;
            } else {
                sum += (fit - best).exp();
            }
        }
        best + sum.ln()
    }
}

/// Is a string one of this row's own: thumb 4 and lower, fingers 3 to 1?
fn own(string: u8, row: usize) -> bool {
    (string >= 4) == (row == 0)
}

/// Probability of each pitch when the first `count` frets of a hand's own strings, open ones among
/// them, are all alike.
fn frets(tuning: &Tuning, count: i32) -> [[f64; 128]; 3] {
    let mut table = [[0.0; 128]; 3];
    for (row, chances) in table.iter_mut().enumerate().take(2) {
        let open: Vec<i32> = (1..=tuning.strings())
            .filter(|s| own(*s, row))
            .filter_map(|s| tuning.open(s))
            .collect();
        for at in open.iter().flat_map(|o| *o..o + count) {
            if let Some(p) = usize::try_from(at).ok().and_then(|i| chances.get_mut(i)) {
                *p += 1.0 / (open.len() as f64 * f64::from(count));
            }
        }
    }
    table[2] = std::array::from_fn(|i| 0.5 * (table[0][i] + table[1][i]));
    table
}

/// Probability of each pitch while a shape is held.
fn pitches(shape: &TriadShape, tuning: &Tuning, astray: &[[f64; 128]; 3]) -> Pitches {
    let mut held = [[0.0f64; 128]; 3];
    for (row, chances) in held.iter_mut().enumerate().take(2) {
        let sounding = |wanted: bool| -> Vec<usize> {
            (1..=tuning.strings())
                .filter(|s| own(*s, row) == wanted)
                .filter_map(|s| {
                    let fret = shape.frets.get(usize::from(s) - 1).copied().flatten()?;
                    usize::try_from(tuning.open(s)? + fret).ok()
                })
                .filter(|m| *m < 128)
                .collect()
        };
        let (ours, theirs) = (sounding(true), sounding(false));
        let across = if ours.is_empty() { 1.0 } else { CROSSED };
        for (strings, share) in [(&ours, 1.0 - CROSSED), (&theirs, across)] {
            for midi in strings {
                chances[*midi] += share / strings.len() as f64;
            }
        }
    }
    held[2] = std::array::from_fn(|i| 0.5 * (held[0][i] + held[1][i]));
    std::array::from_fn(|row| {
        std::array::from_fn(|i| {
            let p = (1.0 - ASTRAY - MISHEARD) * held[row][i]
                + ASTRAY * astray[row][i]
                + MISHEARD / 60.0;
            p.ln() as f32
        })
    })
}
