//! Sounds beside the recording: heard whatever the transport does, at the deck's gain, once or again.

use super::rig::{RATE, Rig, recording, tone};
use thumbline::deck::{Aside, Message};
use thumbline::unit::Decibels;

const SECOND: usize = RATE as usize;

fn silence() -> Vec<Vec<f32>> {
    vec![vec![0.0; 4 * SECOND]]
}

fn peak(out: &[f32]) -> f32 {
    out.iter().fold(0.0, |p, s| p.max(s.abs()))
}

fn put(rig: &mut Rig, channels: Vec<Vec<f32>>, again: Option<usize>) {
    let aside = Aside::new(channels, again);
    rig.send(Message::Beside(Some(Box::new(aside))));
}

#[test]
fn one_is_heard_once_while_the_transport_stands_still_sample_for_sample() {
    let mut rig = Rig::new(&recording(silence()));
    let sound = tone(220.0, 0.2);
    put(&mut rig, vec![sound.clone()], None);
    let out = rig.run(SECOND);
    let late = rig.player.latency();
    assert_eq!(out[late..late + sound.len()], sound[..]);
    assert_eq!(peak(&out[late + sound.len()..]), 0.0);
    assert_eq!(rig.deck.state().aside, None, "it is over");
}

#[test]
fn it_follows_the_deck_s_gain_and_tells_its_place() {
    let mut rig = Rig::new(&recording(silence()));
    rig.set(|c| c.gain = Decibels(-6.0));
    rig.run(SECOND / 10);
    put(&mut rig, vec![tone(220.0, 1.0)], None);
    let out = rig.run(SECOND / 2);
    // 10^(-6/20) of a tone of 0.3.
    assert!((peak(&out) - 0.3 * 0.5012).abs() < 1e-3, "{}", peak(&out));
    let at = rig.deck.state().aside.expect("it sounds");
    assert!((at.0 - 0.5).abs() < 0.02, "{at:?}");
}

#[test]
fn one_that_goes_round_does_so_until_it_is_silenced_without_a_step() {
    let mut rig = Rig::new(&recording(silence()));
    // A whole number of periods: the seam is inaudible by itself.
    put(&mut rig, vec![tone(200.0, 0.1)], Some(0));
    let out = rig.run(SECOND);
    let tail = &out[SECOND / 2..];
    assert!(peak(tail) > 0.29, "it went round: {}", peak(tail));
    rig.send(Message::Beside(None));
    let out = rig.run(SECOND / 2);
    let step = out.windows(2).map(|w| (w[1] - w[0]).abs());
    // The tone itself moves by 0.3 * 2 pi 200 / 48000 a sample.
    assert!(step.fold(0.0, f32::max) < 0.012, "no click at the end");
    assert_eq!(peak(&out[SECOND / 10..]), 0.0);
    assert_eq!(rig.deck.state().aside, None);
}

#[test]
fn a_second_one_takes_the_place_of_the_first_without_a_step() {
    let mut rig = Rig::new(&recording(silence()));
    put(&mut rig, vec![tone(200.0, 1.0)], None);
    rig.run(SECOND / 4);
    put(&mut rig, vec![vec![0.0; SECOND]], None);
    let out = rig.run(SECOND / 4);
    let step = out.windows(2).map(|w| (w[1] - w[0]).abs());
    assert!(step.fold(0.0, f32::max) < 0.012);
    assert_eq!(peak(&out[SECOND / 10..]), 0.0);
}

#[test]
fn what_has_no_sound_is_no_fault() {
    let mut rig = Rig::new(&recording(silence()));
    for again in [Some(0), Some(99), None] {
        put(&mut rig, Vec::new(), again);
        put(&mut rig, vec![Vec::new(), vec![0.1; 9]], again);
        assert_eq!(peak(&rig.run(1000)), 0.0);
    }
}

/// Somebody who tunes hears the input while nothing runs, and nobody hears it of the deck.
#[test]
fn an_ear_hears_the_input_while_the_transport_stands_still() {
    let mut rig = Rig::new(&recording(silence()));
    let (tap, mut receiver) = thumbline::deck::capture::ear(RATE, 2.0);
    rig.send(Message::Record(tap));
    let input = tone(110.0, 0.5);
    let (mut frames, mut places) = (Vec::new(), Vec::new());
    for piece in input.chunks(512) {
        let (mut left, mut right) = (piece.to_vec(), piece.to_vec());
        rig.player.process(&mut thumbline::deck::Block {
            left: &mut left,
            right: &mut right,
            side: None,
            host: None,
        });
        assert_eq!(peak(&left), 0.0);
        receiver.drain(&mut frames, &mut places);
    }
    let heard: Vec<f32> = frames.iter().map(|f| f[0]).collect();
    assert_eq!(heard, input);
    rig.send(Message::StopRecording);
    rig.run(512);
    assert!(receiver.finished());
}
