//! What is played: one stroke of one string, and the chance that makes two strokes alike never quite the same.

use crate::unit::{Decibels, MidiNote, Seconds};

/// How a string is set going.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stroke {
    /// Pulled aside and let go by thumb or finger.
    Pluck,
    /// The fretting finger comes down on a ringing string.
    HammerOn,
    /// The fretting finger leaves the string sideways, from this fret.
    PullOff {
        /// The fret it leaves, higher than the sounding one.
        from: u8,
    },
    /// Plucked while a finger rests on a node: only multiples of this partial ring on.
    Harmonic {
        /// Partial that sounds: 2 at the 12th fret, 3 at the 7th, 4 at the 5th.
        number: u8,
    },
    /// Plucked while damped: a thud with hardly any pitch.
    Dead,
    /// A knock on the body; string and fret are ignored.
    Tap,
}

/// One stroke of a performance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Played {
    /// Onset: the instant its attack first rises above 10 % of the attack's peak.
    pub at: Seconds,
    /// When a hand damps it; cut short by the string's next stroke.
    pub until: Seconds,
    /// String, 1 = highest.
    pub string: u8,
    /// Pitch of that string at fret 0 (capo included), with cents as a fraction.
    pub open: MidiNote,
    /// Fret above the capo, 0 = open.
    pub fret: u8,
    /// How it is set going.
    pub stroke: Stroke,
    /// Loudness: 0 dB is a firm stroke. Harder is also brighter.
    pub level: Decibels,
    /// Where it is plucked, as a share of the sounding string from the bridge: 0.05 to 0.5.
    pub position: f64,
    /// Softness of what plucks: cut-off in Hz, about 2,400 for a thumb's flesh, 5,000 for a nail.
    pub edge: f64,
}

impl Played {
    /// A pluck with the usual hand for its string: thumb's flesh on strings 4 and lower, nail and
    /// flesh on the others, near the sound hole.
    pub fn pluck(at: Seconds, until: Seconds, string: u8, open: MidiNote, fret: u8) -> Self {
        let thumb = string >= 4;
        Self {
            at,
            until,
            string,
            open,
            fret,
            stroke: Stroke::Pluck,
            level: Decibels(if thumb { -8.0 } else { -9.0 }),
            position: if thumb { 0.2 } else { 0.17 },
            edge: if thumb { 2400.0 } else { 4500.0 },
        }
    }

    /// Sounding pitch; none for a knock.
    pub fn pitch(&self) -> Option<MidiNote> {
        let stopped = MidiNote(self.open.0 + f64::from(self.fret));
        match self.stroke {
            Stroke::Tap => None,
            Stroke::Harmonic { number } => {
                Some(MidiNote::of_hz(stopped.hz() * f64::from(number.max(1))))
            }
            _ => Some(stopped),
        }
    }
}

/// A reproducible source of chance (SplitMix64: Steele, Lea & Flood 2014, OOPSLA).
#[derive(Debug, Clone)]
pub struct Chance {
    seed: u64,
    drawn: u64,
}

impl Chance {
    /// The sequence that follows from `seed`.
    pub fn new(seed: u64) -> Self {
        Self { seed, drawn: 0 }
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.drawn += 1;
        mix(self.seed, self.drawn)
    }

    /// Uniform from 0 (included) to 1 (excluded).
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform from −1 to 1.
    pub fn signed(&mut self) -> f32 {
        (2.0 * self.unit() - 1.0) as f32
    }

    /// Normal with mean 0 and variance 1 (Box & Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
}

/// Two seeds into one (the finaliser of SplitMix64: Steele, Lea & Flood 2014, OOPSLA).
pub(super) fn mix(a: u64, b: u64) -> u64 {
    let mut z = a.wrapping_add(b.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15));
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}
