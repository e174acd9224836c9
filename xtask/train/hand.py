#!/usr/bin/env python3
"""Fits what `src/analysis/hand` weighs: whose a note is, thumb's or fingers'.

    hand.py --out hand.f32 [--heard FOLDER ...] [--pieces 250] [--seed 81]
    hand.py --fixture hand.f32 > tests/reference/hand.json

Fitted on invented hands (`hands.py`) and on recordings with known hands as the program hears them: FOLDER holds NAME.json
(`thumbline analyze --json`) beside NAME.truth.json (`notes` of `t`, `midi`, `cents`, `role`; `open_midi`, `capo`); those
count twice.  Three networks of one hidden layer, each fitted on what the ones before it think.  Ends with how many notes
of 150 other invented pieces are told right.  `look` and `look_again` are the numbers of `src/analysis/hand.rs`; `hand.json`
holds the two together.
"""
import argparse
import glob
import json
import math
import os
import sys
import warnings

import numpy as np
from numba import njit

import hands

TOGETHER, STRUM, BESIDE, AROUND, AGAIN = .04, 4, 6, 16, .22
VOICES, STAYS, SAME_PLACE, PATTERN, PATTERN_OF_TWO = 6.0, 8.0, .13, 24.0, 32.0
PLAIN, MORE, HIDDEN = 10, 16, 12


@njit(cache=True)
def between(t, m, i):
    """the pitch half way between the two voices around note i"""
    near = m[(t > t[i] - VOICES) & (t < t[i] + VOICES)]
    low, high = float(near.min()), float(near.max())
    if high - low < 3:
        return (low + high) / 2
    for _ in range(8):
        middle = (low + high) / 2
        below, above = near[near <= middle], near[near > middle]
        low = below.mean() if len(below) else low
        high = above.mean() if len(above) else high
    return (low + high) / 2


@njit(cache=True)
def look(t, m, lean):
    """[notes, PLAIN]: a note among its neighbours; which are the lowest, or a higher one, of several; which the lowest"""
    n = len(t)
    out, low, high, lowest = np.zeros((n, PLAIN)), np.zeros(n, np.bool_), np.zeros(n, np.bool_), np.ones(n, np.bool_)
    for i in range(n):
        first, last = max(0, i - BESIDE), min(n, i + BESIDE + 1)
        count = 0
        for k in range(first, last):
            if abs(t[k] - t[i]) < TOGETHER:
                count += 1
                lowest[i] &= m[k] >= m[i]
        several = 1 < count < STRUM
        low[i], high[i] = several and lowest[i], several and not lowest[i]
        step, again = np.zeros(2), np.zeros(2)
        for side in range(2):
            found = False
            for d in range(1, BESIDE + 1):
                k = i - d if side == 0 else i + d
                if not first <= k < last or abs(t[k] - t[i]) <= TOGETHER:
                    continue
                if not found:
                    step[side], found = min(max((m[i] - m[k]) / 12, -1.0), 1.0), True
                if m[k] == m[i] and abs(t[k] - t[i]) < AGAIN:
                    again[side] = 1
        height = (m[i] - between(t, m, i)) / 6
        out[i] = np.array([min(max(height, -2.0), 2.0), low[i], high[i], count >= STRUM, step[0], step[1], again[0], again[1], (m[i] - 52) / 12, lean[i]])
    return out, low, high, lowest


@njit(cache=True)
def look_again(t, m, place, odds, low, high, lowest):
    """[notes, MORE]: what the odds of others say; `place` in beats, nan where there is none"""
    n = len(t)
    out = np.zeros((n, MORE))
    known = place[~np.isnan(place)]
    span = min(2 * PATTERN, max(8.0, known[-1] - known[0] if len(known) else 0.0))
    for i in range(n):
        thumb, fingers = 14.0, 14.0
        for k in range(max(0, i - AROUND), min(n, i + AROUND + 1)):
            way = abs(m[k] - m[i]) + 2 * abs(t[k] - t[i])
            if k != i and odds[k] < .35:
                thumb = min(thumb, way)
            elif k != i and odds[k] > .65:
                fingers = min(fingers, way)
        same, count = 0.0, 0.0
        for k in range(n):
            if -STAYS <= t[k] - t[i] < STAYS and m[k] == m[i]:
                same, count = same + odds[k], count + 1
        least, most, other = 1.0, 0.0, 0.0
        for k in range(max(0, i - BESIDE), min(n, i + BESIDE + 1)):
            if abs(t[k] - t[i]) < TOGETHER:
                least, most = min(least, odds[k]), max(most, odds[k])
                if k != i:
                    other = max(other, 1 - odds[k])
        out[i, 0] = min(max((thumb - fingers) / 6, -2.3), 2.3)
        out[i, 1] = same / max(count, 1.0) - .5
        out[i, 2] = math.log((odds[i] + 1e-3) / (1 - odds[i] + 1e-3)) / 3
        out[i, 3], out[i, 4], out[i, 5] = low[i] and most > .5, high[i] and least < .5, other
        if np.isnan(place[i]):
            continue
        sums, counts, here, across, beside = np.zeros(2), np.zeros(2), 0.0, 0.0, np.zeros(4)
        for k in range(n):
            if k == i or np.isnan(place[k]) or abs(place[k] - place[i]) >= PATTERN_OF_TWO:
                continue
            way = place[k] - place[i]
            off = abs(way - round(way))
            below, above = (1 - odds[k] if odds[k] < .5 else 0.0), (odds[k] if odds[k] > .5 else 0.0)
            if abs(way) < PATTERN and off < SAME_PLACE:
                here += below
            elif abs(way) < PATTERN and abs(off - .5) < SAME_PLACE:
                across += below
            if abs(abs(way) - 1) < SAME_PLACE:
                beside[0] += below
                beside[2] += above
            elif abs(abs(way) - .5) < SAME_PLACE:
                beside[1] += below
                beside[3] += above
            if lowest[k] != lowest[i] or off >= SAME_PLACE:
                continue
            if abs(way) < PATTERN:
                sums[0] += odds[k]
                counts[0] += 1
            if abs(way / 2 - round(way / 2)) < .5 * SAME_PLACE:
                sums[1] += odds[k]
                counts[1] += 1
        for j in range(2):
            out[i, 6 + j] = sums[j] / counts[j] - .5 if counts[j] > 2 else 0.0
        share = place[i] - math.floor(place[i])
        on = min(share, 1 - share) < SAME_PLACE
        out[i, 8], out[i, 9] = on and lowest[i], not on and lowest[i]
        for j, x in enumerate((here / span, across / span, beside[0] / 2, beside[1] / 2)):
            out[i, 10 + j] = min(x, 1.0) * lowest[i]
        out[i, 14], out[i, 15] = min(beside[2] / 2, 1.0), min(beside[3] / 2, 1.0)
    return out


def places(t, beats):
    """where instants lie, in beats after the first"""
    if len(beats) < 2:
        return np.full(len(t), np.nan)
    b = np.array(beats)
    out = np.interp(t, b, np.arange(len(b)))
    out[t < b[0]] = ((t - b[0]) / (b[1] - b[0]))[t < b[0]]
    out[t > b[-1]] = (len(b) - 1 + (t - b[-1]) / (b[-1] - b[-2]))[t > b[-1]]
    return out


def lean(midi, strings):
    """what the cheapest place by the nut says, above 0 for the fingers' strings (roughly the string search of the program)"""
    def cost(opened):
        frets = [midi - o for o in opened if 0 <= midi - o <= 19]
        return min([0 if f == 0 else .35 + 1.2 * max(0, f - 4) for f in frets], default=8.0)
    n = len(strings)
    d = cost(strings[:n - 3]) - cost(strings[n - 3:]) if n else 0.0
    return float(np.clip(d if abs(d) > .05 else 0.0, -2, 2))


class Piece:
    def __init__(self, notes, beats, strings):
        """notes: (seconds, MIDI, 1 fingers, 0 thumb, -1 not known)"""
        self.t = np.array([n[0] for n in notes], float)
        self.m = np.array([n[1] for n in notes], np.int64)
        self.whose = np.array([n[2] for n in notes])
        self.lean = np.array([lean(m, strings) for m in self.m])
        self.place = places(self.t, beats)
        self.plain, self.low, self.high, self.lowest = look(self.t, self.m, self.lean)

    def all(self, odds):
        return np.concatenate([self.plain, look_again(self.t, self.m, self.place, odds, self.low, self.high, self.lowest)], 1)


def invented(seed, count):
    found = []
    for k in range(count):
        rng = np.random.default_rng([seed, k])
        piece = hands.heard(rng, *hands.play(rng))
        if len(piece["notes"]) > 20:
            found.append(Piece(piece["notes"], piece["beats"], piece["strings"]))
    return found


def heard(folder):
    """recordings with known hands as the program hears them"""
    found = []
    for path in sorted(glob.glob(os.path.join(folder, "*.truth.json"))):
        with open(path) as file:
            truth = json.load(file)
        with open(path.replace(".truth.json", ".json")) as file:
            said = json.load(file)
        notes = []
        for o in (o for o in said["onsets"] if o.get("midi")):
            near = [n for n in truth["notes"] if abs(n["t"] - o["time_s"]) < .05 and abs(n["midi"] + n.get("cents", 0) / 100 - o["midi"]) < .6]
            own = min(near, key=lambda n: abs(n["t"] - o["time_s"]), default=None)
            notes.append((o["time_s"], round(o["midi"] - (said.get("tuning_cents") or 0) / 100), -1 if own is None else int(own["role"] == "melody")))
        found.append(Piece(notes, said["beats_s"], [s + truth["capo"] for s in truth["open_midi"]]))
    return found


class Weighing:
    def __init__(self, hidden, hidden_bias, out, out_bias):
        self.parts = [np.asarray(x, np.float32) for x in (hidden, hidden_bias, out, out_bias)]

    def __call__(self, x):
        w, b, v, c = (p.astype(np.float64) for p in self.parts)
        return 1 / (1 + np.exp(-(np.maximum(x @ w + b, 0) @ v + c)[:, 0]))


def told(piece, weighings):
    """probability of the fingers, note by note"""
    odds = None
    for k, weighing in enumerate(weighings):
        odds = weighing(piece.plain if k == 0 else piece.all(odds))
    return odds


def fit(pieces):
    from sklearn.neural_network import MLPClassifier
    warnings.filterwarnings("ignore")
    weighings, odds = [], None
    whose = np.concatenate([p.whose for p in pieces])
    for k in range(3):
        x = np.concatenate([p.plain if k == 0 else p.all(o) for p, o in zip(pieces, odds or pieces)])
        net = MLPClassifier((HIDDEN,), max_iter=100, early_stopping=True, random_state=1, alpha=1e-3, learning_rate_init=3e-3)
        net.fit(x[whose >= 0], whose[whose >= 0])
        weighings.append(Weighing(net.coefs_[0], net.intercepts_[0], net.coefs_[1], net.intercepts_[1]))
        odds = [told(p, weighings) for p in pieces]
        print("weighing %d: %d rounds, loss %.4f" % (k + 1, net.n_iter_, net.loss_), file=sys.stderr)
    return weighings


def right(pieces, weighings):
    hits = [((told(p, weighings) > .5) == (p.whose == 1))[p.whose >= 0] for p in pieces]
    return np.concatenate(hits).mean()


def read(path):
    w, at, out = np.fromfile(path, "<f4"), 0, []
    for inputs in (PLAIN, PLAIN + MORE, PLAIN + MORE):
        parts = []
        for shape in ((inputs, HIDDEN), (HIDDEN,), (HIDDEN, 1), (1,)):
            n = int(np.prod(shape))
            parts.append(w[at:at + n].reshape(shape))
            at += n
        out.append(Weighing(*parts))
    return out


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("--out")
    ap.add_argument("--fixture")
    ap.add_argument("--heard", nargs="*", default=[])
    ap.add_argument("--pieces", type=int, default=250)
    ap.add_argument("--seed", type=int, default=81)
    a = ap.parse_args()
    if a.fixture:
        rng = np.random.default_rng([90, 4])
        piece = hands.heard(rng, *hands.play(rng))
        piece["notes"] = piece["notes"][:60]
        p = Piece(piece["notes"], piece["beats"], piece["strings"])
        json.dump(dict(made_by="xtask/train/hand.py", notes=[n[:2] + [round(float(l), 3)] for n, l in zip(piece["notes"], p.lean)], beats=piece["beats"],
                       fingers=[round(float(x), 5) for x in told(p, read(a.fixture))]), sys.stdout, indent=1)
        return
    real = [p for folder in a.heard for p in heard(folder)]
    pieces = invented(a.seed, a.pieces) + 2 * real
    print("%d invented pieces, %d as heard" % (len(pieces) - 2 * len(real), len(real)), file=sys.stderr)
    weighings = fit(pieces)
    print("told right: fitted on %.4f, of other invented pieces %.4f" % (right(pieces, weighings), right(invented(a.seed + 1, 150), weighings)), file=sys.stderr)
    np.concatenate([p.ravel() for w in weighings for p in w.parts]).astype("<f4").tofile(a.out)


if __name__ == "__main__":
    main()
