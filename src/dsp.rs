//! Signal processing that knows nothing of music: windows, spectra, prediction, rate conversion,
//! robust middles, the pitch of one string, and a plucked string.

pub(crate) mod middle;
pub mod pluck;
pub(crate) mod predict;
pub mod resample;
pub mod spectrum;
pub mod string_pitch;
pub(crate) mod window;

use std::iter::Sum;
use std::ops::{Add, AddAssign, Mul};

/// Scalar product over the shorter of two slices, in eight running sums: fast, and the same on every
/// machine.
pub(crate) fn dot<T>(a: &[T], b: &[T]) -> T
where
    T: Copy + Default + Add<Output = T> + AddAssign + Mul<Output = T> + Sum,
{
    let len = a.len().min(b.len());
    let (a, b) = (&a[..len], &b[..len]);
    let mut sums = [T::default(); 8];
    let (a8, b8) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: T = a8
        .remainder()
        .iter()
        .zip(b8.remainder())
        .map(|(x, y)| *x * *y)
        .sum();
    for (x, y) in a8.zip(b8) {
        for k in 0..8 {
            sums[k] += x[k] * y[k];
        }
    }
    sums.into_iter().sum::<T>() + rest
}
