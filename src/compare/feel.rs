//! How each slot feels: where the fingers lie against the thumb, on the recording and in the
//! take, and how sure the difference is.
//!
//! Centres are Huber's M-estimate of location (Huber 1964, Ann. Math. Stat. 35, from memory): as
//! deaf to a slip as the median, but nearly as exact as the mean on the few notes of a passage.
//! Spreads are scaled median distances. Intervals are percentile bootstraps (Efron & Tibshirani 1993, from
//! memory) over whole bars, since notes of one bar are not independent; the seed is fixed.
//! A slot is claimed from [`ENOUGH`] notes up.

use super::pairs::{self, Model, Pair};
use crate::music::note::Role;
use crate::timing::{Figure, Slot, SlotFigure, Verdict, stats};
use crate::unit::Span;
use std::collections::BTreeMap;

/// Fewest notes at a slot before anything is said about it.
pub const ENOUGH: usize = 4;
/// Resamplings of one interval.
const RESAMPLES: usize = 1000;
/// Two detectors' errors (about 1.5 ms SD each side) on a mean of four, as a 95 % bound, ms:
/// nothing smaller is called a difference.
const MEASURING_MS: f64 = 2.1;

/// One slot on both sides, each against its own thumb.
#[derive(Debug, Clone, PartialEq)]
pub struct SlotFeel {
    /// The slot.
    pub slot: Slot,
    /// Thumb or fingers.
    pub role: Role,
    /// The recording's centre against its grid.
    pub recording: Span,
    /// The take's centre against its grid.
    pub take: Span,
    /// Centre of the differences, take minus recording, note by note.
    pub difference: Span,
    /// Lower end of the 95 % interval of the difference.
    pub low: Span,
    /// Upper end of it.
    pub high: Span,
    /// Robust spread of the difference (1.4826 × median distance from the median).
    pub spread: Span,
    /// Notes it rests on.
    pub n: usize,
    /// Those of them that are heard off to the side of the centre.
    pub agree: usize,
    /// What may be said of the difference.
    pub verdict: Verdict,
    /// Is it a difference that repeats (a slant): its interval lies wholly beyond what the
    /// detector can measure, and its centre beyond what a listener hears?
    pub slant: bool,
}

/// Fingers against thumb over all slots off the beat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Whole {
    /// Fingers minus thumb on the recording.
    pub recording: Span,
    /// Fingers minus thumb in the take.
    pub take: Span,
    /// Their difference, note by note.
    pub difference: Span,
    /// Lower end of its 95 % interval.
    pub low: Span,
    /// Upper end.
    pub high: Span,
    /// Finger notes it rests on.
    pub n: usize,
}

/// The feel of every slot with enough notes, in order of the bar, thumb before fingers.
pub(super) fn by_slot(pairs: &[Pair], model: Model<'_>) -> Vec<SlotFeel> {
    let told = slots(pairs, model, |p| Some(p.difference()));
    told.into_iter()
        .filter(|told| told.figure.low.is_some())
        .map(|told| feel(&told, pairs, model))
        .collect()
}

/// How a drift of pairs stands at every slot, in order of the bar, thumb before fingers; without an
/// interval where there are too few notes.
pub(super) fn slots(
    pairs: &[Pair],
    model: Model<'_>,
    of: impl Fn(&Pair) -> Option<Span>,
) -> Vec<SlotFigure> {
    let mut slots: BTreeMap<(Slot, bool), Vec<&Pair>> = BTreeMap::new();
    for pair in pairs.iter().filter(|p| of(p).is_some()) {
        slots
            .entry((pair.slot, pair.role == Role::Melody))
            .or_default()
            .push(pair);
    }
    let beat = model.grid.tempo().map_or(0.5, |t| t.beat().0);
    slots
        .into_iter()
        .filter_map(|((slot, _), pairs)| {
            let figure = figure(&pairs, |p| of(p).unwrap_or_default())?;
            // What a listener notices at this place of the bar, at the recording's tempo.
            let floors = pairs
                .iter()
                .filter_map(|p| model.drifts.get(p.recording)?.as_ref());
            Some(SlotFigure {
                slot,
                role: pairs[0].role,
                share: figure.centre.0 / beat,
                figure,
                floor: Span(centre(floors.map(|d| d.floor.0).collect()).0),
                doubt: Span::from_ms(MEASURING_MS),
            })
        })
        .collect()
}

/// Huber's centre of a drift of pairs with its spread and, from [`ENOUGH`] notes up, its interval;
/// none of none.
pub(super) fn figure(pairs: &[&Pair], of: impl Fn(&Pair) -> Span) -> Option<Figure> {
    if pairs.is_empty() {
        return None;
    }
    let (centre, spread) = self::centre(pairs.iter().map(|p| of(p).0).collect());
    let interval = (pairs.len() >= ENOUGH).then(|| interval(pairs, |p| of(p).0));
    Some(Figure {
        n: pairs.len(),
        centre: Span(centre),
        spread: Span(spread),
        low: interval.map(|i| Span(i.0)),
        high: interval.map(|i| Span(i.1)),
    })
}

fn feel(told: &SlotFigure, pairs: &[Pair], model: Model<'_>) -> SlotFeel {
    let here: Vec<&Pair> = pairs
        .iter()
        .filter(|p| p.slot == told.slot && p.role == told.role)
        .collect();
    let all = |f: fn(&Pair) -> Span| centre(here.iter().map(|p| f(p).0).collect()).0;
    SlotFeel {
        slot: told.slot,
        role: told.role,
        recording: Span(all(|p| p.recording_drift)),
        take: Span(all(|p| p.take_drift)),
        difference: told.figure.centre,
        low: told.figure.low.unwrap_or_default(),
        high: told.figure.high.unwrap_or_default(),
        spread: told.figure.spread,
        n: told.figure.n,
        agree: here
            .iter()
            .filter(|p| p.difference().0 * told.figure.centre.0 > 0.0)
            .filter(|p| p.difference().abs() > pairs::floor(p, model))
            .count(),
        verdict: told.verdict(),
        slant: told.slant().is_some(),
    }
}

/// Fingers against thumb over the whole comparison; none with too few of either.
pub(super) fn whole(pairs: &[Pair]) -> Option<Whole> {
    let thumb: Vec<&Pair> = pairs.iter().filter(|p| p.role == Role::Bass).collect();
    let fingers: Vec<&Pair> = pairs.iter().filter(|p| p.role == Role::Melody).collect();
    if thumb.len() < ENOUGH || fingers.len() < ENOUGH {
        return None;
    }
    let of =
        |pairs: &[&Pair], f: fn(&Pair) -> Span| centre(pairs.iter().map(|p| f(p).0).collect()).0;
    let recording = of(&fingers, |p| p.recording_drift) - of(&thumb, |p| p.recording_drift);
    let take = of(&fingers, |p| p.take_drift) - of(&thumb, |p| p.take_drift);
    let shift = of(&thumb, super::Pair::difference);
    let difference = of(&fingers, super::Pair::difference) - shift;
    let (low, high) = interval(&fingers, |p| p.difference().0);
    Some(Whole {
        recording: Span(recording),
        take: Span(take),
        difference: Span(difference),
        low: Span(low - shift),
        high: Span(high - shift),
        n: fingers.len(),
    })
}

/// 95 % interval of the centre of `f`, resampling whole bars of whole rounds.
fn interval(pairs: &[&Pair], f: impl Fn(&Pair) -> f64) -> (f64, f64) {
    let mut bars: BTreeMap<(usize, i32), Vec<f64>> = BTreeMap::new();
    for pair in pairs {
        bars.entry((pair.round, pair.bar))
            .or_default()
            .push(f(pair));
    }
    let bars: Vec<Vec<f64>> = bars.into_values().collect();
    let mut random = Random(0x9e37_79b9_7f4a_7c15);
    let mut centres: Vec<f64> = (0..RESAMPLES)
        .map(|_| {
            let drawn =
                (0..bars.len()).flat_map(|_| bars[random.below(bars.len())].iter().copied());
            centre(drawn.collect()).0
        })
        .collect();
    centres.sort_by(f64::total_cmp);
    (
        centres[RESAMPLES * 25 / 1000],
        centres[RESAMPLES * 975 / 1000],
    )
}

/// Huber's centre and the robust spread (1.4826 × median distance from it) of at least one value.
fn centre(mut values: Vec<f64>) -> (f64, f64) {
    // Farther than this many spreads counts only as much as if it lay there (95 % efficiency).
    const TUNING: f64 = 1.345;
    let mut centre = stats::median(&mut values).unwrap_or(0.0);
    let spread = stats::spread(&values, centre);
    if spread > 0.0 {
        for _ in 0..8 {
            let (mut weights, mut sum) = (0.0, 0.0);
            for v in &values {
                let away = (v - centre).abs() / spread;
                let weight = if away <= TUNING { 1.0 } else { TUNING / away };
                weights += weight;
                sum += weight * v;
            }
            centre = sum / weights;
        }
    }
    (centre, spread)
}

/// xorshift64* (Vigna 2016): a fixed, small source of resampling.
struct Random(u64);

impl Random {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        ((u128::from(self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)) * n as u128) >> 64) as usize
    }
}
