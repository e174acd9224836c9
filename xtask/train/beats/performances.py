"""Writes performances that the network did not learn from, as `cargo xtask fit beats` reads them.

    python performances.py --out FOLDER --pieces 80 --seed 7 [--scores F] [--played F] [--parts F]

NAME.json as `thumbline analyze` writes it (what is read of it), NAME.truth.json with `beats` and `downbeats`, seconds.
Without collections all is invented, and what the network learned from are other pieces of the same kind.
"""
import argparse
import gzip
import json
import os

import numpy as np

import fit
import parts
import perform
import played


def write(path, notes, beats, end):
    onsets = [dict(time_s=t, end_s=t + .2, role="bass" if low > .5 else "melody", role_confidence=max(low, 1 - low), midi=pitch,
                   attack="pluck", strength_db=level, confidence=sure) for t, pitch, low, sure, level in notes.tolist() if t >= 0]
    with open(path + ".json", "w") as f:
        json.dump(dict(recording=dict(seconds=end), onsets=onsets), f)
    with open(path + ".truth.json", "w") as f:
        json.dump(dict(beats=beats[:, 0].tolist(), downbeats=beats[beats[:, 1] == 0, 0].tolist()), f)


def performance(rng, piece):
    """Notes, beats and length of somebody's recording of it, cut anywhere; none where too little is left."""
    made = perform.perform(rng, [piece])
    if made is None:
        return None
    notes, beats, _ = made
    begin = rng.uniform(0, 4) * (rng.random() < .5)
    end = max(notes[-1, 0], beats[-1, 0])
    stop = min(begin + 75, end - rng.uniform(0, 4) if rng.random() < .5 else end + 2)
    notes = notes[(notes[:, 0] >= begin) & (notes[:, 0] < stop)] - np.array([begin, 0, 0, 0, 0])
    beats = beats[(beats[:, 0] >= begin) & (beats[:, 0] < stop)] - np.array([begin, 0, 0])
    return (notes, beats, stop - begin) if len(notes) >= 20 and len(beats) >= 10 else None


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("--out", required=True)
    ap.add_argument("--pieces", type=int, default=80)
    ap.add_argument("--seed", type=int, default=7)
    ap.add_argument("--scores")
    ap.add_argument("--played")
    ap.add_argument("--parts")
    ap.add_argument("--judge", action="store_true", help="of the parts those that nothing was chosen by either")
    a = ap.parse_args()
    kept = []
    if a.scores:
        kept = fit.split(json.load(gzip.open(a.scores) if a.scores.endswith(".gz") else open(a.scores)))[1]
    by_kind = {k: [s for s in kept if s["kind"] == k] for k in ("tune", "guitar")}
    by_kind["played"] = played.Collection(a.played, True) if a.played else None
    by_kind["parts"] = parts.Collection(a.parts, 2 if a.judge else 1) if a.parts else None
    os.makedirs(a.out, exist_ok=True)
    rng = np.random.default_rng((a.seed, 4242))
    made = 0
    while made < a.pieces:
        kind, piece = fit.piece(rng, by_kind)
        one = performance(rng, piece)
        if one:
            write(os.path.join(a.out, "%03d-%s" % (made, kind)), *one)
            made += 1


if __name__ == "__main__":
    main()
