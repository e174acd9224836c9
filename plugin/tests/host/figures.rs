//! Figures of the audio thread and of long lives: run by name (`--include-ignored`), for a note.

use crate::bench::{Bench, RATE};
use crate::faults::in_own_folder;
use crate::life::lives;
use crate::rig::{Rig, recording, session};
use std::path::{Path, PathBuf};
use thumbline::deck::{Block, Controls};
use thumbline::dsp::pluck::{Guitar, Played};
use thumbline::report::wav;
use thumbline::unit::{Cents, Decibels, MidiNote, Seconds, Span};
use thumbline_plugin::command::Command;

/// Frames a block, and blocks a pass.
const SIZE: usize = 64;
const BLOCKS: usize = 6000;
const PASSES: usize = 5;

/// Seconds that this thread has worked.
fn worked() -> f64 {
    let mut time = libc::timespec {
        tv_sec: 0,
        tv_nsec: 0,
    };
    // SAFETY: the clock exists on Linux, and the value is ours.
    unsafe { libc::clock_gettime(libc::CLOCK_THREAD_CPUTIME_ID, &raw mut time) };
    time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9
}

/// The share of a block's time that is worked at p99.9: every pass renders the same, and of each
/// block the least counts, which leaves out what the machine did beside it.
fn share(bench: &mut Bench, controls: Controls, seeks: Option<usize>) -> f64 {
    let mut least = vec![f64::MAX; BLOCKS];
    for _ in 0..PASSES {
        bench.instance.apply(Command::Seek(Seconds(1.0)), None);
        bench.controls = Controls {
            play: false,
            ..controls
        };
        bench.run(4800, false);
        bench.player.set_controls(controls);
        let (mut left, mut right) = ([0.0f32; SIZE], [0.0f32; SIZE]);
        for (count, least) in least.iter_mut().enumerate() {
            if let Some(every) = seeks
                && count % every == 0
            {
                let place = Seconds(1.0 + (count * 7 % 1500) as f64 / 100.0);
                bench.instance.apply(Command::Seek(place), None);
            }
            let begun = worked();
            bench.player.process(&mut Block {
                left: &mut left,
                right: &mut right,
                side: None,
                host: None,
            });
            *least = least.min(worked() - begun);
        }
    }
    least.sort_by(f64::total_cmp);
    least[BLOCKS * 999 / 1000] / (SIZE as f64 / f64::from(RATE))
}

#[test]
#[ignore = "a figure: the callback's share of 64 frames by its thread's own time"]
fn callback_in_every_mode() {
    in_own_folder("figures::callback_in_every_mode", || {
        let dir = tempfile::tempdir().expect("a folder");
        for (what, path) in [
            ("a steady tone", recording(dir.path(), "tone.wav", RATE)),
            ("a tremolo", tremolo(dir.path())),
        ] {
            println!("{what}, share of 64 frames at p99.9:");
            every_mode(&path);
        }
    });
}

/// Twenty seconds of a full chord, a string plucked again every 60 ms: the onsets as dense as a
/// right hand makes them.
fn tremolo(dir: &Path) -> PathBuf {
    const OPEN: [f64; 6] = [64.0, 59.0, 55.0, 50.0, 45.0, 40.0];
    let strokes: Vec<Played> = (0..330)
        .map(|i| {
            let (at, string) = (0.06 * i as f64, [5, 1, 2, 3, 6, 1, 4, 2][i % 8]);
            let open = MidiNote(OPEN[usize::from(string) - 1]);
            Played::pluck(Seconds(at), Seconds(20.0), string, open, 2)
        })
        .collect();
    let guitar = Guitar {
        rate: RATE,
        stereo: true,
        ..Guitar::default()
    };
    let path = dir.join("tremolo.wav");
    let mut file = std::fs::File::create(&path).expect("a file");
    let sound = guitar.play(&strokes, Span(20.0));
    wav::write(&mut file, RATE, &sound.channels, wav::Depth::Float32).expect("room");
    path
}

fn every_mode(path: &Path) {
    let mut bench = Bench::opened(path);
    bench.until("analysed", |instance| {
        instance.snapshot().analysis.ready().is_some()
    });
    let plays = Controls {
        play: true,
        ..Controls::default()
    };
    let at = |speed: f64, cents: f64| Controls {
        speed,
        pitch: Cents(cents),
        ..plays
    };
    let busy = Controls {
        click: true,
        through: true,
        gain: Decibels(12.0),
        ..at(0.6, 300.0)
    };
    bench
        .instance
        .apply(Command::SetRegion(Some((Seconds(1.0), Seconds(1.4)))), None);
    for (what, controls, seeks) in [
        ("as recorded", at(1.0, 0.0), None),
        ("half speed", at(0.5, 0.0), None),
        ("a quarter", at(0.25, 0.0), None),
        ("one and a half", at(1.5, 0.0), None),
        ("an octave up", at(1.0, 1200.0), None),
        ("an octave down", at(1.0, -1200.0), None),
        ("slow and an octave up", at(0.5, 1200.0), None),
        ("fast and an octave up", at(1.5, 1200.0), None),
        ("click, input, gain", busy, None),
        (
            "a short loop",
            Controls {
                looping: true,
                ..at(0.5, 0.0)
            },
            None,
        ),
        ("seeks", at(0.5, 0.0), Some(40)),
        ("seeks, an octave up", at(0.5, 1200.0), Some(40)),
    ] {
        let share = share(&mut bench, controls, seeks);
        println!("  {what}: {:.1} %", 100.0 * share);
    }
}

#[test]
#[ignore = "to be run under a tool that watches memory: lives of an instance, from first to last"]
fn a_thousand_lives() {
    let lives = lives(1000);
    let dir = tempfile::tempdir().expect("a folder");
    let path = recording(dir.path(), "tone.wav", 48_000);
    for life in 0..lives {
        let mut rig = Rig::new();
        rig.activate(48_000.0);
        rig.load_session(&session(&path));
        rig.set(&[("Play", "on")]);
        // Some die before anything is heard, some after.
        for _ in 0..life % 7 * 10 {
            rig.silent(256);
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
    }
    println!("{lives} lives");
}
