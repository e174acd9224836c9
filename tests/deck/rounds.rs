//! The loop: seams, rests, the ladder, and the same offline.

use super::rig::{RATE, Rig, grid, recording, starts, tone};
use std::sync::Arc;
use thumbline::deck::{ClickRate, Event, Ladder, Message};
use thumbline::music::grid::Grid;
use thumbline::stretch::OnsetTable;
use thumbline::unit::{Decibels, Seconds};

#[test]
fn a_looped_tone_stays_flat() {
    // ITU-R BS.1770's measure is a mean square: over 50 ms a loop of whole periods must not move.
    for speed in [0.5, 1.0] {
        let mut samples = tone(220.0, 6.0);
        samples[RATE as usize * 21 / 10..].fill(0.0);
        let sound = recording(vec![samples]);
        let mut rig = Rig::new(&sound);
        // 220 whole periods; what lies outside is silent, so it must not be heard.
        rig.send(Message::Region(Some((Seconds(1.0), Seconds(2.0)))));
        rig.set(|c| {
            c.play = true;
            c.looping = true;
            c.speed = speed;
        });
        let out = rig.run(8 * RATE as usize);
        let window = RATE as usize / 20;
        let levels: Vec<f64> = out[RATE as usize..]
            .chunks_exact(window)
            .map(|c| c.iter().map(|s| f64::from(s * s)).sum::<f64>() / window as f64)
            .map(|p| 10.0 * p.log10())
            .collect();
        let high = levels.iter().copied().fold(f64::MIN, f64::max);
        let low = levels.iter().copied().fold(f64::MAX, f64::min);
        assert!(high - low < 0.5, "{speed}: {levels:?}");
    }
}

#[test]
fn rounds_are_exactly_as_long_as_the_loop() {
    let sound = recording(vec![tone(220.0, 6.0)]);
    for (speed, length) in [(0.5, 1.0), (1.0, 0.73), (0.7, 0.1), (1.5, 0.06)] {
        let mut rig = Rig::new(&sound);
        let to = Seconds(1.0 + length);
        rig.send(Message::Region(Some((Seconds(1.0), to))));
        rig.set(|c| {
            c.play = true;
            c.looping = true;
            c.speed = speed;
        });
        rig.run(9 * RATE as usize);
        let begun: Vec<u64> = rig
            .events()
            .iter()
            .filter_map(|e| match e {
                Event::Round { clock, .. } => Some(*clock),
                _ => None,
            })
            .skip(1)
            .collect();
        assert!(begun.len() > 3);
        let frames = (1.0 + length)
            .mul_add(f64::from(RATE), -f64::from(RATE))
            .round()
            / speed;
        for (i, clock) in begun.iter().enumerate() {
            let expected = begun[0] as f64 + i as f64 * frames;
            assert!(
                (*clock as f64 - expected).abs() <= 1.5,
                "{speed} {length}: {begun:?}"
            );
        }
    }
}

#[test]
fn a_rest_lasts_its_beats_and_the_click_goes_on() {
    let sound = recording(vec![tone(220.0, 10.0)]);
    let mut rig = Rig::new(&sound);
    rig.pulse(&grid(10.0), ClickRate::Beat, 0.5);
    rig.send(Message::Region(Some((Seconds(0.25), Seconds(2.25)))));
    rig.send(Message::Rest(2));
    rig.set(|c| {
        c.play = true;
        c.looping = true;
        c.click = true;
        c.gain = Decibels(-24.0);
    });
    let out = rig.run(10 * RATE as usize);
    let clocks: Vec<u64> = rig
        .events()
        .iter()
        .filter_map(|e| match e {
            Event::Round { clock, .. } => Some(*clock),
            _ => None,
        })
        .collect();
    // Two seconds of loop and two beats of half a second.
    for pair in clocks.windows(2).skip(1) {
        assert!(pair[1].abs_diff(pair[0] + 3 * 48_000) <= 2, "{clocks:?}");
    }
    let found = starts(&out);
    for pair in found.windows(2).skip(1) {
        assert!(pair[1].abs_diff(pair[0] + 24_000) <= 2, "{found:?}");
    }
}

#[test]
fn the_ladder_rises_by_its_step_and_stops_at_its_top() {
    let sound = recording(vec![tone(220.0, 4.0)]);
    let ladder = Ladder {
        start: 0.8,
        step: 0.15,
        rounds: 2,
        top: 1.0,
        asks: false,
    };
    let mut rig = Rig::new(&sound);
    rig.send(Message::Region(Some((Seconds(0.5), Seconds(1.0)))));
    rig.send(Message::Ladder(Some(ladder)));
    rig.set(|c| {
        c.play = true;
        c.looping = true;
    });
    rig.run(5 * RATE as usize);
    let speeds: Vec<f64> = rig
        .events()
        .iter()
        .filter_map(|e| match e {
            Event::Round { speed, .. } => Some(*speed),
            _ => None,
        })
        .take(6)
        .collect();
    let expected = [0.8, 0.8, 0.95, 0.95, 1.0, 1.0];
    for (a, b) in speeds.iter().zip(expected) {
        assert!((a - b).abs() < 1e-9, "{speeds:?}");
    }
}

#[test]
fn an_asking_ladder_waits_for_leave() {
    let sound = recording(vec![tone(220.0, 4.0)]);
    let mut rig = Rig::new(&sound);
    rig.send(Message::Region(Some((Seconds(0.5), Seconds(1.0)))));
    rig.send(Message::Ladder(Some(Ladder {
        start: 0.5,
        step: 0.25,
        rounds: 1,
        top: 1.0,
        asks: true,
    })));
    rig.set(|c| {
        c.play = true;
        c.looping = true;
    });
    rig.run(4 * RATE as usize);
    assert!((rig.deck.state().speed - 0.5).abs() < 1e-9);
    rig.send(Message::Climb);
    rig.run(2 * RATE as usize);
    assert!((rig.deck.state().speed - 0.75).abs() < 1e-9);
}

#[test]
fn offline_loops_have_the_exact_length() {
    use thumbline::deck::offline::{LoopPlan, render_loop};
    let sound = recording(vec![tone(220.0, 4.0), tone(330.0, 4.0)]);
    let onsets = Arc::new(OnsetTable::default());
    for (speed, times) in [(0.5, 3), (1.0, 4), (0.8, 1)] {
        let plan = LoopPlan::new(Seconds(1.0), Seconds(2.0), times, speed);
        let out = render_loop(&sound, &onsets, &Grid::default(), &plan, |_| true).expect("a loop");
        let exact = f64::from(times) * f64::from(RATE) / speed;
        assert_eq!(out.len(), 2);
        assert!(
            (out[0].len() as f64 - exact).abs() <= 2.0,
            "{} {exact}",
            out[0].len()
        );
    }
    let counted = LoopPlan {
        count_in: 1,
        rest: 2,
        ..LoopPlan::new(Seconds(0.25), Seconds(2.25), 2, 1.0)
    };
    let out = render_loop(&sound, &onsets, &grid(4.0), &counted, |_| true).expect("a loop");
    // Four beats, two rounds of 2 s, one rest of 1 s.
    assert!(out[0].len().abs_diff(7 * 48_000) <= 3, "{}", out[0].len());
    assert!(render_loop(&sound, &onsets, &grid(4.0), &counted, |_| false).is_err());
    let outside = LoopPlan::new(Seconds(3.0), Seconds(9.0), 1, 1.0);
    assert!(render_loop(&sound, &onsets, &grid(4.0), &outside, |_| true).is_err());
}
