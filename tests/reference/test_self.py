"""Checks the checks: closed forms against the published tables, and the models against closed forms."""

import closed_forms
import link
import numpy as np
import pytest
from scipy import signal

RATE_HZ = 48000


@pytest.mark.parametrize("row", closed_forms.VALUES["clipped_sine"]["rows"], ids=lambda row: f"r={row['clip_ratio']}")
def test_clipped_sine_agrees_with_the_table(row):
    r = row["clip_ratio"]
    h1 = closed_forms.clipped_sine(r, 1)
    assert h1 == pytest.approx(row["fund"], abs=1e-9)
    for order in (3, 5, 7, 9):
        ratio = closed_forms.clipped_sine(r, order) / h1
        # The fifth, seventh and ninth cross zero: an absolute tolerance.
        assert ratio == pytest.approx(row[f"H{order}"], abs=1e-9)
    assert closed_forms.clipped_thd(r, 19) == pytest.approx(row["thd_upto_h19"], abs=1e-9)


@pytest.mark.parametrize("row", closed_forms.VALUES["polynomial_harmonics"]["rows"], ids=str)
def test_polynomial_agrees_with_the_table(row):
    factors = {"a2": row["a2"], "a3": row["a3"]}
    h1, h2, h3, *_ = closed_forms.polynomial_harmonics(row["A"], **factors)
    assert (h1, h2, h3) == pytest.approx((row["H1"], row["H2"], row["H3"]), abs=1e-12)
    assert closed_forms.polynomial_thd(row["A"], **factors) == pytest.approx(row["thd"], rel=1e-9)


def test_bound_of_the_latency_agrees_with_the_table_for_a_flat_band():
    # A pulse's spectrum is flat; with its energy given, the table's signal-to-noise ratio follows.
    for row in [r for r in closed_forms.VALUES["delay_crlb"]["rows"] if r["snr_db"] <= 40]:
        pulse = np.zeros(int(row["T"] * RATE_HZ))
        pulse[0] = np.sqrt(len(pulse))
        noise_rms = link.amplitude(-row["snr_db"])
        got = closed_forms.latency_bound_frames(pulse, noise_rms, RATE_HZ, row["f1"], row["f2"])
        assert got == pytest.approx(row["sigma_samples_48k"], rel=0.002)


@pytest.mark.parametrize("ppm", [-100, 37.5, 300])
def test_another_clock_reads_a_sine_between_its_samples_to_130_db(ppm):
    f_hz = 21000.0
    samples = np.sin(2 * np.pi * f_hz / RATE_HZ * np.arange(RATE_HZ))
    got = link.on_another_clock(samples, ppm)
    want = np.sin(2 * np.pi * f_hz / RATE_HZ / (1 + ppm * 1e-6) * np.arange(len(got)))
    middle = slice(200, -200)
    assert link.db(np.max(np.abs(got[middle] - want[middle]))) < -130


def test_delay_moves_a_band_limited_sound_by_a_fraction_of_a_frame():
    f = 0.1
    samples = np.sin(2 * np.pi * f * np.arange(20000)) * signal.windows.hann(20000)
    got = link.delayed(samples, 12.34)
    places = np.arange(len(got)) - 12.34
    window = np.where((0 < places) & (places < 19999), 0.5 - 0.5 * np.cos(2 * np.pi * places / 19999), 0)
    want = np.sin(2 * np.pi * f * places) * window
    assert np.max(np.abs(got - want)) < 1e-6


def test_clipping_at_eight_times_the_rate_has_the_harmonics_of_the_closed_form():
    frames = 48000
    sine = np.sin(2 * np.pi * 997 / RATE_HZ * np.arange(frames))
    got = link.hard_clipped(sine, 0.9)[6000:42000]
    # 36000 frames hold a whole number of periods of nothing: a window with low side lobes instead.
    window = signal.windows.blackmanharris(len(got), sym=False)
    time = np.arange(len(got)) / RATE_HZ
    tones = [2 * abs(np.sum(window * got * np.exp(-2j * np.pi * 997 * n * time))) / np.sum(window) for n in range(1, 10)]
    want = [abs(closed_forms.clipped_sine(0.9, n)) for n in range(1, 10)]
    assert tones == pytest.approx(want, abs=2e-5)


def test_noise_of_minus_20_dbfs_is_3_01_db_below_that_in_rms():
    got = np.std(link.noise(400000, -20, seed=1))
    assert link.db(got) == pytest.approx(-23.01, abs=0.03)
