//! Which expected note a pluck answers, while the deck's clock runs.
//!
//! Every place of the deck's clock opens a segment; the notes in it fall due at known samples. A pluck is
//! answered for once the sound after it tells its pitches (46 ms); what it might have been but for its
//! pitch is settled with a longer look (93 ms). Owns the player's own lag, which follows them slowly, and
//! the jump, for a player who is some beats away from the deck. Times are in samples of the take at
//! [`RATE`]. Constants are chosen on rendered takes (seeds 101 to 106, which the tests hear); not judged on others yet.

use super::answer::{Answer, Expected, RATE};
use super::onset::{Detector, LOWEST, Pluck, Rising};
use super::round::Tally;
use super::told::Told;
use crate::deck::capture::Anchor;
use crate::dsp::middle;
use crate::unit::{Seconds, Span};

const R: f64 = RATE as f64;
/// A pluck this far from where a note is due, the player's lag aside, is not its answer.
const TOLERANCE: f64 = 0.14 * R;
/// Among notes of one pitch, an answer lies nearer to its own note than this share of their distance.
const SHARE: f64 = 0.55;
/// Plucks that begin within this time are one chord or pinch, told apart by where each pitch begins.
const TOGETHER: f64 = 0.045 * R;
/// Notes due within this time begin at once: the onset is the first one's.
const AT_ONCE: f64 = 0.012 * R;
/// How far behind a pluck another one is looked for that it hides, and how much more than at the pluck a
/// pitch rises there.
const BEHIND: f64 = 0.022 * R;
const LATER: f32 = 1.6;
/// Sound after a pluck that is read for its pitches at once, and for a wrong one.
const SHORT: usize = 1024;
const LONG: usize = 2048;
/// Least share of the strongest rise that an answer's own pitch has.
const OWN: f32 = 0.3;
/// An answer is a wrong note when a pitch up to three semitones away rises so many times as much as its
/// own, and is nobody else's there.
const WRONG: f32 = 1.5;
/// A pluck no note asked for is told only when it stands this clear: strength of the flux and level, dB.
const CLEAR: (f32, f32) = (0.3, -18.0);
/// Plucks remembered for the question where the player is.
const MEMORY: usize = 10;
/// Of those, so many must agree on another place before it is believed.
const AGREE: usize = 6;
/// A note this little before the place where a loop ends is the first of what follows, which is not played;
/// this little before its beginning it is the first of the round. Seconds of the recording.
const SEAM: f64 = 0.02;
/// How far away the player is looked for, seconds of the take.
const FAR: f64 = 5.0;

/// A stretch of the deck's clock: from sample `from`, the recording runs from `at` at `speed`.
#[derive(Debug, Clone, Copy)]
struct Segment {
    from: f64,
    to: f64,
    at: f64,
    speed: f64,
    round: usize,
    /// First expected note that has not been made due.
    next: usize,
}

/// A note that falls due in one time round.
#[derive(Debug, Clone, Copy)]
struct Due {
    note: usize,
    round: usize,
    /// Sample at which the deck plays it.
    at: f64,
    /// How far an answer may lie from it.
    reach: f64,
    speed: f64,
    answered: bool,
}

/// An answer whose pitch waits for a longer look.
#[derive(Debug, Clone, Copy)]
struct Doubted {
    time: f64,
    note: usize,
    round: usize,
}

/// Matches plucks to expected notes.
pub struct Follower {
    expected: Vec<Expected>,
    latency: Option<f64>,
    segments: Vec<Segment>,
    due: Vec<Due>,
    /// Plucks that wait for their pitches.
    waiting: Vec<Pluck>,
    doubted: Vec<Doubted>,
    /// How far the recording's own sound was heard from each note.
    unsure: Vec<Span>,
    /// Lateness of the newest answers, samples, jump aside.
    lags: Vec<f64>,
    /// The newest plucks: time, what rises, whether they were answered with their own pitch.
    heard: Vec<(f64, Rising, bool)>,
    jump: f64,
    /// Plucks heard since the lag was first looked for.
    sought: usize,
    round: usize,
    tally: Tally,
}

impl Follower {
    /// For notes in order of time; `latency` is taken off every lateness.
    pub(super) fn new(expected: Vec<Expected>, latency: Option<Span>) -> Self {
        Self {
            unsure: vec![Span(0.0); expected.len()],
            expected,
            latency: latency.map(|l| l.0 * R),
            segments: Vec::new(),
            due: Vec::new(),
            waiting: Vec::new(),
            doubted: Vec::new(),
            lags: Vec::new(),
            heard: Vec::new(),
            jump: 0.0,
            sought: 0,
            round: 0,
            tally: Tally::new(latency.is_some()),
        }
    }

    /// The deck's clock from a frame of the take (at `rate`) on.
    pub(super) fn place(&mut self, place: Anchor, rate: u32) {
        let from = place.frame as f64 * R / f64::from(rate);
        let (mut reached, mut begins) = (from, place.at.0 - SEAM);
        if let Some(last) = self.segments.last_mut() {
            last.to = from;
            let expected = last.at + (from - last.from) / R * last.speed;
            if place.at.0 < expected - 0.05 {
                self.round += 1;
                reached -= SEAM / last.speed.max(0.1) * R;
            } else if place.at.0 < expected + 0.05 {
                begins = place.at.0 - 1e-4;
            }
        }
        // What the deck never came to is not due.
        let jump = self.jump;
        let came = |d: &Due| d.answered || d.at - jump < reached;
        for due in self.due.iter().filter(|d| !came(d)) {
            self.tally.not_due(due.round);
        }
        self.due.retain(came);
        let next = self.expected.partition_point(|n| n.time.0 < begins);
        self.segments.push(Segment {
            from,
            to: f64::INFINITY,
            at: place.at.0,
            speed: if place.speed.is_finite() {
                place.speed.max(0.0)
            } else {
                0.0
            },
            round: self.round,
            next,
        });
        if self.segments.len() > 64 {
            self.segments.remove(0);
        }
    }

    /// The recording itself was heard `late` at a note: nobody is called later or earlier there than that.
    pub(super) fn unsure_by(&mut self, note: usize, late: Span) {
        if let Some(unsure) = self.unsure.get_mut(note).filter(|d| **d < late.abs()) {
            *unsure = late.abs();
        }
    }

    /// Something began.
    pub(super) fn pluck(&mut self, pluck: Pluck) {
        self.waiting.push(pluck);
    }

    /// The sound up to sample `now` has been heard: tells what can be told.
    pub(super) fn until(&mut self, now: f64, detector: &mut Detector, told: &mut Vec<Told>) {
        self.make_due(now);
        while let Some(first) = self.waiting.first().copied() {
            if now < first.time + 24.0 + SHORT as f64 {
                break;
            }
            let limit = first.time + TOGETHER;
            let count = self.waiting.iter().take_while(|w| w.time < limit).count();
            let together: Vec<Pluck> = self.waiting.drain(..count).collect();
            self.answer(&together, detector, told);
        }
        self.settle_doubted(now, detector, told);
        self.miss(now, told);
        self.end_rounds(now, told);
    }

    /// Settles everything.
    pub(super) fn finish(&mut self, told: &mut Vec<Told>) {
        let due = std::mem::take(&mut self.due);
        for d in due.iter().filter(|d| !d.answered) {
            self.tally.missed(d.round);
            told.push(Told::Missed {
                note: d.note,
                round: d.round,
            });
        }
        let rounds = self.tally.end_all(&self.unsure);
        told.extend(rounds.into_iter().map(Told::Round));
    }

    /// The player's own lag: the middle of the newest answers', what the input adds included.
    fn lag(&self) -> f64 {
        let mut lags = self.lags.clone();
        middle::median(&mut lags).unwrap_or_else(|| self.latency.unwrap_or(0.0))
    }

    /// Makes notes due up to half a second ahead.
    fn make_due(&mut self, now: f64) {
        let horizon = now + 0.5 * R + self.jump.abs();
        let mut fresh: Vec<Due> = Vec::new();
        for segment in &mut self.segments {
            if segment.speed <= 0.0 {
                continue;
            }
            while let Some(note) = self.expected.get(segment.next) {
                let at = segment.from + (note.time.0 - segment.at) / segment.speed * R;
                if at > horizon || at >= segment.to {
                    break;
                }
                fresh.push(Due {
                    note: segment.next,
                    round: segment.round,
                    at: at + self.jump,
                    reach: TOLERANCE,
                    speed: segment.speed,
                    answered: false,
                });
                segment.next += 1;
            }
        }
        for due in fresh {
            self.tally.due(due.round);
            self.due.push(due);
        }
        self.due.sort_by(|a, b| a.at.total_cmp(&b.at));
        self.set_reach();
    }

    /// How far an answer may lie, by the nearest notes of the same pitch.
    fn set_reach(&mut self) {
        let pitch = |d: &Due| {
            self.expected[d.note]
                .pitch
                .map(crate::unit::MidiNote::nearest)
        };
        let reach: Vec<f64> = (0..self.due.len())
            .map(|i| {
                let one = &self.due[i];
                let same = |j: &usize| pitch(&self.due[*j]) == pitch(one);
                let before = (0..i)
                    .rev()
                    .take(16)
                    .find(same)
                    .map(|j| one.at - self.due[j].at);
                let after = (i + 1..self.due.len())
                    .take(16)
                    .find(same)
                    .map(|j| self.due[j].at - one.at);
                let nearest = before.unwrap_or(f64::MAX).min(after.unwrap_or(f64::MAX));
                TOLERANCE.min(SHARE * nearest).max(0.02 * R)
            })
            .collect();
        for (due, reach) in self.due.iter_mut().zip(reach) {
            due.reach = reach;
        }
    }

    /// How much the pitch of a note rises.
    fn rises(&self, note: usize, rising: &Rising) -> f32 {
        self.expected[note]
            .pitch
            .and_then(|p| usize::try_from(p.nearest() - LOWEST as i32).ok())
            .and_then(|i| rising.shares.get(i))
            .copied()
            .unwrap_or(0.5) // a dead note answers any knock a little
    }

    /// Answers for plucks that begin together.
    fn answer(&mut self, plucks: &[Pluck], detector: &mut Detector, told: &mut Vec<Told>) {
        let first = plucks[0];
        let Some(rising) = detector.rising(first.time, SHORT) else {
            return;
        };
        let lag = self.lag();
        let near = |d: &Due, time: f64| (time - d.at - lag) / d.reach;
        let worth = |d: &Due, follower: &Self| {
            let best = plucks
                .iter()
                .map(|p| near(d, p.time).abs())
                .fold(f64::MAX, f64::min);
            (best < 1.0).then(|| f64::from(follower.rises(d.note, &rising)) - 0.6 * best * best)
        };
        let mut best: Option<(usize, f64)> = None;
        for (i, due) in self.due.iter().enumerate().filter(|(_, d)| !d.answered) {
            if let Some(w) = worth(due, self).filter(|w| best.is_none_or(|b| *w > b.1)) {
                best = Some((i, w));
            }
        }
        let Some((lead, _)) = best else {
            self.unasked(first, &rising, told);
            return;
        };
        let lead_at = self.due[lead].at;
        let own = self.rises(self.due[lead].note, &rising) >= OWN;
        let mut group: Vec<usize> = (0..self.due.len())
            .filter(|&i| !self.due[i].answered && (self.due[i].at - lead_at).abs() < TOGETHER)
            .filter(|&i| i == lead || self.rises(self.due[i].note, &rising) >= OWN)
            .collect();
        group.sort_by_key(|&i| self.due[i].note);
        if let [pluck] = plucks {
            self.part(&mut group, pluck, detector);
        }
        let begins: Vec<Option<Rising>> = if plucks.len() > 1 {
            plucks
                .iter()
                .map(|p| detector.rising(p.time, SHORT / 2))
                .collect()
        } else {
            Vec::new()
        };
        // Of several plucks, a note begins at the one where its pitch rises most.
        let which: Vec<usize> = group
            .iter()
            .map(|&i| {
                let rises = begins.iter().enumerate().filter_map(|(k, r)| {
                    let r = r.as_ref()?;
                    Some((k, r.most * self.rises(self.due[i].note, r)))
                });
                rises
                    .fold((0, 0.0f32), |a, b| if b.1 > 1.2 * a.1 { b } else { a })
                    .0
            })
            .collect();
        for (k, pluck) in plucks.iter().enumerate() {
            let of = group.iter().zip(&which).filter(|(_, w)| **w == k);
            let here: Vec<usize> = of.map(|(i, _)| *i).collect();
            let Some(due) = self.due_of(&here, pluck.time - lag) else {
                continue;
            };
            for i in here {
                self.take_answer(i, (pluck.time, pluck.time - due), lag, told);
            }
        }
        self.remember(first.time, rising, own);
    }

    /// Takes the notes out of a group that begin after its one pluck: in a pinch the second string hides in
    /// the first one's attack. A pluck of their own waits for them where the sound changes.
    fn part(&mut self, group: &mut Vec<usize>, pluck: &Pluck, detector: &mut Detector) {
        let Some(at) = detector
            .rising(pluck.time, SHORT / 2)
            .filter(|_| group.len() > 1)
        else {
            return;
        };
        let Some(after) = detector.rising(pluck.time + BEHIND, SHORT / 2) else {
            return;
        };
        let rise = |i: usize, r: &Rising| r.most * self.rises(self.due[i].note, r);
        let strongest = group.iter().map(|&i| rise(i, &at)).fold(0.0, f32::max);
        let later = |i: &usize| {
            let (now, then) = (rise(*i, &at), rise(*i, &after));
            then > LATER * now && then > OWN * strongest
        };
        let (late, there): (Vec<usize>, Vec<usize>) = group.iter().partition(|i| later(i));
        if late.is_empty() || there.is_empty() {
            return;
        }
        let (from, to) = (pluck.time + 0.012 * R, pluck.time + TOGETHER);
        if let Some(time) = detector.onset_near(f64::midpoint(from, to), 0.5 * (to - from)) {
            // No strength of its own: where it answers nothing, nothing is told.
            self.waiting.insert(
                0,
                Pluck {
                    time,
                    strength: 0.0,
                    ..*pluck
                },
            );
            *group = there;
        }
    }

    /// When the notes that one pluck answers were due as a whole: the first of them, where they were to
    /// begin together; of a strum, of which only one may have been heard as a pluck, the nearest.
    fn due_of(&self, notes: &[usize], time: f64) -> Option<f64> {
        let due = || notes.iter().map(|&i| self.due[i].at);
        let (first, last) = (due().reduce(f64::min)?, due().reduce(f64::max)?);
        if last - first <= AT_ONCE {
            return Some(first);
        }
        due().min_by(|a, b| (a - time).abs().total_cmp(&(b - time).abs()))
    }

    /// Tells that the pluck at `time`, `late` by so much, answers due note `i`.
    fn take_answer(&mut self, i: usize, (time, late): (f64, f64), lag: f64, told: &mut Vec<Told>) {
        let due = &mut self.due[i];
        due.answered = true;
        let due = *due;
        let net = late - self.latency.unwrap_or(0.0);
        let expected = self.expected[due.note];
        let answer = Answer {
            note: due.note,
            round: due.round,
            at: Seconds(expected.time.0 + net / R * due.speed),
            late: Span(net / R),
            frame: time.max(0.0) as u64,
        };
        self.tally.answered(&answer, &expected, due.speed);
        self.doubted.push(Doubted {
            time,
            note: due.note,
            round: due.round,
        });
        told.push(Told::Answered(answer));
        // An outlier moves the lag no more than an ordinary answer does.
        self.lags.push(late.clamp(lag - 0.06 * R, lag + 0.06 * R));
        if self.lags.len() > 12 {
            self.lags.remove(0);
        }
    }

    /// A pluck that no note asked for.
    fn unasked(&mut self, pluck: Pluck, rising: &Rising, told: &mut Vec<Told>) {
        if pluck.strength < CLEAR.0 || pluck.level < CLEAR.1 {
            return;
        }
        self.remember(pluck.time, *rising, false);
        let lag = self.lag();
        let time = pluck.time - lag;
        let Some(segment) = self.segments.iter().rev().find(|s| s.from <= time) else {
            return;
        };
        self.tally.extra(segment.round);
        told.push(Told::Extra {
            at: Seconds(segment.at + (time - segment.from) / R * segment.speed),
            round: segment.round,
        });
    }

    fn remember(&mut self, time: f64, rising: Rising, own: bool) {
        self.heard.push((time, rising, own));
        if self.heard.len() > MEMORY {
            self.heard.remove(0);
        }
        let lost = self.heard.iter().filter(|h| !h.2).count();
        self.sought += 1;
        let unsure = self.latency.is_none() && self.jump == 0.0 && self.sought <= 4 * MEMORY;
        if self.heard.len() > AGREE && unsure {
            self.find_lag();
        }
        if self.heard.len() == MEMORY && lost >= AGREE {
            self.find_jump();
        }
    }

    /// The way through the devices, where nobody measured it: the shift from 0 to 0.4 s at which the newest
    /// plucks meet notes of their pitch most closely, when that is clearly better than the present one.
    fn find_lag(&mut self) {
        let meetings = self.meetings(0.45);
        let width = 0.012 * R;
        let score = |shift: f64| {
            let mut best = [0.0f64; MEMORY];
            for &(by, k, rise) in &meetings {
                let off = (by - shift) / width;
                best[k] = best[k].max(f64::from(rise) * (-0.5 * off * off).exp());
            }
            best.iter().sum::<f64>()
        };
        let (mut most, mut shift) = (0.0, 0.0);
        for step in -10..=80 {
            let here = f64::from(step) * 0.005 * R;
            let now = score(here);
            if now > most {
                (most, shift) = (now, here);
            }
        }
        let lag = self.lag();
        if (shift - lag).abs() > 0.02 * R
            && most > 1.25 * score(lag)
            && most > 0.5 * self.heard.len() as f64
        {
            self.lags = vec![shift];
        }
    }

    /// Every nearness of a remembered pluck to a note of a pitch that rises in it, up to `far` seconds:
    /// how much later the pluck came, which pluck, how much it rises.
    fn meetings(&self, far: f64) -> Vec<(f64, usize, f32)> {
        let mut meetings = Vec::new();
        for (k, (time, rising, _)) in self.heard.iter().enumerate() {
            for segment in self.segments.iter().filter(|s| s.speed > 0.0) {
                for (i, note) in self.expected.iter().enumerate() {
                    let at = segment.from + (note.time.0 - segment.at) / segment.speed * R;
                    let inside = at >= segment.from - 1.0 && at < segment.to;
                    let rise = self.rises(i, rising);
                    if inside && (time - at).abs() < far * R && rise > 0.6 {
                        meetings.push((time - at, k, rise));
                    }
                }
            }
        }
        meetings
    }

    /// Where the player is, when most of what they play is not what the deck plays: the shift at which
    /// most of the newest plucks meet a note of their pitch.
    fn find_jump(&mut self) {
        let mut meetings = self.meetings(FAR);
        meetings.sort_by(|a, b| a.0.total_cmp(&b.0));
        let width = 0.05 * R;
        let votes = |from: usize| {
            let to = meetings.partition_point(|m| m.0 < meetings[from].0 + width);
            let mut who: Vec<usize> = meetings[from..to].iter().map(|m| m.1).collect();
            who.sort_unstable();
            who.dedup();
            (who.len(), meetings[(from + to - 1) / 2].0)
        };
        let Some((most, shift)) = (0..meetings.len()).map(votes).max_by(|a, b| {
            // Of equally good places the nearest.
            a.0.cmp(&b.0).then(b.1.abs().total_cmp(&a.1.abs()))
        }) else {
            return;
        };
        let lag = self.lag();
        let own = self.heard.iter().filter(|h| h.2).count();
        if most < AGREE.max(own + 2) {
            return;
        }
        let by = shift - lag - self.jump;
        if by.abs() < 0.03 * R {
            return;
        }
        self.heard.clear();
        if shift.abs() < 0.4 * R {
            // Not another place of the tune, only the way through the devices.
            self.lags = vec![shift];
            for due in self.due.iter_mut().filter(|d| !d.answered) {
                due.at -= self.jump;
            }
            self.jump = 0.0;
            return;
        }
        for due in self.due.iter_mut().filter(|d| !d.answered) {
            due.at += by;
        }
        self.jump += by;
    }

    /// Does another pitch near its own rise instead? Pitches of notes due around it, and their partials that
    /// a guitar's strings share most (an octave, a twelfth), are no evidence.
    fn is_wrong(&self, doubted: &Doubted, rising: &Rising) -> bool {
        let Some(own) = self.expected[doubted.note]
            .pitch
            .map(crate::unit::MidiNote::nearest)
        else {
            return false;
        };
        let around: Vec<i32> = self
            .due
            .iter()
            .filter(|d| (d.at - doubted.time).abs() < 0.3 * R)
            .filter_map(|d| {
                self.expected[d.note]
                    .pitch
                    .map(crate::unit::MidiNote::nearest)
            })
            .collect();
        let explained = |pitch: i32| {
            around
                .iter()
                .any(|p| matches!(pitch - p, 0 | 12 | 19 | 24 | -12))
        };
        let of = |pitch: i32| {
            let place = usize::try_from(pitch - LOWEST as i32).ok();
            place
                .and_then(|i| rising.shares.get(i))
                .copied()
                .unwrap_or(0.0)
        };
        let other = (-3..=3)
            .map(|by| own + by)
            .filter(|p| *p != own && !explained(*p))
            .map(of)
            .fold(0.0f32, f32::max);
        other > 0.5 && other > WRONG * of(own)
    }

    /// A longer look at the pitch of answers.
    fn settle_doubted(&mut self, now: f64, detector: &mut Detector, told: &mut Vec<Told>) {
        while let Some(doubted) = self.doubted.first().copied() {
            if now < doubted.time + 24.0 + LONG as f64 {
                break;
            }
            self.doubted.remove(0);
            let Some(rising) = detector.rising(doubted.time, LONG) else {
                continue;
            };
            if self.is_wrong(&doubted, &rising) {
                self.tally.wrong(doubted.round);
                told.push(Told::WrongPitch {
                    note: doubted.note,
                    round: doubted.round,
                });
            }
        }
    }

    /// Notes that nothing answers any more.
    fn miss(&mut self, now: f64, told: &mut Vec<Told>) {
        let lag = self.lag();
        let patience = TOLERANCE + 0.06 * R;
        for due in self
            .due
            .iter()
            .filter(|d| !d.answered && now > d.at + lag + patience)
        {
            self.tally.missed(due.round);
            told.push(Told::Missed {
                note: due.note,
                round: due.round,
            });
        }
        self.due.retain(|d| {
            if d.answered {
                now < d.at + lag + R
            } else {
                now <= d.at + lag + patience
            }
        });
    }

    /// Rounds whose notes are all settled.
    fn end_rounds(&mut self, now: f64, told: &mut Vec<Told>) {
        while let Some(round) = self.tally.open() {
            let ended = self
                .segments
                .iter()
                .filter(|s| s.round == round)
                .map(|s| s.to)
                .fold(0.0, f64::max);
            let open = self.due.iter().any(|d| d.round == round && !d.answered);
            if round >= self.round || open || now < ended + 0.1 * R {
                break;
            }
            let round = self.tally.end(round, &self.unsure);
            told.extend(round.map(Told::Round));
        }
    }
}
