//! Chords by name, and the shapes that a guitarist holds for them, easiest first.
//!
//! Owns what a chord's name means and the search for shapes in any tuning; what a hand can hold is
//! `hand`'s. A shape has its chord's notes and no others. What it lacks it says: a triad without its
//! third or fifth is offered, but never in silence, and a bass that is not the root makes a slash name.

mod drone;
mod mode;
mod symbol;

pub use drone::{Drone, drones};
pub use mode::{keys_chords, main_chords};
pub use symbol::{Chord, ChordError};

use super::hand::{Grip, HIGHEST_FRET, Hand};
use super::tuning::Tuning;

/// A way to hold a chord.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// What it sounds: the chord's name, with the bass where that is not the root.
    pub name: String,
    /// Fret of each string above the capo, string 1 first: 0 open, none not played.
    pub frets: Vec<Option<i32>>,
    /// How the left hand holds it.
    pub grip: Grip,
    /// What the chord's name promises and the shape lacks: `third`, `fifth`.
    pub missing: Vec<&'static str>,
    /// What it costs: the hand's effort and what the shape lacks in fullness. Lower comes first.
    pub cost: f64,
}

impl Shape {
    /// Frets from the lowest string, `x32010`; with spaces where a fret has two figures.
    pub fn diagram(&self) -> String {
        let frets: Vec<String> = self
            .frets
            .iter()
            .rev()
            .map(|f| f.map_or_else(|| "x".to_owned(), |f| f.to_string()))
            .collect();
        let wide = frets.iter().any(|f| f.len() > 1);
        frets.join(if wide { " " } else { "" })
    }

    /// Left-hand fingers from the lowest string: `-32-1-` for `x32010`, `T` for the thumb.
    pub fn fingers(&self) -> String {
        (1..=self.frets.len() as u8)
            .rev()
            .map(|string| match self.finger(string) {
                None => '-',
                Some(0) => 'T',
                Some(finger) => char::from(b'0' + finger),
            })
            .collect()
    }

    /// The finger on `string`, 0 for the thumb.
    pub fn finger(&self, string: u8) -> Option<u8> {
        let fret = self.frets.get(usize::from(string).wrapping_sub(1))?;
        fret.filter(|f| *f > 0)
            .and_then(|fret| self.grip.finger(string, fret))
    }

    /// Strings that ring open, the lowest first.
    pub fn open(&self) -> Vec<u8> {
        (1..=self.frets.len() as u8)
            .rev()
            .filter(|s| self.frets[usize::from(*s) - 1] == Some(0))
            .collect()
    }

    /// What a player should know beyond the diagram: what is missing, a barre, the thumb, a string
    /// to keep silent.
    pub fn remarks(&self) -> Vec<String> {
        let mut said: Vec<String> = self.missing.iter().map(|m| format!("no {m}")).collect();
        for press in &self.grip.presses {
            if press.finger == 0 {
                said.push("thumb over".to_owned());
            } else if press.width() > 1 {
                let full = usize::from(press.width()) == self.frets.len();
                said.push(if full {
                    format!("barre {}", press.fret)
                } else {
                    format!("barre {} on {}-{}", press.fret, press.low, press.high)
                });
            }
        }
        for string in &self.grip.muted {
            said.push(format!("mute {string}"));
        }
        said
    }

    /// Fingers that stay where they are when the hand goes on to `next`: (finger, string, fret).
    pub fn common_fingers(&self, next: &Self) -> Vec<(u8, u8, i32)> {
        let mut common = Vec::new();
        for a in &self.grip.presses {
            if next
                .grip
                .presses
                .iter()
                .any(|b| (a.finger, a.fret, a.low) == (b.finger, b.fret, b.low))
            {
                common.push((a.finger, a.low, a.fret));
            }
        }
        common
    }
}

/// Costs beside the hand's effort, chosen on the shapes of six tunings that players learn first
/// (tests/reference/shapes.toml, all but the last list): a string left out at the bass, the treble or
/// between, a third or fifth that is missing, a bass other than the root, and what an open string is
/// worth.
const NO_BASS_STRING: f64 = 0.4;
const NO_TREBLE_STRING: f64 = 0.95;
const NO_INNER_STRING: f64 = 0.3;
const NO_THIRD: f64 = 1.4;
const NO_FIFTH: f64 = 1.1;
const FIFTH_OF_FOUR: f64 = 0.4;
const FIFTH_IN_BASS: f64 = 2.0;
const OTHER_IN_BASS: f64 = 2.8;
/// Each semitone that the lowest note lies above D3, the highest wound string of many sets: the thumb
/// wants a bass.
const HIGH_BASS: f64 = 0.06;
const BASS: i32 = 50;
/// A note that is not of the triad sounds twice: teachers of harmony double root, fifth, third.
const DOUBLED_COLOUR: f64 = 0.8;
/// Open strings under a hand that is this far from them, a fret.
const FAR: i32 = 4;
const FAR_FROM_OPEN: f64 = 0.4;
const OPEN: f64 = 0.15;
/// A form without open strings under one barre is learnt once and played on every fret, the nearer to
/// the nut the sooner.
const MOVABLE: f64 = 1.1;
const UP_THE_NECK: f64 = 0.08;
/// The same of a form with open strings, which sounds on that fret alone.
const UP_WITH_OPEN: f64 = 0.2;
/// A shape that differs from a better one on one string is hardly another shape.
const HARDLY_OTHER: f64 = 0.6;
/// A shape that moves is worth this much more effort than one that stays.
const MUCH_HARDER: f64 = 3.2;

/// Frets above the lowest stopped one that are tried; the hand decides.
const WINDOW: i32 = 4;

/// The `count` best shapes of `chord` in `tuning` for `hand`, best first. A shape that only leaves out
/// strings of a better one is not repeated, unless that spares a barre or the thumb. Where the first
/// two lean on open strings, the third is one that moves along the neck, if a hand holds it gladly.
pub fn shapes(chord: &Chord, tuning: &Tuning, hand: &Hand, count: usize) -> Vec<Shape> {
    let mut found = all_shapes(chord, tuning, hand);
    found.sort_by(|a, b| {
        a.cost
            .total_cmp(&b.cost)
            .then_with(|| a.frets.cmp(&b.frets))
    });
    let mut kept: Vec<Shape> = Vec::new();
    while kept.len() < count {
        found.retain(|shape| !kept.iter().any(|k| says_nothing_new(shape, k)));
        let rank = |s: &Shape| {
            let near = kept.iter().any(|k| differing(s, k) < 2);
            s.cost + if near { HARDLY_OTHER } else { 0.0 }
        };
        let best = (0..found.len()).min_by(|a, b| rank(&found[*a]).total_cmp(&rank(&found[*b])));
        let Some(best) = best else { break };
        let moves = if kept.len() == 2 {
            movable(&found, &kept)
        } else {
            None
        };
        kept.push(found.remove(moves.unwrap_or(best)));
    }
    kept
}

/// The first of `found` that has every note and no open string, where none of `kept` is so and it is
/// not much harder.
fn movable(found: &[Shape], kept: &[Shape]) -> Option<usize> {
    let moves = |s: &Shape| s.missing.is_empty() && s.open().is_empty();
    let easiest = kept.iter().map(|s| s.cost).fold(f64::INFINITY, f64::min);
    let known = kept.iter().any(moves);
    let first = found.iter().position(moves)?;
    (!known && found[first].cost < easiest + MUCH_HARDER).then_some(first)
}

/// How often notes of the name that are not root, third or fifth sound beyond the first time.
fn doubled_colours(chord: &Chord, sounding: &[(u8, i32)]) -> usize {
    let triad = [Some(0), chord.third(), chord.fifth()];
    let mut colours: Vec<i32> = chord
        .steps
        .iter()
        .copied()
        .filter(|s| !triad.contains(&Some(*s)))
        .collect();
    colours.extend(chord.bass.map(|b| (b - chord.root).rem_euclid(12)));
    colours.retain(|s| !triad.contains(&Some(*s)));
    colours.dedup();
    let times = |s: &i32| {
        let class = (chord.root + s).rem_euclid(12);
        sounding
            .iter()
            .filter(|(_, m)| m.rem_euclid(12) == class)
            .count()
    };
    colours.iter().map(|s| times(s).saturating_sub(1)).sum()
}

fn differing(a: &Shape, b: &Shape) -> usize {
    a.frets.iter().zip(&b.frets).filter(|(a, b)| a != b).count()
}

/// Is `shape` only `other` with strings left out, and no easier in kind?
fn says_nothing_new(shape: &Shape, other: &Shape) -> bool {
    let pairs = || shape.frets.iter().zip(&other.frets);
    let fewer = pairs().all(|(a, b)| a.is_none() || a == b);
    let more = pairs().all(|(a, b)| b.is_none() || a == b);
    let hard = |s: &Shape| s.grip.barre() > 4 || s.grip.presses.iter().any(|p| p.finger == 0);
    (fewer && (hard(shape) || !hard(other))) || (more && !hard(shape))
}

/// Every shape that a hand can hold.
fn all_shapes(chord: &Chord, tuning: &Tuning, hand: &Hand) -> Vec<Shape> {
    let strings = usize::from(tuning.strings());
    let highest = HIGHEST_FRET.min(22 - tuning.capo()).min(12);
    let classes = chord.classes();
    let mut found = Vec::new();
    for low in 0..=highest {
        let choices: Vec<Vec<Option<i32>>> = (1..=tuning.strings())
            .map(|string| {
                let mut frets = vec![None];
                if let Some(open) = tuning.open(string) {
                    // At the nut nothing is stopped.
                    let reach = if low == 0 { 0 } else { WINDOW + 1 };
                    let stopped = low..low + reach;
                    frets.extend(
                        std::iter::once(0)
                            .chain(stopped)
                            .filter(|f| classes.contains(&(open + f).rem_euclid(12)))
                            .map(Some),
                    );
                }
                frets
            })
            .collect();
        let mut frets = vec![None; strings];
        each(&choices, 0, &mut frets, &mut |frets| {
            if low > 0 && !frets.contains(&Some(low)) {
                return;
            }
            found.extend(shape(chord, tuning, hand, frets));
        });
    }
    found
}

fn each(
    choices: &[Vec<Option<i32>>],
    string: usize,
    frets: &mut Vec<Option<i32>>,
    of: &mut impl FnMut(&[Option<i32>]),
) {
    let Some(here) = choices.get(string) else {
        of(frets);
        return;
    };
    for fret in here {
        frets[string] = *fret;
        each(choices, string + 1, frets, of);
    }
}

/// The shape of `frets` when it is one of `chord` and a hand can hold it.
pub fn shape(chord: &Chord, tuning: &Tuning, hand: &Hand, frets: &[Option<i32>]) -> Option<Shape> {
    let sounding: Vec<(u8, i32)> = frets
        .iter()
        .enumerate()
        .filter_map(|(i, f)| Some((i as u8 + 1, tuning.open(i as u8 + 1)? + (*f)?)))
        .collect();
    if sounding.len() < if chord.steps.len() == 2 { 3 } else { 4 } {
        return None;
    }
    let classes = chord.classes();
    if sounding
        .iter()
        .any(|(_, m)| !classes.contains(&m.rem_euclid(12)))
    {
        return None;
    }
    let has = |steps: i32| {
        let class = (chord.root + steps).rem_euclid(12);
        sounding.iter().any(|(_, m)| m.rem_euclid(12) == class)
    };
    let (third, fifth) = (chord.third(), chord.fifth());
    // A third or fifth may be missing, and is told; anything else belongs to the name.
    let may_lack = |s: i32| Some(s) == third || (Some(s) == fifth && s == 7);
    if chord.steps.iter().any(|s| !has(*s) && !may_lack(*s)) {
        return None;
    }
    let no_third = third.is_some_and(|s| !has(s));
    let no_fifth = fifth.is_some_and(|s| !has(s));
    // Of more than three notes only the fifth is left out, as players do.
    if no_third && (chord.steps.len() > 3 || no_fifth) {
        return None;
    }
    // The bass is what sounds lowest, wherever its string lies.
    let lowest = sounding.iter().map(|s| s.1).min()?;
    let bass = lowest.rem_euclid(12);
    if chord.bass.is_some_and(|wanted| wanted != bass) {
        return None;
    }
    let grip = hand.grip(frets)?;
    let mut cost = grip.effort;
    let (first, last) = (sounding.first()?.0, sounding.last()?.0);
    // Two notes are a chord of the low strings; more of them fill nothing in.
    let treble = if chord.steps.len() == 2 {
        NO_BASS_STRING
    } else {
        NO_TREBLE_STRING
    };
    cost += treble * f64::from(first - 1);
    cost += NO_BASS_STRING * f64::from(tuning.strings() - last);
    cost += HIGH_BASS * f64::from((lowest - BASS).max(0));
    cost += NO_INNER_STRING * grip.muted.len() as f64;
    let open = frets.iter().filter(|f| **f == Some(0)).count();
    cost -= OPEN * open as f64;
    let stopped = || frets.iter().flatten().copied().filter(|f| *f > 0);
    let (top, low) = (stopped().max().unwrap_or(0), stopped().min().unwrap_or(1));
    cost += if open > 0 {
        FAR_FROM_OPEN * f64::from((top - FAR).max(0)) + UP_WITH_OPEN * f64::from(low - 1)
    } else {
        UP_THE_NECK * f64::from(low - 1)
    };
    let first_finger = grip.presses.iter().find(|p| p.finger == 1);
    if open == 0 && grip.muted.is_empty() && first_finger.is_some_and(|p| p.width() > 4) {
        cost -= MOVABLE;
    }
    cost += DOUBLED_COLOUR * doubled_colours(chord, &sounding) as f64;
    let mut missing = Vec::new();
    if no_third {
        missing.push("third");
        cost += NO_THIRD;
    }
    if no_fifth {
        missing.push("fifth");
        cost += if chord.steps.len() > 3 {
            FIFTH_OF_FOUR
        } else {
            NO_FIFTH
        };
    }
    let mut name = chord.name.clone();
    if chord.bass.is_none() && bass != chord.root {
        let is_fifth = fifth.is_some_and(|s| (chord.root + s).rem_euclid(12) == bass);
        cost += if is_fifth {
            FIFTH_IN_BASS
        } else {
            OTHER_IN_BASS
        };
        name.push('/');
        name.push_str(&chord.key.class_name(bass));
    }
    Some(Shape {
        name,
        frets: frets.to_vec(),
        grip,
        missing,
        cost,
    })
}
