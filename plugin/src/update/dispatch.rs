//! Carrying out what a player commands.

use super::{
    handing, hearing, looking, marking, mixing, opening, recording, studying, taking, telling,
};
use crate::command::Command;
use crate::effect::{Dial, Effect};
use crate::services::decode;
use crate::session::mend_ladder;
use crate::snapshot::{About, CaptureSource, For, Hear};
use crate::state::{Once, State};
use thumbline::analysis::corrections::Correction;
use thumbline::deck::Message;
use thumbline::unit::Seconds;

/// Carries out a command.
#[allow(
    clippy::too_many_lines,
    reason = "one arm a command, so that none can be forgotten"
)]
pub fn carry_out(state: &mut State, command: Command, out: &mut Vec<Effect>) {
    match command {
        Command::AskForRecording => looking::ask(state, For::Recording, out),
        Command::AskForTake => looking::ask(state, For::Take, out),
        Command::AskForNotes(purpose) => looking::ask(state, purpose, out),
        Command::LookThrough(purpose, path) => looking::through(state, purpose, path, out),
        Command::LeaveFolder => state.folder = None,
        Command::LoadTake(path) => looking::chosen(state, For::Take, path, out),
        Command::Notes(purpose, path) => looking::chosen(state, purpose, path, out),
        Command::MakePage => handing::ask(state, out),
        Command::Load(path) => looking::chosen(state, For::Recording, path, out),
        Command::Locate(path) => opening::locate(state, path, out),
        Command::Close => {
            state.session.recording = None;
            out.push(Effect::Changed);
            opening::close(state, out);
        }
        Command::OpenDemo => opening::errand(state, decode::Job::Demo, out),
        Command::Cancel => opening::cancel(state, out),
        Command::Analyse => hearing::again(state, out),

        Command::Play(on) => play(state, on, out),
        Command::Seek(place) => out.push(Effect::Deck(Message::Seek(place))),
        Command::HearOnce(from, to) => hear_once(state, from, to, out),
        Command::SetSpeed(speed) => out.push(Effect::Dial(Dial::Speed(speed))),
        Command::SetPitch(semitones) => out.push(Effect::Dial(Dial::Pitch(semitones))),
        Command::SetGain(db) => out.push(Effect::Dial(Dial::Gain(db))),
        Command::SetChannels(channels) => out.push(Effect::Dial(Dial::Channels(channels))),
        Command::SetThrough(on) => out.push(Effect::Dial(Dial::Through(on))),
        Command::FollowHost(on) => out.push(Effect::Dial(Dial::Follow(on))),

        Command::SetLoop(on) => {
            out.push(Effect::Loop(on));
            out.push(Effect::Dial(Dial::Loop(on)));
        }
        Command::SetRegion(ends) => marking::stretch(state, ends, out),
        Command::LoopFromTo(from, to) => marking::exactly(state, from, to, out),
        Command::MoveEnd(end, by, way) => marking::move_end(state, end, by, way, out),
        Command::SetBars(first, last) => marking::bars(state, first, last, out),
        Command::KeepRegion(name) => marking::keep(state, name, out),
        Command::UseRegion(index) => marking::take_up(state, index, out),
        Command::RenameRegion(index, name) => marking::rename(state, index, name, out),
        Command::ForgetRegion(index) => marking::forget(state, index, out),
        Command::SetSnap(snap) => {
            state.session.snap = snap;
            out.push(Effect::Changed);
        }
        Command::SetCountIn(bars) => {
            state.session.count_in_bars = bars.min(2);
            practised(state, out);
        }
        Command::SetRest(beats) => {
            state.session.rest_beats = beats.min(16);
            practised(state, out);
        }
        Command::SetLadder(ladder) => {
            state.session.ladder = mend_ladder(ladder);
            practised(state, out);
        }
        Command::SetRoundTone(on) => {
            state.session.round_tone = on;
            out.push(Effect::Changed);
        }
        Command::UseSetUp(index) => set_up(state, index, out),

        Command::SetClick(on) => {
            if on {
                doubt_click(state);
            }
            out.push(Effect::Dial(Dial::Click(on)));
        }
        Command::SetClickLevel(db) => out.push(Effect::Dial(Dial::ClickLevel(db))),
        Command::SetClickRate(rate) => {
            state.session.click_rate = rate;
            out.push(Effect::Changed);
            telling::analysis(state, out);
        }

        Command::EditNote(edit) => correct(state, Correction::Note(edit), out),
        Command::EditGrid(edit) => correct(state, Correction::Grid(edit), out),
        Command::ChooseReading(reading) => {
            state.marks_mut().reading = reading;
            out.push(Effect::Changed);
            hearing::correct(state, out);
        }
        Command::Undo => {
            if studying::undo(state, out) {
                return;
            }
            if state.marks_mut().corrections.undo() {
                out.push(Effect::Changed);
                hearing::correct(state, out);
            }
        }
        Command::Redo => {
            if studying::redo(state, out) {
                return;
            }
            if state.marks_mut().corrections.redo() {
                out.push(Effect::Changed);
                hearing::correct(state, out);
            }
        }
        Command::SetTuning(tuning) => {
            state.marks_mut().tuning = tuning;
            out.push(Effect::Changed);
            hearing::again(state, out);
        }

        Command::CaptureTrack(on) => recording::record(state, CaptureSource::Track, on, out),
        Command::CaptureTake(on) => recording::record(state, CaptureSource::Take, on, out),
        Command::Record(on) => recording::record_at_once(state, on, out),
        Command::KeepRound => recording::keep_round(state, out),
        Command::ShowTake(index, shown) => taking::show(state, index, shown, out),
        Command::Hear(hear) => mixing::hear(state, hear, out),
        Command::ForgetTake(index) => {
            if taking::forget(state, index, out) {
                mixing::hear(state, Hear::default(), out);
            }
        }
        Command::ReadPage => taking::read_page(state, out),
        Command::UseSound(choice) => recording::use_sound(state, choice, out),
        Command::Calibrate => recording::calibrate(state, out),
        Command::SetLatency(latency) if latency.0.is_finite() => {
            state.session.latency_ms = latency.ms().clamp(-500.0, 500.0);
            out.push(Effect::Changed);
        }

        Command::SetLatency(_) => {}
        Command::Learn(control) => out.push(Effect::Listen(control)),
        Command::Unlearn(control) => {
            state.session.learnt.retain(|(c, _)| *c != control);
            out.push(Effect::Changed);
            out.push(Effect::LearnControls(state.session.learnt.clone()));
        }
        Command::Dismiss(id) => state.notices.retain(|n| n.id != id),
        // How the window looks is kept, but no reason to save a project.
        Command::SetLook(look) => state.session.look = look.mended(),
        Command::SetPageState(page_state) => studying::set(state, *page_state, out),
        Command::Sound(sound) => studying::sound(state, sound, out),
        Command::Hush => studying::hush(state, out),
        Command::Drill(job, speed) => studying::drill(state, *job, speed, out),
        Command::Export(format, show) => handing::export(state, format, show, out),
        Command::Drop(path) => studying::dropped(state, path, out),
        Command::HearStrings(on) => studying::hear_strings(state, on, out),
        Command::KeepTuning(name, tuning) => studying::keep_tuning(state, name, &tuning, out),
        Command::KeepPattern(name, cell) => studying::keep_pattern(state, name, *cell, out),
        Command::KeepPage(page, remembered) => {
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

/// Says so where the click follows beats most of which are not sure.
fn doubt_click(state: &mut State) {
    let sure = state.hearing.view.ready().map(|model| model.grid.sure());
    let most_are_not = |sure: &Vec<bool>| 2 * sure.iter().filter(|s| **s).count() < sure.len();
    if sure.is_some_and(|sure| most_are_not(&sure)) {
        let text = "The click follows beats that are not sure. If it does not fit the music, tap \
                    four beats, or choose another reading on the Beats page";
        state.tell(About::Anything, text, false);
    }
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
