//! The player is a pure function of messages, transport and sound: the same sequence renders the
//! same samples, bit for bit, at any block size.

use super::rig::{RATE, Rig, grid, recording, tone};
use std::sync::Arc;
use thumbline::deck::{Channels, ClickRate, Ladder, Message, Track};
use thumbline::recording::Recording;
use thumbline::stretch::OnsetTable;
use thumbline::unit::{Cents, Decibels, Seconds};

/// Quarter notes a minute of which a frame at 48 kHz lasts exactly 1/32768, so that the host's
/// place itself is the same number however the blocks are cut.
const TEMPO: f64 = 87.890_625;

fn sound(seconds: f64) -> Arc<Recording> {
    let mut samples = tone(196.0, seconds);
    for i in (0..samples.len()).step_by(9600) {
        samples[i] = 0.9;
    }
    recording(vec![samples, tone(293.7, seconds)])
}

fn onsets(sound: &Recording) -> Arc<OnsetTable> {
    let frames = (0..sound.frames()).step_by(9600).collect();
    Arc::new(OnsetTable::cleaned(frames, sound.frames()))
}

/// Everything a deck can do, one after the other.
fn play(
    short: &Arc<Recording>,
    long: &Arc<Recording>,
    mut size: impl FnMut() -> usize,
) -> Vec<f32> {
    let mut rig = Rig::new(short);
    rig.pulse(&grid(8.0), ClickRate::Half, 0.6);
    let mut out = Vec::new();
    let mut go = |rig: &mut Rig, frames: usize| out.extend(rig.run_sized(frames, &mut size));
    rig.send(Message::CountIn(1));
    rig.set(|c| {
        c.play = true;
        c.click = true;
        c.speed = 0.8;
    });
    go(&mut rig, 100_003);
    // The analysis arrives, the rest of the recording too.
    rig.send(Message::Onsets(onsets(short)));
    go(&mut rig, 5_009);
    let whole = Track::new(Arc::clone(long), onsets(long), RATE).expect("the same rate");
    rig.send(Message::Replace(Box::new(whole)));
    rig.set(|c| c.pitch = Cents(-300.0));
    go(&mut rig, 30_001);
    // Loud enough for the limiter to work.
    rig.send(Message::Region(Some((Seconds(1.25), Seconds(2.25)))));
    rig.set(|c| {
        c.looping = true;
        c.channels = Channels::Mid;
        c.gain = Decibels(18.0);
        c.click_pan = -0.5;
    });
    go(&mut rig, 100_017);
    assert!(rig.deck.state().reduction_db > 3.0, "the limiter rests");
    rig.send(Message::Rest(1));
    rig.send(Message::Ladder(Some(Ladder {
        start: 0.7,
        step: 0.1,
        rounds: 1,
        top: 1.0,
        asks: false,
    })));
    go(&mut rig, 200_009);
    rig.send(Message::Seek(Seconds(3.0)));
    go(&mut rig, 10_007);
    rig.set(|c| c.bypass = true);
    go(&mut rig, 5_003);
    rig.set(|c| {
        c.bypass = false;
        c.follow = true;
        c.looping = false;
    });
    rig.host = Some((0.5, TEMPO));
    go(&mut rig, 60_013);
    // The host jumps, and changes its tempo by half.
    rig.host = Some((4.0, TEMPO));
    go(&mut rig, 20_011);
    rig.host = rig.host.map(|(quarters, _)| (quarters, TEMPO * 1.5));
    go(&mut rig, 20_021);
    rig.host = None;
    rig.set(|c| {
        c.follow = false;
        c.play = false;
    });
    go(&mut rig, 5_003);
    out
}

#[test]
fn the_same_sequence_renders_the_same_at_any_block_size() {
    let (short, long) = (sound(5.0), sound(8.0));
    let reference = play(&short, &long, || 512);
    assert!(reference.iter().any(|s| s.abs() > 0.1));
    let mut seed = 7u32;
    let random = move || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        1 + (seed >> 8) as usize % 3000
    };
    for (name, size) in [
        ("1", Box::new(|| 1usize) as Box<dyn FnMut() -> usize>),
        ("17", Box::new(|| 17)),
        ("64", Box::new(|| 64)),
        ("4096", Box::new(|| 4096)),
        ("random", Box::new(random)),
    ] {
        let other = play(&short, &long, size);
        let first = reference.iter().zip(&other).position(|(a, b)| a != b);
        assert_eq!(first, None, "blocks of {name} differ from frame {first:?}");
    }
}
