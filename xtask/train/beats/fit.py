"""Trains the beat network.

    python fit.py --scores scores.json --played played.npz --parts parts.npz --out OUT --minutes 8 --workers 15 --width 64 --seed 1

`scores.json`: [{"id", "kind": "guitar" | "tune", "notes": [[start, pitch, length, grace], ...],
"bars": [[start, length, upper, lower figure], ...]}, ...], times in whole notes; any scores will do.
One in ten (by a hash of its id) is kept out of training and judges it.
"""
import argparse
import gzip
import json
import multiprocessing as mp
import os
import time
import zlib

import numpy as np

import frames
import parts
import perform
import played
import styles

LONG = 2400                # frames of one example: 48 s
KINDS = ["strummed", "solo", "picking", "tune", "guitar", "played", "line", "part", "voice"]
SHARES = [.20, .08, .18, .06, .10, .09, .05, .16, .08]


def split(scores):
    """Scores to train on, scores to judge by."""
    kept = [s for s in scores if zlib.crc32(s["id"].encode()) % 10 == 0]
    return [s for s in scores if zlib.crc32(s["id"].encode()) % 10], kept


def piece(rng, by_kind):
    while True:
        kind = styles.pick(rng, KINDS, SHARES)
        try:
            if kind in ("played", "line"):
                if by_kind.get("played") is None:
                    continue
                p = by_kind["played"].piece(rng, kind == "line")
            elif kind in ("part", "voice"):
                if by_kind.get("parts") is None:
                    continue
                p = by_kind["parts"].piece(rng, kind == "voice")
            elif kind in by_kind:
                if not by_kind[kind]:
                    continue
                p = styles.notated(rng, by_kind[kind][int(rng.integers(len(by_kind[kind])))])
            else:
                p = getattr(styles, kind)(rng)
        except (IndexError, ValueError):
            continue
        if p and len(p["notes"]) >= 12 and p["beats"] >= 12:
            return kind, p


def example(rng, by_kind):
    """features (LONG, FEATURES), targets, kind."""
    while True:
        kind, p = piece(rng, by_kind)
        pieces = [p]
        if "played" not in p and p["beats"] * 60 / p["bpm"] < 25 and rng.random() < .4:
            pieces.append(piece(rng, by_kind)[1])
        try:
            made = perform.perform(rng, pieces)
        except (IndexError, ValueError):
            continue
        if made is None:
            continue
        notes, beats, pulse = made
        if len(notes) < 12 or len(beats) < 8:
            continue
        end = max(notes[-1, 0], beats[-1, 0])
        room = end - LONG / frames.RATE
        start = rng.uniform(-2, .5) if room <= 0 or rng.random() < .25 else rng.uniform(0, room + 1)
        start -= rng.random() / frames.RATE
        # A file begins and ends somewhere: nothing outside is known.
        stop = start + LONG / frames.RATE if rng.random() < .5 else start + rng.uniform(.3, 1) * LONG / frames.RATE
        begin = start if rng.random() < .6 else start + rng.uniform(0, 8)
        inside = notes[(notes[:, 0] >= begin) & (notes[:, 0] < stop)]
        if len(inside) < 10:
            continue
        pulse = [(max(a, begin, inside[0, 0] - .08), min(b, stop, inside[-1, 0] + 1)) for a, b in pulse]
        beats = beats[(beats[:, 0] >= max(begin, inside[0, 0] - .08)) & (beats[:, 0] < min(stop, inside[-1, 0] + 2.5))]
        if len(beats) < 6:
            continue
        if rng.random() < .2:                      # levels, pitches or hands that mean little
            inside = inside.copy()
            what = rng.choice([0, 0, 1, 2])
            if what == 0:
                inside[:, 4] = 0
            elif what == 1:
                inside[:, 2] = .5
            else:
                inside[:, 1] = inside[:, 1] + rng.choice([-12, 0, 0, 0, 7, 12], len(inside))
        x = frames.features(inside, start, LONG)
        return x.astype(np.float16), frames.targets(beats, pulse, start, LONG), KINDS.index(kind)


def worker(seed, by_kind, queue):
    rng = np.random.default_rng(seed)
    while True:
        made = [example(rng, by_kind) for _ in range(16)]
        xs = np.stack([m[0] for m in made])
        ys = [np.stack([m[1][k] for m in made]) for k in range(4)]
        ys = [y.astype(np.float16 if k < 2 else np.int8) for k, y in enumerate(ys)]
        queue.put((xs, ys, np.array([m[2] for m in made])))


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("--scores", help="scores; without any all music is invented")
    ap.add_argument("--played", help="music that was played (played.py)")
    ap.add_argument("--parts", help="parts of arrangements (parts.py)")
    ap.add_argument("--out", required=True)
    ap.add_argument("--minutes", type=float, default=5)
    ap.add_argument("--workers", type=int, default=15)
    ap.add_argument("--width", type=int, nargs="+", default=[40])
    ap.add_argument("--batch", type=int, default=48)
    ap.add_argument("--pool", type=int, default=24000)
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--rate", type=float, default=3e-3)
    ap.add_argument("--start", help="weights (.pt) to go on from")
    a = ap.parse_args()
    began = time.time()
    train, kept = [], []
    if a.scores:
        train, kept = split(json.load(gzip.open(a.scores) if a.scores.endswith(".gz") else open(a.scores)))

    def kinds(scores, own):
        by = {k: [s for s in scores if s["kind"] == k] for k in ("tune", "guitar")}
        return dict(by, played=played.Collection(a.played, own) if a.played else None,
                    parts=parts.Collection(a.parts, int(own)) if a.parts else None)

    queue = mp.Queue(maxsize=64)
    for w in range(a.workers):
        mp.Process(target=worker, args=((a.seed, w), kinds(train, False), queue), daemon=True).start()
    import torch
    from network import Net, export, losses, widened
    torch.manual_seed(a.seed)
    torch.backends.cudnn.benchmark = True
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    if dev == "cuda":
        torch.backends.cuda.matmul.allow_tf32 = True
        torch.backends.cudnn.allow_tf32 = True
    rng = np.random.default_rng((a.seed, 999))
    judge = [example(np.random.default_rng((a.seed, 777, i)), kinds(kept, True)) for i in range(512 if dev == "cuda" else 8)]
    as_tensors = lambda xs, ys: (torch.as_tensor(xs, device=dev), [torch.as_tensor(y, device=dev) for y in ys])
    jx, jy = as_tensors(np.stack([j[0] for j in judge]), [np.stack([j[1][k] for j in judge]) for k in range(4)])
    jk = np.array([j[2] for j in judge])
    P = a.pool
    px = torch.zeros(P, LONG, frames.FEATURES, dtype=torch.float16, device=dev)
    py = [torch.zeros(P, LONG, dtype=t, device=dev) for t in (torch.float16, torch.float16, torch.int8, torch.int8)]
    made, at = 0, 0

    def fetch(most):
        nonlocal made, at
        for _ in range(most):
            if queue.empty():
                return
            xs, ys, _ = queue.get()
            n = len(xs)
            if at + n > P:
                at = 0
            tx, ty = as_tensors(xs, ys)
            px[at:at + n] = tx
            for store, y in zip(py, ty):
                store[at:at + n] = y
            at += n
            made += n
    nets = [Net(w).to(dev) for w in a.width]
    if a.start:
        for net in nets:
            widened(net, torch.load(a.start, map_location=dev))
    opts = [torch.optim.AdamW(n.parameters(), lr=a.rate, weight_decay=1e-3, betas=(.9, .98), fused=dev == "cuda") for n in nets]
    means = [{k: v.detach().clone().float() for k, v in n.state_dict().items()} for n in nets]
    least = 512 if dev == "cuda" else 16
    while made < least:
        fetch(8)
        time.sleep(.05)
    print("first examples after %.0f s" % (time.time() - began), flush=True)
    step, told, end = 0, time.time(), a.minutes * 60
    while time.time() - began < end:
        fetch(4)
        done = (time.time() - began) / end
        rate = a.rate * min(1, (step + 1) / 300) * (.5 * (1 + np.cos(np.pi * min(1, done))) + .01)
        i = torch.as_tensor(rng.integers(min(made, P), size=a.batch), device=dev)
        x = px[i].float().transpose(1, 2)
        y = [py[0][i].float(), py[1][i].float(), py[2][i].long(), py[3][i].long()]
        if rng.random() < .15:                     # another tonic
            c = 4 + frames.BINS
            x[:, c:c + 12] = torch.roll(x[:, c:c + 12], int(rng.integers(12)), 1)
        for net, opt, mean in zip(nets, opts, means):
            for g in opt.param_groups:
                g["lr"] = rate
            net.train()
            with torch.autocast(dev, dtype=torch.bfloat16, enabled=dev == "cuda"):
                out = net(x)
            l = losses(out.float(), *y)
            loss = 3 * l[0] + 5 * l[1] + .15 * l[2] + .15 * l[3]
            opt.zero_grad(set_to_none=True)
            loss.backward()
            torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
            opt.step()
            keep = min(.999, (step + 1) / (step + 20))
            with torch.no_grad():
                torch._foreach_lerp_(list(mean.values()), list(net.state_dict().values()), 1 - keep)
        step += 1
        if time.time() - told > 55 or (dev == "cpu" and step % 5 == 0):
            told = time.time()
            report(nets, means, a, jx, jy, jk, losses, step, made, began)
    report(nets, means, a, jx, jy, jk, losses, step, made, began)
    os.makedirs(a.out, exist_ok=True)
    for net, mean, w in zip(nets, means, a.width):
        net.load_state_dict(mean)
        export(net, os.path.join(a.out, "beats-%d.f16" % w))
        torch.save(mean, os.path.join(a.out, "beats-%d.pt" % w))


def right_phase(odds, beat):
    """Are the beats believed more than the instants at a third, a half and two thirds between them?"""
    at = np.flatnonzero((beat[1:-1] >= beat[:-2]) & (beat[1:-1] > beat[2:]) & (beat[1:-1] > .4)) + 1
    at = at[:-1][np.diff(at) < 110] if len(at) > 4 else at[:0]
    if len(at) < 4:
        return 1.0
    gap = np.median(np.diff(at))
    means = [np.clip(odds, -6, 6)[np.clip((at + share * gap).round().astype(int), 0, len(odds) - 1)].mean() for share in (0, 1 / 3, .5, 2 / 3)]
    return float(np.argmax(means) == 0)


def report(nets, means, a, jx, jy, jk, losses, step, made, began):
    import torch
    import copy
    for net, mean, w in zip(nets, means, a.width):
        judge = copy.deepcopy(net)
        judge.load_state_dict(mean)
        judge.eval()
        rows = []
        with torch.no_grad():
            for k in range(-1, len(KINDS)):
                own = np.flatnonzero(jk == k) if k >= 0 else np.arange(len(jk))
                if len(own) == 0:
                    continue
                sums, tempo, meter, phase, n = np.zeros(4), 0.0, 0.0, 0.0, 0
                for part in np.array_split(own, max(1, len(own) // 32)):
                    i = torch.as_tensor(part, device=jx.device)
                    out = judge(jx[i].float().transpose(1, 2))
                    y = [jy[0][i].float(), jy[1][i].float(), jy[2][i].long(), jy[3][i].long()]
                    sums += len(part) * np.array([float(v) for v in losses(out, *y)])
                    on = y[2] >= 0
                    tempo += float(((out[:, 2:26].argmax(1) - y[2]).abs() <= 1)[on].float().mean()) * len(part)
                    m = out[:, 26:].log_softmax(1).mean(2).argmax(1)
                    true = y[3].max(1).values
                    phase += sum(right_phase(o, b) for o, b in zip(out[:, 0].cpu().numpy(), y[0].cpu().numpy()))
                    meter += float((m == true).float().sum())
                    n += len(part)
                rows.append("%s b %.4f d %.4f p %.2f t %.2f m %.2f" % ((["all"] + KINDS)[k + 1], sums[0] / n, sums[1] / n, phase / n, tempo / n, meter / n))
        print("%4.0f s width %d step %d made %d | %s" % (time.time() - began, w, step, made, " | ".join(rows)), flush=True)


if __name__ == "__main__":
    main()
