"""Parts of other people's arrangements, with the bars that their files say: strummed, picked and comped guitars,
keyboards, lines.

A collection is an .npz of any such music: `notes` (beat of the file, pitch, velocity 0 to 127), `pieces` (first note,
end, meter, an index of METERS, beats a minute, kind: 0 chords, 1 a line, 2 one guitar alone) and `kept` (0 to train
on, 1 to choose by, 2 to judge by; by song).  Beat 0 starts a bar.  What a file's own clock does is not kept: the beats
are played anew (`perform.py`).
"""
import numpy as np
from styles import BEATS, COMPOUND, METERS

LOWEST, HIGHEST = 38, 86
TOGETHER = .03             # notes this close (beats) are one stroke


class Collection:
    def __init__(self, path, kept):
        all = np.load(path)
        self.notes = all["notes"].astype(float)
        self.pieces = all["pieces"][all["kept"] == kept]

    def piece(self, rng, line):
        """Part of a part, as `styles` would invent it; none where there is too little of it."""
        a, b, meter, bpm, kind = self.pieces[rng.choice(np.flatnonzero((self.pieces[:, 4] == 1) == line))]
        notes, meter = self.notes[int(a):int(b)], METERS[int(meter)]
        per = BEATS[meter]
        bpm = float(np.clip(bpm * np.exp(rng.normal(0, .18)), 36, 230))
        beats = int(rng.uniform(30, 75) * bpm / 60)
        end = notes[-1, 0]
        start = int(rng.uniform(-per, max(1, end - .7 * beats)))
        q = notes[:, 0] - start
        inside = (q > -.1) & (q < beats)
        rows, q = notes[inside], np.maximum(q[inside], 0)
        if len(rows) < 24 or q[-1] - q[0] < 16:
            return None
        shift = fitting(rng, rows[:, 1])
        pitch = np.where(rows[:, 1] + shift < LOWEST, rows[:, 1] + shift + 12, rows[:, 1] + shift)
        pitch = np.where(pitch > HIGHEST, pitch - 12, pitch)
        return dict(meter=meter, beats=min(beats, int(q[-1]) + 1), first=(-start) % per, bpm=bpm, swing=.5, fine=.5,
                    notes=list(zip(q, pitch, hands(q, pitch, kind), np.clip(rows[:, 2] / 127, .1, 1), stroke(rng, q, kind))),
                    click=rng.random() < (.15 if kind == 2 else .6), third=meter in COMPOUND)


def fitting(rng, pitch):
    """A transposition, by octaves and a little, that puts the part on a guitar."""
    low, high = np.percentile(pitch, [5, 95])
    shift = int(rng.integers(-3, 4))
    while high + shift > 81:
        shift -= 12
    while low + shift < 40:
        shift += 12
    return shift


def attacks(q):
    """Indices of notes that belong to one attack."""
    return np.split(np.arange(len(q)), np.flatnonzero(np.diff(q) > TOGETHER) + 1)


def hands(q, pitch, kind):
    """The hand of each note: the thumb has what is low, and the lowest of a chord."""
    hand = np.where(pitch < (52 if kind == 1 else 54), 0, 1)
    for inside in attacks(q):
        lowest = inside[np.argmin(pitch[inside])]
        if kind == 2 and len(inside) > 1 and pitch[lowest] < 60:
            hand[lowest] = 0
    return hand


def stroke(rng, q, kind):
    """The stroke that each note belongs to (`perform.scatter`): chords of three and more, down on beats, mostly up between."""
    own = np.full(len(q), -1)
    for k, inside in enumerate(attacks(q), 1):
        if len(inside) < 3 or (kind == 2 and rng.random() < .5):
            continue
        at = 2 * q[inside[0]]
        up = abs(at - round(at)) > .1 or round(at) % 2 == 1
        own[inside] = -2 - k if up and kind != 2 and rng.random() < .7 else k
    return own
