//! Lessons made from a picking pattern, a scale path, a technique or a guitar's harmonics: stages, each
//! with its goal, what to say, a rule for the tempo and a rest.
//!
//! Owns what is practised and in which order; how it sounds is `dsp::pluck`, when each note falls is
//! `performance`. Pattern stages stay on open strings, so that the left hand rests, unless chords are
//! given. The order (thumb alone, say and mute, together, off the beat, backbeat click, silent bars)
//! is common practice, no source.

mod exercise;
mod session;
mod what;
mod writer;

pub use exercise::{
    Technique, chords_stage, harmonics_stage, ringing_stage, scale_stage, technique_stages,
};
pub use session::{Click, Session, WITHOUT_REST};
pub use what::{Alone, What, alone, twice};

use super::meter::Meter;
use super::note::{Attack, Role};
use super::picking::Cell;
use super::progression::Held;
use super::score::Score;
use super::syncopation::Sense;
use super::tuning::Tuning;
use crate::unit::{Bpm, Span};
use writer::{Writer, spoken_number};

/// Said once, before practice.
pub const CAUTION: &str = "Warm up first and rest when the lesson rests. Stop when anything hurts; force no \
stretch. Numbness, tingling or weakness means stop and seek help. Keep the level moderate.";

/// Which beats click while a stage is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Clicks {
    /// As the session has it: every beat or none.
    #[default]
    AsAsked,
    /// On two and four: the player keeps one and three.
    Backbeat,
    /// Every other bar.
    EveryOtherBar,
    /// Two bars with it, two in silence: does the next click fall on your beat?
    TwoAndTwo,
}

impl Clicks {
    /// Does beat `beat` of bar `bar` (both from 0) click?
    fn on(self, bar: usize, beat: usize, asked: bool) -> bool {
        match self {
            Self::AsAsked => asked,
            Self::Backbeat => beat % 2 == 1,
            Self::EveryOtherBar => bar.is_multiple_of(2),
            Self::TwoAndTwo => bar % 4 < 2,
        }
    }
}

/// One step of a lesson.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// What is practised, in a player's words.
    pub title: String,
    /// When it is good: what to hear before going on.
    pub goal: String,
    /// What to say aloud, where saying helps.
    pub say: Option<String>,
    /// When to go faster and when slower.
    pub tempo_rule: &'static str,
    /// Hands off afterwards, at least so long.
    pub rest: Span,
    /// Which beats click.
    pub clicks: Clicks,
    /// Share of a beat that its first half takes: 0.5 is straight.
    pub swing: f64,
    /// What is played, once through.
    pub score: Score,
}

/// The rule for the tempo of most stages.
const FASTER: &str = "Four times clean: 4 beats a minute faster. Twice spoiled: 8 slower.";
/// Of stages that are played slowly on purpose.
const SLOWLY: &str = "Stay at the slowest tempo until it is easy; speed comes in the next stages.";
/// Rest after a stage.
const REST: Span = Span(8.0);

impl Stage {
    fn new(title: &str, goal: &str, score: Score) -> Self {
        Self {
            title: title.to_owned(),
            goal: goal.to_owned(),
            say: None,
            tempo_rule: FASTER,
            rest: REST,
            clicks: Clicks::AsAsked,
            swing: 0.5,
            score,
        }
    }

    /// What a teacher says of it, in sentences: the goal, what to say aloud, the tempo and the rest.
    pub fn sentences(&self) -> Vec<String> {
        let mut said = vec![format!("Goal: {}.", self.goal)];
        said.extend(self.say.as_ref().map(|say| format!("Say: “{say}”.")));
        said.push(self.tempo_rule.to_owned());
        said.push(format!("Then rest {:.0} seconds.", self.rest.0));
        said
    }

    fn saying(mut self, words: String) -> Self {
        self.say = Some(words);
        self
    }

    fn clicking(mut self, clicks: Clicks) -> Self {
        self.clicks = clicks;
        self
    }
}

/// What a pattern becomes on open strings: see [`lesson`].
pub fn pattern_stages(
    name: &str,
    cell: &Cell,
    tuning: &Tuning,
    tempo: Bpm,
    bars: usize,
) -> Vec<Stage> {
    lesson(name, cell, tuning, tempo, bars, &[])
}

/// A pattern as a lesson of a few stages, each of `bars` bars (rounded up to whole cells), a chord a
/// cell where `chords` are given.
///
/// An arpeggio is planted as a block, rolled, then played whole. Everything else begins with the thumb
/// alone, is said and tapped on muted strings, then played with the melody on the beats it belongs to
/// (`syncopation::senses`); then notes are pushed ahead of their beat, then delayed behind it, to the
/// whole pattern. A pattern off the beat is played against a click on two and four and through silent
/// bars; one that swings first straight; chords are joined at last.
pub fn lesson(
    name: &str,
    cell: &Cell,
    tuning: &Tuning,
    tempo: Bpm,
    bars: usize,
    chords: &[Held],
) -> Vec<Stage> {
    let writer = Writer {
        name,
        cell,
        tuning,
        tempo,
        bars,
        chords,
    };
    let mut stages = if is_arpeggio(cell) {
        writer.arpeggio()
    } else {
        writer.against_the_thumb()
    };
    if cell.swing > 0.5
        && let Some(whole) = stages.last().cloned()
    {
        let mut swing = whole.clone();
        if let Some(straight) = stages.last_mut() {
            straight.title += ", straight";
        }
        swing.title += ", swung";
        swing.swing = cell.swing;
        "long and short are the same in every beat, and the thumb stays on the beat"
            .clone_into(&mut swing.goal);
        let beats = 1..=usize::from(cell.meter.beats().max(1));
        let long_short = beats.map(|n| format!("{}-a", spoken_number(n).to_uppercase()));
        stages.push(swing.saying(long_short.collect::<Vec<_>>().join(" ")));
    }
    let syncopated = cell
        .melody_senses()
        .iter()
        .any(|(_, s)| *s != Sense::Passing);
    if syncopated
        && !is_arpeggio(cell)
        && let Some(whole) = stages.last().cloned()
    {
        if cell.meter == Meter::COMMON {
            let mut back = whole.clone().clicking(Clicks::Backbeat);
            "the whole pattern, click on two and four".clone_into(&mut back.title);
            "you count one and three; the click answers".clone_into(&mut back.goal);
            stages.push(back);
        }
        let mut silent = whole.clicking(Clicks::TwoAndTwo);
        "the whole pattern, two bars with the click and two without".clone_into(&mut silent.title);
        "the click comes back on your beat".clone_into(&mut silent.goal);
        stages.push(silent);
    }
    if chords.len() > 1 {
        stages.push(writer.join());
    }
    stages
}

/// Does every slot sound in turn, with two or more fingers' strokes after a thumb's?
fn is_arpeggio(cell: &Cell) -> bool {
    let mut places: Vec<f64> = cell.notes.iter().map(|n| n.at.0).collect();
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    let Some(step) = places
        .windows(2)
        .map(|p| p[1] - p[0])
        .min_by(f64::total_cmp)
    else {
        return false;
    };
    let even = (places.len() as f64 * step - cell.beats()).abs() < 1e-6
        && places.windows(2).all(|p| (p[1] - p[0] - step).abs() < 1e-6);
    let special = cell
        .notes
        .iter()
        .any(|n| n.touch.brush.is_some() || n.attack != Attack::Pluck);
    let thumb = |at: f64| {
        cell.notes
            .iter()
            .any(|n| n.role == Role::Bass && (n.at.0 - at).abs() < 1e-6)
    };
    let run = places.windows(2).any(|p| !thumb(p[0]) && !thumb(p[1]));
    even && !special && step < 1.0 - 1e-6 && run && thumb(places[0])
}

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
