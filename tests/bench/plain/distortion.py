"""Harmonics of stepped tones through a link, as one writes it with SciPy alone."""

import sys

import numpy as np
import soundfile
from scipy import signal

sent, rate_hz = soundfile.read(sys.argv[1])
link, _ = soundfile.read(sys.argv[2])
reference, _ = soundfile.read(sys.argv[3])


def shifted(returned):
    """The return, moved onto the stimulus."""
    delay = int(np.argmax(np.abs(signal.correlate(returned, sent, method="fft")))) - (len(sent) - 1)
    return np.roll(returned, -delay)


def peak(spectrum, f_hz):
    """Amplitude about a frequency of a spectrum through a flat-top window."""
    at = int(round(f_hz * length / rate_hz))
    return np.max(np.abs(spectrum[max(at - 3, 0) : at + 4]))


link, reference = shifted(link), shifted(reference)
length = rate_hz // 2
window = signal.windows.flattop(length)
window /= window.sum() / 2
for begin in range(0, len(sent) - length, length // 2):
    clean = np.abs(np.fft.rfft(sent[begin : begin + length] * window))
    at = int(np.argmax(clean))
    tone_hz = at * rate_hz / length
    alone = clean[at] > 1e-3 and np.sum(clean > clean[at] / 100) < 12
    if not alone or tone_hz < 20:
        continue
    spectra = [np.fft.rfft(sound[begin : begin + length] * window) for sound in (link, reference)]
    for name, spectrum in zip(("thd", "reference_thd"), spectra):
        orders = [n for n in range(2, 11) if n * tone_hz < 20000]
        power = sum(peak(spectrum, n * tone_hz) ** 2 for n in orders)
        print(name, tone_hz, 100 * np.sqrt(power) / peak(spectrum, tone_hz))
