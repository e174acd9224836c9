//! The hand-over of players to the audio thread under every order in which the two threads can take
//! turns (loom, after Norris and Demsky, CDSChecker, OOPSLA 2013): the very file of the plug-in, with
//! the checker's own atomics. That no player is lost, the checker sees by itself: what a player
//! counts is given back at the end.
//!
//! The rings are a maintained crate's and taken at their word here: first in, first out, a bound, an
//! end a thread.

#[allow(dead_code, reason = "the plug-in uses the rest of it")]
#[path = "../../src/player_swap.rs"]
mod player_swap;
mod swap_parts;

use loom::sync::Arc;
use loom::sync::atomic::Ordering;
use loom::thread;
use player_swap::{PlayerSwap, Runner, Wanted, pair};
use std::cell::Cell;
use swap_parts::{CALLBACK, Player, SharedControls};

const RATE: u32 = 48_000;
const OTHER: u32 = 44_100;

/// Runs `model` in every order with at most three changes of thread that nothing forces.
fn in_every_order(model: impl Fn() + Sync + Send + 'static) {
    let mut builder = loom::model::Builder::new();
    builder.preemption_bound = Some(3);
    builder.check(model);
}

/// One block of the callback; does its player fit?
fn block(runner: &mut Runner, player: &mut Option<Box<Player>>) -> bool {
    CALLBACK.with(|here: &Cell<bool>| here.set(true));
    let fits = runner.heed(player, RATE as f32);
    CALLBACK.with(|here| here.set(false));
    assert_eq!(fits, player.as_ref().is_some_and(|p| p.rate() == RATE));
    fits
}

/// What the rest of the program does with what is wanted; was anything?
fn answer(swap: &mut PlayerSwap) -> Option<Wanted> {
    let wanted = swap.wanted()?;
    assert_eq!(wanted.rate, RATE, "nobody asked for that");
    swap.send(
        wanted.activation,
        Player::new(wanted.rate, wanted.activation),
    );
    Some(wanted)
}

#[test]
fn a_player_arrives_and_none_is_freed_in_the_callback() {
    in_every_order(|| {
        let switches = Arc::new(SharedControls::new());
        let (mut swap, mut runner) = pair(switches);
        let callback = thread::spawn(move || {
            let mut player = None;
            block(&mut runner, &mut player);
            block(&mut runner, &mut player);
            (runner, player)
        });
        answer(&mut swap);
        answer(&mut swap);
        let (mut runner, mut player) = callback.join().expect("no panic");
        // However it went: two more of each, and there is one.
        answer(&mut swap);
        block(&mut runner, &mut player);
        answer(&mut swap);
        assert!(block(&mut runner, &mut player), "it never comes");
        drop((runner, player, swap));
    });
}

#[test]
fn one_for_another_activation_is_not_played() {
    in_every_order(|| {
        let switches = Arc::new(SharedControls::new());
        let (mut swap, mut runner) = pair(Arc::clone(&switches));
        // One that is late: made before the host activated anew.
        swap.send(0, Player::new(RATE, 0));
        switches.activation.store(1, Ordering::Release);
        let callback = thread::spawn(move || {
            let mut player = None;
            for _ in 0..2 {
                if block(&mut runner, &mut player) {
                    let known = player.as_ref().expect("one that fits");
                    assert_eq!(known.activation, 1, "it plays the late one");
                }
            }
            (runner, player)
        });
        for _ in 0..2 {
            let wanted = answer(&mut swap);
            assert!(wanted.is_none_or(|w| w.activation == 1));
        }
        let (runner, player) = callback.join().expect("no panic");
        drop((runner, player, swap));
    });
}

#[test]
fn the_host_may_activate_anew_at_any_moment() {
    in_every_order(|| {
        let switches = Arc::new(SharedControls::new());
        let (mut swap, mut runner) = pair(Arc::clone(&switches));
        let callback = thread::spawn(move || {
            let mut player = Some(Box::new(Player::new(OTHER, 0)));
            block(&mut runner, &mut player);
            block(&mut runner, &mut player);
            (runner, player)
        });
        answer(&mut swap);
        switches.activation.store(1, Ordering::Release);
        answer(&mut swap);
        let (mut runner, mut player) = callback.join().expect("no panic");
        // The host hands a fresh runner's player over by itself; whoever still asks is answered.
        if !block(&mut runner, &mut player) {
            assert_eq!(answer(&mut swap).map(|w| w.activation), Some(1));
            assert!(block(&mut runner, &mut player), "it never comes");
        }
        drop((runner, player, swap));
    });
}
