//! Hearing the difference: recording and take laid on one timeline, beat for beat.
//!
//! The recording runs at one speed; the take's speed follows it beat by beat, so that both reach
//! each beat together and what differs inside the beat stays audible. Side by side puts the
//! recording left and the take right; in turn plays each bar twice, the recording first.

use super::pairs::{Round, SharedBeat};
use crate::deck::resample::{self, ResampleError};
use crate::recording::{Recording, RecordingError};
use crate::stretch::{self, FASTEST, PitchShift, SLOWEST, SpeedMap, transient};
use crate::unit::Seconds;
use std::fmt::Write as _;
use std::sync::Arc;

/// How the two are heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// Recording left, take right.
    SideBySide,
    /// Each bar twice: the recording's, then the take's; both channels alike.
    InTurn,
}

/// Why the two cannot be laid side by side.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ListenError {
    /// The round has no beats in common with the recording.
    #[error("this round has no beats to lay the two together by")]
    NoBeats,
    /// One of them would have to run outside 25 to 150 %.
    #[error(
        "at this speed the take would run at {0:.0} %, outside 25 to 150 %: try a speed near {1:.2}"
    )]
    Speed(f64, f64),
    /// The pieces cannot be cut out.
    #[error(transparent)]
    Recording(#[from] RecordingError),
    /// The take cannot be brought to the recording's rate.
    #[error(transparent)]
    Resample(#[from] ResampleError),
    /// The caller asked to stop.
    #[error("stopped before the end")]
    Cancelled,
}

/// How often a take is made half as fast again before it is laid beside the recording: down to
/// takes at 20 % of its tempo.
const HURRIES: usize = 3;
/// Fade at the seams of bars heard in turn, seconds.
const FADE: f64 = 0.004;

/// Two channels at the recording's rate: the round as the recording plays it at `speed`, and the
/// take with it. `go_on` is asked now and then.
///
/// # Errors
/// [`ListenError`] as its variants say.
pub fn together(
    recording: &Recording,
    take: &Recording,
    round: &Round,
    speed: f64,
    order: Order,
    mut go_on: impl FnMut() -> bool,
) -> Result<Vec<Vec<f32>>, ListenError> {
    let beats = &round.beats;
    if beats.len() < 2 {
        return Err(ListenError::NoBeats);
    }
    let rate = recording.rate();
    let speeds = |beats: &[SharedBeat]| -> Vec<f64> {
        let along = |p: &[SharedBeat]| (p[1].recording - p[0].recording).0 / speed;
        let pairs = beats.windows(2);
        pairs
            .map(|p| (p[1].take - p[0].take).0 / along(p))
            .collect()
    };
    let mut beats = beats.clone();
    let mut take = resample::to_rate(take, rate, &mut go_on)?;
    // A take of a slowed loop has to run faster than the engine goes at once.
    for _ in 0..HURRIES {
        if speeds(&beats).iter().all(|s| *s <= FASTEST) {
            break;
        }
        let quick = rendered(&take, &[(Seconds(0.0), FASTEST)], take.end(), &mut go_on)?;
        take = Recording::new(take.name(), rate, vec![quick])?;
        for beat in &mut beats {
            beat.take = Seconds(beat.take.0 / FASTEST);
        }
    }
    let take_speeds = speeds(&beats);
    let fits = |s: f64| (SLOWEST..=FASTEST).contains(&s);
    if let Some(&bad) = take_speeds.iter().find(|s| !fits(**s)) {
        let wanted = speed / bad;
        return Err(ListenError::Speed(
            bad * 100.0,
            wanted.clamp(SLOWEST, FASTEST),
        ));
    }
    let ours: Vec<(Seconds, f64)> = vec![(beats[0].recording, speed)];
    let theirs: Vec<(Seconds, f64)> = beats
        .iter()
        .zip(&take_speeds)
        .map(|(beat, &speed)| (beat.take, speed))
        .collect();
    let last = beats[beats.len() - 1];
    let left = rendered(recording, &ours, last.recording, &mut go_on)?;
    let right = rendered(&take, &theirs, last.take, &mut go_on)?;
    let frames = left.len().min(right.len());
    match order {
        Order::SideBySide => Ok(vec![left[..frames].to_vec(), right[..frames].to_vec()]),
        Order::InTurn => {
            let mut bars: Vec<usize> = beats
                .iter()
                .filter(|b| b.place == 1)
                .map(|b| {
                    ((b.recording - beats[0].recording).0 / speed * f64::from(rate)).round()
                        as usize
                })
                .filter(|&frame| frame < frames)
                .collect();
            bars.push(frames);
            if bars[0] != 0 {
                bars.insert(0, 0);
            }
            let mut out = Vec::with_capacity(2 * frames);
            for bar in bars.windows(2) {
                for side in [&left, &right] {
                    faded(&side[bar[0]..bar[1]], rate, &mut out);
                }
            }
            Ok(vec![out.clone(), out])
        }
    }
}

/// The recording left and a round of the take right, both mono, on the recording's own timeline
/// and as long as it; the take is silent outside the round. At the recording's rate.
///
/// # Errors
/// [`ListenError`] as its variants say.
pub fn beside(
    recording: &Recording,
    take: &Recording,
    round: &Round,
    go_on: impl FnMut() -> bool,
) -> Result<Recording, ListenError> {
    let both = together(recording, take, round, 1.0, Order::SideBySide, go_on)?;
    let from = round.beats[0].recording.frame(recording.rate());
    let mut right = vec![0.0; recording.frames()];
    let mut part = Vec::with_capacity(both[1].len());
    faded(&both[1], recording.rate(), &mut part);
    for (to, from) in right.iter_mut().skip(from).zip(part) {
        *to = from;
    }
    let channels = vec![recording.mono(), right];
    Ok(Recording::new(
        recording.name(),
        recording.rate(),
        channels,
    )?)
}

/// One side, mono, from its first step to `end`, at the speeds of `steps`.
fn rendered(
    sound: &Recording,
    steps: &[(Seconds, f64)],
    end: Seconds,
    go_on: &mut impl FnMut() -> bool,
) -> Result<Vec<f32>, ListenError> {
    let rate = sound.rate();
    let from = steps[0].0;
    // A little before and after, so that attacks at the edges are whole.
    let margin = (f64::from(rate) * 0.1) as usize;
    let start = from
        .frame(rate)
        .saturating_sub(margin)
        .min(sound.frames() - 1);
    let stop = (end.frame(rate) + margin).clamp(start + 1, sound.frames());
    let part = Arc::new(Recording::new(
        sound.name(),
        rate,
        vec![sound.mono()[start..stop].to_vec()],
    )?);
    let origin = start as f64 / f64::from(rate);
    let mut text = format!("0 {}\n", steps[0].1);
    for (at, speed) in steps {
        if at.0 > origin {
            // Writing to a string cannot fail.
            let _ = writeln!(text, "{} {speed}", at.0 - origin);
        }
    }
    let map = SpeedMap::parse(&text).map_err(|_| ListenError::NoBeats)?;
    let onsets = Arc::new(transient::onsets(&part));
    let channels = stretch::render(&part, &onsets, &map, PitchShift::UNCHANGED, |_| go_on())
        .map_err(|_| ListenError::Cancelled)?;
    let skip = (from.0 - origin).max(0.0) / steps[0].1 * f64::from(rate);
    let all: f64 = steps
        .iter()
        .zip(steps[1..].iter().map(|s| s.0).chain([end]))
        .map(|((at, speed), next)| (next - *at).0 / speed)
        .sum();
    let mut mono = channels.into_iter().next().unwrap_or_default();
    mono.drain(..(skip.round() as usize).min(mono.len()));
    mono.resize((all * f64::from(rate)).round() as usize, 0.0);
    Ok(mono)
}

/// Appends a bar with its ends faded.
fn faded(bar: &[f32], rate: u32, out: &mut Vec<f32>) {
    let fade = ((f64::from(rate) * FADE) as usize).clamp(1, bar.len().max(2) / 2);
    let gain = |i: usize| (i.min(bar.len() - 1 - i) as f32 / fade as f32).min(1.0);
    out.extend(bar.iter().enumerate().map(|(i, s)| s * gain(i)));
}
