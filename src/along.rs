//! Playing along: a take heard while it is played, note by note, against the recording that the deck
//! is playing.
//!
//! The recording's notes and the deck's clock are known beforehand, so hearing a take live is matching,
//! not transcription: find where something begins ([`mod@onset`]), take out what the loudspeaker plays
//! ([`mod@bleed`]), ask which expected note it answers ([`mod@follow`]), and say after each time round
//! what to change ([`mod@round`]). The thorough measurement of a take is `compare`; this one answers within
//! a tenth of a second and is replaced by it later. Runs on a thread that may wait: it allocates.

mod answer;
mod bleed;
mod follow;
mod onset;
mod round;
mod stream;
mod told;

use crate::deck::capture::Anchor;
use crate::music::grid::Grid;
use crate::music::note::{Attack, Note};
use crate::timing::{self, Standing};
use crate::unit::{Seconds, Span};
use bleed::Bleed;
use follow::Follower;
use stream::Stream;

pub use answer::{Answer, Expected, RATE};
pub use round::LoopRound;
pub use told::Told;

/// Below this, a note without a slot is not called late.
const UNPLACED: Span = Span::from_ms(12.0);

/// Strings of one slot that follow each other within this are a strum, in which one string answers for
/// another; those that begin at once are one. Chosen on five real takes.
const STRUM: (Span, Span) = (Span::from_ms(12.0), Span::from_ms(90.0));

/// What arrives is heard in pieces of a fiftieth of a second at most.
const PIECES: usize = 50;

/// What the listener needs to know beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// Frames a second of input and output, 8,000 to 192,000.
    pub rate: u32,
    /// The measured round trip from the deck's output to the input; none where nobody measured it.
    pub latency: Option<Span>,
}

/// What a recording expects of a player: its notes but for knocks, with the slots that they are meant for.
/// The numbers are indices into `notes`, which are in order of time.
pub fn expected(notes: &[Note], grid: &Grid) -> Vec<Expected> {
    let drift = timing::measure(notes, grid, timing::Reference::default());
    let pairs = notes.iter().zip(&drift.notes).enumerate();
    // How far apart the strings lie that could answer for this note's.
    let strum = |i: usize| {
        let place = |k: usize| drift.notes[k].map(|p| (p.bar, p.slot));
        let before = |end: Seconds| notes.partition_point(|n| n.time < end);
        let near = before(notes[i].time - STRUM.1)..before(notes[i].time + STRUM.1);
        let near = near.filter(|&k| place(k).is_some() && place(k) == place(i));
        near.map(|k| (notes[k].time - notes[i].time).abs())
            .filter(|apart| STRUM.0 < *apart && *apart < STRUM.1)
            .fold(Span(0.0), |a, b| if b > a { b } else { a })
    };
    pairs
        .filter(|(_, (note, _))| note.attack != Attack::Tap)
        .map(|(i, (note, placed))| Expected {
            note: i,
            time: note.time,
            pitch: note.pitch,
            role: note.role,
            // A rolled chord's later notes and grace notes are heard, not timed: as in `timing`.
            slot: placed
                .filter(|p| p.standing == Standing::Plain)
                .map(|p| p.slot),
            floor: placed.map_or(UNPLACED, |p| {
                let strum = strum(i);
                if strum > p.floor { strum } else { p.floor }
            }),
        })
        .collect()
}

/// Listens to one take.
pub struct Listener {
    rate: u32,
    input: Stream,
    played: Stream,
    bleed: Bleed,
    onsets: onset::Detector,
    follower: Follower,
    /// The deck's own sound, heard in the same way: where that disagrees with the recording's notes, these are
    /// no sure reference.
    own: (onset::Detector, Follower),
    /// The expected notes' own numbers.
    notes: Vec<usize>,
    said_bleed: bool,
}

impl Listener {
    /// A listener for `expected` notes (sorted by time here). None where the rate is outside 8 to 192 kHz.
    pub fn new(mut expected: Vec<Expected>, setting: &Setting) -> Option<Self> {
        if !(8_000..=192_000).contains(&setting.rate) {
            return None;
        }
        expected.retain(|n| n.time.0.is_finite());
        expected.sort_by(|a, b| a.time.total_cmp(&b.time));
        Some(Self {
            rate: setting.rate,
            input: Stream::new(setting.rate),
            played: Stream::new(setting.rate),
            bleed: Bleed::new(),
            onsets: onset::Detector::new(),
            notes: expected.iter().map(|n| n.note).collect(),
            own: (
                onset::Detector::new(),
                Follower::new(expected.clone(), Some(Span(0.0))),
            ),
            follower: Follower::new(expected, setting.latency),
            said_bleed: false,
        })
    }

    /// Hears the next stretch: `input` and what the deck `played` meanwhile (mono, as many frames each; a
    /// frame that is not a number counts as silence), and the `places` that begin in it or later, whose frames
    /// count from the first one ever fed. Answers with what can be told now, in order.
    pub fn feed(&mut self, input: &[f32], played: &[f32], places: &[Anchor]) -> Vec<Told> {
        for place in places {
            self.follower.place(*place, self.rate);
            self.own.1.place(*place, self.rate);
        }
        let mut told = Vec::new();
        let piece = (self.rate as usize / PIECES).max(1);
        for (k, input) in input.chunks(piece).enumerate() {
            let from = (k * piece).min(played.len());
            let to = (from + input.len()).min(played.len());
            self.hear(input, &played[from..to], &mut told);
        }
        self.number(&mut told);
        if let Some(level) = self
            .bleed
            .level()
            .filter(|l| *l > -30.0 && !self.said_bleed)
        {
            self.said_bleed = true;
            told.push(Told::Bleed(level));
        }
        told
    }

    /// Frames and notes as the caller counts them.
    fn number(&self, told: &mut [Told]) {
        let per_frame = f64::from(RATE) / f64::from(self.rate);
        for one in told {
            match one {
                Told::Answered(answer) => {
                    answer.frame = (answer.frame as f64 / per_frame).round() as u64;
                    answer.note = self.notes[answer.note];
                }
                Told::WrongPitch { note, .. } | Told::Missed { note, .. } => {
                    *note = self.notes[*note];
                }
                Told::Extra { .. } | Told::Round(_) | Told::Bleed(_) => {}
            }
        }
    }

    fn hear(&mut self, input: &[f32], played: &[f32], told: &mut Vec<Told>) {
        let heard = self.input.push(input);
        let mut known = self.played.push(played);
        known.resize(heard.len(), 0.0);
        self.hear_the_deck(&known);
        let clean = self.bleed.push(&heard, &known);
        for pluck in self.onsets.push_cleaned(&clean, &heard) {
            self.follower.pluck(pluck);
        }
        let now = self.onsets.now();
        self.follower.until(now, &mut self.onsets, told);
    }

    /// What the deck plays, as the same ear hears it: how far that lies from the recording's notes is how sure
    /// these are.
    fn hear_the_deck(&mut self, known: &[f32]) {
        let (onsets, follower) = &mut self.own;
        for pluck in onsets.push(known) {
            follower.pluck(pluck);
        }
        let mut told = Vec::new();
        follower.until(onsets.now(), onsets, &mut told);
        for one in told {
            if let Told::Answered(answer) = one {
                self.follower.unsure_by(answer.note, answer.late);
            }
        }
    }

    /// The round trip as the loudspeaker's own sound in the input shows it, where that is clear.
    pub fn latency_by_ear(&self) -> Option<Span> {
        self.bleed.delay()
    }

    /// Settles everything that waits, as at the end of a take.
    pub fn finish(&mut self) -> Vec<Told> {
        let silence = vec![0.0; self.rate as usize / 2];
        let mut told = self.feed(&silence, &silence, &[]);
        let mut last = Vec::new();
        self.follower.finish(&mut last);
        self.number(&mut last);
        told.extend(last);
        told
    }
}
