//! Ten rounds through JACK: its dummy back end is the sound card, the deck one client, a guitarist another
//! who plays into it, and the window is read as a screen reader reads it. Skipped where there is no JACK.

use super::painting::painted;
use egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::NodeT;
use std::ffi::{CString, c_char, c_int, c_ulong, c_void};
use std::process::{self, Child, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU64, Ordering};
use std::time::{Duration, Instant};
use thumbline::analysis::Analysis;
use thumbline::deck::{Block, Controls, Phase, Player};
use thumbline::dsp::pluck::{Guitar, Played};
use thumbline::music::note::Role as Hand;
use thumbline::unit::{Seconds, Span};
use thumbline_plugin::command::Command;
use thumbline_plugin::editor::{self, sight::Sight};
use thumbline_plugin::instance::Instance;
use thumbline_plugin::shared_controls::SharedControls;
use thumbline_plugin::snapshot::{CaptureView, Snapshot};

const RATE: u32 = 48_000;
/// Frames a period.
const PERIOD: usize = 128;
const SPEED: f64 = 1.5;
/// Rounds that are played, and from which one on (of the deck's, from 1) a note comes late.
const ROUNDS: usize = 10;
const LATE_FROM: usize = 4;
const LATE: Span = Span::from_ms(34.0);
/// The round in which a note is left out, and its place among the loop's notes.
const LEFT_OUT: usize = 7;

/// The few calls of libjack that are needed (jack/jack.h), found while it runs: nothing is linked.
struct Jack {
    open: unsafe extern "C" fn(*const c_char, c_int, *mut c_int, ...) -> *mut c_void,
    register: unsafe extern "C" fn(
        *mut c_void,
        *const c_char,
        *const c_char,
        c_ulong,
        c_ulong,
    ) -> *mut c_void,
    buffer: unsafe extern "C" fn(*mut c_void, u32) -> *mut f32,
    callback: unsafe extern "C" fn(
        *mut c_void,
        extern "C" fn(u32, *mut c_void) -> c_int,
        *mut c_void,
    ) -> c_int,
    activate: unsafe extern "C" fn(*mut c_void) -> c_int,
    connect: unsafe extern "C" fn(*mut c_void, *const c_char, *const c_char) -> c_int,
    close: unsafe extern "C" fn(*mut c_void) -> c_int,
}

impl Jack {
    #[allow(
        clippy::missing_transmute_annotations,
        reason = "the field that a symbol goes to says what it is"
    )]
    fn load() -> Option<Self> {
        // SAFETY: the names are C strings; a symbol that is there has the type that jack/jack.h gives it.
        unsafe {
            let library = libc::dlopen(c"libjack.so.0".as_ptr(), libc::RTLD_NOW);
            if library.is_null() {
                return None;
            }
            macro_rules! find {
                ($name:literal) => {{
                    let found = libc::dlsym(library, $name.as_ptr());
                    if found.is_null() {
                        return None;
                    }
                    std::mem::transmute(found)
                }};
            }
            Some(Self {
                open: find!(c"jack_client_open"),
                register: find!(c"jack_port_register"),
                buffer: find!(c"jack_port_get_buffer"),
                callback: find!(c"jack_set_process_callback"),
                activate: find!(c"jack_activate"),
                connect: find!(c"jack_connect"),
                close: find!(c"jack_client_close"),
            })
        }
    }

    /// A client of the server of this name; none while there is none.
    fn client(&self, name: &str, server: &str) -> Option<*mut c_void> {
        const NO_START: c_int = 1;
        const SERVER_NAME: c_int = 4;
        let (name, server) = (CString::new(name).ok()?, CString::new(server).ok()?);
        let mut status = 0;
        // SAFETY: with SERVER_NAME the server's name is the one further argument.
        let client = unsafe {
            (self.open)(
                name.as_ptr(),
                NO_START | SERVER_NAME,
                &raw mut status,
                server.as_ptr(),
            )
        };
        (!client.is_null()).then_some(client)
    }

    fn port(&self, client: *mut c_void, name: &str, input: bool) -> *mut c_void {
        let name = CString::new(name).expect("a name");
        let audio = c"32 bit float mono audio";
        // SAFETY: the client is open.
        unsafe {
            (self.register)(
                client,
                name.as_ptr(),
                audio.as_ptr(),
                if input { 1 } else { 2 },
                0,
            )
        }
    }

    fn join(&self, client: *mut c_void, from: &str, to: &str) {
        let (from, to) = (
            CString::new(from).expect("a name"),
            CString::new(to).expect("a name"),
        );
        // SAFETY: the client is open and active.
        assert_eq!(
            unsafe { (self.connect)(client, from.as_ptr(), to.as_ptr()) },
            0
        );
    }
}

/// The deck as a client: what its callback works with.
struct DeckEnd {
    buffer: unsafe extern "C" fn(*mut c_void, u32) -> *mut f32,
    ports: [*mut c_void; 3],
    player: Player,
    switches: Arc<SharedControls>,
    right: Vec<f32>,
    /// Frames that it has rolled.
    rolled: Arc<AtomicU64>,
}

extern "C" fn deck_plays(frames: u32, own: *mut c_void) -> c_int {
    // SAFETY: `own` is the client's own and outlives it; JACK calls from one thread, and its buffers hold
    // `frames` samples.
    let (end, buffers) = unsafe {
        let end = &mut *own.cast::<DeckEnd>();
        let buffers = end.ports.map(|port| {
            let samples = (end.buffer)(port, frames);
            std::slice::from_raw_parts_mut(samples, frames as usize)
        });
        (end, buffers)
    };
    let [input, left, right] = buffers;
    end.player.set_controls(Controls {
        play: end.switches.play.get().unwrap_or(false),
        looping: end.switches.looped.get().unwrap_or(false),
        speed: SPEED,
        ..Controls::default()
    });
    left.copy_from_slice(input);
    let side = &mut end.right[..frames as usize];
    side.copy_from_slice(input);
    end.player.process(&mut Block {
        left,
        right: side,
        side: None,
        host: None,
    });
    right.copy_from_slice(side);
    if end.player.phase() == Phase::Rolling {
        end.rolled.fetch_add(u64::from(frames), Ordering::AcqRel);
    }
    0
}

/// The guitarist: plays on from where the deck has come to.
struct Guitarist {
    buffer: unsafe extern "C" fn(*mut c_void, u32) -> *mut f32,
    port: *mut c_void,
    take: Vec<f32>,
    rolled: Arc<AtomicU64>,
    plays: AtomicBool,
    /// Frames that the deck is ahead of what it has rolled: how it began is its own affair.
    ahead: AtomicI64,
}

extern "C" fn guitarist_plays(frames: u32, own: *mut c_void) -> c_int {
    // SAFETY: as above.
    let (own, out) = unsafe {
        let own = &*own.cast::<Guitarist>();
        let samples = (own.buffer)(own.port, frames);
        (
            own,
            std::slice::from_raw_parts_mut(samples, frames as usize),
        )
    };
    out.fill(0.0);
    let at = own.rolled.load(Ordering::Acquire) as i64 + own.ahead.load(Ordering::Acquire);
    let at = usize::try_from(at).unwrap_or(usize::MAX / 2);
    if own.plays.load(Ordering::Acquire) && at + out.len() <= own.take.len() {
        out.copy_from_slice(&own.take[at..at + out.len()]);
    }
    0
}

struct Server(Child);

impl Drop for Server {
    fn drop(&mut self) {
        // Asked to go, it gives its place among JACK's few servers back; killed, it would keep it.
        // SAFETY: the process is our own child and has not been waited for.
        unsafe { libc::kill(self.0.id() as libc::pid_t, libc::SIGTERM) };
        let asked = Instant::now();
        while matches!(self.0.try_wait(), Ok(None)) {
            if asked.elapsed() > Duration::from_secs(3) {
                let _ = self.0.kill();
            }
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

fn server(name: &str) -> Option<Server> {
    let rate = RATE.to_string();
    let period = PERIOD.to_string();
    // Synchronous: a cycle waits for its clients, so that a busy machine loses none.
    let started = process::Command::new("jackd")
        .args(["-n", name, "-r", "-S", "-t", "5000", "-d", "dummy"])
        .args(["-r", &rate, "-p", &period])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    started.ok().map(Server)
}

/// The window of a real instance.
struct Room {
    instance: Arc<Instance>,
    sight: Sight,
}

type Window = Harness<'static, Room>;

impl Room {
    fn snapshot(&self) -> Snapshot {
        let mut snapshot = self.instance.snapshot();
        snapshot.dials.speed = SPEED;
        snapshot.look.cautioned = true;
        snapshot
    }

    fn draw(&mut self, ui: &mut egui::Ui) {
        let snapshot = self.snapshot();
        let mut commands = Vec::new();
        editor::draw(ui, &snapshot, &mut self.sight, &mut commands);
        for command in commands {
            self.instance.apply(command, None);
        }
    }
}

/// Everything that the window says, in the order of its tree.
fn read(window: &Window) -> Vec<String> {
    let nodes = window.root().children_recursive();
    nodes
        .filter_map(|node| {
            let node = node.accesskit_node();
            node.label().or_else(|| node.value())
        })
        .collect()
}

fn until(window: &mut Window, what: &str, done: impl Fn(&Snapshot) -> bool) -> Snapshot {
    let begun = Instant::now();
    loop {
        window.step();
        let snapshot = window.state().snapshot();
        if done(&snapshot) {
            return snapshot;
        }
        assert!(begun.elapsed() < Duration::from_secs(40), "never {what}");
        std::thread::sleep(Duration::from_millis(25));
    }
}

/// Does this hand play this note by itself, nothing within a fifth of a second of it?
fn alone(heard: &Analysis, hand: Hand, i: usize) -> bool {
    let note = &heard.notes[i];
    let close = |n: &&thumbline::music::note::Note| (n.time - note.time).abs().0 < 0.2;
    note.role == hand && heard.notes.iter().filter(close).count() == 1
}

/// The first two beats, from bar 2 on, of four notes or more with a finger note between the beats.
fn two_beats(heard: &Analysis) -> (Seconds, Seconds) {
    let beats = heard.grid.beats();
    let found = beats.windows(3).find(|beats| {
        let (from, to) = (beats[0].time, beats[2].time);
        let inside = |n: &thumbline::music::note::Note| from - Span(0.02) <= n.time && n.time < to;
        let notes = heard.notes.iter().enumerate().filter(|(_, n)| inside(n));
        let lone = |hand| {
            let mut notes = notes.clone();
            notes.any(|(i, n)| alone(heard, hand, i) && (to - n.time).0 > 0.2)
        };
        let lone = lone(Hand::Melody) && lone(Hand::Bass);
        beats[0].bar >= 2 && notes.count() >= 4 && lone
    });
    let found = found.expect("two such beats in the demo");
    (found[0].time, found[2].time)
}

/// What the guitarist plays: `rounds` times the loop's notes as they were heard, one note late from a round
/// on, one left out in one round. The name of the late place.
fn take(snapshot: &Snapshot, rounds: usize) -> (Vec<f32>, String) {
    let heard = snapshot.analysis.ready().expect("heard");
    let region = snapshot.practice.region.as_ref().expect("a loop");
    let drift = thumbline::timing::measure(
        &heard.notes,
        &heard.grid,
        thumbline::timing::Reference::OwnTempo,
    );
    let inside: Vec<usize> = (0..heard.notes.len())
        .filter(|&i| {
            let note = &heard.notes[i];
            region.from <= note.time && note.time < region.to && note.string.is_some()
        })
        .collect();
    assert!(inside.len() >= 3, "{} notes in the loop", inside.len());
    let late = inside
        .iter()
        .rev()
        .find(|&&i| alone(heard, Hand::Melody, i));
    let late = *late.expect("a finger note");
    let slot = drift.notes[late].expect("measured").slot;
    let out = *inside
        .iter()
        .find(|&&i| alone(heard, Hand::Bass, i))
        .expect("a thumb note");
    let round = (region.to - region.from).0 / SPEED;
    let mut strokes = Vec::new();
    for r in 0..rounds {
        for &i in &inside {
            let note = &heard.notes[i];
            let own = r + 1 >= LATE_FROM
                && drift.notes[i].is_some_and(|d| d.slot == slot)
                && note.role == Hand::Melody;
            if r + 1 == LEFT_OUT && i == out {
                continue;
            }
            let at = r as f64 * round
                + (note.time - region.from).0 / SPEED
                + if own { LATE.0 } else { 0.0 };
            let (Some(string), Some(open)) = (
                note.string,
                heard.tuning.sounding(note.string.unwrap_or(1), 0),
            ) else {
                continue;
            };
            let until = Seconds(at + ((note.end - note.time).0 / SPEED).min(0.6));
            let fret = note.fret.unwrap_or(0);
            strokes.push(Played::pluck(
                Seconds(at.max(0.0)),
                until,
                string,
                open,
                fret,
            ));
        }
    }
    let guitar = Guitar {
        rate: RATE,
        seed: 5,
        ..Guitar::default()
    };
    let sound = guitar.play(&strokes, Span(rounds as f64 * round + 1.0));
    (sound.channels[0].clone(), slot.name(heard.grid.meter))
}

/// In a process of its own, with a data folder of its own.
#[test]
fn ten_rounds_through_jack_are_told_in_the_window() {
    const AGAIN: &str = "THUMBLINE_TEST_JACK";
    if std::env::var_os(AGAIN).is_some() {
        play();
        return;
    }
    let present = process::Command::new("jackd")
        .arg("--version")
        .output()
        .is_ok();
    if !present || Jack::load().is_none() {
        println!("skipped: ten rounds through JACK (there is no jackd)");
        return;
    }
    let data = tempfile::tempdir().expect("a folder");
    let own = std::env::current_exe().expect("this test's own path");
    let test = "jack::ten_rounds_through_jack_are_told_in_the_window";
    let output = process::Command::new(own)
        .args(["--exact", test, "--nocapture"])
        .env("THUMBLINE_DATA", data.path())
        .env(AGAIN, "1")
        .output()
        .expect("it runs");
    let said = String::from_utf8_lossy(&output.stdout);
    println!("{said}");
    let faults = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{faults}");
    assert!(said.contains("1 passed"), "{said}");
}

fn play() {
    let jack = Jack::load().expect("libjack");
    let name = format!("thumbline-test-{}", std::process::id());
    let _server = server(&name).expect("jackd starts");
    let begun = Instant::now();
    let deck = loop {
        if let Some(client) = jack.client("deck", &name) {
            break client;
        }
        if begun.elapsed() > Duration::from_secs(8) {
            println!("skipped: ten rounds through JACK (its dummy back end does not run here)");
            return;
        }
        std::thread::sleep(Duration::from_millis(50));
    };
    let instance = Arc::new(Instance::default());
    let rolled = Arc::new(AtomicU64::new(0));
    let end = Box::new(DeckEnd {
        buffer: jack.buffer,
        ports: [
            jack.port(deck, "in", true),
            jack.port(deck, "left", false),
            jack.port(deck, "right", false),
        ],
        player: instance.activate(RATE),
        switches: instance.switches(),
        right: vec![0.0; 8192],
        rolled: Arc::clone(&rolled),
    });
    let end = Box::into_raw(end);
    // SAFETY: what the callback works with lives until the client is closed.
    unsafe {
        assert_eq!((jack.callback)(deck, deck_plays, end.cast()), 0);
        assert_eq!((jack.activate)(deck), 0);
    }
    let room = Room {
        instance: Arc::clone(&instance),
        sight: Sight::default(),
    };
    let mut window: Window = Harness::builder()
        .with_size(vec2(1180.0, 760.0))
        .build_ui_state(|ui, room: &mut Room| room.draw(ui), room);
    instance.apply(Command::OpenDemo, None);
    until(&mut window, "heard", |s| s.analysis.ready().is_some());
    // Two beats, faster than recorded: ten rounds are over soon. The round trip is known: there is none.
    let snapshot = window.state().snapshot();
    let (from, to) = two_beats(snapshot.analysis.ready().expect("heard"));
    instance.apply(
        Command::LoopFromTo(from - Span(0.02), to - Span(0.02)),
        None,
    );
    instance.apply(Command::SetLoop(true), None);
    instance.apply(Command::SetCountIn(0), None);
    instance.apply(Command::SetLatency(Span::from_ms(0.1)), None);
    let snapshot = until(&mut window, "looped", |s| s.practice.region.is_some());
    let (sound, late) = take(&snapshot, ROUNDS + 3);
    let client = jack.client("guitarist", &name).expect("a second client");
    let guitarist = Box::into_raw(Box::new(Guitarist {
        buffer: jack.buffer,
        port: jack.port(client, "out", false),
        take: sound,
        rolled: Arc::clone(&rolled),
        plays: AtomicBool::new(false),
        ahead: AtomicI64::new(0),
    }));
    // SAFETY: as above.
    unsafe {
        assert_eq!(
            (jack.callback)(client, guitarist_plays, guitarist.cast()),
            0
        );
        assert_eq!((jack.activate)(client), 0);
    }
    jack.join(client, "guitarist:out", "deck:in");
    instance.apply(Command::Seek(from - Span(0.02)), None);
    until(&mut window, "in place", |s| {
        (s.transport.position - from).abs().0 < 0.1
    });
    instance.apply(Command::CaptureTake(true), None);
    until(&mut window, "armed", |s| s.capture != CaptureView::Off);
    instance.apply(Command::Play(true), None);
    until(&mut window, "under way", |s| s.transport.round > 0);
    // SAFETY: it lives until the client is closed; what is shared is atomic.
    let own = unsafe { &*guitarist };
    own.ahead
        .store(ahead(&instance, &snapshot, &rolled), Ordering::Release);
    own.plays.store(true, Ordering::Release);
    session(&mut window, &late);
    instance.apply(Command::Record(false), None);
    instance.apply(Command::Play(false), None);
    let snapshot = until(&mut window, "in the journal", |s| {
        s.takes.iter().any(|t| t.answer.is_some()) && !s.page.rounds.is_empty()
    });
    let kept: Vec<_> = snapshot
        .page
        .rounds
        .iter()
        .filter(|r| r.note == "kept")
        .collect();
    assert_eq!(kept.len(), 1, "{:?}", snapshot.page.rounds);
    // SAFETY: closed first, so that nobody works with them any more.
    unsafe {
        (jack.close)(client);
        (jack.close)(deck);
        drop(Box::from_raw(guitarist));
        drop(Box::from_raw(end));
    }
}

/// How far the deck is ahead of what it has rolled, in frames: the middle of several looks.
fn ahead(instance: &Instance, looped: &Snapshot, rolled: &AtomicU64) -> i64 {
    let region = looped.practice.region.as_ref().expect("a loop");
    let round = (region.to - region.from).0 / SPEED;
    let mut found: Vec<i64> = Vec::new();
    while found.len() < 9 {
        std::thread::sleep(Duration::from_millis(20));
        let before = rolled.load(Ordering::Acquire);
        let at = instance.snapshot().transport.position;
        if rolled.load(Ordering::Acquire) == before {
            let inside = (at - region.from).0 / SPEED;
            let rolled = (before as f64 / f64::from(RATE)) % round;
            let off = (inside - rolled + 1.5 * round) % round - 0.5 * round;
            found.push((off * f64::from(RATE)).round() as i64);
        }
    }
    found.sort_unstable();
    println!("the deck is {} frames ahead of what it rolled", found[4]);
    found[4]
}

/// Ten rounds as they are told in the window; in the first, which the guitarist joins, anything may be told.
fn session(window: &mut Window, late: &str) {
    let mut told: Vec<String> = Vec::new();
    let (mut early, mut left_out, mut heads) = (0, 0, 0);
    let mut waits = Vec::new();
    let (mut round, mut turned) = (0, Instant::now());
    for number in 1..=ROUNDS + 1 {
        let snapshot = loop {
            window.step();
            let snapshot = window.state().snapshot();
            if snapshot.transport.round != round {
                (round, turned) = (snapshot.transport.round, Instant::now());
            }
            let tree = read(window);
            left_out += usize::from(tree.iter().any(|t| t == "you left this out"));
            heads = heads.max(tree.iter().filter(|t| t.starts_with("you: ")).count());
            if snapshot.along.said.as_ref() != told.last() {
                break snapshot;
            }
            assert!(
                turned.elapsed() < Duration::from_secs(20),
                "round {number} is not told"
            );
            std::thread::sleep(Duration::from_millis(15));
        };
        waits.push(turned.elapsed().as_secs_f64());
        let said = snapshot.along.said.clone().expect("a sentence");
        window.step();
        let tree = read(window);
        assert!(
            tree.contains(&said),
            "{said} is not in the window: {tree:?}"
        );
        let lower = said.to_lowercase();
        let named = lower.contains(&late.to_lowercase()) && lower.contains("late");
        early += usize::from((2..LATE_FROM).contains(&number) && named);
        let heads = snapshot
            .along
            .heads
            .iter()
            .filter(|h| h.round + 1 == number);
        let lates: Vec<String> = heads.map(|h| format!("{:+.0}", h.late.ms())).collect();
        println!("round {number}: {said} (each by {} ms)", lates.join(" "));
        told.push(said);
        if number == 5 {
            window.key_press(Key::K);
            window.step();
        }
        if number == 8
            && let Some(folder) = std::env::var_os("THUMBLINE_PICTURES")
        {
            painted(window).save(&std::path::Path::new(&folder).join("round.ppm"));
        }
    }
    let named = told[LATE_FROM - 1..].iter().filter(|s| {
        let s = s.to_lowercase();
        s.contains(&late.to_lowercase()) && s.contains("late")
    });
    let named = named.count();
    waits.sort_by(f64::total_cmp);
    println!(
        "{named} of {} rounds name {late}; told {:.2} s after the bar line (median), {:.2} s at worst; {heads} heads",
        ROUNDS + 2 - LATE_FROM,
        waits[waits.len() / 2],
        waits[waits.len() - 1]
    );
    assert_eq!(early, 0, "{told:?}");
    assert!(named + 1 >= ROUNDS + 2 - LATE_FROM, "{told:?}");
    assert!(left_out > 0, "what was left out was never shown");
    assert!(heads >= 2, "{heads} heads");
}
