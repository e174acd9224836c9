#!/usr/bin/env python3
"""Trains the judge of "one plucked guitar?": renders scenes, then learns.

    train_solo.py --samples plucks.xz --out FOLDER --render 2 --minutes 1 --workers 16 --seed 1 [--more FOLDER]

`--more` is a folder of recordings without a guitar (WAV), used as they are and through other rooms.
"""
import argparse
import glob
import multiprocessing as mp
import os
import queue
import time

os.environ.setdefault("OMP_NUM_THREADS", "1")
import numpy as np

import solo

TABLE, GUITARS, MORE = None, None, []


def one(seed):
    import examples
    import rooms
    import scenes
    rng = np.random.default_rng([seed, 9])
    u = rng.random()
    guitar = lambda s: examples.perform(s % 1_000_000_007, GUITARS)[0]
    if u < .42:
        x, c, what = guitar(seed), 0, "guitar"
    elif u < .5 and MORE:
        x = MORE[rng.integers(len(MORE))]
        a = rng.integers(0, max(1, len(x) - 15 * 22050))
        x, c, what = x[a:a + 15 * 22050].astype(float), 2, "recorded"
    else:
        x, c, what = scenes.scene(rng, TABLE, guitar)
    out = []
    for _ in range(2):
        y = rooms.record(rng, x) if what != "recorded" or rng.random() < .7 else x
        if not np.isfinite(y).all():
            raise ValueError("no sound")
        w, _ = solo.windows(y)
        out.append(np.round(255 * np.clip(w, 0, 1)).astype(np.uint8))
    w = np.concatenate(out)
    return w, np.full(len(w), c, np.int64), what


def worker(q, first, step, until):
    k = first
    while time.time() < until:
        try:
            q.put((k, *one(k)))
        except Exception as e:
            print("seed", k, "left out:", repr(e), flush=True)
        k += step
    q.put(None)


def colour(n, dev):
    """[n, 1, BANDS]: another instrument's, microphone's or room's colour, 4 dB about none, smooth over the bands"""
    import torch
    few = .07 * torch.randn(n, 1, 7, device=dev)
    return torch.nn.functional.interpolate(few, size=solo.BANDS, mode="linear", align_corners=True)


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("--samples", required=True)
    ap.add_argument("--out", required=True)
    ap.add_argument("--render", type=float, default=2)
    ap.add_argument("--minutes", type=float, default=1)
    ap.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2)))
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--batch", type=int, default=1024)
    ap.add_argument("--lr", type=float, default=2e-3)
    ap.add_argument("--more", default="")
    a = ap.parse_args()
    global TABLE, GUITARS
    import examples
    TABLE = examples.load_samples(a.samples)
    # a harp, a banjo or a dulcimer is no guitar here
    GUITARS = {k: v for k, v in TABLE.items() if k in ("shiny", "spanish", "24", "25", "t24", "t25", "shinyel", "release", "mute", "perc")}
    if a.more:
        from scipy.io import wavfile
        for path in sorted(glob.glob(os.path.join(a.more, "*.wav"))):
            MORE.append(wavfile.read(path)[1].astype(np.float32) / 32768)
    one(0)
    t0 = time.time()
    q = mp.get_context("fork").Queue(64)
    procs = [mp.get_context("fork").Process(target=worker, args=(q, a.seed * 1_000_000 + i, a.workers, t0 + a.render * 60), daemon=True) for i in range(a.workers)]
    for p in procs:
        p.start()
    alive, train, val, kinds = len(procs), [], [], {}
    while alive:
        got = q.get()
        if got is None:
            alive -= 1
            continue
        k, w, c, what = got
        kinds[what] = kinds.get(what, 0) + 1
        (val if k % 25 == 24 else train).append((w, c, what))
    print("%.0f s: %d scenes, %s" % (time.time() - t0, sum(kinds.values()), kinds), flush=True)
    import torch
    torch.manual_seed(a.seed)
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    X = torch.from_numpy(np.concatenate([w for w, _, _ in train])).to(dev)
    Y = torch.from_numpy(np.concatenate([c for _, c, _ in train])).to(dev)
    VX = torch.from_numpy(np.concatenate([w for w, _, _ in val])).to(dev).float() / 255
    VY = torch.from_numpy(np.concatenate([c for _, c, _ in val])).to(dev)
    VK = np.concatenate([[k] * len(c) for _, c, k in val])
    net = solo.network().to(dev)
    opt = torch.optim.AdamW(net.parameters(), lr=a.lr, weight_decay=1e-2)
    start, step, told = time.time(), 0, 0
    print("windows", len(X), "held back", len(VX), "weights", sum(p.numel() for p in net.parameters()), flush=True)
    while (u := (time.time() - start) / (60 * a.minutes)) < 1:
        for g in opt.param_groups:
            g["lr"] = a.lr * min(1, (step + 1) / 200) * (.5 + .5 * np.cos(np.pi * u)) + 1e-6
        idx = torch.randint(len(X), (a.batch,), device=dev)
        x = X[idx].float() / 255
        tilt = (torch.rand(a.batch, 1, 1, device=dev) - .5) * .3 * torch.linspace(-1, 1, solo.BANDS, device=dev)
        x = (x + (tilt + colour(a.batch, dev)) * (x > .02)).clamp(min=0)
        x = torch.maximum(x, (torch.rand(a.batch, 1, 1, device=dev) - .6).clamp(min=0) * .6) + .01 * torch.randn_like(x)
        loss = torch.nn.functional.cross_entropy(net(x.transpose(1, 2)), Y[idx], label_smoothing=.02)
        opt.zero_grad(set_to_none=True)
        loss.backward()
        opt.step()
        step += 1
        if time.time() - told > 10:
            told = time.time()
            net.eval()
            with torch.no_grad():
                p = torch.cat([torch.softmax(net(VX[i:i + 4096].transpose(1, 2)), 1) for i in range(0, len(VX), 4096)])[:, 0].cpu().numpy()
            net.train()
            y = VY.cpu().numpy()
            print("step %d loss %.4f guitar seconds refused %.4f, others taken for a guitar: one beside a guitar %.4f, without %.4f" % (
                step, float(loss.detach()), np.mean(p[y == 0] < .5), np.mean(p[y == 1] > .5), np.mean(p[y == 2] > .5)), flush=True)
    net.eval()
    with torch.no_grad():
        p = torch.cat([torch.softmax(net(VX[i:i + 4096].transpose(1, 2)), 1) for i in range(0, len(VX), 4096)])[:, 0].cpu().numpy()
    y = VY.cpu().numpy()
    for t in (.1, .2, .3, .4, .5, .6):
        print("below %.1f: of guitar seconds %.4f; above: beside a guitar %.4f, without %.4f" % (t, np.mean(p[y == 0] < t), np.mean(p[y == 1] > t), np.mean(p[y == 2] > t)))
    for k in sorted(set(VK)):
        print("  %-20s %5d seconds, P(one guitar) mean %.3f, above .5: %.3f" % (k, (VK == k).sum(), p[VK == k].mean(), (p[VK == k] > .5).mean()))
    os.makedirs(a.out, exist_ok=True)
    solo.export(net).tofile(os.path.join(a.out, "solo.f32"))


if __name__ == "__main__":
    main()
