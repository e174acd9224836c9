//! One instance as the plug-in, the window and the tests hold it: its core, its parameters, its
//! place at the threads' table. Dropped, nothing of it runs any more.

use crate::command::Command;
use crate::core::{Core, Store};
use crate::effect::Dial;
use crate::job::JobId;
use crate::lock::locked;
use crate::message::{Message, Tick};
use crate::params::{Channels, Dials, MARKS};
use crate::player_swap::{self, PlayerSwap, Runner};
use crate::practice;
use crate::services::Said;
use crate::shared_controls::SharedControls;
use crate::snapshot::{DialsView, Snapshot};
use crate::state::{Program, State};
use crate::supervisor::{Client, Seat};
use nice_plug::context::gui::GuiContext;
use nice_plug::prelude::*;
use nice_plug_egui::RepaintNotifier;
use std::path::Path;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, Weak};
use std::time::{Duration, Instant};
use thumbline::deck::Player;

/// How often a window is painted for what only moves, the place of the sound and the levels: often
/// enough for an eye to follow; where no graphics card is there and the processor paints, no oftener
/// than leaves it to the sound (a frame of 1180 × 760 is about 10 ms of a core there).
fn pace() -> Duration {
    let card = !cfg!(target_os = "linux") || Path::new("/dev/dri").is_dir();
    Duration::from_millis(if card { 30 } else { 105 })
}

/// One instance.
pub struct Instance {
    shared: Arc<Shared>,
}

struct Shared {
    core: Arc<Core>,
    dials: Arc<Dials>,
    swap: Mutex<Option<PlayerSwap>>,
    /// The open window.
    eye: Mutex<Option<Eye>>,
}

/// An open window, and what it was last asked to show.
struct Eye {
    window: RepaintNotifier,
    revision: u64,
    news: u64,
    at: Instant,
    pace: Duration,
}

/// The instance as the threads see it: it does not keep it alive.
struct Ear(Weak<Shared>);

impl Default for Instance {
    fn default() -> Self {
        Self::new(None)
    }
}

impl Instance {
    /// An instance with nothing open; as the program of its own where there is one.
    pub fn new(program: Option<Program>) -> Self {
        let core = Core::new(State::new(practice::all().into(), program));
        let dials = Arc::new(Dials::new(Store::of(&core)));
        let same = Arc::downgrade(&dials);
        core.read_play(move || same.upgrade().is_some_and(|d| d.run.play.value()));
        let shared = Arc::new(Shared {
            core,
            dials,
            swap: Mutex::new(None),
            eye: Mutex::new(None),
        });
        let ear = Ear(Arc::downgrade(&shared));
        shared.core.sit(Seat::take(Arc::new(ear)));
        Self { shared }
    }

    /// The parameters.
    pub fn dials(&self) -> &Arc<Dials> {
        &self.shared.dials
    }

    /// Its state and wires.
    pub fn core(&self) -> &Arc<Core> {
        &self.shared.core
    }

    /// The switches that the audio thread reads.
    pub fn switches(&self) -> Arc<SharedControls> {
        Arc::clone(self.shared.core.switches())
    }

    /// The audio thread's end for players of another rate.
    pub fn runner(&self) -> Runner {
        let (swap, runner) = player_swap::pair(self.switches());
        *locked(&self.shared.swap) = Some(swap);
        runner
    }

    /// The host runs at `rate` frames a second; a player for the audio thread.
    pub fn activate(&self, rate: u32) -> Player {
        self.shared.core.activate(rate)
    }

    /// The host runs at a rate that nothing plays at.
    pub fn silence(&self, rate: f32) {
        self.shared.core.silence(rate);
    }

    /// Carries out a command; parameters are set through the host where `gui` is given.
    pub fn apply(&self, command: Command, gui: Option<&GuiContext>) {
        self.shared.core.send(Message::Command(command));
        self.gesture(gui);
    }

    /// Sets through the host what was asked for.
    pub fn gesture(&self, gui: Option<&GuiContext>) {
        let (dials, changed) = self.shared.core.gestures();
        let Some(gui) = gui else { return };
        for dial in dials {
            turn(&self.shared.dials, dial, gui);
        }
        if changed {
            let marks = &self.shared.dials.marks;
            set(gui, marks, (marks.value() + 1) % MARKS);
        }
    }

    /// Everything a view may draw, as it stands now.
    pub fn snapshot(&self) -> Snapshot {
        self.shared.core.snapshot(self.shared.look())
    }

    /// The window is painted now: what only moves waits for its turn from here on.
    pub fn painted(&self) {
        if let Some(eye) = &mut *locked(&self.shared.eye) {
            eye.at = Instant::now();
        }
    }

    /// Looks after it, as its thread does a few dozen times a second.
    pub fn tick(&self) {
        self.shared.tick();
    }

    /// Waits until all that was asked for is there, at most `longest`: for offline rendering.
    pub fn wait(&self, longest: Duration) {
        let still = self.shared.core.wait(longest, || self.shared.look());
        if let Some(what) = still {
            let text = format!("Rendered without waiting any longer: {what}");
            self.shared.core.send(Message::Tell(text, true));
        }
    }

    /// Wakes this window when there is something new to show; none when it is closed.
    pub fn watch(&self, window: Option<RepaintNotifier>) {
        let open = window.is_some();
        *locked(&self.shared.eye) = window.map(|window| Eye {
            window,
            revision: 0,
            news: 0,
            at: Instant::now(),
            pace: pace(),
        });
        self.shared.core.send(Message::Window(open));
    }

    /// Stops everything that runs for it and waits for its end.
    pub fn close(&self) {
        if let Some(seat) = self.shared.core.seat() {
            seat.leave();
        }
    }
}

impl Drop for Instance {
    fn drop(&mut self) {
        self.close();
    }
}

impl Shared {
    /// How things stand, but for what the core itself knows.
    fn look(&self) -> Tick {
        let (dials, switches) = (&self.dials, self.core.switches());
        Tick {
            sounding: None,
            waiting: false,
            dials: DialsView {
                speed: f64::from(dials.run.speed.value()) / 100.0,
                pitch: f64::from(dials.sound.pitch.value())
                    + f64::from(dials.sound.cents.value()) / 100.0,
                gain_db: f64::from(dials.sound.gain.value()),
                click: dials.click.on.value(),
                click_db: f64::from(dials.click.level.value()),
                channels: dials.sound.channels.value(),
                through: dials.track.through.value(),
                follow: dials.track.follow.value(),
            },
            loop_on: switches
                .looped
                .get()
                .unwrap_or_else(|| dials.run.looped.value()),
            bypassed: dials.bypass.value(),
            hop: switches.hop.swap(0, Ordering::AcqRel),
            pressed: switches.take_pressed(),
            learnt: switches.take_heard(),
            learning: switches.learning(),
            broke: switches.broke.swap(false, Ordering::AcqRel),
        }
    }

    fn tick(&self) {
        self.swap();
        let tick = self.look();
        let (revision, news) = self.core.tick(tick);
        let watched = {
            let mut eye = locked(&self.eye);
            if let Some(eye) = &mut *eye
                && (eye.news != news || (eye.revision != revision && eye.at.elapsed() >= eye.pace))
            {
                (eye.revision, eye.news, eye.at) = (revision, news, Instant::now());
                eye.window.request_repaint();
            }
            eye.is_some()
        };
        if let Some(seat) = self.core.seat() {
            seat.set_foremost(watched || self.core.look(State::is_heard));
        }
    }

    /// Makes a player of the rate at which the host turns out to run.
    fn swap(&self) {
        let wanted = locked(&self.swap).as_mut().and_then(PlayerSwap::wanted);
        let Some(wanted) = wanted else { return };
        let player = self.core.player_for(wanted.rate, wanted.activation);
        if let (Some(swap), Some(player)) = (&mut *locked(&self.swap), player) {
            swap.send(wanted.activation, player);
        }
    }
}

impl Client for Ear {
    fn said(&self, id: JobId, said: Said) {
        if let Some(shared) = self.0.upgrade() {
            shared.core.send(Message::Said(id, said));
        }
    }

    fn tick(&self) {
        if let Some(shared) = self.0.upgrade() {
            shared.tick();
        }
    }

    fn broke(&self, what: String) {
        if let Some(shared) = self.0.upgrade() {
            let text = format!("Something broke inside Thumbline: {what}");
            shared.core.send(Message::Tell(text, true));
        }
    }
}

/// Turns a dial through the host.
fn turn(dials: &Dials, dial: Dial, gui: &GuiContext) {
    match dial {
        Dial::Play(on) => set(gui, &dials.run.play, on),
        Dial::Loop(on) => set(gui, &dials.run.looped, on),
        Dial::Speed(speed) => set(gui, &dials.run.speed, (speed * 100.0) as f32),
        Dial::Pitch(semitones) => {
            let whole = semitones.round();
            set(gui, &dials.sound.pitch, whole as f32);
            set(
                gui,
                &dials.sound.cents,
                ((semitones - whole) * 100.0) as f32,
            );
        }
        Dial::Click(on) => set(gui, &dials.click.on, on),
        Dial::ClickLevel(db) => set(gui, &dials.click.level, db as f32),
        Dial::Gain(db) => set(gui, &dials.sound.gain, db as f32),
        Dial::Through(on) => set(gui, &dials.track.through, on),
        Dial::Follow(on) => set(gui, &dials.track.follow, on),
        Dial::Channels(channels) => {
            set::<EnumParam<Channels>>(gui, &dials.sound.channels, channels);
        }
    }
}

/// Sets a parameter as a player's own gesture.
fn set<P: Param>(gui: &GuiContext, param: &P, value: P::Plain) {
    let setter = gui.param_setter();
    setter.begin_set_parameter(param);
    setter.set_parameter(param, value);
    setter.end_set_parameter(param);
}
