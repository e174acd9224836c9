"""A scripted session in a second, independent host: load, play slower, automate, loop, climb a
ladder, save, reload elsewhere, render offline; VST3 in pedalboard (`vst3_host.py`)."""
import json
import os
import sys
import tempfile
import time

import numpy as np

from sounds import plucks

try:
    from vst3_host import RATE, Session, bundle, pack
except ImportError as missing:
    print(f"the second host needs {missing.name}, which is not here")
    sys.exit(77)

# Half of what a listener notices in a fast run of notes (6 ms; Friberg & Sundberg 1995).
EXACT = 0.003


def pitch(x):
    """Frequency of the strongest partial between 150 and 480 Hz, to a fraction of a bin."""
    n = len(x)
    spectrum = np.abs(np.fft.rfft(x * np.hanning(n), 8 * n))
    low, top = (int(hz * 8 * n / RATE) for hz in (150, 480))
    return (low + np.argmax(spectrum[low:top])) * RATE / (8 * n)


def attacks(x):
    """Seconds of the plucks: where the energy above 4 kHz jumps."""
    # Faded at both ends: a step there would be an attack.
    n = np.arange(len(x))
    spectrum = np.fft.rfft(x * np.clip(np.minimum(n, n[::-1]) / (0.01 * RATE), 0, 1))
    spectrum[: int(4000 * len(x) / RATE)] = 0
    high = np.abs(np.fft.irfft(spectrum, len(x)))
    loud = np.flatnonzero(high > 0.3 * high.max())
    first = loud[np.concatenate([[True], np.diff(loud) > 0.15 * RATE])]
    return first / RATE


def near(value, wanted, tolerance, what):
    print(f"{what}: {value:.4f}, wanted {wanted:.4f}")
    if not abs(value - wanted) <= tolerance:
        raise AssertionError(f"{what} is {value}, not {wanted} +- {tolerance}")


def every(gaps, wanted, what):
    """Are all gaps as long as wanted?"""
    worst = float(np.abs(np.asarray(gaps) - wanted).max())
    near(worst, 0.0, EXACT, f"worst of {len(gaps)} gaps from {wanted:.3f} s, {what}")


def main():
    path = bundle()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["THUMBLINE_DATA"] = os.path.join(folder, "data")
        file = os.path.join(folder, "plucks.wav")
        # Two plucks a second, the pitch tells the second: 200 Hz and 10 more each.
        plucks(file, np.arange(0.25, 20, 0.5), lambda t: 200 + 10 * np.floor(t), 20)
        recording = {"name": "plucks.wav", "path": file}
        one = Session(path)
        play(one, recording)
        loop_and_climb(one)
        save_and_reload(one, path)
        render_offline(path, recording)
    print("load, speed, automation, loop, ladder, save, reload, offline render are well")
    return 0


def play(one, recording):
    one.restore({"recording": recording, "position": 2.0})
    one.start()
    one.run(0.3)
    near(pitch(one.run(0.25)[0]), 220, 5, "pitch of the third second at 100 %")
    one.speed(50)
    one.run(0.4)
    slow = one.run(7.0)[0]
    every(np.diff(attacks(slow)), 1.0, "at 50 %")
    # Automation: the speed moves while it plays.
    for percent in range(50, 101, 2):
        one.speed(percent)
        one.run(0.02)
    one.run(0.3)
    every(np.diff(attacks(one.run(3.0)[0])), 0.5, "after a ramp to 100 %")


def patiently(look):
    """A state that is handed over takes effect beside the sound, soon but not at once."""
    for _ in range(20):
        try:
            return look()
        except AssertionError as error:
            last = error
            print("not yet:", error)
            time.sleep(0.5)
    raise last


def loop_and_climb(one):
    """Loops the second from 5 to 6, then climbs from half to full speed."""
    _, _, kept = one.state()
    digest = kept["recording"]["hash"]
    kept["marks"] = {digest: {"region": {"name": "", "from": 5.0, "to": 6.0}}}
    kept["lamp"] = {"of a later version": True}
    one.restore(kept)
    one.plugin.loop = True

    def round_and_round():
        one.start()
        one.run(0.3)
        looped = one.run(5.0)[0]
        every(np.diff(attacks(looped)), 0.5, "round and round")
        for begin in range(0, 5 * RATE - RATE // 4, RATE // 2):
            near(pitch(looped[begin:begin + RATE // 3]), 250, 5, "pitch in the loop")

    patiently(round_and_round)
    kept["ladder"] = {"on": True, "start": 0.5, "step": 0.25, "rounds": 1, "top": 1.0}
    kept["position"] = 5.0

    def climb():
        # From the loop's start, so that the first round is a whole one.
        one.plugin.play = False
        one.restore(kept)
        time.sleep(0.3)
        one.start()
        gaps = np.diff(attacks(one.run(8.0)[0]))
        print("seconds between plucks on the ladder:", np.round(gaps, 3))
        # Within a round two plucks lie half a second of the recording apart.
        for speed in (0.5, 0.75, 1.0):
            assert np.any(np.abs(gaps - 0.5 / speed) < EXACT), f"no round at {speed}: {gaps}"
        every(gaps[-4:], 0.5, "at the ladder's top")

    patiently(climb)


def save_and_reload(one, path):
    """Saved, and opened in another instance, what nobody knows included."""
    one.speed(80)
    one.run(0.1)
    class_id, state, kept = one.state()
    kept["ladder"]["on"] = False
    state["fields"]["session"] = json.dumps(kept)
    two = Session(path)
    two.plugin.preset_data = pack(class_id, json.dumps(state).encode())
    two.until_whole()

    def everything_is_there():
        _, state, kept = two.state()
        near(state["params"]["speed"]["f32"], 80.0, 0.11, "speed after the reload")
        assert state["params"]["loop"] == {"bool": True}, state["params"]
        assert kept["lamp"] == {"of a later version": True}, kept
        assert not kept["ladder"]["on"] and kept["ladder"]["step"] == 0.25, kept
        two.start()
        two.run(0.3)
        sound = two.run(3.0)[0]
        near(pitch(sound[:RATE // 2]), 250, 6, "pitch after the reload")
        every(np.diff(attacks(sound)), 0.5 / 0.8, "after the reload")

    patiently(everything_is_there)


def render_offline(path, recording):
    """Rendered as fast as it goes, twice, from the same state: the same sound, sample by sample."""
    def both():
        renders = []
        for _ in range(2):
            fresh = Session(path)
            fresh.restore({"recording": recording, "position": 4.0})
            fresh.speed(70)
            # This host renders without saying that it is offline, so nothing waits for the analysis.
            time.sleep(0.5)
            fresh.start()
            renders.append(fresh.run(4.0))
        near(float(np.abs(renders[0] - renders[1]).max()), 0.0, 0.0, "difference of two renders")
        assert np.abs(renders[0]).max() > 0.1, "nothing is rendered"
        every(np.diff(attacks(renders[0][0])), 0.5 / 0.7, "rendered at 70 %")

    patiently(both)


if __name__ == "__main__":
    sys.exit(main())
