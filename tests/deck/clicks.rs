//! The click and the count-in: on the grid, on the sound, whatever the speed did before.

use super::rig::{RATE, Rig, grid, recording, starts};
use std::sync::Arc;
use thumbline::deck::{ClickRate, Message, Phase};
use thumbline::stretch::OnsetTable;
use thumbline::unit::{Decibels, Seconds};

#[test]
fn clicks_fall_on_the_grid_to_the_sample_at_any_speed() {
    let sound = recording(vec![vec![0.0; 20 * RATE as usize]]);
    for speed in [0.25, 0.37, 0.5, 0.713, 1.0, 1.5] {
        let mut rig = Rig::new(&sound);
        rig.pulse(&grid(20.0), ClickRate::Beat, 0.5);
        rig.set(|c| {
            c.play = true;
            c.click = true;
            c.click_level = Decibels(0.0);
            c.speed = speed;
        });
        let out = rig.run(4 * RATE as usize);
        let late = rig.player.latency();
        let found = starts(&out);
        assert!(found.len() >= 2, "{found:?}");
        for (i, frame) in found.iter().enumerate() {
            let exact = (0.25 + 0.5 * i as f64) / speed * f64::from(RATE);
            let error = (frame - late) as f64 - exact;
            assert!(
                (-0.001..1.001).contains(&error),
                "{speed}: beat {i} off by {error}"
            );
        }
    }
}

#[test]
fn swung_clicks_fall_where_the_swing_is() {
    let sound = recording(vec![vec![0.0; 10 * RATE as usize]]);
    let mut rig = Rig::new(&sound);
    rig.pulse(&grid(10.0), ClickRate::Half, 2.0 / 3.0);
    rig.set(|c| {
        c.play = true;
        c.click = true;
    });
    let out = rig.run(3 * RATE as usize);
    let late = rig.player.latency();
    let seconds: Vec<f64> = starts(&out)
        .iter()
        .map(|f| (f - late) as f64 / f64::from(RATE))
        .collect();
    assert!(
        (seconds[1] - (0.25 + 1.0 / 3.0)).abs() < 1e-4,
        "{seconds:?}"
    );
    assert!((seconds[2] - 0.75).abs() < 1e-4);
}

/// Does a rate click the beat of this number?
type Counts = fn(usize) -> bool;

/// Beats of half a second from 0.25 s, four a bar: on two and four every full second from 0.75 s; every other
/// bar, and two bars of four, the first ones.
#[test]
fn clicks_leave_out_the_beats_that_the_player_keeps() {
    let sound = recording(vec![vec![0.0; 20 * RATE as usize]]);
    let wanted: [(ClickRate, Counts); 3] = [
        (ClickRate::Backbeat, |beat| beat % 2 == 1),
        (ClickRate::EveryOtherBar, |beat| beat % 8 < 4),
        (ClickRate::TwoAndTwo, |beat| beat % 16 < 8),
    ];
    for (rate, counts) in wanted {
        let mut rig = Rig::new(&sound);
        rig.pulse(&grid(20.0), rate, 0.5);
        rig.set(|c| {
            c.play = true;
            c.click = true;
        });
        let out = rig.run(10 * RATE as usize);
        let late = rig.player.latency();
        let found: Vec<f64> = starts(&out)
            .iter()
            .map(|f| (f - late) as f64 / f64::from(RATE))
            .filter(|s| *s < 8.5)
            .collect();
        let exact: Vec<f64> = (0..17)
            .filter(|beat| counts(*beat))
            .map(|beat| 0.25 + 0.5 * beat as f64)
            .collect();
        assert_eq!(found.len(), exact.len(), "{rate:?}: {found:?}");
        let near = |(f, e): (&f64, &f64)| (f - e).abs() < 1e-3;
        assert!(found.iter().zip(&exact).all(near), "{rate:?}: {found:?}");
    }
}

#[test]
fn a_speed_change_keeps_the_click_on_the_sound() {
    // One loud sample on every beat: the click's place must be the sound's place, whatever the
    // speed did before.
    let mut samples = vec![0.0f32; 20 * RATE as usize];
    let onsets: Vec<usize> = grid(20.0)
        .beats()
        .iter()
        .map(|b| b.time.frame(RATE))
        .collect();
    for &o in &onsets {
        samples[o] = 0.8;
    }
    let sound = recording(vec![samples]);
    for clicking in [false, true] {
        let mut rig = Rig::new(&sound);
        rig.send(Message::Onsets(Arc::new(OnsetTable::cleaned(
            onsets.clone(),
            sound.frames(),
        ))));
        rig.pulse(&grid(20.0), ClickRate::Beat, 0.5);
        rig.set(|c| {
            c.play = true;
            c.click = clicking;
            c.gain = Decibels(if clicking { -24.0 } else { 0.0 });
        });
        let mut out = Vec::new();
        for speed in [1.0, 0.5, 0.8, 0.3, 1.2] {
            rig.set(|c| c.speed = speed);
            out.extend(rig.run(RATE as usize * 3 / 2));
        }
        let found = starts(&out);
        if clicking {
            CLICKS.with(|c| assert_close(&c.borrow(), &found));
        } else {
            CLICKS.with(|c| *c.borrow_mut() = found);
        }
    }
}

thread_local! {
    static CLICKS: std::cell::RefCell<Vec<usize>> = const { std::cell::RefCell::new(Vec::new()) };
}

fn assert_close(sound: &[usize], click: &[usize]) {
    assert_eq!(sound.len(), click.len(), "{sound:?} {click:?}");
    for (s, c) in sound.iter().zip(click) {
        assert!(s.abs_diff(*c) <= 24, "sound {sound:?}\nclick {click:?}");
    }
}

#[test]
fn count_in_counts_whole_bars_before_the_place() {
    let sound = recording(vec![vec![0.0; 10 * RATE as usize]]);
    let mut rig = Rig::new(&sound);
    rig.pulse(&grid(10.0), ClickRate::Beat, 0.5);
    rig.send(Message::CountIn(1));
    rig.send(Message::Seek(Seconds(2.25)));
    rig.set(|c| {
        c.play = true;
        c.speed = 0.5;
    });
    let out = rig.run(6 * RATE as usize);
    let late = rig.player.latency();
    let found: Vec<f64> = starts(&out)
        .iter()
        .map(|f| (f - late) as f64 / f64::from(RATE))
        .collect();
    // Four beats of one second at half speed; then the recording, whose click is off.
    assert_eq!(found.len(), 4, "{found:?}");
    for (i, t) in found.iter().enumerate() {
        assert!((t - i as f64).abs() < 2e-4, "{found:?}");
    }
    // Four seconds later the recording had begun at 2.25 s; two more at half speed are one.
    let state = rig.deck.state();
    assert_eq!(state.phase, Phase::Rolling);
    assert!((state.position.0 - 3.25).abs() < 1e-3, "{state:?}");
}

#[test]
fn a_table_that_comes_while_it_plays_moves_nothing() {
    // The engine's own reading is replaced by the analysis in the middle of a slow passage. Attacks
    // that both know, and the click, stay where they are; those that only the new one knows are in
    // place from then on.
    let beats: Vec<usize> = grid(20.0)
        .beats()
        .iter()
        .map(|b| b.time.frame(RATE))
        .collect();
    let mut samples = vec![0.0f32; 20 * RATE as usize];
    for &o in &beats {
        samples[o] = 0.8;
    }
    let sound = recording(vec![samples]);
    let every_other: Vec<usize> = beats.iter().copied().step_by(2).collect();
    // A reading that errs by 3 ms on the beats between, too late.
    let erring: Vec<usize> = beats
        .iter()
        .enumerate()
        .map(|(i, b)| b + 144 * (i % 2))
        .collect();
    for (what, first) in [("fewer", every_other), ("late", erring)] {
        for moment in [0.9, 1.37, 2.0, 2.71] {
            let mut rig = Rig::new(&sound);
            let table =
                |frames: &[usize]| Arc::new(OnsetTable::cleaned(frames.to_vec(), 20 * 48_000));
            rig.send(Message::Onsets(table(&first)));
            rig.pulse(&grid(20.0), ClickRate::Beat, 0.5);
            rig.set(|c| {
                c.play = true;
                c.speed = 0.5;
            });
            let mut out = rig.run((moment * f64::from(RATE)) as usize);
            rig.send(Message::Onsets(table(&beats)));
            out.extend(rig.run(8 * RATE as usize));
            let late = rig.player.latency();
            // What is worked out already is at most half a window and two hops ahead: 0.15 s.
            let from = (moment + 0.2) * f64::from(RATE);
            for &b in &beats {
                let due = (b as f64 / 0.5) as usize + late;
                if (due as f64) < from || due + 500 > out.len() {
                    continue;
                }
                let near = &out[due - 480..due + 480];
                let (at, _) = near
                    .iter()
                    .enumerate()
                    .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
                    .expect("samples");
                assert!(
                    at.abs_diff(480) <= 2,
                    "{what}, {moment}: {b} off by {at} - 480"
                );
            }
        }
    }
}
