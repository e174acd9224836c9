//! How long the audio callback takes, as a share of the buffer's time: stretched playback at half
//! speed with click, gain and limiter, in a loop.
//!
//! Every pass renders the same; the time of a block is its least over the passes, which leaves out
//! what other programs on the machine took.

use std::sync::Arc;
use std::time::Instant;
use thumbline::deck::{Block, ClickRate, Config, Controls, Message, Player, Pulse, Track, pair};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::recording::Recording;
use thumbline::stretch::OnsetTable;
use thumbline::unit::{Decibels, Seconds};

const RATE: u32 = 48_000;
const PASSES: usize = 5;

fn recording(seconds: usize) -> Arc<Recording> {
    let channel = |detune: f64| -> Vec<f32> {
        (0..seconds * RATE as usize)
            .map(|i| {
                let t = i as f64 / f64::from(RATE);
                let since = t % 0.25;
                let sum: f64 = (1..8)
                    .map(|k| (std::f64::consts::TAU * 110.0 * detune * f64::from(k) * t).sin())
                    .sum();
                (0.1 * sum * (-6.0 * since).exp()) as f32
            })
            .collect()
    };
    Arc::new(Recording::new("bench", RATE, vec![channel(1.0), channel(1.01)]).expect("sound"))
}

fn player(sound: &Arc<Recording>) -> Player {
    let (mut deck, mut player) = pair(Config::at(RATE));
    let onsets = (0..sound.frames()).step_by(RATE as usize / 4).collect();
    let onsets = Arc::new(OnsetTable::cleaned(onsets, sound.frames()));
    let beats: Vec<Seconds> = (0..)
        .map(|i| Seconds(0.5 * f64::from(i)))
        .take(100)
        .collect();
    let grid = Grid::from_beats(&beats, 0, Meter::COMMON);
    let pulse = Pulse::new(&grid, RATE, ClickRate::Quarter, 0.6).map(Box::new);
    let track = Track::new(Arc::clone(sound), onsets, RATE).expect("the same rate");
    for message in [
        Message::Load(Box::new(track)),
        Message::Pulse(pulse),
        Message::Region(Some((Seconds(2.0), Seconds(6.0)))),
    ] {
        assert!(deck.send(message).is_ok());
    }
    player.set_controls(Controls {
        play: true,
        looping: true,
        speed: 0.5,
        click: true,
        gain: Decibels(12.0),
        ..Controls::default()
    });
    player
}

/// Seconds of each block.
fn blocks(player: &mut Player, size: usize, count: usize) -> Vec<f64> {
    let (mut left, mut right) = (vec![0.0f32; size], vec![0.0f32; size]);
    (0..count)
        .map(|_| {
            let begun = Instant::now();
            player.process(&mut Block {
                left: &mut left,
                right: &mut right,
                side: None,
                host: None,
            });
            begun.elapsed().as_secs_f64()
        })
        .collect()
}

fn least(sound: &Arc<Recording>, size: usize, count: usize) -> Vec<f64> {
    let mut least = vec![f64::INFINITY; count];
    for _ in 0..PASSES {
        let mut player = player(sound);
        for (best, took) in least.iter_mut().zip(blocks(&mut player, size, count)) {
            *best = best.min(took);
        }
    }
    least
}

fn resident_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmRSS"))?;
    let kb: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kb / 1024.0)
}

fn main() {
    let sound = recording(30);
    for size in [64, 256, 1024] {
        let buffer = size as f64 / f64::from(RATE);
        let mut times = least(&sound, size, 20 * RATE as usize / size);
        times.sort_by(f64::total_cmp);
        let share = |q: f64| 100.0 * times[((times.len() - 1) as f64 * q) as usize] / buffer;
        println!(
            "callback of {size} frames at 48 kHz: median {:.1} %, p99.9 {:.1} %, max {:.1} % of the \
             buffer's time",
            share(0.5),
            share(0.999),
            share(1.0)
        );
        if size == 256 {
            let one = times.iter().sum::<f64>() / times.len() as f64;
            println!(
                "ten instances at 256 frames: {:.1} % of one core",
                1000.0 * one / buffer
            );
        }
    }
    let before = resident_mb();
    let long = recording(300);
    let engines: Vec<Player> = (0..10).map(|_| player(&long)).collect();
    if let (Some(before), Some(after)) = (before, resident_mb()) {
        println!(
            "a 5-minute stereo recording in {} instances: {:.0} MB",
            engines.len(),
            after - before
        );
    }
}
