//! A recording at another rate (by `rubato`'s synchronous FFT resampler), off the audio thread.

use crate::recording::{Recording, RecordingError};
use rubato::audioadapter_buffers::direct::SequentialSlice;
use rubato::audioadapter_buffers::direct::SequentialSliceOfVecs;
use rubato::{Fft, FixedSync, Indexing, Resampler};

/// Why a recording has no version at another rate.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ResampleError {
    /// The rate is outside what a recording can have.
    #[error(transparent)]
    Recording(#[from] RecordingError),
    /// The two rates cannot be brought together.
    #[error("cannot go from {from} to {to} frames a second: {why}")]
    Rates {
        /// The recording's rate.
        from: u32,
        /// The wanted one.
        to: u32,
        /// What the resampler says.
        why: String,
    },
    /// The caller asked to stop.
    #[error("stopped before the end")]
    Cancelled,
}

/// Frames taken at once.
const CHUNK: usize = 4096;

/// `recording` at `rate` frames a second: the same instants, delay taken off. `go_on` is asked
/// every few thousand frames.
///
/// # Errors
/// [`ResampleError`] when the rate is impossible or `go_on` answers false.
pub fn to_rate(
    recording: &Recording,
    rate: u32,
    mut go_on: impl FnMut() -> bool,
) -> Result<Recording, ResampleError> {
    let failed = |why: String| ResampleError::Rates {
        from: recording.rate(),
        to: rate,
        why,
    };
    let frames = recording.frames();
    let wanted =
        ((frames as f64 * f64::from(rate) / f64::from(recording.rate())).round() as usize).max(1);
    let mut channels = Vec::with_capacity(recording.width());
    for channel in 0..recording.width() {
        let mut engine = Fft::<f32>::new(
            recording.rate() as usize,
            rate as usize,
            CHUNK,
            1,
            FixedSync::Input,
        )
        .map_err(|e| failed(e.to_string()))?;
        let delay = engine.output_delay();
        let mut out: Vec<f32> = Vec::with_capacity(wanted + delay + engine.output_frames_max());
        let mut piece = vec![vec![0.0f32; engine.output_frames_max()]];
        let mut at = 0;
        while out.len() < wanted + delay {
            if !go_on() {
                return Err(ResampleError::Cancelled);
            }
            // Stretch by stretch: a long recording stays on disk.
            let left = frames.saturating_sub(at).min(engine.input_frames_next());
            let stretch = recording.part(channel, at.min(frames)..at.min(frames) + left);
            let input =
                SequentialSlice::new(&stretch[..], 1, left).map_err(|e| failed(e.to_string()))?;
            let indexing = Indexing {
                partial_len: (left < engine.input_frames_next()).then_some(left),
                ..Indexing::default()
            };
            let room = piece[0].len();
            let mut target = SequentialSliceOfVecs::new_mut(&mut piece, 1, room)
                .map_err(|e| failed(e.to_string()))?;
            let (taken, given) = engine
                .process_into_buffer(&input, &mut target, Some(&indexing))
                .map_err(|e| failed(e.to_string()))?;
            at += taken;
            out.extend_from_slice(&piece[0][..given]);
        }
        out.drain(..delay);
        out.truncate(wanted);
        channels.push(out);
    }
    Ok(Recording::new(recording.name(), rate, channels)?)
}
