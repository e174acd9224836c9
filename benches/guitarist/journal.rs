//! The journal with 100,000 rounds: opening, a page, a chart; and a comparison of three minutes.

use crate::compare_sound::{against, heard};
use crate::invented::{cells, manner, piece, sound};
use std::time::Instant;
use thumbline::journal::{HandFigure, Journal, Moment, PracticeRound, chart};
use thumbline::music::tuning::Tuning;
use thumbline::recording::{ContentHash, Recording};
use thumbline::unit::Span;

const ROUNDS: i64 = 100_000;
const PAGES: i64 = 200;

fn page(number: i64) -> ContentHash {
    let samples = vec![number as f32 / 1e6; 8];
    Recording::new("tone", 44_100, vec![samples])
        .expect("sound")
        .hash()
}

fn round(i: i64, pages: &[ContentHash]) -> PracticeRound {
    let figure = HandFigure {
        notes: 10,
        drift_ms: 5.0,
        spread_ms: 8.0,
    };
    PracticeRound {
        recording: pages[(i % PAGES) as usize],
        name: format!("Tune {}", i % PAGES),
        tuning: None,
        at: Moment(1_600_000_000_000 + i * 600_000),
        from_s: 8.0,
        to_s: 12.5,
        region: "bars 5-6".into(),
        speed: 0.6,
        thumb: Some(figure),
        fingers: Some(figure),
        take: None,
        note: String::new(),
        faults: Vec::new(),
    }
}

/// Least of five runs, in milliseconds: what other programs took is left out.
fn least(mut run: impl FnMut()) -> f64 {
    let once = |_| {
        let clock = Instant::now();
        run();
        1000.0 * clock.elapsed().as_secs_f64()
    };
    (0..5).map(once).fold(f64::INFINITY, f64::min)
}

/// Prints how long the journal takes to answer.
pub fn run() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("journal.sqlite");
    let pages: Vec<ContentHash> = (0..PAGES).map(page).collect();
    let rounds: Vec<PracticeRound> = (0..ROUNDS).map(|i| round(i, &pages)).collect();
    Journal::open(&file)
        .expect("opens")
        .keep_all(&rounds)
        .expect("keeps");
    let open = least(|| drop(Journal::open(&file).expect("opens")));
    let journal = Journal::open(&file).expect("opens");
    let read = least(|| {
        assert_eq!(
            journal.rounds(Some(pages[7]), 50, 0).expect("reads").len(),
            50
        );
    });
    let list = least(|| assert_eq!(journal.pages().expect("reads").len(), PAGES as usize));
    let draw = least(|| {
        let drawn = chart::svg("Tune 7", &journal.progress(pages[7]).expect("reads"));
        assert!(drawn.starts_with("<svg"));
    });
    println!(
        "journal of {ROUNDS} rounds on {PAGES} pages: opening {open:.1} ms, all pages {list:.1} ms, a page {read:.1} ms, a chart {draw:.1} ms"
    );
    drop(journal);
    for tail in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{tail}", file.display())); // a leftover harms nobody
    }
    compare();
}

/// Prints how long comparing three minutes takes once both sides are heard.
fn compare() {
    let cells = cells();
    let score = piece(
        &Tuning::standard(),
        &[(7, false)],
        &[&cells[1], &cells[4]],
        76,
        11,
    );
    let recording = sound(&score, &manner(&score, Span::from_ms(4.0), 12));
    let take = sound(&score, &manner(&score, Span::from_ms(7.0), 13));
    let (model, take) = (heard(&recording.recording), heard(&take.recording));
    let took = least(|| {
        let found = against(&model, &take);
        assert!(!found.pairs.is_empty());
    });
    println!(
        "compare: {:.0} s of music, {} against {} notes: {took:.0} ms after the analysis",
        recording.recording.end().0,
        model.notes.len(),
        take.notes.len()
    );
}
