//! Thumb or fingers, by how a hand plays.
//!
//! The thumb keeps to the lower voice, the fingers to the upper; of two notes struck together the
//! lower is the thumb's; what repeats fast on one pitch is fingers'; a hand does at one place of the
//! beat what it did there before, and the thumb is due when its step has come round. The string that a
//! note lies on speaks for one of them, no more: the thumb may take string 3, a finger string 4. A small
//! network of one hidden layer weighs all that, three times: first a note among its neighbours, then
//! also what was thought of them, of the same pitch and of the same place of the beat. Owns what it
//! looks at and its odds; where there is no voice to tell a hand by (a single line, grips) is `role`'s.
//!
//! `xtask/train/hand.py` computes the same numbers and fits the weights (`hand/hand.f32`) on invented
//! hands and on 60 rendered pieces as they are heard; its README says what they are worth.

use super::pluck_net::layers::{Dense, WeightReader, sigmoid};
use crate::music::grid::Grid;
use crate::music::note::Role;
use crate::unit::Seconds;
use std::sync::LazyLock;

/// A note as far as the hand goes.
#[derive(Debug, Clone, Copy)]
pub struct Struck {
    /// When it begins.
    pub time: Seconds,
    /// Whole semitone, MIDI number.
    pub midi: i32,
    /// What its place on the neck says: above 0 for the fingers' strings, up to 2 either way; 0 where
    /// no tuning is known.
    pub lean: f64,
    /// Whose it is, where a player said so.
    pub said: Option<Role>,
}

/// Notes within this time are struck together, seconds; that many of them are a strum.
const TOGETHER: f64 = 0.04;
const STRUM: usize = 4;
/// A grip is this many notes within this long, seconds; grips are played where such notes are this
/// share of all within that time on either side (chosen with three of the real takes in view; the two of
/// BN1 have .41 and none, rendered pieces with crossing hands .04).
const GRIP: usize = 3;
const GRIPPED: f64 = 0.06;
const GRIPS: f64 = 0.2;
const GRIPS_WITHIN: f64 = 15.0;
/// Notes that are looked at on either side, for what is struck together and for the voices.
const BESIDE: usize = 6;
const AROUND: usize = 16;
/// A note of the same pitch this near is a repetition, seconds.
const AGAIN: f64 = 0.22;
/// The two voices are told apart within this time on either side, a pitch is taken to stay in its
/// voice within that, seconds.
const VOICES: f64 = 6.0;
const STAYS: f64 = 8.0;
/// Two places of the beat are the same within this share of it.
const SAME_PLACE: f64 = 0.13;
/// Beats on either side in which a hand is taken to keep its pattern.
const PATTERN: f64 = 24.0;
const PATTERN_OF_TWO: f64 = 32.0;

/// Numbers of a note among its neighbours, and with what is thought of the others.
const PLAIN: usize = 10;
const ALL: usize = PLAIN + 16;
const HIDDEN: usize = 12;
const BYTES: &[u8] = include_bytes!("hand/hand.f32");
const COUNT: usize = (PLAIN + 1) * HIDDEN + 2 * (ALL + 1) * HIDDEN + 3 * (HIDDEN + 1);
const _: () = assert!(
    BYTES.len() == 4 * COUNT,
    "hand.f32 does not fit this network"
);

/// The three weighings, in the order of `export` in `xtask/train/hand.py`.
static WEIGHINGS: LazyLock<[Weighing; 3]> = LazyLock::new(|| {
    let mut file = WeightReader::new(BYTES);
    [PLAIN, ALL, ALL].map(|inputs| Weighing {
        hidden: file.dense(inputs),
        out: file.dense(HIDDEN),
    })
});

struct Weighing {
    hidden: Dense<HIDDEN>,
    out: Dense<1>,
}

impl Weighing {
    /// Probability of the fingers.
    fn of(&self, features: &[f64]) -> f64 {
        let features: Vec<f32> = features.iter().map(|x| *x as f32).collect();
        let hidden = self.hidden.of(&[&features]).map(|x| x.max(0.0));
        f64::from(sigmoid(self.out.of(&[&hidden])[0]))
    }
}

/// Probability that the fingers play each of `notes` (in order of time); `grid` may be empty. What a
/// player said of some tells something of the others.
pub fn fingers(notes: &[Struck], grid: &Grid) -> Vec<f64> {
    let scenes: Vec<Scene> = (0..notes.len()).map(|i| Scene::of(notes, i)).collect();
    let places: Vec<Option<f64>> = notes
        .iter()
        .map(|n| grid.beat_at(n.time).map(|b| b.0))
        .collect();
    let known: Vec<f64> = places.iter().flatten().copied().collect();
    let span = known.last().unwrap_or(&0.0) - known.first().unwrap_or(&0.0);
    let heard = Context {
        notes,
        scenes: &scenes,
        places: &places,
        span: span.clamp(8.0, 2.0 * PATTERN),
    };
    let mut odds: Vec<f64> = Vec::new();
    for (round, weighing) in WEIGHINGS.iter().enumerate() {
        odds = (0..notes.len())
            .map(|i| match notes[i].said {
                Some(Role::Melody) => 1.0,
                Some(Role::Bass) => 0.0,
                None if round == 0 => weighing.of(&scenes[i].plain),
                None => {
                    let mut all = [0.0; ALL];
                    all[..PLAIN].copy_from_slice(&scenes[i].plain);
                    all[PLAIN..PLAIN + 6].copy_from_slice(&heard.voices(&odds, i));
                    all[PLAIN + 6..].copy_from_slice(&heard.pattern(&odds, i));
                    weighing.of(&all)
                }
            })
            .collect();
    }
    odds
}

/// Probability that the fingers play each of `notes` (in order of time) by the voices alone, none in grips: all
/// that can be said before strings and beats are known.
pub fn by_voice(notes: &[Struck]) -> Vec<Option<f64>> {
    let told = |i: usize| {
        let scene = (!gripped(notes, i)).then(|| Scene::of(notes, i))?;
        Some(WEIGHINGS[0].of(&scene.plain))
    };
    (0..notes.len()).map(told).collect()
}

/// Whether the playing around note `i` is strums or grips of chords, in which no voice tells the hand.
pub fn gripped(notes: &[Struck], i: usize) -> bool {
    let within = |i: usize, reach: f64| {
        let from = notes.partition_point(|n| n.time.0 <= notes[i].time.0 - reach);
        let to = notes.partition_point(|n| n.time.0 < notes[i].time.0 + reach);
        from..to
    };
    let near = within(i, GRIPS_WITHIN);
    let all = near.len() as f64;
    let grips = near.filter(|k| within(*k, GRIPPED).len() >= GRIP).count();
    together(notes, i).count() >= STRUM || grips as f64 >= GRIPS * all
}

/// Notes struck together with note `i`, itself among them.
fn together(notes: &[Struck], i: usize) -> impl Iterator<Item = usize> {
    (i.saturating_sub(BESIDE)..(i + BESIDE + 1).min(notes.len()))
        .filter(move |k| (notes[*k].time - notes[i].time).0.abs() < TOGETHER)
}

/// A note among its neighbours.
struct Scene {
    plain: [f64; PLAIN],
    /// Indices of what is struck together.
    with: Vec<usize>,
    /// The lowest, or a higher one, of several but not of a strum.
    low: bool,
    high: bool,
    /// Nothing lower is struck with it.
    lowest: bool,
}

impl Scene {
    fn of(notes: &[Struck], i: usize) -> Self {
        let own = notes[i];
        let with: Vec<usize> = together(notes, i).collect();
        let lowest = with.iter().all(|k| notes[*k].midi >= own.midi);
        let (several, strum) = (with.len() > 1, with.len() >= STRUM);
        let (low, high) = (several && lowest && !strum, several && !lowest && !strum);
        let apart = |k: &usize| (notes[*k].time - own.time).0.abs() > TOGETHER;
        let before = (i.saturating_sub(BESIDE)..i).rev().filter(apart);
        let after = (i + 1..(i + BESIDE + 1).min(notes.len())).filter(apart);
        let step = |other: Option<usize>| {
            other.map_or(0.0, |k| {
                (f64::from(own.midi - notes[k].midi) / 12.0).clamp(-1.0, 1.0)
            })
        };
        let again =
            |k: usize| notes[k].midi == own.midi && (notes[k].time - own.time).0.abs() < AGAIN;
        let height = (f64::from(own.midi) - between(notes, i)) / 6.0;
        Self {
            plain: [
                height.clamp(-2.0, 2.0),
                yes(low),
                yes(high),
                yes(strum),
                step(before.clone().next()),
                step(after.clone().next()),
                yes(before.clone().any(again)),
                yes(after.clone().any(again)),
                (f64::from(own.midi) - 52.0) / 12.0,
                own.lean,
            ],
            with,
            low,
            high,
            lowest,
        }
    }
}

/// The pitch half way between the two voices around note `i` (two means of the pitches there).
fn between(notes: &[Struck], i: usize) -> f64 {
    let now = notes[i].time.0;
    let from = notes.partition_point(|n| n.time.0 <= now - VOICES);
    let to = notes.partition_point(|n| n.time.0 < now + VOICES);
    let near = || notes[from..to].iter().map(|n| f64::from(n.midi));
    let (mut low, mut high) = near().fold((f64::MAX, f64::MIN), |(l, h), m| (l.min(m), h.max(m)));
    if high - low < 3.0 {
        return f64::midpoint(low, high);
    }
    for _ in 0..8 {
        let middle = f64::midpoint(low, high);
        let mean = |wanted: bool| {
            let (sum, count) = near()
                .filter(|m| (*m <= middle) == wanted)
                .fold((0.0, 0.0), |(s, c), m| (s + m, c + 1.0));
            (count > 0.0).then(|| sum / count)
        };
        (low, high) = (mean(true).unwrap_or(low), mean(false).unwrap_or(high));
    }
    f64::midpoint(low, high)
}

/// Everything that a weighing looks at beside the odds.
struct Context<'a> {
    notes: &'a [Struck],
    scenes: &'a [Scene],
    /// Beats since the first.
    places: &'a [Option<f64>],
    /// Beats that the notes near any of them may fall on.
    span: f64,
}

impl Context<'_> {
    /// What the odds of others say of note `i`: which voice lies nearer, where its pitch was before, its
    /// own odds, and those of what is struck with it.
    fn voices(&self, odds: &[f64], i: usize) -> [f64; 6] {
        let (notes, scenes) = (self.notes, self.scenes);
        let own = notes[i];
        let far = 14.0f64;
        let (mut thumb, mut fingers) = (far, far);
        for k in i.saturating_sub(AROUND)..(i + AROUND + 1).min(notes.len()) {
            let way = f64::from((notes[k].midi - own.midi).abs())
                + 2.0 * (notes[k].time - own.time).0.abs();
            if k != i && odds[k] < 0.35 {
                thumb = thumb.min(way);
            } else if k != i && odds[k] > 0.65 {
                fingers = fingers.min(way);
            }
        }
        let from = notes.partition_point(|n| n.time.0 < own.time.0 - STAYS);
        let to = notes.partition_point(|n| n.time.0 < own.time.0 + STAYS);
        let (sum, count) = (from..to)
            .filter(|k| notes[*k].midi == own.midi)
            .fold((0.0, 0.0), |(s, c), k| (s + odds[k], c + 1.0f64));
        let with = || scenes[i].with.iter().map(|k| odds[*k]);
        let (least, most) = with().fold((1.0f64, 0.0f64), |(l, m), p| (l.min(p), m.max(p)));
        let others = scenes[i].with.iter().filter(|k| **k != i);
        [
            ((thumb - fingers) / 6.0).clamp(-2.3, 2.3),
            sum / count.max(1.0) - 0.5,
            ((odds[i] + 1e-3) / (1.0 - odds[i] + 1e-3)).ln() / 3.0,
            yes(scenes[i].low && most > 0.5),
            yes(scenes[i].high && least < 0.5),
            others.map(|k| 1.0 - odds[*k]).fold(0.0, f64::max),
        ]
    }

    /// What the hand does elsewhere: at the same place of the beat and of every other beat (means over
    /// notes as low or not as low in what is struck); on the beat or off it; how often the thumb plays
    /// at this place and half a beat away, and whether it, or the fingers, play a beat and half a beat
    /// before and after.
    fn pattern(&self, odds: &[f64], i: usize) -> [f64; 10] {
        let Some(place) = self.places[i] else {
            return [0.0; 10];
        };
        let lowest = self.scenes[i].lowest;
        let (mut same, mut other) = ((0.0, 0.0f64), (0.0, 0.0f64));
        let (mut here, mut across) = (0.0, 0.0);
        let mut beside = [0.0; 4];
        let near = |k: &usize| {
            let way = self.places[*k].map(|there| (there - place).abs());
            way.is_none_or(|way| way < PATTERN_OF_TWO)
        };
        let before = (0..i).rev().take_while(near);
        let after = (i + 1..odds.len()).take_while(near);
        for k in before.chain(after) {
            let Some(there) = self.places[k] else {
                continue;
            };
            let way = there - place;
            let off = (way - way.round()).abs();
            let thumb = if odds[k] < 0.5 { 1.0 - odds[k] } else { 0.0 };
            let upper = if odds[k] > 0.5 { odds[k] } else { 0.0 };
            if way.abs() < PATTERN && off < SAME_PLACE {
                here += thumb;
            } else if way.abs() < PATTERN && (off - 0.5).abs() < SAME_PLACE {
                across += thumb;
            }
            if (way.abs() - 1.0).abs() < SAME_PLACE {
                beside[0] += thumb;
                beside[2] += upper;
            } else if (way.abs() - 0.5).abs() < SAME_PLACE {
                beside[1] += thumb;
                beside[3] += upper;
            }
            if self.scenes[k].lowest != lowest || off >= SAME_PLACE {
                continue;
            }
            if way.abs() < PATTERN {
                same = (same.0 + odds[k], same.1 + 1.0);
            }
            let half = way / 2.0;
            if (half - half.round()).abs() < 0.5 * SAME_PLACE {
                other = (other.0 + odds[k], other.1 + 1.0);
            }
        }
        let mean = |(sum, count): (f64, f64)| if count > 2.0 { sum / count - 0.5 } else { 0.0 };
        let share = place - place.floor();
        let on = share.min(1.0 - share) < SAME_PLACE;
        let low = |x: f64| if lowest { x.min(1.0) } else { 0.0 };
        [
            mean(same),
            mean(other),
            yes(on && lowest),
            yes(!on && lowest),
            low(here / self.span),
            low(across / self.span),
            low(beside[0] / 2.0),
            low(beside[1] / 2.0),
            (beside[2] / 2.0).min(1.0),
            (beside[3] / 2.0).min(1.0),
        ]
    }
}

fn yes(is: bool) -> f64 {
    if is { 1.0 } else { 0.0 }
}
