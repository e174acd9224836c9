#!/usr/bin/env python3
"""Invented right hands: who plucks which pitch when, as the hearing would tell it.

    hands.py OUT.json --pieces 600 --seed 81

Writes what `cargo xtask fit hearing hand` fits on: a list of `{"notes": [[seconds, MIDI, 1 for fingers], ...], "beats": [seconds, ...], "strings": [open strings, lowest first]}`.
Everything is drawn at random: tuning, chords, how the thumb goes (on one string, to and fro, once or twice a bar, in uneven
groups, with the tune), how often it goes up to string 3 and fingers down to string 4, what the fingers repeat, how late they
are.  Then notes are missed and misheard, and the beat is told at half, double or shifted, or not at all, about as often as
the program does it.  No pattern, tune or recording is imitated.
"""
import argparse
import json

import numpy as np

from pieces import TUNINGS, Hand


def thumb_slots(rng, way, beats, sub):
    """slots of a bar at which the thumb plucks"""
    slots = beats * sub
    if way in ("to and fro", "one string"):
        return [k * sub for k in range(beats)]
    if way == "double":
        return list(range(0, slots, max(1, sub // 2)))
    if way == "once":
        return [0]
    if way == "twice":
        return [0, (beats // 2 + beats % 2) * sub]
    at, out = 0, []
    while at < slots:  # uneven groups
        out.append(at)
        at += int(rng.choice([2, 3, 3, 4]))
    return out


def play(rng):
    """-> notes (seconds, MIDI, fingers?), beats and a beat's length as played, the open strings from the lowest"""
    opened = np.array(TUNINGS[rng.integers(len(TUNINGS))]) + int(rng.choice([0, 0, 0, 1, 2, 3, 4, 5]))
    beats, sub = int(rng.choice([2, 3, 4, 4, 4, 6])), int(rng.choice([2, 2, 2, 3, 4]))
    beat = 60 / np.exp(rng.uniform(np.log(55), np.log(190 if sub == 2 else 120)))
    swing = rng.uniform(.5, .67) if sub == 2 and rng.random() < .4 else .5
    way = rng.choice(["to and fro", "one string", "double", "once", "twice", "uneven", "tune"], p=[.38, .1, .04, .14, .12, .12, .1])
    tremolo = sub >= 3 and rng.random() < .25
    up = rng.uniform(.1, .7) * (rng.random() < .25) * (way != "tune")  # how often the thumb goes up to string 3
    down = rng.uniform(.05, .35) * (rng.random() < .2)  # how often fingers go down to string 4
    density, pinch = rng.uniform(.2, .95), rng.uniform(0, .9)
    chordal = rng.uniform(.1, 1) * (rng.random() < .5)
    late, jitter = rng.uniform(-.02, .025), rng.uniform(.003, .012, 2)
    steady = rng.uniform(.75, 1.0)
    leave = rng.uniform(0, .6)
    cell = [rng.random() < density for _ in range(beats * sub * 2)]
    strings = [int(rng.choice([3, 2, 1])) for _ in range(beats * sub * 2)]
    hand = Hand(rng, opened, .06)
    notes, times = [], []
    t, bars = rng.uniform(.2, 1.0), int(rng.integers(6, 16))
    line = 0
    for bar in range(bars):
        if rng.random() < .8:
            hand = Hand(rng, opened, .06)
        low, high = hand.have((6, 5, 4)) or [5], hand.have((3, 2, 1)) or [1]
        slots = thumb_slots(rng, way, beats, sub) if way not in ("tune",) else [k for k in range(beats * sub) if rng.random() < .6]
        turn = 0
        for k in range(beats * sub):
            place = k % sub
            when = t + (k // sub + (place / sub if sub != 2 or place == 0 else swing)) * beat
            if place == 0:
                times.append(t + k // sub * beat)
            used = None
            if k in slots and rng.random() < steady:
                s = low[0] if way == "one string" else low[turn % len(low)]
                fret = hand.frets[s] or 0
                if way == "tune":
                    line = int(np.clip(line + rng.choice([-2, -1, 1, 2]), -2, 9))
                    s, fret = (4, max(line, 0)) if line > 3 else (5, max(line + 2, 0))
                elif turn % 2 == 1 and rng.random() < up:
                    s, fret = 3, hand.frets[3] or 0
                turn += 1
                used = s
                notes.append((when + jitter[0] * rng.standard_normal(), int(opened[6 - s] + fret), 0))
            j = (bar % 2) * beats * sub + k
            if tremolo and (place or used is None):
                s = high[-1]
                notes.append((when + .5 * jitter[1] * rng.standard_normal(), int(opened[6 - s] + (hand.frets[s] or 0)), 1))
                continue
            wanted = cell[j] if rng.random() < .9 else rng.random() < density
            if way == "tune":
                wanted = place != 0 and rng.random() < density
            if not wanted or used is not None and rng.random() > pinch:
                continue
            count = int(rng.choice([2, 3])) if rng.random() < chordal else 1
            first = strings[j] if strings[j] in high else high[rng.integers(len(high))]
            if rng.random() < down:
                first = 4
            for s in [x for x in (first, first - 1, first - 2)[:count] if x >= 1 and x != used]:
                fret = hand.frets[s] or 0
                if s < 4 and rng.random() < leave:
                    fret = int(np.clip((hand.frets[s] or 0) + rng.integers(-2, 5), 0, 15))
                notes.append((when + late + jitter[1] * rng.standard_normal(), int(opened[6 - s] + fret), 1))
        t += beats * beat * (1 + .01 * rng.standard_normal())
    return sorted(notes), times, beat, [int(o) for o in opened]


def heard(rng, notes, times, beat, opened):
    """the same as the hearing tells it"""
    out = []
    for when, midi, fingers in notes:
        if rng.random() < .03:
            continue
        out.append((when + .002 * rng.standard_normal(), midi, fingers))
        if rng.random() < .01:
            out.append((when + .002, midi + int(rng.choice([12, 12, 19])), fingers))
    last, kept = {}, []
    for n in sorted(out):
        if n[0] - last.get(n[1], -1) > .045:
            kept.append(n)
            last[n[1]] = n[0]
    times = np.array(times) + .006 * rng.standard_normal(len(times))
    u = rng.random()
    if u < .22:
        times = times[:0]
    elif u < .30:
        times = times[rng.integers(2)::2]
    elif u < .38:
        times = np.sort(np.concatenate([times, times + beat / 2]))
    elif u < .44:
        times = times + beat / 2
    strings = opened if rng.random() < .75 else []
    return dict(notes=[[round(float(max(t, 0)), 4), m, f] for t, m, f in kept], beats=[round(float(b), 4) for b in times], strings=strings)


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("out")
    ap.add_argument("--pieces", type=int, default=600)
    ap.add_argument("--seed", type=int, default=81)
    a = ap.parse_args()
    made = []
    for k in range(a.pieces):
        rng = np.random.default_rng([a.seed, k])
        piece = heard(rng, *play(rng))
        if len(piece["notes"]) > 20:
            made.append(piece)
    with open(a.out, "w") as file:
        json.dump(made, file)
    print("%d pieces, %d notes" % (len(made), sum(len(p["notes"]) for p in made)))


if __name__ == "__main__":
    main()
