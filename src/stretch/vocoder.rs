//! One vocoder frame: analysed, turned, put back.
//!
//! The phase vocoder of Flanagan and Golden (Bell System Technical Journal 1966) with rigid
//! phase locking around peaks (Laroche and Dolson, IEEE Trans. Speech and Audio Processing 1999;
//! both from memory). A frame is the recording seen through a window, its spectrum multiplied by
//! exp(iθ) with one θ a peak; θ is 0 at speed 1 and right after an attack.
//!
//! From one frame to the next, at most a hop apart, a peak's phase as recorded moves on by Δφ
//! over Δt frames, and it must move on by ω Δu in the output, so θ grows by ω(Δu − Δt). With
//! ω = Δφ/Δt these steps telescope: an error in one frame's phase stays where it is and does not
//! add up to a wrong pitch. At the ends of a leg, where windows are short on one side, such an
//! error would stay with every string that rings on; there a partial that has rung evenly is
//! turned by its frequency from the clear frames before.
//!
//! A frame is worked on in units (one transform each), so that the caller can spread them.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::continuation::{self, Continuation};
use super::masked;
use super::noise::Noise;
use super::overlap_add::{Likeness, OverlapAdd};
use super::pairs::{EARLIER, Pairs};
use super::peaks::{Peak, Turn};
use super::spectra::Spectra;
use super::step::{Frame, Geometry, Start};
use super::window::{self};
use crate::recording::Recording;
use realfft::num_complex::Complex32;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// A window of two halves, before and after its centre.
struct Shape {
    before: Vec<f32>,
    after: Vec<f32>,
}

impl Shape {
    #[allow(
        clippy::disallowed_methods,
        reason = "made before the audio thread runs"
    )]
    fn new(half: usize) -> Self {
        Self {
            before: Vec::with_capacity(half),
            after: Vec::with_capacity(half),
        }
    }

    #[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
    fn set(&mut self, (left, right): (usize, usize)) {
        if self.before.len() != left {
            self.before.resize(left, 0.0);
            window::rise(&mut self.before);
        }
        if self.after.len() != right {
            self.after.resize(right, 0.0);
            window::fall(&mut self.after);
        }
    }
}

/// Units that bridging an attack zone is spread over.
const BRIDGE_UNITS: usize = 4;

/// The vocoder of one playing recording. Nothing allocates after [`Vocoder::new`].
pub(super) struct Vocoder {
    half: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    backward: Arc<dyn ComplexToReal<f32>>,
    scratch: Vec<Complex32>,
    time: Vec<f32>,
    turned: Vec<Complex32>,
    power: Vec<f32>,
    analysis: Shape,
    synthesis: Shape,
    now: Spectra,
    before: Spectra,
    /// Those before it, the newest first.
    earlier: [Spectra; EARLIER - 1],
    pairs: Pairs,
    spare: Vec<Peak>,
    continuation: Continuation,
    noise: Noise,
    like: Likeness,
    gain: f32,
    /// Frames that what sounded before a seam still reaches behind it.
    fade: usize,
}

impl Vocoder {
    #[allow(
        clippy::disallowed_macros,
        clippy::disallowed_methods,
        reason = "made before the audio thread runs"
    )]
    pub(super) fn new(geometry: &Geometry, channels: usize) -> Self {
        let size = 2 * geometry.half;
        let bins = geometry.half + 1;
        let mut planner = RealFftPlanner::<f32>::new();
        let forward = planner.plan_fft_forward(size);
        let backward = planner.plan_fft_inverse(size);
        let scratch = forward.get_scratch_len().max(backward.get_scratch_len());
        Self {
            half: geometry.half,
            scratch: vec![Complex32::new(0.0, 0.0); scratch],
            time: vec![0.0; size],
            turned: vec![Complex32::new(0.0, 0.0); bins],
            power: vec![0.0; bins],
            analysis: Shape::new(geometry.half),
            synthesis: Shape::new(geometry.half),
            now: Spectra::new(channels, bins),
            before: Spectra::new(channels, bins),
            earlier: std::array::from_fn(|_| Spectra::new(channels, bins)),
            pairs: Pairs::new(size, channels),
            spare: Vec::with_capacity(bins / 2 + 2),
            continuation: Continuation::new(geometry, channels),
            noise: Noise::new(geometry),
            // Hann analysis times Hann synthesis, summed at this hop, is 1 with this factor.
            gain: geometry.hop as f32 / (0.75 * geometry.half as f32),
            forward,
            backward,
            like: Likeness::default(),
            fade: geometry.fade,
        }
    }

    /// Units of work in a frame of `channels` channels, and in bridging an attack zone before it.
    pub(super) fn units(bridged: bool, channels: usize) -> usize {
        2 * channels + 2 + if bridged { BRIDGE_UNITS } else { 0 }
    }

    /// Forgets the last frame, so that no phase is carried over from it.
    pub(super) fn restart(&mut self) {
        self.now.peaks.clear();
    }

    /// Does unit `unit` of `frame`, in order from 0.
    pub(super) fn work(
        &mut self,
        unit: usize,
        frame: &Frame,
        recording: &Recording,
        ring: &mut OverlapAdd,
    ) {
        let channels = recording.width();
        if unit == 0 {
            if matches!(frame.start, Start::Seam { .. }) {
                let reach = frame.synthesis.0;
                ring.set_apart(frame.u - reach as i64, reach + self.fade);
                self.like = Likeness::default();
            }
            // The oldest makes room for this one.
            self.earlier.rotate_right(1);
            std::mem::swap(&mut self.earlier[0], &mut self.before);
            std::mem::swap(&mut self.before, &mut self.now);
            self.now.u = frame.u;
            self.now.t = frame.t;
            self.now.halves = frame.analysis;
            self.analysis.set(frame.analysis);
        }
        if unit < channels {
            let (left, right) = frame.analysis;
            let inside = |t: i64| t.clamp(0, recording.frames() as i64) as usize;
            let from = inside(frame.t - left as i64);
            let samples = recording.part(unit, from..inside(frame.t + right as i64));
            self.analyse(unit, frame, &samples, from as i64);
        } else if unit == channels {
            self.turn(frame);
        } else if unit == channels + 1 {
            self.pair_up(frame);
        } else if unit <= 2 * channels + 1 {
            if !frame.silent {
                self.put_back(unit - channels - 2, frame, ring);
            }
        } else if let Some(zone) = &frame.zone {
            let part = unit - 2 * channels - 2;
            self.continuation.bridge(part, BRIDGE_UNITS, zone, ring);
        }
    }

    /// Takes in what lies around the frame's centre: `samples` of the recording from `first` on,
    /// silence beside them.
    fn analyse(&mut self, channel: usize, frame: &Frame, samples: &[f32], first: i64) {
        let (left, right) = frame.analysis;
        let size = 2 * self.half;
        self.time[right..size - left].fill(0.0);
        // Zero phase: the centre is the first sample, what is before it wraps to the end.
        let centre = frame.t - first;
        shape(
            &mut self.time[size - left..],
            samples,
            centre - left as i64,
            &self.analysis.before,
        );
        shape(
            &mut self.time[..right],
            samples,
            centre,
            &self.analysis.after,
        );
        let bins = &mut self.now.bins[channel];
        // Lengths are those of the plan, so this cannot fail.
        let done = self
            .forward
            .process_with_scratch(&mut self.time, bins, &mut self.scratch);
        debug_assert!(done.is_ok());
        let first = channel == 0;
        for (p, x) in self.power.iter_mut().zip(bins.iter()) {
            let e = x.norm_sqr();
            *p = if first { e } else { *p + e };
        }
    }

    fn turn(&mut self, frame: &Frame) {
        let size = 2 * self.half;
        self.now.peaks.find(&self.power);
        let attack = frame.start == Start::Attack && frame.zone.is_some();
        let clear = self.now.is_clear(self.half) && self.before.is_clear(self.half);
        if attack || frame.start == Start::Continue && !clear {
            masked::keep(&mut self.now, &self.before, &mut self.spare);
        }
        self.now.peaks.untouched(size);
        self.continuation.clear();
        self.noise.clear();
        match frame.start {
            Start::Continue => {
                let turn = Turn {
                    size,
                    du: (self.now.u - self.before.u) as f64,
                    dt: (self.now.t - self.before.t) as f64,
                    dc: self.now.centroid() - self.before.centroid(),
                    first: self.before.first,
                    clear,
                };
                let Spectra { bins, peaks, .. } = &mut self.now;
                peaks.advance(&turn, bins, &self.before.bins, &self.before.peaks);
                if turn.du != turn.dt {
                    let length = frame.analysis.0 + frame.analysis.1;
                    let part = length as f64 / size as f64;
                    self.noise.read(&self.power, frame.t, part);
                }
            }
            Start::Seam { .. } => continuation::through_seam(&mut self.now, &self.before, size),
            Start::Attack => {
                if let Some(zone) = &frame.zone
                    && zone.at == self.before.u
                    && !self.before.peaks.all().is_empty()
                {
                    self.continuation
                        .through_attack(&mut self.now, &self.before, zone, size);
                }
            }
        }
        self.now.first = frame.start != Start::Continue;
    }

    /// Gives partials that share a peak their own turns, and works out all turns.
    fn pair_up(&mut self, frame: &Frame) {
        let full = frame.analysis == (self.half, self.half);
        self.pairs.begin(full && frame.start == Start::Continue);
        let [second, third, fourth] = &self.earlier;
        let earlier = [&self.before, second, third, fourth];
        self.pairs.find(&mut self.now, earlier, &self.power);
        self.now.peaks.settle();
    }

    fn put_back(&mut self, channel: usize, frame: &Frame, ring: &mut OverlapAdd) {
        self.now
            .peaks
            .rotate(&self.now.bins[channel], &mut self.turned);
        self.pairs.put_right(channel, &mut self.turned);
        self.noise.loosen(&mut self.turned);
        self.turned[0].im = 0.0;
        self.turned[self.half].im = 0.0;
        let done =
            self.backward
                .process_with_scratch(&mut self.turned, &mut self.time, &mut self.scratch);
        debug_assert!(done.is_ok());
        if channel == 0 {
            self.synthesis.set(frame.synthesis);
            self.weigh(frame, ring);
        }
        let (left, right) = frame.synthesis;
        let size = 2 * self.half;
        if let Start::Seam { before, after } = frame.start {
            self.join(channel, frame, (before, after), ring);
        }
        let gain = self.gain / size as f32;
        let Shape { before, after } = &self.synthesis;
        let first = frame.u - left as i64;
        ring.add(channel, first, &self.time[size - left..], before, gain);
        ring.add(channel, frame.u, &self.time[..right], after, gain);
    }

    /// Joins the frame to what sounded before the seam, with a cross-fade of `before` and `after`
    /// frames beside its centre.
    fn join(
        &mut self,
        channel: usize,
        frame: &Frame,
        (before, after): (usize, usize),
        ring: &mut OverlapAdd,
    ) {
        let size = 2 * self.half;
        let (left, right) = (
            before.min(self.analysis.before.len()),
            after.min(self.analysis.after.len()),
        );
        let sound = self.time[size - left..].iter().chain(&self.time[..right]);
        let rise = &self.analysis.before[self.analysis.before.len() - left..];
        let window = rise.iter().chain(&self.analysis.after[..right]);
        for ((new, window), at) in sound.zip(window).zip(frame.u - left as i64..) {
            let old = ring.apart(channel, at) * window;
            self.like.add(old, new / size as f32);
        }
        if channel + 1 == self.now.bins.len() {
            let reach = frame.synthesis.0;
            let over = reach.saturating_sub(before)..reach + after;
            let at = frame.u - reach as i64;
            ring.cross(at, reach + self.fade, over, &self.like);
        }
    }

    /// The frame's weight: analysis window times synthesis window.
    fn weigh(&self, frame: &Frame, ring: &mut OverlapAdd) {
        let (a, s) = (&self.analysis, &self.synthesis);
        let left = a.before.len().min(s.before.len());
        let ends = |half: &[f32]| half.len() - left;
        let (rise, top) = (&a.before[ends(&a.before)..], &s.before[ends(&s.before)..]);
        ring.weigh(frame.u - left as i64, top, rise, self.gain);
        ring.weigh(frame.u, &s.after, &a.after, self.gain);
    }
}

/// `out` = `samples` from frame `from` on (0 outside) × `window`.
fn shape(out: &mut [f32], samples: &[f32], from: i64, window: &[f32]) {
    let skip = (-from).clamp(0, out.len() as i64) as usize;
    let begin = (from + skip as i64) as usize;
    let n = samples.len().saturating_sub(begin).min(out.len() - skip);
    out[..skip].fill(0.0);
    out[skip + n..].fill(0.0);
    if n > 0 {
        let source = &samples[begin..begin + n];
        for ((o, s), w) in out[skip..skip + n]
            .iter_mut()
            .zip(source)
            .zip(&window[skip..skip + n])
        {
            *o = s * w;
        }
    }
}
