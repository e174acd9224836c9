//! Another player for the audio thread while it runs: some backends tell their true rate only with
//! the first block (the standalone's JACK does), when the player for the told one is at work.
//!
//! The audio thread asks and goes on without waiting; what it no longer needs goes back.

use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use thumbline::deck::Player;

/// Players that may be on their way.
const ROOM: usize = 4;

/// The end of the desk.
pub struct Relay {
    wanted: Arc<AtomicU32>,
    fresh: Producer<Box<Player>>,
    worn: Consumer<Box<Player>>,
}

/// The end of the audio thread.
pub struct Runner {
    wanted: Arc<AtomicU32>,
    fresh: Consumer<Box<Player>>,
    worn: Producer<Box<Player>>,
}

/// Both ends.
pub fn pair() -> (Relay, Runner) {
    let (to, fresh) = RingBuffer::new(ROOM);
    let (worn, back) = RingBuffer::new(2 * ROOM);
    let wanted = Arc::new(AtomicU32::new(0));
    let relay = Relay {
        wanted: Arc::clone(&wanted),
        fresh: to,
        worn: back,
    };
    let runner = Runner {
        wanted,
        fresh,
        worn,
    };
    (relay, runner)
}

impl Relay {
    /// The rate that the audio thread asks for, once; frees what came back.
    pub fn wanted(&mut self) -> Option<u32> {
        while self.worn.pop().is_ok() {}
        match self.wanted.swap(0, Ordering::AcqRel) {
            0 => None,
            rate => Some(rate),
        }
    }

    /// Sends a player; while the ring is full it is freed here.
    pub fn send(&mut self, player: Player) {
        let _ = self.fresh.push(Box::new(player));
    }
}

impl Runner {
    /// On the audio thread: is `player` one for `rate` frames a second? A fresh one is put in its
    /// place where one has come; otherwise it is asked for.
    pub fn heed(&mut self, player: &mut Option<Box<Player>>, rate: f32) -> bool {
        let rate = rate.round();
        if !(8_000.0..=384_000.0).contains(&rate) {
            return player.is_some();
        }
        let rate = rate as u32;
        let fits = |player: &Option<Box<Player>>| player.as_ref().is_some_and(|p| p.rate() == rate);
        while !fits(player)
            && self.worn.slots() > 0
            && let Ok(fresh) = self.fresh.pop()
        {
            if let Some(old) = player.replace(fresh) {
                // There is room: it was looked at just before, and only this thread fills it.
                let _ = self.worn.push(old);
            }
        }
        if !fits(player) {
            self.wanted.store(rate, Ordering::Release);
        }
        fits(player)
    }
}
