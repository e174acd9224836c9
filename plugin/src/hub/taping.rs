//! Recording: the track as a recording of its own, takes against the recording, and the
//! measurement of the round-trip latency.

use super::keeping::{Heard, Unkept, against};
use super::{Desk, Hub, Take, locked};
use crate::jobs::Urgency;
use crate::reel::{self, Recorder};
use crate::session::TakeRef;
use crate::snapshot::{CaptureSource, CaptureView};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::analysis::{self, Analysis, Options};
use thumbline::deck::capture::{Place, Reel, Source, tap};
use thumbline::deck::{Message, calibrate};
use thumbline::journal::Moment;
use thumbline::recording::Recording;
use thumbline::unit::{Seconds, Span};

/// Seconds of sound that may wait to be written while the keeping thread is held up.
const ROOM: f64 = 20.0;

/// A calibration under way.
pub(super) struct Listening {
    reel: Reel,
    frames: Vec<[f32; 2]>,
    places: Vec<Place>,
}

/// The round being recorded, for the ladder to judge.
#[derive(Default)]
pub(super) struct Round {
    frames: Vec<[f32; 2]>,
    /// Frames of the take before it.
    before: u64,
}

/// Finds the recording's instant of a frame of a take: the last place at or before it leads there.
/// None while the recording rested.
fn instant(places: &[Place], frame: f64, rate: f64) -> Option<Seconds> {
    let after = places.partition_point(|p| p.frame as f64 <= frame);
    let place = places[after.saturating_sub(1)..].first()?;
    if place.speed == 0.0 || frame < place.frame as f64 {
        return None;
    }
    Some(place.at + Span((frame - place.frame as f64) / rate * place.speed))
}

/// What was heard in a take, moved onto the recording's timeline. `latency` is taken off first;
/// notes played while the recording rested have no place there.
pub fn on_timeline(take: &Analysis, places: &[Place], rate: u32, latency: Span) -> Analysis {
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

impl Hub {
    /// Arms or stops a recording.
    pub(super) fn record(&self, source: CaptureSource, on: bool) {
        let mut desk = locked(&self.desk);
        if !on {
            desk.send(Message::StopRecording);
            desk.flush();
            return;
        }
        if desk.recorder.is_some() || desk.deck.is_none() {
            let text = if desk.deck.is_none() {
                "Recording needs the host to be running its audio"
            } else {
                "A recording is under way already"
            };
            desk.notice(text.into(), false);
            return;
        }
        let from = match source {
            CaptureSource::Track => Source::Track,
            CaptureSource::Take => Source::Take,
        };
        let (tap, reel) = tap(from, desk.rate, ROOM);
        match Recorder::start(from, reel, desk.hash) {
            Ok(recorder) => {
                desk.recorder = Some(recorder);
                desk.round = Round::default();
                desk.send(Message::Record(tap));
                desk.flush();
            }
            Err(error) => desk.notice(format!("Nothing can be recorded: {error}"), true),
        }
    }

    /// Plays clicks and listens for them.
    pub(super) fn calibrate(&self) {
        let mut desk = locked(&self.desk);
        if desk.deck.is_none() || desk.listening_for.is_some() {
            return;
        }
        let (tap, reel) = tap(Source::Take, desk.rate, ROOM);
        desk.listening_for = Some(Listening {
            reel,
            frames: Vec::new(),
            places: Vec::new(),
        });
        desk.send(Message::Calibrate(tap));
        desk.flush();
    }

    /// Keeps recordings going; called by the keeping thread.
    pub(super) fn tend_tape(&self) {
        let finished = {
            let mut desk = locked(&self.desk);
            desk.tend_calibration();
            let judged = desk.ladder_judges();
            let desk = &mut *desk;
            let Some(recorder) = &mut desk.recorder else {
                return;
            };
            recorder.tend(judged.then_some(&mut desk.round.frames));
            if recorder.finished() {
                desk.recorder.take()
            } else {
                None
            }
        };
        if let Some(recorder) = finished {
            self.taped(recorder);
        }
    }

    fn taped(&self, recorder: Recorder) {
        let taped = recorder.close();
        {
            let mut desk = locked(&self.desk);
            if let Some(fault) = taped.fault {
                desk.notice(
                    format!(
                        "The recording stopped after {:.1} s, which are kept: {fault}",
                        taped.length.0
                    ),
                    true,
                );
                desk.send(Message::StopRecording);
                desk.flush();
            }
            let lost = desk.state.map_or(0, |state| state.dropped) as f64 / f64::from(desk.rate);
            if lost > 0.0 {
                desk.notice(
                    format!("{lost:.1} s are missing in the recording: the computer was too busy"),
                    true,
                );
            }
        }
        let Some(path) = taped.path else {
            locked(&self.desk).notice("Nothing was recorded".into(), false);
            return;
        };
        match taped.source {
            Source::Track => self.choose(&path),
            Source::Take => {
                let take = locked(&self.desk).keep_take(path, taped.places);
                self.hear_take(take);
            }
        }
    }

    /// Analyses a take.
    pub(super) fn hear_take(&self, take: TakeRef) {
        let hub = self.me.clone();
        self.crew.listen(Urgency::Sight, move || {
            let heard = thumbline::load::load(&take.path)
                .map_err(|e| e.to_string())
                .and_then(|sound| {
                    analysis::analyze(&sound, &Options::default(), &mut ())
                        .map(|heard| (heard, Arc::new(sound)))
                        .map_err(|e| e.to_string())
                });
            let Some(hub) = hub.upgrade() else {
                return false;
            };
            let mut desk = locked(&hub.desk);
            match heard {
                Ok((heard, sound)) => {
                    let latency = Span::from_ms(desk.store.lock().latency_ms);
                    let moved = on_timeline(&heard, &take.places, sound.rate(), latency);
                    let known = desk.takes.iter_mut().find(|t| t.take.path == take.path);
                    if let Some(known) = known {
                        let unkept = std::mem::take(&mut known.fresh).then(|| Unkept {
                            ended: Moment::now(),
                            sound,
                        });
                        known.analysis = Some(Arc::new(moved));
                        known.heard = Some(Heard {
                            analysis: Arc::new(heard),
                            unkept,
                        });
                    }
                    drop(desk);
                    hub.answer_takes();
                }
                Err(reason) => desk.notice(format!("{}: {reason}", take.name), true),
            }
            false
        });
    }

    /// A round of the loop ended while a take was recorded and the ladder asks how it was.
    pub(super) fn judge_round(&self) {
        let (frames, places, rate, before) = {
            let mut desk = locked(&self.desk);
            if !desk.ladder_judges() {
                return;
            }
            let Some(recorder) = &desk.recorder else {
                return;
            };
            let (places, rate) = (recorder.places.clone(), recorder.rate());
            let frames = std::mem::take(&mut desk.round.frames);
            let before = desk.round.before;
            desk.round.before += frames.len() as u64;
            (frames, places, rate, before)
        };
        let hub = self.me.clone();
        self.crew.listen(Urgency::Sound, move || {
            if let Some(hub) = hub.upgrade() {
                hub.judge(&frames, &places, rate, before);
            }
            false
        });
    }

    fn judge(&self, frames: &[[f32; 2]], places: &[Place], rate: u32, before: u64) {
        let (model, latency, within) = {
            let desk = locked(&self.desk);
            let session = desk.store.lock();
            let Some(model) = desk.analysis.ready().cloned() else {
                return;
            };
            let Some(within) = session.ladder.within_ms else {
                return;
            };
            (model, Span::from_ms(session.latency_ms), within)
        };
        let channels = vec![
            frames.iter().map(|f| f[0]).collect(),
            frames.iter().map(|f| f[1]).collect(),
        ];
        let Ok(sound) = Recording::new("round", rate, channels) else {
            return;
        };
        let Ok(heard) = analysis::analyze(&sound, &Options::default(), &mut ()) else {
            return;
        };
        let shifted: Vec<Place> = places
            .iter()
            .map(|p| Place {
                frame: p.frame.saturating_sub(before),
                at: if p.frame < before {
                    p.at + Span((before - p.frame) as f64 / f64::from(rate) * p.speed)
                } else {
                    p.at
                },
                speed: p.speed,
            })
            .collect();
        let last = shifted.iter().rposition(|p| p.frame == 0).unwrap_or(0);
        let round = on_timeline(&heard, &shifted[last..], rate, latency);
        let mut desk = locked(&self.desk);
        if let Some(drift) = drift_of(&model, &round)
            && drift.ms() <= within
        {
            desk.send(Message::Climb);
            desk.flush();
        }
    }
}

/// The middle of the take's drifts from the recording's own feel, without sign; none where fewer
/// than four notes answer each other.
fn drift_of(model: &Analysis, take: &Analysis) -> Option<Span> {
    let answer = against(model, &take.notes);
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

impl Desk {
    fn ladder_judges(&self) -> bool {
        let ladder = self.store.lock().ladder;
        ladder.on
            && ladder.within_ms.is_some()
            && self
                .recorder
                .as_ref()
                .is_some_and(|r| r.source == Source::Take)
    }

    /// What is being recorded.
    pub(super) fn capture(&self) -> CaptureView {
        if self.listening_for.is_some() {
            return CaptureView::Calibrating;
        }
        match &self.recorder {
            None => CaptureView::Off,
            Some(recorder) => {
                let source = match recorder.source {
                    Source::Track => CaptureSource::Track,
                    Source::Take => CaptureSource::Take,
                };
                let length = recorder.length();
                if length.0 > 0.0 {
                    CaptureView::Running { source, length }
                } else {
                    CaptureView::Armed(source)
                }
            }
        }
    }

    fn tend_calibration(&mut self) {
        let Some(listening) = &mut self.listening_for else {
            return;
        };
        listening
            .reel
            .drain(&mut listening.frames, &mut listening.places);
        if !listening.reel.finished() {
            return;
        }
        let rate = listening.reel.rate();
        let mono: Vec<f32> = listening.frames.iter().map(|f| f[0] + f[1]).collect();
        self.listening_for = None;
        match calibrate::latency(&mono, rate) {
            Some(latency) => {
                self.store.lock().latency_ms = latency.ms();
                self.notice(format!("Round trip: {:.1} ms", latency.ms()), false);
            }
            None => self.notice(
                "The clicks were not heard: is the input connected, the click loud enough?".into(),
                false,
            ),
        }
    }

    /// Adds a take to the marks.
    fn keep_take(&mut self, path: PathBuf, places: Vec<Place>) -> TakeRef {
        let take = TakeRef {
            name: format!("take {}", self.takes.len() + 1),
            path,
            places,
        };
        self.marks(|m| m.takes.push(take.clone()));
        self.takes.push(Take {
            fresh: true,
            ..Take::new(take.clone())
        });
        take
    }

    /// Takes of the recording that is open, from its marks, and those that were cut short.
    pub(super) fn load_takes(&mut self) {
        let takes = self.marks(|m| m.takes.clone());
        self.takes = takes.into_iter().map(Take::new).collect();
        if self.hash.is_none() {
            return;
        }
        for (path, places) in reel::cut_short(Source::Take, self.hash) {
            let take = self.keep_take(path, places);
            let text = format!(
                "A take was cut short; what was recorded is kept as {}",
                take.name
            );
            self.notice(text, false);
        }
    }

    /// Recordings of the track that were cut short go to the head of the recent ones.
    pub(super) fn find_cut_short(&mut self) {
        for (path, _) in reel::cut_short(Source::Track, None) {
            let text = format!(
                "A recording was cut short; what was recorded is kept as {}",
                super::opening::name_of(&path)
            );
            self.store.lock().remember(path);
            self.notice(text, false);
        }
    }

    /// Analyses of the takes whose files are there and that have none yet.
    pub(super) fn unheard_takes(&self) -> Vec<TakeRef> {
        self.takes
            .iter()
            .filter(|t| t.analysis.is_none() && t.shown && Path::new(&t.take.path).is_file())
            .map(|t| t.take.clone())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_take_is_moved_by_place_speed_and_latency() {
        let places = [
            Place {
                frame: 0,
                at: Seconds(10.0),
                speed: 0.5,
            },
            Place {
                frame: 48_000,
                at: Seconds(10.0),
                speed: 0.0,
            },
            Place {
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
