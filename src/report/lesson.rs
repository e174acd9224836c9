//! The lesson page: what a teacher hands to a student, one HTML file that plays without a network.
//!
//! Owns what stands in a page and the way from a recording, its notes and a choice of bars to the
//! file's bytes: [`page`] makes it, [`read`] gives back the settings it was made with. It hears
//! nothing and draws no note itself: the bars are `report::sheet`, the neck is `report::neck`, slow
//! sound is `stretch`, one hand alone is `separate`.
//!
//! - `part`: the phrase, a pattern, a stage of a drill: notes, beats and the loop they lie in.
//! - `sound`: a loop at one speed with its seam, encoded.
//! - `picture`: the bar sheet and the neck in the page's colours, every note addressable.
//! - `words`: what the teacher wrote, the notes in words.
//! - `html`: the file; `page.css` and `page.js` are its look and its behaviour.

mod contents;
mod html;
mod part;
mod picture;
mod settings;
mod sound;
mod words;

pub use contents::{Asked, Drilled, LONGEST, Lesson, LessonError, Phrase, PlanDay, Practice};
pub use settings::{NoLesson, Settings, read};

use crate::analysis::Analysis;
use crate::music::drill::{Stage, What, chords_stage, pattern_stages, ringing_stage};
use crate::music::picking::{self};
use crate::report::capitalised;
use crate::stretch::Speed;
use crate::unit::Bpm;

/// Speeds of a page where none are chosen.
pub const SPEEDS: [f64; 4] = [0.5, 0.6, 0.75, 1.0];

/// Most speeds of a page: keys 1 to 4 choose them.
pub const MOST_SPEEDS: usize = 4;

/// The page as one HTML file: the same bytes from the same lesson. `go_on` is asked between pieces
/// of work, from several threads.
///
/// Sound is 48 kHz Opus in Ogg (RFC 6716, RFC 7845), about 40 kB a second of the phrase for four
/// speeds and three balances.
///
/// # Errors
/// [`LessonError`]; nothing is written here.
pub fn page(lesson: &Lesson<'_>, go_on: &(dyn Fn() -> bool + Sync)) -> Result<String, LessonError> {
    let speeds = speeds(&lesson.settings.speeds)?;
    let phrase = part::phrase(&lesson.phrase)?;
    let mut parts = vec![phrase];
    for practice in &lesson.practice {
        parts.extend(part::practice(practice));
    }
    let sounds = sound::all(lesson, &parts, &speeds, go_on)?;
    Ok(html::write(lesson, &parts, &sounds))
}

/// Tempo of written practice where the recording has none that a hand plays.
const TEMPO: Bpm = Bpm(80.0);
/// Bars of a stage.
const STAGE: usize = 2;

/// Tempo at which the practice of a recording is played at 100 %.
pub fn tempo(heard: &Analysis) -> Bpm {
    let own = heard.grid.tempo();
    own.filter(|t| (30.0..=200.0).contains(&t.0))
        .unwrap_or(TEMPO)
}

/// The stages of the pattern that a recording repeats, from the thumb alone to all of it; empty where
/// none was found.
pub fn found_pattern(heard: &Analysis) -> Vec<Stage> {
    let placed = picking::place(&heard.notes, &heard.grid);
    let found = picking::find(&placed, heard.grid.meter);
    found.map_or_else(Vec::new, |found| {
        pattern_stages(
            "the pattern",
            &found.cell,
            &heard.tuning,
            tempo(heard),
            STAGE,
        )
    })
}

/// The pattern that a recording repeats, alone, on open strings; none where none was found.
pub fn pattern_alone(heard: &Analysis) -> Option<Practice> {
    // The last stage is all of it.
    let whole = found_pattern(heard).pop()?;
    Some(Practice {
        title: "The pattern alone".to_owned(),
        stages: vec![Stage {
            title: "on open strings".to_owned(),
            ..whole
        }],
        tempo: tempo(heard),
    })
}

/// Everything that is practised besides the bars: the pattern alone, then what is `asked`.
///
/// # Errors
/// [`LessonError`] where the recording or its guitar has not got it.
pub fn practice(heard: &Analysis, asked: &Asked) -> Result<Vec<Practice>, LessonError> {
    let (tempo, tuning) = (tempo(heard), &heard.tuning);
    let practised = |title: String, stages: Vec<Stage>| Practice {
        title,
        stages,
        tempo,
    };
    // The last step of its own drill is the pattern alone.
    let stepped = matches!(asked.drill, Some(Drilled::Found));
    let alone = pattern_alone(heard).filter(|_| !stepped);
    let mut all: Vec<Practice> = alone.into_iter().collect();
    match &asked.drill {
        Some(Drilled::Found) => {
            let stages = found_pattern(heard);
            if stages.is_empty() {
                return Err(LessonError::NoPattern);
            }
            let title = "Step by step: the pattern of this recording".to_owned();
            all.push(practised(title, stages));
        }
        Some(Drilled::Known(name, cell)) => {
            let stages = pattern_stages(name, cell, tuning, tempo, STAGE);
            all.push(practised(format!("Step by step: {name}"), stages));
        }
        None => {}
    }
    if !asked.chords.is_empty() {
        if !heard.tuning_known() {
            return Err(LessonError::Tuning);
        }
        let stage = chords_stage(&asked.chords, tuning, tempo);
        all.push(practised("Chords".to_owned(), vec![stage]));
    }
    if let Some(scale) = &asked.scale {
        let stage = ringing_stage(scale, tuning, tempo);
        let stage = stage.ok_or_else(|| LessonError::Scale(scale.name.clone()))?;
        all.push(practised(format!("Scale: {}", scale.name), vec![stage]));
    }
    let techniques = asked.techniques.iter().cloned();
    let mut others: Vec<What> = techniques.map(|(t, s)| What::Technique(t, s)).collect();
    others.extend(asked.harmonics.then_some(What::Harmonics));
    if !others.is_empty() && !heard.tuning_known() {
        return Err(LessonError::Tuning);
    }
    all.extend(others.iter().map(|what| {
        let stages = what.stages(tuning, tempo, STAGE);
        practised(capitalised(&what.name()), stages)
    }));
    Ok(all)
}

/// The bars that a page is made of where none are chosen: from the first one on, as many as are
/// usually worked on at once.
pub fn usual_bars(heard: &Analysis) -> Option<(i32, i32)> {
    const USUAL: i32 = 4;
    let bars = heard.grid.bars();
    let last = bars.last()?.number;
    let first = bars.iter().map(|b| b.number).find(|n| *n >= 1)?;
    Some((first, last.min(first + USUAL - 1)))
}

fn speeds(given: &[f64]) -> Result<Vec<Speed>, LessonError> {
    let speeds: Vec<Speed> = given.iter().filter_map(|s| Speed::new(*s).ok()).collect();
    if speeds.len() != given.len() || !(1..=MOST_SPEEDS).contains(&speeds.len()) {
        return Err(LessonError::Speeds(given.len()));
    }
    Ok(speeds)
}
