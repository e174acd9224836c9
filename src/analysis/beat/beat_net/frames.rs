//! Notes as frames for the network; the same numbers as `xtask/train/beats/frames.py`.

use crate::music::note::{Attack, Note, Role};

/// Frames a second.
pub(crate) const RATE: f64 = 50.0;
/// Bins of pitch, a major third each from the low E on.
const BINS: usize = 10;
const CHROMA: usize = 4 + BINS;
const MOVED: usize = CHROMA + 12;
/// Spans (frames) on either side in which harmonies are compared.
const SPANS: [usize; 3] = [25, 50, 100];
const ATTACKS: usize = MOVED + 1 + SPANS.len();
pub(super) const FEATURES: usize = ATTACKS + 4;
/// Notes that follow each other this closely are one attack, seconds.
const TOGETHER: f64 = 0.035;
/// Harmony before an attack and from it on that is compared, seconds.
const BEFORE: f64 = 1.0;
const AFTER: f64 = 0.25;
/// Most that levels may spread, dB (SD): the median of the performances it learned from. Guitars in a
/// room spread by 8, rendered ones by 6.
const SPREAD: f32 = 3.5;
/// Frames before the first note and after the last.
const MARGIN: f64 = 2.0;

/// The recording as the network reads it.
pub(super) struct Frames {
    /// Instant of the first, seconds.
    pub start: f64,
    pub rows: Vec<[f32; FEATURES]>,
}

/// One note as numbers.
struct Seen {
    at: f64,
    pitch: Option<f64>,
    /// Probability that the thumb, or a low string, plays it.
    low: f32,
    weight: f32,
    level: f32,
}

impl Seen {
    fn class(&self) -> Option<usize> {
        self.pitch.map(|p| p.round().rem_euclid(12.0) as usize)
    }
}

impl Frames {
    /// Frames of `notes`, in order of time; none where there are no notes.
    pub fn read(notes: &[Note]) -> Self {
        let mut seen: Vec<Seen> = notes
            .iter()
            .filter(|n| n.attack != Attack::Tap && n.time.0.is_finite())
            .map(seen)
            .collect();
        let (Some(first), Some(last)) = (seen.first(), seen.last()) else {
            return Self {
                start: 0.0,
                rows: Vec::new(),
            };
        };
        let start = first.at - MARGIN;
        let frames = ((last.at - start + MARGIN) * RATE).ceil() as usize + 1;
        let mut levels: Vec<f32> = seen.iter().map(|s| s.level).collect();
        levels.sort_by(f32::total_cmp);
        let median = levels[levels.len() / 2];
        let steady = steady(&levels);
        let attacks = attacks(&seen);
        for s in &mut seen {
            s.at = (s.at - start) * RATE;
            s.level = (steady * (s.level - median) / 10.0).clamp(-2.0, 2.0);
        }
        let mut rows = vec![[0.0f32; FEATURES]; frames + 1];
        lay(&seen, &mut rows);
        rows.truncate(frames);
        compare(&mut rows);
        for (k, values) in attacks.iter().enumerate() {
            for &(at, value) in values {
                let place = (at - start) * RATE;
                let share = place.fract() as f32;
                for (row, part) in [(place as usize, 1.0 - share), (place as usize + 1, share)] {
                    if let Some(row) = rows.get_mut(row) {
                        row[ATTACKS + k] += part * value;
                    }
                }
            }
        }
        for row in &mut rows {
            row[0] = row[0].min(2.0);
            row[1] = row[1].min(2.0);
            row[2] = row[2].clamp(-3.0, 3.0);
            row[3] = row[3].ln_1p();
            row[4..MOVED].iter_mut().for_each(|v| *v = v.min(2.0));
        }
        Self { start, rows }
    }
}

/// Share of their distance from the middle that levels keep: one player's accents are another's whole
/// range, and the wilder they are the less they say of beats.
fn steady(levels: &[f32]) -> f32 {
    let n = levels.len() as f32;
    let mean = levels.iter().sum::<f32>() / n;
    let variance = levels.iter().map(|l| (l - mean).powi(2)).sum::<f32>() / n;
    SPREAD / variance.sqrt().max(SPREAD)
}

fn seen(note: &Note) -> Seen {
    let or = |value: f32, other: f32| if value.is_finite() { value } else { other };
    let sure = or(note.role_confidence, 0.5).clamp(0.5, 1.0);
    Seen {
        at: note.time.0,
        pitch: note.pitch.map(|p| p.0).filter(|p| p.is_finite()),
        low: if note.role == Role::Bass {
            sure
        } else {
            1.0 - sure
        },
        weight: or(note.confidence, 0.5).clamp(0.0, 1.0),
        level: or(note.strength.0 as f32, -20.0),
    }
}

/// Lays every note over the two frames around it.
fn lay(seen: &[Seen], rows: &mut [[f32; FEATURES]]) {
    let mut tonic = [0.0f32; 12];
    for s in seen {
        if let Some(class) = s.class() {
            tonic[class] += s.weight * (1.0 + s.low);
        }
    }
    // The first of the heaviest.
    let tonic = (1..12).fold(0, |best, c| if tonic[c] > tonic[best] { c } else { best });
    // No pitch class at first.
    let mut bass = 12;
    for s in seen {
        let class = s.class();
        let mut moved = 0.0;
        if let Some(class) = class.filter(|_| s.low > 0.5) {
            moved = if class == bass { 0.0 } else { 1.0 };
            bass = class;
        }
        let at = s.at.floor();
        let share = (s.at - at) as f32;
        for (row, part) in [(at as usize, 1.0 - share), (at as usize + 1, share)] {
            let Some(row) = rows.get_mut(row) else {
                continue;
            };
            let v = s.weight * part;
            row[0] += v * s.low;
            row[1] += v * (1.0 - s.low);
            row[2] += v * s.level;
            row[3] += v;
            row[MOVED] += v * moved * s.low;
            if let (Some(pitch), Some(class)) = (s.pitch, class) {
                let bin = ((pitch - 40.0) / 4.0).clamp(0.0, BINS as f64 - 1.001);
                let (low, over) = (bin as usize, bin.fract() as f32);
                row[4 + low] += v * (1.0 - over);
                row[5 + low] += v * over;
                row[CHROMA + (class + 12 - tonic) % 12] += v;
            }
        }
    }
}

/// How unlike the pitch classes before and after each frame are: 0 the same, 1 none in common.
fn compare(rows: &mut [[f32; FEATURES]]) {
    let mut sums = vec![[0.0f64; 12]];
    for row in rows.iter() {
        let last = sums[sums.len() - 1];
        sums.push(std::array::from_fn(|c| {
            last[c] + f64::from(row[CHROMA + c])
        }));
    }
    let n = rows.len();
    for (i, row) in rows.iter_mut().enumerate() {
        for (k, span) in SPANS.into_iter().enumerate() {
            let (from, to) = (i.saturating_sub(span), (i + span).min(n));
            row[MOVED + 1 + k] = unlike(&sums[from], &sums[i], &sums[to]);
        }
    }
}

/// One minus the cosine of what is summed up from the first to the second and on to the third.
fn unlike(from: &[f64; 12], here: &[f64; 12], to: &[f64; 12]) -> f32 {
    let (mut before, mut after, mut both) = (0.0, 0.0, 0.0);
    for ((here, from), to) in here.iter().zip(from).zip(to) {
        let (a, b) = (here - from, to - here);
        before += a * a;
        after += b * b;
        both += a * b;
    }
    let norm = f64::sqrt(before * after);
    if norm > 1e-6 {
        (1.0 - both / norm) as f32
    } else {
        0.0
    }
}

/// Of every attack, at the instant of its first note: how many notes it has (in threes), how long
/// until the next, how long of a low one until the next low one (octaves from the median), how
/// much its harmony is another than before.
fn attacks(seen: &[Seen]) -> [Vec<(f64, f32)>; 4] {
    let first: Vec<usize> = (0..seen.len())
        .filter(|&i| i == 0 || seen[i].at - seen[i - 1].at > TOGETHER)
        .collect();
    let inside = |k: usize| first[k]..first.get(k + 1).copied().unwrap_or(seen.len());
    let starts: Vec<f64> = first.iter().map(|&i| seen[i].at).collect();
    let mut sums = vec![[0.0f64; 12]];
    for s in seen {
        let mut sum = sums[sums.len() - 1];
        if let Some(class) = s.class() {
            sum[class] += f64::from(s.weight);
        }
        sums.push(sum);
    }
    let upto = |at: f64| seen.partition_point(|s| s.at < at);
    let size = |k: usize| (seen[inside(k)].iter().map(|s| s.weight).sum::<f32>() / 3.0).min(2.0);
    let other = |k: usize| {
        let (from, to) = (upto(starts[k] - BEFORE), upto(starts[k] + AFTER));
        unlike(&sums[from], &sums[first[k]], &sums[to])
    };
    let low: Vec<f64> = (0..first.len())
        .filter(|&k| {
            seen[inside(k)]
                .iter()
                .any(|s| s.low > 0.5 && s.weight > 0.0)
        })
        .map(|k| starts[k])
        .collect();
    let at =
        |values: &dyn Fn(usize) -> f32| (0..first.len()).map(|k| (starts[k], values(k))).collect();
    [at(&size), waits(&starts), waits(&low), at(&other)]
}

/// How long it is from each instant to the next, in octaves from the median.
fn waits(at: &[f64]) -> Vec<(f64, f32)> {
    let gaps: Vec<f64> = at.windows(2).map(|p| p[1] - p[0]).collect();
    let mut sorted = gaps.clone();
    sorted.sort_by(f64::total_cmp);
    let Some(&middle) = sorted.get(sorted.len() / 2) else {
        return at.iter().map(|&at| (at, 0.0)).collect();
    };
    let octaves = gaps
        .iter()
        .map(|gap| (gap / middle).log2().clamp(-2.0, 3.0) as f32);
    at.iter().copied().zip(octaves.chain([3.0])).collect()
}
