//! A deck as the tests drive it, and the sounds they play.

use std::sync::Arc;
use thumbline::deck::{
    Block, ClickRate, Config, Controls, Deck, Event, Host, Message, Player, Pulse, Track, pair,
};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::recording::Recording;
use thumbline::stretch::OnsetTable;
use thumbline::unit::Seconds;

pub const RATE: u32 = 48_000;

pub fn recording(channels: Vec<Vec<f32>>) -> Arc<Recording> {
    Arc::new(Recording::new("test", RATE, channels).expect("a recording"))
}

pub fn tone(hz: f64, seconds: f64) -> Vec<f32> {
    (0..(seconds * f64::from(RATE)) as usize)
        .map(|i| (0.3 * (std::f64::consts::TAU * hz * i as f64 / f64::from(RATE)).sin()) as f32)
        .collect()
}

/// Beats every 0.5 s from 0.25 s on, in four.
pub fn grid(seconds: f64) -> Grid {
    let beats: Vec<Seconds> = (0..=(2.0 * seconds) as u32)
        .map(|i| Seconds(0.25 + 0.5 * f64::from(i)))
        .filter(|t| t.0 < seconds)
        .collect();
    Grid::from_beats(&beats, 0, Meter::COMMON)
}

pub struct Rig {
    pub deck: Deck,
    pub player: Player,
    pub controls: Controls,
    /// The host's quarter notes and tempo, while it runs.
    pub host: Option<(f64, f64)>,
}

impl Rig {
    pub fn new(sound: &Arc<Recording>) -> Self {
        let (deck, player) = pair(Config::at(RATE));
        let mut rig = Self {
            deck,
            player,
            controls: Controls::default(),
            host: None,
        };
        let onsets = Arc::new(OnsetTable::default());
        let track = Track::new(Arc::clone(sound), onsets, RATE).expect("the same rate");
        rig.send(Message::Load(Box::new(track)));
        rig
    }

    pub fn send(&mut self, message: Message) {
        assert!(self.deck.send(message).is_ok(), "the ring is full");
    }

    pub fn pulse(&mut self, grid: &Grid, rate: ClickRate, swing: f64) {
        let pulse = Pulse::new(grid, RATE, rate, swing).map(Box::new);
        self.send(Message::Pulse(pulse));
    }

    pub fn set(&mut self, change: impl FnOnce(&mut Controls)) {
        change(&mut self.controls);
        self.player.set_controls(self.controls);
    }

    /// Renders `frames` frames in blocks of the sizes that `size` deals out; the left output.
    pub fn run_sized(&mut self, frames: usize, mut size: impl FnMut() -> usize) -> Vec<f32> {
        let mut out = Vec::new();
        while out.len() < frames {
            let n = size().clamp(1, frames - out.len());
            let (mut left, mut right) = (vec![0.0; n], vec![0.0; n]);
            self.player.process(&mut Block {
                left: &mut left,
                right: &mut right,
                side: None,
                host: self.host.map(|(quarters, tempo)| Host {
                    playing: true,
                    quarters: Some(quarters),
                    tempo: Some(tempo),
                }),
            });
            if let Some((quarters, tempo)) = &mut self.host {
                *quarters += n as f64 * (*tempo / 60.0 / f64::from(RATE));
            }
            self.deck.collect();
            out.extend(left);
        }
        out
    }

    pub fn run(&mut self, frames: usize) -> Vec<f32> {
        self.run_sized(frames, || 512)
    }

    pub fn events(&mut self) -> Vec<Event> {
        std::iter::from_fn(|| self.deck.event()).collect()
    }
}

/// Frames where a click begins: the first loud sample after 20 ms of silence.
pub fn starts(out: &[f32]) -> Vec<usize> {
    let mut found = Vec::new();
    let mut quiet = 960;
    for (i, s) in out.iter().enumerate() {
        if s.abs() > 0.02 {
            if quiet >= 960 {
                found.push(i);
            }
            quiet = 0;
        } else {
            quiet += 1;
        }
    }
    found
}
