//! The host drives: its beats say what sounds, its loop and jumps are followed, its tempo is the
//! speed.

use super::rig::{RATE, Rig, grid, recording, starts, tone};
use std::sync::Arc;
use thumbline::deck::{Block, ClickRate, Event, Host, Message, Phase};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::stretch::OnsetTable;
use thumbline::unit::Seconds;

#[test]
fn the_host_drives_the_recording_through_its_beats() {
    // Beats that wander; the host's click does not. Each beat's sample must sound on the host's
    // beat, and the host's jump must be followed at once.
    let beats: Vec<Seconds> = (0..40)
        .map(|i| Seconds(0.3 + 0.5 * f64::from(i) + 0.02 * f64::from(i).sin()))
        .collect();
    let grid = Grid::from_beats(&beats, 0, Meter::COMMON);
    let mut samples = vec![0.0f32; 25 * RATE as usize];
    let onsets: Vec<usize> = beats.iter().map(|b| b.frame(RATE)).collect();
    for &o in &onsets {
        samples[o] = 0.8;
    }
    let sound = recording(vec![samples]);
    let mut rig = Rig::new(&sound);
    rig.send(Message::Onsets(Arc::new(OnsetTable::cleaned(
        onsets,
        sound.frames(),
    ))));
    rig.pulse(&grid, ClickRate::Beat, 0.5);
    rig.set(|c| c.follow = true);
    let tempo = 100.0;
    let mut quarters = 0.0;
    let mut out = Vec::new();
    for block in 0..1500 {
        let n = 256;
        if block == 900 {
            quarters = 4.0;
        }
        let (mut left, mut right) = (vec![0.0; n], vec![0.0; n]);
        rig.player.process(&mut Block {
            left: &mut left,
            right: &mut right,
            side: None,
            host: Some(Host {
                playing: true,
                quarters: Some(quarters),
                tempo: Some(tempo),
            }),
        });
        quarters += n as f64 * tempo / 60.0 / f64::from(RATE);
        out.extend(left);
    }
    let late = rig.player.latency();
    let beat = 60.0 / tempo * f64::from(RATE);
    let found = starts(&out);
    assert!(found.len() > 10, "{found:?}");
    let jump = 900 * 256;
    let mut worst = 0.0f64;
    for f in &found {
        let at = (f - late.min(*f)) as f64;
        let since = if at + 30.0 < f64::from(jump) {
            at
        } else {
            at - f64::from(jump)
        };
        let off = since - (since / beat).round() * beat;
        worst = worst.max(off.abs() / f64::from(RATE) * 1000.0);
    }
    // Less than the least a listener hears (6 ms; Friberg & Sundberg 1995).
    assert!(worst < 3.0, "{worst} ms off: {found:?}");
}

/// A deck that follows a host, over 20 s of a tone with beats every half second from 0.25 s on.
fn following(tempo: f64) -> Rig {
    let mut rig = Rig::new(&recording(vec![tone(220.0, 20.0)]));
    rig.pulse(&grid(20.0), ClickRate::Beat, 0.5);
    rig.set(|c| c.follow = true);
    rig.host = Some((0.0, tempo));
    rig
}

/// Where the recording must be at the host's quarter note.
fn place(quarters: f64) -> f64 {
    0.25 + 0.5 * quarters
}

#[test]
fn the_hosts_loop_and_jumps_are_followed_within_one_block() {
    for size in [32, 64, 480, 1024] {
        let mut rig = following(120.0);
        rig.run_sized(48_000, || size);
        // The host loops from its quarter note 2 back to 1, again and again, and jumps elsewhere.
        for goal in [1.0, 1.0, 9.5, 0.0, 20.25] {
            rig.host = Some((goal, 120.0));
            rig.run_sized(size, || size);
            let there = place(goal) + size as f64 / f64::from(RATE);
            let at = rig.deck.state().position.0;
            assert!(
                (at - there).abs() < 0.001,
                "{size}, {goal}: {at}, not {there}"
            );
            rig.run_sized(24_000, || size);
        }
    }
}

#[test]
fn the_hosts_tempo_sets_the_speed() {
    for tempo in [60.0, 90.0, 120.0, 150.0] {
        let mut rig = following(tempo);
        let out = rig.run(2 * RATE as usize);
        let state = rig.deck.state();
        assert!(
            (state.speed - tempo / 120.0).abs() < 0.02,
            "{tempo}: {state:?}"
        );
        let quarters = 2.0 * tempo / 60.0;
        assert!(
            (state.position.0 - place(quarters)).abs() < 0.005,
            "{tempo}: {state:?}"
        );
        assert!(out[RATE as usize..].iter().any(|s| s.abs() > 0.1));
    }
    // A new tempo in the middle.
    let mut rig = following(120.0);
    rig.run(RATE as usize);
    rig.host = rig.host.map(|(quarters, _)| (quarters, 80.0));
    rig.run(2 * RATE as usize);
    let (quarters, _) = rig.host.expect("a host");
    let state = rig.deck.state();
    assert!(
        (state.position.0 - place(quarters)).abs() < 0.005,
        "{state:?}"
    );
    assert!((state.speed - 80.0 / 120.0).abs() < 0.02, "{state:?}");
}

#[test]
fn outside_the_recording_and_beyond_its_speeds_there_is_silence_or_a_word() {
    let mut rig = following(120.0);
    rig.run(4800);
    rig.host = Some((-8.0, 120.0));
    rig.run(4800);
    assert_eq!(rig.deck.state().phase, Phase::Stopped);
    rig.host = Some((1000.0, 120.0));
    rig.run(4800);
    assert_eq!(rig.deck.state().phase, Phase::Stopped);
    rig.host = Some((2.0, 20.0));
    rig.run(4800);
    assert!(rig.events().contains(&Event::OutOfReach));
    // The host stops: so does the recording.
    rig.host = None;
    rig.run(4800);
    assert_eq!(rig.deck.state().phase, Phase::Stopped);
}

#[test]
fn a_session_s_tempo_map_and_a_place_chosen_while_it_stands_are_followed() {
    // A ritardando written into the session: a new tempo in every block.
    let mut rig = following(120.0);
    rig.run(RATE as usize / 2);
    for block in 0..300 {
        rig.host = rig
            .host
            .map(|(quarters, _)| (quarters, 120.0 - 0.2 * f64::from(block)));
        rig.run_sized(256, || 256);
        let (quarters, _) = rig.host.expect("a host");
        let at = rig.deck.state().position.0;
        assert!((at - place(quarters)).abs() < 0.005, "block {block}: {at}");
    }
    // It stands, is moved, and runs on from elsewhere.
    for goal in [17.0, 3.5] {
        rig.host = None;
        rig.run(4800);
        assert_eq!(rig.deck.state().phase, Phase::Stopped);
        rig.host = Some((goal, 120.0));
        rig.run_sized(64, || 64);
        let at = rig.deck.state().position.0;
        let there = place(goal) + 64.0 / f64::from(RATE);
        assert!((at - there).abs() < 0.001, "{goal}: {at}");
    }
}
