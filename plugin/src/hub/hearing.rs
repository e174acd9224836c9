//! Listening to the recording that is open: the analysis, the player's corrections of it, and what
//! the deck is told of both.

use super::{Desk, Hub, locked};
use crate::jobs::Urgency;
use crate::shelf;
use crate::snapshot::{AnalysisView, Hear};
use std::sync::{Arc, Weak};
use thumbline::analysis::{self, Analysis, Observer, Options, Stage, beat};
use thumbline::deck::{Message, Pulse};
use thumbline::music::grid::Grid;
use thumbline::music::note::Note;
use thumbline::music::tuning::Tuning;
use thumbline::recording::{ContentHash, Recording};
use thumbline::stretch::OnsetTable;
use thumbline::timing;
use thumbline::unit::Seconds;

impl Hub {
    /// Listens to the recording on the listening thread.
    pub(super) fn analyse(
        &self,
        original: Arc<Recording>,
        hash: ContentHash,
        tuning: Option<Tuning>,
    ) {
        let (generation, hub) = {
            let mut desk = locked(&self.desk);
            desk.listening += 1;
            desk.analysis = AnalysisView::begun();
            desk.original = Some(Arc::clone(&original));
            (desk.listening, self.me.clone())
        };
        self.crew.listen(Urgency::Sight, move || {
            let result = if let Some(known) = shelf::heard(hash, tuning.as_ref()) {
                Ok(known)
            } else {
                let options = Options {
                    tuning: tuning.clone(),
                };
                let mut watch = Watch {
                    hub: hub.clone(),
                    generation,
                    end: original.end(),
                    progress: 0.0,
                    onsets: Arc::from([]),
                    so_far: None,
                };
                analysis::analyze(&original, &options, &mut watch)
                    .map(Arc::new)
                    .map_err(|e| e.to_string())
            };
            if let Some(hub) = hub.upgrade() {
                if let Ok(heard) = &result {
                    shelf::share_heard(hash, tuning.clone(), heard);
                }
                hub.heard(generation, result);
            }
            false
        });
    }

    fn heard(&self, generation: u64, result: Result<Arc<Analysis>, String>) {
        {
            let mut desk = locked(&self.desk);
            if desk.listening != generation {
                return;
            }
            // The samples at the file's own rate are not needed any longer.
            desk.original = None;
            match result {
                Ok(heard) => desk.heard = Some(heard),
                Err(reason) => {
                    desk.analysis = AnalysisView::Failed(reason);
                    return;
                }
            }
        }
        self.correct();
    }

    /// Applies the player's corrections to what was heard, and tells the deck.
    pub(super) fn correct(&self) {
        let (heard, corrections, generation) = {
            let mut desk = locked(&self.desk);
            let Some(heard) = desk.heard.clone() else {
                return;
            };
            desk.correcting += 1;
            (
                heard,
                desk.marks(|m| m.corrections.clone()),
                desk.correcting,
            )
        };
        let hub = self.me.clone();
        self.crew.listen(Urgency::Sound, move || {
            let mut corrected = corrections.applied(&heard);
            let edits = corrections.grid_edits();
            if !edits.is_empty() {
                let tracked = beat::track(&corrected.notes, corrected.end, &edits);
                corrected.grid = tracked.grid;
                corrected.warnings.extend(tracked.warnings);
            }
            let pins = corrections.pins(&corrected.notes);
            if let Some(hub) = hub.upgrade() {
                hub.corrected(generation, Arc::new(corrected), pins.into());
            }
            false
        });
    }

    fn corrected(&self, generation: u64, analysis: Arc<Analysis>, pins: Arc<[(usize, Seconds)]>) {
        let reference = timing::Reference::default();
        let swing = timing::measure(&analysis.notes, &analysis.grid, reference).off_beat();
        let mut desk = locked(&self.desk);
        if desk.correcting != generation {
            return;
        }
        desk.swing = swing;
        desk.analysis = AnalysisView::Ready(analysis);
        desk.pins = pins;
        desk.tell_analysis();
        desk.flush();
        let dial = desk.marks(|m| m.balance);
        if desk.hear == Hear::default() {
            desk.hear = Hear::Balance(dial);
        }
        drop(desk);
        self.answer_takes();
        self.mix();
    }
}

/// Shows an analysis while it is under way.
struct Watch {
    hub: Weak<Hub>,
    generation: u64,
    end: Seconds,
    progress: f32,
    onsets: Arc<[Seconds]>,
    so_far: Option<Arc<Analysis>>,
}

impl Watch {
    fn show(&self) {
        if let Some(hub) = self.hub.upgrade() {
            let mut desk = locked(&hub.desk);
            if desk.listening == self.generation {
                desk.analysis = AnalysisView::Working {
                    progress: self.progress,
                    onsets: Arc::clone(&self.onsets),
                    so_far: self.so_far.clone(),
                };
            }
        }
    }
}

impl Observer for Watch {
    fn progress(&mut self, stage: Stage, fraction: f32) {
        // Reading notes takes most of the time.
        let (from, share) = match stage {
            Stage::Onsets => (0.0, 0.3),
            Stage::Notes => (0.3, 0.5),
            Stage::Roles => (0.8, 0.05),
            Stage::Beats => (0.85, 0.15),
        };
        self.progress = from + share * fraction;
        self.show();
    }

    fn onsets(&mut self, onsets: &[Seconds]) {
        self.onsets = self.onsets.iter().chain(onsets).copied().collect();
        self.show();
    }

    fn notes(&mut self, notes: &[Note]) {
        self.so_far = Some(Arc::new(Analysis {
            notes: notes.to_vec(),
            grid: Grid::default(),
            tuning_offset: None,
            tuning_course: Vec::new(),
            tuning: Tuning::standard(),
            end: self.end,
            alternatives: Vec::new(),
            warnings: Vec::new(),
        }));
        self.show();
    }

    fn cancelled(&mut self) -> bool {
        self.hub
            .upgrade()
            .is_none_or(|hub| locked(&hub.desk).listening != self.generation)
    }
}

impl Desk {
    /// Tells the deck what was heard.
    pub(super) fn tell_analysis(&mut self) {
        let (AnalysisView::Ready(analysis), Some(sound)) = (&self.analysis, &self.sound) else {
            return;
        };
        let onsets = onset_table(Some(analysis), sound);
        let click = self.store.lock().click_rate;
        let pulse = Pulse::new(&analysis.grid, sound.rate(), click, self.swing);
        self.send(Message::Onsets(onsets));
        self.send(Message::Pulse(pulse.map(Box::new)));
    }
}

/// The onsets that the stretch engine keeps sharp: those heard, or until then its own reading.
pub(super) fn onset_table(heard: Option<&Analysis>, sound: &Arc<Recording>) -> Arc<OnsetTable> {
    match heard {
        Some(analysis) => {
            let frames = analysis
                .notes
                .iter()
                .map(|n| n.time.frame(sound.rate()))
                .collect();
            Arc::new(OnsetTable::cleaned(frames, sound.frames()))
        }
        None => Arc::new(thumbline::stretch::transient::onsets(sound)),
    }
}
