//! Thumb against fingers in what is heard: parts rendered apart are the truth.

use thumbline::demo;
use thumbline::dsp::pluck::{Guitar, Played, Sound};
use thumbline::music::note::{Note, Role};
use thumbline::music::performance::{Manner, Performance};
use thumbline::recording::Recording;
use thumbline::separate::{Balance, SeparateError, balanced};
use thumbline::unit::Bpm;

/// The demo's tune by another player on another guitar than the one the masks were tuned on, each
/// hand rendered on its own.
struct Apart {
    both: Recording,
    thumb: Vec<f32>,
    fingers: Vec<f32>,
    notes: Vec<Note>,
}

fn apart() -> Apart {
    let guitar = Guitar {
        rate: 44_100,
        seed: 77,
        ..Guitar::default()
    };
    let performance = Performance::of(&demo::tune(), &Manner::practised(Bpm(96.0), 5));
    let hand = |role: Role| -> Vec<f32> {
        let strokes: Vec<Played> = performance
            .strokes
            .iter()
            .zip(&performance.notes)
            .filter(|(_, played)| played.note.role == role)
            .map(|(stroke, _)| *stroke)
            .collect();
        let Sound { channels, .. } = guitar.play(&strokes, performance.length);
        channels.into_iter().next().unwrap_or_default()
    };
    let (thumb, fingers) = (hand(Role::Bass), hand(Role::Melody));
    let mix = thumb.iter().zip(&fingers).map(|(a, b)| a + b).collect();
    let mut notes: Vec<Note> = performance.notes.iter().map(|n| n.note.clone()).collect();
    notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    Apart {
        both: Recording::new("apart", 44_100, vec![mix]).expect("a recording"),
        thumb,
        fingers,
        notes,
    }
}

fn power(of: &[f32]) -> f64 {
    of.iter().map(|s| f64::from(*s) * f64::from(*s)).sum()
}

/// Signal to distortion in dB: how well `heard` is `wanted`.
fn fidelity(heard: &[f32], wanted: &[f32]) -> f64 {
    let wrong: Vec<f32> = heard.iter().zip(wanted).map(|(a, b)| a - b).collect();
    10.0 * (power(wanted) / power(&wrong)).log10()
}

#[test]
fn a_hand_alone_is_heard_well_above_the_other() {
    let apart = apart();
    for (dial, wanted) in [(-1.0, &apart.thumb), (1.0, &apart.fingers)] {
        let found = balanced(&apart.both, &apart.notes, Balance::at(dial), || true).unwrap();
        let before = fidelity(&apart.both.channels()[0], wanted);
        let after = fidelity(&found.channels()[0], wanted);
        println!("dial {dial}: {before:.1} dB as recorded, {after:.1} dB alone");
        assert!(after > before + 6.0, "{dial}: {before:.1} -> {after:.1} dB");
        assert!(after > 6.0, "{dial}: {after:.1} dB");
    }
}

#[test]
fn the_parts_add_up_and_the_middle_is_the_recording() {
    let apart = apart();
    let at = |dial| balanced(&apart.both, &apart.notes, Balance::at(dial), || true).unwrap();
    let (thumb, fingers, both) = (at(-1.0), at(1.0), at(0.0));
    assert_eq!(both.channels(), apart.both.channels());
    let sum: Vec<f32> = thumb.channels()[0]
        .iter()
        .zip(&fingers.channels()[0])
        .map(|(a, b)| a + b)
        .collect();
    assert!(fidelity(&sum, &apart.both.channels()[0]) > 90.0);
}

#[test]
fn odd_input_is_answered() {
    let silent = Recording::new("silent", 8_000, vec![vec![0.0; 5], vec![0.0; 5]]).unwrap();
    let found = balanced(&silent, &[], Balance::at(-0.5), || true).unwrap();
    assert!(found.channels().iter().flatten().all(|s| *s == 0.0));
    assert_eq!(found.frames(), 5);
    let apart = apart();
    let stopped = balanced(&apart.both, &apart.notes, Balance::at(0.3), || false);
    assert!(matches!(stopped, Err(SeparateError::Cancelled)));
    assert_eq!(Balance::at(f64::NAN), Balance::at(0.0));
    let wide = Balance::at(-7.0);
    assert!(wide.thumb == 1.0 && wide.fingers == 0.0);
}
