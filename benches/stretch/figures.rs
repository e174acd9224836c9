//! Pictures of the engine at half speed: one pluck's waveform and one phrase's spectrogram, each
//! of the recording, the exact answer, ours and one open engine.

use super::material::{Material, other, ours};
use realfft::RealFftPlanner;
use std::fmt::Write;
use std::path::Path;
use std::sync::Arc;
use std::{fs, io};
use thumbline::recording::Recording;
use thumbline::stretch::transient;

const RATE: u32 = 44_100;
const SPEED: f64 = 0.5;
const NAMES: [&str; 4] = ["recording", "exact answer", "ours", "open engine"];

/// Draws `stretch-pluck.svg` and `stretch-phrase.png` into `folder`.
pub fn draw(folder: &Path) -> io::Result<()> {
    let phrase = Material::phrase(RATE, 1.0, 2.4);
    let exact = Material::phrase(RATE, SPEED, 2.4);
    let recording = Recording::new("phrase", RATE, vec![phrase.samples.clone()])
        .map_err(|e| io::Error::other(e.to_string()))?;
    let onsets = Arc::new(transient::onsets(&recording));
    let mine = ours(&Arc::new(recording), &onsets, SPEED).swap_remove(0);
    let theirs = other(&[phrase.samples.clone()], RATE, SPEED).swap_remove(0);
    fs::create_dir_all(folder)?;
    let at = phrase.onsets[3];
    let sounds = [&phrase.samples, &exact.samples, &mine, &theirs];
    let places = [at, at / SPEED, at / SPEED, at / SPEED];
    fs::write(folder.join("stretch-pluck.svg"), waveforms(&sounds, places))?;
    fs::write(folder.join("stretch-phrase.png"), spectrograms(&sounds))
}

/// Four rows: 10 ms before to 40 ms after the pluck.
fn waveforms(sounds: &[&Vec<f32>; 4], places: [f64; 4]) -> String {
    let (width, row) = (860.0, 110.0);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {}\" font-family=\"sans-serif\" font-size=\"13\">\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n",
        row * 4.0 + 24.0
    );
    let (before, after) = (0.010, 0.040);
    for (i, (samples, at)) in sounds.iter().zip(places).enumerate() {
        let middle = row * (i as f64 + 0.5);
        let from = ((at - before) * f64::from(RATE)) as usize;
        let n = ((before + after) * f64::from(RATE)) as usize;
        let points: String = (0..n)
            .filter_map(|k| samples.get(from + k).map(|s| (k, f64::from(*s))))
            .map(|(k, s)| {
                format!(
                    "{:.1},{:.1} ",
                    k as f64 / n as f64 * width,
                    middle - 52.0 * s.clamp(-1.0, 1.0)
                )
            })
            .collect();
        let pluck = width * before / (before + after);
        let _ = writeln!(
            svg,
            "<line x1=\"{pluck:.1}\" x2=\"{pluck:.1}\" y1=\"{:.0}\" y2=\"{:.0}\" stroke=\"#b33\" stroke-dasharray=\"3 3\"/>\n<polyline points=\"{points}\" fill=\"none\" stroke=\"#234\" stroke-width=\"1\"/>\n<text x=\"8\" y=\"{:.0}\">{}</text>",
            middle - 52.0,
            middle + 52.0,
            middle - 38.0,
            NAMES[i]
        );
    }
    let _ = writeln!(
        svg,
        "<text x=\"8\" y=\"{:.0}\">10 ms before to 40 ms after a pluck; dashed: where it belongs</text>\n</svg>",
        row * 4.0 + 14.0
    );
    svg
}

/// Four rows of 0 to 6 kHz, 80 dB from white to black; the recording stretched to their width.
fn spectrograms(sounds: &[&Vec<f32>; 4]) -> Vec<u8> {
    let (width, height, gap) = (900usize, 160usize, 6usize);
    let total = height * 4 + gap * 3;
    let mut grey = vec![255u8; width * total];
    let size = 2048;
    let fft = RealFftPlanner::<f32>::new().plan_fft_forward(size);
    let mut time = fft.make_input_vec();
    let mut bins = fft.make_output_vec();
    for (row, samples) in sounds.iter().enumerate() {
        for x in 0..width {
            let centre = samples.len() * x / width;
            for (i, t) in time.iter_mut().enumerate() {
                let w = 0.5 - 0.5 * (std::f32::consts::TAU * i as f32 / size as f32).cos();
                let at = (centre + i)
                    .checked_sub(size / 2)
                    .and_then(|k| samples.get(k));
                *t = at.map_or(0.0, |s| s * w);
            }
            if fft.process(&mut time, &mut bins).is_err() {
                continue;
            }
            for y in 0..height {
                let k = 6000.0 * (1.0 - y as f64 / height as f64) * size as f64 / f64::from(RATE);
                let level = 20.0 * (bins[k as usize].norm() / 200.0).max(1e-6).log10();
                let dark = ((level + 80.0) / 80.0).clamp(0.0, 1.0);
                grey[(row * (height + gap) + y) * width + x] = (255.0 * (1.0 - dark)) as u8;
            }
        }
    }
    png(width, total, &grey)
}

/// A grey PNG (ISO/IEC 15948) with uncompressed data.
fn png(width: usize, height: usize, grey: &[u8]) -> Vec<u8> {
    let mut raw = Vec::with_capacity((width + 1) * height);
    for line in grey.chunks_exact(width) {
        raw.push(0);
        raw.extend_from_slice(line);
    }
    let mut data = vec![0x78, 0x01];
    let blocks = raw.chunks(65_535).count();
    for (i, block) in raw.chunks(65_535).enumerate() {
        data.push(u8::from(i + 1 == blocks));
        data.extend_from_slice(&(block.len() as u16).to_le_bytes());
        data.extend_from_slice(&(!(block.len() as u16)).to_le_bytes());
        data.extend_from_slice(block);
    }
    let (mut a, mut b) = (1u32, 0u32);
    for &byte in &raw {
        a = (a + u32::from(byte)) % 65_521;
        b = (b + a) % 65_521;
    }
    data.extend_from_slice(&(b << 16 | a).to_be_bytes());
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut head = Vec::new();
    head.extend_from_slice(&(width as u32).to_be_bytes());
    head.extend_from_slice(&(height as u32).to_be_bytes());
    head.extend_from_slice(&[8, 0, 0, 0, 0]);
    for (name, body) in [(b"IHDR", &head), (b"IDAT", &data), (b"IEND", &Vec::new())] {
        out.extend_from_slice(&(body.len() as u32).to_be_bytes());
        let start = out.len();
        out.extend_from_slice(name);
        out.extend_from_slice(body);
        let sum = crc(&out[start..]);
        out.extend_from_slice(&sum.to_be_bytes());
    }
    out
}

fn crc(bytes: &[u8]) -> u32 {
    let mut sum = u32::MAX;
    for &byte in bytes {
        sum ^= u32::from(byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 {
                sum >> 1 ^ 0xEDB8_8320
            } else {
                sum >> 1
            };
        }
    }
    !sum
}
