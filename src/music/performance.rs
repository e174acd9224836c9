//! A written piece as somebody plays it: beats to seconds, with a human's looseness and, where
//! asked for, deliberate faults.
//!
//! Owns the times of a performance and keeps exact account of them. The sound is `dsp::pluck`.

use super::harmonics;
use super::note::{Attack, Note, Role};
use super::score::{Brush, Score, Written};
use crate::dsp::pluck::{Chance, Played, Stroke};
use crate::unit::{Beats, Bpm, Decibels, MidiNote, Seconds, Span};

/// A habit: notes of one part at one place of the bar come early or late.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Habit {
    /// Whose notes.
    pub role: Role,
    /// Beats after the bar's start (1.5 is the off-beat after beat 2).
    pub place: Beats,
    /// How much later (negative: earlier).
    pub by: Span,
}

/// How somebody plays.
#[derive(Debug, Clone, PartialEq)]
pub struct Manner {
    /// Tempo.
    pub tempo: Bpm,
    /// Silence before the first beat.
    pub lead: Span,
    /// Standard deviation of the thumb's placing.
    pub thumb: Span,
    /// Standard deviation of the fingers' placing.
    pub fingers: Span,
    /// Slow breathing of the tempo over 8 bars, as a share of it (0.01 is 1 %).
    pub breathing: f64,
    /// Standard deviation of loudness.
    pub touch: Decibels,
    /// Habits at places of the bar.
    pub habits: Vec<Habit>,
    /// Indices of written notes that are not played.
    pub missed: Vec<usize>,
    /// Everything that is chance follows from this.
    pub seed: u64,
}

impl Manner {
    /// Exactly as written, at `tempo`, after `lead`.
    pub fn exact(tempo: Bpm, lead: Span) -> Self {
        Self {
            tempo,
            lead,
            thumb: Span(0.0),
            fingers: Span(0.0),
            breathing: 0.0,
            touch: Decibels(0.0),
            habits: Vec::new(),
            missed: Vec::new(),
            seed: 0,
        }
    }

    /// A practised player: thumb within 3 ms and fingers within 4 ms (standard deviation; about
    /// half the just noticeable 6 ms of Friberg & Sundberg 1995), a tempo that breathes by 1 %.
    pub fn practised(tempo: Bpm, seed: u64) -> Self {
        Self {
            thumb: Span::from_ms(3.0),
            fingers: Span::from_ms(4.0),
            breathing: 0.01,
            touch: Decibels(1.0),
            seed,
            ..Self::exact(tempo, Span(0.6))
        }
    }
}

/// A note of a performance, with what was written.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayedNote {
    /// The note as it sounds: every field certain.
    pub note: Note,
    /// Index into the score's notes.
    pub written: usize,
    /// Where it is written.
    pub at: Beats,
    /// How far it lies after its written place: chance and habit together.
    pub drift: Span,
}

/// A performance: what to sound and the exact truth about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Performance {
    /// Strokes for the plucked-string model, in the order of `notes`.
    pub strokes: Vec<Played>,
    /// What is played, in order of the score.
    pub notes: Vec<PlayedNote>,
    /// Where the beats fall, one for every beat of the score's bars.
    pub beats: Vec<Seconds>,
    /// When everything has died away.
    pub length: Span,
}

/// A stroke rings at most this many beats when it is open, and a fretted one this many.
const OPEN_RINGS: f64 = 4.0;
const FRETTED_RINGS: f64 = 2.0;

/// Beats until the palm or the returning finger stops a damped note.
const DAMPED_RINGS: f64 = 0.3;

/// From one string of a brush to the next (common practice is 5 to 20 ms; no source).
const BRUSH_STEP: Span = Span::from_ms(9.0);

/// How much later than its beat a string of a brush sounds.
fn brushed(score: &Score, index: usize) -> Span {
    let note = &score.notes[index];
    let Some(brush) = note.touch.brush else {
        return Span(0.0);
    };
    let before = score.notes.iter().filter(|n| {
        let same = n.touch.brush == note.touch.brush && (n.at.0 - note.at.0).abs() < 1e-9;
        same && match brush {
            Brush::Down => n.string > note.string,
            Brush::Up => n.string < note.string,
        }
    });
    Span(BRUSH_STEP.0 * before.count() as f64)
}

impl Performance {
    /// `score` played in `manner`. Notes on strings that the tuning lacks are left out.
    pub fn of(score: &Score, manner: &Manner) -> Self {
        let clock = Clock::new(score, manner);
        let mut chance = Chance::new(manner.seed);
        let mut strokes = Vec::new();
        let mut notes = Vec::new();
        for (i, written) in score.notes.iter().enumerate() {
            // Chance is drawn for every note, so that leaving one out moves no other.
            let (place, touch) = (chance.normal(), chance.normal());
            let Some(pitch) = score.pitch(written).filter(|_| !manner.missed.contains(&i)) else {
                continue;
            };
            let drift = manner.drift(score, written, place) + brushed(score, i);
            let at = clock.at(written.at) + drift;
            let rings = if let Some(rings) = written.rings {
                rings.0
            } else if written.touch.damped {
                DAMPED_RINGS
            } else if written.fret == 0 || written.attack == Attack::Harmonic {
                OPEN_RINGS
            } else {
                FRETTED_RINGS.max(written.length.0)
            };
            let until = clock.at(written.at + Beats(rings));
            let mut stroke = stroke(score, written, at, until);
            stroke.level.0 += accent(score, written) + touch.clamp(-2.5, 2.5) * manner.touch.0;
            let end = next_on_string(score, manner, i)
                .map_or(until, |next| Seconds(until.0.min(clock.at(next).0)));
            notes.push(PlayedNote {
                note: note(written, &stroke, pitch, at, end),
                written: i,
                at: written.at,
                drift,
            });
            strokes.push(stroke);
        }
        let beats = score.bars() * usize::from(score.meter.beats().max(1));
        let ring = notes.iter().map(|n| n.note.end.0).fold(0.0, f64::max);
        Self {
            strokes,
            notes,
            beats: (0..beats).map(|b| clock.at(Beats(b as f64))).collect(),
            length: Span(ring + 1.0),
        }
    }
}

impl Manner {
    fn drift(&self, score: &Score, written: &Written, place: f64) -> Span {
        let spread = match written.role {
            Role::Bass => self.thumb,
            Role::Melody => self.fingers,
        };
        let per_bar = f64::from(score.meter.beats().max(1));
        let in_bar = written.at.0.rem_euclid(per_bar);
        let habit: f64 = self
            .habits
            .iter()
            .filter(|h| h.role == written.role && (h.place.0 - in_bar).abs() < 1e-6)
            .map(|h| h.by.0)
            .sum();
        Span(spread.0 * place.clamp(-2.5, 2.5) + habit)
    }
}

/// Beats to seconds.
struct Clock {
    beat: f64,
    lead: f64,
    breathing: f64,
    cycle: f64,
}

impl Clock {
    fn new(score: &Score, manner: &Manner) -> Self {
        Self {
            beat: manner.tempo.beat().0,
            lead: manner.lead.0,
            breathing: manner.breathing,
            cycle: 8.0 * f64::from(score.meter.beats().max(1)),
        }
    }

    /// The length of a beat swings sinusoidally by `breathing`; this is its sum.
    fn at(&self, beats: Beats) -> Seconds {
        let turn = std::f64::consts::TAU / self.cycle;
        let swing = self.breathing * (1.0 - (turn * beats.0).cos()) / turn;
        Seconds(self.lead + self.beat * (beats.0 + swing))
    }
}

/// Where the string of note `index` is next struck.
fn next_on_string(score: &Score, manner: &Manner, index: usize) -> Option<Beats> {
    let string = score.notes[index].string;
    score
        .notes
        .iter()
        .enumerate()
        .skip(index + 1)
        .find(|(i, n)| n.string == string && !manner.missed.contains(i))
        .map(|(_, n)| n.at)
}

/// A bar's first beat is a little firmer, off-beats a little lighter.
fn accent(score: &Score, written: &Written) -> f64 {
    let in_bar = written
        .at
        .0
        .rem_euclid(f64::from(score.meter.beats().max(1)));
    let marked = if written.touch.accent { 4.0 } else { 0.0 };
    marked
        + if in_bar < 1e-6 {
            1.5
        } else if in_bar.fract() > 1e-6 {
            -1.0
        } else {
            0.0
        }
}

fn stroke(score: &Score, written: &Written, at: Seconds, until: Seconds) -> Played {
    let open = score
        .tuning
        .sounding(written.string, 0)
        .unwrap_or(MidiNote(0.0));
    let mut played = Played::pluck(at, until, written.string, open, written.fret);
    if written.role == Role::Bass {
        played.edge = 2400.0;
    }
    match written.attack {
        Attack::HammerOn => {
            played.stroke = Stroke::HammerOn;
            played.level.0 -= 1.0;
        }
        Attack::PullOff => {
            let before = score
                .notes
                .iter()
                .rev()
                .find(|n| n.string == written.string && n.at.0 < written.at.0 - 1e-9);
            let from = before.map_or(written.fret + 2, |n| n.fret.max(written.fret + 1));
            played.stroke = Stroke::PullOff { from };
        }
        Attack::Harmonic => {
            let number = harmonics::number_at(written.fret).unwrap_or(2);
            played.stroke = Stroke::Harmonic { number };
            played.fret = 0;
        }
        Attack::Dead => played.stroke = Stroke::Dead,
        Attack::Tap => played.stroke = Stroke::Tap,
        Attack::Pluck | Attack::Slide => {}
    }
    played
}

fn note(written: &Written, stroke: &Played, pitch: MidiNote, at: Seconds, end: Seconds) -> Note {
    Note {
        time: at,
        end: Seconds(end.0.max(at.0)),
        role: written.role,
        role_confidence: 1.0,
        pitch: (!matches!(written.attack, Attack::Dead | Attack::Tap)).then_some(pitch),
        string: Some(written.string),
        fret: Some(written.fret),
        attack: written.attack,
        strength: Decibels(stroke.level.0.min(0.0)),
        confidence: 1.0,
    }
}
