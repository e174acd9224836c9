//! Playing along, judged: figures for a note, run by name (`--include-ignored along::judged`), on what nothing
//! was fitted to or chosen on. Three kinds of playing: the string model on fresh seeds; sampled guitars,
//! recording and take on different ones, heard by the analysis as a player's recording is; real takes
//! against themselves slowed.
//!
//! Sampled guitars are General MIDI programs 25 and 26 (MIDI 1.0, General MIDI Level 1: nylon and steel) of
//! whatever sound font the system has, played by FluidSynth.

use super::{
    BLOCK, Figures, RATE, Scene, Session, Truth, deck, listen, planted_at, record, session,
};
use crate::{guitarset, invented};
use std::path::{Path, PathBuf};
use std::process::Command;
use thumbline::along::{Expected, Listener, Setting, expected};
use thumbline::analysis::{Analysis, Options, analyze};
use thumbline::deck::capture::Anchor;
use thumbline::dsp::pluck::Chance;
use thumbline::dsp::resample::Resampler;
use thumbline::music::grid::Grid;
use thumbline::music::note::{Attack, Note, Role};
use thumbline::recording::Recording;
use thumbline::timing::Slot;
use thumbline::unit::{Decibels, MidiNote, Seconds, Span};

/// A pluck for a sampled guitar: when, until when, MIDI pitch, string, velocity.
type Stroke = (f64, f64, u8, u8, u8);

/// A number of a MIDI file, seven bits a byte (Standard MIDI Files 1.0).
fn variable(mut n: u32, out: &mut Vec<u8>) {
    let mut bytes = vec![(n & 0x7f) as u8];
    while n > 0x7f {
        n >>= 7;
        bytes.push((n & 0x7f) as u8 | 0x80);
    }
    out.extend(bytes.iter().rev());
}

/// Plays strokes on a sampled guitar, a MIDI channel a string; a tick is a tenth of a millisecond.
fn sampled(font: &Path, program: u8, strokes: &[Stroke], length: f64) -> Vec<f32> {
    let mut events: Vec<(u32, [u8; 3])> = Vec::new();
    let tick = |t: f64| (t.max(0.0) * 1e4).round() as u32;
    for &(on, off, pitch, string, velocity) in strokes {
        events.push((tick(on), [0x90 | string, pitch, velocity]));
        events.push((tick(off.max(on + 0.05)), [0x80 | string, pitch, 0]));
    }
    events.sort_by_key(|(t, e)| (*t, e[0] & 0xf0));
    let mut track = Vec::new();
    // A second a quarter note, of 10,000 ticks.
    track.extend([0, 0xff, 0x51, 3, 0x0f, 0x42, 0x40]);
    for channel in 0..=6u8 {
        track.extend([0, 0xc0 | channel, program]);
    }
    let mut now = 0;
    for (t, event) in events {
        variable(t - now, &mut track);
        track.extend(event);
        now = t;
    }
    variable(tick(length).saturating_sub(now), &mut track);
    track.extend([0xff, 0x2f, 0]);
    let mut file = b"MThd\0\0\0\x06\0\0\0\x01\x27\x10MTrk".to_vec();
    file.extend((track.len() as u32).to_be_bytes());
    file.extend(track);
    let folder = tempfile::tempdir().expect("a folder");
    let (midi, wave) = (folder.path().join("a.mid"), folder.path().join("a.wav"));
    std::fs::write(&midi, file).expect("a file");
    let done = Command::new("fluidsynth")
        .args([
            "-niq", "-R", "0", "-C", "0", "-g", "0.6", "-r", "44100", "-F",
        ])
        .arg(&wave)
        .args([font, midi.as_path()])
        .status();
    assert!(done.is_ok_and(|s| s.success()), "FluidSynth plays");
    let sound = thumbline::load::load(&wave).expect("a recording").mono();
    let halved = Resampler::new(44_100, RATE);
    halved.convert(&sound, 0, 0, halved.output_len(sound.len()))
}

fn font() -> Option<PathBuf> {
    let fonts = ["FluidR3_GM.sf2", "TimGM6mb.sf2", "default-GM.sf2"];
    let folder = Path::new("/usr/share/sounds/sf2");
    let found = fonts.iter().map(|f| folder.join(f)).find(|f| f.is_file());
    let present = Command::new("fluidsynth").arg("--version").output().is_ok();
    found.filter(|_| present)
}

fn heard(sound: &[f32], options: &Options) -> Analysis {
    analyze(&recorded(sound), options, &mut ()).expect("nobody stops it")
}

/// What a stretch of a recording expects, by place in the stretch.
fn expects(notes: &[Note], grid: &Grid, (from, to): (Seconds, Seconds)) -> Vec<Expected> {
    let mut all = expected(notes, grid);
    all.retain(|e| from <= e.time && e.time < to);
    for (k, e) in all.iter_mut().enumerate() {
        e.note = k;
    }
    all
}

fn recorded(sound: &[f32]) -> Recording {
    Recording::new("heard", RATE, vec![sound.to_vec()]).expect("a recording")
}

/// Two bars of an invented piece on sampled guitars: the recording on one, the take on another.
fn on_samples(scene: Scene, font: &Path) -> Session {
    let duo = invented::duo(6, scene.seed);
    let side = &duo.recording;
    let notes: Vec<Note> = side.notes.iter().map(|n| n.note.clone()).collect();
    let bars = side.grid.bars();
    let (from, to) = (bars[1].start - Span(0.02), bars[2].end - Span(0.02));
    let tuning = duo.score.tuning.clone();
    let programs = if scene.seed.is_multiple_of(2) {
        (24, 25)
    } else {
        (25, 24)
    };
    let midi = |n: &Note| n.pitch.map(|p| p.nearest().clamp(0, 127) as u8);
    let stroke = |n: &Note, at: f64, long: f64, velocity: u8| {
        Some((at, at + long, midi(n)?, n.string.unwrap_or(1), velocity))
    };
    let whole: Vec<Stroke> = notes
        .iter()
        .filter(|n| n.attack != Attack::Tap)
        .filter_map(|n| stroke(n, n.time.0, (n.end - n.time).0, 84))
        .collect();
    let sound = sampled(font, programs.0, &whole, side.recording.end().0);
    let analysis = heard(&sound, &Options::tuned(tuning));
    let expected = expects(&analysis.notes, &side.grid, (from, to));
    let (mut played, places, round) = deck(
        recorded(&sound),
        &analysis.notes,
        &side.grid,
        (from, to),
        scene,
    );
    let late_slot = planted_at(&expected, scene.pinched);
    let mut chance = Chance::new(scene.seed ^ 0x5EED);
    let (mut strokes, mut truth) = (Vec::new(), Vec::new());
    let inside = notes
        .iter()
        .filter(|n| from <= n.time && n.time < to && n.attack != Attack::Tap);
    let inside: Vec<&Note> = inside.collect();
    for r in 0..scene.rounds {
        for note in &inside {
            let same = |e: &&Expected| {
                e.pitch.map(MidiNote::nearest) == note.pitch.map(MidiNote::nearest)
                    && (e.time - note.time).abs().0 < 0.05
            };
            let asked = expected.iter().find(same);
            let planted = asked.is_some_and(|e| e.role == Role::Melody && e.slot == late_slot);
            let late = scene.loose.0 * chance.normal().clamp(-2.5, 2.5)
                + if planted { scene.habit.0 } else { 0.0 };
            let at = r as f64 * round + (note.time - from).0 / scene.speed + late;
            if at < 0.0 {
                continue;
            }
            let velocity = (84.0 + 8.0 * chance.normal().clamp(-2.0, 2.0)) as u8;
            strokes.extend(stroke(
                note,
                at,
                (note.end - note.time).0 / scene.speed,
                velocity,
            ));
            truth.extend(asked.map(|e| Truth {
                note: e.note,
                round: r,
                frame: (at + scene.latency.0) * f64::from(RATE),
                late,
            }));
        }
    }
    let input = sampled(
        font,
        programs.1,
        &strokes,
        scene.rounds as f64 * round + 1.0,
    );
    let input = record(input, &mut played, scene);
    Session {
        expected,
        input,
        played,
        places,
        truth,
        latency: scene.known.then_some(scene.latency),
        planted: late_slot,
        left_out: Vec::new(),
        bent: Vec::new(),
    }
}

/// Labels of a real take in seconds, the labels' own delay taken off (the data's own README).
fn labels(path: &Path, late: f64) -> Vec<f64> {
    let text = std::fs::read_to_string(path.with_extension("csv")).unwrap_or_default();
    let times = text
        .lines()
        .skip(1)
        .filter_map(|l| l.split(',').next()?.parse::<f64>().ok());
    times.map(|t| t - late).collect()
}

/// A real take against itself slowed: what is played into the input is the take, at the deck's speed.
fn against_itself(path: &Path, late: f64, scene: Scene) -> Session {
    let whole = thumbline::load::load(path).expect("a recording");
    let down = Resampler::new(whole.rate(), RATE);
    let mono = whole.mono();
    let sound = down.convert(&mono, 0, 0, down.output_len(mono.len()));
    let analysis = heard(&sound, &Options::default());
    let first = analysis.notes.first().map_or(0.0, |n| n.time.0);
    let (from, to) = (
        Seconds((first - 0.03).max(0.0)),
        Seconds((first + 12.0).min(whole.end().0)),
    );
    let expected = expects(&analysis.notes, &analysis.grid, (from, to));
    let (mut played, places, round) = deck(
        recorded(&sound),
        &analysis.notes,
        &analysis.grid,
        (from, to),
        scene,
    );
    let labels = labels(path, late);
    let mut truth = Vec::new();
    for r in 0..scene.rounds {
        for e in &expected {
            if labels.iter().any(|l| (l - e.time.0).abs() < 0.05) {
                let at = r as f64 * round + (e.time - from).0 / scene.speed;
                truth.push(Truth {
                    note: e.note,
                    round: r,
                    frame: (at + scene.latency.0) * f64::from(RATE),
                    late: 0.0,
                });
            }
        }
    }
    let input = record(played.clone(), &mut played, scene);
    Session {
        expected,
        input,
        played,
        places,
        truth,
        latency: scene.known.then_some(scene.latency),
        planted: None,
        left_out: Vec::new(),
        bent: Vec::new(),
    }
}

/// Against the thorough measurement of the same input: errors in ms, and rounds in which both name the
/// same worst place, of how many.
#[derive(Default)]
struct Thorough {
    errors: Vec<f64>,
    same: usize,
    rounds: usize,
}

fn thorough(session: &Session, found: &Figures, tuning: &Options) -> Thorough {
    let mut out = Thorough::default();
    let analysis = heard(&session.input, tuning);
    let latency = session.latency.unwrap_or_default().0;
    let near = |frame: f64, e: &Expected| {
        let time = frame / f64::from(RATE);
        let close = analysis
            .notes
            .iter()
            .filter(|n| (n.time.0 - time).abs() < 0.06);
        let alike = |n: &&Note| n.pitch.map(MidiNote::nearest) == e.pitch.map(MidiNote::nearest);
        let by = |n: &Note| (n.time.0 - time).abs();
        close.filter(alike).min_by(|a, b| by(a).total_cmp(&by(b)))
    };
    let mut running: Vec<(Slot, Role, bool)> = Vec::new();
    for round in &found.rounds {
        let mut lates: Vec<(Slot, Role, f64)> = Vec::new();
        for head in found.heads.iter().filter(|h| h.round == round.number) {
            let e = &session.expected[head.note];
            let Some(note) = near(head.frame as f64, e) else {
                continue;
            };
            out.errors
                .push((head.frame as f64 / f64::from(RATE) - note.time.0) * 1e3);
            let place = session.places[round.number];
            let due = place.frame as f64 / f64::from(RATE) + (e.time - place.at).0 / place.speed;
            if let Some(slot) = e.slot {
                lates.push((slot, e.role, note.time.0 - due - latency));
            }
        }
        if session.latency.is_none() {
            let mut all: Vec<f64> = lates.iter().map(|l| l.2).collect();
            all.sort_by(f64::total_cmp);
            let middle = all.get(all.len() / 2).copied().unwrap_or(0.0);
            for late in &mut lates {
                late.2 -= middle;
            }
        }
        let mut worst: Option<(f64, Slot, Role)> = None;
        let mut now = Vec::new();
        for slot in &round.slots {
            let here = lates
                .iter()
                .filter(|l| l.0 == slot.slot && l.1 == slot.role);
            let mut here: Vec<f64> = here.map(|l| l.2).collect();
            here.sort_by(f64::total_cmp);
            let Some(&upper) = here.get(here.len() / 2) else {
                continue;
            };
            let lower = if here.len().is_multiple_of(2) {
                here[here.len() / 2 - 1]
            } else {
                upper
            };
            let late = if lower.signum() != upper.signum() {
                0.0
            } else if lower.abs() < upper.abs() {
                lower
            } else {
                upper
            };
            let before = running.contains(&(slot.slot, slot.role, late > 0.0));
            let least = slot.floor.0 * if before { 1.0 } else { 1.35 };
            if late.abs() > least {
                now.push((slot.slot, slot.role, late > 0.0));
                let beyond = late.abs() / slot.floor.0.max(1e-4);
                if worst.is_none_or(|w| beyond > w.0) {
                    worst = Some((beyond, slot.slot, slot.role));
                }
            }
        }
        running = now;
        out.rounds += 1;
        let live = round.worst().map(|w| (w.slot, w.role));
        out.same += usize::from(live == worst.map(|w| (w.1, w.2)));
    }
    out
}

/// Seeds to judge on: from `THUMBLINE_FROM` (7001), `THUMBLINE_TELL` of them.
fn fresh(few: u64) -> std::ops::Range<u64> {
    let number = |name: &str| std::env::var(name).ok().and_then(|n| n.parse().ok());
    let from = number("THUMBLINE_FROM").unwrap_or(7001);
    from..from + number("THUMBLINE_TELL").unwrap_or(few)
}

fn told(name: &str, all: &Figures, thorough: &Thorough) {
    let share = |n: usize, of: usize| n as f64 / of.max(1) as f64;
    let close = thorough.errors.iter().filter(|e| e.abs() <= 5.0).count();
    println!(
        "{name}: F {:.3}, astray {:.3}, extra {} of {}, within 5 ms of the truth {:.3}, of the thorough \
         measurement {:.3} ({}), same worst place {} of {}, head after {:.0} ms (median) {:.0} ms (p95), \
         called late {} of {} rounds, wrong {}",
        all.f(),
        share(all.astray, all.answered),
        all.extra,
        all.answered,
        all.within(5.0),
        share(close, thorough.errors.len()),
        thorough.errors.len(),
        thorough.same,
        thorough.rounds,
        all.wait(0.5),
        all.wait(0.95),
        all.rounds.iter().filter(|r| r.worst().is_some()).count(),
        all.rounds.len(),
        all.wrong,
    );
}

fn judge(name: &str, sessions: impl Iterator<Item = (Session, Options)>) -> (Figures, Thorough) {
    let (mut all, mut measured) = (Figures::default(), Thorough::default());
    for (session, options) in sessions {
        let found = listen(&session);
        let one = thorough(&session, &found, &options);
        measured.errors.extend(one.errors);
        measured.same += one.same;
        measured.rounds += one.rounds;
        all.add(found);
    }
    told(name, &all, &measured);
    (all, measured)
}

fn kinds(seed: u64) -> [(&'static str, Scene); 4] {
    let plain = Scene::new(seed);
    let by = Span::from_ms(if seed.is_multiple_of(2) { 26.0 } else { -26.0 });
    [
        ("plain", plain),
        (
            "with bleed",
            Scene {
                bleed: Some(Decibels(-20.0)),
                ..plain
            },
        ),
        (
            "exactly",
            Scene {
                loose: Span(0.0),
                known: seed.is_multiple_of(2),
                ..plain
            },
        ),
        (
            "a habit of 26 ms",
            Scene {
                habit: by,
                loose: Span::from_ms(3.0),
                ..plain
            },
        ),
    ]
}

fn habit_named(sessions: &[Session]) -> (usize, usize) {
    let (mut right, mut rounds) = (0, 0);
    for session in sessions {
        for round in listen(session).rounds {
            rounds += 1;
            let hit = round
                .worst()
                .is_some_and(|w| Some(w.slot) == session.planted && w.role == Role::Melody);
            right += usize::from(hit);
        }
    }
    (right, rounds)
}

#[test]
#[ignore = "figures for a note"]
fn the_string_model_on_fresh_seeds() {
    for k in 0..4 {
        let name = kinds(0)[k].0;
        let of = |seed| (session(kinds(seed)[k].1), Options::default());
        judge(&format!("string model, {name}"), fresh(12).map(of));
    }
    let planted: Vec<Session> = fresh(12).map(|seed| session(kinds(seed)[3].1)).collect();
    let (right, rounds) = habit_named(&planted);
    println!("string model: the planted place named in {right} of {rounds} rounds");
}

/// Forty seeds, five rounds each, not one of which may be called late.
#[test]
#[ignore = "figures for a note"]
fn two_hundred_rounds_played_exactly() {
    let told = |name: &str, sessions: &mut dyn Iterator<Item = Session>| {
        let rounds: Vec<_> = sessions.flat_map(|s| listen(&s).rounds).collect();
        let late: Vec<_> = rounds
            .iter()
            .filter_map(thumbline::along::LoopRound::worst)
            .collect();
        println!(
            "{name}: {} of {} rounds called late {late:?}",
            late.len(),
            rounds.len()
        );
    };
    let exactly = |seed| kinds(seed)[2].1;
    told(
        "string model",
        &mut fresh(40).map(|seed| session(exactly(seed))),
    );
    if let Some(font) = font() {
        told(
            "sampled",
            &mut fresh(40).map(|seed| on_samples(exactly(seed), &font)),
        );
    }
}

/// The fingers late where the thumb plays too: the hardest place to hear it.
#[test]
#[ignore = "figures for a note"]
fn a_habit_in_a_pinch() {
    for ms in [-34.0, 20.0, 34.0] {
        let of = |seed| Scene {
            habit: Span::from_ms(ms),
            loose: Span::from_ms(3.0),
            pinched: true,
            ..Scene::new(seed)
        };
        let sessions: Vec<Session> = fresh(12).map(|seed| session(of(seed))).collect();
        let sessions: Vec<Session> = sessions
            .into_iter()
            .filter(|s| s.planted.is_some())
            .collect();
        let (right, rounds) = habit_named(&sessions);
        println!("string model: {ms} ms in a pinch named in {right} of {rounds} rounds");
        if let Some(font) = font() {
            let sessions = fresh(12).map(|seed| on_samples(of(seed), &font));
            let sessions: Vec<Session> = sessions.filter(|s| s.planted.is_some()).collect();
            let (right, rounds) = habit_named(&sessions);
            println!("sampled: {ms} ms in a pinch named in {right} of {rounds} rounds");
        }
    }
}

#[test]
#[ignore = "figures for a note"]
fn sampled_guitars() {
    let Some(font) = font() else {
        println!("skipped: sampled guitars (there is no FluidSynth, or no sound font)");
        return;
    };
    for k in 0..4 {
        let name = kinds(0)[k].0;
        let of = |seed| (on_samples(kinds(seed)[k].1, &font), Options::default());
        judge(&format!("sampled, {name}"), fresh(12).map(of));
    }
    let planted: Vec<Session> = fresh(12)
        .map(|seed| on_samples(kinds(seed)[3].1, &font))
        .collect();
    let (right, rounds) = habit_named(&planted);
    println!("sampled: the planted place named in {right} of {rounds} rounds");
}

#[test]
#[ignore = "figures for a note"]
fn real_takes_against_themselves_slowed() {
    let Some(folder) = guitarset::folder() else {
        return;
    };
    for (bleed, known) in [(None, true), (Some(Decibels(-20.0)), true), (None, false)] {
        let of = |&guitarset::Take { name, late, .. }: &guitarset::Take| {
            let scene = Scene {
                rounds: 3,
                bleed,
                known,
                ..Scene::new(7)
            };
            let path = folder.join(format!("{name}.wav"));
            let one = (against_itself(&path, late, scene), Options::default());
            let found = listen(&one.0);
            told(name, &found, &Thorough::default());
            for worst in found
                .rounds
                .iter()
                .filter_map(thumbline::along::LoopRound::worst)
            {
                println!("  {worst:?}");
            }
            one
        };
        let name = format!("real takes, bleed {bleed:?}, latency known {known}");
        judge(&name, guitarset::TAKES.iter().map(of));
    }
}

/// Seconds that this thread has worked.
fn worked() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    Some(text.split(' ').next()?.parse::<f64>().ok()? * 1e-9)
}

#[test]
#[ignore = "a figure: what listening costs, fed 64 frames at a time at 48,000 Hz"]
fn what_listening_costs() {
    for bleed in [None, Some(Decibels(-20.0))] {
        let session = session(Scene {
            bleed,
            ..Scene::new(7001)
        });
        let up = Resampler::new(RATE, 48_000);
        let at_48 = |sound: &[f32]| up.convert(sound, 0, 0, up.output_len(sound.len()));
        let (input, played) = (at_48(&session.input), at_48(&session.played));
        let places: Vec<Anchor> = session
            .places
            .iter()
            .map(|p| Anchor {
                frame: (p.frame as f64 * 48_000.0 / f64::from(RATE)).round() as u64,
                ..*p
            })
            .collect();
        let setting = Setting {
            rate: 48_000,
            latency: session.latency,
        };
        for size in [64, 720, BLOCK] {
            let mut listener = Listener::new(session.expected.clone(), &setting).expect("a rate");
            let begun = worked();
            let mut place = 0;
            for (b, (input, played)) in input.chunks(size).zip(played.chunks(size)).enumerate() {
                let end = ((b + 1) * size) as u64;
                let from = place;
                while place < places.len() && places[place].frame < end {
                    place += 1;
                }
                listener.feed(input, played, &places[from..place]);
            }
            let Some(cost) = worked().zip(begun).map(|(now, then)| now - then) else {
                println!("skipped: what listening costs (this system does not tell)");
                return;
            };
            let share = 100.0 * cost / (input.len() as f64 / 48_000.0);
            println!("bleed {bleed:?}, {size} frames: {share:.1} % of a core");
        }
    }
}
