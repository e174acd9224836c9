//! The count-in before a start and the rest between rounds: beats that pass while the recording is
//! silent, and its lead-in at their end.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::{Transport, Wait};
use crate::deck::message::{Event, Phase};
use crate::deck::pulse::Accent;

impl Transport {
    /// Counts or rests `beats` beats; `before` counts towards `place`, else on from it.
    pub(super) fn wait_from(
        &mut self,
        phase: Phase,
        place: f64,
        goal: f64,
        beats: f64,
        before: bool,
    ) {
        let Some(pulse) = &self.pulse else { return };
        let step = self.speed() / pulse.length_at(place);
        let here = pulse.beat_at(place);
        let first = if before { here - beats } else { here };
        // A loop that begins or ends on a beat does so to a few microseconds only.
        let next = (first - 1e-3).ceil() as i64;
        self.wait = Wait {
            beat: first,
            step,
            next,
            left: (beats / step).round() as usize,
            goal,
            led: false,
        };
        self.place = goal;
        self.phase = phase;
    }

    pub(super) fn wait_on(&mut self, n: usize) {
        let wait = &mut self.wait;
        let end = wait.beat + n as f64 * wait.step;
        let heard = self.phase == Phase::CountIn || self.controls.click;
        while let Some(pulse) = &self.pulse {
            let offset = ((wait.next as f64 - wait.beat) / wait.step - 1e-6)
                .ceil()
                .max(0.0) as usize;
            if offset >= n || wait.left as f64 * wait.step - (wait.next as f64 - wait.beat) < 1e-3 {
                break;
            }
            if heard {
                let accent = if pulse.starts_bar(wait.next) {
                    Accent::Bar
                } else {
                    Accent::Beat
                };
                self.ticker.strike(accent, offset);
            }
            wait.next += 1;
        }
        wait.beat = end;
        wait.left = wait.left.saturating_sub(n);
        if wait.led
            && let Some(track) = &mut self.track
        {
            track.head.walk(n, |_| {});
        }
    }

    pub(super) fn pass_wait(&mut self, tell: &mut dyn FnMut(Event)) {
        let goal = self.wait.goal;
        let lead = self.fade as f64 * self.speed();
        if !self.wait.led && self.wait.left <= self.fade && self.wait.left > 0 && goal >= lead {
            self.lead_in(goal, true);
            self.wait.led = true;
        }
        if self.wait.left == 0 {
            if self.wait.led {
                self.phase = Phase::Rolling;
                self.cursor = self.first_click(goal);
            } else {
                self.roll(goal, false);
            }
            self.next_round(tell);
        }
    }
}
