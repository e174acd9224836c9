//! Ten jobs of a player, each done in the window with as few actions as it takes: an action is one
//! click, one drag, one key or one text typed with Enter. The instance is a real one: it reads,
//! listens, records and keeps; only the sound card is this test.

use super::painting::painted;
use egui::{Key, Modifiers, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use std::path::{Path, PathBuf};
use std::process;
use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime};
use thumbline::deck::{Block, Controls, Phase, Player};
use thumbline::music::note::Role as Hand;
use thumbline::music::tuning::Tuning;
use thumbline_plugin::command::Command;
use thumbline_plugin::editor::{self, sight::Side, sight::Sight};
use thumbline_plugin::instance::Instance;
use thumbline_plugin::message::Message;
use thumbline_plugin::session::Session;
use thumbline_plugin::snapshot::{CaptureView, For, Hear, Snapshot};

const RATE: u32 = 48_000;
const BLOCK: usize = 480;
/// Blocks between two frames of the window.
const FRAME: usize = 4;

/// A player's room: the instance with its window, and the sound card.
struct Room {
    instance: Arc<Instance>,
    player: Player,
    sight: Sight,
    speed: f64,
    click: bool,
    /// What comes out, half as loud: it is what goes in, as if the player played exactly.
    heard: Vec<f32>,
    actions: usize,
}

impl Room {
    fn new(session: Option<Session>) -> Self {
        let instance = Arc::new(Instance::default());
        if let Some(session) = session {
            instance.dials().store.replace(session);
        }
        Self {
            player: instance.activate(RATE),
            instance,
            sight: Sight::default(),
            speed: 1.0,
            click: false,
            heard: vec![0.0; BLOCK],
            actions: 0,
        }
    }

    fn snapshot(&self) -> Snapshot {
        let mut snapshot = self.instance.snapshot();
        snapshot.dials.speed = self.speed;
        snapshot.dials.click = self.click;
        snapshot.look.cautioned = true;
        snapshot
    }

    fn draw(&mut self, ui: &mut egui::Ui) {
        let snapshot = self.snapshot();
        let mut commands = Vec::new();
        editor::draw(ui, &snapshot, &mut self.sight, &mut commands);
        for command in commands {
            match command {
                Command::SetSpeed(speed) => self.speed = speed,
                Command::SetClick(on) => self.click = on,
                _ => {}
            }
            self.instance.apply(command, None);
        }
    }

    /// A block of sound.
    fn sound(&mut self) {
        let switches = self.instance.switches();
        self.player.set_controls(Controls {
            play: switches.play.get().unwrap_or(false),
            looping: switches.looped.get().unwrap_or(false),
            speed: self.speed,
            click: self.click,
            ..Controls::default()
        });
        // A player with headphones: nothing of the count-in's click comes in.
        let plays = if self.player.phase() == Phase::Rolling {
            0.5
        } else {
            0.0
        };
        let mut left: Vec<f32> = self.heard.iter().map(|s| plays * s).collect();
        let mut right = left.clone();
        self.player.process(&mut Block {
            left: &mut left,
            right: &mut right,
            side: None,
            host: None,
        });
        self.heard = left;
    }
}

type Window = Harness<'static, Room>;

fn window(session: Option<Session>) -> Window {
    Harness::builder()
        .with_size(vec2(1180.0, 760.0))
        .build_ui_state(|ui, room: &mut Room| room.draw(ui), Room::new(session))
}

/// Sound and window go on until `done`; at most half a minute.
fn until(window: &mut Window, what: &str, done: impl Fn(&Snapshot) -> bool) -> Snapshot {
    let begun = Instant::now();
    loop {
        for _ in 0..FRAME {
            window.state_mut().sound();
        }
        window.state().instance.tick();
        window.step();
        let snapshot = window.state().snapshot();
        if done(&snapshot) {
            return snapshot;
        }
        assert!(begun.elapsed() < Duration::from_secs(30), "never {what}");
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// A little while.
fn on(window: &mut Window) -> Snapshot {
    for _ in 0..3 {
        until(window, "now", |_| true);
    }
    window.state().snapshot()
}

fn click(window: &mut Window, label: &str) {
    window.state_mut().actions += 1;
    window.get_by_label(label).click();
    on(window);
}

fn press(window: &mut Window, modifiers: Modifiers, key: Key) {
    window.state_mut().actions += 1;
    window.key_press_modifiers(modifiers, key);
    on(window);
}

/// The job took at most so many actions; they are counted anew.
fn took(window: &mut Window, what: &str, most: usize) {
    let actions = std::mem::take(&mut window.state_mut().actions);
    println!("{what}: {actions} of {most} actions");
    assert!(actions <= most, "{what}: {actions}");
}

/// The place of the first note that `which` says, where its head is drawn.
fn point_at(window: &mut Window, which: impl Fn(&str) -> bool) {
    let at = {
        let nodes = window.get_all_by_role(egui::Role::Button);
        let mut heads = nodes.filter(|node| {
            let label = node.accesskit_node().label().unwrap_or_default();
            label.starts_with("bar ") && which(&label)
        });
        heads.next().expect("such a note").rect().center()
    };
    window.hover_at(at);
    on(window);
}

fn looped(snapshot: &Snapshot) -> (f64, f64) {
    let region = snapshot.practice.region.as_ref().expect("a loop");
    assert!(snapshot.practice.loop_on);
    (region.from.0, region.to.0)
}

/// This test in a process of its own, with a data folder of its own.
#[test]
fn ten_jobs_take_few_actions() {
    const AGAIN: &str = "THUMBLINE_TEST_JOBS";
    if std::env::var_os(AGAIN).is_some() {
        jobs();
        return;
    }
    let data = tempfile::tempdir().expect("a folder");
    let own = std::env::current_exe().expect("this test's own path");
    let output = process::Command::new(own)
        .args(["--exact", "jobs::ten_jobs_take_few_actions", "--nocapture"])
        .env("THUMBLINE_DATA", data.path())
        .env(AGAIN, "1")
        .output()
        .expect("it runs");
    let said = String::from_utf8_lossy(&output.stdout);
    println!("{said}");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(said.contains("1 passed"), "{said}");
}

fn jobs() {
    let mut window = window(None);
    on(&mut window);
    loop_and_climb(&mut window);
    record_and_read(&mut window);
    load_and_hear(&mut window);
    correct(&mut window);
    // Next week: the project, or the program's own file, brings everything back.
    let session = window.state().instance.dials().store.session();
    kill_while_recording(&mut window);
    drop(window);
    find_again(session);
}

fn loop_and_climb(window: &mut Window) {
    click(window, "Open the demo");
    until(window, "heard", |s| s.analysis.ready().is_some());
    on(window);
    click(window, "Bar 2");
    let (from, to) = looped(&on(window));
    let grid = |window: &Window| {
        let snapshot = window.state().snapshot();
        snapshot.analysis.ready().expect("heard").grid.clone()
    };
    let bar = grid(window).bar_range(2, 2).expect("bar 2");
    assert_eq!((from, to), (bar.0.0, bar.1.0));
    took(window, "open and loop a bar", 3);

    click(window, "Bar 2");
    let back = (Modifiers::SHIFT, Key::ArrowLeft);
    press(window, back.0, back.1);
    press(window, back.0, back.1);
    let (from, to) = looped(&on(window));
    let beat = grid(window).beat_length(bar.0).expect("a beat").0;
    assert!(((to - from) / beat - 2.0).abs() < 0.1, "{from} to {to}");
    window.get_by_label("Looped: 2.1–2.2");
    took(window, "loop two beats", 3);

    click(window, "Ladder");
    click(window, "Click");
    let snapshot = on(window);
    assert!(snapshot.practice.ladder.on && snapshot.dials.click);
    took(window, "ladder with click", 2);
    press(window, Modifiers::NONE, Key::Space);
    let snapshot = until(window, "playing", |s| s.transport.round > 0);
    assert!((snapshot.transport.speed - snapshot.practice.ladder.start).abs() < 1e-9);
    press(window, Modifiers::NONE, Key::Space);
    click(window, "Ladder");
    click(window, "Click");
    click(window, "Bar 2");
    window.state_mut().actions = 0;
}

fn record_and_read(window: &mut Window) {
    click(window, "Record");
    until(window, "counting in", |s| s.transport.count_in.is_some());
    until(window, "recording", |s| {
        matches!(s.capture, CaptureView::Running { .. })
    });
    // Nobody touches it: it stops at the loop's end, is heard and compared.
    let snapshot = until(window, "answered", |s| {
        s.capture == CaptureView::Off && s.takes.first().is_some_and(|t| t.answer.is_some())
    });
    assert!(!snapshot.transport.playing);
    on(window);
    if let Some(folder) = std::env::var_os("THUMBLINE_PICTURES") {
        painted(window).save(&Path::new(&folder).join("job-recorded.ppm"));
    }
    window.get_by_label_contains("Take 1 against the recording");
    assert_eq!(window.state().sight.side, Side::Words);
    took(window, "record and read", 2);
    if let Some(folder) = std::env::var_os("THUMBLINE_PICTURES") {
        painted(window).save(&Path::new(&folder).join("job-recorded.ppm"));
    }
    assert!(!snapshot.page.rounds.is_empty() || !snapshot.takes.is_empty());
}

fn load_and_hear(window: &mut Window) {
    let snapshot = window.state().snapshot();
    let recorded = snapshot.takes[0].path.clone().expect("a file");
    let elsewhere = recorded.with_file_name("from my phone.wav");
    std::fs::copy(&recorded, &elsewhere).expect("copied");
    window.state_mut().sight.side = Side::Takes;
    on(window);
    // What the desktop's dialog answers; without one the program's own list does.
    click(window, "Load a take…");
    let chosen = Message::Chosen(For::Take, elsewhere);
    window.state().instance.core().send(chosen);
    until(window, "answered", |s| {
        s.takes.len() == 2 && s.takes[1].answer.is_some()
    });
    on(window);
    let last = {
        let all = window.get_all_by_label("Alone");
        all.last().expect("a way to hear it").rect().center()
    };
    window.state_mut().actions += 1;
    window.hover_at(last);
    window.step();
    window.drag_at(last);
    window.step();
    window.drop_at(last);
    let snapshot = until(window, "heard alone", |s| {
        s.practice.hear == Hear::Alone(1) && !s.practice.mixing
    });
    assert!(snapshot.transport.playing);
    took(window, "load and hear a take", 2);
    press(window, Modifiers::NONE, Key::Space);
    window.state().instance.apply(Command::ForgetTake(1), None);
    window
        .state()
        .instance
        .apply(Command::Hear(Hear::default()), None);
    window.state_mut().sight.side = Side::Words;
    window.state_mut().actions = 0;
    // Where the desktop has no dialog, the program's own list has come meanwhile.
    for _ in 0..100 {
        if on(window).folder.is_some() {
            break;
        }
    }
    window.state().instance.apply(Command::LeaveFolder, None);
    on(window);
}

fn correct(window: &mut Window) {
    // One click on the tuning, then one text: the field has the focus already.
    let told = thumbline::demo::tune().tuning;
    let before = window
        .state()
        .snapshot()
        .analysis
        .ready()
        .expect("heard")
        .tuning
        .clone();
    assert_eq!(before, told);
    window.get_by_label_contains("Tuning: ").click();
    window.state_mut().actions += 1;
    on(window);
    window.state_mut().actions += 1;
    window.event(egui::Event::Text("C G D G B D capo 2".to_owned()));
    on(window);
    window.key_press(Key::Enter);
    let snapshot = until(window, "heard in it", |s| {
        let heard = s.analysis.ready();
        heard.is_some_and(|a| a.tuning.capo() == 2 && a.tuning != before)
    });
    assert_eq!(snapshot.practice.tuning.as_ref().map(Tuning::capo), Some(2));
    took(window, "set tuning and capo", 2);
    window
        .state()
        .instance
        .apply(Command::SetTuning(Some(told)), None);
    until(window, "heard again", |s| {
        s.analysis.ready().is_some_and(|a| a.tuning.capo() == 0)
    });
    on(window);

    point_at(window, |label| label.contains(", beat 3"));
    press(window, Modifiers::NONE, Key::Num1);
    until(window, "counted anew", |s| s.practice.undoable == 1);
    took(window, "fix bar one", 1);
    window.state().instance.apply(Command::Undo, None);
    on(window);

    let hands = |s: &Snapshot| {
        let notes = &s.analysis.ready().expect("heard").notes;
        notes.iter().filter(|n| n.role == Hand::Bass).count()
    };
    let thumbs = hands(&window.state().snapshot());
    point_at(window, |label| label.contains("thumb"));
    press(window, Modifiers::NONE, Key::T);
    until(window, "the other hand", |s| hands(s) + 1 == thumbs);
    took(window, "fix a hand", 1);

    window.state().instance.apply(Command::SetBars(3, 4), None);
    window
        .state()
        .instance
        .apply(Command::KeepRegion("the hard turn".into()), None);
    window
        .state()
        .instance
        .apply(Command::SetRegion(None), None);
    on(window);
}

/// The newest file of this ending among the takes.
fn newest(ending: &str) -> PathBuf {
    let data = PathBuf::from(std::env::var_os("THUMBLINE_DATA").expect("a folder"));
    let entries = std::fs::read_dir(data.join("takes")).expect("takes");
    let paths = entries.flatten().map(|e| e.path());
    let mut fitting: Vec<PathBuf> = paths
        .filter(|p| p.extension().is_some_and(|e| e == ending))
        .collect();
    fitting.sort();
    fitting.pop().expect("such a file")
}

/// What lies on the disk in the middle of a take, as a kill would leave it.
fn kill_while_recording(window: &mut Window) {
    click(window, "Record");
    until(
        window,
        "two seconds",
        |s| matches!(s.capture, CaptureView::Running { length, .. } if length.0 > 6.0),
    );
    for ending in ["note", "wav"] {
        let path = newest(ending);
        let left = path.with_file_name(format!("take killed.{ending}"));
        std::fs::copy(&path, &left).expect("copied");
        let file = std::fs::File::options().append(true).open(&left);
        let long_ago = SystemTime::now() - Duration::from_mins(1);
        file.and_then(|f| f.set_modified(long_ago)).expect("aged");
    }
    click(window, "Stop");
    until(window, "stopped", |s| s.capture == CaptureView::Off);
}

fn find_again(session: Session) {
    let mut window = window(Some(session));
    let takes = until(&mut window, "there", |s| {
        s.analysis.ready().is_some()
            && s.takes.iter().any(|t| {
                let path = t.path.as_ref().map(|p| p.to_string_lossy().into_owned());
                path.is_some_and(|p| p.contains("take killed"))
            })
    });
    assert!(
        takes
            .notices
            .iter()
            .any(|n| n.text.contains("A take was cut short"))
    );
    took(&mut window, "recover after a kill", 0);
    click(&mut window, "Kept loops");
    let label = {
        let found = window.get_by_label_contains("the hard turn");
        found.accesskit_node().label().expect("a label")
    };
    click(&mut window, &label);
    let snapshot = on(&mut window);
    assert_eq!(snapshot.practice.current_region, Some(0));
    assert!(snapshot.practice.loop_on);
    took(&mut window, "find a kept loop next week", 2);
}
