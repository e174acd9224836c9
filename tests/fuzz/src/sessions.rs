//! Any JSON as the state that a project, the program or a practice set-up kept.
#![no_main]

use libfuzzer_sys::fuzz_target;
use thumbline_plugin::message::Message;
use thumbline_plugin::session::Session;
use thumbline_plugin::snapshot_of;
use thumbline_plugin::state::State;
use thumbline_plugin::update::update;

fuzz_target!(|bytes: &[u8]| {
    let Ok(value) = serde_json::from_slice::<serde_json::Value>(bytes) else {
        return;
    };
    let session = Session::from_value(value.clone());
    let kept = session.to_value();
    let again = Session::from_value(kept.clone());
    assert_eq!(
        again.to_value(),
        kept,
        "what was written reads as something else"
    );
    if let Some(fields) = value.as_object() {
        for key in fields.keys() {
            assert!(kept.get(key).is_some(), "the field {key:?} was lost");
        }
    }
    let mut practice = Session::default();
    practice.merge(value);
    let mut state = State::new(Vec::new().into(), None);
    for message in [
        Message::Activated(48_000),
        Message::Restored(Box::new(session)),
        Message::Window(true),
        Message::Restored(Box::new(practice)),
    ] {
        let _ = update(&mut state, message);
        let _ = snapshot_of::view(&state);
    }
});
