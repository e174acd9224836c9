//! The grid for measuring: beats where the player's thumb and tempo put them.
//!
//! Owns the regularised tempo curve. Beats `x` minimise Σ w (note − its slot)² + Σ u (Δ²x)²/(q·p)²:
//! a beat follows many notes around it, so that one late thumb note hardly moves it, and the
//! tempo bends as fast as the playing as a whole asks for. `q`, the typical change of the beat
//! from one to the next as a share of it, is chosen by the evidence of the whole recording
//! (marginal likelihood, as in Gaussian-process smoothing; Rasmussen & Williams 2006, ch. 5, from
//! memory); outliers among notes and sudden changes of tempo are both taken as Student-t
//! (iteratively reweighted least squares), so that neither bends the rest.

use crate::dsp::middle::upper_median;

/// A note (or chord) seen from the grid: beat index, place within the beat, instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Observation {
    /// Index of the beat it is counted from.
    pub beat: usize,
    /// Share of the beat after it, 0 to below 1.
    pub share: f64,
    /// Instant in seconds, systematic offset of its hand taken off.
    pub time: f64,
    /// Standard deviation of a typical note of its kind, seconds.
    pub sd: f64,
    /// How much it counts, 0 to 1.
    pub weight: f64,
}

/// An instant at which a beat is held, and its standard deviation, seconds.
pub(crate) type Pin = (f64, f64);

/// A fitted run of beats.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Curve {
    /// Beat instants, seconds, increasing.
    pub beats: Vec<f64>,
    /// Standard deviation of each beat, seconds.
    pub sd: Vec<f64>,
    /// How far around a beat the notes that place it lie: its e-folding time in seconds.
    pub reach: f64,
    /// The chosen change of the beat from one to the next, share of a beat.
    pub bend: f64,
}

/// Choices of `q`: from a player with a click to rubato.
const BENDS: [f64; 9] = [0.0015, 0.003, 0.005, 0.008, 0.013, 0.02, 0.032, 0.05, 0.08];
/// Degrees of freedom of the Student-t of notes and of tempo changes.
const TAIL: f64 = 4.0;
const ROUNDS: usize = 6;

/// Fits a run that starts from `rough` beats (increasing, seconds).
pub(crate) fn fit(
    rough: &[f64],
    observations: &[Observation],
    pins: &[Pin],
    bend: Option<f64>,
) -> Curve {
    let n = rough.len();
    if n < 3 {
        return Curve {
            beats: rough.to_vec(),
            sd: vec![0.03; n],
            reach: 0.0,
            bend: 0.0,
        };
    }
    let period = median_gap(rough);
    let pins: Vec<(usize, f64, f64)> = pins
        .iter()
        .filter_map(|&(time, sd)| {
            let k = (0..n)
                .min_by(|&a, &b| (rough[a] - time).abs().total_cmp(&(rough[b] - time).abs()))?;
            ((rough[k] - time).abs() < 0.5 * period).then_some((k, time, sd))
        })
        .collect();
    let mut problem = Problem {
        period,
        observations,
        pins: &pins,
        notes: vec![1.0; observations.len()],
        turns: vec![1.0; n - 2],
    };
    let mut beats = rough.to_vec();
    let mut chosen = bend.unwrap_or(0.013);
    for round in 0..ROUNDS {
        problem.reweigh(&beats, chosen);
        if bend.is_none() && round % 2 == 1 {
            chosen = BENDS
                .into_iter()
                .map(|q| (problem.evidence(n, q), q))
                .max_by(|a, b| a.0.total_cmp(&b.0))
                .map_or(chosen, |best| best.1);
        }
        if let Some(system) = problem.solve(n, chosen) {
            beats = system.solution;
        }
    }
    let sd = problem
        .solve(n, chosen)
        .map_or_else(|| vec![0.03; n], |system| system.factor.inverse_diagonal())
        .into_iter()
        .map(f64::sqrt)
        .collect();
    let per_beat = observations
        .iter()
        .map(|s| s.weight / (s.sd * s.sd))
        .sum::<f64>()
        / n as f64;
    let noise = (1.0 / per_beat.max(1e-6)).sqrt();
    Curve {
        reach: period * (noise / (chosen * period)).sqrt(),
        bend: chosen,
        beats: increasing(beats, rough),
        sd,
    }
}

/// The fit, or where it would run backwards (contradictory pins) the start it came from.
fn increasing(beats: Vec<f64>, rough: &[f64]) -> Vec<f64> {
    if beats.windows(2).all(|p| p[0] < p[1]) && beats.iter().all(|b| b.is_finite()) {
        beats
    } else {
        rough.to_vec()
    }
}

pub(crate) fn median_gap(beats: &[f64]) -> f64 {
    let mut gaps: Vec<f64> = beats.windows(2).map(|p| p[1] - p[0]).collect();
    upper_median(&mut gaps).unwrap_or(0.5)
}

struct Problem<'a> {
    period: f64,
    observations: &'a [Observation],
    pins: &'a [(usize, f64, f64)],
    notes: Vec<f64>,
    turns: Vec<f64>,
}

struct Solved {
    factor: Band,
    solution: Vec<f64>,
}

impl Problem<'_> {
    /// Student-t weights from the residuals of the present beats.
    fn reweigh(&mut self, beats: &[f64], q: f64) {
        for (w, s) in self.notes.iter_mut().zip(self.observations) {
            let z = (s.time - place(beats, s)) / s.sd;
            *w = s.weight * (TAIL + 1.0) / (TAIL + z * z);
        }
        for (u, b) in self.turns.iter_mut().zip(beats.windows(3)) {
            let z = (b[0] - 2.0 * b[1] + b[2]) / (q * self.period);
            *u = (TAIL + 1.0) / (TAIL + z * z);
        }
    }

    /// Normal equations: a symmetric matrix with two side diagonals, and the right-hand side.
    fn system(&self, n: usize, q: f64) -> (Band, Vec<f64>) {
        let mut a = Band::zero(n);
        let mut y = vec![0.0; n];
        let stiff = 1.0 / (q * self.period).powi(2);
        for (k, u) in self.turns.iter().enumerate() {
            for (i, ci) in [1.0, -2.0, 1.0].into_iter().enumerate() {
                for (j, cj) in [1.0, -2.0, 1.0].into_iter().enumerate().take(i + 1) {
                    a.add(k + i, k + j, stiff * u * ci * cj);
                }
            }
        }
        for (s, w) in self.observations.iter().zip(&self.notes) {
            let w = w / (s.sd * s.sd);
            observe(&mut a, &mut y, s.beat, s.share, s.time, w);
        }
        for &(beat, time, sd) in self.pins {
            observe(&mut a, &mut y, beat, 0.0, time, 1.0 / (sd * sd));
        }
        // A trace of stiffness keeps the ends solvable where nothing is played.
        for i in 0..n {
            a.add(i, i, 1e-9);
        }
        (a, y)
    }

    fn solve(&self, n: usize, q: f64) -> Option<Solved> {
        let (a, y) = self.system(n, q);
        let factor = a.cholesky()?;
        let solution = factor.solve(&y);
        Some(Solved { factor, solution })
    }

    /// Log marginal likelihood of `q`, up to a constant.
    fn evidence(&self, n: usize, q: f64) -> f64 {
        let Some(solved) = self.solve(n, q) else {
            return f64::MIN;
        };
        let beats = &solved.solution;
        let notes: f64 = self
            .observations
            .iter()
            .zip(&self.notes)
            .map(|(s, w)| w * ((s.time - place(beats, s)) / s.sd).powi(2))
            .sum();
        let turns: f64 = self
            .turns
            .iter()
            .zip(beats.windows(3))
            .map(|(u, b)| u * ((b[0] - 2.0 * b[1] + b[2]) / (q * self.period)).powi(2))
            .sum();
        let prior = -(self.turns.len() as f64) * (q * self.period).ln();
        prior - 0.5 * (notes + turns) - 0.5 * solved.factor.log_determinant()
    }
}

/// Where the beats put a note's slot.
pub(crate) fn place(beats: &[f64], s: &Observation) -> f64 {
    let i = s.beat.min(beats.len() - 1);
    match beats.get(i + 1) {
        Some(next) => beats[i] + s.share * (next - beats[i]),
        None => beats[i] + s.share * (beats[i] - beats[i - 1]),
    }
}

fn observe(a: &mut Band, y: &mut [f64], beat: usize, share: f64, time: f64, w: f64) {
    let n = y.len();
    let (i, j, ci, cj) = if beat + 1 < n {
        (beat, beat + 1, 1.0 - share, share)
    } else {
        (n - 2, n - 1, -share, 1.0 + share)
    };
    a.add(i, i, w * ci * ci);
    a.add(j, i, w * ci * cj);
    a.add(j, j, w * cj * cj);
    y[i] += w * ci * time;
    y[j] += w * cj * time;
}

/// A symmetric matrix with two side diagonals; row `i` holds columns `i - 2`, `i - 1`, `i`.
#[derive(Clone)]
struct Band(Vec<[f64; 3]>);

impl Band {
    fn zero(n: usize) -> Self {
        Self(vec![[0.0; 3]; n])
    }

    /// Adds to the entry at row `i`, column `j` ≤ `i`.
    fn add(&mut self, i: usize, j: usize, by: f64) {
        self.0[i][2 + j - i] += by;
    }

    /// Lower factor L with A = L Lᵀ; none when A is not positive definite.
    fn cholesky(mut self) -> Option<Self> {
        for i in 0..self.0.len() {
            for j in i.saturating_sub(2)..=i {
                let mut sum = self.0[i][2 + j - i];
                for k in i.saturating_sub(2)..j {
                    if k + 2 >= j {
                        sum -= self.0[i][2 + k - i] * self.0[j][2 + k - j];
                    }
                }
                self.0[i][2 + j - i] = if i == j {
                    (sum > 0.0).then(|| sum.sqrt())?
                } else {
                    sum / self.0[j][2]
                };
            }
        }
        Some(self)
    }

    fn solve(&self, y: &[f64]) -> Vec<f64> {
        let n = y.len();
        let mut x = y.to_vec();
        for i in 0..n {
            for k in i.saturating_sub(2)..i {
                x[i] -= self.0[i][2 + k - i] * x[k];
            }
            x[i] /= self.0[i][2];
        }
        for i in (0..n).rev() {
            for k in i + 1..(i + 3).min(n) {
                x[i] -= self.0[k][2 + i - k] * x[k];
            }
            x[i] /= self.0[i][2];
        }
        x
    }

    fn log_determinant(&self) -> f64 {
        2.0 * self.0.iter().map(|row| row[2].ln()).sum::<f64>()
    }

    /// Diagonal of the inverse of A, by the recursion of Takahashi et al. 1973 (from memory).
    fn inverse_diagonal(&self) -> Vec<f64> {
        let n = self.0.len();
        // z[i] holds the inverse's entries (i, i), (i, i + 1), (i, i + 2).
        let mut z = vec![[0.0f64; 3]; n];
        let lower = |i: usize, k: usize| self.0.get(i).map_or(0.0, |row| row[2 + k - i]);
        for i in (0..n).rev() {
            let pivot = self.0[i][2];
            let l1 = if i + 1 < n {
                lower(i + 1, i) / pivot
            } else {
                0.0
            };
            let l2 = if i + 2 < n {
                lower(i + 2, i) / pivot
            } else {
                0.0
            };
            let at = |j: usize, k: usize| z.get(j).map_or(0.0, |row| row[k]);
            let second = -l1 * at(i + 1, 1) - l2 * at(i + 2, 0);
            let first = -l1 * at(i + 1, 0) - l2 * at(i + 1, 1);
            z[i] = [
                1.0 / (pivot * pivot) - l1 * first - l2 * second,
                first,
                second,
            ];
        }
        z.into_iter().map(|row| row[0]).collect()
    }
}
