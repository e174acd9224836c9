//! Starts, stops, seeks, bypass, what comes in and what goes out: no click, no sample out of place.

use super::rig::{RATE, Rig, recording, tone};
use std::sync::Arc;
use thumbline::deck::{Block, Config, Controls, Host, Message, Player, Track, capture, pair};
use thumbline::stretch::OnsetTable;
use thumbline::unit::Seconds;

#[test]
fn start_stop_seek_and_bypass_do_not_click() {
    // A low tone has no energy up high: what a cut adds there shows as steps between samples.
    let sound = recording(vec![tone(110.0, 10.0)]);
    let mut rig = Rig::new(&sound);
    let mut out = Vec::new();
    rig.send(Message::Seek(Seconds(1.003)));
    rig.set(|c| c.play = true);
    out.extend(rig.run(24_000));
    rig.send(Message::Seek(Seconds(4.4567)));
    out.extend(rig.run(24_000));
    rig.set(|c| c.bypass = true);
    out.extend(rig.run(24_000));
    rig.set(|c| c.bypass = false);
    out.extend(rig.run(24_000));
    rig.set(|c| c.play = false);
    out.extend(rig.run(24_000));
    rig.set(|c| c.speed = 0.6);
    rig.set(|c| c.play = true);
    out.extend(rig.run(24_000));
    let own = 0.3 * std::f64::consts::TAU * 110.0 / f64::from(RATE);
    let bend: f64 = out
        .windows(3)
        .map(|w| f64::from((w[2] - 2.0 * w[1] + w[0]).abs()))
        .fold(0.0, f64::max);
    // A cut of the tone would bend it by up to 0.6; a 3 ms fade by about 0.0005.
    assert!(bend < 0.1 * own, "{bend} against {own}");
}

#[test]
fn the_input_passes_untouched_and_late_by_the_latency() {
    let (_deck, mut player) = pair(Config::at(RATE));
    let mut controls = Controls {
        through: true,
        ..Controls::default()
    };
    player.set_controls(controls);
    let render = |player: &mut Player, frames: usize, pulse: Option<usize>| -> Vec<f32> {
        let mut left = vec![0.0; frames];
        if let Some(at) = pulse {
            left[at] = 0.5;
        }
        let mut right = left.clone();
        player.process(&mut Block {
            left: &mut left,
            right: &mut right,
            side: None,
            host: None,
        });
        left
    };
    render(&mut player, 4800, None);
    let out = render(&mut player, 4800, Some(1000));
    assert_eq!(
        out.iter().position(|s| *s != 0.0),
        Some(1000 + player.latency())
    );
    assert_eq!(out[1000 + player.latency()], 0.5);
    controls.bypass = true;
    player.set_controls(controls);
    render(&mut player, 4800, None);
    let out = render(&mut player, 4800, Some(1000));
    assert_eq!(
        out.iter().position(|s| *s == 0.5),
        Some(1000 + player.latency())
    );
}

#[test]
fn nan_from_the_host_is_silence() {
    let (_deck, mut player) = pair(Config::at(RATE));
    player.set_controls(Controls {
        through: true,
        ..Controls::default()
    });
    let mut left = vec![f32::NAN; 2000];
    let mut right = vec![f32::INFINITY; 2000];
    player.process(&mut Block {
        left: &mut left,
        right: &mut right,
        side: Some((&[f32::NAN; 3], &[0.0; 1])),
        host: Some(Host {
            playing: true,
            quarters: Some(f64::NAN),
            tempo: Some(-3.0),
        }),
    });
    assert!(left.iter().chain(&right).all(|s| *s == 0.0));
}

#[test]
fn a_longer_prefix_takes_over_without_a_step() {
    let whole = recording(vec![tone(110.0, 10.0)]);
    let short = recording(vec![tone(110.0, 4.0)]);
    let mut rig = Rig::new(&short);
    rig.set(|c| c.play = true);
    let mut out = rig.run(2 * RATE as usize);
    let track = Track::new(whole, Arc::new(OnsetTable::default()), RATE).expect("a track");
    rig.send(Message::Replace(Box::new(track)));
    out.extend(rig.run(4 * RATE as usize));
    assert!((rig.deck.state().position.0 - 6.0).abs() < 1e-3);
    // The tone's own beginning aside.
    let bend = out[RATE as usize..]
        .windows(3)
        .map(|w| (w[2] - 2.0 * w[1] + w[0]).abs())
        .fold(0.0f32, f32::max);
    assert!(bend < 0.001, "{bend}");
}

#[test]
fn a_take_knows_where_the_recording_was() {
    let sound = recording(vec![tone(220.0, 6.0)]);
    let mut rig = Rig::new(&sound);
    rig.send(Message::Region(Some((Seconds(1.0), Seconds(2.0)))));
    let (tap, mut receiver) = capture::tap(capture::Source::Take, RATE, 30.0);
    rig.send(Message::Record(tap));
    rig.set(|c| {
        c.looping = true;
        c.speed = 0.5;
    });
    rig.run(4800);
    rig.set(|c| c.play = true);
    rig.run(5 * RATE as usize);
    rig.send(Message::StopRecording);
    rig.run(64);
    let (mut frames, mut places) = (Vec::new(), Vec::new());
    receiver.drain(&mut frames, &mut places);
    assert_eq!(frames.len(), 5 * RATE as usize);
    rig.deck.collect();
    assert!(receiver.finished());
    // The start and two seams.
    assert_eq!(places.len(), 3, "{places:?}");
    for place in &places[1..] {
        assert!((place.at.0 - 1.0).abs() < 1e-3, "{places:?}");
        assert_eq!(place.speed, 0.5);
    }
    assert!((places[2].frame as f64 - places[1].frame as f64 - 96_000.0).abs() < 40.0);
}

#[test]
fn the_recording_is_late_by_the_reported_latency_to_the_sample() {
    for rate in [44_100u32, 48_000, 96_000] {
        let mut samples = vec![0.0f32; rate as usize];
        samples[12_345] = 0.5;
        let sound = thumbline::recording::Recording::new("impulse", rate, vec![samples])
            .expect("a recording");
        let (mut deck, mut player) = pair(Config::at(rate));
        let track = Track::new(Arc::new(sound), Arc::default(), rate).expect("the same rate");
        assert!(deck.send(Message::Load(Box::new(track))).is_ok());
        player.set_controls(Controls {
            play: true,
            ..Controls::default()
        });
        let (mut left, mut right) = (vec![0.0; 20_000], vec![0.0; 20_000]);
        player.process(&mut Block {
            left: &mut left,
            right: &mut right,
            side: None,
            host: None,
        });
        let heard = left.iter().position(|s| s.abs() > 0.1);
        assert_eq!(heard, Some(12_345 + player.latency()), "{rate}");
    }
}
