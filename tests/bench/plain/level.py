"""Gain, compression and clip point of a link over rising steps, as one writes it with SciPy alone."""

import sys

import numpy as np
import soundfile
from scipy import interpolate, signal

TONE_HZ = 997

sent, rate_hz = soundfile.read(sys.argv[1])
link, _ = soundfile.read(sys.argv[2])
reference, _ = soundfile.read(sys.argv[3])


def shifted(returned):
    """The return, moved onto the stimulus."""
    delay = int(np.argmax(np.abs(signal.correlate(returned, sent, method="fft")))) - (len(sent) - 1)
    return np.roll(returned, -delay)


block = rate_hz // 10
orders = [n for n in range(1, 11) if n * TONE_HZ < 20000]
t = np.arange(block) / rate_hz
waves = [f(2 * np.pi * n * TONE_HZ * t) for n in orders for f in (np.cos, np.sin)]
fit = np.linalg.pinv(np.stack(waves, 1))


def harmonics(sound, number):
    """Amplitudes of the tone and of its harmonics 2 to 10 in one block, by least squares."""
    found = fit @ sound[number * block : (number + 1) * block]
    return np.hypot(found[::2], found[1::2])


link, reference = shifted(link), shifted(reference)
tone = [harmonics(sent, number)[0] for number in range(len(sent) // block)]
steps = [n for n in range(1, len(tone) - 1) if tone[n] > 1e-4 and np.ptp(tone[n - 1 : n + 2]) < 1e-3 * tone[n]]
levels, gains, distortions = [], [], []
for n in steps:
    heard, wire = harmonics(link, n), harmonics(reference, n)
    levels.append(20 * np.log10(tone[n]))
    gains.append(20 * np.log10(heard[0] / wire[0]))
    distortions.append(100 * np.sqrt(np.sum(heard[1:] ** 2)) / heard[0])
levels, gains, distortions = map(np.array, (levels, gains, distortions))
gain_db = np.median(gains[levels < levels.max() - 20])
print("gain", gain_db)
if np.any(distortions > 3):
    rise = interpolate.interp1d(distortions, levels, bounds_error=False)
    print("clip_point", rise(3.0))
if np.any(gains < gain_db - 1):
    print("compression_point", levels[np.argmax(gains < gain_db - 1)])
