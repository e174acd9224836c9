//! Pieces to lay out: an invented tune with known drift, and labels of real recordings.

use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Attack, Note, Role};
use thumbline::music::tuning::Tuning;
use thumbline::report::sheet::{Piece, Take};
use thumbline::timing::{Drift, NoteDrift, Reference, Slot, Standing, measure};
use thumbline::unit::{Beats, Decibels, MidiNote, Seconds, Span};

/// Everything a [`Piece`] borrows.
pub struct Score {
    pub notes: Vec<Note>,
    pub drift: Drift,
    pub grid: Grid,
    pub tuning: Tuning,
    pub end: Seconds,
    pub take: Option<(Vec<Note>, Drift)>,
}

impl Score {
    pub fn empty() -> Self {
        Self {
            notes: Vec::new(),
            drift: Drift::default(),
            grid: Grid::default(),
            tuning: Tuning::standard(),
            end: Seconds(0.0),
            take: None,
        }
    }

    pub fn piece(&self) -> Piece<'_> {
        Piece {
            title: "An invented tune",
            notes: &self.notes,
            drift: &self.drift,
            grid: &self.grid,
            tuning: &self.tuning,
            fretted: true,
            end: self.end,
            second: self
                .take
                .as_ref()
                .map(|(notes, drift)| Take { notes, drift }),
        }
    }

    /// Adds a second take, every note 15 ms earlier than the first.
    pub fn with_take(mut self) -> Self {
        let mut notes = self.notes.clone();
        for note in &mut notes {
            note.time += Span(-0.015);
        }
        let drift = measure(&notes, &self.grid, Reference::OwnTempo);
        self.take = Some((notes, drift));
        self
    }

    /// Measures what was added.
    pub fn measured(mut self) -> Self {
        self.notes.sort_by(|a, b| a.time.total_cmp(&b.time));
        self.drift = measure(&self.notes, &self.grid, Reference::OwnTempo);
        self
    }

    /// Adds a note of any numbers.
    pub fn add_wild(&mut self, time: f64, drift: f64, slot: f64, string: u8, bass: bool) {
        self.notes.push(Note {
            time: Seconds(time),
            end: Seconds(time),
            role: if bass { Role::Bass } else { Role::Melody },
            role_confidence: 0.5,
            pitch: Some(MidiNote(drift)),
            string: Some(string),
            fret: Some(string),
            attack: Attack::Pluck,
            strength: Decibels(0.0),
            confidence: 0.1,
        });
        self.drift.notes.push(Some(NoteDrift {
            bar: i32::from(string),
            slot: Slot {
                beat: string,
                part: string % 5,
                parts: string % 7,
            },
            at: Beats(slot),
            standing: Standing::Plain,
            drift: Some(Span(drift)),
            share: None,
            floor: Span(time),
        }));
    }

    /// Adds a note at `slot` (beats), `drift` seconds off.
    pub fn add(&mut self, slot: f64, drift: f64, role: Role, string: u8, fret: u8) {
        let at = self.grid.time_at(Beats(slot)).expect("inside the grid");
        let midi = self.tuning.sounding(string, i32::from(fret));
        self.notes.push(Note {
            time: at + Span(drift),
            end: at + Span(drift + 0.4),
            role,
            role_confidence: 0.9,
            pitch: midi,
            string: Some(string),
            fret: Some(fret),
            attack: Attack::Pluck,
            strength: Decibels(-6.0),
            confidence: 0.9,
        });
    }
}

/// A steady grid of `beats` beats at `bpm`, beat 0 at `first` seconds.
pub fn steady(beats: usize, bpm: f64, first: f64, meter: Meter) -> Grid {
    let times: Vec<_> = (0..=beats)
        .map(|i| Seconds(first + i as f64 * 60.0 / bpm))
        .collect();
    let grid = Grid::from_beats(&times[..beats], 0, meter);
    assert_eq!(grid.beats().len(), beats);
    grid
}

/// `bars` bars of alternating thumb and off-beat melody at 100 bpm; the melody after beat 2 is
/// `late` seconds late, a little noise of known values elsewhere.
pub fn tune(bars: usize, late: f64) -> Score {
    let grid = steady(4 * bars, 100.0, 0.3, Meter::COMMON);
    let mut score = Score {
        grid,
        end: Seconds(0.3 + 4.0 * bars as f64 * 0.6),
        tuning: Tuning::dadgad(),
        ..Score::empty()
    };
    let wobble = [0.004, -0.006, 0.005, -0.003, 0.006, -0.001, 0.002, -0.005];
    for bar in 0..bars {
        let at = 4.0 * bar as f64;
        let w = |i: usize| wobble[(bar * 3 + i) % wobble.len()];
        for (beat, string) in [(0, 6), (1, 4), (2, 5), (3, 4)] {
            score.add(
                at + f64::from(beat),
                w(beat as usize),
                Role::Bass,
                string,
                0,
            );
        }
        score.add(at, w(5), Role::Melody, 1, 2);
        score.add(at + 1.5, late + 0.3 * w(6), Role::Melody, 2, 3);
        score.add(at + 2.5, w(7), Role::Melody, 1, 0);
        if bar % 2 == 1 {
            score.add(at + 3.5, -w(2), Role::Melody, 3, 2);
        }
    }
    score.measured()
}

/// The labels of a real recording against its click, sixteenths as slots.
pub fn from_labels(name: &str, bpm: f64) -> Option<Score> {
    let path = format!(
        "{}/../shared/data/guitarset/{name}.csv",
        env!("CARGO_MANIFEST_DIR")
    );
    let Ok(text) = std::fs::read_to_string(path) else {
        println!("skipped: {name}: no real recordings beside the project");
        return None;
    };
    let late = match name {
        n if n.starts_with("05") => 0.01525,
        n if n.contains("Jazz") => 0.01425,
        _ => 0.01125,
    };
    let rows: Vec<(f64, u8)> = text
        .lines()
        .skip(1)
        .filter_map(|line| {
            let (time, string) = line.split_once(',')?;
            Some((time.parse().ok()?, string.trim().parse().ok()?))
        })
        .collect();
    let end = rows.last()?.0 + 1.0;
    let beats = (end * bpm / 60.0).ceil() as usize;
    let mut score = Score {
        grid: steady(beats.div_ceil(4) * 4, bpm, 0.0, Meter::COMMON),
        end: Seconds(end),
        ..Score::empty()
    };
    for (time, string) in rows {
        let role = if string >= 4 {
            Role::Bass
        } else {
            Role::Melody
        };
        score.add((time - late) * bpm / 60.0, 0.0, role, string, 0);
    }
    Some(score.measured())
}
