//! The playable deck: one recording, played at any speed and pitch, looped, clicked to, recorded
//! against.
//!
//! [`pair`] gives two ends. The [`Player`] lives on the audio thread and owns all it plays; the
//! [`Deck`] sends it [`Message`]s over a ring and gets back, over other rings, [`Event`]s and
//! everything the player no longer needs: the player never allocates, frees, locks or waits.
//!
//! ```text
//! Deck ── Message ─► Player: transport ─► head (stretch) ─► channels, gain ─┐
//!  ▲                          └─────────► click ─────────────────────────────┼► limiter ─► out
//!  │                 aside ─► gain ────────────────────────────────────────┤
//!  └── Event, Retired ──┘                 input (delayed alike) ─────────────┘
//! ```
//!
//! What it is not: it opens no file and analyses nothing. A [`Pulse`] is baked from a beat grid
//! and a [`Track`] from a recording before they are sent.

mod aside;
pub mod calibrate;
pub mod capture;
mod click;
mod controls;
mod head;
pub mod limiter;
mod message;
pub mod offline;
mod player;
mod pulse;
mod ramp;
pub mod resample;
mod track;
mod transport;

pub use aside::Aside;
pub use controls::{Channels, Controls, Ladder};
pub use message::{Event, Message, Phase, Retired, State};
pub use player::{Block, Host, Player};
pub use pulse::{ClickRate, Pulse};
pub use track::Track;

use message::Shared;
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;

/// What a pair is made for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Config {
    /// Output frames a second, 8,000 to 384,000.
    pub rate: u32,
    /// Messages that may wait at once.
    pub messages: usize,
}

impl Config {
    /// A pair at `rate` frames a second.
    pub fn at(rate: u32) -> Self {
        Self {
            rate: rate.clamp(8_000, 384_000),
            messages: 256,
        }
    }
}

/// The end that any one thread but the audio thread holds.
pub struct Deck {
    rate: u32,
    messages: Producer<Message>,
    retired: Consumer<Retired>,
    events: Consumer<Event>,
    shared: Arc<Shared>,
}

/// Makes the two ends of a deck.
pub fn pair(config: Config) -> (Deck, Player) {
    let (messages, inbox) = RingBuffer::new(config.messages.max(8));
    // Everything a message carries in can come back, and what is held when the last one arrives.
    let (outbox, retired) = RingBuffer::new(config.messages.max(8) + 8);
    let (tell, events) = RingBuffer::new(256);
    let shared = Arc::new(Shared::default());
    let player = Player::new(config.rate, inbox, outbox, tell, Arc::clone(&shared));
    let deck = Deck {
        rate: config.rate,
        messages,
        retired,
        events,
        shared,
    };
    (deck, player)
}

impl Deck {
    /// Output frames a second.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Sends a message.
    ///
    /// # Errors
    /// The message itself, when the ring is full: the audio thread is not running. Nothing is lost
    /// by sending it again later.
    pub fn send(&mut self, message: Message) -> Result<(), Message> {
        self.messages
            .push(message)
            .map_err(|rtrb::PushError::Full(message)| message)
    }

    /// Frees what the player has given back; how many things it was.
    pub fn collect(&mut self) -> usize {
        let mut freed = 0;
        while self.retired.pop().is_ok() {
            freed += 1;
        }
        freed
    }

    /// The next thing that happened on the audio thread.
    pub fn event(&mut self) -> Option<Event> {
        self.events.pop().ok()
    }

    /// What sounds now.
    pub fn state(&self) -> State {
        self.shared.state(self.rate)
    }
}
