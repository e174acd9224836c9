//! One thing to play in a page: its notes on its beats, and the loop they lie in.

use super::contents::{LONGEST, LessonError, Phrase, Practice};
use crate::analysis::Analysis;
use crate::music::drill::Stage;
use crate::music::grid::{Bar, Grid};
use crate::music::note::Note;
use crate::music::performance::{Manner, Performance};
use crate::music::tuning::Tuning;
use crate::report::capitalised;
use crate::report::sheet::{Piece, Take};
use crate::timing::{self, Drift, Reference};
use crate::unit::{Beats, Bpm, Seconds, Span};

/// A note this much before a bar line may still belong to the bar, in seconds: three times the
/// spread of practised players (Rasch 1979: 27 to 49 ms) is less than twice this.
const EARLIEST: f64 = 0.06;
/// A loop begins this long before its first pluck, in seconds: an attack takes about a millisecond,
/// its measured time is sure to about two.
const BEFORE_PLUCK: f64 = 0.003;

/// Where the sound of a part comes from.
#[derive(Debug, Clone)]
pub(super) enum Source {
    /// The recording, and each hand of it alone.
    Recording,
    /// The plucked-string model.
    Written(Box<Stage>, Bpm),
}

/// A part of the page. Times are those of its sound at 100 %.
#[derive(Debug, Clone)]
pub(super) struct Part {
    pub title: String,
    /// Heading of the group it belongs to, said before its first part.
    pub group: Option<String>,
    /// What a teacher says of it, in sentences.
    pub said: Vec<String>,
    pub notes: Vec<Note>,
    pub grid: Grid,
    pub drift: Drift,
    pub tuning: Tuning,
    /// Is the tuning known? Otherwise no note has a string.
    pub fretted: bool,
    pub take: Option<(Vec<Note>, Drift)>,
    /// The loop.
    pub from: Seconds,
    pub to: Seconds,
    /// Number and beginning of each bar's loop.
    pub bars: Vec<(i32, Seconds)>,
    pub source: Source,
}

impl Part {
    /// As the bar sheet takes it.
    pub fn piece(&self) -> Piece<'_> {
        Piece {
            title: &self.title,
            notes: &self.notes,
            drift: &self.drift,
            grid: &self.grid,
            tuning: &self.tuning,
            fretted: self.fretted,
            end: self.to,
            second: self
                .take
                .as_ref()
                .map(|(notes, drift)| Take { notes, drift }),
        }
    }

    /// Beats of the loop, in order of time.
    pub fn beats(&self) -> impl Iterator<Item = (Seconds, bool)> + '_ {
        let beats = self.grid.beats().iter();
        beats.map(|beat| (beat.time, beat.place == 1))
    }
}

/// The chosen bars of a recording.
pub(super) fn phrase(phrase: &Phrase<'_>) -> Result<Part, LessonError> {
    let Phrase {
        recording, heard, ..
    } = *phrase;
    let (first, last) = phrase.bars;
    let all = heard.grid.bars();
    let (Some(lowest), Some(highest)) = (all.first(), all.last()) else {
        return Err(LessonError::NoBeat(recording.title().to_owned()));
    };
    let bars: Vec<Bar> = all
        .iter()
        .filter(|b| (first..=last).contains(&b.number))
        .copied()
        .collect();
    let whole = heard.grid.bar_range(first, last);
    let (Some((from, to)), Some(_)) = (whole, bars.first()) else {
        return Err(LessonError::Bars {
            name: recording.title().to_owned(),
            first: lowest.number,
            last: highest.number,
        });
    };
    if (to - from).0 > LONGEST {
        let fit = bars.iter().take_while(|b| (b.end - from).0 <= LONGEST);
        return Err(LessonError::Long {
            first,
            last,
            seconds: (to - from).0,
            fit: (fit.count() as i32).max(1),
        });
    }
    let lead = lead(&heard.notes, &bars, to);
    let begin = Seconds((from - lead).0.max(0.0));
    let end = Seconds((to - lead).0.min(recording.end().0));
    let inside = |note: &Note| note.time >= begin && note.time < end;
    let first_beat = bars.first().map_or(0, |b| b.first_beat);
    let (notes, placed) = excerpt(&heard.notes, &phrase.drift.notes, first_beat, inside);
    let take = phrase.take.map(|(notes, drift)| {
        let (notes, placed) = excerpt(notes, &drift.notes, first_beat, inside);
        let drift = Drift {
            notes: placed,
            ..drift.clone()
        };
        (notes, drift)
    });
    Ok(Part {
        title: capitalised(&bars_named(phrase.bars)),
        group: None,
        said: Vec::new(),
        notes,
        grid: grid_of(heard, first, last),
        drift: Drift {
            notes: placed,
            bars: phrase
                .drift
                .bars
                .iter()
                .filter(|b| (first..=last).contains(&b.bar))
                .copied()
                .collect(),
            rolls: Vec::new(),
            ..phrase.drift.clone()
        },
        tuning: heard.tuning.clone(),
        fretted: heard.tuning_known(),
        take,
        from: begin,
        to: end,
        bars: bars
            .iter()
            .map(|b| (b.number, Seconds((b.start - lead).0.max(begin.0))))
            .collect(),
        source: Source::Recording,
    })
}

/// How long before their bar lines all loops begin, so that no pluck is cut in two.
fn lead(notes: &[Note], bars: &[Bar], end: Seconds) -> Span {
    let lines = bars.iter().map(|b| b.start).chain([end]);
    let early = lines
        .flat_map(|line| notes.iter().map(move |note| (line - note.time).0))
        .filter(|by| (0.0..EARLIEST).contains(by))
        .fold(0.0, f64::max);
    Span(early + BEFORE_PLUCK)
}

/// Notes that lie `inside`, with their places counted from the grid's beat `first_beat`.
fn excerpt(
    notes: &[Note],
    placed: &[Option<timing::NoteDrift>],
    first_beat: usize,
    inside: impl Fn(&Note) -> bool,
) -> (Vec<Note>, Vec<Option<timing::NoteDrift>>) {
    let from = first_beat as f64;
    notes
        .iter()
        .enumerate()
        .filter(|(_, note)| inside(note))
        .map(|(i, note)| {
            let moved = placed.get(i).copied().flatten().map(|p| timing::NoteDrift {
                at: Beats(p.at.0 - from),
                ..p
            });
            (note.clone(), moved)
        })
        .unzip()
}

fn grid_of(heard: &Analysis, first: i32, last: i32) -> Grid {
    let inside = |bar: i32| (first..=last).contains(&bar);
    let beats = heard.grid.beats().iter().filter(|b| inside(b.bar));
    Grid::from_parts(heard.grid.meter, beats.copied().collect(), Vec::new())
        .swung(heard.grid.off_beat)
}

/// The steps of written practice.
pub(super) fn practice(practice: &Practice) -> Vec<Part> {
    let stages = practice.stages.iter().enumerate();
    stages
        .filter(|(_, stage)| !stage.score.notes.is_empty())
        .map(|(i, stage)| Part {
            group: (i == 0).then(|| practice.title.clone()),
            ..written(stage, practice.tempo)
        })
        .collect()
}

fn written(stage: &Stage, tempo: Bpm) -> Part {
    let score = &stage.score;
    let performance = Performance::of(score, &Manner::exact(tempo, Span(BEFORE_PLUCK)));
    let mut notes: Vec<Note> = performance.notes.into_iter().map(|n| n.note).collect();
    notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    let grid = Grid::from_beats(&performance.beats, 0, score.meter);
    let drift = timing::measure(&notes, &grid, Reference::OwnTempo);
    let length = performance.beats.len() as f64 * tempo.beat().0;
    let bars = grid.bars();
    Part {
        title: stage.title.clone(),
        group: None,
        said: stage.sentences(),
        notes,
        drift,
        tuning: score.tuning.clone(),
        fretted: true,
        take: None,
        from: Seconds(0.0),
        to: Seconds(length),
        bars: bars
            .iter()
            .map(|b| (b.number, Seconds((b.start.0 - BEFORE_PLUCK).max(0.0))))
            .collect(),
        grid,
        source: Source::Written(Box::new(stage.clone()), tempo),
    }
}

/// An instant that lies in a part, in seconds after the part's beginning.
pub(super) fn after(from: Seconds, at: Seconds) -> f64 {
    // Whole tenths of a millisecond: finer than any onset is known, and short in the file.
    ((at - from).0 * 1e4).round() / 1e4
}

/// Bars as a player says them.
pub(super) fn bars_named((first, last): (i32, i32)) -> String {
    if first == last {
        format!("bar {first}")
    } else {
        format!("bars {first} to {last}")
    }
}
