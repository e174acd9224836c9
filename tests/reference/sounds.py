"""Sparse sounds of our own for the checks, and where an attack begins in them."""
import wave

import numpy as np


def plucks(path, times, hz, seconds, rate=44_100):
    """Writes plucked tones: at each of `times` one of `hz(time)`, partials below 2 kHz that die
    away, and 2 ms of a nail's noise at its start. The noise alone lies above 4 kHz."""
    x = np.zeros(int(seconds * rate))
    random = np.random.default_rng(5)
    for time_s in times:
        at = int(round(time_s * rate))
        t = np.arange(min(int(0.8 * rate), len(x) - at)) / rate
        tone = sum(np.sin(2 * np.pi * k * hz(time_s) * t) / k for k in range(1, 7))
        x[at:at + len(t)] += 0.16 * tone * np.exp(-t / 0.12) * np.minimum(1, t / 0.001)
        nail = random.standard_normal(min(int(0.002 * rate), len(x) - at))
        x[at:at + len(nail)] += 0.12 * nail * np.linspace(1, 0, len(nail))
    with wave.open(path, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate)
        out.writeframes((np.clip(x, -1, 1) * 32767).astype("<i2").tobytes())
