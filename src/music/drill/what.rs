//! What can be drilled, and a pattern heard alone.

use super::exercise::{Technique, harmonics_stage, ringing_stage, technique_stages};
use super::lesson::lesson;
use super::stage::Stage;
use super::writer::Writer;
use crate::dsp::pluck::Played;
use crate::music::performance::{Manner, Performance};
use crate::music::picking::{Cell, swung};
use crate::music::progression::HeldChord;
use crate::music::scale::Scale;
use crate::music::tuning::Tuning;
use crate::unit::{Beats, Bpm, Seconds, Span};

/// Something to be drilled.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// A picking pattern, on chords where they are given.
    Pattern {
        /// What it is called.
        name: String,
        /// Its strokes.
        cell: Cell,
        /// A chord a cell, round and round; open strings without.
        chords: Vec<HeldChord>,
    },
    /// A scale along a path that rings.
    Scale(Scale),
    /// A technique of the left hand on a scale.
    Technique(Technique, Scale),
    /// Natural harmonics.
    Harmonics,
}

impl What {
    /// What it is called.
    pub fn name(&self) -> String {
        match self {
            Self::Pattern { name, .. } => name.clone(),
            Self::Scale(scale) => format!("{}, ringing", scale.name),
            Self::Technique(what, scale) => format!("{} in {}", what.name(), scale.name),
            Self::Harmonics => "harmonics".to_owned(),
        }
    }

    /// Its stages at `tempo`, those of a pattern `bars` bars long; none where the strings do not reach
    /// its notes.
    pub fn stages(&self, tuning: &Tuning, tempo: Bpm, bars: usize) -> Vec<Stage> {
        match self {
            Self::Pattern { name, cell, chords } => lesson(name, cell, tuning, tempo, bars, chords),
            Self::Scale(scale) => ringing_stage(scale, tuning, tempo).into_iter().collect(),
            Self::Technique(what, scale) => technique_stages(*what, scale, tuning, tempo),
            Self::Harmonics => vec![harmonics_stage(tuning, tempo)],
        }
    }
}

impl Technique {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::HammerOns, Self::PullOffs, Self::Slides];

    /// What players call it.
    pub fn name(self) -> &'static str {
        match self {
            Self::HammerOns => "hammer-ons",
            Self::PullOffs => "pull-offs",
            Self::Slides => "slides",
        }
    }
}

/// A pattern alone, to go round and round.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Alone {
    /// Its strokes, once round.
    pub strokes: Vec<Played>,
    /// How long a round is: whole cells.
    pub length: Span,
}

/// Silence before the first stroke: its finger's knock begins before the note does.
const LEAD: Span = Span(0.02);

/// `cell` played exactly at `tempo`, swung where it swings: once on open strings, or once on each of
/// `chords`, whose bass strings the thumb follows.
pub fn alone(cell: &Cell, tuning: &Tuning, tempo: Bpm, chords: &[HeldChord]) -> Alone {
    let cells = chords.len().max(1);
    let writer = Writer {
        name: "alone",
        cell,
        tuning,
        tempo,
        bars: cells * usize::from(cell.bars.max(1)),
        chords,
    };
    let mut score = writer.score("alone", &cell.notes);
    for note in &mut score.notes {
        note.at = swung(note.at, cell.swing);
    }
    let length = Span(cells as f64 * cell.beats() * tempo.beat().0);
    let performance = Performance::of(&score, &Manner::exact(tempo, LEAD));
    let strokes = performance.strokes.into_iter();
    Alone {
        strokes: strokes
            .filter(|s| s.at.0 < LEAD.0 + length.0 - 1e-9)
            .collect(),
        length,
    }
}

impl Alone {
    /// The place of the cell, `beats` long, that sounds `at` after the sound's start at `tempo`.
    pub fn place(&self, at: Span, tempo: Bpm, beats: f64) -> Option<Beats> {
        let played = (at.0 - LEAD.0).max(0.0) / tempo.beat().0;
        (beats > 0.0).then(|| Beats(played.rem_euclid(beats)))
    }
}

/// Strokes of two rounds of `strokes`, the second of which goes round for ever: what still rings of the
/// round before is in it.
pub fn twice(strokes: &[Played], length: Span) -> Vec<Played> {
    let mut all = strokes.to_vec();
    all.extend(strokes.iter().map(|s| Played {
        at: Seconds(s.at.0 + length.0),
        until: Seconds(s.until.0 + length.0),
        ..*s
    }));
    all
}
