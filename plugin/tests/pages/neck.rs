//! The neck.

use crate::bench::{answer, click, labels, press, set, sounds, usual};
use crate::scenes::tune;
use egui::Key;
use egui_kittest::kittest::Queryable;
use thumbline::deck::Message;
use thumbline_plugin::effect::Effect;
use thumbline_plugin::page_state::{Page, Show};

/// One action from the open recording: the open notes of its scale, in its tuning. The tune's open
/// strings are D A D G A D; its notes are those of G, A, C and D and E: D mixolydian or a neighbour.
#[test]
fn open_notes_of_the_recordings_scale_are_one_action_away() {
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Neck");
    assert_eq!(harness.state().commands.len(), 1, "one action");
    let view = answer(&harness.state().state.study.neck);
    assert_eq!(view.tuning_name, "DADGAD");
    assert!(view.recordings);
    let all = labels(&harness);
    for open in [
        "D4: string 1 open",
        "A3: string 2 open",
        "G3: string 3 open",
    ] {
        assert!(all.iter().any(|l| l == open), "{open}: {all:?}");
    }
    assert!(
        all.iter().any(|l| l.starts_with("Can ring open: ")),
        "{all:?}"
    );
    let odds: f64 = view.suggested.iter().map(|s| s.1).sum();
    assert!(odds > 0.3 && odds <= 1.0 + 1e-9, "{:?}", view.suggested);
}

#[test]
fn a_note_sounds_when_it_is_pressed_by_mouse_or_key() {
    let mut harness = usual(Some(tune(8)));
    press(&mut harness, Key::F3);
    assert_eq!(harness.state().state.session.page_state.page, Page::Neck);
    click(&mut harness, "A3: string 2 open");
    harness.get_by_label("G3: string 3 open").focus();
    harness.run_steps(2);
    press(&mut harness, Key::Enter);
    let world = harness.state();
    let pitches: Vec<i32> = sounds(world)
        .iter()
        .map(|s| s.strokes[0].pitch().expect("a pitch").nearest())
        .collect();
    // A3 and G3 in MIDI: 57 and 55 (MIDI 1.0: A4 is 69).
    assert_eq!(pitches, [57, 55]);
    let put = |e: &&Effect| matches!(e, Effect::Deck(Message::Beside(Some(_))));
    assert_eq!(
        world.effects.iter().filter(put).count(),
        2,
        "both reached the deck"
    );
}

#[test]
fn path_chords_and_harmonics_are_shown_and_heard() {
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Neck");
    click(&mut harness, "Ringing path");
    click(&mut harness, "Hear the path");
    click(&mut harness, "Harmonics");
    // Half the string: 324 mm of a scale of 648.
    let octave = "D5: string 1, partial 2, touched at fret 12.00, 324 mm from the nut";
    click(&mut harness, octave);
    click(&mut harness, "Chord shapes");
    let world = harness.state();
    assert_eq!(world.state.session.page_state.neck.show, Show::Chords);
    let heard = sounds(world);
    assert!(heard[0].strokes.len() >= 8, "a whole path");
    // An octave above D4, 293.66 Hz (ISO 16: A4 is 440 Hz, equal temperament).
    let hz = heard[1].strokes[0].pitch().expect("a pitch").hz();
    assert!((hz - 587.33).abs() < 0.1, "{hz}");
    let view = answer(&world.state.study.neck);
    let (_, shapes) = &view.chords[0];
    let first = shapes[0].diagram();
    let label = labels(&harness).into_iter().find(|l| *l == first);
    assert!(label.is_some(), "{first}");
}

/// Chords that were typed follow each other, a capo gives open strings, and harp harmonics are told.
#[test]
fn changes_capos_and_harp_harmonics_are_told() {
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Neck");
    set(&mut harness, |pages| {
        pages.neck.tuning = Some("standard".to_owned());
        pages.neck.scale = Some("Eb major".to_owned());
        pages.neck.chords = "C Am".to_owned();
        pages.neck.show = Show::Chords;
    });
    let all = labels(&harness);
    // From C to A minor index and middle finger stay (any handbook).
    let change = "Am x02210: keep fingers 1 and 2 down; let strings 4, 2 and 1 ring on";
    assert!(all.iter().any(|l| l == change), "{all:?}");
    // E flat with the shapes of D and a capo at the first fret: common practice, no source.
    let capo = "capo 1 shapes of D major";
    assert!(all.iter().any(|l| l.contains(capo)), "{all:?}");
    click(&mut harness, "Harmonics");
    let all = labels(&harness);
    assert!(
        all.iter().any(|l| l.starts_with("Harp harmonics: ")),
        "{all:?}"
    );
}

/// Each note of the loop's melody has its places to choose from; one that is chosen stays, and the rest is
/// fingered anew. In D A D G A D the tune's D4 lies open on string 1 and at fret 5 of string 2 (its open
/// strings by arithmetic).
#[test]
fn a_melody_lies_on_open_strings_and_where_the_player_wants_it() {
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Neck");
    click(&mut harness, "Melody");
    let melody = |harness: &egui_kittest::Harness<crate::bench::World>| {
        let view = answer(&harness.state().state.study.neck);
        view.melody
            .clone()
            .expect("asked for")
            .expect("on the neck")
    };
    let first = melody(&harness);
    let open = first.found.path.open_notes();
    assert!(open > 0, "{:?}", first.found.path.places);
    let note = (0..first.found.choices.len()).find(|&i| {
        let taken = first.found.path.places[i];
        taken.fret == 0 && first.found.choices[i].len() > 1
    });
    let note = note.expect("an open note that lies elsewhere too");
    let other = first.found.choices[note][1];
    let name = first.melody.key.pitch_name(first.melody.notes[note].midi);
    let place = first.place(note);
    let told = |string: u8, fret: i32| match fret {
        0 => format!("{place}, {name}: string {string} open"),
        fret => format!("{place}, {name}: string {string}, fret {fret}"),
    };
    click(&mut harness, &told(other.string, other.fret));
    let second = melody(&harness);
    let taken = second.found.path.places[note];
    assert_eq!((taken.string, taken.fret), (other.string, other.fret));
    assert_eq!(second.wanted, [note]);
    // Pressed again it goes back to where it rings best.
    click(&mut harness, &told(other.string, other.fret));
    assert_eq!(melody(&harness).found.path, first.found.path);
    click(&mut harness, "Hear it");
    let heard = sounds(harness.state());
    assert_eq!(
        heard.last().expect("it").strokes.len(),
        first.melody.notes.len()
    );
}

#[test]
fn without_a_recording_the_neck_is_in_standard_tuning() {
    let mut harness = usual(None);
    click(&mut harness, "Neck");
    let view = answer(&harness.state().state.study.neck);
    assert_eq!(view.tuning_name, "standard");
    assert!(view.suggested.is_empty());
}

/// What cannot be read is said, and the last neck stays.
#[test]
fn nonsense_is_said_and_changes_nothing() {
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Neck");
    set(&mut harness, |pages| {
        pages.neck.scale = Some("H lydisch".to_owned());
    });
    let all = labels(&harness);
    assert!(
        all.iter()
            .any(|l| l.contains("there is no scale `H lydisch`")),
        "{all:?}"
    );
    assert!(all.iter().any(|l| l == "D4: string 1 open"));
}
