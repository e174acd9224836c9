//! What drift, swing, lateness and steadiness come out as on playing that is known exactly.

use crate::playing::{Dice, note};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Note, Role};
use thumbline::timing::{Reference, Slot, Standing, floor, measure, stats, steady};
use thumbline::unit::{Bpm, Decibels, Seconds, Span};

fn grid(beats: usize, beat: f64) -> Grid {
    let times: Vec<Seconds> = (0..beats).map(|k| Seconds(1.0 + k as f64 * beat)).collect();
    Grid::from_beats(&times, 0, Meter::COMMON)
}

/// Thumb on the beats, fingers on beats and off-beats: offsets in seconds, off-beat place.
fn playing(beats: usize, beat: f64, thumb: f64, fingers: f64, off: f64) -> Vec<Note> {
    let mut notes = Vec::new();
    for k in 0..beats - 1 {
        let at = 1.0 + k as f64 * beat;
        notes.push(note(at + thumb, Role::Bass, 40));
        if k % 2 == 0 {
            notes.push(note(at + fingers, Role::Melody, 64));
        }
        notes.push(note(at + off * beat + fingers, Role::Melody, 67));
    }
    notes
}

/// Friberg & Sundberg 1995 (JASA 98:2524–2531): 6 ms below 240 ms, 2.5 % above; worked values
/// for beats, eighths and sixteenths at 60, 80, 100, 120 beats a minute.
#[test]
fn perception_floor_has_the_published_values() {
    let table = [
        (60.0, 25.0, 12.5, 6.25),
        (80.0, 18.75, 9.375, 6.0),
        (100.0, 15.0, 7.5, 6.0),
        (120.0, 12.5, 6.25, 6.0),
    ];
    for (bpm, beat, eighth, sixteenth) in table {
        let whole = Bpm(bpm).beat();
        for (share, ms) in [(1.0, beat), (0.5, eighth), (0.25, sixteenth)] {
            let floor = floor::perception(whole * share).ms();
            assert!((floor - ms).abs() < 1e-9, "{bpm}: {floor} against {ms}");
        }
    }
    assert_eq!(
        floor::shown(Span::from_ms(100.0), Span::from_ms(9.0)).ms(),
        9.0
    );
}

/// Off-beats played at 3 to 2 are in time as they are played, late by a tenth of a beat from
/// straight, early against triplets: 0.6 − 0.5 and 0.6 − 2/3 of half a second.
#[test]
fn off_beats_are_measured_from_where_a_player_sets_them() {
    let notes = playing(33, 0.5, 0.0, 0.0, 0.6);
    for (set, late) in [(None, 0.0), (Some(0.5), 50.0), (Some(2.0 / 3.0), -33.3)] {
        let grid = grid(33, 0.5).swung(set);
        let drift = measure(&notes, &grid, Reference::default());
        let and = Slot {
            beat: 2,
            part: 1,
            parts: 2,
        };
        let slot = drift.slots.iter().find(|s| s.slot == and).expect("played");
        let found = slot.figure.centre.ms();
        assert!((found - late).abs() < 1.0, "{set:?}: {found} for {late}");
        let swing = drift.swing.expect("read all the same").ratio;
        assert!((swing - 1.5).abs() < 0.02, "{swing}");
    }
}

/// Wing & Kristofferson 1973, the example of the reference sheet: γ0 = 15.5, γ1 = −11 (÷ 8),
/// ρ1 = −0.71, outside the model.
#[test]
fn the_split_into_clock_and_hand_refuses_its_own_worked_example() {
    let example = [498.0, 505.0, 497.0, 503.0, 500.0, 496.0, 506.0, 495.0];
    let (zero, one) = steady::covariances(&example);
    assert!(
        (zero - 15.5).abs() < 1e-9 && (one + 11.0).abs() < 0.05,
        "{zero} {one}"
    );
    assert!((one / zero + 0.71).abs() < 0.005);
    assert_eq!(steady::split(&example), Err(steady::Refusal::TooFew(8)));
    let long: Vec<f64> = example.iter().cycle().take(160).copied().collect();
    assert!(matches!(
        steady::split(&long),
        Err(steady::Refusal::OutsideModel(_))
    ));
}

#[test]
fn the_split_recovers_a_known_clock_and_hand() {
    // I = T + D' − D with T ~ SD 10 ms, D ~ SD 5 ms, from a fixed generator of near-normal values.
    let mut state = 12_345u64;
    let mut normal = || {
        (0..12)
            .map(|_| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                (state >> 33) as f64 / (1u64 << 31) as f64
            })
            .sum::<f64>()
            - 6.0
    };
    let hand: Vec<f64> = (0..2001).map(|_| 0.005 * normal()).collect();
    let intervals: Vec<f64> = hand
        .windows(2)
        .map(|d| 0.5 + 0.010 * normal() + d[1] - d[0])
        .collect();
    let sources = steady::split(&intervals).expect("inside the model");
    assert!(
        (sources.clock.ms() - 10.0).abs() < 1.0,
        "{}",
        sources.clock.ms()
    );
    assert!(
        (sources.hand.ms() - 5.0).abs() < 1.0,
        "{}",
        sources.hand.ms()
    );
}

#[test]
fn playing_on_the_grid_is_never_called_early_or_late() {
    let notes = playing(48, 0.6, 0.0, 0.0, 0.5);
    let drift = measure(&notes, &grid(48, 0.6), Reference::OwnTempo);
    assert!(drift.notes.iter().flatten().all(|d| d.audible().is_none()));
    assert_eq!(drift.slants().count(), 0);
    // Attacks at one instant leave open which hand came a little earlier: the interval says so.
    let swing = drift.swing.expect("swing");
    assert!(
        (swing.ratio - 1.0).abs() < 0.02 && swing.low <= 1.0 && 1.0 <= swing.high,
        "{swing:?}"
    );
    let late = drift.lateness.expect("lateness");
    let (low, high) = (late.low.expect("low").ms(), late.high.expect("high").ms());
    assert!(
        late.centre.abs().ms() < 2.5 && low < 0.0 && 0.0 < high,
        "{} ms, {low} to {high}",
        late.centre.ms()
    );
}

#[test]
fn lateness_swing_and_slants_come_out_as_played() {
    let beat = 0.6;
    let notes = playing(64, beat, 0.0, 0.018, 0.62);
    let drift = measure(&notes, &grid(64, beat), Reference::OwnTempo);
    let lateness = drift.lateness.expect("lateness");
    assert!(
        (lateness.centre.ms() - 18.0).abs() < 0.5,
        "{}",
        lateness.centre.ms()
    );
    assert!(lateness.low <= Some(lateness.centre) && lateness.high >= Some(lateness.centre));
    let swing = drift.swing.expect("swing");
    assert!((swing.ratio - 0.62 / 0.38).abs() < 0.02, "{}", swing.ratio);
    assert!(swing.low <= swing.ratio && swing.ratio <= swing.high);
    // Every finger slot is 18 ms late: audible between eighths of 300 ms, and it repeats.
    let slanted: Vec<Slot> = drift.slants().map(|s| s.slot).collect();
    assert!(slanted.iter().any(|s| s.part == 1), "{slanted:?}");
    assert_eq!(drift.sections.len(), 2);
}

/// The 95 % interval of the swing holds the true ratio in 95 of 100 takes, whatever is swung and however
/// unsteady the hand is; by chance one set of 240 takes in 300 has fewer than 91 (binomial).
#[test]
fn the_interval_of_the_swing_holds_as_often_as_it_says() {
    let beat = 0.6;
    let (mut held, mut takes, mut width) = (0_u32, 0_u32, 0.0);
    for ratio in [1.0, 1.5, 2.0] {
        for jitter in [0.006, 0.014] {
            for seed in 0..40 {
                let mut dice = Dice(9_001 + 77_003 * seed + (1e4 * (ratio + jitter)) as u64);
                let mut notes = playing(33, beat, 0.0, 0.009, ratio / (1.0 + ratio));
                for note in &mut notes {
                    // Three even ones: nearly normal, and of this standard deviation.
                    let wobble = jitter * (dice.roll() + dice.roll() + dice.roll());
                    note.time += Span(wobble);
                    note.end += Span(wobble);
                }
                notes.sort_by(|a, b| a.time.total_cmp(&b.time));
                let drift = measure(&notes, &grid(33, beat), Reference::OwnTempo);
                let swing = drift.swing.expect("off-beats enough");
                takes += 1;
                held += u32::from((swing.low..=swing.high).contains(&ratio));
                width += (swing.high - swing.low) / ratio;
            }
        }
    }
    let share = f64::from(held) / f64::from(takes);
    let width = width / f64::from(takes);
    println!(
        "swing: the interval holds in {share:.3} of {takes} takes; {width:.2} of the ratio wide"
    );
    assert!(share >= 0.91, "{share}");
    // One that held everything would be no use.
    assert!(width < 0.3, "{width}");
}

/// Straight playing in which the fingers hurry on beat 2 alone, the only beat that they play on: that
/// is one place that drifts, neither a hand that is early nor off-beats that swing.
#[test]
fn one_place_that_drifts_takes_no_other_with_it() {
    let beat = 0.6;
    let mut notes = Vec::new();
    for i in 0..48 {
        let at = 1.0 + f64::from(i) * beat;
        let wobble = 0.003 * f64::from((i * 7) % 5 - 2) / 2.0;
        notes.push(note(at + wobble, Role::Bass, 40));
        if i % 4 == 1 {
            notes.push(note(at - 0.022 + wobble, Role::Melody, 64));
        }
        if i % 4 == 1 || i % 4 == 2 {
            notes.push(note(at + 0.5 * beat - wobble, Role::Melody, 62));
        }
    }
    let drift = measure(&notes, &grid(48, beat), Reference::OwnTempo);
    let slanted: Vec<_> = drift.slants().map(|s| (s.slot, s.role)).collect();
    let two = Slot {
        beat: 2,
        part: 0,
        parts: 2,
    };
    assert_eq!(slanted, [(two, Role::Melody)]);
    assert_eq!(
        drift.swing.map(|s| s.feel()),
        Some(thumbline::timing::Feel::Straight)
    );
}

#[test]
fn rolls_graces_and_doubles_are_no_drift() {
    let beat = 0.8;
    let mut notes = playing(24, beat, 0.0, 0.0, 0.5);
    let at = 1.0 + 8.0 * beat;
    notes.retain(|n| (n.time.0 - at).abs() > 0.01);
    let roll = notes.len();
    for (k, midi) in [40, 55, 59, 64].into_iter().enumerate() {
        let role = if k == 0 { Role::Bass } else { Role::Melody };
        notes.push(note(at + 0.026 * k as f64, role, midi));
    }
    let grace = notes.len();
    let on = 1.0 + 13.0 * beat;
    notes.push(Note {
        strength: Decibels(-14.0),
        ..note(on - 0.07, Role::Melody, 65)
    });
    notes.push(note(on, Role::Melody, 66));
    let double = notes.len();
    notes.push(Note {
        confidence: 0.5,
        ..note(1.0 + 0.012, Role::Bass, 40)
    });
    let drift = measure(&notes, &grid(24, beat), Reference::OwnTempo);
    assert_eq!(drift.rolls.len(), 1);
    assert!((drift.rolls[0].spread.ms() - 78.0).abs() < 1e-6);
    let standing = |i: usize| drift.notes[i].expect("placed").standing;
    assert_eq!(standing(roll), Standing::Plain);
    assert!((roll + 1..roll + 4).all(|i| standing(i) == Standing::Rolled));
    assert_eq!(standing(grace), Standing::Grace);
    assert_eq!(standing(double), Standing::Doubled);
}

#[test]
fn references_differ_as_they_should() {
    // The thumb drags by 30 ms in one bar; the fingers keep time.
    let beat = 0.5;
    let mut notes = playing(40, beat, 0.0, 0.0, 0.5);
    for n in &mut notes {
        if n.role == Role::Bass && (9.0..11.0).contains(&n.time.0) {
            n.time += Span(0.030);
        }
    }
    let own = grid(40, beat);
    let fingers = |drift: &thumbline::timing::Drift| {
        let inside = notes
            .iter()
            .enumerate()
            .filter(|(_, n)| n.role == Role::Melody && (9.4..10.4).contains(&n.time.0));
        let mut found: Vec<f64> = inside
            .filter_map(|(i, _)| drift.notes[i]?.drift.map(Span::ms))
            .collect();
        stats::median(&mut found).expect("notes")
    };
    assert!(fingers(&measure(&notes, &own, Reference::OwnTempo)).abs() < 0.1);
    assert!((fingers(&measure(&notes, &own, Reference::Thumb)) + 30.0).abs() < 0.1);
    let strict = measure(&notes, &own, Reference::Strict(Some(Bpm(120.0))));
    assert!(fingers(&strict).abs() < 0.1);
    // A strict tempo 1 % off: notes drift away from it towards both ends.
    let off = measure(&notes, &own, Reference::Strict(Some(Bpm(121.2))));
    let first = off.notes[0].expect("placed").drift.expect("drift").ms();
    let last = off.notes[notes.len() - 1]
        .expect("placed")
        .drift
        .expect("drift")
        .ms();
    assert!(first < -60.0 && last > 60.0, "{first} {last}");
}

#[test]
fn what_cannot_be_told_is_absent() {
    let empty = measure(&[], &Grid::default(), Reference::OwnTempo);
    assert!(empty.lateness.is_none() && empty.swing.is_none() && empty.trend.is_none());
    let few = vec![note(1.0, Role::Bass, 40), note(1.3, Role::Melody, 64)];
    let drift = measure(&few, &grid(8, 0.6), Reference::Thumb);
    assert!(drift.lateness.is_none() && drift.swing.is_none() && drift.steadiness.is_none());
    assert!(drift.thumb.expect("one note").low.is_none());
    let outside = measure(
        &[note(60.0, Role::Bass, 40)],
        &grid(8, 0.6),
        Reference::OwnTempo,
    );
    assert_eq!(outside.notes, vec![None]);
}

#[test]
fn slots_are_counted_as_players_count_them() {
    let say = |beat, part, parts| Slot { beat, part, parts }.to_string();
    assert_eq!(say(1, 0, 2), "1");
    assert_eq!(say(2, 1, 2), "2 &");
    assert_eq!(say(3, 1, 4), "3 e");
    assert_eq!(say(3, 3, 4), "3 a");
    assert_eq!(say(4, 2, 3), "4 let");
}

#[test]
fn tempo_trend_and_steadiness_have_intervals() {
    let times: Vec<Seconds> = (0..64)
        .map(|k| Seconds(1.0 + 0.6 * f64::from(k) - 0.0006 * f64::from(k).powi(2)))
        .collect();
    let own = Grid::from_beats(&times, 0, Meter::COMMON);
    let notes: Vec<Note> = times
        .iter()
        .enumerate()
        .map(|(k, t)| note(t.0 + 0.001 * ((k * k % 11) as f64 - 4.0), Role::Bass, 40))
        .collect();
    let drift = measure(&notes, &own, Reference::OwnTempo);
    let trend = drift.trend.expect("trend");
    assert!(trend.change > 10.0 && trend.low <= trend.change && trend.change <= trend.high);
    // From the first bar's tempo to the last one's, in percent of the first.
    let told = 100.0 * (trend.to.0 / trend.from.0 - 1.0);
    assert!(
        (trend.change - told).abs() < 1e-6,
        "{} {told}",
        trend.change
    );
    let steady = drift.steadiness.expect("steadiness");
    assert!(
        (2.0..9.0).contains(&steady.scatter.ms()),
        "{}",
        steady.scatter.ms()
    );
    assert!(steady.low < steady.scatter && steady.scatter < steady.high);
    assert!(steady.sources.is_none());
}

/// Two notes of a pinch with one time were not measured each for itself: against the thumb the finger
/// has no figure, against the tempo it has.
#[test]
fn a_pinch_that_was_not_measured_has_no_distance() {
    let mut notes: Vec<_> = (0..16)
        .map(|i| note(1.0 + 0.6 * f64::from(i), Role::Bass, 40))
        .collect();
    notes.push(note(1.0 + 0.6 * 4.0, Role::Melody, 64));
    notes.push(note(1.0 + 0.6 * 8.0 + 0.012, Role::Melody, 64));
    notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    let of = |reference| -> Vec<bool> {
        let drift = measure(&notes, &grid(20, 0.6), reference);
        let fingers = notes
            .iter()
            .zip(&drift.notes)
            .filter(|(n, _)| n.role == Role::Melody);
        fingers
            .map(|(_, d)| d.as_ref().is_some_and(|d| d.drift.is_some()))
            .collect()
    };
    assert_eq!(of(Reference::Thumb), [false, true]);
    assert_eq!(of(Reference::OwnTempo), [true, true]);
}

/// Ordinals of eighths as they are written: 1st to 3rd, and 11th and 12th all the same.
#[test]
fn eighths_of_twelve_are_counted_with_their_endings() {
    let meter = Meter { count: 12, unit: 8 };
    let name = |beat, part| {
        Slot {
            beat,
            part,
            parts: 3,
        }
        .name(meter)
    };
    assert_eq!(name(1, 0), "the 1st eighth");
    assert_eq!(name(1, 1), "the 2nd eighth");
    assert_eq!(name(1, 2), "the 3rd eighth");
    assert_eq!(name(2, 0), "the 4th eighth");
    assert_eq!(name(4, 1), "the 11th eighth");
    assert_eq!(name(4, 2), "the 12th eighth");
}
