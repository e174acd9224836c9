//! What every question of a page has: what the page remembers, what was heard, the presets; and the tuning
//! that is meant.

use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;

/// What a page asks.
#[derive(Debug, Clone)]
pub struct Asked<P> {
    /// What the page remembers.
    pub page: P,
    /// What was heard in the recording, where one is open.
    pub heard: Option<Arc<Analysis>>,
    /// Tunings and scales by name.
    pub presets: Arc<Presets>,
}

impl<P: PartialEq> PartialEq for Asked<P> {
    fn eq(&self, other: &Self) -> bool {
        let at = |heard: &Option<Arc<Analysis>>| heard.as_ref().map(Arc::as_ptr);
        self.page == other.page
            && at(&self.heard) == at(&other.heard)
            && Arc::ptr_eq(&self.presets, &other.presets)
    }
}

/// The tuning that a page names, else the recording's, else standard; with its name.
pub fn tuning(
    named: Option<&str>,
    capo: Option<i32>,
    heard: Option<&Analysis>,
    presets: &Presets,
) -> Result<(String, Tuning), String> {
    let (name, tuning) = match (named, heard) {
        (Some(named), _) => {
            let (name, tuning) = presets.tuning(named).map_err(|e| e.to_string())?;
            (name, tuning)
        }
        (None, Some(heard)) => (presets.tuning_name(&heard.tuning), heard.tuning.clone()),
        (None, None) => ("standard".to_owned(), Tuning::standard()),
    };
    let tuning = match capo {
        Some(fret) => tuning.with_capo(fret),
        None => tuning,
    };
    Ok((name, tuning))
}
