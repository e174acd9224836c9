//! The engine against an open one in the same run: cost, and what is heard of it.
//!
//! `cargo bench --features bench --bench stretch` prints the table; with `--figures FOLDER` it draws
//! instead (`figures.rs`). Timings are noisy, so each cost is a ratio to the other engine's.

mod figures;
mod material;

use material::{Material, other, ours};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;
use thumbline::recording::Recording;
use thumbline::stretch::{OnsetTable, Speed, Stretcher, transient};

const RATE: u32 = 44_100;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    if let Some(at) = words.iter().position(|w| w == "--figures") {
        let folder = words.get(at + 1).map_or("target/figures", String::as_str);
        match figures::draw(Path::new(folder)) {
            Ok(()) => println!("Figures are in {folder}."),
            Err(error) => eprintln!("The figures could not be written to {folder}: {error}"),
        }
        return;
    }
    // Any other word picks benches by name.
    let named = words.iter().filter(|w| !w.starts_with('-'));
    if named.clone().count() > 0 && !named.into_iter().any(|w| "stretch".contains(w.as_str())) {
        return;
    }
    cost();
    callback();
    quality();
}

/// Seconds that `run` takes, the best of three.
fn seconds(mut run: impl FnMut()) -> f64 {
    let mut best = f64::MAX;
    for _ in 0..3 {
        let start = Instant::now();
        run();
        best = best.min(start.elapsed().as_secs_f64());
    }
    best
}

fn cost() {
    let phrase = Material::phrase(RATE, 1.0, 12.0);
    let stereo = vec![phrase.samples.clone(), phrase.samples.clone()];
    let recording = Arc::new(Recording::new("phrase", RATE, stereo.clone()).expect("sound"));
    println!(
        "| speed | plucks read, ms a second | ours, ms a second | other, ms a second | ratio |"
    );
    println!("|---|---|---|---|---|");
    for speed in [0.25, 0.5, 0.7, 1.25] {
        let length = 12.0 / speed;
        let read = seconds(|| drop(transient::onsets(&recording)));
        let onsets = Arc::new(transient::onsets(&recording));
        let mine = seconds(|| drop(ours(&recording, &onsets, speed)));
        let theirs = seconds(|| drop(other(&stereo, RATE, speed)));
        println!(
            "| {speed} | {:.2} | {:.2} | {:.2} | {:.2} |",
            1e3 * read / length,
            1e3 * mine / length,
            1e3 * theirs / length,
            (read + mine) / theirs
        );
    }
    println!("(stereo, milliseconds of one core a second of output)\n");
}

/// Runs of the same playing. A block does the same work in each, so that its least time is its
/// own cost and not that of what else the machine was doing.
const RUNS: usize = 9;

fn callback() {
    let rate = 48_000;
    let phrase = Material::phrase(rate, 1.0, 6.0);
    let stereo = vec![phrase.samples.clone(), phrase.samples];
    let recording = Arc::new(Recording::new("phrase", rate, stereo).expect("sound"));
    let onsets = Arc::new(transient::onsets(&recording));
    println!("| speed | frames | half of all | 99.9 % | most |");
    println!("|---|---|---|---|---|");
    for speed in [0.25, 0.5, 0.85] {
        for frames in [64, 256, 1024] {
            let mut parts = block_seconds(&recording, &onsets, speed, frames);
            for _ in 1..RUNS {
                let again = block_seconds(&recording, &onsets, speed, frames);
                for (part, time) in parts.iter_mut().zip(again) {
                    *part = part.min(time);
                }
            }
            parts.sort_by(f64::total_cmp);
            let share = 100.0 * f64::from(rate) / frames as f64;
            let at = |q: f64| share * parts[((parts.len() - 1) as f64 * q) as usize];
            let (half, late, most) = (at(0.5), at(0.999), at(1.0));
            println!("| {speed} | {frames} | {half:.1} | {late:.1} | {most:.1} |");
        }
    }
    println!("(callback, stereo at 48 kHz: share of the buffer's time, %)\n");
}

/// Seconds that each block takes.
fn block_seconds(
    recording: &Arc<Recording>,
    onsets: &Arc<OnsetTable>,
    speed: f64,
    frames: usize,
) -> Vec<f64> {
    let mut player = Stretcher::new(Arc::clone(recording), Arc::clone(onsets));
    player.set_speed(Speed::nearest(speed));
    player.seek(0);
    let mut block = vec![vec![0.0f32; frames]; 2];
    let mut parts = Vec::new();
    while !player.ended() {
        let mut slices: Vec<&mut [f32]> = block.iter_mut().map(Vec::as_mut_slice).collect();
        let start = Instant::now();
        player.process(&mut slices);
        parts.push(start.elapsed().as_secs_f64());
    }
    parts
}

fn quality() {
    println!("| speed | engine | clicks off, ms | clicks' height, dB | tone's residual, dB |");
    println!("|---|---|---|---|---|");
    for speed in [0.25, 0.5, 0.7, 1.25] {
        let clicks = Material::clicks(RATE);
        let tone = Material::tone(RATE);
        let mine = |m: &Material| {
            let recording = Recording::new("bench", RATE, vec![m.samples.clone()]).expect("sound");
            let onsets = Arc::new(transient::onsets(&recording));
            ours(&Arc::new(recording), &onsets, speed).swap_remove(0)
        };
        let theirs =
            |m: &Material| other(std::slice::from_ref(&m.samples), RATE, speed).swap_remove(0);
        let rows: [(&str, Vec<f32>, Vec<f32>); 2] = [
            ("ours", mine(&clicks), mine(&tone)),
            ("other", theirs(&clicks), theirs(&tone)),
        ];
        for (name, clicks_out, tone_out) in rows {
            let (off, height) = clicks.placed(&clicks_out, speed);
            let residual = tone.residual(&tone_out);
            println!("| {speed} | {name} | {off:.2} | {height:.1} | {residual:.1} |");
        }
    }
    println!("(other: the Signalsmith Stretch library at its default preset)");
}
