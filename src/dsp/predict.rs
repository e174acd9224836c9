//! Linear prediction: what a signal's own past foretells about it.
//!
//! Ringing strings are sums of slowly decaying sines, which a linear predictor fitted to the
//! sound just before foretells well; a pluck is what it does not foretell.

use super::dot;

/// Order of the predictor: enough for some twenty partials.
pub const ORDER: usize = 40;

/// A predictor x̂\[n\] = Σ a\[k\] x\[n−1−k\], fitted by least squares (covariance method, Makhoul 1975,
/// from memory).
pub struct Predictor {
    normal: Vec<f64>,
    rows: Vec<f64>,
    past: Vec<f64>,
    /// Coefficients in order of growing age, reversed: the last one weighs the newest sample.
    reversed: [f32; ORDER],
}

impl Default for Predictor {
    fn default() -> Self {
        Self::new()
    }
}

impl Predictor {
    /// A predictor that foretells silence until it is fitted.
    pub fn new() -> Self {
        Self {
            normal: vec![0.0; ORDER * ORDER],
            rows: vec![0.0; (ORDER + 1) * (ORDER + 1)],
            past: Vec::new(),
            reversed: [0.0; ORDER],
        }
    }

    /// Fits it to `past`; less than three times the order foretells silence. Regularised, so that
    /// silence and pure tones are safe.
    pub fn fit(&mut self, past: &[f32]) {
        self.reversed = [0.0; ORDER];
        if past.len() < 3 * ORDER {
            return;
        }
        self.correlate(past);
        let dim = ORDER + 1;
        let floor = 1e-7 * self.rows[0] + 1e-9;
        let mut solution = [0.0; ORDER];
        for i in 0..ORDER {
            for j in i..ORDER {
                let v = self.rows[(i + 1) * dim + j + 1];
                self.normal[i * ORDER + j] = v;
                self.normal[j * ORDER + i] = v;
            }
            self.normal[i * ORDER + i] += floor;
        }
        solution.copy_from_slice(&self.rows[1..=ORDER]);
        if solve(&mut self.normal, &mut solution) {
            for (slot, a) in self.reversed.iter_mut().rev().zip(solution) {
                *slot = a as f32;
            }
        }
    }

    /// rows\[i\]\[j\] = Σ x\[t−i\] x\[t−j\] over t from ORDER on; each row follows from the last.
    fn correlate(&mut self, past: &[f32]) {
        self.past.clear();
        self.past.extend(past.iter().map(|s| f64::from(*s)));
        let (x, n, dim) = (&self.past, past.len(), ORDER + 1);
        for j in 0..dim {
            self.rows[j] = dot(&x[ORDER..], &x[ORDER - j..n - j]);
        }
        for i in 1..dim {
            for j in i..dim {
                self.rows[i * dim + j] = self.rows[(i - 1) * dim + j - 1]
                    + x[ORDER - i] * x[ORDER - j]
                    - x[n - i] * x[n - j];
            }
        }
    }

    /// What sample `n` of `signal` is beyond what the samples before it foretell.
    pub fn error(&self, signal: &[f32], n: usize) -> f32 {
        let Some(from) = n.checked_sub(ORDER) else {
            return signal[n];
        };
        let before = &signal[from..n];
        let mut sums = [0.0f32; 8];
        for (a, x) in self.reversed.chunks_exact(8).zip(before.chunks_exact(8)) {
            for k in 0..8 {
                sums[k] += a[k] * x[k];
            }
        }
        signal[n] - sums.iter().sum::<f32>()
    }
}

/// Solves the symmetric positive system in place (Cholesky); false where it is not positive.
fn solve(a: &mut [f64], b: &mut [f64]) -> bool {
    let n = b.len();
    for i in 0..n {
        for j in 0..=i {
            let v = a[i * n + j] - dot(&a[i * n..i * n + j], &a[j * n..j * n + j]);
            if i == j {
                if v <= 0.0 {
                    return false;
                }
                a[i * n + i] = v.sqrt();
            } else {
                a[i * n + j] = v / a[j * n + j];
            }
        }
    }
    for i in 0..n {
        b[i] = (b[i] - dot(&a[i * n..i * n + i], &b[..i])) / a[i * n + i];
    }
    for i in (0..n).rev() {
        let known: f64 = (i + 1..n).map(|k| a[k * n + i] * b[k]).sum();
        b[i] = (b[i] - known) / a[i * n + i];
    }
    true
}
