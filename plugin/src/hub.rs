//! The desk of one instance: between the window, the worker threads and the audio thread.
//!
//! Owns the deck (the sending end of the audio thread's messages), the session and what is open.
//! The window asks it for a [`Snapshot`](crate::snapshot::Snapshot) and hands it
//! [`Wish`](crate::wish::Wish)s; the
//! audio thread never waits for it, except offline, where there is time.

mod hearing;
mod keeping;
mod marking;
mod mixing;
mod opening;
mod seeing;
mod taping;
mod wishing;

pub use taping::on_timeline;

use crate::feet::Feet;
use crate::jobs::Crew;
use crate::params::Dials;
use crate::practice::SetUp;
use crate::reel::Recorder;
use crate::relay::{self, Relay, Runner};
use crate::session::{Marks, Store, TakeRef};
use crate::snapshot::{AnalysisView, Answer, Hear, Notice, PageView, Peaks};
use nice_plug::context::gui::GuiContext;
use nice_plug_egui::RepaintNotifier;
use opening::{Why, name_of};
use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};
use std::time::{Duration, Instant};
use thumbline::analysis::Analysis;
use thumbline::deck::{Config, Deck, Event, Message, Player, State, pair};
use thumbline::recording::{ContentHash, Recording};
use thumbline::unit::Seconds;

/// Most notices kept.
const NOTICES: usize = 20;

/// One instance's desk.
pub struct Hub {
    dials: Arc<Dials>,
    feet: Arc<Feet>,
    crew: Arc<Crew>,
    me: Weak<Hub>,
    set_ups: Vec<SetUp>,
    standalone: AtomicBool,
    dressed: AtomicBool,
    desk: Mutex<Desk>,
    relay: Mutex<Option<Relay>>,
    /// The open window, and what it was last asked to show.
    eye: Mutex<Option<(RepaintNotifier, u64)>>,
}

/// What is open.
#[derive(Debug, Clone)]
enum Open {
    Empty,
    Loading {
        name: String,
        path: PathBuf,
        progress: Option<f32>,
    },
    Ready {
        name: String,
        path: PathBuf,
    },
    Missing {
        name: String,
        path: PathBuf,
        hash: Option<ContentHash>,
    },
    Failed {
        name: String,
        reason: String,
    },
}

struct Take {
    take: TakeRef,
    /// As it was heard in its own time.
    heard: Option<keeping::Heard>,
    /// The same on the recording's timeline.
    analysis: Option<Arc<Analysis>>,
    answer: Option<Arc<Answer>>,
    shown: bool,
    /// Was it recorded just now, and not opened again?
    fresh: bool,
}

impl Take {
    fn new(take: TakeRef) -> Self {
        Self {
            take,
            heard: None,
            analysis: None,
            answer: None,
            shown: true,
            fresh: false,
        }
    }
}

struct Desk {
    store: Store,
    deck: Option<Deck>,
    backlog: VecDeque<Message>,
    rate: u32,
    state: Option<State>,
    open: Open,
    why: Why,
    /// Counts openings; a job of an older one is given up.
    generation: u64,
    /// Counts analyses and corrections likewise.
    listening: u64,
    correcting: u64,
    /// Has the deck got the first part of what is open?
    begun: bool,
    sound: Option<Arc<Recording>>,
    original: Option<Arc<Recording>>,
    hash: Option<ContentHash>,
    /// Marks made before the recording's identity was known.
    pending: Marks,
    heard: Option<Arc<Analysis>>,
    analysis: AnalysisView,
    pins: Arc<[(usize, Seconds)]>,
    swing: f64,
    peaks: Arc<Peaks>,
    takes: Vec<Take>,
    /// What is heard of the recording, and the sound that was made for it.
    hear: Hear,
    mixed: Option<mixing::Mixed>,
    /// The stretch that is heard once, while it is.
    once: Option<wishing::Once>,
    /// Counts mixes; an older one is given up.
    mixing: u64,
    page: Arc<PageView>,
    recorder: Option<Recorder>,
    round: taping::Round,
    listening_for: Option<taping::Listening>,
    notices: VecDeque<Notice>,
    next_notice: u64,
    loads_seen: u64,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Hub {
    /// A desk over an instance's parameters, with nothing open.
    pub fn new(dials: Arc<Dials>) -> Arc<Self> {
        let crew = Crew::hire();
        let store = dials.store.clone();
        let hub = Arc::new_cyclic(|me| Self {
            feet: Arc::default(),
            me: me.clone(),
            set_ups: crate::practice::all(),
            standalone: AtomicBool::new(false),
            dressed: AtomicBool::new(false),
            eye: Mutex::new(None),
            relay: Mutex::new(None),
            desk: Mutex::new(Desk::new(store)),
            crew: Arc::clone(&crew),
            dials,
        });
        crew.tend(Arc::downgrade(&hub));
        hub
    }

    /// The switches that the audio thread reads.
    pub fn feet(&self) -> Arc<Feet> {
        Arc::clone(&self.feet)
    }

    /// The audio thread's end for players of another rate.
    pub fn runner(&self) -> Runner {
        let (relay, runner) = relay::pair();
        *locked(&self.relay) = Some(relay);
        runner
    }

    /// Makes a player of the rate at which the host turns out to run.
    fn relay(&self) {
        let wanted = locked(&self.relay).as_mut().and_then(Relay::wanted);
        let Some(rate) = wanted.filter(|rate| *rate != locked(&self.desk).rate) else {
            return;
        };
        let player = self.activate(rate);
        if let Some(relay) = &mut *locked(&self.relay) {
            relay.send(player);
        }
    }

    /// The parameters.
    pub fn dials(&self) -> &Arc<Dials> {
        &self.dials
    }

    /// This is the program of its own.
    pub fn set_standalone(&self) {
        self.standalone.store(true, Ordering::Release);
    }

    /// A sentence for the player.
    pub fn tell(&self, text: String, grave: bool) {
        locked(&self.desk).notice(text, grave);
    }

    /// The window has opened: the program of its own sets its parameters now.
    pub fn window_opened(&self, gui: &GuiContext) {
        if !self.dressed.swap(true, Ordering::AcqRel)
            && let Some(program) = crate::standalone::program()
        {
            program.set_dials(&self.dials, gui);
        }
    }

    /// The host runs at `rate` frames a second; a player for the audio thread.
    pub fn activate(&self, rate: u32) -> Player {
        let (deck, player) = pair(Config::at(rate));
        let waiting = {
            let mut desk = locked(&self.desk);
            let changed = desk.rate != rate;
            desk.deck = Some(deck);
            desk.backlog.clear();
            desk.rate = rate;
            desk.restate();
            let mixed = desk.mixed.as_ref().map(|m| Arc::clone(&m.sound));
            let heard = mixed.or_else(|| desk.sound.clone());
            let sound = heard.filter(|s| s.rate() == rate && !changed);
            match sound {
                // The same rate: the new player goes on with the same samples.
                Some(sound) if desk.begun => {
                    desk.reload(&sound);
                    false
                }
                _ => true,
            }
        };
        if waiting {
            self.refit();
        }
        self.tend();
        player
    }

    /// Waits until the recording is whole and the deck knows all, at most `longest`: for offline
    /// rendering, where the host waits too.
    pub fn wait_whole(&self, longest: Duration) {
        let until = Instant::now() + longest;
        loop {
            self.tend();
            let ready = {
                let desk = locked(&self.desk);
                let loading = matches!(desk.open, Open::Loading { .. });
                let listening = matches!(desk.analysis, AnalysisView::Working { .. });
                !loading && !listening && desk.backlog.is_empty()
            };
            if ready || Instant::now() > until {
                return;
            }
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    /// Looks after the desk; called a few dozen times a second.
    pub fn tend(&self) {
        self.nudge();
        self.relay();
        let loads = self.dials.store.loads();
        let restore = {
            let mut desk = locked(&self.desk);
            let changed = desk.loads_seen != loads;
            desk.loads_seen = loads;
            changed
        };
        if restore {
            self.restore();
        }
        let hop = self.feet.hop.swap(0, Ordering::AcqRel);
        if hop != 0 {
            self.hop(hop);
        }
        if let Some((control, trigger)) = self.feet.take_heard() {
            let mut session = self.dials.store.lock();
            session.learnt.retain(|(c, _)| *c != control);
            session.learnt.push((control, trigger));
            self.feet.learn_all(&session.learnt);
        }
        let mut seams = false;
        {
            let mut desk = locked(&self.desk);
            desk.flush();
            while let Some(event) = desk.deck.as_mut().and_then(Deck::event) {
                match event {
                    Event::Ended => self.feet.play.set(false),
                    Event::Seam { .. } => seams = true,
                    Event::OutOfReach => desk.notice(
                        "The host's tempo is too far from the recording's: it plays at 25 to 150 %"
                            .into(),
                        false,
                    ),
                    Event::Round { .. } | Event::Calibrated => {}
                }
            }
            desk.look();
            if desk.heard_once() {
                self.feet.play.set(false);
            }
        }
        self.tend_tape();
        if seams {
            self.judge_round();
        }
    }

    /// The host (or the program's own file) has put another session in.
    fn restore(&self) {
        let (recording, learnt) = {
            let session = self.dials.store.lock();
            (session.recording.clone(), session.learnt.clone())
        };
        self.feet.learn_all(&learnt);
        match recording {
            None => self.close(),
            Some(known) if known.path.is_file() => self.open(&known.path, Why::Restored),
            Some(known) => {
                self.close();
                let mut desk = locked(&self.desk);
                desk.hash = known.hash;
                desk.load_takes();
                desk.notice(
                    format!(
                        "{} is not at {} any more; show where it is and everything else is as it was",
                        known.name,
                        known.path.display()
                    ),
                    true,
                );
                desk.open = Open::Missing {
                    name: known.name,
                    path: known.path,
                    hash: known.hash,
                };
            }
        }
    }

    fn close(&self) {
        let mut desk = locked(&self.desk);
        desk.generation += 1;
        desk.listening += 1;
        desk.open = Open::Empty;
        desk.sound = None;
        desk.original = None;
        desk.hash = None;
        desk.heard = None;
        desk.begun = false;
        desk.analysis = AnalysisView::None;
        desk.peaks = Arc::default();
        desk.takes.clear();
        desk.page = Arc::default();
        desk.forget_mix();
        desk.pins = Arc::from([]);
        desk.send(Message::Unload);
        desk.send(Message::Pulse(None));
        desk.restate();
        desk.flush();
    }
}

impl Desk {
    fn new(store: Store) -> Self {
        Self {
            store,
            deck: None,
            backlog: VecDeque::new(),
            rate: 0,
            state: None,
            open: Open::Empty,
            why: Why::Chosen,
            generation: 0,
            listening: 0,
            correcting: 0,
            begun: false,
            sound: None,
            original: None,
            hash: None,
            pending: Marks::default(),
            heard: None,
            analysis: AnalysisView::None,
            pins: Arc::from([]),
            swing: 0.5,
            peaks: Arc::default(),
            takes: Vec::new(),
            hear: Hear::default(),
            mixed: None,
            once: None,
            mixing: 0,
            page: Arc::default(),
            recorder: None,
            round: taping::Round::default(),
            listening_for: None,
            notices: VecDeque::new(),
            next_notice: 1,
            loads_seen: 0,
        }
    }

    /// Queues a message for the deck; without one it is not needed: activation tells all.
    fn send(&mut self, message: Message) {
        if self.deck.is_some() {
            self.backlog.push_back(message);
        }
    }

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

    /// Reads the deck's state; the place goes into the session.
    fn look(&mut self) {
        let Some(deck) = &self.deck else { return };
        let mut state = deck.state();
        if let Some(before) = self.state {
            // Levels fall slowly enough to be seen.
            state.peak = state.peak.max(before.peak * 0.9);
            state.reduction_db = state.reduction_db.max(before.reduction_db * 0.9);
        }
        self.state = Some(state);
        if self.begun && self.backlog.is_empty() && state.clock > 0 {
            self.store.lock().position = state.position;
        }
    }

    /// The marks of what is open.
    fn marks<R>(&mut self, look: impl FnOnce(&mut Marks) -> R) -> R {
        match self.hash {
            Some(hash) => {
                let mut session = self.store.lock();
                let key = hash.to_string();
                let known = session.marks.contains_key(&key);
                let mut marks = session.marks.remove(&key).unwrap_or_default();
                let result = look(&mut marks);
                if known || marks != Marks::default() {
                    session.marks.insert(key, marks);
                }
                result
            }
            None => look(&mut self.pending),
        }
    }

    fn notice(&mut self, text: String, grave: bool) {
        if self.notices.back().is_some_and(|n| n.text == text) {
            return;
        }
        self.notices.push_back(Notice {
            id: self.next_notice,
            text,
            grave,
        });
        self.next_notice += 1;
        while self.notices.len() > NOTICES {
            self.notices.pop_front();
        }
    }
}
