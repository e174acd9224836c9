//! Carrying out what a player wishes.

use super::{
    handing, hearing, looking, marking, mixing, opening, recording, studying, taking, telling,
};
use crate::effect::{Dial, Effect};
use crate::services::decode;
use crate::session::mend_ladder;
use crate::snapshot::{CaptureSource, For, Hear};
use crate::state::{Once, State};
use crate::wish::Wish;
use thumbline::analysis::corrections::Correction;
use thumbline::deck::Message;
use thumbline::unit::Seconds;

/// Carries out a wish.
#[allow(
    clippy::too_many_lines,
    reason = "one arm a wish, so that none can be forgotten"
)]
pub fn carry_out(state: &mut State, wish: Wish, out: &mut Vec<Effect>) {
    match wish {
        Wish::AskForRecording => looking::ask(state, For::Recording, out),
        Wish::AskForTake => looking::ask(state, For::Take, out),
        Wish::AskForNotes(purpose) => looking::ask(state, purpose, out),
        Wish::LookThrough(purpose, path) => looking::through(state, purpose, path, out),
        Wish::LeaveFolder => state.folder = None,
        Wish::LoadTake(path) => looking::chosen(state, For::Take, path, out),
        Wish::Notes(purpose, path) => looking::chosen(state, purpose, path, out),
        Wish::MakePage => handing::ask(state, out),
        Wish::Load(path) => looking::chosen(state, For::Recording, path, out),
        Wish::Locate(path) => opening::locate(state, path, out),
        Wish::Close => {
            state.session.recording = None;
            out.push(Effect::Changed);
            opening::close(state, out);
        }
        Wish::OpenDemo => opening::errand(state, decode::Job::Demo, out),
        Wish::Cancel => opening::cancel(state, out),
        Wish::Analyse => hearing::again(state, out),

        Wish::Play(on) => play(state, on, out),
        Wish::Seek(place) => out.push(Effect::Deck(Message::Seek(place))),
        Wish::HearOnce(from, to) => hear_once(state, from, to, out),
        Wish::SetSpeed(speed) => out.push(Effect::Dial(Dial::Speed(speed))),
        Wish::SetPitch(semitones) => out.push(Effect::Dial(Dial::Pitch(semitones))),
        Wish::SetGain(db) => out.push(Effect::Dial(Dial::Gain(db))),
        Wish::SetChannels(channels) => out.push(Effect::Dial(Dial::Channels(channels))),
        Wish::SetThrough(on) => out.push(Effect::Dial(Dial::Through(on))),
        Wish::FollowHost(on) => out.push(Effect::Dial(Dial::Follow(on))),

        Wish::SetLoop(on) => {
            out.push(Effect::Loop(on));
            out.push(Effect::Dial(Dial::Loop(on)));
        }
        Wish::SetRegion(ends) => marking::stretch(state, ends, out),
        Wish::LoopFromTo(from, to) => marking::exactly(state, from, to, out),
        Wish::MoveEnd(end, by, way) => marking::move_end(state, end, by, way, out),
        Wish::SetBars(first, last) => marking::bars(state, first, last, out),
        Wish::KeepRegion(name) => marking::keep(state, name, out),
        Wish::UseRegion(index) => marking::take_up(state, index, out),
        Wish::RenameRegion(index, name) => marking::rename(state, index, name, out),
        Wish::ForgetRegion(index) => marking::forget(state, index, out),
        Wish::SetSnap(snap) => {
            state.session.snap = snap;
            out.push(Effect::Changed);
        }
        Wish::SetCountIn(bars) => {
            state.session.count_in_bars = bars.min(2);
            practised(state, out);
        }
        Wish::SetRest(beats) => {
            state.session.rest_beats = beats.min(16);
            practised(state, out);
        }
        Wish::SetLadder(ladder) => {
            state.session.ladder = mend_ladder(ladder);
            practised(state, out);
        }
        Wish::SetRoundTone(on) => {
            state.session.round_tone = on;
            out.push(Effect::Changed);
        }
        Wish::UseSetUp(index) => set_up(state, index, out),

        Wish::SetClick(on) => out.push(Effect::Dial(Dial::Click(on))),
        Wish::SetClickLevel(db) => out.push(Effect::Dial(Dial::ClickLevel(db))),
        Wish::SetClickRate(rate) => {
            state.session.click_rate = rate;
            out.push(Effect::Changed);
            telling::analysis(state, out);
        }

        Wish::EditNote(edit) => correct(state, Correction::Note(edit), out),
        Wish::EditGrid(edit) => correct(state, Correction::Grid(edit), out),
        Wish::ChooseReading(reading) => {
            state.marks_mut().reading = reading;
            out.push(Effect::Changed);
            hearing::correct(state, out);
        }
        Wish::Undo => {
            if studying::undo(state, out) {
                return;
            }
            if state.marks_mut().corrections.undo() {
                out.push(Effect::Changed);
                hearing::correct(state, out);
            }
        }
        Wish::Redo => {
            if studying::redo(state, out) {
                return;
            }
            if state.marks_mut().corrections.redo() {
                out.push(Effect::Changed);
                hearing::correct(state, out);
            }
        }
        Wish::SetTuning(tuning) => {
            state.marks_mut().tuning = tuning;
            out.push(Effect::Changed);
            hearing::again(state, out);
        }

        Wish::CaptureTrack(on) => recording::record(state, CaptureSource::Track, on, out),
        Wish::CaptureTake(on) => recording::record(state, CaptureSource::Take, on, out),
        Wish::Record(on) => recording::record_at_once(state, on, out),
        Wish::KeepRound => recording::keep_round(state, out),
        Wish::ShowTake(index, shown) => taking::show(state, index, shown, out),
        Wish::Hear(hear) => mixing::hear(state, hear, out),
        Wish::ForgetTake(index) => {
            if taking::forget(state, index, out) {
                mixing::hear(state, Hear::default(), out);
            }
        }
        Wish::ReadPage => taking::read_page(state, out),
        Wish::UseSound(choice) => recording::use_sound(state, choice, out),
        Wish::Calibrate => recording::calibrate(state, out),
        Wish::SetLatency(latency) if latency.0.is_finite() => {
            state.session.latency_ms = latency.ms().clamp(-500.0, 500.0);
            out.push(Effect::Changed);
        }

        Wish::SetLatency(_) => {}
        Wish::Learn(control) => out.push(Effect::Listen(control)),
        Wish::Unlearn(control) => {
            state.session.learnt.retain(|(c, _)| *c != control);
            out.push(Effect::Changed);
            out.push(Effect::LearnControls(state.session.learnt.clone()));
        }
        Wish::Dismiss(id) => state.notices.retain(|n| n.id != id),
        // How the window looks is kept, but no reason to save a project.
        Wish::SetLook(look) => state.session.look = look.mended(),
        Wish::SetPageState(page_state) => studying::set(state, *page_state, out),
        Wish::Sound(sound) => studying::sound(state, sound, out),
        Wish::Hush => studying::hush(state, out),
        Wish::Drill(job, speed) => studying::drill(state, *job, speed, out),
        Wish::Export(format, show) => handing::export(state, format, show, out),
        Wish::Drop(path) => studying::dropped(state, path, out),
        Wish::HearStrings(on) => studying::hear_strings(state, on, out),
        Wish::KeepTuning(name, tuning) => studying::keep_tuning(state, name, &tuning, out),
        Wish::KeepPattern(name, cell) => studying::keep_pattern(state, name, *cell, out),
        Wish::KeepPage(page, remembered) => {
            state.session.pages.insert(page.to_owned(), remembered);
        }
    }
}

fn play(state: &mut State, on: bool, out: &mut Vec<Effect>) {
    state.once = None;
    if !on {
        recording::stopped(state, out);
    } else if state.beside.as_ref().is_some_and(|b| b.again) {
        studying::hush(state, out);
    }
    out.push(Effect::Play(on));
    out.push(Effect::Dial(Dial::Play(on)));
}

fn hear_once(state: &mut State, from: Seconds, to: Seconds, out: &mut Vec<Effect>) {
    out.push(Effect::Deck(Message::Seek(from)));
    play(state, true, out);
    state.once = Some(Once::Asked(from, to));
}

fn practised(state: &mut State, out: &mut Vec<Effect>) {
    out.push(Effect::Changed);
    telling::practice(state, out);
    recording::judge(state, out);
}

fn correct(state: &mut State, correction: Correction, out: &mut Vec<Effect>) {
    state.marks_mut().corrections.push(correction);
    out.push(Effect::Changed);
    hearing::correct(state, out);
}

/// Speed, loop, ladder and click in one choice.
fn set_up(state: &mut State, index: usize, out: &mut Vec<Effect>) {
    let Some(set_up) = state.set_ups.get(index).cloned() else {
        return;
    };
    out.extend(set_up.speed.map(|s| Effect::Dial(Dial::Speed(s))));
    if let Some(on) = set_up.looped {
        out.push(Effect::Loop(on));
        out.push(Effect::Dial(Dial::Loop(on)));
    }
    out.extend(set_up.click.map(|on| Effect::Dial(Dial::Click(on))));
    state.session.merge(set_up.session);
    practised(state, out);
    telling::analysis(state, out);
}
