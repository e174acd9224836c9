#!/usr/bin/env python3
"""Invented recordings as files, for what is fitted on recordings (`cargo xtask fit hearing note-selection`, `tuning`).

    record.py pieces|tunings|arranged OUT --samples plucks.xz --first 900 --count 74

Writes NAME.wav, NAME.truth.json (`notes` of `t`, `midi`, `cents`, `role`, `kind`, `string`) and, for `tunings` and `arranged`, NAME.tuning.json
(`open` strings from the lowest without capo, `capo`).  Each follows from its seed.  `pieces` are those of `pieces.py`; `tunings`
and `arranged` those of the files so called, the twelve tunings in turn, with capos up to the fifth fret, played by the sampled
guitars.
"""
import argparse
import json
import os

import numpy as np
from scipy.io import wavfile

import arranged
import examples
import rooms
import tunings
from strings import SR

CAPOS = [.45, .1, .16, .12, .09, .08]
GUITARS = ("shiny", "spanish", "24", "25")


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("kind", choices=("pieces", "tunings", "arranged"))
    ap.add_argument("out")
    ap.add_argument("--samples", required=True)
    ap.add_argument("--first", type=int, required=True)
    ap.add_argument("--count", type=int, required=True)
    a = ap.parse_args()
    table = examples.load_samples(a.samples)
    os.makedirs(a.out, exist_ok=True)
    plain, names = examples.play, list(tunings.TWELVE)
    for seed in range(a.first, a.first + a.count):
        path, told = os.path.join(a.out, "%s%d" % (a.kind, seed)), None
        if a.kind != "pieces":
            rng = np.random.default_rng([seed, 99])
            name = names[seed % 12]
            capo = int(rng.choice(len(CAPOS), p=CAPOS))
            player_of = arranged.Player if a.kind == "arranged" else tunings.Player
            examples.play = player = player_of(name, 0 if "step down" in name and rng.random() < .6 else capo)
            sounds = {k: v for k, v in table.items() if k in GUITARS}
        else:
            examples.play, player, sounds = plain, None, table
        try:
            mix, notes, _, cents, rng = examples.perform(seed if player else 900_000_000 + seed, sounds)
            x = rooms.record(rng, mix)
        except Exception as e:  # left out, and said so
            print("seed", seed, "left out:", repr(e))
            continue
        if not np.isfinite(x).all():
            continue
        wavfile.write(path + ".wav", SR, np.round(32767 * np.clip(x, -1, 1)).astype(np.int16))
        keep = [dict(t=float(n["t"]), midi=float(n["midi"]), cents=float(cents), role=n["role"], kind=n["kind"], string=int(n["string"])) for n in notes]
        with open(path + ".truth.json", "w") as file:
            json.dump(dict(notes=keep), file)
        if player:
            with open(path + ".tuning.json", "w") as file:
                json.dump(dict(open=player.opened, capo=player.capo, style=player.style), file)


if __name__ == "__main__":
    main()
