//! A window on a real state: commands go through `update`, jobs of the pages are done at once, everything
//! else that is asked for is kept to be looked at.

use crate::scenes;
use egui::{Key, Modifiers, Vec2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::recording::Recording;
use thumbline::stretch::OnsetTable;
use thumbline_plugin::command::Command;
use thumbline_plugin::editor::{self, sight::Sight};
use thumbline_plugin::effect::Effect;
use thumbline_plugin::job::{Cancel, JobId};
use thumbline_plugin::message::Message;
use thumbline_plugin::page_state::PageState;
use thumbline_plugin::services::{Job, decode, export};
use thumbline_plugin::snapshot::AnalysisView;
use thumbline_plugin::snapshot_of;
use thumbline_plugin::state::{Sought, Stage, State};
use thumbline_plugin::update::update;

/// The rate of the host and of the recording.
pub const RATE: u32 = 8000;

/// A state, its window's sight and what was asked of the outside.
#[derive(Default)]
pub struct World {
    pub state: State,
    pub sight: Sight,
    /// Effects that no page's job takes care of.
    pub effects: Vec<Effect>,
    /// Commands carried out.
    pub commands: Vec<Command>,
}

impl World {
    /// Something happened; jobs of the pages are done before it returns.
    pub fn tell(&mut self, message: Message) {
        for effect in update(&mut self.state, message) {
            match effect {
                Effect::Start(id, job) if matches!(*job, Job::Study(_) | Job::Sound(_)) => {
                    let mut work = job.work();
                    let mut said = Vec::new();
                    while work(&Cancel::default(), &mut |s| said.push(s)) {}
                    for said in said {
                        self.tell(Message::Said(id, said));
                    }
                }
                other => self.effects.push(other),
            }
        }
    }

    /// The last file for another program that was asked for.
    pub fn export(&self) -> Option<(JobId, export::Job)> {
        self.effects.iter().rev().find_map(|e| match e {
            Effect::Start(id, job) => match &**job {
                Job::Export(job) => Some((*id, job.clone())),
                _ => None,
            },
            _ => None,
        })
    }

    fn command(&mut self, command: Command) {
        self.commands.push(command.clone());
        self.tell(Message::Command(command));
    }
}

/// A window on a state in which `analysis` is open; none: nothing is.
pub fn window(analysis: Option<Analysis>, size: Vec2) -> Harness<'static, World> {
    let mut world = World {
        state: State::new(Arc::from([]), None),
        ..World::default()
    };
    world.state.rate = RATE;
    world.state.session.look.cautioned = true;
    world.state.session.look.size = (size.x, size.y);
    if let Some(analysis) = analysis {
        let frames = (analysis.end.0 * f64::from(RATE)) as usize;
        let sound = Recording::new("tune.wav", RATE, vec![vec![0.1; frames]]);
        let sound = Arc::new(sound.expect("a recording"));
        let open = &mut world.state.open;
        open.stage = Stage::Ready(PathBuf::from("/music/tune.wav"));
        open.begun = true;
        open.hash = Some(sound.hash());
        open.part = Some(decode::Part {
            onsets: Arc::new(OnsetTable::cleaned(Vec::new(), sound.frames())),
            sound,
            peaks: scenes::heard(1).peaks,
            progress: Some(1.0),
        });
        world.state.hearing.view = AnalysisView::Ready(Arc::new(analysis));
    }
    let mut harness = Harness::builder().with_size(size).build_ui_state(
        |ui, world: &mut World| {
            let snapshot = snapshot_of::view(&world.state);
            let mut commands = Vec::new();
            editor::draw(ui, &snapshot, &mut world.sight, &mut commands);
            for command in commands {
                world.command(command);
            }
        },
        world,
    );
    harness.run_steps(3);
    harness.state_mut().commands.clear();
    harness
}

/// The usual size.
pub fn usual(analysis: Option<Analysis>) -> Harness<'static, World> {
    window(analysis, vec2(1180.0, 760.0))
}

/// Presses what has this label.
pub fn click(harness: &mut Harness<World>, label: &str) {
    harness.get_by_label(label).click();
    harness.run_steps(3);
}

/// Changes what the pages remember.
pub fn set(harness: &mut Harness<World>, change: impl FnOnce(&mut PageState)) {
    let mut page_state = harness.state().state.session.page_state.clone();
    change(&mut page_state);
    let command = Command::SetPageState(Box::new(page_state));
    harness.state_mut().tell(Message::Command(command));
    harness.run_steps(3);
}

/// Presses a key.
pub fn press(harness: &mut Harness<World>, key: Key) {
    harness.key_press_modifiers(Modifiers::NONE, key);
    harness.run_steps(3);
}

/// What a page was answered.
pub fn answer<Q, A>(sought: &Sought<Q, A>) -> Arc<A> {
    sought.answer.clone().expect("an answer")
}

/// The label of every control and picture, in order.
pub fn labels(harness: &Harness<World>) -> Vec<String> {
    let root = harness.root();
    root.children_recursive()
        .filter_map(|n| n.accesskit_node().label().or(n.accesskit_node().value()))
        .collect()
}

/// Sounds that were asked for beside the recording.
pub fn sounds(world: &World) -> Vec<&thumbline_plugin::command::Sound> {
    let sounds = world.commands.iter().filter_map(|w| match w {
        Command::Sound(sound) => Some(sound),
        _ => None,
    });
    sounds.collect()
}
