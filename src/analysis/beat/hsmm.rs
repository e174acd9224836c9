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

use super::beat_net::Belief;
use super::events::{Event, JOIN};
use super::priors::{BOTH, DIVISIONS, FEELS, Priors, STRAY, STRUMS, spread};
use crate::music::note::Role;
use crate::stop;

/// Steps of a level's own beat.
pub(crate) const STEPS: usize = 40;
/// Shortest and longest beat of a level, in steps: just over an octave of tempo.
const SHORTEST: usize = 28;
const LONGEST: usize = 58;
const WIDTH: usize = LONGEST - SHORTEST + 1;
const IMPOSSIBLE: f32 = -1e9;

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
    /// Is a pulse to be taken up on half the evidence, because a sparse line holds no more?
    pub eager: bool,
    /// Does the beat bend as in rubato? Costs [`Priors::freely`] a beat.
    pub freely: bool,
    /// Has the player said how fast it goes and where a beat is?
    pub told: bool,
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
#[derive(Debug)]
pub(crate) struct Lattice {
    pub(super) priors: Priors,
    hop: f64,
    start: f64,
    frames: usize,
    /// By feel, evidence of a beat of `d` steps that begins at frame `a`:
    /// `[a * WIDTH + d - SHORTEST]`.
    evidence: [Vec<f32>; FEELS.len()],
    /// What the network believes of a beat at each frame, nats.
    believed: Vec<f32>,
}

/// An event on a lattice: its frame, and how much of it is the thumb's and the fingers'.
struct FrameEvent {
    frame: usize,
    thumb: f32,
    fingers: f32,
}

impl FrameEvent {
    fn new(event: &Event, frame: f64) -> Self {
        let own = (event.weight * event.sure) as f32;
        let other = (event.weight * (1.0 - event.sure)) as f32;
        let (thumb, fingers) = match event.role {
            Role::Bass => (own, other),
            Role::Melody => (other, own),
        };
        Self {
            frame: frame.round().max(0.0) as usize,
            thumb,
            fingers,
        }
    }
}

/// Rates of thumb and fingers over the whole recording, events a second: what chance expects.
fn rates(events: &[Event]) -> [f64; 2] {
    let heard = events.last().map_or(0.0, |e| e.time) - events.first().map_or(0.0, |e| e.time);
    [Role::Bass, Role::Melody].map(|role| {
        let n: f64 = events
            .iter()
            .filter(|e| e.role == role)
            .map(|e| e.weight)
            .sum();
        (n / heard.max(1.0)).max(0.2)
    })
}

/// How far, 0 to 1, thumb and fingers pick: often both at once, and seldom a whole grip.
fn picked(events: &[Event]) -> f64 {
    let (mut all, mut both, mut strums) = (0.0, 0.0, 0.0);
    for attack in events.chunk_by(|a, b| b.time - a.time < JOIN) {
        let hand = |role| attack.iter().any(|e| e.role == role);
        let notes: usize = attack.iter().map(|e| e.notes.len()).sum();
        all += 1.0;
        both += f64::from(u8::from(hand(Role::Bass) && hand(Role::Melody)));
        strums += f64::from(u8::from(notes >= 3));
    }
    let share = |n: f64, of: f64| (n / f64::max(all, 1.0) / of).min(1.0);
    share(both, BOTH) * (1.0 - share(strums, STRUMS))
}

impl Lattice {
    /// The lattice for beats around `beat` seconds, over all `events`, and what is believed of them.
    pub fn new(events: &[Event], belief: &Belief, beat: f64, priors: Priors) -> Self {
        let hop = beat / STEPS as f64;
        let first = events.first().map_or(0.0, |e| e.time);
        let last = events.last().map_or(0.0, |e| e.time);
        let start = first - 0.6 * beat;
        let frames = ((last + 1.2 * beat - start) / hop).ceil() as usize + 1;
        let mut lattice = Self {
            priors,
            hop,
            start,
            frames,
            evidence: std::array::from_fn(|_| vec![0.0; frames * WIDTH]),
            believed: Vec::new(),
        };
        lattice.believed = (0..frames)
            .map(|k| (priors.instant * belief.beat_at(lattice.time(k), priors.most)) as f32)
            .collect();
        lattice.weigh(events, belief);
        lattice
    }

    /// Fills in the evidence.
    fn weigh(&mut self, events: &[Event], belief: &Belief) {
        let rates = rates(events);
        let picked = picked(events);
        let rules = picked * self.priors.rules + (1.0 - picked) * self.priors.strummed;
        let rules = rules as f32;
        let places: Vec<FrameEvent> = events
            .iter()
            .map(|e| FrameEvent::new(e, (e.time - self.start) / self.hop))
            .collect();
        for d in SHORTEST..=LONGEST {
            stop::check();
            let tables = Tables::new(d, self.hop, rates);
            let mut first = 0;
            for a in 0..self.frames.saturating_sub(d) {
                while first < places.len() && places[first].frame < a {
                    first += 1;
                }
                let inside = places[first..].iter().take_while(|p| p.frame < a + d);
                let weighed = tables.weigh(a, inside);
                let length = belief.length(self.time(a), self.time(a + d));
                let believed = self.believed[a + d] + (self.priors.length * length) as f32;
                for (evidence, value) in self.evidence.iter_mut().zip(weighed) {
                    evidence[a * WIDTH + d - SHORTEST] = rules * value + believed;
                }
            }
        }
    }

    fn frame(&self, time: f64) -> f64 {
        (time - self.start) / self.hop
    }

    fn time(&self, frame: usize) -> f64 {
        self.start + frame as f64 * self.hop
    }

    /// What the network believes of a beat at an instant, nats.
    pub fn believed_at(&self, time: f64) -> f32 {
        let frame = self.frame(time).round().max(0.0) as usize;
        self.believed.get(frame).copied().unwrap_or(0.0)
    }

    /// Evidence of beats as they are.
    pub fn of(&self, feel: usize, beats: &[f64]) -> f32 {
        let each = beats.windows(2).map(|p| {
            let from = self.frame(p[0]).round().max(0.0) as usize;
            let steps = ((p[1] - p[0]) / self.hop).round() as usize;
            let at = from * WIDTH + steps.clamp(SHORTEST, LONGEST) - SHORTEST;
            self.evidence[feel].get(at).copied().unwrap_or(0.0)
        });
        each.sum()
    }

    /// Evidence of each of `n - 1` even beats.
    pub fn each(
        &self,
        feel: usize,
        from: f64,
        beat: f64,
        n: usize,
    ) -> impl Iterator<Item = f32> + '_ {
        let steps = (beat / self.hop).round() as usize;
        let possible = (SHORTEST..=LONGEST).contains(&steps);
        (0..n - 1).map(move |k| {
            let frame = self.frame(from + beat * k as f64).round();
            if !possible {
                return IMPOSSIBLE;
            }
            if frame < 0.0 || frame as usize + steps >= self.frames {
                return 0.0;
            }
            self.evidence[feel][frame as usize * WIDTH + steps - SHORTEST]
        })
    }

    /// The most probable beats of a feel (index of [`FEELS`]) under `steering`.
    pub fn decode(&self, feel: usize, steering: &Steering) -> Path {
        Decoder::new(self, feel, steering).run()
    }
}

/// Log-densities of one beat length, by hand, division and offset.
struct Tables {
    steps: usize,
    /// `[(division * 2 + hand) * steps + offset]`, against the recording's own rate.
    log_density: Vec<f32>,
    /// What chance expects minus the expected number of events, by division.
    base: [f32; DIVISIONS.len()],
}

impl Tables {
    fn new(steps: usize, hop: f64, rates: [f64; 2]) -> Self {
        let beat = steps as f64 * hop;
        let mut log_density = Vec::with_capacity(DIVISIONS.len() * 2 * steps);
        let mut base = [0.0; DIVISIONS.len()];
        for (division, base) in DIVISIONS.iter().zip(&mut base) {
            let expected: f64 = division.iter().map(|s| s.1 + s.2).sum();
            let stray = STRAY.0 + STRAY.1;
            *base = ((rates[0] + rates[1]) * beat - expected - stray) as f32;
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

    fn weigh<'a>(
        &self,
        a: usize,
        inside: impl Iterator<Item = &'a FrameEvent>,
    ) -> [f32; FEELS.len()] {
        let mut sums = self.base;
        for place in inside {
            let at = place.frame - a;
            for (k, sum) in sums.iter_mut().enumerate() {
                let thumb = self.log_density[2 * k * self.steps + at];
                let fingers = self.log_density[(2 * k + 1) * self.steps + at];
                *sum += place.thumb * thumb + place.fingers * fingers;
            }
        }
        let top = sums.iter().copied().fold(f32::MIN, f32::max);
        let likely = sums.map(|s| (s - top).exp());
        FEELS.map(|feel| {
            let sum: f32 = feel.iter().zip(likely).map(|(&p, l)| p as f32 * l).sum();
            top + sum.ln()
        })
    }
}

/// Least steps without a pulse: a beat that ends one run does not begin the next as well.
const APART: usize = SHORTEST / 2;
/// Steps by which a beat may differ from the one before without being a sudden change.
const NEAR: usize = 12;

/// Cost of a change of `z` standard deviations: quadratic as for a normal one, linear beyond
/// (Huber), because a player who slows down at a phrase's end does it at once.
fn slack(z: f64) -> f64 {
    let z = z.abs();
    if z < 1.5 {
        0.5 * z * z
    } else {
        1.5 * z - 1.125
    }
}

/// Where a state came from.
const FROM_FREE: u8 = u8::MAX;

struct Decoder<'a> {
    lattice: &'a Lattice,
    evidence: &'a [f32],
    bonus: Vec<f32>,
    barred: Vec<bool>,
    must: Vec<bool>,
    allowed: [bool; WIDTH],
    change: Vec<f32>,
    /// What every beat costs, a sudden change of tempo, and entering and leaving a stretch with a pulse.
    each: f32,
    jump: f32,
    enter: f32,
    leave: f32,
}

impl<'a> Decoder<'a> {
    fn new(lattice: &'a Lattice, feel: usize, steering: &Steering) -> Self {
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
        let priors = &lattice.priors;
        let (bends, each) = if steering.freely {
            (priors.rubato, priors.freely)
        } else {
            (priors.bends, 0.0)
        };
        let mut change = vec![IMPOSSIBLE; WIDTH * WIDTH];
        for (i, row) in change.chunks_exact_mut(WIDTH).enumerate() {
            for (j, cost) in row.iter_mut().enumerate() {
                let (d, before) = ((SHORTEST + i) as f64, (SHORTEST + j) as f64);
                let sd = f64::hypot(bends, 0.6 / d);
                let z = (d / before).ln() / sd;
                *cost = -slack(z) as f32;
            }
        }
        let ease = if steering.eager { 0.5 } else { 1.0 };
        Self {
            lattice,
            evidence: &lattice.evidence[feel],
            bonus,
            barred: mark(&steering.free),
            must: mark(&steering.pulse),
            allowed,
            change,
            each: each as f32,
            jump: priors.jump as f32,
            enter: ease * priors.enter as f32,
            leave: ease * priors.leave as f32,
        }
    }

    fn run(&self) -> Path {
        let n = self.lattice.frames;
        let mut reach = vec![IMPOSSIBLE; n * WIDTH];
        let mut came = vec![FROM_FREE; n * WIDTH];
        // Best score of being without a pulse at a frame, and the beat state that was left.
        let mut free = vec![0.0f32; n];
        let mut left: Vec<u8> = vec![FROM_FREE; n];
        // Best beat state at a frame, for sudden changes of tempo.
        let mut tops = vec![(IMPOSSIBLE, FROM_FREE); n];
        let barred_upto = running(&self.barred);
        for t in 0..n {
            stop::check();
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
                let (score, from) = self.arrive(&reach, &free, &tops, t - d, i);
                let score = score + self.evidence[(t - d) * WIDTH + i] + self.bonus[t] - self.each;
                reach[t * WIDTH + i] = score;
                came[t * WIDTH + i] = from;
                if score > best.0 {
                    best = (score, i as u8);
                }
            }
            tops[t] = best;
            if best.0 - self.leave > free[t] {
                free[t] = best.0 - self.leave;
                left[t] = best.1;
            }
        }
        self.trace(&came, &free, &left)
    }

    /// The best way to begin a beat of `SHORTEST + i` steps at frame `a`.
    fn arrive(
        &self,
        reach: &[f32],
        free: &[f32],
        tops: &[(f32, u8)],
        a: usize,
        i: usize,
    ) -> (f32, u8) {
        let row = &reach[a * WIDTH..(a + 1) * WIDTH];
        let costs = &self.change[i * WIDTH..(i + 1) * WIDTH];
        let mut best = (
            free[a.saturating_sub(APART)] - self.enter + self.bonus[a] + self.lattice.believed[a],
            FROM_FREE,
        );
        let from = i.saturating_sub(NEAR);
        let to = (i + NEAR + 1).min(WIDTH);
        for j in from..to {
            let score = row[j] + costs[j];
            if score > best.0 {
                best = (score, j as u8);
            }
        }
        let (top, j) = tops[a];
        if top - self.jump > best.0 {
            best = (top - self.jump, j);
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
                    t = t.saturating_sub(APART);
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
