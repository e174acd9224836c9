//! Where to play a line of notes: the path over the neck that costs the left hand least.
//!
//! A shortest path (Viterbi 1967, from memory) through all places of every note, with a hand that
//! covers four frets. Every cost is stated in [`Costs`]; nothing else decides.

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

/// What makes a path hard or dull. Units are arbitrary: one stopped note costs 1. The values were
/// chosen so that open strings win unless they would silence the note before (tuned on the major
/// scales of the preset tunings).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Costs {
    /// A stopped note instead of an open string.
    pub stopped: f64,
    /// Each fret that the hand moves.
    pub shift: f64,
    /// Each fret above the fifth, where strings are stiffer and the open strings far.
    pub height: f64,
    /// Reaching the fourth fret of the hand's four.
    pub stretch: f64,
    /// Staying on a string, which ends the note before.
    pub same_string: f64,
    /// Each string that is skipped.
    pub skipped: f64,
}

impl Default for Costs {
    fn default() -> Self {
        Self {
            stopped: 1.0,
            shift: 0.6,
            height: 0.15,
            stretch: 0.25,
            same_string: 0.4,
            skipped: 0.1,
        }
    }
}

/// A path and what it costs.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// A place for every note, in order.
    pub places: Vec<Place>,
    /// Sum of its costs.
    pub cost: f64,
}

impl Path {
    /// How many of its notes ring open.
    pub fn open_notes(&self) -> usize {
        self.places.iter().filter(|p| p.open()).count()
    }
}

/// Frets the hand covers without moving.
const HAND: i32 = 4;

/// Longest line that is answered, in notes.
pub const LONGEST: usize = 2_000;

/// A way to reach one state: its cost, the state and the rank before it.
#[derive(Clone, Copy)]
struct Way {
    cost: f64,
    from: usize,
    rank: usize,
}

/// A place with the fret of the index finger.
#[derive(Clone, Copy, PartialEq)]
struct State {
    place: Place,
    hand: i32,
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
    let steps: Vec<Vec<State>> = notes
        .iter()
        .take(LONGEST)
        .map(|midi| states(tuning, *midi, highest))
        .collect();
    if steps.is_empty() || steps.iter().any(Vec::is_empty) || count == 0 {
        return Vec::new();
    }
    // Different hands give the same places, so more ways are kept than paths are wanted.
    let keep = 3 * count;
    let mut table: Vec<Vec<Vec<Way>>> = Vec::with_capacity(steps.len());
    table.push(
        steps[0]
            .iter()
            .map(|s| {
                let cost = costs.alone(*s);
                vec![Way {
                    cost,
                    from: 0,
                    rank: 0,
                }]
            })
            .collect(),
    );
    for pair in steps.windows(2) {
        let before = &table[table.len() - 1];
        let ways = pair[1]
            .iter()
            .map(|to| best_ways(&pair[0], before, *to, costs, keep))
            .collect();
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
        let places = trace(&steps, &table, state, rank);
        if !found.iter().any(|p| p.places == places) {
            found.push(Path { places, cost });
        }
        if found.len() == count {
            break;
        }
    }
    found
}

fn states(tuning: &Tuning, midi: i32, highest: i32) -> Vec<State> {
    let mut states = Vec::new();
    for (string, fret) in tuning.places(midi, highest) {
        let place = Place { midi, string, fret };
        let hands = if fret == 0 {
            1..=(highest - HAND + 1).max(1)
        } else {
            (fret - HAND + 1).max(1)..=fret
        };
        states.extend(hands.map(|hand| State { place, hand }));
    }
    states
}

fn best_ways(from: &[State], ways: &[Vec<Way>], to: State, costs: &Costs, keep: usize) -> Vec<Way> {
    let mut found: Vec<Way> = Vec::new();
    for (i, state) in from.iter().enumerate() {
        // An open string leaves the hand free, but it does not move for nothing.
        let step = costs.step(*state, to) + costs.alone(to);
        for (rank, way) in ways[i].iter().enumerate() {
            let cost = way.cost + step;
            let at = found.partition_point(|w| w.cost <= cost);
            if at >= keep {
                break;
            }
            found.insert(
                at,
                Way {
                    cost,
                    from: i,
                    rank,
                },
            );
            found.truncate(keep);
        }
    }
    found
}

fn trace(steps: &[Vec<State>], table: &[Vec<Vec<Way>>], state: usize, rank: usize) -> Vec<Place> {
    let (mut state, mut rank) = (state, rank);
    let mut places = Vec::with_capacity(steps.len());
    for (step, ways) in steps.iter().zip(table).rev() {
        places.push(step[state].place);
        let way = ways[state][rank];
        (state, rank) = (way.from, way.rank);
    }
    places.reverse();
    places
}

impl Costs {
    fn alone(&self, state: State) -> f64 {
        let fret = state.place.fret;
        if fret == 0 {
            return 0.0;
        }
        let height = f64::from((fret - 5).max(0)) * self.height;
        let reach = if fret - state.hand == HAND - 1 {
            self.stretch
        } else {
            0.0
        };
        self.stopped + height + reach
    }

    fn step(&self, from: State, to: State) -> f64 {
        let moved = f64::from((to.hand - from.hand).abs()) * self.shift;
        let apart = (i32::from(to.place.string) - i32::from(from.place.string)).abs();
        let strings = match apart {
            0 if to.place == from.place => 0.0,
            0 => self.same_string,
            apart => f64::from(apart - 1) * self.skipped,
        };
        moved + strings
    }
}
