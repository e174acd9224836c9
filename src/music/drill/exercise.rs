//! Exercises that are no pattern: techniques of the left hand, scales that ring, harmonics.

use super::stage::{SLOWLY, Stage};
use crate::music::fingering::{Costs, Path, paths, usual_line};
use crate::music::meter::Meter;
use crate::music::note::{Attack, Role};
use crate::music::pitch::Key;
use crate::music::progression::{self, HeldChord};
use crate::music::scale::Scale;
use crate::music::score::{Finger, Score, Written};
use crate::music::tuning::Tuning;
use crate::unit::{Beats, Bpm};

/// A technique of the left hand that can be practised by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Technique {
    /// The finger comes down on the ringing string.
    HammerOns,
    /// The finger leaves the string sideways.
    PullOffs,
    /// The finger slides along the string.
    Slides,
}

/// Chords one after the other, a bar each: the bass on one, the other strings on three.
pub fn chords_stage(held: &[HeldChord], tuning: &Tuning, tempo: Bpm) -> Stage {
    let names: Vec<&str> = held.iter().map(|h| h.shape.name.as_str()).collect();
    let title = names.join(" ");
    let key = held.first().map_or_else(Key::default, |h| h.chord.key);
    let score = progression::score(&title, held, tuning, key, tempo);
    let goal = "every string rings, and the change is there on the one";
    Stage::new(&title, goal, score)
}

/// A technique on the notes of `scale`, string after string in the first five frets: first each pair
/// by itself with a rest, then in a row.
pub fn technique_stages(what: Technique, scale: &Scale, tuning: &Tuning, tempo: Bpm) -> Vec<Stage> {
    let attack = match what {
        Technique::HammerOns => Attack::HammerOn,
        Technique::PullOffs => Attack::PullOff,
        Technique::Slides => Attack::Slide,
    };
    let mut pairs: Vec<(u8, u8, u8)> = Vec::new();
    for string in (1..=tuning.strings()).rev() {
        let Some(open) = tuning.open(string) else {
            continue;
        };
        let frets: Vec<u8> = (0..=5u8)
            .filter(|f| scale.contains(open + i32::from(*f)))
            .collect();
        for pair in frets.windows(2).take(2) {
            // A slide needs a finger on both frets.
            if what != Technique::Slides || pair[0] > 0 {
                pairs.push((string, pair[0], pair[1]));
            }
        }
    }
    let (name, goal) = match what {
        Technique::HammerOns => (
            "hammer-ons",
            "the second note is as loud as the first; the finger falls from close by",
        ),
        Technique::PullOffs => (
            "pull-offs",
            "the finger plucks as it leaves, a little downwards; the next one waits on its fret",
        ),
        Technique::Slides => (
            "slides",
            "the finger keeps its pressure on the way and stops on the beat",
        ),
    };
    let score = |title: &str, spread: f64| {
        let mut notes = Vec::new();
        for (i, (string, low, high)) in pairs.iter().enumerate() {
            let (from, to) = if what == Technique::PullOffs {
                (*high, *low)
            } else {
                (*low, *high)
            };
            let at = spread * i as f64;
            // From a stopped note on the index finger leads; from an open string each finger has its fret.
            let finger = |fret: u8| match (fret, *low) {
                (0, _) => None,
                (fret, 0) => Some(fret.min(4)),
                (fret, low) => Some((fret - low + 1).min(4)),
            };
            let mut first = Written::pluck(Beats(at), Beats(0.5), *string, from);
            first.left = finger(from);
            let mut second = Written::pluck(Beats(at + spread / 2.0), Beats(0.5), *string, to);
            second.attack = attack;
            second.finger = None;
            second.left = if what == Technique::Slides {
                first.left
            } else {
                finger(to)
            };
            notes.extend([first, second]);
        }

        Score::settled(
            &format!("{name}: {title}"),
            tuning,
            Meter::COMMON,
            tempo,
            scale.key,
            notes,
        )
    };
    let mut slow = Stage::new(
        &format!("{name}, one at a time"),
        goal,
        score("one at a time", 2.0),
    );
    slow.tempo_rule = SLOWLY;
    let row = Stage::new(
        &format!("{name} in a row"),
        "the rhythm is as even as if every note were plucked",
        score("in a row", 1.0),
    );
    vec![
        slow,
        row.saying("one and two and three and four and".to_owned()),
    ]
}

/// A path up and down again in even beats of 4/4, thumb on the low strings, i and m in turn above.
pub fn scale_stage(title: &str, path: &Path, tuning: &Tuning, key: Key, tempo: Bpm) -> Stage {
    let places = path.places.iter();
    let back = path.places.iter().rev().skip(1);
    let mut turn = false;
    let notes = places
        .chain(back)
        .enumerate()
        .filter_map(|(i, place)| {
            let fret = u8::try_from(place.fret).ok()?;
            let mut note = Written::pluck(Beats(i as f64), Beats(1.0), place.string, fret);
            let index = i.min(2 * (path.places.len() - 1) - i.min(2 * (path.places.len() - 1)));
            note.left = path.fingers.get(index).copied().flatten();
            if note.role == Role::Melody {
                turn = !turn;
                note.finger = Some(if turn { Finger::I } else { Finger::M });
            }
            Some(note)
        })
        .collect();
    let mut score = Score::settled(title, tuning, Meter::COMMON, tempo, key, notes);
    score.let_ring();
    Stage::new(
        title,
        "each note sounds on into the next; no string is touched by accident",
        score,
    )
}

/// Harmonics to relax with: across the strings at the 12th, 7th and 5th fret, two beats each, the
/// last bar all together at the 12th.
pub fn harmonics_stage(tuning: &Tuning, tempo: Bpm) -> Stage {
    let strings: Vec<u8> = (1..=tuning.strings())
        .rev()
        .filter(|s| tuning.open(*s).is_some())
        .collect();
    let mut notes = Vec::new();
    let mut at = 0.0;
    let mut touch = |at: f64, string: u8, fret: u8| {
        let mut note = Written::pluck(Beats(at), Beats(2.0), string, fret);
        note.attack = Attack::Harmonic;
        notes.push(note);
    };
    for (row, fret) in [12, 7, 5, 12].into_iter().enumerate() {
        let mut order = strings.clone();
        if row % 2 == 1 {
            order.reverse();
        }
        for string in order {
            touch(at, string, fret);
            at += 2.0;
        }
        at = (at / 4.0).ceil() * 4.0;
    }
    for string in &strings {
        touch(at, *string, 12);
    }
    let score = Score::settled(
        "Harmonics",
        tuning,
        Meter::COMMON,
        tempo,
        Key::default(),
        notes,
    );
    Stage::new(
        "harmonics at the 12th, 7th and 5th fret",
        "touch over the wire, pluck, lift at once: every note rings on by itself",
        score,
    )
}

/// A scale as practice, up to fret 12: its ringing path; none when the strings do not reach every note.
pub fn ringing_stage(scale: &Scale, tuning: &Tuning, tempo: Bpm) -> Option<Stage> {
    const HIGHEST: i32 = 12;
    let line = usual_line(tuning, scale, HIGHEST);
    let found = paths(tuning, &line, HIGHEST, &Costs::default(), 1);
    let title = format!("{}, every note ringing into the next", scale.name);
    Some(scale_stage(
        &title,
        found.first()?,
        tuning,
        scale.key,
        tempo,
    ))
}
