"""Invented pieces in a named tuning, where what is played depends on the tuning: open strings, shapes within reach,
drones, tunes along a string, closed positions.  As with `pieces.py` everything is drawn at random.
"""
import numpy as np

# open strings from the lowest, and keys that are played on them: tonic, minor?
TWELVE = {
    "standard": ([40, 45, 50, 55, 59, 64], [(0, 0), (7, 0), (2, 0), (9, 0), (4, 0), (9, 1), (4, 1), (2, 1)]),
    "drop D": ([38, 45, 50, 55, 59, 64], [(2, 0), (2, 1), (7, 0)]),
    "double drop D": ([38, 45, 50, 55, 59, 62], [(2, 0), (7, 0), (2, 1)]),
    "DADGAD": ([38, 45, 50, 55, 57, 62], [(2, 0), (2, 0), (2, 1), (7, 0)]),
    "open G": ([38, 43, 50, 55, 59, 62], [(7, 0), (7, 0), (2, 0)]),
    "open D": ([38, 45, 50, 54, 57, 62], [(2, 0), (2, 0), (7, 0)]),
    "open C": ([36, 43, 48, 55, 60, 64], [(0, 0), (0, 0), (7, 0)]),
    "open D minor": ([38, 45, 50, 53, 57, 62], [(2, 1), (2, 1), (7, 1)]),
    "open G minor": ([38, 43, 50, 55, 58, 62], [(7, 1), (7, 1), (2, 1)]),
    "C G D G A D": ([36, 43, 50, 55, 57, 62], [(0, 0), (7, 0), (2, 1)]),
    "half step down": ([39, 44, 49, 54, 58, 63], [(11, 0), (6, 0), (1, 0), (8, 1), (3, 1)]),
    "whole step down": ([38, 43, 48, 53, 57, 62], [(10, 0), (5, 0), (0, 0), (7, 1), (2, 1)]),
}
MAJOR, MIXOLYDIAN, MINOR = [0, 2, 4, 5, 7, 9, 11], [0, 2, 4, 5, 7, 9, 10], [0, 2, 3, 5, 7, 8, 10]


def grip(rng, opened, chord, closed):
    """one grip of the chord, a fret or None by string from the lowest: among the easiest of sixty drawn"""
    found = []
    for _ in range(60):
        pos = int(rng.integers(2, 9)) if closed else int(rng.choice([1, 1, 1, 1, 2, 2, 3, 4, 5, 7]))
        frets = []
        for o in opened:
            can = [f for f in ([] if closed else [0]) + list(range(pos, pos + 4)) if (o + f) % 12 in chord]
            if not can or rng.random() < .1:
                frets.append(None)
                continue
            w = np.array([1.0 if f == 0 else .55 for f in can])
            frets.append(int(rng.choice(can, p=w / w.sum())))
        held = [f for f in frets if f]
        if (len(set(held)) if closed else len(held)) > 4 or sum(f is None for f in frets) > 2:
            continue
        sounding = [(o + f) % 12 for o, f in zip(opened, frets) if f is not None]
        if chord[0] not in sounding:
            continue
        cost = .9 * len(held) + (.5 * (max(held) - min(held)) + .25 * min(held) if held else 0)
        cost += (1.5 if sounding[0] != chord[0] else 0) + sum(f is None for f in frets) + (1.2 if len(set(sounding)) < 3 else 0)
        found.append((cost, frets))
    if not found:
        return None
    found = sorted(found, key=lambda x: x[0])[:8]
    w = np.exp(-np.array([c - found[0][0] for c, _ in found]))
    return found[int(rng.choice(len(found), p=w / w.sum()))][1]


class Player:
    """a `play` for `examples.perform`: one tuning, one capo"""

    def __init__(self, name, capo):
        self.opened, self.keys = TWELVE[name]
        self.capo, self.style = capo, ""

    def note(self, rng, t, i, fret, role, jitter, dyn, kind="pluck"):
        """a note on string i (0 the lowest), as early and late and loud as it comes"""
        late = jitter * np.clip(rng.standard_normal(), -2.5, 2.5)
        return dict(t=max(.05, t + late), midi=int(self.opened[i] + fret + self.capo), string=6 - i, role=role, kind=kind,
                    vel=float(np.clip(.6 + dyn * rng.standard_normal(), .2, 1)), order=1, fret=fret)

    def __call__(self, rng):
        opened = self.opened
        tonic, minor = self.keys[rng.integers(len(self.keys))]
        scale = MINOR if minor else MIXOLYDIAN if rng.random() < .2 else MAJOR
        tones = {(tonic + s) % 12 for s in scale}
        chord = lambda d: tuple((tonic + scale[(d + k) % 7]) % 12 for k in (0, 2, 4))
        self.style = style = str(rng.choice(["alternate", "arpeggio", "drone", "tune", "closed", "solo"], p=[.26, .2, .16, .22, .08, .08]))
        degrees = [0, 0, 3, 4, 5, 6, 2, 3] if minor else [0, 0, 3, 4, 5, 1, 3, 2]
        grips = {d: [g for g in (grip(rng, opened, chord(d), style == "closed") for _ in range(2)) if g] for d in set(degrees)}
        grips = {d: g for d, g in grips.items() if g}
        grips.setdefault(0, [[0] * 6])
        form = [0] + [int(rng.choice(degrees)) for _ in range(7)]
        form = [d if d in grips else 0 for d in form]
        secs, beat, sub, bar = rng.uniform(20, 34), 60 / rng.uniform(66, 138), 2, int(rng.choice([4, 4, 3]))
        jitter, dyn = rng.uniform(.003, .012), rng.uniform(.06, .2)
        density, leave, tied = rng.uniform(.45, .9), rng.uniform(.05, .35), rng.uniform(0, .15)
        notes = []

        def add(t, i, fret, role, kind="pluck"):
            notes.append(self.note(rng, t, i, fret, role, jitter, dyn, kind))

        cell = [int(rng.choice([3, 4, 5, -1], p=[.3, .3, .25, .15])) for _ in range(16)]
        over = list(rng.permutation([3, 4, 5, 4, 3, 5]))
        low_line = sorted({(i, f) for i in (3, 4, 5) for f in range(6) if (opened[i] + f) % 12 in tones}, key=lambda p: opened[p[0]] + p[1])
        high_line = sorted({(5, f) for f in range(13) if (opened[5] + f) % 12 in tones} | {(4, f) for f in range(8) if (opened[4] + f) % 12 in tones})
        at_low, at_high = len(low_line) // 2, int(rng.integers(len(high_line)))
        t, k, turn, held = rng.uniform(.2, .6), 0, 0, grips[0][0]
        while t < secs:
            place, slots = k % (bar * sub), bar * sub
            d = form[k // slots % 8] if rng.random() < .97 else 0
            if place == 0:
                held, turn = grips[d][rng.integers(len(grips[d]))], 0
            on_beat = k % sub == 0
            low = [i for i in (0, 1, 2) if held[i] is not None]
            rooted = [i for i in low if (opened[i] + held[i]) % 12 == chord(d)[0]]
            if style == "drone":  # open strings below, a tune on the two highest
                drones = [i for i in (0, 1, 2) if opened[i] % 12 in (tonic % 12, (tonic + 7) % 12)] or [0]
                if on_beat and k // sub % (1 if density > .6 else 2) == 0:
                    add(t, drones[turn % len(drones)], 0, "bass")
                    turn += 1
                if rng.random() < .75 * density + .15:
                    if rng.random() < .12:
                        add(t, 3, 0, "melody")
                    else:
                        at_high = int(np.clip(at_high + rng.choice([-2, -1, -1, 1, 1, 2]), 0, len(high_line) - 1))
                        add(t, *high_line[at_high], "melody")
            elif style in ("alternate", "closed"):
                if on_beat and low:
                    i = rooted[0] if turn == 0 and rooted else low[turn % len(low)]
                    turn += 1
                    add(t, i, held[i], "bass")
                j = cell[k % 16]
                if j > 0 and rng.random() < density + .1 and held[j] is not None:
                    f = held[j]
                    if rng.random() < leave:
                        near = range(0 if style != "closed" else max(1, f - 2), max(f, 1) + 4)
                        can = [x for x in near if (opened[j] + x) % 12 in tones and abs(x - f) <= 3]
                        f = int(rng.choice(can)) if can else f
                    add(t, j, f, "melody")
            elif style == "arpeggio":
                if place == 0 and low:
                    i = (rooted or low)[0]
                    add(t, i, held[i], "bass")
                elif place == slots // 2 and low and rng.random() < .7:
                    add(t, low[-1], held[low[-1]], "bass")
                elif rng.random() < .93 and held[j := int(over[k % 6])] is not None:
                    add(t, j, held[j], "melody")
            elif style == "tune":
                if low and (place == 0 or on_beat and rng.random() < .5):
                    i = (rooted or low)[0] if place == 0 else low[rng.integers(len(low))]
                    add(t, i, held[i], "bass")
                if rng.random() < density:
                    at_low = int(np.clip(at_low + rng.choice([-3, -2, -1, -1, 0, 1, 1, 2, 3]), 0, len(low_line) - 1))
                    add(t, *low_line[at_low], "melody")
                    if rng.random() < .15 and held[3] is not None and low_line[at_low][0] != 3:
                        add(t + .004, 3, held[3], "melody")
            else:
                if place in (0, bar) and low:
                    i = low[rng.integers(len(low))]
                    add(t, i, held[i], "bass")
                if rng.random() < density:
                    for j in rng.permutation([3, 4, 5])[:int(rng.choice([1, 1, 2, 3]))]:
                        if held[j] is not None:
                            add(t, int(j), held[int(j)], "melody")
            if rng.random() < tied and notes and notes[-1]["role"] == "melody":
                n = notes[-1]
                i = 6 - n["string"]
                can = [x for x in range(13) if 0 < abs(x - n["fret"]) <= 2 and (opened[i] + x) % 12 in tones]
                if can:
                    add(t + .5 * beat, i, int(rng.choice(can)), "melody", "legato")
            k += 1
            t += beat / sub * (1 + .01 * rng.standard_normal())
        return ended(rng, notes), [], secs + 1


def ended(rng, notes):
    """each note's end: its string's next note, or now and then a finger that leaves"""
    out, last = [], {}
    for n in sorted(notes, key=lambda n: n["t"]):
        p = last.get(n["string"])
        if p is not None and n["t"] - p["t"] < .07:
            continue
        if n["kind"] == "legato" and (p is None or n["t"] - p["t"] > 1 or p["midi"] == n["midi"]):
            n["kind"] = "pluck"
        last[n["string"]] = n
        out.append(n)
    for i, n in enumerate(out):
        following = next((m for m in out[i + 1:] if m["string"] == n["string"]), None)
        n["into"] = following["kind"] if following else None
        end, n["cut"] = (n["t"] + 5, "damp") if following is None else (following["t"], "pluck")
        if n["fret"] > 0 and rng.random() < .35:
            stop = n["t"] + rng.uniform(.15, 1.6)
            if stop < end:
                end, n["cut"] = stop, "damp"
        n["choked"], n["end"] = False, max(end, n["t"] + .05)
    return out
