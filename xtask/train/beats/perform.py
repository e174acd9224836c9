"""From a piece on beats to what the hearing would report of somebody playing it, and its true beats.

`perform(rng, piece)` gives notes (time s, pitch, chance of the low strings or thumb 0 to 1, certainty
0 to 1, level dB) and beats (time s, place in the bar from 0, meter).
"""
import numpy as np
from styles import BEATS, METERS


def curve(rng, piece):
    """Seconds of each beat of the piece, and of one beyond."""
    n = piece["beats"] + 1
    beat = 60.0 / piece["bpm"]
    per = BEATS[piece["meter"]]
    log = np.zeros(n)
    if not piece["click"]:
        slow = piece["bpm"] < 75                   # the slower, the freer
        kind = rng.choice(["steady", "free", "rubato"], p=[.3, .3, .4] if slow else [.48, .34, .18])
        wander = {"steady": rng.uniform(.002, .01), "free": rng.uniform(.008, .025), "rubato": rng.uniform(.015, .05)}[kind]
        keep = rng.uniform(.85, .995)
        step = rng.normal(0, wander, n)
        for i in range(1, n):
            log[i] = keep * log[i - 1] + step[i]
        if rng.random() < .25:
            log += np.linspace(0, rng.normal(0, .08), n)
        if kind != "steady":
            phrase = per * int(rng.choice([2, 4, 8]))
            deep = rng.uniform(.02, .1 if kind == "free" else .32)
            x = (np.arange(n) - piece["first"]) % phrase / phrase
            log += deep * (x ** int(rng.choice([2, 4, 8, 16])) * 1.0 - .2)
            for k in range(0, n, phrase):          # holds at the ends of phrases
                if rng.random() < (.08 if kind == "free" else .2):
                    log[min(n - 1, k + phrase - 1)] += rng.uniform(.1, .6)
        if rng.random() < .5:                     # slows down at the end
            m = int(rng.integers(2, 2 * per + 2))
            m = min(m, n)
            log[-m:] += np.linspace(0, rng.uniform(.1, .7), m) ** 1.5
        if rng.random() < .1:
            log[int(rng.integers(n))] += rng.uniform(.3, 1.0)
        if rng.random() < .06:                    # another tempo from here on
            log[int(rng.integers(n)):] += rng.normal(0, .15)
    return np.concatenate([[0.0], np.cumsum(beat * np.exp(log))])


def warp(share, swing, fine):
    """Place in the beat of a written place, swung."""
    def bend(x, at):
        return np.where(x < .5, x * 2 * at, at + (x - .5) * 2 * (1 - at))
    if fine != .5:
        half = np.floor(share * 2) / 2
        share = half + bend((share - half) * 2, fine) / 2
    return bend(share, swing) if swing != .5 else share


def play(rng, piece):
    """Notes as they sound and the beats."""
    if "played" in piece:
        return replay(rng, piece)
    times = curve(rng, piece)
    rows = np.array([n[:5] for n in piece["notes"]], float)
    rows = rows[(rows[:, 0] >= 0) & (rows[:, 0] < piece["beats"])]
    q, pitch, hand, loud, stroke = rows.T
    k = np.floor(q + 1e-6).astype(int)
    share = np.clip(q - k, 0, .999)
    if not piece["third"]:
        share = warp(share, piece["swing"], piece["fine"])
    t = times[k] + share * (times[k + 1] - times[k])
    late = rng.normal(0, .012)                     # fingers against thumb
    own = rng.normal(0, .010) if piece["click"] else 0.0
    t = t + own + np.where(hand == 1, late, 0)
    jitter = float(np.exp(rng.normal(np.log(.007), .5)))
    drag = rng.normal(0, .006, 1 + int(times[-1] // 2)).cumsum() * (rng.random() < .5)
    t = t + np.clip(drag[(t // 2).astype(int).clip(0, len(drag) - 1)], -.03, .03)
    order = np.argsort(q, kind="stable")
    shift = scatter(rng, pitch, stroke, jitter)
    accent = np.zeros(len(q))
    on = np.abs(q - np.round(q)) < 1e-6
    accent += on * rng.normal(.8, 1.6)
    per = BEATS[piece["meter"]]
    accent += (on & (((np.round(q) - piece["first"]) % per) == 0)) * rng.normal(1.0, 1.2)
    level = 20 * np.log10(np.maximum(loud, .05)) + accent + balance(rng, pitch, hand)
    notes = np.stack([t + shift, pitch, hand, level], 1)[order]
    places = (np.arange(piece["beats"]) - piece["first"]) % per
    meter = METERS.index(piece["meter"])
    beats = np.stack([times[: piece["beats"]], places, np.full(piece["beats"], meter)], 1)
    # No beat before anything is played, nor long after the last note.
    last = notes[:, 0].max() + 60.0 / piece["bpm"]
    return notes, beats[(beats[:, 0] > notes[:, 0].min() - .08) & (beats[:, 0] < last)]


def scatter(rng, pitch, stroke, jitter):
    """How far each note is from where it is meant: the hand's own jitter, strings of a stroke one after the other."""
    apart = rng.random() < .5
    spread = float(np.exp(rng.normal(np.log(.008), .7)))
    shift = rng.normal(0, jitter, len(pitch))
    by = np.argsort(stroke, kind="stable")
    for inside in np.split(by, np.flatnonzero(np.diff(stroke[by])) + 1):
        if len(inside) < 2 or stroke[inside[0]] == -1:
            continue                               # one stroke is one hand's motion
        rank = np.argsort(np.argsort(pitch[inside]))
        if stroke[inside[0]] < -1:
            rank = rank[::-1]
        step = spread * (1 if apart else .3) * rng.uniform(.5, 1.5)
        shift[inside] = rng.normal(0, jitter) + rank * step - (step * len(inside) * .25)
    return shift


def balance(rng, pitch, hand):
    """How much louder each note is than meant (dB): thumb against fingers, low against high, and by chance. Off-beat
    chords may be far louder than the bass on the beat, so that loud is not where the beat is."""
    return (np.where(hand == 0, rng.normal(-1, 4), 0) + (pitch - 57) * rng.normal(0, .12)
            + rng.normal(0, np.exp(rng.uniform(0, np.log(6))), len(pitch)))


def replay(rng, piece):
    """Notes and beats of a piece that was played already (`played.py`)."""
    t, pitch, hand, level, stroke = piece["played"].T
    jitter = float(np.exp(rng.normal(np.log(.003), .7)))
    late = rng.normal(0, .008)
    t = t + scatter(rng, pitch, stroke, jitter) + np.where(hand == 1, late, 0)
    level = level + balance(rng, pitch, hand)
    notes = np.stack([t, pitch, hand, level], 1)
    return notes[np.argsort(notes[:, 0], kind="stable")], piece["grid"]


def heard(rng, notes):
    """What the hearing makes of them: rows of (time, pitch, low, certainty, level)."""
    t, pitch, hand, level = notes.T
    n = len(t)
    # On clean sound nearly all is heard, and surely (rendered pieces: .5 % of single notes lost, 6 % of those in a
    # crowd, 1 % of pitches and hands wrong); a microphone in a room takes more.
    clean = rng.random() < .5
    between = lambda a, b, c, d: rng.uniform(a, b) if clean else rng.uniform(c, d)
    # Roles by hand or by string, and their errors.
    by_string = rng.random() < .4
    split = rng.integers(50, 60)
    low = np.where(pitch < split, 1.0, 0.0) if by_string else 1.0 - hand
    wrong = rng.random(n) < (rng.uniform(.1, .3) if rng.random() < .1 else between(0, .04, .01, .15))
    low = np.where(wrong, 1 - low, low)
    believed = between(.95, .99, .88, .98)
    sure = np.clip(rng.normal(believed, .6 * (1 - believed), n), .5, .99)
    sure = np.where(wrong & (rng.random() < .5), np.clip(rng.normal(.72, .12, n), .5, .99), sure)
    low = np.where(low > .5, sure, 1 - sure)
    # In a crowd notes get lost, soft ones first.
    order = np.argsort(t)
    gap = np.diff(t[order], prepend=-9)
    crowd = np.zeros(n)
    crowd[order] = gap < .03
    soft = level < np.median(level) - 6
    loss = between(0, .03, .01, .13) + crowd * between(0, .12, 0, .35) + soft * between(0, .08, 0, .3)
    keep = rng.random(n) > loss
    pitch = pitch + np.where(rng.random(n) < between(0, .03, 0, .06), rng.choice([12, -12, 19, 7, -5, 1, -1], n), 0)
    certain = np.clip(rng.normal(between(.97, .995, .9, .98), between(.01, .03, .04, .1), n), .3, 1)
    t = t + rng.normal(0, .0015, n) + (rng.random(n) < between(.01, .08, .03, .12)) * rng.normal(0, .015, n)
    t = t + crowd * rng.normal(0, between(0, .006, 0, .012), n)
    rows = np.stack([t, pitch, low, certain, level], 1)[keep]
    ghosts = int(rng.poisson(len(rows) * between(0, .03, 0, .1)))
    if ghosts and len(rows):
        g = rows[rng.integers(len(rows), size=ghosts)].copy()
        alone = rng.random(ghosts) < .5
        span = rows[-1, 0] - rows[0, 0]
        g[:, 0] = np.where(alone, rng.uniform(0, 1, ghosts) * span + rows[:, 0].min(), g[:, 0] + rng.normal(0, .006, ghosts))
        g[:, 1] += rng.choice([12, 19, 24, 7, -12, 5], ghosts)
        g[:, 3] = np.clip(rng.normal(.7, .18, ghosts), .2, 1)
        g[:, 4] -= rng.uniform(0, 15, ghosts)
        rows = np.concatenate([rows, g])
    return rows[np.argsort(rows[:, 0])]


def noise(rng, long, rate):
    """Talk, tuning, knocks: notes at random instants."""
    n = int(rng.poisson(long * rate))
    t = np.sort(rng.uniform(0, long, n))
    pitch = np.clip(rng.normal(rng.uniform(45, 65), rng.uniform(1, 9), n), 38, 84).round()
    return np.stack([t, pitch, np.where(pitch < 53, rng.uniform(.5, 1, n), rng.uniform(0, .5, n)),
                     rng.uniform(.2, .95, n), rng.normal(-8, 5, n)], 1)


def perform(rng, pieces):
    """A recording: perhaps something before, a piece or two, perhaps something after.

    -> notes, beats, stretches with a pulse [(from, to)]."""
    at = 0.0
    notes, beats, pulse = [], [], []

    def add(rows):
        if len(rows):
            rows = rows.copy()
            rows[:, 0] += at
            notes.append(rows)
    if rng.random() < .3:
        long = rng.uniform(.5, 12)
        if rng.random() < .6:
            add(noise(rng, long, rng.uniform(.3, 4)))
        at += long
    for i, piece in enumerate(pieces):
        sounded, grid = play(rng, piece)
        if len(sounded) < 8:
            continue
        rows = heard(rng, sounded)
        if rng.random() < .07:                     # counted in by taps
            beat = grid[1, 0] - grid[0, 0]
            n = int(rng.choice([2, 3, 4, 6, 8]))
            taps = np.stack([np.arange(n) * beat + rng.normal(0, .012, n), np.full(n, rng.integers(40, 70)),
                             np.full(n, rng.uniform(.2, .8)), np.full(n, rng.uniform(.3, .9)), np.full(n, -6.0)], 1)
            taps = taps[rng.random(n) < .9]
            add(taps)
            at += n * beat
        if rng.random() < .08:                     # a false start
            stop = rng.uniform(1.0, 6.0)
            cut = rows[rows[:, 0] < stop]
            add(cut)
            g = grid[grid[:, 0] < stop]
            if len(g):
                b = g.copy()
                b[:, 0] += at
                beats.append(b)
                pulse.append((b[0, 0], b[-1, 0]))
            at += stop + rng.uniform(.4, 3)
        add(rows)
        b = grid.copy()
        b[:, 0] += at
        beats.append(b)
        first = sounded[:, 0].min() + at
        last = sounded[:, 0].max() + at
        pulse.append((min(first, b[0, 0]) - .02, max(last, b[0, 0]) + .02))
        at += max(grid[-1, 0], sounded[:, 0].max())
        at += rng.uniform(.8, 4)
        if rng.random() < .12:
            long = rng.uniform(1, 6)
            add(noise(rng, long, rng.uniform(.3, 3)))
            at += long
    if not notes or not beats:
        return None
    notes = np.concatenate(notes)
    return notes[np.argsort(notes[:, 0])], np.concatenate(beats), pulse
