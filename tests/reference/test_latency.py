"""`latency` against delays that were made by exact phases.

Goal: within 0.002 frames where nothing else is wrong; in noise within 1.25 times the Cramér–Rao bound
of the band from 1 to 10 kHz of the stimulus.
"""

import closed_forms
import link
import numpy as np
import pytest
from hard import HARD, cases

RATE_HZ = 48000
CLEAN_FRAMES = 0.002


def frames(result, rate_hz=RATE_HZ):
    return result.value("latency") * rate_hz / 1000


@pytest.mark.parametrize("rate_hz", cases([48000, 44100], 96000, 192000))
@pytest.mark.parametrize("delay_frames", cases([0.0, 151.375], 0.5, 12.9, 4801.25, 40000.6))
def test_a_pure_delay_is_found_within_two_thousandths_of_a_frame(goodwire, recordings, delay_frames, rate_hz):
    sent, samples = goodwire.stimulus("latency", rate_hz)
    late = link.Path(rate_hz, gain_db=-6, delay_frames=delay_frames)(samples)
    file = recordings(rate_hz, late, link.Path(rate_hz)(samples))
    result = goodwire.analyse("latency", sent, f"{file}:1", f"{file}:2")
    assert frames(result, rate_hz) == pytest.approx(delay_frames, abs=CLEAN_FRAMES)
    air_m = delay_frames / rate_hz * 343.2
    assert result.value("air_path") == pytest.approx(air_m, abs=1e-4 + 1e-5 * air_m)
    assert abs(result.value("jitter")) * rate_hz / 1000 < 0.01
    assert abs(result.value("skew")) < 0.1


@pytest.mark.parametrize("inverted", [False, True])
@pytest.mark.parametrize("band", cases([(50, 15000)], (20, 18000), (300, 12000)), ids=str)
def test_the_delay_of_a_filter_is_the_slope_that_fits_its_phase_best(goodwire, recordings, band, inverted):
    sent, samples = goodwire.stimulus("latency")
    path = link.Path(RATE_HZ, link.band_limited(*band, RATE_HZ), 0.0, 200.3, inverted)
    file = recordings(RATE_HZ, path(samples), samples)
    result = goodwire.analyse("latency", sent, f"{file}:1", f"{file}:2")
    assert result.value("latency") * 48 == pytest.approx(path.latency_ms() * 48, abs=CLEAN_FRAMES)


@pytest.mark.parametrize("ppm", cases([100, -50], 5, -250))
def test_a_recorder_on_another_clock_is_told_as_skew_and_leaves_the_latency(goodwire, recordings, ppm):
    sent, samples = goodwire.stimulus("latency")
    path = link.Path(RATE_HZ, delay_frames=480.25)
    file = recordings(RATE_HZ, *(link.on_another_clock(x, ppm) for x in (path(samples), np.pad(samples, (0, 4500)))))
    result = goodwire.analyse("latency", sent, f"{file}:1", f"{file}:2")
    # In milliseconds of the capturing clock: the same time holds more of its frames.
    assert frames(result) == pytest.approx(480.25 * (1 + ppm * 1e-6), abs=0.01)
    assert result.value("skew") == pytest.approx(ppm, abs=0.5)


def test_without_reference_latency_needs_synchronous_files(goodwire, recordings):
    sent, samples = goodwire.stimulus("latency")
    file = recordings(RATE_HZ, link.Path(RATE_HZ, delay_frames=97.5)(samples))
    assert not goodwire.analyse("latency", sent, file).figures("latency")
    result = goodwire.analyse("latency", sent, file, synchronous="true")
    assert frames(result) == pytest.approx(97.5, abs=CLEAN_FRAMES)


@pytest.mark.parametrize("snr_db", cases([40], 20, 60))
def test_errors_in_noise_stay_near_the_bound(goodwire, recordings, snr_db):
    sent, samples = goodwire.stimulus("latency", level_dbfs=-10)
    path = link.Path(RATE_HZ, delay_frames=301.4)
    heard = path(samples)
    reference = np.pad(samples, (0, len(heard) - len(samples)))
    errors, told = [], []
    seeds = range(60 if HARD else 24)
    for seed in seeds:
        file = recordings(RATE_HZ, heard + link.noise(len(heard), -10 - snr_db, seed), reference, subtype="DOUBLE")
        result = goodwire.analyse("latency", sent, f"{file}:1", f"{file}:2")
        errors.append(frames(result) - 301.4)
        told.append(result.uncertainty("latency") * RATE_HZ / 1000)
    wake_frames = int(1.5 * RATE_HZ)
    noise_rms = link.amplitude(-10 - snr_db) / np.sqrt(2)
    bound = closed_forms.latency_bound_frames(samples[wake_frames:], noise_rms, RATE_HZ)
    rms = np.sqrt(np.mean(np.square(errors)))
    # The standard deviation of so few seeds is itself uncertain by 1/√(2n): two of those are allowed.
    room = 1 + 2 / np.sqrt(2 * len(seeds))
    assert rms <= 1.25 * bound * room, f"{rms:.6f} frames, bound {bound:.6f}"
    assert 0.7 < np.median(told) / (bound * 1.12) < 1.8, f"told {np.median(told):.6f}, bound {bound:.6f}"
