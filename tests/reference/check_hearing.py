"""Hearing held against others: a MIDI file rendered by fluidsynth (General MIDI program 25, steel
guitar; its own timing error is 1.62 ms at most), scored by mir_eval; pitches of single notes held
against librosa's pYIN where librosa is installed."""
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

try:
    import mido
    import mir_eval
    import numpy as np
    import soundfile as sf
except ImportError as missing:
    print("a package is missing: %s" % missing)
    sys.exit(77)

PROGRAM = os.environ["THUMBLINE"]
FONTS = [Path("/usr/share/sounds/sf2") / name for name in ("FluidR3_GM.sf2", "TimGM6mb.sf2")]
SCALE = [40, 45, 50, 55, 59, 64, 67, 62, 57, 52, 48, 43, 47, 60, 65, 69]


def performance():
    """(time in s, MIDI number) of single notes half a second apart, then pinches"""
    single = [(0.5 + 0.5 * i, midi) for i, midi in enumerate(SCALE)]
    start = single[-1][0] + 1.0
    pinches = [(start + 0.6 * i, midi) for i, pair in enumerate([(45, 64), (40, 59), (50, 66), (43, 62)]) for midi in pair]
    return single, pinches


def write_midi(path, notes):
    track = mido.MidiTrack([mido.Message("program_change", program=25, time=0)])
    events = [(t, "note_on", m) for t, m in notes] + [(t + 0.45, "note_off", m) for t, m in notes]
    now = 0
    for t, kind, midi in sorted(events):
        tick = round(t * 960)  # 480 ticks a beat at 120 beats a minute
        track.append(mido.Message(kind, note=midi, velocity=90 if kind == "note_on" else 0, time=tick - now))
        now = tick
    mido.MidiFile(ticks_per_beat=480, tracks=[track]).save(path)


def analyze(path):
    out = Path(path).with_suffix(".json")
    subprocess.run([PROGRAM, "analyze", str(path), "--json", str(out)], check=True, capture_output=True, timeout=120)
    return json.loads(out.read_text())


def main():
    font = next((f for f in FONTS if f.exists()), None)
    if font is None or not shutil.which("fluidsynth"):
        print("fluidsynth or its soundfont is not installed")
        return 77
    single, pinches = performance()
    notes = single + pinches
    with tempfile.TemporaryDirectory() as folder:
        midi, wav = Path(folder) / "take.mid", Path(folder) / "take.wav"
        write_midi(midi, notes)
        subprocess.run(["fluidsynth", "-ni", "-R", "0", "-C", "0", "-g", "0.5", "-r", "44100", "-F", str(wav), str(font), str(midi)],
                       check=True, capture_output=True, timeout=120)
        found = analyze(wav)["onsets"]
        times = np.array(sorted(o["time_s"] for o in found))
        truth = np.array(sorted({t for t, _ in notes}))
        merged = times[np.concatenate([[True], np.diff(times) > 0.03])]
        f50 = mir_eval.onset.f_measure(truth, merged, window=0.05)[0]
        near = np.array([merged[np.argmin(np.abs(merged - t))] - t for t in truth])
        near = near[np.abs(near) < 0.05] * 1000
        scatter = np.median(np.abs(near - np.median(near)))
        print("onsets: F(50 ms) %.3f, scatter %.2f ms" % (f50, scatter))
        assert f50 > 0.95 and scatter < 2.0, (f50, scatter)
        pitched = [o for o in found if o.get("midi") is not None]
        hz = lambda m: 440.0 * 2 ** ((np.array(m) - 69) / 12)
        precision, recall, f, _ = mir_eval.transcription.precision_recall_f1_overlap(
            np.array([[t, t + 0.4] for t, _ in notes]), hz([m for _, m in notes]),
            np.array([[o["time_s"], o["time_s"] + 0.4] for o in pitched]), hz([o["midi"] for o in pitched]), offset_ratio=None)
        print("notes: precision %.3f, recall %.3f, F %.3f" % (precision, recall, f))
        assert f > 0.9, f
        try:
            import librosa
        except ImportError:
            print("librosa is not installed: pitches are not held against pYIN")
            return 0
        sound, rate = sf.read(wav)
        sound = sound.mean(axis=1) if sound.ndim > 1 else sound
        off = []
        for t, midi_number in single:
            part = sound[int((t + 0.06) * rate):int((t + 0.4) * rate)]
            f0, voiced, _ = librosa.pyin(part, fmin=70, fmax=900, sr=rate)
            ours = [o["midi"] for o in pitched if abs(o["time_s"] - t) < 0.03]
            if ours and voiced.any():
                theirs = librosa.hz_to_midi(np.nanmedian(f0[voiced]))
                off.append(min(abs(theirs - m) for m in ours))
        print("against pYIN: %d notes, median difference %.0f cents" % (len(off), 100 * np.median(off)))
        assert len(off) >= 12 and np.median(off) < 0.25, off
    return 0


if __name__ == "__main__":
    sys.exit(main())
