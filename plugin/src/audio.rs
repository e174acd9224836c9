//! The plug-in as the host sees it, and its process callback.

use crate::editor::{self, App};
use crate::hub::Hub;
use crate::params::Dials;
use crate::session::Store;
use nice_plug::prelude::*;
use nice_plug_egui::EguiEditor;
use std::sync::Arc;

/// One instance.
pub struct Thumbline {
    dials: Arc<Dials>,
    hub: Arc<Hub>,
}

impl Default for Thumbline {
    fn default() -> Self {
        let dials = Arc::new(Dials::new(Store::default()));
        let hub = Hub::new(dials.clone());
        Self { dials, hub }
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

    fn process(
        &mut self,
        _buffer: &mut Buffer,
        _aux: &mut AuxiliaryBuffers,
        _context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
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
