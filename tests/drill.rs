//! Drills: stages from the thumb alone to the whole pattern, and the sound at known instants.

use thumbline::dsp::pluck::Guitar;
use thumbline::music::drill::{Session, harmonics_stage, pattern_stages};
use thumbline::music::note::{Attack, Role};
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;
use thumbline::unit::Bpm;

#[test]
fn stages_go_from_the_thumb_to_the_whole_pattern() {
    let presets = Presets::built_in();
    for pattern in &presets.patterns {
        let stages = pattern_stages(
            &pattern.name,
            &pattern.cell,
            &Tuning::dadgad(),
            Bpm(70.0),
            2,
        );
        assert!(!stages.is_empty());
        let melody = |i: usize| -> Vec<f64> {
            let notes = stages[i].score.notes.iter();
            notes
                .filter(|n| n.role == Role::Melody)
                .map(|n| n.at.0)
                .collect()
        };
        if pattern.cell.notes.iter().all(|n| n.role == Role::Bass) {
            assert_eq!(stages.len(), 1);
            continue;
        }
        assert!(melody(0).is_empty(), "first the thumb alone");
        assert!(
            melody(1).iter().all(|at| at.fract() == 0.0),
            "then with the thumb"
        );
        let off = |i: usize| {
            melody(i)
                .iter()
                .filter(|at| (*at - at.round()).abs() > 1e-6)
                .count()
        };
        for i in 2..stages.len() {
            assert!(
                off(i) > off(i - 1),
                "{}: stage {i} steps further off",
                pattern.name
            );
        }
        let last = &stages[stages.len() - 1].score;
        let per_cell = pattern.cell.notes.len();
        let cells = 2usize.div_ceil(usize::from(pattern.cell.bars));
        assert_eq!(last.notes.len(), per_cell * cells, "{}", pattern.name);
        assert!(
            last.notes.iter().all(|n| n.fret == 0),
            "the left hand rests"
        );
    }
}

#[test]
fn a_session_counts_in_and_sounds_at_its_instants() {
    let presets = Presets::built_in();
    let pattern = presets.pattern("off-beat melody").unwrap();
    let stages = pattern_stages("x", &pattern.cell, &Tuning::standard(), Bpm(60.0), 1);
    let session = Session::of(&stages[..2], &[Bpm(120.0), Bpm(180.0)], false);
    assert_eq!(session.marks.len(), 4);
    assert_eq!(session.clicks.len(), 4 * 4, "a bar of clicks before each");
    assert!((session.clicks[1].at.0 - session.clicks[0].at.0 - 0.5).abs() < 1e-9);
    assert!((session.notes[0].note.time.0 - (session.marks[0].0.0 + 2.0)).abs() < 1e-9);
    assert!(session.beats.windows(2).all(|b| b[1].0 > b[0].0));
    let guitar = Guitar {
        rate: 16_000,
        noise: None,
        ..Guitar::default()
    };
    let sound = guitar.play(&session.strokes, session.length);
    for (played, (onset, _)) in session.notes.iter().zip(&sound.spans) {
        assert_eq!(*onset, played.note.time.frame(16_000));
    }
    let always = Session::of(&stages[..1], &[Bpm(120.0)], true);
    assert_eq!(always.clicks.len(), 8);
}

#[test]
fn harmonics_touch_every_string() {
    let tuning = Tuning::parse("x A D G A D").unwrap();
    let stage = harmonics_stage(&tuning, Bpm(60.0));
    assert!(
        stage
            .score
            .notes
            .iter()
            .all(|n| n.attack == Attack::Harmonic && n.string != 6)
    );
    for string in 1..=5 {
        for fret in [12, 7, 5] {
            let there =
                |n: &&thumbline::music::score::Written| (n.string, n.fret) == (string, fret);
            assert!(stage.score.notes.iter().any(|n| there(&n)));
        }
    }
    for note in &stage.score.notes {
        let pitch = stage.score.pitch(note).expect("sounds").0;
        let open = f64::from(tuning.open(note.string).unwrap());
        let want = match note.fret {
            12 => 12.0,
            7 => 12.0 * 3f64.log2(),
            _ => 24.0,
        };
        assert!((pitch - open - want).abs() < 1e-9);
    }
}
