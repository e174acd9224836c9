//! Offline rendering: the same stream, run through at once.

use super::core::Core;
use super::onsets::OnsetTable;
use super::pitch::PitchShift;
use super::resample::Resampler;
use super::speed::{Rates, SpeedMap};
use crate::recording::Recording;
use std::sync::Arc;

/// Frames between two reports of progress.
const BLOCK: usize = 4096;

/// Rendering was given up because the caller asked for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("stopped before the end")]
pub struct Cancelled;

/// The whole of `recording` at the speeds of `map`, `pitch` away from its own: planar channels, as
/// many as the recording has, of exactly round(∫dt/speed) frames at the recording's rate.
///
/// At speed 1 throughout and no change of pitch it is the recording, bit for bit. `progress` is
/// told the part done (0 to 1) every few thousand frames and answers whether to go on.
///
/// # Errors
/// [`Cancelled`] when `progress` answers false.
pub fn render(
    recording: &Arc<Recording>,
    onsets: &Arc<OnsetTable>,
    map: &SpeedMap,
    pitch: PitchShift,
    mut progress: impl FnMut(f64) -> bool,
) -> Result<Vec<Vec<f32>>, Cancelled> {
    let frames = map.stretched(recording.frames(), recording.rate()) as usize + 1;
    let mut out: Vec<Vec<f32>> = (0..recording.width())
        .map(|_| Vec::with_capacity(frames))
        .collect();
    render_blocks(recording, onsets, map, pitch, |block, share| {
        for (out, block) in out.iter_mut().zip(block) {
            out.extend_from_slice(block);
        }
        progress(share)
    })?;
    Ok(out)
}

/// The same, block by block: `take` is given the next frames, planar, and the part done with them
/// (0 to 1), and answers whether to go on.
///
/// # Errors
/// [`Cancelled`] when `take` answers false.
pub fn render_blocks(
    recording: &Arc<Recording>,
    onsets: &Arc<OnsetTable>,
    map: &SpeedMap,
    pitch: PitchShift,
    mut take: impl FnMut(&[Vec<f32>], f64) -> bool,
) -> Result<(), Cancelled> {
    let frames = (map.stretched(recording.frames(), recording.rate()).round() as usize).max(1);
    let rates = Rates::of_map(map, recording.rate(), pitch.ratio());
    let mut core = Core::new(Arc::clone(recording), Arc::clone(onsets), rates);
    let mut resampler = Resampler::new(core.channels());
    resampler.set_ratio(pitch.ratio());
    let mut block = vec![vec![0.0; BLOCK.min(frames)]; core.channels()];
    let mut done = 0;
    while done < frames {
        let n = BLOCK.min(frames - done);
        for channel in &mut block {
            channel.resize(n, 0.0);
        }
        resampler.read(&mut core, n, |channel, i, s| block[channel][i] = s);
        done += n;
        if !take(&block, done as f64 / frames as f64) {
            return Err(Cancelled);
        }
    }
    Ok(())
}
