//! A progression of chords as one thing for the left hand: shapes that move least and ring most.
//!
//! A shortest path (Viterbi 1967, from memory) through the good shapes of every chord. Each shape
//! costs what it costs alone; each change costs the fingers that travel, the hand that shifts, and
//! gains by fingers that stay and strings that sound on.

use super::chord::{Chord, ChordError, Shape, shapes};
use super::grid::Grid;
use super::hand::{Hand, Press};
use super::meter::Meter;
use super::note::{Attack, Note, Role};
use super::pitch::Key;
use super::score::{Finger, Score, Written};
use super::tuning::Tuning;
use crate::unit::{Beats, Bpm};
use std::collections::BTreeMap;

/// Shapes of each chord that are thought of.
const THOUGHT_OF: usize = 16;

/// Costs of a change (set by hand, on the progressions of `tests/strings.rs` as tablature): a finger
/// that comes down anew; one that is lifted and set elsewhere, and each millimetre it travels; the
/// whole shape slid along its strings; each millimetre the hand shifts; a finger that stays; a
/// string that sounds on.
const NEW: f64 = 0.35;
const LIFTED: f64 = 0.3;
const TRAVEL: f64 = 0.008;
const SLID: f64 = 0.4;
const SHIFT: f64 = 0.012;
const STAYS: f64 = 0.45;
const SOUNDS_ON: f64 = 0.2;

/// How much a shape's own ease counts beside the changes: players like what they know.
const ALONE: f64 = 2.2;
/// In a progression the bass carries the harmony, and there is no time to mute strings.
const INVERTED: f64 = 0.5;
const MUTED: f64 = 1.0;

/// From one string to the next under the fingers, in mm.
const STRING_GAP_MM: f64 = 8.0;

/// One chord of a progression as it is held.
#[derive(Debug, Clone, PartialEq)]
pub struct HeldChord {
    /// The chord asked for.
    pub chord: Chord,
    /// How it is held.
    pub shape: Shape,
    /// Fingers that stay from the chord before: (finger, string, fret).
    pub stay: Vec<(u8, u8, i32)>,
    /// Strings that sound on from the chord before, the lowest first.
    pub sound_on: Vec<u8>,
}

/// Shapes for `chords` in order; none when one of them has no shape in this tuning. With `round`, the
/// last goes back to the first.
pub fn voice(
    chords: &[Chord],
    tuning: &Tuning,
    hand: &Hand,
    round: bool,
) -> Option<Vec<HeldChord>> {
    let choices: Vec<Vec<(Shape, f64)>> = chords
        .iter()
        .map(|chord| {
            let found = shapes(chord, tuning, hand, THOUGHT_OF).into_iter();
            found
                .map(|shape| {
                    let cost = alone(chord, &shape);
                    (shape, cost)
                })
                .collect()
        })
        .collect();
    if choices.is_empty() || choices.iter().any(Vec::is_empty) {
        return None;
    }
    let starts = if round { choices[0].len() } else { 1 };
    let best = (0..starts)
        .map(|start| path(&choices, hand, round.then_some(start)))
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    let mut held: Vec<HeldChord> = Vec::new();
    for (chord, (choice, index)) in chords.iter().zip(choices.iter().zip(best.1)) {
        let shape = choice[index].0.clone();
        let (stay, sound_on) = held.last().map_or((Vec::new(), Vec::new()), |before| {
            (
                before.shape.common_fingers(&shape),
                sounding_on(&before.shape, &shape),
            )
        });
        held.push(HeldChord {
            chord: chord.clone(),
            shape,
            stay,
            sound_on,
        });
    }
    Some(held)
}

/// Why chords make no progression.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ProgressionError {
    /// A word is no chord.
    #[error(transparent)]
    Chord(#[from] ChordError),
    /// No chord, or one that no hand can hold here.
    #[error("name chords that this tuning can hold, like \"C Am F G\"")]
    Unheld,
}

/// Chords by name, one after the other and round again, as one hand would hold them; spaces, commas and
/// bar lines part them.
///
/// # Errors
/// [`ProgressionError`] for what is no chord, and where one cannot be held in `tuning`.
pub fn named(names: &str, tuning: &Tuning) -> Result<Vec<HeldChord>, ProgressionError> {
    let words = names.split([' ', ',', '|']).filter(|w| !w.is_empty());
    let chords: Vec<Chord> = words.map(Chord::parse).collect::<Result<_, _>>()?;
    let hand = Hand::with_capo(tuning.capo());
    voice(&chords, tuning, &hand, true).ok_or(ProgressionError::Unheld)
}

/// The cheapest path, and its cost; from and back to the shape `around` of the first chord, where
/// that is given.
fn path(choices: &[Vec<(Shape, f64)>], hand: &Hand, around: Option<usize>) -> (f64, Vec<usize>) {
    let first: Vec<f64> = choices[0]
        .iter()
        .enumerate()
        .map(|(i, (_, cost))| match around {
            Some(start) if start != i => f64::INFINITY,
            _ => *cost,
        })
        .collect();
    let mut costs = first;
    let mut back: Vec<Vec<usize>> = Vec::new();
    for pair in choices.windows(2) {
        let mut next = Vec::with_capacity(pair[1].len());
        let mut from = Vec::with_capacity(pair[1].len());
        for (to, alone) in &pair[1] {
            let best = pair[0]
                .iter()
                .zip(&costs)
                .map(|((s, _), c)| c + change(s, to, hand))
                .enumerate()
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let (index, cost) = best.unwrap_or((0, f64::INFINITY));
            next.push(cost + alone);
            from.push(index);
        }
        costs = next;
        back.push(from);
    }
    if let Some(start) = around {
        let last = &choices[choices.len() - 1];
        for (cost, (shape, _)) in costs.iter_mut().zip(last) {
            *cost += change(shape, &choices[0][start].0, hand);
        }
    }
    let end = (0..costs.len()).min_by(|a, b| costs[*a].total_cmp(&costs[*b]));
    let mut at = end.unwrap_or(0);
    let cost = costs.get(at).copied().unwrap_or(f64::INFINITY);
    let mut order = vec![at];
    for from in back.iter().rev() {
        at = from[at];
        order.push(at);
    }
    order.reverse();
    (cost, order)
}

/// What a shape of `chord` costs by itself in a progression.
pub fn alone(chord: &Chord, shape: &Shape) -> f64 {
    let inverted = if shape.name == chord.name {
        0.0
    } else {
        INVERTED
    };
    ALONE * shape.cost + inverted + MUTED * shape.grip.muted.len() as f64
}

/// What it costs to go from one shape to the next; below 0 where most of it stays.
pub fn change(from: &Shape, to: &Shape, hand: &Hand) -> f64 {
    let sounds = SOUNDS_ON * sounding_on(from, to).len() as f64;
    let (a, b) = (&from.grip.presses, &to.grip.presses);
    if let Some(frets) = slid(a, b)
        && frets != 0
    {
        return SLID + SHIFT * shift_mm(from, to, hand) - sounds;
    }
    let mut cost = SHIFT * shift_mm(from, to, hand) - sounds;
    for press in b {
        cost += match a.iter().find(|p| p.finger == press.finger) {
            Some(p) if p == press => -STAYS,
            Some(p) => {
                let along = hand.between_mm(p.fret, press.fret);
                let across = STRING_GAP_MM * f64::from(p.low.abs_diff(press.low));
                LIFTED + TRAVEL * along.hypot(across)
            }
            None => NEW,
        };
    }
    cost
}

fn shift_mm(from: &Shape, to: &Shape, hand: &Hand) -> f64 {
    match (from.grip.position(), to.grip.position()) {
        (0, _) | (_, 0) => 0.0,
        (a, b) => hand.between_mm(a, b),
    }
}

/// Frets by which a whole shape is slid, where it is.
fn slid(a: &[Press], b: &[Press]) -> Option<i32> {
    let first = b.first()?.fret - a.first()?.fret;
    let same = a.len() == b.len()
        && a.iter().zip(b).all(|(a, b)| {
            (a.finger, a.low, a.high) == (b.finger, b.low, b.high) && b.fret - a.fret == first
        });
    same.then_some(first)
}

/// Strings that play the same note in both shapes, open or under a finger that stays.
fn sounding_on(from: &Shape, to: &Shape) -> Vec<u8> {
    (1..=from.frets.len().min(to.frets.len()) as u8)
        .rev()
        .filter(|string| {
            let at = usize::from(*string) - 1;
            let same = from.frets[at].is_some() && from.frets[at] == to.frets[at];
            same && from.finger(*string) == to.finger(*string)
        })
        .collect()
}

/// What the left hand held in a recording, a grip for every `bars` bars from bar 1: on each string the
/// fret that sounded most. Grips that name no chord, or hardly sound, are left out; the same grip twice
/// running is one.
pub fn heard(
    notes: &[Note],
    grid: &Grid,
    tuning: &Tuning,
    hand: &Hand,
    bars: u8,
) -> Vec<HeldChord> {
    let per_bar = f64::from(grid.meter.beats().max(1));
    let Some(first) = grid.beats().iter().position(|b| b.place == 1) else {
        return Vec::new();
    };
    let length = per_bar * f64::from(bars.max(1));
    let mut sounded: BTreeMap<i64, BTreeMap<(u8, u8), usize>> = BTreeMap::new();
    for note in notes {
        let (Some(string), Some(fret), Some(at)) =
            (note.string, note.fret, grid.beat_at(note.time))
        else {
            continue;
        };
        let cell = ((at.0 - first as f64) / length + 1e-6).floor() as i64;
        if cell >= 0 && note.attack != Attack::Harmonic {
            *sounded
                .entry(cell)
                .or_default()
                .entry((string, fret))
                .or_default() += 1;
        }
    }
    let mut held: Vec<HeldChord> = Vec::new();
    for places in sounded.values() {
        let frets: Vec<Option<i32>> = (1..=tuning.strings())
            .map(|string| {
                let of = places.iter().filter(|((s, _), _)| *s == string);
                of.max_by_key(|(place, times)| (**times, std::cmp::Reverse(place.1)))
                    .map(|((_, fret), _)| i32::from(*fret))
            })
            .collect();
        let Some(chord) = Chord::sounding(tuning, &frets) else {
            continue;
        };
        if held.last().is_some_and(|h| h.shape.frets == frets) {
            continue;
        }
        let shape = Shape {
            name: chord.name.clone(),
            grip: hand.grip(&frets).unwrap_or_default(),
            frets,
            missing: Vec::new(),
            cost: 0.0,
        };
        held.push(HeldChord {
            chord,
            shape,
            stay: Vec::new(),
            sound_on: Vec::new(),
        });
    }
    held
}

/// The progression on the page, a bar a chord: the bass on one, the other strings on three.
pub fn score(title: &str, held: &[HeldChord], tuning: &Tuning, key: Key, tempo: Bpm) -> Score {
    let mut notes = Vec::new();
    for (bar, step) in held.iter().enumerate() {
        let at = 4.0 * bar as f64;
        let strings = step.shape.frets.iter().enumerate();
        let played: Vec<(u8, u8)> = strings
            .filter_map(|(i, f)| Some((i as u8 + 1, u8::try_from((*f)?).ok()?)))
            .collect();
        let bass = played.iter().map(|p| p.0).max();
        for (string, fret) in played {
            let low = Some(string) == bass;
            let beat = if low { 0.0 } else { 2.0 };
            let mut note = Written::pluck(Beats(at + beat), Beats(2.0), string, fret);
            note.role = if low { Role::Bass } else { Role::Melody };
            note.finger = low.then_some(Finger::P);
            note.left = step.shape.finger(string);
            notes.push(note);
        }
    }
    let mut score = Score::settled(title, tuning, Meter::COMMON, tempo, key, notes);
    score.let_ring();
    score
}
