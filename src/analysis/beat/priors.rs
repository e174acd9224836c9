//! The table of priors: every number that weighs beats, tempi, meters and bars against each other.
//!
//! Owns the numbers and says where each comes from; what they weigh is said where they are used.
//! [`Priors`] are what `cargo xtask fit beats` moves; the rest is the shape of things, chosen by hand.
//!
//! The sets. "Kept back": performances of `xtask/train/beats` that the network did not learn from.
//! "Rendered": pieces of corpus seeds 12, 21, 7301, 8802 and the default, chosen on. "Real": five
//! takes of players, each cut in two ways, looked at while choosing; nothing was fitted to them.
//! What judges is in `DEVELOPERS.md`.

use crate::music::meter::Meter;
use crate::music::note::Role;

/// The weights between the network, the rules of thumb and fingers, and what is usual.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Priors {
    /// Weight of the network's view of an instant beside the likelihood of the notes (kept back,
    /// rendered, real).
    pub instant: f64,
    /// Weight of its view of a beat's length (kept back, rendered).
    pub length: f64,
    /// Weight of the likelihood of the notes under the rules of thumb and fingers, where both pick
    /// (kept back, rendered).
    pub rules: f64,
    /// The same where strings are strummed, or one hand plays a line (kept back, real).
    pub strummed: f64,
    /// The most that one instant may say for or against a beat, nats (kept back).
    pub most: f64,
    /// Middle of the tempi, beats a minute: near what listeners tap (Parncutt 1994, Music
    /// Perception 11, from memory).
    pub tempo: f64,
    /// Width of the tempi, octaves (SD; kept back, rendered).
    pub octaves: f64,
    /// Events of a pattern that tempi are set against once: more overstate their case (rendered).
    pub events: f64,
    /// Relative change of the beat from one to the next in steady playing with some freedom (SD of
    /// its logarithm): about the just noticeable change of tempo (Drake & Botte 1993: 3 to 6 %).
    pub bends: f64,
    /// The same in rubato (rendered).
    pub rubato: f64,
    /// What each beat of rubato costs, nats (rendered, real).
    pub freely: f64,
    /// What each beat of one unbending tempo saves, nats, short ones less: half of what beats that may bend
    /// but do not lose to those that do (entropy of [`Self::bends`]; kept back, rendered, real).
    pub even: f64,
    /// What an unbending tempo costs once, nats (fitted; see [`Self::covered`]).
    pub once: f64,
    /// What a reading gains by having beats wherever something is played, nats a square root of the events.
    /// This, the next two and [`Self::once`] choose among the readings of a piece: fitted together by the
    /// readings' beat F, continuity and bar F (expected, under the odds) on 220 kept back, 60 of scores and the rendered ones.
    pub covered: f64,
    /// Weight of the network's view of its beats' lengths, nats a square root of the seconds.
    pub lengths: f64,
    /// Weight of the tempo's prior among measured readings.
    pub tempi: f64,
    /// Cost of a sudden change of tempo, nats (rendered: dearer ones keep the beat through
    /// sixteenths, cheaper ones follow free time).
    pub jump: f64,
    /// Cost of entering a stretch with a pulse, nats (rendered).
    pub enter: f64,
    /// Cost of leaving it, nats (rendered).
    pub leave: f64,
    /// Weight of the beats' score beside that of the bars: notes of a pattern are not independent
    /// (rendered).
    pub path: f64,
    /// Weight of the network's downbeats (kept back).
    pub downbeats: f64,
    /// What each beat gets back of what it cost that the network doubts its being a downbeat or none,
    /// nats, or a reading with fewer beats would win for that (rendered).
    pub returned: f64,
    /// Weight of the network's meters (kept back).
    pub meters: f64,
    /// Weight of the table of meters (kept back).
    pub common: f64,
}

impl Priors {
    /// What the program uses.
    pub const SHIPPED: Self = Self {
        instant: 0.5,
        length: 0.3,
        rules: 0.8,
        strummed: 0.35,
        most: 4.5,
        tempo: 88.0,
        octaves: 0.4,
        events: 120.0,
        bends: 0.035,
        rubato: 0.09,
        freely: 0.2,
        even: 0.9,
        once: 14.0,
        covered: 7.0,
        lengths: 3.2,
        tempi: 4.0,
        jump: 18.0,
        enter: 9.0,
        leave: 6.0,
        path: 0.7,
        downbeats: 0.7,
        returned: 0.0,
        meters: 0.4,
        common: 1.0,
    };

    /// Every number with its name.
    pub fn numbers(&mut self) -> [(&'static str, &mut f64); 24] {
        [
            ("instant", &mut self.instant),
            ("length", &mut self.length),
            ("rules", &mut self.rules),
            ("strummed", &mut self.strummed),
            ("most", &mut self.most),
            ("tempo", &mut self.tempo),
            ("octaves", &mut self.octaves),
            ("events", &mut self.events),
            ("bends", &mut self.bends),
            ("rubato", &mut self.rubato),
            ("freely", &mut self.freely),
            ("even", &mut self.even),
            ("once", &mut self.once),
            ("covered", &mut self.covered),
            ("lengths", &mut self.lengths),
            ("tempi", &mut self.tempi),
            ("jump", &mut self.jump),
            ("enter", &mut self.enter),
            ("leave", &mut self.leave),
            ("path", &mut self.path),
            ("downbeats", &mut self.downbeats),
            ("returned", &mut self.returned),
            ("meters", &mut self.meters),
            ("common", &mut self.common),
        ]
    }
}

/// Log-odds of a beat at any instant, taken off the network's: 2 frames of 20 ms in 15 or so.
pub(super) const ANY: f64 = -2.0;
/// Share of attacks that both hands play from which on they are picked, and share of three notes
/// and more from which on they are strummed (kept back, rendered: 0.3 and 0.03 where picked, 0.5 and
/// 0.6 where strummed).
pub(super) const BOTH: f64 = 0.2;
pub(super) const STRUMS: f64 = 0.4;
/// Seconds of a usual beat: what the network says of a meter counts by their number.
pub(super) const A_BEAT: f64 = 0.68;
/// What the network says of a meter that it does not know, nats.
pub(super) const UNKNOWN: f64 = -4.0;
/// Nats that count as one when readings are turned into odds: notes overstate their case.
pub(super) const OVERSTATED: f64 = 4.0;

/// What each beat of one unbending tempo saves once the player has told tempo and place, and how
/// much more an instant that is told counts then (by hand, on the real takes).
pub(super) const EVEN_TOLD: f64 = 1.5;
pub(super) const INSISTS: f32 = 5.0;
/// Rewards, nats: a tap, a dragged beat, a beat that is to start a bar, a beat that an edit is to
/// leave (chosen by hand on invented notes).
pub(super) const TAPPED: f32 = 14.0;
pub(super) const DRAGGED: f32 = 40.0;
pub(super) const BAR_TOLD: f32 = 8.0;
pub(super) const KEPT: f32 = 3.0;
/// Confidence in beats whose place the player has told (by hand: players mean what they say).
pub(super) const SETTLED: f32 = 0.9;

/// A way to divide the beat: for each slot its place and the expected number of thumb and
/// finger events there. Tuned on rendered pieces and rounded.
pub(super) type Division = &'static [(f64, f64, f64)];

/// Straight eighths, light and heavy swing, triplets, sixteenths.
pub(super) const DIVISIONS: [Division; 5] = [
    &[(0.0, 0.75, 0.55), (0.5, 0.10, 0.50)],
    &[(0.0, 0.75, 0.55), (0.59, 0.08, 0.50)],
    &[(0.0, 0.75, 0.55), (0.667, 0.08, 0.50)],
    &[(0.0, 0.75, 0.60), (0.333, 0.06, 0.50), (0.667, 0.08, 0.55)],
    &[
        (0.0, 0.75, 0.60),
        (0.25, 0.07, 0.35),
        (0.5, 0.15, 0.50),
        (0.75, 0.12, 0.40),
    ],
];
/// What a piece mostly divides its beats into: prior probability of each of [`DIVISIONS`] on a
/// beat. A piece keeps to one; beats of another are let in.
pub(super) const FEELS: [[f64; DIVISIONS.len()]; 4] = [
    [0.84, 0.05, 0.01, 0.03, 0.07],
    [0.08, 0.62, 0.20, 0.06, 0.04],
    [0.04, 0.03, 0.20, 0.70, 0.03],
    [0.12, 0.02, 0.01, 0.03, 0.82],
];
/// Events a beat that belong to no slot, thumb and fingers.
pub(super) const STRAY: (f64, f64) = (0.06, 0.08);

/// Standard deviation (s) of an event around its slot for a beat of `beat` seconds: the hand's own
/// (Repp 2005, from memory: 2 % of the interval for trained players), the lattice's, and
/// whatever systematic lateness the fingers have. Tuned on rendered pieces.
pub(super) fn spread(role: Role, beat: f64) -> f64 {
    let hand = match role {
        Role::Bass => 0.013,
        Role::Melody => 0.021,
    };
    f64::hypot(hand, 0.024 * beat)
}

/// Log-probability of a meter: how common it is in fingerstyle playing (our own estimate).
pub(super) fn meter(meter: Meter) -> f64 {
    let p: f64 = match (meter.count, meter.unit) {
        (4, 4) => 0.72,
        (3, 4) => 0.13,
        (6, 8) => 0.08,
        (12, 8) => 0.012,
        (2, 4) => 0.03,
        (5, 4) => 0.01,
        _ => 0.005,
    };
    p.ln()
}

/// Concentration of a chord over the twelve pitch classes. This and the next five: tuned on
/// rendered pieces, rounded.
pub(super) const CHORD: f64 = 0.25;
/// Pitch classes beyond one (exponential of the entropy) from which on chords tell all they can.
pub(super) const CHORDAL: f64 = 2.0;
/// Beats of evidence that the usual rates of thumb and fingers are worth against the piece's own
/// pattern, and the weight of the pattern: no more than that of the beats, whose empty slots it
/// takes back.
pub(super) const USUAL: f64 = 2.5;
pub(super) const PATTERN: f64 = 0.65;
/// Chance of a thumb note on a downbeat.
pub(super) const ON_ONE: f64 = 0.9;
/// Most that a meter can lose by dividing its beats otherwise than they are played, nats.
pub(super) const MISFIT: f64 = 20.0;
/// Gain per SD of a lower thumb, and of a stronger accent.
pub(super) const LOW: f64 = 1.0;
pub(super) const ACCENT: f64 = 0.75;

/// An opening without a pulse: fewest beats of it and of what follows; most that its beats may be
/// believed (mean confidence), and as a share of those that follow; least change of its beat from
/// one to the next. Tuned on rendered pieces (corpus seeds 11 to 13, 101 to 104 and the default).
pub(super) const OPENING: usize = 4;
pub(super) const FOLLOWS: usize = 12;
pub(super) const DOUBTFUL: f64 = 0.65;
pub(super) const LESS: f64 = 0.75;
pub(super) const WANDERS: f64 = 0.012;

/// Logistic regression of "this bar is right: its beats and both its bar lines": constant; mean
/// probability of the beats around; share of them that the thumb plays; how much more the bar lines
/// among them look like downbeats than the other beats; lead over the next bars, and over the next
/// other beats (tens of nats). Fitted on 120 performances that were kept back and the rendered
/// pieces of two seeds, the former counting three times as much; judged on others (`DEVELOPERS.md`).
const SURE: [f64; 6] = [-2.50, 0.26, 1.89, 2.10, -0.12, 0.81];

/// Probability that a bar is right.
pub(super) fn sure(known: [f64; 5]) -> f64 {
    let sum: f64 = known.iter().zip(&SURE[1..]).map(|(x, w)| x * w).sum();
    1.0 / (1.0 + (-SURE[0] - sum).exp())
}

/// Own beats of the tempo levels, seconds: each is tracked over an octave around it.
pub(super) const LEVELS: [f64; 4] = [0.34, 0.50, 0.75, 1.10];
