"""Closed forms that results are held against. `values.json` beside this file has the printed tables."""

import json
import pathlib

import numpy as np
from scipy import integrate, optimize

VALUES = json.loads((pathlib.Path(__file__).parent / "values.json").read_text())


def clipped_sine(r, order):
    """Amplitude of one harmonic of a unit sine that is clipped at ±r, for 0 < r <= 1.

    Source: Fourier integral of the clipped sine, a = arcsin r:
    b1 = (2/π)(a + r √(1 - r²)),
    bn = (4/π){½[sin((n-1)a)/(n-1) - sin((n+1)a)/(n+1)] + r cos(na)/n} for odd n, 0 for even n.
    """
    a = np.arcsin(r)
    if order == 1:
        return 2 / np.pi * (a + r * np.sqrt(1 - r * r))
    if order % 2 == 0:
        return 0.0
    n = order
    both = np.sin((n - 1) * a) / (n - 1) - np.sin((n + 1) * a) / (n + 1)
    return 4 / np.pi * (both / 2 + r * np.cos(n * a) / n)


def clipped_thd(r, highest=10):
    """THD of that sine re its fundamental, harmonics 2 to `highest`, as a factor."""
    harmonics = [clipped_sine(r, n) for n in range(2, highest + 1)]
    return np.sqrt(np.sum(np.square(harmonics))) / clipped_sine(r, 1)


def clip_overdrive_db(thd):
    """How far above the clip a sine's peak must lie for this THD (harmonics 2 to 10), in dB."""
    r = optimize.brentq(lambda r: clipped_thd(r) - thd, 0.8, 0.9999, xtol=1e-12)
    return -20 * np.log10(r)


def compression_overdrive_db(loss_db):
    """How far above the clip a sine's peak must lie for its fundamental to lose so much, in dB."""
    r = optimize.brentq(lambda r: 20 * np.log10(clipped_sine(r, 1)) + loss_db, 0.3, 0.9999, xtol=1e-12)
    return -20 * np.log10(r)


def polynomial_harmonics(peak, a2=0.0, a3=0.0, a4=0.0, a5=0.0):
    """Amplitudes H1 to H5 of x + a2 x² + … on `peak`·sin: power-reduction identities."""
    h1 = peak + 3 / 4 * a3 * peak**3 + 5 / 8 * a5 * peak**5
    h2 = a2 * peak**2 / 2 + a4 * peak**4 / 2
    h3 = a3 * peak**3 / 4 + 5 / 16 * a5 * peak**5
    h4 = a4 * peak**4 / 8
    h5 = a5 * peak**5 / 16
    return np.abs([h1, h2, h3, h4, h5])


def polynomial_thd(peak, **factors):
    """THD re the fundamental, as a factor."""
    h1, *harmonics = polynomial_harmonics(peak, **factors)
    return np.sqrt(np.sum(np.square(harmonics))) / h1


def latency_frames(response, rate_hz, low_hz=1000.0, high_hz=10000.0):
    """Slope of the straight line through 0 (or 180°) at 0 Hz that fits a phase best, in frames.

    Even weight over log frequency from 1 to 10 kHz: the definition of `latency`. `response(f_hz)`.
    """
    def weighed(moment):
        return integrate.quad(lambda u: moment(np.exp(u)), np.log(low_hz), np.log(high_hz), limit=400)[0]

    def phase(f_hz):
        value = response(np.array([f_hz]))[0]
        return np.angle(value if value.real > 0 else -value)

    return -weighed(lambda f: f * phase(f)) / weighed(lambda f: f * f) * rate_hz / (2 * np.pi)


def latency_bound_frames(stimulus, noise_rms, rate_hz, low_hz=1000.0, high_hz=10000.0):
    """Cramér–Rao bound of the delay of a known sound in white noise, in frames, from one band of it.

    Source: S. M. Kay, Fundamentals of Statistical Signal Processing, vol. I (1993), range estimation
    (from memory): the information is the energy of the sound's derivative over the noise's power.
    """
    spectrum = np.fft.fft(stimulus)
    f = np.fft.fftfreq(len(stimulus))
    band = (np.abs(f) >= low_hz / rate_hz) & (np.abs(f) <= high_hz / rate_hz)
    slope_energy = np.sum((2 * np.pi * f[band] * np.abs(spectrum[band])) ** 2) / len(stimulus)
    return noise_rms / np.sqrt(slope_energy)


def power_mean_db(magnitude_db, f_hz, low_hz, high_hz):
    """Power mean between two frequencies, evenly over log frequency, from points of a curve."""
    u = np.linspace(np.log(low_hz), np.log(high_hz), 2001)
    power = 10 ** (np.interp(u, np.log(f_hz), magnitude_db) / 10)
    return 10 * np.log10(np.trapezoid(power, u) / (u[-1] - u[0]))
