//! Recording: the track as a recording of its own, takes against the recording, the round trip; what
//! is heard of a take while it is played.

use super::{studying, telling};
use crate::effect::{Dial, Effect};
use crate::services::sound::Sound;
use crate::services::take_writer::{Order, ToHear};
use crate::services::{Job, analyse};
use crate::snapshot::{About, CaptureSource};
use crate::sound::Choice;
use crate::state::{Recorded, State};
use std::sync::Arc;
use thumbline::along::Told;
use thumbline::deck::capture::{Anchor, Source, tap};
use thumbline::deck::{Message, Phase};
use thumbline::dsp::pluck::Played;
use thumbline::report::along;
use thumbline::unit::{MidiNote, Seconds, Span};

/// Seconds of sound that may wait to be written while the recording thread is held up.
const ROOM: f64 = 20.0;

fn source(source: CaptureSource) -> Source {
    match source {
        CaptureSource::Track => Source::Track,
        CaptureSource::Take => Source::Take,
    }
}

/// Arms or stops a recording.
pub fn record(state: &mut State, from: CaptureSource, on: bool, out: &mut Vec<Effect>) {
    if !on {
        out.push(Effect::Deck(Message::StopRecording));
        return;
    }
    if state.rate == 0 {
        state.tell(
            About::Take,
            "Recording needs the host to be running its audio",
            false,
        );
        return;
    }
    if state.capture.recording.is_some() {
        state.tell(About::Take, "A recording is under way already", false);
        return;
    }
    state.works(About::Take);
    state.capture.kept.clear();
    state.capture.along = Arc::default();
    let id = state.job();
    let (tap, receiver) = tap(source(from), state.rate, ROOM);
    state.capture.recording = Some(Recorded {
        job: id,
        source: from,
        length: Span(0.0),
        judged: false,
        plays: false,
        rounds: None,
        over: false,
    });
    out.push(Effect::TakeWriter(
        id,
        Order::Record {
            source: source(from),
            receiver: Box::new(receiver),
            against: state.open.hash,
            along: to_hear(state, from),
        },
    ));
    out.push(Effect::Deck(Message::Record(tap)));
    judge(state, out);
}

/// Bars counted before a take, where the player asks for none.
const COUNT_IN: u8 = 1;
/// Silent beats after the last round of a take, in the first of which late notes still belong to it.
const TAIL: u8 = 2;

/// One button: counts in, plays and records an own take, from the loop's start where there is one.
/// From standing still it goes once round, round a short loop as often as gives a few bars to judge;
/// beside a deck that runs, or up the ladder, it goes on until it is pressed again. Where the host
/// leads, it waits for the host.
pub fn record_at_once(state: &mut State, on: bool, out: &mut Vec<Effect>) {
    if !on {
        finish(state, out);
        return;
    }
    record(state, CaptureSource::Take, true, out);
    let stands = state.sounding.is_none_or(|s| s.phase == Phase::Stopped);
    let rounds = (!state.session.ladder.on).then(|| rounds(state));
    let Some(recorded) = state
        .capture
        .recording
        .as_mut()
        .filter(|r| r.length.0 == 0.0)
    else {
        return;
    };
    if state.dials.follow {
        return;
    }
    recorded.plays = true;
    if !stands {
        return;
    }
    recorded.rounds = rounds;
    let bars = state.session.count_in_bars.max(COUNT_IN);
    out.push(Effect::Deck(Message::CountIn(bars)));
    let looped = state.marks().and_then(|m| m.region.as_ref());
    if let Some(region) = looped.filter(|_| state.loop_on) {
        out.push(Effect::Deck(Message::Seek(region.from)));
    }
    run(true, out);
}

/// Bars that a take should have: fewer tell little of what repeats.
const BARS: usize = 4;

/// Times round the loop that give as many.
fn rounds(state: &State) -> u32 {
    let region = state.marks().and_then(|m| m.region.as_ref());
    let heard = state.hearing.view.ready();
    let (Some(region), Some(heard)) = (region.filter(|_| state.loop_on), heard) else {
        return 1;
    };
    let beats = heard.grid.beats().iter();
    let inside = beats.filter(|b| (region.from.0 - 0.02..region.to.0 - 0.02).contains(&b.time.0));
    let wanted = BARS * usize::from(heard.grid.meter.beats().max(1));
    wanted.div_ceil(inside.count().max(1)).min(BARS) as u32
}

/// A round of the loop begins: the last one of a take rings out into silence.
pub fn round_begins(state: &State, round: u32, out: &mut Vec<Effect>) {
    let rounds = state.capture.recording.and_then(|r| r.rounds);
    if rounds.is_some_and(|rounds| round >= rounds) {
        let rest = state.session.rest_beats.max(TAIL);
        out.push(Effect::Deck(Message::Rest(rest)));
    }
}

fn run(on: bool, out: &mut Vec<Effect>) {
    out.push(Effect::Play(on));
    out.push(Effect::Dial(Dial::Play(on)));
}

/// Ends the recording, and the playing that began with it.
fn finish(state: &mut State, out: &mut Vec<Effect>) {
    out.push(Effect::Deck(Message::StopRecording));
    let began = state.capture.recording.as_mut();
    if let Some(recorded) = began.filter(|r| r.plays) {
        recorded.plays = false;
        if recorded.rounds.is_some() {
            run(false, out);
        }
    }
    telling::practice(state, out);
}

/// The deck was stopped by hand, or has come to the recording's end.
pub fn stopped(state: &mut State, out: &mut Vec<Effect>) {
    if state.capture.recording.is_some_and(|r| r.plays) {
        finish(state, out);
    }
}

/// Has the last round of a take gone by, and its last notes with it?
pub fn end_of_round(state: &mut State, out: &mut Vec<Effect>) {
    let rings = state
        .sounding
        .is_some_and(|s| s.phase == Phase::Rest && s.beats_left > 1);
    if state.capture.recording.is_some_and(|r| r.plays && r.over) && !rings {
        finish(state, out);
    }
}

/// What a take is heard against while it is played, once the recording's notes are known.
fn to_hear(state: &State, from: CaptureSource) -> Option<ToHear> {
    let model = state
        .hearing
        .view
        .ready()
        .filter(|_| from == CaptureSource::Take)?;
    let latency = state.session.latency_ms;
    Some(ToHear {
        expected: thumbline::along::expected(&model.notes, &model.grid),
        latency: (latency > 0.0).then(|| Span::from_ms(latency)),
    })
}

/// Rounds whose heads stay on the sheet.
const ROUNDS_SHOWN: usize = 3;

/// Something was heard of a take while it is played.
pub fn along(state: &mut State, told: Vec<Told>, out: &mut Vec<Effect>) {
    let meter = state.hearing.view.ready().map(|a| a.grid.meter);
    let (mut bleed, mut good) = (None, None);
    let view = Arc::make_mut(&mut state.capture.along);
    for one in told {
        match one {
            Told::Answered(answer) => {
                view.round = view.round.max(answer.round);
                view.heads.push(answer);
            }
            Told::Round(round) => {
                view.round = view.round.max(round.number + 1);
                view.said = meter.map(|meter| along::sentence(&round, meter));
                view.slot = round.worst().map(|w| (w.slot, w.role));
                good = Some(round.good());
            }
            Told::Bleed(level) => bleed = Some(level),
            Told::WrongPitch { note, round } => view.wrong.push((note, round)),
            Told::Missed { note, round } => view.missed.push((note, round)),
            Told::Extra { at, round } => view.extra.push((at, round)),
        }
    }
    let oldest = (view.round + 1).saturating_sub(ROUNDS_SHOWN);
    view.heads.retain(|head| head.round >= oldest);
    view.wrong.retain(|(_, round)| *round >= oldest);
    view.missed.retain(|(_, round)| *round >= oldest);
    view.extra.retain(|(_, round)| *round >= oldest);
    if let Some(good) = good.filter(|_| state.session.round_tone) {
        studying::sound(state, tone(good), out);
    }
    if let Some(level) = bleed {
        state.tell(
            About::Take,
            format!(
                "The microphone hears the loudspeaker, {:.0} dB below you: headphones make this surer",
                -level
            ),
            false,
        );
    }
}

/// What a round is answered by, where that is wanted: one high pluck where there is nothing to change, two
/// lower ones where there is.
fn tone(good: bool) -> Sound {
    let pluck = |at: f64, pitch: f64| {
        let until = Seconds(at + 0.25);
        let mut pluck = Played::pluck(Seconds(at), until, 1, MidiNote(pitch), 0);
        pluck.level.0 -= 6.0;
        pluck
    };
    let strokes = if good {
        vec![pluck(0.0, 88.0)]
    } else {
        vec![pluck(0.0, 81.0), pluck(0.14, 81.0)]
    };
    Sound {
        name: "The round".to_owned(),
        strokes,
        length: Span(0.6),
        again: false,
    }
}

/// The player keeps the round being played, by foot or key.
pub fn keep_round(state: &mut State, out: &mut Vec<Effect>) {
    let takes = |r: &Recorded| r.source == CaptureSource::Take && r.length.0 > 0.0;
    let Some(recorded) = state.capture.recording.filter(takes) else {
        let text = "There is no round to keep: a take is not being recorded";
        return state.tell(About::Take, text, false);
    };
    state.capture.kept.push(recorded.length);
    // Beside the take on disk too: a program that dies takes no mark with it.
    let order = Order::KeepRound(recorded.length);
    out.push(Effect::TakeWriter(recorded.job, order));
    let text = "Kept: the journal will mark this round";
    state.tell(About::Take, text, false);
}

/// Has the rounds of the loop collected while a take is recorded and the ladder asks how they were.
pub fn judge(state: &mut State, out: &mut Vec<Effect>) {
    let ladder = state.session.ladder;
    if let Some(recorded) = &mut state.capture.recording {
        let judged =
            ladder.on && ladder.within_ms.is_some() && recorded.source == CaptureSource::Take;
        if judged != recorded.judged {
            recorded.judged = judged;
            out.push(Effect::TakeWriter(recorded.job, Order::Collect(judged)));
        }
    }
}

/// Other sound devices: the program starts again, unless it records just now.
pub fn use_sound(state: &mut State, choice: Choice, out: &mut Vec<Effect>) {
    if state.capture.recording.is_some() {
        state.tell(
            About::Take,
            "Stop recording first: the program starts again with other devices",
            false,
        );
    } else if state.program.is_some() {
        out.push(Effect::StartAgain(choice));
    }
}

/// Plays clicks and listens for them.
pub fn calibrate(state: &mut State, out: &mut Vec<Effect>) {
    if state.rate == 0 || state.capture.calibrating.is_some() {
        return;
    }
    let id = state.job();
    let (tap, receiver) = tap(Source::Take, state.rate, ROOM);
    state.capture.calibrating = Some(id);
    out.push(Effect::TakeWriter(id, Order::Calibrate(Box::new(receiver))));
    out.push(Effect::Deck(Message::Calibrate(tap)));
}

/// The clicks were heard, or not.
pub fn calibrated(state: &mut State, latency: Option<Span>, out: &mut Vec<Effect>) {
    state.capture.calibrating = None;
    match latency {
        Some(latency) => {
            state.session.latency_ms = latency.ms();
            out.push(Effect::Changed);
            state.tell(
                About::Take,
                format!("Round trip: {:.1} ms", latency.ms()),
                false,
            );
        }
        None => state.tell(
            About::Take,
            "The clicks were not heard: is the input connected, the click loud enough?",
            false,
        ),
    }
}

/// Nothing can be recorded.
pub fn not_started(state: &mut State, why: &str, out: &mut Vec<Effect>) {
    state.capture.recording = None;
    out.push(Effect::Deck(Message::StopRecording));
    state.tell(About::Take, format!("Nothing can be recorded: {why}"), true);
}

/// A round of the loop ended: its sound is asked for.
pub fn seam(state: &mut State, round: u32, out: &mut Vec<Effect>) {
    if let Some(recorded) = &mut state.capture.recording {
        recorded.over |= recorded.rounds.is_some_and(|rounds| round >= rounds);
    }
    if let Some(recorded) = state.capture.recording.filter(|r| r.judged) {
        out.push(Effect::TakeWriter(recorded.job, Order::Cut));
    }
}

/// A round's sound: how far is it off the recording?
pub fn round(
    state: &mut State,
    frames: Vec<[f32; 2]>,
    rate: u32,
    before: u64,
    places: Vec<Anchor>,
    out: &mut Vec<Effect>,
) {
    let Some(model) = state.hearing.view.ready().cloned() else {
        return;
    };
    let job = analyse::Judged {
        model,
        frames,
        rate,
        before,
        places,
        latency: Span::from_ms(state.session.latency_ms),
    };
    let id = state.job();
    state.capture.judging = Some(id);
    let job = Job::Analyse(analyse::Job::Judge(Box::new(job)));
    out.push(Effect::Start(id, Box::new(job)));
}

/// How far a round was off.
pub fn judged(state: &mut State, drift: Option<Span>, out: &mut Vec<Effect>) {
    state.capture.judging = None;
    let within = state.session.ladder.within_ms;
    if let (Some(drift), Some(within)) = (drift, within)
        && drift.ms() <= within
    {
        out.push(Effect::Deck(Message::Climb));
    }
}
