//! Where to play a line of notes so that it rings: places, left-hand fingers and positions.
//!
//! A shortest path (Viterbi 1967, from memory) through all places of every note and all positions of
//! the hand (`hand`). What it pays for is silence: a note dies when its string is needed again, when
//! its finger is, or when the hand moves; a note whose finger can stay rings on. Every cost is stated
//! in [`Costs`]; nothing else decides.

use super::hand::Hand;
use super::tuning::Tuning;

/// One note's place on the neck.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Place {
    /// Sounding pitch (MIDI).
    pub midi: i32,
    /// String, 1 = highest.
    pub string: u8,
    /// Fret above the capo, 0 = open.
    pub fret: i32,
}

impl Place {
    /// Does the string ring open?
    pub fn open(self) -> bool {
        self.fret == 0
    }
}

/// What makes a path hard or dull. Units are arbitrary: a note that is cut off costs 2. Chosen on
/// major and pentatonic scales of the preset tunings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Costs {
    /// A stopped note instead of an open string.
    pub stopped: f64,
    /// The hand shifts at all, and each centimetre of it; half of both while an open string sounds.
    pub shift: f64,
    /// Each centimetre that the hand shifts.
    pub centimetre: f64,
    /// Each fret above the seventh, where strings are stiffer.
    pub height: f64,
    /// The little finger reaches for a fifth fret, at full stretch.
    pub stretch: f64,
    /// The note before is cut off: its string is played again, or its finger has to leave.
    pub cut: f64,
    /// The note before the last is cut off by its string.
    pub cut_later: f64,
    /// Each string that is skipped.
    pub skipped: f64,
}

impl Default for Costs {
    fn default() -> Self {
        Self {
            stopped: 0.35,
            shift: 0.3,
            centimetre: 0.12,
            height: 0.08,
            stretch: 0.6,
            cut: 2.0,
            cut_later: 0.3,
            skipped: 0.08,
        }
    }
}

impl Costs {
    /// For a line played in one position, note after note, ringing or not.
    pub fn in_position() -> Self {
        Self {
            cut: 0.1,
            cut_later: 0.0,
            shift: 0.8,
            centimetre: 0.3,
            height: 0.15,
            ..Self::default()
        }
    }
}

/// A path, how the hand plays it and what it costs.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// A place for every note, in order.
    pub places: Vec<Place>,
    /// The left-hand finger of every note, 1 to 4; none on open strings.
    pub fingers: Vec<Option<u8>>,
    /// Fret of the index finger at every note.
    pub hands: Vec<i32>,
    /// Does the note sound on while the next one is played? The last one does.
    pub rings: Vec<bool>,
    /// Sum of its costs.
    pub cost: f64,
    /// Whose hand it is.
    hand: Hand,
}

impl Path {
    /// How many of its notes ring open.
    pub fn open_notes(&self) -> usize {
        self.places.iter().filter(|p| p.open()).count()
    }

    /// Share of notes that sound on into the next one, 0 to 1; 1 for a lone note.
    pub fn ringing(&self) -> f64 {
        let pairs = self.rings.len().saturating_sub(1);
        if pairs == 0 {
            return 1.0;
        }
        self.rings[..pairs].iter().filter(|r| **r).count() as f64 / pairs as f64
    }

    /// For every note, how many notes later it stops: at its string's next note, when its finger is
    /// needed elsewhere or when the hand moves; none while nothing stops it.
    pub fn until(&self) -> Vec<Option<usize>> {
        (0..self.places.len())
            .map(|i| {
                (i + 1..self.places.len())
                    .find(|j| self.stops(i, *j))
                    .map(|j| j - i)
            })
            .collect()
    }

    /// Does note `j` end note `i`?
    fn stops(&self, i: usize, j: usize) -> bool {
        let (a, b) = (self.places[i], self.places[j]);
        if a.string == b.string {
            return true;
        }
        let held = |k: usize| Held {
            place: self.places[k],
            hand: self.hands[k],
            finger: self.fingers[k].unwrap_or(0),
        };
        let moved = self.hands[i] != self.hands[j];
        let needed = !b.open() && in_the_way(&self.hand, held(i), held(j));
        !a.open() && (moved || needed)
    }

    /// Where the hand stands, note by note, without repeats: `(index of the note, fret)`.
    pub fn positions(&self) -> Vec<(usize, i32)> {
        let mut found: Vec<(usize, i32)> = Vec::new();
        for (i, hand) in self.hands.iter().enumerate() {
            if self.fingers[i].is_some() && found.last().is_none_or(|last| last.1 != *hand) {
                found.push((i, *hand));
            }
        }
        found
    }
}

/// Frets the hand covers, a finger a fret; the little finger may reach one more.
const FRETS: i32 = 4;

/// Longest line that is answered, in notes.
pub const LONGEST: usize = 2_000;

/// A place, the fret of the index finger, and the finger (0 for an open string).
#[derive(Clone, Copy, PartialEq, Eq)]
struct Held {
    place: Place,
    hand: i32,
    finger: u8,
}

/// How a note is held, and the string of the note before (0 for none).
#[derive(Clone, Copy, PartialEq, Eq)]
struct State {
    held: Held,
    before: u8,
}

/// A finger beside its own fret.
const CROWDED: f64 = 0.05;

/// Must the finger of `a` leave for `b`, both stopped by one hand? It must when it is the same one, when the
/// two do not reach so far, and in one fret when they would cross: there the lower finger is on the bass side.
fn in_the_way(hand: &Hand, a: Held, b: Held) -> bool {
    let (low, high) = if a.finger < b.finger { (a, b) } else { (b, a) };
    let (from, to) = (low.place, high.place);
    let crossed = from.fret == to.fret && from.string < to.string;
    let reach = hand.stretch(low.finger, from.fret, high.finger, to.fret);
    a.finger == b.finger || crossed || reach.is_none()
}

/// A way to reach one state: its cost, the state and the rank before it, and its places as one number.
#[derive(Clone, Copy)]
struct Way {
    cost: f64,
    from: usize,
    rank: usize,
    places: u64,
}

impl Way {
    /// `places` with another one on `string` (FNV-1a; the pitches being given, strings tell the places).
    fn with(places: u64, string: u8) -> u64 {
        (places ^ u64::from(string)).wrapping_mul(0x0100_0000_01b3)
    }
}

/// Puts `way` among the `keep` cheapest, once for the same places: other fingers are no other path.
fn insert(best: &mut Vec<Way>, way: Way, keep: usize) {
    let at = best.partition_point(|w| w.cost <= way.cost);
    if at >= keep || best[..at].iter().any(|w| w.places == way.places) {
        return;
    }
    let dearer = best[at..].iter().position(|w| w.places == way.places);
    if let Some(dearer) = dearer {
        best.remove(at + dearer);
    }
    best.insert(at, way);
    best.truncate(keep);
}

/// The fingers that may stand on `fret` of a hand whose index finger is at `hand`: its own, or the next one
/// beside it, so that two fingers share a fret; 0 when open.
fn fingers(fret: i32, hand: i32) -> std::ops::RangeInclusive<u8> {
    if fret == 0 {
        return 0..=0;
    }
    let own = (fret - hand + 1).clamp(1, 4) as u8;
    own..=(own + 1).min(4)
}

/// The `count` cheapest paths for `notes` (MIDI) in `tuning` up to fret `highest`, cheapest first,
/// no two with the same places. Empty when a note has no place or there are none.
pub fn paths(
    tuning: &Tuning,
    notes: &[i32],
    highest: i32,
    costs: &Costs,
    count: usize,
) -> Vec<Path> {
    paths_where(tuning, notes, highest, costs, count, |_, _| true)
}

/// The same through those places alone that `allowed` takes for a note, told its index in `notes`.
pub fn paths_where(
    tuning: &Tuning,
    notes: &[i32],
    highest: i32,
    costs: &Costs,
    count: usize,
    allowed: impl Fn(usize, Place) -> bool,
) -> Vec<Path> {
    let hand = Hand::with_capo(tuning.capo());
    let finder = Finder { costs, hand };
    let choices: Vec<Vec<Held>> = notes
        .iter()
        .take(LONGEST)
        .enumerate()
        .map(|(i, midi)| {
            let mut held = finder.places(tuning, *midi, highest);
            held.retain(|held| allowed(i, held.place));
            held
        })
        .collect();
    if choices.is_empty() || choices.iter().any(Vec::is_empty) || count == 0 {
        return Vec::new();
    }
    // Different hands give the same places, so more ways are kept than paths are wanted.
    let keep = 3 * count;
    let mut states: Vec<Vec<State>> = Vec::with_capacity(choices.len());
    let mut table: Vec<Vec<Vec<Way>>> = Vec::with_capacity(choices.len());
    let first: Vec<State> = choices[0]
        .iter()
        .map(|held| State {
            held: *held,
            before: 0,
        })
        .collect();
    table.push(
        first
            .iter()
            .map(|s| {
                let cost = finder.alone(s.held);
                vec![Way {
                    cost,
                    from: 0,
                    rank: 0,
                    places: Way::with(0xcbf2_9ce4_8422_2325, s.held.place.string),
                }]
            })
            .collect(),
    );
    states.push(first);
    for next in &choices[1..] {
        let (to, ways) = finder.step(
            &states[states.len() - 1],
            &table[table.len() - 1],
            next,
            keep,
        );
        states.push(to);
        table.push(ways);
    }
    let mut ends: Vec<(f64, usize, usize)> = table[table.len() - 1]
        .iter()
        .enumerate()
        .flat_map(|(s, ways)| ways.iter().enumerate().map(move |(r, w)| (w.cost, s, r)))
        .collect();
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut found: Vec<Path> = Vec::new();
    for (cost, state, rank) in ends {
        let path = traced(hand, &states, &table, state, rank, cost);
        if !found.iter().any(|p| p.places == path.places) {
            found.push(path);
        }
        if found.len() == count {
            break;
        }
    }
    found
}

struct Finder<'a> {
    costs: &'a Costs,
    hand: Hand,
}

impl Finder<'_> {
    /// Every place of a pitch with every hand that can play it.
    fn places(&self, tuning: &Tuning, midi: i32, highest: i32) -> Vec<Held> {
        let mut found = Vec::new();
        for (string, fret) in tuning.places(midi, highest) {
            let place = Place { midi, string, fret };
            let hands = if fret == 0 {
                1..=(highest - FRETS + 1).max(1)
            } else {
                (fret - FRETS).max(1)..=fret
            };
            found.extend(
                hands
                    .filter(|hand| self.strain(fret, *hand).is_some())
                    .flat_map(|hand| {
                        fingers(fret, hand).map(move |finger| Held {
                            place,
                            hand,
                            finger,
                        })
                    }),
            );
        }
        found
    }

    /// How far the little finger reaches beyond its own fret, 0 to 1; none beyond a hand's reach.
    fn strain(&self, fret: i32, hand: i32) -> Option<f64> {
        if fret == 0 || fret - hand < FRETS - 1 {
            return Some(0.0);
        }
        self.hand.stretch(1, hand, 4, fret)
    }

    fn alone(&self, held: Held) -> f64 {
        let Held {
            place,
            hand,
            finger,
        } = held;
        if place.fret == 0 {
            return 0.0;
        }
        let reach = if place.fret - hand >= FRETS { 0.5 } else { 0.0 };
        // The index finger leads; the little finger is the weakest.
        let weak = match finger {
            4 => 0.1,
            3 => 0.03,
            _ => 0.0,
        };
        let own = *fingers(place.fret, hand).start();
        let crowded = if finger == own { 0.0 } else { CROWDED };
        self.costs.stopped
            + weak
            + crowded
            + self.costs.height * f64::from((place.fret - 7).max(0))
            + self.costs.stretch * (reach + self.strain(place.fret, hand).unwrap_or(1.0))
    }

    /// What it costs to go on to `to`.
    fn change(&self, from: State, to: Held) -> f64 {
        let costs = self.costs;
        let (last, place) = (from.held, to.place);
        let mut cost = 0.0;
        if to.hand != last.hand {
            let centimetres = self.hand.between_mm(to.hand, last.hand) / 10.0;
            let free = if last.place.open() || place.open() {
                0.5
            } else {
                1.0
            };
            cost += free * (costs.shift + costs.centimetre * centimetres);
        }
        if place == last.place {
            return cost;
        }
        let apart = place.string.abs_diff(last.place.string);
        let lifted = !last.place.open()
            && (to.hand != last.hand || (!place.open() && in_the_way(&self.hand, last, to)));
        if apart == 0 || lifted {
            cost += costs.cut;
        }
        if from.before == place.string && apart > 0 {
            cost += costs.cut_later;
        }
        cost + costs.skipped * f64::from(apart.saturating_sub(1))
    }

    /// All states of the next note and the best ways to each.
    fn step(
        &self,
        from: &[State],
        ways: &[Vec<Way>],
        next: &[Held],
        keep: usize,
    ) -> (Vec<State>, Vec<Vec<Way>>) {
        let mut strings: Vec<u8> = from.iter().map(|s| s.held.place.string).collect();
        strings.sort_unstable();
        strings.dedup();
        let (mut states, mut found) = (Vec::new(), Vec::new());
        for held in next {
            let alone = self.alone(*held);
            for before in &strings {
                let mut best: Vec<Way> = Vec::new();
                for (i, state) in from.iter().enumerate() {
                    if state.held.place.string != *before {
                        continue;
                    }
                    let step = alone + self.change(*state, *held);
                    for (rank, way) in ways[i].iter().enumerate() {
                        let cost = way.cost + step;
                        if best.len() == keep && best.last().is_some_and(|w| w.cost <= cost) {
                            break;
                        }
                        let longer = Way {
                            cost,
                            from: i,
                            rank,
                            places: Way::with(way.places, held.place.string),
                        };
                        insert(&mut best, longer, keep);
                    }
                }
                states.push(State {
                    held: *held,
                    before: *before,
                });
                found.push(best);
            }
        }
        (states, found)
    }
}

fn traced(
    hand: Hand,
    states: &[Vec<State>],
    table: &[Vec<Vec<Way>>],
    state: usize,
    rank: usize,
    cost: f64,
) -> Path {
    let (mut state, mut rank) = (state, rank);
    let mut held = Vec::with_capacity(states.len());
    for (step, ways) in states.iter().zip(table).rev() {
        held.push(step[state].held);
        let way = ways[state][rank];
        (state, rank) = (way.from, way.rank);
    }
    held.reverse();
    let mut path = Path {
        rings: vec![true; held.len()],
        places: held.iter().map(|h| h.place).collect(),
        fingers: held
            .iter()
            .map(|h| (h.finger > 0).then_some(h.finger))
            .collect(),
        hands: held.iter().map(|h| h.hand).collect(),
        cost,
        hand,
    };
    for i in 1..path.places.len() {
        path.rings[i - 1] = !path.stops(i - 1, i);
    }
    path
}

/// The notes of `scale` to play when nobody names a range: two octaves from the lowest tonic, or from
/// the next one where the lowest octave lies on one string alone and cannot ring.
pub fn usual_line(tuning: &Tuning, scale: &super::scale::Scale, highest: i32) -> Vec<i32> {
    let (lowest, highest_open) = tuning.range().unwrap_or((40, 64));
    let tonic = lowest + (scale.tonic - lowest).rem_euclid(12);
    let line = |from: i32| scale.notes(from, (from + 24).min(highest_open + highest));
    let octave = |from: i32| {
        let notes = scale.notes(from, from + 12);
        let best = paths(tuning, &notes, highest, &Costs::default(), 1);
        best.first().map_or(0.0, Path::ringing)
    };
    let (low, next) = (octave(tonic), octave(tonic + 12));
    if low < 0.75 && next > low {
        line(tonic + 12)
    } else {
        line(tonic)
    }
}

/// Notes of `scale` that only one string has, up to fret `highest`: they cannot ring into each other.
pub fn on_one_string(tuning: &Tuning, line: &[i32], highest: i32) -> Vec<i32> {
    line.iter()
        .copied()
        .filter(|midi| tuning.places(*midi, highest).len() == 1)
        .collect()
}
