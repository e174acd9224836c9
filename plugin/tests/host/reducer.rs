//! The one place where state changes, tested like arithmetic: messages in, effects out.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::deck;
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::tuning::Tuning;
use thumbline::recording::{ContentHash, Recording};
use thumbline::stretch::OnsetTable;
use thumbline::unit::{Seconds, Span};
use thumbline_plugin::command::{Command, Way};
use thumbline_plugin::control::Control;
use thumbline_plugin::data::named;
use thumbline_plugin::effect::{Dial, Effect};
use thumbline_plugin::job::JobId;
use thumbline_plugin::message::{Message, Tick};
use thumbline_plugin::page_state::{DrillsPage, OfPattern, Page, PageState};
use thumbline_plugin::services::{Job, Said, analyse, decode};
use thumbline_plugin::session::{Edges, RecordingRef, Session};
use thumbline_plugin::shared_controls::CONTROLS;
use thumbline_plugin::snapshot::{About, AnalysisView, End, For, Hear, Snap};
use thumbline_plugin::state::{Stage, State};
use thumbline_plugin::update::update;

const RATE: u32 = 48_000;

fn command(state: &mut State, command: Command) -> Vec<Effect> {
    update(state, Message::Command(command))
}

fn changes(effects: &[Effect]) -> bool {
    effects.iter().any(|e| matches!(e, Effect::Changed))
}

/// The jobs that were started.
fn started(effects: &[Effect]) -> Vec<(JobId, &Job)> {
    let started = effects.iter().filter_map(|e| match e {
        Effect::Start(id, job) => Some((*id, &**job)),
        _ => None,
    });
    started.collect()
}

fn sound() -> Arc<Recording> {
    let samples = vec![vec![0.1; 20 * RATE as usize]];
    Arc::new(Recording::new("tune.wav", RATE, samples).expect("a recording"))
}

fn part(sound: &Arc<Recording>) -> decode::Part {
    decode::Part {
        sound: Arc::clone(sound),
        onsets: Arc::new(OnsetTable::cleaned(Vec::new(), sound.frames())),
        peaks: Arc::default(),
        progress: Some(1.0),
    }
}

/// Beats half a second apart, the first at `first`.
fn beaten(first: f64) -> Arc<Analysis> {
    let times: Vec<Seconds> = (0..24)
        .map(|i| Seconds(first + 0.5 * f64::from(i)))
        .collect();
    Arc::new(Analysis {
        notes: Vec::new(),
        grid: Grid::from_beats(&times, 0, Meter::COMMON),
        tuning_offset: None,
        tuning_course: Vec::new(),
        tuning: Tuning::standard(),
        guesses: Vec::new(),
        solo: thumbline::analysis::one_guitar::Solo::default(),
        end: Seconds(20.0),
        alternatives: Vec::new(),
        warnings: Vec::new(),
    })
}

fn corrected(analysis: &Arc<Analysis>) -> analyse::Answer {
    analyse::Answer::Corrected {
        analysis: Arc::clone(analysis),
        pins: Arc::from([]),
        swing: 0.5,
    }
}

/// An instance whose recording is open and heard.
fn heard() -> State {
    let mut state = State::default();
    update(&mut state, Message::Activated(RATE));
    let path = PathBuf::from("/music/tune.wav");
    let effects = command(&mut state, Command::Load(path));
    let reads = started(&effects)[0].0;
    let sound = sound();
    let whole = decode::Answer::Whole {
        part: part(&sound),
        hash: sound.hash(),
        original: sound,
        warnings: Vec::new(),
    };
    let effects = update(&mut state, Message::Said(reads, Said::Decode(whole)));
    let listens = started(&effects)
        .into_iter()
        .find(|(_, job)| matches!(job, Job::Analyse(_)))
        .expect("it is listened to")
        .0;
    let answer = Said::Analyse(analyse::Answer::Heard(beaten(1.0)));
    let effects = update(&mut state, Message::Said(listens, answer));
    let corrects = started(&effects)[0].0;
    let answer = Said::Analyse(corrected(&beaten(1.0)));
    update(&mut state, Message::Said(corrects, answer));
    assert!(state.hearing.view.ready().is_some());
    state
}

#[test]
fn what_changes_nothing_that_is_kept_does_not_mark_the_project() {
    let mut state = heard();
    let ends = Some((Seconds(1.0), Seconds(3.0)));
    state.notice("something", false);
    let read_only = [
        Command::Seek(Seconds(3.0)),
        Command::Dismiss(1),
        Command::Play(true),
        Command::SetSpeed(0.5),
        Command::HearOnce(Seconds(1.0), Seconds(2.0)),
        Command::ReadPage,
        Command::SetLook(state.session.look),
        Command::Undo,
        Command::Redo,
        Command::ForgetRegion(7),
        Command::RenameRegion(7, "x".into()),
        Command::Calibrate,
    ];
    for asked in read_only {
        let effects = command(&mut state, asked.clone());
        assert!(!changes(&effects), "{asked:?}");
    }
    let kept = [
        Command::SetRegion(ends),
        Command::KeepRegion("mine".into()),
        Command::RenameRegion(0, "yours".into()),
        Command::SetCountIn(1),
        Command::SetTuning(Some(Tuning::dadgad().with_capo(2))),
    ];
    for asked in kept {
        let effects = command(&mut state, asked.clone());
        assert!(changes(&effects), "{asked:?}");
    }
}

/// A deck that stands, its last sound dying away.
fn sounding() -> deck::State {
    deck::State {
        phase: deck::Phase::Stopped,
        position: Seconds(2.0),
        speed: 1.0,
        round: 0,
        beats_left: 0,
        peak: 0.5,
        input: 0.0,
        reduction_db: 0.0,
        recorded: 0,
        dropped: 0,
        aside: None,
        clock: 9,
    }
}

#[test]
fn a_click_on_beats_that_are_not_sure_says_so() {
    let clicked = |confidence: f32| {
        let mut state = heard();
        let mut analysis = (*beaten(1.0)).clone();
        let mut beats = analysis.grid.beats().to_vec();
        for beat in &mut beats {
            beat.confidence = confidence;
        }
        analysis.grid = Grid::from_parts(Meter::COMMON, beats, Vec::new());
        state.hearing.view = AnalysisView::Ready(Arc::new(analysis));
        command(&mut state, Command::SetClick(false));
        assert!(state.notices.is_empty());
        command(&mut state, Command::SetClick(true));
        state.notices.len()
    };
    assert_eq!((clicked(0.3), clicked(0.9)), (1, 0));
}

#[test]
fn a_latency_that_is_no_number_leaves_the_known_one() {
    let mut state = heard();
    command(&mut state, Command::SetLatency(Span(0.012)));
    for none in [f64::NAN, f64::INFINITY] {
        command(&mut state, Command::SetLatency(Span(none)));
        assert_eq!(state.session.latency_ms, 12.0);
    }
}

#[test]
fn whatever_is_seen_raises_the_revision_and_standing_still_does_not() {
    let mut state = heard();
    command(
        &mut state,
        Command::SetRegion(Some((Seconds(1.0), Seconds(3.0)))),
    );
    command(&mut state, Command::KeepRegion("mine".into()));
    let before = state.revision;
    command(&mut state, Command::RenameRegion(0, "yours".into()));
    assert!(state.revision > before, "a new name is painted");
    let sounding = sounding();
    let mut tick = Tick {
        sounding: Some(sounding),
        ..Tick::default()
    };
    update(&mut state, Message::Tick(tick));
    let before = state.revision;
    tick.sounding = Some(deck::State {
        peak: 0.0,
        clock: 99,
        ..sounding
    });
    // The level falls to rest; then nothing more is to be painted.
    for _ in 0..200 {
        update(&mut state, Message::Tick(tick));
    }
    let rest = state.revision;
    assert!(rest > before);
    for _ in 0..50 {
        update(&mut state, Message::Tick(tick));
    }
    assert_eq!(state.revision, rest);
}

/// A window is painted at once for what is new, at its own pace for what only goes on.
#[test]
fn what_only_moves_is_no_news() {
    let mut state = heard();
    let mut now = deck::State {
        phase: deck::Phase::Rolling,
        peak: 0.0,
        ..sounding()
    };
    let tick = |state: &mut State, now| {
        let tick = Tick {
            sounding: Some(now),
            ..Tick::default()
        };
        update(state, Message::Tick(tick));
        (state.revision, state.news)
    };
    let (revision, news) = tick(&mut state, now);
    now.position = Seconds(2.1);
    let (moved, same) = tick(&mut state, now);
    assert!(moved > revision && same == news);
    now.round = 2;
    assert!(tick(&mut state, now).1 > news, "another round is");
    now.phase = deck::Phase::Stopped;
    let (_, news) = tick(&mut state, now);
    now.position = Seconds(1.0);
    assert!(tick(&mut state, now).1 > news, "a place that was sought is");
}

#[test]
fn answers_to_questions_of_before_change_nothing() {
    let mut state = heard();
    let old = JobId(1);
    let stranger = Arc::new(Recording::new("other", RATE, vec![vec![0.5; 4800]]).expect("sound"));
    let answers = [
        Said::Decode(decode::Answer::Part(part(&stranger))),
        Said::Decode(decode::Answer::Gone),
        Said::Decode(decode::Answer::Failed("no".into())),
        Said::Decode(decode::Answer::Located("/else".into())),
        Said::Decode(decode::Answer::Demo("/demo".into())),
        Said::Decode(decode::Answer::Again(Arc::clone(&stranger))),
        Said::Analyse(analyse::Answer::Heard(beaten(9.0))),
        Said::Analyse(corrected(&beaten(9.0))),
        Said::Analyse(analyse::Answer::Judged(Some(Span(0.0)))),
        Said::Mix(Err("no".into())),
    ];
    let (model, part) = (
        state.hearing.view.ready().cloned().expect("heard"),
        state.open.part.clone().expect("open"),
    );
    for answer in answers {
        let effects = update(&mut state, Message::Said(old, answer.clone()));
        assert!(effects.is_empty(), "{answer:?}");
    }
    let now = state.hearing.view.ready().expect("heard");
    assert!(Arc::ptr_eq(now, &model));
    assert!(Arc::ptr_eq(
        &state.open.part.as_ref().expect("open").sound,
        &part.sound
    ));
    assert!(matches!(state.open.stage, Stage::Ready(_)));
}

#[test]
fn whatever_is_under_way_is_given_up_when_it_is_not_wanted_any_more() {
    let mut state = State::default();
    update(&mut state, Message::Activated(RATE));
    let effects = command(&mut state, Command::Load("/music/one.wav".into()));
    let first = started(&effects)[0].0;
    let effects = command(&mut state, Command::Load("/music/two.wav".into()));
    assert!(
        effects
            .iter()
            .any(|e| matches!(e, Effect::Cancel(id) if *id == first))
    );
    let second = started(&effects)[0].0;
    let effects = command(&mut state, Command::Close);
    assert!(
        effects
            .iter()
            .any(|e| matches!(e, Effect::Cancel(id) if *id == second))
    );
    assert!(state.pending().is_none());
    // A mix too.
    let mut state = heard();
    command(&mut state, Command::Hear(Hear::Balance(-1.0)));
    assert!(state.pending().is_some());
    let mixes = state.mix.job.expect("it is made");
    let effects = command(&mut state, Command::Hear(Hear::Balance(0.0)));
    assert!(
        effects
            .iter()
            .any(|e| matches!(e, Effect::Cancel(id) if *id == mixes))
    );
    assert!(state.pending().is_none());
}

#[test]
fn a_loop_on_beats_moves_with_them_and_a_free_one_does_not() {
    let mut state = heard();
    command(&mut state, Command::SetSnap(Snap::Beat));
    command(
        &mut state,
        Command::SetRegion(Some((Seconds(1.52), Seconds(3.01)))),
    );
    let region = |state: &State| {
        state
            .marks()
            .and_then(|m| m.region.clone())
            .expect("a loop")
    };
    assert_eq!(region(&state).edges, Edges::Beats);
    assert_eq!(region(&state).from, Seconds(1.5));
    command(&mut state, Command::KeepRegion("on the beat".into()));
    command(&mut state, Command::SetSnap(Snap::Free));
    command(
        &mut state,
        Command::SetRegion(Some((Seconds(1.52), Seconds(3.01)))),
    );
    assert_eq!(region(&state).edges, Edges::Free);
    // Every beat comes 40 ms later after a correction.
    let effects = command(&mut state, Command::ChooseReading(None));
    let corrects = started(&effects)[0].0;
    let answer = Said::Analyse(corrected(&beaten(1.04)));
    update(&mut state, Message::Said(corrects, answer));
    assert_eq!(region(&state).from, Seconds(1.52));
    let kept = state.marks().expect("marks").regions[0].clone();
    assert!((kept.from.0 - 1.54).abs() < 1e-9, "{kept:?}");
    assert!((kept.to.0 - 3.04).abs() < 1e-9, "{kept:?}");
}

/// The loop, as it is kept.
fn region(state: &State) -> (f64, f64) {
    let region = state.marks().and_then(|m| m.region.clone());
    region.map(|r| (r.from.0, r.to.0)).expect("a loop")
}

#[test]
fn a_loop_is_never_lost_to_what_its_ends_hold_on_to() {
    let mut state = heard();
    command(&mut state, Command::SetSnap(Snap::Bar));
    let drag = |state: &mut State, from, to| {
        command(
            state,
            Command::SetRegion(Some((Seconds(from), Seconds(to)))),
        );
    };
    drag(&mut state, 1.1, 2.9);
    assert_eq!(region(&state), (1.0, 3.0));
    // Inside one bar: by beats.
    drag(&mut state, 1.45, 1.9);
    assert_eq!(region(&state), (1.5, 2.0));
    // Inside one beat: by slots, here the off-beats.
    drag(&mut state, 1.52, 1.7);
    assert_eq!(region(&state), (1.5, 1.75));
    // Nothing at all changes nothing.
    drag(&mut state, 1.6, 1.6);
    assert_eq!(region(&state), (1.5, 1.75));
}

#[test]
fn ends_go_from_beat_to_beat_and_never_through_each_other() {
    let mut state = heard();
    command(&mut state, Command::LoopFromTo(Seconds(3.0), Seconds(5.0)));
    let step = |state: &mut State, end, by, way| {
        command(state, Command::MoveEnd(end, by, way));
        region(state)
    };
    let (start, finish) = (End::Start, End::Finish);
    assert_eq!(
        step(&mut state, finish, Snap::Beat, Way::Earlier),
        (3.0, 4.5)
    );
    assert_eq!(
        step(&mut state, finish, Snap::Slot, Way::Earlier),
        (3.0, 4.25)
    );
    assert_eq!(step(&mut state, start, Snap::Beat, Way::Later), (3.5, 4.25));
    assert_eq!(step(&mut state, start, Snap::Beat, Way::Later), (4.0, 4.25));
    assert_eq!(step(&mut state, start, Snap::Beat, Way::Later), (4.0, 4.25));
    assert_eq!(
        step(&mut state, start, Snap::Bar, Way::Earlier),
        (3.0, 4.25)
    );
    // The last bar's end is a place too, though no beat is there.
    command(
        &mut state,
        Command::LoopFromTo(Seconds(11.0), Seconds(12.5)),
    );
    assert_eq!(
        step(&mut state, finish, Snap::Beat, Way::Later),
        (11.0, 13.0)
    );
}

#[test]
fn one_button_counts_in_plays_records_and_stops() {
    use thumbline::deck::{Event, Message as Deck};
    let mut state = heard();
    // Two bars: twice round gives the four that tell something.
    command(&mut state, Command::LoopFromTo(Seconds(3.0), Seconds(7.0)));
    state.loop_on = true;
    let deck = |effects: &[Effect], which: fn(&Deck) -> bool| {
        effects
            .iter()
            .any(|e| matches!(e, Effect::Deck(message) if which(message)))
    };
    let plays = |effects: &[Effect], on: bool| {
        effects
            .iter()
            .any(|e| matches!(e, Effect::Play(asked) if *asked == on))
    };
    let begun = command(&mut state, Command::Record(true));
    assert!(deck(&begun, |m| matches!(m, Deck::Record(_))));
    assert!(deck(&begun, |m| matches!(m, Deck::CountIn(1))));
    assert!(deck(&begun, |m| matches!(m, Deck::Seek(at) if at.0 == 3.0)));
    assert!(plays(&begun, true));
    // The loop's end: late notes still ring into the rest, then all of it stops by itself.
    let seam = |round| Message::Deck(Event::Seam { round, clock: 0 });
    let begins = |round| {
        let (speed, clock) = (1.0, 0);
        Message::Deck(Event::Round {
            round,
            speed,
            clock,
        })
    };
    update(&mut state, begins(1));
    update(&mut state, seam(1));
    let rest = |beats_left| deck::State {
        phase: deck::Phase::Rest,
        beats_left,
        ..sounding()
    };
    let tick = |state: &mut State, sounding| {
        let tick = Tick {
            sounding: Some(sounding),
            loop_on: true,
            ..Tick::default()
        };
        update(state, Message::Tick(tick))
    };
    assert!(!plays(&tick(&mut state, rest(1)), false), "not yet");
    let last = update(&mut state, begins(2));
    assert!(deck(&last, |m| matches!(m, Deck::Rest(2))));
    update(&mut state, seam(2));
    assert!(!plays(&tick(&mut state, rest(2)), false));
    let ended = tick(&mut state, rest(1));
    assert!(plays(&ended, false));
    assert!(deck(&ended, |m| matches!(m, Deck::StopRecording)));
    assert!(deck(&ended, |m| matches!(m, Deck::CountIn(0))));
}

#[test]
fn a_missing_recording_keeps_everything_until_it_is_found() {
    let mut state = State::default();
    update(&mut state, Message::Activated(RATE));
    let sound = sound();
    let mut session = Session::default();
    session.recording = Some(RecordingRef {
        name: "tune.wav".into(),
        path: "/gone/tune.wav".into(),
        hash: Some(sound.hash()),
    });
    session.position = Seconds(3.5);
    let effects = update(&mut state, Message::Restored(Box::new(session)));
    let reads = started(&effects)[0].0;
    update(
        &mut state,
        Message::Said(reads, Said::Decode(decode::Answer::Gone)),
    );
    assert!(matches!(state.open.stage, Stage::Missing { .. }));
    assert_eq!(state.session.position, Seconds(3.5));
    assert!(
        state
            .notices
            .iter()
            .any(|n| n.grave && n.text.contains("tune.wav"))
    );
    // One of the same name, chosen in the dialog, is looked at before it is taken.
    let effects = update(
        &mut state,
        Message::Chosen(For::Recording, "/else/tune.wav".into()),
    );
    let (looks, job) = started(&effects)[0];
    assert!(
        matches!(job, Job::Decode(decode::Job::Locate { hash: Some(h), .. }) if *h == sound.hash())
    );
    let located = decode::Answer::Located("/else/tune.wav".into());
    let effects = update(&mut state, Message::Said(looks, Said::Decode(located)));
    assert!(changes(&effects));
    let known = state.session.recording.as_ref().expect("known");
    assert_eq!(known.path, Path::new("/else/tune.wav"));
}

#[test]
fn what_breaks_is_said_and_everything_else_goes_on() {
    let mut state = heard();
    command(&mut state, Command::Hear(Hear::Balance(-1.0)));
    let mixes = state.mix.job.expect("it is made");
    update(
        &mut state,
        Message::Said(mixes, Said::Broke("index out of bounds".into())),
    );
    assert_eq!(state.mix.hear, Hear::default());
    assert!(
        state
            .notices
            .iter()
            .any(|n| n.text.contains("index out of bounds"))
    );
    assert!(state.pending().is_none());
    command(&mut state, Command::Analyse);
    let id = state.open.errand.expect("it is read again");
    let again = Said::Decode(decode::Answer::Again(sound()));
    let effects = update(&mut state, Message::Said(id, again));
    let listens = started(&effects)[0].0;
    update(
        &mut state,
        Message::Said(listens, Said::Broke("overflow".into())),
    );
    assert!(matches!(state.hearing.view, AnalysisView::Failed(_)));
    assert!(state.pending().is_none());
}

#[test]
fn a_window_s_gestures_reach_the_host_and_a_set_up_all_of_them() {
    let mut state = heard();
    let effects = command(&mut state, Command::HearOnce(Seconds(1.0), Seconds(2.0)));
    let plays = effects.iter().any(|e| matches!(e, Effect::Play(true)));
    let dial = effects
        .iter()
        .any(|e| matches!(e, Effect::Dial(Dial::Play(true))));
    assert!(plays && dial);
    let effects = command(&mut state, Command::UseSetUp(99));
    assert!(effects.is_empty());
}

#[test]
fn a_take_carries_the_tuning_that_the_player_told() {
    let mut state = heard();
    let tuning = Tuning::dadgad().with_capo(2);
    command(&mut state, Command::SetTuning(Some(tuning.clone())));
    let effects = command(&mut state, Command::CaptureTake(true));
    let id = effects
        .iter()
        .find_map(|e| match e {
            Effect::TakeWriter(id, _) => Some(*id),
            _ => None,
        })
        .expect("it is recorded");
    let done = thumbline_plugin::services::take_file::WrittenTake {
        source: thumbline::deck::capture::Source::Take,
        path: Some("/takes/one.wav".into()),
        places: Vec::new(),
        length: Span(2.0),
        ended: thumbline::journal::Moment(0),
        fault: None,
    };
    let done = thumbline_plugin::services::take_writer::Answer::Done(Box::new(done));
    let effects = update(&mut state, Message::Said(id, Said::TakeWriter(done)));
    let asked = started(&effects).into_iter().any(|(_, job)| {
        matches!(job, Job::Analyse(analyse::Job::Take { tuning: Some(t), .. }) if *t == tuning)
    });
    assert!(asked, "the take is heard in it");
    assert_eq!(state.marks().expect("marks").takes[0].tuning, Some(tuning));
    let _: ContentHash = state.open.hash.expect("known");
}

#[test]
fn what_was_wrong_is_not_said_any_more_when_it_works() {
    let mut state = heard();
    state.tell(About::File, "There is no file any more", true);
    state.tell(About::Take, "Nothing can be recorded: no room", true);
    state.tell(About::Take, "Nothing can be recorded: no room", true);
    assert_eq!(state.notices.len(), 2, "said once");
    command(&mut state, Command::CaptureTake(true));
    let left: Vec<About> = state.notices.iter().map(|n| n.about).collect();
    assert_eq!(left, [About::File]);
    command(&mut state, Command::Load(PathBuf::from("/music/other.wav")));
    assert!(state.notices.is_empty());
}

#[test]
fn a_file_becomes_a_take_and_is_not_loaded_twice() {
    let mut state = heard();
    let path = PathBuf::from("/music/my take.wav");
    let effects = command(&mut state, Command::LoadTake(path.clone()));
    assert!(changes(&effects));
    assert!(matches!(
        started(&effects)[..],
        [(_, Job::Analyse(analyse::Job::Take { .. }))]
    ));
    assert_eq!(state.takes[0].take.name, "my take");
    command(&mut state, Command::LoadTake(path));
    assert_eq!(state.takes.len(), 1);
    let mut empty = State::default();
    command(
        &mut empty,
        Command::LoadTake(PathBuf::from("/music/my take.wav")),
    );
    assert!(empty.takes.is_empty() && empty.notices[0].about == About::Take);
}

#[test]
fn without_a_dialog_the_list_begins_where_the_last_file_was() {
    let mut state = heard();
    let asks = command(&mut state, Command::AskForTake);
    assert!(matches!(
        &asks[..],
        [Effect::Ask(For::Take, Some(folder))] if folder == Path::new("/music")
    ));
    let effects = update(&mut state, Message::NoDialog(For::Take));
    let [(_, Job::Folder(job))] = &started(&effects)[..] else {
        panic!("a folder is looked through");
    };
    assert_eq!(job.path.as_deref(), Some(Path::new("/music")));
    assert_eq!(job.purpose, For::Take);
}

/// Every page takes its own last change back and does it again; a dial that is turned on is one change.
#[test]
fn each_page_takes_its_last_change_back() {
    let mut state = State::default();
    let set = |state: &mut State, change: &dyn Fn(&mut PageState)| {
        let mut page_state = state.session.page_state.clone();
        change(&mut page_state);
        command(state, Command::SetPageState(Box::new(page_state)))
    };
    set(&mut state, &|d| d.page = Page::Tunings);
    set(&mut state, &|d| d.tunings.to = Some("DADGAD".to_owned()));
    set(&mut state, &|d| d.page = Page::Drills);
    for tempo in [90.0, 95.0, 100.0] {
        set(&mut state, &|d| d.drills.tempo = tempo);
    }
    set(&mut state, &|d| d.drills.scale = "E dorian".to_owned());
    let usual = DrillsPage::default();
    assert!(changes(&command(&mut state, Command::Undo)));
    assert_eq!(state.session.page_state.drills.scale, usual.scale);
    assert_eq!(state.session.page_state.drills.tempo, 100.0);
    command(&mut state, Command::Undo);
    assert_eq!(
        state.session.page_state.drills, usual,
        "one turn of the dial"
    );
    // The other page's change waits for it.
    assert_eq!(
        state.session.page_state.tunings.to.as_deref(),
        Some("DADGAD")
    );
    command(&mut state, Command::Redo);
    assert_eq!(state.session.page_state.drills.tempo, 100.0);
    set(&mut state, &|d| d.page = Page::Tunings);
    command(&mut state, Command::Undo);
    assert_eq!(state.session.page_state.tunings.to, None);
}

/// A foot that went down on what the audio thread leaves to the rest.
#[test]
fn feet_change_the_speed_and_leave_the_ladder() {
    let mut state = State::default();
    state.session.ladder.on = true;
    state.dials.speed = 0.7;
    let faster = CONTROLS.iter().position(|c| *c == Control::Faster);
    let tick = Tick {
        dials: state.dials,
        pressed: 1 << faster.expect("a control"),
        ..Tick::default()
    };
    let effects = update(&mut state, Message::Tick(tick));
    let speed = effects.iter().find_map(|e| match e {
        Effect::Dial(Dial::Speed(speed)) => Some(*speed),
        _ => None,
    });
    assert!((speed.expect("faster") - 0.75).abs() < 1e-9);
    assert!(!state.session.ladder.on);
}

/// Written notes that are dropped or pasted are a pattern on the pattern's page, a melody elsewhere.
#[test]
fn written_notes_go_where_they_are_looked_at() {
    let mut state = State::default();
    state.session.page_state.page = Page::Pattern;
    command(&mut state, Command::Drop("/tunes/cell.mid".into()));
    let pattern = &state.session.page_state.pattern;
    assert_eq!(pattern.of, OfPattern::File);
    assert_eq!(pattern.file.as_deref(), Some(Path::new("/tunes/cell.mid")));
    state.session.page_state.page = Page::Neck;
    command(&mut state, Command::Drop("/tunes/air.musicxml".into()));
    assert_eq!(state.session.page_state.page, Page::OffBeat);
    // What a file manager copies is an address.
    let address = named("file:///tunes/my%20tune.wav\r\n");
    assert_eq!(address.as_deref(), Some(Path::new("/tunes/my tune.wav")));
    assert_eq!(named("b"), None);
}
