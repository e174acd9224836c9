//! A take against the recording it learns from: note to note, against three references.
//!
//! "How far does my syncopation drift" can be asked of the grid, of one's own thumb, and of the
//! player on the recording, whose own pushes and lay-backs are the point of the pattern. This
//! module finds which note of the take is which note of the recording ([`align`], [`matching`]),
//! lays the recording's grid under the take, and tells the three apart ([`feel`]). It hears
//! nothing itself: both sides arrive as notes.

mod align;
mod comparison;
mod feel;
pub mod listen;
mod matching;
mod page;
mod pairs;

use crate::analysis::beat;
use crate::music::grid::{Beat, Grid};
use crate::music::note::{Attack, Note, Role};
use crate::timing::Standing;
use crate::unit::{Beats, Seconds, Span};

pub use comparison::{Comparison, NoComparison};
pub use feel::{SlotFeel, Whole};
pub use pairs::{Model, Pair, Round, SharedBeat};

/// Below this probability it is said to be another tune, and no figures are given.
pub const SAME_TUNE: f64 = 0.5;

/// Compares the notes of a `take` (in order of time) with a recording. The answer is the same
/// whenever the input is (resampling has a fixed seed).
pub fn compare(model: Model<'_>, take: &[Note]) -> Comparison {
    let mut found = answers(model, take);
    measure(&mut found, model);
    found
}

/// Which notes answer which, and why none do where that is so; no figures yet.
fn answers(model: Model<'_>, take: &[Note]) -> Comparison {
    let mut out = Comparison {
        same_tune: 0.0,
        transposed: 0,
        rounds: Vec::new(),
        pairs: Vec::new(),
        meter: model.grid.meter,
        feel: Vec::new(),
        whole: None,
        fault: None,
        warnings: Vec::new(),
    };
    let sounding = |notes: &[Note]| notes.iter().any(|n| n.attack != Attack::Tap);
    if !sounding(take) || !sounding(model.notes) {
        out.fault = Some(if sounding(take) {
            NoComparison::SilentRecording
        } else {
            NoComparison::SilentTake
        });
        return out;
    }
    let Some(found) = align::align(model.notes, take) else {
        out.fault = Some(NoComparison::TooShort);
        return out;
    };
    out.same_tune = found.same_tune;
    out.transposed = found.transposed;
    if found.same_tune < SAME_TUNE {
        out.fault = Some(NoComparison::AnotherTune);
        return out;
    }
    if found.transposed != 0 {
        out.warnings.push(format!(
            "the take sounds {} semitones {} than the recording: another tuning or capo",
            found.transposed.abs(),
            if found.transposed > 0 {
                "higher"
            } else {
                "lower"
            }
        ));
    }
    for (index, passage) in found.passages.iter().enumerate() {
        let matched = matching::pair_notes(model.notes, take, passage, found.transposed);
        add_round(&mut out, &model, take, index, passage, &matched);
    }
    out
}

/// The figures of a comparison and what makes them doubtful; `model` is what its indices refer to.
fn measure(out: &mut Comparison, model: Model<'_>) {
    if out.fault.is_some() {
        return;
    }
    if !out.pairs.iter().any(|p| p.role == Role::Bass) {
        out.warnings.push(
            "the thumb was not heard in the take: drift from the thumb cannot be told".into(),
        );
    }
    if !out.pairs.iter().any(|p| p.role == Role::Melody) {
        out.warnings
            .push("only the thumb was heard in the take".into());
    }
    out.feel = feel::by_slot(&out.pairs, model);
    out.whole = feel::whole(&out.pairs);
}

/// The same where it is known what was played along with: only the recording's notes from the one instant
/// to the other are asked for answers, so that a bar is not taken for another that is alike. Where they
/// explain clearly less of the take than all of the recording does, that is what counts: something else
/// was played, or a loop of few notes is found only by what it lies between.
pub fn compare_within(model: Model<'_>, take: &[Note], within: (Seconds, Seconds)) -> Comparison {
    /// A note a little before a bar's line is meant for it.
    const SLACK: Span = Span::from_ms(60.0);
    let before = |end: Seconds| model.notes.partition_point(|n| n.time < end - SLACK);
    let (first, last) = (before(within.0), before(within.1).max(before(within.0)));
    let part = Model {
        notes: &model.notes[first..last],
        drifts: &model.drifts[first..last],
        ..model
    };
    let mut found = answers(part, take);
    let mut anywhere = answers(model, take);
    let answered = |found: &Comparison| {
        let unmeasured: usize = found.rounds.iter().map(|r| r.unmeasured).sum();
        found.pairs.len() + unmeasured
    };
    if found.fault.is_some() || 10 * answered(&found) < 9 * answered(&anywhere) {
        measure(&mut anywhere, model);
        return anywhere;
    }
    measure(&mut found, part);
    for pair in &mut found.pairs {
        pair.recording += first;
    }
    for round in &mut found.rounds {
        round.missed.iter_mut().for_each(|note| *note += first);
        for (a, b) in &mut round.swapped {
            (*a, *b) = (*a + first, *b + first);
        }
    }
    found
}

/// Measures one time through the passage and adds it to the comparison.
fn add_round(
    out: &mut Comparison,
    model: &Model<'_>,
    take: &[Note],
    index: usize,
    passage: &align::Passage,
    matched: &matching::Matched,
) {
    let mut pairs = Vec::new();
    let mut beats = Vec::new();
    for (leg, answers) in by_leg(passage, model, &matched.pairs) {
        let Some((ours, grid)) = grids(model, take, leg, &answers) else {
            continue;
        };
        for &(r, t) in &answers {
            let Some(pair) = measured(model, take, (&ours, &grid), (r, t), index) else {
                continue;
            };
            pairs.push(Pair {
                wrong_pitch: matched.wrong.contains(&(r, t)),
                ..pair
            });
        }
        let last = beats.last().map_or(f64::MIN, |b: &SharedBeat| b.take.0);
        let fresh = shared_beats(model.grid, &grid);
        beats.extend(fresh.into_iter().filter(|b| b.take.0 > last));
    }
    against_thumb(&mut pairs, model);
    let unmeasured = matched.pairs.len().saturating_sub(pairs.len());
    out.pairs.extend(pairs);
    out.rounds.push(Round {
        recording: passage.recording,
        take: passage.take,
        tempo_ratio: 1.0 / passage.stretch,
        beats,
        unmeasured,
        missed: matched.missed.clone(),
        extra: matched.extra.clone(),
        swapped: matched.swapped.clone(),
    });
}

/// The answers of each part of a passage; one between two parts belongs to the earlier one.
fn by_leg<'a>(
    passage: &'a align::Passage,
    model: &Model<'_>,
    pairs: &[(usize, usize)],
) -> Vec<(&'a align::Passage, Vec<(usize, usize)>)> {
    let starts = passage.legs.iter().skip(1).map(|l| l.recording.0);
    let starts: Vec<Seconds> = starts.collect();
    let leg_of =
        |r: usize| starts.partition_point(|s| *s <= model.notes[r].time + Span(align::CHORD));
    let of = |i: usize| pairs.iter().copied().filter(move |p| leg_of(p.0) == i);
    let legs = passage.legs.iter().enumerate();
    legs.map(|(i, leg)| (leg, of(i).collect())).collect()
}

/// The recording's beats, and the same carried into the take by the notes that answer each other;
/// both settled, as every measuring grid is, on the notes of this passage alone. So each bends
/// where the other does: a click that the notes run ahead of, or a passage's ends, leave no
/// difference between them.
fn grids(
    model: &Model<'_>,
    take: &[Note],
    passage: &align::Passage,
    pairs: &[(usize, usize)],
) -> Option<(Grid, Grid)> {
    let margin = Span(0.75);
    let beats: Vec<Beat> = model
        .grid
        .beats()
        .iter()
        .filter(|b| passage.covers(b.time, margin))
        .copied()
        .collect();
    if beats.len() < 3 || pairs.len() < 4 {
        return None;
    }
    let settled = |beats: Vec<Beat>, mut notes: Vec<Note>| {
        let rough = Grid::from_parts(model.grid.meter, beats, Vec::new());
        notes.sort_by(|a, b| a.time.total_cmp(&b.time));
        beat::fit_to_notes(&rough.swung(model.grid.off_beat), &notes)
    };
    let carried = beats.iter().map(|b| Beat {
        time: passage.in_take(b.time),
        ..*b
    });
    let answering = pairs.iter().map(|&(r, t)| Note {
        role: model.notes[r].role,
        ..take[t].clone()
    });
    let theirs = settled(carried.collect(), answering.collect());
    let here = |n: &&Note| passage.covers(n.time, Span(align::CHORD));
    let played = model.notes.iter().filter(here).cloned();
    Some((settled(beats, played.collect()), theirs))
}

/// Beats of the recording beside those laid under the take.
fn shared_beats(ours: &Grid, theirs: &Grid) -> Vec<SharedBeat> {
    let Some(first) = theirs.beats().first() else {
        return Vec::new();
    };
    let from = ours
        .beats()
        .iter()
        .position(|b| b.bar == first.bar && b.place == first.place);
    let ours = &ours.beats()[from.unwrap_or(ours.beats().len())..];
    ours.iter()
        .zip(theirs.beats())
        .map(|(a, b)| SharedBeat {
            recording: a.time,
            take: b.time,
            place: a.place,
        })
        .collect()
}

/// One pair against both grids, where the recording's note has a slot.
fn measured(
    model: &Model<'_>,
    take: &[Note],
    (ours, grid): (&Grid, &Grid),
    (r, t): (usize, usize),
    round: usize,
) -> Option<Pair> {
    let drift = model.drifts.get(r)?.as_ref()?;
    if matches!(
        drift.standing,
        Standing::Rolled | Standing::Grace | Standing::Doubled
    ) {
        return None;
    }
    let slot_time = model.notes[r].time - drift.drift?;
    let first = grid.beats().first()?;
    let offset = model
        .grid
        .beats()
        .iter()
        .position(|b| b.bar == first.bar && b.place == first.place)?;
    let nominal = model.grid.beat_at(slot_time)?;
    let nominal = Beats(nominal.0 - offset as f64);
    let recording_drift = model.notes[r].time - ours.time_at(nominal)?;
    let there = grid.time_at(nominal)?;
    Some(Pair {
        recording: r,
        take: t,
        round,
        slot: drift.slot,
        bar: drift.bar,
        role: model.notes[r].role,
        recording_drift,
        take_drift: take[t].time - there,
        from_thumb: None,
        wrong_pitch: false,
    })
}

/// Fills in each finger note's drift from the thumb's note nearest to it, within a beat.
fn against_thumb(pairs: &mut [Pair], model: &Model<'_>) {
    let thumbs: Vec<(Seconds, Span)> = pairs
        .iter()
        .filter(|p| p.role == Role::Bass)
        .map(|p| (model.notes[p.recording].time, p.take_drift))
        .collect();
    for pair in pairs.iter_mut().filter(|p| p.role == Role::Melody) {
        let at = model.notes[pair.recording].time;
        let beat = model.grid.beat_length(at).unwrap_or(Span(0.5));
        pair.from_thumb = thumbs
            .iter()
            .map(|&(time, drift)| ((time - at).abs(), drift))
            .filter(|(away, _)| away.0 <= beat.0)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, drift)| pair.take_drift - drift);
    }
}
