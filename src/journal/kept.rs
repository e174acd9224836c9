//! What a comparison leaves in the journal: one round for each time through the passage.

use super::moment::Moment;
use super::round::{Fault, HandFigure, PracticeRound};
use crate::compare::{Comparison, SAME_TUNE};
use crate::music::grid::{Bar, Grid};
use crate::music::note::Role;
use crate::recording::ContentHash;
use crate::timing::stats;
use crate::unit::Seconds;

/// What was practised, as the page of the journal names it.
#[derive(Debug, Clone, Copy)]
pub struct Practised<'a> {
    /// Identity of the recording's sound.
    pub recording: ContentHash,
    /// What the recording is called.
    pub name: &'a str,
    /// The recording's grid, to name the passage by its bars.
    pub grid: &'a Grid,
    /// Tuning, as the player spelled it; none where the program found it.
    pub tuning: Option<&'a str>,
    /// When the take ended.
    pub at: Moment,
    /// The player's own words.
    pub note: &'a str,
}

/// The rounds of a take, in order; none where it is another tune. Which take's sound they were
/// measured on is noted by [`super::Journal::keep_with_sound`].
pub fn rounds_of(found: &Comparison, practised: &Practised<'_>) -> Vec<PracticeRound> {
    if found.same_tune < SAME_TUNE {
        return Vec::new();
    }
    let faults = faults(found, practised.grid);
    found
        .rounds
        .iter()
        .enumerate()
        .map(|(i, round)| PracticeRound {
            recording: practised.recording,
            name: practised.name.to_owned(),
            tuning: practised.tuning.map(str::to_owned),
            at: Moment(practised.at.0 + i as i64),
            from_s: round.recording.0.0,
            to_s: round.recording.1.0,
            region: region(practised.grid, round.recording),
            speed: round.tempo_ratio.clamp(0.05, 8.0),
            thumb: figure(found, i, Role::Bass),
            fingers: figure(found, i, Role::Melody),
            take: None,
            note: practised.note.to_owned(),
            faults: faults.clone(),
        })
        .collect()
}

/// What a take repeats that a listener hears, the largest first.
fn faults(found: &Comparison, grid: &Grid) -> Vec<Fault> {
    let tempo = grid.tempo().map_or(90.0, |t| t.0);
    let ratio = found.rounds.last().map_or(1.0, |r| r.tempo_ratio);
    let bpm = (tempo * ratio).clamp(10.0, 400.0);
    let mut faults: Vec<Fault> = found
        .feel
        .iter()
        .filter(|feel| feel.slant)
        .map(|feel| {
            let half = 0.5 * feel.difference.0;
            let of = found.pairs.iter().filter(|p| {
                let there = p.slot == feel.slot && p.role == feel.role;
                there && p.difference().0 * half.signum() >= half.abs()
            });
            // Just noticeable: 2.5 % of the interval, at least 6 ms (Friberg & Sundberg 1995).
            let interval = 60_000.0 / bpm / f64::from(feel.slot.parts.max(1));
            Fault {
                role: feel.role,
                slot: feel.slot.to_string(),
                bar: of.clone().map(|p| p.bar).min().unwrap_or(1),
                notes: of.count() as u32,
                late_ms: feel.difference.ms(),
                bpm,
                goal_ms: (0.025 * interval).max(6.0),
            }
        })
        .collect();
    faults.sort_by(|a, b| b.late_ms.abs().total_cmp(&a.late_ms.abs()));
    faults
}

/// Drift of one hand in one round, against the grid.
fn figure(found: &Comparison, round: usize, role: Role) -> Option<HandFigure> {
    let drifts: Vec<f64> = found
        .pairs
        .iter()
        .filter(|p| p.round == round && p.role == role)
        .map(|p| p.take_drift.0)
        .collect();
    let figure = stats::figure(&drifts)?;
    Some(HandFigure {
        notes: figure.n as u32,
        drift_ms: figure.centre.ms(),
        spread_ms: figure.spread.ms(),
    })
}

/// A bar of which a passage has less than this was not played: a first note comes a little before
/// its bar, a last one rings into the next. Chosen by hand.
const PLAYED: f64 = 0.2;

/// The bars of a passage, as a player says them.
fn region(grid: &Grid, passage: (Seconds, Seconds)) -> String {
    let bars = grid.bars();
    let shared = |b: &Bar| b.end.0.min(passage.1.0) - b.start.0.max(passage.0.0);
    let most = bars.iter().map(shared).fold(0.0, f64::max);
    let inside = |b: &&Bar| {
        let share = shared(b);
        share > 0.0 && (share > PLAYED * (b.end - b.start).0 || share >= most)
    };
    let (first, last) = (bars.iter().find(inside), bars.iter().rev().find(inside));
    match (first, last) {
        (Some(a), Some(b)) if a.number == b.number => format!("bar {}", a.number),
        (Some(a), Some(b)) => format!("bars {}-{}", a.number, b.number),
        _ => format!("{:.1} to {:.1} s", passage.0.0, passage.1.0),
    }
}
