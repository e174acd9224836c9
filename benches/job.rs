//! The whole job on five minutes of stereo at 44.1 kHz: decoding and hearing it, and slowing it to
//! half speed. Timings are noisy, so each stands beside a reference of the same run: a 4,096-point
//! transform for every 256 frames of one channel.

use realfft::RealFftPlanner;
use std::sync::Arc;
use std::time::{Duration, Instant};
use thumbline::analysis::{Options, analyze};
use thumbline::demo;
use thumbline::load::load;
use thumbline::recording::Recording;
use thumbline::report::wav::{Depth, write as wav};
use thumbline::stretch::{PitchShift, Speed, SpeedMap, render, transient};

const MINUTES: f64 = 5.0;
const RATE: u32 = 44_100;

fn main() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("five minutes.wav");
    let tune = demo::recording(RATE).expect("the demo").recording;
    let frames = (MINUTES * 60.0 * f64::from(RATE)) as usize;
    let lengthened = |c: &Vec<f32>| c.iter().copied().cycle().take(frames).collect();
    let channels: Vec<Vec<f32>> = tune.channels().iter().map(lengthened).collect();
    write(&path, &channels);
    drop((tune, channels));

    let reference = timed(|| transforms(frames)).1;
    let (sound, decoding) = timed(|| load(&path).expect("it is whole"));
    let (heard, hearing) = timed(|| analyze(&sound, &Options::default(), &mut ()).expect("heard"));
    let peak = peak_mb();
    let sound = Arc::new(sound);
    let ((), slowing) = timed(|| slowed(&sound));
    println!("{MINUTES} minutes, {} notes heard", heard.notes.len());
    println!("reference                {:7.2} s", reference.as_secs_f64());
    let line = |name: &str, time: Duration, sound: f64| {
        println!(
            "{name:<24} {:7.2} s   {:5.1} x real time   {:5.2} x the reference",
            time.as_secs_f64(),
            sound / time.as_secs_f64(),
            time.as_secs_f64() / reference.as_secs_f64()
        );
    };
    line("decoding and hearing", decoding + hearing, MINUTES * 60.0);
    line("slowing to half speed", slowing, MINUTES * 120.0);
    if let Some(peak) = peak {
        println!("most memory while hearing {peak} MB");
    }
}

fn timed<R>(work: impl FnOnce() -> R) -> (R, Duration) {
    let start = Instant::now();
    let result = work();
    (result, start.elapsed())
}

fn transforms(frames: usize) {
    let fft = RealFftPlanner::<f32>::new().plan_fft_forward(4096);
    let (mut time, mut out) = (fft.make_input_vec(), fft.make_output_vec());
    for i in 0..frames / 256 {
        time.fill((i % 7) as f32);
        fft.process(&mut time, &mut out).expect("its own lengths");
        std::hint::black_box(&out);
    }
}

fn slowed(sound: &Arc<Recording>) {
    let onsets = Arc::new(transient::onsets(sound));
    let half = Speed::new(0.5).expect("in range");
    let made = render(
        sound,
        &onsets,
        &SpeedMap::constant(half),
        PitchShift::UNCHANGED,
        |_| true,
    );
    std::hint::black_box(made.expect("never stopped"));
}

fn write(path: &std::path::Path, channels: &[Vec<f32>]) {
    let mut bytes = Vec::new();
    wav(&mut bytes, RATE, channels, Depth::Int24).expect("it fits");
    std::fs::write(path, bytes).expect("written");
}

/// The most memory this process has used, where the system says.
fn peak_mb() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kb: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kb / 1024)
}
