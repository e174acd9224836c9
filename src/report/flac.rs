//! Sound → FLAC, without loss at 24 bits: how takes are kept for years in half the room of a WAV.
//!
//! Owns the subset of RFC 9639 (Free Lossless Audio Codec, 2024) that is needed: blocks of 4,096
//! frames, channels by themselves, fixed predictors of order 0 to 4, partitioned Rice codes. Every
//! decoder reads it; better compression would not be worth more code here.

use md5::{Digest, Md5};
use std::io::{self, Write};

/// Frames of one block.
const BLOCK: usize = 4096;
/// Bits of a sample.
const BITS: u32 = 24;
/// Most channels that the format can hold.
pub const MOST_CHANNELS: usize = 8;
/// Highest order of a fixed predictor, and of a partition.
const HIGHEST_ORDER: usize = 4;
const HIGHEST_PARTITION: u32 = 6;

/// A sample as it will read back: rounded to 24 bits, kept within full scale.
pub fn rounded(sample: f32) -> f32 {
    whole(sample) as f32 / FULL as f32
}

/// 2^23: full scale.
const FULL: f64 = 8_388_608.0;

fn whole(sample: f32) -> i32 {
    (f64::from(sample) * FULL)
        .round_ties_even()
        .clamp(-FULL, FULL - 1.0) as i32
}

/// Writes planar `channels` (1 to [`MOST_CHANNELS`], all of one length) at `rate` Hz to `out`.
///
/// # Errors
/// The writer's own; [`io::ErrorKind::InvalidInput`] for more channels than the format holds.
pub fn write(out: &mut dyn Write, rate: u32, channels: &[Vec<f32>]) -> io::Result<()> {
    if channels.is_empty() || channels.len() > MOST_CHANNELS {
        let why = "a FLAC file holds 1 to 8 channels";
        return Err(io::Error::new(io::ErrorKind::InvalidInput, why));
    }
    let frames = channels[0].len();
    let mut head = Bits::default();
    head.put(u64::from(u32::from_be_bytes(*b"fLaC")), 32);
    head.put(0x80, 8); // the last block of metadata: stream info
    head.put(34, 24);
    head.put(BLOCK as u64, 16);
    head.put(BLOCK as u64, 16);
    head.put(0, 48); // sizes of frames are not told
    head.put(u64::from(rate), 20);
    head.put(channels.len() as u64 - 1, 3);
    head.put(u64::from(BITS) - 1, 5);
    head.put(frames as u64, 36);
    out.write_all(&head.bytes)?;
    out.write_all(&md5(channels))?;
    for (number, start) in (0..frames).step_by(BLOCK).enumerate() {
        let end = frames.min(start + BLOCK);
        let block: Vec<Vec<i32>> = channels
            .iter()
            .map(|c| c[start..end].iter().map(|s| whole(*s)).collect())
            .collect();
        out.write_all(&frame(number as u64, &block))?;
    }
    Ok(())
}

/// MD5 of the samples as they will read back, by which a player checks them: little-endian, 24 bits,
/// the channels of each frame in turn.
fn md5(channels: &[Vec<f32>]) -> [u8; 16] {
    let mut sum = Md5::new();
    for frame in 0..channels[0].len() {
        for channel in channels {
            sum.update(&whole(channel[frame]).to_le_bytes()[..3]);
        }
    }
    sum.finalize().into()
}

/// One frame: header, a subframe for each channel, checks.
fn frame(number: u64, block: &[Vec<i32>]) -> Vec<u8> {
    let length = block[0].len();
    let mut bits = Bits::default();
    bits.put(0xFFF8, 16); // blocks of one fixed size
    bits.put(if length == BLOCK { 0b1100 } else { 0b0111 }, 4);
    bits.put(0, 4); // rate as in the stream info
    bits.put(block.len() as u64 - 1, 4);
    bits.put(0b110, 3); // 24 bits
    bits.put(0, 1);
    bits.number(number);
    if length != BLOCK {
        bits.put(length as u64 - 1, 16);
    }
    let check = crc(&bits.bytes, 8, 0x07);
    bits.put(u64::from(check), 8);
    for channel in block {
        subframe(&mut bits, channel);
    }
    bits.fill();
    let check = crc(&bits.bytes, 16, 0x8005);
    bits.put(u64::from(check), 16);
    bits.bytes
}

fn subframe(bits: &mut Bits, samples: &[i32]) {
    // Low bits that are zero throughout (a 16-bit source) are left out.
    let all = samples.iter().fold(0, |a, s| a | s);
    let wasted = if all == 0 { 0 } else { all.trailing_zeros() };
    let samples: Vec<i64> = samples.iter().map(|s| i64::from(s >> wasted)).collect();
    let width = BITS - wasted;
    let constant = samples.iter().all(|s| *s == samples[0]);
    let coded = (!constant)
        .then(|| Coded::best(&samples))
        .flatten()
        .filter(|c| c.cost < u64::from(width) * samples.len() as u64);
    let kind = match &coded {
        _ if constant => 0,
        Some(coded) => 0b1000 | coded.order as u64,
        None => 1,
    };
    bits.put(kind, 7); // a zero bit and six of the kind
    bits.put(u64::from(wasted > 0), 1);
    if wasted > 0 {
        bits.put(1, wasted);
    }
    match coded {
        Some(coded) => coded.write(bits, &samples, width),
        None if constant => bits.signed(samples[0], width),
        None => samples.iter().for_each(|s| bits.signed(*s, width)),
    }
}

/// A predicted subframe, ready to be written.
struct Coded {
    order: usize,
    /// What the predictor leaves, folded to whole numbers from 0: 0, −1, 1, −2 …
    left: Vec<u64>,
    /// 2^this partitions, and the Rice parameter of each.
    partition: u32,
    rice: Vec<u32>,
    /// Bits that it takes.
    cost: u64,
}

impl Coded {
    /// The order whose residual is smallest in the sum; none for less samples than it needs.
    fn best(samples: &[i64]) -> Option<Self> {
        let mut residual = samples.to_vec();
        let mut chosen: Option<(u64, usize, Vec<i64>)> = None;
        for order in 0..=HIGHEST_ORDER.min(samples.len().saturating_sub(1)) {
            if order > 0 {
                residual = residual.windows(2).map(|w| w[1] - w[0]).collect();
            }
            let sum = residual.iter().map(|r| r.unsigned_abs()).sum();
            if chosen.as_ref().is_none_or(|c| sum < c.0) {
                chosen = Some((sum, order, residual.clone()));
            }
        }
        let (_, order, residual) = chosen?;
        let left: Vec<u64> = residual
            .iter()
            .map(|r| ((r << 1) ^ (r >> 63)) as u64)
            .collect();
        (0..=HIGHEST_PARTITION)
            .filter(|p| samples.len().is_multiple_of(1 << p) && samples.len() >> p > order)
            .map(|partition| {
                let parts = parts(samples.len(), order, partition);
                let each: Vec<(u32, u64)> = parts.map(|p| rice(&left[p])).collect();
                let cost =
                    each.iter().map(|e| e.1 + 5).sum::<u64>() + u64::from(BITS) * order as u64;
                (partition, each, cost)
            })
            .min_by_key(|p| p.2)
            .map(|(partition, each, cost)| Self {
                order,
                partition,
                rice: each.into_iter().map(|e| e.0).collect(),
                left,
                cost,
            })
    }

    fn write(&self, bits: &mut Bits, samples: &[i64], width: u32) {
        for sample in &samples[..self.order] {
            bits.signed(*sample, width);
        }
        bits.put(0b01, 2); // Rice parameters of five bits
        bits.put(u64::from(self.partition), 4);
        for (part, k) in parts(samples.len(), self.order, self.partition).zip(&self.rice) {
            bits.put(u64::from(*k), 5);
            for value in &self.left[part] {
                bits.zeros(value >> k);
                bits.put(1, 1);
                bits.put(value & ((1 << k) - 1), *k);
            }
        }
    }
}

/// Residuals of each partition; the first lacks the predictor's own samples.
fn parts(
    length: usize,
    order: usize,
    partition: u32,
) -> impl Iterator<Item = std::ops::Range<usize>> {
    let each = length >> partition;
    (0..1usize << partition).map(move |p| (p * each).max(order) - order..(p + 1) * each - order)
}

/// The best Rice parameter for some values, and the bits they then take.
fn rice(values: &[u64]) -> (u32, u64) {
    let sum: u64 = values.iter().sum();
    let near = (sum / values.len().max(1) as u64).max(1).ilog2();
    (near.saturating_sub(1)..=(near + 1).min(30))
        .map(|k| {
            let high: u64 = values.iter().map(|v| v >> k).sum();
            (k, high + values.len() as u64 * u64::from(k + 1))
        })
        .min_by_key(|c| c.1)
        .unwrap_or((0, 0))
}

/// Bits in order, the highest first.
#[derive(Default)]
struct Bits {
    bytes: Vec<u8>,
    /// Bits that wait for their byte, and how many.
    waiting: u64,
    count: u32,
}

impl Bits {
    /// The lowest `width` (at most 48) bits of `value`; none for 0.
    fn put(&mut self, value: u64, width: u32) {
        if width > 32 {
            self.put(value >> 32, width - 32);
            return self.put(value & 0xFFFF_FFFF, 32);
        }
        let value = value & ((1u64 << width) - 1);
        self.waiting = self.waiting << width | value;
        self.count += width;
        while self.count >= 8 {
            self.count -= 8;
            self.bytes.push((self.waiting >> self.count) as u8);
        }
        self.waiting &= (1 << self.count) - 1;
    }

    fn signed(&mut self, value: i64, width: u32) {
        self.put(value as u64, width);
    }

    fn zeros(&mut self, mut count: u64) {
        while count > 0 {
            let now = count.min(32);
            self.put(0, now as u32);
            count -= now;
        }
    }

    /// A frame's number, coded as UTF-8 codes characters, to 36 bits.
    fn number(&mut self, number: u64) {
        if number < 0x80 {
            return self.put(number, 8);
        }
        let mut tail = 1;
        while tail < 6 && number >> (6 * tail + 6 - tail) > 0 {
            tail += 1;
        }
        let lead = 0xFF00u64 >> (tail + 1) & 0xFF;
        self.put(lead | number >> (6 * tail), 8);
        for i in (0..tail).rev() {
            self.put(0x80 | number >> (6 * i) & 0x3F, 8);
        }
    }

    /// Zeros to the end of the byte.
    fn fill(&mut self) {
        let rest = (8 - self.count % 8) % 8;
        self.put(0, rest);
    }
}

/// Cyclic redundancy check of `width` bits.
fn crc(bytes: &[u8], width: u32, polynomial: u32) -> u32 {
    let top = 1u32 << (width - 1);
    let all = (top << 1) - 1;
    bytes.iter().fold(0, |crc, byte| {
        let mut crc = crc ^ u32::from(*byte) << (width - 8);
        for _ in 0..8 {
            crc = if crc & top == 0 {
                crc << 1
            } else {
                crc << 1 ^ polynomial
            };
        }
        crc & all
    })
}
