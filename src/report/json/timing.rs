//! The `timing` part of both documents: drift by hand, slot, bar and section.

use super::number::{plain, round, seconds};
use crate::music::note::Role;
use crate::timing::{Drift, Figure, Reference, Slot, Steadiness, Swing, Trend, Verdict};
use crate::unit::Bpm;
use serde::Serialize;

/// A place of the bar: part `part` of `parts` of a beat, 0 is the beat itself.
#[derive(Debug, Serialize)]
pub(super) struct SlotOut {
    beat: u8,
    part: u8,
    parts: u8,
}

impl From<Slot> for SlotOut {
    fn from(slot: Slot) -> Self {
        Self {
            beat: slot.beat,
            part: slot.part,
            parts: slot.parts,
        }
    }
}

/// Several drifts: median, robust spread, and the median's 95 % interval.
#[derive(Debug, Serialize)]
struct FigureOut {
    notes: usize,
    median_ms: f64,
    spread_ms: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    low_ms: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    high_ms: Option<f64>,
}

#[derive(Debug, Serialize)]
struct SwingOut {
    off_beats: usize,
    ratio: f64,
    low: f64,
    high: f64,
}

#[derive(Debug, Serialize)]
struct SlotFigureOut {
    slot: SlotOut,
    role: Role,
    #[serde(flatten)]
    figure: FigureOut,
    /// Below this a drift here is not heard.
    floor_ms: f64,
    /// Does it repeat, bar after bar, and can it be heard?
    slant: bool,
    /// What may be said of it, as words and drawing say it.
    verdict: Verdict,
}

#[derive(Debug, Serialize)]
struct BarFigureOut {
    bar: i32,
    role: Role,
    #[serde(flatten)]
    figure: FigureOut,
}

#[derive(Debug, Serialize)]
struct SectionOut {
    first_bar: i32,
    last_bar: i32,
    from_s: f64,
    to_s: f64,
    bpm: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    bass: Option<FigureOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    melody: Option<FigureOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    melody_lateness: Option<FigureOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    swing: Option<SwingOut>,
}

/// A chord rolled from thumb to fingers.
#[derive(Debug, Serialize)]
struct RollOut {
    notes: usize,
    spread_ms: f64,
}

#[derive(Debug, Serialize)]
struct SteadinessOut {
    intervals: usize,
    scatter_ms: f64,
    low_ms: f64,
    high_ms: f64,
    share_of_beat: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    clock_ms: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    hand_ms: Option<f64>,
}

#[derive(Debug, Serialize)]
struct TrendOut {
    from_bpm: f64,
    to_bpm: f64,
    change_percent: f64,
    low_percent: f64,
    high_percent: f64,
}

#[derive(Debug, Serialize)]
struct ReferenceOut {
    kind: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    bpm: Option<f64>,
}

/// Drift against the grid. Centres are medians, spreads robust.
#[derive(Debug, Serialize)]
pub(super) struct TimingOut {
    reference: ReferenceOut,
    #[serde(skip_serializing_if = "Option::is_none")]
    bass: Option<FigureOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    melody: Option<FigureOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    melody_lateness: Option<FigureOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    swing: Option<SwingOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    thumb_steadiness: Option<SteadinessOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tempo_course: Option<TrendOut>,
    slots: Vec<SlotFigureOut>,
    bars: Vec<BarFigureOut>,
    sections: Vec<SectionOut>,
    rolls: Vec<RollOut>,
}

/// All of `drift` but its notes, which stand with the onsets.
pub(super) fn out(drift: &Drift) -> TimingOut {
    TimingOut {
        reference: match drift.reference {
            Reference::OwnTempo => reference("own_tempo", None),
            Reference::Strict(tempo) => reference("strict", tempo),
            Reference::Thumb => reference("thumb", None),
            Reference::Recording => reference("recording", None),
        },
        bass: drift.thumb.as_ref().map(figure),
        melody: drift.fingers.as_ref().map(figure),
        melody_lateness: drift.lateness.as_ref().map(figure),
        swing: drift.swing.as_ref().map(swing),
        thumb_steadiness: drift.steadiness.as_ref().map(steadiness),
        tempo_course: drift.trend.as_ref().map(course),
        slots: drift
            .slots
            .iter()
            .map(|slot| SlotFigureOut {
                slot: slot.slot.into(),
                role: slot.role,
                figure: figure(&slot.figure),
                floor_ms: plain(slot.floor.ms(), 3),
                slant: slot.slant().is_some(),
                verdict: slot.verdict(),
            })
            .collect(),
        bars: drift
            .bars
            .iter()
            .map(|bar| BarFigureOut {
                bar: bar.bar,
                role: bar.role,
                figure: figure(&bar.figure),
            })
            .collect(),
        sections: drift
            .sections
            .iter()
            .map(|section| SectionOut {
                first_bar: section.first,
                last_bar: section.last,
                from_s: seconds(section.from),
                to_s: seconds(section.to),
                bpm: plain(section.tempo.0, 3),
                bass: section.thumb.as_ref().map(figure),
                melody: section.fingers.as_ref().map(figure),
                melody_lateness: section.lateness.as_ref().map(figure),
                swing: section.swing.as_ref().map(swing),
            })
            .collect(),
        rolls: drift
            .rolls
            .iter()
            .map(|roll| RollOut {
                notes: roll.notes.len(),
                spread_ms: plain(roll.spread.ms(), 3),
            })
            .collect(),
    }
}

fn reference(kind: &'static str, tempo: Option<Bpm>) -> ReferenceOut {
    ReferenceOut {
        kind,
        bpm: tempo.and_then(|t| round(t.0, 3)),
    }
}

fn figure(figure: &Figure) -> FigureOut {
    FigureOut {
        notes: figure.n,
        median_ms: plain(figure.centre.ms(), 3),
        spread_ms: plain(figure.spread.ms(), 3),
        low_ms: figure.low.and_then(|low| round(low.ms(), 3)),
        high_ms: figure.high.and_then(|high| round(high.ms(), 3)),
    }
}

fn swing(swing: &Swing) -> SwingOut {
    SwingOut {
        off_beats: swing.n,
        ratio: plain(swing.ratio, 4),
        low: plain(swing.low, 4),
        high: plain(swing.high, 4),
    }
}

fn steadiness(steady: &Steadiness) -> SteadinessOut {
    SteadinessOut {
        intervals: steady.n,
        scatter_ms: plain(steady.scatter.ms(), 3),
        low_ms: plain(steady.low.ms(), 3),
        high_ms: plain(steady.high.ms(), 3),
        share_of_beat: plain(steady.share, 4),
        clock_ms: steady.sources.and_then(|s| round(s.clock.ms(), 3)),
        hand_ms: steady.sources.and_then(|s| round(s.hand.ms(), 3)),
    }
}

fn course(trend: &Trend) -> TrendOut {
    TrendOut {
        from_bpm: plain(trend.from.0, 3),
        to_bpm: plain(trend.to.0, 3),
        change_percent: plain(trend.change, 2),
        low_percent: plain(trend.low, 2),
        high_percent: plain(trend.high, 2),
    }
}
