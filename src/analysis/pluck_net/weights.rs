//! The network: its shape, its weights and how they come together.
//!
//! The order of `ear.f32` is that of `export` in `xtask/train/network.py`: layer by layer,
//! weights `[tap or distance][input][output]`, then biases; little-endian f32, normalisations
//! folded in.

use super::layers::{Dense, Reaching, Scratch, Sliding, WeightReader, add_products};
use super::patch::{BANDS, BINS, CHANNELS, FRAMES, LEVELS, LOW_MIDI, PER_SEMITONE};
use std::sync::LazyLock;

/// Channels along the pitch axis, first and second layer.
const FIRST: usize = 16;
const SECOND: usize = 20;
/// Channels of a pitch: from its partials and the first look around; from the second.
const PITCH: usize = 32;
const WEIGHED: usize = 24;
/// Channels along time, and what is kept of them.
const BEAT: usize = 24;
const CONTEXT: usize = 32;
const HIDDEN: usize = 40;
/// Told of every pitch: newly sounded, sounding, where it begins, four ways of making it.
pub const SAYS: usize = 7;
/// Onset, six kinds, offset.
const SCALARS: usize = 8;
/// Frames of the envelope after the layer that takes every other one.
const HALF: usize = FRAMES.div_ceil(2);
/// Where the partials of a pitch lie, in thirds of a semitone: 1/3, 1/2, 1 to 12, 14 and 16 times its
/// frequency.
const PARTIALS: [isize; 16] = [
    -57, -36, 0, 36, 57, 72, 84, 93, 101, 108, 114, 120, 125, 129, 137, 144,
];
/// Pitches that a pitch is weighed against, in semitones: its neighbours, fourths, fifths, octaves.
const NEIGHBOURS: [isize; 15] = [-24, -19, -12, -7, -5, -2, -1, 0, 1, 2, 5, 7, 12, 19, 24];

/// The pitches it is weighed against once more: fourths, fifths, octaves, twelfths.
const AGAIN: [isize; 9] = [-19, -12, -7, -5, 0, 5, 7, 12, 19];

const BYTES: &[u8] = include_bytes!("ear.f32");
const COUNT: usize = (5 * CHANNELS + 1) * FIRST
    + (3 * FIRST + 1) * SECOND
    + (3 * BANDS + 1) * BEAT
    + (3 * BEAT + 1) * BEAT
    + (HALF * BEAT + LEVELS + 1) * CONTEXT
    + (PARTIALS.len() * SECOND + 1) * PITCH
    + CONTEXT * PITCH
    + (NEIGHBOURS.len() * PITCH + 1) * PITCH
    + (AGAIN.len() * PITCH + 1) * WEIGHED
    + (PITCH + WEIGHED + 1) * SAYS
    + (PITCH + WEIGHED + CONTEXT + LEVELS + 1) * HIDDEN
    + (HIDDEN + 1) * SCALARS
    + CONTEXT
    + 1;
const _: () = assert!(
    BYTES.len() == 4 * COUNT,
    "ear.f32 does not fit this network"
);

/// The network with its weights.
pub static MODEL: LazyLock<Network> = LazyLock::new(Network::read);

/// What the network says, before probabilities are made of it.
pub struct Logits {
    /// For each pitch: newly sounded, sounding, offset in hundredths of a second, hammered or
    /// pulled, slid, harmonic, dead.
    pub pitches: [[f32; SAYS]; PITCHES],
    /// Onset, kinds, offset in hundredths of a second.
    pub scalars: [f32; SCALARS],
}

/// All layers.
pub struct Network {
    spectral: (Sliding<FIRST>, Sliding<SECOND>),
    temporal: (Sliding<BEAT>, Sliding<BEAT>),
    context: Dense<CONTEXT>,
    partials: Reaching<PITCH>,
    /// `[context][pitch channel]`, flat.
    tint: Vec<f32>,
    neighbours: Reaching<PITCH>,
    again: Reaching<WEIGHED>,
    pitch: Dense<SAYS>,
    hidden: Dense<HIDDEN>,
    scalars: Dense<SCALARS>,
    early: Dense<1>,
}

impl Network {
    fn read() -> Self {
        let mut file = WeightReader::new(BYTES);
        Self {
            spectral: (file.sliding(5, CHANNELS, 1), file.sliding(3, FIRST, 1)),
            temporal: (file.sliding(3, BANDS, 1), file.sliding(3, BEAT, 2)),
            context: file.dense(HALF * BEAT + LEVELS),
            partials: file.reaching(&PARTIALS, SECOND),
            tint: file.take(CONTEXT * PITCH),
            neighbours: file.reaching(&NEIGHBOURS, PITCH),
            again: file.reaching(&AGAIN, PITCH),
            pitch: file.dense(PITCH + WEIGHED),
            hidden: file.dense(PITCH + WEIGHED + CONTEXT + LEVELS),
            scalars: file.dense(HIDDEN),
            early: file.dense(CONTEXT),
        }
    }

    /// What the envelope tells.
    pub fn context(&self, envelope: &[[f32; BANDS]], levels: [f32; LEVELS]) -> [f32; CONTEXT] {
        let (mut first, mut second) = (Vec::new(), Vec::new());
        self.temporal.0.over(envelope.as_flattened(), &mut first);
        self.temporal.1.over(&first, &mut second);
        self.context.of(&[&second, &levels]).map(|x| x.max(0.0))
    }

    /// Whether a note begins, from the envelope alone (the larger the surer).
    pub fn early(&self, context: &[f32; CONTEXT]) -> f32 {
        self.early.of(&[context])[0]
    }

    /// Everything else.
    pub fn say(
        &self,
        spectra: &[[f32; CHANNELS]],
        context: &[f32; CONTEXT],
        levels: [f32; LEVELS],
        scratch: &mut Scratch,
    ) -> Logits {
        debug_assert_eq!(spectra.len(), BINS);
        let Scratch {
            first,
            second,
            partials,
            weighed,
        } = scratch;
        self.spectral.0.over(spectra.as_flattened(), first);
        self.spectral.1.over(first, second);
        let mut tint = [0.0; PITCH];
        add_products(context, &self.tint, &mut tint);
        partials.clear();
        for pitch in 0..PITCHES {
            let bin = PER_SEMITONE * (pitch + usize::from(LOWEST) - LOW_MIDI) + 1;
            let sums = self.partials.at(bin as isize, second);
            partials.extend(sums.iter().zip(&tint).map(|(a, b)| (a + b).max(0.0)));
        }
        weighed.clear();
        for pitch in 0..PITCHES {
            let sums = self.neighbours.at(pitch as isize, partials);
            weighed.extend(sums.map(|x| x.max(0.0)));
        }
        let mut best = [0.0_f32; PITCH + WEIGHED];
        let mut pitches = [[0.0; SAYS]; PITCHES];
        for (pitch, said) in pitches.iter_mut().enumerate() {
            let once = &weighed[pitch * PITCH..(pitch + 1) * PITCH];
            let again = self.again.at(pitch as isize, weighed).map(|x| x.max(0.0));
            *said = self.pitch.of(&[once, &again]);
            for (best, x) in best.iter_mut().zip(once.iter().chain(&again)) {
                *best = best.max(*x);
            }
        }
        let hidden = self
            .hidden
            .of(&[&best, context, &levels])
            .map(|x| x.max(0.0));
        Logits {
            pitches,
            scalars: self.scalars.of(&[&hidden]),
        }
    }
}

/// The lowest pitch that is told, a MIDI number: C2, the lowest string of the lowest tuning.
pub const LOWEST: u8 = 36;

/// The highest pitch that is told, a MIDI number: E6, the 24th fret of the first string.
pub const HIGHEST: u8 = 88;

/// Pitches told, a semitone each.
pub const PITCHES: usize = (HIGHEST - LOWEST) as usize + 1;
