//! A plucked steel-string guitar, for the demo, drills and tests.
//!
//! Owns the sound of strokes on strings: each string is a sum of damped modes with stiff-string
//! inharmonicity, two polarisations that decay at two rates, a pluck position, a fingertip's
//! softness, and a body. Every stroke's onset is known to the sample and every sample follows from
//! the seed. Which notes to play, and when a human would play them, is the caller's business.

mod body;
mod stroke;
mod voice;

use crate::unit::{Decibels, Seconds, Span};
use body::Body;
use stroke::mix;
use voice::Voice;

pub use stroke::{Chance, Played, Stroke};

/// The instrument and how it is recorded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Guitar {
    /// Frames a second, 8,000 to 192,000.
    pub rate: u32,
    /// Two microphones instead of one.
    pub stereo: bool,
    /// Noise of room and microphone against full scale; none for digital silence.
    pub noise: Option<Decibels>,
    /// Everything that is chance follows from this.
    pub seed: u64,
}

impl Default for Guitar {
    fn default() -> Self {
        Self {
            rate: 44_100,
            stereo: false,
            noise: Some(Decibels(-72.0)),
            seed: 1,
        }
    }
}

/// What came out of a [`Guitar`].
#[derive(Debug, Clone, PartialEq)]
pub struct Sound {
    /// One or two channels of equal length, peak at most 0.9.
    pub channels: Vec<Vec<f32>>,
    /// For each stroke, in the order given: first frame of its attack above 10 % of its peak, and
    /// the frame at which it was damped.
    pub spans: Vec<(usize, usize)>,
}

/// A hand touches a string this long before it plucks it again (tuned by ear on the demo).
const TOUCH: Span = Span::from_ms(9.0);

/// An attack's peak is sought in this long.
const ATTACK: Span = Span::from_ms(10.0);

/// Peak above which the whole sound is turned down.
const CEILING: f32 = 0.9;

/// Full-scale share of one stroke at 0 dB (leaves room for six strings).
const FIRM: f64 = 0.45;

impl Guitar {
    /// Plays `strokes` (any order) into a sound of `length`; what rings longer is cut.
    ///
    /// A stroke that lies outside the sound, or on a string above a third of the sample rate,
    /// is silent. A pluck damps what rings on its string a moment before it; a hammer-on or
    /// pull-off at its own onset.
    pub fn play(&self, strokes: &[Played], length: Span) -> Sound {
        let frames = (length.0.max(0.0) * f64::from(self.rate)).round() as usize;
        let sides = if self.stereo { 2 } else { 1 };
        let mut channels = vec![vec![0f32; frames]; sides];
        let mut knocks = channels.clone();
        let ends = ends(strokes);
        let mut spans = Vec::with_capacity(strokes.len());
        for (i, (stroke, &end)) in strokes.iter().zip(&ends).enumerate() {
            let onset = stroke.at.frame(self.rate);
            let end = end.frame(self.rate).max(onset + 1);
            spans.push((onset, end.min(frames)));
            if onset >= frames || stroke.at.0 < 0.0 {
                continue;
            }
            let seed = mix(self.seed, i as u64);
            let gain = (FIRM * stroke.level.amplitude()) as f32;
            let voice = Voice::new(stroke, self.rate, seed);
            let mut samples = voice.render(end - onset, frames - onset);
            let knock = voice.knock(seed);
            let start = onset as isize - self.lead(&samples, &knock) as isize;
            for sample in &mut samples {
                *sample *= gain;
            }
            for (side, pan) in pan(stroke.string, sides).enumerate() {
                add(&mut channels[side], &samples, start, pan);
                add(&mut knocks[side], &knock, start, pan * gain);
            }
        }
        for (side, (channel, knock)) in channels.iter_mut().zip(&knocks).enumerate() {
            Body::new(self.rate, side).speak(channel, knock);
        }
        self.finish(&mut channels);
        Sound { channels, spans }
    }

    /// Frames from a voice's first sample to its onset: the first sample above a tenth of the
    /// peak that the body radiates in the first 10 ms.
    fn lead(&self, samples: &[f32], knock: &[f32]) -> usize {
        let mut attack = vec![0f32; (ATTACK.0 * f64::from(self.rate)) as usize];
        add(&mut attack, samples, 0, 1.0);
        Body::new(self.rate, 0).speak(&mut attack, knock);
        let peak = attack.iter().fold(0f32, |p, s| p.max(s.abs()));
        let risen = attack.iter().position(|s| s.abs() > 0.1 * peak);
        risen.unwrap_or(0)
    }

    /// Adds the room's noise and keeps the peak below full scale.
    fn finish(&self, channels: &mut [Vec<f32>]) {
        let peak = channels.iter().flatten().fold(0f32, |p, s| p.max(s.abs()));
        if peak > CEILING {
            let down = CEILING / peak;
            for sample in channels.iter_mut().flatten() {
                *sample *= down;
            }
        }
        let Some(level) = self.noise else { return };
        // A uniform variate of ±1 has an effective value of 1/√3.
        let gain = (level.amplitude() * 3f64.sqrt()) as f32;
        for (side, channel) in channels.iter_mut().enumerate() {
            let mut chance = Chance::new(mix(self.seed, u64::MAX - side as u64));
            for sample in channel.iter_mut() {
                *sample += gain * chance.signed();
            }
        }
    }
}

/// When each stroke is damped: as asked, or by the next stroke on its string.
fn ends(strokes: &[Played]) -> Vec<Seconds> {
    let mut order: Vec<usize> = (0..strokes.len()).collect();
    order.sort_by(|&a, &b| strokes[a].at.total_cmp(&strokes[b].at));
    let mut ends: Vec<Seconds> = strokes.iter().map(|s| s.until).collect();
    let mut ringing: [Option<usize>; 256] = [None; 256];
    for i in order
        .into_iter()
        .filter(|&i| strokes[i].stroke != Stroke::Tap)
    {
        let next = &strokes[i];
        if let Some(last) = ringing[usize::from(next.string)].replace(i) {
            let touch = match next.stroke {
                Stroke::HammerOn | Stroke::PullOff { .. } => next.at,
                _ => next.at - TOUCH,
            };
            let latest = touch.0.max(strokes[last].at.0);
            ends[last] = Seconds(ends[last].0.min(latest));
        }
    }
    ends
}

/// Gains of the microphones for one string: low strings a little to the left.
fn pan(string: u8, sides: usize) -> impl Iterator<Item = f32> {
    let lean = (f32::from(string) - 3.5).clamp(-4.0, 4.0) * 0.05;
    [1.0 + lean, 1.0 - lean]
        .into_iter()
        .map(move |g| if sides == 1 { 1.0 } else { g })
        .take(sides)
}

/// Adds `samples` into `channel` from frame `start` (may be negative), where it lies inside.
fn add(channel: &mut [f32], samples: &[f32], start: isize, gain: f32) {
    let skip = (-start).max(0) as usize;
    let Some(samples) = samples.get(skip..) else {
        return;
    };
    let from = start.max(0) as usize;
    if let Some(place) = channel.get_mut(from..) {
        for (there, sample) in place.iter_mut().zip(samples) {
            *there += gain * sample;
        }
    }
}
