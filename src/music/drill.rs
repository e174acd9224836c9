//! Lessons made from a picking pattern, a scale path, a technique or a guitar's harmonics: stages, each
//! with its goal, what to say, a rule for the tempo and a rest.
//!
//! Owns what is practised and in which order; how it sounds is `dsp::pluck`, when each note falls is
//! `performance`. Pattern stages stay on open strings, so that the left hand rests, unless chords are
//! given. The order (thumb alone, say and mute, together, off the beat, backbeat click, silent bars)
//! is common practice, no source.

mod exercise;
mod lesson;
mod session;
mod stage;
mod what;
mod writer;

pub use exercise::{
    Technique, chords_stage, harmonics_stage, ringing_stage, scale_stage, technique_stages,
};
pub use lesson::{lesson, pattern_stages};
pub use session::{Click, Session, WITHOUT_REST};
pub use stage::{Clicks, Stage};
pub use what::{Alone, What, alone, twice};

use super::score::Score;

/// Said once, before practice.
pub const CAUTION: &str = "Warm up first and rest when the lesson rests. Stop when anything hurts; force no \
stretch. Numbness, tingling or weakness means stop and seek help. Keep the level moderate.";

/// All stages one after the other as one piece, in whole bars; none of no stages.
pub fn joined(stages: &[Stage]) -> Option<Score> {
    let mut whole = stages.first()?.score.clone();
    whole.title = if let [one] = stages {
        one.title.clone()
    } else {
        let name = whole.title.split(": ").next();
        name.unwrap_or_default().to_owned()
    };
    whole.notes.clear();
    let mut bars = 0;
    for stage in stages {
        let start = bars as f64 * f64::from(whole.meter.beats().max(1));
        for note in &stage.score.notes {
            let mut note = note.clone();
            note.at.0 += start;
            whole.notes.push(note);
        }
        bars += stage.score.bars();
    }
    Some(whole)
}
