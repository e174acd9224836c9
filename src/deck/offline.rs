//! The deck without a device: the same player, run through at once.

use super::controls::{Channels, Controls, Ladder};
use super::message::{Event, Message};
use super::pulse::{ClickRate, Pulse};
use super::track::{RateMismatch, Track};
use super::{Block, Config, pair};
use crate::music::grid::Grid;
use crate::recording::Recording;
use crate::stretch::OnsetTable;
use crate::unit::{Cents, Decibels, Seconds};
use std::sync::Arc;

/// Frames rendered between two reports of progress.
const BLOCK: usize = 4096;

/// The file's first and last frames rise and fall in this time, so that it neither begins nor ends
/// with a click.
const EDGE_MS: f64 = 1.0;

/// A click to play along with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClickTrack {
    /// How often.
    pub rate: ClickRate,
    /// How loud.
    pub level: Decibels,
    /// Where the second half of a beat falls, 0.5 (straight) to 0.75.
    pub swing: f64,
}

/// What to render.
#[derive(Debug, Clone, PartialEq)]
pub struct LoopPlan {
    /// Start of the loop.
    pub from: Seconds,
    /// Its end.
    pub to: Seconds,
    /// Rounds, at least 1.
    pub times: u32,
    /// Speed, 0.25 to 1.5; a ladder overrides it.
    pub speed: f64,
    /// Pitch shift.
    pub pitch: Cents,
    /// Gain.
    pub gain: Decibels,
    /// Bars counted before, 0 to 2; they need a grid.
    pub count_in: u8,
    /// Silent beats between rounds; they need a grid.
    pub rest: u8,
    /// Click; it needs a grid.
    pub click: Option<ClickTrack>,
    /// A loop that speeds up step by step.
    pub ladder: Option<Ladder>,
    /// Which channels are heard.
    pub channels: Channels,
}

impl LoopPlan {
    /// `times` rounds of a stretch at a speed, nothing else.
    pub fn new(from: Seconds, to: Seconds, times: u32, speed: f64) -> Self {
        Self {
            from,
            to,
            times,
            speed,
            pitch: Cents(0.0),
            gain: Decibels(0.0),
            count_in: 0,
            rest: 0,
            click: None,
            ladder: None,
            channels: Channels::Stereo,
        }
    }
}

/// Why a loop was not rendered.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum OfflineError {
    /// The end is not after the start, or not in the recording.
    #[error("the loop must lie in the recording, its end at least 0.05 s after its start")]
    Region,
    /// The caller asked to stop.
    #[error("stopped before the end")]
    Cancelled,
    /// Never from here: the pair is made at the recording's own rate.
    #[error(transparent)]
    Rate(#[from] RateMismatch),
    /// The deck did not take a message.
    #[error("the deck's ring is full")]
    Full,
}

/// Renders a loop of `recording` as it would be heard: planar, stereo (one channel where the
/// recording has one and nothing is panned), at the recording's rate: the count-in, then `times`
/// rounds of exactly (to − from) / speed and the rests between them, nothing else.
///
/// The limiter works only where gain or click could overload the output; otherwise the level is
/// the recording's own. `progress` is told the frames done and answers whether to go on.
///
/// # Errors
/// [`OfflineError`] when the region is impossible or `progress` answers false.
pub fn render_loop(
    recording: &Arc<Recording>,
    onsets: &Arc<OnsetTable>,
    grid: &Grid,
    plan: &LoopPlan,
    mut progress: impl FnMut(usize) -> bool,
) -> Result<Vec<Vec<f32>>, OfflineError> {
    let rate = recording.rate();
    let (from, to) = (plan.from, plan.to);
    if !(from.0 >= 0.0 && to.0 - from.0 >= 0.05 && to.frame(rate) <= recording.frames()) {
        return Err(OfflineError::Region);
    }
    let click = plan.click;
    let (mut deck, mut player) = pair(Config::at(rate));
    if plan.gain.0 <= 0.0 && click.is_none() && plan.count_in == 0 {
        player = player.without_limiter();
    }
    let pulse = Pulse::new(
        grid,
        rate,
        click.map_or(ClickRate::Beat, |c| c.rate),
        click.map_or(0.5, |c| c.swing),
    );
    let counted = plan.count_in > 0 && pulse.is_some();
    let track = Track::new(Arc::clone(recording), Arc::clone(onsets), rate)?;
    for message in [
        Message::Load(Box::new(track)),
        Message::Pulse(pulse.map(Box::new)),
        Message::Region(Some((from, to))),
        Message::Seek(from),
        Message::CountIn(plan.count_in),
        Message::Rest(plan.rest),
        Message::Ladder(plan.ladder),
    ] {
        deck.send(message).map_err(|_| OfflineError::Full)?;
    }
    let controls = Controls {
        play: false,
        looping: true,
        speed: plan.speed,
        pitch: plan.pitch,
        gain: plan.gain,
        click: click.is_some(),
        click_level: click.map_or(Decibels(-12.0), |c| c.level),
        channels: plan.channels,
        ..Controls::default()
    };
    // Settle gains and take the messages before the first frame that counts.
    player.set_controls(controls);
    let mut silence = [vec![0.0f32; BLOCK], vec![0.0f32; BLOCK]];
    run(&mut player, &mut silence);
    let start = player.clock() as usize;
    player.set_controls(Controls {
        play: true,
        ..controls
    });
    let mut out = [Vec::new(), Vec::new()];
    let mut end = None;
    while end.is_none_or(|end| start + out[0].len() < end + player.latency()) {
        let mut block = [vec![0.0f32; BLOCK], vec![0.0f32; BLOCK]];
        run(&mut player, &mut block);
        for (all, new) in out.iter_mut().zip(&block) {
            all.extend_from_slice(new);
        }
        deck.collect();
        while let Some(event) = deck.event() {
            match event {
                Event::Seam { round, clock } if round == plan.times.max(1) => {
                    end = Some(clock as usize);
                }
                _ => {}
            }
        }
        if !progress(out[0].len()) {
            return Err(OfflineError::Cancelled);
        }
    }
    let lead = if counted {
        0
    } else {
        lead_in(rate, plan, from)
    };
    let first = player.latency() + lead;
    let last = end.map_or(out[0].len(), |end| end - start + player.latency());
    let width = if recording.channels().len() == 1 {
        1
    } else {
        2
    };
    Ok(out
        .into_iter()
        .take(width)
        .map(|channel| edged(channel[first.min(last)..last].to_vec(), rate))
        .collect())
}

/// Frames that the player sounds before the loop's start is reached.
fn lead_in(rate: u32, plan: &LoopPlan, from: Seconds) -> usize {
    let lead = super::transport::lead_in(rate);
    let speed = plan.ladder.map_or(plan.speed, |l| l.start.min(l.top));
    let at = from.frame(rate) as f64;
    let reach = lead as f64 * speed;
    if at > 0.0 && at >= reach { lead } else { 0 }
}

fn run(player: &mut super::Player, block: &mut [Vec<f32>; 2]) {
    let [left, right] = block;
    player.process(&mut Block {
        left,
        right,
        side: None,
        host: None,
    });
}

fn edged(mut channel: Vec<f32>, rate: u32) -> Vec<f32> {
    let edge = ((EDGE_MS / 1000.0 * f64::from(rate)) as usize).min(channel.len() / 2);
    let last = channel.len().saturating_sub(1);
    for i in 0..edge {
        let rise = (i as f32 + 0.5) / edge as f32;
        channel[i] *= rise;
        channel[last - i] *= rise;
    }
    channel
}
