//! The plug-in as the host sees it.

use crate::audio::Voice;
use crate::editor::{self, App};
use crate::instance::Instance;
use crate::player_swap::RATES;
use crate::standalone::{self, Kept};
use nice_plug::prelude::*;
use nice_plug_egui::EguiEditor;
use std::sync::Arc;
use std::time::Duration;

/// Longest that an offline render waits for decoding, analysis and mixing.
const PATIENCE: Duration = Duration::from_mins(10);

/// One instance; with the controllers of a foot, or with its keys only. A VST3 host is shown a
/// parameter for each controller of each channel, 2,080 of them, which it then has to load: there
/// the host's own learning does for controllers.
pub struct Thumbline<const CONTROLLERS: bool = true> {
    instance: Arc<Instance>,
    voice: Voice,
    kept: Option<Arc<Kept>>,
    /// Is an offline render still to wait for everything to be there?
    waits: bool,
    offline: bool,
}

impl<const CONTROLLERS: bool> Default for Thumbline<CONTROLLERS> {
    fn default() -> Self {
        let program = standalone::program();
        let instance = Instance::new(program.map(standalone::ProgramSettings::state));
        let kept = program.map(|program| program.adopt(&instance));
        let dials = Arc::clone(instance.dials());
        Self {
            voice: Voice::new(dials, instance.switches(), instance.runner()),
            instance: Arc::new(instance),
            kept,
            waits: false,
            offline: false,
        }
    }
}

impl<const CONTROLLERS: bool> Thumbline<CONTROLLERS> {
    /// The instance, for tests.
    pub fn instance(&self) -> &Arc<Instance> {
        &self.instance
    }
}

impl<const CONTROLLERS: bool> Drop for Thumbline<CONTROLLERS> {
    fn drop(&mut self) {
        if let Some(kept) = &self.kept {
            kept.save(&self.instance);
        }
        // Whoever else holds the instance: nothing of it runs when the host goes on.
        self.instance.close();
    }
}

impl<const CONTROLLERS: bool> Plugin for Thumbline<CONTROLLERS> {
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
    const MIDI_INPUT: MidiConfig = if CONTROLLERS {
        MidiConfig::MidiCCs
    } else {
        MidiConfig::Basic
    };
    const SAMPLE_ACCURATE_AUTOMATION: bool = true;

    type Editor = EguiEditor<App>;
    type SysExMessage = ();
    type BackgroundTask = ();

    fn params(&self) -> Arc<dyn Params> {
        self.instance.dials().clone()
    }

    fn editor(&mut self, _async_executor: AsyncExecutor<Self>) -> Option<Self::Editor> {
        editor::create(Arc::clone(&self.instance), self.kept.clone())
    }

    fn activate(
        &mut self,
        _layout: &AudioIOLayout,
        config: &BufferConfig,
        context: &mut impl ActivateContext<Self>,
    ) -> bool {
        self.offline = config.process_mode == ProcessMode::Offline;
        self.waits = self.offline;
        let rate = config.sample_rate.round();
        let player = self.voice.player();
        if !RATES.contains(&rate) {
            *player = None;
            self.instance.silence(config.sample_rate);
            return true;
        }
        let rate = rate as u32;
        if player.as_ref().is_none_or(|p| p.rate() != rate) {
            *player = Some(Box::new(self.instance.activate(rate)));
        }
        if let Some(player) = player {
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
        if self.waits {
            // Once: what is changed in the middle of a render comes when it is there.
            self.waits = false;
            self.instance.wait(PATIENCE);
        }
        self.voice.process(buffer, aux, context);
        ProcessStatus::KeepAlive
    }
}

impl ClapPlugin for Thumbline<true> {
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

impl Vst3Plugin for Thumbline<false> {
    const VST3_CLASS_ID: [u8; 16] = *b"ThumblineDeck001";
    const VST3_SUBCATEGORIES: &'static [Vst3SubCategory] = &[
        Vst3SubCategory::Fx,
        Vst3SubCategory::Analyzer,
        Vst3SubCategory::Tools,
    ];
}
