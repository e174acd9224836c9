//! The click's sound: three short pitched ticks, made once, played without a lookup that waits.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::pulse::Accent;

/// Ticks that may sound at once; the oldest gives way.
const VOICES: usize = 8;

/// Frequencies in Hz and levels of the three sounds: an octave and a fifth apart, so that bar one
/// is told from beats by pitch and not by level alone.
const SOUNDS: [(f64, f64); 3] = [(2093.0, 1.0), (1396.9, 0.8), (1046.5, 0.5)];

/// Length of a tick in seconds.
const LENGTH: f64 = 0.03;

/// Seconds in which it falls to 1/e.
const DECAY: f64 = 0.006;

#[derive(Debug, Clone, Copy, Default)]
struct Tick {
    sound: usize,
    /// Next sample, counted from the tick's first; negative while it is still to come.
    at: isize,
    live: bool,
}

/// Plays ticks.
pub(super) struct Ticker {
    sounds: [Vec<f32>; 3],
    ticks: [Tick; VOICES],
    next: usize,
}

/// One tick, full scale 1, first sample at the attack.
pub(super) fn sound(accent: Accent, rate: f64) -> Vec<f32> {
    let (hz, level) = SOUNDS[index(accent)];
    let frames = (LENGTH * rate) as usize;
    (0..frames)
        .map(|i| {
            let t = i as f64 / rate;
            let end = 1.0 - i as f64 / frames as f64;
            (level * (-t / DECAY).exp() * end * (std::f64::consts::TAU * hz * t).cos()) as f32
        })
        .collect()
}

fn index(accent: Accent) -> usize {
    match accent {
        Accent::Bar => 0,
        Accent::Beat => 1,
        Accent::Between => 2,
    }
}

impl Ticker {
    pub(super) fn new(rate: f64) -> Self {
        Self {
            sounds: [Accent::Bar, Accent::Beat, Accent::Between].map(|a| sound(a, rate)),
            ticks: [Tick::default(); VOICES],
            next: 0,
        }
    }

    /// A tick whose first sample is `offset` frames into the next call of [`Ticker::add`].
    pub(super) fn strike(&mut self, accent: Accent, offset: usize) {
        self.ticks[self.next] = Tick {
            sound: index(accent),
            at: -(offset as isize),
            live: true,
        };
        self.next = (self.next + 1) % VOICES;
    }

    /// Silences everything.
    pub(super) fn clear(&mut self) {
        self.ticks = [Tick::default(); VOICES];
    }

    /// Adds the next samples to `out`.
    pub(super) fn add(&mut self, out: &mut [f32]) {
        for tick in self.ticks.iter_mut().filter(|t| t.live) {
            let sound = &self.sounds[tick.sound];
            for (i, o) in out.iter_mut().enumerate() {
                let at = tick.at + i as isize;
                if let Some(s) = usize::try_from(at).ok().and_then(|at| sound.get(at)) {
                    *o += s;
                }
            }
            tick.at += out.len() as isize;
            tick.live = tick.at < sound.len() as isize;
        }
    }
}
