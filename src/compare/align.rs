//! Where in the recording a take is: a time map for every time through.
//!
//! Notes within [`CHORD`] of each other are one event. Dynamic programming over pairs of events
//! (after Needleman & Wunsch 1970, local as in Smith & Waterman 1981; from memory) scores equal
//! pitches, allows left-out and added events, holds the local tempo near one ratio, and may begin
//! the passage anew where a loop did. The ratio itself is the one of a ladder that scores best.

use crate::dsp::middle::median;
use crate::music::note::Note;
use crate::unit::{Seconds, Span};

/// Notes closer than this are one event (a pinch, a strum), seconds.
pub(super) const CHORD: f64 = 0.045;
/// How many events may be left out or added between two that answer each other.
const REACH: usize = 6;
/// Cost of an event left out or added.
const SKIP: f64 = 0.35;
/// Cost of beginning the passage anew.
const AGAIN: f64 = 2.5;
/// SD of the logarithm of the local tempo ratio: rubato and slips of single notes.
const SWAY: f64 = 0.18;
/// Fewest events of a time through, or of a part of it.
const SHORTEST: usize = 4;
/// A jump of the take is at least this much off the tempo, seconds.
const JUMP: f64 = 0.5;
/// Ratios of take time to recording time that are tried: a take at 40 % to 140 % of the tempo.
const RATIOS: [f64; 13] = [
    0.7, 0.78, 0.87, 0.96, 1.0, 1.07, 1.18, 1.32, 1.48, 1.64, 1.84, 2.1, 2.4,
];

/// One time through the passage.
#[derive(Debug, Clone)]
pub(super) struct Passage {
    /// From the first to the last event that was answered, in the recording.
    pub recording: (Seconds, Seconds),
    /// The same in the take.
    pub take: (Seconds, Seconds),
    /// Take time over recording time.
    pub stretch: f64,
    /// Knots of the time map, increasing in both: recording seconds, take seconds.
    knots: Vec<(f64, f64)>,
    /// The parts between which the take jumped (a bar left out, a stop): each has a tempo of its
    /// own. Empty in a part.
    pub legs: Vec<Passage>,
}

impl Passage {
    /// Where an instant of the recording falls in the take; beyond the ends at the mean tempo.
    pub fn in_take(&self, time: Seconds) -> Seconds {
        let x = time.0;
        let after = self.knots.partition_point(|k| k.0 <= x);
        if after == 0 || after == self.knots.len() {
            let end = if after == 0 {
                self.knots.first()
            } else {
                self.knots.last()
            };
            return end.map_or(time, |k| Seconds(k.1 + (x - k.0) * self.stretch));
        }
        let (a, b) = (self.knots[after - 1], self.knots[after]);
        Seconds(a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0))
    }
}

/// Where the take is.
#[derive(Debug, Clone)]
pub(super) struct Alignment {
    /// Times through, in order of the take.
    pub passages: Vec<Passage>,
    /// Probability that it is the same tune.
    pub same_tune: f64,
    /// Semitones that the take sounds higher.
    pub transposed: i32,
}

/// One reading of the take: how it is transposed, at which ratio, and its path.
struct Guess {
    score: f64,
    transposed: i32,
    ratio: f64,
    path: Vec<(usize, usize)>,
}

/// Notes that begin together.
struct Moment {
    time: f64,
    pitches: Vec<i32>,
}

fn events(notes: &[Note], transposed: i32) -> Vec<Moment> {
    let mut out: Vec<Moment> = Vec::new();
    for note in notes {
        let pitch = note.pitch.map(|p| p.nearest() - transposed);
        match out.last_mut() {
            Some(event) if note.time.0 - event.time < CHORD => event.pitches.extend(pitch),
            _ => out.push(Moment {
                time: note.time.0,
                pitches: pitch.into_iter().collect(),
            }),
        }
    }
    out
}

/// How well two events answer each other: 1 for the same pitches, negative for none in common.
fn likeness(a: &Moment, b: &Moment) -> f64 {
    if a.pitches.is_empty() || b.pitches.is_empty() {
        return 0.1; // a dead note answers anything a little
    }
    let common = a.pitches.iter().filter(|p| b.pitches.contains(p)).count() as f64;
    let fewer = a.pitches.len().min(b.pitches.len()) as f64;
    if common > 0.0 {
        0.5 + 0.5 * common / fewer
    } else {
        -0.4
    }
}

/// Finds the take in the recording; none when either has fewer than three events.
pub(super) fn align(recording: &[Note], take: &[Note]) -> Option<Alignment> {
    let ours = events(recording, 0);
    if ours.len() < 3 || take.len() < 3 {
        return None;
    }
    let mut best: Option<Guess> = None;
    for transposed in transpositions(recording, take) {
        let theirs = events(take, transposed);
        for ratio in RATIOS {
            let (score, path) = best_path(&ours, &theirs, ratio);
            // Playing as written is more likely than playing transposed.
            let score = if transposed == 0 { score * 1.05 } else { score };
            if best.as_ref().is_none_or(|b| score > b.score) {
                best = Some(Guess {
                    score,
                    transposed,
                    ratio,
                    path,
                });
            }
        }
    }
    let Guess {
        transposed,
        ratio,
        path,
        ..
    } = best?;
    let theirs = events(take, transposed);
    let refined = median_ratio(&ours, &theirs, &path).unwrap_or(ratio);
    let (score, path) = best_path(&ours, &theirs, refined);
    let path = within_loop(&ours, &theirs, refined, (score, path));
    let passages = passages(&ours, &theirs, &path);
    Some(Alignment {
        same_tune: same_tune(&ours, &theirs, &path),
        passages,
        transposed,
    })
}

/// Transpositions worth trying: none, and the two by which the pitches agree best.
fn transpositions(recording: &[Note], take: &[Note]) -> Vec<i32> {
    let count = |notes: &[Note]| {
        let mut bins = [0.0f64; 128];
        for pitch in notes.iter().filter_map(|n| n.pitch) {
            bins[pitch.nearest().clamp(0, 127) as usize] += 1.0;
        }
        let size = bins.iter().map(|b| b * b).sum::<f64>().sqrt().max(1e-9);
        bins.map(|b| b / size)
    };
    let (a, b) = (count(recording), count(take));
    let agreement = |shift: i32| -> f64 {
        (0..128i32)
            .filter(|i| (0..128).contains(&(i + shift)))
            .map(|i| a[i as usize] * b[(i + shift) as usize])
            .sum()
    };
    let mut shifts: Vec<i32> = (-7..=7).filter(|s| *s != 0).collect();
    shifts.sort_by(|x, y| agreement(*y).total_cmp(&agreement(*x)));
    let mut out = vec![0];
    out.extend(
        shifts
            .into_iter()
            .take(2)
            .filter(|s| agreement(*s) > agreement(0)),
    );
    out
}

/// Best-scoring path of answering events: (recording, take) indices, the take's increasing.
fn best_path(ours: &[Moment], theirs: &[Moment], ratio: f64) -> (f64, Vec<(usize, usize)>) {
    let (n, m) = (ours.len(), theirs.len());
    let mut score = vec![f64::NEG_INFINITY; n * m];
    let mut from = vec![u32::MAX; n * m];
    let mut best_end = (f64::NEG_INFINITY, 0usize); // over all pairs of earlier take events
    let mut best_all = (f64::NEG_INFINITY, 0usize);
    for j in 0..m {
        let mut best_here = (f64::NEG_INFINITY, 0usize);
        for i in 0..n {
            let like = likeness(&ours[i], &theirs[j]);
            if like < 0.0 {
                continue;
            }
            let (mut top, mut source) = (0.0, u32::MAX);
            if best_end.0 - AGAIN > top {
                (top, source) = (best_end.0 - AGAIN, best_end.1 as u32);
            }
            for di in 1..=REACH.min(i) {
                let wanted = (ours[i].time - ours[i - di].time) * ratio;
                for dj in 1..=REACH.min(j) {
                    let before = score[(i - di) * m + j - dj];
                    if before == f64::NEG_INFINITY {
                        continue;
                    }
                    let gap = theirs[j].time - theirs[j - dj].time;
                    let sway = (gap.max(0.01) / wanted.max(0.01)).ln() / SWAY;
                    let cost = SKIP * (di + dj - 2) as f64 + 0.12 * (sway * sway).min(25.0);
                    if before - cost > top {
                        (top, source) = (before - cost, ((i - di) * m + j - dj) as u32);
                    }
                }
            }
            let cell = i * m + j;
            score[cell] = top + like;
            from[cell] = source;
            if score[cell] > best_here.0 {
                best_here = (score[cell], cell);
            }
        }
        if best_here.0 > best_end.0 {
            best_end = best_here;
        }
        if best_here.0 > best_all.0 {
            best_all = best_here;
        }
    }
    let mut path = Vec::new();
    if best_all.0 > f64::NEG_INFINITY {
        let mut cell = best_all.1 as u32;
        while cell != u32::MAX {
            path.push((cell as usize / m, cell as usize % m));
            cell = from[cell as usize];
        }
    }
    path.reverse();
    (best_all.0, path)
}

/// A loop of which the next bar begins like its own first one reads as well a little too far; of
/// the passages that explain the take almost as well, the shortest is the loop.
fn within_loop(
    ours: &[Moment],
    theirs: &[Moment],
    ratio: f64,
    found: (f64, Vec<(usize, usize)>),
) -> Vec<(usize, usize)> {
    let (score, path) = found;
    let turns: Vec<usize> = (1..path.len())
        .filter(|&k| path[k].0 <= path[k - 1].0)
        .collect();
    if turns.is_empty() {
        return path;
    }
    let first = path.iter().map(|p| p.0).min().unwrap_or(0);
    let mut ends: Vec<usize> = turns.iter().map(|&k| path[k - 1].0).collect();
    ends.push(path[path.len() - 1].0);
    ends.sort_unstable();
    ends.dedup();
    for end in ends.into_iter().filter(|e| e - first >= 4) {
        let (inside, shorter) = best_path(&ours[first..=end], theirs, ratio);
        if inside >= 0.98 * score {
            return shorter.into_iter().map(|(i, j)| (i + first, j)).collect();
        }
    }
    path
}

/// Median ratio of take gaps to recording gaps along the path.
fn median_ratio(ours: &[Moment], theirs: &[Moment], path: &[(usize, usize)]) -> Option<f64> {
    let mut ratios: Vec<f64> = path
        .windows(4)
        .filter(|w| w[3].0 > w[0].0)
        .map(|w| {
            (theirs[w[3].1].time - theirs[w[0].1].time) / (ours[w[3].0].time - ours[w[0].0].time)
        })
        .filter(|r| r.is_finite() && *r > 0.0)
        .collect();
    median(&mut ratios)
}

/// Cuts the path where it goes back, and makes each piece a smoothed time map.
fn passages(ours: &[Moment], theirs: &[Moment], path: &[(usize, usize)]) -> Vec<Passage> {
    let mut out = Vec::new();
    let mut begin = 0;
    for end in 1..=path.len() {
        if end < path.len() && path[end].0 > path[end - 1].0 {
            continue;
        }
        let points: Vec<(f64, f64)> = path[begin..end]
            .iter()
            .map(|&(i, j)| (ours[i].time, theirs[j].time))
            .collect();
        begin = end;
        if points.len() < SHORTEST {
            continue; // a stray likeness, no time through
        }
        out.push(whole(&points));
    }
    out
}

/// A passage of its legs. A jump is a step that takes half a second more or less than the usual
/// tempo gives it, and twice or half as long: no player bends the beat so.
fn whole(points: &[(f64, f64)]) -> Passage {
    let steps = points
        .windows(2)
        .map(|p| (p[1].0 - p[0].0, p[1].1 - p[0].1));
    let mut ratios: Vec<f64> = steps.clone().map(|(x, y)| y / x.max(1e-6)).collect();
    ratios.sort_by(f64::total_cmp);
    let usual = ratios[ratios.len() / 2];
    let jumps = steps.map(|(x, y)| {
        let expected = usual * x;
        (y - expected).abs() > JUMP && !(0.5 * expected..2.0 * expected).contains(&y)
    });
    let ends = jumps.enumerate().filter(|(_, jump)| *jump);
    let mut legs = Vec::new();
    let mut begin = 0;
    for end in ends.map(|(k, _)| k + 1).chain([points.len()]) {
        if end - begin >= SHORTEST {
            legs.push(passage(&points[begin..end]));
        }
        begin = end;
    }
    if legs.len() < 2 {
        let one = passage(points);
        return Passage {
            legs: vec![one.clone()],
            ..one
        };
    }
    let length = |of: fn(&Passage) -> (Seconds, Seconds)| -> f64 {
        legs.iter().map(|leg| (of(leg).1 - of(leg).0).0).sum()
    };
    let mut knots: Vec<(f64, f64)> = legs.iter().flat_map(|l| l.knots.clone()).collect();
    knots.dedup_by(|b, a| b.0 - a.0 < 1e-4 || b.1 <= a.1);
    Passage {
        recording: (legs[0].recording.0, legs[legs.len() - 1].recording.1),
        take: (legs[0].take.0, legs[legs.len() - 1].take.1),
        stretch: length(|l| l.take) / length(|l| l.recording).max(1e-6),
        knots,
        legs,
    }
}

fn passage(points: &[(f64, f64)]) -> Passage {
    let (first, last) = (points[0], points[points.len() - 1]);
    let stretch = (last.1 - first.1) / (last.0 - first.0).max(1e-6);
    let width = ((last.0 - first.0) / points.len() as f64 * 4.0).clamp(0.6, 3.0);
    let mut knots: Vec<(f64, f64)> = points
        .iter()
        .map(|&(x, _)| (x, local_line(points, x, width, stretch)))
        .collect();
    knots.dedup_by(|b, a| b.0 - a.0 < 1e-4 || b.1 <= a.1);
    Passage {
        recording: (Seconds(first.0), Seconds(last.0)),
        take: (Seconds(first.1), Seconds(last.1)),
        stretch,
        knots,
        legs: Vec::new(),
    }
}

/// A robust local line through the points around `x` (LOWESS, Cleveland 1979, from memory), read
/// at `x`; `slope` where too few points lie near.
fn local_line(points: &[(f64, f64)], x: f64, width: f64, slope: f64) -> f64 {
    let near: Vec<(f64, f64, f64)> = points
        .iter()
        .map(|&(px, py)| (px - x, py, 1.0 - ((px - x) / width).abs().powi(3)))
        .filter(|p| p.2 > 0.0)
        .map(|(dx, y, w)| (dx, y, w * w * w))
        .collect();
    let (mut a, mut b) = (
        near.iter().map(|p| p.1 - slope * p.0).sum::<f64>() / near.len() as f64,
        slope,
    );
    for _ in 0..4 {
        let (mut sw, mut sx, mut sy, mut sxx, mut sxy) = (1e-9, 0.0, 0.0, 1e-9, 0.0);
        for &(dx, y, w) in &near {
            let miss = (y - a - b * dx) / 0.05;
            let w = w / (1.0 + miss * miss);
            sw += w;
            sx += w * dx;
            sy += w * y;
            sxx += w * dx * dx;
            sxy += w * dx * y;
        }
        // A little weight on the mean slope keeps lonely points from turning the line.
        let ridge = 0.02 * width * width;
        let spread = sxx - sx * sx / sw + ridge;
        b = (sxy - sx * sy / sw + ridge * slope) / spread;
        a = (sy - b * sx) / sw;
    }
    a
}

/// Probability of the same tune from the share of events that answer each other by pitch, in the
/// stretch that the path covers. Midpoint and steepness tuned on rendered performances of one tune
/// against others in the same key.
fn same_tune(ours: &[Moment], theirs: &[Moment], path: &[(usize, usize)]) -> f64 {
    let alike = path
        .iter()
        .filter(|&&(i, j)| likeness(&ours[i], &theirs[j]) >= 0.5)
        .count() as f64;
    let mut covered = 0usize;
    let mut begin = 0;
    for end in 1..=path.len() {
        if end == path.len() || path[end].0 <= path[end - 1].0 {
            covered += path[end - 1].0 - path[begin].0 + 1;
            begin = end;
        }
    }
    let all = (covered + theirs.len()) as f64;
    let share = 2.0 * alike / all.max(1.0);
    let few = (alike / 8.0).min(1.0); // eight answers are needed to be sure
    few / (1.0 + (-(share - 0.55) / 0.05).exp())
}

impl Passage {
    /// Is an instant of the recording inside this time through, give or take `margin`?
    pub fn covers(&self, time: Seconds, margin: Span) -> bool {
        time >= self.recording.0 - margin && time <= self.recording.1 + margin
    }
}
