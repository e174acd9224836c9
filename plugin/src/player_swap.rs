//! Another player for the audio thread while it runs: some backends tell their true rate only with
//! the first block (the standalone's JACK does), when the player for the told one is at work; and
//! one that broke needs another.
//!
//! The audio thread asks and goes on without waiting; what it no longer needs goes back. A player
//! belongs to an activation of the host: one that comes late, after the host has activated anew, is
//! not played.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use crate::swap_parts::{
    Arc, AtomicU64, Consumer, Ordering, Player, Producer, PushError, RingBuffer, SharedControls,
};

/// Players that may be on their way.
const ROOM: usize = 4;

/// Lowest and highest rate that a recording plays at, in Hz.
pub const RATES: std::ops::RangeInclusive<f32> = 8_000.0..=192_000.0;

struct Numbered {
    activation: u32,
    player: Box<Player>,
}

/// What the audio thread asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// The host's activation that asks.
    pub activation: u32,
    /// In Hz.
    pub rate: u32,
}

/// The end of the program.
pub struct PlayerSwap {
    wanted: Arc<AtomicU64>,
    fresh: Producer<Numbered>,
    worn: Consumer<Box<Player>>,
}

/// The end of the audio thread.
pub struct Runner {
    switches: Arc<SharedControls>,
    wanted: Arc<AtomicU64>,
    fresh: Consumer<Numbered>,
    worn: Producer<Box<Player>>,
}

/// Both ends.
#[allow(
    clippy::disallowed_methods,
    reason = "made before the audio thread runs"
)]
pub fn pair(switches: Arc<SharedControls>) -> (PlayerSwap, Runner) {
    let (to, fresh) = RingBuffer::new(ROOM);
    let (worn, back) = RingBuffer::new(2 * ROOM);
    let wanted = Arc::new(AtomicU64::new(0));
    let swap = PlayerSwap {
        wanted: Arc::clone(&wanted),
        fresh: to,
        worn: back,
    };
    let runner = Runner {
        switches,
        wanted,
        fresh,
        worn,
    };
    (swap, runner)
}

impl PlayerSwap {
    /// What the audio thread asks for, once; frees what came back.
    pub fn wanted(&mut self) -> Option<Wanted> {
        while self.worn.pop().is_ok() {}
        let asked = self.wanted.swap(0, Ordering::AcqRel);
        (asked != 0).then_some(Wanted {
            activation: (asked >> 32) as u32,
            rate: asked as u32,
        })
    }

    /// Sends a player; while the ring is full it is freed here.
    #[allow(clippy::disallowed_methods, reason = "not on the audio thread")]
    pub fn send(&mut self, activation: u32, player: Player) {
        let player = Box::new(player);
        let _ = self.fresh.push(Numbered { activation, player });
    }
}

impl Runner {
    /// On the audio thread: is `player` one for `rate` frames a second? A fresh one is put in its
    /// place where one has come; otherwise it is asked for.
    pub fn heed(&mut self, player: &mut Option<Box<Player>>, rate: f32) -> bool {
        let rate = rate.round();
        if !RATES.contains(&rate) {
            return false;
        }
        let rate = rate as u32;
        let fits = |player: &Option<Box<Player>>| player.as_ref().is_some_and(|p| p.rate() == rate);
        if fits(player) {
            return true;
        }
        let activation = self.switches.activation.load(Ordering::Acquire);
        while !fits(player)
            && self.worn.slots() > 0
            && let Ok(fresh) = self.fresh.pop()
        {
            let back = if fresh.activation == activation {
                player.replace(fresh.player)
            } else {
                Some(fresh.player)
            };
            self.retire(back);
        }
        if !fits(player) {
            let asked = (u64::from(activation) << 32) | u64::from(rate);
            self.wanted.store(asked, Ordering::Release);
        }
        fits(player)
    }

    /// Gives a player back to be freed; there is room for it where [`Runner::heed`] looked, and
    /// after a break. Only this thread fills the ring.
    pub fn retire(&mut self, player: Option<Box<Player>>) {
        if let Some(player) = player
            && let Err(PushError::Full(player)) = self.worn.push(player)
        {
            // Rather lost than freed here.
            std::mem::forget(player);
        }
    }
}
