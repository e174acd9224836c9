//! What a player marks: the recording, places, regions, corrections, practice.

use super::{Desk, Hub, Open, Why, locked, name_of};
use crate::jobs::Urgency;
use crate::session::{Region, mend_ladder};
use crate::snapshot::{AnalysisView, CaptureSource, Hear, Snap};
use crate::wish::Wish;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::analysis::correct::Correction;
use thumbline::deck::{Ladder, Message};
use thumbline::recording::Recording;
use thumbline::unit::Seconds;

/// Endings of the files that can be read, for the file dialog.
const ENDINGS: [&str; 12] = [
    "wav", "wave", "aif", "aiff", "flac", "mp3", "ogg", "oga", "m4a", "mp4", "aac", "caf",
];

impl Hub {
    /// Carries out a wish that is no parameter.
    pub(super) fn mark(&self, action: Wish) {
        match action {
            Wish::AskForRecording => self.ask(),
            Wish::Load(path) => self.choose(&path),
            Wish::Locate(path) => self.locate(path),
            Wish::Close => {
                self.dials.store.lock().recording = None;
                self.close();
            }
            Wish::OpenDemo => self.open_demo(),
            Wish::Cancel => self.cancel(),
            Wish::Analyse => self.analyse_again(),
            Wish::EditNote(edit) => self.edit(Correction::Note(edit)),
            Wish::EditGrid(edit) => self.edit(Correction::Grid(edit)),
            Wish::Undo => {
                locked(&self.desk).marks(|m| m.corrections.undo());
                self.correct();
            }
            Wish::Redo => {
                locked(&self.desk).marks(|m| m.corrections.redo());
                self.correct();
            }
            Wish::SetTuning(tuning) => {
                locked(&self.desk).marks(|m| m.tuning = tuning);
                self.analyse_again();
            }
            Wish::CaptureTrack(on) => self.record(CaptureSource::Track, on),
            Wish::CaptureTake(on) => self.record(CaptureSource::Take, on),
            Wish::Calibrate => self.calibrate(),
            Wish::ShowTake(index, shown) => {
                let unheard = {
                    let mut desk = locked(&self.desk);
                    if let Some(take) = desk.takes.get_mut(index) {
                        take.shown = shown;
                    }
                    desk.unheard_takes()
                };
                for take in unheard {
                    self.hear_take(take);
                }
            }
            Wish::Hear(hear) => self.hear(hear),
            Wish::ReadPage => self.read_page(),
            Wish::ForgetTake(index) => {
                let beside = {
                    let mut desk = locked(&self.desk);
                    desk.set(Wish::ForgetTake(index));
                    matches!(desk.hear, Hear::Beside(_))
                };
                // Whatever take was beside the recording may have another number now.
                if beside {
                    self.hear(Hear::default());
                }
            }
            Wish::Learn(control) => self.feet.listen_for(control),
            Wish::Unlearn(control) => {
                let mut session = self.dials.store.lock();
                session.learnt.retain(|(c, _)| *c != control);
                self.feet.learn_all(&session.learnt);
            }
            other => locked(&self.desk).set(other),
        }
    }

    fn ask(&self) {
        let hub = self.me.clone();
        // A dialog may block as long as the player likes: a thread of its own.
        let run = move || {
            let chosen = rfd::FileDialog::new()
                .set_title("Open a recording")
                .add_filter("Recordings", &ENDINGS)
                .pick_file();
            if let (Some(path), Some(hub)) = (chosen, hub.upgrade()) {
                hub.choose(&path);
            }
        };
        let thread = std::thread::Builder::new().name("thumbline asks".into());
        if let Err(error) = thread.spawn(run) {
            locked(&self.desk).notice(format!("No dialog can be opened: {error}"), true);
        }
    }

    pub(super) fn choose(&self, path: &Path) {
        let mut desk = locked(&self.desk);
        let missing = match &desk.open {
            Open::Missing { name, .. } => Some(name.clone()),
            _ => None,
        };
        if missing.is_some_and(|name| name == name_of(path)) {
            drop(desk);
            self.locate(path.to_owned());
            return;
        }
        desk.takes.clear();
        desk.store.lock().recording = Some(crate::session::RecordingRef {
            name: name_of(path),
            path: path.to_owned(),
            hash: None,
        });
        drop(desk);
        self.open(path, Why::Chosen);
    }

    /// A missing recording is at `path` now, if it sounds the same.
    fn locate(&self, path: PathBuf) {
        let hash = match &locked(&self.desk).open {
            Open::Missing { hash, .. } => *hash,
            _ => None,
        };
        let hub = self.me.clone();
        self.crew.read(Urgency::Sound, move || {
            let Some(hub) = hub.upgrade() else {
                return false;
            };
            match (thumbline::load::load(&path), hash) {
                (Ok(sound), Some(hash)) if sound.hash() != hash => locked(&hub.desk).notice(
                    format!(
                        "{} is another recording: it does not sound like the missing one",
                        name_of(&path)
                    ),
                    true,
                ),
                (Ok(_), _) => {
                    if let Some(known) = &mut hub.dials.store.lock().recording {
                        known.path.clone_from(&path);
                        known.name = name_of(&path);
                    }
                    hub.open(&path, Why::Restored);
                }
                (Err(error), _) => locked(&hub.desk).notice(error.to_string(), true),
            }
            false
        });
    }

    fn open_demo(&self) {
        let hub = self.me.clone();
        self.crew.read(Urgency::Sound, move || {
            let Some(hub) = hub.upgrade() else {
                return false;
            };
            match write_demo() {
                Ok(path) => {
                    hub.choose(&path);
                    // The demo says which tuning it is played in, as a player would.
                    let tuning = thumbline::demo::tune().tuning;
                    locked(&hub.desk).marks(|m| m.tuning = Some(tuning));
                }
                Err(reason) => locked(&hub.desk).notice(reason, true),
            }
            false
        });
    }

    fn cancel(&self) {
        let mut desk = locked(&self.desk);
        desk.listening += 1;
        if matches!(desk.analysis, AnalysisView::Working { .. }) {
            desk.analysis = AnalysisView::None;
        }
        if let Open::Loading { name, path, .. } = desk.open.clone() {
            desk.generation += 1;
            desk.open = if desk.sound.is_some() {
                Open::Ready { name, path }
            } else {
                Open::Empty
            };
        }
    }

    fn analyse_again(&self) {
        let known = {
            let mut desk = locked(&self.desk);
            desk.heard = None;
            let tuning = desk.marks(|m| m.tuning.clone());
            let path = match &desk.open {
                Open::Ready { path, .. } => Some(path.clone()),
                _ => None,
            };
            desk.hash
                .zip(desk.original.clone().or_else(|| desk.sound.clone()))
                .zip(path)
                .map(|((hash, sound), path)| (hash, sound, path, tuning))
        };
        let Some((hash, sound, path, tuning)) = known else {
            return;
        };
        // At the file's own rate, as at the first time.
        let hub = self.me.clone();
        let rate = sound.rate();
        self.crew.read(Urgency::Sight, move || {
            let Some(hub) = hub.upgrade() else {
                return false;
            };
            let own = match thumbline::load::load(&path) {
                Ok(own) if own.hash() == hash && own.rate() != rate => Arc::new(own),
                _ => Arc::clone(&sound),
            };
            hub.analyse(own, hash, tuning.clone());
            false
        });
    }

    fn edit(&self, correction: Correction) {
        locked(&self.desk).marks(|m| m.corrections.push(correction));
        self.correct();
    }

    /// Goes on to another kept region.
    pub(super) fn hop(&self, by: i32) {
        let mut desk = locked(&self.desk);
        let (regions, current) = desk.marks(|m| {
            let current = m.region.as_ref().and_then(|r| {
                m.regions
                    .iter()
                    .position(|k| k.from == r.from && k.to == r.to)
            });
            (m.regions.len() as i32, current.map(|i| i as i32))
        });
        if regions > 0 {
            let next = current.map_or(if by > 0 { by - 1 } else { by }, |i| i + by);
            desk.set(Wish::UseRegion(next.rem_euclid(regions) as usize));
        }
    }
}

/// Writes the built-in piece into the data folder, once.
fn write_demo() -> Result<PathBuf, String> {
    let dir = crate::reel::data_dir().join("demo");
    let piece = thumbline::demo::recording(44_100).map_err(|e| e.to_string())?;
    let path = dir.join(format!("{}.wav", piece.recording.name()));
    if path.is_file() {
        return Ok(path);
    }
    std::fs::create_dir_all(&dir).map_err(|e| e.to_string())?;
    let spec = hound::WavSpec {
        channels: piece.recording.channels().len() as u16,
        sample_rate: piece.recording.rate(),
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let unfinished = dir.join("unfinished.wav");
    let write = || -> Result<(), hound::Error> {
        let mut writer = hound::WavWriter::create(&unfinished, spec)?;
        for i in 0..piece.recording.frames() {
            for channel in piece.recording.channels() {
                writer.write_sample(channel[i])?;
            }
        }
        writer.finalize()
    };
    write().map_err(|e| e.to_string())?;
    std::fs::rename(&unfinished, &path).map_err(|e| e.to_string())?;
    Ok(path)
}

impl Desk {
    /// Carries out a wish that concerns marks and practice only.
    pub(super) fn set(&mut self, action: Wish) {
        match action {
            Wish::Seek(place) => self.send(Message::Seek(place)),
            Wish::SetRegion(ends) => {
                let region = ends
                    .map(|(a, b)| (self.snapped(a), self.snapped(b)))
                    .filter(|(a, b)| a.0 < b.0);
                self.loop_region(region);
            }
            Wish::SetBars(first, last) => {
                let range = self
                    .analysis
                    .ready()
                    .and_then(|a| a.grid.bar_range(first, last));
                if range.is_some() {
                    self.loop_region(range);
                }
            }
            Wish::KeepRegion(name) => self.marks(|m| {
                if let Some(region) = m.region.clone() {
                    m.regions.push(Region { name, ..region });
                    m.regions.sort_by(|a, b| a.from.total_cmp(&b.from));
                }
            }),
            Wish::UseRegion(index) => {
                if let Some(region) = self.marks(|m| m.regions.get(index).cloned()) {
                    let from = region.from;
                    self.marks(|m| m.region = Some(region));
                    self.tell_region();
                    self.send(Message::Seek(from));
                }
            }
            Wish::RenameRegion(index, name) => self.marks(|m| {
                if let Some(region) = m.regions.get_mut(index) {
                    region.name = name;
                }
            }),
            Wish::ForgetRegion(index) => self.marks(|m| {
                if index < m.regions.len() {
                    m.regions.remove(index);
                }
            }),
            Wish::ForgetTake(index) => {
                if index < self.takes.len() {
                    self.takes.remove(index);
                    self.marks(|m| {
                        if index < m.takes.len() {
                            m.takes.remove(index);
                        }
                    });
                }
            }
            Wish::Dismiss(id) => self.notices.retain(|n| n.id != id),
            other => self.practise(&other),
        }
        self.flush();
    }

    fn practise(&mut self, action: &Wish) {
        let mut session = self.store.lock();
        match *action {
            Wish::SetSnap(snap) => session.snap = snap,
            Wish::SetCountIn(bars) => session.count_in_bars = bars.min(2),
            Wish::SetRest(beats) => session.rest_beats = beats.min(16),
            Wish::SetLadder(ladder) => session.ladder = mend_ladder(ladder),
            Wish::SetClickRate(rate) => session.click_rate = rate,
            Wish::SetLatency(latency) => {
                session.latency_ms = latency.ms().clamp(-500.0, 500.0);
            }
            Wish::SetLook(look) => session.look = look.mended(),
            _ => {}
        }
        drop(session);
        self.tell_practice();
        if matches!(action, Wish::SetClickRate(_)) {
            self.tell_analysis();
        }
    }

    fn loop_region(&mut self, region: Option<(Seconds, Seconds)>) {
        self.marks(|m| {
            m.region = region.map(|(from, to)| Region {
                name: String::new(),
                from,
                to,
            });
        });
        self.tell_region();
    }

    /// The nearest place that loop ends hold on to.
    fn snapped(&self, place: Seconds) -> Seconds {
        let place = if place.0.is_finite() {
            Seconds(place.0.max(0.0))
        } else {
            Seconds(0.0)
        };
        let Some(analysis) = self.analysis.ready() else {
            return place;
        };
        let nearest = |places: &mut dyn Iterator<Item = Seconds>| {
            places.min_by(|a, b| (*a - place).abs().total_cmp(&(*b - place).abs()))
        };
        let beats = analysis.grid.beats();
        let found = match self.store.lock().snap {
            Snap::Free => None,
            Snap::Onset => nearest(&mut analysis.notes.iter().map(|n| n.time)),
            Snap::Beat => nearest(&mut beats.iter().map(|b| b.time)),
            Snap::Bar => {
                let bars = analysis.grid.bars();
                nearest(&mut bars.iter().flat_map(|b| [b.start, b.end]))
            }
        };
        found.unwrap_or(place)
    }

    fn tell_region(&mut self) {
        let region = self.marks(|m| m.region.as_ref().map(|r| (r.from, r.to)));
        self.send(Message::Region(region));
    }

    fn tell_practice(&mut self) {
        let (count_in, rest, ladder) = {
            let session = self.store.lock();
            (session.count_in_bars, session.rest_beats, session.ladder)
        };
        self.send(Message::CountIn(count_in));
        self.send(Message::Rest(rest));
        self.send(Message::Ladder(ladder.on.then_some(Ladder {
            start: ladder.start,
            step: ladder.step,
            rounds: ladder.rounds,
            top: ladder.top,
            asks: ladder.within_ms.is_some(),
        })));
    }

    /// Tells the deck everything that does not come with the recording.
    pub(super) fn restate(&mut self) {
        self.tell_region();
        self.tell_practice();
    }

    /// Gives a fresh player the recording that is open.
    pub(super) fn reload(&mut self, sound: &Arc<Recording>) {
        if let Some(track) = self.track(sound) {
            let place = self.store.lock().position;
            self.send(Message::Load(track));
            self.send(Message::Seek(place));
            self.tell_analysis();
        }
    }
}
