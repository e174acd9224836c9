//! What the pages ask of the library. Answers are whole values that views draw.

mod asked;
mod melody;

pub use asked::{Asked, tuning};
pub use melody::{Given, MelodyView, OfMelody, OffBeatView, off_beat};

use super::sound::Sound;
use crate::page_state::{DrillsPage, Exercise, NeckPage, OfPattern, PatternPage, TuningsPage};
use std::path::Path;
use std::sync::Arc;
use thumbline::dsp::pluck::Played;
use thumbline::home;
use thumbline::load::melody as files;
use thumbline::music::capo;
use thumbline::music::chord::{Chord, Shape, shapes};
use thumbline::music::drill::{Alone, Stage, Technique, What, alone};
use thumbline::music::guess;
use thumbline::music::hand::Hand;
use thumbline::music::key;
use thumbline::music::moves::{self, string_moves};
use thumbline::music::neck::{Mark, Neck, Question, Wire, harmonic_marks, wires};
use thumbline::music::picking::{
    Cell, NEAR, PatternReading, chords_heard, like, nearest, of_strokes,
};
use thumbline::music::pitch::Key;
use thumbline::music::progression;
use thumbline::music::tension;
use thumbline::music::tuning::Tuning;
use thumbline::preset::{self, Presets};
use thumbline::report::shapes as words;
use thumbline::unit::{Bpm, Seconds, Span};

/// Keys of the recording that are suggested.
const SUGGESTED: usize = 3;
/// Shapes of a chord that was typed.
const SHAPES: usize = 4;
/// Places of a capo that are named.
const CAPOS: usize = 3;

/// A question.
#[derive(Debug, Clone)]
pub enum Job {
    /// The presets, built in and the player's own.
    Presets,
    /// The neck.
    Neck(Box<OfNeck>),
    /// The picking pattern.
    Pattern(Box<Asked<PatternPage>>),
    /// Tunings.
    Tunings(Box<Asked<TuningsPage>>),
    /// Drills.
    Drills(Box<Asked<DrillsPage>>),
    /// A melody moved against the beat.
    OffBeat(Box<Asked<OfMelody>>),
    /// Adds an entry to one of the player's own presets files, under a name.
    Keep {
        /// The file.
        file: &'static str,
        /// The entry as the file has it.
        entry: String,
        /// What it is called.
        name: String,
    },
}

/// What came of it.
#[derive(Debug, Clone)]
pub enum Answer {
    /// The presets; what could not be read of the player's own.
    Presets(Arc<Presets>, Vec<String>),
    /// The neck, or why there is none.
    Neck(Result<Arc<NeckView>, String>),
    /// The pattern, or why there is none.
    Pattern(Result<Arc<PatternView>, String>),
    /// Tunings, or why there are none.
    Tunings(Result<Arc<TuningsView>, String>),
    /// A drill, or why there is none.
    Drills(Result<Arc<DrillsView>, String>),
    /// A melody, or why there is none.
    OffBeat(Result<Arc<OffBeatView>, String>),
    /// An entry was kept under this name, or was not: why.
    Kept(String, Option<String>),
}

/// What is asked of the neck.
pub type OfNeck = Asked<NeckQuestion>;

/// The neck's page, and the melody where one is to be put on it.
#[derive(Debug, Clone, PartialEq)]
pub struct NeckQuestion {
    /// What the page remembers.
    pub page: NeckPage,
    /// The melody; none while something else is shown.
    pub melody: Option<Given>,
}

/// A neck to draw.
#[derive(Debug, Clone, PartialEq)]
pub struct NeckView {
    /// The tuning's name.
    pub tuning_name: String,
    /// Is it the recording's tuning and capo?
    pub recordings: bool,
    /// The scale in it.
    pub neck: Neck,
    /// Likely scales of the recording with their odds, the likeliest first.
    pub suggested: Vec<(String, f64)>,
    /// All places of the scale; open strings are strong.
    pub notes: Vec<Mark>,
    /// The same; the path is strong.
    pub path: Vec<Mark>,
    /// Natural harmonics.
    pub harmonics: Vec<Mark>,
    /// Chords and their shapes: those that were typed, else the scale's.
    pub chords: Vec<(Chord, Vec<Shape>)>,
    /// The typed chords one after the other, a sentence each: the shape that moves least, what stays.
    pub changes: Vec<String>,
    /// Where a capo gives the scale's chords open strings, a sentence each.
    pub capos: Vec<String>,
    /// Where the frets lie.
    pub wires: Vec<Wire>,
    /// What to know before tuning up.
    pub strain: Option<String>,
    /// The melody on it, where one was asked for, or why it cannot be.
    pub melody: Option<Result<MelodyView, String>>,
}

/// Does a job in one go.
pub fn run(job: &Job, say: &mut dyn FnMut(Answer)) {
    match job {
        Job::Presets => {
            let (presets, left_out) = Presets::with_folder(home::presets().as_deref());
            let left_out = left_out.iter().map(ToString::to_string).collect();
            say(Answer::Presets(Arc::new(presets), left_out));
        }
        Job::Neck(asked) => say(Answer::Neck(neck(asked).map(Arc::new))),
        Job::Pattern(asked) => say(Answer::Pattern(pattern(asked).map(Arc::new))),
        Job::Tunings(asked) => say(Answer::Tunings(tunings(asked).map(Arc::new))),
        Job::Drills(asked) => say(Answer::Drills(drills(asked).map(Arc::new))),
        Job::OffBeat(asked) => say(Answer::OffBeat(off_beat(asked).map(Arc::new))),
        Job::Keep { file, entry, name } => {
            let kept = match home::presets() {
                Some(folder) => preset::keep(&folder, file, entry),
                None => Err("there is no home folder to keep it in".to_owned()),
            };
            say(Answer::Kept(name.clone(), kept.err()));
        }
    }
}

/// Answers what is asked of the neck.
pub fn neck(asked: &OfNeck) -> Result<NeckView, String> {
    let (page, presets) = (&asked.page.page, &*asked.presets);
    let heard = asked.heard.as_deref();
    let (tuning_name, tuning) = tuning(page.tuning.as_deref(), page.capo, heard, presets)?;
    let suggested: Vec<(String, f64)> = heard.map_or_else(Vec::new, |heard| {
        let offset = heard.tuning_offset.unwrap_or_default();
        let found = key::suggestions(&heard.notes, offset, &presets.scales);
        let found = found.into_iter().take(SUGGESTED);
        found.map(|(scale, odds)| (scale.name, odds)).collect()
    });
    let scale = match (&page.scale, suggested.first()) {
        (Some(text), _) => presets.scale(text),
        (None, Some((likeliest, _))) => presets.scale(likeliest),
        (None, None) => presets.scale("D major"),
    };
    let scale = scale.map_err(|e| e.to_string())?;
    let highest = page.frets.1;
    let question = Question {
        tuning: tuning.clone(),
        scale,
        from: None,
        to: None,
        highest,
    };
    let neck = Neck::of(&question).map_err(|e| e.to_string())?;
    let mm = page.scale_mm;
    let given = asked.page.melody.as_ref();
    Ok(NeckView {
        melody: given.map(|given| melody::on_neck(given, heard, &tuning, page)),
        tuning_name,
        recordings: heard.is_some_and(|h| h.tuning == tuning),
        suggested,
        notes: neck.marks(false, mm),
        path: neck.marks(true, mm),
        harmonics: harmonic_marks(&tuning, f64::from(highest), mm),
        chords: chords(&page.chords, &neck)?,
        changes: changes(page, &tuning)?,
        capos: capos(&neck, presets),
        wires: wires(mm, tuning.capo(), highest),
        strain: tension::warning(&tuning),
        neck,
    })
}

/// A pattern to draw, to hear and to drill.
#[derive(Debug, Clone, PartialEq)]
pub struct PatternView {
    /// What it is called.
    pub name: String,
    /// Its strokes.
    pub cell: Cell,
    /// What the recording repeats, where it repeats something.
    pub reading: Option<PatternReading>,
    /// What is to be said of the cell, a sentence each.
    pub sentences: Vec<String>,
    /// Known patterns near it, with their distance from it.
    pub nearest: Vec<(String, f64)>,
    /// The strings it is played on.
    pub tuning: Tuning,
    /// Its tempo.
    pub tempo: Bpm,
    /// Names of the chords it is played on; empty for open strings.
    pub chords: Vec<String>,
    /// It alone, to be heard.
    pub alone: Alone,
    /// It as something to be drilled.
    pub what: What,
    /// Its stages.
    pub stages: Vec<Stage>,
}

/// Known patterns near a cell that are named.
const NEAREST: usize = 3;
/// A tempo where the recording tells none.
const USUAL_TEMPO: Bpm = Bpm(84.0);

/// Answers what is asked of a pattern.
pub fn pattern(asked: &Asked<PatternPage>) -> Result<PatternView, String> {
    let (page, presets) = (&asked.page, &*asked.presets);
    let heard = asked.heard.as_deref();
    let (_, tuning) = tuning(None, None, heard, presets)?;
    let reading = heard.and_then(|h| PatternReading::of(&h.notes, &h.grid, &presets.patterns));
    let known = |name: &str| presets.pattern(name).map_err(|e| e.to_string());
    let own = page.own.cell().filter(|_| page.of == OfPattern::Own);
    let file = page.file.as_ref().filter(|_| page.of == OfPattern::File);
    let file = file.map(|path| written(path, &tuning)).transpose()?;
    let (name, cell) = match (
        own.map(|own| (OWN.to_owned(), own)).or(file),
        &page.of,
        &reading,
    ) {
        (Some(given), ..) => given,
        (None, OfPattern::Named(name), _) => {
            let known = known(name)?;
            (known.name.clone(), known.cell.clone())
        }
        (None, _, Some(reading)) => (
            "The recording’s pattern".to_owned(),
            reading.found.cell.clone(),
        ),
        (None, _, None) => {
            let known = known(FIRST)?;
            (known.name.clone(), known.cell.clone())
        }
    };
    let tempo = page
        .tempo
        .map(Bpm)
        .or_else(|| heard?.grid.tempo())
        .unwrap_or(USUAL_TEMPO);
    let chords = if !page.chords.trim().is_empty() {
        progression::named(&page.chords, &tuning).map_err(|e| e.to_string())?
    } else if let Some(heard) = heard.filter(|_| page.on_chords) {
        chords_heard(&heard.notes, &heard.grid, &heard.tuning, cell.bars)
    } else {
        Vec::new()
    };
    let recordings = reading.as_ref().filter(|r| r.found.cell == cell);
    let near = nearest(&cell, &presets.patterns).into_iter();
    let near: Vec<_> = near
        .map(|(p, d)| (p.name.clone(), d))
        .take(NEAREST)
        .collect();
    let sentences = recordings.map_or_else(
        || cell.senses_said().into_iter().chain(like(&near)).collect(),
        PatternReading::sentences,
    );
    let names = chords.iter().map(|h| h.chord.name.clone()).collect();
    let alone = alone(&cell, &tuning, tempo, &chords);
    let what = What::Pattern {
        name: name.clone(),
        cell: cell.clone(),
        chords,
    };
    let stages = what.stages(&tuning, tempo, page.bars);
    Ok(PatternView {
        nearest: near
            .into_iter()
            .filter(|(n, d)| *d < NEAR && *n != name)
            .collect(),
        chords: names,
        name,
        cell,
        reading,
        sentences,
        tuning,
        tempo,
        alone,
        what,
        stages,
    })
}

/// What the player's own pattern is called.
const OWN: &str = "Your own pattern";

/// The pattern that a file of written notes repeats, by the file's title.
fn written(path: &Path, tuning: &Tuning) -> Result<(String, Cell), String> {
    let plucked = files::plucked(path).map_err(|e| e.to_string())?;
    let cell = of_strokes(&plucked.strokes, plucked.meter, tuning);
    let cell = cell.ok_or_else(|| format!("{} has no pattern in it", path.display()))?;
    Ok((plucked.title, cell))
}

impl PatternView {
    /// It alone, round and round.
    pub fn sound(&self) -> Sound {
        Sound {
            name: self.name.clone(),
            strokes: self.alone.strokes.clone(),
            length: self.alone.length,
            again: true,
        }
    }
}

/// The pattern that is shown where no recording repeats one.
const FIRST: &str = "off-beat melody";

/// The typed chords, moving least and ringing most; nothing of fewer than two.
fn changes(page: &NeckPage, tuning: &Tuning) -> Result<Vec<String>, String> {
    if page.chords.split_whitespace().nth(1).is_none() {
        return Ok(Vec::new());
    }
    let held = progression::named(&page.chords, tuning).map_err(|e| e.to_string())?;
    let told = held.iter().map(|step| {
        let said = words::changes(step, tuning.capo());
        let shape = format!("{} {}", step.shape.name, step.shape.diagram());
        if said.is_empty() {
            shape
        } else {
            format!("{shape}: {}", said.join("; "))
        }
    });
    Ok(told.collect())
}

/// The best places of a capo for the scale's key; none for notes that are no known kind of scale.
fn capos(neck: &Neck, presets: &Presets) -> Vec<String> {
    let named = neck.scale.name.split_once(' ');
    let kind = named.and_then(|(_, kind)| presets.scales.iter().find(|k| k.name == kind));
    let (Some((tonic, _)), Some(kind)) = (named, kind) else {
        return Vec::new();
    };
    let found = capo::choices(tonic, kind, &neck.tuning).unwrap_or_default();
    let told = found.iter().take(CAPOS).map(|choice| {
        let place = match choice.capo {
            0 => "without a capo".to_owned(),
            fret => format!("capo {fret}"),
        };
        format!("{place} shapes of {}", choice.shapes_of)
    });
    told.collect()
}

fn chords(typed: &str, neck: &Neck) -> Result<Vec<(Chord, Vec<Shape>)>, String> {
    let words: Vec<&str> = typed
        .split([' ', ',', '|'])
        .filter(|word| !word.is_empty())
        .collect();
    if words.is_empty() {
        return Ok(neck.chords.clone());
    }
    let hand = Hand::with_capo(neck.tuning.capo());
    let read = |name: &&str| {
        let chord = Chord::parse(name).map_err(|e| e.to_string())?;
        let found = shapes(&chord, &neck.tuning, &hand, SHAPES);
        Ok((chord, found))
    };
    words.iter().map(read).collect()
}

/// Tunings to draw.
#[derive(Debug, Clone, PartialEq)]
pub struct TuningsView {
    /// Which tuning it is, as a heading.
    pub title: String,
    /// What the recording's may be instead, where it was guessed.
    pub guessed: Option<String>,
    /// The tuning.
    pub to: Tuning,
    /// Its name.
    pub to_name: String,
    /// Name of the one that it is compared with.
    pub from_name: String,
    /// Its strings, the lowest first.
    pub strings: Vec<StringRow>,
    /// What moves, a sentence each.
    pub moves: Vec<String>,
    /// What to know before tuning so: strained or slack strings.
    pub strain: Vec<String>,
}

/// One string of a tuning.
#[derive(Debug, Clone, PartialEq)]
pub struct StringRow {
    /// String, 1 = highest.
    pub string: u8,
    /// Its note, with octave.
    pub name: String,
    /// Its frequency, capo included.
    pub hz: f64,
    /// Where it comes from: `2 down`, `stays`.
    pub moved: String,
    /// Its pull as a share of what it is made for.
    pub pull: f64,
    /// A stroke that sounds it, to tune by, and how long that lasts.
    pub tone: Vec<Played>,
    /// How long it lasts.
    pub rings: Span,
}

/// A tone to tune by lasts so long.
const TONE: Span = Span(5.0);

/// Answers what is asked of tunings.
pub fn tunings(asked: &Asked<TuningsPage>) -> Result<TuningsView, String> {
    let (page, presets) = (&asked.page, &*asked.presets);
    let heard = asked.heard.as_deref();
    let (to_name, to) = tuning(page.to.as_deref(), page.capo, heard, presets)?;
    let standard = Some("standard");
    let (from_name, from) = tuning(page.from.as_deref().or(standard), None, None, presets)?;
    let from = from.with_capo(to.capo());
    let steps = string_moves(&from, &to);
    let pulls = tension::pulls(&to);
    let strings = (1..=to.strings()).rev().filter_map(|string| {
        let pitch = to.sounding(string, 0)?;
        let moved = steps.iter().find(|m| m.string == string).map(|m| m.frets());
        let pull = pulls.iter().find(|p| p.string == string);
        let start = Seconds(0.02);
        Some(StringRow {
            string,
            name: Key { fifths: 1 }.pitch_name(pitch.nearest()),
            hz: pitch.hz(),
            moved: match moved {
                None => "not there".to_owned(),
                Some(0) => "stays".to_owned(),
                Some(n) if n > 0 => format!("{n} down"),
                Some(n) => format!("{} up", -n),
            },
            pull: pull.map_or(1.0, |p| p.against_standard),
            tone: vec![Played::pluck(start, start + TONE, string, pitch, 0)],
            rings: TONE,
        })
    });
    let capo = match to.capo() {
        0 => String::new(),
        fret => format!(", capo {fret}"),
    };
    let recordings = heard.is_some_and(|h| h.tuning == to);
    let whose = match heard.filter(|_| recordings) {
        Some(heard) if heard.tuning_known() => ": the recording’s tuning",
        Some(_) => ": perhaps the recording’s tuning",
        None => "",
    };
    let said = heard
        .filter(|_| recordings)
        .map(|h| guess::told(&h.guesses));
    Ok(TuningsView {
        title: format!("{to_name}{capo}{whose}"),
        guessed: said
            .filter(|s| !s.is_empty())
            .map(|s| format!("Heard as {s}")),
        strings: strings.collect(),
        moves: moves::sentences(&steps),
        strain: [tension::warning(&to), tension::slack(&to)]
            .into_iter()
            .flatten()
            .collect(),
        to,
        to_name,
        from_name,
    })
}

/// A drill to draw and to open.
#[derive(Debug, Clone, PartialEq)]
pub struct DrillsView {
    /// What is drilled.
    pub what: What,
    /// On which strings.
    pub tuning: Tuning,
    /// The tuning's name.
    pub tuning_name: String,
    /// Its stages.
    pub stages: Vec<Stage>,
}

/// Answers what is asked of drills.
pub fn drills(asked: &Asked<DrillsPage>) -> Result<DrillsView, String> {
    let (page, presets) = (&asked.page, &*asked.presets);
    let heard = asked.heard.as_deref();
    let (tuning_name, tuning) = tuning(page.tuning.as_deref(), None, heard, presets)?;
    let scale = || presets.scale(&page.scale).map_err(|e| e.to_string());
    let what = match page.what {
        Exercise::Pattern => {
            let known = presets.pattern(&page.pattern).map_err(|e| e.to_string())?;
            let chords = match page.chords.trim() {
                "" => Vec::new(),
                typed => progression::named(typed, &tuning).map_err(|e| e.to_string())?,
            };
            What::Pattern {
                name: known.name.clone(),
                cell: known.cell.clone(),
                chords,
            }
        }
        Exercise::Scale => What::Scale(scale()?),
        Exercise::HammerOns => What::Technique(Technique::HammerOns, scale()?),
        Exercise::PullOffs => What::Technique(Technique::PullOffs, scale()?),
        Exercise::Slides => What::Technique(Technique::Slides, scale()?),
        Exercise::Harmonics => What::Harmonics,
    };
    let stages = what.stages(&tuning, Bpm(page.tempo), page.bars);
    Ok(DrillsView {
        what,
        tuning,
        tuning_name,
        stages,
    })
}
