//! What the window sees of the state.

use crate::page_state::{Page, PageState};
use crate::session::{Edges, Region};
use crate::snapshot::{
    BesideView, CaptureView, LevelView, PracticeView, RecordingView, RegionView, Snapshot,
    StudyView, TakeView, TransportView,
};
use crate::state::{Stage, State, Take};
use std::sync::Arc;
use thumbline::deck::Phase;
use thumbline::unit::{Seconds, Span};

/// Everything a view may draw.
pub fn view(state: &State) -> Snapshot {
    let session = &state.session;
    let sounding = state.sounding;
    let phase = sounding.map(|s| s.phase);
    Snapshot {
        revision: state.revision,
        recording: recording(state),
        analysis: state.hearing.view.clone(),
        transport: TransportView {
            playing: phase.is_some_and(|p| p != Phase::Stopped),
            position: sounding.map_or(session.position, |s| s.position),
            speed: sounding.map_or(state.dials.speed, |s| s.speed),
            count_in: sounding
                .filter(|s| s.phase == Phase::CountIn)
                .map(|s| s.beats_left),
            resting: phase == Some(Phase::Rest),
            round: sounding.map_or(0, |s| s.round),
            rounds: state.capture.recording.and_then(|r| r.rounds),
            follows_host: state.dials.follow,
            bypassed: state.bypassed,
        },
        peaks: state.peaks(),
        dials: state.dials,
        practice: practice(state),
        takes: state.takes.iter().map(take).collect(),
        page: Arc::clone(&state.page),
        capture: capture(state),
        along: Arc::clone(&state.capture.along),
        folder: state.folder.clone(),
        recent: session.recent.clone().into(),
        level: LevelView {
            peak: sounding.map_or(0.0, |s| s.peak),
            input: sounding.map_or(0.0, |s| s.input),
            reduction_db: sounding.map_or(0.0, |s| s.reduction_db),
        },
        notices: state.notices.iter().cloned().collect(),
        host_rate: state.rate,
        set_ups: state.set_ups.iter().map(|s| s.name.clone()).collect(),
        standalone: state.program.is_some(),
        sound: state.program.as_ref().map(|p| Arc::clone(&p.sound)),
        look: session.look,
        page_state: Arc::new(session.page_state.clone()),
        study: study(state),
        beside: beside(state),
        pages: Arc::new(session.pages.clone()),
    }
}

fn recording(state: &State) -> RecordingView {
    let name = state.open.stage.name().unwrap_or_default();
    match &state.open.stage {
        Stage::Empty => RecordingView::Empty,
        Stage::Loading { progress, .. } => RecordingView::Loading {
            name,
            progress: *progress,
        },
        Stage::Ready(path) => match &state.open.part {
            Some(part) => RecordingView::Ready {
                name,
                path: Some(path.clone()),
                sound: Arc::clone(&part.sound),
            },
            None => RecordingView::Empty,
        },
        Stage::Missing { path, hash, .. } => RecordingView::Missing {
            name,
            path: path.clone(),
            hash: *hash,
        },
        Stage::Failed { reason, .. } => RecordingView::Failed {
            name,
            reason: reason.clone(),
        },
    }
}

fn study(state: &State) -> StudyView {
    let study = &state.study;
    StudyView {
        presets: Arc::clone(&study.presets),
        neck: study.neck.answer.clone(),
        pattern: study.pattern.answer.clone(),
        tunings: study.tunings.answer.clone(),
        strings: state.capture.tuning.map(|t| t.1),
        drills: study.drills.answer.clone(),
        off_beat: study.off_beat.answer.clone(),
        bars: state
            .bars()
            .filter(|_| state.session.page_state.page == Page::TakeAway),
        folder: state.folder(),
        written: study.written.clone(),
        undoable: on_page(state, &study.changes),
        redoable: on_page(state, &study.undone),
        making: study.drill.is_some(),
        fault: match state.session.page_state.page {
            Page::Sheet | Page::TakeAway => None,
            Page::Tunings => study.tunings.fault.clone(),
            Page::Drills => study.drills.fault.clone(),
            Page::OffBeat => study.off_beat.fault.clone(),
            Page::Neck => study.neck.fault.clone(),
            Page::Pattern => study.pattern.fault.clone(),
        },
    }
}

/// Is there one of the page in view among these?
fn on_page(state: &State, changes: &[PageState]) -> bool {
    changes
        .iter()
        .any(|d| d.page == state.session.page_state.page)
}

fn beside(state: &State) -> Option<BesideView> {
    let beside = state.beside.as_ref()?;
    let at = state.sounding.and_then(|s| s.aside);
    // Once over, a sound that comes once is none any more.
    (beside.again || beside.job.is_some() || at.is_some()).then(|| BesideView {
        name: beside.name.clone(),
        again: beside.again,
        length: beside.length,
        at: at.filter(|_| beside.job.is_none()),
    })
}

fn region(region: &Region) -> RegionView {
    RegionView {
        name: region.name.clone(),
        from: region.from,
        to: region.to,
        on_beats: region.edges == Edges::Beats,
    }
}

fn practice(state: &State) -> PracticeView {
    let session = &state.session;
    let marks = state.marks();
    let regions: Arc<[RegionView]> =
        marks.map_or_else(|| Arc::from([]), |m| m.regions.iter().map(region).collect());
    let looped = marks.and_then(|m| m.region.as_ref()).map(region);
    let current_region = looped.as_ref().and_then(|r| {
        let same = |k: &RegionView| k.from == r.from && k.to == r.to;
        regions.iter().position(same)
    });
    let made = state.mix.made.as_ref().map(|m| m.hear);
    PracticeView {
        hear: state.mix.hear,
        mixing: state.hearing.view.ready().is_some() && made.unwrap_or_default() != state.mix.hear,
        loop_on: state.loop_on,
        region: looped,
        regions,
        current_region,
        snap: session.snap,
        count_in_bars: session.count_in_bars,
        rest_beats: session.rest_beats,
        ladder: session.ladder,
        round_tone: session.round_tone,
        click_rate: session.click_rate,
        latency: Span::from_ms(session.latency_ms),
        learning: state.learning,
        undoable: marks.map_or(0, |m| m.corrections.done().len()),
        redoable: marks.map_or(0, |m| m.corrections.redoable()),
        tuning: marks.and_then(|m| m.tuning.clone()),
        reading: marks.and_then(|m| m.reading),
        pins: Arc::clone(&state.hearing.pins),
    }
}

fn take(take: &Take) -> TakeView {
    let places = &take.take.places;
    let from = places.iter().map(|p| p.at.0).min_by(f64::total_cmp);
    let to = places.iter().map(|p| p.at.0).max_by(f64::total_cmp);
    TakeView {
        name: take.take.name.clone(),
        path: Some(take.take.path.clone()),
        from: Seconds(from.unwrap_or(0.0)),
        to: Seconds(to.unwrap_or(0.0)),
        analysis: take.moved.clone(),
        answer: take.answer.clone(),
        shown: take.shown,
        gone: take.gone,
    }
}

fn capture(state: &State) -> CaptureView {
    if state.capture.calibrating.is_some() {
        return CaptureView::Calibrating;
    }
    match state.capture.recording {
        None => CaptureView::Off,
        Some(recorded) if recorded.length.0 > 0.0 => CaptureView::Running {
            source: recorded.source,
            length: recorded.length,
        },
        Some(recorded) => CaptureView::Armed(recorded.source),
    }
}
