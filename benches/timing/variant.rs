//! One recording as players begin and end theirs.

use thumbline::analysis::beat::evaluation::Piece;
use thumbline::analysis::{Options, analyze};
use thumbline::recording::Recording;

/// How a recording begins and ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Variant {
    /// As it was made.
    Whole,
    /// Quiet room before and after.
    Room,
    /// Begun within a beat, ended within a bar.
    Cut,
}

impl Variant {
    pub const ALL: [(&'static str, Self); 3] = [
        ("whole", Self::Whole),
        ("room", Self::Room),
        ("cut", Self::Cut),
    ];

    /// The recording so, heard, with its beats.
    pub fn of(self, recording: &Recording, beats: &[f64], downbeats: &[f64]) -> Piece {
        let rate = f64::from(recording.rate());
        let beat = beats.get(1).map_or(0.5, |b| b - beats[0]);
        let end = recording.end().0;
        let (from, to) = match self {
            Self::Whole => (0.0, end),
            Self::Room => (-1.7, end + 2.3),
            Self::Cut => (beats[0].max(0.0) + 0.37 * beat, end - 1.21 * beat),
        };
        let frames = ((to - from) * rate) as usize;
        let first = (from * rate).round() as i64;
        // A room is never silent: noise at -66 dB from a generator of Knuth's (MMIX, from memory).
        let mut state = 1u64;
        let mut hiss = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            5e-4 * ((state >> 40) as f32 / 8_388_608.0 - 1.0)
        };
        let channels = recording.channels().iter().map(|channel| {
            let at = |k: usize| usize::try_from(first + k as i64).ok();
            (0..frames)
                .map(|k| {
                    at(k)
                        .and_then(|k| channel.get(k))
                        .copied()
                        .unwrap_or_else(&mut hiss)
                })
                .collect()
        });
        let cut = Recording::new("take", recording.rate(), channels.collect())
            .expect("as long as before, nearly");
        let found = analyze(&cut, &Options::default(), &mut ()).expect("nobody asks to stop");
        let inside = |times: &[f64]| -> Vec<f64> {
            let moved = times.iter().map(|t| t - from);
            moved.filter(|t| (0.0..to - from).contains(t)).collect()
        };
        Piece {
            name: String::new(),
            notes: found.notes,
            end: cut.end(),
            beats: inside(beats),
            downbeats: inside(downbeats),
        }
    }
}
