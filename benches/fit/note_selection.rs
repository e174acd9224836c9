//! The note decision (`analysis/note_selection.rs`).

use super::{beside, written};
use serde::Deserialize;
use std::path::{Path, PathBuf};
use thumbline::analysis::features;
use thumbline::analysis::mono::Mono;
use thumbline::analysis::note_selection::Weights;
use thumbline::analysis::note_selection::weight_fit::{self, KnownPerformance};
use thumbline::parallel;

#[derive(Deserialize)]
struct Truth {
    notes: Vec<TrueNote>,
}

#[derive(Deserialize)]
struct TrueNote {
    t: f64,
    midi: f64,
}

fn performance(wav: &Path) -> Option<KnownPerformance> {
    let truth: Truth = beside(wav, "truth.json")?;
    let recording = thumbline::load::load(wav).ok()?;
    let mono = Mono::new(&recording);
    let (candidates, offset) = features::candidates(&mono, &mut ()).ok()?;
    let heard = features::heard(&mono, &candidates, offset.unwrap_or_default(), &mut ()).ok()?;
    let notes = truth.notes.iter().map(|n| (n.t, n.midi.round() as i32));
    Some(KnownPerformance {
        heard,
        notes: notes.collect(),
    })
}

pub fn fit(files: &[PathBuf]) {
    let read = parallel::map(files, |f| performance(f));
    let read: Vec<KnownPerformance> = read.into_iter().flatten().collect();
    println!("{} of {} recordings", read.len(), files.len());
    if !read.is_empty() {
        let Weights { exact, place, note } = weight_fit::weights(&read);
        let text = format!(
            "//! The weights of the note decision. Written by `cargo xtask fit hearing note-selection` (`weight_fit`): logistic\n\
             //! regressions over what the network says of {} invented pieces.\n\n\
             use super::weighing::Weights;\n\n\
             /// See [`Weights`].\n\
             #[rustfmt::skip]\n\
             pub(super) const WEIGHTS: Weights = Weights {{\n    \
             exact: ({}, {:.3}),\n    place: {},\n    note: ({}, {:.3}),\n}};\n",
            read.len(),
            list(&exact.0),
            exact.1,
            list(&place),
            list(&note.0),
            note.1
        );
        written("src/analysis/note_selection/weights.rs", &text);
    }
}

fn list(weights: &[f32]) -> String {
    let each: Vec<String> = weights.iter().map(|w| format!("{w:.3}")).collect();
    format!("[{}]", each.join(", "))
}
