//! Where on the neck notes are played, and in which tuning.
//!
//! The fretting hand sits at a position and reaches four frets; moving it costs, open strings are
//! free, notes that sound together lie on different strings with the higher pitch on the higher
//! string. The cheapest sequence of positions over the whole recording is found by Viterbi's
//! algorithm; the strings follow from it.

use super::hand::{self, Struck};
use super::note_event::NoteEvent;
use super::ring::Ring;
use crate::music::guess::{self, Guess, HeardPitch};
use crate::music::note::Role;
use crate::music::tuning::{NamedTuning, Tuning};
use crate::unit::{Cents, Seconds};

/// Highest fret above the capo that is considered.
pub const HIGHEST_FRET: i32 = 19;
/// Positions of the hand: the fret its first finger lies at, 1 to this.
const POSITIONS: usize = 14;
/// Frets beyond the first finger's that the hand reaches without a stretch.
const REACH: i32 = 3;
/// Notes within this time belong to one grip, seconds.
const TOGETHER: f64 = 0.07;

// Costs, as minus log probabilities; set by hand from how chord shapes lie on the neck and held
// against rendered pieces and three recordings.
/// An open string.
const OPEN: f32 = 0.0;
/// A fretted note within reach.
const FRETTED: f32 = 0.35;
/// Each fret out of reach.
const STRETCH: f32 = 1.2;
/// An open string, for each fret the hand is away from the nut.
const OPEN_FAR: f32 = 0.12;
/// Each fret the hand moves between grips.
const MOVE: f32 = 0.3;
/// Most that one move costs: a jump along the neck is a jump.
const JUMP: f32 = 2.4;
/// Each position up the neck.
const HIGH: f32 = 0.02;
/// A note that has no place, or only one against a fixed role.
const NOWHERE: f32 = 8.0;
/// A string that crosses another note's of the same grip.
const CROSSED: f32 = 6.0;

/// A melody line without a bass under it is played in one box up the neck: there an open string
/// costs this, and the hand starts from this position.
const LINE_OPEN: f32 = 1.0;
const LINE_HOME: usize = 4;
/// Share of notes below the fourth string under which the playing is a line.
const LINE: f64 = 0.08;

/// A note to be placed.
#[derive(Debug, Clone, Copy)]
pub struct Pitch {
    /// When it begins.
    pub time: Seconds,
    /// Whole semitone, MIDI number.
    pub midi: i32,
    /// Its role where the player has said so.
    pub role: Option<Role>,
}

/// Where a note is played.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StringChoice {
    /// String, 1 = highest.
    pub string: u8,
    /// Fret above the capo.
    pub fret: i32,
    /// Cost of the best place on a bass string (6, 5, 4) less that of the best on a melody
    /// string: above 0 speaks for melody.
    pub melody: f32,
}

/// Is `string` one of the thumb's by custom: all but the three highest?
pub fn is_bass(string: u8) -> bool {
    string >= 4
}

/// Places of `pitches` (sorted by time) in `tuning`; none for a pitch the guitar does not have.
pub fn places(pitches: &[Pitch], tuning: &Tuning) -> Vec<Option<StringChoice>> {
    let style = Style::of(pitches.iter().map(|p| p.midi), tuning);
    let grips = grips(pitches);
    let costs: Vec<[f32; POSITIONS]> = grips
        .iter()
        .map(|grip| std::array::from_fn(|p| hold(&pitches[grip.clone()], tuning, style, p).0))
        .collect();
    let path = cheapest(&costs, style);
    let mut all = Vec::with_capacity(pitches.len());
    for (grip, position) in grips.into_iter().zip(path) {
        let held = &pitches[grip];
        let (_, strings) = hold(held, tuning, style, position);
        for (pitch, string) in held.iter().zip(strings) {
            all.push(string.map(|string| StringChoice {
                string,
                fret: pitch.midi - tuning.open(string).unwrap_or(pitch.midi),
                melody: lean(pitch, tuning, style, position),
            }));
        }
    }
    all
}

/// How the guitar is played, as far as places on the neck depend on it.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Style {
    /// Bass and melody, or chords: open strings ring.
    Parts,
    /// A single line.
    Line,
}

impl Style {
    fn of(pitches: impl ExactSizeIterator<Item = i32>, tuning: &Tuning) -> Self {
        let (count, middle) = (pitches.len(), tuning.open(4).unwrap_or(50));
        let low = pitches.filter(|midi| *midi < middle).count();
        if (low as f64) < LINE * count as f64 {
            Self::Line
        } else {
            Self::Parts
        }
    }

    fn open(self) -> f32 {
        match self {
            Self::Parts => OPEN,
            Self::Line => LINE_OPEN,
        }
    }

    fn home(self) -> usize {
        match self {
            Self::Parts => 0,
            Self::Line => LINE_HOME,
        }
    }
}

/// Is this a single line, without a bass under it?
pub fn is_line(pitches: &[Pitch], tuning: &Tuning) -> bool {
    Style::of(pitches.iter().map(|p| p.midi), tuning) == Style::Line
}

/// Runs of notes that sound together.
fn grips(pitches: &[Pitch]) -> Vec<std::ops::Range<usize>> {
    let mut grips: Vec<std::ops::Range<usize>> = Vec::new();
    for (i, pitch) in pitches.iter().enumerate() {
        match grips.last_mut() {
            Some(grip)
                if (pitch.time - pitches[grip.start].time).0 < TOGETHER && grip.len() < 6 =>
            {
                grip.end = i + 1;
            }
            _ => grips.push(i..i + 1),
        }
    }
    grips
}

/// The cheapest sequence of positions.
fn cheapest(costs: &[[f32; POSITIONS]], style: Style) -> Vec<usize> {
    let mut total = [0.0f32; POSITIONS];
    let mut back: Vec<[usize; POSITIONS]> = Vec::with_capacity(costs.len());
    for (i, cost) in costs.iter().enumerate() {
        let mut from = [0; POSITIONS];
        let mut next = [0.0; POSITIONS];
        for p in 0..POSITIONS {
            let step = |o: usize| total[o] + (MOVE * p.abs_diff(o) as f32).min(JUMP);
            let best = if i == 0 {
                p
            } else {
                (0..POSITIONS).fold(p, |best, o| if step(o) < step(best) { o } else { best })
            };
            from[p] = best;
            next[p] = step(best) + cost[p] + HIGH * p.abs_diff(style.home()) as f32;
        }
        back.push(from);
        total = next;
    }
    let mut at = (0..POSITIONS).fold(0, |best, p| if total[p] < total[best] { p } else { best });
    let mut path = Vec::with_capacity(back.len());
    for from in back.iter().rev() {
        path.push(at);
        at = from[at];
    }
    path.reverse();
    path
}

/// Cheapest strings for notes held together at `position`, and what they cost.
fn hold(held: &[Pitch], tuning: &Tuning, style: Style, position: usize) -> (f32, Vec<Option<u8>>) {
    let mut order: Vec<usize> = (0..held.len()).collect();
    order.sort_by_key(|i| held[*i].midi);
    let mut best = (f32::INFINITY, vec![None; held.len()]);
    let mut chosen = vec![None; held.len()];
    let cost = |i: usize, string: u8| cost_of(&held[i], tuning, style, position, string);
    search(&order, tuning.strings(), &cost, 0.0, &mut chosen, &mut best);
    best
}

/// Tries every string for the lowest note that has none yet.
fn search(
    order: &[usize],
    strings: u8,
    cost_of: &dyn Fn(usize, u8) -> f32,
    cost: f32,
    chosen: &mut Vec<Option<u8>>,
    best: &mut (f32, Vec<Option<u8>>),
) {
    if cost >= best.0 {
        return;
    }
    let Some((&i, rest)) = order.split_first() else {
        *best = (cost, chosen.clone());
        return;
    };
    for string in 1..=strings {
        let place = cost_of(i, string);
        if place >= NOWHERE || chosen.contains(&Some(string)) {
            continue;
        }
        let crossed = chosen.iter().flatten().any(|s| *s < string);
        let further = if crossed { CROSSED } else { 0.0 };
        chosen[i] = Some(string);
        search(rest, strings, cost_of, cost + place + further, chosen, best);
        chosen[i] = None;
    }
    search(rest, strings, cost_of, cost + NOWHERE, chosen, best);
}

/// Cost of one note on one string with the hand at `position` (0 = first fret).
fn cost_of(pitch: &Pitch, tuning: &Tuning, style: Style, position: usize, string: u8) -> f32 {
    let Some(fret) = tuning.fret(string, pitch.midi, HIGHEST_FRET) else {
        return NOWHERE;
    };
    let bass = is_bass(string);
    if pitch.role.is_some_and(|role| (role == Role::Bass) != bass) {
        return NOWHERE - 0.5;
    }
    if fret == 0 {
        return style.open() + OPEN_FAR * position as f32;
    }
    let first = position as i32 + 1;
    let out = (first - fret).max(fret - first - REACH).max(0);
    FRETTED + STRETCH * out as f32
}

/// Cost on bass strings less cost on melody strings.
fn lean(pitch: &Pitch, tuning: &Tuning, style: Style, position: usize) -> f32 {
    let least = |bass: bool| {
        (1..=tuning.strings())
            .filter(|s| is_bass(*s) == bass)
            .map(|s| cost_of(pitch, tuning, style, position, s))
            .fold(NOWHERE, f32::min)
    };
    least(true) - least(false)
}

/// A string is taken to ring this long where nothing is heard of its end, seconds.
const LONGEST: f64 = 4.5;

/// Guesses that are kept.
const KEPT: usize = 5;

/// A hand is taken for known from these odds on.
const HAND: f64 = 0.65;

/// In a line standard tuning comes first from these odds on, where nothing is sure.
const THINKABLE: f64 = 0.03;

/// Is it a single line, as far as that is known before its tuning?
fn line(events: &[NoteEvent]) -> bool {
    Style::of(events.iter().map(|e| e.midi), &Tuning::standard()) == Style::Line
}

/// What a guess needs of `events`, ringing so. Which hand plucks is told by voice alone, since no string
/// is known yet.
pub fn unplaced(events: &[NoteEvent], rings: &[Ring]) -> Vec<HeardPitch> {
    let struck: Vec<Struck> = events
        .iter()
        .map(|e| Struck {
            time: e.time,
            midi: e.midi,
            lean: 0.0,
            said: None,
        })
        .collect();
    let line = line(events);
    let hands = hand::by_voice(&struck);
    events
        .iter()
        .zip(rings)
        .zip(hands)
        .map(|((e, ring), fingers)| HeardPitch {
            time: e.time,
            rang: ring.through,
            end: ring.stopped.unwrap_or(Seconds(e.time.0 + LONGEST)),
            midi: e.midi,
            role: match fingers.filter(|_| !line) {
                Some(p) if p > HAND => Some(Role::Melody),
                Some(p) if p < 1.0 - HAND => Some(Role::Bass),
                _ => None,
            },
        })
        .collect()
}

/// What the tuning and capo may be, most likely first, among the `known` ones; empty where nothing was
/// played. A single line says little of its tuning: standard then comes first, with its own odds,
/// unless they are next to none.
pub fn guesses(events: &[NoteEvent], rings: &[Ring], known: &[NamedTuning]) -> Vec<Guess> {
    let heard = unplaced(events, rings);
    let mut guesses = guess::guess(&heard, Cents(0.0), known, usize::MAX);
    let standard = Tuning::standard();
    let unsure = guesses.first().is_some_and(|g| g.odds < guess::SURE);
    let likely = |g: &Guess| g.tuning == standard && g.odds >= THINKABLE;
    if line(events)
        && unsure
        && let Some(at) = guesses.iter().position(likely)
    {
        guesses[..=at].rotate_right(1);
    }
    guesses.truncate(KEPT);
    guesses
}
