//! The demo: an invented tune for fingerstyle guitar in DADGAD, once as "the recording" and once
//! as "a student's take" with planted faults, both with the exact truth.
//!
//! Owns the tune, the two players and the account of what was planted. It analyses nothing.

mod tune;

use crate::dsp::pluck::{Guitar, Sound};
use crate::music::grid::Grid;
use crate::music::note::Role;
use crate::music::performance::{Habit, Manner, Performance, PlayedNote};
use crate::music::score::Score;
use crate::recording::{Recording, RecordingError};
use crate::unit::{Beats, Bpm, Seconds, Span};
use serde::Serialize;

pub use tune::{TEMPO, tune};

/// Tempo of the student's take.
pub const TAKE_TEMPO: Bpm = Bpm(86.0);

/// How late the student's melody is on the off-beat after beat 2.
pub const LATE: Span = Span::from_ms(21.0);

/// Place of that off-beat, in beats after the bar's start.
pub const LATE_PLACE: Beats = Beats(1.5);

/// The bar and the beat after its start where the student leaves out a melody note.
pub const MISSED: (i32, Beats) = (11, Beats(2.5));

/// A fault of the student that a listener should find.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "fault", rename_all = "snake_case")]
pub enum Planted {
    /// Notes of one part lie late at one place of every bar.
    Late {
        /// Whose notes.
        role: Role,
        /// Beats after the bar's start.
        place: Beats,
        /// How late.
        by: Span,
        /// How many notes that concerns.
        notes: usize,
    },
    /// A note of the recording is not played.
    Missed {
        /// Bar, from 1.
        bar: i32,
        /// Beats after the bar's start.
        place: Beats,
        /// Its string, 1 = highest.
        string: u8,
    },
    /// The whole take is slower.
    Slower {
        /// Tempo of the recording.
        from: Bpm,
        /// Tempo of the take.
        to: Bpm,
    },
}

/// A rendered performance and the truth about it.
#[derive(Debug)]
pub struct Rendition {
    /// The sound.
    pub recording: Recording,
    /// What was played when, note by note.
    pub notes: Vec<PlayedNote>,
    /// Beats and bars as the player felt them.
    pub grid: Grid,
    /// Faults planted on purpose; none in the recording.
    pub planted: Vec<Planted>,
}

impl Rendition {
    /// Renders `score` as played in `manner` on `guitar`, under `name`.
    ///
    /// # Errors
    /// [`RecordingError`] when the guitar's rate is outside 8 to 192 kHz or nothing is played.
    pub fn new(
        name: &str,
        score: &Score,
        manner: &Manner,
        guitar: Guitar,
    ) -> Result<Self, RecordingError> {
        let performance = Performance::of(score, manner);
        let Sound { channels, spans } = guitar.play(&performance.strokes, performance.length);
        let recording = Recording::new(name, guitar.rate, channels)?;
        let mut notes = performance.notes;
        for (played, (_, end)) in notes.iter_mut().zip(spans) {
            let end = Seconds::of_frame(end, guitar.rate);
            played.note.end = Seconds(end.0.max(played.note.time.0));
        }
        notes.sort_by(|a, b| a.note.time.total_cmp(&b.note.time));
        Ok(Self {
            recording,
            notes,
            grid: Grid::from_beats(&performance.beats, 0, score.meter),
            planted: Vec::new(),
        })
    }

    /// Notes of one part.
    pub fn of_role(&self, role: Role) -> impl Iterator<Item = &PlayedNote> {
        self.notes.iter().filter(move |n| n.note.role == role)
    }
}

/// The recording: a practised player, two microphones, 44.1 kHz.
///
/// # Errors
/// [`RecordingError`] when `rate` is outside 8 to 192 kHz.
pub fn recording(rate: u32) -> Result<Rendition, RecordingError> {
    let guitar = Guitar {
        rate,
        stereo: true,
        seed: 11,
        ..Guitar::default()
    };
    Rendition::new(
        "Thimble Lane",
        &tune(),
        &Manner::practised(TEMPO, 4),
        guitar,
    )
}

/// The student's take: one microphone, slower, looser, with the planted faults.
///
/// # Errors
/// [`RecordingError`] when `rate` is outside 8 to 192 kHz.
pub fn take(rate: u32) -> Result<Rendition, RecordingError> {
    let score = tune();
    let per_bar = f64::from(score.meter.beats());
    let (bar, place) = MISSED;
    let missed_at = f64::from(bar - 1) * per_bar + place.0;
    let missed = score
        .notes
        .iter()
        .position(|n| n.role == Role::Melody && (n.at.0 - missed_at).abs() < 1e-6);
    let late = |at: Beats| (at.0.rem_euclid(per_bar) - LATE_PLACE.0).abs() < 1e-6;
    let manner = Manner {
        thumb: Span::from_ms(5.0),
        fingers: Span::from_ms(6.0),
        habits: vec![Habit {
            role: Role::Melody,
            place: LATE_PLACE,
            by: LATE,
        }],
        missed: missed.into_iter().collect(),
        ..Manner::practised(TAKE_TEMPO, 9)
    };
    let guitar = Guitar {
        rate,
        seed: 12,
        ..Guitar::default()
    };
    let mut take = Rendition::new("Thimble Lane, a take", &score, &manner, guitar)?;
    take.planted.push(Planted::Late {
        role: Role::Melody,
        place: LATE_PLACE,
        by: LATE,
        notes: take.of_role(Role::Melody).filter(|n| late(n.at)).count(),
    });
    if let Some(note) = missed.and_then(|i| score.notes.get(i)) {
        take.planted.push(Planted::Missed {
            bar,
            place,
            string: note.string,
        });
    }
    take.planted.push(Planted::Slower {
        from: TEMPO,
        to: TAKE_TEMPO,
    });
    Ok(take)
}
