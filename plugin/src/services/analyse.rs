//! Listening: what is heard in a recording or a take, a player's corrections of it, how a take
//! answers a recording, how a round of the loop came out.

use super::decode::read_whole;
use super::{cache, drill};
use crate::job::Cancel;
use crate::snapshot::Answer as TakeAnswer;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::analysis::corrections::Corrections;
use thumbline::analysis::{self, Analysis, AnalysisError, Observer, Options, Stage, beat};
use thumbline::compare::{Comparison, Model, compare, compare_within};
use thumbline::deck::capture::Anchor;
use thumbline::home;
use thumbline::journal::{PracticeRound, Practised, rounds_of};
use thumbline::music::grid::Grid;
use thumbline::music::note::Note;
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;
use thumbline::recording::{ContentHash, Recording};
use thumbline::report;
use thumbline::timing::{self, Reference};
use thumbline::unit::{Seconds, Span};

/// What can be asked.
#[derive(Debug, Clone)]
pub enum Job {
    /// Hear a recording.
    Recording {
        /// Its sound, best at its own rate.
        sound: Arc<Recording>,
        /// Its identity.
        hash: ContentHash,
        /// Tuning and capo, where the player told them.
        tuning: Option<Tuning>,
    },
    /// Apply a player's corrections to what was heard.
    Correct {
        /// As it was heard.
        heard: Arc<Analysis>,
        /// The corrections.
        corrections: Box<Corrections>,
        /// The player's choice among the readings of the beat.
        reading: Option<beat::Edit>,
    },
    /// Hear a take.
    Take {
        /// Its file.
        path: PathBuf,
        /// The tuning it was played in, where it is known.
        tuning: Option<Tuning>,
    },
    /// Compare a take with a recording.
    Compare {
        /// The take's file, to know it by.
        path: PathBuf,
        /// What is heard in the recording.
        model: Arc<Analysis>,
        /// What was heard in the take, in its own time.
        take: Arc<Analysis>,
        /// The stretch of the recording it was played along with, where that is known.
        along: Option<(Seconds, Seconds)>,
    },
    /// How far is this round of the loop off the recording?
    Judge(Box<Judged>),
}

/// One round of the loop, as it was played.
#[derive(Debug, Clone)]
pub struct Judged {
    /// What is heard in the recording.
    pub model: Arc<Analysis>,
    /// The round's sound.
    pub frames: Vec<[f32; 2]>,
    /// Its rate in Hz.
    pub rate: u32,
    /// Frames of the take before it.
    pub before: u64,
    /// Where on the recording's timeline the take was played.
    pub places: Vec<Anchor>,
    /// Round trip to take off.
    pub latency: Span,
}

/// What comes of it.
#[derive(Debug, Clone)]
pub enum Answer {
    /// Share done, 0 to 1.
    Progress(f32),
    /// More places where something begins.
    Onsets(Arc<[Seconds]>),
    /// Notes with provisional roles and no grid.
    SoFar(Arc<Analysis>),
    /// A recording was heard.
    Heard(Arc<Analysis>),
    /// With the player's corrections.
    Corrected {
        /// What is shown and played to.
        analysis: Arc<Analysis>,
        /// Slots the player named: index of the note, the slot's instant.
        pins: Arc<[(usize, Seconds)]>,
        /// How the off-beats swing.
        swing: f64,
    },
    /// A take was heard.
    Take {
        /// Its file.
        path: PathBuf,
        /// In its own time.
        heard: Arc<Analysis>,
        /// Its sound.
        sound: Arc<Recording>,
    },
    /// A take's file is not there.
    TakeGone(PathBuf),
    /// A take was compared.
    Compared {
        /// Its file.
        path: PathBuf,
        /// How it answers.
        answer: Arc<TakeAnswer>,
    },
    /// The middle drift of the round; none where too few notes answer each other.
    Judged(Option<Span>),
    /// It came to nothing: why.
    Failed {
        /// The take it was about.
        take: Option<PathBuf>,
        /// One plain sentence.
        reason: String,
    },
}

/// Does a job in one go; the lane it runs in gives it up from within when it is cancelled.
pub fn run(job: &Job, cancel: &Cancel, say: &mut dyn FnMut(Answer)) {
    match job {
        Job::Recording {
            sound,
            hash,
            tuning,
        } => recording(sound, *hash, tuning.as_ref(), say),
        Job::Correct {
            heard,
            corrections,
            reading,
        } => say(corrected(heard, corrections, reading.as_ref())),
        Job::Take { path, tuning } => take(path, tuning.as_ref(), cancel, say),
        Job::Compare {
            path,
            model,
            take,
            along,
        } => {
            let found = against(model, &take.notes, *along);
            say(Answer::Compared {
                path: path.clone(),
                answer: Arc::new(TakeAnswer {
                    words: report::compare::sentences(&found, None),
                    found,
                    to: Arc::clone(model),
                }),
            });
        }
        Job::Judge(judged) => say(Answer::Judged(judge(judged))),
    }
}

/// A take's notes, in its own time, against what is heard in the recording, or in the stretch of it that it
/// was played `along` with.
pub fn against(model: &Analysis, take: &[Note], along: Option<(Seconds, Seconds)>) -> Comparison {
    let measured = timing::of(model, Reference::default());
    let model = Model {
        notes: &model.notes,
        grid: &model.grid,
        drifts: &measured.notes,
    };
    match along {
        Some(along) => compare_within(model, take, along),
        None => compare(model, take),
    }
}

/// The stretch of the recording that a take of `end` seconds at `rate` frames a second was played along
/// with; none where the recording did not run.
pub fn along(places: &[Anchor], rate: u32, end: Seconds) -> Option<(Seconds, Seconds)> {
    let until = |i: usize| {
        places
            .get(i + 1)
            .map_or(end.0 * f64::from(rate), |p| p.frame as f64)
    };
    let runs = places.iter().enumerate().filter(|(_, p)| p.speed > 0.0);
    let runs = runs.map(|(i, p)| {
        let frames = (until(i) - p.frame as f64).max(0.0);
        (p.at, p.at + Span(frames / f64::from(rate) * p.speed))
    });
    runs.reduce(|a, b| (Seconds(a.0.0.min(b.0.0)), Seconds(a.1.0.max(b.1.0))))
}

/// The rounds of a take for the journal.
pub fn rounds(found: &Comparison, practised: &Practised<'_>) -> Vec<PracticeRound> {
    rounds_of(found, practised)
}

fn recording(
    sound: &Recording,
    hash: ContentHash,
    tuning: Option<&Tuning>,
    say: &mut dyn FnMut(Answer),
) {
    if let Some(known) = cache::heard(hash, tuning).or_else(|| drill::known(hash, tuning)) {
        say(Answer::Heard(known));
        return;
    }
    let options = Options {
        tuning: tuning.cloned(),
        tunings: Presets::with_folder(home::presets().as_deref()).0.tunings,
    };
    let mut watch = Watch {
        end: sound.end(),
        onsets: Arc::from([]),
        told: 0.0,
        say: &mut *say,
    };
    match analysis::analyze(sound, &options, &mut watch) {
        Ok(heard) => {
            let heard = Arc::new(heard);
            cache::share_heard(hash, tuning.cloned(), &heard);
            say(Answer::Heard(heard));
        }
        Err(AnalysisError::Cancelled) => {}
    }
}

fn corrected(
    heard: &Arc<Analysis>,
    corrections: &Corrections,
    reading: Option<&beat::Edit>,
) -> Answer {
    let mut corrected = corrections.applied(heard);
    let mut edits = corrections.grid_edits();
    if let Some(reading) = reading {
        edits.list.insert(0, *reading);
    }
    if !edits.is_empty() {
        // By what was heard: a note that is put right moves no beat.
        let tracked = cache::tracker(heard).solve(&edits);
        corrected.grid = tracked.grid;
        corrected.warnings.extend(tracked.warnings);
    }
    let pins = corrections.pins(&corrected.notes);
    let reference = Reference::default();
    let swing = timing::measure(&corrected.notes, &corrected.grid, reference).off_beat();
    Answer::Corrected {
        analysis: Arc::new(corrected),
        pins: pins.into(),
        swing,
    }
}

fn take(path: &Path, tuning: Option<&Tuning>, cancel: &Cancel, say: &mut dyn FnMut(Answer)) {
    let failed = |reason: String| Answer::Failed {
        take: Some(path.to_owned()),
        reason,
    };
    let sound = match read_whole(path, cancel) {
        Ok(Some(sound)) => sound,
        Ok(None) => return,
        Err(_) if !path.is_file() => return say(Answer::TakeGone(path.to_owned())),
        Err(error) => return say(failed(error.to_string())),
    };
    let options = Options {
        tuning: tuning.cloned(),
        ..Options::default()
    };
    match analysis::analyze(&sound, &options, &mut ()) {
        Ok(heard) => say(Answer::Take {
            path: path.to_owned(),
            heard: Arc::new(heard),
            sound: Arc::new(sound),
        }),
        Err(AnalysisError::Cancelled) => {}
    }
}

/// Finds the recording's instant of a frame of a take: the last place at or before it leads there.
/// None while the recording rested.
fn instant(places: &[Anchor], frame: f64, rate: f64) -> Option<Seconds> {
    let after = places.partition_point(|p| p.frame as f64 <= frame);
    let place = places[after.saturating_sub(1)..].first()?;
    if place.speed == 0.0 || frame < place.frame as f64 {
        return None;
    }
    Some(place.at + Span((frame - place.frame as f64) / rate * place.speed))
}

/// What was heard in a take, moved onto the recording's timeline. `latency` is taken off first;
/// notes played while the recording rested have no place there.
pub fn on_timeline(take: &Analysis, places: &[Anchor], rate: u32, latency: Span) -> Analysis {
    let rate = f64::from(rate);
    let mut moved = take.clone();
    moved.notes = take
        .notes
        .iter()
        .filter_map(|note| {
            let frame = (note.time - latency).0 * rate;
            let time = instant(places, frame, rate)?;
            let end = instant(places, (note.end - latency).0 * rate, rate).unwrap_or(time);
            let mut note = note.clone();
            note.time = time;
            note.end = Seconds(end.0.max(time.0));
            Some(note)
        })
        .collect();
    moved.notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    moved
}

fn judge(round: &Judged) -> Option<Span> {
    let channels = vec![
        round.frames.iter().map(|f| f[0]).collect(),
        round.frames.iter().map(|f| f[1]).collect(),
    ];
    let sound = Recording::new("round", round.rate, channels).ok()?;
    let same = Options::tuned(round.model.tuning.clone());
    let heard = analysis::analyze(&sound, &same, &mut ()).ok()?;
    let before = round.before;
    let shifted: Vec<Anchor> = round
        .places
        .iter()
        .map(|p| Anchor {
            frame: p.frame.saturating_sub(before),
            at: if p.frame < before {
                p.at + Span((before - p.frame) as f64 / f64::from(round.rate) * p.speed)
            } else {
                p.at
            },
            speed: p.speed,
        })
        .collect();
    let last = shifted.iter().rposition(|p| p.frame == 0).unwrap_or(0);
    let places = &shifted[last..];
    let played = on_timeline(&heard, places, round.rate, round.latency);
    drift_of(&round.model, &played, along(places, round.rate, heard.end))
}

/// The middle of the take's drifts from the recording's own feel, without sign; none where fewer
/// than four notes answer each other.
fn drift_of(model: &Analysis, take: &Analysis, along: Option<(Seconds, Seconds)>) -> Option<Span> {
    let answer = against(model, &take.notes, along);
    let mut off: Vec<f64> = answer
        .pairs
        .iter()
        .map(|p| {
            (take.notes[p.take].time - model.notes[p.recording].time)
                .abs()
                .0
        })
        .collect();
    if off.len() < 4 {
        return None;
    }
    off.sort_by(f64::total_cmp);
    Some(Span(off[off.len() / 2]))
}

/// Tells of an analysis while it is under way.
struct Watch<'a> {
    end: Seconds,
    onsets: Arc<[Seconds]>,
    told: f32,
    say: &'a mut dyn FnMut(Answer),
}

impl Observer for Watch<'_> {
    fn progress(&mut self, stage: Stage, fraction: f32) {
        let done = stage.done(fraction);
        // Half a percent is less than anybody sees.
        if done >= self.told + 0.005 {
            self.told = done;
            (self.say)(Answer::Progress(done));
        }
    }

    fn onsets(&mut self, onsets: &[Seconds]) {
        self.onsets = self.onsets.iter().chain(onsets).copied().collect();
        (self.say)(Answer::Onsets(Arc::clone(&self.onsets)));
    }

    fn notes(&mut self, notes: &[Note]) {
        (self.say)(Answer::SoFar(Arc::new(Analysis {
            notes: notes.to_vec(),
            grid: Grid::default(),
            tuning_offset: None,
            tuning_course: Vec::new(),
            tuning: Tuning::standard(),
            guesses: Vec::new(),
            solo: thumbline::analysis::one_guitar::Solo::default(),
            end: self.end,
            alternatives: Vec::new(),
            warnings: Vec::new(),
        })));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_take_is_moved_by_place_speed_and_latency() {
        let places = [
            Anchor {
                frame: 0,
                at: Seconds(10.0),
                speed: 0.5,
            },
            Anchor {
                frame: 48_000,
                at: Seconds(10.0),
                speed: 0.0,
            },
            Anchor {
                frame: 96_000,
                at: Seconds(10.0),
                speed: 1.0,
            },
        ];
        let at = |frame: f64| instant(&places, frame, 48_000.0).map(|s| s.0);
        assert_eq!(at(24_000.0), Some(10.25));
        assert_eq!(at(60_000.0), None);
        assert_eq!(at(96_000.0 + 4_800.0), Some(10.1));
        assert_eq!(at(-1.0), None);
        assert_eq!(instant(&[], 0.0, 1.0), None);
    }
}
