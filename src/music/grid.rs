//! The beat grid of a recording: where each beat, bar and slot falls in time.
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
    /// Slots this beat divides into, by what is played in its bar: 1, 2 (eighths), 3 (triplets;
    /// eighths of a compound meter), 4 (sixteenths) or 6.
    pub parts: u8,
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
    /// Slots each of its beats divides into.
    pub parts: u8,
    /// How sure the tracker is of this bar, 0 to 1: the mean of its beats.
    pub confidence: f32,
}

/// A bar less sure than this is as likely wrong as right: nothing in it is called early or late.
pub const SURE: f32 = 0.5;

/// A stretch of a recording without a pulse: nothing in it is early or late.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FreeTime {
    /// Where it begins.
    pub from: Seconds,
    /// Where a pulse is heard again, or the recording ends.
    pub to: Seconds,
}

impl FreeTime {
    /// Does `time` lie strictly inside?
    pub fn contains(&self, time: Seconds) -> bool {
        self.from < time && time < self.to
    }
}

/// Where the off-beat lies, as a share of the beat, when its long part is `long` times its short one.
pub fn off_beat(long: f64) -> f64 {
    long / (1.0 + long)
}

/// How many times as long the part before the off-beat at `share` is as the part after it.
pub fn long_to_short(share: f64) -> f64 {
    share / (1.0 - share)
}

/// The beat grid: beats in order of time, strictly increasing; empty when no pulse was found.
///
/// A stretch of [`FreeTime`] holds no beats. Positions count beats of the grid from its first
/// one: across free time, the next beat after the stretch simply has the next number, and
/// positions strictly inside the stretch do not exist.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Grid {
    /// Time signature.
    pub meter: Meter,
    /// Where a player has set the off-beat of beats of two parts, as a share of the beat: 0.5 is
    /// straight, 2/3 the long and short of triplets. None: it is read from the playing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub off_beat: Option<f64>,
    beats: Vec<Beat>,
    #[serde(default)]
    free: Vec<FreeTime>,
}

impl Default for Grid {
    fn default() -> Self {
        Self {
            meter: Meter::COMMON,
            off_beat: None,
            beats: Vec::new(),
            free: Vec::new(),
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
                    parts: meter.plain_parts(),
                    confidence: 1.0,
                }
            })
            .collect();
        Self {
            meter,
            off_beat: None,
            beats,
            free: Vec::new(),
        }
    }

    /// A grid of ready-made beats and stretches of free time. Beats that do not increase in time
    /// or lie strictly inside a stretch are left out; stretches are sorted and joined where they
    /// overlap.
    pub fn from_parts(meter: Meter, mut beats: Vec<Beat>, mut free: Vec<FreeTime>) -> Self {
        free.retain(|f| f.from.0.is_finite() && f.to.0.is_finite() && f.from < f.to);
        free.sort_by(|a, b| a.from.total_cmp(&b.from));
        free.dedup_by(|later, earlier| {
            let joined = later.from <= earlier.to;
            if joined && later.to > earlier.to {
                earlier.to = later.to;
            }
            joined
        });
        beats.retain(|b| b.time.0.is_finite() && !free.iter().any(|f| f.contains(b.time)));
        beats.sort_by(|a, b| a.time.total_cmp(&b.time));
        beats.dedup_by(|later, earlier| later.time.0 <= earlier.time.0);
        Self {
            meter,
            off_beat: None,
            beats,
            free,
        }
    }

    /// The same grid with the off-beat of beats of two parts set, or left to the playing.
    pub fn swung(mut self, off_beat: Option<f64>) -> Self {
        self.off_beat = off_beat;
        self
    }

    /// Beats in order of time.
    pub fn beats(&self) -> &[Beat] {
        &self.beats
    }

    /// Stretches without a pulse, in order of time.
    pub fn free_time(&self) -> &[FreeTime] {
        &self.free
    }

    /// Is this instant in a stretch without a pulse?
    pub fn is_free(&self, time: Seconds) -> bool {
        self.free.iter().any(|f| f.contains(time))
    }

    /// The same beats, bars and slots at other instants, one for each beat; the grid itself when
    /// their number differs or they do not increase.
    pub fn moved(&self, times: &[Seconds]) -> Self {
        let mut grid = self.clone();
        if times.len() == grid.beats.len() && times.windows(2).all(|p| p[0] < p[1]) {
            for (beat, &time) in grid.beats.iter_mut().zip(times) {
                beat.time = time;
            }
        }
        grid
    }

    /// Runs of beats without free time between them, as ranges of indices.
    pub fn runs(&self) -> Vec<std::ops::Range<usize>> {
        let mut runs = Vec::new();
        let mut from = 0;
        for i in 0..self.beats.len() {
            if i + 1 == self.beats.len() || self.gap_after(i) {
                runs.push(from..i + 1);
                from = i + 1;
            }
        }
        runs
    }

    /// Is there no pulse?
    pub fn is_empty(&self) -> bool {
        self.beats.len() < 2
    }

    /// Of each beat, whether its bar is sure enough to measure anything by.
    pub fn sure(&self) -> Vec<bool> {
        let bars = self.bars();
        let sure = |bar: &Bar| std::iter::repeat_n(bar.confidence >= SURE, bar.beats);
        bars.iter().flat_map(sure).collect()
    }

    /// Stretches of bars that are too unsure to measure anything by, from start to end.
    pub fn unsure(&self) -> Vec<(Seconds, Seconds)> {
        let mut stretches: Vec<(Seconds, Seconds)> = Vec::new();
        let mut sure = true;
        for bar in self.bars() {
            let before = std::mem::replace(&mut sure, bar.confidence >= SURE);
            match stretches.last_mut() {
                Some(last) if !before && !sure => last.1 = bar.end,
                _ if !sure => stretches.push((bar.start, bar.end)),
                _ => {}
            }
        }
        stretches
    }

    /// Median tempo of the whole grid.
    pub fn tempo(&self) -> Option<Bpm> {
        let mut gaps: Vec<f64> = (0..self.beats.len().saturating_sub(1))
            .filter(|&i| !self.gap_after(i))
            .map(|i| (self.beats[i + 1].time - self.beats[i].time).0)
            .collect();
        if gaps.is_empty() {
            return None;
        }
        gaps.sort_by(f64::total_cmp);
        Some(Bpm(60.0 / gaps[gaps.len() / 2]))
    }

    /// Where a position falls: linear between beats, at the nearest beat's tempo outside them;
    /// none strictly between two beats with free time between them.
    pub fn time_at(&self, at: Beats) -> Option<Seconds> {
        let index = at.0.floor().max(0.0) as usize;
        if at.0 > index as f64 && index + 1 < self.beats.len() && self.gap_after(index) {
            return None;
        }
        let (i, span) = self.segment(index)?;
        Some(self.beats[i].time + span * (at.0 - i as f64))
    }

    /// The position of an instant, in beats after the first beat (negative before it); none in
    /// free time.
    pub fn beat_at(&self, time: Seconds) -> Option<Beats> {
        if self.is_free(time) {
            return None;
        }
        let after = self.beats.partition_point(|b| b.time <= time);
        let (i, span) = self.segment(after.saturating_sub(1))?;
        Some(Beats(i as f64 + (time - self.beats[i].time).0 / span.0))
    }

    /// Length of the beat that `time` lies in (of the nearest one outside the grid); none in
    /// free time.
    pub fn beat_length(&self, time: Seconds) -> Option<Span> {
        if self.is_free(time) {
            return None;
        }
        let after = self.beats.partition_point(|b| b.time <= time);
        self.segment(after.saturating_sub(1)).map(|(_, span)| span)
    }

    /// Does free time follow beat `index` before the next one?
    fn gap_after(&self, index: usize) -> bool {
        let (Some(this), Some(next)) = (self.beats.get(index), self.beats.get(index + 1)) else {
            return false;
        };
        self.free
            .iter()
            .any(|f| f.from >= this.time && f.to <= next.time)
    }

    /// Beat index (kept inside the grid) and length of the beat that starts there; at the end of
    /// a stretch with a pulse, the length of the beat before it.
    fn segment(&self, index: usize) -> Option<(usize, Span)> {
        let i = index.min(self.beats.len().checked_sub(1)?);
        let from = if i + 1 < self.beats.len() && !self.gap_after(i) {
            i
        } else {
            let before = i.checked_sub(1)?;
            if self.gap_after(before) {
                return None;
            }
            before
        };
        Some((i, self.beats[from + 1].time - self.beats[from].time))
    }

    /// Bars in order.
    pub fn bars(&self) -> Vec<Bar> {
        let mut bars: Vec<Bar> = Vec::new();
        for (i, beat) in self.beats.iter().enumerate() {
            let broken = i > 0 && self.gap_after(i - 1);
            match bars.last_mut() {
                Some(bar) if bar.number == beat.bar && !broken => {
                    bar.beats += 1;
                    bar.parts = bar.parts.max(beat.parts);
                    bar.confidence += beat.confidence;
                }
                _ => bars.push(Bar {
                    number: beat.bar,
                    start: beat.time,
                    end: beat.time,
                    first_beat: i,
                    beats: 1,
                    parts: beat.parts,
                    confidence: beat.confidence,
                }),
            }
        }
        for bar in &mut bars {
            let last = bar.first_beat + bar.beats - 1;
            let length = self.segment(last).map_or(Span(0.0), |(_, span)| span);
            bar.end = self.beats[last].time + length;
            bar.confidence /= bar.beats as f32;
        }
        bars
    }

    /// The beats from `from` on and before `to`, `from` being the new nought; bars keep their numbers, free
    /// time inside is kept.
    #[must_use]
    pub fn part(&self, from: Seconds, to: Seconds) -> Self {
        let within = |time: Seconds| time.0 >= from.0 - 1e-9 && time.0 < to.0 - 1e-9;
        let moved = |time: Seconds| Seconds((time.0.min(to.0) - from.0).max(0.0));
        let beats = self.beats.iter().filter(|b| within(b.time)).map(|b| Beat {
            time: moved(b.time),
            ..*b
        });
        let free = self.free.iter().filter(|f| f.to > from && f.from < to);
        let free = free.map(|f| FreeTime {
            from: moved(f.from),
            to: moved(f.to),
        });
        let part = Self::from_parts(self.meter, beats.collect(), free.collect());
        part.swung(self.off_beat)
    }

    /// The stretch of time from the start of bar `first` to the end of bar `last` (inclusive).
    pub fn bar_range(&self, first: i32, last: i32) -> Option<(Seconds, Seconds)> {
        let bars = self.bars();
        let from = bars.iter().find(|b| b.number == first)?;
        let to = bars.iter().rev().find(|b| b.number == last)?;
        (from.start < to.end).then_some((from.start, to.end))
    }
}
