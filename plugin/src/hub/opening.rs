//! Opening a recording: growing prefixes that already play, then the whole, then what is heard in
//! it.

use super::{Hub, Open, locked};
use crate::jobs::Urgency;
use crate::session::RecordingRef;
use crate::shelf::{self, FileKey};
use crate::snapshot::{AnalysisView, Hear, Peaks};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Weak};
use thumbline::analysis::{self, Analysis, Observer, Options, Stage, beat};
use thumbline::deck::resample::{ResampleError, to_rate};
use thumbline::deck::{ClickRate, Message, Pulse, Track};
use thumbline::load::{Decoder, Part};
use thumbline::music::tuning::Tuning;
use thumbline::recording::{ContentHash, Recording};
use thumbline::stretch::OnsetTable;
use thumbline::timing;
use thumbline::unit::{Seconds, Span};

/// The first prefix that plays, in seconds; each further one is twice as long.
const FIRST: f64 = 5.0;

/// Stretches in an outline.
const OUTLINE: usize = 3000;

/// Why a file is opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Why {
    /// The player chose it: from the start.
    Chosen,
    /// The saved state names it: to its place.
    Restored,
    /// The host changed its rate: go on as before.
    Refitted,
}

enum Reading {
    Opening,
    Growing {
        decoder: Decoder,
        until: f64,
    },
    Fitting {
        original: Arc<Recording>,
        warnings: Vec<String>,
    },
    Done,
}

struct Reader {
    hub: Weak<Hub>,
    generation: u64,
    path: PathBuf,
    key: Option<FileKey>,
    rate: u32,
    state: Reading,
}

/// A file's name without its folders.
pub(super) fn name_of(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    )
}

impl Hub {
    /// Opens `path`; what was being opened is given up.
    pub(super) fn open(&self, path: &Path, why: Why) {
        let mut desk = locked(&self.desk);
        desk.generation += 1;
        desk.why = why;
        desk.begun = false;
        let same = why == Why::Refitted;
        if !same {
            desk.heard = None;
            desk.analysis = AnalysisView::None;
            desk.hash = None;
            desk.original = None;
            desk.pins = Arc::from([]);
        }
        desk.forget_mix();
        desk.open = Open::Loading {
            name: name_of(path),
            path: path.to_owned(),
            progress: Some(0.0),
        };
        if desk.rate == 0 {
            // The host has not told its rate: opening waits for the activation.
            return;
        }
        let mut reader = Reader {
            hub: self.me.clone(),
            generation: desk.generation,
            path: path.to_owned(),
            key: FileKey::of(path),
            rate: desk.rate,
            state: Reading::Opening,
        };
        self.crew.read(Urgency::Sound, move || reader.step());
    }

    /// Opens again what is open, at the present rate.
    pub(super) fn refit(&self) {
        let path = {
            let desk = locked(&self.desk);
            match &desk.open {
                Open::Loading { path, .. } | Open::Ready { path, .. } => {
                    Some((path.clone(), desk.why, desk.begun))
                }
                _ => None,
            }
        };
        if let Some((path, why, begun)) = path {
            self.open(&path, if begun { Why::Refitted } else { why });
        }
    }

    /// A part of the recording is ready to be played.
    fn deliver(&self, generation: u64, sound: &Arc<Recording>, progress: Option<f32>) {
        let peaks = Arc::new(outline(sound));
        let onsets = {
            let desk = locked(&self.desk);
            if desk.generation != generation {
                return;
            }
            onset_table(desk.heard.as_deref(), sound)
        };
        let Ok(track) = Track::new(Arc::clone(sound), onsets, sound.rate()) else {
            return;
        };
        let mut desk = locked(&self.desk);
        if desk.generation != generation || desk.rate != sound.rate() {
            return;
        }
        desk.peaks = peaks;
        desk.sound = Some(Arc::clone(sound));
        if let Open::Loading { progress: p, .. } = &mut desk.open {
            *p = progress;
        }
        let track = Box::new(track);
        if desk.begun || desk.why == Why::Refitted {
            desk.send(Message::Replace(track));
        } else {
            desk.send(Message::Pulse(None));
            desk.send(Message::Load(track));
        }
        if !desk.begun {
            desk.begun = true;
            desk.restate();
            if desk.why != Why::Chosen {
                let place = desk.store.lock().position;
                desk.send(Message::Seek(place));
            }
        }
        desk.flush();
    }

    /// The whole recording is there.
    fn complete(
        &self,
        generation: u64,
        sound: &Arc<Recording>,
        original: Arc<Recording>,
        hash: ContentHash,
        warnings: Vec<String>,
    ) {
        self.deliver(generation, sound, Some(1.0));
        let tuning = {
            let mut desk = locked(&self.desk);
            if desk.generation != generation {
                return;
            }
            let Open::Loading { name, path, .. } = &desk.open else {
                return;
            };
            let (name, path) = (name.clone(), path.clone());
            desk.settle(&name, &path, hash);
            desk.open = Open::Ready { name, path };
            for warning in warnings {
                desk.notice(warning, false);
            }
            desk.restate();
            desk.flush();
            desk.marks(|m| m.tuning.clone())
        };
        self.read_page();
        let unheard = locked(&self.desk).unheard_takes();
        for take in unheard {
            self.hear_take(take);
        }
        let heard = locked(&self.desk).heard.is_some();
        if heard {
            self.correct();
        } else {
            self.analyse(original, hash, tuning);
        }
    }

    fn fail(&self, generation: u64, reason: String) {
        let mut desk = locked(&self.desk);
        if desk.generation != generation {
            return;
        }
        if let Open::Loading { name, .. } = &desk.open {
            let name = name.clone();
            desk.notice(reason.clone(), true);
            desk.open = Open::Failed { name, reason };
        }
    }

    /// Listens to the recording on the listening thread.
    pub(super) fn analyse(
        &self,
        original: Arc<Recording>,
        hash: ContentHash,
        tuning: Option<Tuning>,
    ) {
        let (generation, hub) = {
            let mut desk = locked(&self.desk);
            desk.listening += 1;
            desk.analysis = AnalysisView::Working { progress: 0.0 };
            desk.original = Some(Arc::clone(&original));
            (desk.listening, self.me.clone())
        };
        self.crew.listen(Urgency::Sight, move || {
            let result = if let Some(known) = shelf::heard(hash, tuning.as_ref()) {
                Ok(known)
            } else {
                let options = Options {
                    tuning: tuning.clone(),
                };
                let mut watch = Watch {
                    hub: hub.clone(),
                    generation,
                };
                analysis::analyze(&original, &options, &mut watch)
                    .map(Arc::new)
                    .map_err(|e| e.to_string())
            };
            if let Some(hub) = hub.upgrade() {
                if let Ok(heard) = &result {
                    shelf::share_heard(hash, tuning.clone(), heard);
                }
                hub.heard(generation, result);
            }
            false
        });
    }

    fn heard(&self, generation: u64, result: Result<Arc<Analysis>, String>) {
        {
            let mut desk = locked(&self.desk);
            if desk.listening != generation {
                return;
            }
            // The samples at the file's own rate are not needed any longer.
            desk.original = None;
            match result {
                Ok(heard) => desk.heard = Some(heard),
                Err(reason) => {
                    desk.analysis = AnalysisView::Failed(reason);
                    return;
                }
            }
        }
        self.correct();
    }

    /// Applies the player's corrections to what was heard, and tells the deck.
    pub(super) fn correct(&self) {
        let (heard, corrections, generation) = {
            let mut desk = locked(&self.desk);
            let Some(heard) = desk.heard.clone() else {
                return;
            };
            desk.correcting += 1;
            (
                heard,
                desk.marks(|m| m.corrections.clone()),
                desk.correcting,
            )
        };
        let hub = self.me.clone();
        self.crew.listen(Urgency::Sound, move || {
            let mut corrected = corrections.applied(&heard);
            let edits = corrections.grid_edits();
            if !edits.is_empty() {
                let tracked = beat::track(&corrected.notes, corrected.end, &edits);
                corrected.grid = tracked.grid;
                corrected.warnings.extend(tracked.warnings);
            }
            let pins = corrections.pins(&corrected.notes);
            if let Some(hub) = hub.upgrade() {
                hub.corrected(generation, Arc::new(corrected), pins.into());
            }
            false
        });
    }

    fn corrected(&self, generation: u64, analysis: Arc<Analysis>, pins: Arc<[(usize, Seconds)]>) {
        let swing = timing::measure(
            &analysis.notes,
            &analysis.grid,
            timing::Reference::default(),
        )
        .swing
        .map_or(0.5, |s| s.ratio / (1.0 + s.ratio));
        let mut desk = locked(&self.desk);
        if desk.correcting != generation {
            return;
        }
        desk.swing = swing;
        desk.analysis = AnalysisView::Ready(analysis);
        desk.pins = pins;
        desk.tell_analysis();
        desk.flush();
        let dial = desk.marks(|m| m.balance);
        if desk.hear == Hear::default() {
            desk.hear = Hear::Balance(dial);
        }
        drop(desk);
        self.answer_takes();
        self.mix();
    }
}

impl Reader {
    fn step(&mut self) -> bool {
        let Some(hub) = self.hub.upgrade() else {
            return false;
        };
        if locked(&hub.desk).generation != self.generation {
            return false;
        }
        match self.advance(&hub) {
            Ok(more) => more,
            Err(reason) => {
                hub.fail(self.generation, reason);
                false
            }
        }
    }

    fn stale(&self) -> bool {
        self.hub
            .upgrade()
            .is_none_or(|hub| locked(&hub.desk).generation != self.generation)
    }

    fn fit(&self, sound: &Arc<Recording>) -> Result<Option<Arc<Recording>>, String> {
        if sound.rate() == self.rate {
            return Ok(Some(Arc::clone(sound)));
        }
        let mut asked = 0u32;
        let go_on = || {
            asked += 1;
            !asked.is_multiple_of(64) || !self.stale()
        };
        match to_rate(sound, self.rate, go_on) {
            Ok(fitted) => Ok(Some(Arc::new(fitted))),
            Err(ResampleError::Cancelled) => Ok(None),
            Err(error) => Err(error.to_string()),
        }
    }

    fn advance(&mut self, hub: &Hub) -> Result<bool, String> {
        match std::mem::replace(&mut self.state, Reading::Done) {
            Reading::Opening => {
                if let Some((sound, hash)) =
                    self.key.as_ref().and_then(|k| shelf::by_file(k, self.rate))
                {
                    hub.complete(
                        self.generation,
                        &sound,
                        Arc::clone(&sound),
                        hash,
                        Vec::new(),
                    );
                    return Ok(false);
                }
                let decoder = Decoder::open(&self.path, Part::WHOLE).map_err(|e| e.to_string())?;
                self.state = Reading::Growing {
                    decoder,
                    until: FIRST,
                };
            }
            Reading::Growing { mut decoder, until } => {
                let more = decoder
                    .read_until(Seconds(until))
                    .map_err(|e| e.to_string())?;
                if more {
                    let prefix = Arc::new(decoder.prefix().map_err(|e| e.to_string())?);
                    let share = decoder.share().map(|s| s as f32);
                    if let Some(sound) = self.fit(&prefix)? {
                        hub.deliver(self.generation, &sound, share);
                    }
                    self.state = Reading::Growing {
                        decoder,
                        until: until * 2.0,
                    };
                } else {
                    let warnings = decoder.warnings();
                    let original = Arc::new(decoder.finish().map_err(|e| e.to_string())?);
                    self.state = Reading::Fitting { original, warnings };
                }
            }
            Reading::Fitting { original, warnings } => {
                let hash = original.hash();
                if let Some(sound) = self.fit(&original)? {
                    let sound = shelf::share(self.key.clone(), hash, sound);
                    hub.complete(self.generation, &sound, original, hash, warnings);
                }
            }
            Reading::Done => {}
        }
        Ok(!matches!(self.state, Reading::Done))
    }
}

struct Watch {
    hub: Weak<Hub>,
    generation: u64,
}

impl Observer for Watch {
    fn progress(&mut self, stage: Stage, fraction: f32) {
        // Reading notes takes most of the time.
        let (from, share) = match stage {
            Stage::Onsets => (0.0, 0.3),
            Stage::Notes => (0.3, 0.5),
            Stage::Roles => (0.8, 0.05),
            Stage::Beats => (0.85, 0.15),
        };
        if let Some(hub) = self.hub.upgrade() {
            let mut desk = locked(&hub.desk);
            if desk.listening == self.generation {
                desk.analysis = AnalysisView::Working {
                    progress: from + share * fraction,
                };
            }
        }
    }

    fn cancelled(&mut self) -> bool {
        self.hub
            .upgrade()
            .is_none_or(|hub| locked(&hub.desk).listening != self.generation)
    }
}

/// The onsets that the stretch engine keeps sharp: those heard, or until then its own reading.
pub(super) fn onset_table(heard: Option<&Analysis>, sound: &Arc<Recording>) -> Arc<OnsetTable> {
    match heard {
        Some(analysis) => {
            let frames = analysis
                .notes
                .iter()
                .map(|n| n.time.frame(sound.rate()))
                .collect();
            Arc::new(OnsetTable::cleaned(frames, sound.frames()))
        }
        None => Arc::new(thumbline::stretch::transient::onsets(sound)),
    }
}

impl super::Desk {
    /// Tells the deck what was heard.
    pub(super) fn tell_analysis(&mut self) {
        let (AnalysisView::Ready(analysis), Some(sound)) = (&self.analysis, &self.sound) else {
            return;
        };
        let onsets = onset_table(Some(analysis), sound);
        let click = match self.store.lock().click_rate {
            crate::snapshot::ClickRate::Beat => ClickRate::Beat,
            crate::snapshot::ClickRate::Half => ClickRate::Half,
            crate::snapshot::ClickRate::Third => ClickRate::Third,
            crate::snapshot::ClickRate::Quarter => ClickRate::Quarter,
        };
        let pulse = Pulse::new(&analysis.grid, sound.rate(), click, self.swing);
        self.send(Message::Onsets(onsets));
        self.send(Message::Pulse(pulse.map(Box::new)));
    }

    /// The recording's identity is known: its marks are found, and what was marked meanwhile is
    /// added to them.
    fn settle(&mut self, name: &str, path: &Path, hash: ContentHash) {
        let mut session = self.store.lock();
        let before = session.recording.as_ref().and_then(|r| r.hash);
        let changed = before.filter(|old| {
            *old != hash && session.recording.as_ref().is_some_and(|r| r.path == path)
        });
        if let Some(old) = changed
            && !session.marks.contains_key(&hash.to_string())
            && let Some(marks) = session.marks.get(&old.to_string()).cloned()
        {
            session.marks.insert(hash.to_string(), marks);
        }
        let pending = std::mem::take(&mut self.pending);
        if pending != crate::session::Marks::default() {
            let marks = session.marks.entry(hash.to_string()).or_default();
            if pending.region.is_some() {
                marks.region = pending.region;
            }
            marks.regions.extend(pending.regions);
        }
        session.recording = Some(RecordingRef {
            name: name.to_owned(),
            path: path.to_owned(),
            hash: Some(hash),
        });
        session.remember(path.to_owned());
        drop(session);
        self.hash = Some(hash);
        if changed.is_some() {
            self.notice(
                format!("{name} has changed since it was marked; the marks were kept"),
                false,
            );
        }
        self.load_takes();
    }
}

/// Lowest and highest sample of equal stretches.
fn outline(sound: &Recording) -> Peaks {
    let step = sound.frames().div_ceil(OUTLINE).max(1);
    let channels = sound.channels();
    let share = 1.0 / channels.len() as f32;
    let range = (0..sound.frames())
        .step_by(step)
        .map(|from| {
            let to = (from + step).min(sound.frames());
            let mut ends = (f32::MAX, f32::MIN);
            for i in from..to {
                let s = channels.iter().map(|c| c[i]).sum::<f32>() * share;
                ends = (ends.0.min(s), ends.1.max(s));
            }
            ends
        })
        .collect();
    Peaks {
        step: Span(step as f64 / f64::from(sound.rate())),
        range,
    }
}
