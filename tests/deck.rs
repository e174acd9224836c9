//! The deck: what it renders, when, and that it renders the same at any block size.

use std::sync::Arc;
use thumbline::deck::{
    Block, Channels, ClickRate, Config, Controls, Deck, Event, Host, Ladder, Message, Phase,
    Player, Pulse, Track, capture, pair,
};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::recording::Recording;
use thumbline::stretch::OnsetTable;
use thumbline::unit::{Cents, Decibels, Seconds};

const RATE: u32 = 48_000;

fn recording(channels: Vec<Vec<f32>>) -> Arc<Recording> {
    Arc::new(Recording::new("test", RATE, channels).expect("a recording"))
}

fn tone(hz: f64, seconds: f64) -> Vec<f32> {
    (0..(seconds * f64::from(RATE)) as usize)
        .map(|i| (0.3 * (std::f64::consts::TAU * hz * i as f64 / f64::from(RATE)).sin()) as f32)
        .collect()
}

/// Beats every 0.5 s from 0.25 s on, in four.
fn grid(seconds: f64) -> Grid {
    let beats: Vec<Seconds> = (0..=(2.0 * seconds) as u32)
        .map(|i| Seconds(0.25 + 0.5 * f64::from(i)))
        .filter(|t| t.0 < seconds)
        .collect();
    Grid::from_beats(&beats, 0, Meter::COMMON)
}

struct Rig {
    deck: Deck,
    player: Player,
    controls: Controls,
}

impl Rig {
    fn new(sound: &Arc<Recording>) -> Self {
        let (deck, player) = pair(Config::at(RATE));
        let mut rig = Self {
            deck,
            player,
            controls: Controls::default(),
        };
        let onsets = Arc::new(OnsetTable::default());
        let track = Track::new(Arc::clone(sound), onsets, RATE).expect("the same rate");
        rig.send(Message::Load(Box::new(track)));
        rig
    }

    fn send(&mut self, message: Message) {
        assert!(self.deck.send(message).is_ok(), "the ring is full");
    }

    fn pulse(&mut self, grid: &Grid, rate: ClickRate, swing: f64) {
        let pulse = Pulse::new(grid, RATE, rate, swing).map(Box::new);
        self.send(Message::Pulse(pulse));
    }

    fn set(&mut self, change: impl FnOnce(&mut Controls)) {
        change(&mut self.controls);
        self.player.set_controls(self.controls);
    }

    /// Renders `frames` frames in blocks of the sizes that `size` deals out; the left output.
    fn run_sized(&mut self, frames: usize, mut size: impl FnMut() -> usize) -> Vec<f32> {
        let mut out = Vec::new();
        while out.len() < frames {
            let n = size().clamp(1, frames - out.len());
            let (mut left, mut right) = (vec![0.0; n], vec![0.0; n]);
            self.player.process(&mut Block {
                left: &mut left,
                right: &mut right,
                side: None,
                host: None,
            });
            self.deck.collect();
            out.extend(left);
        }
        out
    }

    fn run(&mut self, frames: usize) -> Vec<f32> {
        self.run_sized(frames, || 512)
    }

    fn events(&mut self) -> Vec<Event> {
        std::iter::from_fn(|| self.deck.event()).collect()
    }
}

/// Frames where a click begins: the first loud sample after 20 ms of silence.
fn starts(out: &[f32]) -> Vec<usize> {
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

#[test]
fn clicks_fall_on_the_grid_to_the_sample_at_any_speed() {
    let sound = recording(vec![vec![0.0; 20 * RATE as usize]]);
    for speed in [0.25, 0.37, 0.5, 0.713, 1.0, 1.5] {
        let mut rig = Rig::new(&sound);
        rig.pulse(&grid(20.0), ClickRate::Beat, 0.5);
        rig.set(|c| {
            c.play = true;
            c.click = true;
            c.click_level = Decibels(0.0);
            c.speed = speed;
        });
        let out = rig.run(4 * RATE as usize);
        let late = rig.player.latency();
        let found = starts(&out);
        assert!(found.len() >= 2, "{found:?}");
        for (i, frame) in found.iter().enumerate() {
            let exact = (0.25 + 0.5 * i as f64) / speed * f64::from(RATE);
            let error = (frame - late) as f64 - exact;
            assert!(
                (-0.001..1.001).contains(&error),
                "{speed}: beat {i} off by {error}"
            );
        }
    }
}

#[test]
fn swung_clicks_fall_where_the_swing_is() {
    let sound = recording(vec![vec![0.0; 10 * RATE as usize]]);
    let mut rig = Rig::new(&sound);
    rig.pulse(&grid(10.0), ClickRate::Half, 2.0 / 3.0);
    rig.set(|c| {
        c.play = true;
        c.click = true;
    });
    let out = rig.run(3 * RATE as usize);
    let late = rig.player.latency();
    let seconds: Vec<f64> = starts(&out)
        .iter()
        .map(|f| (f - late) as f64 / f64::from(RATE))
        .collect();
    assert!(
        (seconds[1] - (0.25 + 1.0 / 3.0)).abs() < 1e-4,
        "{seconds:?}"
    );
    assert!((seconds[2] - 0.75).abs() < 1e-4);
}

#[test]
fn a_speed_change_keeps_the_click_on_the_sound() {
    // One loud sample on every beat: the click's place must be the sound's place, whatever the
    // speed did before.
    let mut samples = vec![0.0f32; 20 * RATE as usize];
    let onsets: Vec<usize> = grid(20.0)
        .beats()
        .iter()
        .map(|b| b.time.frame(RATE))
        .collect();
    for &o in &onsets {
        samples[o] = 0.8;
    }
    let sound = recording(vec![samples]);
    for clicking in [false, true] {
        let mut rig = Rig::new(&sound);
        rig.send(Message::Onsets(Arc::new(OnsetTable::cleaned(
            onsets.clone(),
            sound.frames(),
        ))));
        rig.pulse(&grid(20.0), ClickRate::Beat, 0.5);
        rig.set(|c| {
            c.play = true;
            c.click = clicking;
            c.gain = Decibels(if clicking { -24.0 } else { 0.0 });
        });
        let mut out = Vec::new();
        for speed in [1.0, 0.5, 0.8, 0.3, 1.2] {
            rig.set(|c| c.speed = speed);
            out.extend(rig.run(RATE as usize * 3 / 2));
        }
        let found = starts(&out);
        if clicking {
            CLICKS.with(|c| assert_close(&c.borrow(), &found));
        } else {
            CLICKS.with(|c| *c.borrow_mut() = found);
        }
    }
}

thread_local! {
    static CLICKS: std::cell::RefCell<Vec<usize>> = const { std::cell::RefCell::new(Vec::new()) };
}

fn assert_close(sound: &[usize], click: &[usize]) {
    assert_eq!(sound.len(), click.len(), "{sound:?} {click:?}");
    for (s, c) in sound.iter().zip(click) {
        assert!(s.abs_diff(*c) <= 24, "sound {sound:?}\nclick {click:?}");
    }
}

#[test]
fn a_looped_tone_stays_flat() {
    // ITU-R BS.1770's measure is a mean square: over 50 ms a loop of whole periods must not move.
    for speed in [0.5, 1.0] {
        let mut samples = tone(220.0, 6.0);
        samples[RATE as usize * 21 / 10..].fill(0.0);
        let sound = recording(vec![samples]);
        let mut rig = Rig::new(&sound);
        // 220 whole periods; what lies outside is silent, so it must not be heard.
        rig.send(Message::Region(Some((Seconds(1.0), Seconds(2.0)))));
        rig.set(|c| {
            c.play = true;
            c.looping = true;
            c.speed = speed;
        });
        let out = rig.run(8 * RATE as usize);
        let window = RATE as usize / 20;
        let levels: Vec<f64> = out[RATE as usize..]
            .chunks_exact(window)
            .map(|c| c.iter().map(|s| f64::from(s * s)).sum::<f64>() / window as f64)
            .map(|p| 10.0 * p.log10())
            .collect();
        let high = levels.iter().copied().fold(f64::MIN, f64::max);
        let low = levels.iter().copied().fold(f64::MAX, f64::min);
        assert!(high - low < 0.5, "{speed}: {levels:?}");
    }
}

#[test]
fn rounds_are_exactly_as_long_as_the_loop() {
    let sound = recording(vec![tone(220.0, 6.0)]);
    for (speed, length) in [(0.5, 1.0), (1.0, 0.73), (0.7, 0.1), (1.5, 0.06)] {
        let mut rig = Rig::new(&sound);
        let to = Seconds(1.0 + length);
        rig.send(Message::Region(Some((Seconds(1.0), to))));
        rig.set(|c| {
            c.play = true;
            c.looping = true;
            c.speed = speed;
        });
        rig.run(9 * RATE as usize);
        let begun: Vec<u64> = rig
            .events()
            .iter()
            .filter_map(|e| match e {
                Event::Round { clock, .. } => Some(*clock),
                _ => None,
            })
            .skip(1)
            .collect();
        assert!(begun.len() > 3);
        let frames = (1.0 + length)
            .mul_add(f64::from(RATE), -f64::from(RATE))
            .round()
            / speed;
        for (i, clock) in begun.iter().enumerate() {
            let expected = begun[0] as f64 + i as f64 * frames;
            assert!(
                (*clock as f64 - expected).abs() <= 1.5,
                "{speed} {length}: {begun:?}"
            );
        }
    }
}

#[test]
fn the_same_sequence_renders_the_same_at_any_block_size() {
    let mut samples = tone(196.0, 8.0);
    for i in (0..samples.len()).step_by(9600) {
        samples[i] = 0.9;
    }
    let sound = recording(vec![samples, tone(293.7, 8.0)]);
    let play = |mut size: Box<dyn FnMut() -> usize>| -> Vec<f32> {
        let mut rig = Rig::new(&sound);
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
        rig.set(|c| c.pitch = Cents(-300.0));
        go(&mut rig, 30_001);
        rig.send(Message::Region(Some((Seconds(1.25), Seconds(2.25)))));
        rig.set(|c| {
            c.looping = true;
            c.channels = Channels::Mid;
            c.gain = Decibels(9.0);
        });
        go(&mut rig, 150_017);
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
            c.play = false;
        });
        go(&mut rig, 5_003);
        out
    };
    let reference = play(Box::new(|| 512));
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
        let other = play(size);
        let first = reference.iter().zip(&other).position(|(a, b)| a != b);
        assert_eq!(first, None, "blocks of {name} differ from frame {first:?}");
    }
}

#[test]
fn count_in_counts_whole_bars_before_the_place() {
    let sound = recording(vec![vec![0.0; 10 * RATE as usize]]);
    let mut rig = Rig::new(&sound);
    rig.pulse(&grid(10.0), ClickRate::Beat, 0.5);
    rig.send(Message::CountIn(1));
    rig.send(Message::Seek(Seconds(2.25)));
    rig.set(|c| {
        c.play = true;
        c.speed = 0.5;
    });
    let out = rig.run(6 * RATE as usize);
    let late = rig.player.latency();
    let found: Vec<f64> = starts(&out)
        .iter()
        .map(|f| (f - late) as f64 / f64::from(RATE))
        .collect();
    // Four beats of one second at half speed; then the recording, whose click is off.
    assert_eq!(found.len(), 4, "{found:?}");
    for (i, t) in found.iter().enumerate() {
        assert!((t - i as f64).abs() < 2e-4, "{found:?}");
    }
    // Four seconds later the recording had begun at 2.25 s; two more at half speed are one.
    let state = rig.deck.state();
    assert_eq!(state.phase, Phase::Rolling);
    assert!((state.position.0 - 3.25).abs() < 1e-3, "{state:?}");
}

#[test]
fn a_rest_lasts_its_beats_and_the_click_goes_on() {
    let sound = recording(vec![tone(220.0, 10.0)]);
    let mut rig = Rig::new(&sound);
    rig.pulse(&grid(10.0), ClickRate::Beat, 0.5);
    rig.send(Message::Region(Some((Seconds(0.25), Seconds(2.25)))));
    rig.send(Message::Rest(2));
    rig.set(|c| {
        c.play = true;
        c.looping = true;
        c.click = true;
        c.gain = Decibels(-24.0);
    });
    let out = rig.run(10 * RATE as usize);
    let clocks: Vec<u64> = rig
        .events()
        .iter()
        .filter_map(|e| match e {
            Event::Round { clock, .. } => Some(*clock),
            _ => None,
        })
        .collect();
    // Two seconds of loop and two beats of half a second.
    for pair in clocks.windows(2).skip(1) {
        assert!(pair[1].abs_diff(pair[0] + 3 * 48_000) <= 2, "{clocks:?}");
    }
    let found = starts(&out);
    for pair in found.windows(2).skip(1) {
        assert!(pair[1].abs_diff(pair[0] + 24_000) <= 2, "{found:?}");
    }
}

#[test]
fn the_ladder_rises_by_its_step_and_stops_at_its_top() {
    let sound = recording(vec![tone(220.0, 4.0)]);
    let ladder = Ladder {
        start: 0.8,
        step: 0.15,
        rounds: 2,
        top: 1.0,
        asks: false,
    };
    let mut rig = Rig::new(&sound);
    rig.send(Message::Region(Some((Seconds(0.5), Seconds(1.0)))));
    rig.send(Message::Ladder(Some(ladder)));
    rig.set(|c| {
        c.play = true;
        c.looping = true;
    });
    rig.run(5 * RATE as usize);
    let speeds: Vec<f64> = rig
        .events()
        .iter()
        .filter_map(|e| match e {
            Event::Round { speed, .. } => Some(*speed),
            _ => None,
        })
        .take(6)
        .collect();
    let expected = [0.8, 0.8, 0.95, 0.95, 1.0, 1.0];
    for (a, b) in speeds.iter().zip(expected) {
        assert!((a - b).abs() < 1e-9, "{speeds:?}");
    }
}

#[test]
fn an_asking_ladder_waits_for_leave() {
    let sound = recording(vec![tone(220.0, 4.0)]);
    let mut rig = Rig::new(&sound);
    rig.send(Message::Region(Some((Seconds(0.5), Seconds(1.0)))));
    rig.send(Message::Ladder(Some(Ladder {
        start: 0.5,
        step: 0.25,
        rounds: 1,
        top: 1.0,
        asks: true,
    })));
    rig.set(|c| {
        c.play = true;
        c.looping = true;
    });
    rig.run(4 * RATE as usize);
    assert!((rig.deck.state().speed - 0.5).abs() < 1e-9);
    rig.send(Message::Climb);
    rig.run(2 * RATE as usize);
    assert!((rig.deck.state().speed - 0.75).abs() < 1e-9);
}

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
    let (tap, mut reel) = capture::tap(capture::Source::Take, RATE, 30.0);
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
    reel.drain(&mut frames, &mut places);
    assert_eq!(frames.len(), 5 * RATE as usize);
    rig.deck.collect();
    assert!(reel.finished());
    // The start and two seams.
    assert_eq!(places.len(), 3, "{places:?}");
    for place in &places[1..] {
        assert!((place.at.0 - 1.0).abs() < 1e-3, "{places:?}");
        assert_eq!(place.speed, 0.5);
    }
    assert!((places[2].frame as f64 - places[1].frame as f64 - 96_000.0).abs() < 40.0);
}

#[test]
fn offline_loops_have_the_exact_length() {
    use thumbline::deck::offline::{LoopPlan, render_loop};
    let sound = recording(vec![tone(220.0, 4.0), tone(330.0, 4.0)]);
    let onsets = Arc::new(OnsetTable::default());
    for (speed, times) in [(0.5, 3), (1.0, 4), (0.8, 1)] {
        let plan = LoopPlan::new(Seconds(1.0), Seconds(2.0), times, speed);
        let out = render_loop(&sound, &onsets, &Grid::default(), &plan, |_| true).expect("a loop");
        let exact = f64::from(times) * f64::from(RATE) / speed;
        assert_eq!(out.len(), 2);
        assert!(
            (out[0].len() as f64 - exact).abs() <= 2.0,
            "{} {exact}",
            out[0].len()
        );
    }
    let counted = LoopPlan {
        count_in: 1,
        rest: 2,
        ..LoopPlan::new(Seconds(0.25), Seconds(2.25), 2, 1.0)
    };
    let out = render_loop(&sound, &onsets, &grid(4.0), &counted, |_| true).expect("a loop");
    // Four beats, two rounds of 2 s, one rest of 1 s.
    assert!(out[0].len().abs_diff(7 * 48_000) <= 3, "{}", out[0].len());
    assert!(render_loop(&sound, &onsets, &grid(4.0), &counted, |_| false).is_err());
    let outside = LoopPlan::new(Seconds(3.0), Seconds(9.0), 1, 1.0);
    assert!(render_loop(&sound, &onsets, &grid(4.0), &outside, |_| true).is_err());
}
