//! Invented pieces in any tuning, played and rendered by the project's own plucked-string model:
//! what tests and benches hear when they need more music than the demo.
//!
//! A piece goes through the main chords of a key that its tuning is used for, in shapes a left hand
//! would choose, picked in one of the preset patterns; now and then a melody note leaves the chord
//! for a neighbour in the scale. Everything follows from the seed.

#![allow(dead_code, reason = "each test and bench uses its part")]

use thumbline::demo::Rendition;
use thumbline::dsp::pluck::{Chance, Guitar};
use thumbline::music::guess::triad::{Triad, TriadShape, shapes};
use thumbline::music::note::{Note, Role};
use thumbline::music::performance::{Habit, Manner, Performance};
use thumbline::music::picking::{Cell, CellNote};
use thumbline::music::pitch::Key;
use thumbline::music::scale::Scale;
use thumbline::music::score::{Score, Written};
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;
use thumbline::unit::{Beats, Bpm, Decibels, Span};

/// Tunings, and the keys that are played in them: tonic as a pitch class without capo, minor or not.
pub const TUNINGS: [(&str, &[(i32, bool)]); 8] = [
    (
        "standard",
        &[
            (0, false),
            (7, false),
            (2, false),
            (9, false),
            (4, false),
            (9, true),
            (4, true),
            (2, true),
        ],
    ),
    ("drop D", &[(2, false), (2, true), (7, false)]),
    ("double drop D", &[(2, false), (2, true), (7, false)]),
    ("DADGAD", &[(2, false), (2, true), (7, false)]),
    ("open G", &[(7, false), (7, false), (2, false)]),
    ("open D", &[(2, false), (2, false), (7, false)]),
    ("open C", &[(0, false), (0, false), (7, false)]),
    ("open D minor", &[(2, true), (2, true), (7, true)]),
];

fn pick<T: Copy>(chance: &mut Chance, from: &[T]) -> T {
    from[((chance.unit() * from.len() as f64) as usize).min(from.len() - 1)]
}

/// The scale of a key, `capo` included.
fn key(tonic: i32, minor: bool, capo: i32) -> Scale {
    let steps: &[i32] = if minor {
        &[0, 2, 3, 5, 7, 8, 10]
    } else {
        &[0, 2, 4, 5, 7, 9, 11]
    };
    Scale {
        name: String::new(),
        tonic: (tonic + capo).rem_euclid(12),
        steps: steps.to_vec(),
        key: Key::default(),
    }
}

/// I, IV, V and their relative minors (of a minor scale: i, iv, v and their relative majors).
fn main_chords(scale: &Scale) -> Vec<Triad> {
    let minor = scale.steps.contains(&3) && !scale.steps.contains(&4);
    let relatives = if minor { [2, 5, 6] } else { [5, 1, 2] };
    let class =
        |at: usize| (scale.tonic + scale.steps[at % 7] + 12 * (at / 7) as i32).rem_euclid(12);
    [0, 3, 4]
        .into_iter()
        .chain(relatives)
        .map(|degree| Triad {
            classes: [class(degree), class(degree + 2), class(degree + 4)],
        })
        .collect()
}

/// A piece of `bars` bars in `tuning` (capo included) in one of `keys`, picked in `cells` (of one
/// meter) one after the other, four bars each.
pub fn piece(
    tuning: &Tuning,
    keys: &[(i32, bool)],
    cells: &[&Cell],
    bars: usize,
    seed: u64,
) -> Score {
    let mut chance = Chance::new(seed);
    let (tonic, minor) = pick(&mut chance, keys);
    let scale = key(tonic, minor, tuning.capo());
    let held: Vec<(Triad, Vec<TriadShape>)> = main_chords(&scale)
        .into_iter()
        .map(|chord| {
            let ways = shapes(&chord, tuning, 3);
            (chord, ways)
        })
        .filter(|(_, ways)| !ways.is_empty())
        .collect();
    assert!(!held.is_empty(), "a tuning in which a triad can be held");
    let meter = cells[0].meter;
    let per_bar = f64::from(meter.beats());
    let mut notes: Vec<Written> = Vec::new();
    for bar in 0..bars {
        let home = bar == 0 || bar + 1 == bars || chance.unit() < 0.3;
        let chosen = if home {
            0
        } else {
            (chance.unit() * held.len() as f64) as usize
        };
        let (chord, ways) = &held[chosen];
        let shape = &ways[((chance.unit().powi(2)) * ways.len() as f64) as usize];
        let cell = cells[bar / 4 % cells.len()];
        let first = (bar % usize::from(cell.bars)) as f64 * per_bar;
        let strokes = cell
            .notes
            .iter()
            .filter(|n| (first..first + per_bar).contains(&(n.at.0 + 1e-6)));
        for stroke in strokes {
            let at = bar as f64 * per_bar + stroke.at.0 - first;
            let down = stroke.at.0 - first < 1e-6;
            if let Some(note) = struck(
                stroke,
                at,
                down,
                (chord, shape),
                (tuning, &scale),
                &mut chance,
            ) && !notes
                .iter()
                .any(|n| n.at == note.at && n.string == note.string)
            {
                notes.push(note);
            }
        }
    }
    let mut score = Score {
        title: format!("invented {seed}"),
        tuning: tuning.clone(),
        meter,
        tempo: Bpm(74.0 + 44.0 * chance.unit()),
        key: Key::default(),
        notes,
    };
    score.settle();
    score
}

/// One stroke on the held chord: the thumb's first in a bar seeks the root, a finger's may leave
/// the chord for the scale.
fn struck(
    stroke: &CellNote,
    at: f64,
    down: bool,
    (chord, shape): (&Triad, &TriadShape),
    (tuning, scale): (&Tuning, &Scale),
    chance: &mut Chance,
) -> Option<Written> {
    let fret = |string: u8| shape.frets[usize::from(string) - 1];
    let own: &[u8] = if stroke.role == Role::Bass {
        &[6, 5, 4]
    } else {
        &[1, 2, 3]
    };
    let wanted = pick(chance, &stroke.strings);
    let root = own.iter().copied().find(|s| {
        fret(*s).is_some_and(|f| {
            tuning.open(*s).map(|o| (o + f).rem_euclid(12)) == Some(chord.classes[0])
        })
    });
    let string = match root {
        Some(root) if down && stroke.role == Role::Bass => root,
        _ if fret(wanted).is_some() => wanted,
        _ => own.iter().copied().find(|s| fret(*s).is_some())?,
    };
    let mut fret = fret(string)?;
    if stroke.role == Role::Melody && chance.unit() < 0.25 {
        let near: Vec<i32> = (0..=5)
            .filter(|f| (f - fret).abs() <= 3)
            .filter(|f| tuning.open(string).is_some_and(|o| scale.contains(o + f)))
            .collect();
        if !near.is_empty() {
            fret = pick(chance, &near);
        }
    }
    let mut note = Written::pluck(Beats(at), Beats(1.0), string, u8::try_from(fret).ok()?);
    note.role = stroke.role;
    note.finger = Some(stroke.finger);
    Some(note)
}

/// Cells in common use that have a melody.
pub fn cells() -> Vec<Cell> {
    let patterns = Presets::built_in().patterns;
    // The first eighteen, as they were when the figures of this house were measured.
    patterns
        .into_iter()
        .take(18)
        .map(|p| p.cell)
        .filter(|c| c.notes.iter().any(|n| n.role == Role::Melody))
        .filter(|c| c.notes.iter().any(|n| n.role == Role::Bass))
        .collect()
}

/// Two presets in one meter as a cell of two bars.
pub fn pair(a: &Cell, b: &Cell) -> Cell {
    let mut both = a.clone();
    both.bars = a.bars + b.bars;
    both.division = if a.division >= b.division {
        a.division
    } else {
        b.division
    };
    for note in &b.notes {
        let mut note = note.clone();
        note.at.0 += a.beats();
        both.notes.push(note);
    }
    both
}

/// Cells of one bar, and of two made from pairs of them.
pub fn long_and_short_cells() -> Vec<Cell> {
    let ones = cells();
    let mut all = ones.clone();
    for (i, a) in ones.iter().enumerate() {
        for b in ones.iter().skip(i + 1).step_by(4) {
            if a.meter == b.meter && a.distance(b) > 0.2 {
                all.push(pair(a, b));
            }
        }
    }
    all
}

/// Share of right strokes: those both have over those either has.
pub fn agreement(found: &Cell, cell: &Cell) -> f64 {
    let slots = |c: &Cell| -> Vec<(i64, Role)> {
        let mut s: Vec<_> = c
            .notes
            .iter()
            .map(|n| ((n.at.0 * 12.0).round() as i64, n.role))
            .collect();
        s.dedup();
        s
    };
    let (a, b) = (slots(found), slots(cell));
    let both = a.iter().filter(|s| b.contains(s)).count();
    both as f64 / (a.len() + b.len() - both) as f64
}

/// How somebody plays it: within `loose` (standard deviation), breathing by 1 %.
pub fn manner(score: &Score, loose: Span, seed: u64) -> Manner {
    Manner {
        thumb: loose,
        fingers: loose,
        touch: Decibels(1.5),
        ..Manner::practised(score.tempo, seed)
    }
}

/// Its notes as they are played, without sound.
pub fn performed(score: &Score, loose: Span, seed: u64) -> Vec<Note> {
    let played = Performance::of(score, &manner(score, loose, seed));
    played.notes.into_iter().map(|n| n.note).collect()
}

/// Its sound: one microphone at 22,050 frames a second.
pub fn sound(score: &Score, manner: &Manner) -> Rendition {
    let guitar = Guitar {
        rate: 22_050,
        stereo: false,
        noise: Some(Decibels(-66.0)),
        seed: manner.seed,
    };
    Rendition::new("invented", score, manner, guitar).expect("notes are played")
}

/// A piece of 20 bars in the `index`th tuning with its capo, as sound: three patterns of one
/// meter, so that no string is left alone.
pub fn in_tuning(index: usize, capo: i32, seed: u64) -> (Tuning, Rendition) {
    let (name, keys) = TUNINGS[index];
    let presets = Presets::built_in();
    let tuning = presets
        .tuning(name)
        .expect("a preset")
        .1
        .clone()
        .with_capo(capo);
    let seed = seed * 1000 + index as u64 * 10 + capo as u64;
    let mut chance = Chance::new(seed ^ 0x5A5A);
    let cells = cells();
    let first = &cells[(chance.unit() * cells.len() as f64) as usize];
    let alike: Vec<&Cell> = cells.iter().filter(|c| c.meter == first.meter).collect();
    let chosen = [first, pick(&mut chance, &alike), pick(&mut chance, &alike)];
    let score = piece(&tuning, keys, &chosen, 20, seed);
    let manner = manner(&score, Span::from_ms(6.0), seed);
    (tuning, sound(&score, &manner))
}

/// `bars` bars of one cell as sound, every note within ±20 ms as a human plays (standard deviation
/// 11.5 ms, as that of a uniform spread) and one in twenty left out.
pub fn in_cell(cell: &Cell, bars: usize, seed: u64) -> Rendition {
    let mut chance = Chance::new(seed ^ 0xCE11);
    let (name, keys) = pick(&mut chance, &TUNINGS);
    let tuning = Presets::built_in().tuning(name).expect("a preset").1;
    let score = piece(&tuning, keys, &[cell], bars, seed);
    let missed = (0..score.notes.len())
        .filter(|_| chance.unit() < 0.05)
        .collect();
    let manner = Manner {
        missed,
        ..manner(&score, Span::from_ms(11.5), seed)
    };
    sound(&score, &manner)
}

/// A recording and a take of the same piece, with what is planted in the take.
pub struct Duo {
    /// What is written, for the recording.
    pub score: Score,
    /// What the student means to play: a tenth of the notes are added ones.
    pub meant: Score,
    /// The recording.
    pub recording: Rendition,
    /// The take.
    pub take: Rendition,
    /// The planted lateness.
    pub habit: Habit,
}

/// A piece of `bars` bars, and a take of it at 60 to 100 % of the tempo with a tenth of the notes
/// missed, a tenth added and one off-beat late or early by up to 30 ms.
pub fn duo(bars: usize, seed: u64) -> Duo {
    let mut chance = Chance::new(seed ^ 0xD00);
    let (name, keys) = TUNINGS[(chance.unit() * 8.0) as usize];
    let tuning = Presets::built_in().tuning(name).expect("a preset").1;
    let off_beat = |n: &&CellNote| n.role == Role::Melody && n.at.0.fract() > 1e-6;
    let cells: Vec<Cell> = cells()
        .into_iter()
        .filter(|c| c.bars == 1 && c.notes.iter().any(|n| off_beat(&n)))
        .collect();
    let cell = &cells[(chance.unit() * cells.len() as f64) as usize];
    let places: Vec<Beats> = cell.notes.iter().filter(off_beat).map(|n| n.at).collect();
    let habit = Habit {
        role: Role::Melody,
        place: pick(&mut chance, &places),
        by: Span::from_ms(-30.0 + 60.0 * chance.unit()),
    };
    let score = piece(&tuning, keys, &[cell], bars, seed);
    let mut meant = score.clone();
    let end = bars as f64 * f64::from(score.meter.beats());
    let mut added = 0;
    while added < score.notes.len() / 10 {
        let like = &score.notes[(chance.unit() * score.notes.len() as f64) as usize];
        let mut note = like.clone();
        note.at = Beats((4.0 * end * chance.unit()).floor() / 4.0);
        note.fret = (note.fret + (3.0 * chance.unit()) as u8).min(9);
        let taken = |n: &Written| (n.at.0 - note.at.0).abs() < 0.2 && n.string == note.string;
        if !meant.notes.iter().any(taken) {
            meant.notes.push(note);
            added += 1;
        }
    }
    meant.settle();
    let missed = (0..meant.notes.len())
        .filter(|_| chance.unit() < 0.1)
        .collect();
    let theirs = manner(&score, Span::from_ms(4.0), seed);
    let ours = Manner {
        tempo: Bpm(score.tempo.0 * (0.6 + 0.4 * chance.unit())),
        lead: Span(0.3 + 1.5 * chance.unit()),
        habits: vec![habit],
        missed,
        ..manner(&score, Span::from_ms(6.5), seed ^ 0xBEEF)
    };
    Duo {
        recording: sound(&score, &theirs),
        take: sound(&meant, &ours),
        score,
        meant,
        habit,
    }
}
