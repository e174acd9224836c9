//! A whole lesson in time: every stage at every tempo, counted in, with rests.

use super::stage::Stage;
use crate::dsp::pluck::Played;
use crate::music::performance::{Manner, Performance, PlayedNote};
use crate::music::picking::swung;
use crate::unit::{Bpm, Seconds, Span};

/// A click of a practice piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Click {
    /// When.
    pub at: Seconds,
    /// On the first beat of a bar.
    pub accent: bool,
}

/// A whole practice session in time: every stage at every tempo, each after a bar's count-in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Session {
    /// Strokes for the plucked-string model.
    pub strokes: Vec<Played>,
    /// Notes, in order of time.
    pub notes: Vec<PlayedNote>,
    /// Clicks: the count-in, and every beat where they go on.
    pub clicks: Vec<Click>,
    /// Where each stage at each tempo begins (its count-in), with what it is.
    pub marks: Vec<(Seconds, String)>,
    /// Where each stage at each tempo is played, from its first beat to the end of its last bar.
    pub stretches: Vec<(Seconds, Seconds)>,
    /// All beats, count-ins included.
    pub beats: Vec<Seconds>,
    /// Its length.
    pub length: Span,
}

/// Silence before the first count-in.
const LEAD: f64 = 0.5;

/// Longest that is played without a long rest, in seconds, and how long that rest is. Breaks of a
/// minute every few minutes are common practice; common advice is to rest every ten.
pub const WITHOUT_REST: f64 = 6.0 * 60.0;
const LONG_REST: f64 = 60.0;
const LONG_REST_TOLD: &str = "a minute's rest: hands down, shoulders loose";

impl Session {
    /// `stages` in order, each at all of `tempi`; `click` on every beat, or in the count-in only.
    pub fn of(stages: &[Stage], tempi: &[Bpm], click: bool) -> Self {
        let mut session = Self::default();
        let mut now = LEAD;
        let mut rested = now;
        for stage in stages {
            for tempo in tempi {
                let beats = f64::from(stage.score.meter.beats().max(1));
                let takes = beats * (stage.score.bars() + 1) as f64 * tempo.beat().0;
                if now - rested > 1.0 && now + takes - rested > WITHOUT_REST {
                    session
                        .marks
                        .push((Seconds(now), LONG_REST_TOLD.to_owned()));
                    now = session.rest(now, LONG_REST, *tempo);
                    rested = now;
                }
                now = session.add(stage, *tempo, click, now);
            }
        }
        session.length = Span(now + 2.0);
        session
    }

    /// Whole beats of silence from `now`, at least `seconds` long; gives when they end.
    fn rest(&mut self, now: f64, seconds: f64, tempo: Bpm) -> f64 {
        let beat = tempo.beat().0;
        let beats = (seconds / beat).ceil().max(0.0) as usize;
        self.beats
            .extend((0..beats).map(|i| Seconds(now + i as f64 * beat)));
        now + beats as f64 * beat
    }

    /// What the long rests come before: a stage and its tempo each.
    pub fn long_rests(&self) -> Vec<&str> {
        let pairs = self.marks.windows(2);
        let before = pairs.filter(|pair| pair[0].1 == LONG_REST_TOLD);
        before.map(|pair| pair[1].1.as_str()).collect()
    }

    /// The longest stretch without a rest of half a minute, in seconds.
    pub fn longest_without_rest(&self) -> f64 {
        let (mut longest, mut since, mut last) = (0.0f64, LEAD, LEAD);
        for note in &self.notes {
            let at = note.note.time.0;
            if at - last > 30.0 {
                since = at;
            }
            last = at;
            longest = longest.max(at - since);
        }
        longest
    }

    /// Adds one stage at `now`; gives when the next count-in can begin, on the beat.
    fn add(&mut self, stage: &Stage, tempo: Bpm, click: bool, now: f64) -> f64 {
        let beat = tempo.beat().0;
        let per_bar = usize::from(stage.score.meter.beats().max(1));
        let start = now + per_bar as f64 * beat;
        let mut heard = stage.score.clone();
        for note in &mut heard.notes {
            note.at = swung(note.at, stage.swing);
        }
        let mut performance = Performance::of(&heard, &Manner::exact(tempo, Span(start)));
        let beats = per_bar * (stage.score.bars() + 1);
        let end = now + beats as f64 * beat;
        self.stretches.push((Seconds(start), Seconds(end)));
        // Whole bars to breathe in.
        let bar = per_bar as f64 * beat;
        let rest = per_bar * (stage.rest.0 / bar).ceil().max(1.0) as usize;
        for (stroke, played) in performance.strokes.iter_mut().zip(&mut performance.notes) {
            // Hands off at the end, so that the next count-in stands clear.
            let until = stroke.until.0.min(end + 0.5 * beat);
            stroke.until = Seconds(until);
            played.note.end = Seconds(played.note.end.0.min(until));
        }
        self.marks.push((
            Seconds(now),
            format!("{}, {} bpm", stage.title, (tempo.0 * 10.0).round() / 10.0),
        ));
        for i in 0..beats + rest {
            let at = Seconds(now + i as f64 * beat);
            self.beats.push(at);
            let (bar, in_bar) = (i / per_bar, i % per_bar);
            let sounding = i < beats && stage.clicks.on(bar.saturating_sub(1), in_bar, click);
            if i < per_bar || sounding {
                self.clicks.push(Click {
                    at,
                    accent: i % per_bar == 0,
                });
            }
        }
        self.strokes.extend(performance.strokes);
        self.notes.extend(performance.notes);
        end + rest as f64 * beat
    }
}
