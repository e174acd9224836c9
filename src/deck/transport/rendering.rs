//! Rendering: pieces cut wherever something happens, the voices and clicks that sound in them.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::rounds::Edge;
use super::{HostPlace, PIECE, Transport};
use crate::deck::head::Leg;
use crate::deck::message::{Event, Phase};
use crate::deck::ramp::eased;

impl Transport {
    /// Renders the next frames (at most [`PIECE`]): the recording into `left` and `right`, the
    /// click into `click`, all of one length and silent before. `clock` is the output frame of the
    /// first of them; pieces never reach across a multiple of [`PIECE`].
    pub(in crate::deck) fn render(
        &mut self,
        left: &mut [f32],
        right: &mut [f32],
        click: &mut [f32],
        clock: u64,
        host: HostPlace,
        tell: &mut dyn FnMut(Event),
    ) {
        let frames = left.len();
        self.clock = clock;
        if clock.is_multiple_of(PIECE as u64) {
            self.control(host, tell);
        }
        let mut done = 0;
        while done < frames {
            let n = self.span(frames - done);
            let (l, r) = (&mut left[done..done + n], &mut right[done..done + n]);
            self.voices(l, r);
            match self.phase {
                Phase::Stopped => {}
                Phase::CountIn | Phase::Rest => self.wait_on(n),
                Phase::Rolling => self.roll_on(n, tell),
            }
            self.ticker.add(&mut click[done..done + n]);
            done += n;
            self.clock = clock + done as u64;
            self.pass(tell);
        }
    }

    /// What is looked at once a piece: speed, ladder, host.
    fn control(&mut self, host: HostPlace, tell: &mut dyn FnMut(Event)) {
        if self.controls.follow {
            self.follow(host, tell);
            return;
        }
        self.host = host;
        self.decide_ladder_ahead();
        let speed = self.speed();
        if let Some(track) = &mut self.track {
            track.head.set_speed(speed);
            track.head.arm();
        }
    }

    /// Frames until something has to be looked at, 1 to `most`.
    fn span(&self, most: usize) -> usize {
        match (&self.track, self.phase) {
            (_, Phase::Stopped) | (None, _) => most,
            (_, Phase::CountIn | Phase::Rest) => {
                let lead = self.wait.left.saturating_sub(self.fade);
                let stop = if self.wait.led || lead == 0 {
                    self.wait.left
                } else {
                    lead
                };
                most.min(stop.max(1))
            }
            (Some(track), Phase::Rolling) => {
                let (edge, kind) = self.edge();
                if kind == Edge::None {
                    return most;
                }
                let fade = self.fade as f64 * track.head.sounding_speed();
                let soon = track.head.frames_until(edge);
                if kind != Edge::Back && self.gain.target() > 0.0 {
                    most.min(soon).min(track.head.frames_until(edge - fade))
                } else {
                    most.min(soon)
                }
            }
        }
    }

    fn voices(&mut self, left: &mut [f32], right: &mut [f32]) {
        if let Some(track) = &mut self.track
            && (!self.gain.silent() || self.gain.target() > 0.0)
        {
            track.head.sound(left, right);
            for (l, r) in left.iter_mut().zip(right.iter_mut()) {
                let g = eased(self.gain.next());
                *l *= g;
                *r *= g;
            }
        }
        if let Some(old) = &mut self.leaving
            && !self.leaving_gain.silent()
        {
            let (mut l, mut r) = ([0.0; PIECE], [0.0; PIECE]);
            let n = left.len();
            old.head.sound(&mut l[..n], &mut r[..n]);
            for i in 0..n {
                let g = eased(self.leaving_gain.next());
                left[i] += l[i] * g;
                right[i] += r[i] * g;
            }
        }
    }

    fn roll_on(&mut self, n: usize, tell: &mut dyn FnMut(Event)) {
        let Some(track) = &mut self.track else { return };
        let mut legs = [None::<Leg>; 8];
        let mut count = 0;
        track.head.walk(n, |leg| {
            if count < legs.len() {
                legs[count] = Some(leg);
                count += 1;
            }
        });
        let end = self.clock;
        for leg in legs.iter().flatten() {
            self.clock = end + leg.offset as u64;
            if leg.seam {
                self.cursor = self.first_click(leg.from - leg.speed);
                if let Some((a, _)) = self.region() {
                    self.cursor = self.first_click(a);
                }
                self.seam(tell);
                self.next_round(tell);
            }
            self.click_leg(leg);
        }
        self.clock = end;
    }

    /// Strikes the clicks of a leg: each at the first frame at or after its place.
    fn click_leg(&mut self, leg: &Leg) {
        let Some(pulse) = &self.pulse else { return };
        let stop = self.region().map_or(f64::INFINITY, |(_, b)| b - 0.5);
        while let Some(click) = pulse.click(self.cursor) {
            let offset = ((click.at - leg.from) / leg.speed - 1e-6).ceil().max(0.0);
            if offset >= leg.frames as f64 || click.at >= stop {
                break;
            }
            if self.controls.click {
                self.ticker
                    .strike(click.accent, leg.offset + offset as usize);
            }
            self.cursor += 1;
        }
    }

    /// What happens where a piece ends.
    fn pass(&mut self, tell: &mut dyn FnMut(Event)) {
        match self.phase {
            Phase::Stopped => {}
            Phase::CountIn | Phase::Rest => self.pass_wait(tell),
            Phase::Rolling => self.pass_rolling(tell),
        }
    }
}
