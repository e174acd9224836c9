//! The time-stretch engine on sounds that try it: noise, a soft pluck, a start just before a pluck.

use super::stretch::{recording, slow, table};
use std::f64::consts::TAU;
use std::sync::Arc;
use thumbline::dsp::pluck::Chance;
use thumbline::dsp::spectrum::Spectrum;
use thumbline::stretch::{OnsetTable, Speed, Stretcher, transient};

const RATE: u32 = 44_100;

/// Mean over frames of a spectrum's geometric over arithmetic mean, dB: how flat it is.
fn flatness_db(x: &[f32]) -> f64 {
    let len = 4096;
    let mut spectrum = Spectrum::new(len, len);
    let mut power = vec![0.0f32; spectrum.bins()];
    let starts: Vec<usize> = (0..x.len() - len).step_by(len / 2).collect();
    let sum: f64 = starts
        .iter()
        .map(|&start| {
            spectrum.powers(x, start as isize, &mut power);
            let bins = &power[30..740];
            let n = bins.len() as f64;
            let logs: f64 = bins.iter().map(|p| 10.0 * f64::from(*p).log10()).sum();
            let mean: f64 = bins.iter().map(|p| f64::from(*p)).sum::<f64>() / n;
            logs / n - 10.0 * mean.log10()
        })
        .sum();
    sum / starts.len() as f64
}

#[test]
fn noise_stays_noise() {
    // White noise seen through a Hann window has a flatness of −2.51 dB: the mean of the logarithm
    // of an exponentially distributed power is minus Euler's constant. Tones are far below.
    let mut chance = Chance::new(5);
    let x: Vec<f32> = (0..2 * RATE)
        .map(|_| 0.1 * chance.normal() as f32)
        .collect();
    let recording = recording(RATE, vec![x]);
    let none = Arc::new(OnsetTable::default());
    for speed in [0.25, 0.5, 0.85, 1.25] {
        let out = slow(&recording, &none, speed, 0.0).swap_remove(0);
        let edge = (0.2 * f64::from(RATE) / speed) as usize;
        let middle = &out[edge..out.len() - edge];
        let flat = flatness_db(middle);
        assert!(
            (flat + 2.51).abs() < 0.3,
            "flatness {flat:.2} dB at {speed}"
        );
        let power: f32 = middle.iter().map(|s| s * s).sum::<f32>() / middle.len() as f32;
        let level = 10.0 * (power / 0.01).log10();
        assert!(level.abs() < 0.3, "{level:.2} dB louder at {speed}");
    }
}

#[test]
fn a_start_just_before_a_pluck_leaves_nothing_behind() {
    // A constant, and an onset so soon that a window reaches back before the start. What it puts
    // there must not come up again when the engine's memory comes round, 0.74 s later.
    let recording = recording(RATE, vec![vec![0.5; 3 * RATE as usize]]);
    for ahead in [1, 30, 100, 130, 180, 300] {
        let onsets = table(&[20_000 + ahead], &recording);
        let mut player = Stretcher::new(Arc::clone(&recording), onsets);
        player.set_speed(Speed::nearest(0.5));
        player.seek(20_000);
        let mut out = vec![0.0f32; 100_000];
        player.process(&mut [&mut out]);
        let worst = out.iter().map(|s| (s - 0.5).abs()).fold(0.0, f32::max);
        assert!(
            worst < 0.01,
            "off by {worst} with an onset {ahead} frames ahead"
        );
    }
}

#[test]
fn a_soft_pluck_under_a_ringing_string_is_read() {
    // A high note rings; a soft low one begins without any burst, over 8 ms. Its 12 partials are
    // 14 dB under the ringing ones: hardly a rise of energy anywhere.
    let at = 0.8;
    let x: Vec<f32> = (0..2 * RATE)
        .map(|i| {
            let t = f64::from(i) / f64::from(RATE);
            let ring = |n: f64| (-2.0 * t).exp() * (TAU * 440.0 * n * t + n).sin() / n;
            let high: f64 = (1..9).map(|n| ring(f64::from(n))).sum::<f64>() * (t / 0.001).min(1.0);
            let since = t - at;
            let rise = (since / 0.008).clamp(0.0, 1.0);
            let low: f64 = (1..13)
                .map(|n| (TAU * 98.3 * f64::from(n) * since + f64::from(n * n)).sin())
                .sum();
            (0.3 * high + 0.02 * rise * low) as f32
        })
        .collect();
    let found = transient::onsets(&recording(RATE, vec![x]));
    let ms = |f: &usize| (*f as f64 / f64::from(RATE) - at) * 1000.0;
    let near = found.frames().iter().map(ms).find(|ms| ms.abs() < 12.0);
    assert!(near.is_some(), "not read: {:?}", found.frames());
}

#[test]
fn a_steady_low_string_is_no_row_of_plucks() {
    // Low E with 24 partials and vibrato of a third of a semitone.
    let mut phase = 0.0;
    let x: Vec<f32> = (0..3 * RATE)
        .map(|i| {
            let t = f64::from(i) / f64::from(RATE);
            phase += TAU * 82.41 / f64::from(RATE) * (1.0 + 0.01 * (TAU * 5.0 * t).sin());
            let sum: f64 = (1..25)
                .map(|n| (f64::from(n) * phase).cos() / f64::from(n))
                .sum();
            (0.2 * sum * (t / 0.05).min(1.0)) as f32
        })
        .collect();
    let found = transient::onsets(&recording(RATE, vec![x]));
    let late = found
        .frames()
        .iter()
        .filter(|&&f| f > RATE as usize / 3)
        .count();
    assert_eq!(late, 0, "{:?}", found.frames());
}

#[test]
fn unlike_sounds_cross_at_a_seam_without_a_dip_or_a_bump() {
    // Noise: wherever the loop is cut, the level stays what it is. A linear fade of sounds with
    // correlation r has 10·log(½(1 + r)) dB in its middle, −3.01 here (handbook formula).
    let mut chance = Chance::new(11);
    let x: Vec<f32> = (0..RATE).map(|_| 0.1 * chance.normal() as f32).collect();
    let recording = recording(RATE, vec![x]);
    let none = Arc::new(OnsetTable::default());
    let ms = |ms: usize| ms * RATE as usize / 1000;
    // Power by millisecond after the seam, over many seams.
    let mut power = [0.0f64; 40];
    let seams = 60;
    for i in 0..seams {
        let (from, len) = (ms(150 + 7 * i), ms(200));
        let mut player = Stretcher::new(Arc::clone(&recording), Arc::clone(&none));
        player.seek(from);
        player.set_loop(Some(from..from + len));
        let mut out = vec![0.0f32; len + ms(30)];
        player.process(&mut [&mut out]);
        for (at, sum) in power.iter_mut().enumerate() {
            let from = len + ms(at) - ms(20);
            let part = &out[from..from + ms(1)];
            *sum += part.iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / part.len() as f64;
        }
    }
    for (at, sum) in power.iter().enumerate() {
        let level = 10.0 * (sum / seams as f64 / 0.01).log10();
        let at = at as i32 - 20;
        assert!(level.abs() < 0.7, "{level:.2} dB {at} ms after the seam");
    }
}

#[test]
fn two_strings_close_in_frequency_keep_their_own_pitches() {
    // Two decaying partials between 3 and 9 Hz apart: one peak of a 186 ms window. Outside the
    // engine the answer is exact: each keeps its frequency and takes longer to decay.
    for (apart, weaker) in [(3.0, 1.0), (6.0, 0.4), (9.0, 0.7)] {
        let x: Vec<f32> = (0..2 * RATE)
            .map(|i| {
                let t = f64::from(i) / f64::from(RATE);
                let strong = (TAU * 440.0 * t).cos() * (-t / 1.2).exp();
                let weak = (TAU * (440.0 + apart) * t + 0.5).cos() * (-t / 0.8).exp();
                (0.2 * (strong + weaker * weak)) as f32
            })
            .collect();
        let recording = recording(RATE, vec![x]);
        let none = Arc::new(OnsetTable::default());
        for speed in [0.25, 0.5, 0.7, 1.25] {
            let out = slow(&recording, &none, speed, 0.0).swap_remove(0);
            let edge = (0.3 * f64::from(RATE) / speed) as usize;
            let middle = &out[edge..out.len() - edge];
            let waves = [(440.0, 1.2 / speed), (440.0 + apart, 0.8 / speed)];
            let left = residual_db(middle, &waves);
            assert!(left < -40.0, "{apart} Hz apart at {speed}: {left:.1} dB");
        }
    }
}

/// What decaying sinusoids (frequency in Hz, seconds to decay to 1/e) of any amplitude and phase
/// leave of `x`, in dB, by least squares.
fn residual_db(x: &[f32], waves: &[(f64, f64)]) -> f64 {
    let columns: Vec<Vec<f64>> = waves
        .iter()
        .flat_map(|&(f, tau)| [0.0, TAU / 4.0].map(|phase| (f, tau, phase)))
        .map(|(f, tau, phase)| {
            let at = |i: usize| i as f64 / f64::from(RATE);
            let wave = |t: f64| (TAU * f * t + phase).cos() * (-t / tau).exp();
            (0..x.len()).map(|i| wave(at(i))).collect()
        })
        .collect();
    // Gram and Schmidt, one column after the other, twice for precision.
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let mut basis: Vec<Vec<f64>> = Vec::new();
    let mut rest: Vec<f64> = x.iter().map(|&s| f64::from(s)).collect();
    let whole = dot(&rest, &rest);
    let without = |mut v: Vec<f64>, basis: &[Vec<f64>]| {
        for b in basis.iter().chain(basis) {
            let part = dot(&v, b);
            v.iter_mut().zip(b).for_each(|(v, b)| *v -= part * b);
        }
        v
    };
    for column in columns {
        let mut v = without(column, &basis);
        let norm = dot(&v, &v).sqrt();
        for value in &mut v {
            *value /= norm;
        }
        basis.push(v);
    }
    rest = without(rest, &basis);
    10.0 * (dot(&rest, &rest) / whole).log10()
}
