//! Thumb or fingers by how a hand plays: the weighing against its trainer's own reading of the weights, and
//! hands that cross strings.

use serde::Deserialize;
use thumbline::analysis::hand::{Struck, fingers};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::Role;
use thumbline::unit::Seconds;

/// What xtask/train/hand.py, the same weighing in numpy, says of an invented piece.
#[derive(Deserialize)]
struct Fixture {
    /// Second, MIDI number, what the string says.
    notes: Vec<(f64, i32, f64)>,
    beats: Vec<f64>,
    fingers: Vec<f64>,
}

fn struck((time, midi, lean): (f64, i32, f64)) -> Struck {
    Struck {
        time: Seconds(time),
        midi,
        lean,
        said: None,
    }
}

fn grid(beats: &[f64]) -> Grid {
    let times: Vec<Seconds> = beats.iter().map(|t| Seconds(*t)).collect();
    Grid::from_beats(&times, 0, Meter::COMMON)
}

#[test]
fn says_what_its_trainer_says() {
    let fixture: Fixture =
        serde_json::from_str(include_str!("reference/hand.json")).expect("valid JSON");
    let notes: Vec<Struck> = fixture.notes.iter().copied().map(struck).collect();
    let said = fingers(&notes, &grid(&fixture.beats));
    assert_eq!(said.len(), fixture.fingers.len());
    for (i, (ours, theirs)) in said.iter().zip(&fixture.fingers).enumerate() {
        assert!((ours - theirs).abs() < 2e-3, "note {i}: {ours} {theirs}");
    }
}

/// Eight bars of a thumb that goes from string 6 to string 3 and back on the beats, in standard tuning, under
/// fingers between them, now and then on string 4; what every other stroke of the thumb plays lies on a
/// string that custom gives the fingers. Drawn for this test.
fn crossing() -> (Vec<Struck>, Vec<Role>, Vec<f64>) {
    let (mut notes, mut roles, mut beats) = (Vec::new(), Vec::new(), Vec::new());
    let above = [64, 59, 67, 52, 62, 59, 64, 59];
    for beat in 0..32 {
        let time = 0.5 + 0.6 * f64::from(beat);
        beats.push(time);
        let (midi, lean) = if beat % 2 == 0 { (40, -2.0) } else { (55, 1.5) };
        notes.push(struck((time, midi, lean)));
        roles.push(Role::Bass);
        if beat % 4 == 3 {
            notes.push(struck((time + 0.004, 64, 2.0)));
            roles.push(Role::Melody);
        }
        let midi = above[beat as usize % 8];
        let lean = if midi == 52 { -0.35 } else { 2.0 };
        notes.push(struck((time + 0.3, midi, lean)));
        roles.push(Role::Melody);
    }
    (notes, roles, beats)
}

#[test]
fn a_hand_that_crosses_strings_is_told_by_its_pattern() {
    let (notes, roles, beats) = crossing();
    let said = fingers(&notes, &grid(&beats));
    let told = |p: &f64| if *p > 0.5 { Role::Melody } else { Role::Bass };
    let right = said.iter().zip(&roles).filter(|(p, r)| told(p) == **r);
    let right = right.count() as f64 / roles.len() as f64;
    assert!(right >= 0.93, "{right:.3} of {}", roles.len());
}

#[test]
fn what_a_player_says_of_some_notes_tells_of_others() {
    let (mut notes, ..) = crossing();
    let without = fingers(&notes, &Grid::default());
    for note in notes.iter_mut().filter(|n| n.midi == 55).take(8) {
        note.said = Some(Role::Melody);
    }
    let with = fingers(&notes, &Grid::default());
    let last = notes.iter().rposition(|n| n.midi == 55).expect("one");
    assert!(
        with[last] >= without[last],
        "{} {}",
        with[last],
        without[last]
    );
    assert!(
        notes
            .iter()
            .zip(&with)
            .all(|(n, p)| n.said.is_none() || *p == 1.0)
    );
}
