//! The audio thread's promise: through every message, at every block size, the player neither
//! allocates nor frees. An allocator that forbids both watches (`assert_no_alloc`); a breach
//! aborts the test.

#[path = "deck_realtime/soak.rs"]
mod soak;
#[path = "deck_realtime/two_threads.rs"]
mod two_threads;

use assert_no_alloc::{AllocDisabler, assert_no_alloc};
use std::sync::Arc;
use thumbline::deck::{
    Aside, Block, Channels, ClickRate, Config, Controls, Deck, Host, Ladder, Message, Player,
    Pulse, Track, capture, pair,
};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::recording::Recording;
use thumbline::stretch::OnsetTable;
use thumbline::unit::{Cents, Decibels, Seconds};

#[global_allocator]
static WATCHED: AllocDisabler = AllocDisabler;

const RATE: u32 = 48_000;

fn sound(seconds: f64) -> Arc<Recording> {
    let mut samples: Vec<f32> = (0..(seconds * f64::from(RATE)) as usize)
        .map(|i| (i as f32 * 0.02).sin() * 0.5)
        .collect();
    for i in (0..samples.len()).step_by(11_000) {
        samples[i] = 0.9;
    }
    let other = samples.iter().map(|s| s * 0.7).collect();
    Arc::new(Recording::new("test", RATE, vec![samples, other]).expect("a recording"))
}

fn onsets(sound: &Recording) -> Arc<OnsetTable> {
    let frames = (0..sound.frames()).step_by(11_000).collect();
    Arc::new(OnsetTable::cleaned(frames, sound.frames()))
}

fn onsets_of(sound: &Recording, at: &[Seconds]) -> Arc<OnsetTable> {
    let frames = at.iter().map(|t| t.frame(RATE)).collect();
    Arc::new(OnsetTable::cleaned(frames, sound.frames()))
}

fn pulse() -> Option<Box<Pulse>> {
    let beats: Vec<Seconds> = (0..30).map(|i| Seconds(0.2 + 0.4 * f64::from(i))).collect();
    let grid = Grid::from_beats(&beats, 0, Meter::COMMON);
    Pulse::new(&grid, RATE, ClickRate::Quarter, 0.6).map(Box::new)
}

fn track(sound: &Arc<Recording>) -> Box<Track> {
    Box::new(Track::new(Arc::clone(sound), onsets(sound), RATE).expect("the same rate"))
}

struct Rig {
    deck: Deck,
    player: Player,
    controls: Controls,
    size: usize,
    quarters: f64,
    left: Vec<f32>,
    right: Vec<f32>,
}

impl Rig {
    fn new(size: usize) -> Self {
        let (deck, player) = pair(Config::at(RATE));
        Self {
            deck,
            player,
            controls: Controls::default(),
            size,
            quarters: 0.0,
            left: vec![0.0; size],
            right: vec![0.0; size],
        }
    }

    fn send(&mut self, message: Message) {
        assert!(self.deck.send(message).is_ok(), "the ring is full");
        self.run(0.02);
    }

    /// Renders so many seconds under watch, the deck's housekeeping between blocks unwatched.
    fn run(&mut self, seconds: f64) {
        let blocks = (seconds * f64::from(RATE) / self.size as f64).ceil() as usize;
        for _ in 0..blocks {
            self.left.fill(0.1);
            self.right.fill(-0.1);
            let host = Host {
                playing: true,
                quarters: Some(self.quarters),
                tempo: Some(140.0),
            };
            self.quarters += self.size as f64 * 140.0 / 60.0 / f64::from(RATE);
            let (player, controls) = (&mut self.player, self.controls);
            let (left, right) = (&mut self.left, &mut self.right);
            assert_no_alloc(|| {
                player.set_controls(controls);
                player.process(&mut Block {
                    left,
                    right,
                    side: Some((&[0.2; 7], &[0.2; 7])),
                    host: Some(host),
                });
            });
            self.deck.collect();
            while self.deck.event().is_some() {}
        }
    }
}

fn through_everything(size: usize) {
    let (short, long) = (sound(4.0), sound(12.0));
    let mut rig = Rig::new(size);
    rig.send(Message::Load(track(&short)));
    rig.send(Message::Pulse(pulse()));
    rig.send(Message::CountIn(1));
    rig.controls.play = true;
    rig.controls.click = true;
    rig.run(2.0);
    rig.send(Message::Replace(track(&long)));
    rig.run(0.3);
    rig.send(Message::Onsets(onsets(&long)));
    rig.controls.speed = 0.6;
    rig.run(0.3);
    rig.controls.pitch = Cents(250.0);
    rig.controls.gain = Decibels(18.0);
    rig.controls.channels = Channels::Side;
    rig.run(0.3);
    rig.send(Message::Region(Some((Seconds(1.0), Seconds(1.3)))));
    rig.controls.looping = true;
    rig.run(1.0);
    rig.send(Message::Ladder(Some(Ladder {
        start: 0.5,
        step: 0.1,
        rounds: 1,
        top: 1.0,
        asks: true,
    })));
    rig.send(Message::Climb);
    rig.run(1.5);
    rig.send(Message::Rest(1));
    rig.run(1.5);
    rig.send(Message::Seek(Seconds(1.1)));
    let (tap, mut receiver) = capture::tap(capture::Source::Take, RATE, 0.5);
    rig.send(Message::Record(tap));
    let (second, _gone) = capture::tap(capture::Source::Track, RATE, 0.5);
    rig.send(Message::Record(second));
    rig.run(0.7);
    rig.send(Message::StopRecording);
    let (mut frames, mut places) = (Vec::new(), Vec::new());
    receiver.drain(&mut frames, &mut places);
    let (tap, _reel) = capture::tap(capture::Source::Take, RATE, 5.0);
    rig.send(Message::Calibrate(tap));
    for again in [Some(0), None, Some(500)] {
        let aside = Aside::new(vec![vec![0.1; 9000], vec![0.1; 9000]], again);
        rig.send(Message::Beside(Some(Box::new(aside))));
    }
    rig.run(2.0);
    rig.send(Message::Beside(None));
    rig.run(0.5);
    rig.controls.through = true;
    rig.controls.bypass = true;
    rig.run(0.1);
    rig.controls.bypass = false;
    rig.controls.follow = true;
    rig.run(1.0);
    rig.quarters = 2.0;
    rig.run(0.5);
    rig.controls.follow = false;
    rig.controls.looping = false;
    rig.controls.speed = f64::NAN;
    rig.send(Message::Seek(Seconds(11.9)));
    rig.run(0.5);
    rig.send(Message::Pulse(None));
    rig.send(Message::Ladder(None));
    rig.send(Message::Unload);
    rig.run(0.1);
}

#[test]
fn no_block_allocates_through_every_message() {
    for size in [17, 64, 512, 4096] {
        through_everything(size);
    }
}

#[test]
fn nor_a_block_of_one_frame() {
    through_everything(1);
}

#[test]
fn a_deck_that_nobody_looks_after_loses_nothing() {
    // Nothing is collected: the ring of retired things fills, messages wait, nothing is freed on
    // the audio thread; once collected, everything goes on.
    let sound = sound(1.0);
    let (mut deck, mut player) = pair(Config {
        rate: RATE,
        messages: 8,
    });
    let mut refused = 0;
    for _ in 0..100 {
        if deck.send(Message::Load(track(&sound))).is_err() {
            refused += 1;
        }
        let (mut left, mut right) = ([0.0; 64], [0.0; 64]);
        assert_no_alloc(|| {
            player.process(&mut Block {
                left: &mut left,
                right: &mut right,
                side: None,
                host: None,
            });
        });
    }
    assert!(refused > 0);
    let freed = deck.collect();
    assert!(freed >= 8, "{freed}");
    let (mut left, mut right) = ([0.0; 64], [0.0; 64]);
    player.process(&mut Block {
        left: &mut left,
        right: &mut right,
        side: None,
        host: None,
    });
    assert!(deck.send(Message::Unload).is_ok());
}
