//! Snapshots to draw: an invented tune with known drift, and every state of the window.

use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Attack, Note, Role};
use thumbline::music::tuning::Tuning;
use thumbline::recording::Recording;
use thumbline::unit::{Beats, Decibels, Seconds, Span};
use thumbline_plugin::snapshot::{
    AnalysisView, Peaks, RecordingView, RegionView, Snapshot, TakeView,
};

/// The tune: `bars` bars at 100 beats a minute from half a second on; thumb on the beats, melody
/// on 1 and after 2, 3 and 4, the one after 2 25 ms late.
pub fn tune(bars: usize) -> Analysis {
    let times: Vec<_> = (0..4 * bars)
        .map(|i| Seconds(0.5 + 0.6 * i as f64))
        .collect();
    let grid = Grid::from_beats(&times, 0, Meter::COMMON);
    let tuning = Tuning::dadgad();
    let mut notes = Vec::new();
    let mut add = |slot: f64, drift: f64, role, string: u8, fret: u8| {
        let at = grid.time_at(Beats(slot)).expect("on the grid");
        notes.push(Note {
            time: at + Span(drift),
            end: at + Span(drift + 0.4),
            role,
            role_confidence: 0.93,
            pitch: tuning.sounding(string, i32::from(fret)),
            string: Some(string),
            fret: Some(fret),
            attack: Attack::Pluck,
            strength: Decibels(-6.0),
            confidence: 0.9,
        });
    };
    for bar in 0..bars {
        let at = 4.0 * bar as f64;
        for (beat, string) in [(0.0, 6), (1.0, 4), (2.0, 5), (3.0, 4)] {
            add(at + beat, 0.003, Role::Bass, string, 0);
        }
        add(at, -0.002, Role::Melody, 1, 2);
        add(at + 1.5, 0.025, Role::Melody, 2, 3);
        add(at + 2.5, 0.001, Role::Melody, 1, 0);
        add(at + 3.5, -0.001, Role::Melody, 3, 2);
    }
    notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    Analysis {
        notes,
        grid,
        tuning_offset: None,
        tuning,
        end: Seconds(0.5 + 2.4 * bars as f64),
        warnings: Vec::new(),
    }
}

/// The tune, open and heard, its cautions read.
pub fn heard(bars: usize) -> Snapshot {
    let analysis = tune(bars);
    let frames = (analysis.end.0 * 8000.0) as usize;
    let sound = Recording::new("tune.wav", 8000, vec![vec![0.1; frames]]).expect("a recording");
    let mut snapshot = Snapshot {
        recording: RecordingView::Ready {
            name: "tune.wav".to_owned(),
            path: None,
            sound: Arc::new(sound),
        },
        analysis: AnalysisView::Ready(Arc::new(analysis)),
        peaks: Arc::new(Peaks {
            step: Span(0.01),
            range: (0..(frames / 80))
                .map(|i| (-0.5, 0.2 + 0.3 * (i % 60) as f32 / 60.0))
                .collect(),
        }),
        ..Snapshot::default()
    };
    snapshot.look.cautioned = true;
    snapshot
}

/// The same, looping bar 2.
pub fn looping() -> Snapshot {
    let mut snapshot = heard(8);
    snapshot.practice.loop_on = true;
    snapshot.practice.region = Some(RegionView {
        name: "Bar 2".to_owned(),
        from: Seconds(2.9),
        to: Seconds(5.3),
    });
    snapshot.transport.playing = true;
    snapshot.transport.position = Seconds(3.6);
    snapshot.dials.speed = 0.6;
    snapshot
}

/// The same with a take drawn over it, 30 ms ahead.
pub fn with_take() -> Snapshot {
    let mut snapshot = heard(8);
    let mut take = tune(8);
    take.notes.iter_mut().for_each(|n| n.time += Span(-0.030));
    snapshot.takes = Arc::new([TakeView {
        name: "take 1, all at 100 %".to_owned(),
        path: None,
        from: Seconds(0.0),
        to: take.end,
        analysis: Some(Arc::new(take)),
        answer: None,
        gone: false,
        shown: true,
    }]);
    snapshot
}
