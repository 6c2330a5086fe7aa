"""Response of a link against the cable, as one writes it with SciPy alone."""

import sys

import numpy as np
import soundfile
from scipy import signal

link, rate_hz = soundfile.read(sys.argv[2])
reference, _ = soundfile.read(sys.argv[3])
length = 1 << (max(len(link), len(reference)) * 2 - 1).bit_length()
quotient = np.fft.rfft(link, length) / np.fft.rfft(reference, length)
f_hz = np.fft.rfftfreq(length, 1 / rate_hz)
# One impulse response, gated to half a second about its peak.
impulse = np.fft.irfft(quotient * ((f_hz > 10) & (f_hz < 22000)), length)
impulse = np.roll(impulse, rate_hz // 4 - np.argmax(np.abs(impulse)))[: rate_hz // 2]
gated = np.fft.rfft(impulse * signal.windows.tukey(len(impulse), 0.25), 1 << 17)
gated_hz = np.fft.rfftfreq(1 << 17, 1 / rate_hz)
points_hz = 1000 * 10 ** (np.arange(-136, 105) / 80)
power = np.interp(points_hz, gated_hz, np.abs(gated) ** 2)
magnitude_db = 10 * np.log10(power)
about_1_khz = (points_hz > 891) & (points_hz < 1122)
gain_db = 10 * np.log10(np.mean(power[about_1_khz]))
edges_hz = [20, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000, 20000]
print("gain", gain_db)
for low_hz, high_hz in zip(edges_hz, edges_hz[1:]):
    band = (points_hz >= low_hz) & (points_hz <= high_hz)
    deviations = magnitude_db[band] - gain_db
    print("deviation", low_hz, high_hz, deviations[np.argmax(np.abs(deviations))])
