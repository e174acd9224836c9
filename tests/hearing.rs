//! Hearing: onsets, pitches, roles and tuning of sounds whose truth is known; bad input; order.

use std::f64::consts::TAU;
use thumbline::analysis::candidates::candidates;
use thumbline::analysis::{Analysis, AnalysisError, Observer, Options, RATE, Stage, analyze};
use thumbline::dsp::resample::Resampler;
use thumbline::music::note::{Attack, Note, Role};
use thumbline::recording::Recording;
use thumbline::unit::{MidiNote, Seconds};

/// After this many seconds a plucked string of [`pluck`] has fallen by 90 dB.
const RINGS: f64 = 6.0;

/// A plucked string: twelve stiff partials, released at the middle of its length's fifth.
fn pluck(out: &mut [f32], rate: u32, at: f64, midi: f64, level: f64) {
    stiff_pluck(out, rate, at, midi, level, 6e-5);
}

/// The same with stiffness `b`: f_n = n f0 √(1 + B n²).
fn stiff_pluck(out: &mut [f32], rate: u32, at: f64, midi: f64, level: f64, b: f64) {
    let f0 = MidiNote(midi).hz();
    for (i, sample) in out
        .iter_mut()
        .enumerate()
        .skip((at * f64::from(rate)).ceil() as usize)
        .take((RINGS * f64::from(rate)) as usize)
    {
        let t = i as f64 / f64::from(rate) - at;
        let rise = (t / 0.0005).min(1.0);
        let sum: f64 = (1..=12)
            .map(|h| {
                let n = f64::from(h);
                let f = n * f0 * (1.0 + b * n * n).sqrt();
                let shape = (n * std::f64::consts::PI * 0.17).sin() / n;
                if f > 0.45 * f64::from(rate) {
                    0.0
                } else {
                    shape * (TAU * f * t).cos() * (-t * (1.2 + 0.5 * n)).exp()
                }
            })
            .sum();
        *sample += (level * rise * sum) as f32;
    }
}

fn recording(rate: u32, seconds: f64, notes: &[(f64, f64, f64)]) -> Recording {
    let mut sound = vec![0.0; (seconds * f64::from(rate)) as usize];
    for (at, midi, level) in notes {
        pluck(&mut sound, rate, *at, *midi, *level);
    }
    Recording::new("test", rate, vec![sound]).expect("a recording")
}

fn hear(recording: &Recording) -> Analysis {
    analyze(recording, &Options::default(), &mut ()).expect("nobody cancels")
}

fn check(found: &Analysis) {
    for pair in found.notes.windows(2) {
        assert!(pair[0].time <= pair[1].time, "notes out of order");
    }
    for note in &found.notes {
        assert!(note.time.0.is_finite() && note.time.0 >= 0.0 && note.time <= found.end);
        assert!(note.end >= note.time && note.end.0.is_finite());
        assert!((0.5..=1.0).contains(&note.role_confidence), "{note:?}");
        assert!((0.0..=1.0).contains(&note.confidence), "{note:?}");
        assert!(note.strength.0 <= 0.0 && note.strength.0.is_finite());
        assert!(note.pitch.is_none_or(|p| p.0.is_finite()));
    }
}

/// Six open strings and some fretted notes, one after another: equal temperament (ISO 16).
#[test]
fn single_notes_have_their_time_pitch_and_role() {
    let played: Vec<(f64, f64, f64)> = [40, 45, 50, 55, 59, 64, 43, 48, 60, 62, 67, 69]
        .iter()
        .enumerate()
        .map(|(i, midi)| (0.5 + 0.6 * i as f64, f64::from(*midi), 0.3))
        .collect();
    let found = hear(&recording(44_100, 8.5, &played));
    check(&found);
    let mut right = 0;
    for (at, midi, _) in &played {
        let near: Vec<&Note> = found
            .notes
            .iter()
            .filter(|n| (n.time.0 - at).abs() < 0.006)
            .collect();
        right += usize::from(
            near.iter()
                .any(|n| n.pitch.is_some_and(|p| (p.0 - midi).abs() < 0.3)),
        );
        for note in near
            .iter()
            .filter(|n| n.pitch.is_some_and(|p| (p.0 - midi).abs() < 0.3))
        {
            if *midi < 49.0 {
                assert_eq!(note.role, Role::Bass, "{note:?}");
            }
            if *midi > 59.0 {
                assert_eq!(note.role, Role::Melody, "{note:?}");
            }
        }
    }
    assert!(right >= 11, "{right} of 12 notes heard");
    assert!(
        found.notes.len() <= 15,
        "{} notes for 12",
        found.notes.len()
    );
    let offset = found.tuning_offset.expect("tonal").0;
    assert!(offset.abs() < 3.0, "tuned by {offset} cents");
}

/// A guitar 28 cents flat.
#[test]
fn tuning_offset_is_read_to_a_few_cents() {
    let played: Vec<(f64, f64, f64)> = [45, 52, 57, 60, 64, 48, 55, 59]
        .iter()
        .enumerate()
        .map(|(i, midi)| (0.4 + 0.5 * i as f64, f64::from(*midi) - 0.28, 0.3))
        .collect();
    let found = hear(&recording(48_000, 5.5, &played));
    let offset = found.tuning_offset.expect("tonal").0;
    assert!((offset + 28.0).abs() < 3.0, "{offset} cents");
}

/// A guitar that goes flat by 12 cents a minute, and one that stays.
#[test]
fn tuning_is_followed_through_the_recording() {
    let pitches = [45, 52, 57, 60, 64, 48, 55, 59];
    for slope in [0.0, -12.0] {
        let played: Vec<(f64, f64, f64)> = (0..140)
            .map(|i| {
                let at = 0.4 + 0.5 * f64::from(i);
                let midi = f64::from(pitches[i as usize % 8]);
                (at, midi + slope / 100.0 * at / 60.0, 0.3)
            })
            .collect();
        let found = hear(&recording(RATE, 72.0, &played));
        assert!(found.tuning_course.len() >= 3, "{:?}", found.tuning_course);
        for at in &found.tuning_course {
            let true_cents = slope * at.time.0 / 60.0;
            assert!((at.offset.0 - true_cents).abs() < 2.5, "{slope}: {at:?}");
        }
    }
}

/// The same delay for low and high strings: a detector slower on the bass would fake lateness.
#[test]
fn low_and_high_strings_have_the_same_delay() {
    let delay = |midi: f64| {
        let played: Vec<(f64, f64, f64)> = (0..8)
            .map(|i| (0.5 + 0.45 * f64::from(i), midi, 0.3))
            .collect();
        let sound = recording(RATE, 4.5, &played);
        let found = candidates(&sound.mono());
        let mut errors: Vec<f64> = played
            .iter()
            .filter_map(|(at, ..)| {
                found
                    .iter()
                    .map(|c| c.time - at)
                    .min_by(|a, b| a.abs().total_cmp(&b.abs()))
            })
            .collect();
        errors.sort_by(f64::total_cmp);
        1000.0 * errors[errors.len() / 2]
    };
    let (low, high) = (delay(40.0), delay(64.0));
    assert!(
        (low - high).abs() < 1.2,
        "low {low:.2} ms, high {high:.2} ms"
    );
    assert!(
        low.abs() < 1.5 && high.abs() < 1.5,
        "low {low:.2} ms, high {high:.2} ms"
    );
}

/// Stiffness of plain steel, .012" E4 1.9e-5 and .016" B3 6.0e-5 (computed for L = 647.7 mm from
/// B = π³Ed⁴/(64TL²), Young 1952), and of the stiffest guitar strings, up to 1e-3 (Järveläinen &
/// Karjalainen): the pitch heard is that of the string, not of its sharp partials.
#[test]
fn stiff_strings_keep_their_pitch() {
    for (midi, b) in [(64.0, 1.9e-5), (59.0, 6.0e-5), (45.0, 1e-4), (59.0, 5e-4)] {
        let mut sound = vec![0.0; 4 * RATE as usize];
        for i in 0..6 {
            stiff_pluck(&mut sound, RATE, 0.4 + 0.5 * f64::from(i), midi, 0.3, b);
        }
        let found = hear(&Recording::new("stiff", RATE, vec![sound]).expect("a recording"));
        let right = |n: &&Note| n.pitch.is_some_and(|p| (p.0 - midi).abs() < 0.1);
        let heard = found.notes.iter().filter(right).count();
        assert!(heard >= 5, "B = {b}: {heard} of 6 at {midi}");
    }
}

/// A thumb note 20 ms after a finger has its own time, and so has one 20 ms before.
#[test]
fn notes_of_a_pinch_have_their_own_times() {
    let mut errors = Vec::new();
    for (i, gap) in [0.020, -0.020, 0.026, -0.026].into_iter().enumerate() {
        let low = 45.0 + [0.0, 2.0, 5.0, -5.0][i];
        let played: Vec<(f64, f64, f64)> = (0..6)
            .flat_map(|k| {
                let at = 0.5 + 0.6 * f64::from(k);
                [(at, 66.0, 0.3), (at + gap, low, 0.3)]
            })
            .collect();
        let found = hear(&recording(44_100, 4.5, &played));
        for (at, midi, _) in &played {
            let near = |n: &&Note| {
                (n.time.0 - at).abs() < 0.05 && n.pitch.is_some_and(|p| (p.0 - midi).abs() < 0.5)
            };
            let errs = found
                .notes
                .iter()
                .filter(near)
                .map(|n| (n.time.0 - at).abs());
            errors.push(1000.0 * errs.fold(50.0, f64::min));
        }
    }
    errors.sort_by(f64::total_cmp);
    let (middle, most) = (errors[errors.len() / 2], errors[errors.len() * 9 / 10]);
    assert!(
        middle < 4.0 && most < 15.0,
        "off by {middle:.1} ms at the median, {most:.1} ms at nine tenths"
    );
}

#[test]
fn anything_gives_finite_ordered_results() {
    let noise = |len: usize, level: f32| -> Vec<f32> {
        let mut state = 12_345u32;
        (0..len)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                level * (state as f32 / u32::MAX as f32 * 2.0 - 1.0)
            })
            .collect()
    };
    let clicks: Vec<f32> = (0..88_200)
        .map(|i| if i % 9_000 == 0 { 1.0 } else { 0.0 })
        .collect();
    let clipped: Vec<f32> = (0..88_200)
        .map(|i| (3.0 * (TAU * 196.0 * f64::from(i) / 44_100.0).sin()).clamp(-1.0, 1.0) as f32)
        .collect();
    let inputs: Vec<(&str, u32, Vec<Vec<f32>>)> = vec![
        ("silence", 44_100, vec![vec![0.0; 88_200]]),
        ("noise", 44_100, vec![noise(132_300, 0.3)]),
        ("clicks", 44_100, vec![clicks]),
        ("direct current", 44_100, vec![vec![0.7; 88_200]]),
        ("clipped", 44_100, vec![clipped]),
        ("low rate", 8_000, vec![noise(16_000, 0.1)]),
        ("high rate", 192_000, vec![noise(192_000, 0.1)]),
        ("short", 44_100, vec![noise(4_410, 0.5)]),
        ("one frame", 44_100, vec![vec![0.5]]),
        (
            "one channel silent",
            44_100,
            vec![noise(44_100, 0.2), vec![0.0; 44_100]],
        ),
        (
            "opposite phase",
            44_100,
            vec![
                noise(44_100, 0.2),
                noise(44_100, 0.2).iter().map(|x| -x).collect(),
            ],
        ),
        ("not numbers", 44_100, vec![vec![f32::NAN; 44_100]]),
    ];
    for (name, rate, channels) in inputs {
        let sound = Recording::new(name, rate, channels).expect("a recording");
        let found = hear(&sound);
        check(&found);
        if name == "silence" || name == "direct current" {
            assert!(
                found.notes.is_empty(),
                "{name}: {} notes",
                found.notes.len()
            );
            assert!(!found.warnings.is_empty(), "{name}: no warning");
            assert_eq!(found.tuning_offset, None, "{name}");
        }
    }
}

#[test]
fn the_same_recording_gives_the_same_analysis() {
    let played = [
        (0.3, 45.0, 0.3),
        (0.31, 64.0, 0.2),
        (0.8, 52.0, 0.3),
        (1.1, 60.0, 0.1),
    ];
    let sound = recording(44_100, 2.0, &played);
    let first = hear(&sound);
    std::thread::scope(|scope| {
        let others: Vec<_> = (0..3).map(|_| scope.spawn(|| hear(&sound))).collect();
        for other in others {
            assert_eq!(first, other.join().expect("no panic"));
        }
    });
}

/// Onsets come first, then all notes with provisional roles, then the final ones.
#[test]
fn results_stream() {
    #[derive(Default)]
    struct Watch {
        onsets: Vec<Seconds>,
        notes: Vec<usize>,
    }
    impl Observer for Watch {
        fn onsets(&mut self, onsets: &[Seconds]) {
            assert!(self.notes.is_empty(), "onsets after notes");
            self.onsets.extend(onsets);
        }
        fn notes(&mut self, notes: &[Note]) {
            self.notes.push(notes.len());
        }
    }
    let played = [(0.4, 45.0, 0.3), (1.0, 64.0, 0.3), (1.6, 50.0, 0.3)];
    let mut watch = Watch::default();
    let sound = recording(44_100, 2.5, &played);
    let found = analyze(&sound, &Options::default(), &mut watch).expect("nobody cancels");
    for (at, ..) in played {
        let near = |t: &Seconds| (t.0 - at).abs() < 0.01;
        assert!(watch.onsets.iter().any(near), "{at} s");
    }
    assert_eq!(watch.notes.len(), 2, "provisional and final");
    assert_eq!(watch.notes.last(), Some(&found.notes.len()));
}

#[test]
fn stages_come_in_order_and_cancelling_stops() {
    #[derive(Default)]
    struct Watch {
        stages: Vec<Stage>,
        left: usize,
    }
    impl Observer for Watch {
        fn progress(&mut self, stage: Stage, fraction: f32) {
            assert!((0.0..=1.0).contains(&fraction));
            if self.stages.last() != Some(&stage) {
                self.stages.push(stage);
            }
        }
        fn cancelled(&mut self) -> bool {
            self.left = self.left.saturating_sub(1);
            self.left == 0
        }
    }
    let sound = recording(44_100, 2.0, &[(0.5, 45.0, 0.3)]);
    let mut patient = Watch {
        left: usize::MAX,
        ..Watch::default()
    };
    analyze(&sound, &Options::default(), &mut patient).expect("not cancelled");
    assert_eq!(
        patient.stages,
        [Stage::Onsets, Stage::Notes, Stage::Roles, Stage::Beats]
    );
    for left in 1..4 {
        let mut watch = Watch {
            left,
            ..Watch::default()
        };
        let result = analyze(&sound, &Options::default(), &mut watch);
        assert_eq!(result, Err(AnalysisError::Cancelled));
    }
}

/// A sine far below both Nyquist frequencies survives rate conversion unchanged, in place.
#[test]
fn rate_conversion_keeps_time_and_level() {
    for rate in [8_000u32, 22_050, 32_000, 44_100, 48_000, 96_000, 192_000] {
        let sine = |n: usize, r: u32| (TAU * 330.0 * n as f64 / f64::from(r)).sin();
        let input: Vec<f32> = (0..rate as usize).map(|n| sine(n, rate) as f32).collect();
        let resampler = Resampler::new(rate, RATE);
        let (first, last) = (4_000, 6_000);
        let (from, to) = resampler.input_range(first, last);
        let part = &input[from.max(0) as usize..(to as usize).min(input.len())];
        let output = resampler.convert(part, from.max(0), first, last);
        let worst = output
            .iter()
            .enumerate()
            .map(|(i, x)| (f64::from(*x) - sine(first + i, RATE)).abs())
            .fold(0.0, f64::max);
        assert!(worst < 2e-3, "{rate} Hz: off by {worst}");
    }
}

#[test]
fn knocks_are_no_notes_with_pitch() {
    let sound = recording(44_100, 2.0, &[(0.5, 45.0, 0.3), (1.0, 57.0, 0.3)]);
    let found = hear(&sound);
    assert!(
        found
            .notes
            .iter()
            .all(|n| (n.attack == Attack::Tap) == n.pitch.is_none())
    );
    assert_eq!(found.end, Seconds(2.0));
}
