//! Is one plucked guitar what sounds? A judgement a second, with odds, and one of the whole recording.
//!
//! A small network looks at two seconds of sound around the middle of every second that is not
//! silent: forty-eight bands, a frame every 23 ms. It learned one guitar from this project's own
//! rendered performances, and everything else (bands, pianos, voices, speech, drums, noise,
//! applause, harps, a guitar in company) from invented scenes; `xtask/train` holds both and says
//! how often it errs. Two guitars it cannot tell from one. Owns the judgement; what follows from it
//! is told by `warnings` and by whoever shows figures.

use super::mono::{Block, Mono, RATE};
use super::observer::{AnalysisError, Observer, Stage, go_on};
use super::pluck_net::layers::{Dense, Sliding, WeightReader, sigmoid};
use crate::dsp::spectrum::Spectrum;
use crate::parallel;
use serde::{Deserialize, Serialize};
use std::sync::LazyLock;

/// Samples of a frame and from one to the next.
const WINDOW: usize = 1024;
const HOP: usize = 512;
/// Frames of a patch: two seconds.
const FRAMES: usize = 86;
/// Bands, log-spaced from 64 Hz to 9.5 kHz.
const BANDS: usize = 48;
const LOW: f64 = 64.0;
const HIGH: f64 = 9500.0;
/// Power below the strongest of a patch that still counts, 60 dB.
const FLOOR: f32 = 1e-6;
/// A second weaker than this share of the recording's loud frames is not judged, −30 dB.
const QUIET: f32 = 1e-3;
const FIRST: usize = 56;
const SECOND: usize = 80;
const THIRD: usize = 80;
const HIDDEN: usize = 48;
/// One guitar; plucked strings in company or of another kind; something else.
const CLASSES: usize = 3;
/// Odds from which a recording is taken for one guitar (by definition: more likely than not).
const ONE: f32 = 0.5;
/// Log odds that a player's recording is one guitar, above those of the training set (42 of 100).
/// Chosen with 345 rendered guitars (180 of the training's sounds, 120 of a soundfont that it knows a
/// few sounds of, 45 of a scorer's pieces) and five real takes in view, of which it refuses one.
const PRIOR: f32 = 1.25;
/// Least and most that a second says, as log odds.
const CLEAR: f32 = 6.9;
/// How seldom what sounds changes from one guitar to something else or back, a second, and how much of
/// what a second says counts, since the windows of neighbours overlap: with these 0.8 of 100 guitar seconds
/// are refused instead of 5.5, and 93 of 100 others are caught instead of 86 (3,964 seconds of 82 rendered
/// guitars, 50 of the training's sounds and five real takes; 64 scenes of another soundfont; chosen among
/// seven pairs with all of them in view but the two takes of BN1, of which nothing is refused).
const CHANGES: f32 = 1.0 / 60.0;
const COUNTS: f32 = 0.3;
/// A stretch of something else is told from this length on, seconds.
const STRETCH: usize = 5;
/// Most that the odds can be where most of what begins clearly is no note.
const UNNAMED: f32 = 0.3;

/// Whether one plucked guitar is what sounds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Solo {
    /// Probability of one guitar by second from the recording's start, what sounds before and after
    /// being part of the evidence; none where it is too quiet to tell.
    pub seconds: Vec<Option<f32>>,
    /// Probability that the recording is one guitar: by the mean log odds of its seconds, with what is
    /// known beforehand; 1 where there are none to judge.
    pub odds: f32,
}

impl Default for Solo {
    /// Nothing speaks against one guitar.
    fn default() -> Self {
        Self {
            seconds: Vec::new(),
            odds: 1.0,
        }
    }
}

impl Solo {
    fn of(seconds: &[Option<f32>], unnamed: bool) -> Self {
        let clear = |p: f32| (p / (1.0 - p)).ln().clamp(-CLEAR, CLEAR);
        let each: Vec<Option<f32>> = seconds.iter().map(|p| p.map(clear)).collect();
        let judged: Vec<f32> = each.iter().copied().flatten().collect();
        let odds = match judged.len() {
            0 => 1.0,
            count => sigmoid(judged.iter().sum::<f32>() / count as f32 + PRIOR),
        };
        let odds = if unnamed { odds.min(UNNAMED) } else { odds };
        let seconds = steadied(&each);
        Self { seconds, odds }
    }

    /// Is the recording as a whole taken for one guitar?
    pub fn is_one_guitar(&self) -> bool {
        self.odds >= ONE
    }

    /// Stretches of a recording taken for one guitar in which something else is heard, as seconds from
    /// its start, each five long or longer.
    pub fn elsewhere(&self) -> Vec<(usize, usize)> {
        let mut found: Vec<(usize, usize)> = Vec::new();
        let other = |p: &Option<f32>| p.is_some_and(|p| p < ONE);
        let seconds = self.seconds.iter().enumerate();
        for (second, _) in seconds.filter(|(_, p)| self.is_one_guitar() && other(p)) {
            match found.last_mut() {
                Some((_, to)) if *to == second => *to += 1,
                _ => found.push((second, second + 1)),
            }
        }
        found.retain(|(from, to)| to - from >= STRETCH);
        found
    }
}

/// Probabilities of what the seconds say for themselves (log odds), each with those before and after: a
/// hidden Markov model of two states, forward and backward (Rabiner 1989).
fn steadied(each: &[Option<f32>]) -> Vec<Option<f32>> {
    let own = |said: &Option<f32>| said.map_or(0.0, |odds| COUNTS * (odds + PRIOR));
    let next = |odds: f32| {
        let stays = odds.exp();
        (((1.0 - CHANGES) * stays + CHANGES) / (CHANGES * stays + 1.0 - CHANGES)).ln()
    };
    let along = |all: &mut dyn Iterator<Item = &Option<f32>>| -> Vec<f32> {
        let mut before = 0.0;
        all.map(|said| {
            let foretold = next(before);
            before = foretold + own(said);
            foretold
        })
        .collect()
    };
    let before = along(&mut each.iter());
    let mut after = along(&mut each.iter().rev());
    after.reverse();
    let told = |((said, before), after): ((&Option<f32>, f32), f32)| {
        said.map(|_| sigmoid(before + own(said) + after))
    };
    each.iter().zip(before).zip(after).map(told).collect()
}

/// Judges the recording; `unnamed` says that most of what begins in it is no note.
///
/// # Errors
/// [`AnalysisError::Cancelled`] when the observer asks for it.
pub fn judge(
    mono: &Mono,
    unnamed: bool,
    observer: &mut dyn Observer,
) -> Result<Solo, AnalysisError> {
    let mut frames: Vec<[f32; BANDS]> = Vec::with_capacity(mono.len() / HOP + 1);
    let edges = edges();
    let listen = |spectrum: &mut Spectrum, (start, from, to, end): &Block| {
        let signal = mono.part(*start, *end);
        let mut bins = vec![0.0; spectrum.bins()];
        // Every frame belongs to the block that its middle lies in.
        let last = if *to == mono.len() { *to + 1 } else { *to };
        (from.div_ceil(HOP)..last.div_ceil(HOP))
            .map(|frame| {
                let at = (frame * HOP) as isize - (*start + WINDOW / 2) as isize;
                spectrum.powers(&signal, at, &mut bins);
                std::array::from_fn(|b| bins[edges[b]..edges[b + 1]].iter().sum())
            })
            .collect::<Vec<[f32; BANDS]>>()
    };
    go_on(observer, Stage::Roles, 0.0)?;
    let fresh = || Spectrum::new(WINDOW, WINDOW);
    parallel::stream(&mono.blocks(), fresh, listen, |some| {
        frames.extend(some);
        go_on(observer, Stage::Roles, 0.0)
    })?;
    let mut totals: Vec<f32> = frames.iter().map(|f| f.iter().sum()).collect();
    totals.sort_by(f32::total_cmp);
    let loud = totals.get((totals.len().max(1) - 1) * 95 / 100);
    let loud = loud.copied().unwrap_or(0.0) + 1e-12;
    let seconds: Vec<usize> = (0..mono.len() / RATE as usize).collect();
    let each = parallel::map(&seconds, |second| {
        let middle = (*second * RATE as usize + RATE as usize / 2) / HOP;
        patch(&frames, middle, loud).map(|patch| MODEL.one_guitar(&patch))
    });
    Ok(Solo::of(&each, unnamed))
}

/// First bins of the bands, none of them empty.
fn edges() -> [usize; BANDS + 1] {
    let mut edges = std::array::from_fn(|i| {
        let hz = LOW * (HIGH / LOW).powf(i as f64 / BANDS as f64);
        (hz * WINDOW as f64 / f64::from(RATE)).round_ties_even() as usize
    });
    for i in 1..edges.len() {
        edges[i] = edges[i].max(edges[i - 1] + 1);
    }
    edges
}

/// Two seconds around frame `middle`, squashed to 0 to 1; none where it is too quiet there.
fn patch(frames: &[[f32; BANDS]], middle: usize, loud: f32) -> Option<Vec<f32>> {
    let half = FRAMES / 2;
    let at = |k: usize| (middle + k).checked_sub(half).and_then(|f| frames.get(f));
    let inner = (half - 21..half + 22).filter_map(at);
    let level = inner.map(|f| f.iter().sum::<f32>()).sum::<f32>() / 43.0;
    if !(level >= QUIET * loud && level > 1e-11) {
        return None;
    }
    let powers: Vec<f32> = (0..FRAMES)
        .flat_map(|k| at(k).copied().unwrap_or([0.0; BANDS]))
        .collect();
    let top = powers.iter().fold(1e-14f32, |m, p| m.max(*p));
    let squash = |p: f32| (p / top + FLOOR).log10() / 6.0 + 1.0;
    Some(powers.into_iter().map(squash).collect())
}

const BYTES: &[u8] = include_bytes!("one_guitar/solo.f32");
const COUNT: usize = (5 * BANDS + 1) * FIRST
    + (5 * FIRST + 1) * SECOND
    + (3 * SECOND + 1) * THIRD
    + (2 * THIRD + 1) * HIDDEN
    + (HIDDEN + 1) * CLASSES;
const _: () = assert!(
    BYTES.len() == 4 * COUNT,
    "solo.f32 does not fit this network"
);

static MODEL: LazyLock<JudgeNetwork> = LazyLock::new(|| {
    let mut file = WeightReader::new(BYTES);
    JudgeNetwork {
        first: file.sliding(5, BANDS, 2),
        second: file.sliding(5, FIRST, 2),
        third: file.sliding(3, SECOND, 2),
        hidden: file.dense(2 * THIRD),
        classes: file.dense(HIDDEN),
    }
});

/// All layers, in the order of `export` in `xtask/train/solo.py`.
struct JudgeNetwork {
    first: Sliding<FIRST>,
    second: Sliding<SECOND>,
    third: Sliding<THIRD>,
    hidden: Dense<HIDDEN>,
    classes: Dense<CLASSES>,
}

impl JudgeNetwork {
    /// Probability that a patch is one guitar.
    fn one_guitar(&self, patch: &[f32]) -> f32 {
        let (mut one, mut two) = (Vec::new(), Vec::new());
        self.first.over(patch, &mut one);
        self.second.over(&one, &mut two);
        self.third.over(&two, &mut one);
        let (rows, _) = one.as_chunks::<THIRD>();
        let (mut mean, mut most) = ([0.0f32; THIRD], [0.0f32; THIRD]);
        for row in rows {
            for (channel, x) in row.iter().enumerate() {
                mean[channel] += x / rows.len() as f32;
                most[channel] = most[channel].max(*x);
            }
        }
        let hidden = self.hidden.of(&[&mean, &most]).map(|x| x.max(0.0));
        let said = self.classes.of(&[&hidden]);
        let top = said.iter().fold(f32::NEG_INFINITY, |m, x| m.max(*x));
        let each = said.map(|x| (x - top).exp());
        each[0] / each.iter().sum::<f32>()
    }
}
