//! Snapshots to draw: an invented tune with known drift, and every state of the window.

use std::sync::Arc;
use thumbline::along::Answer as Told;
use thumbline::analysis::Analysis;
use thumbline::compare::{Model, compare};
use thumbline::journal::{HandFigure, Moment, PracticeDay, PracticeRound};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Attack, Note, Role};
use thumbline::music::tuning::Tuning;
use thumbline::recording::{ContentHash, Recording};
use thumbline::timing::{Reference, measure};
use thumbline::unit::{Beats, Decibels, Seconds, Span};
use thumbline_plugin::snapshot::{
    AlongView, AnalysisView, Answer, CaptureSource, CaptureView, PageView, Peaks, RecordingView,
    RegionView, Snapshot, TakeView,
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
        tuning_course: Vec::new(),
        tuning,
        guesses: Vec::new(),
        solo: thumbline::analysis::one_guitar::Solo::default(),
        end: Seconds(0.5 + 2.4 * bars as f64),
        alternatives: Vec::new(),
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
        on_beats: true,
    });
    snapshot.transport.playing = true;
    snapshot.transport.position = Seconds(3.6);
    snapshot.dials.speed = 0.6;
    snapshot
}

/// The third round of playing along bar 2: the note after 2 is late again, one was left out, one had another
/// pitch, one was too many; what the two rounds before were is still there.
pub fn along() -> Snapshot {
    let mut snapshot = looping();
    let analysis = snapshot.analysis.ready().expect("heard").clone();
    let (from, to) = (Seconds(2.9), Seconds(5.3));
    let inside = |n: &&Note| from.0 - 0.02 <= n.time.0 && n.time.0 < to.0 - 0.02;
    let notes = &analysis.notes;
    let bar: Vec<usize> = (0..notes.len()).filter(|&i| inside(&&notes[i])).collect();
    let mut view = AlongView {
        round: 2,
        ..AlongView::default()
    };
    for round in 0..3 {
        for (k, &note) in bar.iter().enumerate() {
            let late = match (k, notes[note].role) {
                (3, _) => 0.030 + 0.006 * round as f64,
                (_, Role::Bass) => 0.004 * round as f64 - 0.004,
                _ => 0.003,
            };
            if (round, k) == (2, 5) {
                view.missed.push((note, round));
                continue;
            }
            view.heads.push(Told {
                note,
                round,
                at: notes[note].time + Span(0.6 * late),
                late: Span(late),
                frame: 0,
            });
        }
    }
    view.wrong.push((bar[6], 2));
    view.extra.push((Seconds(4.9), 2));
    view.said = Some("The and of 2, fingers: 36 ms late, second time running".to_owned());
    let drift = measure(&analysis.notes, &analysis.grid, Reference::OwnTempo);
    view.slot = drift.notes[bar[3]].map(|d| (d.slot, notes[bar[3]].role));
    snapshot.along = Arc::new(view);
    snapshot.capture = CaptureView::Running {
        source: CaptureSource::Take,
        length: Span(9.4),
    };
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

/// The same, compared with the recording.
pub fn answered() -> Snapshot {
    let mut snapshot = with_take();
    let model = snapshot.analysis.ready().expect("heard").clone();
    let mut take = snapshot.takes[0].clone();
    let notes = &take.analysis.as_ref().expect("heard").notes;
    let drift = measure(&model.notes, &model.grid, Reference::OwnTempo);
    let found = compare(
        Model {
            notes: &model.notes,
            grid: &model.grid,
            drifts: &drift.notes,
        },
        notes,
    );
    take.answer = Some(Arc::new(Answer {
        words: thumbline::report::compare::sentences(&found, None),
        found,
        to: model,
    }));
    snapshot.takes = Arc::new([take]);
    snapshot
}

fn snapshot_hash() -> ContentHash {
    let sound = Recording::new("tune.wav", 8000, vec![vec![0.1; 9]]);
    sound.expect("a recording").hash()
}

/// The tune with a page of the journal: two days.
pub fn with_page() -> Snapshot {
    let figure = |drift_ms, spread_ms| HandFigure {
        notes: 24,
        drift_ms,
        spread_ms,
    };
    let day = |date: &str, at, top_speed, fingers| PracticeDay {
        date: date.to_owned(),
        last: Moment(at),
        rounds: 3,
        top_speed,
        fingers: Some(fingers),
        thumb: None,
    };
    let round = PracticeRound {
        recording: snapshot_hash(),
        name: "tune.wav".to_owned(),
        tuning: None,
        at: Moment(1_772_600_000_000),
        from_s: 4.0,
        to_s: 9.0,
        region: "bars 5-6".to_owned(),
        speed: 0.75,
        thumb: None,
        fingers: Some(figure(11.0, 9.0)),
        take: None,
        note: String::new(),
        faults: Vec::new(),
    };
    let mut snapshot = heard(8);
    snapshot.page = Arc::new(PageView {
        sessions: vec![
            day("2026-03-02", 1_772_400_000_000, 0.6, figure(24.0, 15.0)),
            day("2026-03-04", 1_772_600_000_000, 0.75, figure(11.0, 9.0)),
        ],
        rounds: vec![round],
        next: vec!["tune.wav: it has rested for 2 days; start at 70 %".to_owned()],
        fault: None,
    });
    snapshot
}
