//! Feet, keys and a hurried hand: MIDI and commands in any order, with the ticks between them.
#![no_main]

use libfuzzer_sys::fuzz_target;
use thumbline::unit::{Seconds, Span};
use thumbline_plugin::command::{Command, Way};
use thumbline_plugin::control::Trigger;
use thumbline_plugin::effect::Effect;
use thumbline_plugin::job::JobId;
use thumbline_plugin::message::{Message, Tick};
use thumbline_plugin::services::Said;
use thumbline_plugin::session::Session;
use thumbline_plugin::shared_controls::{CONTROLS, SharedControls};
use thumbline_plugin::snapshot::{End, Hear, Snap};
use thumbline_plugin::snapshot_of;
use thumbline_plugin::state::State;
use thumbline_plugin::update::update;

const RATES: [u32; 4] = [8_000, 44_100, 48_000, 192_000];

/// What three bytes ask of the window.
fn command(kind: u8, a: u8, b: u8) -> Command {
    let at = |n: u8| Seconds(f64::from(n) * 0.25 - 2.0);
    let odd = [f64::NAN, f64::INFINITY, -1e300, 0.0, 0.6, 1.5];
    let number = odd[usize::from(a) % odd.len()];
    match kind % 32 {
        0 => Command::Play(a > 127),
        1 => Command::Seek(Seconds(if b > 250 { number } else { at(a).0 })),
        2 => Command::SetSpeed(if b > 127 {
            number
        } else {
            f64::from(a) / 100.0
        }),
        3 => Command::SetLoop(a > 127),
        4 => Command::SetRegion((b > 9).then_some((at(a), at(b)))),
        5 => Command::LoopFromTo(at(a), at(b)),
        6 => Command::MoveEnd(
            if a > 127 { End::Start } else { End::Finish },
            if b > 127 { Snap::Beat } else { Snap::Bar },
            if b % 2 == 0 { Way::Earlier } else { Way::Later },
        ),
        7 => Command::SetBars(i32::from(a) - 9, i32::from(b) - 9),
        8 => Command::KeepRegion("hard".into()),
        9 => Command::UseRegion(a.into()),
        10 => Command::RenameRegion(a.into(), "bar".into()),
        11 => Command::ForgetRegion(a.into()),
        12 => Command::SetCountIn(a),
        13 => Command::SetRest(a),
        14 => Command::SetClick(a > 127),
        15 => Command::SetClickLevel(number),
        16 => Command::Undo,
        17 => Command::Redo,
        18 => Command::CaptureTrack(a > 127),
        19 => Command::CaptureTake(a > 127),
        20 => Command::Record(a > 127),
        21 => Command::KeepRound,
        22 => Command::ShowTake(a.into(), b > 127),
        23 => Command::Hear([Hear::Balance(number), Hear::Alone(a.into())][usize::from(b % 2)]),
        24 => Command::ForgetTake(a.into()),
        25 => Command::Load("/music/tune.wav".into()),
        26 => Command::Close,
        27 => Command::Learn(CONTROLS.get(usize::from(a % 12)).copied()),
        28 => Command::Unlearn(CONTROLS[usize::from(a) % CONTROLS.len()]),
        29 => Command::SetLatency(Span(number)),
        30 => Command::HearOnce(at(a), at(b)),
        _ => Command::Calibrate,
    }
}

fuzz_target!(|bytes: &[u8]| {
    let switches = SharedControls::default();
    let mut state = State::new(Vec::new().into(), None);
    let mut last = JobId(0);
    for step in bytes.chunks_exact(4) {
        let [kind, a, b, c] = *step else { return };
        let message = match kind % 8 {
            0 => Message::Activated(RATES[usize::from(a) % RATES.len()]),
            1 => {
                // What the audio thread does with a note or a controller.
                let trigger = if b > 127 {
                    Trigger::Note(a)
                } else {
                    Trigger::Controller(a)
                };
                if let Some(control) = switches.down(trigger) {
                    switches.press(control);
                }
                continue;
            }
            2 | 3 => {
                let mut tick = Tick {
                    learning: switches.learning(),
                    learnt: switches.take_heard(),
                    pressed: switches.take_pressed() | (u16::from(a) << 8) | u16::from(b),
                    hop: i32::from(c) - 128,
                    broke: c == 7,
                    ..Tick::default()
                };
                tick.dials.speed = f64::from(a) / 100.0;
                Message::Tick(tick)
            }
            4 => Message::Said(last, Said::Broke("it broke".into())),
            5 => {
                let mut session = Session::default();
                session.learnt =
                    vec![(CONTROLS[usize::from(a) % CONTROLS.len()], Trigger::Note(b))];
                session.position = Seconds(f64::from(c));
                Message::Restored(Box::new(session))
            }
            _ => Message::Command(command(a, b, c)),
        };
        for effect in update(&mut state, message) {
            match effect {
                Effect::LearnControls(all) => switches.learn_all(&all),
                Effect::Listen(control) => switches.listen_for(control),
                Effect::Start(id, _) => last = id,
                _ => {}
            }
        }
        let seen = snapshot_of::view(&state);
        assert!(seen.transport.position.0.is_finite(), "nowhere");
        assert_eq!(
            Session::from_value(state.session.to_value()).to_value(),
            state.session.to_value()
        );
    }
});
