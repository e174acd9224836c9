//! The time-stretch engine: a recording slower or faster at its own pitch, or at another pitch.
//!
//! Owns the way from an `Arc<Recording>` and its onsets to samples, in real time
//! ([`Stretcher`]) and offline ([`render`]); both give the same samples. It finds pitch, beats or
//! names of notes nowhere, and it opens no file.
//!
//! ```text
//! onsets ─► plan ─► copy at rate 1 (attacks) ──────────────┐
//!             └───► vocoder frame ─► peaks turned ─────────┴► overlap-add ─► resample
//! ```
//!
//! - `plan`, `step`: each onset exactly at onset ÷ speed; attacks at rate 1; what is between bends.
//! - `vocoder`, `peaks`, `window`: phase vocoder frames that never look across an onset.
//! - `pairs`: two partials under one peak go on by their own frequencies.
//! - `masked`: partials that something louder masks keep a peak of their own.
//! - `continuation`: phase continuation of strings that ring on through an attack or a seam.
//! - `noise`: what is as flat as noise is not turned into tones.
//! - `overlap_add`: sums divided by the weights actually summed.
//! - `resample`: change of pitch.
//! - `transient`: the engine's own reading of plucks, while there is no other.
//!
//! # Use
//! On the audio thread: [`Stretcher::new`] elsewhere, then [`Stretcher::process`] with blocks of
//! any size, and between blocks [`Stretcher::seek`], [`Stretcher::set_speed`],
//! [`Stretcher::set_pitch`], [`Stretcher::set_onsets`], [`Stretcher::set_loop`] and
//! [`Stretcher::jump`]. None of them allocates, frees, locks or waits.
//!
//! A change of speed is heard after at most [`Stretcher::latency`] frames: what is nearer is
//! already worked out. [`Stretcher::position`] knows about it and tells what sounds now.

mod continuation;
mod core;
mod masked;
mod noise;
mod onsets;
#[doc(hidden)]
pub mod overlap_add;
mod pairs;
mod peaks;
#[doc(hidden)]
pub mod phase;
mod pitch;
mod place;
mod plan;
mod render;
mod resample;
mod spectra;
mod speed;
mod step;
pub mod transient;
mod vocoder;
mod window;

pub use onsets::{OnsetError, OnsetTable};
pub use pitch::PitchShift;
pub use render::{Cancelled, render, render_blocks};
pub use speed::{FASTEST, SLOWEST, Speed, SpeedError, SpeedMap};

use crate::recording::Recording;
use resample::Resampler;
use speed::Rates;
use std::ops::Range;
use std::sync::Arc;

/// Shortest loop, seconds; a shorter one is made this long.
const SHORTEST_LOOP: f64 = 0.02;
/// Output frames between two looks for a jump that could not be planned.
const WATCH: usize = 32;

/// Reads a recording in real time at any speed and pitch, from any frame, looped or not.
///
/// [`Stretcher::new`] allocates all it needs; no other method allocates or frees, except through
/// the `Arc` that [`Stretcher::set_onsets`] returns.
pub struct Stretcher {
    core: core::Core,
    resampler: Resampler,
    speed: Speed,
    pitch: PitchShift,
    /// What sounded before a seek, fading out, per channel; how many frames of it are left.
    tail: Vec<Vec<f32>>,
    tail_left: usize,
    /// Whether anything was put out since the last start.
    sounding: bool,
    region: Option<(usize, usize)>,
    /// A jump that came too late to be planned.
    late: Option<(usize, usize)>,
    watch: usize,
}

impl Stretcher {
    /// A reader of `recording` at its first frame, at speed 1.
    pub fn new(recording: Arc<Recording>, onsets: Arc<OnsetTable>) -> Self {
        let map = SpeedMap::constant(Speed::NORMAL);
        let rates = Rates::of_map(&map, recording.rate(), 1.0);
        let core = core::Core::new(recording, onsets, rates);
        let channels = core.channels();
        Self {
            resampler: Resampler::new(channels),
            tail: vec![vec![0.0; core.fade()]; channels],
            core,
            speed: Speed::NORMAL,
            pitch: PitchShift::UNCHANGED,
            tail_left: 0,
            sounding: false,
            region: None,
            late: None,
            watch: 0,
        }
    }

    /// The recording it reads.
    pub fn recording(&self) -> &Arc<Recording> {
        self.core.recording()
    }

    /// The speed last set.
    pub fn speed(&self) -> Speed {
        self.speed
    }

    /// The pitch last set.
    pub fn pitch(&self) -> PitchShift {
        self.pitch
    }

    /// Most output frames that a change of speed takes to be heard: 155 ms at 44.1 kHz, 142 ms at
    /// 48 kHz, and between 125 and 250 ms at any rate, since windows are powers of two.
    pub fn latency(&self) -> usize {
        self.core.horizon()
    }

    /// Output frames until a change of speed made now is heard, at the present pitch: at most
    /// [`Stretcher::latency`].
    pub fn planned(&self) -> f64 {
        (self.core.planned() + self.resampler.ahead()) / self.pitch.ratio()
    }

    /// Nothing that sounded before the next [`Stretcher::seek`] will fade out after it.
    pub fn cut(&mut self) {
        self.tail_left = 0;
        self.sounding = false;
    }

    /// Goes on at `frame` of the recording (at most its end). The first sample is already right;
    /// what sounded before fades out within 3 ms.
    pub fn seek(&mut self, frame: usize) {
        if self.sounding {
            let (tail, left) = (&mut self.tail, self.tail_left);
            let fade = self.core.fade();
            let old = fade - left;
            let len = tail[0].len();
            self.core.end_soon();
            self.resampler.read(&mut self.core, len, |channel, i, s| {
                let t = &mut tail[channel];
                // What was still fading out goes on doing so.
                let rest = if old + i < fade && left > 0 {
                    t[old + i]
                } else {
                    0.0
                };
                let rise = rise_at(old + i, fade);
                t[i] = if left > 0 {
                    s * rise + rest * (1.0 - rise)
                } else {
                    s
                };
            });
            self.tail_left = fade;
        }
        self.core.seek(frame, self.resampler.first());
        self.resampler.restart();
        self.late = None;
        self.sounding = false;
    }

    /// Changes the speed of what is not worked out yet.
    pub fn set_speed(&mut self, speed: Speed) {
        if speed != self.speed {
            self.speed = speed;
            self.core.set_speed(speed.get() / self.pitch.ratio());
        }
    }

    /// Changes the pitch, at once.
    pub fn set_pitch(&mut self, pitch: PitchShift) {
        if pitch != self.pitch {
            self.pitch = pitch;
            self.resampler.set_ratio(pitch.ratio());
            self.core.set_speed(self.speed.get() / pitch.ratio());
        }
    }

    /// Uses another onset table from now on, without a click; returns the old one, to be freed
    /// elsewhere than on the audio thread.
    pub fn set_onsets(&mut self, onsets: Arc<OnsetTable>) -> Arc<OnsetTable> {
        self.core.set_onsets(onsets)
    }

    /// Repeats `region` (frames of the recording) from the next time its end is reached; `None`
    /// plays on. A region shorter than 20 ms is made that long, an empty one is none, and what
    /// lies outside the recording is cut off.
    pub fn set_loop(&mut self, region: Option<Range<usize>>) {
        let recording = self.core.recording();
        let (rate, frames) = (f64::from(recording.rate()), recording.frames());
        let least = (SHORTEST_LOOP * rate).ceil() as usize;
        self.region = region
            .filter(|r| r.start < r.end && r.start < frames)
            .map(|r| (r.start, r.end.max(r.start + least).min(frames)))
            .filter(|r| r.1 - r.0 >= least.min(frames));
        self.late = None;
        if !self.core.set_region(self.region)
            && let Some((a, b)) = self.region
            && self.position() < b as f64
        {
            self.late = Some((b, a));
        }
    }

    /// The region that is repeated, in frames of the recording.
    pub fn looped(&self) -> Option<Range<usize>> {
        self.region.map(|(a, b)| a..b)
    }

    /// Once, when frame `from` of the recording is reached, goes on at frame `to`, as at a loop's
    /// seam. Where `from` has been passed, it jumps at once.
    pub fn jump(&mut self, from: usize, to: usize) {
        let end = self.core.recording().frames();
        if !self.core.jump(from, to.min(end)) {
            self.late = Some((from, to.min(end)));
        }
    }

    /// Frame of the recording that the next output sample sounds.
    pub fn position(&self) -> f64 {
        let end = self.core.recording().frames() as f64;
        self.core.position(self.resampler.ahead()).clamp(0.0, end)
    }

    /// Whether the recording has been played to its end (and no loop holds it).
    pub fn ended(&self) -> bool {
        self.core.ended() && self.resampler.ahead() <= 0.0
    }

    /// Writes the next frames: `out` is planar, all slices of one length, any length. Channels
    /// that the recording does not have repeat its last one. After the end it writes silence.
    pub fn process(&mut self, out: &mut [&mut [f32]]) {
        let frames = out.iter().map(|o| o.len()).min().unwrap_or(0);
        let mut done = 0;
        while done < frames {
            if self.watch == 0 {
                self.watch = WATCH;
                if let Some((from, to)) = self.late
                    && self.position() >= from as f64
                {
                    self.seek(to);
                }
            }
            let n = self.watch.min(frames - done);
            self.write(out, done, n);
            self.watch -= n;
            done += n;
        }
    }

    fn write(&mut self, out: &mut [&mut [f32]], from: usize, n: usize) {
        let channels = self.core.channels();
        let fade = self.core.fade();
        let (left, tail) = (self.tail_left, &self.tail);
        self.resampler.read(&mut self.core, n, |channel, i, s| {
            let mut s = s;
            if i < left {
                let at = fade - left + i;
                let rise = rise_at(at, fade);
                s = s * rise + tail[channel][at] * (1.0 - rise);
            }
            if let Some(o) = out.get_mut(channel) {
                o[from + i] = s;
            }
        });
        self.tail_left = left.saturating_sub(n);
        self.sounding = true;
        if let Some((known, more)) = out.split_at_mut_checked(channels)
            && let Some(last) = known.last()
        {
            for extra in more {
                extra[from..from + n].copy_from_slice(&last[from..from + n]);
            }
        }
    }
}

fn rise_at(i: usize, fade: usize) -> f32 {
    window::raised(((i as f32 + 0.5) / fade as f32).min(1.0))
}
