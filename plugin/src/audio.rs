//! The plug-in as the host sees it, and its process callback.
//!
//! The callback reads parameters and switches, hands the player the buffers and nothing else: what
//! sounds is the library's deck.

use crate::editor::{self, App};
use crate::feet::{Feet, Override};
use crate::hub::Hub;
use crate::params::{Channels, Dials};
use crate::relay::Runner;
use crate::session::{Store, Trigger};
use crate::wish::Control;
use nice_plug::midi::Key;
use nice_plug::plugin::ParamValue;
use nice_plug::prelude::*;
use nice_plug_egui::EguiEditor;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;
use thumbline::deck::{self, Block, Controls, Host, Player};
use thumbline::unit::{Cents, Decibels};

/// Longest that an offline render waits for decoding and analysis.
const PATIENCE: Duration = Duration::from_mins(10);

/// One instance.
pub struct Thumbline {
    dials: Arc<Dials>,
    hub: Arc<Hub>,
    feet: Arc<Feet>,
    player: Option<Box<Player>>,
    runner: Runner,
    offline: bool,
    /// Parameters as they were in the last block, to tell when they move.
    play: bool,
    looped: bool,
    next: bool,
    previous: bool,
}

impl Default for Thumbline {
    fn default() -> Self {
        let dials = Arc::new(Dials::new(Store::default()));
        let hub = Hub::new(dials.clone());
        if let Some(program) = crate::standalone::program() {
            program.adopt(&hub);
        }
        Self {
            feet: hub.feet(),
            runner: hub.runner(),
            play: dials.play.value(),
            looped: dials.looped.value(),
            next: false,
            previous: false,
            dials,
            hub,
            player: None,
            offline: false,
        }
    }
}

/// What a parameter and a wish come to: the one that spoke last.
fn spoken(param: bool, before: &mut bool, wish: &Override) -> bool {
    if param != *before {
        *before = param;
        wish.clear();
    }
    wish.get().unwrap_or(param)
}

/// Did it go down?
fn pressed(now: bool, before: &mut bool) -> bool {
    now && !std::mem::replace(before, now)
}

impl Thumbline {
    /// The desk, for the window and for tests.
    pub fn hub(&self) -> &Arc<Hub> {
        &self.hub
    }

    fn controls(&mut self) -> Controls {
        let dials = &self.dials;
        let feet = &self.feet;
        if pressed(dials.next.value(), &mut self.next) {
            feet.hop.fetch_add(1, Ordering::AcqRel);
        }
        if pressed(dials.previous.value(), &mut self.previous) {
            feet.hop.fetch_sub(1, Ordering::AcqRel);
        }
        let semitones = f64::from(dials.pitch.value());
        Controls {
            play: spoken(dials.play.value(), &mut self.play, &feet.play),
            looping: spoken(dials.looped.value(), &mut self.looped, &feet.looped),
            speed: f64::from(dials.speed.value()) / 100.0,
            pitch: Cents(semitones * 100.0 + f64::from(dials.cents.value())),
            gain: Decibels(f64::from(dials.gain.value())),
            click: dials.click.value(),
            click_level: Decibels(f64::from(dials.click_level.value())),
            click_pan: dials.click_pan.value(),
            channels: match dials.channels.value() {
                Channels::Stereo => deck::Channels::Stereo,
                Channels::Left => deck::Channels::Left,
                Channels::Right => deck::Channels::Right,
                Channels::Mid => deck::Channels::Mid,
                Channels::Side => deck::Channels::Side,
            },
            through: dials.through.value(),
            bypass: dials.bypass.value(),
            follow: dials.follow.value(),
        }
    }

    /// A foot switch: a key or a controller that went down.
    fn step_on(&self, trigger: Trigger, controls: Controls) {
        match self.feet.down(trigger) {
            Some(Control::Play) => self.feet.play.set(!controls.play),
            Some(Control::Loop) => self.feet.looped.set(!controls.looping),
            Some(Control::NextRegion) => {
                self.feet.hop.fetch_add(1, Ordering::AcqRel);
            }
            Some(Control::PreviousRegion) => {
                self.feet.hop.fetch_sub(1, Ordering::AcqRel);
            }
            None => {}
        }
    }
}

impl Plugin for Thumbline {
    const NAME: &'static str = "Thumbline";
    const VENDOR: &'static str = "Thumbline";
    const URL: &'static str = "";
    const EMAIL: &'static str = "";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const AUDIO_IO_LAYOUTS: &'static [AudioIOLayout] = &[
        AudioIOLayout {
            main_input_channels: NonZeroU32::new(2),
            main_output_channels: NonZeroU32::new(2),
            aux_input_ports: &[new_nonzero_u32(2)],
            names: PortNames {
                aux_inputs: &["Own take"],
                ..PortNames::const_default()
            },
            ..AudioIOLayout::const_default()
        },
        AudioIOLayout {
            main_input_channels: NonZeroU32::new(2),
            main_output_channels: NonZeroU32::new(2),
            ..AudioIOLayout::const_default()
        },
    ];
    const MIDI_INPUT: MidiConfig = MidiConfig::MidiCCs;
    const SAMPLE_ACCURATE_AUTOMATION: bool = true;

    type Editor = EguiEditor<App>;
    type SysExMessage = ();
    type BackgroundTask = ();

    fn params(&self) -> Arc<dyn Params> {
        self.dials.clone()
    }

    fn editor(&mut self, _async_executor: AsyncExecutor<Self>) -> Option<Self::Editor> {
        editor::create(self.hub.clone())
    }

    fn filter_state(state: &mut PluginState) {
        // A project that was saved while it played does not start by itself.
        if let Some(play) = state.params.get_mut("play") {
            *play = ParamValue::Bool(false);
        }
    }

    fn activate(
        &mut self,
        _layout: &AudioIOLayout,
        config: &BufferConfig,
        context: &mut impl ActivateContext<Self>,
    ) -> bool {
        let rate = config.sample_rate.round();
        if !(8_000.0..=384_000.0).contains(&rate) {
            return false;
        }
        let rate = rate as u32;
        self.offline = config.process_mode == ProcessMode::Offline;
        if self.player.as_ref().is_none_or(|p| p.rate() != rate) {
            self.player = Some(Box::new(self.hub.activate(rate)));
        }
        if let Some(player) = &self.player {
            context.set_latency_samples(player.latency() as u32);
        }
        true
    }

    fn process(
        &mut self,
        buffer: &mut Buffer,
        aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        if self.offline {
            self.hub.wait_whole(PATIENCE);
        }
        let controls = self.controls();
        while let Some(event) = context.next_event() {
            match event {
                NoteEvent::NoteOn {
                    key: Key::Number(key),
                    velocity,
                    ..
                } if velocity > 0.0 => self.step_on(Trigger::Note(key), controls),
                NoteEvent::MidiCC { cc, value, .. } if value >= 0.5 => {
                    self.step_on(Trigger::Controller(cc), controls);
                }
                _ => {}
            }
        }
        let transport = context.transport();
        let ready = self.runner.heed(&mut self.player, transport.sample_rate);
        let Some(player) = self.player.as_mut().filter(|_| ready) else {
            // The player for this rate is on its way.
            for channel in buffer.as_slice() {
                channel.fill(0.0);
            }
            return ProcessStatus::KeepAlive;
        };
        player.set_controls(controls);
        let host = Host {
            playing: transport.playing,
            quarters: transport.pos_beats,
            tempo: transport.tempo,
        };
        let side = aux.inputs.first_mut().map(Buffer::as_slice);
        let side = match side {
            Some([left, right, ..]) => Some((&**left, &**right)),
            _ => None,
        };
        if let [left, right, ..] = buffer.as_slice() {
            player.process(&mut Block {
                left,
                right,
                side,
                host: Some(host),
            });
        }
        ProcessStatus::KeepAlive
    }
}

impl ClapPlugin for Thumbline {
    const CLAP_ID: &'static str = "org.thumbline.thumbline";
    const CLAP_DESCRIPTION: Option<&'static str> = Some(
        "Slow a guitar recording at its own pitch, loop the hard bar, see thumb and fingers against the beat",
    );
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[
        ClapFeature::AudioEffect,
        ClapFeature::Analyzer,
        ClapFeature::Utility,
        ClapFeature::Stereo,
    ];
}

impl Vst3Plugin for Thumbline {
    const VST3_CLASS_ID: [u8; 16] = *b"ThumblineDeck001";
    const VST3_SUBCATEGORIES: &'static [Vst3SubCategory] = &[
        Vst3SubCategory::Fx,
        Vst3SubCategory::Analyzer,
        Vst3SubCategory::Tools,
    ];
}
