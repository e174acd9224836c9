//! The tuning guess: every tuning with capo 0 to 5, whole analysis on rendered sound.

use crate::invented;
use std::ops::Range;
use thumbline::analysis::{Options, analyze};
use thumbline::music::guess::{guess, heard};
use thumbline::preset::Presets;
use thumbline::unit::Cents;

/// One guess: its odds, and was it right?
type Claim = (f64, bool);

/// Prints how often the right tuning and capo came first and among the first three, and whether
/// the odds were honest.
pub fn run(seeds: Range<u64>) {
    let presets = Presets::built_in();
    let (mut first, mut three, mut all) = (0, 0, 0);
    let (mut heard_right, mut roles, mut strings, mut notes_all) = (0, 0, 0, 0);
    let mut claims: Vec<Claim> = Vec::new();
    for seed in seeds {
        for (index, (name, _)) in invented::TUNINGS.iter().enumerate() {
            let mut told = Vec::new();
            for capo in 0..=5 {
                let (tuning, take) = invented::in_tuning(index, capo, seed);
                let found = analyze(&take.recording, &Options::default(), &mut ()).expect("heard");
                let offset = found.tuning_offset.unwrap_or(Cents(0.0));
                let ranked = guess(&heard(&found.notes, offset), offset, &presets.tunings, 6);
                let place = ranked.iter().position(|g| g.tuning == tuning);
                all += 1;
                heard_right += usize::from(found.tuning == tuning);
                for n in &take.notes {
                    notes_all += 1;
                    if let Some(f) = found.notes.iter().find(|f| {
                        (f.time.0 - n.note.time.0).abs() < 0.05
                            && f.pitch.map(thumbline::unit::MidiNote::nearest)
                                == n.note.pitch.map(thumbline::unit::MidiNote::nearest)
                    }) {
                        roles += usize::from(f.role == n.note.role);
                        strings += usize::from(f.string == n.note.string);
                    }
                }
                first += usize::from(place == Some(0));
                three += usize::from(place.is_some_and(|p| p < 3));
                told.push(place.map_or_else(|| "-".to_owned(), |p| (p + 1).to_string()));
                claims.extend(ranked.iter().map(|g| (g.odds, g.tuning == tuning)));
            }
            println!(
                "seed {seed} {name:<14} place of the right one, capo 0 to 5: {}",
                told.join(" ")
            );
        }
    }
    println!(
        "the analysis itself took the right tuning {heard_right} times; of {notes_all} notes {roles} have the right role, {strings} the right string"
    );
    println!("tuning: first {first}, in the first three {three} of {all}");
    for (low, high) in [
        (0.0, 0.05),
        (0.05, 0.2),
        (0.2, 0.4),
        (0.4, 0.6),
        (0.6, 0.8),
        (0.8, 0.95),
        (0.95, 1.01),
    ] {
        let those: Vec<&Claim> = claims.iter().filter(|c| c.0 >= low && c.0 < high).collect();
        if those.is_empty() {
            continue;
        }
        let odds = those.iter().map(|c| c.0).sum::<f64>() / those.len() as f64;
        let right = those.iter().filter(|c| c.1).count() as f64 / those.len() as f64;
        println!(
            "  odds {low:.2} to {high:.2}: {} guesses, said {odds:.2}, were right {right:.2}",
            those.len()
        );
    }
}
