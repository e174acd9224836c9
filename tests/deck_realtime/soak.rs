//! Half an hour of sound at random messages, controls and block sizes: nothing allocates, nothing
//! is out of range, and the click never leaves the recording's beats.
//!
//! `cargo xtask soak` runs it, for as long as it is told, and shows its figures.

use super::{RATE, onsets_of};
use assert_no_alloc::assert_no_alloc;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Instant;
use thumbline::deck::{
    Block, Channels, ClickRate, Config, Controls, Deck, Host, Ladder, Message, Player, Pulse,
    Track, capture, pair,
};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::recording::Recording;
use thumbline::unit::{Cents, Decibels, Seconds};

/// Minutes of sound rendered where `THUMBLINE_SOAK_MINUTES` tells no other number.
const LENGTH: f64 = 30.0;

/// Memory may grow by this much over the second half, in megabytes: what the test itself notes down.
const GROWTH: f64 = 16.0;

/// Seconds of the recording, and between its beats.
const RECORDING: f64 = 60.0;
const BEAT: f64 = 0.5;

/// A change of speed is heard once what is worked out before has been played.
const SETTLE: f64 = 0.4;

/// Marsaglia's xorshift (2003).
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    fn below(&mut self, n: usize) -> usize {
        ((self.next() * n as f64) as usize).min(n - 1)
    }
}

/// A short tick on every beat, on the left alone: the right side belongs to the click.
fn ticking() -> Arc<Recording> {
    let mut left: Vec<f32> = (0..(RECORDING * f64::from(RATE)) as usize)
        .map(|i| (i as f32 * 0.02).sin() * 0.01)
        .collect();
    for beat in beats() {
        for k in 0..48 {
            left[beat.frame(RATE) + k] += 0.4 * (1.0 - k as f32 / 48.0);
        }
    }
    let right = vec![0.0; left.len()];
    Arc::new(Recording::new("ticks", RATE, vec![left, right]).expect("a recording"))
}

fn beats() -> Vec<Seconds> {
    (0..1_000_000)
        .map(|i| Seconds(0.25 + BEAT * f64::from(i)))
        .take_while(|t| t.0 < RECORDING - 0.1)
        .collect()
}

fn pulse(random: &mut Random) -> Option<Box<Pulse>> {
    let grid = Grid::from_beats(&beats(), 0, Meter::COMMON);
    Pulse::new(&grid, RATE, ClickRate::Beat, random.within(0.5, 0.7)).map(Box::new)
}

struct Soak {
    deck: Deck,
    player: Player,
    controls: Controls,
    random: Random,
    sound: Arc<Recording>,
    receiver: Option<capture::Receiver>,
    sent: BTreeMap<&'static str, usize>,
    /// Output frame from which on a calibration is over.
    calibrated: u64,
    blocks: usize,
    /// Shares of a buffer's time, of buffers of 64 frames or more.
    shares: Vec<f64>,
    /// Milliseconds between a tick and its click.
    apart: Vec<f64>,
    alone: usize,
    /// What was asked for at the first tick without a click.
    alone_at: String,
    /// What was asked for where the farthest lay.
    farthest: (f64, String),
    /// What was sent since the last stretch of time.
    lately: Vec<&'static str>,
    quarters: f64,
}

impl Soak {
    fn new(seed: u64) -> Self {
        let (deck, player) = pair(Config::at(RATE));
        Self {
            deck,
            player,
            controls: Controls::default(),
            random: Random(seed),
            sound: ticking(),
            receiver: None,
            sent: BTreeMap::new(),
            calibrated: 0,
            blocks: 0,
            shares: Vec::new(),
            apart: Vec::new(),
            alone: 0,
            alone_at: String::new(),
            farthest: (0.0, String::new()),
            lately: Vec::new(),
            quarters: 0.0,
        }
    }

    fn track(&self) -> Box<Track> {
        let onsets = onsets_of(&self.sound, &beats());
        Box::new(Track::new(Arc::clone(&self.sound), onsets, RATE).expect("the same rate"))
    }

    fn send(&mut self, name: &'static str, message: Message) {
        assert!(self.deck.send(message).is_ok(), "the ring is full");
        *self.sent.entry(name).or_default() += 1;
        self.lately.push(name);
    }

    /// One message, any of them.
    fn any_message(&mut self) {
        let r = &mut self.random;
        let place = Seconds(r.within(0.0, RECORDING));
        let region = (place, Seconds(place.0 + r.within(0.02, 8.0)));
        match r.below(16) {
            0 => {
                let track = self.track();
                self.send("load", Message::Load(track));
            }
            1 => {
                let track = self.track();
                self.send("replace", Message::Replace(track));
            }
            2 => {
                let table = onsets_of(&self.sound, &beats());
                self.send("onsets", Message::Onsets(table));
            }
            3 => {
                let pulse = pulse(r);
                self.send("pulse", Message::Pulse(pulse));
            }
            4 | 5 => self.send("region", Message::Region(Some(region))),
            6 => self.send("region", Message::Region(None)),
            7 | 8 => self.send("seek", Message::Seek(place)),
            9 => {
                let bars = r.below(3) as u8;
                self.send("count-in", Message::CountIn(bars));
            }
            10 => {
                let beats = r.below(4) as u8;
                self.send("rest", Message::Rest(beats));
            }
            11 => {
                let ladder = (r.next() < 0.5).then(|| Ladder {
                    start: r.within(0.25, 1.0),
                    step: 0.05,
                    rounds: 1,
                    top: 1.2,
                    asks: r.next() < 0.3,
                });
                self.send("ladder", Message::Ladder(ladder));
            }
            12 => self.send("climb", Message::Climb),
            13 => {
                let (tap, receiver) = capture::tap(capture::Source::Take, RATE, 1.0);
                self.receiver = Some(receiver);
                self.send("record", Message::Record(tap));
            }
            14 => self.send("stop recording", Message::StopRecording),
            _ => {
                let (tap, _) = capture::tap(capture::Source::Take, RATE, 3.0);
                self.send("calibrate", Message::Calibrate(tap));
                // Its own clicks sound for a while.
                self.calibrated = self.deck.state().clock + 3 * u64::from(RATE);
            }
        }
    }

    fn any_controls(&mut self) {
        let r = &mut self.random;
        self.controls = Controls {
            play: r.next() < 0.95,
            looping: r.next() < 0.5,
            speed: r.within(0.2, 1.6),
            pitch: Cents(if r.next() < 0.5 {
                0.0
            } else {
                r.within(-1200.0, 1200.0)
            }),
            gain: Decibels(r.within(-12.0, 24.0)),
            click: true,
            click_level: Decibels(0.0),
            click_pan: 1.0,
            channels: match r.below(8) {
                0 => Channels::Side,
                1 => Channels::Mid,
                _ => Channels::Stereo,
            },
            through: r.next() < 0.1,
            bypass: r.next() < 0.05,
            follow: r.next() < 0.1,
        };
    }

    fn block(&mut self, out: &mut [Vec<f32>; 2], left: &mut [f32], right: &mut [f32]) {
        let strange = self.random.next() < 0.001;
        left.fill(if strange { f32::NAN } else { 0.0 });
        right.fill(if strange { f32::INFINITY } else { 0.0 });
        let host = Host {
            playing: true,
            quarters: Some(self.quarters),
            tempo: Some(120.0),
        };
        self.quarters += left.len() as f64 * 2.0 / f64::from(RATE);
        let (player, controls) = (&mut self.player, self.controls);
        let begun = Instant::now();
        assert_no_alloc(|| {
            player.set_controls(controls);
            player.process(&mut Block {
                left,
                right,
                side: Some((&[0.1; 5], &[0.1; 5])),
                host: Some(host),
            });
        });
        let took = begun.elapsed().as_secs_f64();
        if left.len() >= 64 {
            self.shares.push(took * f64::from(RATE) / left.len() as f64);
        }
        self.blocks += 1;
        for (all, new) in out.iter_mut().zip([&*left, &*right]) {
            for s in new {
                assert!(s.is_finite() && s.abs() <= 1.0, "{s}");
            }
            all.extend_from_slice(new);
        }
        self.deck.collect();
        while self.deck.event().is_some() {}
    }

    /// A few seconds after a change of everything.
    fn stretch_of_time(&mut self) -> usize {
        self.lately.clear();
        self.any_controls();
        for _ in 0..self.random.below(3) {
            self.any_message();
        }
        if self.controls.follow && self.random.next() < 0.5 {
            self.quarters = self.random.within(0.0, 100.0);
        }
        let seconds = self.random.within(0.6, 4.0);
        let frames = (seconds * f64::from(RATE)) as usize;
        let most = [1, 17, 64, 64, 256, 512, 2048, 8192][self.random.below(8)];
        let (mut left, mut right) = (vec![0.0; most], vec![0.0; most]);
        let mut out = [Vec::new(), Vec::new()];
        while out[0].len() < frames {
            let n = if self.random.next() < 0.5 {
                most
            } else {
                1 + self.random.below(most)
            };
            self.block(&mut out, &mut left[..n], &mut right[..n]);
        }
        if let Some(receiver) = &mut self.receiver {
            receiver.drain(&mut Vec::new(), &mut Vec::new());
        }
        let c = self.controls;
        let begun = self.deck.state().clock - out[0].len() as u64;
        if begun < self.calibrated {
            return out[0].len();
        }
        if c.play && !c.follow && !c.bypass && !c.through && c.channels == Channels::Stereo {
            self.compare(&out);
        }
        out[0].len()
    }

    /// Holds ticks against clicks, once the speed has settled.
    fn compare(&mut self, out: &[Vec<f32>; 2]) {
        let from = (SETTLE * f64::from(RATE)) as usize;
        let tick = (0.4 * self.controls.gain.amplitude() as f32).min(1.0);
        // The limiter presses a click down as far as the tick beside it, and one alone not at all.
        let pressed = (0.4 * self.controls.gain.amplitude() as f32)
            .recip()
            .min(1.0);
        let [left, right] = [0, 1].map(|k: usize| &out[k][from.min(out[k].len())..]);
        let click = right.iter().fold(0.05f32, |high, s| high.max(s.abs()));
        let [ticks, clicks] =
            [(left, tick), (right, click * pressed)].map(|(o, l)| starts(o, 0.35 * l));
        for tick in ticks {
            match clicks.iter().map(|c| c.abs_diff(tick)).min() {
                Some(near) if near < RATE as usize / 20 => {
                    let ms = near as f64 / f64::from(RATE) * 1000.0;
                    self.apart.push(ms);
                    if ms > self.farthest.0 {
                        let since = f64::from((from + tick) as u32) / f64::from(RATE);
                        let (sent, controls) = (&self.lately, &self.controls);
                        let state = self.deck.state();
                        self.farthest = (
                            ms,
                            format!("{since:.3} s after {sent:?} with {controls:?}: {state:?}"),
                        );
                    }
                }
                _ => {
                    self.alone += 1;
                    if self.alone_at.is_empty() {
                        self.alone_at = format!("{:?} with {:?}", self.lately, self.controls);
                    }
                }
            }
        }
    }
}

/// Where something louder than `level` begins after 20 ms of quiet.
fn starts(out: &[f32], level: f32) -> Vec<usize> {
    let mut found = Vec::new();
    let mut quiet = 0;
    for (i, s) in out.iter().enumerate() {
        if s.abs() > level {
            if quiet >= RATE as usize / 50 {
                found.push(i);
            }
            quiet = 0;
        } else {
            quiet += 1;
        }
    }
    found
}

/// Megabytes of memory that this process holds, where the system tells (Linux, `proc(5)`).
fn resident() -> Option<f64> {
    let said = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = said.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
    let kb: f64 = line.trim().strip_suffix(" kB")?.parse().ok()?;
    Some(kb / 1e3)
}

#[test]
#[ignore = "half an hour of sound: cargo xtask soak deck"]
fn half_an_hour_at_random() {
    let seed = std::env::var("THUMBLINE_SEED")
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(1);
    let mut soak = Soak::new(0x9e37_79b9_7f4a_7c15 ^ seed);
    let track = soak.track();
    soak.send("load", Message::Load(track));
    let pulse = pulse(&mut soak.random);
    soak.send("pulse", Message::Pulse(pulse));
    let minutes = std::env::var("THUMBLINE_SOAK_MINUTES").ok();
    let minutes = minutes.and_then(|m| m.parse().ok()).unwrap_or(LENGTH);
    let length = minutes * 60.0 * f64::from(RATE);
    let mut frames = 0;
    let mut half = None;
    while (frames as f64) < length {
        frames += soak.stretch_of_time();
        if half.is_none() && frames as f64 > length / 2.0 {
            half = resident();
        }
        if soak.random.next() < 0.01 {
            soak.send("unload", Message::Unload);
            soak.stretch_of_time();
            let track = soak.track();
            soak.send("load", Message::Load(track));
        }
    }
    let share = |values: &mut Vec<f64>, q: f64| {
        values.sort_by(f64::total_cmp);
        values[((values.len() - 1) as f64 * q) as usize]
    };
    let blocks = soak.blocks;
    println!(
        "{:.1} min of sound in {blocks} blocks, seed {seed}: nothing allocated or freed, every sample \
         finite and at most 1",
        frames as f64 / f64::from(RATE) / 60.0
    );
    if let (Some(half), Some(end)) = (half, resident()) {
        let slope = (end - half) / (minutes / 120.0);
        println!(
            "memory: {half:.1} MB halfway, {end:.1} MB at the end, {slope:+.2} MB an hour of sound"
        );
        assert!(end - half < GROWTH, "memory grows");
    }
    println!("messages: {:?}", soak.sent);
    println!(
        "callback of 64 frames and more: median {:.1} %, p99 {:.1} %, p99.9 {:.1} %, worst {:.1} % of \
         the buffer's time (what other programs took is in it)",
        100.0 * share(&mut soak.shares, 0.5),
        100.0 * share(&mut soak.shares, 0.99),
        100.0 * share(&mut soak.shares, 0.999),
        100.0 * share(&mut soak.shares, 1.0),
    );
    let middle = share(&mut soak.apart, 0.5);
    let (most, worst) = (share(&mut soak.apart, 0.99), share(&mut soak.apart, 1.0));
    println!(
        "clicks against the recording's ticks, {} of them: median {middle:.2} ms, p99 {most:.2} ms, \
         worst {worst:.2} ms apart, {} of them more than 1 ms; {} ticks without a click near",
        soak.apart.len(),
        soak.apart.iter().filter(|a| **a > 1.0).count(),
        soak.alone
    );
    assert!(soak.apart.len() > 500);
    assert_eq!(soak.alone, 0, "{}", soak.alone_at);
    assert!(worst < 1.0, "{worst} ms, {}", soak.farthest.1);
}
