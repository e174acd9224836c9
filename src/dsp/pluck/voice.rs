//! One stroke on one string: a sum of damped modes.
//!
//! Mode n of a stiff string lies at n·f0·√(1 + B·n²) (Young 1952, JASA 24(3)); a pluck at share β of
//! the string excites its bridge force with sin(nπβ)/n (textbook ideal string). Each mode has two
//! polarisations, slightly detuned, of which the one across the bridge fades faster: the two-stage
//! decay of real strings (Weinreich 1977, JASA 62(6), from memory).

use super::stroke::{Chance, Played, Stroke};
use std::f64::consts::{PI, TAU};

/// Oscillators run side by side: four modes of two polarisations.
const LANES: usize = 8;

/// Frames between looks at whether a group of modes has died away.
const BLOCK: usize = 256;

/// Modes of one string at most, and the highest frequency worth a mode.
const MODES: usize = 110;
const TOP_HZ: f64 = 11_000.0;

/// The steady pull before a pluck is forgotten with this time constant, in seconds: below what a
/// guitar radiates.
const PULL_FADES: f64 = 0.004;

/// A group of modes is dropped below this amplitude (−94 dB against a firm stroke).
const INAUDIBLE: f32 = 2e-5;

/// Inharmonicity B of the open strings at their standard pitch, string 1 first. Strings 1 and 2:
/// plain steel .012" and .016" on a 647.7 mm scale, B = π³Ed⁴/(64TL²). Wound strings: within the
/// guitar's range of 1e-6 to 1e-3 (Järveläinen & Karjalainen), rising with the core's diameter.
const STIFFNESS: [f64; 6] = [1.9e-5, 6.0e-5, 4.0e-5, 6.0e-5, 9.0e-5, 1.4e-4];

/// Pitches at which [`STIFFNESS`] holds: standard tuning, string 1 first.
const STANDARD: [f64; 6] = [64.0, 59.0, 55.0, 50.0, 45.0, 40.0];

/// Eight oscillators as rotating phasors with decay.
#[derive(Clone, Copy)]
struct Group {
    re: [f32; LANES],
    im: [f32; LANES],
    turn_re: [f32; LANES],
    turn_im: [f32; LANES],
}

impl Group {
    /// Adds the next frames to `out`.
    fn run(&mut self, out: &mut [f32]) {
        let mut at = *self;
        for sample in out {
            *sample += at.re.iter().sum::<f32>();
            for l in 0..LANES {
                let (re, im) = (at.re[l], at.im[l]);
                at.re[l] = re * at.turn_re[l] - im * at.turn_im[l];
                at.im[l] = re * at.turn_im[l] + im * at.turn_re[l];
            }
        }
        *self = at;
    }

    fn audible(&self) -> bool {
        let power = (0..LANES).map(|l| self.re[l] * self.re[l] + self.im[l] * self.im[l]);
        power.fold(0.0, f32::max) > INAUDIBLE * INAUDIBLE
    }

    fn damp(&mut self, factors: &[f32; LANES]) {
        for (l, factor) in factors.iter().enumerate() {
            self.turn_re[l] *= factor;
            self.turn_im[l] *= factor;
        }
    }
}

/// One stroke, ready to sound.
pub(super) struct Voice {
    rate: f64,
    groups: Vec<Group>,
    hz: Vec<[f32; LANES]>,
    /// Frames over which the fingertip lets go.
    release: usize,
    stroke: Stroke,
}

impl Voice {
    /// The modes of `played` at `rate` frames a second.
    pub(super) fn new(played: &Played, rate: u32, seed: u64) -> Self {
        let rate = f64::from(rate);
        let mut chance = Chance::new(seed);
        let release_ms = match played.stroke {
            Stroke::HammerOn => 2.2,
            // A nail lets go in about half a millisecond, flesh in two.
            _ => (4000.0 / played.edge.max(200.0)).clamp(0.4, 2.5),
        };
        let mut voice = Self {
            rate,
            groups: Vec::new(),
            hz: Vec::new(),
            release: (release_ms * rate / 1000.0).ceil() as usize,
            stroke: played.stroke,
        };
        if played.stroke != Stroke::Tap {
            voice.fill(played, &mut chance);
        }
        voice
    }

    fn fill(&mut self, played: &Played, chance: &mut Chance) {
        let stopped = f64::from(played.fret);
        let f0 = crate::unit::MidiNote(played.open.0 + stopped).hz();
        let course = usize::from(played.string.clamp(1, 6)) - 1;
        // B grows with 1/L² up the neck and with 1/T when a string is slackened (T ∝ f²).
        let slack = (STANDARD[course] - played.open.0) / 6.0;
        let b = STIFFNESS[course] * (stopped / 6.0 + slack.clamp(-2.0, 2.0)).exp2();
        // A harder stroke is brighter; about an octave of edge for 18 dB (tuned by ear).
        let edge = played.edge.max(200.0) * (played.level.0 / 18.0).clamp(-2.0, 1.0).exp2();
        let position = (played.position * (0.97 + 0.06 * chance.unit())).clamp(0.02, 0.5);
        let shape = Shape {
            stroke: played.stroke,
            fret: stopped,
            position,
            edge,
        };
        let beating = 0.15 + 0.35 * chance.unit();
        let across = 0.72 + 0.16 * chance.unit();
        let mut lane = LANES;
        for n in 1..=MODES {
            let n = n as f64;
            let hz = n * f0 * (1.0 + b * n * n).sqrt();
            if hz > TOP_HZ || hz > 0.33 * self.rate {
                break;
            }
            let amplitude = shape.amplitude(n, hz);
            let fading = fading(hz, course) + shape.extra_fading(n);
            let phase = shape.phase(chance);
            for (share, faster, cents) in [(across, 1.7, 0.0), (1.0 - across, 0.6, beating)] {
                if lane == LANES {
                    let none = [0.0; LANES];
                    self.groups.push(Group {
                        re: none,
                        im: none,
                        turn_re: none,
                        turn_im: none,
                    });
                    self.hz.push(none);
                    lane = 0;
                }
                let i = self.groups.len() - 1;
                let angle = TAU * hz * (cents / 1200.0f64).exp2() / self.rate;
                let keep = (-fading * faster / self.rate).exp();
                let group = &mut self.groups[i];
                group.re[lane] = (amplitude * share * phase.cos()) as f32;
                group.im[lane] = (amplitude * share * phase.sin()) as f32;
                group.turn_re[lane] = (keep * angle.cos()) as f32;
                group.turn_im[lane] = (keep * angle.sin()) as f32;
                self.hz[i][lane] = hz as f32;
                lane += 1;
            }
        }
    }

    /// Sounds for `held` frames, then is damped by a finger; little more than `room` frames.
    pub(super) fn render(&self, held: usize, room: usize) -> Vec<f32> {
        let mut groups = self.groups.clone();
        let margin = (0.02 * self.rate) as usize;
        let mut out = Vec::new();
        let mut damped = false;
        while !groups.is_empty() && out.len() < room + margin {
            if !damped && out.len() >= held {
                damped = true;
                for (group, hz) in groups.iter_mut().zip(&self.hz) {
                    group.damp(&hz.map(|hz| finger(hz, self.rate)));
                }
            }
            let now = out.len();
            let next = if damped {
                now + BLOCK
            } else {
                (now + BLOCK).min(held)
            };
            out.resize(next, 0.0);
            for group in &mut groups {
                group.run(&mut out[now..]);
            }
            // Groups are in order of frequency: the highest die first.
            while groups.last().is_some_and(|g| !g.audible()) {
                groups.pop();
            }
        }
        // Before it is let go the string pulls at the bridge steadily, which is not heard: what is
        // heard is the change from there.
        let pull = self.groups.iter().flat_map(|g| g.re).sum::<f32>();
        for (i, sample) in out
            .iter_mut()
            .take((8.0 * PULL_FADES * self.rate) as usize)
            .enumerate()
        {
            *sample -= pull * (-(i as f64) / (PULL_FADES * self.rate)).exp() as f32;
        }
        out
    }

    /// What the stroke gives to the body beside the string: the fingertip's noise, or a knock.
    pub(super) fn knock(&self, seed: u64) -> Vec<f32> {
        let (level, length_ms) = match self.stroke {
            Stroke::Pluck | Stroke::Harmonic { .. } => (0.05, 3.0),
            Stroke::HammerOn | Stroke::PullOff { .. } => (0.03, 2.5),
            Stroke::Dead => (0.12, 5.0),
            Stroke::Tap => (1.6, 7.0),
        };
        let mut chance = Chance::new(seed ^ 0x5EED);
        let fade = (length_ms / 1000.0 * self.rate).max(1.0);
        let rise = (self.release as f64).max(1.0);
        let mut smooth = 0.0f32;
        (0..(6.0 * fade) as usize)
            .map(|i| {
                let i = i as f64;
                let envelope = (i / rise).min(1.0) * (-i / fade).exp();
                smooth += 0.35 * (chance.signed() - smooth);
                (level * envelope) as f32 * smooth
            })
            .collect()
    }
}

/// What one kind of stroke gives to each mode.
struct Shape {
    stroke: Stroke,
    fret: f64,
    position: f64,
    edge: f64,
}

impl Shape {
    /// Amplitude of mode `n` at `hz`, before the body.
    fn amplitude(&self, n: f64, hz: f64) -> f64 {
        let soft = |edge: f64| 1.0 / (1.0 + (hz / edge).powi(2)).sqrt();
        let comb = |share: f64| (n * PI * share).sin();
        match self.stroke {
            // The fretting finger strikes the string at its new end: every mode, softly.
            Stroke::HammerOn => 0.5 / n * soft(0.5 * self.edge).powi(2),
            Stroke::PullOff { from } => {
                let off = (f64::from(from) - self.fret).max(1.0);
                let share = 1.0 - (-off / 12.0).exp2();
                0.9 * comb(share) / n * soft(0.7 * self.edge)
            }
            Stroke::Harmonic { number } if n % f64::from(number.max(1)) == 0.0 => {
                1.3 * comb(self.position) / n.sqrt() / f64::from(number.max(1)) * soft(self.edge)
            }
            Stroke::Harmonic { .. } => 0.5 * comb(self.position) / n * soft(self.edge),
            _ => comb(self.position) / n * soft(self.edge),
        }
    }

    /// Fading rate in 1/s beyond the free string's.
    fn extra_fading(&self, n: f64) -> f64 {
        match self.stroke {
            // The finger on the node damps every mode that moves there.
            Stroke::Harmonic { number } if n % f64::from(number.max(1)) != 0.0 => 130.0,
            Stroke::Dead => 110.0 + 6.0 * n,
            _ => 0.0,
        }
    }

    /// Phase of a mode at release: a plucked string starts at rest, a struck one in motion.
    fn phase(&self, chance: &mut Chance) -> f64 {
        let wobble = 0.25 * (chance.unit() - 0.5);
        match self.stroke {
            Stroke::HammerOn => -PI / 2.0 + wobble,
            _ => wobble,
        }
    }
}

/// Fading rate of a free string at `hz`, in 1/s (60 dB last 6.9 over it): losses to air and
/// inside the string grow with frequency. From 8 s for a low note to 0.7 s at 5 kHz, tuned by ear.
fn fading(hz: f64, course: usize) -> f64 {
    let khz = hz / 1000.0;
    let wound = if course >= 2 { 1.0 } else { 0.75 };
    0.75 + (0.6 * khz + 0.25 * khz * khz) * wound + if course < 2 { 0.5 } else { 0.0 }
}

/// Factor a frame by which a damping finger fades `hz`: low modes in about 110 ms, high ones
/// in 40 ms to −60 dB.
fn finger(hz: f32, rate: f64) -> f32 {
    let fading = 60.0 + 110.0 * (f64::from(hz) / 1500.0).min(1.0);
    (-fading / rate).exp() as f32
}
