//! Beats, bars, slots and edits: from notes to the grid.

use crate::guitarset::{self, Take};
use crate::playing::{self, Dice};
use proptest::prelude::*;
use std::time::{Duration, Instant};
use thumbline::analysis::beat::{Edit, GridEdits, Tracked, Tracker, track};
use thumbline::analysis::{Options, analyze};
use thumbline::load::load;
use thumbline::music::grid::{Beat, FreeTime, Grid};
use thumbline::music::meter::Meter;
use thumbline::music::note::{Note, Role};
use thumbline::timing::{Reference, measure};
use thumbline::unit::{Beats, Bpm, Seconds, Span};

/// A pluck whose hand is a little less sure.
fn note(time: f64, role: Role, midi: i32) -> Note {
    Note {
        role_confidence: 0.9,
        ..playing::note(time, role, midi)
    }
}

/// Alternating thumb on every beat, fingers on some beats and most off-beats; a chord a bar.
/// `beat_at` gives the instant of a beat; `jitter` in seconds.
fn picking(bars: usize, per_bar: usize, jitter: f64, beat_at: impl Fn(f64) -> f64) -> Vec<Note> {
    let mut dice = Dice(88_172_645_463_325_252);
    let roots = [43, 38, 40, 36];
    let mut notes = Vec::new();
    for bar in 0..bars {
        let root = roots[bar % roots.len()];
        for place in 0..per_bar {
            let beat = (bar * per_bar + place) as f64;
            let thumb = root + if place % 2 == 0 { 0 } else { 12 };
            notes.push(note(
                beat_at(beat) + jitter * dice.roll(),
                Role::Bass,
                thumb,
            ));
            if (bar + place) % 2 == 0 {
                notes.push(note(
                    beat_at(beat) + jitter * dice.roll(),
                    Role::Melody,
                    root + 24,
                ));
            }
            if (bar + 2 * place) % 3 != 0 {
                let off = beat_at(beat + 0.5) + jitter * dice.roll();
                notes.push(note(off, Role::Melody, root + 28));
            }
        }
    }
    notes.push(note(
        beat_at((bars * per_bar) as f64),
        Role::Bass,
        roots[bars % 4],
    ));
    notes
}

fn steady(bars: usize, per_bar: usize, bpm: f64, jitter: f64) -> Vec<Note> {
    picking(bars, per_bar, jitter, |b| 0.7 + b * 60.0 / bpm)
}

fn plain(notes: &[Note]) -> Tracked {
    let end = notes.last().map_or(10.0, |n| n.time.0 + 4.3);
    track(notes, Seconds(end), &GridEdits::none())
}

/// Share of true beats with a found one within 25 ms.
fn found(grid: &Grid, truth: &[f64]) -> f64 {
    let hit = |t: &&f64| grid.beats().iter().any(|b| (b.time.0 - **t).abs() < 0.025);
    truth.iter().filter(hit).count() as f64 / truth.len() as f64
}

#[test]
fn steady_picking_has_its_beats_bars_and_tempo() {
    for (per_bar, bpm) in [(4, 72.0), (4, 100.0), (4, 132.0), (3, 120.0), (4, 176.0)] {
        let notes = steady(12, per_bar, bpm, 0.006);
        let grid = plain(&notes).grid;
        let truth: Vec<f64> = (0..12 * per_bar)
            .map(|k| 0.7 + k as f64 * 60.0 / bpm)
            .collect();
        let tempo = grid.tempo().expect("a tempo").0;
        assert!((tempo / bpm - 1.0).abs() < 0.01, "{bpm}: {tempo}");
        assert!(
            found(&grid, &truth) > 0.97,
            "{bpm}: beats {}",
            found(&grid, &truth)
        );
        assert_eq!(
            usize::from(grid.meter.beats()),
            per_bar,
            "{bpm}: {}",
            grid.meter
        );
        let one = grid.beats().iter().find(|b| b.bar == 1).expect("bar 1");
        assert!(
            (one.time.0 - 0.7).abs() < 0.02,
            "{bpm}: bar 1 at {}",
            one.time.0
        );
    }
}

#[test]
fn the_grid_of_constant_playing_is_even_to_a_few_milliseconds() {
    let bpm = 96.0;
    let notes = steady(16, 4, bpm, 0.010);
    let grid = plain(&notes).grid;
    let mut errors: Vec<f64> = grid
        .beats()
        .iter()
        .map(|b| {
            let beat = 60.0 / bpm;
            let k = ((b.time.0 - 0.7) / beat).round();
            1000.0 * (b.time.0 - 0.7 - k * beat).abs()
        })
        .collect();
    errors.sort_by(f64::total_cmp);
    let (median, p95) = (errors[errors.len() / 2], errors[errors.len() * 95 / 100]);
    assert!(
        median <= 3.0 && p95 <= 8.0,
        "median {median:.2} ms, p95 {p95:.2} ms"
    );
}

#[test]
fn one_late_thumb_note_does_not_drag_the_grid() {
    let mut notes = steady(12, 4, 90.0, 0.004);
    let before = plain(&notes).grid;
    let at = 0.7 + 20.0 * 60.0 / 90.0;
    for n in &mut notes {
        if n.role == Role::Bass && (n.time.0 - at).abs() < 0.05 {
            n.time = Seconds(n.time.0 + 0.045);
        }
    }
    let after = plain(&notes).grid;
    let moved = before
        .beats()
        .iter()
        .zip(after.beats())
        .map(|(a, b)| (a.time - b.time).abs().ms())
        .fold(0.0, f64::max);
    assert!(moved < 6.0, "45 ms late moved the grid by {moved:.1} ms");
}

#[test]
fn the_grid_follows_real_changes_of_tempo_within_its_time_constant() {
    // A slow wave of ±6 % in tempo, and a speeding up by 20 %: beats are known exactly.
    let wave = |b: f64| 0.5 + b * 0.6 + 0.1 * (b * 0.35).sin();
    let faster = |b: f64| 0.5 + 0.66 * b - 0.0011 * b * b;
    for (name, at) in [("wave", &wave as &dyn Fn(f64) -> f64), ("faster", &faster)] {
        let notes = picking(14, 4, 0.004, at);
        let tracked = plain(&notes);
        let worst: f64 = (4..50)
            .map(|k| {
                let t = at(f64::from(k));
                let near = tracked.grid.beats().iter().map(|b| (b.time.0 - t).abs());
                near.fold(f64::MAX, f64::min)
            })
            .fold(0.0, f64::max);
        assert!(worst < 0.016, "{name}: {:.1} ms", 1000.0 * worst);
        let constant = tracked.time_constant.expect("a time constant").0;
        assert!((0.3..6.0).contains(&constant), "{name}: {constant} s");
    }
}

#[test]
fn compound_time_is_heard_as_compound() {
    // Dotted quarters at 66 with three eighths each, thumb on the beats.
    let mut notes = Vec::new();
    for k in 0..32 {
        let at = 0.4 + f64::from(k) * 60.0 / 66.0;
        let root = [38, 43, 45, 40][(k / 2 % 4) as usize];
        notes.push(note(at, Role::Bass, root + if k % 2 == 0 { 0 } else { 7 }));
        for part in 1..3 {
            let t = at + f64::from(part) * 20.0 / 66.0;
            notes.push(note(t, Role::Melody, root + 19 + part * 5));
        }
    }
    let grid = plain(&notes).grid;
    assert!(grid.meter.is_compound(), "{}", grid.meter);
    let tempo = grid.tempo().expect("tempo").0;
    assert!((tempo - 66.0).abs() < 1.0, "{tempo} in {}", grid.meter);
    assert!(grid.bars().iter().all(|b| b.parts == 3));
}

#[test]
fn pick_up_notes_come_before_bar_one() {
    let mut notes = steady(10, 4, 104.0, 0.003);
    let beat = 60.0 / 104.0;
    for k in [1.0, 0.5] {
        notes.insert(0, note(0.7 - k * beat, Role::Melody, 67));
    }
    let grid = plain(&notes).grid;
    let one = grid.beats().iter().find(|b| b.bar == 1 && b.place == 1);
    assert!((one.expect("bar 1").time.0 - 0.7).abs() < 0.02);
    assert!(grid.beats().iter().all(|b| b.bar >= 0));
}

#[test]
fn a_fermata_and_free_time_break_no_beat_after_them() {
    let at = |b: f64| 0.5 + b * 0.6 + if b > 23.5 { 1.7 } else { 0.0 };
    let notes = picking(12, 4, 0.004, at);
    let grid = plain(&notes).grid;
    let truth: Vec<f64> = (26..46).map(|k| at(f64::from(k))).collect();
    assert!(
        found(&grid, &truth) > 0.9,
        "after a fermata {}",
        found(&grid, &truth)
    );

    // A free opening: single notes at no regular distance, then time.
    let mut dice = Dice(991);
    let mut t = 0.6;
    let mut notes = Vec::new();
    for k in 0..14 {
        notes.push(note(
            t,
            if k % 4 == 0 { Role::Bass } else { Role::Melody },
            50 + k,
        ));
        t += 0.75 + 0.55 * dice.roll();
    }
    let begin = t + 0.8;
    notes.extend(picking(12, 4, 0.004, |b| begin + b * 0.6));
    let grid = plain(&notes).grid;
    let truth: Vec<f64> = (0..48).map(|k| begin + f64::from(k) * 0.6).collect();
    assert!(
        found(&grid, &truth) > 0.95,
        "after a free opening {}",
        found(&grid, &truth)
    );
    // Beats that are found there by chance are not believed as those after it are.
    let sure = |early: bool| {
        let of = grid
            .beats()
            .iter()
            .filter(|b| (b.time.0 < begin - 1.3) == early);
        let all: Vec<f32> = of.map(|b| b.confidence).collect();
        (all.len(), all.iter().sum::<f32>() / all.len().max(1) as f32)
    };
    let (forced, doubtful) = sure(true);
    println!(
        "free opening: {forced} beats, confidence {doubtful:.2} against {:.2}",
        sure(false).1
    );
    assert!(
        forced == 0 || doubtful < 0.8 * sure(false).1,
        "{forced}: {doubtful}"
    );
}

/// What a file holds besides the music, and where it begins and ends in it.
struct Cut {
    name: &'static str,
    /// Seconds before the music; less than 0: of it that are missing.
    front: f64,
    /// Seconds after the last note; less than 0: of the music that are missing.
    tail: f64,
}

#[test]
fn the_same_music_has_the_same_beats_wherever_the_file_begins_and_ends() {
    let cuts = [
        ("room", 1.7, 2.3),
        ("mid-beat", -0.23, -0.7),
        ("mid-bar", -1.61, 0.05),
        ("six beats fewer", 0.0, -3.1),
        ("long silence", 11.0, 9.0),
    ]
    .map(|(name, front, tail)| Cut { name, front, tail });
    for (per_bar, bpm) in [(4, 116.0), (3, 126.0), (4, 84.0)] {
        let beat = 60.0 / bpm;
        // Cut to its click: whole bars from the first sample on.
        let music = picking(12, per_bar, 0.005, |b| b * beat);
        let end = 12.0 * per_bar as f64 * beat;
        let whole = track(&music, Seconds(end), &GridEdits::none()).grid;
        for Cut { name, front, tail } in &cuts {
            let mut notes = music.clone();
            for note in &mut notes {
                note.time += Span(*front);
                note.end += Span(*front);
            }
            let end = end + front + tail;
            notes.retain(|n| n.time.0 > 0.0 && n.time.0 < end.min(end - tail.min(0.0)));
            let cut = track(&notes, Seconds(end), &GridEdits::none()).grid;
            let context = format!("{per_bar} at {bpm}, {name}");
            assert_eq!(cut.meter, whole.meter, "{context}");
            let (first, last) = (notes[0].time.0 + beat, notes[notes.len() - 1].time.0 - beat);
            let bars = |grid: &Grid, by: f64| -> Vec<(f64, bool)> {
                let all = grid.beats().iter().map(|b| (b.time.0 + by, b.place == 1));
                all.filter(|b| (first..last).contains(&b.0)).collect()
            };
            let (here, there) = (bars(&cut, 0.0), bars(&whole, *front));
            assert_eq!(here.len(), there.len(), "{context}");
            for (a, b) in here.iter().zip(&there) {
                assert!(
                    (a.0 - b.0).abs() < 0.01 && a.1 == b.1,
                    "{context}: {a:?}, {b:?}"
                );
            }
        }
    }
}

/// Six eighths: the thumb on the beats, fingers between.
fn compound(bars: usize, beat: f64, from: f64) -> Vec<Note> {
    let mut notes = Vec::new();
    for k in 0..2 * bars {
        let at = from + k as f64 * beat;
        let root = [38, 43, 45, 40][k / 2 % 4];
        notes.push(note(at, Role::Bass, root + if k % 2 == 0 { 0 } else { 7 }));
        for part in 1..3 {
            let t = at + f64::from(part) * beat / 3.0;
            notes.push(note(t, Role::Melody, root + 19 + part * 5));
        }
    }
    notes
}

#[test]
fn count_ins_false_starts_talk_late_entries_and_tails_move_no_bar() {
    // (name, beats a bar, tempo, seconds until the music, what is heard before it, tail)
    let cases: [(&str, usize, f64, f64, &str, f64); 12] = [
        ("counted in", 4, 96.0, 0.0, "taps", 3.0),
        ("counted in, waltz", 3, 120.0, 0.0, "taps", 0.0),
        ("counted in, 6/8", 2, 66.0, 0.0, "taps", 2.0),
        ("false start", 4, 104.0, 5.3, "start", 4.0),
        ("false start, waltz", 3, 132.0, 4.1, "start", 0.3),
        ("talk", 4, 84.0, 8.0, "talk", 6.0),
        ("talk, waltz", 3, 112.0, 7.0, "talk", 0.0),
        ("tuning up", 4, 120.0, 9.0, "tuning", 1.0),
        ("late entry", 4, 92.0, 14.0, "", 0.0),
        ("late entry, 6/8", 2, 60.0, 12.0, "", 5.0),
        ("long tail", 4, 72.0, 0.4, "", 15.0),
        ("talk and tail", 4, 138.0, 6.0, "talk", 12.0),
    ];
    let mut wrong = Vec::new();
    for (i, (name, per_bar, bpm, wait, before, tail)) in cases.into_iter().enumerate() {
        let beat = 60.0 / bpm;
        let mut dice = Dice(77_001 + i as u64 * 7_919);
        let mut notes = Vec::new();
        let mut from = wait;
        match before {
            "taps" => {
                let taps = if per_bar == 3 { 6 } else { 4 };
                from = 0.8 + f64::from(taps) * beat;
                for k in 0..taps {
                    let mut tap = note(0.8 + f64::from(k) * beat, Role::Bass, 45);
                    tap.confidence = 0.4;
                    notes.push(tap);
                }
            }
            "start" => {
                let all = picking(2, per_bar, 0.006, |b| 0.6 + b * beat);
                notes.extend(all.into_iter().filter(|n| n.time.0 < wait - 1.2));
            }
            "talk" | "tuning" => {
                let mut t = 0.5;
                while t < wait - 1.0 {
                    let pitch = if before == "tuning" {
                        [40, 45, 50, 55, 59, 64][(t * 0.7) as usize % 6]
                    } else {
                        57 + (6.0 * dice.roll()) as i32
                    };
                    let mut word = note(t, Role::Melody, pitch);
                    word.confidence = 0.5;
                    notes.push(word);
                    t += 0.55 + 0.4 * dice.roll();
                }
            }
            _ => {}
        }
        let music = if per_bar == 2 {
            compound(14, beat, from)
        } else {
            picking(12, per_bar, 0.006, |b| from + b * beat)
        };
        let last = music[music.len() - 1].time.0;
        notes.extend(music);
        let grid = track(&notes, Seconds(last + 0.5 + tail), &GridEdits::none()).grid;
        let bars = if per_bar == 2 { 14 } else { 12 };
        let truth: Vec<f64> = (0..bars * per_bar)
            .map(|k| from + k as f64 * beat)
            .collect();
        let downs: Vec<f64> = truth.iter().copied().step_by(per_bar).collect();
        let told: Vec<f64> = grid
            .beats()
            .iter()
            .filter(|b| b.place == 1)
            .map(|b| b.time.0)
            .collect();
        let barred = downs
            .iter()
            .filter(|d| told.iter().any(|t| (t - **d).abs() < 0.07))
            .count();
        let right = found(&grid, &truth) > 0.95
            && usize::from(grid.meter.beats()) == per_bar
            && barred * 10 >= downs.len() * 9;
        println!(
            "{name}: beats {:.2}, {} ({per_bar}), {barred} of {} bars",
            found(&grid, &truth),
            grid.meter,
            downs.len()
        );
        if !right {
            wrong.push(name);
        }
    }
    assert!(wrong.is_empty(), "{wrong:?}");
}

#[test]
fn bad_input_gives_no_grid_or_a_doubtful_one() {
    let none = track(&[], Seconds(30.0), &GridEdits::none());
    assert!(none.grid.is_empty() && !none.warnings.is_empty());
    let one = track(
        &[note(1.0, Role::Bass, 40)],
        Seconds(3.0),
        &GridEdits::none(),
    );
    assert!(one.grid.is_empty());
    let nan = track(
        &[note(f64::NAN, Role::Bass, 40)],
        Seconds(f64::NAN),
        &GridEdits::none(),
    );
    assert!(nan.grid.is_empty());

    // Only fingers: the pulse is still there.
    let fingers: Vec<Note> = steady(12, 4, 100.0, 0.004)
        .into_iter()
        .map(|n| Note {
            role: Role::Melody,
            ..n
        })
        .collect();
    let grid = plain(&fingers).grid;
    assert!(!grid.is_empty());

    // A click track: even notes of one pitch.
    let click: Vec<Note> = (0..64)
        .map(|k| note(0.25 + f64::from(k) * 0.5, Role::Bass, 76))
        .collect();
    let grid = plain(&click).grid;
    let truth: Vec<f64> = (1..62).map(|k| 0.25 + f64::from(k) * 0.5).collect();
    assert!(found(&grid, &truth) > 0.95);

    // Notes strewn at random: nothing is told with confidence.
    let mut dice = Dice(4_711);
    let mut noise: Vec<Note> = (0..90)
        .map(|k| {
            let role = if k % 3 == 0 { Role::Bass } else { Role::Melody };
            note(15.0 + 14.9 * dice.roll(), role, 45 + k % 20)
        })
        .collect();
    noise.sort_by(|a, b| a.time.total_cmp(&b.time));
    let tracked = plain(&noise);
    let beats = tracked.grid.beats();
    let sure = beats.iter().map(|b| b.confidence).sum::<f32>() / beats.len().max(1) as f32;
    assert!(
        beats.is_empty() || sure < 0.6,
        "noise is believed by {sure}"
    );
}

#[test]
fn a_tempo_that_jumps_is_followed() {
    let at = |b: f64| {
        if b < 32.0 {
            0.5 + b * 0.72
        } else {
            0.5 + 32.0 * 0.72 + (b - 32.0) * 0.55
        }
    };
    let notes = picking(16, 4, 0.004, at);
    let grid = plain(&notes).grid;
    let truth: Vec<f64> = (0..60).map(|k| at(f64::from(k))).collect();
    assert!(found(&grid, &truth) > 0.9, "{}", found(&grid, &truth));
}

#[test]
fn three_hours_of_notes_are_tracked_in_bounded_parts() {
    let notes = steady(400, 4, 100.0, 0.006);
    let hour: Vec<Note> = (0..3)
        .flat_map(|h| {
            notes.iter().map(move |n| Note {
                time: Seconds(n.time.0 + f64::from(h) * 3600.0),
                ..n.clone()
            })
        })
        .collect();
    let tracked = track(&hour, Seconds(10_800.0), &GridEdits::none());
    let beats = tracked.grid.beats();
    assert!(beats.len() > 4_500, "{}", beats.len());
    assert!(
        beats
            .windows(2)
            .all(|p| p[0].time < p[1].time && p[0].bar <= p[1].bar)
    );
}

#[test]
fn five_minutes_take_under_a_second_and_an_edit_a_twentieth() {
    let notes = steady(125, 4, 100.0, 0.006);
    let started = Instant::now();
    let tracker = Tracker::new(&notes, Seconds(302.0));
    tracker.solve(&GridEdits::none());
    let whole = started.elapsed();
    let edits = GridEdits::none().with(Edit::DragBeat {
        from: Seconds(60.7),
        to: Seconds(60.75),
    });
    let started = Instant::now();
    tracker.solve(&edits);
    let edit = started.elapsed();
    println!("five minutes: whole grid {whole:?}, one edit {edit:?}");
    // A loaded machine may take several times as long as an idle one.
    assert!(whole < Duration::from_secs(8), "{whole:?}");
    assert!(edit < Duration::from_millis(600), "{edit:?}");
}

#[test]
fn edits_bend_the_grid_as_they_say() {
    let notes = steady(12, 4, 100.0, 0.004);
    let tracker = Tracker::new(&notes, Seconds(34.0));
    let plain = tracker.solve(&GridEdits::none());
    let solve = |edit| tracker.solve(&GridEdits::none().with(edit)).grid;

    let tempo = |grid: &Grid| grid.tempo().expect("tempo").0;
    assert!((tempo(&solve(Edit::Halve)) - 50.0).abs() < 1.0);
    assert!((tempo(&solve(Edit::Double)) - 200.0).abs() < 3.0);
    assert!((tempo(&solve(Edit::Tempo { bpm: Bpm(200.0) })) - 200.0).abs() < 3.0);

    let third = plain.grid.beats()[2].time;
    let one = solve(Edit::BarOne {
        at: third + Span(0.03),
    });
    let first = one.beats().iter().find(|b| b.bar == 1).expect("bar 1");
    assert!((first.time - third).abs().0 < 0.01);

    let swing = |ratio| solve(Edit::Swing { ratio }).off_beat;
    assert_eq!(plain.grid.off_beat, None);
    assert!((swing(Some(2.0)).expect("set") - 2.0 / 3.0).abs() < 1e-12);
    assert_eq!(
        (swing(None), swing(Some(f64::NAN)), swing(Some(9.0))),
        (None, None, None)
    );

    let meter = Meter { count: 7, unit: 8 };
    let seven = solve(Edit::Meter { meter });
    assert_eq!(seven.meter, meter);
    assert!(seven.bars()[1..3].iter().all(|b| b.beats == 7));

    let thirds = solve(Edit::Subdivision {
        from: Seconds(5.0),
        to: Seconds(9.0),
        parts: 3,
    });
    let inside = thirds
        .beats()
        .iter()
        .filter(|b| (5.0..9.0).contains(&b.time.0));
    assert!(inside.map(|b| b.parts).all(|p| p == 3));

    let free = solve(Edit::FreeTime {
        from: Seconds(10.0),
        to: Seconds(14.0),
    });
    assert!(free.is_free(Seconds(12.0)) && free.beat_at(Seconds(12.0)).is_none());
    assert!(
        free.beats()
            .iter()
            .all(|b| b.time.0 <= 10.0 || b.time.0 >= 14.0)
    );

    let to = plain.grid.beats()[10].time + Span(0.04);
    let dragged = solve(Edit::DragBeat {
        from: plain.grid.beats()[10].time,
        to,
    });
    let near = dragged
        .beats()
        .iter()
        .map(|b| (b.time - to).abs().ms())
        .fold(f64::MAX, f64::min);
    assert!(near < 1.0, "the dragged beat lies {near} ms away");
}

#[test]
fn the_later_edit_wins_and_the_conflict_is_named() {
    let edits = GridEdits::none()
        .with(Edit::Meter {
            meter: Meter::COMMON,
        })
        .with(Edit::BarOne { at: Seconds(1.0) })
        .with(Edit::Meter {
            meter: Meter { count: 3, unit: 4 },
        })
        .with(Edit::BarOne { at: Seconds(3.0) })
        .with(Edit::Tap {
            at: Seconds(f64::NAN),
        });
    let (held, conflicts) = edits.resolved();
    assert_eq!(held.len(), 2);
    assert_eq!(conflicts.len(), 3);
    assert_eq!((conflicts[0].loser, conflicts[0].winner), (0, Some(2)));
    assert!(conflicts[0].sentence.contains("meter 4/4") && conflicts[0].sentence.contains("3/4"));
    assert_eq!(conflicts[2].winner, None);

    let text = serde_json::to_string(&edits.list[..4]).expect("serialises");
    let back: GridEdits = serde_json::from_str(&text).expect("reads back");
    assert_eq!(back.list, edits.list[..4]);
    let notes = steady(8, 4, 100.0, 0.0);
    assert_eq!(track(&notes, Seconds(24.0), &edits).conflicts.len(), 3);
}

#[test]
fn free_time_has_no_positions_and_bars_end_before_it() {
    let beats = Grid::from_beats(
        &[0.0, 0.5, 1.0, 1.5, 4.0, 4.5, 5.0, 5.5].map(Seconds),
        0,
        Meter::COMMON,
    );
    let free = FreeTime {
        from: Seconds(1.5),
        to: Seconds(4.0),
    };
    let grid = Grid::from_parts(Meter::COMMON, beats.beats().to_vec(), vec![free]);
    assert_eq!(grid.beat_at(Seconds(2.0)), None);
    assert_eq!(grid.time_at(Beats(3.5)), None);
    assert_eq!(grid.time_at(Beats(4.5)), Some(Seconds(4.25)));
    assert_eq!(grid.bars()[0].end, Seconds(2.0));
    assert_eq!(grid.runs(), vec![0..4, 4..8]);
    assert_eq!(grid.tempo(), Some(Bpm(120.0)));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn any_notes_and_edits_give_an_increasing_grid(
        times in prop::collection::vec(0.0f64..40.0, 0..60),
        taps in prop::collection::vec(0.0f64..45.0, 0..5),
        drag in (0.0f64..40.0, 0.0f64..40.0),
        free in (0.0f64..40.0, 0.0f64..40.0),
    ) {
        let notes: Vec<Note> = times
            .iter()
            .enumerate()
            .map(|(i, &t)| note(t, if i % 3 == 0 { Role::Bass } else { Role::Melody }, 40 + i as i32 % 30))
            .collect();
        let mut edits = GridEdits::none();
        edits.list.extend(taps.iter().map(|&t| Edit::Tap { at: Seconds(t) }));
        edits.push(Edit::DragBeat { from: Seconds(drag.0), to: Seconds(drag.1) });
        edits.push(Edit::FreeTime { from: Seconds(free.0), to: Seconds(free.1) });
        let grid = track(&notes, Seconds(41.0), &edits).grid;
        prop_assert!(grid.beats().windows(2).all(|p| p[0].time < p[1].time));
        for beat in grid.beats() {
            prop_assert!((0.0..=1.0).contains(&beat.confidence) && beat.place >= 1);
        }
    }
}

#[test]
fn an_edit_stays_where_it_was_made() {
    let notes = steady(16, 4, 100.0, 0.006);
    let tracker = Tracker::new(&notes, Seconds(42.0));
    let plain = tracker.solve(&GridEdits::none()).grid;
    let times = |grid: &Grid| grid.beats().iter().map(|b| b.time).collect::<Vec<_>>();
    let from = plain.beats()[20].time;
    let to = from + Span(0.05);
    let dragged = tracker.solve(&GridEdits::none().with(Edit::DragBeat { from, to }));
    let moved: Vec<usize> = (times(&plain).iter().zip(times(&dragged.grid)).enumerate())
        .filter(|(_, (a, b))| (**a - *b).abs().ms() > 0.01)
        .map(|(k, _)| k)
        .collect();
    assert_eq!(moved, [19, 20, 21]);
    assert_eq!(dragged.grid.beats()[20].time, to);

    // Another bar one, another meter: not one beat moves, nor is anything later than before.
    let late = |grid: &Grid| {
        measure(&notes, grid, Reference::OwnTempo)
            .lateness
            .map(|l| l.centre)
    };
    let at = plain.beats()[21].time + Span(0.02);
    let meter = Meter { count: 3, unit: 4 };
    for edit in [
        Edit::BarOne { at },
        Edit::BarStart { at },
        Edit::Tap { at },
        Edit::Meter { meter },
    ] {
        let grid = tracker.solve(&GridEdits::none().with(edit)).grid;
        assert_eq!(times(&grid), times(&plain), "{edit}");
        if edit != (Edit::Meter { meter }) {
            assert_eq!(late(&grid), late(&plain), "{edit}");
        }
    }
}

#[test]
fn where_the_beat_is_unsure_nothing_is_early_or_late() {
    let notes = steady(8, 4, 100.0, 0.012);
    let plain = plain(&notes).grid;
    let unsure = |bar: i32| (3..=5).contains(&bar);
    let beats = plain.beats().iter().map(|b| Beat {
        confidence: if unsure(b.bar) { 0.3 } else { 0.9 },
        ..*b
    });
    let grid = Grid::from_parts(plain.meter, beats.collect(), Vec::new());
    let drift = measure(&notes, &grid, Reference::OwnTempo);
    assert!(drift.bars.iter().all(|b| !unsure(b.bar)) && !drift.bars.is_empty());
    assert!(drift.notes.iter().flatten().all(|n| !unsure(n.bar)));
    assert_eq!(grid.unsure().len(), 1);
    let all = plain.beats().iter().map(|b| Beat {
        confidence: 0.3,
        ..*b
    });
    let grid = Grid::from_parts(plain.meter, all.collect(), Vec::new());
    let drift = measure(&notes, &grid, Reference::OwnTempo);
    assert!(drift.lateness.is_none() && drift.swing.is_none() && drift.slots.is_empty());
    assert!(drift.notes.iter().all(Option::is_none));
}

#[test]
fn two_actions_repair_every_real_take() {
    let Some(folder) = guitarset::folder() else {
        return;
    };
    for Take { name, bpm, .. } in guitarset::TAKES {
        let recording = load(&folder.join(format!("{name}.wav"))).expect("readable");
        let heard = analyze(&recording, &Options::default(), &mut ()).expect("not cancelled");
        let beat = 60.0 / bpm;
        let end = recording.end();
        let truth: Vec<f64> = (1..u16::MAX)
            .map(|k| f64::from(k) * beat)
            .take_while(|t| *t < end.0 - 2.0 * beat)
            .collect();
        let tracker = Tracker::new(&heard.notes, end + Span(5.0));
        let hits = |times: &[f64], of: &[f64]| {
            let hit = |t: &&f64| times.iter().any(|b| (b - **t).abs() < 0.07);
            of.iter().filter(hit).count() as f64 / of.len() as f64
        };
        let middle = (truth.len() / 8 * 4) as f64 * beat;
        let tempo = Edit::Tempo { bpm: Bpm(bpm) };
        let tap = |at: f64| Edit::Tap { at: Seconds(at) };
        // A hand that taps is a little early here and late there.
        let taps = [0.015, -0.02, 0.01, -0.012]
            .iter()
            .enumerate()
            .map(|(k, away)| tap(middle + beat * k as f64 + away));
        let bar = Edit::BarOne {
            at: Seconds(4.0 * beat + 0.02),
        };
        let mut tapped: Vec<Edit> = taps.collect();
        tapped.push(bar);
        let mut best = 0.0f64;
        for list in [vec![tempo, bar], tapped] {
            let grid = tracker.solve(&GridEdits { list }).grid;
            let beats: Vec<f64> = grid.beats().iter().map(|b| b.time.0).collect();
            let firsts = grid.beats().iter().filter(|b| b.place == 1);
            let firsts: Vec<f64> = firsts.map(|b| b.time.0).collect();
            let bars: Vec<f64> = truth.iter().copied().skip(3).step_by(4).collect();
            let figures = [
                hits(&beats, &truth),
                hits(&truth, &beats[1..beats.len() - 3]),
                hits(&firsts, &bars),
            ];
            println!(
                "{name}: beats found {:.2}, right {:.2}, bar lines found {:.2}",
                figures[0], figures[1], figures[2]
            );
            best = best.max(figures.into_iter().fold(1.0, f64::min));
        }
        assert!(best > 0.9, "{name}: {best}");
    }
}

/// Labels of a real recording (GuitarSet, CC-BY 4.0): played to a click at `bpm`, labels late by
/// `late` seconds. None when the data is not there.
fn labels(name: &str, late: f64) -> Option<Vec<Note>> {
    let text = std::fs::read_to_string(guitarset::folder()?.join(format!("{name}.csv"))).ok()?;
    let open = [64, 59, 55, 50, 45, 40];
    let mut notes: Vec<Note> = text
        .lines()
        .skip(1)
        .filter_map(|line| {
            let mut cells = line.split(',');
            let time: f64 = cells.next()?.trim().parse().ok()?;
            let string: usize = cells.next()?.trim().parse().ok()?;
            let role = if string >= 4 {
                Role::Bass
            } else {
                Role::Melody
            };
            let mut n = note((time - late).max(0.0), role, *open.get(string - 1)?);
            n.pitch = None;
            Some(n)
        })
        .collect();
    notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    Some(notes)
}

#[test]
fn three_edits_repair_a_real_recording() {
    let Some(notes) = labels("05_Rock1-130-A_solo_mic", 0.015_25) else {
        return;
    };
    let beat = 60.0 / 130.0;
    let truth: Vec<f64> = (1..46).map(|k| f64::from(k) * beat).collect();
    // With silence after it the recording is not taken for one that is cut to its click.
    let tracker = Tracker::new(&notes, Seconds(48.0 * beat + 9.0));
    let near = |grid: &Grid| {
        let hit = |t: &&f64| grid.beats().iter().any(|b| (b.time.0 - **t).abs() < 0.07);
        truth.iter().filter(hit).count() as f64 / truth.len() as f64
    };
    let before = tracker.solve(&GridEdits::none()).grid;
    let edits = GridEdits::none()
        .with(Edit::Tempo { bpm: Bpm(130.0) })
        .with(Edit::Tap {
            at: Seconds(8.0 * beat),
        })
        .with(Edit::Meter {
            meter: Meter::COMMON,
        });
    let after = tracker.solve(&edits).grid;
    println!(
        "beats found: {:.2} before, {:.2} after three edits",
        near(&before),
        near(&after)
    );
    println!(
        "tempo {:?} before, {:?} after",
        before.tempo(),
        after.tempo()
    );
    assert!(near(&after) > 0.9 && near(&after) > near(&before));
    assert!((after.tempo().expect("tempo").0 - 130.0).abs() < 3.0);
}
