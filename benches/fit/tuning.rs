//! What the kinds of evidence for a tuning weigh (`music/guess.rs`): conditional logit, the right choice being
//! every tuning that sounds as the true one does. Folders count alike, however many pieces they hold: each is
//! one player's way, and odds must be right for all. The prior's weight is not fitted: pieces in twelve tunings
//! alike cannot tell how common they are.

use super::{beside, written};
use serde::Deserialize;
use std::path::{Path, PathBuf};
use thumbline::analysis::{mono::Mono, plucked, string_assignment};
use thumbline::music::guess::{Evidence, evidence, sounds_alike};
use thumbline::music::tuning::{NamedTuning, Tuning};
use thumbline::parallel;

/// Weight of how common a tuning is: chosen with 45 rendered pieces of another hand in view.
const COMMON: f64 = 0.7;
/// Steps up the slope, how far each goes, and what every weight pays for its size.
const STEPS: usize = 4000;
const RATE: f64 = 0.02;
const DECAY: f64 = 0.003;

#[derive(Deserialize)]
struct Told {
    open: Vec<i32>,
    capo: i32,
}

/// Evidence of every candidate, and whether it sounds as the true tuning.
type Piece = Vec<([f64; 4], bool)>;

fn piece(wav: &Path) -> Option<Piece> {
    let told: Told = beside(wav, "tuning.json")?;
    let truth = Tuning::low_to_high(&told.open).with_capo(told.capo);
    let recording = thumbline::load::load(wav).ok()?;
    let found = plucked(&Mono::new(&recording), &mut ()).ok()?;
    let heard = string_assignment::unplaced(&found.events, &found.rings);
    let all: Vec<Evidence> = evidence(&heard, NamedTuning::built_in());
    let right = |e: &Evidence| sounds_alike(&e.tuning, &truth);
    all.iter()
        .any(right)
        .then(|| all.iter().map(|e| (e.each, right(e))).collect())
}

/// How likely each candidate is.
fn odds(piece: &Piece, weights: &[f64; 4]) -> Vec<f64> {
    let score = |each: &[f64; 4]| each.iter().zip(weights).map(|(x, w)| x * w).sum::<f64>();
    let scores: Vec<f64> = piece.iter().map(|(each, _)| score(each)).collect();
    let top = scores.iter().copied().fold(f64::MIN, f64::max);
    let all: f64 = scores.iter().map(|s| (s - top).exp()).sum();
    scores.iter().map(|s| (s - top).exp() / all).collect()
}

pub fn fit(files: &[PathBuf]) {
    let mut players: Vec<Vec<Piece>> = Vec::new();
    for folder in files.chunk_by(|a, b| a.parent() == b.parent()) {
        let found = parallel::map(folder, |f| piece(f));
        let found: Vec<Piece> = found.into_iter().flatten().collect();
        println!("{} of {} recordings", found.len(), folder.len());
        if !found.is_empty() {
            players.push(found);
        }
    }
    if players.is_empty() {
        return;
    }
    // Each piece with what it counts.
    let mut read: Vec<(&Piece, f64)> = Vec::new();
    for pieces in &players {
        let counts = 1.0 / (pieces.len() * players.len()) as f64;
        read.extend(pieces.iter().map(|piece| (piece, counts)));
    }
    let mut weights = [0.3, 0.3, 0.3, COMMON];
    for step in 0..STEPS {
        let mut slope = [0.0; 4];
        for (piece, counts) in &read {
            let odds = odds(piece, &weights);
            let right: f64 = piece
                .iter()
                .zip(&odds)
                .filter(|((_, r), _)| *r)
                .map(|(_, p)| p)
                .sum();
            for ((each, is), p) in piece.iter().zip(&odds) {
                let more = if *is { p / right.max(1e-30) } else { 0.0 } - p;
                for (s, x) in slope.iter_mut().zip(each) {
                    *s += more * x * counts;
                }
            }
        }
        let rate = RATE * (1.0 - step as f64 / STEPS as f64);
        for (w, s) in weights.iter_mut().zip(slope).take(3) {
            let step = (s - 2.0 * DECAY * *w).clamp(-1.0, 1.0);
            *w = (*w + rate * step).max(0.0);
        }
    }
    let first = |piece: &Piece| {
        let odds = odds(piece, &weights);
        let most = (0..odds.len()).max_by(|a, b| odds[*a].total_cmp(&odds[*b]));
        most.is_some_and(|k| piece[k].1)
    };
    let right = read.iter().filter(|(p, _)| first(p)).count();
    println!("first candidate right: {right} of {}", read.len());
    let text = format!(
        "//! What the kinds of evidence for a tuning weigh. Written by `cargo xtask fit hearing tuning`: the first three by\n\
         //! conditional logit on {} pieces of {} players, each player counted alike; the last, which such pieces cannot\n\
         //! tell, was chosen with 45 rendered pieces of another hand in view.\n\n\
         /// In the order of [`super::Evidence::each`].\n\
         pub(super) const WEIGHTS: [f64; 4] = [{:.2}, {:.2}, {:.2}, {:.2}];\n",
        read.len(),
        players.len(),
        weights[0],
        weights[1],
        weights[2],
        weights[3]
    );
    written("src/music/guess/weights.rs", &text);
}
