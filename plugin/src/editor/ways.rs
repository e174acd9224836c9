//! The ways to hear a take: alone, with the recording, in turn.

use crate::snapshot::{Answer, Hear, Snapshot, TakeView};
use crate::wish::Wish;

/// Sounds a take in one of the ways, from where its last round begins.
pub fn begin(way: Hear, answer: &Answer, wishes: &mut Vec<Wish>) {
    wishes.push(Wish::Hear(way));
    if let Some(round) = answer.found.rounds.last() {
        let (from, to) = round.recording;
        wishes.push(Wish::LoopFromTo(from, to));
        wishes.push(Wish::SetLoop(true));
        wishes.push(Wish::Seek(from));
        wishes.push(Wish::Play(true));
    }
}

/// The next way to hear the newest take that is shown; after the last of them the recording again.
pub fn next(snapshot: &Snapshot, wishes: &mut Vec<Wish>) {
    let heard = |take: &TakeView| take.answer.clone().filter(|a| !a.found.rounds.is_empty());
    let takes = snapshot.takes.iter().enumerate().rev();
    let newest = takes
        .filter(|(_, take)| take.shown)
        .find_map(|(i, take)| Some((i, heard(take)?)));
    let Some((i, answer)) = newest else { return };
    let ways = [Hear::Alone(i), Hear::Beside(i), Hear::InTurn(i)];
    let now = ways.iter().position(|way| snapshot.practice.hear == *way);
    match ways.get(now.map_or(0, |at| at + 1)) {
        Some(way) => begin(*way, &answer, wishes),
        None => wishes.push(Wish::Hear(Hear::default())),
    }
}
