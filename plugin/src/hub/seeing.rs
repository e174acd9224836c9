//! What the window sees of a desk, and when it is woken.

use super::{Desk, Hub, Open, Take, locked};
use crate::params::Dials;
use crate::snapshot::{
    DialsView, LevelView, PracticeView, RecordingView, RegionView, Snapshot, TakeView,
    TransportView,
};
use nice_plug_egui::RepaintNotifier;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use thumbline::deck::Phase;
use thumbline::unit::{Seconds, Span};

impl Hub {
    /// Wakes this window when there is something new to show; none when it is closed.
    pub fn watch(&self, window: Option<RepaintNotifier>) {
        if window.is_some() {
            // Now there is somebody to tell.
            locked(&self.desk).find_cut_short();
        }
        *locked(&self.eye) = window.map(|window| (window, 0));
    }

    /// Wakes the window, if what it would show has changed.
    pub(super) fn nudge(&self) {
        if locked(&self.eye).is_none() {
            return;
        }
        let stamp = self.snapshot().stamp();
        if let Some((window, shown)) = &mut *locked(&self.eye)
            && *shown != stamp
        {
            *shown = stamp;
            window.request_repaint();
        }
    }

    /// Everything a view may draw, as it stands now.
    pub fn snapshot(&self) -> Snapshot {
        let mut desk = locked(&self.desk);
        desk.look();
        let dials = dials_view(&self.dials);
        let recording = desk.recording_view();
        let practice = self.practice_view(&mut desk);
        let session = desk.store.lock();
        let state = desk.state;
        Snapshot {
            recording,
            analysis: desk.analysis.clone(),
            transport: TransportView {
                playing: state.is_some_and(|s| s.phase != Phase::Stopped),
                position: state.map_or(session.position, |s| s.position),
                speed: state.map_or(dials.speed, |s| s.speed),
                count_in: state
                    .filter(|s| s.phase == Phase::CountIn)
                    .map(|s| s.beats_left),
                resting: state.is_some_and(|s| s.phase == Phase::Rest),
                round: state.map_or(0, |s| s.round),
                follows_host: dials.follow,
                bypassed: self.dials.bypass.value(),
            },
            peaks: Arc::clone(&desk.peaks),
            dials,
            practice,
            takes: desk.takes.iter().map(take_view).collect(),
            page: Arc::clone(&desk.page),
            capture: desk.capture(),
            recent: session.recent.clone().into(),
            level: LevelView {
                peak: state.map_or(0.0, |s| s.peak),
                reduction_db: state.map_or(0.0, |s| s.reduction_db),
            },
            notices: desk.notices.iter().cloned().collect(),
            host_rate: desk.rate,
            set_ups: self.set_ups.iter().map(|s| s.name.clone()).collect(),
            standalone: self.standalone.load(Ordering::Acquire),
            look: session.look,
        }
    }

    fn practice_view(&self, desk: &mut Desk) -> PracticeView {
        let view = |r: &crate::session::Region| RegionView {
            name: r.name.clone(),
            from: r.from,
            to: r.to,
        };
        let (region, regions, undoable, redoable) = desk.marks(|m| {
            (
                m.region.as_ref().map(view),
                m.regions.iter().map(view).collect::<Arc<[_]>>(),
                m.corrections.done().len(),
                m.corrections.redoable(),
            )
        });
        let current_region = region.as_ref().and_then(|r| {
            regions
                .iter()
                .position(|k| k.from == r.from && k.to == r.to)
        });
        let session = desk.store.lock();
        PracticeView {
            hear: desk.hear,
            mixing: desk.is_mixing(),
            loop_on: self.loop_on(),
            region,
            regions,
            current_region,
            snap: session.snap,
            count_in_bars: session.count_in_bars,
            rest_beats: session.rest_beats,
            ladder: session.ladder,
            click_rate: session.click_rate,
            latency: Span::from_ms(session.latency_ms),
            learning: self.feet.learning(),
            undoable,
            redoable,
            pins: Arc::clone(&desk.pins),
        }
    }

    fn loop_on(&self) -> bool {
        self.feet
            .looped
            .get()
            .unwrap_or_else(|| self.dials.looped.value())
    }
}

impl Desk {
    pub(super) fn recording_view(&self) -> RecordingView {
        match &self.open {
            Open::Empty => RecordingView::Empty,
            Open::Loading { name, progress, .. } => RecordingView::Loading {
                name: name.clone(),
                progress: *progress,
            },
            Open::Ready { name, path } => match &self.sound {
                Some(sound) => RecordingView::Ready {
                    name: name.clone(),
                    path: Some(path.clone()),
                    sound: Arc::clone(sound),
                },
                None => RecordingView::Empty,
            },
            Open::Missing { name, path, hash } => RecordingView::Missing {
                name: name.clone(),
                path: path.clone(),
                hash: *hash,
            },
            Open::Failed { name, reason } => RecordingView::Failed {
                name: name.clone(),
                reason: reason.clone(),
            },
        }
    }
}

fn take_view(take: &Take) -> TakeView {
    let ends = take
        .take
        .places
        .iter()
        .map(|p| p.at)
        .fold(None, |ends: Option<(Seconds, Seconds)>, at| {
            Some(ends.map_or((at, at), |(a, b)| {
                (Seconds(a.0.min(at.0)), Seconds(b.0.max(at.0)))
            }))
        })
        .unwrap_or((Seconds(0.0), Seconds(0.0)));
    TakeView {
        name: take.take.name.clone(),
        path: Some(take.take.path.clone()),
        from: ends.0,
        to: ends.1,
        analysis: take.analysis.clone(),
        answer: take.answer.clone(),
        shown: take.shown,
        gone: take.analysis.is_none() && !take.take.path.is_file(),
    }
}

fn dials_view(dials: &Dials) -> DialsView {
    DialsView {
        speed: f64::from(dials.speed.value()) / 100.0,
        pitch: f64::from(dials.pitch.value()) + f64::from(dials.cents.value()) / 100.0,
        gain_db: f64::from(dials.gain.value()),
        click: dials.click.value(),
        click_db: f64::from(dials.click_level.value()),
        channels: dials.channels.value(),
        through: dials.through.value(),
        follow: dials.follow.value(),
    }
}
