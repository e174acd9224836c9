//! The take on the recording's page: its answers where they would stand in the recording, with
//! drifts against one reference at a time.
//!
//! Sheet, words, labels and lists all read the [`Drift`] made here, so that they speak of the same
//! figures. What a figure may be called is `timing`'s.

use super::comparison::Comparison;
use super::feel;
use super::pairs::{Model, Pair, floor};
use crate::music::note::{Note, Role};
use crate::timing::{BarFigure, Drift, Figure, NoteDrift, Reference, Standing, Verdict, stats};
use crate::unit::{Seconds, Span};

/// A smaller lateness of the whole take is none: a sound card's delay alone is as large. Chosen by
/// hand.
const LATE: Span = Span::from_ms(10.0);
/// A take at this much of the recording's tempo keeps its clock: it was played along with it.
const ALONG: std::ops::RangeInclusive<f64> = 0.97..=1.03;

impl Comparison {
    /// The take's answers as notes of the recording's page, in order of time, and how they stand to
    /// `reference`: the recording, the take's own thumb, or (for any other) the beat laid under the
    /// take. As many drifts as notes.
    pub fn page(
        &self,
        model: Model<'_>,
        take: &[Note],
        reference: Reference,
    ) -> (Vec<Note>, Drift) {
        let of = |p: &Pair| against(p, reference);
        let mut answers: Vec<(Note, Option<NoteDrift>)> = self
            .pairs
            .iter()
            .map(|p| answer(p, model, take, of(p)))
            .collect();
        answers.sort_by(|a, b| a.0.time.total_cmp(&b.0.time));
        let (notes, placed): (Vec<_>, Vec<_>) = answers.into_iter().unzip();
        let pairs = |role: Role| -> Vec<&Pair> {
            let own = self.pairs.iter().filter(|p| p.role == role);
            own.filter(|p| of(p).is_some()).collect()
        };
        let hand = |role| feel::figure(&pairs(role), |p| of(p).unwrap_or_default());
        let drift = Drift {
            reference,
            bars: bars(&self.pairs, of),
            slots: feel::slots(&self.pairs, model, of),
            thumb: hand(Role::Bass),
            fingers: hand(Role::Melody),
            lateness: self
                .whole
                .filter(|_| reference == Reference::Recording)
                .map(|w| Figure {
                    n: w.n,
                    centre: w.difference,
                    spread: Span(0.0),
                    low: Some(w.low),
                    high: Some(w.high),
                }),
            notes: placed,
            ..Drift::default()
        };
        (notes, drift)
    }

    /// How much later the whole take came than the recording it was played along with, where that
    /// is heard; both in one clock. None for a take at another tempo.
    pub fn late(&self, model: Model<'_>, take: &[Note]) -> Option<Figure> {
        let along = self.rounds.iter().all(|r| ALONG.contains(&r.tempo_ratio));
        if self.rounds.is_empty() || !along {
            return None;
        }
        let gaps: Vec<f64> = self
            .pairs
            .iter()
            .map(|p| (take[p.take].time - model.notes[p.recording].time).0)
            .collect();
        let floors = model.drifts.iter().flatten();
        let mut floors: Vec<f64> = floors.map(|d| d.floor.0).collect();
        let floor = Span(stats::median(&mut floors)?.max(LATE.0));
        let figure = stats::figure(&gaps)?;
        // Farther than a beat apart is no lateness: the take was not played along.
        let beat = model.grid.tempo().map_or(0.5, |t| t.beat().0);
        let near = figure.centre.abs().0 < 0.5 * beat;
        let sure = Verdict::of(&figure, floor, Span(0.0)).drifts();
        (near && sure).then_some(figure)
    }
}

/// A pair's drift against `reference`; the thumb against itself is none at all.
fn against(pair: &Pair, reference: Reference) -> Option<Span> {
    match (reference, pair.role) {
        (Reference::Recording, _) => Some(pair.difference()),
        (Reference::Thumb, Role::Bass) => Some(Span(0.0)),
        (Reference::Thumb, Role::Melody) => pair.from_thumb,
        _ => Some(pair.take_drift),
    }
}

fn answer(
    pair: &Pair,
    model: Model<'_>,
    take: &[Note],
    drift: Option<Span>,
) -> (Note, Option<NoteDrift>) {
    let ours = &model.notes[pair.recording];
    let placed = model.drifts[pair.recording].map(|d| {
        let beat = model.grid.beat_length(ours.time);
        NoteDrift {
            drift,
            share: drift.zip(beat).map(|(drift, beat)| drift.0 / beat.0),
            standing: if drift.is_some() {
                Standing::Plain
            } else {
                Standing::Between
            },
            floor: floor(pair, model),
            ..d
        }
    });
    let time = ours.time + pair.difference();
    let end = Seconds(time.0 + (ours.end - ours.time).0);
    let note = Note {
        time,
        end,
        role: ours.role,
        string: ours.string,
        fret: ours.fret.filter(|_| !pair.wrong_pitch),
        ..take[pair.take].clone()
    };
    (note, placed)
}

fn bars(pairs: &[Pair], of: impl Fn(&Pair) -> Option<Span>) -> Vec<BarFigure> {
    let mut bars: Vec<i32> = pairs.iter().map(|p| p.bar).collect();
    bars.sort_unstable();
    bars.dedup();
    let mut out = Vec::new();
    for bar in bars {
        for role in [Role::Bass, Role::Melody] {
            let here = pairs.iter().filter(|p| p.bar == bar && p.role == role);
            let drifts: Vec<f64> = here.filter_map(|p| of(p).map(|d| d.0)).collect();
            let figure = stats::figure(&drifts);
            out.extend(figure.map(|figure| BarFigure { bar, role, figure }));
        }
    }
    out
}
