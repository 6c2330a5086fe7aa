"""Stepped `distortion` against polynomials and clips in closed form.

Goals: THD within 0.02 dB of the closed form; own floor at most 1e-4 %.
"""

import closed_forms
import link
import numpy as np
import pytest
from hard import cases

RATE_HZ = 48000
FLOOR_PERCENT = 1e-4


def db_apart(got, want):
    return abs(20 * np.log10(got / want))


def tones(result, id="thd"):
    found = result.figures(id)
    assert found, result
    return found


@pytest.mark.parametrize("rate_hz", cases([48000, 44100], 96000))
def test_own_floor_is_below_a_millionth(goodwire, recordings, rate_hz):
    sent, samples = goodwire.stimulus("distortion", rate_hz)
    result = goodwire.analyse("distortion", sent, recordings(rate_hz, link.delayed(samples, 100.5)))
    for figure in tones(result):
        assert figure["value"] <= FLOOR_PERCENT, figure


@pytest.mark.parametrize("factors", cases([(0.01, 0.01), (0.02, -0.05)], (0.01, 0), (0, 0.01), (0.001, 0.0005)), ids=str)
@pytest.mark.parametrize("level_dbfs", cases([-20, 0], -6))
def test_polynomial_has_the_thd_of_the_closed_form(goodwire, recordings, factors, level_dbfs):
    sent, samples = goodwire.stimulus("distortion", level_dbfs=level_dbfs, freqs_hz="100,997,3000")
    file = recordings(RATE_HZ, link.polynomial(link.delayed(samples, 77.7), *factors), samples)
    result = goodwire.analyse("distortion", sent, f"{file}:1", f"{file}:2")
    names = dict(zip(("a2", "a3"), factors))
    peak = link.amplitude(level_dbfs)
    h1, h2, h3, *_ = closed_forms.polynomial_harmonics(peak, **names)
    assert len(tones(result)) == 3
    for f_hz in (100, 997, 3000):
        thd = result.value("thd", frequency_hz=f_hz)
        want = 100 * closed_forms.polynomial_thd(peak, **names)
        assert db_apart(thd, want) < 0.02 or abs(thd - want) < FLOOR_PERCENT, (f_hz, thd, want)
        for id, harmonic in (("h2", h2), ("h3", h3)):
            if link.db(harmonic / h1 + 1e-12) > -90:
                assert result.value(id, frequency_hz=f_hz) == pytest.approx(link.db(harmonic / h1), abs=0.02)
        # THD+N re total, without noise and with all harmonics in the band.
        total = np.sqrt(h1**2 + h2**2 + h3**2)
        assert db_apart(result.value("thd_n", frequency_hz=f_hz), 100 * np.hypot(h2, h3) / total) < 0.05


@pytest.mark.parametrize("r", cases([0.9, 0.99], 0.98, 0.7071, 0.5))
def test_clipped_sine_has_the_thd_of_the_closed_form(goodwire, recordings, r):
    sent, samples = goodwire.stimulus("distortion", level_dbfs=-10, freqs_hz="997")
    heard = link.hard_clipped(samples, r * link.amplitude(-10))
    result = goodwire.analyse("distortion", sent, recordings(RATE_HZ, heard))
    assert db_apart(result.value("thd"), 100 * closed_forms.clipped_thd(r)) < 0.02


def test_bandwidth_ends_the_sum_of_harmonics(goodwire, recordings):
    sent, samples = goodwire.stimulus("distortion", level_dbfs=-10, freqs_hz="997", bandwidth_hz=6500)
    heard = link.hard_clipped(samples, 0.8 * link.amplitude(-10))
    result = goodwire.analyse("distortion", sent, recordings(RATE_HZ, heard))
    assert db_apart(result.value("thd"), 100 * closed_forms.clipped_thd(0.8, highest=6)) < 0.02


def test_distortion_of_the_interface_is_taken_out_of_the_links(goodwire, recordings):
    """Interface a2 = 0.004, link a3 = 0.01 behind it: to first order they do not meet."""
    sent, samples = goodwire.stimulus("distortion", level_dbfs=-20, freqs_hz="997")
    interface = link.polynomial(samples, 0.004)
    file = recordings(RATE_HZ, link.delayed(link.polynomial(interface, 0, 0.01), 210.4), interface)
    result = goodwire.analyse("distortion", sent, f"{file}:1", f"{file}:2")
    peak = link.amplitude(-20)
    own = 100 * closed_forms.polynomial_thd(peak, a3=0.01)
    assert result.value("reference_thd") == pytest.approx(100 * closed_forms.polynomial_thd(peak, a2=0.004), rel=0.002)
    # What they make together, a cross product of order x³, is 2·0.004·0.01·A³ and far below.
    assert result.value("thd") == pytest.approx(own, rel=0.02)


@pytest.mark.parametrize("ppm", [100, -60])
def test_another_clock_leaves_the_thd(goodwire, recordings, ppm):
    sent, samples = goodwire.stimulus("distortion", level_dbfs=-10, freqs_hz="250,997,4000")
    heard = link.on_another_clock(link.polynomial(link.delayed(samples, 33.3), 0.01, 0.01), ppm)
    result = goodwire.analyse("distortion", sent, recordings(RATE_HZ, heard))
    want = 100 * closed_forms.polynomial_thd(link.amplitude(-10), a2=0.01, a3=0.01)
    for f_hz in (250, 997, 4000):
        assert db_apart(result.value("thd", frequency_hz=f_hz), want) < 0.02


@pytest.mark.parametrize("noise_dbfs", cases([-80], -60))
def test_noise_is_in_thd_n_and_in_the_uncertainty_of_thd(goodwire, recordings, noise_dbfs):
    sent, samples = goodwire.stimulus("distortion", level_dbfs=-10, freqs_hz="997")
    heard = link.polynomial(samples, 0.01) + link.noise(len(samples), noise_dbfs, seed=5)
    result = goodwire.analyse("distortion", sent, recordings(RATE_HZ, heard))
    h1, h2, *_ = closed_forms.polynomial_harmonics(link.amplitude(-10), a2=0.01)
    # Of white noise over half the rate, 20 Hz to 20 kHz counts.
    noise = link.amplitude(noise_dbfs) * np.sqrt(19980 / 24000)
    want = 100 * np.sqrt(h2**2 + noise**2) / np.sqrt(h1**2 + h2**2 + noise**2)
    assert db_apart(result.value("thd_n"), want) < 0.1
    figure = result.figure("thd")
    assert abs(figure["value"] - 100 * h2 / h1) < 4 * figure["uncertainty"] + 2e-4
