//! An instance and its audio thread without a host: for what a host does not ask for, as the window does.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use thumbline::deck::{Block, Controls, Host, Player};
use thumbline_plugin::instance::Instance;
use thumbline_plugin::session::{RecordingRef, Session};
use thumbline_plugin::snapshot::RecordingView;

/// Frames a second at the start.
pub const RATE: u32 = 48_000;

/// An instance and its audio thread, without a host.
pub struct Bench {
    /// The instance.
    pub instance: Arc<Instance>,
    /// The audio thread's end.
    pub player: Player,
    /// What it is told in every block.
    pub controls: Controls,
    /// Frames rendered.
    pub frames: u64,
}

impl Bench {
    pub fn new() -> Self {
        let instance = Arc::new(Instance::default());
        let player = instance.activate(RATE);
        Self {
            instance,
            player,
            controls: Controls::default(),
            frames: 0,
        }
    }

    /// An instance that has opened the recording at `path`, whole.
    pub fn opened(path: &Path) -> Self {
        let mut bench = Self::new();
        bench.restore(path);
        bench.until_whole();
        bench
    }

    pub fn restore(&self, path: &Path) {
        let mut session = Session::default();
        session.recording = Some(RecordingRef {
            name: "tone.wav".into(),
            path: path.to_owned(),
            hash: None,
        });
        self.instance.dials().store.replace(session);
    }

    /// Renders with a counting input (its sample tells its frame), on the side too where asked.
    pub fn run(&mut self, frames: usize, side: bool) -> Vec<f32> {
        let input: Vec<f32> = (0..frames)
            .map(|i| ((self.frames + i as u64) % 48_000) as f32 / 48_000.0)
            .collect();
        self.run_with(&input, side.then_some(&input))
    }

    /// Renders with these inputs; the left output.
    pub fn run_with(&mut self, input: &[f32], side: Option<&Vec<f32>>) -> Vec<f32> {
        let [left, _] = self.render(input, side.map(Vec::as_slice));
        left
    }

    /// Renders with these inputs; both outputs.
    pub fn render(&mut self, input: &[f32], side: Option<&[f32]>) -> [Vec<f32>; 2] {
        let (mut left, mut right) = (input.to_vec(), input.to_vec());
        self.player.set_controls(self.controls);
        self.player.process(&mut Block {
            left: &mut left,
            right: &mut right,
            side: side.map(|side| (side, side)),
            host: Some(Host {
                playing: true,
                quarters: Some(0.0),
                tempo: Some(100.0),
            }),
        });
        self.frames += input.len() as u64;
        [left, right]
    }

    /// Renders in real time, or a little faster, until `done`; at most 30 s.
    pub fn until(&mut self, what: &str, mut done: impl FnMut(&Instance) -> bool) {
        let begun = Instant::now();
        while !done(&self.instance) {
            assert!(begun.elapsed() < Duration::from_secs(30), "never {what}");
            self.run(480, true);
            std::thread::sleep(Duration::from_millis(8));
        }
    }

    pub fn until_whole(&mut self) {
        self.until("whole", |instance| {
            matches!(instance.snapshot().recording, RecordingView::Ready { .. })
        });
    }

    pub fn said(&self, part: &str) -> bool {
        let notices = self.instance.snapshot().notices;
        notices.iter().any(|n| n.text.contains(part))
    }
}
