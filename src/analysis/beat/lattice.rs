//! The most probable beats near one tempo: a hidden semi-Markov model of a playing hand.
//!
//! A state is "a beat of `d` steps ends here"; a step is a fortieth of the level's own beat, so
//! that every level is tracked equally finely. Between two beats, thumb and fingers play at the
//! slots of one of a few subdivisions with known rates (an inhomogeneous Poisson process); what
//! they play is weighed against notes strewn at random at the recording's own rate, so that 0 is
//! "no pulse" and free time needs no rule of its own. Decoded over the whole recording at once
//! (Viterbi), so that later beats decide about earlier ones.
//! The idea of joint states of place and tempo is Whiteley, Cemgil & Godsill 2006 (bar pointer);
//! the beat-long state is ours.

use super::events::Event;
use crate::music::note::Role;

/// Steps of a level's own beat.
pub(crate) const STEPS: usize = 40;
/// Shortest and longest beat of a level, in steps: just over an octave of tempo.
const SHORTEST: usize = 28;
const LONGEST: usize = 58;
const WIDTH: usize = LONGEST - SHORTEST + 1;
const IMPOSSIBLE: f32 = -1e9;

/// A way to divide the beat: prior probability, and for each slot its place and the expected
/// number of thumb and finger events there. Tuned on rendered pieces and rounded.
struct Division {
    prior: f64,
    slots: &'static [(f64, f64, f64)],
}

/// Straight eighths, light and heavy swing, triplets, sixteenths.
const DIVISIONS: [Division; 5] = [
    Division {
        prior: 0.45,
        slots: &[(0.0, 0.75, 0.55), (0.5, 0.10, 0.50)],
    },
    Division {
        prior: 0.10,
        slots: &[(0.0, 0.75, 0.55), (0.59, 0.08, 0.50)],
    },
    Division {
        prior: 0.08,
        slots: &[(0.0, 0.75, 0.55), (0.667, 0.08, 0.50)],
    },
    Division {
        prior: 0.15,
        slots: &[(0.0, 0.75, 0.60), (0.333, 0.06, 0.50), (0.667, 0.08, 0.55)],
    },
    Division {
        prior: 0.22,
        slots: &[
            (0.0, 0.75, 0.60),
            (0.25, 0.07, 0.35),
            (0.5, 0.15, 0.50),
            (0.75, 0.12, 0.40),
        ],
    },
];
/// Events a beat that belong to no slot, thumb and fingers.
const STRAY: (f64, f64) = (0.06, 0.08);

/// What steers a decoding besides the events.
#[derive(Debug, Clone, Default)]
pub(crate) struct Steering {
    /// Rewards for a beat near an instant: (seconds, width in seconds, reward in nats).
    pub beats: Vec<(f64, f64, f32)>,
    /// Stretches that must stay without a pulse.
    pub free: Vec<(f64, f64)>,
    /// Stretches that must have one.
    pub pulse: Vec<(f64, f64)>,
    /// Shortest and longest beat allowed, seconds.
    pub length: Option<(f64, f64)>,
}

/// The beats of one level: runs of beats with free time between them.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Path {
    /// Log-probability against "no pulse anywhere", nats.
    pub score: f64,
    /// Runs of beat instants, seconds.
    pub runs: Vec<Vec<f64>>,
}

/// The lattice of one tempo level, with the evidence of all its possible beats.
pub(crate) struct Lattice {
    hop: f64,
    start: f64,
    frames: usize,
    /// Evidence of a beat of `d` steps that begins at frame `a`: `[a * WIDTH + d - SHORTEST]`.
    evidence: Vec<f32>,
}

/// Standard deviation (s) of an event around its slot for a beat of `beat` seconds: the hand's own
/// (Repp 2005, from memory: 2 % of the interval for trained players), the lattice's, and
/// whatever systematic lateness the fingers have. Tuned on rendered pieces.
fn spread(role: Role, beat: f64) -> f64 {
    let hand = match role {
        Role::Bass => 0.013,
        Role::Melody => 0.021,
    };
    f64::hypot(hand, 0.024 * beat)
}

impl Lattice {
    /// The lattice for beats around `beat` seconds, over all `events`.
    pub fn new(events: &[Event], beat: f64) -> Self {
        let hop = beat / STEPS as f64;
        let first = events.first().map_or(0.0, |e| e.time);
        let last = events.last().map_or(0.0, |e| e.time);
        let start = first - 0.6 * beat;
        let frames = ((last + 1.2 * beat - start) / hop).ceil() as usize + 1;
        let mut lattice = Self {
            hop,
            start,
            frames,
            evidence: vec![0.0; frames * WIDTH],
        };
        lattice.weigh(events);
        lattice
    }

    /// Fills in the evidence.
    fn weigh(&mut self, events: &[Event]) {
        let heard = events.last().map_or(0.0, |e| e.time) - events.first().map_or(0.0, |e| e.time);
        let heard = heard.max(1.0);
        let rate = |role| {
            let n: f64 = events
                .iter()
                .filter(|e| e.role == role)
                .map(|e| e.weight)
                .sum();
            (n / heard).max(0.2)
        };
        let rates = [rate(Role::Bass), rate(Role::Melody)];
        let places: Vec<(usize, usize, f32)> = events
            .iter()
            .map(|e| {
                let frame = ((e.time - self.start) / self.hop).round() as usize;
                (frame, usize::from(e.role == Role::Melody), e.weight as f32)
            })
            .collect();
        for d in SHORTEST..=LONGEST {
            let tables = Tables::new(d, self.hop, rates);
            let mut first = 0;
            for a in 0..self.frames.saturating_sub(d) {
                while first < places.len() && places[first].0 < a {
                    first += 1;
                }
                let inside = places[first..].iter().take_while(|p| p.0 < a + d);
                self.evidence[a * WIDTH + d - SHORTEST] = tables.weigh(a, inside);
            }
        }
    }

    fn frame(&self, time: f64) -> f64 {
        (time - self.start) / self.hop
    }

    fn time(&self, frame: usize) -> f64 {
        self.start + frame as f64 * self.hop
    }

    /// The most probable beats under `steering`.
    pub fn decode(&self, steering: &Steering) -> Path {
        Decoder::new(self, steering).run()
    }
}

/// Log-densities of one beat length, by hand, division and offset.
struct Tables {
    steps: usize,
    /// `[(division * 2 + hand) * steps + offset]`, against the recording's own rate.
    log_density: Vec<f32>,
    /// Log prior minus expected number of events, by division, plus what chance expects.
    base: Vec<f32>,
}

impl Tables {
    fn new(steps: usize, hop: f64, rates: [f64; 2]) -> Self {
        let beat = steps as f64 * hop;
        let mut log_density = Vec::with_capacity(DIVISIONS.len() * 2 * steps);
        let mut base = Vec::with_capacity(DIVISIONS.len());
        for division in &DIVISIONS {
            let expected: f64 = division.slots.iter().map(|s| s.1 + s.2).sum();
            let stray = STRAY.0 + STRAY.1;
            base.push(
                (division.prior.ln() - expected - stray + (rates[0] + rates[1]) * beat) as f32,
            );
            for hand in 0..2 {
                let (role, stray) = [(Role::Bass, STRAY.0), (Role::Melody, STRAY.1)][hand];
                let sd = spread(role, beat).hypot(hop * 0.4);
                for offset in 0..steps {
                    let at = offset as f64 / steps as f64;
                    let near = |place: f64, expected: f64| {
                        let z = (at - place) * beat / sd;
                        expected * (-0.5 * z * z).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt())
                    };
                    let density: f64 = division
                        .slots
                        .iter()
                        .map(|&(place, thumb, fingers)| {
                            let expected = if hand == 0 { thumb } else { fingers };
                            let wrapped = if place == 0.0 {
                                near(1.0, expected)
                            } else {
                                0.0
                            };
                            near(place, expected) + wrapped
                        })
                        .sum::<f64>()
                        + stray / beat;
                    log_density.push((density / rates[hand]).ln() as f32);
                }
            }
        }
        Self {
            steps,
            log_density,
            base,
        }
    }

    fn weigh<'a>(&self, a: usize, inside: impl Iterator<Item = &'a (usize, usize, f32)>) -> f32 {
        let mut sums = [0.0f32; DIVISIONS.len()];
        sums.copy_from_slice(&self.base);
        for &(frame, hand, weight) in inside {
            for (k, sum) in sums.iter_mut().enumerate() {
                *sum += weight * self.log_density[(k * 2 + hand) * self.steps + frame - a];
            }
        }
        let top = sums.iter().copied().fold(f32::MIN, f32::max);
        top + sums.iter().map(|s| (s - top).exp()).sum::<f32>().ln()
    }
}

/// Cost of entering and of leaving a stretch with a pulse, nats. Tuned on rendered pieces.
const ENTER: f32 = 7.0;
const LEAVE: f32 = 5.0;
/// Cost of a sudden change of tempo, nats.
const JUMP: f32 = 9.0;
/// Relative change of the beat from one to the next (SD of its logarithm) in steady playing with
/// some freedom: about the just noticeable change of tempo (Drake & Botte 1993: 3 to 6 %).
const TEMPO_SD: f64 = 0.035;

/// Where a state came from.
const FROM_FREE: u8 = u8::MAX;

struct Decoder<'a> {
    lattice: &'a Lattice,
    bonus: Vec<f32>,
    barred: Vec<bool>,
    must: Vec<bool>,
    allowed: [bool; WIDTH],
    change: Vec<f32>,
}

impl<'a> Decoder<'a> {
    fn new(lattice: &'a Lattice, steering: &Steering) -> Self {
        let n = lattice.frames;
        let mut bonus = vec![0.0f32; n];
        for &(time, width, reward) in &steering.beats {
            let at = lattice.frame(time);
            let width = (width / lattice.hop).max(0.6);
            let reach = (3.0 * width).ceil();
            let from = (at - reach).max(0.0) as usize;
            let to = ((at + reach).max(0.0) as usize).min(n.saturating_sub(1));
            for (frame, b) in bonus.iter_mut().enumerate().take(to + 1).skip(from) {
                let z = (frame as f64 - at) / width;
                *b += reward * (-0.5 * z * z).exp() as f32;
            }
        }
        let mark = |stretches: &[(f64, f64)]| {
            let mut marks = vec![false; n];
            for &(from, to) in stretches {
                let a = lattice.frame(from).max(0.0).ceil() as usize;
                let b = lattice.frame(to).max(0.0).floor() as usize;
                marks[a.min(n)..b.min(n).max(a.min(n))].fill(true);
            }
            marks
        };
        let mut allowed = [true; WIDTH];
        if let Some((low, high)) = steering.length {
            for (i, ok) in allowed.iter_mut().enumerate() {
                let beat = (SHORTEST + i) as f64 * lattice.hop;
                *ok = (low..=high).contains(&beat);
            }
        }
        let mut change = vec![IMPOSSIBLE; WIDTH * WIDTH];
        for (i, row) in change.chunks_exact_mut(WIDTH).enumerate() {
            for (j, cost) in row.iter_mut().enumerate() {
                let (d, before) = ((SHORTEST + i) as f64, (SHORTEST + j) as f64);
                let sd = TEMPO_SD.hypot(0.6 / d);
                let z = (d / before).ln() / sd;
                *cost = (-0.5 * z * z) as f32;
            }
        }
        Self {
            lattice,
            bonus,
            barred: mark(&steering.free),
            must: mark(&steering.pulse),
            allowed,
            change,
        }
    }

    fn run(&self) -> Path {
        let n = self.lattice.frames;
        let mut reach = vec![IMPOSSIBLE; n * WIDTH];
        let mut came = vec![FROM_FREE; n * WIDTH];
        // Best score of being without a pulse at a frame, and the beat state that was left.
        let mut free = vec![0.0f32; n];
        let mut left: Vec<u8> = vec![FROM_FREE; n];
        let barred_upto = running(&self.barred);
        for t in 0..n {
            if t > 0 {
                free[t] = if self.must[t] {
                    IMPOSSIBLE
                } else {
                    free[t - 1]
                };
            }
            let mut best = (IMPOSSIBLE, FROM_FREE);
            for i in 0..WIDTH {
                let d = SHORTEST + i;
                if d > t || !self.allowed[i] || barred_upto[t] != barred_upto[t - d] {
                    continue;
                }
                let (score, from) = self.arrive(&reach, &free, t - d, i);
                let score = score + self.lattice.evidence[(t - d) * WIDTH + i] + self.bonus[t];
                reach[t * WIDTH + i] = score;
                came[t * WIDTH + i] = from;
                if score > best.0 {
                    best = (score, i as u8);
                }
            }
            if best.0 - LEAVE > free[t] {
                free[t] = best.0 - LEAVE;
                left[t] = best.1;
            }
        }
        self.trace(&came, &free, &left)
    }

    /// The best way to begin a beat of `SHORTEST + i` steps at frame `a`.
    fn arrive(&self, reach: &[f32], free: &[f32], a: usize, i: usize) -> (f32, u8) {
        let row = &reach[a * WIDTH..(a + 1) * WIDTH];
        let costs = &self.change[i * WIDTH..(i + 1) * WIDTH];
        let mut best = (free[a] - ENTER + self.bonus[a], FROM_FREE);
        let from = i.saturating_sub(12);
        let to = (i + 13).min(WIDTH);
        for j in from..to {
            let score = row[j] + costs[j].max(-JUMP);
            if score > best.0 {
                best = (score, j as u8);
            }
        }
        best
    }

    fn trace(&self, came: &[u8], free: &[f32], left: &[u8]) -> Path {
        let n = free.len();
        let mut runs: Vec<Vec<f64>> = Vec::new();
        let Some(mut t) = n.checked_sub(1) else {
            return Path { score: 0.0, runs };
        };
        let score = f64::from(free[t]);
        loop {
            while t > 0 && left[t] == FROM_FREE {
                t -= 1;
            }
            let mut i = left[t];
            if i == FROM_FREE {
                break;
            }
            let mut run = vec![self.lattice.time(t)];
            loop {
                let d = SHORTEST + usize::from(i);
                let from = came[t * WIDTH + usize::from(i)];
                t -= d;
                run.push(self.lattice.time(t));
                if from == FROM_FREE {
                    break;
                }
                i = from;
            }
            run.reverse();
            runs.push(run);
        }
        runs.reverse();
        Path { score, runs }
    }
}

/// Running count of marks, so that "none between a and b" is one comparison.
fn running(marks: &[bool]) -> Vec<u32> {
    marks
        .iter()
        .scan(0, |sum, &m| {
            *sum += u32::from(m);
            Some(*sum)
        })
        .collect()
}
