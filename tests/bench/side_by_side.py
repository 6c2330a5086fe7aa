"""`goodwire analyse` as a whole process beside a plain SciPy script that does the same.

    target/venv/bin/python tests/bench/side_by_side.py

For each analysis both read the same three files: what was sent, what a link returned, what the
cable beside it returned. Both are started as a user would start them, in turn, several times; the
fastest of each counts. The goal is that goodwire takes a tenth of the time.
"""

import os
import pathlib
import statistics
import subprocess
import sys
import tempfile

import numpy as np
import soundfile
from scipy import signal

HERE = pathlib.Path(__file__).resolve().parent
BINARIES = pathlib.Path(os.environ.get("GOODWIRE_BINARIES", HERE.parents[1] / "target" / "release"))
RATE_HZ = 48000
ROUNDS = 7
ANALYSES = ["response", "latency", "level", "distortion"]


def through_link(sent, generator):
    """A link of our own: 300.25 samples late, 3 dB down, softly limited, band-limited, a little noisy."""
    late = np.concatenate([np.zeros(300), sent, np.zeros(RATE_HZ // 2)])
    shifted = np.fft.irfft(
        np.fft.rfft(late) * np.exp(-2j * np.pi * np.fft.rfftfreq(len(late)) * 0.25), len(late)
    )
    limited = 0.5 * np.tanh(shifted / 0.5)
    sections = signal.butter(2, [15, 18000], "band", fs=RATE_HZ, output="sos")
    heard = 10 ** (-3 / 20) * signal.sosfilt(sections, limited)
    return heard + 1e-5 * generator.standard_normal(len(heard))


def record(analysis, folder):
    """Makes the three files of an analysis; gives their paths."""
    sent = folder / f"{analysis}-sent.wav"
    stimulus = [BINARIES / "goodwire", "stimulus", analysis, "--rate", str(RATE_HZ), "--out", sent]
    subprocess.run(stimulus, check=True, capture_output=True)
    samples, _ = soundfile.read(sent)
    generator = np.random.default_rng(11)
    link = through_link(samples, generator)
    wire = np.concatenate([samples, np.zeros(len(link) - len(samples))])
    wire += 1e-6 * generator.standard_normal(len(wire))
    paths = [sent]
    for name, sound in (("link", link), ("reference", wire)):
        path = folder / f"{analysis}-{name}.wav"
        soundfile.write(path, sound, RATE_HZ, subtype="FLOAT")
        paths.append(path)
    return paths, len(samples) / RATE_HZ


def run(command):
    """Runs a program to its end: wall clock in s, processor time in s, largest memory in MiB."""
    # By a small process: what it starts would else count this one's memory as its own.
    small = [sys.executable, "-S", HERE / "usage.py", *command]
    done = subprocess.run(small, capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"{command[0]} failed: {done.stderr}")
    return tuple(float(word) for word in done.stdout.split())


def main():
    print(f"{'':12}{'stimulus':>9}  {'goodwire':>26}  {'SciPy script':>26}  {'ratio':>13}")
    print(f"{'':12}{'s':>9}  {'wall s   cpu s     MiB':>26}  {'wall s   cpu s     MiB':>26}  {'wall   median':>13}")
    with tempfile.TemporaryDirectory() as name:
        for analysis in ANALYSES:
            (sent, link, reference), seconds = record(analysis, pathlib.Path(name))
            ours = [BINARIES / "goodwire", "analyse", analysis, "--sent", sent]
            ours += ["--returned", link, "--reference", reference]
            plain = [sys.executable, HERE / "plain" / f"{analysis}.py", sent, link, reference]
            # In turn, so that whatever else the machine does meets both alike.
            pairs = [(run(ours), run(plain)) for _ in range(ROUNDS)]
            best = [min(one[side] for one in pairs) for side in (0, 1)]
            medians = [statistics.median(one[side][0] for one in pairs) for side in (0, 1)]
            columns = [f"{wall:6.3f}  {cpu:6.3f}  {memory:6.0f}" for wall, cpu, memory in best]
            ratio = best[1][0] / best[0][0]
            print(
                f"{analysis:12}{seconds:9.2f}  {columns[0]:>26}  {columns[1]:>26}"
                f"  {ratio:4.1f}  {medians[1] / medians[0]:7.1f}"
            )


if __name__ == "__main__":
    main()
