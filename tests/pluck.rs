//! The plucked-string model against the physics it claims.

use thumbline::dsp::pluck::{Guitar, Played, Sound, Stroke};
use thumbline::unit::{Decibels, MidiNote, Seconds, Span};

const RATE: u32 = 44_100;

fn guitar() -> Guitar {
    Guitar {
        noise: None,
        ..Guitar::default()
    }
}

fn open(string: u8) -> MidiNote {
    MidiNote([64.0, 59.0, 55.0, 50.0, 45.0, 40.0][usize::from(string) - 1])
}

fn one(stroke: Stroke, string: u8, fret: u8) -> Sound {
    let mut played = Played::pluck(Seconds(0.5), Seconds(9.0), string, open(string), fret);
    played.stroke = stroke;
    guitar().play(&[played], Span(3.0))
}

/// Amplitude of `samples` at `hz`, by a Hann-windowed Fourier sum.
fn level(samples: &[f32], hz: f64) -> f64 {
    let step = std::f64::consts::TAU / f64::from(RATE) * hz;
    let n = samples.len() as f64;
    let (mut re, mut im) = (0.0, 0.0);
    for (i, s) in samples.iter().enumerate() {
        let window = 0.5 - 0.5 * (std::f64::consts::TAU * (i as f64 + 0.5) / n).cos();
        let (sin, cos) = (step * i as f64).sin_cos();
        re += window * f64::from(*s) * cos;
        im += window * f64::from(*s) * sin;
    }
    re.hypot(im) * 4.0 / n
}

/// The frequency near `hz` (±`cents`) where `samples` are strongest.
fn peak_near(samples: &[f32], hz: f64, cents: i32) -> f64 {
    (-cents..=cents)
        .map(|c| hz * (f64::from(c) / 1200.0).exp2())
        .max_by(|a, b| level(samples, *a).total_cmp(&level(samples, *b)))
        .unwrap_or(hz)
}

#[test]
fn every_stroke_starts_at_its_known_sample() {
    let strokes = [
        Stroke::Pluck,
        Stroke::HammerOn,
        Stroke::PullOff { from: 4 },
        Stroke::Harmonic { number: 2 },
        Stroke::Dead,
        Stroke::Tap,
    ];
    for stroke in strokes {
        for string in 1..=6 {
            let sound = one(stroke, string, 2);
            let (onset, _) = sound.spans[0];
            assert_eq!(onset, 22_050);
            let heard = &sound.channels[0];
            let attack = &heard[onset - 441..onset + 441];
            let peak = attack.iter().fold(0f32, |p, s| p.max(s.abs()));
            let rise = attack.iter().position(|s| s.abs() > 0.1 * peak).unwrap() as i32 - 441;
            // The body's answer may move the tenth of the peak by a fraction of a millisecond.
            assert!(
                rise.abs() <= 22,
                "{stroke:?} on string {string}: {rise} samples off"
            );
            let before = &heard[..onset - 600];
            assert!(
                before.iter().all(|s| *s == 0.0),
                "{stroke:?} sounds too early"
            );
        }
    }
}

#[test]
fn pitches_are_true_and_partials_stretched() {
    for (string, fret) in [(6, 0), (5, 3), (4, 2), (3, 0), (2, 1), (1, 5)] {
        let sound = one(Stroke::Pluck, string, fret);
        let steady = &sound.channels[0][26_460..26_460 + 44_100];
        let f0 = MidiNote(open(string).0 + f64::from(fret)).hz();
        let first = peak_near(steady, f0, 20);
        assert!(
            (1200.0 * (first / f0).log2()).abs() < 2.0,
            "string {string}: {first} for {f0}"
        );
    }
    // Young 1952 (JASA 24(3)): f_n = n f0 √(1 + B n²); for .016" plain steel B3, 647.7 mm,
    // B = 6.0e-5 (computed): partial 10 lies 5.2 cents above harmonic.
    let sound = one(Stroke::Pluck, 2, 0);
    let steady = &sound.channels[0][23_000..23_000 + 30_000];
    let f0 = open(2).hz();
    let tenth = 1200.0 * (peak_near(steady, 10.0 * f0, 25) / (10.0 * f0)).log2();
    assert!((4.0..6.5).contains(&tenth), "{tenth} cents");
}

#[test]
fn a_string_fades_fast_then_slowly() {
    let sound = one(Stroke::Pluck, 1, 0);
    let db = |from: f64| {
        let start = (from * f64::from(RATE)) as usize;
        Decibels::of_amplitude(level(&sound.channels[0][start..start + 8_820], 329.63)).0
    };
    let early = (db(0.55) - db(0.95)) / 0.4;
    let late = (db(2.2) - db(2.6)) / 0.4;
    assert!(early > late + 1.0, "{early} dB/s, then {late} dB/s");
    assert!(
        (4.0..60.0).contains(&early) && late > 1.0,
        "{early}, {late}"
    );
}

#[test]
fn a_node_lets_only_its_multiples_ring() {
    let sound = one(Stroke::Harmonic { number: 2 }, 4, 0);
    let ringing = &sound.channels[0][33_000..33_000 + 22_050];
    let f0 = open(4).hz();
    assert!(level(ringing, 2.0 * f0) > 100.0 * level(ringing, f0));
    assert!(level(ringing, 2.0 * f0) > 100.0 * level(ringing, 3.0 * f0));
}

#[test]
fn a_damped_string_is_silent_soon_and_a_plucked_one_cuts_the_last() {
    let first = Played::pluck(Seconds(0.2), Seconds(0.6), 3, open(3), 0);
    let sound = guitar().play(&[first], Span(1.5));
    let rms = |at: f64| {
        let start = (at * f64::from(RATE)) as usize;
        let part = &sound.channels[0][start..start + 2_205];
        (part.iter().map(|s| s * s).sum::<f32>() / 2205.0).sqrt()
    };
    assert!(rms(0.85) < rms(0.5) / 300.0, "{} {}", rms(0.5), rms(0.85));

    let mut again = first;
    again.at = Seconds(0.5);
    let both = guitar().play(&[first, again], Span(1.0));
    let (_, end) = both.spans[0];
    assert!(end < 22_050 && end > 21_400, "{end}");
}

#[test]
fn the_same_seed_gives_the_same_samples_and_others_do_not() {
    let strokes: Vec<Played> = (1..=6)
        .map(|s| Played::pluck(Seconds(0.1 * f64::from(s)), Seconds(1.0), s, open(s), 0))
        .collect();
    let stereo = Guitar {
        stereo: true,
        ..Guitar::default()
    };
    let a = stereo.play(&strokes, Span(1.0));
    assert_eq!(a, stereo.play(&strokes, Span(1.0)));
    assert_eq!(a.channels.len(), 2);
    assert_ne!(a.channels[0], a.channels[1]);
    assert_ne!(a, Guitar { seed: 2, ..stereo }.play(&strokes, Span(1.0)));
    assert!(
        a.channels
            .iter()
            .flatten()
            .all(|s| s.is_finite() && s.abs() <= 1.0)
    );
}

#[test]
fn odd_requests_are_silent_or_cut_never_a_panic() {
    let mut strange = Played::pluck(Seconds(-1.0), Seconds(f64::NAN), 0, MidiNote(500.0), 255);
    strange.position = f64::NAN;
    strange.edge = f64::INFINITY;
    let late = Played::pluck(Seconds(9.0), Seconds(1.0), 200, MidiNote(-40.0), 0);
    let mut zero = Played::pluck(Seconds(0.0), Seconds(0.0), 6, MidiNote(40.0), 0);
    zero.stroke = Stroke::Harmonic { number: 0 };
    for rate in [8_000, 192_000] {
        let guitar = Guitar { rate, ..guitar() };
        let sound = guitar.play(&[strange, late, zero], Span(0.2));
        assert!(sound.channels[0].iter().all(|s| s.is_finite()));
        assert!(guitar.play(&[zero], Span(f64::NAN)).channels[0].is_empty());
    }
}
