//! Beats and drift on pieces of our own, rendered with our own strings, heard, and measured.

use crate::table::Set;
use crate::variant::Variant;
use std::time::Instant;
use thumbline::analysis::beat::evaluation::{Piece, f_measure};
use thumbline::analysis::beat::{Edit, GridEdits, Tracker};
use thumbline::analysis::{Analysis, Options, analyze};
use thumbline::demo::{Rendition, tune};
use thumbline::dsp::pluck::Guitar;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Note, Role};
use thumbline::music::performance::{Habit, Manner};
use thumbline::music::score::Score;
use thumbline::music::tuning::Tuning;
use thumbline::timing::{Drift, Reference, measure};
use thumbline::unit::{Beats, Bpm, Seconds, Span};

const WALTZ: &str = "
1:6.3 2:3.0 2:2.0 3:1.3 1:2.0
1:5.2 2:3.0 2:1.3 3:2.0 3&:1.2
1:5.3 2:3.0 2:2.1 3:1.0
1:4.0 1:1.2 2:3.2 2:2.3 3:1.0 3&:2.3
";
const COMPOUND: &str = "
1:6.0 2:3.0 3:2.0 4:4.2 5:1.0 6:2.0
1:5.0 2:3.2 3:2.1 4:4.2 5:1.0 6:2.1
1:6.3 2:3.0 3:2.0 4:4.0 5:1.3 6:2.0
1:5.2 2:3.2 3:2.0 4:4.4 5:1.2 6:2.0
";
const SIXTEENTHS: &str = "
1:6.3 1e:3.0 1&:2.0 1a:1.3 2:4.0 2&:1.3 3:6.3 3e:2.0 3&:1.2 4:4.0 4&:2.1 4a:1.0
1:5.3 1&:1.0 1a:2.1 2:4.2 2e:3.0 2&:1.3 3:5.3 3&:2.1 4:4.2 4e:3.0 4&:1.0 4a:2.1
";

/// A piece as somebody plays it.
struct Take {
    name: String,
    score: Score,
    manner: Manner,
}

fn piece(bars: &str, times: usize, count: u8, unit: u8, bpm: f64) -> Score {
    let meter = Meter { count, unit };
    let tuning = Tuning::standard();
    Score::parse("bench", tuning, meter, Bpm(bpm), &bars.repeat(times)).expect("written well")
}

/// A steady player whose fingers come `late` ms after the thumb at every place.
fn steady(bpm: f64, late: f64, seed: u64) -> Manner {
    let places = (0..48).map(|twelfth| f64::from(twelfth) / 12.0);
    Manner {
        thumb: Span::from_ms(5.0),
        fingers: Span::from_ms(6.0),
        habits: places
            .map(|place| Habit {
                role: Role::Melody,
                place: Beats(place),
                by: Span::from_ms(late),
            })
            .collect(),
        seed,
        ..Manner::exact(Bpm(bpm), Span(0.7))
    }
}

fn takes() -> Vec<Take> {
    let exact = |bpm| Manner::exact(Bpm(bpm), Span(0.7));
    let written = |name: &str, score: &Score, manner: Manner| Take {
        name: format!("{name} {:.0}", manner.tempo.0),
        score: score.clone(),
        manner,
    };
    let tune = tune();
    let (waltz, six) = (piece(WALTZ, 5, 3, 4, 120.0), piece(COMPOUND, 6, 6, 8, 66.0));
    let sixteenths = piece(SIXTEENTHS, 6, 4, 4, 80.0);
    vec![
        written("exact, tune", &tune, exact(84.0)),
        written("exact, tune", &tune, exact(112.0)),
        written("exact, 3/4", &waltz, exact(120.0)),
        written("exact, 6/8", &six, exact(66.0)),
        written("exact, 16ths", &sixteenths, exact(80.0)),
        written("steady, tune", &tune, steady(76.0, 14.0, 1)),
        written("steady, tune", &tune, steady(100.0, -12.0, 2)),
        written("steady, tune", &tune, steady(126.0, 5.0, 3)),
        written("steady, 3/4", &waltz, steady(132.0, 9.0, 4)),
        written("steady, 6/8", &six, steady(70.0, -8.0, 5)),
        written("steady, 16ths", &sixteenths, steady(74.0, 7.0, 6)),
        written("breathing, tune", &tune, Manner::practised(Bpm(92.0), 7)),
    ]
}

fn rendered(k: usize, take: &Take) -> Rendition {
    let guitar = Guitar {
        seed: 30 + k as u64,
        ..Guitar::default()
    };
    Rendition::new(&take.name, &take.score, &take.manner, guitar)
        .expect("a guitar that can be rendered")
}

/// The pieces as they were rendered, with room, and cut.
pub fn sets() -> Vec<Set> {
    let takes: Vec<(Take, Rendition)> = takes()
        .into_iter()
        .enumerate()
        .map(|(k, take)| {
            let rendition = rendered(k, &take);
            (take, rendition)
        })
        .collect();
    let piece = |(take, made): &(Take, Rendition), variant: Variant| {
        let beats: Vec<f64> = made.grid.beats().iter().map(|b| b.time.0).collect();
        let first = made.grid.beats().iter().filter(|b| b.place == 1);
        let downbeats: Vec<f64> = first.map(|b| b.time.0).collect();
        Piece {
            name: take.name.clone(),
            ..variant.of(&made.recording, &beats, &downbeats)
        }
    };
    Variant::ALL
        .iter()
        .map(|&(how, variant)| Set {
            name: format!("rendered, {how}"),
            pieces: takes.iter().map(|take| piece(take, variant)).collect(),
        })
        .collect()
}

/// What came out for one take.
struct Row {
    beats: f64,
    bars: f64,
    tempo: f64,
    grid: Vec<f64>,
    called: f64,
    near: f64,
    late: Option<(f64, f64)>,
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

fn row(take: &Rendition, manner: &Manner, found: &Analysis, drift: &Drift) -> Row {
    let of = |beats: &[thumbline::music::grid::Beat], downbeats: bool| -> Vec<f64> {
        let kept = beats.iter().filter(|b| !downbeats || b.place == 1);
        kept.map(|b| b.time.0).collect()
    };
    let (truth, told) = (of(take.grid.beats(), false), of(found.grid.beats(), false));
    let inside = |t: &&f64| (truth[0] - 0.3..truth[truth.len() - 1] + 0.3).contains(*t);
    let within: Vec<f64> = told.iter().filter(inside).copied().collect();
    let grid = truth
        .iter()
        .filter_map(|t| {
            let away = told.iter().map(|b| (b - t).abs()).fold(f64::MAX, f64::min);
            (away < 0.07).then_some(1000.0 * away)
        })
        .collect();
    let measured = || found.notes.iter().zip(&drift.notes);
    let called = measured().filter(|(_, d)| d.is_some_and(|d| d.audible().is_some()));
    let near = take
        .notes
        .iter()
        .filter(|played| {
            let same =
                |n: &Note| n.role == played.note.role && (n.time - played.note.time).abs().0 < 0.05;
            measured()
                .filter(|(n, _)| same(n))
                .filter_map(|(_, d)| d.and_then(|d| d.drift))
                .any(|d| (d - played.drift).abs().ms() <= 10.0)
        })
        .count();
    let drifts = |role: Role| -> Vec<f64> { take.of_role(role).map(|n| n.drift.ms()).collect() };
    let truly = median(&mut drifts(Role::Melody)) - median(&mut drifts(Role::Bass));
    Row {
        beats: f_measure(&truth, &within),
        bars: f_measure(&of(take.grid.beats(), true), &of(found.grid.beats(), true)),
        tempo: found.grid.tempo().map_or(0.0, |t| t.0) / manner.tempo.0,
        grid,
        called: called.count() as f64 / found.notes.len().max(1) as f64,
        near: near as f64 / take.notes.len().max(1) as f64,
        late: drift.lateness.map(|l| (truly, l.centre.ms())),
    }
}

/// How well drift is told.
pub fn drift() {
    println!(
        "piece                 beat F  bar F  tempo  grid error ms   called  drift   fingers late ms"
    );
    println!(
        "                                            median   p95   early/l  <=10    true    told"
    );
    let (mut exact, mut grids) = (Vec::new(), Vec::new());
    for (k, take) in takes().into_iter().enumerate() {
        let rendition = rendered(k, &take);
        let found = analyze(&rendition.recording, &Options::default(), &mut ())
            .expect("nobody asks to stop");
        let drift = measure(&found.notes, &found.grid, Reference::OwnTempo);
        let mut row = row(&rendition, &take.manner, &found, &drift);
        let middle = median(&mut row.grid);
        let p95 = row
            .grid
            .get(row.grid.len() * 95 / 100)
            .copied()
            .unwrap_or(f64::NAN);
        let (truly, told) = row.late.unwrap_or((f64::NAN, f64::NAN));
        println!(
            "{:<21} {:6.3} {:6.3} {:6.3} {middle:8.2} {p95:6.2} {:8.1} % {:5.2} {truly:9.1} {told:7.1}",
            take.name,
            row.beats,
            row.bars,
            row.tempo,
            100.0 * row.called,
            row.near
        );
        if take.name.starts_with("exact") {
            exact.push(row.called);
        }
        if take.manner.breathing == 0.0 {
            grids.append(&mut row.grid);
        }
    }
    let middle = median(&mut grids);
    println!(
        "constant tempo: grid error median {middle:.2} ms (aim 3), p95 {:.2} ms (aim 8)",
        grids[grids.len() * 95 / 100]
    );
    println!(
        "exactly on the grid: {:.1} % of notes called early or late (aim 5 %)",
        100.0 * exact.iter().sum::<f64>() / exact.len() as f64
    );
}

/// Five minutes of notes: the whole grid, then one edit.
pub fn time() {
    let player = Manner::practised(Bpm(92.0), 8);
    let performance = thumbline::music::performance::Performance::of(&tune(), &player);
    let beats = 80.0;
    let length = beats * 60.0 / 92.0;
    let notes: Vec<Note> = (0..6)
        .flat_map(|k| {
            performance.notes.iter().map(move |played| Note {
                time: played.note.time + Span(f64::from(k) * length),
                ..played.note.clone()
            })
        })
        .collect();
    let end = Seconds(6.0 * length + 1.0);
    let edits = GridEdits::none().with(Edit::Tap { at: Seconds(60.0) });
    let (mut whole, mut edit) = (f64::MAX, f64::MAX);
    for _ in 0..3 {
        let started = Instant::now();
        let tracker = Tracker::new(&notes, end);
        tracker.solve(&GridEdits::none());
        whole = whole.min(started.elapsed().as_secs_f64());
        let started = Instant::now();
        tracker.solve(&edits);
        edit = edit.min(started.elapsed().as_secs_f64());
    }
    println!(
        "{:.0} s of {} notes: whole grid {whole:.2} s (aim 1), an edit {:.0} ms (aim 50); best of three",
        end.0,
        notes.len(),
        1000.0 * edit
    );
}
