//! The ways to hear a take: alone, with the recording, in turn.

use crate::command::Command;
use crate::snapshot::{Answer, Hear, RegionView, Snapshot, TakeView};

/// Sounds a take in one of the ways, from where its last round begins, round what was looped there or to
/// the beat after its last note.
pub fn begin(way: Hear, snapshot: &Snapshot, answer: &Answer, commands: &mut Vec<Command>) {
    /// A note this near to a beat belongs to it, seconds.
    const NEAR: f64 = 0.06;
    commands.push(Command::Hear(way));
    let Some(round) = answer.found.rounds.last() else {
        return;
    };
    let (from, to) = round.recording;
    let holds = |r: &&RegionView| r.from.0 - NEAR <= from.0 && to.0 <= r.to.0;
    if let Some(region) = snapshot.practice.region.as_ref().filter(holds) {
        commands.push(Command::SetLoop(true));
        commands.push(Command::Seek(region.from));
    } else {
        let beats = answer.to.grid.beats();
        let first = beats.iter().rfind(|b| b.time.0 <= from.0 + NEAR);
        let after = beats.iter().find(|b| b.time.0 > to.0 + NEAR);
        let from = first.map_or(from, |beat| beat.time);
        commands.push(Command::LoopFromTo(
            from,
            after.map_or(to, |beat| beat.time),
        ));
        commands.push(Command::SetLoop(true));
        commands.push(Command::Seek(from));
    }
    commands.push(Command::Play(true));
}

/// The next way to hear the newest take that is shown; after the last of them the recording again.
pub fn next(snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let heard = |take: &TakeView| take.answer.clone().filter(|a| !a.found.rounds.is_empty());
    let takes = snapshot.takes.iter().enumerate().rev();
    let newest = takes
        .filter(|(_, take)| take.shown)
        .find_map(|(i, take)| Some((i, heard(take)?)));
    let Some((i, answer)) = newest else { return };
    let ways = [Hear::Alone(i), Hear::Beside(i), Hear::InTurn(i)];
    let now = ways.iter().position(|way| snapshot.practice.hear == *way);
    match ways.get(now.map_or(0, |at| at + 1)) {
        Some(way) => begin(*way, snapshot, &answer, commands),
        None => commands.push(Command::Hear(Hear::default())),
    }
}
