"""Clicks and loops where they should be, measured on rendered sound by an independent onset reader
(librosa): through the command line's `loop`, and through the plug-in in a second host where there
is one."""
import json
import os
import subprocess
import sys
import tempfile
import time

try:
    import librosa
    import numpy as np
    import soundfile as sf
except ImportError as missing:
    print(f"the onset reader needs {missing.name}, which is not here")
    sys.exit(77)

from sounds import plucks

BEAT = 0.625
FIRST = 0.5
BARS = 8

# Half of what a listener notices in a fast run of notes (6 ms; Friberg & Sundberg 1995). The
# reader itself is good to its hop of 0.7 ms.
EXACT = 0.003


def read(x, rate):
    """Instants in seconds of the onsets in `x`, as the reader finds them."""
    # Silence before, so that an onset at the very start rises out of something.
    pad = int(0.1 * rate)
    x = np.concatenate([np.zeros(pad), x / max(1e-9, np.abs(x).max())])
    strength = librosa.onset.onset_strength(y=x.astype(np.float32), sr=rate, hop_length=32, n_fft=256, n_mels=24)
    frames = librosa.util.peak_pick(strength, pre_max=200, post_max=200, pre_avg=200, post_avg=200,
                                    delta=0.15 * strength.max(), wait=int(0.1 * rate / 32))
    return (frames * 32 - pad) / rate


def bias(sound, rate):
    """By how much the reader is early or late on copies of `sound` at known instants."""
    x = np.zeros(4 * rate)
    at = np.array([0.5, 1.2, 1.9, 2.7])
    for start in (at * rate).astype(int):
        x[start:start + len(sound)] += sound
    return float(np.median(read(x, rate) - at))


def tick(rate):
    """Something like the click: a short falling tone of 1.4 kHz."""
    t = np.arange(int(0.03 * rate)) / rate
    return np.exp(-t / 0.006) * np.cos(2 * np.pi * 1400 * t)


def close(found, wanted, what):
    """Does every wanted instant have a found one, and nothing else?"""
    found, wanted = np.asarray(found), np.asarray(wanted)
    if len(found) != len(wanted):
        raise AssertionError(f"{what}: {len(found)} instead of {len(wanted)}: {np.round(found, 3)} for {np.round(wanted, 3)}")
    off = found - wanted
    worst = float(np.abs(off).max()) if len(off) else 0.0
    print(f"{what}: {len(off)} of them, middle {1000 * np.median(off):+.2f} ms, worst {1000 * worst:.2f} ms")
    if worst > EXACT:
        raise AssertionError(f"{what}: {worst * 1000:.1f} ms off")


class Piece:
    """The recording, what was found in it, and the bars that are looped."""

    def __init__(self, folder):
        self.path = os.path.join(folder, "sparse.wav")
        beats = FIRST + BEAT * np.arange(4 * BARS)
        # Thumb on every beat, one finger note a bar between the second beat and the third.
        self.times = np.sort(np.concatenate([beats, beats[1::4] + BEAT / 2]))
        low = {round(t, 6): hz for t, hz in zip(beats, [110, 147, 98, 147] * BARS)}
        plucks(self.path, self.times, lambda t: low.get(round(t, 6), 392), FIRST + BEAT * 4 * BARS + 0.5)
        found = os.path.join(folder, "found.json")
        subprocess.run([os.environ["THUMBLINE"], "analyze", self.path, "--json", found, "--quiet"], check=True)
        with open(found) as f:
            heard = json.load(f)
        self.beats = np.array(heard["beats_s"])
        downbeats = heard["downbeats_s"]
        # From the second bar found to the end of the third.
        self.begin, self.end = downbeats[1], downbeats[3]
        nearest = np.abs(self.beats[:, None] - beats[None, :]).min(axis=0)
        print(f"beats found within {1000 * nearest.max():.2f} ms of where they are")
        assert nearest.max() < EXACT, nearest

    def inside(self, times, margin=1e-4):
        """Those of `times` in the loop, from its start."""
        times = times[(times >= self.begin - margin) & (times < self.end - margin)]
        return np.maximum(times - self.begin, 0)

    def rounds(self, times, speed, count):
        """When the loop plays them, from its first start on."""
        length = (self.end - self.begin) / speed
        return np.concatenate([self.inside(times) / speed + k * length for k in range(count)])


def command_line(piece, folder):
    for speed in (0.5, 0.8):
        outs = []
        for click in ([], ["--click"]):
            out = os.path.join(folder, f"loop{len(click)}.wav")
            subprocess.run([os.environ["THUMBLINE"], "loop", piece.path, "--from-s", repr(piece.begin), "--to-s", repr(piece.end),
                            "--speed", str(speed), "--times", "3", "--count-in", "--float", "--quiet", "--out", out, *click],
                           check=True)
            x, rate = sf.read(out)
            outs.append(x if x.ndim == 1 else x[:, 0])
        plain, clicked = outs
        length = min(len(plain), len(clicked))
        clicks = clicked[:length] - plain[:length]
        counted = 4 * BEAT / speed
        late = bias(tick(rate), rate)
        count = read(plain[: int((counted - 0.1) * rate)], rate) - late
        close(np.diff(count), np.full(3, BEAT / speed), f"count-in at {speed}: gaps")
        close(read(clicks, rate) - late - counted, piece.rounds(piece.beats, speed, 3), f"clicks at {speed}")
        at = int(counted * rate) - int(0.02 * rate)
        found = read(plain[at:], rate) + at / rate - counted
        wanted = piece.rounds(piece.times, speed, 3)
        lag = bias(pluck(piece, rate), rate)
        # The file's very first pluck lies on its seam with the count-in's last tick.
        close(found[-len(wanted) + 1:] - lag, wanted[1:], f"plucks at {speed}")


def pluck(piece, rate):
    """The recording's own first pluck."""
    x, own = sf.read(piece.path)
    x = x[int(FIRST * own): int((FIRST + 0.3) * own)]
    return librosa.resample(x, orig_sr=own, target_sr=rate) if own != rate else x


def second_host(piece, host):
    one = host.Session(host.bundle())
    name = os.path.basename(piece.path)
    one.restore({"recording": {"name": name, "path": piece.path}})
    _, _, kept = one.state()
    region = {"name": "", "from": piece.begin, "to": piece.end}
    kept["marks"] = {kept["recording"]["hash"]: {"region": region}}
    one.restore(kept)
    # The click on the right alone; the recording is mono, so the left side is without it.
    one.set(click=1.0, click_pan=1.0)
    one.plugin.loop = True
    one.speed(60)
    one.start()
    for _ in range(100):
        # The click comes with the analysis.
        left, right = one.run(1.1)
        if np.abs(right - left).max() > 0.01:
            break
        time.sleep(0.1)
    one.run(0.5)
    left, right = one.run(18.0)
    clicks, plain = read(right - left, host.RATE), read(left, host.RATE)
    clicks = clicks - bias(tick(host.RATE), host.RATE)
    plain = plain - bias(pluck(piece, host.RATE), host.RATE)
    assert len(clicks) > 15, clicks
    inner = (clicks > 0.2) & (clicks < 17.5)
    nearest = np.array([plain[np.abs(plain - c).argmin()] for c in clicks[inner]])
    close(clicks[inner], nearest, "in the second host: clicks on the thumb's plucks at 0.6")
    length = len(piece.inside(piece.beats))
    gaps = clicks[length:] - clicks[:-length]
    close(gaps, np.full(len(gaps), (piece.end - piece.begin) / 0.6), "in the second host: rounds")


def main():
    with tempfile.TemporaryDirectory() as folder:
        os.environ["THUMBLINE_DATA"] = os.path.join(folder, "data")
        piece = Piece(folder)
        command_line(piece, folder)
        try:
            import vst3_host
        except ImportError as missing:
            print(f"clicks and rounds are in place on the command line; {missing.name} is not here for the second host")
            return 0
        second_host(piece, vst3_host)
    print("clicks, plucks and rounds are in place on the command line and in the second host")
    return 0


if __name__ == "__main__":
    sys.exit(main())
