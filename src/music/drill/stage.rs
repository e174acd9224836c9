//! One step of a lesson.

use crate::music::score::Score;
use crate::unit::Span;

/// Which beats click while a stage is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Clicks {
    /// As the session has it: every beat or none.
    #[default]
    AsAsked,
    /// On two and four: the player keeps one and three.
    Backbeat,
    /// Every other bar.
    EveryOtherBar,
    /// Two bars with it, two in silence: does the next click fall on your beat?
    TwoAndTwo,
}

impl Clicks {
    /// Does beat `beat` of bar `bar` (both from 0) click?
    pub(super) fn on(self, bar: usize, beat: usize, asked: bool) -> bool {
        match self {
            Self::AsAsked => asked,
            Self::Backbeat => beat % 2 == 1,
            Self::EveryOtherBar => bar.is_multiple_of(2),
            Self::TwoAndTwo => bar % 4 < 2,
        }
    }
}

/// One step of a lesson.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// What is practised, in a player's words.
    pub title: String,
    /// When it is good: what to hear before going on.
    pub goal: String,
    /// What to say aloud, where saying helps.
    pub say: Option<String>,
    /// When to go faster and when slower.
    pub tempo_rule: &'static str,
    /// Hands off afterwards, at least so long.
    pub rest: Span,
    /// Which beats click.
    pub clicks: Clicks,
    /// Share of a beat that its first half takes: 0.5 is straight.
    pub swing: f64,
    /// What is played, once through.
    pub score: Score,
}

/// The rule for the tempo of most stages.
const FASTER: &str = "Clean four times in a row: 4 beats a minute faster. Two misses: 8 slower.";

/// Of stages that are played slowly on purpose.
pub(super) const SLOWLY: &str =
    "Stay at the slowest tempo until it is easy; speed comes in the next stages.";

/// Rest after a stage.
const REST: Span = Span(8.0);

impl Stage {
    pub(super) fn new(title: &str, goal: &str, score: Score) -> Self {
        Self {
            title: title.to_owned(),
            goal: goal.to_owned(),
            say: None,
            tempo_rule: FASTER,
            rest: REST,
            clicks: Clicks::AsAsked,
            swing: 0.5,
            score,
        }
    }

    /// What a teacher says of it, in sentences: the goal, what to say aloud, the tempo and the rest.
    pub fn sentences(&self) -> Vec<String> {
        let mut said = vec![format!("Goal: {}.", self.goal)];
        said.extend(self.say.as_ref().map(|say| format!("Say: “{say}”.")));
        said.push(self.tempo_rule.to_owned());
        said.push(format!("Then rest {:.0} seconds.", self.rest.0));
        said
    }

    pub(super) fn saying(mut self, words: String) -> Self {
        self.say = Some(words);
        self
    }

    pub(super) fn clicking(mut self, clicks: Clicks) -> Self {
        self.clicks = clicks;
        self
    }
}
