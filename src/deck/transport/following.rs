//! Following the host: its bars and beats say which frame sounds, its tempo how fast.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::{HostPlace, PIECE, Transport};
use crate::deck::message::{Event, Phase};

/// The host has jumped when its place differs by more than this from where it should be.
const HOST_JUMP_MS: f64 = 5.0;

/// Where the recording is further from the host's place than this, it is put there.
const HOST_LOST_MS: f64 = 60.0;

/// Seconds ahead at which the recording is aimed at the host's place: about one hop of the engine.
const HOST_AIM: f64 = 0.03;

impl Transport {
    /// The host drives: its bars and beats say which frame sounds.
    pub(super) fn follow(&mut self, host: HostPlace, tell: &mut dyn FnMut(Event)) {
        let before = self.host;
        self.host = HostPlace {
            quarters: host.quarters + host.pace * PIECE as f64,
            ..host
        };
        let (Some(track), Some(pulse)) = (&mut self.track, &self.pulse) else {
            return;
        };
        if !host.running || host.pace <= 0.0 {
            if self.phase == Phase::Rolling {
                self.stop();
            }
            return;
        }
        let goal = pulse.frame_of_host(host.quarters);
        let jump_frames = HOST_JUMP_MS / 1000.0 * self.rate;
        let jumped = !before.running
            || (host.quarters - before.quarters).abs() > host.pace * jump_frames.max(1.0);
        let inside = goal >= 0.0 && goal < track.head.end();
        if !inside {
            if self.phase == Phase::Rolling {
                self.stop();
            }
            return;
        }
        let ahead = |from: f64, by: f64| pulse.frame_of_host(host.quarters + host.pace * by) - from;
        let aim = HOST_AIM * self.rate;
        let lost = (track.head.position() - goal).abs() > HOST_LOST_MS / 1000.0 * self.rate;
        if self.phase != Phase::Rolling || jumped || lost {
            let wanted = ahead(goal, aim) / aim;
            track.head.set_speed(wanted);
            if self.gain.silent() {
                track.head.cut();
            }
            track.head.seek(goal);
            self.gain.aim(1.0, self.fade as u32);
            self.phase = Phase::Rolling;
            self.round = self.round.max(1);
            self.cursor = pulse.first_click(goal);
        }
        let horizon = track.head.horizon();
        let wanted = ahead(track.head.frontier(), horizon + aim) / aim;
        let out = !(0.25..=1.5).contains(&(ahead(goal, aim) / aim));
        if out && !self.out_of_reach {
            tell(Event::OutOfReach);
        }
        self.out_of_reach = out;
        track.head.set_speed(wanted);
    }
}
