//! Practice pieces made from a picking pattern, a scale path or a guitar's harmonics.
//!
//! Owns what is practised and in which order; how it sounds is `dsp::pluck`, when each note falls is
//! `performance`. All pattern stages stay on open strings, so that the left hand rests.

use super::fingering::Path;
use super::meter::Meter;
use super::note::{Attack, Role};
use super::performance::{Manner, Performance, PlayedNote};
use super::picking::{Cell, CellNote, count};
use super::pitch::Key;
use super::score::{Finger, Score, Written};
use super::tuning::Tuning;
use crate::dsp::pluck::Played;
use crate::unit::{Beats, Bpm, Seconds, Span};

/// One step of a practice piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// What is practised, in a player's words.
    pub title: String,
    /// What is played, once through.
    pub score: Score,
}

/// What a pattern becomes: the thumb alone; the melody together with the thumb; then one off-beat
/// after the other where it belongs, to the whole pattern. Each stage has `bars` bars (rounded up
/// to whole cells). A pattern without off-beats has no further stages.
pub fn pattern_stages(
    name: &str,
    cell: &Cell,
    tuning: &Tuning,
    tempo: Bpm,
    bars: usize,
) -> Vec<Stage> {
    let mut places: Vec<f64> = cell
        .notes
        .iter()
        .filter(|n| n.role == Role::Melody && off_beat(n.at))
        .map(|n| n.at.0)
        .collect();
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    let thumb: Vec<CellNote> = of_part(cell, Role::Bass);
    let melody = of_part(cell, Role::Melody);
    let stage = |title: String, notes: &[CellNote]| Stage {
        score: score(
            &format!("{name}: {title}"),
            cell,
            notes,
            tuning,
            tempo,
            bars,
        ),
        title,
    };
    let mut stages = Vec::new();
    if !thumb.is_empty() {
        stages.push(stage("thumb alone".to_owned(), &thumb));
    }
    if melody.is_empty() {
        return stages;
    }
    for freed in 0..=places.len() {
        let title = match freed {
            0 if places.is_empty() => "the whole pattern".to_owned(),
            0 => "melody with the thumb".to_owned(),
            n if n == places.len() => format!("the whole pattern, {}", counted(cell, &places)),
            n => format!("off the beat, {}", counted(cell, &places[..n])),
        };
        let mut notes = thumb.clone();
        for note in &melody {
            let mut note = note.clone();
            let free = places[..freed].iter().any(|p| (p - note.at.0).abs() < 1e-6);
            if off_beat(note.at) && !free {
                note.at = Beats((note.at.0 + 1e-6).floor());
            }
            let taken = notes.iter().any(|n| {
                (n.at.0 - note.at.0).abs() < 1e-6 && n.strings.first() == note.strings.first()
            });
            if !taken {
                notes.push(note);
            }
        }
        stages.push(stage(title, &notes));
    }
    stages
}

fn off_beat(at: Beats) -> bool {
    (at.0 - at.0.round()).abs() > 1e-6
}

fn of_part(cell: &Cell, role: Role) -> Vec<CellNote> {
    cell.notes
        .iter()
        .filter(|n| n.role == role)
        .cloned()
        .collect()
}

/// The places of a bar as they are counted: `2& 3&`.
fn counted(cell: &Cell, places: &[f64]) -> String {
    let mut names: Vec<String> = Vec::new();
    for place in places {
        let name = count(cell.meter, Beats(*place));
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names.join(" ")
}

fn score(
    title: &str,
    cell: &Cell,
    notes: &[CellNote],
    tuning: &Tuning,
    tempo: Bpm,
    bars: usize,
) -> Score {
    let times = bars.max(1).div_ceil(usize::from(cell.bars.max(1)));
    let mut written = Vec::new();
    for time in 0..times {
        let start = time as f64 * cell.beats();
        for note in notes {
            let string = note.strings.iter().find(|s| tuning.open(**s).is_some());
            let Some(string) = string else { continue };
            let mut stroke = Written::pluck(Beats(start + note.at.0), Beats(1.0), *string, 0);
            stroke.role = note.role;
            stroke.finger = Some(note.finger);
            written.push(stroke);
        }
    }
    let mut score = Score {
        title: title.to_owned(),
        tuning: tuning.clone(),
        meter: cell.meter,
        tempo,
        key: Key::default(),
        notes: written,
    };
    score.settle();
    score
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
            if note.role == Role::Melody {
                turn = !turn;
                note.finger = Some(if turn { Finger::I } else { Finger::M });
            }
            Some(note)
        })
        .collect();
    let mut score = Score {
        title: title.to_owned(),
        tuning: tuning.clone(),
        meter: Meter::COMMON,
        tempo,
        key,
        notes,
    };
    score.settle();
    Stage {
        title: title.to_owned(),
        score,
    }
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
    let mut score = Score {
        title: "Harmonics".to_owned(),
        tuning: tuning.clone(),
        meter: Meter::COMMON,
        tempo,
        key: Key::default(),
        notes,
    };
    score.settle();
    Stage {
        title: "harmonics at the 12th, 7th and 5th fret".to_owned(),
        score,
    }
}

/// A click of a practice piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Click {
    /// When.
    pub at: Seconds,
    /// On the first beat of a bar.
    pub accent: bool,
}

/// A whole practice session in time: every stage at every tempo, each after a bar's count-in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Session {
    /// Strokes for the plucked-string model.
    pub strokes: Vec<Played>,
    /// Notes, in order of time.
    pub notes: Vec<PlayedNote>,
    /// Clicks: the count-in, and every beat where they go on.
    pub clicks: Vec<Click>,
    /// Where each stage at each tempo begins (its count-in), with what it is.
    pub marks: Vec<(Seconds, String)>,
    /// All beats, count-ins included.
    pub beats: Vec<Seconds>,
    /// Its length.
    pub length: Span,
}

/// Silence before the first count-in.
const LEAD: f64 = 0.5;

impl Session {
    /// `stages` in order, each at all of `tempi`; `click` on every beat, or in the count-in only.
    pub fn of(stages: &[Stage], tempi: &[Bpm], click: bool) -> Self {
        let mut session = Self::default();
        let mut now = LEAD;
        for stage in stages {
            for tempo in tempi {
                now = session.add(stage, *tempo, click, now);
            }
        }
        session.length = Span(now + 2.0);
        session
    }

    /// Adds one stage at `now`; gives when the next count-in can begin, on the beat.
    fn add(&mut self, stage: &Stage, tempo: Bpm, click: bool, now: f64) -> f64 {
        let beat = tempo.beat().0;
        let per_bar = usize::from(stage.score.meter.beats().max(1));
        let start = now + per_bar as f64 * beat;
        let mut performance = Performance::of(&stage.score, &Manner::exact(tempo, Span(start)));
        let beats = per_bar * (stage.score.bars() + 1);
        let end = now + beats as f64 * beat;
        // A silent bar to breathe in.
        let rest = per_bar;
        for (stroke, played) in performance.strokes.iter_mut().zip(&mut performance.notes) {
            // Hands off at the end, so that the next count-in stands clear.
            let until = stroke.until.0.min(end + 0.5 * beat);
            stroke.until = Seconds(until);
            played.note.end = Seconds(played.note.end.0.min(until));
        }
        self.marks.push((
            Seconds(now),
            format!("{}, {} bpm", stage.title, (tempo.0 * 10.0).round() / 10.0),
        ));
        for i in 0..beats + rest {
            let at = Seconds(now + i as f64 * beat);
            self.beats.push(at);
            if i < per_bar || (click && i < beats) {
                self.clicks.push(Click {
                    at,
                    accent: i % per_bar == 0,
                });
            }
        }
        self.strokes.extend(performance.strokes);
        self.notes.extend(performance.notes);
        end + rest as f64 * beat
    }
}
