//! The desk of one instance: between the window, the worker threads and the audio thread.
//!
//! Owns the deck (the sending end of the audio thread's messages), the session and what is open.
//! The window asks it for a [`Snapshot`] and hands it [`Action`]s; the audio thread never waits for
//! it.

use crate::action::Action;
use crate::params::{Channels, Dials};
use crate::snapshot::{DialsView, PracticeView, Snapshot, TransportView};
use nice_plug::context::gui::GuiContext;
use nice_plug::prelude::*;
use std::sync::Arc;
use thumbline::unit::Span;

/// One instance's desk.
pub struct Hub {
    dials: Arc<Dials>,
}

impl Hub {
    /// A desk over an instance's parameters, with nothing open.
    pub fn new(dials: Arc<Dials>) -> Arc<Self> {
        Arc::new(Self { dials })
    }

    /// Everything a view may draw, as it stands now.
    pub fn snapshot(&self) -> Snapshot {
        let session = self.dials.store.lock();
        Snapshot {
            dials: dials_view(&self.dials),
            transport: TransportView {
                playing: self.dials.play.value(),
                position: session.position,
                follows_host: self.dials.follow.value(),
                bypassed: self.dials.bypass.value(),
                ..TransportView::default()
            },
            practice: PracticeView {
                loop_on: self.dials.looped.value(),
                snap: session.snap,
                count_in_bars: session.count_in_bars,
                rest_beats: session.rest_beats,
                ladder: session.ladder,
                click_rate: session.click_rate,
                latency: Span::from_ms(session.latency_ms),
                ..PracticeView::default()
            },
            recent: session.recent.clone().into(),
            ..Snapshot::default()
        }
    }

    /// Carries out a wish; parameters are set through the host where `gui` is given.
    pub fn apply(&self, action: Action, gui: Option<&GuiContext>) {
        let dials = &self.dials;
        match action {
            Action::Play(on) => set(gui, &dials.play, on),
            Action::SetSpeed(speed) => set(gui, &dials.speed, (speed * 100.0) as f32),
            Action::SetLoop(on) => set(gui, &dials.looped, on),
            Action::SetClick(on) => set(gui, &dials.click, on),
            Action::SetClickLevel(db) => set(gui, &dials.click_level, db as f32),
            Action::SetGain(db) => set(gui, &dials.gain, db as f32),
            Action::SetThrough(on) => set(gui, &dials.through, on),
            Action::FollowHost(on) => set(gui, &dials.follow, on),
            Action::SetChannels(channels) => {
                set::<EnumParam<Channels>>(gui, &dials.channels, channels)
            }
            _ => {}
        }
    }
}

/// Sets a parameter as a player's own gesture.
fn set<P: Param>(gui: Option<&GuiContext>, param: &P, value: P::Plain) {
    if let Some(gui) = gui {
        let setter = gui.param_setter();
        setter.begin_set_parameter(param);
        setter.set_parameter(param, value);
        setter.end_set_parameter(param);
    }
}

fn dials_view(dials: &Dials) -> DialsView {
    DialsView {
        speed: f64::from(dials.speed.value()) / 100.0,
        pitch: f64::from(dials.pitch.value()) + f64::from(dials.cents.value()) / 100.0,
        gain_db: f64::from(dials.gain.value()),
        click: dials.click.value(),
        click_db: f64::from(dials.click_level.value()),
        channels: dials.channels.value(),
        through: dials.through.value(),
        follow: dials.follow.value(),
    }
}
