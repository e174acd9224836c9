//! Keys of pieces, and how they are written.

use crate::invented;
use thumbline::music::key::{Tonality, of_counts, of_notes};
use thumbline::music::pitch::Key;
use thumbline::music::tuning::Tuning;
use thumbline::report::musicxml::{self, Bars};
use thumbline::unit::{Cents, Span};

/// Signatures as every book of rudiments has them: D major two sharps, F major one flat, E minor one
/// sharp, C minor three flats, F# major six sharps.
#[test]
fn signatures_follow_the_circle_of_fifths() {
    for (tonic, minor, fifths) in [
        (0, false, 0),
        (2, false, 2),
        (5, false, -1),
        (4, true, 1),
        (0, true, -3),
        (6, false, 6),
    ] {
        assert_eq!(Tonality { tonic, minor }.signature(), Key { fifths });
    }
}

/// The pitch classes of I, IV, V, I and of i, iv, V, i in all keys, and of too few notes.
#[test]
fn a_cadence_tells_its_key() {
    for tonic in 0..12 {
        for minor in [false, true] {
            let third = if minor { 3 } else { 4 };
            let chords = [(0, third), (5, third), (7, 4), (0, third)];
            let mut counts = [0; 12];
            for (root, third) in chords {
                for step in [0, third, 7] {
                    counts[((tonic + root + step) % 12) as usize] += 1;
                }
            }
            assert_eq!(of_counts(&counts), Some(Tonality { tonic, minor }));
        }
    }
    assert_eq!(of_counts(&[0; 12]), None);
    assert_eq!(of_counts(&[1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 0]), None);
}

/// Invented pieces: at least nine in ten have the signature of their key.
#[test]
fn pieces_tell_their_signature() {
    let cells = invented::cells();
    let (mut right, mut all) = (0, 0);
    for seed in 1..41 {
        let tonic = (seed % 12) as i32;
        let minor = seed % 3 == 0;
        let tuning = Tuning::standard();
        let score = invented::piece(&tuning, &[(tonic, minor)], &[&cells[1]], 16, seed);
        let played = invented::performed(&score, Span::from_ms(5.0), seed);
        let found = of_notes(&played, Cents(0.0)).expect("enough notes");
        all += 1;
        right += usize::from(found.signature() == Tonality { tonic, minor }.signature());
    }
    assert!(10 * right >= 9 * all, "{right} of {all}");
}

#[test]
fn bars_bear_their_numbers_and_marks() {
    let cells = invented::cells();
    let score = invented::piece(&Tuning::standard(), &[(7, false)], &[&cells[0]], 6, 3);
    let bars = Bars {
        before: 1,
        marked: &[1, 4],
        pitches_alone: false,
    };
    let text = String::from_utf8(musicxml::with_bars(&score, bars).unwrap()).unwrap();
    let part = text.split("<part id=").nth(1).unwrap();
    let numbers: Vec<&str> = part
        .split("<measure number=\"")
        .skip(1)
        .map(|m| m.split('"').next().unwrap())
        .collect();
    assert_eq!(numbers, ["0", "1", "2", "3", "4", "5"]);
    let marks: Vec<(usize, &str)> = part
        .split("<measure ")
        .skip(1)
        .enumerate()
        .filter_map(|(i, m)| Some((i, m.split("<rehearsal>").nth(1)?.split('<').next()?)))
        .collect();
    assert_eq!(marks, [(1, "A"), (4, "B")]);
    assert_eq!(
        text.matches("<rehearsal>").count(),
        2,
        "only in the notation"
    );
    // Without a known tuning: one part, no string, the same notes.
    let alone = Bars {
        pitches_alone: true,
        ..bars
    };
    let bare = String::from_utf8(musicxml::with_bars(&score, alone).unwrap()).unwrap();
    assert_eq!(bare.matches("<part id=").count(), 1);
    assert!(!bare.contains("<fret>") && !bare.contains("<string>"));
    assert_eq!(
        bare.matches("<step>").count(),
        part.matches("<step>").count()
    );
}
