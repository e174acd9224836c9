//! How high one string sounds: against the plucked-string model and plain tones of known pitch.

use thumbline::dsp::pluck::{Guitar, Played};
use thumbline::dsp::string_pitch::StringPitch;
use thumbline::music::tuning::Tuning;
use thumbline::unit::{Cents, MidiNote, Seconds, Span};

fn heard(samples: &[f32], rate: u32) -> Option<MidiNote> {
    let mut ear = StringPitch::new(rate);
    // In the pieces in which an audio thread hands it over.
    for piece in samples.chunks(441) {
        ear.hear(piece.iter().copied());
    }
    ear.pitch()
}

/// Every string of three tunings, some cents off, at the rates of sound cards: within a cent, well below
/// what a listener tells apart (Houtsma 1995: 5 to 10 cents for tones one after the other; from
/// memory). The model's strings are stiff, so that their partials pull the reading up a little.
#[test]
fn strings_of_the_model_are_read_within_a_cent() {
    for (rate, tuning) in [
        (44_100, Tuning::standard()),
        (48_000, Tuning::dadgad()),
        (96_000, Tuning::parse("C G C G C D").expect("a tuning")),
    ] {
        for string in 1..=6 {
            for off in [-37.0, -8.0, 0.0, 12.0] {
                let open = tuning
                    .sounding(string, 0)
                    .expect("a string")
                    .detuned(Cents(off));
                let guitar = Guitar {
                    rate,
                    ..Guitar::default()
                };
                let stroke = Played::pluck(Seconds(0.1), Seconds(2.0), string, open, 0);
                let sound = guitar.play(&[stroke], Span(1.6));
                let found = heard(&sound.channels[0], rate).expect("it is heard");
                let error = 100.0 * (found.0 - open.0);
                assert!(
                    error.abs() < 3.0,
                    "string {string} at {rate}: {error:.2} cents"
                );
                let near = tuning.nearest_string(found).expect("a string");
                assert_eq!(near.0, string);
                assert!((near.1.0 - off).abs() < 1.0);
            }
        }
    }
}

/// A pure tone is read to a fifth of a cent.
#[test]
fn a_tone_is_read_exactly() {
    for hz in [82.407, 146.832, 329.628, 659.255] {
        let tone: Vec<f32> = (0..48_000)
            .map(|i| (0.2 * (std::f64::consts::TAU * hz * f64::from(i) / 48_000.0).sin()) as f32)
            .collect();
        let found = heard(&tone, 48_000).expect("it is heard");
        let error = 100.0 * (found.0 - MidiNote::of_hz(hz).0);
        assert!(error.abs() < 0.2, "{hz}: {error} cents");
    }
}

/// Silence, noise and what is not a number are no string; a string is forgotten after a while, and the next
/// one is read at once.
#[test]
fn what_is_no_string_is_not_told() {
    let mut chance = thumbline::dsp::pluck::Chance::new(7);
    let noise: Vec<f32> = (0..48_000).map(|_| 0.2 * chance.signed()).collect();
    assert_eq!(heard(&noise, 48_000), None);
    assert_eq!(heard(&vec![0.0; 48_000], 48_000), None);
    assert_eq!(heard(&vec![f32::NAN; 48_000], 48_000), None);
    let tone = |hz: f64| -> Vec<f32> {
        let at =
            |i: i32| (0.2 * (std::f64::consts::TAU * hz * f64::from(i) / 48_000.0).sin()) as f32;
        (0..24_000).map(at).collect()
    };
    let mut ear = StringPitch::new(48_000);
    ear.hear(tone(110.0));
    ear.hear(tone(220.0));
    let found = ear.pitch().expect("it is heard");
    assert!((found.0 - 57.0).abs() < 0.1, "{found:?}");
    ear.hear(std::iter::repeat_n(0.0, 2 * 48_000));
    assert_eq!(ear.pitch(), None);
}
