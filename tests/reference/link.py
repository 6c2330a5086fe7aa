"""What a link, a cable and a recorder do to a sound, in closed form where there is one.

Delays and filters work on the whole spectrum, zero-padded, so that they are exact to rounding;
nonlinearities work at eight times the rate, so that what they make above half the rate is cut off as
an analogue-to-digital converter does, and nothing folds back.
"""

import closed_forms
import numpy as np
from scipy import signal

OVERSAMPLING = 8
# Half the taps of the windowed sinc that reads a sound between its samples, and its Kaiser window's
# shape: below -130 dB of error up to 0.9 of half the rate, checked in test_self.py.
SINC_HALF_TAPS = 64
SINC_BETA = 14.0


def amplitude(level_db):
    """The factor of a level in dB."""
    return 10 ** (level_db / 20)


def db(ratio):
    """The level in dB of a factor."""
    return 20 * np.log10(np.abs(ratio))


def through(samples, response, tail=0):
    """Multiplies the spectrum with `response(f)`, f in cycles a sample; `tail` frames longer."""
    length = 1 << int(np.ceil(np.log2(2 * (len(samples) + tail) + 65536)))
    spectrum = np.fft.rfft(samples, length)
    return np.fft.irfft(spectrum * response(np.fft.rfftfreq(length)), length)[: len(samples) + tail]


class Path:
    """A linear path with a known response: what it does to a sound, and the truth about it."""

    def __init__(self, rate_hz, sections=None, gain_db=0.0, delay_frames=0.0, inverted=False, echo=None):
        self.rate_hz, self.sections, self.delay_frames, self.echo = rate_hz, sections, delay_frames, echo
        self.factor = amplitude(gain_db) * (-1 if inverted else 1)

    def response(self, f_hz):
        """Its response without the delay."""
        f_hz = np.asarray(f_hz, float)
        got = np.full(f_hz.shape, self.factor, complex)
        if self.sections is not None:
            got *= signal.sosfreqz(self.sections, f_hz, fs=self.rate_hz)[1]
        if self.echo:
            factor, frames = self.echo
            got *= 1 + factor * np.exp(-2j * np.pi * f_hz / self.rate_hz * frames)
        return got

    def __call__(self, samples):
        """The sound behind it, as much longer as it is late."""

        def late(f):
            return self.response(f * self.rate_hz) * np.exp(-2j * np.pi * f * self.delay_frames)

        return through(samples, late, int(np.ceil(self.delay_frames)) + 4096)

    def latency_ms(self):
        """What `latency` has to find."""
        frames = closed_forms.latency_frames(self.response, self.rate_hz) + self.delay_frames
        return 1000 * frames / self.rate_hz


def delayed(samples, frames, tail=None):
    """Late by a number of frames, fractions too: a straight phase, exact below half the rate."""
    tail = int(np.ceil(max(frames, 0))) + 256 if tail is None else tail
    return through(samples, lambda f: np.exp(-2j * np.pi * f * frames), tail)


def band_limited(low_hz, high_hz, rate_hz, order=2):
    """Second-order sections of a Butterworth band limit; `None`: no such limit."""
    sections = []
    if low_hz:
        sections.append(signal.butter(order, low_hz, "highpass", fs=rate_hz, output="sos"))
    if high_hz:
        sections.append(signal.butter(order, high_hz, "lowpass", fs=rate_hz, output="sos"))
    return np.vstack(sections)


def nonlinear(samples, curve):
    """Applies a memoryless curve at eight times the rate."""
    fine = signal.resample(np.pad(samples, 4096), OVERSAMPLING * (len(samples) + 8192))
    return signal.resample(curve(fine), len(samples) + 8192)[4096:-4096]


def polynomial(samples, *factors):
    """x + a2 x² + a3 x³ + …"""
    return nonlinear(samples, lambda x: x + sum(a * x**n for n, a in enumerate(factors, 2)))


def hard_clipped(samples, peak):
    """Clipped at `peak`."""
    return nonlinear(samples, lambda x: np.clip(x, -peak, peak))


def on_another_clock(samples, ppm, start=0.0):
    """As a recorder takes it down whose clock runs `ppm` fast: more samples for the same sound."""
    count = int(len(samples) * (1 + ppm * 1e-6)) - 1
    return read_at(samples, start + np.arange(count) / (1 + ppm * 1e-6))


def read_at(samples, places):
    """The sound between its samples, by a sinc under a Kaiser window."""
    padded = np.pad(samples, SINC_HALF_TAPS + 2)
    whole = np.floor(places).astype(int)
    part = places - whole
    out = np.zeros(len(places))
    for tap in range(-SINC_HALF_TAPS + 1, SINC_HALF_TAPS + 1):
        away = part - tap
        window = np.i0(SINC_BETA * np.sqrt(np.maximum(0, 1 - (away / SINC_HALF_TAPS) ** 2))) / np.i0(SINC_BETA)
        out += np.sinc(away) * window * padded[np.clip(whole + tap + SINC_HALF_TAPS + 2, 0, len(padded) - 1)]
    return out


def noise(frame_count, level_dbfs, seed):
    """White noise; its level is that of a sine of the same power (AES17: full-scale sine 0 dBFS)."""
    return np.random.default_rng(seed).normal(0, amplitude(level_dbfs) / np.sqrt(2), frame_count)


def started(samples, frames):
    """A recording that started `frames` before the stimulus, or after it where negative."""
    return np.pad(samples, (frames, 0)) if frames >= 0 else samples[-frames:]
