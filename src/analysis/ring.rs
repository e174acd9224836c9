//! How long each note is heard to ring: does it go on, or stop, where the next ones begin?
//!
//! A string that is plucked again loses what rang on it; the others go on. So a note that rings
//! through another's onset lies on another string, and one that stops there probably lay on the same.
//! Read from the note's own partials just before and after each onset: those that no other note
//! covers. Owns what is heard of that, not which string it speaks for (`string_assignment`, `music::guess`).

use super::mono::{Block, Mono, RATE, samples};
use super::note_event::NoteEvent;
use super::observer::{AnalysisError, Observer, Stage, go_on};
use crate::dsp::spectrum::Spectrum;
use crate::music::note::Note;
use crate::parallel;
use crate::unit::{Cents, MidiNote, Seconds};

const WINDOW: usize = 2048;
const SIZE: usize = 4096;
/// The frame before an onset ends this long before it, the one after begins this long after it,
/// seconds: beyond the noise of the attack.
const BEFORE: f64 = 0.005;
const AFTER: f64 = 0.035;
/// A note is followed this long, seconds; it is not asked for sooner than the first after its
/// own onset, since the frame before would hold it.
const LONGEST: f64 = 1.5;
const SOONEST: f64 = 0.11;
/// What begins up to this long before an onset begins with it, seconds.
const BESIDE: f64 = 0.03;
/// Partials that are looked at, up to this frequency, Hz.
const PARTIALS: u32 = 8;
const HIGHEST: f64 = 4000.0;
/// A partial nearer than this to one of a note that begins is covered, and nearer than that to one of
/// the first so many of another that may still ring, Hz (the main lobe of the window is 22 wide on
/// either side).
const BEGINS: f64 = 22.0;
const RINGS: f64 = 25.0;
const BRIGHT: f64 = 20.0;
const DULL: f64 = 8.0;
/// A partial weaker than this share of the frame's strongest, or of the note's own, is not heard.
const HEARD: f32 = 0.004;
const OWN: f32 = 0.03;
/// A note goes on when its own partials lose less than this across an onset, and has stopped when they
/// lose more than the next, or when those that it may share with older notes lose more than the last, dB.
/// Chosen on 24 pieces of sampled and modelled guitars with known strings: of notes whose string sounds
/// again 50 of 100 are heard to stop and 15 to go on, of others 9 and 51 (by all partials that no other
/// note's lies near, however high, it was 27 and 11 against 5 and 41).
const GOES_ON: f64 = 6.0;
const STOPPED: f64 = 10.0;
const SHARED: f64 = 12.0;

/// What was heard of one note's ringing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ring {
    /// The last onset through which it was heard to go on; its own where there was none.
    pub through: Seconds,
    /// The onset at which it was heard to stop.
    pub stopped: Option<Seconds>,
}

/// The ringing of `events` in order of time; `offset` is the guitar's distance from 440 Hz.
///
/// # Errors
/// [`AnalysisError::Cancelled`] when the observer asks for it.
pub fn rings(
    mono: &Mono,
    events: &[NoteEvent],
    offset: Cents,
    observer: &mut dyn Observer,
) -> Result<Vec<Ring>, AnalysisError> {
    let mut rings: Vec<Ring> = events
        .iter()
        .map(|event| Ring {
            through: event.time,
            stopped: None,
        })
        .collect();
    let second = |sample: usize| sample as f64 / f64::from(RATE);
    let listen = |spectra: &mut Spectra, (start, from, to, end): &Block| {
        let signal = mono.part(*start, *end);
        let at = |sample: usize| events.partition_point(|e| e.time.0 < second(sample));
        (at(*from)..at(*to))
            .map(|i| {
                spectra.around(&signal, events[i].time.0 - second(*start));
                (i, across(events, i, offset, spectra))
            })
            .collect::<Vec<_>>()
    };
    go_on(observer, Stage::Notes, 1.0)?;
    parallel::stream(&mono.blocks(), Spectra::new, listen, |heard| {
        for (at, told) in heard {
            let now = events[at].time;
            for (earlier, stops) in told {
                let ring: &mut Ring = &mut rings[earlier];
                if ring.stopped.is_none() {
                    if stops {
                        ring.stopped = Some(now);
                    } else {
                        ring.through = now;
                    }
                }
            }
        }
        go_on(observer, Stage::Notes, 1.0)
    })?;
    Ok(rings)
}

/// Magnitudes just before and after an onset.
struct Spectra {
    spectrum: Spectrum,
    before: Vec<f32>,
    after: Vec<f32>,
}

impl Spectra {
    fn new() -> Self {
        let spectrum = Spectrum::new(WINDOW, SIZE);
        let silent = vec![0.0; spectrum.bins()];
        Self {
            spectrum,
            before: silent.clone(),
            after: silent,
        }
    }

    fn around(&mut self, signal: &[f32], time: f64) {
        let before = samples(time - BEFORE) - WINDOW as isize;
        self.spectrum.magnitudes(signal, before, &mut self.before);
        self.spectrum
            .magnitudes(signal, samples(time + AFTER), &mut self.after);
    }

    /// What becomes of a note of `hz` across the onset at which notes of `new` begin, while those of
    /// `old` may ring: true where it stops, false where it goes on, none where neither is heard.
    fn stops(&self, hz: f64, new: &[f64], old: &[f64]) -> Option<bool> {
        let bin = f64::from(RATE) / SIZE as f64;
        let strongest = |bins: &[f32], k: usize| -> f32 {
            let near = bins.get(k.saturating_sub(1)..k + 2).unwrap_or(&[]);
            near.iter().fold(0.0f32, |m, v| m.max(*v))
        };
        let partials: Vec<(f64, f32, f32)> = (1..=PARTIALS)
            .map(|h| f64::from(h) * hz)
            .take_while(|f| *f < HIGHEST)
            .map(|f| {
                let k = (f / bin).round() as usize;
                (f, strongest(&self.before, k), strongest(&self.after, k))
            })
            .collect();
        let frame = self.before.iter().fold(1e-6f32, |m, v| m.max(*v));
        let own = partials.iter().fold(0.0f32, |m, p| m.max(p.1));
        let least = (HEARD * frame).max(OWN * own);
        let covers = |f: f64, other: &f64, partials: f64, within: f64| {
            let nearest = (f / other).round().max(1.0);
            nearest <= partials && (f - other * nearest).abs() < within
        };
        let (mut alone, mut shared) = (Loss::default(), Loss::default());
        for (f, before, after) in partials {
            if before <= least || new.iter().any(|o| covers(f, o, BRIGHT, BEGINS)) {
                continue;
            }
            shared.add(before, after);
            if !old.iter().any(|o| covers(f, o, DULL, RINGS)) {
                alone.add(before, after);
            }
        }
        let (alone, shared) = (alone.decibels(), shared.decibels());
        if alone.is_some_and(|l| l > STOPPED) || shared.is_some_and(|l| l > SHARED) {
            return Some(true);
        }
        alone.filter(|l| l.abs() < GOES_ON).map(|_| false)
    }
}

/// Power before and after.
#[derive(Default)]
struct Loss {
    was: f64,
    is: f64,
}

impl Loss {
    fn add(&mut self, before: f32, after: f32) {
        self.was += f64::from(before).powi(2);
        self.is += f64::from(after).powi(2);
    }

    /// None where nothing was added.
    fn decibels(&self) -> Option<f64> {
        (self.was > 0.0).then(|| 10.0 * (self.was / self.is.max(1e-12)).log10())
    }
}

/// Which notes that may still ring stop or go on across the onset of event `at`, where that is heard.
fn across(events: &[NoteEvent], at: usize, offset: Cents, spectra: &Spectra) -> Vec<(usize, bool)> {
    let now = events[at].time;
    let hz = |e: &NoteEvent| MidiNote(f64::from(e.midi)).detuned(offset).hz();
    let first = events.partition_point(|e| e.time.0 < now.0 - LONGEST);
    let last = events.partition_point(|e| e.time.0 < now.0 + SOONEST);
    let near = &events[first..last];
    let together = |e: &NoteEvent| (e.time - now).0.abs() < SOONEST;
    let mut again: Vec<i32> = near
        .iter()
        .filter(|e| together(e))
        .map(|e| e.midi)
        .collect();
    let begins = |e: &NoteEvent| together(e) && e.time.0 > now.0 - BESIDE;
    let new: Vec<f64> = near.iter().filter(|e| begins(e)).map(hz).collect();
    let mut told = Vec::new();
    for (j, event) in near.iter().enumerate().rev() {
        // The last note of a pitch is the one that may ring.
        if together(event) || again.contains(&event.midi) {
            continue;
        }
        again.push(event.midi);
        let old: Vec<f64> = near
            .iter()
            .filter(|e| !together(e) && e.midi != event.midi)
            .map(hz)
            .collect();
        let stops = spectra.stops(hz(event), &new, &old);
        told.extend(stops.map(|stops| (first + j, stops)));
    }
    told
}

/// Ends `notes`, made from the events of `rings` in the same order, where they were heard to end.
pub fn end(notes: &mut [Note], rings: &[Ring]) {
    for (note, ring) in notes.iter_mut().zip(rings) {
        note.end = ring.end(note.end);
    }
}

impl Ring {
    /// Where a note ends that would end at `otherwise`, were it not for what was heard.
    pub fn end(&self, otherwise: Seconds) -> Seconds {
        let after = AFTER + 0.5 * WINDOW as f64 / f64::from(RATE);
        match self.stopped {
            Some(stopped) => stopped,
            None => Seconds(otherwise.0.max(self.through.0 + after)),
        }
    }
}
