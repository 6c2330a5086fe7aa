"""`null` against the same arithmetic in NumPy and SciPy: the least difference over delay and gain."""

import link
import numpy as np
import pytest
from hard import cases
from scipy import optimize

RATE_HZ = 48000
BODY_S = 1.5 + 0.05 + 0.15 + 0.15


def null_depth_db(reference, heard, rate_hz):
    """Energy of the reference over the least energy of the difference, 20 Hz to 20 kHz, in dB.

    Both are whole periods of a periodic sound, so that a delay is a straight phase.
    """
    f = np.fft.rfftfreq(len(reference), 1 / rate_hz)
    band = (f > 19.5) & (f < 20000.5)
    x, y, w = np.fft.rfft(reference)[band], np.fft.rfft(heard)[band], 2 * np.pi * f[band]

    def left(delay_s):
        turned = y * np.exp(1j * w * delay_s)
        gain = np.sum((turned * x.conj()).real) / np.sum(np.abs(y) ** 2)
        return np.sum(np.abs(x - gain * turned) ** 2) / np.sum(np.abs(x) ** 2)

    coarse = min(np.arange(-3, 3, 0.1) / rate_hz, key=left)
    found = optimize.minimize_scalar(left, bounds=(coarse - 1e-5, coarse + 1e-5), method="bounded", options={"xatol": 1e-12})
    return -10 * np.log10(found.fun)


def periods(samples, rate_hz):
    """The second and the third second of the body."""
    first = int(BODY_S * rate_hz) + rate_hz
    return samples[first : first + 2 * rate_hz]


@pytest.mark.parametrize("rate_hz", cases([44100, 48000], 96000))
@pytest.mark.parametrize("limits", cases([(20, 15000), (100, None)], (None, 20000), (35, 12000)))
def test_filters_leave_what_scipy_finds(goodwire, recordings, limits, rate_hz):
    sent, samples = goodwire.stimulus("null", rate_hz, duration_s=3)
    path = link.Path(rate_hz, link.band_limited(*limits, rate_hz, order=1), -4.5, 0, True)
    heard = path(samples)
    file = recordings(rate_hz, heard, samples)
    result = goodwire.analyse("null", sent, f"{file}:1", f"{file}:2")
    want = null_depth_db(periods(samples, rate_hz), periods(heard, rate_hz), rate_hz)
    assert result.value("null_depth") == pytest.approx(want, abs=0.01)


@pytest.mark.parametrize("snr_db", cases([30], 10, 50))
def test_noise_leaves_one_plus_its_ratio(goodwire, recordings, snr_db):
    sent, samples = goodwire.stimulus("null", RATE_HZ)
    rms = np.sqrt(np.mean(periods(samples, RATE_HZ) ** 2))
    in_band = 19981 / 24000
    noise = np.random.default_rng(4).normal(0, rms * link.amplitude(-snr_db) / np.sqrt(in_band), len(samples))
    file = recordings(RATE_HZ, samples + noise, samples)
    result = goodwire.analyse("null", sent, f"{file}:1", f"{file}:2")
    want = 10 * np.log10(1 + 10 ** (snr_db / 10))
    assert abs(result.value("null_depth") - want) < 4 * result.uncertainty("null_depth")
    assert "noise-limited" in result.notes


def test_delay_gain_and_polarity_alone_null_beyond_100_db(goodwire, recordings):
    sent, samples = goodwire.stimulus("null", RATE_HZ)
    heard = link.Path(RATE_HZ, None, 3.3, 777.77, True)(samples)
    file = recordings(RATE_HZ, heard, samples)
    result = goodwire.analyse("null", sent, f"{file}:1", f"{file}:2")
    assert result.value("null_depth") > 100
    x, y = result.curve("residual")
    assert len(x) == 31 and np.max(y) < -90
