#!/usr/bin/env python3
"""Reads the exported weights with numpy alone and judges them on recordings whose notes are known.

    validate.py ear.f32 FOLDER [FOLDER ...]      folders of NAME.wav with NAME.truth.json (time, midi, cents, tech)
    validate.py ear.f32 --real FOLDER            folder of NAME.wav with NAME.csv (onset_s, string) and a constant delay

Instants: every note's onset, off by a normal error (SD 4 ms); and every peak of the flux that lies further than 36 ms
from all notes.  Figures: F of "a note begins here", F of the pitches (threshold 0.5), recall a kind, mean error of the
offset.
"""
import csv
import glob
import json
import multiprocessing as mp
import os
import sys

import numpy as np
from scipy.io import wavfile

import features as F
from shape import AGAIN, BEAT, CONTEXT, FIRST, HIDDEN, KINDS, NEIGHBOURS, PARTIALS, PITCH, SAYS, SECOND, WEIGHED


class Ear:
    def __init__(self, path):
        w = np.fromfile(path, "<f4").astype(np.float64)
        at = 0

        def take(*shape):
            nonlocal at
            n = int(np.prod(shape))
            v = w[at:at + n].reshape(shape)
            at += n
            return v

        fr = (F.FRAMES + 1) // 2
        self.c1 = take(5, F.CHANNELS, FIRST), take(FIRST)
        self.c2 = take(3, FIRST, SECOND), take(SECOND)
        self.t1 = take(3, F.BANDS, BEAT), take(BEAT)
        self.t2 = take(3, BEAT, BEAT), take(BEAT)
        self.t3 = take(BEAT * fr + 2, CONTEXT), take(CONTEXT)
        self.h = take(len(PARTIALS) * SECOND, PITCH), take(PITCH)
        self.ctx = take(CONTEXT, PITCH)
        self.p = take(len(NEIGHBOURS) * PITCH, PITCH), take(PITCH)
        self.q = take(len(AGAIN) * PITCH, WEIGHED), take(WEIGHED)
        self.out = take(PITCH + WEIGHED, SAYS), take(SAYS)
        self.g1 = take(PITCH + WEIGHED + CONTEXT + 2, HIDDEN), take(HIDDEN)
        self.g2 = take(HIDDEN, 2 + KINDS), take(2 + KINDS)
        self.e = take(CONTEXT, 1), take(1)
        assert at == len(w), (at, len(w))

    def __call__(self, spectra, env, lev):
        relu = lambda v: np.maximum(v, 0)

        def conv(x, wb, stride=1):  # x [n, len, ch]
            w, b = wb
            k = len(w)
            xp = np.pad(x, ((0, 0), (k // 2, k // 2), (0, 0)))
            m = (x.shape[1] + stride - 1) // stride
            return b + sum(xp[:, j:j + (m - 1) * stride + 1:stride] @ w[j] for j in range(k))

        x = relu(conv(relu(conv(spectra.transpose(0, 2, 1).astype(float), self.c1)), self.c2))
        t = relu(conv(relu(conv(env.transpose(0, 2, 1).astype(float), self.t1)), self.t2, 2))
        n = len(x)
        t = relu(np.concatenate([t.reshape(n, -1), lev], 1) @ self.t3[0] + self.t3[1])
        xz = np.concatenate([x, np.zeros((n, 1, SECOND))], 1)
        at = (3 * (np.arange(F.PITCHES) + F.LOWEST - F.LOW_MIDI) + 1)[:, None] + np.array(PARTIALS)[None]
        at = np.where((at < 0) | (at >= F.BINS), F.BINS, at)
        h = relu(xz[:, at].reshape(n, F.PITCHES, -1) @ self.h[0] + self.h[1] + (t @ self.ctx)[:, None])

        def around(h, far):
            hz = np.concatenate([h, np.zeros((n, 1, PITCH))], 1)
            nb = np.arange(F.PITCHES)[:, None] + np.array(far)[None]
            return hz[:, np.where((nb < 0) | (nb >= F.PITCHES), F.PITCHES, nb)].reshape(n, F.PITCHES, -1)

        y = relu(around(h, NEIGHBOURS) @ self.p[0] + self.p[1])
        v = relu(around(y, AGAIN) @ self.q[0] + self.q[1])
        z = np.concatenate([y, v], 2)
        o = z @ self.out[0] + self.out[1]
        g = relu(np.concatenate([z.max(1), t, lev], 1) @ self.g1[0] + self.g1[1]) @ self.g2[0] + self.g2[1]
        sig = lambda v: 1 / (1 + np.exp(-v))
        return dict(early=sig(t @ self.e[0] + self.e[1])[:, 0], pitch=sig(o[..., 0]), sounding=sig(o[..., 1]), begins=o[..., 2] * 10, made=sig(o[..., 3:]), onset=sig(g[:, 0]), kinds=sig(g[:, 1:1 + KINDS]), offset=g[:, -1] * 10)


def truth_of(wav):
    base = wav[:-4]
    if os.path.exists(base + ".truth.json"):
        t = json.load(open(base + ".truth.json"))
        return [(n["t"], n["midi"], n["tech"]) for n in t["notes"]], t["tuning_cents"], t["voice"]
    late = {"03_Jazz2-110-Bb_comp_mic": 14.25, "03_SS1-68-E_comp_mic": 11.25, "05_Rock1-130-A_solo_mic": 15.25}[os.path.basename(base)]
    rows = list(csv.DictReader(open(base + ".csv")))
    return [(float(r["onset_s"]) - late / 1000, None, r["string"]) for r in rows], 0.0, "real"


def judge(job):
    path, wav = job
    ear, rng, out = Ear(path), np.random.default_rng(7), {}
    sr, x = wavfile.read(wav)  # 16 bits
    x = x.reshape(len(x), -1).mean(axis=1) / 32768
    x = F.resample(x, sr)
    notes, cents, voice = truth_of(wav)
    start = np.array([n[0] for n in notes])
    peaks = F.flux_peaks(x)
    false = peaks[np.abs(peaks[:, None] - start[None]).min(axis=1) > .036]
    true = start + rng.normal(0, .004, len(start))
    times = np.concatenate([true, false])
    o = {k: [] for k in ("pitch", "onset", "kinds", "offset")}
    for i in range(0, len(times), 256):
        r = ear(*F.patches(x, times[i:i + 256], cents + rng.normal(0, 3)))
        for k in o:
            o[k].append(r[k])
    o = {k: np.concatenate(v) for k, v in o.items()}
    d = start[None] - times[:, None]
    is_true = np.arange(len(times)) < len(start)
    hit = o["onset"] > .5
    key = out.setdefault(voice, dict(tp=0, fp=0, fn=0, nf=0, ptp=0, pfp=0, pfn=0, xfp=0, exact=0, off=[], tech={}))
    key["tp"] += int((hit & is_true).sum())
    key["fn"] += int((~hit & is_true).sum())
    key["fp"] += int((hit & ~is_true).sum())
    key["nf"] += len(false)
    first = np.array([d[i][np.abs(d[i]) <= .02].min() * 1000 if (np.abs(d[i]) <= .02).any() else np.nan for i in range(len(start))])
    key["off"] += list(np.abs(o["offset"][:len(start)] - first)[np.isfinite(first)])
    if notes and notes[0][1] is not None:
        midi = np.array([n[1] for n in notes]) - F.LOWEST
        for i in range(len(times)):
            want = {int(m) for m in midi[np.abs(d[i]) <= .02] if 0 <= m < F.PITCHES}
            skip = {int(m) for m in midi[np.abs(d[i]) <= .036]}
            got = set(np.nonzero(o["pitch"][i] > .5)[0].tolist())
            if is_true[i]:
                key["ptp"] += len(want & got)
                key["pfn"] += len(want - got)
                key["pfp"] += len(got - want - skip)
                key["exact"] += not (want - got) and not (got - skip)
            else:
                key["xfp"] += len(got - skip)
            if is_true[i]:
                k = notes[i][2] or "-"
                c = key["tech"].setdefault(k, [0, 0, 0])
                c[0] += 1
                c[1] += int(hit[i])
                c[2] += int(midi[i] in got)
    return out


def main():
    jobs = [(sys.argv[1], wav) for folder in sys.argv[2:] if folder != "--real" for wav in sorted(glob.glob(os.path.join(folder, "*.wav")))]
    out = {}
    with mp.Pool(int(os.environ.get("JOBS", "1"))) as pool:
        for got in pool.map(judge, jobs, chunksize=1):
            for voice, k in got.items():
                if voice not in out:
                    out[voice] = k
                    continue
                for q, v in k.items():
                    if q == "tech":
                        for t, c in v.items():
                            old = out[voice]["tech"].setdefault(t, [0, 0, 0])
                            out[voice]["tech"][t] = [a + b for a, b in zip(old, c)]
                    else:
                        out[voice][q] = out[voice][q] + v
    total = dict(tp=0, fp=0, fn=0, ptp=0, pfp=0, pfn=0)
    for voice, k in sorted(out.items()):
        f = 2 * k["tp"] / max(1, 2 * k["tp"] + k["fp"] + k["fn"])
        pf = 2 * k["ptp"] / max(1, 2 * k["ptp"] + k["pfp"] + k["pfn"])
        print("%-14s onsets %4d  F %.4f (missed %d, false %d of %d)  pitch F %.4f (missed %d, extra %d, at false instants %d) all right %.3f  offset error %.2f ms" % (
            voice, k["tp"] + k["fn"], f, k["fn"], k["fp"], k["nf"], pf, k["pfn"], k["pfp"], k["xfp"], k["exact"] / max(1, k["tp"] + k["fn"]), np.mean(k["off"] or [0])))
        print("    " + "  ".join("%s: %d heard %.2f pitch %.2f" % (t, c[0], c[1] / c[0], c[2] / c[0]) for t, c in sorted(k["tech"].items())))
        for q in total:
            total[q] += k[q]
    print("all: onset F %.4f pitch F %.4f" % (2 * total["tp"] / max(1, 2 * total["tp"] + total["fp"] + total["fn"]),
                                            2 * total["ptp"] / max(1, 2 * total["ptp"] + total["pfp"] + total["pfn"])))


if __name__ == "__main__":
    main()
