//! The beat grid of a recording: where each beat and bar falls in time.
//!
//! Owns the mapping between instants and beats. How beats are found is `analysis/beat`; what a
//! note's distance from the grid means is `timing`.

use super::meter::Meter;
use crate::unit::{Beats, Bpm, Seconds, Span};
use serde::{Deserialize, Serialize};

/// One beat of a grid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Beat {
    /// Where it falls.
    pub time: Seconds,
    /// Bar it belongs to: 1 is the first whole bar, 0 a pick-up before it.
    pub bar: i32,
    /// Place in the bar: 1 is the downbeat.
    pub place: u8,
    /// How sure the tracker is, 0 to 1.
    pub confidence: f32,
}

/// One bar of a grid: row of the bar sheet, unit of loops.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// Number as a player counts; 0 is a pick-up.
    pub number: i32,
    /// Its first beat.
    pub start: Seconds,
    /// The next bar's first beat (or where it would fall).
    pub end: Seconds,
    /// Index of its first beat in [`Grid::beats`].
    pub first_beat: usize,
    /// Beats it holds.
    pub beats: usize,
}

/// The beat grid: beats in order of time, strictly increasing; empty when no pulse was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Grid {
    /// Time signature.
    pub meter: Meter,
    beats: Vec<Beat>,
}

impl Default for Grid {
    fn default() -> Self {
        Self {
            meter: Meter::COMMON,
            beats: Vec::new(),
        }
    }
}

impl Grid {
    /// A grid of beats at `times` (sorted and made strictly increasing), the beat at index
    /// `downbeat` starting a bar; earlier ones that do not fill a bar are a pick-up (bar 0).
    pub fn from_beats(times: &[Seconds], downbeat: usize, meter: Meter) -> Self {
        let mut times = times.to_vec();
        times.retain(|t| t.0.is_finite());
        times.sort_by(Seconds::total_cmp);
        times.dedup_by(|later, earlier| later.0 <= earlier.0);
        let per_bar = usize::from(meter.beats().max(1));
        let lead = downbeat % per_bar;
        let beats = times
            .iter()
            .enumerate()
            .map(|(i, &time)| {
                let from_first = (i + per_bar - lead) as i32;
                Beat {
                    time,
                    bar: from_first.div_euclid(per_bar as i32),
                    place: (from_first.rem_euclid(per_bar as i32) + 1) as u8,
                    confidence: 1.0,
                }
            })
            .collect::<Vec<_>>();
        let mut grid = Self { meter, beats };
        if lead == 0 {
            grid.beats.iter_mut().for_each(|b| b.bar = b.bar.max(1));
        }
        grid
    }

    /// Beats in order of time.
    pub fn beats(&self) -> &[Beat] {
        &self.beats
    }

    /// Is there no pulse?
    pub fn is_empty(&self) -> bool {
        self.beats.len() < 2
    }

    /// Median tempo of the whole grid.
    pub fn tempo(&self) -> Option<Bpm> {
        let mut gaps: Vec<f64> = self
            .beats
            .windows(2)
            .map(|pair| (pair[1].time - pair[0].time).0)
            .collect();
        if gaps.is_empty() {
            return None;
        }
        gaps.sort_by(f64::total_cmp);
        Some(Bpm(60.0 / gaps[gaps.len() / 2]))
    }

    /// Where a position falls: linear between beats, at the nearest beat's tempo outside them.
    pub fn time_at(&self, at: Beats) -> Option<Seconds> {
        let (i, span) = self.segment(at.0.floor().max(0.0) as usize)?;
        Some(self.beats[i].time + span * (at.0 - i as f64))
    }

    /// The position of an instant, in beats after the first beat (negative before it).
    pub fn beat_at(&self, time: Seconds) -> Option<Beats> {
        let after = self.beats.partition_point(|b| b.time <= time);
        let (i, span) = self.segment(after.saturating_sub(1))?;
        Some(Beats(i as f64 + (time - self.beats[i].time).0 / span.0))
    }

    /// Beat index (kept inside the grid) and length of the beat that starts there.
    fn segment(&self, index: usize) -> Option<(usize, Span)> {
        let i = index.min(self.beats.len().checked_sub(2)?);
        Some((i, self.beats[i + 1].time - self.beats[i].time))
    }

    /// Bars in order.
    pub fn bars(&self) -> Vec<Bar> {
        let mut bars: Vec<Bar> = Vec::new();
        for (i, beat) in self.beats.iter().enumerate() {
            match bars.last_mut() {
                Some(bar) if bar.number == beat.bar => bar.beats += 1,
                _ => bars.push(Bar {
                    number: beat.bar,
                    start: beat.time,
                    end: beat.time,
                    first_beat: i,
                    beats: 1,
                }),
            }
        }
        for bar in &mut bars {
            let end = Beats((bar.first_beat + bar.beats) as f64);
            bar.end = self.time_at(end).unwrap_or(bar.start);
        }
        bars
    }

    /// The stretch of time from the start of bar `first` to the end of bar `last` (inclusive).
    pub fn bar_range(&self, first: i32, last: i32) -> Option<(Seconds, Seconds)> {
        let bars = self.bars();
        let from = bars.iter().find(|b| b.number == first)?;
        let to = bars.iter().find(|b| b.number == last)?;
        (from.start < to.end).then_some((from.start, to.end))
    }
}
