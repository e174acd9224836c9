//! What the pages ask of everything behind the window: sounds beside the recording, drills that open, the
//! player's own strings.

use crate::bench::{Bench, RATE};
use crate::faults::in_own_folder;
use std::time::Duration;
use thumbline::dsp::pluck::Played;
use thumbline::music::drill::What;
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;
use thumbline::unit::{Bpm, MidiNote, Seconds, Span};
use thumbline_plugin::command::{Command, Sound};
use thumbline_plugin::services::drill;
use thumbline_plugin::snapshot::{AnalysisView, RecordingView};

/// A pressed note is heard from the plug-in's output while nothing is open and nothing runs, in its
/// pitch, at the deck's gain; then all is silent again.
#[test]
fn a_note_of_the_neck_is_heard_while_nothing_runs() {
    let mut bench = Bench::new();
    let open = MidiNote(57.0);
    bench.instance.apply(
        Command::Sound(Sound {
            name: "A3".to_owned(),
            strokes: vec![Played::pluck(Seconds(0.02), Seconds(0.9), 3, open, 0)],
            length: Span(1.0),
            again: false,
        }),
        None,
    );
    let mut out = Vec::new();
    let silence = vec![0.0f32; 480];
    for _ in 0..400 {
        let block = bench.run_with(&silence, None);
        bench.instance.tick();
        if !out.is_empty() || block.iter().any(|s| s.abs() > 1e-3) {
            out.extend(block);
        }
        if out.len() > 2 * RATE as usize {
            break;
        }
        std::thread::sleep(Duration::from_millis(4));
    }
    let mut ear = thumbline::dsp::string_pitch::StringPitch::new(RATE);
    ear.hear(out[..(0.8 * f64::from(RATE)) as usize].iter().copied());
    let heard = ear.pitch().expect("a string");
    assert!((heard.0 - open.0).abs() < 0.05, "{heard:?}");
    let tail = &out[(1.2 * f64::from(RATE)) as usize..];
    assert!(tail.iter().all(|s| s.abs() < 1e-4), "it is over");
    assert!(bench.instance.snapshot().beside.is_none());
}

/// A drill is written, opened, and known by its sound: heard with the beats and notes that it was written
/// with, looped, its stages kept; another instance that opens the file knows it too.
#[test]
fn a_drill_opens_with_the_beats_it_was_written_with() {
    in_own_folder(
        "pages::a_drill_opens_with_the_beats_it_was_written_with",
        || {
            let presets = Presets::built_in();
            let known = presets.pattern("off-beat melody").expect("a pattern");
            let job = drill::Job {
                what: What::Pattern {
                    name: known.name.clone(),
                    cell: known.cell.clone(),
                    chords: Vec::new(),
                },
                tuning: Tuning::dadgad(),
                tempo: Bpm(100.0),
                bars: 2,
                stage: 1,
            };
            let stages = job.what.stages(&job.tuning, job.tempo, job.bars);
            let mut bench = Bench::new();
            bench
                .instance
                .apply(Command::Drill(Box::new(job), 0.7), None);
            bench.until("heard", |instance| {
                instance.tick();
                matches!(instance.snapshot().analysis, AnalysisView::Ready(_))
            });
            let snapshot = bench.instance.snapshot();
            let heard = snapshot.analysis.ready().expect("heard");
            let beats = heard.grid.beats();
            let exact = |b: &[thumbline::music::grid::Beat]| (b[1].time - b[0].time).0 - 0.6;
            assert!(
                beats.windows(2).all(|b| exact(b).abs() < 1e-9),
                "100 beats a minute"
            );
            assert_eq!(heard.tuning, Tuning::dadgad());
            assert!(heard.warnings.is_empty() && heard.guesses.is_empty());
            assert_eq!(snapshot.practice.regions.len(), stages.len());
            let region = snapshot.practice.region.clone().expect("a loop");
            assert_eq!(region.name, stages[1].title);
            assert!(
                (region.to - region.from).0 > 4.7,
                "two bars at 100 beats a minute"
            );
            assert!(snapshot.practice.ladder.on);
            let RecordingView::Ready {
                path: Some(path), ..
            } = &snapshot.recording
            else {
                panic!("it is open");
            };
            // Somebody else opens the file next week.
            let mut other = Bench::opened(path);
            other.until("heard", |instance| {
                matches!(instance.snapshot().analysis, AnalysisView::Ready(_))
            });
            let again = other.instance.snapshot();
            assert_eq!(again.analysis.ready().expect("heard").notes, heard.notes);
        },
    );
}

/// The input that takes are recorded from is heard while nothing runs, to be tuned by.
#[test]
fn own_strings_are_heard_while_nothing_runs() {
    let mut bench = Bench::new();
    bench.instance.apply(Command::HearStrings(true), None);
    // A2 and 12 cents less, with an octave above it.
    let hz = 110.0 * (-12.0f64 / 1200.0).exp2();
    let mut frame = 0u64;
    let mut heard = None;
    for _ in 0..400 {
        let string: Vec<f32> = (0..480)
            .map(|i| {
                let t = (frame + i) as f64 / f64::from(RATE);
                let turn = std::f64::consts::TAU * hz * t;
                (0.1 * turn.sin() + 0.05 * (2.0 * turn).sin()) as f32
            })
            .collect();
        frame += 480;
        bench.run_with(&vec![0.0; 480], Some(&string));
        bench.instance.tick();
        std::thread::sleep(Duration::from_millis(5));
        heard = bench.instance.snapshot().study.strings.flatten();
        if heard.is_some() {
            break;
        }
    }
    let off = 100.0 * (heard.expect("it is heard").0 - 45.0);
    assert!((off + 12.0).abs() < 1.0, "{off} cents");
    bench.instance.apply(Command::HearStrings(false), None);
    assert_eq!(bench.instance.snapshot().study.strings, None);
}
