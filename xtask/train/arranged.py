"""Invented pieces of another player than `tunings.py`'s: a tune with chords is written first, as pitches in a key that the
tuning suits, then strung in the easiest way (Viterbi over the hand's places: reach, shifts, open strings).  Eight bars, played
A A B A.  As with `pieces.py` everything is drawn at random.
"""
import itertools

import numpy as np

import tunings
from tunings import MAJOR, MINOR, MIXOLYDIAN, ended

DORIAN = [0, 2, 3, 5, 7, 9, 10]
PLACES = range(1, 10)


def held(opened, pitches, place):
    """the cheapest strings and frets of pitches struck together with the first finger at a fret, and their cost"""
    found = []
    can = [[(s, m - o) for s, o in enumerate(opened) if 0 <= m - o <= 12] for m in pitches]
    for ways in itertools.product(*can):
        if len({s for s, _ in ways}) < len(ways):
            continue
        cost = 3.0 if len({f for _, f in ways if f}) > 4 else 0.0
        for _, f in ways:
            if f == 0:
                cost -= .5
            elif place <= f < place + 4:
                cost += .15 * (f - place)
            else:
                cost += 1.2 + .5 * min(abs(f - place), abs(f - place - 3))
        found.append((cost, ways))
    return min(found, default=None)


def strung(opened, slots):
    """strings and frets of every slot's pitches; nothing where they cannot be held"""
    best, rows, known = {p: .15 * p for p in PLACES}, [], {}
    for pitches in slots:
        after, row = {}, {}
        for p in PLACES:
            key = (tuple(pitches), p)
            if key not in known:
                known[key] = held(opened, pitches, p)
            if known[key] is None:
                continue
            q = min(best, key=lambda q: best[q] + .45 * abs(p - q))
            after[p] = best[q] + .45 * abs(p - q) + known[key][0] + .05 * p
            row[p] = (q, known[key][1])
        rows.append(row)
        best = after or best
    p, out = min(best, key=best.get), []
    for row in reversed(rows):
        if not row:
            out.append(())
            continue
        p, ways = row[p if p in row else min(row, key=lambda q: abs(q - p))]
        out.append(ways)
    return out[::-1]


class Player(tunings.Player):
    """likewise a `play` for `examples.perform`"""

    def __call__(self, rng):
        opened = self.opened
        tonic, minor = self.keys[rng.integers(len(self.keys))]
        scale = (MINOR if rng.random() < .6 else DORIAN) if minor else (MIXOLYDIAN if rng.random() < .25 else MAJOR)
        self.style = style = str(rng.choice(["air", "waltz", "rag", "hymn", "march"]))
        bar, sub = 3 if style == "waltz" else 4, 2
        slots = bar * sub
        chords = [0, 3, 4, 0, 5, 3, 4, 0] if rng.random() < .5 else [0, 4, 5, 3, 0, 3, 4, 0]
        if rng.random() < .3:
            chords = [0, 6, 0, 6, 3, 6, 0, 0] if 10 in scale else [0, 0, 3, 3, 4, 4, 0, 0]
        triad = lambda d: [(tonic + scale[(d + k) % 7]) % 12 for k in (0, 2, 4)]
        reach = [m for m in range(opened[3], opened[5] + 10) if (m - tonic) % 12 in scale]
        below = list(range(opened[0], opened[3] + 3))

        def phrase():
            out = []
            at = int(np.argmin([abs(m - (opened[5] + rng.integers(-3, 4))) for m in reach]))
            for k in range(8 * slots):
                often = .95 if k % slots == 0 else .65 if k % 2 == 0 else .35
                if rng.random() > often * (.6 if style == "hymn" and k % 2 else 1):
                    out.append(None)
                    continue
                at = int(np.clip(at + rng.choice([-3, -2, -1, -1, 0, 1, 1, 2, 3]), 0, len(reach) - 1))
                if k % (2 * sub) == 0:  # a tone of the chord on every other beat
                    at = min((i for i, m in enumerate(reach) if m % 12 in triad(chords[k // slots])), key=lambda i: abs(i - at))
                out.append(reach[at])
            return out

        a, b = phrase(), phrase()
        form, fill = [a, a, b, a], rng.random() < .6
        secs, beat = rng.uniform(22, 36), 60 / rng.uniform(70, 150)
        pitches, roles = [], []
        for k in range(int(secs / (beat / sub))):
            at, place = k % (8 * slots), k % slots
            tones = triad(chords[at // slots])
            tune = form[k // (8 * slots) % 4][at] if rng.random() < .96 else None
            roots = [m for m in below if m % 12 == tones[0]] or below[:1]
            fifths = [m for m in below if m % 12 == tones[2]] or roots
            bass = None
            if style in ("rag", "march") and place % 2 == 0:
                bass = roots[0] if place == 0 else fifths[-1] if place % 4 == 2 else roots[-1]
            elif style == "hymn" and place % 4 == 0:
                bass = roots[0 if rng.random() < .7 else -1]
            elif style in ("waltz", "air") and place == 0:
                bass = roots[0]
            elif style == "air" and place == bar and rng.random() < .6:
                bass = fifths[0]
            now = [] if bass is None else [bass]
            if tune is not None and tune not in now:
                now.append(tune)
            between = [m for m in range(opened[2] + 2, opened[4] + 4) if m % 12 in tones]
            if fill and not now and between and rng.random() < .55:
                now.append(int(rng.choice(between)))
            if style in ("waltz", "hymn") and place and place % 2 == 0 and rng.random() < .5:
                top = opened[5] if tune is None else tune
                beside = [m for m in range(opened[2], top) if m % 12 in tones and m not in now]
                now += [int(m) for m in rng.permutation(beside)[:2]]
            pitches.append(now)
            roles.append(["bass" if bass is not None and i == 0 else "melody" for i in range(len(now))])
        jitter, dyn, t, notes = rng.uniform(.003, .012), rng.uniform(.06, .2), rng.uniform(.2, .6), []
        for whose, ways in zip(roles, strung(opened, pitches)):
            notes += [self.note(rng, t, i, fret, role, jitter, dyn) for role, (i, fret) in zip(whose, ways)]
            t += beat / sub * (1 + .01 * rng.standard_normal())
        return ended(rng, notes), [], t + 1
