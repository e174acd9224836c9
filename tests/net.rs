//! The network at the candidates: the same numbers as its trainer, and sane on anything.

use serde::Deserialize;
use std::f64::consts::PI;
use thumbline::analysis::RATE;
use thumbline::analysis::pluck_net::{HIGHEST, LOWEST, PITCHES, PluckNet, Prediction};
use thumbline::unit::Cents;

/// What xtask/train/validate.py, an independent reading of the weights in numpy, says of [`sound`]
/// (written by xtask/train/fixture.py).
#[derive(Deserialize)]
struct Fixture {
    cents: f64,
    readings: Vec<Expected>,
}

#[derive(Deserialize)]
struct Expected {
    time: f64,
    early: f32,
    onset: f32,
    offset: f64,
    kinds: Vec<f32>,
    pitches: Vec<f32>,
    sounding: Vec<f32>,
    begins: Vec<f64>,
    made: Vec<[f32; 4]>,
}

/// Plucks of partials 1 to 8 at (second, hertz), over a faint hiss.
fn sound(plucks: &[(f64, f64)]) -> Vec<f32> {
    let mut state = 12_345_u32;
    (0..RATE * 3 / 2)
        .map(|i| {
            let t = f64::from(i) / f64::from(RATE);
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let mut x = 1e-3 * (f64::from(state) / 2_f64.powi(31) - 1.0);
            for (_, f, u) in plucks
                .iter()
                .map(|(s, f)| (s, f, t - s))
                .filter(|p| p.2 >= 0.0)
            {
                for k in (1..=8).map(f64::from) {
                    x += 0.3 * (0.5 * k).sin() / k
                        * (-(2.0 + k) * u).exp()
                        * (2.0 * PI * f * k * u).sin();
                }
            }
            x as f32
        })
        .collect()
}

const PLUCKS: [(f64, f64); 3] = [(0.25, 110.0), (0.70, 329.6276), (0.703, 82.4069)];

#[test]
fn says_what_its_trainer_says() {
    let fixture: Fixture =
        serde_json::from_str(include_str!("reference/net.json")).expect("valid JSON");
    let mono = sound(&PLUCKS);
    let mut listener = PluckNet::new(&mono, Cents(fixture.cents));
    for expected in fixture.readings {
        let got = listener.read(expected.time);
        if expected.early < 0.0095 {
            assert!((got.onset - expected.early).abs() < 1e-3 && got.above(0.0).is_empty());
            continue;
        }
        let kinds = got.kinds;
        let kinds = [
            kinds.pluck,
            kinds.legato,
            kinds.slide,
            kinds.harmonic,
            kinds.dead,
            kinds.tap,
        ];
        let pairs = got.pitches.iter().zip(&expected.pitches);
        let pairs = pairs.chain(got.sounding.iter().zip(&expected.sounding));
        let pairs = pairs.chain(kinds.iter().zip(&expected.kinds));
        for (a, b) in pairs.chain([(&got.onset, &expected.onset)]) {
            assert!(
                (a - b).abs() < 1e-3,
                "at {} s: {a} against {b}",
                expected.time
            );
        }
        assert!((got.offset - expected.offset).abs() < 1e-4);
        for (a, b) in got.begins.iter().zip(&expected.begins) {
            assert!((a - b).abs() < 1e-4, "begins {a} against {b}");
        }
        for (made, b) in got.made.iter().zip(&expected.made) {
            let a = [made.legato, made.slide, made.harmonic, made.dead];
            assert!(a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-3));
        }
    }
}

#[test]
fn hears_a_pinch() {
    let mono = sound(&PLUCKS);
    let mut listener = PluckNet::new(&mono, Cents(0.0));
    let pinch = listener.read(0.70);
    assert!(
        pinch.onset > 0.5 && pinch.pitch(64) > 0.5 && pinch.pitch(40) > 0.5,
        "{pinch:?}"
    );
    assert!(pinch.pitch(57) < 0.5, "an A that nobody plucked");
    assert!(listener.read(1.2).onset < 0.5, "nothing begins at 1.2 s");
}

#[test]
fn any_sound_any_time_is_finite() {
    let loud: Vec<f32> = (0..30_000)
        .map(|i| if i % 7 < 3 { 1.0 } else { -1.0 })
        .collect();
    for mono in [vec![], vec![0.5], vec![0.0; 40_000], loud] {
        let mut listener = PluckNet::new(&mono, Cents(f64::NAN));
        for time in [-1e9, -0.01, 0.0, 0.3, 5.0, 1e9, f64::NAN] {
            let Prediction {
                onset,
                pitches,
                sounding,
                offset,
                ..
            } = listener.read(time);
            assert!(
                pitches
                    .iter()
                    .chain(&sounding)
                    .chain([&onset])
                    .all(|p| (0.0..=1.0).contains(p))
            );
            assert!(offset.abs() <= 0.02);
        }
    }
    assert_eq!(PITCHES, usize::from(HIGHEST - LOWEST) + 1);
    assert_eq!(PluckNet::new(&[], Cents(0.0)).read(0.0).pitch(-5), 0.0);
}
