//! Pictures of the engine at half speed: one pluck's waveform and one phrase's spectrogram, each
//! of the recording, the exact answer, ours and one open engine (Signalsmith Stretch).

use super::material::{Material, other, ours};
use std::fmt::Write;
use std::path::Path;
use std::sync::Arc;
use std::{fs, io};
use thumbline::dsp::spectrum::Spectrum;
use thumbline::recording::Recording;
use thumbline::stretch::transient;

const RATE: u32 = 44_100;
const SPEED: f64 = 0.5;
const NAMES: [&str; 4] = [
    "the recording",
    "the exact answer at half speed",
    "Thumbline at half speed",
    "an open engine at half speed",
];

/// Draws `stretch-pluck.svg` and `stretch-phrase.svg` into `folder`.
pub fn draw(folder: &Path) -> io::Result<()> {
    let phrase = Material::phrase(RATE, 1.0, 2.4);
    let exact = Material::phrase(RATE, SPEED, 2.4);
    let recording = Recording::new("phrase", RATE, vec![phrase.samples.clone()])
        .map_err(|e| io::Error::other(e.to_string()))?;
    let onsets = Arc::new(transient::onsets(&recording));
    let mine = ours(&Arc::new(recording), &onsets, SPEED).swap_remove(0);
    let theirs = other(std::slice::from_ref(&phrase.samples), RATE, SPEED).swap_remove(0);
    fs::create_dir_all(folder)?;
    let at = phrase.onsets[3];
    let sounds = [&phrase.samples, &exact.samples, &mine, &theirs];
    let places = [at, at / SPEED, at / SPEED, at / SPEED];
    fs::write(folder.join("stretch-pluck.svg"), waveforms(&sounds, places))?;
    fs::write(folder.join("stretch-phrase.svg"), phrases(&sounds))
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
        let mut points = String::new();
        for (k, s) in samples.iter().skip(from).take(n).enumerate() {
            let _ = write!(
                points,
                "{:.1},{:.1} ",
                k as f64 / n as f64 * width,
                middle - 52.0 * f64::from(*s).clamp(-1.0, 1.0)
            );
        }
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

/// Size of a spectrogram in cells, what lies between two rows, and where the rows begin.
const CELLS: (usize, usize) = (720, 112);
const ROW: usize = CELLS.1 + 26;
const LEFT: usize = 44;
/// Highest frequency shown, Hz, and the window, frames: 46 ms.
const TOP: f64 = 6000.0;
const SIZE: usize = 2048;

/// Four rows of 0 to 6 kHz, 80 dB from white to black, with their seconds; the recording is drawn
/// as wide as the slow ones.
fn phrases(sounds: &[&Vec<f32>; 4]) -> String {
    let (width, height) = (LEFT + CELLS.0 + 16, 4 * ROW + 12);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         font-family=\"sans-serif\" font-size=\"12\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n"
    );
    for (i, samples) in sounds.iter().enumerate() {
        let top = i * ROW + 18;
        let png = base64(&png(CELLS.0, CELLS.1, &spectrogram(samples)));
        let (w, h) = CELLS;
        let _ = writeln!(
            svg,
            "<text x=\"{LEFT}\" y=\"{}\">{}</text>\n\
             <image x=\"{LEFT}\" y=\"{top}\" width=\"{w}\" height=\"{h}\" \
             preserveAspectRatio=\"none\" href=\"data:image/png;base64,{png}\"/>",
            top - 5,
            NAMES[i]
        );
        for (part, name) in [(0.0, "6 kHz"), (0.5, "3 kHz"), (1.0, "0")] {
            let y = top as f64 + part * h as f64 + 4.0;
            let x = LEFT - 5;
            let _ = writeln!(
                svg,
                "<text x=\"{x}\" y=\"{y:.0}\" text-anchor=\"end\" fill=\"#555\">{name}</text>"
            );
        }
        let seconds = samples.len() as f64 / f64::from(RATE);
        for s in 1..seconds.ceil() as usize {
            let x = LEFT as f64 + s as f64 / seconds * w as f64;
            let y = top + h;
            let _ = writeln!(
                svg,
                "<line x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{y}\" y2=\"{}\" stroke=\"#555\"/>\n\
                 <text x=\"{:.1}\" y=\"{}\" fill=\"#555\" font-size=\"10\">{s} s</text>",
                y + 9,
                x + 3.0,
                y + 10
            );
        }
    }
    svg.push_str("</svg>\n");
    svg
}

/// Levels of one sound, a byte a cell, row by row from the top: 255 is 80 dB down.
fn spectrogram(samples: &[f32]) -> Vec<u8> {
    let (width, height) = CELLS;
    let mut grey = vec![255u8; width * height];
    let mut spectrum = Spectrum::new(SIZE, SIZE);
    let mut bins = vec![0.0f32; spectrum.bins()];
    for x in 0..width {
        let centre = (samples.len() * x / width) as isize;
        spectrum.magnitudes(samples, centre - (SIZE / 2) as isize, &mut bins);
        for y in 0..height {
            let k = TOP * (1.0 - y as f64 / height as f64) * SIZE as f64 / f64::from(RATE);
            let level = 20.0 * (4.0 * bins[k as usize]).max(1e-6).log10();
            let dark = ((level + 80.0) / 80.0).clamp(0.0, 1.0);
            grey[y * width + x] = (255.0 * (1.0 - dark)) as u8;
        }
    }
    grey
}

/// Base64 (RFC 4648).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let byte = |i: usize| u32::from(three.get(i).copied().unwrap_or(0));
        let all = byte(0) << 16 | byte(1) << 8 | byte(2);
        for i in 0..4 {
            if i <= three.len() {
                out.push(char::from(LETTERS[(all >> (18 - 6 * i) & 63) as usize]));
            } else {
                out.push('=');
            }
        }
    }
    out
}

/// A PNG (ISO/IEC 15948) of 16 greys with uncompressed data; `width` is even.
fn png(width: usize, height: usize, grey: &[u8]) -> Vec<u8> {
    let mut raw = Vec::with_capacity((width / 2 + 1) * height);
    for line in grey.chunks_exact(width) {
        raw.push(0);
        raw.extend(line.chunks_exact(2).map(|two| two[0] & 0xF0 | two[1] >> 4));
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
    head.extend_from_slice(&[4, 0, 0, 0, 0]);
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
