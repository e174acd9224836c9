//! What the player looks at: everything about the window that is neither sound nor kept.
//!
//! Owns the selection and the laid-out page, which is made anew only when what it shows changes.

use crate::command::NoteAt;
use crate::snapshot::{Answer, End, Look, Peaks, Snapshot, TakeView};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::compare::Model;
use thumbline::music::note::Note;
use thumbline::report::sheet::{
    Fold, Hands, Options, Piece, Point, Repeat, RowKind, Sentence, Shape, Sheet, Take, sentences,
};
use thumbline::timing::{self, Drift, Reference, measure, measure_pinned};
use thumbline::unit::{Beats, Seconds};

/// The side panel's page.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Side {
    /// What was found, in words.
    #[default]
    Words,
    /// The chosen note.
    Note,
    /// Beats and bars.
    Beats,
    /// Own takes.
    Takes,
    /// The recording's page of the journal.
    Journal,
    /// Devices, delay and level.
    Sound,
    /// How the page looks, and about the program.
    Look,
}

/// The pages in their order, what each is called, and what it holds.
pub const PAGES: [(Side, &str, &str); 7] = [
    (
        Side::Words,
        "Words",
        "What to know and what to practise, in words",
    ),
    (Side::Note, "Note", "The chosen note, and how to correct it"),
    (
        Side::Beats,
        "Beats",
        "Tap, move and count the beat; bar 1, meter, swing",
    ),
    (
        Side::Takes,
        "Takes",
        "Your own takes, kept loops, foot controller",
    ),
    (
        Side::Journal,
        "Journal",
        "Your progress on this recording, and what is next",
    ),
    (
        Side::Sound,
        "Sound",
        "Set up the sound: device, delay, level",
    ),
    (Side::Look, "Look", "Colours, sizes, tablature, keys"),
];

/// State of one window.
#[derive(Default)]
pub struct Sight {
    /// The chosen note.
    pub chosen: Option<NoteAt>,
    /// Notes a sentence speaks of while the pointer rests on it.
    pub lit: Vec<usize>,
    /// Are those notes of the take?
    pub lit_take: bool,
    /// Page of the side panel.
    pub side: Side,
    /// Can beats be dragged?
    pub moving_beats: bool,
    /// Beats tapped since the last rest, in the recording's time.
    pub taps: Vec<Seconds>,
    /// The path being typed.
    pub path: String,
    /// The name of a region being typed.
    pub region_name: String,
    /// The looped stretch, while it is being typed.
    pub loop_text: Option<String>,
    /// A loop being drawn: where it was begun.
    pub loop_from: Option<Seconds>,
    /// Bars being drawn as a loop along their numbers: where it was begun.
    pub bars_from: Option<i32>,
    /// Is the strip shown where there is no room for it and the rows?
    pub strip: bool,
    /// Which folded patterns have their bars below them, a bit each.
    pub opened: u32,
    /// Row in play when it was last followed.
    pub followed: Option<usize>,
    /// The row to scroll to once, if any.
    pub reveal: Option<usize>,
    /// What is told against, where the player has chosen; else what suits what is shown.
    pub against: Option<Reference>,
    /// Whose notes are shown.
    pub hands: Hands,
    /// Every note where it was played, also where nobody hears it?
    pub hairs: bool,
    /// The bar that is shown close up, if any.
    pub close_up: Option<i32>,
    /// Where the sheet was asked what can be done there.
    pub asked: Option<Point>,
    /// An end of the loop being dragged, and where it has come.
    pub dragged: Option<(End, Seconds)>,
    /// The note under the pointer.
    pub pointed: Option<NoteAt>,
    /// The place of the sheet under the pointer.
    pub pointed_at: Option<Seconds>,
    /// Is the tuning to be asked for?
    pub tune: bool,
    /// The tuning being typed.
    pub tuning: String,
    /// Why what was typed is no tuning.
    pub tuning_fault: Option<String>,
    /// One bar, large, for a player who stands away from the screen?
    pub far: bool,
    /// How large its notes are then, 1 to 4.
    pub far_zoom: f64,
    /// Files that were let go over the window.
    pub came: Vec<PathBuf>,
    /// Are files held over it?
    pub coming: bool,
    /// Files that the pointer takes away from now on.
    pub leaving: Vec<PathBuf>,
    /// Is the window cleared to the paper before it is drawn?
    pub cleared: bool,
    /// Is what the page in view is about shown?
    pub help: bool,
    /// Where the sound was when the sheet was drawn last.
    pub stood: Option<Seconds>,
    /// Upper and lower end of what is seen of the sheet.
    pub view: (f64, f64),
    pub(super) proof: Option<Arc<Proof>>,
    scene: Option<Arc<Scene>>,
    heard: Option<Arc<Heard>>,
    outline: Option<Arc<Outline>>,
}

/// A take on the recording's page.
pub struct Second {
    /// Its notes, where they would lie in the recording.
    pub notes: Vec<Note>,
    /// How they stand to what they are told against.
    pub drift: Drift,
    of: Of,
}

/// Which take, and which answer to the recording.
#[derive(PartialEq)]
struct Of(usize, usize);

impl Of {
    fn new(take: &TakeView) -> Self {
        let at = |pointer: Option<usize>| pointer.unwrap_or_default();
        let heard = take.analysis.as_ref().map(|a| Arc::as_ptr(a).addr());
        let answer = take.answer.as_ref().map(|a| Arc::as_ptr(a).addr());
        Self(at(heard), at(answer))
    }
}

/// A take against the recording, note by note, where that is known already; else against its beat.
fn over(
    take: &TakeView,
    analysis: &Arc<Analysis>,
    pins: &[(usize, Seconds)],
    against: Option<Reference>,
) -> Second {
    let of = Of::new(take);
    let heard = take.analysis.as_ref().map_or(&[][..], |a| &a.notes[..]);
    let answer = take.answer.as_ref();
    let fits = |a: &&Arc<Answer>| Arc::ptr_eq(&a.to, analysis) && a.found.fault.is_none();
    let Some(answer) = answer.filter(fits) else {
        let notes = heard.to_vec();
        let reference = match against {
            Some(Reference::Thumb) => Reference::Thumb,
            _ => Reference::OwnTempo,
        };
        let drift = measure(&notes, &analysis.grid, reference);
        return Second { notes, drift, of };
    };
    let own = measure_pinned(&analysis.notes, &analysis.grid, Reference::OwnTempo, pins);
    let model = Model {
        notes: &analysis.notes,
        grid: &analysis.grid,
        drifts: &own.notes,
    };
    let reference = against.unwrap_or(Reference::Recording);
    let (notes, mut drift) = answer.found.page(model, heard, reference);
    drift.late = answer.found.late(model, heard);
    Second { notes, drift, of }
}

/// What was heard, measured.
pub struct Heard {
    /// The recording's name.
    pub title: String,
    /// The analysis that is shown.
    pub analysis: Arc<Analysis>,
    /// How its notes stand to what they are told against.
    pub drift: Drift,
    /// The take that is drawn over it.
    pub second: Option<Second>,
    pins: Arc<[(usize, Seconds)]>,
    against: Option<Reference>,
}

impl Heard {
    /// As the layout wants it.
    pub fn piece(&self) -> Piece<'_> {
        Piece {
            second: self.second.as_ref().map(|second| Take {
                notes: &second.notes,
                drift: &second.drift,
            }),
            ..Piece::of(&self.title, &self.analysis, &self.drift)
        }
    }
}

/// A page ready to be painted.
pub struct Scene {
    /// What it shows.
    pub heard: Arc<Heard>,
    /// Where everything lies.
    pub sheet: Sheet,
    /// The strip of what repeats, its upper left corner at (0, 0).
    pub strip: Vec<Shape>,
    /// What the strip says, place by place.
    pub repeats: Vec<Repeat>,
    /// What it means in words.
    pub words: Vec<Sentence>,
    options: Options,
}

/// The recording's outline at halving resolutions.
pub struct Outline {
    source: Arc<Peaks>,
    /// Largest amplitude in each stretch; each level has half as many as the one before.
    levels: Vec<Vec<f32>>,
}

impl Outline {
    fn of(source: &Arc<Peaks>) -> Self {
        let finite = |x: f32| if x.is_finite() { x.abs().min(1.0) } else { 0.0 };
        let first: Vec<f32> = source
            .range
            .iter()
            .map(|&(low, high)| finite(low).max(finite(high)))
            .collect();
        let mut levels = vec![first];
        while let Some(last) = levels.last().filter(|l| l.len() > 64) {
            let half = last
                .chunks(2)
                .map(|pair| pair.iter().copied().fold(0.0, f32::max))
                .collect();
            levels.push(half);
        }
        Self {
            source: source.clone(),
            levels,
        }
    }

    /// `count` heights, 0 to 1, evenly over the recording, from the coarsest level that still has
    /// as many.
    pub fn heights(&self, count: usize) -> Vec<f32> {
        let level = self.levels.iter().rev().find(|l| l.len() >= count);
        let Some(level) = level.or(self.levels.first()).filter(|l| !l.is_empty()) else {
            return Vec::new();
        };
        (0..count)
            .map(|i| {
                let from = (i * level.len() / count).min(level.len() - 1);
                let to = ((i + 1) * level.len() / count).clamp(from + 1, level.len());
                level[from..to].iter().copied().fold(0.0, f32::max)
            })
            .collect()
    }
}

impl Sight {
    /// Of a window that opens: on the sound's page after devices were chosen there.
    pub fn opening(snapshot: &Snapshot) -> Self {
        let chosen = snapshot.sound.as_ref().is_some_and(|s| s.just_chosen);
        Self {
            side: if chosen { Side::Sound } else { Side::default() },
            ..Self::default()
        }
    }

    /// What was heard, measured once for every change of it.
    pub fn heard(&mut self, snapshot: &Snapshot) -> Option<Arc<Heard>> {
        let analysis = snapshot.analysis.shown()?;
        let take = shown_take(snapshot);
        let against = self.against;
        let same = |heard: &&Arc<Heard>| {
            let second = heard.second.as_ref().map(|s| &s.of);
            Arc::ptr_eq(&heard.analysis, analysis)
                && heard.pins == snapshot.practice.pins
                && heard.against == against
                && second == take.map(Of::new).as_ref()
                && Some(heard.title.as_str()) == snapshot.recording.name()
        };
        if let Some(heard) = self.heard.as_ref().filter(same) {
            return Some(heard.clone());
        }
        let (notes, grid) = (&analysis.notes, &analysis.grid);
        let pins = snapshot.practice.pins.clone();
        let heard = Arc::new(Heard {
            title: snapshot.recording.name().unwrap_or_default().to_owned(),
            // Under a take the recording stands still; what is chosen is the take's.
            drift: match against.filter(|_| take.is_none()) {
                _ if !analysis.solo.is_one_guitar() => timing::of(analysis, Reference::OwnTempo),
                Some(Reference::Thumb) => measure_pinned(notes, grid, Reference::Thumb, &pins),
                _ => measure_pinned(notes, grid, Reference::OwnTempo, &pins),
            },
            second: take.map(|take| over(take, analysis, &pins, against)),
            analysis: analysis.clone(),
            pins,
            against,
        });
        self.heard = Some(heard.clone());
        Some(heard)
    }

    /// The page at a width, laid out once for every change of it.
    pub fn scene(&mut self, snapshot: &Snapshot, width: f64) -> Option<Arc<Scene>> {
        let heard = self.heard(snapshot)?;
        let options = self.options(&snapshot.look, width);
        let same =
            |scene: &&Arc<Scene>| Arc::ptr_eq(&scene.heard, &heard) && scene.options == options;
        if let Some(scene) = self.scene.as_ref().filter(same) {
            return Some(scene.clone());
        }
        let piece = heard.piece();
        let sheet = Sheet::plan(&piece, options);
        let scene = Arc::new(Scene {
            strip: sheet.repeats_shapes(&piece, 0.0),
            repeats: sheet.repeats_at(&piece, 0.0),
            words: sentences(&piece),
            sheet,
            options,
            heard: heard.clone(),
        });
        self.scene = Some(scene.clone());
        Some(scene)
    }

    fn options(&self, look: &Look, width: f64) -> Options {
        Options {
            width,
            zoom: if self.far { self.far_zoom } else { look.zoom },
            magnifier: look.magnifier,
            bars_a_row: match look.bars_a_row {
                _ if self.far => 1,
                // A bar of four beats wants as much.
                0 => (width / (480.0 * look.zoom)).clamp(1.0, 8.0) as u8,
                bars => bars,
            },
            strings: look.strings,
            heading: false,
            hands: self.hands,
            hairs: self.hairs,
            fold: if look.fold && !self.far {
                Fold::Alike { open: self.opened }
            } else {
                Fold::Never
            },
            ..Options::default()
        }
    }

    /// The page of what is heard now, as wide as it was last laid out.
    pub fn latest(&mut self, snapshot: &Snapshot) -> Option<Arc<Scene>> {
        let width = self.scene.as_ref()?.options.width;
        self.scene(snapshot, width)
    }

    /// How many bars are wholly in view.
    pub fn bars_in_view(&self) -> Option<usize> {
        let scene = self.scene.as_ref()?;
        let (top, bottom) = self.view;
        let rows = scene.sheet.rows().iter();
        let seen = rows.filter(|r| r.top >= top && r.top + r.height <= bottom);
        let bars = seen.map(|r| match &r.kind {
            RowKind::Bars(cells) => cells.len(),
            RowKind::Free { .. } => 0,
        });
        Some(bars.sum::<usize>().max(1))
    }

    /// The stretches of the recording whose rows are in view, at least in part.
    pub fn in_view(&self, scene: &Scene) -> Vec<(Seconds, Seconds)> {
        let (top, bottom) = self.view;
        let rows = &scene.sheet.rows()[scene.sheet.visible(top + 1.0, bottom - 1.0)];
        let mut all: Vec<(Seconds, Seconds)> = Vec::new();
        let stretches = rows.iter().flat_map(|row| match (&row.alike, &row.kind) {
            (Some(alike), _) => alike.bars.iter().map(|b| (b.start, b.end)).collect(),
            (None, RowKind::Bars(cells)) => cells.iter().map(|b| (b.start, b.end)).collect(),
            (None, RowKind::Free { from, to }) => vec![(*from, *to)],
        });
        for (from, to) in stretches {
            match all.last_mut() {
                Some(last) if (from - last.1).abs().0 < 0.05 => last.1 = to,
                _ => all.push((from, to)),
            }
        }
        all
    }

    /// The recording's outline, made once.
    pub fn outline(&mut self, peaks: &Arc<Peaks>) -> Arc<Outline> {
        let same = |outline: &&Arc<Outline>| Arc::ptr_eq(&outline.source, peaks);
        if let Some(outline) = self.outline.as_ref().filter(same) {
            return outline.clone();
        }
        let outline = Arc::new(Outline::of(peaks));
        self.outline = Some(outline.clone());
        outline
    }

    /// The slot `step` slots from a note's own: its instant.
    pub fn neighbour(&mut self, snapshot: &Snapshot, index: usize, step: i32) -> Option<Seconds> {
        let heard = self.heard(snapshot)?;
        let grid = &heard.analysis.grid;
        let at = heard.piece().placed(index).at;
        let at = at
            .or_else(|| grid.beat_at(heard.analysis.notes[index].time))?
            .0;
        let beat = (at + 1e-6).floor().max(0.0);
        let parts = |beat: f64| {
            grid.beats()
                .get(beat as usize)
                .map_or(1, |b| b.parts.max(1))
        };
        let here = f64::from(parts(beat));
        let part = ((at - beat) * here).round() + f64::from(step);
        let to = if part < 0.0 {
            let before = f64::from(parts(beat - 1.0));
            beat - 1.0 / before
        } else {
            beat + part / here
        };
        (to >= 0.0).then(|| grid.time_at(Beats(to)))?
    }

    /// Index of the chosen note in what is shown.
    pub fn chosen_in(&self, analysis: &Analysis) -> Option<usize> {
        self.chosen.as_ref()?.find(&analysis.notes)
    }

    /// Chooses a note and turns the side panel to it; a close-up that is open goes to its bar.
    pub fn choose(&mut self, analysis: &Analysis, index: usize) {
        if let Some(note) = analysis.notes.get(index) {
            self.chosen = Some(NoteAt::of(note));
            self.side = Side::Note;
            if self.close_up.is_some() {
                self.show_close_up(analysis, note.time);
            }
        }
    }

    /// Shows the bar at an instant close up; a note just before a bar is meant for it.
    pub fn show_close_up(&mut self, analysis: &Analysis, at: Seconds) {
        let bars = analysis.grid.bars();
        let holds = bars.iter().rev().find(|b| b.start.0 <= at.0 + 0.04);
        self.close_up = holds.or(bars.first()).map(|b| b.number);
    }
}

/// The newest shown take that has been analysed.
pub(super) fn shown_take(snapshot: &Snapshot) -> Option<&TakeView> {
    let shown = |take: &&TakeView| take.shown && take.analysis.is_some();
    snapshot.takes.iter().rev().find(shown)
}

/// A close-up that is ready to be painted.
pub struct Proof {
    pub(super) heard: Arc<Heard>,
    pub(super) bar: i32,
    pub(super) size: (f64, f64),
    pub(super) from: Seconds,
    pub(super) to: Seconds,
    pub(super) shapes: Vec<Shape>,
    /// What it shows, for those who do not see it.
    pub(super) told: String,
}
