//! The sound devices of the program of its own, as plain data: what there is, what was chosen, and
//! what came of it. Who looks for them is `devices`, in the program alone.

use serde::{Deserialize, Serialize};

/// Who brings sound in and out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum AudioSystem {
    /// The JACK server; its rate and buffer are its own.
    Jack,
    /// ALSA.
    Alsa,
}

impl AudioSystem {
    /// As it is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::Jack => "JACK",
            Self::Alsa => "ALSA",
        }
    }
}

/// What a player chose.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Choice {
    /// Through which system; none takes JACK where it runs, else ALSA.
    pub system: Option<AudioSystem>,
    /// The device (of JACK the port) that takes come from; none records nothing.
    pub input: Option<String>,
    /// The device that is heard; none is the system's own.
    pub output: Option<String>,
    /// Frames a second, of ALSA.
    pub rate: u32,
    /// Frames at once, of ALSA.
    pub frames: u32,
}

impl Default for Choice {
    fn default() -> Self {
        Self {
            system: None,
            input: None,
            output: None,
            rate: 48_000,
            frames: 512,
        }
    }
}

/// What there is, and what came of the choice.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SoundView {
    /// What was chosen.
    pub choice: Choice,
    /// What runs; none where nothing is heard.
    pub system: Option<AudioSystem>,
    /// Systems that could run.
    pub systems: Vec<AudioSystem>,
    /// Where takes can come from, by the system that runs.
    pub inputs: Vec<String>,
    /// Where the sound can go.
    pub outputs: Vec<String>,
    /// What did not go as it was chosen, in a sentence.
    pub fault: Option<String>,
    /// Is there no device at all, so that nothing is heard and nothing can be recorded?
    pub silent: bool,
    /// Did the program just start again because other devices were chosen?
    pub just_chosen: bool,
}
