"""Latency of a link against the cable, as one writes it with SciPy alone."""

import sys

import numpy as np
import soundfile
from scipy import signal

link, rate_hz = soundfile.read(sys.argv[2])
reference, _ = soundfile.read(sys.argv[3])
correlation = signal.correlate(link, reference, method="fft")
whole = int(np.argmax(np.abs(correlation))) - (len(reference) - 1)
length = 1 << (2 * len(link) - 1).bit_length()
f_hz = np.fft.rfftfreq(length, 1 / rate_hz)
cross = np.fft.rfft(link, length) * np.conj(np.fft.rfft(reference, length))
cross *= np.exp(2j * np.pi * f_hz * whole / rate_hz)
points_hz = np.geomspace(1000, 10000, 400)
smooth = np.interp(points_hz, f_hz, signal.convolve(cross, np.ones(64) / 64, "same"))
phase = np.angle(smooth * np.sign(smooth.real.sum()))
rest_s = -np.sum(points_hz * phase) / np.sum(points_hz**2) / (2 * np.pi)
print("latency", 1e3 * (whole / rate_hz + rest_s))
