//! Rounds of the loop: where what plays ends, what happens there, and the ladder's steps.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::Transport;
use crate::deck::controls::Ladder;
use crate::deck::message::{Event, Phase};

/// What happens at the end of what plays.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Edge {
    /// Stop.
    End,
    /// Go on at the loop's start.
    Back,
    /// Rest, then go on at the loop's start.
    Rest,
    /// The engine minds the seam.
    None,
}

impl Transport {
    pub(super) fn restart_ladder(&mut self) {
        if let Some(ladder) = self.ladder {
            self.ladder_speed = ladder.start.min(ladder.top);
        }
        self.rounds_on_step = 0;
        self.may_climb = false;
        self.decided = false;
        self.round = 0;
    }

    /// Where what plays ends, and what happens then.
    pub(super) fn edge(&self) -> (f64, Edge) {
        let Some(track) = &self.track else {
            return (f64::INFINITY, Edge::None);
        };
        match self.region() {
            _ if self.controls.follow => (f64::INFINITY, Edge::None),
            Some(_) if track.head.region().is_some() => (f64::INFINITY, Edge::None),
            Some((_, b)) if self.rests() => (b, Edge::Rest),
            Some((_, b)) => (b, Edge::Back),
            None => (track.head.end(), Edge::End),
        }
    }

    pub(super) fn pass_rolling(&mut self, tell: &mut dyn FnMut(Event)) {
        if self.round == 0 {
            self.next_round(tell);
        }
        let (edge, kind) = self.edge();
        let Some(track) = &mut self.track else { return };
        let at = track.head.position();
        let fade = self.fade as f64 * track.head.sounding_speed();
        if matches!(kind, Edge::End | Edge::Rest) && at >= edge - fade - 1e-6 {
            self.gain.aim(0.0, self.fade as u32);
        }
        if kind == Edge::None || at < edge - 1e-6 {
            return;
        }
        match kind {
            Edge::End => {
                self.stop();
                self.ended = true;
                tell(Event::Ended);
            }
            Edge::Back => {
                self.seam(tell);
                self.decide_ladder();
                let speed = self.speed();
                if let (Some((a, _)), Some(track)) = (self.region(), &mut self.track) {
                    track.head.set_speed(speed);
                    track.head.seek(a);
                    self.cursor = self.first_click(a);
                }
                self.next_round(tell);
            }
            Edge::Rest => {
                self.seam(tell);
                self.decide_ladder();
                if let Some((a, b)) = self.region() {
                    self.wait_from(Phase::Rest, b, a, f64::from(self.rest), false);
                }
            }
            Edge::None => {}
        }
    }

    pub(super) fn seam(&self, tell: &mut dyn FnMut(Event)) {
        tell(Event::Seam {
            round: self.round,
            clock: self.clock,
        });
    }

    pub(super) fn next_round(&mut self, tell: &mut dyn FnMut(Event)) {
        self.round = self.round.saturating_add(1);
        self.decided = false;
        tell(Event::Round {
            round: self.round,
            speed: self.speed(),
            clock: self.clock,
        });
    }

    /// Decides the next round's speed once the engine has worked out the seam, so that the change
    /// falls on it.
    pub(super) fn decide_ladder_ahead(&mut self) {
        let Some(track) = &self.track else { return };
        let due = self.phase == Phase::Rolling
            && !self.decided
            && track
                .head
                .region()
                .is_some_and(|(_, b)| track.head.frontier() >= b);
        if due {
            self.decide_ladder();
            self.decided = true;
        }
    }

    pub(super) fn decide_ladder(&mut self) {
        let Some(ladder) = self.ladder else { return };
        self.rounds_on_step += 1;
        if self.rounds_on_step >= ladder.rounds && (!ladder.asks || self.may_climb) {
            self.ladder_speed = (self.ladder_speed + ladder.step).min(ladder.top);
            self.rounds_on_step = 0;
            self.may_climb = false;
        }
    }

    pub(in crate::deck) fn set_ladder(&mut self, ladder: Option<Ladder>) {
        let fresh = self.ladder.is_none();
        self.ladder = ladder.map(Ladder::mended);
        if let Some(ladder) = self.ladder {
            if fresh {
                self.ladder_speed = ladder.start;
                self.rounds_on_step = 0;
            }
            self.ladder_speed = self.ladder_speed.min(ladder.top);
        }
    }

    pub(in crate::deck) fn climb(&mut self) {
        self.may_climb = true;
    }

    pub(super) fn rests(&self) -> bool {
        self.rest > 0 && self.pulse.is_some()
    }
}
