//! What the planner deals out: copies at rate 1, vocoder frames, and the lengths they are made of.
//!
//! Types alone; which of them comes when, `plan` decides.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::window::raised;

/// Lengths in frames, for one sample rate.
#[derive(Debug, Clone, Copy)]
pub(super) struct Geometry {
    /// Half an analysis window; the window is a power of two.
    pub half: usize,
    /// Longest hop between vocoder frames in the output.
    pub hop: usize,
    /// Longest attack zone after an onset.
    pub zone: usize,
    /// Longest lead of an attack zone before its onset.
    pub lead: usize,
    /// Cross-fades where a copy ends.
    pub fade: usize,
    /// Cross-fade at a seam.
    pub seam: usize,
    /// How much of it comes after the seam where no attack is near.
    pub after_seam: usize,
    /// Copy at a start, while the first vocoder frames are made ready.
    pub start: usize,
    /// Longest way of a copy at a start that leads up to an attack.
    pub approach: usize,
    /// Shortest half window and hop.
    pub least: usize,
    /// Longest piece of copy planned at once.
    pub chunk: usize,
}

impl Geometry {
    pub(super) fn of_rate(rate: u32) -> Self {
        let ms = |ms: f64| ((f64::from(rate) * ms / 1000.0).round() as usize).max(2);
        // 186 ms at 44.1 kHz: resolves two partials 22 Hz apart and a six-note chord's; tuned on
        // the modal phrases against 93 ms.
        let window = (ms(150.0)).next_power_of_two();
        Self {
            half: window / 2,
            // Six frames overlap: Hann squared then still sums to a constant.
            hop: window / 6,
            zone: ms(8.0),
            lead: ms(2.0),
            fade: ms(3.0),
            seam: ms(3.5),
            after_seam: ms(2.5),
            start: ms(24.0),
            approach: ms(60.0),
            least: ms(0.75),
            chunk: ms(11.0),
        }
    }
}

/// How the phases of a leg's first frame begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Start {
    /// They go on from the frame before.
    Continue,
    /// As recorded: an attack, or a start, comes before.
    Attack,
    /// After a jump, with a cross-fade of so many frames before and after the frame's centre.
    Seam { before: usize, after: usize },
}

/// A piece of the recording at rate 1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Copy {
    /// Output frame of its first sample.
    pub at: i64,
    /// Frame of the recording of its first sample.
    pub from: i64,
    /// Frames at full weight, the rise included.
    pub len: usize,
    /// Its first frames rise from 0.
    pub rise: usize,
    /// Frames after `len` that fall to 0.
    pub fall: usize,
}

impl Copy {
    /// Weight of its frame `i` (0 to len + fall).
    pub(super) fn weight(&self, i: usize) -> f32 {
        if i < self.rise {
            raised((i as f32 + 0.5) / self.rise as f32)
        } else if i < self.len {
            1.0
        } else {
            raised(1.0 - ((i - self.len) as f32 + 0.5) / self.fall as f32)
        }
    }
}

/// One vocoder frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    /// Its centre in the output.
    pub u: i64,
    /// Its centre in the recording.
    pub t: i64,
    /// Halves of the analysis window: left, right.
    pub analysis: (usize, usize),
    /// Halves of the synthesis window: left, right.
    pub synthesis: (usize, usize),
    /// How its phases begin.
    pub start: Start,
    /// Analysed only: it sounds nowhere.
    pub silent: bool,
    /// The attack zone that ends at this frame, if the leg before it ended there.
    pub zone: Option<Copy>,
    /// Frames after it that are due at the same time: a leg's first ones all reach back to its
    /// beginning.
    pub alike: usize,
    /// The next one after those is due so many output frames later.
    pub then: i64,
}

/// What to do next.
#[derive(Debug, Clone, Copy)]
pub(super) enum Step {
    Copy(Copy),
    Frame(Frame),
    /// The recording ends at this output frame.
    End(i64),
}

impl Step {
    /// First output frame it touches.
    pub(super) fn first(&self) -> i64 {
        match self {
            Self::Copy(c) => c.at,
            Self::Frame(f) => {
                let own = f.u - f.synthesis.0 as i64;
                f.zone.map_or(own, |zone| own.min(zone.at))
            }
            Self::End(u) => *u,
        }
    }
}
