//! What the host can automate: stable ids, ranges, units, text both ways.

pub use crate::channels::Channels;
use crate::core::Store;
use nice_plug::prelude::*;
use std::sync::Arc;

/// The hidden parameter that tells the host of changed marks goes round in so many steps. Few: some
/// hosts ask for the text of every one.
pub const MARKS: i32 = 100;

/// The parameters and the persisted state. Ids never change, whatever group a parameter is in: a
/// host's project names parameters by them.
#[derive(Params)]
pub struct Dials {
    /// Everything that is kept and cannot be automated.
    #[persist = "session"]
    pub store: Store,

    /// Running.
    #[nested(group = "Play")]
    pub run: Run,
    /// The recording's sound.
    #[nested(group = "Sound")]
    pub sound: Sound,
    /// The click.
    #[nested(group = "Click")]
    pub click: Click,
    /// The track that the plug-in sits on.
    #[nested(group = "Track")]
    pub track: Track,
    /// Only the track's own sound is heard.
    #[id = "bypass"]
    pub bypass: BoolParam,
    /// Changes when something that cannot be automated changes, so that the host knows its project
    /// has to be saved.
    #[id = "marks"]
    pub marks: IntParam,
}

/// Running.
#[derive(Params)]
pub struct Run {
    /// Run or stop.
    #[id = "play"]
    pub play: BoolParam,
    /// Speed in percent, 25 to 150.
    #[id = "speed"]
    pub speed: FloatParam,
    /// Loop on.
    #[id = "loop"]
    pub looped: BoolParam,
    /// Rising edge: the next kept region.
    #[id = "next"]
    pub next: BoolParam,
    /// Rising edge: the kept region before.
    #[id = "previous"]
    pub previous: BoolParam,
}

/// The recording's sound.
#[derive(Params)]
pub struct Sound {
    /// Pitch shift in semitones.
    #[id = "pitch"]
    pub pitch: FloatParam,
    /// Fine pitch in cents.
    #[id = "cents"]
    pub cents: FloatParam,
    /// Output gain in dB.
    #[id = "gain"]
    pub gain: FloatParam,
    /// Which channels are heard.
    #[id = "channels"]
    pub channels: EnumParam<Channels>,
}

/// The click.
#[derive(Params)]
pub struct Click {
    /// Click on.
    #[id = "click"]
    pub on: BoolParam,
    /// Click level in dB.
    #[id = "click_level"]
    pub level: FloatParam,
    /// Click pan, −1 left to 1 right.
    #[id = "click_pan"]
    pub pan: FloatParam,
}

/// The track that the plug-in sits on.
#[derive(Params)]
pub struct Track {
    /// The host's transport drives the recording.
    #[id = "follow"]
    pub follow: BoolParam,
    /// The track's own sound is heard too.
    #[id = "through"]
    pub through: BoolParam,
}

fn on_off(name: &str, default: bool) -> BoolParam {
    BoolParam::new(name, default)
        .with_value_to_string(Arc::new(|on| if on { "on" } else { "off" }.to_owned()))
        .with_string_to_value(Arc::new(|text| {
            match text.trim().to_ascii_lowercase().as_str() {
                "on" | "yes" | "1" => Some(true),
                "off" | "no" | "0" => Some(false),
                _ => None,
            }
        }))
}

fn linear(
    name: &str,
    default: f32,
    min: f32,
    max: f32,
    step: f32,
    unit: &'static str,
) -> FloatParam {
    let digits = usize::from(step < 1.0);
    let shown = move |value: f32| {
        let shown = format!("{value:.digits$}");
        // What is rounded to nothing has no sign.
        match shown.strip_prefix('-') {
            Some(size) if size.trim_matches(['0', '.']).is_empty() => size.to_owned(),
            _ => shown,
        }
    };
    FloatParam::new(name, default, FloatRange::Linear { min, max })
        .with_step_size(step)
        .with_unit(unit)
        .with_value_to_string(Arc::new(shown))
}

impl Dials {
    /// Parameters at their defaults over a store.
    pub fn new(store: Store) -> Self {
        Self {
            store,
            run: Run {
                play: on_off("Play", false),
                speed: linear("Speed", 100.0, 25.0, 150.0, 0.1, " %"),
                looped: on_off("Loop", false),
                next: on_off("Next region", false),
                previous: on_off("Previous region", false),
            },
            sound: Sound {
                pitch: linear("Pitch", 0.0, -12.0, 12.0, 1.0, " semitones"),
                cents: linear("Fine pitch", 0.0, -100.0, 100.0, 0.1, " cents"),
                gain: linear("Gain", 0.0, -24.0, 24.0, 0.1, " dB"),
                channels: EnumParam::new("Channels", Channels::Stereo),
            },
            click: Click {
                on: on_off("Click", false),
                level: linear("Click level", -12.0, -40.0, 6.0, 0.1, " dB"),
                pan: FloatParam::new(
                    "Click pan",
                    0.0,
                    FloatRange::Linear {
                        min: -1.0,
                        max: 1.0,
                    },
                )
                .with_value_to_string(formatters::v2s_f32_panning())
                .with_string_to_value(formatters::s2v_f32_panning()),
            },
            track: Track {
                follow: on_off("Follow the host", false),
                // An input may be a microphone in front of the loudspeaker: it is not heard until
                // asked for.
                through: on_off("Hear the input", false),
            },
            bypass: BoolParam::new("Bypass", false)
                .with_value_to_string(formatters::v2s_bool_bypass())
                .with_string_to_value(formatters::s2v_bool_bypass())
                .make_bypass(),
            marks: IntParam::new("Marks", 0, IntRange::Linear { min: 0, max: MARKS })
                .non_automatable()
                .hide(),
        }
    }
}
