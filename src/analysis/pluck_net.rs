//! A small network that listens at one instant: does a note begin here, which pitches, plucked how.
//!
//! Owns the patch of sound it reads, its weights and what they say. It does not search for
//! instants (`candidates` does) and does not decide: its answers are probabilities for the stage that
//! weighs them against strings, hands and time. Trained by `xtask/train` on that folder's own
//! rendered guitars, never on a recording; where the weights come from, how they were made and
//! how well they do is in its README.
//!
//! How to call it: estimate the tuning offset of the recording first, make one [`PluckNet`], then
//! read every candidate onset:
//!
//! ```
//! use thumbline::analysis::{RATE, pluck_net::Listener};
//! use thumbline::unit::Cents;
//! let mono = vec![0.0_f32; RATE as usize];
//! let mut listener = Listener::new(&mono, Cents(0.0));
//! let reading = listener.read(0.5);
//! assert!(reading.onset < 0.5); // silence: nothing begins
//! ```
//!
//! What the answers mean. [`Prediction::onset`] above about one half: at least one new note within
//! ±20 ms. Candidates may be up to 15 ms off; [`Prediction::offset`] says how far the first of the
//! notes lies from the instant asked (to 1–2 ms on clear plucks: less exact than a time read off
//! the waveform, enough to choose between two candidates). Two readings closer than 20 ms see the
//! same notes: keep the higher `onset`, or give each pitch to the reading where its probability is
//! highest. A pinch or strum shows as several pitches at once. [`Prediction::sounding`] holds the old
//! notes that go on and the new ones: a new pitch that repeats one already sounding is in both.

pub(super) mod layers;
mod patch;
mod weights;

use crate::stop;
use crate::unit::Cents;
use patch::Patches;
use weights::MODEL;
pub use weights::{HIGHEST, LOWEST, PITCHES};

/// How what begins here was made: a probability each, not exclusive (a pinch can hold a pluck and
/// a harmonic).
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Kinds {
    /// Plucked, strummed or struck with a finger, nail or pick.
    pub pluck: f32,
    /// Hammered on or pulled off.
    pub legato: f32,
    /// Plucked elsewhere and slid to its pitch.
    pub slide: f32,
    /// A natural harmonic.
    pub harmonic: f32,
    /// Damped as it is plucked: hardly a pitch.
    pub dead: f32,
    /// A foot, a knuckle, a bump: no note.
    pub tap: f32,
}

/// How one new note was made: a probability each, of all that is not a plain pluck.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Articulation {
    /// See [`Kinds::legato`].
    pub legato: f32,
    /// See [`Kinds::slide`].
    pub slide: f32,
    /// See [`Kinds::harmonic`].
    pub harmonic: f32,
    /// See [`Kinds::dead`].
    pub dead: f32,
}

/// What was heard at one instant.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// Probability that at least one note begins within ±20 ms of the instant.
    pub onset: f32,
    /// For each pitch from [`LOWEST`]: probability that it is newly sounded within ±20 ms.
    pub pitches: [f32; PITCHES],
    /// For each pitch from [`LOWEST`]: where it begins, if it does, seconds after the instant, −0.02
    /// to 0.02.
    pub begins: [f64; PITCHES],
    /// For each pitch from [`LOWEST`]: how it is made, if it is newly sounded.
    pub made: [Articulation; PITCHES],
    /// For each pitch from [`LOWEST`]: probability that it sounds 30 to 60 ms after the instant,
    /// new or old.
    pub sounding: [f32; PITCHES],
    /// How it was made.
    pub kinds: Kinds,
    /// Where the first of the new notes lies, seconds after the instant (negative: before), −0.02
    /// to 0.02; means nothing where `onset` is low.
    pub offset: f64,
}

impl Prediction {
    /// Nothing begins, nothing is known of what sounds.
    fn nothing(onset: f32) -> Self {
        Self {
            onset,
            pitches: [0.0; PITCHES],
            begins: [0.0; PITCHES],
            made: [Articulation::default(); PITCHES],
            sounding: [0.0; PITCHES],
            kinds: Kinds::default(),
            offset: 0.0,
        }
    }

    /// Probability that MIDI pitch `midi` is newly sounded; 0 outside the range told.
    pub fn pitch(&self, midi: i32) -> f32 {
        usize::try_from(midi - i32::from(LOWEST))
            .ok()
            .and_then(|i| self.pitches.get(i))
            .copied()
            .unwrap_or(0.0)
    }

    /// New pitches above `threshold` (0 to 1), most probable first, as MIDI number and probability.
    pub fn above(&self, threshold: f32) -> Vec<(u8, f32)> {
        let mut found: Vec<(u8, f32)> = (LOWEST..=HIGHEST)
            .zip(self.pitches)
            .filter(|(_, p)| *p > threshold)
            .collect();
        found.sort_by(|a, b| b.1.total_cmp(&a.1));
        found
    }
}

/// Below this probability from the envelope alone the spectra are not read. Tuned with earlier weights
/// on eight rendered performances of `xtask/train` kept from training: none of their 598 notes lay
/// below it, 71 % of the false peaks did.
const EARLY: f32 = 0.01;

/// Reads instants of one recording.
pub struct PluckNet<'a> {
    patches: Patches<'a>,
    scratch: layers::Scratch,
}

impl<'a> PluckNet<'a> {
    /// Listens to `mono`, sampled at [`super::RATE`], of a guitar tuned `offset` away from
    /// A4 = 440 Hz. An offset wrong by up to 10 cents costs little; by 40, much.
    pub fn new(mono: &'a [f32], offset: Cents) -> Self {
        Self {
            patches: Patches::new(mono, offset),
            scratch: layers::Scratch::default(),
        }
    }

    /// What begins at `time`, seconds from the first sample; any finite time may be asked, silence
    /// surrounds the recording. Every value of the answer is finite.
    ///
    /// About 0.2 ms of one core; a third of that where the envelope alone rules a note out.
    pub fn read(&mut self, time: f64) -> Prediction {
        stop::check();
        let at = self.patches.sample(time);
        let levels = self.patches.levels(at);
        let envelope = self.patches.envelope(at);
        let context = MODEL.context(envelope, levels);
        let early = layers::sigmoid(MODEL.early(&context));
        if early < EARLY {
            return Prediction::nothing(early);
        }
        let spectra = self.patches.spectra(at);
        let said = MODEL.say(spectra, &context, levels, &mut self.scratch);
        let [onset, pluck, legato, slide, harmonic, dead, tap, offset] = said.scalars;
        let p = layers::sigmoid;
        // the network counts in hundredths of a second
        let seconds = |offset: f32| f64::from(offset.clamp(-2.0, 2.0)) * 0.01;
        Prediction {
            onset: p(onset),
            pitches: said.pitches.map(|[new, ..]| p(new)),
            begins: said.pitches.map(|[_, _, offset, ..]| seconds(offset)),
            made: said
                .pitches
                .map(|[_, _, _, legato, slide, harmonic, dead]| Articulation {
                    legato: p(legato),
                    slide: p(slide),
                    harmonic: p(harmonic),
                    dead: p(dead),
                }),
            sounding: said.pitches.map(|[_, old, ..]| p(old)),
            kinds: Kinds {
                pluck: p(pluck),
                legato: p(legato),
                slide: p(slide),
                harmonic: p(harmonic),
                dead: p(dead),
                tap: p(tap),
            },
            offset: seconds(offset),
        }
    }
}
