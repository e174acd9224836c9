//! The time map: which piece of the recording sounds when.
//!
//! Output frame of recording frame t is U(t) = ∫dt/speed. The planner keeps it exactly at every
//! onset and bends it in between: each attack is a *copy* at rate 1, from a little before the
//! onset to a little after it, and between two attacks lies a *leg* of vocoder frames whose rate
//! makes up for it. At speed 1 the copy simply goes on, so 100 % is the recording itself. A jump
//! (loop seam) ends one leg and begins another.
//!
//! The planner deals out [`Step`]s in the order of their first output frame. It reads no samples.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::onsets::OnsetTable;
use super::speed::Rates;
use super::step::{Copy, Frame, Geometry, Start, Step};
use std::sync::Arc;

#[derive(Debug, Clone, Copy)]
enum State {
    Copy(Zone),
    Leg(Leg),
    Done(i64),
}

/// A copy under way.
#[derive(Debug, Clone, Copy)]
struct Zone {
    /// Next output frame and frame of the recording.
    u: i64,
    t: i64,
    /// Frames it must still go on.
    left: usize,
    /// Frames that still rise.
    rise: usize,
    /// All of it so far, if a leg ended where it began.
    whole: Option<Copy>,
}

#[derive(Debug, Clone, Copy)]
struct Leg {
    /// Next frame's centre in the output and in the recording.
    u: i64,
    t: f64,
    /// Where the leg begins.
    begin: (i64, f64),
    start: Start,
    /// Silent frame due first, at this frame of the recording.
    probe: Option<usize>,
    /// The attack zone it begins after.
    zone: Option<Copy>,
}

#[derive(Debug, Clone, Copy)]
enum Goal {
    Onset { onset: usize, lead: usize },
    Jump { from: usize, to: usize },
    End,
}

/// Deals out steps.
pub(super) struct Planner {
    geometry: Geometry,
    frames: usize,
    rates: Rates,
    onsets: Arc<OnsetTable>,
    region: Option<(usize, usize)>,
    jump: Option<(usize, usize)>,
    /// U(t) = origin.0 + ∫ from origin.1.
    origin: (f64, f64),
    /// First output frame since the last start: nothing may be put before it.
    first: i64,
    state: State,
}

impl Planner {
    pub(super) fn new(
        geometry: Geometry,
        frames: usize,
        rates: Rates,
        onsets: Arc<OnsetTable>,
    ) -> Self {
        let mut planner = Self {
            geometry,
            frames,
            rates,
            onsets,
            region: None,
            jump: None,
            origin: (0.0, 0.0),
            first: 0,
            state: State::Done(0),
        };
        planner.restart(0, 0);
        planner
    }

    /// Starts anew: output frame `u` sounds frame `t` of the recording.
    pub(super) fn restart(&mut self, u: i64, t: usize) {
        let t = t.min(self.frames);
        self.origin = (u as f64, t as f64);
        self.first = u;
        let (from, left) = self.opening(t);
        self.state = State::Copy(Zone {
            u,
            t: from as i64,
            left,
            rise: 0,
            whole: None,
        });
    }

    /// Where the copy at a start at frame `t` begins, and its length. The first attack sounds when
    /// it is due: where that is soon, the copy leads up to it and through it, if need be from
    /// before `t`.
    fn opening(&self, t: usize) -> (usize, usize) {
        let Geometry {
            start,
            approach,
            lead,
            ..
        } = self.geometry;
        let room = self.room(t);
        let most = start.min(room);
        let onset = self.onsets.after(t as f64).filter(|&o| o < t + room);
        let Some(onset) = onset else {
            return (t, most);
        };
        let due = self.rates.between(t as f64, onset as f64).round() as usize;
        let from = onset.saturating_sub(due);
        let before = self.onsets.at_or_before(t as f64);
        let alone = from >= t || before.is_none_or(|o| o < from);
        if due <= lead || due <= approach && onset >= due && alone {
            return (from, onset - from + self.zone_within(onset, start));
        }
        // The leg behind it needs some of the way to the onset, or its windows would look across.
        (t, most.min((onset - t) / 2).min(due - lead))
    }

    /// First output frame that is not planned.
    pub(super) fn planned(&self) -> i64 {
        match self.state {
            State::Copy(zone) => zone.u,
            State::Leg(leg) => leg.u,
            State::Done(u) => u,
        }
    }

    /// The speed of what is not planned yet.
    pub(super) fn set_speed(&mut self, speed: f64) {
        let u = self.planned();
        self.origin = (u as f64, self.nominal(u as f64));
        self.rates.set(speed);
    }

    /// Swaps the onset table; returns the old one, so that the caller decides where it is freed.
    pub(super) fn set_onsets(&mut self, onsets: Arc<OnsetTable>) -> Arc<OnsetTable> {
        std::mem::replace(&mut self.onsets, onsets)
    }

    pub(super) fn set_region(&mut self, region: Option<(usize, usize)>) {
        self.region = region;
    }

    pub(super) fn set_jump(&mut self, from: usize, to: usize) {
        self.jump = Some((from, to));
    }

    /// Frame of the recording up to which everything is planned.
    pub(super) fn frontier(&self) -> f64 {
        match self.state {
            State::Copy(zone) => zone.t as f64,
            State::Leg(leg) => leg.t,
            State::Done(_) => self.frames as f64,
        }
    }

    /// U(t).
    fn place(&self, t: f64) -> f64 {
        self.origin.0 + self.rates.between(self.origin.1, t)
    }

    /// The inverse of U, straight through onsets.
    fn nominal(&self, u: f64) -> f64 {
        self.rates
            .advance(self.origin.1, (u - self.origin.0).max(0.0))
    }

    /// The next jump from frame `t` on.
    fn jump_after(&self, t: f64) -> Option<(usize, usize)> {
        let ahead = |&(from, _): &(usize, usize)| from as f64 >= t && from <= self.frames;
        let region = self.region.map(|(a, b)| (b, a)).filter(ahead);
        let jump = self.jump.filter(ahead);
        match (region, jump) {
            (Some(r), Some(j)) => Some(if j.0 <= r.0 { j } else { r }),
            (r, j) => r.or(j),
        }
    }

    /// Frames from `t` to the next jump or the end.
    fn room(&self, t: usize) -> usize {
        let end = self
            .jump_after(t as f64)
            .map_or(self.frames, |(from, _)| from);
        end.saturating_sub(t)
    }

    /// Length of the attack zone of `onset`.
    fn zone(&self, onset: usize) -> usize {
        self.zone_within(onset, self.geometry.zone)
    }

    /// A copy of at most `most` frames from `onset` on: at most a third of the gap to what comes
    /// next, in the recording and in the output.
    fn zone_within(&self, onset: usize, most: usize) -> usize {
        let mut end = onset + self.room(onset);
        if let Some(next) = self.onsets.after(onset as f64) {
            end = end.min(next);
        }
        let gap = end - onset;
        let out = self.rates.between(onset as f64, end as f64) as usize;
        most.min(gap / 3).min(out / 3)
    }

    /// Where the leg that has come to frame `t` goes: output frame, frame, what is there.
    fn goal(&self, leg: &Leg) -> (i64, f64, Goal) {
        let jump = self.jump_after(leg.t);
        let stop = jump.map_or(self.frames, |(from, _)| from);
        let onset = self.onsets.after(leg.t).filter(|&o| o < stop);
        if let Some(onset) = onset {
            let before = self.onsets.at_or_before(leg.t).unwrap_or(0) as f64;
            let gap = onset as f64 - before.max(leg.begin.1);
            let out = self.rates.between(onset as f64 - gap, onset as f64);
            let lead = (self.geometry.lead as f64)
                .min(gap / 4.0)
                .min(out / 4.0)
                .max(1.0) as usize;
            let u = self.place(onset as f64).round() as i64 - lead as i64;
            let t = (onset - lead) as f64;
            return (u.max(leg.u), t.max(leg.t), Goal::Onset { onset, lead });
        }
        let u = (self.place(stop as f64).round() as i64).max(leg.u);
        match jump {
            Some((from, to)) => (u, stop as f64, Goal::Jump { from, to }),
            None => (u, stop as f64, Goal::End),
        }
    }

    /// The next step.
    pub(super) fn next(&mut self) -> Step {
        match self.state {
            State::Done(u) => Step::End(u),
            State::Copy(zone) => self.copy(zone),
            State::Leg(leg) => self.leg(leg),
        }
    }

    fn copy(&mut self, zone: Zone) -> Step {
        let Zone { u, t, left, .. } = zone;
        let jump = self.jump_at(t as usize);
        let room = self.room(t as usize);
        let mut len = left.min(room);
        if len == 0
            && self.rates.at(t as f64) == 1.0
            && (self.place(t as f64) - u as f64).abs() < 1.0
        {
            let change = self.rates.until_change(t as f64) as usize;
            len = self.geometry.chunk.min(room).min(change);
        }
        if len > 0 {
            return self.copy_on(zone, len.min(self.geometry.chunk));
        }
        if t as usize >= self.frames && jump.is_none() {
            self.state = State::Done(u);
            return Step::End(u);
        }
        let start = jump.map_or(Start::Attack, |(_, to)| self.seam(to));
        let to = jump.map_or(t as f64, |(_, to)| to as f64);
        if let Some((from, to)) = jump {
            self.land(from, to);
        }
        let fall = self.geometry.fade;
        self.state = State::Leg(Leg {
            u,
            t: to,
            begin: (u, to),
            start,
            probe: jump.map(|(from, _)| from),
            zone: zone.whole.map(|whole| Copy { fall, ..whole }),
        });
        Step::Copy(Copy {
            at: u,
            from: t,
            len: 0,
            rise: 0,
            fall,
        })
    }

    fn copy_on(&mut self, zone: Zone, len: usize) -> Step {
        let Zone {
            u,
            t,
            left,
            rise,
            whole,
        } = zone;
        let most = 2 * (self.geometry.zone + self.geometry.lead);
        self.state = State::Copy(Zone {
            u: u + len as i64,
            t: t + len as i64,
            left: left.saturating_sub(len),
            rise: rise.saturating_sub(len),
            whole: whole
                .map(|w| Copy {
                    len: w.len + len,
                    ..w
                })
                .filter(|w| w.len <= most),
        });
        Step::Copy(Copy {
            at: u,
            from: t,
            len,
            rise: rise.min(len),
            fall: 0,
        })
    }

    /// The jump that leaves from exactly `t`.
    fn jump_at(&self, t: usize) -> Option<(usize, usize)> {
        self.jump_after(t as f64 - 0.5)
            .filter(|&(from, _)| from == t)
    }

    /// How frame `to` begins after a jump. The cross-fade is over when the next attack comes.
    fn seam(&self, to: usize) -> Start {
        let Geometry {
            seam, after_seam, ..
        } = self.geometry;
        let next = self.onsets.after(to as f64);
        let gap = next.map_or(f64::INFINITY, |o| self.rates.between(to as f64, o as f64));
        let after = after_seam.min(gap as usize);
        let before = (seam - after).min(self.analysis(to as f64).0);
        Start::Seam {
            before,
            after: seam - before,
        }
    }

    /// Moves the clock through a jump.
    fn land(&mut self, from: usize, to: usize) {
        self.origin = (self.place(from as f64), to as f64);
        if self.jump == Some((from, to)) {
            self.jump = None;
        }
    }

    fn leg(&mut self, mut leg: Leg) -> Step {
        if let Some(at) = leg.probe.take() {
            self.state = State::Leg(leg);
            return Step::Frame(Frame {
                u: leg.u,
                t: at as i64,
                analysis: self.analysis(at as f64),
                synthesis: (self.geometry.fade, self.geometry.fade),
                start: Start::Attack,
                silent: true,
                zone: None,
                alike: 0,
                then: self.geometry.hop as i64,
            });
        }
        let (goal_u, goal_t, goal) = self.goal(&leg);
        let analysis = self.analysis(leg.t);
        let half = self.geometry.half;
        let fade = self.geometry.fade;
        let begin = (leg.begin.0 - fade as i64).max(self.first);
        let left = (leg.u - begin) as usize;
        let right = (goal_u - leg.u) as usize
            + match goal {
                Goal::Onset { lead, .. } => lead.max(2),
                Goal::Jump { .. } => fade,
                Goal::End => half,
            };
        let hop =
            ((analysis.0 + analysis.1) / 4).clamp(self.geometry.least, self.geometry.hop) as i64;
        let distance = goal_u - leg.u;
        let hops = (distance + hop - 1) / hop;
        let stride = if hops > 0 {
            (distance + hops - 1) / hops
        } else {
            hop
        };
        let alike = (half.saturating_sub(left) as i64 / stride).clamp(0, hops.max(0));
        let step = Step::Frame(Frame {
            u: leg.u,
            t: leg.t.round() as i64,
            analysis,
            synthesis: (left.min(half), right.min(half)),
            start: leg.start,
            silent: false,
            zone: leg.zone,
            alike: alike as usize,
            then: (left as i64 + (alike + 1) * stride - left.max(half) as i64).max(1),
        });
        if leg.u >= goal_u {
            self.leave(leg.u, goal_t, goal);
            return step;
        }
        let u = leg.u + stride;
        let t = if u >= goal_u {
            goal_t
        } else {
            let now = self.nominal(leg.u as f64);
            let end = self.nominal(goal_u as f64);
            let part = (self.nominal(u as f64) - now) / (end - now).max(1e-9);
            leg.t + part * (goal_t - leg.t)
        };
        self.state = State::Leg(Leg {
            u,
            t,
            start: Start::Continue,
            zone: None,
            ..leg
        });
        step
    }

    /// Halves of the analysis window at frame `t`: no window looks across an onset.
    fn analysis(&self, t: f64) -> (usize, usize) {
        let least = self.geometry.least as f64;
        let half = self.geometry.half as f64;
        let left = self.onsets.at_or_before(t).map_or(half, |o| t - o as f64);
        let right = self.onsets.after(t).map_or(half, |o| o as f64 - t);
        (
            left.clamp(least, half) as usize,
            right.clamp(least, half) as usize,
        )
    }

    /// From the end of a leg at output frame `u` to what comes then.
    fn leave(&mut self, u: i64, t: f64, goal: Goal) {
        self.state = match goal {
            Goal::Onset { onset, lead } => {
                let t = t as i64;
                State::Copy(Zone {
                    u,
                    t,
                    left: (onset as i64 - t) as usize + self.zone(onset),
                    rise: lead,
                    whole: Some(Copy {
                        at: u,
                        from: t,
                        len: 0,
                        rise: lead,
                        fall: 0,
                    }),
                })
            }
            Goal::Jump { from, to } => {
                self.land(from, to);
                let t = to as f64;
                State::Leg(Leg {
                    u,
                    t,
                    begin: (u, t),
                    start: self.seam(to),
                    probe: None,
                    zone: None,
                })
            }
            Goal::End => State::Done(u),
        };
    }
}
