//! A beat grid baked for the audio thread: beats and clicks as frames at the output's rate.

use crate::music::grid::{Beat, Grid};
use crate::unit::Seconds;
use serde::{Deserialize, Serialize};

/// How often the click sounds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ClickRate {
    /// On beats.
    #[default]
    Beat,
    /// Twice a beat, the second at the swing's place.
    Half,
    /// Three times a beat.
    Third,
    /// Four times a beat, pairs swung.
    Quarter,
    /// On every second beat of a bar: two and four.
    Backbeat,
    /// On the beats of every other bar, the odd ones.
    EveryOtherBar,
    /// On the beats of two bars, the two after them silent.
    TwoAndTwo,
}

impl ClickRate {
    /// Where clicks fall within a beat beside its start, as shares of it.
    fn between(self, swing: f64) -> Vec<f64> {
        match self {
            Self::Beat | Self::Backbeat | Self::EveryOtherBar | Self::TwoAndTwo => Vec::new(),
            Self::Half => vec![swing],
            Self::Third => vec![1.0 / 3.0, 2.0 / 3.0],
            Self::Quarter => vec![swing / 2.0, swing, swing + (1.0 - swing) / 2.0],
        }
    }

    /// Does this beat click?
    fn counts(self, beat: &Beat) -> bool {
        match self {
            Self::Beat | Self::Half | Self::Third | Self::Quarter => true,
            Self::Backbeat => beat.place.is_multiple_of(2),
            Self::EveryOtherBar => beat.bar.rem_euclid(2) == 1,
            Self::TwoAndTwo => (beat.bar - 1).rem_euclid(4) < 2,
        }
    }
}

/// Which sound a click has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Accent {
    /// A bar's first beat.
    Bar,
    /// Another beat.
    Beat,
    /// Between beats.
    Between,
}

/// A click on the recording's timeline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Click {
    /// Frame.
    pub at: f64,
    /// Its sound.
    pub accent: Accent,
}

/// Beats and clicks of one recording at one rate.
#[derive(Debug, Clone, PartialEq)]
pub struct Pulse {
    /// Frames of the beats, ascending, at least two.
    beats: Vec<f64>,
    clicks: Vec<Click>,
    /// Index of a beat that starts a bar.
    downbeat: i64,
    per_bar: i64,
    /// Quarter notes a beat lasts.
    quarters: f64,
}

impl Pulse {
    /// Bakes `grid` for `rate` frames a second. `swing` is where the second half of a beat falls,
    /// 0.5 (straight) to 0.75.
    ///
    /// None where the grid has fewer than two beats.
    pub fn new(grid: &Grid, rate: u32, clicks: ClickRate, swing: f64) -> Option<Self> {
        if grid.is_empty() {
            return None;
        }
        let swing = if swing.is_finite() {
            swing.clamp(0.5, 0.75)
        } else {
            0.5
        };
        let frame = |s: Seconds| s.0 * f64::from(rate);
        let beats: Vec<f64> = grid.beats().iter().map(|b| frame(b.time)).collect();
        let per_bar = i64::from(grid.meter.beats().max(1));
        let downbeat = grid
            .beats()
            .iter()
            .position(|b| b.place == 1)
            .map_or(0, |i| i as i64);
        let between = clicks.between(swing);
        let mut all = Vec::with_capacity(beats.len() * (1 + between.len()));
        let counted = |(_, beat): &(usize, &Beat)| clicks.counts(beat);
        for (i, beat) in grid.beats().iter().enumerate().filter(counted) {
            let accent = if beat.place == 1 {
                Accent::Bar
            } else {
                Accent::Beat
            };
            all.push(Click {
                at: beats[i],
                accent,
            });
            let length = match beats.get(i + 1) {
                Some(next) => next - beats[i],
                None => beats[i] - beats[i - 1],
            };
            all.extend(between.iter().map(|share| Click {
                at: beats[i] + share * length,
                accent: Accent::Between,
            }));
        }
        let compound = if grid.meter.is_compound() { 3.0 } else { 1.0 };
        Some(Self {
            beats,
            clicks: all,
            downbeat,
            per_bar,
            quarters: compound * 4.0 / f64::from(grid.meter.unit.max(1)),
        })
    }

    fn segment(&self, index: usize) -> (usize, f64) {
        let i = index.min(self.beats.len() - 2);
        (i, (self.beats[i + 1] - self.beats[i]).max(1.0))
    }

    /// Position of a frame, in beats after the first one; straight on outside the grid.
    pub(super) fn beat_at(&self, frame: f64) -> f64 {
        let after = self.beats.partition_point(|&b| b <= frame);
        let (i, length) = self.segment(after.saturating_sub(1));
        i as f64 + (frame - self.beats[i]) / length
    }

    /// Frame of a position in beats; straight on outside the grid.
    pub(super) fn frame_at(&self, beat: f64) -> f64 {
        let (i, length) = self.segment(beat.floor().max(0.0) as usize);
        self.beats[i] + (beat - i as f64) * length
    }

    /// Length in frames of the beat that sounds at `frame`.
    pub(super) fn length_at(&self, frame: f64) -> f64 {
        let after = self.beats.partition_point(|&b| b <= frame + 0.5);
        self.segment(after.saturating_sub(1)).1
    }

    /// Beats a bar has.
    pub(super) fn per_bar(&self) -> i64 {
        self.per_bar
    }

    /// Does beat number `beat` start a bar?
    pub(super) fn starts_bar(&self, beat: i64) -> bool {
        (beat - self.downbeat).rem_euclid(self.per_bar) == 0
    }

    /// Position in the recording, in frames, of a host's position in quarter notes: the host's
    /// start is the recording's first downbeat.
    pub(super) fn frame_of_host(&self, quarters: f64) -> f64 {
        self.frame_at(self.downbeat as f64 + quarters / self.quarters)
    }

    /// Index of the first click at or after `frame` (half a frame of grace).
    pub(super) fn first_click(&self, frame: f64) -> usize {
        self.clicks.partition_point(|c| c.at < frame - 0.5)
    }

    /// A click.
    pub(super) fn click(&self, index: usize) -> Option<Click> {
        self.clicks.get(index).copied()
    }
}
