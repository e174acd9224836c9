#!/usr/bin/env python3
"""What the hearing gets wrong, counted by kind: `cargo xtask bench hearing FOLDER...`

A folder holds NAME.wav with NAME.truth.json: a list `notes` of `t` (s), `role`, `string`, `midi`, `cents` and `tech`
(h hammer-on, p pull-off, s slide, n harmonic, x damped, empty a pluck).  A note is found when one of its pitch
(within half a semitone) lies within 50 ms; every found note answers for one true one, the nearest first.
"""
import collections
import glob
import json
import os
import subprocess
import sys
import tempfile

MADE = {"": "pluck", "h": "hammer_on", "p": "pull_off", "s": "slide", "n": "harmonic", "x": "dead"}


def heard(program, wav):
    with tempfile.TemporaryDirectory() as folder:
        out = os.path.join(folder, "out.json")
        subprocess.run([program, "analyze", wav, "--json", out, "--quiet"], check=True, stdout=subprocess.DEVNULL)
        with open(out) as file:
            return [o for o in json.load(file)["onsets"] if o.get("midi") is not None]


def matched(notes, found):
    pairs = sorted((abs(o["time_s"] - n["t"]), i, j) for i, n in enumerate(notes) for j, o in enumerate(found)
                   if abs(o["time_s"] - n["t"]) <= .05 and abs(o["midi"] - n["midi"] - n["cents"] / 100) <= .5)
    true, ours, out = set(), set(), []
    for _, i, j in pairs:
        if i not in true and j not in ours:
            true.add(i)
            ours.add(j)
            out.append((i, j))
    return out


def count(notes, found, c, made, late):
    pairs = matched(notes, found)
    hit, used = {i for i, _ in pairs}, {j for _, j in pairs}
    near = lambda t, times, w: any(0 < abs(x - t) <= w for x in times)
    starts = [n["t"] for n in notes]
    c["notes"] += len(notes)
    for i, n in enumerate(notes):
        kind = MADE.get(n["tech"][:1], "pluck")
        made[kind, "all"] += 1
        if i not in hit:
            c["missed"] += 1
            c["missed: within 50 ms of another pluck" if near(n["t"], starts, .05) else "missed: hammered, pulled or slid" if kind in ("hammer_on", "pull_off", "slide") else "missed: alone"] += 1
    for j, o in enumerate(found):
        if j not in used:
            c["ghost"] += 1
            at = [n for n in notes if abs(n["t"] - o["time_s"]) <= .05]
            steps = {round(abs(o["midi"] - n["midi"] - n["cents"] / 100)) for n in at}
            c["ghost: octave or partial of a true note" if steps & {12, 19, 24, 28} else "ghost: wrong pitch at a true onset" if at else "ghost: where nothing is plucked"] += 1
    for i, j in pairs:
        n, o = notes[i], found[j]
        made[MADE.get(n["tech"][:1], "pluck"), o["attack"]] += 1
        error = 1000 * (o["time_s"] - n["t"])
        late[n["role"]].append(error)
        if o.get("role") is None:
            c["role not told"] += 1
        elif o["role"] != n["role"]:
            c["role swapped"] += 1
        elif o.get("string") is None:
            c["string not told, role right"] += 1
        elif o.get("string") != n["string"]:
            c["string wrong, role right"] += 1
        for limit in (6, 10):
            if abs(error) > limit:
                c["more than %d ms off" % limit] += 1
                c["more than %d ms off: within 45 ms of another pluck" % limit] += near(n["t"], starts, .045)


def main():
    program, folders = os.environ.get("THUMBLINE"), sys.argv[1:]
    wavs = sorted(w for f in folders for w in glob.glob(os.path.join(f, "*.wav")) if os.path.exists(w[:-4] + ".truth.json"))
    if not program or not wavs:
        print("needs THUMBLINE and folders of NAME.wav with NAME.truth.json")
        return 77
    c, made, skew = collections.Counter(), collections.Counter(), []
    for wav in wavs:
        with open(wav[:-4] + ".truth.json") as file:
            notes = json.load(file)["notes"]
        late = collections.defaultdict(list)
        if all(n["midi"] is not None for n in notes):
            count(notes, heard(program, wav), c, made, late)
        if late["bass"] and late["melody"]:
            mean = lambda v: sum(v) / len(v)
            skew.append(abs(mean(late["melody"]) - mean(late["bass"])))
    print("| kind | how many |\n|---|---|")
    for kind in sorted(c):
        print("| %s | %d |" % (kind, c[kind]))
    print("\nbass against melody, mean over %d pieces: %.2f ms\n" % (len(skew), sum(skew) / max(1, len(skew))))
    print("| made | true | found | called so | called a pluck |\n|---|---|---|---|---|")
    for kind in MADE.values():
        found = sum(v for (k, a), v in made.items() if k == kind and a != "all")
        print("| %s | %d | %d | %d | %d |" % (kind.replace("_", "-"), made[kind, "all"], found, made[kind, kind], made[kind, "pluck"]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
