//! Which frame of the recording sounds at an output frame: the planned places still ahead.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::step::{Start, Step};
use std::collections::VecDeque;

#[derive(Debug, Clone, Copy)]
struct Place {
    u: i64,
    t: i64,
    /// At rate 1 from here on.
    copy: bool,
    /// A straight line leads here from the place before.
    joined: bool,
}

/// Places in order of output; at most [`MOST`] are kept.
pub(super) struct Places {
    places: VecDeque<Place>,
}

/// More than can lie between the output and the plan (a window and two hops at the least hop).
const MOST: usize = 1024;

impl Places {
    #[allow(
        clippy::disallowed_methods,
        reason = "made before the audio thread runs"
    )]
    pub(super) fn new() -> Self {
        Self {
            places: VecDeque::with_capacity(MOST),
        }
    }

    pub(super) fn clear(&mut self) {
        self.places.clear();
    }

    /// Adds a planned step.
    #[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
    pub(super) fn note(&mut self, step: &Step) {
        if self.places.len() == MOST {
            self.places.pop_front();
        }
        let place = match step {
            Step::Copy(c) => Place {
                u: c.at,
                t: c.from,
                copy: true,
                joined: true,
            },
            Step::Frame(f) if !f.silent => Place {
                u: f.u,
                t: f.t,
                copy: false,
                joined: f.start == Start::Continue,
            },
            _ => return,
        };
        self.places.push_back(place);
    }

    /// Forgets what lies well before output frame `now`.
    pub(super) fn forget(&mut self, now: i64) {
        while self.places.len() > 2 && self.places[2].u <= now {
            self.places.pop_front();
        }
    }

    /// Frame of the recording at output frame `u`.
    pub(super) fn at(&self, u: f64) -> f64 {
        let next = self.places.partition_point(|p| p.u as f64 <= u);
        let Some(i) = next.checked_sub(1) else {
            return self.places.front().map_or(0.0, |p| p.t as f64);
        };
        let here = self.places[i];
        let after = u - here.u as f64;
        match self.places.get(next) {
            _ if here.copy => here.t as f64 + after,
            Some(to) if to.joined && to.u > here.u => {
                here.t as f64 + after * (to.t - here.t) as f64 / (to.u - here.u) as f64
            }
            _ => here.t as f64,
        }
    }
}
