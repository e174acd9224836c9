//! The pages that stand in the bar sheet's place: which is open, and what each remembers. Plain data,
//! kept with the project; a field that a later version adds takes its default.

use serde::{Deserialize, Serialize};
use std::path::PathBuf;
use thumbline::music::hand::SCALE_MM;
use thumbline::music::moved::Way;
use thumbline::music::neck::LAST_FRET;
use thumbline::music::picking::Cell;
use thumbline::preset::read_meter;

/// A page in the middle of the window.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Page {
    /// The bar sheet.
    #[default]
    Sheet,
    /// The neck.
    Neck,
    /// Tunings.
    Tunings,
    /// The picking pattern.
    Pattern,
    /// Drills.
    Drills,
    /// A melody moved against the beat.
    OffBeat,
    /// Files for other programs, for print, for a student.
    TakeAway,
}

/// Everything the pages remember.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct PageState {
    /// The page that is open.
    pub page: Page,
    /// The neck.
    pub neck: NeckPage,
    /// The picking pattern.
    pub pattern: PatternPage,
    /// Tunings.
    pub tunings: TuningsPage,
    /// Drills.
    pub drills: DrillsPage,
    /// A melody moved against the beat.
    pub off_beat: OffBeatPage,
    /// Files for other programs.
    pub take_away: TakeAwayPage,
}

/// What the neck shows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Show {
    /// The scale's notes, open strings bright.
    #[default]
    Notes,
    /// A path through them that rings.
    Path,
    /// Chord shapes.
    Chords,
    /// Natural harmonics.
    Harmonics,
    /// A melody, each note's places.
    Melody,
}

/// Notes of a melody that the player wants on a certain string.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Wanted {
    /// Which melody.
    melody: String,
    /// Its notes by their index, each with its string.
    strings: Vec<(usize, u8)>,
}

impl Wanted {
    /// Those of this melody.
    pub fn of(&self, melody: &str) -> &[(usize, u8)] {
        if self.melody == melody {
            &self.strings
        } else {
            &[]
        }
    }

    /// A note is wanted on this string; or, with none, wherever it rings best.
    pub fn set(&mut self, melody: &str, note: usize, string: Option<u8>) {
        if self.melody != melody {
            *self = Self {
                melody: melody.to_owned(),
                strings: Vec::new(),
            };
        }
        self.strings.retain(|(n, _)| *n != note);
        self.strings.extend(string.map(|string| (note, string)));
    }
}

/// What the neck's page remembers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct NeckPage {
    /// Tuning by name or by its strings; none for the recording's.
    pub tuning: Option<String>,
    /// Fret of the capo; none for the recording's.
    pub capo: Option<i32>,
    /// Scale by name or by its notes; none for the likeliest of the recording.
    pub scale: Option<String>,
    /// What is shown.
    pub show: Show,
    /// Chords that were typed; empty for those of the scale.
    pub chords: String,
    /// Which of the chords, and which of its shapes.
    pub shape: (usize, usize),
    /// First and last fret that are shown.
    pub frets: (i32, i32),
    /// Drawn for a left-handed player?
    pub left_handed: bool,
    /// Scale length of the guitar in mm.
    pub scale_mm: f64,
    /// Notes of a melody that are to stand on a certain string.
    pub wanted: Wanted,
}

impl Default for NeckPage {
    fn default() -> Self {
        Self {
            tuning: None,
            capo: None,
            scale: None,
            show: Show::Notes,
            chords: String::new(),
            shape: (0, 0),
            frets: (0, 12),
            left_handed: false,
            scale_mm: SCALE_MM,
            wanted: Wanted::default(),
        }
    }
}

/// Which pattern is shown.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OfPattern {
    /// The one that the recording repeats.
    #[default]
    Recording,
    /// A known one.
    Named(String),
    /// The player's own.
    Own,
    /// The one that a MIDI or MusicXML file repeats.
    File,
}

/// A cell as it is written.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct OwnCell {
    /// Time signature, `4/4`.
    pub meter: String,
    /// Its strokes, a bar a text; no bar while there is no own cell.
    pub bars: Vec<String>,
    /// Share of a beat that its first half takes.
    pub swing: f64,
}

impl OwnCell {
    /// A cell written down.
    pub fn of(cell: &Cell) -> Self {
        Self {
            meter: cell.meter.to_string(),
            bars: cell.written(),
            swing: cell.swing,
        }
    }

    /// The cell, where it can be read.
    pub fn cell(&self) -> Option<Cell> {
        let mut cell = Cell::parse(read_meter(&self.meter)?, &self.bars).ok()?;
        cell.swing = self.swing.clamp(0.5, 0.8);
        (!self.bars.is_empty()).then_some(cell)
    }
}

/// What the pattern's page remembers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct PatternPage {
    /// Which pattern is shown.
    pub of: OfPattern,
    /// The player's own cell.
    pub own: OwnCell,
    /// A MIDI or MusicXML file with a pattern.
    pub file: Option<PathBuf>,
    /// Slots a beat is divided into at least.
    pub division: u8,
    /// Beats a minute; none for the recording's.
    pub tempo: Option<f64>,
    /// On the chords of the recording?
    pub on_chords: bool,
    /// Chords that were typed; empty for the recording's, or open strings.
    pub chords: String,
    /// Speed at which a drill begins.
    pub speed: f64,
    /// Bars of each stage of a drill.
    pub bars: usize,
}

impl Default for PatternPage {
    fn default() -> Self {
        Self {
            of: OfPattern::Recording,
            own: OwnCell::default(),
            file: None,
            division: 2,
            tempo: None,
            on_chords: true,
            chords: String::new(),
            speed: 0.7,
            bars: 4,
        }
    }
}

impl PatternPage {
    /// A changed cell becomes the player's own.
    pub fn edit(&mut self, cell: &Cell) {
        self.own = OwnCell::of(cell);
        self.of = OfPattern::Own;
    }
}

/// What the tunings' page remembers.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct TuningsPage {
    /// Tuning by name or by its strings; none for the recording's.
    pub to: Option<String>,
    /// The one that it is compared with; none for standard.
    pub from: Option<String>,
    /// Fret of the capo; none for the recording's.
    pub capo: Option<i32>,
}

/// What is drilled.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Exercise {
    /// A known picking pattern.
    #[default]
    Pattern,
    /// A scale that rings.
    Scale,
    /// Hammer-ons.
    HammerOns,
    /// Pull-offs.
    PullOffs,
    /// Slides.
    Slides,
    /// Natural harmonics.
    Harmonics,
}

/// What the drills' page remembers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct DrillsPage {
    /// What is drilled.
    pub what: Exercise,
    /// The pattern, by name.
    pub pattern: String,
    /// Chords that it is played on; empty for open strings.
    pub chords: String,
    /// The scale, by name.
    pub scale: String,
    /// Tuning; none for the recording's.
    pub tuning: Option<String>,
    /// Beats a minute at full speed.
    pub tempo: f64,
    /// Speed at which a drill begins.
    pub speed: f64,
    /// Bars of each stage.
    pub bars: usize,
}

impl Default for DrillsPage {
    fn default() -> Self {
        Self {
            what: Exercise::default(),
            pattern: "off-beat melody".to_owned(),
            chords: String::new(),
            scale: "D major".to_owned(),
            tuning: None,
            tempo: 84.0,
            speed: 0.7,
            bars: 4,
        }
    }
}

/// What the page of moved melodies remembers.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct OffBeatPage {
    /// Which way notes leave the beat.
    pub way: Way,
    /// Beats a minute; none for the melody's own.
    pub tempo: Option<f64>,
    /// A MIDI or MusicXML file with the melody; none for the recording's.
    pub file: Option<PathBuf>,
}

/// What the page of files remembers.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct TakeAwayPage {
    /// All of it, rather than the loop?
    pub whole: bool,
    /// The folder that files go into; none for the usual one.
    pub folder: Option<PathBuf>,
    /// What a lesson page holds besides its bars.
    pub lesson: LessonPage,
}

/// What a lesson page holds besides its bars.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct LessonPage {
    /// The pattern, step by step.
    pub steps: bool,
    /// The neck's scale.
    pub scale: bool,
    /// The neck's chords.
    pub chords: bool,
    /// Hammer-ons, pull-offs and slides on the neck's scale.
    pub techniques: bool,
    /// Natural harmonics.
    pub harmonics: bool,
    /// What the journal plans for the next days.
    pub plan: bool,
}

impl PageState {
    /// The page that remembers something else than in `other`; the first, should several.
    pub fn changed(&self, other: &Self) -> Option<Page> {
        let differs = [
            (Page::Neck, self.neck != other.neck),
            (Page::Tunings, self.tunings != other.tunings),
            (Page::Pattern, self.pattern != other.pattern),
            (Page::Drills, self.drills != other.drills),
            (Page::OffBeat, self.off_beat != other.off_beat),
            (Page::TakeAway, self.take_away != other.take_away),
        ];
        differs.into_iter().find(|d| d.1).map(|d| d.0)
    }

    /// Takes over what `page` remembers in `other`.
    pub fn take(&mut self, page: Page, other: &Self) {
        match page {
            Page::Sheet => {}
            Page::Neck => self.neck = other.neck.clone(),
            Page::Tunings => self.tunings = other.tunings.clone(),
            Page::Pattern => self.pattern = other.pattern.clone(),
            Page::Drills => self.drills = other.drills.clone(),
            Page::OffBeat => self.off_beat = other.off_beat.clone(),
            Page::TakeAway => self.take_away = other.take_away.clone(),
        }
    }

    /// Numbers that differ from `other`'s, by their names; none where anything else differs as well.
    pub fn dials(&self, other: &Self) -> Option<Vec<String>> {
        let (Ok(a), Ok(b)) = (serde_json::to_value(self), serde_json::to_value(other)) else {
            return None;
        };
        let mut found = Vec::new();
        for (page, a) in a.as_object()? {
            let Some(a) = a.as_object() else { continue };
            let b = b.get(page)?.as_object()?;
            for (name, a) in a {
                let b = b.get(name)?;
                if a != b {
                    let numbers =
                        (a.is_number() && b.is_number()) || (a.is_array() && b.is_array());
                    numbers.then(|| found.push(format!("{page} {name}")))?;
                }
            }
        }
        Some(found)
    }

    /// The same with every number in its range.
    pub fn mended(mut self) -> Self {
        let neck = &mut self.neck;
        let last = neck.frets.1.clamp(3, LAST_FRET);
        neck.frets = (neck.frets.0.clamp(0, last - 3), last);
        if !(100.0..=2000.0).contains(&neck.scale_mm) {
            neck.scale_mm = SCALE_MM;
        }
        let pattern = &mut self.pattern;
        pattern.division = pattern.division.clamp(1, 12);
        pattern.tempo = pattern.tempo.filter(|t| (20.0..=300.0).contains(t));
        if !(0.25..=1.5).contains(&pattern.speed) {
            pattern.speed = PatternPage::default().speed;
        }
        pattern.bars = pattern.bars.clamp(1, 16);
        let drills = &mut self.drills;
        if !(20.0..=300.0).contains(&drills.tempo) {
            drills.tempo = DrillsPage::default().tempo;
        }
        if !(0.25..=1.5).contains(&drills.speed) {
            drills.speed = DrillsPage::default().speed;
        }
        drills.bars = drills.bars.clamp(1, 16);
        let tempo = &mut self.off_beat.tempo;
        *tempo = tempo.filter(|t| (20.0..=300.0).contains(t));
        self
    }
}
