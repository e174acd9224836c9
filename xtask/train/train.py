#!/usr/bin/env python3
"""Renders and learns at the same time.

    train.py --samples plucks.xz --out FOLDER --minutes 9 --render 7 --workers 15 --seed 1

Workers render one performance after the other (seed = seed * 1,000,000 + count) while the network is trained on
what is there already.  Performances whose count ends in 99 are kept for validation.
"""
import argparse
import multiprocessing as mp
import os
import queue
import threading
import time

os.environ.setdefault("OMP_NUM_THREADS", "1")
import numpy as np

import features as F

TABLE = None  # the samples, read once before the workers are made


def worker(q, first, step, until, count):
    os.environ["OMP_NUM_THREADS"] = "1"
    import examples
    k = first
    while time.time() < until and (count <= 0 or k < first + step * count):
        try:
            q.put((k, examples.make(k, TABLE)))
        except Exception as e:  # a performance that cannot be rendered is left out, and said so
            print("seed", k, "left out:", repr(e), flush=True)
        k += step
    q.put((-1, None))


KEYS = ["spectra", "env", "lev", "pitch", "sounding", "onset", "kinds", "offset", "begins", "made"]


class Store:
    """all examples so far, on the training device"""

    def __init__(self, torch, dev, cap):
        self.torch, self.dev, self.cap, self.n, self.a = torch, dev, cap, 0, {}

    def add(self, d):
        n = len(d["onset"])
        if n == 0 or self.n + n > self.cap:
            return
        heard = dict(zip(("spectra", "env", "lev"), F.patches_torch(d["sound"], d["times"], d["known"], self.dev)))
        for k in KEYS:
            v = heard[k] if k in heard else self.torch.from_numpy(d[k])
            if k not in self.a:
                self.a[k] = self.torch.zeros((self.cap,) + v.shape[1:], dtype=v.dtype, device=self.dev)
            self.a[k][self.n:self.n + n] = v.to(self.dev)
        self.n += n

    def batch(self, idx):
        def number(k):
            v = self.a[k][idx]
            return v.float() / 255 if k in ("spectra", "env") else v.float() if k in ("lev", "offset", "begins") else v
        return {k: number(k) for k in KEYS}


def f_measure(p, t, at=.5):
    hit = ((p > at) & (t == 1)).sum()
    return float(2 * hit / ((p > at) & (t >= 0)).sum().add((t == 1).sum()).clamp(min=1))


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("--samples", default="")
    ap.add_argument("--out", required=True)
    ap.add_argument("--minutes", type=float, default=9)
    ap.add_argument("--render", type=float, default=6)
    ap.add_argument("--workers", type=int, default=15)
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--pieces", type=int, default=0, help="performances a worker, 0 as many as time allows")
    ap.add_argument("--batch", type=int, default=2048)
    ap.add_argument("--lr", type=float, default=3e-3)
    ap.add_argument("--cap", type=int, default=3_000_000)
    ap.add_argument("--start", default="", help="a .pt to go on from")
    a = ap.parse_args()
    t0 = time.time()
    global TABLE
    import examples
    TABLE = examples.load_samples(a.samples)
    examples.make(0, TABLE)  # compiles once, before the workers
    ctx = mp.get_context("fork")
    q = ctx.Queue(64)
    base = a.seed * 1_000_000
    procs = [ctx.Process(target=worker, args=(q, base + i, a.workers, t0 + a.render * 60, a.pieces), daemon=True) for i in range(a.workers)]
    for p in procs:
        p.start()
    import torch
    import network
    torch.manual_seed(a.seed)
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    net = network.Ear().to(dev)
    if a.start:
        net.load_state_dict(torch.load(a.start, map_location=dev))
    print("weights", sum(p.numel() for p in net.parameters()), "device", dev, flush=True)
    opt = torch.optim.AdamW(net.parameters(), lr=a.lr, weight_decay=1e-3)
    train, val = Store(torch, dev, a.cap), Store(torch, dev, min(60_000, max(2000, a.cap // 50)))
    alive, pieces, step, told = len(procs), 0, 0, 0.0
    end = t0 + a.minutes * 60
    first_step = None

    arrived = queue.Queue(64)

    def fetch():  # so that no worker waits for the trainer
        left = len(procs)
        while left:
            k, d = q.get()
            left -= d is None
            arrived.put((k, d))

    threading.Thread(target=fetch, daemon=True).start()

    def drain(block, most=24):
        nonlocal alive, pieces
        while alive and most:
            most -= 1
            try:
                k, d = arrived.get(timeout=1.0) if block else arrived.get_nowait()
            except queue.Empty:
                return
            block = False
            if d is None:
                alive -= 1
                continue
            pieces += 1
            for room in d:
                (val if k % 100 == 99 or (a.pieces and pieces == 2) else train).add(room)

    def judge(store):
        net.eval()
        outs, ys = [], []
        with torch.no_grad():
            for i in range(0, store.n, 4096):
                y = store.batch(slice(i, min(store.n, i + 4096)))
                o = net(y["spectra"], y["env"], y["lev"])
                outs.append(o)
                ys.append(y)
        net.train()
        if not outs:
            return "nothing"
        o = {k: torch.cat([x[k] for x in outs]) for k in outs[0]}
        y = {k: torch.cat([x[k] for x in ys]) for k in KEYS if k not in ("spectra", "env", "lev")}
        _, parts = network.losses(o, y, dev)
        s = " ".join("%s %.4f" % (k, float(v)) for k, v in parts.items())
        s += " | onset F %.4f pitch F %.4f sounding F %.4f" % (
            f_measure(torch.sigmoid(o["onset"]), y["onset"]), f_measure(torch.sigmoid(o["pitch"]), y["pitch"]),
            f_measure(torch.sigmoid(o["sounding"]), y["sounding"]))
        for i, k in enumerate(examples.KINDS):
            s += " %s %.3f" % (k, f_measure(torch.sigmoid(o["kinds"][:, i]), y["kinds"][:, i]))
        m = torch.sigmoid(o["made"])
        for i, k in enumerate(examples.MADE):
            s += " %s of a pitch %.3f" % (k, f_measure(m[..., i], y["made"][..., i]))
        return s

    wait = min(20.0, a.minutes * 60 * .25)
    while time.time() < end:
        if train.n < a.batch or time.time() - t0 < wait:
            drain(True)
            if not alive and train.n < a.batch:
                break
            continue
        if first_step is None:
            first_step = time.time()
        if step % 40 == 0:
            drain(False)
        # one warm-up, a long plateau, a cosine over the last 45 %
        u = (time.time() - first_step) / (end - first_step)
        lr = a.lr * min(1, (step + 1) / 200) * (1 if u < .55 else .5 + .5 * np.cos(np.pi * min(1, (u - .55) / .45)))
        for g in opt.param_groups:
            g["lr"] = lr + 1e-6
        idx = torch.randint(train.n, (a.batch,), device=dev)
        y = train.batch(idx)
        # a little noise, and now and then an unlike balance of the bands
        tilt = (torch.rand(a.batch, 1, 1, device=dev) - .5) * .2
        ramp = torch.linspace(-1, 1, y["spectra"].shape[2], device=dev)
        spectra = (y["spectra"] + tilt * ramp * (y["spectra"] > .02)).clamp(min=0) + .004 * torch.randn_like(y["spectra"])
        out = net(spectra, y["env"] + .004 * torch.randn_like(y["env"]), y["lev"] + .02 * torch.randn_like(y["lev"]))
        loss, parts = network.losses(out, y, dev)
        opt.zero_grad(set_to_none=True)
        if not torch.isfinite(loss):
            print("step", step, "left out: no finite loss", flush=True)
            step += 1
            continue
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        opt.step()
        step += 1
        if time.time() - told > 30:
            told = time.time()
            print("%4ds step %d lr %.5f pieces %d examples %d loss %.4f | %s" % (time.time() - t0, step, lr, pieces, train.n, float(loss.detach()), judge(val)), flush=True)
    print("end: step %d pieces %d examples %d validation %d | %s" % (step, pieces, train.n, val.n, judge(val)), flush=True)
    os.makedirs(a.out, exist_ok=True)
    torch.save(net.state_dict(), os.path.join(a.out, "ear.pt"))
    w = network.export(net)
    w.tofile(os.path.join(a.out, "ear.f32"))
    print("exported", len(w), "weights", flush=True)
    for p in procs:
        p.terminate()


if __name__ == "__main__":
    main()
