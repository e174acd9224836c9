//! Is it one guitar? The judgement against its trainer's own reading of the weights, and on sounds that
//! are one and that are not.

use crate::invented;
use serde::Deserialize;
use std::f64::consts::TAU;
use thumbline::analysis::one_guitar::Solo;
use thumbline::analysis::{Options, RATE, analyze};
use thumbline::demo;
use thumbline::music::guess::{SURE, told};
use thumbline::music::tuning::Tuning;
use thumbline::recording::Recording;
use thumbline::timing::{self, Reference};

/// What xtask/train/solo.py, an independent reading of the weights in numpy, says of [`strokes`]
/// (written by xtask/train/fixture.py).
#[derive(Deserialize)]
struct Fixture {
    seconds: Vec<f32>,
}

/// Six seconds of strokes of eight partials, one every half second, over a faint hiss.
fn strokes() -> Vec<f32> {
    let mut state = 12_345_u32;
    (0..6 * RATE)
        .map(|i| {
            let t = f64::from(i) / f64::from(RATE);
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let mut x = 1e-3 * (f64::from(state) / 2_f64.powi(31) - 1.0);
            for stroke in 0..12 {
                let u = t - 0.5 * f64::from(stroke) - 0.1;
                let f = 110.0 * (f64::from(stroke * 5 % 12) / 12.0).exp2();
                for k in (1..=8).map(f64::from).filter(|_| u >= 0.0) {
                    x += 0.1 / k * (-(2.0 + k) * u).exp() * (TAU * f * k * u).sin();
                }
            }
            x as f32
        })
        .collect()
}

fn judged(name: &str, mono: Vec<f32>) -> (Solo, Vec<String>, usize) {
    let recording = Recording::new(name, RATE, vec![mono]).expect("sound");
    let found = analyze(&recording, &Options::default(), &mut ()).expect("not cancelled");
    let drift = timing::of(&found, Reference::OwnTempo);
    let measured = drift.notes.iter().flatten().count();
    (found.solo, found.warnings, measured)
}

#[test]
fn says_what_its_trainer_says() {
    let fixture: Fixture =
        serde_json::from_str(include_str!("reference/solo.json")).expect("valid JSON");
    let (solo, ..) = judged("strokes", strokes());
    let seconds: Vec<f32> = solo.seconds.iter().map(|p| p.expect("loud")).collect();
    assert_eq!(seconds.len(), fixture.seconds.len());
    for (ours, theirs) in seconds.iter().zip(&fixture.seconds) {
        assert!((ours - theirs).abs() < 2e-3, "{seconds:?}");
    }
}

#[test]
fn a_guitar_is_taken_for_one() {
    let (_, piece) = invented::in_tuning(3, 2, 77);
    let found = analyze(&piece.recording, &Options::default(), &mut ()).expect("not cancelled");
    assert!(found.solo.is_one_guitar(), "{:?}", found.solo);
}

/// Sounds without a guitar, synthesised here (no source): a voice of pulses through two formants with
/// vibrato, clapping, hiss.
#[test]
fn what_is_no_guitar_is_told_so_and_nothing_is_measured() {
    let n = 10 * RATE as usize;
    let mut state = 7_u32;
    let mut hiss = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state) / 2_f64.powi(31) - 1.0
    };
    let mut turns = 0.0;
    let voice = (0..n)
        .map(|i| {
            let t = i as f64 / f64::from(RATE);
            let step = [0.0, 2.0, 4.0, 7.0, 5.0][i / 33_075 % 5];
            let f = 140.0 * ((step + 0.5 * (TAU * 5.5 * t).sin()) / 12.0).exp2();
            turns += f / f64::from(RATE);
            let formant = |hz: f64, at: f64, wide: f64| (-((hz - at) / wide).powi(2)).exp();
            let sum: f64 = (1..25)
                .map(|k| {
                    let hz = 140.0 * f64::from(k);
                    let loud = formant(hz, 700.0, 400.0) + 0.5 * formant(hz, 1200.0, 300.0);
                    loud * (TAU * turns * f64::from(k)).cos()
                })
                .sum();
            (0.1 * sum) as f32
        })
        .collect();
    let mut clapping = vec![0.0f32; n];
    for k in 0..600 {
        let from = (k * 7919) % (n - 600);
        for j in 0..500 {
            clapping[from + j] += (0.2 * hiss() * (-f64::from(j as u32) / 90.0).exp()) as f32;
        }
    }
    let hissing = (0..n).map(|_| (0.1 * hiss()) as f32).collect();
    for (name, sound) in [("voice", voice), ("clapping", clapping), ("hiss", hissing)] {
        let (solo, warnings, measured) = judged(name, sound);
        assert!(!solo.is_one_guitar(), "{name}: {}", solo.odds);
        assert!(
            !warnings.is_empty() && measured == 0,
            "{name}: {warnings:?}"
        );
    }
}

#[test]
fn silence_speaks_neither_way() {
    let (solo, ..) = judged("silence", vec![0.0; 3 * RATE as usize]);
    assert!(solo.seconds.iter().all(Option::is_none) && solo.odds == 1.0);
}

/// A guess is told with its odds, and below [`SURE`] as no fact; a tuning that was told is none.
#[test]
fn a_guessed_tuning_is_told_as_a_guess() {
    let take = demo::take(22_050).expect("renders");
    let found = analyze(&take.recording, &Options::default(), &mut ()).expect("not cancelled");
    let first = &found.guesses[0];
    assert_eq!(first.tuning, found.tuning);
    let said = told(&found.guesses);
    assert_eq!(found.tuning_known(), first.odds >= SURE);
    assert_eq!(found.tuning_known(), !said.starts_with("unsure"), "{said}");
    let dadgad = Options::tuned(Tuning::dadgad());
    let told_so = analyze(&take.recording, &dadgad, &mut ()).expect("not cancelled");
    assert!(told_so.guesses.is_empty() && told_so.tuning_known());
    assert_eq!(told(&told_so.guesses), "");
    // The same strings whether the tuning is told before or after.
    let places = |notes: &[thumbline::music::note::Note]| -> Vec<_> {
        notes.iter().map(|n| (n.string, n.fret)).collect()
    };
    let after = found.tuned(&Tuning::dadgad());
    assert_eq!(places(&after.notes), places(&told_so.notes));
}
