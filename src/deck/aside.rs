//! A sound beside the recording: one plucked string, a tone to tune by, a pattern that goes round.
//!
//! It is heard whatever the transport does, at the deck's gain, once or again and again. One sounds at
//! a time; the one before fades out under the next. It is no track: nothing slows or loops it.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::ramp::{Ramp, eased};

/// A sound ready to be played beside the recording.
pub struct Aside {
    sides: [Vec<f32>; 2],
    again: Option<usize>,
    at: usize,
}

impl Aside {
    /// One or two channels at the output's rate; at its end it goes back to the frame `again`, where one
    /// is given. Further channels are left out; of channels of unequal length the shorter counts.
    pub fn new(mut channels: Vec<Vec<f32>>, again: Option<usize>) -> Self {
        let right = (channels.len() > 1).then(|| channels.swap_remove(1));
        let left = channels.into_iter().next().unwrap_or_default();
        let mut sides = [left.clone(), right.unwrap_or(left)];
        let frames = sides[0].len().min(sides[1].len());
        for side in &mut sides {
            side.truncate(frames);
        }
        Self {
            sides,
            again,
            at: 0,
        }
    }

    /// Its next frame; none after its end.
    fn next(&mut self) -> Option<[f32; 2]> {
        if self.at >= self.sides[0].len() {
            let again = self.again.filter(|frame| *frame < self.sides[0].len())?;
            self.at = again;
        }
        let frame = [self.sides[0][self.at], self.sides[1][self.at]];
        self.at += 1;
        Some(frame)
    }
}

/// What sounds beside the recording, and what fades out under it.
pub(super) struct Asides {
    now: Option<Box<Aside>>,
    leaving: Option<Box<Aside>>,
    fade: Ramp,
    frames: u32,
}

impl Asides {
    /// Fades last `frames`.
    pub(super) fn new(frames: u32) -> Self {
        Self {
            now: None,
            leaving: None,
            fade: Ramp::at(0.0),
            frames,
        }
    }

    /// Sounds `aside` from its start, or nothing. What has no time to fade comes back.
    pub(super) fn put(&mut self, aside: Option<Box<Aside>>) -> Option<Box<Aside>> {
        let before = std::mem::replace(&mut self.now, aside);
        before.as_ref()?;
        self.fade = Ramp::at(1.0);
        self.fade.aim(0.0, self.frames);
        std::mem::replace(&mut self.leaving, before)
    }

    /// One that has died away; at most one a call.
    pub(super) fn take_done(&mut self) -> Option<Box<Aside>> {
        if self.fade.value() == 0.0 && self.leaving.is_some() {
            return self.leaving.take();
        }
        let done =
            (self.now.as_ref()).is_some_and(|a| a.again.is_none() && a.at >= a.sides[0].len());
        if done { self.now.take() } else { None }
    }

    /// The next frame.
    pub(super) fn next(&mut self) -> [f32; 2] {
        let mut sum = self.now.as_mut().and_then(|a| a.next()).unwrap_or_default();
        if let Some(leaving) = &mut self.leaving {
            let gain = eased(self.fade.next());
            let frame = leaving.next().unwrap_or_default();
            sum = [sum[0] + gain * frame[0], sum[1] + gain * frame[1]];
        }
        sum
    }

    /// Frames played of what sounds; none in silence.
    pub(super) fn at(&self) -> Option<usize> {
        let now = self.now.as_deref()?;
        (now.again.is_some() || now.at < now.sides[0].len()).then_some(now.at)
    }
}
