//! The table of priors and the confidence of the beats.

use crate::known;
use thumbline::analysis::beat::Priors;
use thumbline::analysis::beat::prior_fit::{self, Pieces};

/// Fits both on these folders, each counting alike, and prints them. `--sure` leaves the priors.
pub fn fit(args: &[String]) {
    let (flags, folders): (Vec<_>, Vec<_>) = args.iter().partition(|a| a.starts_with("--"));
    let sets: Vec<Pieces> = folders
        .iter()
        .map(|folder| known::read(folder.as_ref()))
        .filter(|pieces| !pieces.is_empty())
        .map(|pieces| {
            println!("{} pieces", pieces.len());
            Pieces::new(pieces)
        })
        .collect();
    if sets.is_empty() {
        println!("nothing to fit on: name folders of NAME.json or NAME.wav with NAME.truth.json");
        return;
    }
    let priors = if flags.iter().any(|f| *f == "--sure") {
        Priors::SHIPPED
    } else {
        prior_fit::priors(&sets, Priors::SHIPPED, |name, value, figure| {
            if name.is_empty() {
                println!("as shipped: {figure:.4}");
            } else {
                println!("{name} {value:.3}: {figure:.4}");
            }
        })
    };
    println!("{priors:#?}");
    println!("SURE: {:.2?}", prior_fit::sure(&sets, priors));
}
