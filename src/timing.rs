//! What the distance between notes and grid means for a player: slots, drift, swing, lateness,
//! steadiness, tempo — each with an interval and absent where it cannot be told.
//!
//! Owns the reading of a grid; it never moves a beat (`analysis/beat` does). Robust throughout:
//! centres are medians, spreads are scaled median distances.

use crate::analysis::Analysis;
use crate::music::grid::Grid;
use crate::music::note::{Attack, Note, Role};
use crate::unit::{Bpm, Seconds, Span};

mod drift;
mod figures;
pub mod floor;
mod reference;
mod slot;
#[doc(hidden)]
pub mod stats;
pub mod steady;
mod swing;
mod verdict;
mod wording;

pub use drift::{BarFigure, Drift, NoteDrift, Roll, Section, SlotFigure};
pub use figures::{Feel, Figure, Reference, Slot, Standing, Swing};
pub use steady::{Steadiness, Trend};
pub use verdict::Verdict;

/// Bars of one [`Section`].
const SECTION: i32 = 8;
/// Half of the 95 % interval of a single onset and of the place the grid gives its slot: onsets
/// are found within about 1.5 ms (SD), beats within about 2.5 ms (SD). Measured on rendered
/// pieces.
const MEASURING: Span = Span::from_ms(5.7);

/// Measures what was heard against its own grid; where something else than one guitar plays there are no
/// thumb and fingers to measure, and nothing is.
pub fn of(found: &Analysis, reference: Reference) -> Drift {
    if found.solo.is_one_guitar() {
        return measure(&found.notes, &found.grid, reference);
    }
    Drift {
        reference,
        notes: vec![None; found.notes.len()],
        ..Drift::default()
    }
}

/// Measures `notes` against `grid`.
pub fn measure(notes: &[Note], grid: &Grid, reference: Reference) -> Drift {
    measure_pinned(notes, grid, reference, &[])
}

/// Measures `notes` against `grid`; notes in `pins` (index, and an instant near the slot) are
/// meant for the slot that a player named, however far they lie from it.
pub fn measure_pinned(
    notes: &[Note],
    grid: &Grid,
    reference: Reference,
    pins: &[(usize, Seconds)],
) -> Drift {
    if grid.is_empty() {
        return Drift {
            reference,
            notes: vec![None; notes.len()],
            ..Drift::default()
        };
    }
    let phases = swing::phases(notes, grid);
    let read = |swing, hand| {
        let given = Given {
            notes,
            grid,
            reference,
            pins,
            phases: &phases,
        };
        read_as(&given, swing, hand)
    };
    let mut best = read(swing::swing(&phases), true);
    if grid.off_beat.is_some() {
        return best;
    }
    // One place that drifts can be taken for a swing of all others, or for a hand that is late: of
    // all readings the one with the fewest causes is the simplest.
    let place = |beat: usize| grid.beats()[beat].place;
    let mut fewest = best.causes(notes);
    let first = best.swing;
    for (swing, hand) in swing::others(&phases, place) {
        if fewest == 0 || best.slants().next().is_none() {
            break;
        }
        let other = read(Some(swing), hand);
        let causes = other.causes(notes);
        if causes < fewest {
            (best, fewest) = (other, causes);
        }
    }
    // Fingers late at several places of the bar may be a late hand that nobody hears at any of them.
    if let Some((chosen, first)) = best.swing.as_mut().zip(first)
        && swing::places_on_beat(&phases, place) > 1
    {
        chosen.low = chosen.low.min(first.low);
        chosen.high = chosen.high.max(first.high);
    }
    best
}

/// What is measured, and against what.
struct Given<'a> {
    notes: &'a [Note],
    grid: &'a Grid,
    reference: Reference,
    pins: &'a [(usize, Seconds)],
    phases: &'a [swing::Phase],
}

/// Measures with the off-beats read as `swing`, and with a lateness of the fingers' hand on the beat
/// taken off them where `hand` says so.
fn read_as(given: &Given, swing: Option<Swing>, hand: bool) -> Drift {
    let &Given {
        notes,
        grid,
        reference,
        pins,
        phases,
    } = given;
    let mut drift = Drift {
        reference,
        notes: vec![None; notes.len()],
        swing,
        set_off_beat: grid.off_beat,
        ..Drift::default()
    };
    let off = drift.off_beat();
    drift.lateness = swing::lateness(phases, off, hand);
    drift.trend = steady::trend(grid);

    let mut order: Vec<usize> = (0..notes.len())
        .filter(|&i| notes[i].time.0.is_finite() && notes[i].attack != Attack::Tap)
        .collect();
    order.sort_by(|&a, &b| notes[a].time.total_cmp(&notes[b].time));
    let late = drift.lateness.map_or(0.0, |l| l.centre.0);
    let mut placed: Vec<Option<slot::Placed>> = vec![None; notes.len()];
    let sure = grid.sure();
    for &i in &order {
        let late = if notes[i].role == Role::Melody {
            late
        } else {
            0.0
        };
        placed[i] = slot::nearest(grid, notes[i].time, late, off).filter(|p| sure[p.beat]);
    }
    let rolls = slot::mark(grid, notes, &order, &mut placed);
    for &(i, near) in pins.iter().filter(|(i, _)| *i < notes.len()) {
        let pinned = slot::nearest(grid, near, 0.0, off);
        placed[i] = pinned.map(|p| slot::Placed {
            standing: Standing::Plain,
            ..p
        });
    }
    drift.rolls = rolls
        .into_iter()
        .map(|chord| Roll {
            spread: notes[chord[chord.len() - 1]].time - notes[chord[0]].time,
            notes: chord,
        })
        .collect();
    let thumbs = thumbs(notes, &order, &placed);
    drift.steadiness = steady::thumb(&thumbs, grid, !matches!(reference, Reference::Strict(_)));
    let against = reference::grid(grid, reference, &thumbs);
    let gaps = gaps(notes, &order);
    for &i in &order {
        drift.notes[i] = placed[i].and_then(|p| read(&notes[i], p, &against, gaps[i]));
    }
    if reference == Reference::Thumb {
        leave_out_unmeasured(&mut drift, notes, &order);
    }
    summarise(&mut drift, notes, grid, phases);
    drift
}

/// A finger note with the very time of a thumb note was not measured for itself: against the thumb it
/// would show a closeness that nobody played.
fn leave_out_unmeasured(drift: &mut Drift, notes: &[Note], order: &[usize]) {
    for same in order.chunk_by(|a, b| notes[*a].time == notes[*b].time) {
        let role = |i: &usize| notes[*i].role;
        if !same.iter().any(|i| role(i) == Role::Bass) {
            continue;
        }
        for i in same.iter().filter(|i| role(i) == Role::Melody) {
            if let Some(found) = &mut drift.notes[*i] {
                (found.drift, found.share) = (None, None);
            }
        }
    }
}

/// One note's drift against the reference's grid.
fn read(note: &Note, placed: slot::Placed, against: &Grid, gap: Span) -> Option<NoteDrift> {
    let place = against.time_at(placed.at)?;
    let drift = (placed.standing != Standing::Between).then_some(note.time - place);
    let interval = if gap < placed.length {
        gap
    } else {
        placed.length
    };
    Some(NoteDrift {
        bar: placed.bar,
        slot: placed.slot,
        at: placed.at,
        standing: placed.standing,
        drift,
        share: drift.map(|d| d.0 / placed.length.0),
        floor: floor::shown(interval, MEASURING),
    })
}

/// Thumb notes on beats, one a beat: (beat index, seconds).
fn thumbs(notes: &[Note], order: &[usize], placed: &[Option<slot::Placed>]) -> Vec<(usize, f64)> {
    let mut found: Vec<(usize, f64)> = Vec::new();
    for &i in order {
        let Some(p) = placed[i] else { continue };
        let plain = p.standing == Standing::Plain && p.slot.part == 0;
        if plain && notes[i].role == Role::Bass && found.last().is_none_or(|f| f.0 < p.beat) {
            found.push((p.beat, notes[i].time.0));
        }
    }
    found
}

/// Distance of each note to the nearest one that a listener hears apart from it.
fn gaps(notes: &[Note], order: &[usize]) -> Vec<Span> {
    const APART: f64 = 0.035;
    let mut gaps = vec![Span(f64::MAX); notes.len()];
    for (k, &i) in order.iter().enumerate() {
        let time = notes[i].time;
        let before = order[..k].iter().rev().map(|&j| time - notes[j].time);
        let after = order[k + 1..].iter().map(|&j| notes[j].time - time);
        for gap in [
            before.into_iter().find(|g| g.0 > APART),
            after.into_iter().find(|g| g.0 > APART),
        ]
        .into_iter()
        .flatten()
        {
            if gap < gaps[i] {
                gaps[i] = gap;
            }
        }
    }
    gaps
}

/// Drifts whose timing counts, of one hand, that pass `keep`.
fn gather(
    drift: &Drift,
    notes: &[Note],
    role: Role,
    keep: impl Fn(usize, &NoteDrift) -> bool,
) -> Vec<f64> {
    drift
        .notes
        .iter()
        .enumerate()
        .filter(|&(i, _)| notes[i].role == role)
        .filter_map(|(i, d)| d.as_ref().map(|d| (i, d)))
        .filter(|(i, d)| d.standing == Standing::Plain && keep(*i, d))
        .filter_map(|(_, d)| d.drift.map(|d| d.0))
        .collect()
}

fn summarise(drift: &mut Drift, notes: &[Note], grid: &Grid, phases: &[swing::Phase]) {
    drift.thumb = stats::figure(&gather(drift, notes, Role::Bass, |_, _| true));
    drift.fingers = stats::figure(&gather(drift, notes, Role::Melody, |_, _| true));
    let length = grid.tempo().map_or(0.5, |t| t.beat().0);
    let mut keys: Vec<Slot> = drift.notes.iter().flatten().map(|d| d.slot).collect();
    keys.sort();
    keys.dedup();
    for slot in keys {
        for role in [Role::Bass, Role::Melody] {
            let here = gather(drift, notes, role, |_, d| d.slot == slot);
            let floors = drift.notes.iter().flatten().filter(|d| d.slot == slot);
            let floor = floors.map(|d| d.floor.0).fold(0.0, f64::max);
            drift
                .slots
                .extend(stats::figure(&here).map(|figure| SlotFigure {
                    slot,
                    role,
                    figure,
                    share: figure.centre.0 / length,
                    floor: Span(floor),
                    doubt: Span(0.0),
                }));
        }
    }
    let bars = grid.bars();
    for bar in &bars {
        for role in [Role::Bass, Role::Melody] {
            let here = gather(drift, notes, role, |_, d| d.bar == bar.number);
            let figure = stats::figure(&here);
            drift.bars.extend(figure.map(|figure| BarFigure {
                bar: bar.number,
                role,
                figure,
            }));
        }
    }
    drift.sections = sections(drift, notes, grid, phases);
}

fn sections(drift: &Drift, notes: &[Note], grid: &Grid, phases: &[swing::Phase]) -> Vec<Section> {
    let bars = grid.bars();
    let mut sections = Vec::new();
    for run in grid.runs() {
        let inside: Vec<_> = bars
            .iter()
            .filter(|b| run.contains(&b.first_beat))
            .collect();
        for chunk in inside.chunks(SECTION as usize) {
            let (first, last) = (chunk[0], chunk[chunk.len() - 1]);
            let beats = first.first_beat..last.first_beat + last.beats;
            let here: Vec<swing::Phase> = phases
                .iter()
                .filter(|p| beats.contains(&p.beat))
                .copied()
                .collect();
            let swing = swing::swing(&here);
            let within = |i: usize, _: &NoteDrift| (first.start..last.end).contains(&notes[i].time);
            let count: usize = chunk.iter().map(|b| b.beats).sum();
            let tempo = Bpm(60.0 * count as f64 / (last.end - first.start).0.max(1e-3));
            sections.push(Section {
                first: first.number,
                last: last.number,
                from: first.start,
                to: last.end,
                thumb: stats::figure(&gather(drift, notes, Role::Bass, within)),
                fingers: stats::figure(&gather(drift, notes, Role::Melody, within)),
                lateness: swing::lateness(&here, drift::off(grid.off_beat, swing), true),
                swing,
                tempo,
            });
        }
    }
    sections
}
