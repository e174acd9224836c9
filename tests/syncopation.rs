//! Syncopation against the literature's own figures (`tests/reference/syncopation.toml`).

use serde::Deserialize;
use thumbline::music::meter::Meter;
use thumbline::music::syncopation::{line, note_to_beat_distance, note_to_missed_beat, weights};

#[derive(Deserialize)]
struct Reference {
    timeline: Vec<Timeline>,
    weights: Vec<Weights>,
    figure9: Vec<Figure9>,
    eight: Vec<Eight>,
    rag: Rag,
}

#[derive(Deserialize)]
struct Timeline {
    name: String,
    onsets: Vec<usize>,
    wnbd: (u32, u32),
    lhl: i32,
    rotations: i32,
}

#[derive(Deserialize)]
struct Weights {
    count: u8,
    unit: u8,
    division: u8,
    weights: Vec<i32>,
}

#[derive(Deserialize)]
struct Figure9 {
    intervals: Vec<usize>,
    beats: u8,
    division: u8,
    strengths: Vec<i32>,
}

#[derive(Deserialize)]
struct Eight {
    name: String,
    onsets: Vec<usize>,
    lhl: i32,
}

#[derive(Deserialize)]
struct Rag {
    bars: Vec<Vec<usize>>,
    next: Vec<usize>,
    lhl: Vec<i32>,
    left: Vec<usize>,
}

fn reference() -> Reference {
    toml::from_str(include_str!("reference/syncopation.toml")).expect("the reference is TOML")
}

fn total(onsets: &[usize], weights: &[i32]) -> i32 {
    note_to_missed_beat(onsets, weights, weights.len(), true)
        .iter()
        .map(|s| s.strength)
        .sum()
}

#[test]
fn weights_are_the_published_ones() {
    for case in reference().weights {
        let meter = Meter {
            count: case.count,
            unit: case.unit,
        };
        assert_eq!(weights(meter, case.division), case.weights, "{meter}");
    }
}

#[test]
fn timelines_measure_as_published() {
    let sixteen = weights(Meter::COMMON, 4);
    for case in reference().timeline {
        assert_eq!(total(&case.onsets, &sixteen), case.lhl, "{}", case.name);
        let wnbd = note_to_beat_distance(&case.onsets, 16, 4);
        let want = f64::from(case.wnbd.0) / f64::from(case.wnbd.1);
        assert!((wnbd - want).abs() < 1e-9, "{}: {wnbd}", case.name);
        let turned: i32 = (0..16)
            .map(|by| {
                let mut onsets: Vec<usize> = case.onsets.iter().map(|o| (o + by) % 16).collect();
                onsets.sort_unstable();
                total(&onsets, &sixteen)
            })
            .sum();
        assert_eq!(turned, case.rotations, "{}", case.name);
    }
}

#[test]
fn small_examples_measure_as_published() {
    for case in reference().figure9 {
        let meter = Meter {
            count: case.beats,
            unit: 4,
        };
        let weights = weights(meter, case.division);
        let mut onsets = vec![0];
        for gap in &case.intervals {
            onsets.push(onsets.last().unwrap() + gap);
        }
        onsets.pop();
        let strengths: Vec<i32> = note_to_missed_beat(&onsets, &weights, weights.len(), true)
            .iter()
            .map(|s| s.strength)
            .collect();
        assert_eq!(strengths, case.strengths, "{:?}", case.intervals);
    }
    let eight = weights(Meter::COMMON, 2);
    for case in reference().eight {
        assert_eq!(total(&case.onsets, &eight), case.lhl, "{}", case.name);
    }
}

#[test]
fn a_whole_piece_measures_bar_by_bar() {
    let rag = reference().rag;
    let meter = Meter { count: 2, unit: 4 };
    let mut onsets: Vec<usize> = rag
        .bars
        .iter()
        .enumerate()
        .flat_map(|(bar, slots)| slots.iter().map(move |slot| 8 * bar + slot))
        .collect();
    onsets.extend(rag.next.iter().map(|slot| 8 * rag.bars.len() + slot));
    let measured = line(&onsets, meter, 4);
    let right: Vec<i32> = measured.iter().take(16).map(|b| b.missed_beat).collect();
    assert_eq!(right, rag.lhl);
    for bar in &measured {
        let sum: i32 = bar.syncopes.iter().map(|s| s.strength).sum();
        assert_eq!(sum, bar.missed_beat);
        assert!(
            bar.syncopes
                .iter()
                .all(|s| s.missed > s.note && s.note / 8 == bar.bar)
        );
    }
    let left: Vec<usize> = (0..16)
        .flat_map(|b| rag.left.iter().map(move |s| 8 * b + s))
        .collect();
    assert!(line(&left, meter, 4).iter().all(|b| b.missed_beat == 0));
}

#[test]
fn every_meter_and_empty_lines_are_answered() {
    for count in 1..=15 {
        for unit in [2, 4, 8, 16] {
            let meter = Meter { count, unit };
            for division in 1..=6 {
                let weights = weights(meter, division);
                assert_eq!(weights[0], 0);
                assert!(weights.iter().skip(1).all(|w| *w < 0));
                assert!(line(&[], meter, division).is_empty());
                assert!(!line(&[1, 5, 90], meter, division).is_empty());
            }
        }
    }
    assert!(note_to_missed_beat(&[], &[0, -1], 2, true).is_empty());
    assert_eq!(note_to_beat_distance(&[], 16, 4), 0.0);
}
