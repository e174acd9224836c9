//! What is heard of the recording: all of it, one hand held back, or a take beside it.
//!
//! Each is another sound on the recording's own timeline, made on the listening thread and put in
//! the deck's hands in place of the recording: speed, loop, click and grid go on as they are.

use super::hearing::onset_table;
use super::{Desk, Hub, locked};
use crate::jobs::Urgency;
use crate::snapshot::Hear;
use std::sync::Arc;
use thumbline::compare::{Round, listen};
use thumbline::deck::{Message, Track};
use thumbline::recording::Recording;
use thumbline::separate::{Balance, SeparateError, balanced};

/// Another sound in the recording's place.
pub(super) struct Mixed {
    /// What was asked for.
    hear: Hear,
    /// As long as the recording, at its rate.
    pub sound: Arc<Recording>,
}

/// What a mix is made from.
enum Source {
    Balance(f64),
    Beside(std::path::PathBuf, Round),
}

impl Hub {
    /// Chooses what is heard of the recording.
    pub(super) fn hear(&self, hear: Hear) {
        {
            let mut desk = locked(&self.desk);
            if let Hear::Balance(dial) = hear {
                desk.marks(|m| m.balance = Balance::at(dial).dial());
            }
            desk.hear = hear;
        }
        self.mix();
    }

    /// Makes what is to be heard, or goes back to the recording itself.
    pub(super) fn mix(&self) {
        let job = {
            let mut desk = locked(&self.desk);
            desk.mixing += 1;
            match desk.source() {
                Ok(Some(source)) => Some((source, desk.mixing, desk.sound.clone())),
                Ok(None) => {
                    desk.unmix();
                    None
                }
                Err(why) => {
                    desk.notice(why.to_owned(), false);
                    desk.hear = Hear::default();
                    desk.unmix();
                    None
                }
            }
        };
        let Some((source, turn, Some(sound))) = job else {
            return;
        };
        let hub = self.me.clone();
        self.crew.listen(Urgency::Sound, move || {
            let Some(hub) = hub.upgrade() else {
                return false;
            };
            let mixed = hub.mixed(&source, &sound, turn);
            hub.deliver_mix(mixed, turn);
            false
        });
    }

    /// The sound of a mix; none when it was given up.
    fn mixed(
        &self,
        source: &Source,
        sound: &Recording,
        turn: u64,
    ) -> Result<Option<Recording>, String> {
        let go_on = || locked(&self.desk).mixing == turn;
        match source {
            Source::Balance(dial) => {
                let Some(heard) = locked(&self.desk).analysis.ready().cloned() else {
                    return Ok(None);
                };
                match balanced(sound, &heard.notes, Balance::at(*dial), go_on) {
                    Ok(made) => Ok(Some(made)),
                    Err(SeparateError::Cancelled) => Ok(None),
                    Err(why) => Err(why.to_string()),
                }
            }
            Source::Beside(path, round) => {
                let take = thumbline::load::load(path).map_err(|e| e.to_string())?;
                listen::beside(sound, &take, round, go_on)
                    .map(Some)
                    .map_err(|e| e.to_string())
            }
        }
    }

    fn deliver_mix(&self, mixed: Result<Option<Recording>, String>, turn: u64) {
        let mut desk = locked(&self.desk);
        if desk.mixing != turn {
            return;
        }
        match mixed {
            Ok(Some(mixed)) => {
                let sound = Arc::new(mixed);
                desk.replace(&sound);
                let hear = desk.hear;
                desk.mixed = Some(Mixed { hear, sound });
            }
            Ok(None) => {}
            Err(why) => {
                desk.notice(format!("It cannot be heard so: {why}"), false);
                desk.hear = Hear::default();
                desk.unmix();
            }
        }
    }
}

impl Desk {
    /// What the wish needs; none for the recording itself.
    fn source(&mut self) -> Result<Option<Source>, &'static str> {
        match self.hear {
            Hear::Balance(0.0) => Ok(None),
            Hear::Balance(dial) if self.analysis.ready().is_some() => {
                Ok(Some(Source::Balance(dial)))
            }
            // It is made when the notes are there.
            Hear::Balance(_) => Ok(None),
            Hear::Beside(index) => {
                let take = self
                    .takes
                    .get(index)
                    .ok_or("That take is not here any more")?;
                let answer = take
                    .answer
                    .as_ref()
                    .ok_or("The take has not been compared yet")?;
                let round = answer
                    .found
                    .rounds
                    .last()
                    .ok_or("The take seems to be another tune")?;
                Ok(Some(Source::Beside(take.take.path.clone(), round.clone())))
            }
        }
    }

    /// Another recording: what was heard of the last one is gone.
    pub(super) fn forget_mix(&mut self) {
        self.mixing += 1;
        self.mixed = None;
        self.hear = Hear::default();
    }

    /// Is what the player wishes to hear still being made?
    pub(super) fn is_mixing(&self) -> bool {
        let made = self.mixed.as_ref().map(|m| m.hear);
        self.analysis.ready().is_some() && made.unwrap_or_default() != self.hear
    }

    fn unmix(&mut self) {
        if self.mixed.take().is_some()
            && let Some(sound) = self.sound.clone()
        {
            self.replace(&sound);
        }
    }

    /// Puts a sound in the recording's place; where it plays, it plays on.
    fn replace(&mut self, sound: &Arc<Recording>) {
        if let Some(track) = self.track(sound) {
            self.send(Message::Replace(track));
            self.flush();
        }
    }

    /// A sound as the deck plays it, with the onsets that are known.
    pub(super) fn track(&self, sound: &Arc<Recording>) -> Option<Box<Track>> {
        let onsets = onset_table(self.heard.as_deref(), sound);
        let track = Track::new(Arc::clone(sound), onsets, sound.rate());
        track.ok().map(Box::new)
    }
}
