//! The grid as a measure: on playing and renderings that are known exactly, and repaired by hand.

use crate::playing::{Dice, note};
use thumbline::analysis::beat::evaluation::Piece;
use thumbline::analysis::beat::{Edit, GridEdits, Tracker, track};
use thumbline::analysis::{Analysis, Options, analyze};
use thumbline::demo::{Rendition, tune};
use thumbline::dsp::pluck::Guitar;
use thumbline::load::load;
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Note, Role};
use thumbline::music::performance::Manner;
use thumbline::music::score::Score;
use thumbline::music::tuning::Tuning;
use thumbline::recording::Recording;
use thumbline::timing::{Reference, SlotFigure, measure};
use thumbline::unit::{Bpm, Seconds, Span};

/// Thumb on every beat, fingers on every other beat and every off-beat, `jitter` s; `moved` is
/// added at a beat.
fn picking(bars: u32, jitter: f64, beat: f64, moved: impl Fn(f64) -> f64) -> Vec<Note> {
    let mut dice = Dice(7_919);
    let mut notes = Vec::new();
    for k in 0..bars * 4 {
        let root = [43, 38, 40, 36][(k / 4 % 4) as usize];
        let mut play = |place: f64, role, midi| {
            let at = 0.7 + place * beat + moved(place) + jitter * dice.roll();
            notes.push(note(at, role, midi));
        };
        let place = f64::from(k);
        play(place, Role::Bass, root + if k % 2 == 0 { 0 } else { 12 });
        if k % 2 == 1 {
            play(place, Role::Melody, root + 24);
        }
        play(place + 0.5, Role::Melody, root + 28);
    }
    notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    notes
}

fn rendered(manner: &Manner, seed: u64) -> (Rendition, Analysis) {
    let guitar = Guitar {
        rate: 22_050,
        seed,
        ..Guitar::default()
    };
    let take = Rendition::new("known", &tune(), manner, guitar).expect("renders");
    let found = analyze(&take.recording, &Options::default(), &mut ()).expect("not cancelled");
    (take, found)
}

#[test]
fn a_tune_rendered_on_the_grid_is_hardly_called_early_or_late() {
    for (bpm, seed) in [(88.0, 3), (112.0, 4)] {
        let (_, found) = rendered(&Manner::exact(Bpm(bpm), Span(0.6)), seed);
        let drift = measure(&found.notes, &found.grid, Reference::OwnTempo);
        let called = drift.notes.iter().flatten();
        let called = called.filter(|d| d.audible().is_some()).count();
        let share = called as f64 / found.notes.len() as f64;
        println!(
            "{bpm}: {called} of {} called early or late",
            found.notes.len()
        );
        assert!(share <= 0.05, "{bpm}: {share:.3}");
        let late = drift.lateness.expect("both hands play").centre.ms();
        assert!(late.abs() < 5.0, "{bpm}: fingers {late:.1} ms");
    }
}

#[test]
fn the_grid_heard_at_a_constant_tempo_is_even_to_a_few_milliseconds() {
    let manner = Manner {
        thumb: Span::from_ms(5.0),
        fingers: Span::from_ms(6.0),
        seed: 5,
        ..Manner::exact(Bpm(98.0), Span(0.6))
    };
    let (take, found) = rendered(&manner, 6);
    let mut errors: Vec<f64> = take
        .grid
        .beats()
        .iter()
        .map(|b| {
            let away = found
                .grid
                .beats()
                .iter()
                .map(|f| (f.time - b.time).abs().ms());
            away.fold(f64::MAX, f64::min)
        })
        .collect();
    errors.sort_by(f64::total_cmp);
    let (median, p95) = (errors[errors.len() / 2], errors[errors.len() * 95 / 100]);
    println!("grid error: median {median:.2} ms, p95 {p95:.2} ms");
    assert!(median <= 3.0 && p95 <= 8.0, "{median} {p95}");
}

/// What is rendered has its beats and bars also with a quiet room around it (1.7 s and 2.3 s) and begun within a
/// beat and ended within a bar: a tune in four, a waltz at 120, six eighths at the level of their two beats.
#[test]
fn renderings_keep_their_beats_with_room_and_cut() {
    let waltz = "1:6.3 2:3.0 2:2.0 3:1.3 1:2.0\n1:5.2 2:3.0 2:1.3 3:2.0 3&:1.2\n\
                 1:5.3 2:3.0 2:2.1 3:1.0\n1:4.0 1:1.2 2:3.2 2:2.3 3:1.0 3&:2.3\n";
    let six = "1:6.0 2:3.0 3:2.0 4:4.2 5:1.0 6:2.0\n1:5.0 2:3.2 3:2.1 4:4.2 5:1.0 6:2.1\n\
               1:6.3 2:3.0 3:2.0 4:4.0 5:1.3 6:2.0\n1:5.2 2:3.2 3:2.0 4:4.4 5:1.2 6:2.0\n";
    let score = |bars: &str, count, unit, bpm| {
        let meter = Meter { count, unit };
        Score::parse("own", Tuning::standard(), meter, Bpm(bpm), &bars.repeat(3))
            .expect("written well")
    };
    let pieces = [
        (tune(), 96.0),
        (score(waltz, 3, 4, 120.0), 120.0),
        (score(six, 6, 8, 66.0), 66.0),
    ];
    for (k, (score, bpm)) in pieces.into_iter().enumerate() {
        let manner = Manner {
            thumb: Span::from_ms(5.0),
            fingers: Span::from_ms(6.0),
            seed: 11 + k as u64,
            ..Manner::exact(Bpm(bpm), Span(0.7))
        };
        let guitar = Guitar {
            rate: 22_050,
            seed: 12 + k as u64,
            ..Guitar::default()
        };
        let take = Rendition::new("own", &score, &manner, guitar).expect("renders");
        let beats: Vec<f64> = take.grid.beats().iter().map(|b| b.time.0).collect();
        let gap = beats[1] - beats[0];
        let end = take.recording.end().0;
        let cuts = [
            ("room", -1.7, end + 2.3),
            ("cut", beats[0] + 0.37 * gap, end - 1.21 * gap),
        ];
        for (how, from, to) in cuts {
            let mut dice = Dice(5);
            let first = (from * 22_050.0).round() as i64;
            let frames = first..(to * 22_050.0) as i64;
            let sound = &take.recording.channels()[0];
            let sample = |at: i64| {
                let played = usize::try_from(at).ok().and_then(|at| sound.get(at));
                played.copied().unwrap_or_else(|| 5e-4 * dice.roll() as f32)
            };
            let heard = Recording::new("own", 22_050, vec![frames.map(sample).collect()])
                .expect("long enough");
            let found = analyze(&heard, &Options::default(), &mut ()).expect("not cancelled");
            let within = |first_alone: bool| -> Vec<f64> {
                let kept = take
                    .grid
                    .beats()
                    .iter()
                    .filter(|b| !first_alone || b.place == 1);
                let moved = kept.map(|b| b.time.0 - from);
                moved.filter(|at| (0.0..to - from).contains(at)).collect()
            };
            let truth = Piece {
                name: String::new(),
                notes: found.notes,
                end: heard.end(),
                beats: within(false),
                downbeats: within(true),
            };
            let (right, bars) = truth.figures(&found.grid);
            println!(
                "{} at {bpm}, {how}: beats {right:.2}, bars {bars:.2}",
                score.meter
            );
            assert!(
                right >= 0.97 && bars >= 0.9,
                "{} at {bpm}, {how}: {right} {bars}",
                score.meter
            );
            assert_eq!(found.grid.meter, score.meter, "at {bpm}, {how}");
        }
    }
}

/// All notes from one beat on come a little later: the grid goes over to them within the stated
/// time constant, as a step response shows.
#[test]
fn the_time_constant_is_what_the_grid_answers_a_step_with() {
    let (beat, step) = (0.5, 0.006);
    let end = Seconds(40.0);
    let solve = |moved: &dyn Fn(f64) -> f64| {
        let notes = picking(16, 0.012, beat, moved);
        track(&notes, end, &GridEdits::none())
    };
    let before = solve(&|_| 0.0);
    let after = solve(&|place| if place >= 31.9 { step } else { 0.0 });
    let constant = before.time_constant.expect("a time constant").0;
    let at = 0.7 + 31.5 * beat;
    let answer: Vec<(f64, f64)> = before
        .grid
        .beats()
        .iter()
        .zip(after.grid.beats())
        .map(|(a, b)| ((a.time.0 - at) / constant, (b.time - a.time).0 / step))
        .collect();
    println!("time constant {constant:.2} s; answer by time constants after the step:");
    for (time, share) in answer.iter().filter(|a| a.0.abs() < 5.0) {
        println!("  {time:5.2}: {share:.2}");
    }
    for &(time, share) in &answer {
        let expected = if time > 0.0 { 1.0 } else { 0.0 };
        let away = (share - expected).abs();
        // e-folding: at most 1/e is left after one time constant, with room for the overshoot that a
        // curve without corners has.
        if time.abs() > 3.0 {
            assert!(away < 0.15, "{time:.1} time constants: {share:.2}");
        } else if time.abs() > 1.0 {
            assert!(away < 0.37, "{time:.1} time constants: {share:.2}");
        }
    }
}

/// One off-beat of four is always late: that is a slant at its slot, not a swing of all.
#[test]
fn one_off_beat_that_is_always_late_is_a_slant() {
    let late = 0.030;
    let moved = |place: f64| {
        if (place.rem_euclid(4.0) - 2.5).abs() < 1e-6 {
            late
        } else {
            0.0
        }
    };
    let notes = picking(16, 0.003, 0.6, moved);
    let grid = track(&notes, Seconds(44.0), &GridEdits::none()).grid;
    let drift = measure(&notes, &grid, Reference::OwnTempo);
    let slanted: Vec<String> = drift.slants().map(|s| s.slot.to_string()).collect();
    assert_eq!(slanted, ["3 &"]);
    let slant = drift
        .slants()
        .next()
        .and_then(SlotFigure::slant)
        .expect("one");
    assert!((slant.ms() - 30.0).abs() < 5.0, "{} ms", slant.ms());
}

/// A free opening has no beats, no drift and a sentence that says so.
#[test]
fn a_free_opening_is_not_forced_onto_a_grid() {
    let mut dice = Dice(991);
    let mut t = 0.6;
    let mut notes = Vec::new();
    for k in 0..16 {
        let role = if k % 4 == 0 { Role::Bass } else { Role::Melody };
        notes.push(note(t, role, 50 + k));
        t += 0.62 + 0.45 * dice.roll();
    }
    let begin = t + 0.4;
    let played: Vec<Note> = picking(12, 0.004, 0.6, |_| begin - 0.7);
    let opening = notes.len();
    notes.extend(played);
    let tracked = track(&notes, Seconds(begin + 31.0), &GridEdits::none());
    let first = tracked.grid.beats()[0].time.0;
    println!(
        "pulse from {first:.2} s, begun at {begin:.2} s: {:?}",
        tracked.warnings
    );
    assert!((first - begin).abs() < 1.3, "{first} for {begin}");
    assert!(tracked.grid.beats()[0].bar >= 0 && tracked.grid.beats()[0].bar <= 1);
    let drift = measure(&notes, &tracked.grid, Reference::OwnTempo);
    let told = drift.notes[..opening - 2].iter().flatten().count();
    assert_eq!(told, 0, "notes of the opening with a drift");
    assert!(
        tracked
            .warnings
            .iter()
            .any(|w| w.contains("No steady beat")),
        "{:?}",
        tracked.warnings
    );
}

/// A real recording that was played to a click of 130 beats a minute (Xi et al., "GuitarSet", ISMIR
/// 2018, CC-BY 4.0), heard with silence after it so that the click itself is not recognised. The
/// pulse is taken for the off-beats; three edits put it right.
#[test]
fn three_edits_repair_a_recording_that_was_heard_wrongly() {
    let Some(folder) = crate::guitarset::folder() else {
        return;
    };
    let recording = load(&folder.join("05_Rock1-130-A_solo_mic.wav")).expect("readable");
    let found = analyze(&recording, &Options::default(), &mut ()).expect("not cancelled");
    let beat = 60.0 / 130.0;
    let truth: Vec<f64> = (1..46).map(|k| f64::from(k) * beat).collect();
    let share = |grid: &Grid| {
        let hit = |t: &&f64| grid.beats().iter().any(|b| (b.time.0 - **t).abs() < 0.07);
        truth.iter().filter(hit).count() as f64 / truth.len() as f64
    };
    let tracker = Tracker::new(&found.notes, recording.end() + Span(9.0));
    let before = tracker.solve(&GridEdits::none()).grid;
    let at = Seconds(8.0 * beat);
    let edits = GridEdits::none()
        .with(Edit::Tempo { bpm: Bpm(130.0) })
        .with(Edit::Tap { at })
        .with(Edit::BarOne { at });
    let after = tracker.solve(&edits).grid;
    println!(
        "beats right: {:.2} before, {:.2} after three edits",
        share(&before),
        share(&after)
    );
    assert!(share(&after) > 0.9, "{:.2}", share(&after));
    let one = after.beats().iter().find(|b| b.bar == 1 && b.place == 1);
    assert!((one.expect("bar 1").time - at).abs().0 < 0.07);
}
