//! Practice as the window asks for it: the ladder that listens, set-ups, another rate in the middle.

use crate::bench::{Bench, RATE};
use crate::rig::recording;
use std::sync::Arc;
use std::time::Duration;
use thumbline::unit::{Seconds, Span};
use thumbline_plugin::command::Command;
use thumbline_plugin::snapshot::{AnalysisView, Ladder, RecordingView};

/// The built-in tune as a file.
fn tune(dir: &std::path::Path) -> std::path::PathBuf {
    let piece = thumbline::demo::recording(RATE).expect("the tune");
    let path = dir.join("tune.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("a file");
    // Twelve seconds are enough, and quicker listened to.
    for s in piece.recording.channels()[0]
        .iter()
        .take(12 * RATE as usize)
    {
        writer.write_sample(*s).expect("written");
    }
    writer.finalize().expect("closed");
    path
}

/// Plays the loop's rounds while the take is the recording itself, `late` seconds late; the
/// ladder's speed in the end.
fn climbed(late: f64) -> f64 {
    let dir = tempfile::tempdir().expect("a folder");
    let mut bench = Bench::new();
    bench.restore(&tune(dir.path()));
    bench.until_whole();
    bench.until("heard", |instance| {
        matches!(instance.snapshot().analysis, AnalysisView::Ready(_))
    });
    bench.instance.apply(Command::SetBars(2, 3), None);
    let ladder = Ladder {
        on: true,
        start: 0.8,
        step: 0.1,
        rounds: 1,
        top: 1.0,
        within_ms: Some(30.0),
    };
    bench.instance.apply(Command::SetLadder(ladder), None);
    let block = 480;
    let delay = (late * f64::from(RATE)) as usize + block;
    // What the plug-in itself delays is known, as a measured round trip would be.
    let own = (block + bench.player.latency()) as f64 / f64::from(RATE);
    bench.instance.apply(Command::SetLatency(Span(own)), None);
    bench.instance.apply(Command::CaptureTake(true), None);
    bench.controls.play = true;
    bench.controls.looping = true;
    let mut echo = vec![0.0f32; delay];
    let silence = vec![0.0f32; block];
    for count in 0..40 * RATE as usize / block {
        let side = echo[echo.len() - delay..][..block].to_vec();
        echo.extend(bench.run_with(&silence, Some(&side)));
        bench.instance.tick();
        if count % 20 == 0 {
            // The listening thread gets its turn.
            std::thread::sleep(Duration::from_millis(40));
        }
        let speed = bench.instance.snapshot().transport.speed;
        if speed > 0.85 {
            return speed;
        }
    }
    bench.instance.snapshot().transport.speed
}

#[test]
fn a_listening_ladder_climbs_after_a_round_in_time_and_not_after_a_late_one() {
    crate::faults::in_own_folder(
        "practice::a_listening_ladder_climbs_after_a_round_in_time_and_not_after_a_late_one",
        || {
            let late = climbed(0.09);
            assert!((late - 0.8).abs() < 0.01, "{late}");
            let timely = climbed(0.0);
            assert!(timely > 0.85, "{timely}");
        },
    );
}

#[test]
fn every_set_up_can_be_used() {
    let bench = Bench::new();
    let names = bench.instance.snapshot().set_ups;
    assert!(names.len() >= 2, "{names:?}");
    let mut seen = Vec::new();
    for index in 0..names.len() {
        bench.instance.apply(Command::UseSetUp(index), None);
        let practice = bench.instance.snapshot().practice;
        seen.push(format!(
            "{:?} {} {} {:?}",
            practice.ladder, practice.rest_beats, practice.count_in_bars, practice.click_rate
        ));
    }
    bench.instance.apply(Command::UseSetUp(99), None);
    seen.dedup();
    assert!(seen.len() > 1, "they all do the same: {seen:?}");
}

#[test]
fn a_backend_that_tells_its_rate_late_gets_a_player_that_fits() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = recording(dir.path(), "tone.wav", 48_000);
    let mut bench = Bench::new();
    bench.restore(&path);
    let mut runner = bench.instance.runner();
    let mut player = Some(Box::new(bench.instance.activate(44_100)));
    assert!(runner.heed(&mut player, 44_100.0));
    bench.until("another player", |_| runner.heed(&mut player, 48_000.0));
    let player = *player.expect("a player");
    assert_eq!(player.rate(), 48_000);
    bench.player = player;
    bench.until_whole();
    bench.controls.play = true;
    bench.instance.apply(Command::Seek(Seconds(1.0)), None);
    bench.run(4800, false);
    let out = bench.run(9600, false);
    assert!(out.iter().any(|s| s.abs() > 0.1));
    assert!(bench.instance.snapshot().host_rate == 48_000);
}

#[test]
fn instances_share_the_sound_of_a_recording_even_under_another_name() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = recording(dir.path(), "tone.wav", 44_100);
    let copy = dir.path().join("copy.wav");
    std::fs::copy(&path, &copy).expect("copied");
    let mut benches: Vec<Bench> = [&path, &path, &copy]
        .into_iter()
        .map(|path| {
            let bench = Bench::new();
            bench.restore(path);
            bench
        })
        .collect();
    let mut sounds = Vec::new();
    for bench in &mut benches {
        bench.until_whole();
        if let RecordingView::Ready { sound, .. } = bench.instance.snapshot().recording {
            sounds.push(sound);
        }
    }
    assert_eq!(sounds.len(), 3);
    for sound in &sounds[1..] {
        assert!(Arc::ptr_eq(sound, &sounds[0]), "decoded and held twice");
    }
}

#[test]
#[ignore = "a figure: cargo xtask bench first-sound"]
fn first_sound_of_five_minutes() {
    let dir = tempfile::tempdir().expect("a folder");
    let wav = dir.path().join("long.wav");
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&wav, spec).expect("a file");
    for i in 0..300 * 44_100 {
        let t = f64::from(i) / 44_100.0;
        let fall = (-6.0 * (t % 0.25)).exp();
        let s = (0.4 * fall * (std::f64::consts::TAU * 196.0 * t).sin() * 32767.0) as i16;
        writer.write_sample(s).expect("written");
        writer.write_sample(s / 2).expect("written");
    }
    writer.finalize().expect("closed");
    for ending in ["wav", "flac", "mp3", "m4a"] {
        let path = dir.path().join(format!("five.{ending}"));
        let made = std::process::Command::new("ffmpeg")
            .args(["-v", "error", "-y", "-i"])
            .args([&wav, &path])
            .status();
        if !made.is_ok_and(|status| status.success()) {
            println!("skipped: no ffmpeg here to make a {ending}");
            continue;
        }
        let mut times: Vec<f64> = (0..7).map(|_| first_sound(&path)).collect();
        times.sort_by(f64::total_cmp);
        println!(
            "first sound of a five-minute {ending}: least {:.0} ms, middle {:.0} ms",
            times[0], times[3]
        );
    }
}

/// Milliseconds from the choice of a file to its first sound, rendering all the time.
fn first_sound(path: &std::path::Path) -> f64 {
    let mut bench = Bench::new();
    bench.controls.play = true;
    let silence = [0.0f32; 64];
    bench.run_with(&silence, None);
    let begun = std::time::Instant::now();
    bench.instance.apply(Command::Load(path.to_owned()), None);
    loop {
        let out = bench.run_with(&silence, None);
        if out.iter().any(|s| s.abs() > 1e-3) {
            return begun.elapsed().as_secs_f64() * 1000.0;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
}
