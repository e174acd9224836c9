//! Opening a recording: growing prefixes that already play, then the whole.

use super::hearing::onset_table;
use super::{Desk, Hub, Open, locked};
use crate::jobs::Urgency;
use crate::session::RecordingRef;
use crate::shelf::{self, FileKey};
use crate::snapshot::{AnalysisView, Peaks};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Weak};
use thumbline::deck::resample::{ResampleError, to_rate};
use thumbline::deck::{Message, Track};
use thumbline::load::{Decoder, Part};
use thumbline::recording::{ContentHash, Recording};
use thumbline::unit::{Seconds, Span};

/// The first prefix that plays, in seconds; each further one is twice as long. At 150 % it lasts a
/// second, in which the next one is long ready; what is longer only delays the first sound.
const FIRST: f64 = 1.5;

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
        /// Its identity, where it is known already.
        hash: Option<ContentHash>,
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
    /// Length of the first prefix that plays: it reaches beyond the place where it starts.
    first: f64,
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
            first: match why {
                Why::Chosen => FIRST,
                Why::Restored | Why::Refitted => desk.store.lock().position.0 + FIRST,
            },
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
            if desk.heard.is_none() {
                // At once, so that nobody who waits for the analysis takes it for done.
                desk.analysis = AnalysisView::begun();
            }
            desk.tell_analysis();
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

    /// The file cannot be read any more, but its whole sound is here at the rate before: the host's
    /// change of rate need not silence it.
    fn in_memory(&self, hub: &Hub) -> Option<Reading> {
        let desk = locked(&hub.desk);
        let sound = desk.sound.clone()?;
        let hash = desk.hash?;
        (desk.why == Why::Refitted).then(|| Reading::Fitting {
            original: sound,
            hash: Some(hash),
            warnings: vec![format!(
                "{} cannot be read any more; it plays on from memory until it is closed",
                name_of(&self.path)
            )],
        })
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
                self.state = match Decoder::open(&self.path, Part::WHOLE) {
                    Ok(decoder) => Reading::Growing {
                        decoder,
                        until: self.first,
                    },
                    Err(error) => self.in_memory(hub).ok_or_else(|| error.to_string())?,
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
                    self.state = Reading::Fitting {
                        original,
                        hash: None,
                        warnings,
                    };
                }
            }
            Reading::Fitting {
                original,
                hash,
                warnings,
            } => {
                let hash = hash.unwrap_or_else(|| original.hash());
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

impl Desk {
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
            marks.tuning = marks.tuning.take().or(pending.tuning);
        }
        session.recording = Some(RecordingRef {
            name: name.to_owned(),
            path: path.to_owned(),
            hash: Some(hash),
        });
        session.remember(path.to_owned());
        drop(session);
        self.hash = Some(hash);
        if let Some(recorder) = &mut self.recorder {
            recorder.belongs_to(hash);
        }
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
