//! Comparing a take with the recording it learns from, on performances whose truth is known.

use thumbline::compare::{Comparison, Model, NoComparison, compare, compare_within};
use thumbline::demo::tune;
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Note, Role};
use thumbline::music::performance::{Habit, Manner, Performance};
use thumbline::timing::{self, Reference};
use thumbline::unit::{Beats, Bpm, MidiNote, Seconds, Span};

/// A small source of chance for the tests.
struct Chance(u64);

impl Chance {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
}

struct Side {
    notes: Vec<Note>,
    grid: Grid,
    written: Vec<usize>,
    /// True drift by written note.
    drift: Vec<f64>,
}

/// The tune played in `manner`, as a detector with 1.5 ms of error hears it.
fn played(manner: &Manner) -> Side {
    let score = tune();
    let performance = Performance::of(&score, manner);
    let mut chance = Chance(manner.seed.wrapping_mul(77) + 13);
    let mut all: Vec<(Note, usize)> = performance
        .notes
        .iter()
        .map(|p| {
            let mut note = p.note.clone();
            let error: f64 = (0..12).map(|_| chance.unit()).sum::<f64>() - 6.0;
            note.time += Span::from_ms(1.5 * error);
            (note, p.written)
        })
        .collect();
    all.sort_by(|a, b| a.0.time.total_cmp(&b.0.time));
    let mut drift = vec![0.0; score.notes.len()];
    for p in &performance.notes {
        drift[p.written] = p.drift.0;
    }
    let (notes, written) = all.into_iter().unzip();
    Side {
        notes,
        grid: Grid::from_beats(&performance.beats, 0, score.meter),
        written,
        drift,
    }
}

fn against(recording: &Side, take: &[Note]) -> Comparison {
    let drift = timing::measure(&recording.notes, &recording.grid, Reference::OwnTempo);
    let model = Model {
        notes: &recording.notes,
        grid: &recording.grid,
        drifts: &drift.notes,
    };
    compare(model, take)
}

fn model_manner() -> Manner {
    Manner {
        fingers: Span::from_ms(5.0),
        thumb: Span::from_ms(4.0),
        ..Manner::practised(Bpm(96.0), 4)
    }
}

/// Leaves out and adds a tenth of the notes.
fn spoil(side: &mut Side, seed: u64) {
    let mut chance = Chance(seed | 1);
    let kept: Vec<bool> = side.notes.iter().map(|_| chance.unit() > 0.1).collect();
    let mut all: Vec<(Note, usize)> = side
        .notes
        .iter()
        .cloned()
        .zip(side.written.iter().copied())
        .zip(kept)
        .filter_map(|(n, k)| k.then_some(n))
        .collect();
    for _ in 0..side.notes.len() / 10 {
        let like = &side.notes[(chance.unit() * side.notes.len() as f64) as usize];
        let mut note = like.clone();
        note.time = Seconds(side.notes[0].time.0 + chance.unit() * 35.0);
        note.pitch = note
            .pitch
            .map(|p| MidiNote(p.0 + (chance.unit() * 6.0).floor()));
        all.push((note, usize::MAX));
    }
    all.sort_by(|a, b| a.0.time.total_cmp(&b.0.time));
    (side.notes, side.written) = all.into_iter().unzip();
}

#[test]
fn lateness_at_a_slot_and_pairs_are_found_through_missed_and_extra_notes() {
    let recording = played(&model_manner());
    let (mut right, mut wrong, mut errors) = (0usize, 0usize, Vec::new());
    for seed in 1..=24u64 {
        let tempo = 96.0 * (0.6 + 0.4 * (seed as f64 / 24.0));
        let habit = Habit {
            role: Role::Melody,
            place: Beats(1.5),
            by: Span::from_ms(-30.0 + 2.5 * seed as f64),
        };
        let manner = Manner {
            habits: vec![habit],
            thumb: Span::from_ms(6.0),
            fingers: Span::from_ms(7.0),
            lead: Span(0.3 + 0.11 * seed as f64),
            ..Manner::practised(Bpm(tempo), 100 + seed)
        };
        let mut take = played(&manner);
        spoil(&mut take, seed * 31);
        let found = against(&recording, &take.notes);
        assert!(found.same_tune > 0.9, "seed {seed}: {}", found.same_tune);
        assert_eq!(found.rounds.len(), 1, "seed {seed}");
        let ratio = found.rounds[0].tempo_ratio;
        assert!(
            (ratio / (tempo / 96.0) - 1.0).abs() < 0.02,
            "seed {seed}: {ratio}"
        );
        for pair in &found.pairs {
            if recording.written[pair.recording] == take.written[pair.take] {
                right += 1;
            } else {
                wrong += 1;
            }
        }
        let feel = found
            .feel
            .iter()
            .find(|f| f.role == Role::Melody && f.slot.beat == 2 && f.slot.part > 0);
        let feel = feel.unwrap_or_else(|| panic!("seed {seed}: no figure after beat 2"));
        // What was really played at that slot, chance included: the mean over its pairs.
        let played: Vec<f64> = found
            .pairs
            .iter()
            .filter(|p| p.role == Role::Melody && p.slot == feel.slot)
            .map(|p| {
                take.drift[recording.written[p.recording]]
                    - recording.drift[recording.written[p.recording]]
            })
            .collect();
        let truth = played.iter().sum::<f64>() / played.len() as f64;
        errors.push((feel.difference.0 - truth).abs() * 1000.0);
    }
    errors.sort_by(f64::total_cmp);
    let share = right as f64 / (right + wrong) as f64;
    let (median, p95) = (errors[errors.len() / 2], errors[errors.len() * 95 / 100]);
    println!("pairs right {share:.4}, lateness off by {median:.2} ms (median), {p95:.2} ms (p95)");
    assert!(share >= 0.98);
    assert!(median <= 2.0, "{errors:.1?}");
    assert!(p95 <= 4.0, "{errors:.1?}");
}

#[test]
fn a_loop_played_three_times_is_three_rounds() {
    let recording = played(&model_manner());
    let (from, to) = recording.grid.bar_range(5, 8).expect("bars 5 to 8");
    let mut take = Vec::new();
    for round in 0..3u64 {
        let manner = Manner {
            thumb: Span::from_ms(6.0),
            fingers: Span::from_ms(8.0),
            ..Manner::practised(Bpm(80.0), 40 + round)
        };
        let side = played(&manner);
        let (a, b) = side.grid.bar_range(5, 8).expect("bars 5 to 8");
        let length = b - a;
        for note in side
            .notes
            .iter()
            .filter(|n| n.time >= a - Span(0.05) && n.time < b - Span(0.05))
        {
            let time = Seconds(1.0) + (note.time - a) + length * round as f64;
            take.push(Note {
                time,
                ..note.clone()
            });
        }
    }
    take.sort_by(|a, b| a.time.total_cmp(&b.time));
    let found = against(&recording, &take);
    assert_eq!(found.rounds.len(), 3, "{:?}", found.rounds);
    for round in &found.rounds {
        assert!(
            (round.recording.0 - from).abs().0 < 0.6,
            "{:?}",
            round.recording
        );
        assert!(
            (round.recording.1 - to).abs().0 < 0.9,
            "{:?}",
            round.recording
        );
        assert!((round.tempo_ratio - 80.0 / 96.0).abs() < 0.02);
    }
}

/// Bars that differ in a note or two are taken for one another; where it is known which one was looped,
/// every answer is of that one.
#[test]
fn a_loop_of_a_bar_that_has_others_like_it_is_told_by_where_it_was_played() {
    let times: Vec<Seconds> = (0..24)
        .map(|beat| Seconds(0.5 + 0.6 * f64::from(beat)))
        .collect();
    let grid = Grid::from_beats(&times, 0, Meter { count: 4, unit: 4 });
    let melody = [
        [62, 64, 66],
        [69, 67, 64],
        [62, 64, 67],
        [62, 67, 66],
        [69, 64, 66],
        [62, 64, 66],
    ];
    let bar = |bar: usize, at: f64| -> Vec<Note> {
        let pluck = |beat: f64, role, midi: i32| Note {
            pitch: Some(MidiNote(f64::from(midi))),
            ..Note::by_hand(Seconds(at + 0.6 * beat), role)
        };
        let thumb = [38, 50, 45, 50];
        let mut notes: Vec<Note> = (0..4)
            .map(|b| pluck(b as f64, Role::Bass, thumb[b]))
            .chain((0..3).map(|b| pluck(b as f64 + 0.5, Role::Melody, melody[bar][b])))
            .collect();
        notes.sort_by(|a, b| a.time.total_cmp(&b.time));
        notes
    };
    let notes: Vec<Note> = (0..6).flat_map(|b| bar(b, 0.5 + 2.4 * b as f64)).collect();
    let recording = Side {
        notes,
        grid,
        written: Vec::new(),
        drift: Vec::new(),
    };
    let drift = timing::measure(&recording.notes, &recording.grid, Reference::OwnTempo);
    let model = Model {
        notes: &recording.notes,
        grid: &recording.grid,
        drifts: &drift.notes,
    };
    // Bar 3 four times; the last time round two notes are those of the bar before.
    let mut take: Vec<Note> = (0..4)
        .flat_map(|round| bar(2, 1.0 + 2.4 * f64::from(round)))
        .collect();
    for (note, wrong) in [(22, 69), (24, 67)] {
        take[note].pitch = Some(MidiNote(f64::from(wrong)));
    }
    let bars = |found: &Comparison| -> Vec<i32> { found.pairs.iter().map(|p| p.bar).collect() };
    let (from, to) = recording.grid.bar_range(3, 3).expect("bar 3");
    let found = compare_within(model, &take, (from, to));
    assert_eq!(bars(&found), [3; 28]);
    for pair in &found.pairs {
        let (recorded, taken) = (&recording.notes[pair.recording], &take[pair.take]);
        assert_eq!(pair.wrong_pitch, recorded.pitch != taken.pitch, "{pair:?}");
    }
    assert!(
        bars(&compare(model, &take)).iter().any(|bar| *bar != 3),
        "it would be guessed"
    );
    // Something else than was asked for is looked for everywhere.
    let elsewhere = compare_within(model, &take, recording.grid.bar_range(6, 6).expect("bar 6"));
    assert!(!elsewhere.pairs.is_empty());
}

#[test]
fn another_tune_is_told_not_measured() {
    let recording = played(&model_manner());
    for seed in 1..=20u64 {
        // The same notes and rhythm, the pitches dealt anew within each hand: the same key, the
        // same guitar, another tune.
        let mut take = played(&Manner::practised(Bpm(90.0), seed));
        let mut chance = Chance(seed * 7919);
        for role in [Role::Bass, Role::Melody] {
            let places: Vec<usize> = (0..take.notes.len())
                .filter(|&i| take.notes[i].role == role)
                .collect();
            for k in (1..places.len()).rev() {
                let other = (chance.unit() * (k + 1) as f64) as usize;
                let (a, b) = (places[k], places[other]);
                let held = take.notes[a].pitch;
                take.notes[a].pitch = take.notes[b].pitch;
                take.notes[b].pitch = held;
            }
        }
        let found = against(&recording, &take.notes);
        assert!(found.same_tune < 0.5, "seed {seed}: {}", found.same_tune);
        assert!(found.pairs.is_empty() && found.fault == Some(NoComparison::AnotherTune));
    }
}

#[test]
fn a_take_with_the_capo_elsewhere_still_compares() {
    let recording = played(&model_manner());
    let mut take = played(&Manner::practised(Bpm(90.0), 9));
    for note in &mut take.notes {
        note.pitch = note.pitch.map(|p| MidiNote(p.0 + 2.0));
    }
    let found = against(&recording, &take.notes);
    assert_eq!(found.transposed, 2);
    assert!(found.same_tune > 0.9 && !found.pairs.is_empty());
    assert!(found.pairs.iter().all(|p| !p.wrong_pitch));
}

#[test]
fn missed_extra_wrong_and_swapped_notes_are_named() {
    let recording = played(&Manner::exact(Bpm(96.0), Span(0.5)));
    let mut take = played(&Manner::exact(Bpm(80.0), Span(1.1)));
    let middle = take.notes.len() / 2;
    let melody: Vec<usize> = (middle..take.notes.len())
        .filter(|&i| take.notes[i].role == Role::Melody)
        .collect();
    // One wrong pitch, one note left out, one added.
    let wrong = take.written[melody[0]];
    take.notes[melody[0]].pitch = take.notes[melody[0]].pitch.map(|p| MidiNote(p.0 + 1.0));
    let missed = take.written[melody[2]];
    let mut extra = take.notes[melody[4]].clone();
    extra.time += Span(0.21);
    extra.pitch = extra.pitch.map(|p| MidiNote(p.0 + 3.0));
    take.notes.remove(melody[2]);
    take.written.remove(melody[2]);
    let at = take.notes.partition_point(|n| n.time <= extra.time);
    take.notes.insert(at, extra);
    take.written.insert(at, usize::MAX);
    let found = against(&recording, &take.notes);
    let round = &found.rounds[0];
    assert_eq!(
        round
            .missed
            .iter()
            .map(|&i| recording.written[i])
            .collect::<Vec<_>>(),
        [missed]
    );
    assert_eq!(round.extra, [at]);
    let wrongs: Vec<usize> = found
        .pairs
        .iter()
        .filter(|p| p.wrong_pitch)
        .map(|p| recording.written[p.recording])
        .collect();
    assert_eq!(wrongs, [wrong]);
}

#[test]
fn hardly_anything_to_compare_is_said() {
    let recording = played(&model_manner());
    let fault = |take: &[Note]| against(&recording, take).fault;
    assert_eq!(fault(&[]), Some(NoComparison::SilentTake));
    assert_eq!(fault(&recording.notes[..2]), Some(NoComparison::TooShort));
    let silent = Side {
        notes: Vec::new(),
        ..played(&model_manner())
    };
    let nothing = against(&silent, &recording.notes);
    assert_eq!(nothing.fault, Some(NoComparison::SilentRecording));
    let faults = [
        NoComparison::SilentTake,
        NoComparison::SilentRecording,
        NoComparison::TooShort,
        NoComparison::AnotherTune,
    ];
    let said: std::collections::BTreeSet<String> = faults.iter().map(ToString::to_string).collect();
    assert_eq!(said.len(), faults.len(), "each has a sentence of its own");
    let bass: Vec<Note> = played(&Manner::practised(Bpm(90.0), 3))
        .notes
        .into_iter()
        .filter(|n| n.role == Role::Bass)
        .collect();
    let found = against(&recording, &bass);
    assert!(found.whole.is_none());
    assert!(
        found.warnings.iter().any(|w| w.contains("only the thumb")),
        "{:?}",
        found.warnings
    );
}

/// A loop is named in the journal by the bars that were played, not by the bar before that its first
/// note comes a little early in, nor by the next that its last note rings into.
#[test]
fn a_loop_is_kept_under_its_own_bars() {
    let recording = played(&model_manner());
    let take = played(&Manner::practised(Bpm(92.0), 5));
    let bars = take.grid.bars();
    let hash = thumbline::recording::Recording::new("x", 8000, vec![vec![0.1; 9]]);
    let hash = hash.expect("a recording").hash();
    for (first, last) in [(9, 12), (5, 8), (17, 20), (10, 11), (13, 13)] {
        let start = bars
            .iter()
            .find(|b| b.number == first)
            .expect("a bar")
            .start;
        let end = bars.iter().find(|b| b.number == last).expect("a bar").end;
        let inside = |n: &&Note| n.time.0 > start.0 - 0.05 && n.time.0 < end.0 - 0.05;
        let notes: Vec<Note> = take.notes.iter().filter(inside).cloned().collect();
        let found = against(&recording, &notes);
        let practised = thumbline::journal::Practised {
            recording: hash,
            name: "a tune",
            grid: &recording.grid,
            tuning: None,
            at: thumbline::journal::Moment(0),
            note: "",
        };
        let rounds = thumbline::journal::rounds_of(&found, &practised);
        let wanted = if first == last {
            format!("bar {first}")
        } else {
            format!("bars {first}-{last}")
        };
        assert!(
            rounds.iter().all(|r| r.region == wanted),
            "{wanted}: {rounds:?}"
        );
        assert!(!rounds.is_empty(), "{wanted}");
    }
}

#[test]
fn the_same_take_gives_the_same_answer() {
    let recording = played(&model_manner());
    let take = played(&Manner::practised(Bpm(88.0), 21));
    assert_eq!(
        against(&recording, &take.notes),
        against(&recording, &take.notes)
    );
}

fn model<'a>(recording: &'a Side, drifts: &'a timing::Drift) -> Model<'a> {
    Model {
        notes: &recording.notes,
        grid: &recording.grid,
        drifts: &drifts.notes,
    }
}

/// The share of the beat that a page gives is its drift against the beat's own length.
#[test]
fn a_page_has_its_drifts_as_shares_of_the_beat() {
    let recording = played(&model_manner());
    let take = played(&Manner::practised(Bpm(92.0), 5));
    let drift = timing::measure(&recording.notes, &recording.grid, Reference::OwnTempo);
    let found = compare(model(&recording, &drift), &take.notes);
    let (notes, page) = found.page(model(&recording, &drift), &take.notes, Reference::Recording);
    let mut counted = 0;
    for (note, placed) in notes.iter().zip(&page.notes) {
        let told = placed.and_then(|p| Some((p.drift?, p.share?)));
        let (Some((drift, share)), Some(beat)) = (told, recording.grid.beat_length(note.time))
        else {
            continue;
        };
        let off = (share * beat.0 - drift.0).abs();
        assert!(
            off < 0.1 * drift.abs().0 + 1e-6,
            "{share} of {beat:?}, {drift:?}"
        );
        counted += usize::from(drift.abs().ms() > 3.0);
    }
    assert!(counted > 20, "only {counted} notes stray");
}

/// Played along, all of it 40 ms late: that is told as a lateness of the whole, at another tempo none is.
#[test]
fn a_take_that_is_late_as_a_whole_is_told_so() {
    let recording = played(&model_manner());
    let drift = timing::measure(&recording.notes, &recording.grid, Reference::OwnTempo);
    let later = |note: &Note| Note {
        time: note.time + Span::from_ms(40.0),
        end: note.end + Span::from_ms(40.0),
        ..note.clone()
    };
    let take: Vec<Note> = recording.notes.iter().map(later).collect();
    let found = compare(model(&recording, &drift), &take);
    let late = found.late(model(&recording, &drift), &take);
    let late = late.expect("all of it is late").centre;
    assert!((late.ms() - 40.0).abs() < 1.0, "{late:?}");
    let slower = played(&Manner::practised(Bpm(80.0), 4));
    let found = compare(model(&recording, &drift), &slower.notes);
    assert_eq!(found.late(model(&recording, &drift), &slower.notes), None);
}

/// A round's beats run through the passage in both, none twice.
#[test]
fn a_round_has_its_beats_in_order() {
    let recording = played(&model_manner());
    let take = played(&Manner::practised(Bpm(92.0), 5));
    let found = against(&recording, &take.notes);
    assert!(!found.rounds.is_empty());
    for round in &found.rounds {
        assert!(round.beats.len() > 8, "{} beats", round.beats.len());
        for pair in round.beats.windows(2) {
            assert!(pair[0].take < pair[1].take && pair[0].recording < pair[1].recording);
        }
    }
}
