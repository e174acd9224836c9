"""The lesson page in browsers made by others (Chromium, and Firefox where it is installed): what they
decode, play, show, print and record; axe-core and html-validate look at its markup. The browser part is
tests/lesson/page.mjs. A take recorded in the page goes through `thumbline compare`."""
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

try:
    import soundfile as sf
except ImportError as missing:
    print(f"a package is missing: {missing}")
    sys.exit(77)

PROGRAM = os.environ["THUMBLINE"]
HERE = Path(__file__).resolve().parent.parent / "lesson"
TITLE = "“Ünïcode” <script>ran=1</script> & 'quotes' \" 🎸 עברית"
WORDS = """# For **you**

Slowly: the thumb first. <script>ran=1</script><img src=x onerror="ran=1"> [a link](https://example.org/)
[bad](javascript:ran=1)

- even
- then *faster*
"""


def skip(why):
    print(why)
    sys.exit(77)


def run(*arguments, **more):
    done = subprocess.run([PROGRAM, "--quiet", *map(str, arguments)], capture_output=True, **more)
    assert done.returncode == 0, (arguments, done.stderr.decode())
    return done.stdout


def packages():
    """The npm packages that `package.json` pins, installed once beside the program."""
    place = Path(PROGRAM).parent.parent / "lesson-page"
    wanted = (HERE / "package.json").read_text()
    mark = place / "installed.json"
    if not (mark.exists() and mark.read_text() == wanted):
        place.mkdir(exist_ok=True)
        shutil.copy(HERE / "package.json", place)
        done = subprocess.run(
            ["npm", "install", "--no-audit", "--no-fund", "--ignore-scripts"],
            cwd=place, capture_output=True, timeout=300)
        if done.returncode:
            skip("the browser checks' npm packages cannot be installed")
        mark.write_text(wanted)
    return place


for needed in ("node", "npm"):
    if not shutil.which(needed):
        skip(f"there is no {needed} here")
if not Path("/usr/bin/chromium").exists():
    skip("Chromium is not installed")
place = packages()


def measured(recording, take, folder):
    """The pages of `recording` in browsers. `take` is played into the page's microphone, and what the
    page saved is compared with the recording."""
    folder.mkdir(exist_ok=True)
    began = time.monotonic()
    run("lesson", recording, "--bars", "1-8", "--title", "Thimble Lane", "--out", folder / "eight.html")
    took = time.monotonic() - began
    size = (folder / "eight.html").stat().st_size
    assert size <= 3_000_000, f"eight bars take {size} bytes"
    (folder / "words.md").write_text(WORDS)
    run("lesson", recording, "--bars", "1-4", "--title", "Thimble Lane, the opening",
        "--words", folder / "words.md", "--out", folder / "page.html")
    (folder / "hostile.txt").write_text(TITLE)
    run("lesson", recording, "--bars", "9-9", "--title", TITLE, "--words", folder / "words.md",
        "--speeds", "60%", "--drill", "found", "--out", folder / "hostile.html")
    said = run("lesson", "--open", folder / "hostile.html").decode()
    assert TITLE in said and "bars       9-9" in said and "found" in said, said
    # What Chromium takes for a microphone is 16-bit WAV.
    sound, rate = sf.read(take)
    sf.write(folder / "take.wav", sound, rate, subtype="PCM_16")
    # The script finds its packages from where it lies.
    shutil.copy(HERE / "page.mjs", place)
    done = subprocess.run(["node", place / "page.mjs", folder], capture_output=True, timeout=400)
    print(done.stdout.decode(), done.stderr.decode(), sep="\n")
    assert done.returncode == 0, "a check in a browser failed"
    compared = json.loads(run("compare", recording, folder / "saved.wav", "--json", "-"))
    assert compared["same_tune"] > 0.6, compared["same_tune"]
    # Where the recording's beat is unsure no drift is told, and answers are not listed.
    pairs, odd = len(compared["pairs"]), len(compared["missed_s"]) + len(compared["extra_s"])
    assert pairs >= 15 or take == recording and odd <= 3, f"{pairs} answers, {odd} missed or too many"
    print(f"eight bars: {size / 1e6:.2f} MB in {took:.1f} s; a take from the page: {pairs} answers with "
          f"a drift, {odd} notes missed or too many; " + done.stdout.decode().strip().splitlines()[-1])


with tempfile.TemporaryDirectory() as scratch:
    folder = Path(os.environ.get("LESSON_KEEP", scratch))
    folder.mkdir(exist_ok=True)
    run("demo", "--out", folder / "demo")
    measured(folder / "demo" / "recording.wav", folder / "demo" / "take.wav", folder)
    # A real recording, where the open data set is at hand (GuitarSet, CC-BY 4.0).
    shared = os.environ.get("THUMBLINE_SHARED")
    real = shared and Path(shared) / "data" / "guitarset" / "05_Rock1-130-A_solo_mic.wav"
    if real and real.exists():
        measured(real, real, folder / "real")
