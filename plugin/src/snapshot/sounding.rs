//! What sounds now, and what the host can automate of it.

use thumbline::unit::Seconds;

/// What sounds now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TransportView {
    /// Is it running (count-in and rest included)?
    pub playing: bool,
    /// Place in the recording.
    pub position: Seconds,
    /// Speed that sounds now, 1 = as recorded; a ladder changes it.
    pub speed: f64,
    /// Beats left of the count-in, while it counts.
    pub count_in: Option<u32>,
    /// Is it the silence between two rounds?
    pub resting: bool,
    /// Rounds of the loop begun since it started, 1 for the first.
    pub round: u32,
    /// Times round the loop after which it stops by itself, where it does.
    pub rounds: Option<u32>,
    /// Does the host's transport drive it?
    pub follows_host: bool,
    /// Is the plug-in bypassed?
    pub bypassed: bool,
}

impl Default for TransportView {
    fn default() -> Self {
        Self {
            playing: false,
            position: Seconds(0.0),
            speed: 1.0,
            count_in: None,
            resting: false,
            round: 0,
            rounds: None,
            follows_host: false,
            bypassed: false,
        }
    }
}

/// What the host can automate, as it stands now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DialsView {
    /// Speed asked for, 0.25 to 1.5 (a ladder may sound another: [`TransportView::speed`]).
    pub speed: f64,
    /// Pitch shift in semitones, −12 to 12, fine tuning included.
    pub pitch: f64,
    /// Output gain in dB, −24 to 24.
    pub gain_db: f64,
    /// Is the click on?
    pub click: bool,
    /// Its level in dB, −40 to 6.
    pub click_db: f64,
    /// Which channels are heard.
    pub channels: crate::channels::Channels,
    /// Is the track's own sound (the standalone's input) heard too?
    pub through: bool,
    /// Does the host's transport drive the recording?
    pub follow: bool,
}

impl Default for DialsView {
    fn default() -> Self {
        Self {
            speed: 1.0,
            pitch: 0.0,
            gain_db: 0.0,
            click: false,
            click_db: -12.0,
            channels: crate::channels::Channels::Stereo,
            through: false,
            follow: false,
        }
    }
}

/// Levels over the last moments.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct LevelView {
    /// Peak of the output, linear, 0 to 1.
    pub peak: f32,
    /// Peak of the input that takes are recorded from, linear, 0 to 1.
    pub input: f32,
    /// What the limiter takes away, in dB, 0 or more.
    pub reduction_db: f32,
}

impl LevelView {
    /// Steps of a meter over its 60 dB: what is no step higher is not painted anew.
    pub const STEPS: u8 = 30;

    /// What a meter shows for a peak: 0 from −60 dB down, [`Self::STEPS`] where it clips.
    pub fn step(peak: f32) -> u8 {
        if peak.is_nan() || peak <= 0.0 {
            return 0;
        }
        let db = 20.0 * peak.log10();
        ((db + 60.0) / 60.0 * f32::from(Self::STEPS))
            .floor()
            .clamp(0.0, f32::from(Self::STEPS)) as u8
    }
}
