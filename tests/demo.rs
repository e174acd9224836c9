//! The demo's two renditions: whole, exact and with the faults that were planted.

use thumbline::demo::{self, LATE, LATE_PLACE, Planted};
use thumbline::music::note::{Attack, Role};
use thumbline::unit::Bpm;

#[test]
fn the_tune_is_what_it_says() {
    let tune = demo::tune();
    assert!(tune.bars() >= 16, "{} bars", tune.bars());
    let thumb: Vec<_> = tune.notes.iter().filter(|n| n.role == Role::Bass).collect();
    assert!(
        thumb.iter().all(|n| n.at.0.fract() == 0.0),
        "the thumb keeps the beat"
    );
    let off = |from: f64, to: f64| {
        tune.notes
            .iter()
            .filter(|n| n.role == Role::Melody && (from..to).contains(&n.at.0))
            .filter(|n| n.at.0.fract() != 0.0)
            .count()
    };
    assert_eq!(off(0.0, 32.0), 0, "the first eight bars are with the thumb");
    assert!(off(32.0, 64.0) >= 20, "the next eight are off the beat");
    for attack in [Attack::HammerOn, Attack::PullOff, Attack::Harmonic] {
        assert!(tune.notes.iter().any(|n| n.attack == attack), "{attack:?}");
    }
    for note in &tune.notes {
        assert!(note.length.0 > 0.0, "{note:?}");
    }
}

#[test]
fn the_take_holds_exactly_the_planted_faults() {
    let recording = demo::recording(22_050).expect("renders");
    let take = demo::take(22_050).expect("renders");
    assert!(recording.planted.is_empty());
    assert_eq!(take.planted.len(), 3);
    assert_eq!(
        recording.notes.len(),
        take.notes.len() + 1,
        "one note is missed"
    );
    assert_eq!(recording.recording.channels().len(), 2);

    let mean = |notes: &demo::Rendition, late: bool| {
        let drifts: Vec<f64> = notes
            .of_role(Role::Melody)
            .filter(|n| (n.at.0.rem_euclid(4.0) == LATE_PLACE.0) == late)
            .map(|n| n.drift.ms())
            .collect();
        (
            drifts.iter().sum::<f64>() / drifts.len() as f64,
            drifts.len(),
        )
    };
    let (late, count) = mean(&take, true);
    assert!(
        (late - LATE.ms()).abs() < 5.0,
        "{late} ms late over {count} notes"
    );
    assert!(mean(&take, false).0.abs() < 3.0);
    assert!(mean(&recording, true).0.abs() < 3.0);
    assert!(take.planted.contains(&Planted::Late {
        role: Role::Melody,
        place: LATE_PLACE,
        by: LATE,
        notes: count,
    }));
    let tempo = |r: &demo::Rendition| r.grid.tempo().unwrap_or(Bpm(0.0)).0;
    assert!(
        (tempo(&recording) - demo::TEMPO.0).abs() < 1.5,
        "{}",
        tempo(&recording)
    );
    assert!(
        (tempo(&take) - demo::TAKE_TEMPO.0).abs() < 1.5,
        "{}",
        tempo(&take)
    );
}

#[test]
fn truth_and_sound_agree() {
    let take = demo::take(22_050).expect("renders");
    // Differences twice over: an attack is bright, a ringing string is not.
    let mono: Vec<f32> = take
        .recording
        .mono()
        .windows(3)
        .map(|w| w[0] - 2.0 * w[1] + w[2])
        .collect();
    let rate = take.recording.rate();
    assert!(
        take.notes
            .windows(2)
            .all(|p| p[0].note.time.0 <= p[1].note.time.0)
    );
    for played in &take.notes {
        let onset = played.note.time.frame(rate);
        let energy = |from: usize| mono[from..from + 220].iter().map(|s| s * s).sum::<f32>();
        let rise = energy(onset) / energy(onset.saturating_sub(260)).max(1e-9);
        let alone = take.notes.iter().all(|o| {
            o.written == played.written || (o.note.time - played.note.time).abs().ms() > 30.0
        });
        let soft = matches!(played.note.attack, Attack::HammerOn | Attack::PullOff);
        assert!(!alone || soft || rise > 1.2, "{played:?} rises by {rise}");
        let written = played.at.0;
        let beat = take.grid.beat_at(played.note.time).expect("a grid").0;
        assert!((beat - written).abs() < 0.08, "{written} heard at {beat}");
    }
}
