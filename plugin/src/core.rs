//! One instance's state behind one short lock, and the wires from it: messages go in, effects are
//! carried out in their order. Nothing under the lock reads a file, waits or works on sound.
//!
//! What the host keeps ([`Store`]) is the state's own session, not a copy.

use crate::effect::{Dial, Effect};
use crate::job::JobId;
use crate::lock::locked;
use crate::message::{Message, Tick};
use crate::services::ask::{self, Asked};
use crate::services::{Job, journal};
use crate::session::Session;
use crate::shared_controls::SharedControls;
use crate::snapshot::{For, Snapshot};
use crate::sound::Choice;
use crate::state::State;
use crate::supervisor::Seat;
use crate::{snapshot_of, update};
use nice_plug::params::persist::PersistentField;
use serde_json::Value;
use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, OnceLock, PoisonError, Weak};
use std::time::{Duration, Instant};
use thumbline::deck::{self, Config, Deck, Player, pair};

/// One instance's state and wires.
#[derive(Default)]
pub struct Core {
    inner: Mutex<Inner>,
    /// Rings after every message.
    heard: Condvar,
    /// A session that the host has put in and nobody has looked at yet: it may come on any thread.
    put_in: Mutex<Option<Session>>,
    switches: Arc<SharedControls>,
    seat: OnceLock<Seat>,
    me: OnceLock<Weak<Core>>,
    /// What the Play parameter says.
    play: OnceLock<Box<dyn Fn() -> bool + Send + Sync>>,
    /// How the program of its own starts again with other sound devices.
    again: OnceLock<Box<dyn Fn(Choice) + Send + Sync>>,
    /// The parameters as the program of its own keeps them.
    dials: OnceLock<Box<dyn Fn() -> Value + Send + Sync>>,
}

#[derive(Default)]
struct Inner {
    state: State,
    deck: Option<Deck>,
    /// Messages that the ring had no room for.
    backlog: VecDeque<deck::Message>,
    /// Parameters to be set by whoever can reach the host.
    dials: Vec<Dial>,
    /// Has what is kept changed since the host was told?
    changed: bool,
    /// Counts the host's activations.
    activation: u32,
}

impl Core {
    /// A core in its initial state; it has no threads until it has a [`Seat`].
    pub fn new(state: State) -> Arc<Self> {
        let core = Arc::new(Self {
            inner: Mutex::new(Inner {
                state,
                ..Inner::default()
            }),
            ..Self::default()
        });
        let _ = core.me.set(Arc::downgrade(&core));
        core
    }

    /// The switches that the audio thread reads.
    pub fn switches(&self) -> &Arc<SharedControls> {
        &self.switches
    }

    /// Gives it its place at the threads' table.
    pub fn sit(&self, seat: Seat) {
        let _ = self.seat.set(seat);
    }

    /// Its place at the threads' table.
    pub fn seat(&self) -> Option<&Seat> {
        self.seat.get()
    }

    /// How the Play parameter is read.
    pub fn read_play(&self, play: impl Fn() -> bool + Send + Sync + 'static) {
        let _ = self.play.set(Box::new(play));
    }

    /// How the program of its own reads the parameters it keeps.
    pub fn keep_dials(&self, dials: impl Fn() -> Value + Send + Sync + 'static) {
        let _ = self.dials.set(Box::new(dials));
    }

    /// How the program of its own starts again. It is called under the lock: it only sets a thread going.
    pub fn start_again_by(&self, again: impl Fn(Choice) + Send + Sync + 'static) {
        let _ = self.again.set(Box::new(again));
    }

    /// Something happened.
    pub fn send(&self, message: Message) {
        let mut inner = self.enter();
        self.take_in(&mut inner, message);
        drop(inner);
        self.heard.notify_all();
    }

    /// How things stand; the state's revision and its news.
    pub fn tick(&self, tick: Tick) -> (u64, u64) {
        let mut inner = self.enter();
        self.tick_inside(&mut inner, tick);
        let now = (inner.state.revision, inner.state.news);
        drop(inner);
        self.heard.notify_all();
        now
    }

    /// Everything a view may draw.
    pub fn snapshot(&self, tick: Tick) -> Snapshot {
        let mut inner = self.enter();
        self.tick_inside(&mut inner, tick);
        snapshot_of::view(&inner.state)
    }

    /// Looks at the state.
    pub fn look<R>(&self, look: impl FnOnce(&State) -> R) -> R {
        look(&self.enter().state)
    }

    /// The host runs at `rate` frames a second: a player for the audio thread.
    pub fn activate(&self, rate: u32) -> Player {
        let mut inner = self.enter();
        inner.activation = inner.activation.wrapping_add(1);
        self.switches
            .activation
            .store(inner.activation, Ordering::Release);
        self.player(&mut inner, rate)
    }

    /// The host runs at a rate that nothing plays at.
    pub fn silence(&self, rate: f32) {
        let mut inner = self.enter();
        inner.activation = inner.activation.wrapping_add(1);
        self.switches
            .activation
            .store(inner.activation, Ordering::Release);
        inner.deck = None;
        inner.backlog.clear();
        self.take_in(&mut inner, Message::Unplayable(rate));
    }

    /// The audio thread asks for another player at `rate`; none when the host has activated anew
    /// since it asked.
    pub fn player_for(&self, rate: u32, activation: u32) -> Option<Player> {
        let mut inner = self.enter();
        let holds = activation == inner.activation;
        holds.then(|| self.player(&mut inner, rate))
    }

    fn player(&self, inner: &mut Inner, rate: u32) -> Player {
        let (deck, player) = pair(Config::at(rate));
        inner.deck = Some(deck);
        inner.backlog.clear();
        self.take_in(inner, Message::Activated(rate));
        player
    }

    /// Waits until all that was asked for is there, at most `longest`: for offline rendering, where
    /// the host waits too. What it still waited for, where the time was not enough.
    pub fn wait(&self, longest: Duration, tick: impl Fn() -> Tick) -> Option<&'static str> {
        let until = Instant::now() + longest;
        let mut inner = self.enter();
        loop {
            self.tick_inside(&mut inner, tick());
            let pending = inner.state.pending()?;
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Some(pending);
            }
            // The audio thread's ring empties only when the render goes on.
            let pause = left.min(Duration::from_millis(20));
            inner = self
                .heard
                .wait_timeout(inner, pause)
                .unwrap_or_else(PoisonError::into_inner)
                .0;
        }
    }

    /// Parameters to be set through the host, and whether it is to be told of a change.
    pub fn gestures(&self) -> (Vec<Dial>, bool) {
        let mut inner = self.enter();
        let changed = std::mem::take(&mut inner.changed);
        (std::mem::take(&mut inner.dials), changed)
    }

    /// The lock, with a session that was put in taken over.
    fn enter(&self) -> MutexGuard<'_, Inner> {
        let mut inner = locked(&self.inner);
        let put_in = locked(&self.put_in).take();
        if let Some(session) = put_in {
            self.take_in(&mut inner, Message::Restored(Box::new(session)));
        }
        inner
    }

    fn tick_inside(&self, inner: &mut Inner, mut tick: Tick) {
        inner.flush();
        while let Some(event) = inner.deck.as_mut().and_then(Deck::event) {
            self.take_in(inner, Message::Deck(event));
        }
        tick.sounding = inner.deck.as_ref().map(Deck::state);
        tick.waiting = !inner.backlog.is_empty();
        self.take_in(inner, Message::Tick(tick));
    }

    fn take_in(&self, inner: &mut Inner, message: Message) {
        for effect in update::update(&mut inner.state, message) {
            self.carry_out(inner, effect);
        }
        inner.flush();
    }

    fn carry_out(&self, inner: &mut Inner, effect: Effect) {
        match effect {
            // Without a deck it is not needed: activation tells all.
            Effect::Deck(message) => {
                if inner.deck.is_some() {
                    inner.backlog.push_back(message);
                }
            }
            Effect::Start(id, job) => self.start(id, *job),
            Effect::Cancel(id) => {
                if let Some(seat) = self.seat() {
                    seat.cancel(id);
                }
            }
            Effect::TakeWriter(id, order) => {
                if let Some(seat) = self.seat() {
                    seat.write_take(id, order);
                }
            }
            Effect::Play(on) => self.switches.play.set(on),
            Effect::Loop(on) => self.switches.looped.set(on),
            Effect::LearnControls(learnt) => self.switches.learn_all(&learnt),
            Effect::Listen(control) => self.switches.listen_for(control),
            Effect::Dial(dial) => inner.dials.push(dial),
            Effect::Changed => inner.changed = true,
            Effect::Ask(purpose, folder) => self.ask(inner, purpose, folder),
            Effect::AskForPage(name) => self.ask_for_page(inner, name),
            Effect::StartAgain(choice) => {
                if let Some(again) = self.again.get() {
                    again(choice);
                }
            }
            Effect::Show(path) => {
                if let Err(error) = ask::show(path) {
                    let text = format!("It cannot be shown: {error}");
                    self.take_in(inner, Message::Tell(text, true));
                }
            }
            Effect::Settings(id, file) => {
                if let Some(dials) = self.dials.get() {
                    let settings = journal::Settings {
                        file,
                        session: inner.state.session.clone(),
                        dials: dials(),
                    };
                    let job = journal::Job::Settings(Box::new(settings));
                    self.start(id, Job::Journal(job));
                }
            }
        }
    }

    fn start(&self, id: JobId, job: Job) {
        if let Some(seat) = self.seat() {
            seat.start(id, job);
        }
    }

    fn ask_for_page(&self, inner: &mut Inner, name: String) {
        let me = self.me.get().cloned().unwrap_or_default();
        let asked = ask::page(name, move |asked| {
            let Some(core) = me.upgrade() else { return };
            match asked {
                Asked::Chosen(path) => core.send(Message::PageAt(path)),
                Asked::NoDialog => core.send(Message::Tell(NO_DIALOG.to_owned(), true)),
                Asked::Dismissed => {}
            }
        });
        if let Err(error) = asked {
            let text = format!("No dialog can be opened: {error}");
            self.take_in(inner, Message::Tell(text, true));
        }
    }

    fn ask(&self, inner: &mut Inner, purpose: For, folder: Option<PathBuf>) {
        let me = self.me.get().cloned().unwrap_or_default();
        let asked = ask::sound(purpose, folder, move |asked| {
            let Some(core) = me.upgrade() else { return };
            match asked {
                Asked::Chosen(path) => core.send(Message::Chosen(purpose, path)),
                Asked::NoDialog => core.send(Message::NoDialog(purpose)),
                Asked::Dismissed => {}
            }
        });
        if asked.is_err() {
            self.take_in(inner, Message::NoDialog(purpose));
        }
    }
}

/// What is said where the desktop has no dialog to save a file.
const NO_DIALOG: &str =
    "This desktop has no dialog to save a file: thumbline lesson does it on the command line";

impl Inner {
    /// Sends what waits and frees what came back.
    fn flush(&mut self) {
        let Some(deck) = &mut self.deck else { return };
        deck.collect();
        while let Some(message) = self.backlog.pop_front() {
            if let Err(message) = deck.send(message) {
                self.backlog.push_front(message);
                break;
            }
        }
    }
}

/// What the host keeps of an instance. A handle: clones share one core.
#[derive(Clone)]
pub struct Store(Arc<Core>);

impl Store {
    /// What is kept of this core.
    pub fn of(core: &Arc<Core>) -> Self {
        Self(Arc::clone(core))
    }

    /// Puts a whole session in; it is taken over before anything else happens.
    pub fn replace(&self, session: Session) {
        *locked(&self.0.put_in) = Some(session);
        // The audio thread holds still until it is asked to play: by a parameter that moves, say.
        let play = self.0.play.get().is_some_and(|play| play());
        self.0.switches.loaded_play.store(play, Ordering::Release);
        self.0.switches.loads.fetch_add(1, Ordering::AcqRel);
    }

    /// What is kept now.
    pub fn session(&self) -> Session {
        self.0.look(|state| state.session.clone())
    }
}

impl PersistentField<'_, Session> for Store {
    fn set(&self, new_value: Session) {
        self.replace(new_value);
    }

    fn map<F, R>(&self, f: F) -> R
    where
        F: Fn(&Session) -> R,
    {
        self.0.look(|state| f(&state.session))
    }
}
